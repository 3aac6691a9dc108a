"""The rise notebook in a real browser: a dough read by keyboard, nonsense, a kernel that dies."""

from datetime import UTC, datetime, timedelta

import pytest
from lab_pages import (
    cut_off,
    errors_in_cells,
    fill_the_browsers_store,
    open_notebook,
    run_all,
    shoot,
)

pytestmark = pytest.mark.browser


def open_and_run(page, lab):
    open_notebook(page, lab[0], "rise")
    way = page.get_by_label("What you read", exact=True)
    way.wait_for(timeout=60_000)
    way.select_option("ratio")
    # a ratio has no start, and no field for one
    page.get_by_label("At the start (mm)", exact=True).wait_for(state="hidden")


@pytest.fixture
def proofing(lab, request):
    """A dough of an invented trial that was shaped two hours ago."""
    from kit.workspace import Workspace

    name = f"proofing {request.node.name}"[:50]
    with Workspace(lab[1]) as ws:
        trial = ws.new_trial(name, factors={"malt_percent": [0, 1]}, zone="UTC", invented=True)
        dough = trial.add_dough(trial.add_bake(datetime.now(UTC).date()))
        trial.stage(dough, "shaped", datetime.now(UTC) - timedelta(hours=2))
        for after, ratio in ((30, 1.04), (60, 1.25), (80, 1.46)):
            at = datetime.now(UTC) - timedelta(minutes=120 - after)
            trial.note_rise(dough, ratio, at=at)
    yield name
    with Workspace(lab[1]) as ws:
        ws.remove_trial(name)


def readings(lab, name):
    from kit.workspace import Workspace

    with Workspace(lab[1]) as ws:
        return ws.trial(name).rise_readings()["proof_ratio"].tolist()


def test_read_by_keyboard_and_seen_at_once(page, lab, proofing):
    open_and_run(page, lab)
    run_all(page)
    page.get_by_label("Trial", exact=True).select_option(label=proofing)
    look = page.locator(".kit-look")
    look.filter(has_text="Look").wait_for(timeout=20_000)
    page.get_by_text("between").first.wait_for()
    assert errors_in_cells(page) == []
    shoot(page, "rise-first", tall=1900)

    # nonsense is answered, kept in its field, and stores nothing
    field = page.get_by_label("Now (times the start)", exact=True)
    field.fill("lots")
    field.press("Enter")
    page.get_by_role("alert").filter(has_text="is not a number").wait_for(timeout=20_000)
    assert field.input_value() == "lots"
    assert len(readings(lab, proofing)) == 3
    shoot(page, "rise-nonsense", tall=1900)

    # a level in a jar, by the keyboard alone; single keys do not delete the cell
    page.wait_for_timeout(1600)
    page.get_by_label("What you read", exact=True).select_option("level")
    page.get_by_label("At the start (mm)", exact=True).fill("40")
    now = page.get_by_label("Now (mm)", exact=True)
    now.fill("68,4")
    button = page.get_by_role("button", name="dough 1A: note it — now")
    button.focus()
    page.keyboard.press("Enter")
    page.get_by_role("status").filter(has_text="Noted: dough 1A at 1.71 times").wait_for(
        timeout=20_000
    )
    page.keyboard.press("d")
    page.keyboard.press("d")
    assert button.is_visible()
    assert readings(lab, proofing)[-1] == pytest.approx(1.71)
    assert now.input_value() == ""
    # what was read at the start stays for the next look
    assert page.get_by_label("At the start (mm)", exact=True).input_value() == "40"

    page.wait_for_timeout(1600)
    now.fill("85")
    now.press("Enter")
    look.filter(has_text="It has doubled.").wait_for(timeout=20_000)
    shoot(page, "rise-double", tall=1900)
    page.get_by_role("button", name="Undo").press("Enter")
    page.get_by_text("undone:").wait_for(timeout=20_000)
    look.filter(has_text="Look").wait_for(timeout=20_000)


