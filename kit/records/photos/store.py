"""Photos kept with a trial: the file in the workspace's folder, when it was taken, whose it is.

A file from elsewhere is copied into `photos/` of the workspace's folder; one that lies in that
folder already is used where it is. What names a photo is the fingerprint of its bytes: the same
file twice is one photo. Files are never removed or overwritten, also when a photo is taken out.
"""

import hashlib
import math
import os
import re
import shutil
import tempfile
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, ClassVar
from zoneinfo import ZoneInfo

import pandas as pd
from sqlalchemy import Connection, select

from kit.errors import InputError, StoreError
from kit.photo.one_photo import SHOWS
from kit.quantities import Checked
from kit.records import readings, things
from kit.records import tables as t
from kit.records.journal import Row, Step
from kit.records.keeping.aside import put_beside, sweep
from kit.records.keeping.store import Store
from kit.records.keeping.trouble import in_words
from kit.records.photos.measured_by import MeasuredBy
from kit.records.things import Thing, check_there, there
from kit.records.typed import moment, need, plain_name
from kit.records.when import read_when

__all__ = [
    "FOLDER", "SHOWS", "Placed", "StoredPhoto", "add", "change", "check_photo", "make_room",
    "not_there", "place", "readings_of", "record", "remove", "say", "stored",
]  # fmt: skip

#: where copies lie, in the workspace's folder
FOLDER = "photos"
_ASIDE = ".copying-"
#: a name that begins so is taken for the fingerprint of an original (`kit.records.package`)
_FINGERPRINT = re.compile(r"[0-9a-f]{64}(?![0-9a-f])")


@dataclass(frozen=True, repr=False)
class StoredPhoto:
    """A photo as the records have it."""

    id: str
    path: str  # from the workspace's folder on; empty where a package brought no picture
    sha256: str  # of the file's bytes
    taken: datetime | None  # by the clock of the kitchen; None is not known
    shows: str | None  # one of `SHOWS`
    on: Thing | None  # whose photo it is
    measured_by: MeasuredBy | None = None  # last, so that it can be done again
    level: ClassVar[str] = "photo"

    @property
    def name(self) -> str:
        """The file's name."""
        return Path(self.path).name or f"{self.sha256[:8]}…"

    def __str__(self) -> str:
        return f"photo {self.name}"

    def __repr__(self) -> str:
        return f"<{self}>"


@dataclass(frozen=True)
class Placed:
    """A file that lies in the workspace's folder, ready to be added."""

    path: str
    sha256: str
    taken: datetime | None


def place(store: Store, file: Path, taken: datetime | None = None) -> Placed:
    """Make sure that a file lies in the workspace's folder: copied, unless it is there already.

    `taken` (aware) is what the file says. Raises StoreError: the workspace keeps no files, the file
    cannot be read, or the copy not be written.
    """
    if store.folder is None:
        text = f"{store.name} is a shared database and keeps no photos. Open a folder instead."
        raise StoreError(text)
    home = store.folder.resolve()
    with in_words(str(file)):
        file = file.resolve(strict=True)
        with file.open("rb") as opened:
            sha256 = hashlib.file_digest(opened, "sha256").hexdigest()
    inside = file.relative_to(home).as_posix() if file.is_relative_to(home) else ""
    if inside == "" or plain_name(inside) != inside:
        with in_words(str(home / FOLDER)):
            file = _copied(file, home / FOLDER)
    return Placed(file.relative_to(home).as_posix(), sha256, taken)


def make_room(store: Store) -> None:
    """Make the folder of photos, and take away what a program that was killed left in it.

    Once for all photos that are placed: it lists the folder. Raises StoreError: as `place`.
    """
    if store.folder is not None:
        folder = store.folder.resolve() / FOLDER
        with in_words(str(folder)):
            folder.mkdir(exist_ok=True)
            sweep(folder, f"{_ASIDE}*")


