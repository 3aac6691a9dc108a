"""Photos of a trial: files copied once, whose they are, what was measured on them, and undo."""

import errno
import hashlib
import os
import shutil
from datetime import UTC, datetime
from pathlib import Path

import pytest
from PIL import Image

from kit.errors import InputError, StoreError
from kit.records.keeping.store import open_store
from kit.records.photos import store as photos

WHEN = datetime(2026, 11, 19, 8, 30, tzinfo=UTC)


@pytest.fixture
def file(tmp_path):
    made = tmp_path / "camera" / "IMG 1.jpg"
    made.parent.mkdir()
    made.write_bytes(b"\xff\xd8\xff" + bytes(range(256)) * 8)
    return made


def add(trial, file, taken=WHEN, shows=None):
    """As a trial does it: the file first, then the row."""
    placed = photos.place(trial._store, file, taken)
    with trial._step() as step:
        found = photos.add(step, trial.id, placed, shows)
        trial._say(step, "photo added")
    return found


def listed(trial):
    with trial._store.reading() as connection:
        return photos.stored(connection, trial.id, trial.zone)


def test_a_file_from_elsewhere_is_copied_whole_and_named(ws, trial, file):
    _, new = add(trial, file)
    (photo,) = listed(trial)
    assert new
    assert photo.path == "photos/IMG 1.jpg"
    assert (photo.name, str(photo)) == ("IMG 1.jpg", "photo IMG 1.jpg")
    copy = ws.folder / photo.path
    assert copy.read_bytes() == file.read_bytes()
    assert photo.sha256 == hashlib.sha256(file.read_bytes()).hexdigest()
    assert photo.taken == WHEN
    assert photo.taken.utcoffset() == WHEN.astimezone(photo.taken.tzinfo).utcoffset()
    assert (photo.shows, photo.on) == (None, None)
    assert not list((ws.folder / "photos").glob(".*"))
    assert ws.check().ok


@pytest.mark.skipif(os.name != "posix", reason="file names are Unicode there")
def test_the_folder_is_swept_once_however_many_photos_come(trial, tmp_path, monkeypatch):
    swept = []
    monkeypatch.setattr(photos, "sweep", lambda *args: swept.append(args))
    for number in range(3):
        Image.new("RGB", (60, 40 + number)).save(tmp_path / f"{number}.png")
    assert len(trial.add_photos(sorted(tmp_path.glob("?.png"))).new) == 3
    assert len(swept) == 1


def test_a_name_that_is_no_utf_8_is_copied_under_one_that_is(ws, trial, file):
    odd = file.rename(file.with_name(os.fsdecode(b"\xff 1.jpg")))
    add(trial, odd)
    inside = ws.folder / "photos" / os.fsdecode(b"\xfe.jpg")
    inside.write_bytes(b"\xff\xd8\xff another")
    add(trial, inside)
    assert [photo.path for photo in listed(trial)] == ["photos/_ 1.jpg", "photos/_.jpg"]


def test_the_same_file_twice_is_one_photo(ws, trial, file):
    first, _ = add(trial, file)
    again = file.with_name("copy.jpg")
    shutil.copy(file, again)
    assert add(trial, again) == (first, False)
    assert add(trial, file) == (first, False)
    assert len(listed(trial)) == 1


def test_another_file_of_the_same_name_never_overwrites(ws, trial, file):
    add(trial, file)
    kept = (ws.folder / "photos/IMG 1.jpg").read_bytes()
    file.write_bytes(b"\xff\xd8\xff another")
    add(trial, file, WHEN.replace(hour=9))
    assert [photo.path for photo in listed(trial)] == ["photos/IMG 1.jpg", "photos/IMG 1-2.jpg"]
    assert (ws.folder / "photos/IMG 1.jpg").read_bytes() == kept
    assert ws.check().ok


@pytest.mark.parametrize("links", [True, False])
def test_a_disk_that_is_full_leaves_no_torn_photo(ws, trial, file, monkeypatch, links):
    def none_known(*_args):
        raise OSError(errno.EPERM, "the disk knows no second names")

    def full(_file, into):
        Path(into).write_bytes(b"torn")
        raise OSError(errno.ENOSPC, "No space left on device")

    if not links:
        monkeypatch.setattr(os, "link", none_known)
    with monkeypatch.context() as patched:
        patched.setattr(shutil, "copyfile", full)
        with pytest.raises(StoreError, match="the disk is full"):
            add(trial, file)
    assert list((ws.folder / "photos").iterdir()) == []
    file.chmod(0o444)  # a card that may not be written on
    add(trial, file)
    (stored,) = (ws.folder / "photos").iterdir()
    assert stored.read_bytes() == file.read_bytes()


