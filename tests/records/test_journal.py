import json
import signal
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, closing
from datetime import date

import pandas as pd
import pytest
from sqlalchemy import event, func, select

from kit.errors import DataError, InputError, StoreError
from kit.records import journal
from kit.records import tables as t
from kit.records.keeping.store import open_store
from kit.records.sheets import bring
from kit.workspace import Workspace


def rows(ws, table):
    with ws.store.reading() as connection:
        return connection.scalar(select(func.count()).select_from(table))


def test_history_in_words(ws, trial, made):
    trial.record(made.dough, "malt_percent", "0,8", how="planned")
    trial.record(made.pieces[0], "rise_height_mm", "38,5")
    trial.record(made.pieces[0], "rise_height_mm", "")
    trial.change(made.bake, day="2026-11-27")
    trial.event("burnt", on=made.pieces[1])
    trial.remove(made.load)
    told = ws.history()
    assert list(told.columns) == ["when", "who", "what", "undone"]
    assert told["what"].tolist() == [
        "malt: trial begun",
        "malt: bake 1 of 2026-11-26 begun",
        "malt: dough 1A added",
        "malt: load 1 of bake 1 added",
        "malt: piece 1A1 added",
        "malt: piece 1A2 added",
        "malt: piece 1A3 added",
        "malt: planned Diastatic malt 0.80 %, dough 1A",
        "malt: Height 38.5 mm, piece 1A1",
        "malt: Height taken back, piece 1A1",
        "malt: bake 1: day now 2026-11-27",
        "malt: event 'burnt' on piece 1A2 noted",
        "malt: load 1 of bake 1 removed",
    ]
    assert set(told["who"]) == {"Ida"}
    assert not told["undone"].any()
    assert told["when"].is_monotonic_increasing
    assert ws.history(2)["what"].tolist() == told["what"].tolist()[-2:]


def test_a_change_is_told_in_words(ws, trial, made):
    trial.change(made.bake, flour_lot="", note="cold")
    assert ws.history(1)["what"].tolist() == ["malt: bake 1: flour lot now empty, note now cold"]
    trial.change(matters=1.5)
    assert ws.undo() == "undone: malt: matters now 1.5"


def test_undo_goes_back_step_by_step_and_the_history_keeps_it(ws, trial, made):
    trial.record(made.pieces[0], "rise_height_mm", 38)
    trial.record(made.pieces[0], "rise_height_mm", 39)
    assert ws.undo() == "undone: malt: Height 39.0 mm, piece 1A1"
    assert trial.frame()["rise_height_mm"].iloc[0] == 38
    assert ws.undo() == "undone: malt: Height 38.0 mm, piece 1A1"
    assert "rise_height_mm" not in trial.frame()
    trial.record(made.pieces[0], "rise_height_mm", 40)
    assert ws.history()["undone"].tolist() == [False] * 7 + [True, True, False]
    assert ws.undo() == "undone: malt: Height 40.0 mm, piece 1A1"
    for _ in range(7):
        ws.undo()
    assert ws.trials() == []
    assert ws.undo() == "nothing to undo"
    assert ws.history()["undone"].all()


def test_a_change_is_journaled_with_before_and_after(ws, trial, made):
    trial.change(made.bake, day="2026-12-01", note="warm room")
    with ws.store.reading() as connection:
        line = connection.execute(select(t.change).order_by(t.change.c.seq.desc())).first()
    assert (line.table, line.row_id, line.what) == ("bake", made.bake.id, "change")
    assert line.before == {"day": "2026-11-26", "note": ""}
    assert line.after == {"day": "2026-12-01", "note": "warm room"}
    ws.undo()
    assert trial.bake("1").day == date(2026, 11, 26)


def test_a_change_to_the_same_is_no_change(ws, trial, made):
    before = len(ws.history())
    trial.change(made.bake, day="2026-11-26")
    assert len(ws.history()) == before


def test_every_row_stands_in_the_journal(ws, trial, made):
    trial.set_formula("base", [("flour", "flour", 100), ("milk", "liquid", 72)])
    trial.event("burnt", on=made.pieces[0])
    trial.record(made.dough, "malt_percent", 0.8)
    trial.bring_in(
        trial.look_at(pd.DataFrame({"bake": [2, 2], "dough": "2A", "rise_height_mm": [38, 39]}))
    )
    with ws.store.reading() as connection:
        lines = connection.execute(select(t.change).where(t.change.c.what == "add")).all()
        told = [
            (line.table, row_id)
            for line in lines
            for row_id in ([line.row_id] if line.row_id else line.after["ids"])
        ]
        stored = [
            (name, row_id)
            for name, table in t.TABLES.items()
            for row_id in connection.scalars(select(table.c.id))
        ]
    assert sorted(told) == sorted(stored)