def _copied(file: Path, folder: Path) -> Path:
    """Copy a file under its own name; where another file has that name, one that is free."""
    own = plain_name(file.stem)
    stem = f"photo-{own}" if _FINGERPRINT.match(own) else own
    handle, aside = tempfile.mkstemp(prefix=_ASIDE, dir=folder)
    os.close(handle)
    try:
        shutil.copyfile(file, aside)
        target, is_new = put_beside(Path(aside), folder, stem, plain_name(file.suffix))
        if is_new:
            shutil.copystat(file, target)
        return target
    finally:
        Path(aside).unlink(missing_ok=True)


def add(step: Step, trial_id: str, placed: Placed, shows: str | None = None) -> tuple[str, bool]:
    """Add a photo to a trial; return its id and whether it is new. `shows` is one of `SHOWS`."""
    p = t.photo.c
    same = select(p.id).where(p.trial_id == trial_id, p.sha256 == placed.sha256, there(t.photo))
    known = step.connection.scalar(same)
    if known is not None:
        return str(known), False
    row: Row = {
        "trial_id": trial_id, "level": None, "target_id": None, "path": placed.path,
        "sha256": placed.sha256, "shows": _shown(shows),
        "taken": None if placed.taken is None else moment("taken", placed.taken, "UTC"),
    }  # fmt: skip
    return step.add(t.photo, row), True


def change(step: Step, trial_id: str, photo: StoredPhoto, values: dict[str, Any]) -> None:
    """Say otherwise what a photo shows, whose it is or when it was taken; see `Trial.change_photo`.

    What was measured on a photo goes with it to the thing it is said to be of, where that has such
    quantities; what it showed before is then no longer counted. Raises InputError: a value that
    cannot be, or a photo that was taken out.
    """
    _check(step.connection, trial_id, photo)
    row: Row = {}
    for name, value in values.items():
        if name == "shows":
            row["shows"] = _shown(value)
            if row["shows"] != photo.shows:  # a piece's outline is no cut face's
                row.setdefault("measured_by", None)
        elif name == "measured_by":
            row["measured_by"] = None if value is None else value.to_row()
        elif name == "on":
            if value is not None:
                check_there(step.connection, trial_id, value)
            row |= {"level": value and value.level, "target_id": value and value.id}
        elif name == "taken":
            typed = value.strip() if isinstance(value, str) else value
            zone = step.connection.scalar(select(t.trial.c.zone).where(t.trial.c.id == trial_id))
            row["taken"] = None
            if typed:
                at = read_when("taken", typed, str(zone), datetime.fromisoformat(step.at))
                row["taken"] = at.isoformat(timespec="microseconds")
        else:
            raise InputError(name, value, "is nothing a photo has", "Change shows, on or taken.")
    step.change(t.photo, photo.id, row)
    _move_readings(step, trial_id, photo, row)


def say(
    step: Step, trial_id: str, photo: StoredPhoto, shows: str, on: Thing, by: MeasuredBy | None
) -> None:
    """Note what a measured photo shows, whose it is and by what, where that is not known so."""
    said = {"shows": shows, "on": on, "measured_by": by}
    if any(getattr(photo, name) != now for name, now in said.items()):
        change(step, trial_id, photo, said)


def _move_readings(step: Step, trial_id: str, photo: StoredPhoto, row: Row) -> None:
    """Let what was measured on a photo count for the thing, and at the time, it is said to be of.

    What the thing has no such quantity for is taken out. Nothing becomes newer by it: what was
    kept after it still counts.
    """
    new = {"target_id": row["target_id"]} if "target_id" in row else {}
    if row.get("taken"):
        new["at"] = row["taken"]
    r = t.reading.c
    mine = (r.trial_id == trial_id, r.photo_id == photo.id, there(t.reading))
    for old in step.connection.execute(select(t.reading).where(*mine).order_by(r.seq)).all():
        if all(getattr(old, name) == value for name, value in new.items()):
            continue
        if "level" in row and row["level"] != old.level:
            step.delete(t.reading, old.id)
        else:
            step.change(t.reading, old.id, new)


