"""Copies of the workspace's file, kept beside it: the last few states it was opened in.

A copy is taken on opening, before anything is done, and only if something was done since the
last one; what was done stands in the journal, so two numbers tell. SQLite's own backup sees one
state of the file whoever else is writing, what stands in its write-ahead log included.
"""

import os
import sqlite3
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

__all__ = ["FOLDER", "KEPT", "copies", "keep_copy"]

FOLDER = "copies"
#: how many are kept
KEPT = 5


def copies(folder: Path) -> list[Path]:
    """Return the copies of a workspace, oldest first."""
    kept = folder / FOLDER
    return sorted(kept.glob("bakes-*.sqlite")) if os.path.isdir(kept) else []


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
        moment = datetime.now(UTC).strftime("%Y%m%d-%H%M%S-%f")
        copy = into / f"{file.stem}-{moment}{file.suffix}"
        # a name of its own until it is whole: a program that ends half-way leaves no false copy
        part = copy.with_suffix(".part")
        with closing(sqlite3.connect(file)) as source, closing(sqlite3.connect(part)) as target:
            target.execute("PRAGMA synchronous = OFF")  # a lost copy is taken again
            source.backup(target)
        part.replace(copy)
        for old in copies(file.parent)[:-KEPT]:
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
