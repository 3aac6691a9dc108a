"""A trial out as a data package, and in again whole.

Whether it is a data package is said by the frictionless library; whether a picture was stripped,
by Pillow reading it.
"""

import csv
import hashlib
import io
import json
import os
import zipfile

import frictionless
import numpy as np
import pandas as pd
import pytest
from PIL import Image
from sqlalchemy import func, select

from kit import quantities
from kit.errors import InputError, StoreError
from kit.quantities import Quantity
from kit.records import journal
from kit.records import tables as t
from kit.shipped import load_demo
from kit.workspace import Workspace

CRUST = Quantity(
    "crust_thickness_mm", "=Crust <b>", "mm", "piece", (0, 30), (1, 8), 1, "Of the face."
)


def a_photo(seed=1):
    exif = Image.Exif()
    exif[0x013B], exif[0x0112] = "Ida Example", 6
    exif[0x8769] = {0x9003: "2026:11:26 07:40:12", 0x9011: "+01:00"}
    exif[0x8825] = {1: "N", 2: (38.0, 42.0, 3.0)}
    held = io.BytesIO()
    drawn = np.random.default_rng(seed).integers(0, 255, (20, 30, 3), dtype=np.uint8)
    Image.fromarray(drawn).save(held, "JPEG", exif=exif.tobytes())
    return held.getvalue()


def add_photo(trial, thing, content, name, shows="rise"):
    """There is a picture of a thing, and a reading taken from it."""
    store, digest = trial.workspace.store, hashlib.sha256(content).hexdigest()
    (store.folder / "photos" / name).write_bytes(content)
    with journal.step(store, "Ida", "photo") as step:
        photo = step.add(t.photo, {
            "trial_id": trial.id, "level": thing.level, "target_id": thing.id,
            "path": f"photos/{name}", "sha256": digest,
            "taken": "2026-11-26T06:40:12+00:00", "shows": shows,
        })  # fmt: skip
        step.add(t.reading, {
            "trial_id": trial.id, "level": "piece", "target_id": thing.id,
            "quantity": "rise_height_mm", "value": 33.25, "u": 0.4, "how": "photo",
            "at": step.at, "photo_id": photo, "note": None,
        })  # fmt: skip
    return photo


@pytest.fixture
def full(ws, trial):
    """A trial with something in every table, and some of it removed or replaced."""
    ws.add_quantity(CRUST)
    trial.change(question="-1 or +1?", baker="Ida (invented)", matters=2, invented=True)
    trial.set_formula(
        "=Muffin", [("bread flour", "flour", 100), ("+milk", "liquid", 72), ("malt", "malt", None)],
        note="'quoted\nand\rbroken, \"over\" lines; über Größe",
    )  # fmt: skip
    bakes = [
        trial.add_bake("2026-11-26", flour_lot="F2", yeast_lot="=Y"),
        trial.add_bake("2026-11-19", flour_lot="F2", note="@later, though second"),
    ]
    ws.add_lot("flour", "F2", note="\tstone milled")
    for bake in bakes:
        trial.record(bake, "room_temp_c", 22)
        load = trial.add_load(bake)
        trial.record(load, "griddle_temp_c", "350 F")
        for malt in (0, 0.8):
            dough = trial.add_dough(bake, note="-")
            trial.record(dough, "malt_percent", malt, how="planned")
            for number in (1, 2):
                piece = trial.add_piece(dough, load, None if number == 2 else 1 + int(malt > 0))
                trial.record(piece, "rise_height_mm", 30 + number, u=0.5, note="=2+3")
                trial.record(piece, "ball_weight_g", 80)
                trial.record(piece, "baked_weight_g", 72)
                trial.record(piece, CRUST.name, 2.5)
    first = trial.pieces()[0]
    trial.change(first, blind="417")
    trial.record(first, "rise_height_mm", 99, u=1)
    trial.record(first, "rise_height_mm", 31.5)  # this one counts
    trial.record(first, CRUST.name, "")  # taken back
    trial.event("burnt", "=the far corner", on=first)
    trial.event("fridge open", on=trial.doughs()[0])
    trial.event("new yeast")
    gone = trial.add_piece(trial.doughs()[0])
    trial.record(gone, "rise_height_mm", 44)
    trial.event("dropped", on=gone)
    trial.remove(gone)
    trial.event("undone")
    ws.undo()
    add_photo(trial, trial.pieces()[1], a_photo(), "IMG 1.jpg")
    plan = trial.plan_tasting("triangle", ["417", "208"], ["Jo"], tries=2)
    trial.taste("Jo", plan.right("Jo", 1), plate=1)
    return trial


