"""The bring-in panel without a browser: what it guesses, asks, shows and stores."""

import html
import re
import threading

import pandas as pd
import pytest

from kit import panels

ROWS = pd.DataFrame(
    {
        "Bake": ["1", "1", "2", "2"],
        "Date": ["03/12/2026", "03/12/2026", "10/12/2026", "10/12/2026"],
        "Dough": ["A", "B", "A", "B"],
        "Malt %": ["0", "0,8", "0", "0,8"],
        "Height (in)": ["1 1/4", "1.5", "1.25", "a lot"],
        "Colour": ["pale", "brown", "pale", "brown"],
    }
)


@pytest.fixture
def panel(tmp_path):
    ws = panels.open_workspace(tmp_path / "bakes")
    ws.new_trial("mine", factors={"malt_percent": [0, 0.8]}, outcome="rise_height_mm")
    ROWS.to_csv(ws.folder / "bakes.csv", index=False, sep=";")
    made = panels.bring(ws)
    made.trial.value = "mine"
    yield made
    ws.close()


def words(widget):
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", widget.value)).strip()


def look_at(panel):
    panel.file.value = next(path for name, path in panel.file.options if name == "bakes.csv")
    panel.again.click()


def store(panel):
    panel.store.click()
    panel.work.thread.join()


def test_nothing_is_stored_before_it_is_shown(panel):
    assert panel.store.disabled
    look_at(panel)
    shown = words(panel.shown)
    assert "4 rows" in shown
    assert "Are these dates day/month or month/day, such as &#x27;03/12/2026&#x27;?" in shown
    assert "a lot" in shown
    assert panel.workspace.trial("mine").bakes() == []


def test_corrected_then_stored_then_the_rest_without_doubles(panel):
    look_at(panel)
    panel.dates.value = "day/month"
    assert "Are these dates" not in words(panel.shown)
    means = {line.children[0].description: line.children for line in panel.columns.children}
    assert means["Height (in)"][0].value == "rise_height_mm"
    assert means["Height (in)"][1].value == "in"
    means["Colour"][0].value = "ignored"
    store(panel)
    assert "3 of 4 rows are stored" in words(panel.work.said)
    trial = panel.workspace.trial("mine")
    frame = trial.frame()
    assert frame["rise_height_mm"].dropna().tolist() == [31.75, 38.1, 31.75]
    assert frame["malt_percent"].tolist()[:3] == [0, 0.8, 0]
    # the same table, corrected, brings the rest
    ROWS.replace("a lot", "1 1/2").to_csv(panel.workspace.folder / "bakes.csv", index=False)
    look_at(panel)
    panel.dates.value = "day/month"
    store(panel)
    assert "4 of 4 rows are stored" in words(panel.work.said)
    assert trial.frame()["rise_height_mm"].tolist() == [31.75, 38.1, 31.75, 38.1]


def test_a_wrong_unit_is_refused_and_the_look_stays(panel):
    look_at(panel)
    before = panel.look
    line = next(x for x in panel.columns.children if x.children[0].description == "Height (in)")
    line.children[1].value = "kg"
    assert "unit is &#x27;kg&#x27;" in words(panel.said)
    assert panel.look is before


@pytest.mark.parametrize(
    ("path", "said"),
    [("/no/such.csv", "/no/such.csv is not there."), ("", "no table")],
)
def test_no_table(panel, path, said):
    panel.path.value = path
    panel.again.click()
    assert said in words(panel.said)
    assert panel.store.disabled


def test_it_can_be_stopped(panel, monkeypatch):
    from kit.records.sheets import bring

    monkeypatch.setattr(bring, "BATCH", 1)
    look_at(panel)
    panel.dates.value = "day/month"

    def halt_after_one(_):
        if panel.work.done[0] >= 1:
            panel.work.stop.click()

    panel.work.progress.observe(halt_after_one, "value")
    panel.work.stop.click()
    assert words(panel.work.said) == "Nothing is being stored."
    lost = []  # a button that is disabled while it works loses the keyboard
    for one in (panel.store, panel.work.stop):
        one.observe(lambda change: lost.append(change["owner"].description), "disabled")
    store(panel)
    assert lost == []
    told = words(panel.work.said)
    assert "It was stopped." in told
    panel.work.stop.click()  # a moment late
    assert words(panel.work.said) == told
    assert 0 < len(panel.workspace.trial("mine").frame()) < 4


@pytest.mark.parametrize("gone", ["trial", "file"])
def test_a_look_does_not_come_back_without_its_trial_or_its_file(panel, gone):
    look_at(panel)
    if gone == "trial":
        panel.workspace.remove_trial("mine")
    else:
        (panel.workspace.folder / "bakes.csv").unlink()
    again = panels.bring(panel.workspace)
    assert (again.look, again.store.disabled, again.shown.value) == (None, True, "")
    before = len(again.chosen.frame())
    again.store.click()
    assert again.work.thread is None
    assert len(again.chosen.frame()) == before


@pytest.fixture
def held(panel, monkeypatch):
    """A job that waits; let it go by setting what is yielded."""
    go, begun, bring_in = threading.Event(), [], type(panel.chosen).bring_in

    def slowly(trial, look, progress, stopped):
        begun.append(trial.name)
        progress(1, 4)
        go.wait()
        return bring_in(trial, look, progress, stopped)

    monkeypatch.setattr(type(panel.chosen), "bring_in", slowly)
    yield go, begun
    go.set()


