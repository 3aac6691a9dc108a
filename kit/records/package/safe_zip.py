"""Reading a zip file somebody else made: nothing in it is believed before it is looked at.

What is refused: names that lead outside, links, locked and doubled members, methods of packing
that can ask for any amount of memory, and more of anything than a trial has. The end of the file
says how long the list of members is; it is looked at first, so that a list of a million is never
read. What a member holds is counted while it is unpacked, whatever was announced.
"""

import hashlib
import io
import os
import re
import stat
import struct
import unicodedata
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from typing import IO, NoReturn

from kit.errors import DataError
from kit.records.typed import file_path

__all__ = ["MAX_PHOTO", "MAX_TEXT", "MAX_TOTAL", "SafeZip", "safe_name"]

#: bytes a package may hold in all, a picture, and the text of one table
MAX_TOTAL, MAX_PHOTO, MAX_TEXT = 2_000_000_000, 100_000_000, 64_000_000
_MAX_TEXTS = 128_000_000
_MAX_MEMBERS, _MAX_LIST, _MAX_LINE = 20_000, 4_000_000, 2_000_000
_END, _END_64 = b"PK\5\6", b"PK\6\7"
_BROKEN = (
    zipfile.BadZipFile, zipfile.LargeZipFile, zlib.error, EOFError, NotImplementedError,
    RuntimeError, ValueError, struct.error, OverflowError, OSError,
)  # fmt: skip


def safe_name(name: str) -> str:
    """Say what is wrong with the name of a file in a package; empty when nothing is.

    Examples
    --------
    >>> safe_name("photos/a.jpg"), safe_name("../a"), safe_name("C:/a")
    ('', 'leads outside the package', 'leads outside the package')
    """
    parts = name.split("/")
    if name.startswith("/") or ".." in parts or re.match(r"[A-Za-z]:", name):
        return "leads outside the package"
    if "\\" in name:
        return "holds a backslash"
    if not name or len(name) > 500 or any(unicodedata.category(c) in ("Cc", "Cs") for c in name):
        return "is no name of a file"
    return ""