@pytest.fixture
def other(tmp_path):
    with Workspace(tmp_path / "other", who="Ana") as workspace:
        yield workspace


def everything(trial):
    """All that a trial tells, ids and what was replaced apart."""
    there = {thing.id for level in ("bakes", "doughs", "loads", "pieces")
             for thing in getattr(trial, level)()}  # fmt: skip
    readings = trial.readings()
    readings = readings[readings["id"].isin(there)]
    newest = readings.assign(planned=readings["how"] == "planned")
    newest = newest.drop_duplicates(["id", "quantity", "planned"], keep="last")
    newest = newest[newest["value"].notna()].drop(columns=["id", "planned"])
    events = trial.events()
    return {
        "head": (trial.question, trial.outcome, trial.matters, trial.zone, trial.invented,
                 trial.factors, trial.formula()),
        "frame": trial.frame(), "provenance": trial.provenance(),
        "readings": newest.reset_index(drop=True),
        "events": events[events["kind"] != "dropped"].reset_index(drop=True).drop(columns="id"),
        "things": [str(x) for x in (*trial.bakes(), *trial.doughs(), *trial.pieces())],
        "notes": [x.note for x in (*trial.bakes(), *trial.doughs())],
        "blind": [(x.blind, x.place) for x in trial.pieces()],
    }  # fmt: skip


def equal(one, another):
    for name, value in one.items():
        if isinstance(value, pd.DataFrame):
            pd.testing.assert_frame_equal(value, another[name])
        else:
            assert value == another[name], name


def rows(path, name):
    with zipfile.ZipFile(path) as zipped:
        text = zipped.read(name).decode()
    return list(csv.DictReader(io.StringIO(text, newline="")))


def test_frictionless_finds_nothing_wrong(full, tmp_path):
    path = full.package(tmp_path / "malt.zip", licence="CC-BY-4.0").path
    report = frictionless.validate(str(path))
    assert report.valid, report.flatten(["name", "type", "note"])
    assert not report.warnings
    assert {task.name for task in report.tasks} >= {"pieces", "record-reading", "record-quantity"}
    # and it looks: an impossible height is an error
    with zipfile.ZipFile(path) as zipped:
        zipped.extractall(tmp_path / "open")
    table = tmp_path / "open" / "pieces.csv"
    table.write_bytes(table.read_bytes().replace(b"31.5", b"3150"))
    package = json.loads((tmp_path / "open" / "datapackage.json").read_text(encoding="utf-8"))
    for one in package["resources"]:
        one.pop("hash"), one.pop("bytes")
    (tmp_path / "open" / "datapackage.json").write_text(json.dumps(package))
    report = frictionless.validate(str(tmp_path / "open" / "datapackage.json"))
    assert [e[0] for e in report.flatten(["type"])] == ["constraint-error"]


def test_the_demo_is_a_valid_package_too(ws, tmp_path):
    load_demo(ws).package(tmp_path / "demo.zip")
    assert frictionless.validate(str(tmp_path / "demo.zip")).valid


def test_columns_say_unit_range_and_meaning(full, tmp_path):
    path = full.package(tmp_path / "malt.zip")
    with zipfile.ZipFile(path) as zipped:
        package = json.loads(zipped.read("datapackage.json"))
    pieces = package["resources"][0]
    assert pieces["path"] == "pieces.csv"
    fields = {field["name"]: field for field in pieces["schema"]["fields"]}
    height = quantities.get("rise_height_mm")
    assert fields["rise_height_mm"] == {
        "name": "rise_height_mm", "type": "number", "title": height.label, "unit": "mm",
        "description": f"{height.meaning} Unit: mm.",
        "constraints": {"minimum": 1, "maximum": 300},
    }  # fmt: skip
    assert fields["load"]["type"] == "integer"
    assert fields[CRUST.name]["title"] == "=Crust <b>"
    assert "constraints" not in fields["bake_loss_percent"]  # computed, whatever it is
    assert package["invented"] is True
    assert package["title"].startswith("INVENTED: ")
    assert "licenses" not in package


def test_pandas_opens_the_table_of_pieces(full, tmp_path):
    path = full.package(tmp_path / "malt.zip")
    with zipfile.ZipFile(path) as zipped, zipped.open("pieces.csv") as file:
        table = pd.read_csv(file, dtype={"bake": str}, parse_dates=["day"])
    frame = full.frame()
    assert list(table.columns) == list(frame.columns)
    for name in frame:
        if pd.api.types.is_numeric_dtype(frame[name]):
            np.testing.assert_array_equal(table[name], frame[name])
    assert table["day"].tolist() == frame["day"].tolist()
    assert set(table["yeast_lot"].dropna()) == {"'=Y"}


