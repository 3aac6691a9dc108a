"""Files written whole or not at all: beside the old one first, then in its place."""

import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO

__all__ = ["aside", "write_whole"]


@contextmanager
def aside(path: Path) -> Iterator[IO[bytes]]:
    """Give a file beside `path` that takes its place when the block ends well.

    Raises
    ------
    OSError
        The file at `path` is as it was.
    """
    part = path.with_name(f".{path.name}.{secrets.token_hex(4)}.part")
    try:
        with part.open("xb") as file:
            yield file
            file.flush()
            os.fsync(file.fileno())  # a full disk shows itself here at the latest
        os.replace(part, path)
    finally:
        part.unlink(missing_ok=True)


def write_whole(path: Path, text: str) -> None:
    """Write a text as UTF-8, its line ends as they are."""
    with aside(path) as file:
        file.write(text.encode())
