"""Copies of the workspace's file, kept beside it: the last few states, and of the last few days.

A copy is taken on opening, before anything is done, and only if something was done since the
last one; what was done stands in the journal, so two numbers tell. SQLite's own backup sees one
state of the file whoever else is writing, what stands in its write-ahead log included.
"""

import os
import re
import secrets
import sqlite3
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path

from kit.errors import StoreError
from kit.records import tables as t
from kit.records.keeping.aside import copied, second_name, sweep
from kit.records.keeping.trouble import in_words, said_of_disk

__all__ = ["FOLDER", "KEPT", "copies", "keep_copy", "put_back", "when_taken"]

FOLDER = "copies"
#: how many are kept, and of how many days the last one: a busy morning must not push them all out
KEPT = 5
_DAY = len("bakes-20261126")
_NAME = re.compile(r"bakes-\d{8}-\d{6}-\d{6}")
_FORM = "%Y%m%d-%H%M%S-%f"
#: a name with a later one is no moment the kit wrote
_LAST_YEAR = 2200
#: the tables every workspace has had
_OURS = {x.name for x in (t.stamp, t.change, t.trial, t.bake, t.dough, t.piece, t.reading)}
_DAMAGED = ("SQLITE_NOTADB", "SQLITE_CORRUPT")


def copies(folder: Path) -> list[Path]:
    """Return the copies of a workspace, oldest first."""
    kept = folder / FOLDER
    if not os.path.isdir(kept):
        return []
    return sorted(copy for copy in kept.glob("bakes-*.sqlite") if _named_moment(copy))


def keep_copy(file: Path) -> str:
    """Copy an open workspace's file aside unless the last copy is the same; keep the last few.

    Returns why there is none, in words; empty when all is well. A copy that fails is no reason not
    to work: the file itself is as it was.
    """
    if not _writable(file):
        return ""  # nothing can change, so there is nothing to go back to
    part: Path | None = None
    try:
        state = _state(closing(sqlite3.connect(file)))
        if state == (None, None):
            return ""  # nothing was ever done
        kept = copies(file.parent)
        if kept and _same(kept[-1], state):
            return ""
        into = file.parent / FOLDER
        into.mkdir(exist_ok=True)
        sweep(into, f"{file.stem}-*.part")
        copy = into / f"{file.stem}-{_moment(*kept[-1:])}{file.suffix}"
        # a name of its own until it is whole: a program that ends half-way leaves no false copy
        part = copy.with_suffix(f".{secrets.token_hex(4)}.part")
        with closing(sqlite3.connect(file)) as source, closing(sqlite3.connect(part)) as target:
            target.execute("PRAGMA synchronous = OFF")  # a lost copy is taken again
            source.backup(target)
        part.replace(copy)
        # programs that begin at once each take one: the first stays, whoever sees the others
        made = [new for new in copies(file.parent) if new not in kept and _same(new, state)]
        for again in made[1:]:
            again.unlink(missing_ok=True)
        kept = [*kept, *made[:1]]  # what others take meanwhile pushes none out
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


def put_back(file: Path, copy: Path | None = None) -> tuple[Path, Path | None]:
    """Let a copy take the place of a workspace's file; what was there goes aside, nothing is lost.

    Whatever stops it leaves the old state or the new one: SQLite itself writes the copy over the
    file, under a lock that a program which begins meanwhile waits for; a file of another name would
    be mixed with what such a program writes to the old one. Only where the file is too damaged for
    that it gets another name in the folder of copies, with its log, and the new one takes its own.

    `copy` may be named alone where it lies beside the file; the newest that is whole when not
    given. Returns it, and where what was there lies now (None where nothing was). Raises
    StoreError: there is no such copy, or it is damaged; a program has the file open; the disk does
    not take it.
    """
    whole = _whole(file.parent / FOLDER, copy)
    gone = file.parent / FOLDER / f"replaced-{_moment()}{file.suffix}"
    file = Path(os.path.realpath(file))
    try:
        gone.parent.mkdir(exist_ok=True)
        for folder in {file.parent, gone.parent}:
            sweep(folder, ".replaced-*.part*")
        if not _written_over(file, whole, gone):
            _change_places(file, whole, gone)
    except OSError as exc:
        older = " It is as it was." if file.exists() else ""
        text = f"{file} was not replaced: {said_of_disk(exc, file)}{older}"
        raise StoreError(text) from exc
    # never thinned out: it may be the only file that holds what was done since the last copy
    return whole, gone if gone.exists() else None


def _change_places(file: Path, whole: Path, gone: Path) -> None:
    """Let a copy take the name of a file no program can read, or that is not there.

    `gone` is then the old one's; or nothing is changed.
    """
    log, its_log = (Path(f"{name}-wal") for name in (file, gone))
    new = file.with_name(f".{gone.name}.part")
    try:
        copied(whole, new)  # a full disk shows itself while nothing has changed
        if file.exists():
            second_name(file, gone)
        if log.exists() and not its_log.exists():
            copied(log, its_log)
        for beside in (log, Path(f"{file}-shm")):
            beside.unlink(missing_ok=True)
        os.replace(new, file)
    except OSError:
        if its_log.exists() and not log.exists():
            copied(its_log, log)
        for name in (its_log, gone):
            name.unlink(missing_ok=True)
        raise
    finally:
        new.unlink(missing_ok=True)


