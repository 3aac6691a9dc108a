"""A trial with everything in it goes out, comes in elsewhere, goes out again: the same files.

What a kit before this one wrote comes in whole as well.
"""

import csv
import io
import json
import zipfile
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from PIL import Image

import kit
from kit.photo.sides.jar import Jar
from kit.quantities import Quantity
from kit.records import journal
from kit.records.package import out, rows
from kit.records.photos import store as kept
from kit.records.photos.measured_by import MeasuredBy
from kit.records.tables import VERSIONS
from kit.workspace import Workspace


def drawn(folder, *names):
    """Pictures of nothing, each another one."""
    folder.mkdir()
    for seed, name in enumerate(names, start=7711001):
        pixels = np.random.default_rng(seed).integers(0, 255, (20, 30, 3), dtype=np.uint8)
        Image.fromarray(pixels).save(folder / name)
    return folder


def measured(trial, photo, thing, quantity, value):
    """As `Trial.accept` keeps it."""
    with journal.step(trial.workspace.store, "Ida", "measured") as step:
        kept.record(step, trial.id, photo, thing, quantity, value, 0.5, "as found")


def baked(ws, tmp_path, zone):
    """Planned and baked, in other settings than planned, with all that can hang on it."""
    trial = ws.new_trial(
        "Größe „zwei“ 🧪", question="=Ist’s höher?", factors={"malt_percent": [0, 0.4]},
        outcome="rise_height_mm", matters=2, zone=zone, baker="'Ída", invented=True,
    )  # fmt: skip
    ws.add_quantity(Quantity("krume_mm", "Krüme", "mm", "piece", (0, np.inf), (1, 8), 1, "=x"))
    malt = kit.Factor("malt_percent", (0, 0.4, 0.9))
    trial.keep(kit.design([malt], kit.Kitchen(bakes=2, tubs=2)), "2026-04-05")
    first, dough = trial.bakes()[0], trial.doughs()[0]
    trial.change(first, flour_lot="F“2", note="\tñ")
    trial.record(dough, "malt_percent", 0.55)
    trial.stage(dough, "shaped", at="2026-04-05 05:30")
    for now, clock in (("68 mm", "06:10"), ("80 mm", "06:40"), ("100 mm", "07:10")):
        trial.note_rise(dough, now, start="40 mm", way="level", at=f"2026-04-05 {clock}")
    one, two, gone, *_ = trial.pieces()
    trial.change(one, blind="0417")
    trial.record(one, "rise_height_mm", "1 1/4 in", u=0.1 + 0.2)
    trial.record(one, "krume_mm", 2.5)
    trial.record(one, "krume_mm", "")
    trial.event("burnt", "'tis", on=one)
    trial.remove(gone)
    trial.add_piece(trial.add_dough(trial.add_bake(None), code="Ä-1"), code="ß")
    trial.add_photos(drawn(tmp_path / "sd", "IMG ü 1.jpg", "jar 1.png", "jar 2.tif", "no.jpg"))
    side, jars, no = (
        [photo for photo in trial.photos() if word in photo.name] for word in ("IMG", "jar", "no")
    )
    by_hand = MeasuredBy("points", {"points": [(1, 2), (30, 2)], "mm": 40},
                         {"outline": [[1.5, 2], [3, 4], [5, 6.25]]}, ("outline",))  # fmt: skip
    trial.change_photo(side[0], shows="side", on=two, measured_by=by_hand)
    for photo, clock, ml in zip(jars, ("06:00", "07:00"), (400, 610.25), strict=True):
        jar = MeasuredBy(how={"jar": Jar(86)})
        at = f"2026-04-05 {clock}"
        trial.change_photo(photo, shows="rise", on=dough, taken=at, measured_by=jar)
        measured(trial, photo, dough, "dough_volume_ml", ml)
    measured(trial, side[0], two, "diameter_mm", 80.5)
    trial.remove_photo(no[0])
    told = trial.plan_tasting("triangle", ["A", "B"], ["Jö"], tries=2, seed=7711002)
    for plate in (1, 2):
        trial.taste("Jö", told.right("Jö", plate), plate=plate)
    trial.unblind()
    trial.plan_tasting("ranking", [dough, trial.doughs()[1], "bought"], 2, seed=7711003)
    return trial


def files(package):
    """What is in it, but for when it was written."""
    with zipfile.ZipFile(package) as zipped:
        held = {name: zipped.read(name) for name in zipped.namelist()}
    about = json.loads(held.pop("datapackage.json"))
    del about["created"]
    return held | {"about": about}


@pytest.mark.parametrize("zone", ["Pacific/Apia", "America/St_Johns", "Africa/Casablanca"])
def test_out_and_in_and_out_is_the_same(ws, tmp_path, zone):
    trial = baked(ws, tmp_path, zone)
    sent = trial.package(tmp_path / "sent.zip")
    assert sent.photos == 3
    with Workspace(tmp_path / "there", who="Ana") as there:
        got = there.receive(sent)
        again = got.package(tmp_path / "again.zip")
        assert files(again) == files(sent)
        for told in ("frame", "provenance", "events", "stages", "rise_readings", "tastings"):
            one, other = getattr(trial, told)(), getattr(got, told)()
            ids = ["id", "photo", "event"]  # pictures have other names there
            one, other = (x.drop(columns=ids, errors="ignore") for x in (one, other))
            pd.testing.assert_frame_equal(one, other)
        assert got.planned_bakes() == trial.planned_bakes()
        assert got.serving() == trial.serving()
        said = [[(p.measured_by, p.shows, p.taken, str(p.on)) for p in x.photos()]
                for x in (trial, got)]  # fmt: skip
        assert said[0] == said[1]
        assert there.check().ok
        # and home again, where it was changed meanwhile: beside it, under other ids
        trial.event("later")
        home = ws.receive(again)
        assert not home.already_here
        pd.testing.assert_frame_equal(home.frame(), got.frame())
        assert there.receive(home.package(tmp_path / "home.zip")).already_here