def test_one_undo_takes_a_whole_import_back(ws, trial, made):
    before = trial.frame()
    table = pd.DataFrame(
        {
            "bake": [2, 2, 3], "dough": ["2A", "2A", "3A"], "load": [1, 1, 1],
            "flour_lot": "F9", "rise_height_mm": [38.5, None, 40.0],
            "events": [None, "burnt", None],
        }
    )  # fmt: skip
    trial.bring_in(trial.look_at(table))
    assert len(trial.frame()) == 6
    assert ws.undo() == "undone: malt: brought in 3 rows of the table"
    pd.testing.assert_frame_equal(trial.frame(), before)
    assert ws.lots()["code"].tolist() == ["F2"]
    assert trial.events().empty
    trial.bring_in(trial.look_at(table))  # and may come again
    assert len(trial.frame()) == 6


@pytest.mark.parametrize("what", ["dough", "bake", "load"])
def test_undo_of_a_removal_brings_back_all_that_went_with_it(ws, trial, made, what):
    trial.record(made.pieces[0], "rise_height_mm", 38)
    trial.record(made.load, "griddle_temp_c", 190)
    before = trial.frame()
    trial.remove(getattr(made, what))
    assert len(trial.frame()) == (3 if what == "load" else 0)
    ws.undo()
    pd.testing.assert_frame_equal(trial.frame(), before)


def test_nothing_is_ever_removed_from_the_file(ws, trial, made):
    counts = {name: rows(ws, table) for name, table in t.metadata.tables.items()}
    trial.remove(made.bake)
    while ws.undo() != "nothing to undo":
        pass
    left = {name: rows(ws, table) for name, table in t.metadata.tables.items()}
    assert all(left[name] >= counts[name] for name in counts)


def test_an_error_within_a_step_leaves_neither_row_nor_journal(ws, trial, made, monkeypatch):
    counts = rows(ws, t.reading), rows(ws, t.change)

    def torn(self):
        raise RuntimeError("power cut")

    monkeypatch.setattr(journal.Step, "end", torn)  # after the row, before its journal
    with pytest.raises(RuntimeError, match="power cut"):
        trial.record(made.pieces[0], "rise_height_mm", 38)
    monkeypatch.undo()
    assert (rows(ws, t.reading), rows(ws, t.change)) == counts
    with pytest.raises(InputError):
        trial.record(made.pieces[0], "rise_height_mm", "tall")
    assert (rows(ws, t.reading), rows(ws, t.change)) == counts
    trial.record(made.pieces[0], "rise_height_mm", 38)
    assert (rows(ws, t.reading), rows(ws, t.change)) == (counts[0] + 1, counts[1] + 1)


KILLED = """
import os, signal, sys
from kit.records import journal
from kit.workspace import Workspace
ws = Workspace(sys.argv[1])
trial = ws.trial("malt")
trial.record("1A1", "rise_height_mm", 38)
print("acknowledged", flush=True)
journal.Step.end = lambda self: os.kill(os.getpid(), signal.SIGKILL)
trial.record("1A1", "rise_height_mm", 99)
"""


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="no SIGKILL on this system")
def test_a_program_killed_between_row_and_journal_leaves_neither(tmp_path):
    with Workspace(tmp_path) as ws:
        trial = ws.new_trial("malt")
        trial.add_piece(trial.add_dough(trial.add_bake("2026-11-26")))
    done = subprocess.run(
        [sys.executable, "-c", KILLED, str(tmp_path)], capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stdout) == (-signal.SIGKILL, "acknowledged\n")
    with Workspace(tmp_path) as ws:
        assert ws.trial("malt").frame()["rise_height_mm"].tolist() == [38]
        assert ws.history()["what"].iloc[-1] == "malt: Height 38.0 mm, piece 1A1"
        with ws.store.reading() as connection:
            assert connection.exec_driver_sql("PRAGMA integrity_check").scalar() == "ok"


def test_an_import_that_fails_half_way_leaves_nothing(ws, trial, made, monkeypatch):
    counts = {name: rows(ws, table) for name, table in t.metadata.tables.items()}
    add_all = journal.Step.add_all

    def torn(self, table, some):
        add_all(self, table, some)
        if table is t.piece:
            raise RuntimeError("power cut")

    monkeypatch.setattr(journal.Step, "add_all", torn)
    with pytest.raises(RuntimeError, match="power cut"):
        trial.bring_in(
            trial.look_at(pd.DataFrame({"bake": [2], "dough": ["2A"], "flour_lot": ["F9"]}))
        )
    assert {name: rows(ws, table) for name, table in t.metadata.tables.items()} == counts