def test_two_windows_show_one_job_and_either_stops_it(panel, held):
    go, begun = held
    two = panels.bring(panel.workspace)
    for one in (panel, two):
        one.trial.value = "mine"
        look_at(one)
        one.dates.value = "day/month"
    panel.store.click()
    assert (panel.work.busy, two.work.busy) == (True, True)
    for one in (panel, two):
        assert one.work.progress.layout.display is None
    two.work.stop.click()
    assert words(two.work.said) == ""
    two.store.click()  # is on already, and the stop stands
    go.set()
    panel.work.thread.join()
    assert begun == ["mine"]
    assert "It was stopped." in words(panel.work.said)
    assert two.work.said.value == panel.work.said.value
    assert two.work.progress.value == panel.work.progress.value
    two.store.click()  # goes on, shown in both
    two.work.thread.join()
    assert "3 of 4 rows are stored" in words(two.work.said)
    assert panel.work.said.value == two.work.said.value


def test_what_came_of_it_while_no_page_was_open_is_told(panel):
    look_at(panel)
    panel.dates.value = "day/month"
    store(panel)
    assert "3 of 4 rows are stored" in words(panels.bring(panel.workspace).work.said)


def test_how_far_it_is_is_a_bar_that_screen_readers_know(panel):
    look_at(panel)
    panel.dates.value = "day/month"
    store(panel)
    done, of = panel.work.done
    assert done > 0
    bar = f'Rows stored <progress max="{of}" value="{done}"></progress></label>'
    assert panel.work.progress.value.endswith(bar)


def test_what_came_of_the_table_before_does_not_come_back_under_another(panel):
    look_at(panel)
    store(panel)
    look_at(panel)
    assert panel.work.said.value == ""
    assert panels.bring(panel.workspace).work.said.value == ""


def test_a_full_disk_is_said_in_plain_words(panel, monkeypatch):
    def full(*_):
        raise OSError(28, "No space left on device")

    let_out = []
    monkeypatch.setattr(threading, "excepthook", lambda args: let_out.append(args.exc_type))
    look_at(panel)
    monkeypatch.setattr(type(panel.chosen), "bring_in", full)
    store(panel)
    assert words(panel.work.said) == (
        "Not yet: the disk is full. Free some space, then do this again. What was done until then "
        "is kept; the same button goes on."
    )
    assert let_out == []


def test_a_fault_of_ours_is_said_and_let_out(panel, monkeypatch):
    def broken(*_):
        raise ZeroDivisionError("by zero")

    let_out = []
    monkeypatch.setattr(threading, "excepthook", lambda args: let_out.append(args.exc_type))
    look_at(panel)
    monkeypatch.setattr(type(panel.chosen), "bring_in", broken)
    store(panel)
    assert "this should not happen (by zero)" in words(panel.work.said)
    assert let_out == [ZeroDivisionError]


def test_what_cannot_be_used_stands_as_it_was_typed_and_remedies_whole(panel):
    """Numbers among words have their own decimals; a cell that is a letter long is cut."""
    rows = {
        "bake": [1] * 4, "dough": list("AABB"), "piece": [1, 2, 1, 2], "day": ["2026-11-02"] * 4,
        "malt_percent": [0, 0, 0.6, 0.6], "rise_height_mm": [28.5, "tall", -0.45, 2750.75],
        "bake_loss_percent": ["note " * 40, 12, 12, 12],
    }  # fmt: skip
    path = panel.workspace.folder / "typed.xlsx"
    pd.DataFrame(rows).to_excel(path, index=False)
    panel.path.value = str(path)
    panel.again.click()
    refused = panel.shown.value.partition("What cannot be used")[2].partition("</table>")[0]
    cells = [re.sub("<[^>]+>", "", cell) for cell in re.findall(r"<td[^>]*>(.*?)</td>", refused)]
    assert {"tall", "−0.45", "2750.75"} <= set(cells)
    (note,) = (cell for cell in cells if cell.startswith("note"))
    assert (len(note), note[-1]) == (80, "…")
    remedies = panel.look.problems["remedy"].tolist()
    assert max(map(len, remedies)) > 80
    assert {re.sub(r"\W", "", r) for r in remedies} <= {
        re.sub(r"\W", "", html.unescape(c)) for c in cells
    }
    # numbers alone are as whole
    pd.DataFrame({**rows, "rise_height_mm": [28.5, 29, -0.45, 2750.7512345]}).drop(
        columns="bake_loss_percent"
    ).to_excel(path, index=False)
    panel.again.click()
    assert panel.look.problems["value"].tolist() == [-0.45, 2750.7512345]
    assert ">−0.45<" in panel.shown.value
    assert ">2750.7512345<" in panel.shown.value


def test_what_is_unusual_is_shown_before_it_is_stored(panel):
    """Stored nevertheless: whoever meant inches must see it first."""
    odd = ROWS.rename(columns={"Height (in)": "Height (mm)"})
    odd["Height (mm)"] = ["30", "31", "3", "29"]
    odd.to_csv(panel.workspace.folder / "bakes.csv", index=False, sep=";")
    look_at(panel)
    panel.dates.value = "day/month"
    [doubt] = panel.look.sheet.unusual
    assert "row 4" in doubt
    assert f"Look again: {doubt}" in html.unescape(words(panel.shown))
