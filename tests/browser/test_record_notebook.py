"""Recording a bake as a baker does, in a real browser: keys, touch, reload, a dead kernel."""

import os
import shutil
import signal
import time
from pathlib import Path

import pytest
from lab_pages import cut_off, open_notebook, shoot

import kit

pytestmark = pytest.mark.browser

PIECES = 12
HEIGHTS = [31.5, 30.2, 32.8, 29.9, 31.1, 30.7, 34.0, 33.2, 35.1, 34.4, 33.9, 34.8]


def open_and_run(page, lab):
    """Open the notebook; it makes its panels by itself."""
    open_notebook(page, lab[0], "record")
    page.get_by_label("Trial", exact=True).wait_for(timeout=40_000)
    page.locator(".kit-entry td").first.wait_for(timeout=40_000)


@pytest.fixture
def trial(lab, request):
    """A trial with a bake of two doughs and twelve pieces that nothing is recorded of."""
    with kit.Workspace(lab[1]) as ws:
        made = ws.new_trial(
            request.node.name.removeprefix("test_").split("[")[0],
            question="Does more malt make a taller muffin?",
            factors={"malt_percent": [0, 0.8], "side_minutes": [5, 6]},
            outcome="rise_height_mm",
            matters=2,
        )
        bake = made.add_bake("2026-06-18")
        for _ in range(2):
            dough = made.add_dough(bake)
            for _ in range(PIECES // 2):
                made.add_piece(dough)
        yield made


def field(page, what, thing):
    return page.get_by_role("textbox", name=f"{what}, {thing}", exact=True)


def state(page, what, thing):
    cell = field(page, what, thing).locator("xpath=ancestor::td")
    return cell.get_attribute("data-state")


def wait_saved(page, what, thing):
    cell = page.locator("td[data-state=saved]").filter(has=field(page, what, thing))
    cell.wait_for(timeout=10_000)


def wait_value(locator, text):
    from playwright.sync_api import expect

    expect(locator).to_have_value(text, timeout=10_000)


def recorded(trial, quantity):
    """What the store holds, in the order of the pieces."""
    frame = trial.frame()
    return frame[quantity].tolist() if quantity in frame else []


def codes(trial):
    return [piece.code for piece in trial.pieces()]


def test_a_bake_by_the_keyboard_alone(page, lab, trial):
    open_and_run(page, lab)
    page.locator(".kit-entry").first.scroll_into_view_if_needed()
    shoot(page, "record-empty")
    page.locator(".kit-panel").first.evaluate("e => e.scrollIntoView()")
    shoot(page, "record-top")
    first = codes(trial)[0]
    field(page, "Time a side min", f"piece {first}").focus()
    for minutes in (5, 6) * (PIECES // 2):
        page.keyboard.type(str(minutes))
        page.keyboard.press("Enter")
    wait_saved(page, "Time a side min", f"piece {codes(trial)[-1]}")
    for _ in range(PIECES - 1):
        page.keyboard.press("ArrowUp")
    page.keyboard.press("Tab")
    for height in HEIGHTS:
        page.keyboard.type(str(height).replace(".", ","))
        page.keyboard.press("Enter")
    wait_saved(page, "Height mm", f"piece {codes(trial)[-1]}")
    assert recorded(trial, "side_minutes") == [5, 6] * (PIECES // 2)
    assert recorded(trial, "rise_height_mm") == HEIGHTS
    shoot(page, "record-typed")

    # units typed; unusual asked; impossible refused; emptied is missing
    cell = field(page, "Height mm", f"piece {first}")
    cell.fill("1 1/2 in")
    cell.press("Enter")
    page.get_by_text("saved: 1 1/2 in").wait_for(timeout=10_000)
    assert recorded(trial, "rise_height_mm")[0] == 38.1
    second = codes(trial)[1]
    cell = field(page, "Height mm", f"piece {second}")
    cell.fill("12")
    cell.press("Enter")
    yes = page.get_by_role("button", name=f"Yes, it is right: Height mm, piece {second}")
    yes.wait_for(timeout=10_000)
    assert recorded(trial, "rise_height_mm")[1] == HEIGHTS[1]
    third = codes(trial)[2]
    cell = field(page, "Height mm", f"piece {third}")
    cell.fill("0")
    cell.press("Enter")
    page.get_by_role("alert").filter(has_text="must lie between 1 and 300").wait_for(timeout=10_000)
    assert cell.input_value() == "0"
    assert recorded(trial, "rise_height_mm")[2] == HEIGHTS[2]
    shoot(page, "record-asked-and-refused")
    yes.press("Enter")
    wait_saved(page, "Height mm", f"piece {second}")
    assert recorded(trial, "rise_height_mm")[1] == 12
    cell.press("Escape")
    assert cell.input_value() == str(HEIGHTS[2])
    cell.fill("")
    cell.press("Enter")
    page.get_by_text("taken out: missing").wait_for(timeout=10_000)
    assert recorded(trial, "rise_height_mm")[2] != recorded(trial, "rise_height_mm")[2]
    page.get_by_role("button", name="Undo").last.press("Enter")
    page.get_by_text("Undone:").wait_for(timeout=10_000)
    wait_value(cell, str(HEIGHTS[2]))
    shoot(page, "record-undone")


def test_what_a_plan_filled_in_is_not_counted_as_saved(page, lab, trial):
    """Day, loads and places of a planned bake: a baker who typed nothing has saved nothing."""
    load, (first, *_) = trial.add_load(trial.bake("1")), trial.pieces()
    trial.change(first, load=load, place=3)
    open_and_run(page, lab)
    wait_value(field(page, "Place", f"piece {first.code}"), "3")
    for what in ("Day, bake 1", f"Load, piece {first.code}", f"Place, piece {first.code}"):
        assert state(page, *what.split(", ")) in (None, "")
    assert page.get_by_text("nothing recorded yet").count() == 4
    place = field(page, "Place", f"piece {first.code}")
    place.fill("2")
    place.press("Enter")
    wait_saved(page, "Place", f"piece {first.code}")
    page.get_by_text("1 saved", exact=True).wait_for(timeout=10_000)
    field(page, "Day", "bake 1").fill("2026-06-19")
    field(page, "Day", "bake 1").press("Enter")
    wait_saved(page, "Day", "bake 1")
    page.get_by_label("Bake", exact=True).filter(has_text="bake 1 of 2026-06-19").wait_for()


def test_reload_half_way(page, lab, trial):
    open_and_run(page, lab)
    first, second, third = codes(trial)[:3]
    field(page, "Height mm", f"piece {first}").fill("31,5")
    page.keyboard.press("Enter")
    wait_saved(page, "Height mm", f"piece {first}")
    page.keyboard.type("0")
    page.keyboard.press("Enter")  # impossible: not saved, kept
    page.locator("td[data-state=refused]").wait_for(timeout=10_000)
    page.keyboard.type("3")  # half of 32.8, not left yet
    page.wait_for_timeout(300)
    open_and_run(page, lab)
    assert field(page, "Height mm", f"piece {first}").input_value() == "31.5"
    assert field(page, "Height mm", f"piece {second}").input_value() == "0"
    page.locator("td[data-state=refused]").wait_for(timeout=10_000)
    assert field(page, "Height mm", f"piece {third}").input_value() == "3"
    assert state(page, "Height mm", f"piece {third}") == "typed"
    assert recorded(trial, "rise_height_mm")[:1] == [31.5]
    field(page, "Height mm", f"piece {third}").scroll_into_view_if_needed()
    shoot(page, "record-reloaded")
    field(page, "Height mm", f"piece {third}").fill("32,8")
    page.keyboard.press("Enter")
    wait_saved(page, "Height mm", f"piece {third}")
    assert recorded(trial, "rise_height_mm")[2] == 32.8
    page.get_by_role("button", name=f"Clear: Height mm, piece {second}").press("Enter")
    assert field(page, "Height mm", f"piece {second}").input_value() == ""


def kernel_pid(lab):
    """The process of the kernel that holds this workspace: a child of the server."""
    found = []
    for entry in Path("/proc").iterdir():
        if entry.name.isdigit() and (entry / "cmdline").exists():
            words = (entry / "cmdline").read_bytes().split(b"\0")
            ours = f"KIT_FOLDER={lab[1].resolve()}\0".encode()
            if b"ipykernel_launcher" in words and ours in (entry / "environ").read_bytes():
                found.append(int(entry.name))
    return found


def test_a_field_is_described_by_its_own_words(page, lab, trial):
    """Each table counts by itself: a screen reader must not read out another's state."""
    open_and_run(page, lab)
    ids = page.evaluate("() => [...document.querySelectorAll('[id]')].map(e => e.id)")
    own = [one for one in ids if one.startswith("kit-")]
    assert len(own) > PIECES
    assert len(own) == len(set(own))
    assert page.locator(".kit-panel [title='null']").count() == 0


def test_killed_kernel_loses_nothing(page, lab, trial):
    """JupyterLab starts another, the page makes its panels again, what was typed is saved."""
    open_and_run(page, lab)
    first, second, third = codes(trial)[:3]
    field(page, "Height mm", f"piece {first}").fill("31,5")
    page.keyboard.press("Enter")
    wait_saved(page, "Height mm", f"piece {first}")
    page.locator(".kit-panel").first.evaluate("e => e.classList.add('kit-of-before')")
    for pid in kernel_pid(lab):
        os.kill(pid, signal.SIGKILL)
    page.keyboard.type("30,2")
    page.keyboard.press("Enter")
    page.keyboard.type("32.8")
    page.keyboard.press("Enter")
    # JupyterLab's own word that the kernel died comes in between
    page.locator(".jp-Dialog").get_by_role("button", name="Ok").click()
    page.locator(".kit-of-before").wait_for(state="detached", timeout=30_000)
    wait_saved(page, "Height mm", f"piece {third}")
    wait_saved(page, "Height mm", f"piece {second}")
    assert field(page, "Height mm", f"piece {first}").input_value() == "31.5"
    assert recorded(trial, "rise_height_mm")[:3] == [31.5, 30.2, 32.8]
    assert page.get_by_role("alert").filter(has_text="NOT SAVED").count() == 0


def test_a_kernel_that_is_gone_is_said_and_nothing_is_lost(page, lab, trial):
    open_and_run(page, lab)
    first, second, third = codes(trial)[:3]
    field(page, "Height mm", f"piece {first}").fill("31,5")
    page.keyboard.press("Enter")
    wait_saved(page, "Height mm", f"piece {first}")
    page.evaluate("window.jupyterapp.shell.currentWidget.sessionContext.shutdown()")
    page.keyboard.type("30,2")
    page.keyboard.press("Enter")
    page.get_by_role("alert").filter(has_text="NOT SAVED").first.wait_for(timeout=10_000)
    field(page, "Height mm", f"piece {third}").fill("32.8")
    page.keyboard.press("Enter")
    banner = page.get_by_role("alert").filter(has_text="2 values")
    banner.wait_for(timeout=10_000)
    assert f"Height mm, piece {second}: 30,2" in banner.inner_text()
    banner.scroll_into_view_if_needed()
    shoot(page, "record-killed")
    time.sleep(4)  # a retry that reaches no kernel changes nothing
    assert banner.is_visible()
    assert recorded(trial, "rise_height_mm")[1] != 30.2
    page.locator(".kit-panel").first.evaluate("e => e.classList.add('kit-of-before')")
    page.evaluate("() => { window.jupyterapp.commands.execute('kernelmenu:restart'); }")
    page.locator(".kit-of-before").wait_for(state="detached", timeout=30_000)
    wait_saved(page, "Height mm", f"piece {third}")
    wait_saved(page, "Height mm", f"piece {second}")
    assert field(page, "Height mm", f"piece {first}").input_value() == "31.5"
    assert recorded(trial, "rise_height_mm")[:3] == [31.5, 30.2, 32.8]
    assert page.get_by_role("alert").filter(has_text="NOT SAVED").count() == 0
    shoot(page, "record-after-restart")


def test_a_busy_kernel_saves_later_and_once(page, lab, trial):
    open_and_run(page, lab)
    first = codes(trial)[0]
    page.evaluate(
        """() => { window.jupyterapp.shell.currentWidget.sessionContext.session.kernel
            .requestExecute({ code: "import time; time.sleep(8)" }); }"""
    )
    field(page, "Height mm", f"piece {first}").fill("31,5")
    page.keyboard.press("Enter")
    banner = page.get_by_role("alert").filter(has_text="NOT SAVED")
    banner.wait_for(timeout=7_000)
    wait_saved(page, "Height mm", f"piece {first}")
    banner.wait_for(state="hidden", timeout=10_000)
    assert trial.readings()["value"].tolist() == [31.5]
    assert page.evaluate("Object.keys(localStorage).filter(k => k.startsWith('kit-'))") == []


def test_unsaved_text_of_another_bake_is_told(page, lab, trial):
    open_and_run(page, lab)
    first = codes(trial)[0]
    page.get_by_label("Also of each piece").select_option(label="Core temperature (°C)")
    field(page, "Core temperature °C", f"piece {first}").fill("hot")
    page.keyboard.press("Enter")
    page.locator("td[data-state=refused]").wait_for(timeout=10_000)
    page.get_by_role("button", name="Begin a bake").press("Enter")
    note = page.get_by_text(f"{trial.name}, bake 1, Core temperature °C, piece {first}: “hot”")
    note.wait_for(timeout=10_000)
    shoot(page, "record-elsewhere")
    page.get_by_label("Bake", exact=True).select_option(label="bake 1 of 2026-06-18")
    # with its column, which nothing is recorded of
    wait_value(field(page, "Core temperature °C", f"piece {first}"), "hot")
    page.get_by_role("button", name=f"Clear: Core temperature °C, piece {first}").press("Enter")
    assert page.evaluate("Object.keys(localStorage).filter(k => k.startsWith('kit-'))") == []


def paste(locator, text):
    """Paste as a spreadsheet's clipboard would."""
    locator.focus()
    locator.evaluate(
        """(field, text) => {
            const data = new DataTransfer();
            data.setData("text/plain", text);
            field.dispatchEvent(new ClipboardEvent("paste", {
                clipboardData: data, bubbles: true, cancelable: true }));
        }""",
        text,
    )


def test_a_block_pasted_and_filled_down(page, lab, trial):
    open_and_run(page, lab)
    first, last = codes(trial)[0], codes(trial)[-1]
    block = [("5" if i % 2 else "6", f"{h}".replace(".", ","), f"{75 + i / 10}")
             for i, h in enumerate(HEIGHTS)]  # fmt: skip
    text = "\r\n".join("\t".join(row) for row in block) + "\r\n"
    start = time.monotonic()
    paste(field(page, "Time a side min", f"piece {first}"), text)
    wait_saved(page, "Raw piece g", f"piece {last}")
    print(f"36 values pasted and saved in {time.monotonic() - start:.2f} s")
    page.get_by_text("36 values pasted.").wait_for(timeout=10_000)
    page.get_by_text("36 saved").wait_for(timeout=10_000)
    frame = trial.frame()
    assert frame["side_minutes"].tolist() == [float(row[0]) for row in block]
    assert frame["rise_height_mm"].tolist() == HEIGHTS
    assert frame["ball_weight_g"].tolist() == [float(row[2]) for row in block]
    shoot(page, "record-pasted")

    # what does not fit is told, and an empty cell takes nothing out
    paste(field(page, "Height mm", f"piece {last}"), "33\n34,5\n35,5")
    page.get_by_text("2 did not fit into the table and are NOT saved: 34,5 35,5").wait_for()
    paste(field(page, "Height mm", f"piece {first}"), "\t70\n")
    page.get_by_text("1 empty field left as it was.").wait_for()
    wait_saved(page, "Raw piece g", f"piece {first}")
    assert recorded(trial, "rise_height_mm")[0] == HEIGHTS[0]
    assert recorded(trial, "ball_weight_g")[0] == 70

    # another column, and one value for all
    page.get_by_label("Also of each piece").select_option(label="Core temperature (°C)")
    core = field(page, "Core temperature °C", f"piece {first}")
    core.fill("201 F")
    core.press("Control+d")
    page.get_by_text("11 empty fields below filled with 201 F.").wait_for(timeout=10_000)
    wait_saved(page, "Core temperature °C", f"piece {last}")
    assert {round(v, 2) for v in recorded(trial, "core_temp_c")} == {93.89}
    shoot(page, "record-filled")


@pytest.fixture
def tablet(tmp_path):
    """A tablet held upright, with fingers."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        context = playwright.chromium.launch_persistent_context(
            str(tmp_path / "profile"), executable_path=shutil.which("chromium"),
            headless=True, args=["--no-sandbox", "--disable-gpu", "--no-first-run"],
            viewport={"width": 768, "height": 1024}, has_touch=True, is_mobile=True,
        )  # fmt: skip
        yield context.new_page()
        context.close()


def test_by_touch_on_a_tablet(tablet, lab, trial):
    page = tablet
    open_and_run(page, lab)
    first, second = codes(trial)[:2]
    for code, typed in ((first, "31,5"), (second, "12")):
        field(page, "Height mm", f"piece {code}").tap()
        page.keyboard.type(typed)
    field(page, "Raw piece g", f"piece {first}").tap()
    wait_saved(page, "Height mm", f"piece {first}")
    yes = page.get_by_role("button", name=f"Yes, it is right: Height mm, piece {second}")
    yes.wait_for(timeout=10_000)
    shoot(page, "record-tablet")
    yes.tap()
    wait_saved(page, "Height mm", f"piece {second}")
    assert recorded(trial, "rise_height_mm")[:2] == [31.5, 12]
    page.keyboard.type("76")
    field(page, "Raw piece g", f"piece {first}").fill("76")
    page.get_by_role("button", name="Fill down").last.tap()
    page.get_by_text("11 empty fields below filled with 76.").wait_for(timeout=10_000)
    wait_saved(page, "Raw piece g", f"piece {codes(trial)[-1]}")
    assert recorded(trial, "ball_weight_g") == [76] * PIECES
    small = page.evaluate(
        """() => [...document.querySelectorAll(".kit-entry input, .kit-entry button")]
            .filter(e => e.offsetParent && e.getBoundingClientRect().height < 44).length"""
    )
    assert small == 0


def test_what_happened_is_noted_by_the_keyboard_on_a_phone(page, lab, trial):
    page.set_viewport_size({"width": 400, "height": 800})
    open_and_run(page, lab)
    first = codes(trial)[0]
    burnt = field(page, "Height mm", f"piece {first}")
    burnt.fill("burnt")
    burnt.press("Enter")
    page.locator("td[data-state=refused]").wait_for(timeout=10_000)
    page.get_by_text("note below under “Something happened?”").first.wait_for(timeout=10_000)
    burnt.fill("")
    burnt.press("Enter")
    page.get_by_role("button", name="Something happened?").press("Enter")
    to = page.get_by_label("It happened to", exact=True)
    to.wait_for(timeout=10_000)
    to.select_option(label=f"piece {first}")
    to.press("Tab")
    page.keyboard.type("burnt")
    page.keyboard.press("Tab")
    page.keyboard.type("the flame was too high")
    page.keyboard.press("Tab")
    page.keyboard.press("Tab")  # now, when nothing is typed
    page.keyboard.press("Enter")
    page.get_by_text(f"Noted: burnt, piece {first}, ").wait_for(timeout=10_000)
    assert cut_off(page) == []
    told = trial.events().iloc[0]
    assert (told["kind"], told["code"], told["text"]) == (
        "burnt", first, "the flame was too high",
    )  # fmt: skip
    to.evaluate("e => e.scrollIntoView()")
    shoot(page, "record-400px-happened")
    page.get_by_role("button", name="Take it out").press("Enter")
    page.get_by_text(f"Taken out: burnt, piece {first}.").wait_for(timeout=10_000)
    assert trial.events().empty
    undo = page.locator(".kit-record").get_by_role("button", name="Undo")
    undo.press("Enter")
    page.get_by_text("Noted so far:").wait_for(timeout=10_000)
    page.wait_for_timeout(500)  # at once it would be taken for the same press
    undo.press("Enter")
    page.get_by_text("Noted so far:").wait_for(state="detached", timeout=10_000)
    assert trial.events().empty


def test_readable_on_a_phone(page, lab, trial):
    page.set_viewport_size({"width": 400, "height": 800})
    open_and_run(page, lab)
    first = codes(trial)[0]
    cell = field(page, "Raw piece g", f"piece {first}")
    cell.fill("very much of it")
    cell.press("Enter")
    page.locator("td[data-state=refused]").wait_for(timeout=10_000)
    assert cut_off(page) == []
    page.set_viewport_size({"width": 380, "height": 800})
    whole = page.get_by_role("region", name="The whole bake")
    assert whole.evaluate("e => e.scrollWidth <= e.clientWidth")
    # the piece's code stays in sight however far the table is moved
    region = page.get_by_role("region", name="Each piece")
    region.evaluate("e => e.scrollTo(1000, 0)")
    head = region.get_by_role("rowheader", name=first)
    assert head.bounding_box()["x"] >= region.bounding_box()["x"] - 1
    for name, place in (("top", ".kit-panel"), ("bake", ".kit-entry")):
        page.locator(place).first.evaluate("e => e.scrollIntoView()")
        shoot(page, f"record-400px-{name}")
    region.evaluate("e => e.scrollIntoView()")
    shoot(page, "record-400px-pieces")


def test_restarted_from_another_window(page, lab, trial):
    """JupyterLab's subshells are off: the new kernel would not know those of this window."""
    open_and_run(page, lab)
    first, second = codes(trial)[:2]
    other = page.context.new_page()
    open_and_run(other, lab)
    for window in (page, other):
        window.locator(".kit-panel").first.evaluate("e => e.classList.add('kit-of-before')")
    # not awaited: the command asks first
    other.evaluate("() => { window.jupyterapp.commands.execute('kernelmenu:restart'); }")
    other.get_by_role("button", name="Confirm Kernel Restart").click()
    for window in (other, page):
        window.locator(".kit-of-before").wait_for(state="detached", timeout=30_000)
    other.close()
    for piece, typed in ((first, "31,5"), (second, "30,2")):
        field(page, "Height mm", f"piece {piece}").fill(typed)
        page.keyboard.press("Enter")
        wait_saved(page, "Height mm", f"piece {piece}")
    assert recorded(trial, "rise_height_mm")[:2] == [31.5, 30.2]


def test_pressed_twice_at_once_begins_one_bake(page, lab, trial):
    open_and_run(page, lab)
    before, begin = len(trial.bakes()), page.get_by_role("button", name="Begin a bake")
    for pressed in (begin.dblclick, lambda: page.keyboard.press("Enter")):
        pressed()
        before += 1
        page.get_by_text(f"bake {before} of {time.strftime('%Y-%m-%d')} begun.").wait_for()
        page.wait_for_timeout(1000)  # what is stored twice is stored by then
        assert len(trial.bakes()) == before


def test_every_field_of_a_new_trial_is_whole_on_a_small_screen(page, lab, trial):
    page.set_viewport_size({"width": 520, "height": 900})
    open_and_run(page, lab)
    page.get_by_role("button", name="A new trial", exact=True).click()
    page.get_by_label("What matters", exact=True).wait_for()
    squeezed = page.evaluate(
        """() => [...document.querySelectorAll(".kit-record .widget-vbox:has(> .widget-text)")]
            .filter(e => e.offsetParent && e.scrollHeight > e.clientHeight + 1)
            .map(e => e.querySelector("label").textContent)"""
    )
    assert squeezed == []
    page.get_by_role("button", name="A new trial", exact=True).click()