def test_the_way_to_the_next_notebook(page, lab):
    open_and_run(page, lab)
    page.get_by_role("link", name="Record", exact=True).click()
    page.get_by_text("Which bake?").wait_for(timeout=60_000)
    assert page.url.endswith("/doc/tree/record.ipynb")


def test_all_doughs_of_the_demo(page, lab):
    open_and_run(page, lab)
    page.get_by_label("Trial", exact=True).select_option(label="harbour-malt")
    page.locator(".kit-look").filter(has_text="Look again at").wait_for(timeout=20_000)
    page.get_by_role("button", name="Draw all doughs").press("Enter")
    page.locator(".kit-lead").filter(has_text="of 12 doughs have a time").wait_for(timeout=30_000)
    page.get_by_label("Room (°C)", exact=True).fill("27")
    page.get_by_label("Room (°C)", exact=True).press("Tab")
    page.get_by_role("button", name="How long in such a room?").press("Enter")
    page.locator(".kit-lead").filter(has_text="A dough in a room of 27 °C").wait_for(timeout=30_000)
    shoot(page, "rise-all", tall=3000)
    named = page.evaluate(
        """() => [...document.querySelectorAll(
            ".kit-panel input, .kit-panel select, .kit-panel button")]
            .filter(e => e.offsetParent)
            .filter(e => !(e.labels?.length || e.textContent.trim() || e.ariaLabel))
            .map(e => e.outerHTML.slice(0, 80))"""
    )
    assert named == []


def test_a_reading_is_not_lost_when_python_dies(page, lab, proofing):
    open_and_run(page, lab)
    page.get_by_label("Trial", exact=True).select_option(label=proofing)
    page.get_by_role("button", name="dough 1A: note it — now").wait_for(timeout=20_000)
    page.evaluate("window.jupyterapp.shell.currentWidget.sessionContext.session.kernel.shutdown()")
    page.wait_for_timeout(500)
    page.get_by_label("Now (times the start)", exact=True).fill("1,6")
    page.get_by_role("button", name="dough 1A: note it — now").click()
    page.get_by_role("alert").filter(has_text="NOT SAVED yet: dough 1A 1,6").wait_for(
        timeout=10_000
    )
    shoot(page, "rise-not-saved")
    assert len(readings(lab, proofing)) == 3
    open_and_run(page, lab)
    page.get_by_label("Trial", exact=True).select_option(label=proofing)
    page.get_by_role("status").filter(has_text="Noted: dough 1A at 1.60 times").wait_for(
        timeout=30_000
    )
    assert readings(lab, proofing)[-1] == pytest.approx(1.6)


def test_a_reading_counts_where_the_browser_keeps_nothing_more(page, lab, proofing):
    open_and_run(page, lab)
    page.get_by_label("Trial", exact=True).select_option(label=proofing)
    note = page.get_by_role("button", name="dough 1A: note it — now")
    note.wait_for(timeout=20_000)
    fill_the_browsers_store(page)
    page.get_by_label("Now (times the start)", exact=True).fill("1,6")
    note.click()
    page.get_by_role("status").filter(has_text="Noted: dough 1A at 1.60 times").wait_for(
        timeout=20_000
    )
    assert readings(lab, proofing)[-1] == pytest.approx(1.6)
    assert page.get_by_label("Now (times the start)", exact=True).input_value() == ""


