"""What a database or a disk complains about, said so that a baker knows what to do."""

import errno
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy.exc import DBAPIError, IntegrityError, SQLAlchemyError

from kit.errors import StoreError

__all__ = ["NOT_OURS", "in_words", "said_of_disk"]

NOT_OURS = (
    "is not a workspace or is damaged; it was left as it is. "
    "Put back a copy of it if you have one, otherwise choose another folder."
)
_READ_ONLY = (
    "cannot be written: the file or its folder is read-only. "
    "Allow writing to it, or copy the folder to a place of your own and open the copy."
)
_FULL = "cannot grow: the disk is full. Free some space, then do this again; nothing was stored."

#: SQLite's result code, or its beginning -> what follows the file's name
_SQLITE = {
    "SQLITE_BUSY": (
        "is locked: another program is in the middle of writing to it. "
        "Close that program or wait for it, then do this again; nothing was stored."
    ),
    "SQLITE_LOCKED": (
        "is locked: another part of this program is in the middle of writing to it. "
        "Do this again; nothing was stored."
    ),
    "SQLITE_READONLY": _READ_ONLY,
    "SQLITE_CANTOPEN": (
        "cannot be opened: the file or its folder may not be read or written by you. "
        "Allow it, or copy the folder to a place of your own and open the copy."
    ),
    "SQLITE_NOTADB": NOT_OURS,
    "SQLITE_CORRUPT": NOT_OURS,
    "SQLITE_FULL": _FULL,
    # what is shared with other programs finds no room
    "SQLITE_IOERR_SHMSIZE": (
        "cannot be used: the disk is full. Free some space, then do this again."
    ),
    "SQLITE_IOERR": (
        "cannot be read or written: the disk reports an error. "
        "Check the disk or the network drive it lies on, then open the workspace again."
    ),
}


@contextmanager
def in_words(name: str) -> Iterator[None]:
    """Turn what the database or the disk raises in the block into a `StoreError` about `name`."""
    try:
        yield
    except (SQLAlchemyError, sqlite3.Error, OSError) as exc:
        text = f"{name} {_explain(exc)}"
        raise StoreError(text) from exc


def _explain(exc: Exception) -> str:
    cause = exc.orig if isinstance(exc, DBAPIError) else exc
    code = getattr(cause, "sqlite_errorname", "")
    if getattr(cause, "sqlstate", "") == "55P03":  # PostgreSQL waited as long as it was told to
        code = "SQLITE_BUSY"
    for known, text in _SQLITE.items():
        if code.startswith(known):
            return text
    if isinstance(exc, IntegrityError):
        return (
            "did not take this: the same thing was stored a moment ago by someone else. "
            "Look at what is there, then do this again; nothing was stored."
        )
    if isinstance(cause, PermissionError):
        return _READ_ONLY
    if isinstance(cause, OSError):
        return f"cannot be used: {said_of_disk(cause)}"
    first = str(cause).strip().partition("\n")[0].rstrip(".")
    return f"cannot be used: {first}. Check its address, then open the workspace again."


def said_of_disk(exc: OSError, path: Path | None = None) -> str:
    """What stood in the way of a file (one to be written, at `path`), and what to do about it."""
    if exc.errno in (errno.EACCES, errno.EPERM, errno.EROFS):
        return "writing there is not allowed. Choose another folder, or allow writing in this one."
    if exc.errno == errno.ENOENT and path is not None:
        return f"the folder {path.parent} does not exist. Make it, or choose another folder."
    return _DISK.get(exc.errno or 0, f"{exc.strerror or exc}.")


#: error number -> what stood in the way, and what to do
_DISK = {
    errno.ENOENT: "it is not there. Check its name.",
    errno.EISDIR: "there is a folder of that name. Choose another name.",
    errno.ENOTDIR: "what should be a folder on the way to it is a file. Check its name.",
    errno.ENAMETOOLONG: "its name is too long. Choose a shorter one.",
    errno.ENOSPC: "the disk is full. Free some space, then do this again.",
    errno.EDQUOT: "the disk is full. Free some space, then do this again.",
    errno.EFBIG: "it is too large for that disk. Choose another disk.",
    errno.EIO: "the disk reports an error. Check the disk or the network drive.",
}