def test_a_file_in_the_folder_is_used_where_it_is(ws, trial, file):
    inside = ws.folder / "thursday" / "b.jpg"
    inside.parent.mkdir()
    shutil.copy(file, inside)
    add(trial, inside)
    assert [photo.path for photo in listed(trial)] == ["thursday/b.jpg"]
    assert not list((ws.folder / "photos").iterdir())


def test_a_name_that_looks_like_a_fingerprint_is_not_taken_for_one(ws, trial, file):
    """`kit.records.package` reads the original's fingerprint from such names."""
    from kit.records.package.rows import original_of

    odd = file.with_name(f"{'0' * 64}.jpg")
    file.rename(odd)
    add(trial, odd)
    (photo,) = listed(trial)
    assert original_of({"path": photo.path, "sha256": photo.sha256}) == photo.sha256


def test_two_trials_may_have_the_same_photo(ws, trial, file):
    other = ws.new_trial("salt")
    assert add(trial, file)[1]
    assert add(other, file)[1]
    assert [len(listed(one)) for one in (trial, other)] == [1, 1]
    assert [p.name for p in (ws.folder / "photos").iterdir()] == ["IMG 1.jpg"]


def test_in_the_order_they_were_taken_unknown_times_last(ws, trial, file):
    for name, hour in (("c", None), ("b", 10), ("a", 12)):
        file.write_bytes(name.encode())
        add(trial, file, None if hour is None else WHEN.replace(hour=hour))
    assert [photo.taken and photo.taken.astimezone(UTC).hour for photo in listed(trial)] == [
        10, 12, None,
    ]  # fmt: skip


def test_said_otherwise_and_undone(ws, trial, made, file):
    add(trial, file, None)
    (photo,) = listed(trial)
    with trial._step() as step:
        said = {"shows": "side", "on": made.pieces[0], "taken": "2026-11-19 9:05"}
        photos.change(step, trial.id, photo, said)
        step.says = "said"
    (now,) = listed(trial)
    assert (now.shows, now.on) == ("side", made.pieces[0])
    assert f"{now.taken:%H:%M}" == "09:05"
    ws.undo()
    assert listed(trial) == [photo]
    ws.undo()
    assert listed(trial) == []
    assert (ws.folder / "photos/IMG 1.jpg").exists()  # undoing never removes a file
    assert add(trial, file)[1]
    assert [one.path for one in listed(trial)] == ["photos/IMG 1.jpg"]


@pytest.mark.parametrize(
    ("values", "message"),
    [
        ({"shows": "dog"}, "shows is 'dog': must be one of side, rise, crumb, face."),
        (
            {"taken": "lunch"},
            "taken is 'lunch': is not a time. Write 9:40, yesterday 21:15, or 2026-11-26 09:40.",
        ),
        (
            {"path": "x"},
            "path is 'x': is nothing a photo has. Change shows, on or taken.",
        ),
    ],
)
def test_what_cannot_be_is_refused(trial, file, values, message):
    add(trial, file)
    (photo,) = listed(trial)
    with pytest.raises(InputError) as caught, trial._step() as step:
        photos.change(step, trial.id, photo, values)
    assert str(caught.value) == message
    assert listed(trial) == [photo]


def test_a_thing_of_another_trial_is_refused(ws, trial, file):
    other = ws.new_trial("salt")
    bake = other.add_bake("2026-11-26")
    add(trial, file)
    (photo,) = listed(trial)
    with pytest.raises(InputError, match="belongs to another trial"), trial._step() as step:
        photos.change(step, trial.id, photo, {"on": bake})


def measure(trial, photo, thing, value=31.5, name="rise_height_mm", note="as found"):
    with trial._step() as step:
        photos.record(step, trial.id, photo, thing, name, value, 0.4, note)
        step.says = "measured"