def test_what_was_stored_while_another_dough_is_shown_is_not_typed_any_more(page, lab, proofing):
    from kit.workspace import Workspace

    with Workspace(lab[1]) as ws:
        trial = ws.trial(proofing)
        other = trial.add_dough(trial.bakes()[0])
        trial.stage(other, "shaped", datetime.now(UTC) - timedelta(hours=2))
    open_and_run(page, lab)
    page.get_by_label("Trial", exact=True).select_option(label=proofing)
    dough = page.get_by_label("Dough", exact=True)
    second = dough.locator("option").filter(has_text="1B")
    second.wait_for(state="attached", timeout=20_000)
    dough.select_option(label=second.inner_text())
    note = page.get_by_role("button", name="dough 1B: note it")
    note.wait_for(timeout=20_000)
    page.evaluate("window.jupyterapp.shell.currentWidget.sessionContext.session.kernel.shutdown()")
    page.wait_for_timeout(500)
    page.get_by_label("Now (times the start)", exact=True).fill("1,6")
    note.click()
    page.get_by_role("alert").filter(has_text="NOT SAVED yet: dough 1B").wait_for(timeout=10_000)
    open_and_run(page, lab)  # at the first dough
    page.get_by_label("Trial", exact=True).select_option(label=proofing)
    page.get_by_role("status").filter(has_text="Noted: dough 1B at 1.60").wait_for(timeout=30_000)
    page.wait_for_timeout(1000)
    dough.select_option(label=second.inner_text())
    note.wait_for(timeout=20_000)
    assert page.get_by_label("Now (times the start)", exact=True).input_value() == ""
    page.get_by_label("Now (times the start)", exact=True).press("Enter")
    page.get_by_role("alert").filter(has_text="must not be empty").wait_for(timeout=20_000)
    assert readings(lab, proofing).count(1.6) == 1


def test_what_is_half_typed_comes_back_with_its_dough(page, lab, proofing):
    from kit.workspace import Workspace

    with Workspace(lab[1]) as ws:
        ws.trial(proofing).add_dough(ws.trial(proofing).bakes()[0])
    open_and_run(page, lab)
    page.get_by_label("Trial", exact=True).select_option(label=proofing)
    page.get_by_role("button", name="dough 1A: note it — now").wait_for(timeout=20_000)
    page.get_by_label("What you read", exact=True).select_option("level")
    for label, value in (("At the start (mm)", "40"), ("Now (mm)", "6"), ("When it was", "9:4")):
        page.get_by_label(label, exact=True).fill(value)
    page.reload()
    open_notebook(page, page.url, "rise")
    now = page.get_by_label("Now (mm)", exact=True)
    now.wait_for(timeout=20_000)
    assert now.input_value() == "6"
    assert page.get_by_label("When it was", exact=True).input_value() == "9:4"
    dough = page.get_by_label("Dough", exact=True)
    dough.select_option(label=dough.locator("option").filter(has_text="1B").inner_text())
    other = page.get_by_label("Now (times the start)", exact=True)
    page.get_by_role("button", name="dough 1B: note it").wait_for(timeout=20_000)
    assert (other if other.is_visible() else now).input_value() == ""


def test_the_keyboard_stays_when_the_clock_starts(page, lab, proofing):
    """The button that started it goes; the field that comes next has the keyboard."""
    from kit.workspace import Workspace

    with Workspace(lab[1]) as ws:
        ws.trial(proofing).add_dough(ws.trial(proofing).bakes()[0])
    open_and_run(page, lab)
    page.get_by_label("Trial", exact=True).select_option(label=proofing)
    dough = page.get_by_label("Dough", exact=True)
    dough.locator("option").filter(has_text="1B").wait_for(state="attached", timeout=20_000)
    dough.select_option(label=dough.locator("option").filter(has_text="1B").inner_text())
    begin = page.get_by_role("button", name="dough 1B: the clock starts — now")
    begin.focus()
    page.keyboard.press("Enter")
    begin.wait_for(state="hidden", timeout=20_000)
    field = page.get_by_label("Now (times the start)", exact=True)
    assert field.evaluate("e => e === document.activeElement")


def test_readable_on_a_phone(page, lab):
    page.set_viewport_size({"width": 400, "height": 800})
    open_and_run(page, lab)
    page.get_by_label("Trial", exact=True).select_option(label="harbour-malt")
    page.locator(".kit-look").filter(has_text="Look").first.wait_for(timeout=20_000)
    assert cut_off(page) == []
    shoot(page, "rise-400px", tall=2800)
