"""Files: what they are called, and written whole or not at all, beside the old one first."""

import os
import re
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO

from kit.errors import StoreError
from kit.records.trouble import said_of_disk

__all__ = ["aside", "file_name", "write_whole"]


@contextmanager
def aside(path: Path) -> Iterator[IO[bytes]]:
    """Give a file beside `path` that takes its place when the block ends well.

    Raises
    ------
    StoreError
        Says what stood in the way; the file at `path` is as it was.
    """
    part = path.with_name(f".{path.name}.{secrets.token_hex(4)}.part")
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