def remove(step: Step, trial_id: str, photo: StoredPhoto) -> None:
    """Take a photo out; its file and what was measured on it stay."""
    _check(step.connection, trial_id, photo)
    step.delete(t.photo, photo.id)


def check_photo(photo: object) -> None:
    """Refuse what is no photo that a trial keeps. Raises InputError."""
    need("photo", photo, StoredPhoto, "photo of a trial", "Give one of trial.photos().")


def _check(connection: Connection, trial_id: str, photo: StoredPhoto) -> None:
    check_photo(photo)
    p = t.photo.c
    found = select(p.id).where(p.id == photo.id, p.trial_id == trial_id, there(t.photo))
    if connection.scalar(found) is None:
        raise not_there(photo)


def not_there(photo: StoredPhoto) -> InputError:
    """Say that a trial does not have a photo."""
    remedy = "Undo that, or add it again."
    return InputError("photo", photo.name, "was taken out or is another trial's", remedy)


def _shown(shows: object) -> str | None:
    if shows is None or shows == "":
        return None
    if not isinstance(shows, str) or shows not in SHOWS:
        raise InputError("shows", shows, f"must be one of {', '.join(SHOWS)}")
    return str(shows)


def stored(connection: Connection, trial_id: str, zone: str) -> list[StoredPhoto]:
    """Return a trial's photos in the order they were taken, those without a time last."""
    listed = (listing(connection, trial_id) for listing in things.LISTS.values())
    known: dict[str, Thing] = {thing.id: thing for some in listed for thing in some}
    p = t.photo.c
    query = select(t.photo).where(p.trial_id == trial_id, there(t.photo))
    rows = connection.execute(query.order_by(p.taken.nulls_last(), p.path, p.id)).all()
    return [
        StoredPhoto(
            row.id, row.path, row.sha256,
            row.taken and datetime.fromisoformat(row.taken).astimezone(ZoneInfo(zone)),
            row.shows, known.get(row.target_id),
            row.measured_by and MeasuredBy.from_row(row.measured_by),
        )
        for row in rows
    ]  # fmt: skip


def record(
    step: Step,
    trial_id: str,
    photo: StoredPhoto,
    thing: Thing,
    name: str,
    value: float,
    u: float | None,
    note: str,
) -> Checked:
    """Record a value measured on a photo, as of when it was taken; `note` tells of a hand's part.

    Raises NotFoundError, InputError: no such quantity, an impossible value, or the wrong thing.
    """
    _check(step.connection, trial_id, photo)
    if math.isnan(value):
        raise InputError(name, value, "was not measured", "Correct what is marked, or retake it.")
    at = step.at if photo.taken is None else moment("taken", photo.taken, "UTC")
    return readings.record(
        step, trial_id, thing, name, value, "photo", u or None, at, note, photo.id
    )


def readings_of(connection: Connection, trial_id: str | None = None) -> pd.DataFrame:
    """Return what was measured on a trial's photos, or on all: the newest of each and quantity.

    Columns: ``level, id`` (of the thing), ``photo`` (its id), ``sha256, quantity, value, u, at``
    (UTC), ``note``; oldest first.
    """
    r = t.reading.c
    query = (
        select(r.level, r.target_id, r.photo_id, t.photo.c.sha256, r.quantity, r.value, r.u, r.at,
               r.note)
        .join_from(t.reading, t.photo, r.photo_id == t.photo.c.id)
        .where(r.how == "photo", there(t.reading), there(t.photo))
        .order_by(r.seq)
    )  # fmt: skip
    if trial_id is not None:
        query = query.where(r.trial_id == trial_id)
    names = ["level", "id", "photo", "sha256", "quantity", "value", "u", "at", "note"]
    frame = pd.DataFrame(connection.execute(query).all(), columns=names)
    frame = frame.astype({"value": float, "u": float}).dropna(subset="value")
    return frame.drop_duplicates(["photo", "quantity"], keep="last").reset_index(drop=True)
