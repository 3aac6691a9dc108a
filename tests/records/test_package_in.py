"""Another baker's package into a workspace: beside what is there, never over it."""

import hashlib
import io
import shutil
import threading
import zipfile
from datetime import UTC, datetime

import numpy as np
import pandas as pd
import pytest
from PIL import Image
from sqlalchemy import func, select

from kit import quantities
from kit.errors import DataError, NotFoundError
from kit.quantities import Quantity
from kit.records import journal
from kit.records import tables as t
from kit.records.package import receive as receive_module
from kit.records.package.receive import free_name
from kit.workspace import Workspace


def bake_some(ws, name, height=30.0, flour="F2", **head):
    trial = ws.new_trial(
        name, factors={"malt_percent": [0, 0.8]}, outcome="rise_height_mm", **head
    )  # fmt: skip
    bake = trial.add_bake("2026-11-26", flour_lot=flour)
    load = trial.add_load(bake)
    for malt in (0, 0.8):
        dough = trial.add_dough(bake)
        trial.record(dough, "malt_percent", malt)
        trial.record(trial.add_piece(dough, load), "rise_height_mm", height + malt)
    return trial


@pytest.fixture
def ana(tmp_path):
    with Workspace(tmp_path / "ana", who="Ana") as workspace:
        yield workspace


@pytest.fixture
def sent(ana, tmp_path):
    return bake_some(ana, "malt", 40.0, baker="Ana").package(tmp_path / "ana.zip").path


def counts(ws):
    with ws.store.reading() as connection:
        return {name: connection.scalar(select(func.count()).select_from(table))
                for name, table in t.TABLES.items()}  # fmt: skip


def test_a_trial_of_that_name_stays_and_the_new_one_is_told_apart(ws, sent):
    mine = bake_some(ws, "malt")
    before = mine.frame()
    got = ws.receive(sent)
    assert (got.name, got.baker) == ("malt (Ana)", "Ana")
    pd.testing.assert_frame_equal(ws.trial("malt").frame(), before)
    assert got.frame()["rise_height_mm"].tolist() == [40.0, 40.8]
    assert set(got.frame()["flour_lot"]) == {"F2 (Ana)"}  # another bag of the same code
    assert ws.lots()["code"].tolist() == ["F2", "F2 (Ana)"]
    assert str(got).splitlines() == [
        "malt (Ana) by Ana: 2 pieces received.",
        "Note: a trial malt is here already: the new one is malt (Ana).",
        "Note: another flour lot F2 is here: the new one is F2 (Ana).",
    ]
    mine.record(mine.pieces()[0], "rise_height_mm", 30.3)  # two that agree exactly are refused
    both = ws.compare(["malt", "malt (Ana)"], "rise_height_mm", "malt_percent")
    assert both is not None


def test_one_undo_takes_all_of_it_back(ws, sent):
    bake_some(ws, "salt")
    lots = ws.lots()
    ws.receive(sent)
    assert ws.history()["what"].iloc[-1] == (
        "malt: received from ana.zip, 1 bake, 2 doughs, 2 pieces"
    )
    assert ws.undo().startswith("undone: malt: received")
    assert [trial.name for trial in ws.trials()] == ["salt"]
    pd.testing.assert_frame_equal(ws.lots(), lots)
    got = ws.receive(sent)  # and it may come again
    assert (got.name, got.already_here) == ("malt", False)
    assert ws.receive(sent).already_here


def test_the_same_twice_changes_nothing(ws, sent):
    first = ws.receive(sent)
    before = counts(ws), len(ws.history())
    again = ws.receive(sent)
    assert again.already_here
    assert again == first
    assert str(again) == "malt is already here, the very same; nothing was changed."
    assert (counts(ws), len(ws.history())) == before


def test_the_same_is_known_under_its_new_name_and_lots(ws, sent):
    bake_some(ws, "malt")
    got = ws.receive(sent)
    assert ws.receive(sent) == got
    got.change(name="what Ana found", baker="A.")  # names are the receiver's own
    assert ws.receive(sent).already_here


def test_ones_own_package_is_already_here(ws, tmp_path):
    mine = bake_some(ws, "malt")
    assert ws.receive(mine.package(tmp_path / "malt.zip")) == mine


def test_what_another_window_received_meanwhile_is_already_here(ws, sent, monkeypatch):
    landing = receive_module.Landing

    def meanwhile(*args):
        monkeypatch.setattr(receive_module, "Landing", landing)
        ws.receive(sent)
        return landing(*args)

    monkeypatch.setattr(receive_module, "Landing", meanwhile)
    assert ws.receive(sent).already_here
    assert [trial.name for trial in ws.trials()] == ["malt"]
    assert len(ws.history()) == 1
    assert ws.check().ok