def test_what_both_photos_of_a_piece_told_travels(ws, tmp_path):
    trial = ws.new_trial("twice", outcome="rise_height_mm")
    dough = trial.add_dough(trial.add_bake("2026-11-05"))
    pieces = [trial.add_piece(dough) for _ in range(5)]
    trial.add_photos(drawn(tmp_path / "sd", *(f"{i}.png" for i in range(10))), shows="side")
    for i, photo in enumerate(trial.photos()):
        measured(trial, photo, pieces[i % 5], "rise_height_mm", 30 + i % 5 + 0.1 * (i // 5))
    measured(trial, trial.photos()[0], pieces[0], "rise_height_mm", 29)  # measured anew
    trial.record(pieces[0], "rise_height_mm", 28)  # which counts
    with Workspace(tmp_path / "there") as there:
        got = there.receive(trial.package(tmp_path / "twice.zip"))
        pd.testing.assert_frame_equal(got.frame(), trial.frame())
        assert got.frame()["rise_height_mm"].tolist()[0] == 28
        both = [x.photo_readings()[["photo", "quantity", "value", "u"]] for x in (trial, got)]
        pd.testing.assert_frame_equal(*both)
        assert len(both[1]) == 10
        assert str(got.repeatability()) == str(trial.repeatability())
        # what was taken back is not sent: it would count there
        trial.record(pieces[0], "rise_height_mm", "")
        got = there.receive(trial.package(tmp_path / "less.zip"))
        pd.testing.assert_frame_equal(got.frame(), trial.frame())
        assert len(got.photo_readings()) == 8


def test_what_an_older_kit_sent_of_two_photos_a_piece_is_known_again(ws, tmp_path, monkeypatch):
    trial = ws.new_trial("twice", outcome="rise_height_mm")
    piece = trial.add_piece(trial.add_dough(trial.add_bake("2026-11-05")))
    trial.add_photos(drawn(tmp_path / "sd", "0.png", "1.png"), shows="side")
    for value, photo in zip((30, 31), trial.photos(), strict=True):
        measured(trial, photo, piece, "rise_height_mm", value)
    new = trial.package(tmp_path / "new.zip").path
    with monkeypatch.context() as older:  # sent what counts alone

        def fewer(connection, trial_id):
            kept = rows.read_rows(connection, trial_id)
            counting = rows.deciding(kept.rows["reading"])
            return replace(kept, rows={**kept.rows, "reading": counting})

        older.setattr(out, "read_rows", fewer)
        old = trial.package(tmp_path / "old.zip").path
    assert ws.receive(old).already_here
    with Workspace(tmp_path / "there") as there:
        assert len(there.receive(old).photo_readings()) == 1
        assert there.receive(old).already_here
        got = there.receive(new)
        assert not got.already_here  # it brings something
        assert len(got.photo_readings()) == 2
        assert there.receive(old).already_here
        assert there.receive(new).already_here


#: version -> columns that came with the next one
_NEWER = {"0001": {"photo": "measured_by"}}


def as_of(version, package, path):
    """Write a package as the kit of an older schema did: without the columns that came later."""
    lacking = {}
    for older in VERSIONS[VERSIONS.index(version) : -1]:
        lacking |= _NEWER[older]
    with zipfile.ZipFile(package) as old, zipfile.ZipFile(path, "w") as new:
        for name in old.namelist():
            content = old.read(name)
            if (column := lacking.get(name.removeprefix("records/").removesuffix(".csv"))) and (
                name.startswith("records/")
            ):
                rows = list(csv.reader(io.StringIO(content.decode(), newline="")))
                at, held = rows[0].index(column), io.StringIO()
                csv.writer(held).writerows(row[:at] + row[at + 1 :] for row in rows)
                content = held.getvalue().encode()
            if name == "datapackage.json":
                about = json.loads(content)
                about["kit"]["schema"] = version
                content = json.dumps(about).encode()
            new.writestr(name, content)
    return path


@pytest.mark.parametrize("version", VERSIONS[:-1])
def test_a_package_of_an_older_kit_comes_in_whole(ws, tmp_path, version):
    trial = baked(ws, tmp_path, "Europe/Lisbon")
    older = as_of(version, trial.package(tmp_path / "new.zip"), tmp_path / "older.zip")
    with Workspace(tmp_path / "there") as there:
        got = there.receive(older)
        pd.testing.assert_frame_equal(got.frame(), trial.frame())
        pd.testing.assert_frame_equal(got.provenance(), trial.provenance())
        pd.testing.assert_frame_equal(got.tastings(), trial.tastings())
        assert len(got.photos()) == 3
        assert there.check().ok
        assert there.receive(older).already_here