def _written_over(file: Path, whole: Path, gone: Path) -> bool:
    """Copy a file aside and write another over it, for which no other program may have it open.

    False where the file is too damaged for that (`gone` then has its log), empty, or not there.
    """
    if not file.exists() or not file.stat().st_size:
        return False
    log, its_log = (Path(f"{name}-wal") for name in (file, gone))
    part = gone.with_name(f".{gone.name}.part")
    damaged = False
    try:
        if log.exists():
            copied(log, its_log)  # SQLite takes away the log of a file it cannot read
        with closing(sqlite3.connect(file, timeout=1, isolation_level=None)) as raw:
            raw.execute("PRAGMA locking_mode = EXCLUSIVE")
            raw.execute("BEGIN EXCLUSIVE")  # an idle program shares the file as well
            raw.execute("COMMIT")
            with closing(sqlite3.connect(part)) as old:
                raw.backup(old)
            its_log.unlink(missing_ok=True)  # what it held is in the file
            os.replace(part, gone)
            with _opened(whole) as held:
                held.backup(raw)
    except sqlite3.Error as exc:
        code = getattr(exc, "sqlite_errorname", "")
        gone.unlink(missing_ok=True)  # nothing was changed; after Ctrl-C it may have been
        if damaged := code in _DAMAGED:
            return False
        if code.startswith("SQLITE_BUSY"):
            text = (
                f"{file} is open in another program. Close it first (a notebook: Kernel, Shut "
                "Down), then do this again; nothing was changed."
            )
            raise StoreError(text) from exc
        if code == "SQLITE_READONLY" and _page_bytes(file) != _page_bytes(whole):
            text = (
                f"{whole} and {file} lie in pages of different size (another program rewrote one "
                "of them), and the one cannot be written over the other. Put back another copy; "
                f"if none can be, move {file} away and do this again. Nothing was changed."
            )
            raise StoreError(text) from exc
        with in_words(str(file)):
            raise
    finally:
        for made in (part, Path(f"{part}-journal")):
            made.unlink(missing_ok=True)
        if not damaged:
            its_log.unlink(missing_ok=True)
    return True


def _page_bytes(file: Path) -> bytes:
    """Return what a file's header says of its pages' size (SQLite's file format, 1.3.2)."""
    with file.open("rb") as held:
        return held.read(18)[16:]


def _whole(folder: Path, copy: Path | None) -> Path:
    """Return the copy that was named, or the newest, if it is whole."""
    if copy is not None:
        if not copy.exists() and (folder / copy.name).exists():
            copy = folder / copy.name
        if flaw := _flaw(copy):
            text = f"{copy} {flaw} The copies lie in {folder}; nothing was changed."
            raise StoreError(text)
        return copy
    flaws = []
    for known in reversed(copies(folder.parent)):
        if not (flaw := _flaw(known)):
            return known
        flaws.append(f" that can be put back: the newest, {known.name}, {flaw[:-1]}")
    text = f"{folder} holds no copy{''.join(flaws[:1])}. Nothing was changed."
    raise StoreError(text)


def _flaw(copy: Path) -> str:
    """Return why a file cannot be put back, in words; empty where it can."""
    if not copy.exists():
        return "is not there."
    if not copy.is_file():
        return "is a folder, and a copy is a file."
    try:
        with closing(sqlite3.connect(copy, timeout=1)) as raw:
            found = {name for (name,) in raw.execute("SELECT name FROM sqlite_master")}
            sound = raw.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    except sqlite3.Error as exc:
        code = getattr(exc, "sqlite_errorname", "")
        if code in _DAMAGED:
            return "is damaged, or no copy of a workspace."
        if code.startswith("SQLITE_IOERR"):  # as on a full disk: not the copy's fault
            with in_words(str(copy)):
                raise
        return f"cannot be read: {str(exc).lower()}. Close the programs that use it."
    if not found.issuperset(_OURS):
        return "is no copy of a workspace."
    return "" if sound else "is damaged."


def when_taken(copy: Path) -> datetime:
    """Return when a copy was taken, as its name tells; else when the file was last written."""
    named = _named_moment(copy)
    return named or datetime.fromtimestamp(copy.stat().st_mtime, UTC)


def _named_moment(copy: Path) -> datetime | None:
    if _NAME.fullmatch(copy.stem) is None:
        return None
    try:
        read = datetime.strptime(copy.stem, f"bakes-{_FORM}").replace(tzinfo=UTC)
    except ValueError:
        return None
    return read if read.year < _LAST_YEAR else None


def _moment(last: Path | None = None) -> str:
    """Return the moment for a name; after the last copy's also where the clock was put back."""
    name = datetime.now(UTC).strftime(_FORM)
    if last is None or name > last.stem[len("bakes-") :]:
        return name
    return (when_taken(last) + timedelta(microseconds=1)).strftime(_FORM)


def _forget(part: Path) -> None:
    try:
        part.unlink(missing_ok=True)
    except OSError:
        return  # on a disk that takes nothing more; it is no copy by its name


def _writable(file: Path) -> bool:
    effective = os.access in os.supports_effective_ids
    return all(os.access(p, os.W_OK, effective_ids=effective) for p in (file, file.parent))


def _state(file: closing[sqlite3.Connection]) -> tuple[int | None, str | None]:
    """Return the last line of the journal, and the last undoing."""
    with file as raw:
        found: tuple[int | None, str | None] = raw.execute(
            'SELECT max(seq), max(undone) FROM "change"'
        ).fetchone()
    return found


def _opened(copy: Path) -> closing[sqlite3.Connection]:
    """Open a copy as it lies there: nothing is written beside it, also on a full disk."""
    address = f"{copy.resolve().as_uri()}?mode=ro&immutable=1"
    return closing(sqlite3.connect(address, uri=True))


def _same(copy: Path, state: tuple[int | None, str | None]) -> bool:
    try:
        return _state(_opened(copy)) == state
    except sqlite3.Error:  # damaged, or of an older schema: another one is due
        return False