def test_known_but_changed_since_keeps_both(ws, ana, sent):
    first = ws.receive(sent)
    kept = first.frame()
    trial = ana.trial("malt")
    trial.record(trial.pieces()[0], "rise_height_mm", 55)
    second = ws.receive(trial.package(sent))
    assert (second.name, second.already_here) == ("malt (Ana)", False)
    assert second != first
    pd.testing.assert_frame_equal(first.frame(), kept)
    assert second.frame()["rise_height_mm"].tolist() == [55, 40.8]
    # the bag is the same bag
    assert ws.lots()["code"].tolist() == ["F2"]
    third = ws.receive(trial.package(sent))
    assert third == second


def test_what_was_changed_here_is_not_lost_either(ws, sent):
    first = ws.receive(sent)
    first.record(first.pieces()[0], "rise_height_mm", 41)
    second = ws.receive(sent)
    assert first.frame()["rise_height_mm"].tolist() == [41, 40.8]
    assert second.frame()["rise_height_mm"].tolist() == [40, 40.8]


def test_the_baker_can_be_said(ws, tmp_path, ana):
    bake_some(ws, "malt")
    path = bake_some(ana, "malt").package(tmp_path / "ana.zip")
    assert ws.receive(path).name == "malt (received)"
    ws.undo()
    got = ws.receive(path, baker="Harbour café (invented)")
    assert (got.name, got.baker) == ("malt (Harbour café)", "Harbour café (invented)")


def test_a_name_that_is_long_or_taken_again_still_fits():
    taken = []
    for _ in range(12):
        taken.append(free_name("x" * 80, "Ana", taken, 80))
    assert len(set(taken)) == 12
    assert max(map(len, taken)) == 80
    assert taken[:2] == ["x" * 80, "x" * 74 + " (Ana)"]


def test_a_quantity_that_means_something_else_gets_a_name_of_its_own(ws, tmp_path, ana):
    """Two kitchens name two things alike: theirs is a share, ours a length."""
    trial = bake_some(ana, "malt")
    theirs = Quantity("char_mm", "Char", "mm", "piece", (0, 50), (0, 5), 1, "Burnt rim.")
    ana.add_quantity(theirs)
    trial.record(trial.pieces()[0], "char_mm", 3)
    trial.change(outcome="char_mm")
    path = trial.package(tmp_path / "ana.zip").path
    hurt = tmp_path / "other.zip"
    # as written by a kit where the name has another unit
    import zipfile

    with zipfile.ZipFile(path) as old, zipfile.ZipFile(hurt, "w") as new:
        for name in old.namelist():
            content = old.read(name)
            if name == "records/quantity.csv":
                assert b"char_mm,Char,mm," in content
                content = content.replace(b"char_mm,Char,mm,", b"char_mm,Char,\xc2\xb0C,")
            new.writestr(name, content)
    got = ws.receive(hurt)
    assert got.outcome == "char_mm_2"
    assert got.frame()["char_mm_2"].tolist()[0] == 3
    assert quantities.get("char_mm") == theirs
    assert (quantities.get("char_mm_2").unit, quantities.get("char_mm_2").label) == ("°C", "Char")
    assert any("char_mm is something else here" in note for note in got.notes)
    assert ws.receive(hurt).already_here


def test_a_quantity_that_cannot_be_one_is_told_with_the_other_problems(ws, tmp_path, ana):
    trial = bake_some(ana, "malt")
    ana.add_quantity(Quantity("rim_mm", "Rim", "mm", "piece", (0, 50), (0, 5), 1, "Burnt rim."))
    trial.record(trial.pieces()[0], "rim_mm", 3)
    path, hurt = trial.package(tmp_path / "ana.zip").path, tmp_path / "hurt.zip"
    with zipfile.ZipFile(path) as old, zipfile.ZipFile(hurt, "w") as new:
        for name in old.namelist():
            content = old.read(name)
            if name == "records/quantity.csv":
                assert b",0.0,5.0,1,Burnt" in content
                content = content.replace(b",0.0,5.0,1,Burnt", b",0.0,5.0,10,Burnt")
            new.writestr(name, content)
    with pytest.raises(DataError) as caught:
        ws.receive(hurt)
    assert "decimals is 10 (quantity.csv row" in str(caught.value)
    assert "must be a whole number from 0 to 9." in str(caught.value)


def with_photo(trial, name, seed):
    drawn = np.random.default_rng(seed).integers(0, 255, (20, 30, 3), dtype=np.uint8)
    held = io.BytesIO()
    Image.fromarray(drawn).save(held, "PNG")
    ws, piece = trial.workspace, trial.pieces()[0]
    (ws.folder / "photos" / name).write_bytes(held.getvalue())
    with journal.step(ws.store, "Ana", "photo") as step:
        step.add(t.photo, {
            "trial_id": trial.id, "level": "piece", "target_id": piece.id,
            "path": f"photos/{name}", "sha256": hashlib.sha256(held.getvalue()).hexdigest(),
            "taken": None, "shows": None,
        })  # fmt: skip