def test_a_reading_carries_photo_time_and_note(trial, made, file):
    add(trial, file)
    (photo,) = listed(trial)
    measure(trial, photo, made.pieces[0], note="corrected by hand: top")
    row = trial.readings().iloc[-1]
    assert (row.value, row.u, row.how, row.note) == (31.5, 0.4, "photo", "corrected by hand: top")
    assert row["at"].to_pydatetime() == WHEN
    assert (row.photo, row.unit) == (photo.id, "mm")
    with trial._store.reading() as connection:
        (kept,) = photos.readings_of(connection).to_dict("records")
    assert (kept["photo"], kept["sha256"], kept["id"]) == (
        photo.id, photo.sha256, made.pieces[0].id,
    )  # fmt: skip
    assert trial.provenance()["rise_height_mm"].tolist()[0] == "photo"


def test_measured_again_counts_once_a_photo(trial, made, file):
    add(trial, file)
    (photo,) = listed(trial)
    measure(trial, photo, made.pieces[0], 31.5)
    measure(trial, photo, made.pieces[0], 32.5)
    with trial._store.reading() as connection:
        assert photos.readings_of(connection)["value"].tolist() == [32.5]


def test_what_was_measured_goes_with_the_photo(ws, trial, made, file):
    """A photo taken for piece 1's, measured, and then seen to be piece 2's."""
    one, two, _ = made.pieces
    trial.record(one, "rise_height_mm", 30)
    add(trial, file)
    (photo,) = listed(trial)
    measure(trial, photo, one)
    with trial._step() as step:
        photos.change(step, trial.id, photo, {"on": two})
        step.says = "said"
    assert trial.frame()["rise_height_mm"].tolist()[:2] == [30, 31.5]
    with trial._step() as step:
        photos.change(step, trial.id, photo, {"on": made.dough})
        step.says = "said"
    assert trial.frame()["rise_height_mm"].dropna().tolist() == [30]
    ws.undo()
    ws.undo()
    assert trial.frame()["rise_height_mm"].dropna().tolist() == [31.5]


def test_taken_out_keeps_file_and_values(ws, trial, made, file):
    add(trial, file)
    (photo,) = listed(trial)
    measure(trial, photo, made.pieces[0])
    with trial._step() as step:
        photos.remove(step, trial.id, photo)
        step.says = "out"
    assert listed(trial) == []
    assert trial.frame()["rise_height_mm"].tolist()[0] == 31.5
    with pytest.raises(InputError, match="was taken out or is another trial's"):
        measure(trial, photo, made.pieces[0])


def test_a_value_that_was_not_measured_is_refused(trial, made, file):
    add(trial, file)
    (photo,) = listed(trial)
    with pytest.raises(InputError, match="was not measured"):
        measure(trial, photo, made.pieces[0], float("nan"))
    with pytest.raises(InputError, match="belongs to a piece, not to a dough"):
        measure(trial, photo, made.dough)


def test_a_shared_database_keeps_no_files(tmp_path, file):
    store = open_store(f"sqlite:///{tmp_path / 'shared.sqlite'}")
    with pytest.raises(StoreError, match="is a shared database and keeps no photos"):
        photos.place(store, file)
    store.close()


def test_a_file_that_is_not_there_is_said(trial, tmp_path):
    with pytest.raises(StoreError, match="it is not there"):
        photos.place(trial._store, tmp_path / "gone.jpg")


def test_a_package_takes_photo_and_belonging_along(ws, trial, made, tmp_path):
    from PIL import Image

    picture = tmp_path / "p.png"
    Image.new("RGB", (8, 6), "tan").save(picture)
    add(trial, picture, shows="side")
    (photo,) = listed(trial)
    with trial._step() as step:
        photos.change(step, trial.id, photo, {"on": made.pieces[1]})
        step.says = "said"
    measure(trial, photo, made.pieces[1])
    package = trial.package(tmp_path / "malt.zip")
    from kit.workspace import Workspace

    with Workspace(tmp_path / "other") as theirs:
        got = theirs.receive(package.path)
        (arrived,) = listed(got)
        assert arrived.shows == "side"
        assert str(arrived.on) == "piece 1A2"
        assert (theirs.folder / arrived.path).exists()
        with got._store.reading() as connection:
            assert photos.readings_of(connection)["photo"].tolist() == [arrived.id]
        assert theirs.check().ok