class SafeZip:
    """A package open for reading; use it as a context manager.

    Raises DataError: it is no package, or holds what no package of the kit has.
    """

    def __init__(self, path: str | os.PathLike[str]) -> None:
        self.path = file_path("source", path)
        self._left, self._left_of_texts = MAX_TOTAL, _MAX_TEXTS
        try:
            if not self.path.is_file():
                there = "is a folder" if self.path.is_dir() else "is not there"
                self.refuse(f"{there}. Give the zip file another baker sent you")
            self._file: IO[bytes] = self.path.open("rb")
        except OSError as exc:
            self.refuse(f"cannot be read: {(exc.strerror or str(exc)).lower()}", exc)
        try:
            self._check_end()
            with self._whole():
                self._zip = zipfile.ZipFile(self._file)
            self._members = {info.filename: info for info in self._zip.infolist()}
            self._check_members()
        except BaseException:
            self._file.close()
            raise

    def __enter__(self) -> "SafeZip":
        return self

    def __exit__(self, *_error: object) -> None:
        self._zip.close()
        self._file.close()

    def __contains__(self, name: str) -> bool:
        return name in self._members

    def refuse(self, what: str, cause: Exception | None = None) -> NoReturn:
        """Raise the error that says what is wrong with this file."""
        text = f"{self.path.name} {what}. Nothing was stored."
        raise DataError(text) from cause

    @contextmanager
    def _whole(self) -> Iterator[None]:
        try:
            yield
        except DataError:  # said in words already
            raise
        except _BROKEN as exc:
            text = "is damaged or not whole: let it be sent to you again"
            self.refuse(text, exc)

    def _check_end(self) -> None:
        """Read how many members there are, and how long their list is, before anything else."""
        size = self._file.seek(0, os.SEEK_END)
        self._file.seek(max(size - (1 << 16) - 22, 0))
        tail = self._file.read()
        at = len(tail) - 22
        if not (tail[at : at + 4] == _END and tail[-2:] == b"\0\0"):
            at = tail.rfind(_END)
        if at < 0 or len(tail) < at + 22:
            self.refuse("is not a zip file, or its end is missing")
        members, length = struct.unpack_from("<HI", tail, at + 10)
        # sizes that need the long form are more than is taken anyway
        long_form = _END_64 in tail[max(at - 20, 0) : at]
        if long_form or members > _MAX_MEMBERS or length > _MAX_LIST:
            self.refuse(f"lists more than {_MAX_MEMBERS} files, which no bake trial has")

    def _check_members(self) -> None:
        infos = self._zip.infolist()
        if len(infos) > _MAX_MEMBERS:
            self.refuse(f"lists more than {_MAX_MEMBERS} files, which no bake trial has")
        seen = set()
        for info in infos:
            name, shown = info.orig_filename, info.orig_filename[:60]
            if wrong := safe_name(name.removesuffix("/")):
                self.refuse(f"holds a file whose name {wrong} ({shown!r})")
            alike = unicodedata.normalize("NFC", name).casefold()
            if alike in seen:
                self.refuse(f"holds two files of one name ({shown!r})")
            seen.add(alike)
            kind = stat.S_IFMT(info.external_attr >> 16)
            if kind not in (0, stat.S_IFREG, stat.S_IFDIR):
                self.refuse(f"holds a link instead of a file ({shown!r})")
            if info.flag_bits & 0x41:
                text = f"is locked with a password ({shown!r}). Ask for one that is not"
                self.refuse(text)
            if info.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
                self.refuse(f"is packed in a way the kit does not take ({shown!r})")
        if sum(info.file_size for info in infos) > MAX_TOTAL:
            self.refuse(f"would unpack to more than {MAX_TOTAL // 10**6} MB")

    def _chunks(self, name: str, most: int) -> Iterator[bytes]:
        """Unpack a member, which must be there, piece by piece, counting."""
        left = most
        with self._whole(), self._zip.open(self._members[name]) as member:
            while chunk := member.read(1 << 16):
                left -= len(chunk)
                self._left -= len(chunk)
                if left < 0 or self._left < 0:
                    bound = f"{(most if left < 0 else MAX_TOTAL) // 10**6} MB"
                    self.refuse(f"holds more than {bound} in {name[:60]!r}")
                yield chunk

    def _held(self, name: str, most: int) -> io.BytesIO:
        held = io.BytesIO()
        for chunk in self._chunks(name, min(most, self._left_of_texts)):
            held.write(chunk)
        self._left_of_texts -= held.tell()
        held.seek(0)
        return held

    def lines(self, name: str, most: int = MAX_TEXT) -> Iterator[str]:
        """Give a member's text line by line, with the line ends as they are.

        Raises DataError: it is too long, damaged, or no UTF-8.
        """
        with io.TextIOWrapper(self._held(name, most), encoding="utf-8-sig", newline="") as file:
            try:
                while line := file.readline(_MAX_LINE + 1):
                    if len(line) > _MAX_LINE:
                        self.refuse(f"holds a line of more than {_MAX_LINE} signs (in {name!r})")
                    if "\0" in line:
                        self.refuse(f"holds signs that are no text (in {name!r})")
                    yield line
            except UnicodeDecodeError as exc:
                self.refuse(f"holds text that is not UTF-8 (in {name!r})", exc)

    def text(self, name: str, most: int) -> str:
        """Return a member's text; see `lines`."""
        return "".join(self.lines(name, most))

    def copy(self, name: str, target: IO[bytes]) -> str:
        """Write a picture to an open file; return its SHA-256."""
        digest = hashlib.sha256()
        for chunk in self._chunks(name, MAX_PHOTO):
            target.write(chunk)
            digest.update(chunk)
        return digest.hexdigest()