def test_a_picture_never_takes_the_place_of_a_file(ws, ana, tmp_path):
    trial = bake_some(ana, "malt")
    with_photo(trial, "a.png", 1)
    path = trial.package(tmp_path / "ana.zip")
    ws.receive(path)
    (arrived,) = (ws.folder / "photos").iterdir()
    ws.undo()
    arrived.write_bytes(b"mine, by chance of that name")
    ws.receive(path)
    assert arrived.read_bytes() == b"mine, by chance of that name"
    assert len(list((ws.folder / "photos").iterdir())) == 2
    # nothing is left of the unpacking
    assert not [p for p in ws.folder.iterdir() if p.name.startswith(".receiving")]


def test_a_link_in_the_way_is_not_followed(ws, ana, tmp_path):
    trial = bake_some(ana, "malt")
    with_photo(trial, "a.png", 1)
    path = trial.package(tmp_path / "ana.zip")
    ws.receive(path)
    (arrived,) = (ws.folder / "photos").iterdir()
    ws.undo()
    arrived.unlink()
    outside = tmp_path / "outside.png"
    arrived.symlink_to(outside)
    ws.receive(path)
    assert not outside.exists()


def test_everything_or_nothing(ws, ana, tmp_path, monkeypatch):
    trial = bake_some(ana, "malt")
    with_photo(trial, "a.png", 1)
    path = trial.package(tmp_path / "ana.zip")
    before = counts(ws), len(ws.history())
    real = journal.Step.add_all

    def breaks(self, table, rows):
        if table is t.reading:
            raise RuntimeError("power cut")
        real(self, table, rows)

    with monkeypatch.context() as patch:
        patch.setattr(journal.Step, "add_all", breaks)
        with pytest.raises(RuntimeError, match="power cut"):
            ws.receive(path)
    assert (counts(ws), len(ws.history())) == before
    assert list((ws.folder / "photos").iterdir()) == []
    assert not [p for p in ws.folder.iterdir() if p.name.startswith(".receiving")]
    assert len(ws.receive(path).frame()) == 2


def test_a_shared_database_keeps_no_pictures_and_says_so(ana, tmp_path):
    trial = bake_some(ana, "malt")
    with_photo(trial, "a.png", 1)
    path = trial.package(tmp_path / "ana.zip")
    with Workspace(f"sqlite:///{tmp_path}/shared.sqlite") as shared:
        got = shared.receive(path)
        assert got.notes == ("1 pictures are left out: a shared database keeps none",)
        assert shared.receive(path).already_here


def test_two_who_receive_at_once_get_one_each_or_one_together(ws, sent):
    got, errors = [], []

    def receive():
        try:
            with Workspace(ws.folder) as own:
                got.append(own.receive(sent).name)
        except Exception as exc:
            errors.append(exc)

    threads = [threading.Thread(target=receive) for _ in range(3)]
    [thread.start() for thread in threads]
    [thread.join() for thread in threads]
    assert not errors
    assert {trial.name for trial in ws.trials()} == set(got)
    for trial in ws.trials():
        assert trial.frame()["rise_height_mm"].tolist() == [40.0, 40.8]


def test_a_copy_of_a_copy_is_the_same_trial(ws, sent, tmp_path):
    shutil.copy(sent, tmp_path / "renamed.zip")
    first = ws.receive(sent)
    assert ws.receive(tmp_path / "renamed.zip") == first


def test_what_is_not_there_is_said(ws, tmp_path):
    with pytest.raises(DataError) as caught:
        ws.receive(tmp_path / "none.zip")
    assert str(caught.value) == (
        "none.zip is not there. Give the zip file another baker sent you. Nothing was stored."
    )
    with pytest.raises(DataError, match=r"is a folder\. Give the zip file"):
        ws.receive(tmp_path)
    with pytest.raises(NotFoundError):
        ws.trial("malt")


def test_a_notebook_shows_how_it_arrived(ws, sent):
    bake_some(ws, "malt")
    got = ws.receive(sent, baker="Ana <b>")
    shown = got._repr_html_()
    assert "a trial malt is here already: the new one is malt (Ana &lt;b&gt;)" in shown


def test_stages_of_a_bake_travel_too(ws, ana, tmp_path):
    trial = bake_some(ana, "malt")
    trial.stage(trial.doughs()[0], "mixed", datetime(2026, 11, 24, 7, 30, tzinfo=UTC))
    got = ws.receive(trial.package(tmp_path / "ana.zip"))
    with ws.store.reading() as connection:
        event = connection.execute(select(t.event)).one()
    assert (event.kind, event.target_id) == ("stage: mixed", got.doughs()[0].id)
