"""What a database or a disk complains about, said so that a baker knows what to do."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy.exc import DBAPIError, IntegrityError, SQLAlchemyError

from kit.errors import StoreError

__all__ = ["NOT_OURS", "in_words"]

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
    "SQLITE_IOERR": (
        "cannot be read or written: the disk reports an error. "
        "Check the disk or the network drive it lies on, then open the workspace again."
    ),
}


@contextmanager
def in_words(name: str) -> Iterator[None]:
    """Turn what the database or the disk raises inside the block into a `StoreError`.

    Parameters
    ----------
    name : str
        What the workspace's file or database is called in the message.
    """
    try:
        yield
    except (SQLAlchemyError, sqlite3.Error, OSError) as exc:
        text = f"{name} {_explain(exc)}"
        raise StoreError(text) from exc


def _explain(exc: Exception) -> str:
    cause = exc.orig if isinstance(exc, DBAPIError) else exc
    code = getattr(cause, "sqlite_errorname", "")
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
    if isinstance(cause, OSError) and cause.strerror:
        return f"cannot be used: {cause.strerror.lower()}. Choose another folder."
    first = str(cause).strip().partition("\n")[0].rstrip(".")
    return f"cannot be used: {first}. Check its address, then open the workspace again."
