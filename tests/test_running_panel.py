"""The panel of the running bake without a browser: presses, typed times, undo, corrections."""

import re
from datetime import UTC, datetime, timedelta

import pytest

from kit.panels.recording.running import RunningPanel
from kit.workspace import Workspace


@pytest.fixture
def ws(tmp_path):
    with Workspace(tmp_path / "bakes", who="Ida") as workspace:
        yield workspace


@pytest.fixture
def panel(ws):
    trial = ws.new_trial("malt", factors={"retard_hours": [16, 40]}, zone="Europe/Berlin")
    bake = trial.add_bake(datetime.now(UTC).date())
    dough, load = trial.add_dough(bake), trial.add_load(bake)
    trial.add_piece(dough, load, 1)
    trial.record(dough, "retard_hours", 16, how="planned")
    return RunningPanel(ws, trial, bake)


def ago(**length):
    return (datetime.now(UTC) - timedelta(**length)).isoformat()


def words(html):
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html.value)).strip()


def press(panel, place, stage=None, typed="", pressed=None, number="1"):
    """As the browser sends it; return Python's answer."""
    answers = []
    panel.board.send = answers.append
    row = panel.board.rows[place]
    message = {
        "type": "press", "id": number, "things": row["things"], "stage": stage or row["next"],
        "at": typed, "pressed": pressed or datetime.now(UTC).isoformat(),
    }  # fmt: skip
    panel._hear(panel.board, message, [])
    return answers[0]


def test_one_press_notes_what_is_next(panel):
    assert [row["next"] for row in panel.board.rows] == ["mixed", "on the griddle"]
    answer = press(panel, 0)
    assert answer["ok"]
    assert answer["text"].startswith("Noted: dough 1A mixed, ")
    row = panel.board.rows[0]
    assert (row["where"], row["next"], row["also"]) == ("mixed", "in the fridge", ["shaped"])
    assert panel.trial.stages()["stage"].tolist() == ["mixed"]
    assert press(panel, 0, "shaped", number="2")["ok"]
    assert panel.board.rows[0]["where"] == "proofing"


def test_the_moment_counts_in_which_it_was_pressed(panel):
    """Python was busy or had stopped for a quarter of an hour."""
    press(panel, 0, pressed=ago(minutes=15, seconds=5))
    assert panel.trial.stages()["late_minutes"].tolist() == [15]
    assert panel.board.rows[0]["lateness"] == "noted 15 min later"


def test_a_press_that_comes_twice_is_done_once_and_answered_twice(panel):
    first = press(panel, 0)
    panel.board.rows = [{**panel.board.rows[0], "next": "mixed"}]
    assert press(panel, 0) == first
    assert len(panel.trial.stages()) == 1


def test_a_press_never_replaces_what_another_window_noted(panel):
    row = panel.board.rows[0]
    panel.trial.stage(panel.trial.dough("1A"), "mixed", ago(hours=2))
    panel.board.rows = [row]
    answer = press(panel, 0)
    assert not answer["ok"]
    assert "is noted already" in answer["text"]
    assert panel.board.rows[0]["where"] == "mixed"  # shows what there is


def test_typed_times_are_read_and_nonsense_is_answered(panel):
    for typed, why in (("soon", "is not a time"), ("2099-01-01 09:00", "is still to come")):
        answer = press(panel, 0, typed=typed, number=typed)
        assert not answer["ok"]
        assert answer["text"].startswith(f"Not noted: when it was '{typed}' (dough 1A) {why}")
    assert panel.trial.stages().empty
    assert press(panel, 0, typed="yesterday 00:01")["ok"]
    assert f"{panel.trial.stages()['at'].iloc[0]:%H:%M}" == "00:01"


def test_missed_stages_and_corrections(panel):
    dough = panel.trial.dough("1A")
    assert [label for label, _ in panel.thing.options] == [
        "dough 1A", "load 1 of bake 1", "piece 1A1",
    ]  # fmt: skip
    assert (panel.thing.value, panel.stage.value) == (dough, "mixed")
    panel.stage.value = "in the fridge"
    panel.at.value = "yesterday 0:05"
    panel.note.click()
    assert words(panel.said).startswith("Noted: dough 1A in the fridge, 00:05 on ")
    panel.at.value = "yesterday 0:10"
    panel.note.click()
    assert f"{panel.trial.stages()['at'].iloc[0]:%H:%M}" == "00:10"
    panel.stage.value = "mixed"
    panel.at.value = "yesterday 0:20"
    panel.note.click()
    assert "is after dough 1A went into the fridge" in words(panel.said)
    assert panel.at.value == "yesterday 0:20"  # nothing typed is lost
    panel.thing.value = panel.trial.load(1, "1")
    assert panel.stage.options[0] == "waiting"


def test_undo_takes_back_one_press(panel):
    press(panel, 0)
    panel.undo.click()
    assert words(panel.told).startswith("undone: malt: dough 1A mixed, ")
    assert panel.board.rows[0]["next"] == "mixed"


def test_lengths_are_recorded_on_request_only(panel):
    press(panel, 0, "in the fridge", pressed=ago(hours=17))
    press(panel, 0, "out of the fridge", pressed=ago(hours=1), number="2")
    assert panel.trial.provenance()["retard_hours"].tolist() == ["planned"]
    panel.lengths.click()
    assert "a setting of the trial" in words(panel.told)
    assert panel.trial.provenance()["retard_hours"].tolist() == ["planned"]
    panel.settings.value = True
    panel.lengths.click()
    assert panel.trial.frame()["retard_hours"].tolist() == pytest.approx([16], abs=0.01)
    assert panel.trial.provenance()["retard_hours"].tolist() == ["computed"]


def test_shows_the_same_after_a_restart(panel, ws):
    press(panel, 0, pressed=ago(minutes=90))
    with Workspace(ws.folder) as again:
        trial = again.trial("malt")
        fresh = RunningPanel(again, trial, trial.bakes()[0])
        assert fresh.board.rows == panel.board.rows
        assert fresh.board.bake == panel.board.bake


def test_what_was_removed_meanwhile_is_said(panel):
    panel.trial.remove(panel.trial.dough("1A"))
    answer = press(panel, 0)
    assert not answer["ok"]
    assert "was removed" in answer["text"]
    panel.trial.remove(panel.bake)
    panel._hear(panel.board, {"type": "refresh"}, [])
    assert panel.board.rows == []
    assert "was removed" in words(panel.checks)


def test_plain_call_does_the_same(panel):
    said = panel.press(panel.running.rows[0], "mixed", "yesterday 21:15")
    assert said.startswith("Noted: dough 1A mixed, 21:15 on ")


def test_every_control_has_a_label(panel):
    for control in (panel.thing, panel.stage, panel.at.text, panel.note, panel.undo, panel.lengths,
                    panel.settings):  # fmt: skip
        assert control.description