def test_the_readme_says_what_it_is(full, tmp_path):
    with zipfile.ZipFile(full.package(tmp_path / "malt.zip", licence="CC-BY-4.0")) as zipped:
        text = zipped.read("README.md").decode()
    assert "INVENTED data" in text
    assert "2 bakes, 4 doughs, 2 loads, 8 pieces" in text
    assert "no spreadsheet program runs it as a formula" in text
    for caution in ("Hot surface and gas", "Raw flour and egg", "Milk dough", "Allergens"):
        assert caution in text
    assert "Local rules" in text
    assert "CC-BY-4.0" in text
    assert "=Crust &lt;b&gt; (mm)" in text
    assert "<b>" not in text
    assert "names your tasters (Jo)" in text
    with zipfile.ZipFile(full.package(tmp_path / "malt.zip")) as zipped:
        assert "The baker has not said" in zipped.read("README.md").decode()


def test_only_what_counts_is_sent(full, tmp_path):
    path = full.package(tmp_path / "malt.zip")
    sent = rows(path, "records/reading.csv")
    values = {row["value"] for row in sent}
    assert "99.0" not in values  # replaced
    assert "44.0" not in values  # on a piece that was removed
    assert "" not in values
    assert len(rows(path, "records/piece.csv")) == 8
    assert {row["kind"] for row in rows(path, "records/event.csv")} == {
        "burnt", "fridge open", "new yeast"
    }  # fmt: skip


def test_cells_that_begin_like_formulas_are_made_harmless(full, tmp_path):
    path = full.package(tmp_path / "malt.zip")
    numbers = ("value", "u", "percent", "possible_low", "possible_high", "usual_low", "usual_high")
    seen = 0
    with zipfile.ZipFile(path) as zipped:
        tables = [name for name in zipped.namelist() if name.endswith(".csv")]
    for name in tables:
        for row in rows(path, name):
            for column, cell in row.items():
                if column not in numbers and not column.endswith(("_mm", "_c", "_g", "_percent")):
                    assert not cell.startswith(("=", "+", "-", "@", "\t", "\r")), (name, cell)
                    seen += cell.startswith("'")
    assert seen > 10


def test_all_of_it_comes_back(full, other, tmp_path):
    path = full.package(tmp_path / "malt.zip")
    got = other.receive(path)
    assert not got.already_here
    assert (got.name, got.baker, got.id) == (full.name, "Ida (invented)", full.id)
    equal(everything(full), everything(got))
    pd.testing.assert_frame_equal(other.lots(), full.workspace.lots())
    assert other.trial("malt") == got

    def tastings(ws):
        chosen = select(
            t.taster.c.name, t.tasting.c.method, t.tasting.c.samples, t.tasting.c.answer
        )
        with ws.store.reading() as connection:
            return connection.execute(chosen.join_from(t.taster, t.tasting)).all()

    assert sorted(tastings(other), key=str) == sorted(tastings(full.workspace), key=str)
    assert other.compare(["malt"], "rise_height_mm", "malt_percent") is not None
    # and once more from there, equal again
    again = got.package(tmp_path / "again.zip")
    for name in ("pieces.csv", "records/reading.csv", "records/event.csv", "records/photo.csv"):
        assert rows(again, name) == rows(path, name)


def test_a_quantity_of_ones_own_is_known_there_after_reopening(full, tmp_path):
    path = full.package(tmp_path / "malt.zip")
    with Workspace(tmp_path / "other") as there:
        there.receive(path)
    with Workspace(tmp_path / "other") as there, there.store.reading() as connection:
        kept = connection.scalars(select(t.quantity.c.definition)).all()
    assert [one["name"] for one in kept] == [CRUST.name]  # the built-in ones are not kept
    assert kept[0]["label"] == "=Crust <b>"


def test_pictures_leave_without_their_notes_and_arrive(full, other, tmp_path):
    original = hashlib.sha256(a_photo()).hexdigest()
    path = full.package(tmp_path / "malt.zip")
    (row,) = rows(path, "records/photo.csv")
    assert row["original_sha256"] == original
    assert row["path"] == f"photos/{original}.jpg"
    with zipfile.ZipFile(path) as zipped:
        content = zipped.read(row["path"])
    assert hashlib.sha256(content).hexdigest() == row["sha256"] != original
    assert b"Ida Example" in a_photo()
    assert b"Ida Example" not in content
    exif = Image.open(io.BytesIO(content)).getexif()
    assert exif.get_ifd(0x8825) == {}
    assert exif[0x0112] == 6
    assert exif.get_ifd(0x8769)[0x9011] == "+01:00"
    got = other.receive(path)
    assert (other.folder / row["path"]).read_bytes() == content
    with other.store.reading() as connection:
        photo = connection.execute(select(t.photo)).one()
        read = connection.execute(select(t.reading).where(t.reading.c.photo_id.is_not(None))).one()
    assert (photo.path, photo.sha256) == (row["path"], row["sha256"])
    assert (read.photo_id, read.value, read.how) == (photo.id, 33.25, "photo")
    assert got.package(tmp_path / "again.zip").photos == 1