def test_ids_are_uuids_of_version_7_in_order_of_time():
    import uuid

    ids = [journal.new_id() for _ in range(2000)]
    assert len(set(ids)) == 2000
    read = [uuid.UUID(i) for i in ids]
    assert {u.version for u in read} == {7}
    assert {u.variant for u in read} == {uuid.RFC_4122}
    times = [int(i[:12], 16) for i in ids]
    assert times == sorted(times)


def test_the_journal_is_plain_json(ws, trial, made):
    trial.record(made.pieces[0], "rise_height_mm", 38.5, u=0.5, note="calliper")
    with closing(ws.store.engine.raw_connection()) as raw:
        cursor = raw.cursor()
        cursor.execute("SELECT after FROM change ORDER BY seq DESC LIMIT 1")
        after = json.loads(cursor.fetchone()[0])
    assert (after["value"], after["u"], after["note"]) == (38.5, 0.5, "calliper")
    assert (after["how"], after["quantity"]) == ("entered", "rise_height_mm")


def test_several_things_together_are_one_undo(ws, trial, made):
    with ws.together("malt: 3 values filled in"):
        for number, piece in enumerate(made.pieces):
            trial.record(piece, "rise_height_mm", 30 + number)
            assert trial.frame()["rise_height_mm"].notna().sum() == number + 1  # each at once
    trial.record(made.dough, "malt_percent", 0.8)
    assert ws.history()["what"].tolist()[-2] == "malt: 3 values filled in"
    assert ws.undo() == "undone: malt: Diastatic malt 0.80 %, dough 1A"
    assert ws.undo() == "undone: malt: 3 values filled in"
    assert "rise_height_mm" not in trial.frame()
    assert len(trial.pieces()) == 3


def test_what_is_whole_is_taken_back_by_an_error_and_is_nothing_to_undo(ws, trial, made):
    trial.record(made.pieces[0], "rise_height_mm", 29)

    def fill_in():
        with ws.together("malt: 2 values filled in", whole=True):
            trial.record(made.pieces[0], "rise_height_mm", 30)
            trial.record(made.pieces[1], "rise_height_mm", -1)

    with pytest.raises(InputError):
        fill_in()
    assert trial.frame()["rise_height_mm"].dropna().tolist() == [29]
    assert ws.history()["undone"].tolist()[-1]
    assert ws.undo() == "undone: malt: Height 29.0 mm, piece 1A1"


def test_what_is_whole_is_taken_back_where_the_program_is_interrupted(ws, trial, made):
    """By Ctrl-C, in the middle of a statement."""
    trial.record(made.pieces[0], "rise_height_mm", 29)

    def interrupt(cursor, statement, parameters, context):
        cursor.execute(statement, parameters)
        if statement.startswith("INSERT INTO reading"):
            raise KeyboardInterrupt
        return True

    def fill_in():
        with ws.together("malt: 2 values filled in", whole=True):
            trial.record(made.pieces[0], "rise_height_mm", 30)
            event.listen(ws.store.engine, "do_execute", interrupt)
            try:
                trial.record(made.pieces[1], "rise_height_mm", 31)
            finally:
                event.remove(ws.store.engine, "do_execute", interrupt)

    with pytest.raises(KeyboardInterrupt) as caught:
        fill_in()
    assert not hasattr(caught.value, "__notes__")
    assert trial.frame()["rise_height_mm"].dropna().tolist() == [29]


def test_who_did_nothing_waits_for_nobody_and_the_first_error_is_told(ws, trial, made):
    """While another program writes."""
    other, mine = open_store(ws.folder), Workspace(ws.folder, wait_seconds=0.1)
    trial = mine.trial("malt")

    def fill_in(*values):
        with ExitStack() as stack, mine.together("malt: filled in", whole=True):
            for value in values:
                trial.record(trial.pieces()[0], "rise_height_mm", value)
            stack.enter_context(other.writing())
            raise DataError("The scale is off.")

    with pytest.raises(DataError, match=r"^The scale is off\.$"):
        fill_in()
    with pytest.raises(StoreError) as caught:
        fill_in(30)
    said = "The scale is off. What was done before that stays, for it could not be taken back: "
    assert str(caught.value).startswith(said)
    assert mine.undo() == "undone: malt: filled in"
    mine.close()
    other.close()


