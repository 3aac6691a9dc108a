"""Copies of the workspace's file, kept beside it: the last few states, and of the last few days.

A copy is taken on opening, before anything is done, and only if something was done since the
last one; what was done stands in the journal, so two numbers tell. SQLite's own backup sees one
state of the file whoever else is writing, what stands in its write-ahead log included.
"""

import os
import re
import shutil
import sqlite3
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path

from kit.errors import StoreError
from kit.records.aside import aside

__all__ = ["FOLDER", "KEPT", "copies", "keep_copy", "put_back"]

FOLDER = "copies"
#: how many are kept, and of how many days the last one: a busy morning must not push them all out
KEPT = 5
_DAY = len("bakes-20261126")
_NAME = re.compile(r"bakes-\d{8}-\d{6}-\d{6}")
_FORM = "%Y%m%d-%H%M%S-%f"


def copies(folder: Path) -> list[Path]:
    """Return the copies of a workspace, oldest first."""
    kept = folder / FOLDER
    if not os.path.isdir(kept):
        return []
    return sorted(copy for copy in kept.glob("bakes-*.sqlite") if _NAME.fullmatch(copy.stem))


def keep_copy(file: Path) -> str:
    """Copy a workspace's file aside unless the last copy is the same; keep the last few.

    Parameters
    ----------
    file : Path
        An open workspace of the present schema.

    Returns
    -------
    str
        Why there is none, in words; empty when all is well. A copy that fails is no reason not to
        work: the file itself is as it was.
    """
    if not _writable(file):
        return ""  # nothing can change, so there is nothing to go back to
    part: Path | None = None
    try:
        state = _state(file)
        if state == (None, None):
            return ""  # nothing was ever done
        kept = copies(file.parent)
        if kept and _same(kept[-1], state):
            return ""
        into = file.parent / FOLDER
        into.mkdir(exist_ok=True)
        copy = into / f"{file.stem}-{_moment(*kept[-1:])}{file.suffix}"
        # a name of its own until it is whole: a program that ends half-way leaves no false copy
        part = copy.with_suffix(".part")
        with closing(sqlite3.connect(file)) as source, closing(sqlite3.connect(part)) as target:
            target.execute("PRAGMA synchronous = OFF")  # a lost copy is taken again
            source.backup(target)
        part.replace(copy)
        kept = copies(file.parent)
        of_days = list({old.name[:_DAY]: old for old in kept}.values())[-KEPT:]
        for old in kept[:-KEPT]:
            if old not in of_days:
                old.unlink(missing_ok=True)
    except (OSError, sqlite3.Error) as exc:
        if part is not None:
            _forget(part)
        reason = (getattr(exc, "strerror", None) or str(exc)).lower()
        return (
            f"no copy of {file} was kept: {reason}. The workspace itself is in order. "
            f"Look at the folder {file.parent / FOLDER} and the space on the disk."
        )
    return ""


def put_back(file: Path, copy: Path | None = None) -> Path:
    """Let a copy take the place of a workspace's file; what was there goes aside, nothing is lost.

    The write-ahead log goes with it: one that a killed program left would be played into a copy
    laid over the file by hand, and damage it.

    Parameters
    ----------
    file : Path
        The workspace's; no program may have it open.
    copy : Path, optional
        Which; the newest that is whole when not given.

    Returns
    -------
    Path
        The copy.

    Raises
    ------
    StoreError
        There is no such copy, or it is damaged; or the disk does not take it.
    """
    known = copies(file.parent)[::-1] if copy is None else [copy]
    whole = next(filter(_is_whole, known), None)
    if whole is None:
        text = f"{copy or file.parent / FOLDER} holds no whole copy of a workspace."
        raise StoreError(text)
    gone = file.parent / FOLDER / f"replaced-{_moment()}{file.suffix}"
    with aside(file) as put, whole.open("rb") as held:
        shutil.copyfileobj(held, put)
        put.flush()  # a full disk shows itself while the file is still where it was
        gone.parent.mkdir(exist_ok=True)
        for end in ("-shm", "-wal", ""):
            if os.path.exists(f"{file}{end}"):
                os.replace(f"{file}{end}", f"{gone}{end}")
    return whole


def _is_whole(copy: Path) -> bool:
    if not copy.is_file():
        return False
    try:
        _state(copy)  # which only a workspace has
        with closing(sqlite3.connect(copy)) as raw:
            sound: bool = raw.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    except sqlite3.Error:
        return False
    return sound


def _moment(last: Path | None = None) -> str:
    """Return the moment for a name; after the last copy's also where the clock was put back."""
    name = datetime.now(UTC).strftime(_FORM)
    if last is None or name > last.stem[len("bakes-") :]:
        return name
    before = datetime.strptime(last.stem, f"bakes-{_FORM}").replace(tzinfo=UTC)
    return (before + timedelta(microseconds=1)).strftime(_FORM)


def _forget(part: Path) -> None:
    try:
        part.unlink(missing_ok=True)
    except OSError:
        return  # on a disk that takes nothing more; it is no copy by its name


def _writable(file: Path) -> bool:
    effective = os.access in os.supports_effective_ids
    return all(os.access(p, os.W_OK, effective_ids=effective) for p in (file, file.parent))


def _state(file: Path) -> tuple[int | None, str | None]:
    """Return the last line of the journal, and the last undoing."""
    with closing(sqlite3.connect(file)) as raw:
        found: tuple[int | None, str | None] = raw.execute(
            'SELECT max(seq), max(undone) FROM "change"'
        ).fetchone()
    return found


def _same(copy: Path, state: tuple[int | None, str | None]) -> bool:
    try:
        return _state(copy) == state
    except sqlite3.Error:  # damaged, or of an older schema: another one is due
        return False