def test_pictures_may_stay_at_home(full, other, tmp_path):
    package = full.package(tmp_path / "malt.zip", photos=False)
    assert package.photos == 0
    assert "1 left out as asked" in str(package)
    with zipfile.ZipFile(package) as zipped:
        assert not [name for name in zipped.namelist() if name.startswith("photos/")]
    got = other.receive(package)
    equal(everything(full), everything(got))
    assert list((other.folder / "photos").iterdir()) == []
    # with the pictures, later: that is something new
    later = other.receive(full.package(tmp_path / "malt.zip"))
    assert not later.already_here
    assert len(list((other.folder / "photos").iterdir())) == 1
    assert other.receive(tmp_path / "malt.zip").already_here


def test_a_picture_that_cannot_be_stripped_is_left_out_with_a_word(full, tmp_path):
    piece = full.pieces()[2]
    add_photo(full, piece, b"\0\0\0\x18ftypheic" + b"\0" * 40, "IMG 2.heic")
    add_photo(full, piece, b"gone", "IMG 3.jpg")
    (full.workspace.folder / "photos" / "IMG 3.jpg").unlink()
    package = full.package(tmp_path / "malt.zip")
    assert package.photos == 1
    assert any(
        "IMG 2.heic is left out: it is a damaged picture" in check for check in package.checks
    )
    assert any("IMG 3.jpg is left out: it cannot be read" in check for check in package.checks)
    assert sorted(bool(row["path"]) for row in rows(package, "records/photo.csv")) == [
        False, False, True
    ]  # fmt: skip
    assert frictionless.validate(str(package.path)).valid
    assert full.workspace.receive(package).already_here


def test_an_older_file_is_replaced_whole_or_not_at_all(full, tmp_path, monkeypatch):
    path = tmp_path / "malt.zip"
    path.write_bytes(b"what was there before")
    with monkeypatch.context() as patch:
        patch.setattr("kit.records.package.out.readme", lambda *_: 1 / 0)
        with pytest.raises(ZeroDivisionError):
            full.package(path)
    assert path.read_bytes() == b"what was there before"
    assert [p.name for p in tmp_path.glob("*malt.zip*")] == ["malt.zip"]
    full.package(path)
    assert zipfile.is_zipfile(path)
    assert [p.name for p in tmp_path.glob("*malt.zip*")] == ["malt.zip"]


def test_a_place_that_cannot_be_written_is_said(full, tmp_path):
    with pytest.raises(InputError) as caught:
        full.package(tmp_path / "malt.tar")
    assert caught.value.rule == "must end in .zip"
    with pytest.raises(StoreError):
        full.package(tmp_path / "no such folder" / "malt.zip")
    (tmp_path / "a folder.zip").mkdir()
    with pytest.raises(StoreError):
        full.package(tmp_path / "a folder.zip")
    assert os.listdir(tmp_path / "a folder.zip") == []


def test_an_empty_trial_goes_there_and_back(ws, other, tmp_path):
    path = ws.new_trial("bare").package(tmp_path / "bare.zip")
    assert frictionless.validate(str(path.path)).valid
    assert len(other.receive(path).frame()) == 0


def test_the_package_tells_about_itself(full, tmp_path):
    package = full.package(tmp_path / "malt.zip")
    assert (
        repr(package) == f"<Package 'malt.zip', pieces: 8, readings: {package.readings}, photos: 1>"
    )
    assert str(package).splitlines()[0].endswith(f"8 pieces, {package.readings} readings, 1 photo")
    assert package.to_frame().loc[0, "pieces"] == 8
    assert "malt.zip" in package._repr_html_()


def test_packing_changes_nothing(full, tmp_path):
    def state():
        with full.workspace.store.reading() as connection:
            return [connection.scalar(select(func.count()).select_from(x))
                    for x in (*t.TABLES.values(), t.change)]  # fmt: skip

    before = state(), len(full.workspace.history())
    full.package(tmp_path / "malt.zip")
    assert (state(), len(full.workspace.history())) == before
