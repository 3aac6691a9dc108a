"""Files: what they are called, and written whole or not at all, beside the old one first."""

import filecmp
import glob
import os
import re
import secrets
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO, Literal

from kit.errors import StoreError
from kit.records.keeping.trouble import said_of_disk

__all__ = [
    "aside", "copied", "file_name", "put_beside", "second_name", "sweep", "write_whole",
]  # fmt: skip

#: what was not written to for so many seconds is no longer being written
_LEFT_AFTER = 86_400


@contextmanager
def aside(path: Path) -> Iterator[IO[bytes]]:
    """Give a file beside `path` that takes its place when the block ends well.

    Raises StoreError: says what stood in the way; the file at `path` is as it was.
    """
    part = path.with_name(f".{path.name}.{secrets.token_hex(4)}.part")
    sweep(path.parent, f".{glob.escape(path.name)}.{'[0-9a-f]' * 8}.part")
    try:
        try:
            with part.open("xb") as file:
                yield file
                file.flush()
                os.fsync(file.fileno())  # a full disk shows itself here at the latest
            os.replace(part, path)
        finally:
            part.unlink(missing_ok=True)
    except OSError as exc:
        older = " The older file is as it was." if os.path.isfile(path) else ""
        text = f"{path} was not written: {said_of_disk(exc, path)}{older}"
        raise StoreError(text) from exc


def sweep(folder: Path, pattern: str, folders: bool = False) -> None:
    """Take away what a program that was killed left in a folder, half-written under such names.

    Files, or `folders`, which are as old as the newest of what they hold.
    """
    for left in folder.glob(pattern):
        try:
            if left.is_dir() != folders:
                continue
            held = left.rglob("*") if folders else ()
            with tempfile.TemporaryFile(dir=folder) as made:  # a server's clock may be another
                now = os.fstat(made.fileno()).st_mtime
            if now - max(one.lstat().st_mtime for one in (left, *held)) > _LEFT_AFTER:
                shutil.rmtree(left) if folders else left.unlink()
        except OSError:  # somebody else's, or gone by now: it does no harm
            continue


def file_name(text: str) -> str:
    """Return what people typed as a file's name: no folder in it, not hidden, no option.

    Examples
    --------
    >>> file_name("malt & salt 1.8-bake-2"), file_name("../x"), file_name("-/.")
    ('malt-salt-1.8-bake-2', 'x', 'trial')
    """
    return re.sub(r"[^\w.-]+", "-", text).lstrip(".-") or "trial"


def write_whole(path: Path, content: str | bytes) -> Path:
    """Write a text as UTF-8, its line ends as they are, or bytes; see `aside`."""
    with aside(path) as file:
        file.write(content.encode() if isinstance(content, str) else content)
    return path


def put_beside(file: Path, folder: Path, stem: str, ending: str) -> tuple[Path, bool]:
    """Move a file into a folder on its disk, over no other; return it there, and whether it is new.

    A number is put behind the stem where another file has that name; the same file already there
    is taken as it is, and `file` stays.
    """
    number = 1
    while True:
        target = folder / f"{stem}{f'-{number}' if number > 1 else ''}{ending}"
        try:
            _moved(file, target)
            return target, True
        except FileExistsError:
            if target.is_file() and filecmp.cmp(target, file, shallow=False):
                return target, False
        number += 1


def _moved(file: Path, name: Path) -> None:
    """Give a file another name on its disk; raises FileExistsError where there is one of it."""
    try:
        os.link(file, name)
    except FileExistsError:
        raise
    except OSError:  # the disk knows no second names: the free one is taken, then filled
        name.open("xb").close()
        try:
            os.replace(file, name)
        except OSError:
            name.unlink(missing_ok=True)
            raise
    else:
        file.unlink()


def second_name(file: Path, name: Path) -> None:
    """Give a file a second name; where the disk knows none, or it lies on another, a copy.

    Raises FileExistsError: there is something of that name; it is left as it is.
    """
    try:
        os.link(file, name)
    except FileExistsError:
        raise
    except OSError:
        copied(file, name, "xb")


def copied(old: Path, name: Path, mode: Literal["wb", "xb"] = "wb") -> None:
    """Copy a file's bytes, and see that they are on the disk; a copy that breaks off is no file."""
    put = name.open(mode)
    try:
        with put, old.open("rb") as held:
            shutil.copyfileobj(held, put)
            put.flush()
            os.fsync(put.fileno())
    except BaseException:
        name.unlink(missing_ok=True)
        raise