@pytest.mark.parametrize("whole", [True, False])
def test_what_another_window_gave_a_field_meanwhile_is_not_taken_back(ws, trial, made, whole):
    trial.change(made.bake, note="old", flour_lot="old", day="2026-11-20")
    with Workspace(ws.folder) as second:
        other = second.trial("malt")

        def fill_in():
            with ws.together("malt: filled in", whole=whole):
                trial.change(made.bake, note="mine", flour_lot="mine", day="2026-11-21")
                trial.change(made.bake, note="mine again", day="2026-11-22")
                other.change(other.bakes()[0], flour_lot="theirs")
                trial.record(made.pieces[0], "rise_height_mm", 30)
                trial.record(made.pieces[1], "rise_height_mm", -1)

        with pytest.raises(InputError):
            fill_in()
    if not whole:
        assert ws.undo() == "undone: malt: filled in"
    [bake] = trial.bakes()
    assert (bake.note, bake.flour_lot, str(bake.day)) == ("old", "theirs", "2026-11-20")
    assert "rise_height_mm" not in trial.frame()


def test_a_place_on_the_griddle_is_taken_back_with_its_load_or_not_at_all(ws, trial, made):
    first, second = trial.add_load(made.bake), trial.add_load(made.bake)
    piece, neighbour = trial.add_piece(made.dough), trial.add_piece(made.dough)
    trial.change(piece, load=first, place=1)
    with Workspace(ws.folder) as there:
        other = there.trial("malt")
        with ws.together("malt: moved"):
            trial.change(piece, load=second, place=2)
            other.change(other.piece(piece.code), place=3)
            other.change(other.piece(neighbour.code), load=other.loads()[-2], place=3)
            trial.record(made.pieces[1], "rise_height_mm", 31)
    assert ws.undo() == "undone: malt: moved"
    assert (trial.piece(piece.code).load.id, trial.piece(piece.code).place) == (second.id, 3)
    assert (trial.piece(neighbour.code).load.id, trial.piece(neighbour.code).place) == (first.id, 3)


def test_what_was_done_before_an_error_stays_and_is_undone_at_once(ws, trial, made):
    def fill_in():
        with ws.together("malt: 2 values filled in"):
            trial.record(made.pieces[0], "rise_height_mm", 30)
            trial.record(made.pieces[1], "rise_height_mm", -1)

    with pytest.raises(InputError):
        fill_in()
    assert trial.frame()["rise_height_mm"].notna().sum() == 1
    trial.record(made.pieces[1], "rise_height_mm", 31)  # after the block, a step of its own
    ws.undo()
    assert trial.frame()["rise_height_mm"].notna().sum() == 1
    ws.undo()
    assert "rise_height_mm" not in trial.frame()


@pytest.mark.parametrize("whole", [False, True])
def test_what_another_window_undoes_half_way_does_not_go_on(ws, trial, made, whole):
    def fill_in():
        with ws.together("malt: filled in", whole=whole):
            trial.record(made.pieces[0], "rise_height_mm", 30)
            with Workspace(ws.folder) as there:
                assert there.undo() == "undone: malt: filled in"
            trial.record(made.pieces[1], "rise_height_mm", 31)

    with pytest.raises(DataError) as caught:
        fill_in()
    assert str(caught.value) == (
        "what was stored of this was undone meanwhile, so the rest was left as well. Do it again "
        "if it is wanted."
    )
    assert "rise_height_mm" not in trial.frame()
    assert ws.check().ok  # nothing is undone by half
    trial.record(made.pieces[1], "rise_height_mm", 31)
    assert ws.undo() == "undone: malt: Height 31.0 mm, piece 1A2"


def test_what_was_undone_meanwhile_is_not_taken_back_again(ws, trial, made):
    """Another window gave the field what it had within the block: that is its own by now."""

    def fill_in():
        with ws.together("malt: filled in", whole=True):
            trial.change(question="Does malt lift?")
            with Workspace(ws.folder) as there:
                there.undo()
                there.trials()[0].change(question="Does malt lift?")
            trial.change(matters=2)

    with pytest.raises(DataError, match="was undone meanwhile"):
        fill_in()
    with Workspace(ws.folder) as there:
        assert there.trials()[0].question == "Does malt lift?"
    assert ws.check().ok


def test_an_import_that_another_window_undoes_ends(ws, trial, made, monkeypatch):
    monkeypatch.setattr(bring, "BATCH", 10)
    rows = [{"bake": 7, "dough": "A", "piece": i, "rise_height_mm": 30} for i in range(30)]
    look = trial.look_at(pd.DataFrame(rows))
    before = len(trial.frame())

    def undone(done, _total):
        if done == 20:
            ws.undo()

    with pytest.raises(DataError, match="was undone meanwhile"):
        trial.bring_in(look, progress=undone)
    assert len(trial.frame()) == before
    assert ws.check().ok
    assert trial.bring_in(look).new["piece"] == 30


@pytest.mark.parametrize("given_away", ["code", "place", "name"])
def test_an_undo_is_not_stopped_by_what_another_window_has_given_away(ws, trial, made, given_away):
    """What one window gave up amid a longer step, the other took: both are undone, one by one."""
    ws.new_trial("salt")
    before = trial.frame()
    with Workspace(ws.folder, who="Eva") as other:
        theirs = other.trial("malt")
        with ws.together("tidied"):
            if given_away == "code":
                trial.change(made.dough, code="1Z")
                theirs.add_dough(theirs.bakes()[0], code="1A")
            elif given_away == "place":
                trial.change(made.pieces[0], load=None)
                theirs.change(made.pieces[2], load=made.load, place=1)
            else:
                ws.remove_trial("malt")
                other.new_trial("malt")
            ws.trial("salt").change(question="Less salt?")
        assert ws.undo() == (
            "undone: tidied; what has been given to another since stays, and the next undo tries "
            "it again"
        )
        assert ws.trial("salt").question == ""
        assert ws.check().ok
        other.undo()  # of what stood in the way
    pd.testing.assert_frame_equal(trial.frame(), before)
    assert ws.check().ok
    told = ws.history().tail(2)
    assert "tidied" in told["what"].tolist()
    assert told["undone"].all()
    assert ws.undo() == "undone: salt: trial begun"


@pytest.mark.parametrize("part", [False, True])
def test_a_step_that_fails_tells_what_another_window_has_given_away(ws, trial, part):
    def fails():
        with Workspace(ws.folder) as other, ws.together("tidied", whole=True):
            ws.remove_trial("malt")
            if part:
                ws.new_trial("salt")
            other.new_trial("malt")
            msg = "Power cut."
            raise RuntimeError(msg)

    said = (
        "Power cut. What was done before that stays, for it could not be taken back: another "
        "window has its names or places. Undo what it did. Then undo: it takes it back."
    )
    if part:
        said = (
            "Power cut. Not all of what was done before that is taken back: what has been given to "
            "another since stays, and the next undo tries it again."
        )
    with pytest.raises(StoreError) as caught:
        fails()
    assert str(caught.value) == said
    assert [one.name for one in ws.trials()] == ["malt"]
    told = ws.history().set_index("what")["undone"]
    assert told["tidied"] == part
    assert ws.undo() == "undone: malt: trial begun"
    if not part:
        assert ws.undo() == "undone: tidied"
    assert [one.id for one in ws.trials()] == [trial.id]
    assert ws.check().ok


def test_what_a_step_made_and_took_out_again_does_not_come_back_with_its_undo(ws, trial, made):
    with ws.together("tried out"):
        trial.remove(trial.add_load(made.bake))
        trial.remove(trial.add_dough(made.bake))
    assert ws.undo() == "undone: tried out"
    assert (len(trial.loads()), len(trial.doughs())) == (1, 1)
    assert ws.check().ok


def test_what_was_never_made_does_not_come_back_with_another_windows_undo(ws, trial, made):
    def fails():
        with Workspace(ws.folder) as other, ws.together("tried out", whole=True):
            load = trial.add_load(made.bake)
            other.trial("malt").remove(load)
            msg = "power cut"
            raise RuntimeError(msg)

    with pytest.raises(RuntimeError, match="power cut"):
        fails()
    assert ws.undo() == "undone: malt: load 2 of bake 1 removed"
    assert len(trial.loads()) == 1
    assert ws.check().ok


def test_an_undo_leaves_a_bake_into_which_another_window_put_a_dough(ws, trial):
    """The dough hung on a bake that was gone, and was shown nowhere."""
    with ws.together("a plan kept"):
        mine = trial.add_bake("2026-11-26")
        trial.add_dough(mine)
        with ThreadPoolExecutor(1) as other:  # another window
            theirs = other.submit(trial.add_dough, mine).result()
        alone = trial.add_bake("2026-11-27")
    stays = "what has been given to another since stays, and the next undo tries it again"
    assert ws.undo() == f"undone: a plan kept; {stays}"
    assert trial.bakes() == [mine]
    assert trial.doughs() == [theirs]
    assert ws.check().ok, str(ws.check())
    assert ws.undo() == "undone: malt: dough 1B added"
    assert (trial.bakes(), trial.doughs()) == ([], [])
    assert ws.check().ok, str(ws.check())
    assert alone.code == "2"
    assert ws.undo() == "undone: malt: trial begun"
