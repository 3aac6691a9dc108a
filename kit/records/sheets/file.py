"""Opening a table: text with commas, semicolons or tabs, a workbook (`xlsx`), or a frame.

Texts are in UTF-8, UTF-16 or Windows-1252.
"""

import codecs
import csv
import io
from collections import Counter
from itertools import islice
from pathlib import Path
from typing import Any

import pandas as pd

from kit.errors import DataError, InputError
from kit.records.sheets.headings import is_heading
from kit.records.sheets.table import TOP, Table, cell, headed
from kit.records.sheets.xlsx import read_workbook
from kit.records.typed import file_path, plain_name

__all__ = ["decoded", "delimiter", "open_table"]

_LONGEST_CELL = 131_072


def open_table(source: str | Path | pd.DataFrame, sheet: str | None = None) -> Table:
    """Read a table: .csv, .tsv, .txt, .xlsx, .xlsm, or a frame.

    Of a workbook the `sheet`, or the first one that shows and holds anything. Raises DataError: it
    cannot be read; says why and what to do. NotFoundError, InputError: the workbook has no such
    sheet, which lists those there are; or it is no workbook.
    """
    if isinstance(source, pd.DataFrame):
        _only_table("the table", sheet)
        columns = [[cell(x) for x in source.iloc[:, i].tolist()] for i in range(source.shape[1])]
        names = [str(column) for column in source.columns]
        return Table("the table", "", names, columns, list(range(2, len(source) + 2)))
    path = file_path("source", source)
    name = plain_name(path.name)
    try:
        with path.open("rb") as file:
            begins = file.read(8)
            if begins[:4] == b"PK\x03\x04" or path.suffix.lower() in (".xlsx", ".xlsm"):
                return read_workbook(path, sheet)
            content = begins + file.read()
    except OSError as exc:
        text = f"{path} cannot be read: {(exc.strerror or str(exc)).lower()}."
        if isinstance(exc, FileNotFoundError):
            text = f"{path} is not there. Give a CSV or XLSX file."
        raise DataError(text) from exc
    if begins == b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1":
        text = (
            f"{name} is a workbook of the old kind (.xls), or locked with a password. "
            "Save it as .xlsx without a password."
        )
        raise DataError(text)
    _only_table(name, sheet)
    text, notes = decoded(content, name)
    return headed(name, "", _lines(text, name), notes)


def _only_table(name: str, sheet: str | None) -> None:
    if sheet is not None:
        rule = f"names a sheet of a workbook, and {name} is one table without sheets"
        raise InputError("sheet", sheet, rule, "Leave it out.")


def decoded(content: bytes, name: str, kind: str = "CSV (UTF-8)") -> tuple[str, list[str]]:
    """Return a file's text, and a word where its encoding had to be guessed.

    Raises DataError: it is no text; says to save it as a `kind`.
    """
    encoding = "utf-8-sig" if content.startswith(codecs.BOM_UTF8) else "utf-8"
    if content.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        encoding = "utf-16"
    elif encoding == "utf-8":
        # every other byte of Latin letters is 0 in UTF-16
        head = content[:2000]
        if len(head) >= 8 and max(head[::2].count(0), head[1::2].count(0)) > 0.4 * len(head[::2]):
            encoding = "utf-16-be" if head[0] == 0 else "utf-16-le"
    try:
        return content.decode(encoding), []
    except UnicodeDecodeError as exc:
        try:
            if encoding != "utf-8" or b"\0" in content:
                raise exc
            text = content.decode("cp1252")
        except UnicodeDecodeError:
            where = " in your spreadsheet" if "CSV" in kind else ""
            said = f"{name} is not plain text. Save it as {kind}{where}."
            raise DataError(said) from exc
    strange = next((word for word in text.split() if not word.isascii()), "")[:30]
    return text, [
        f"{name} is not UTF-8; it was read as Windows-1252. Does {strange!r} read as it should? "
        f"If not, save it as {kind}."
    ]


def _lines(text: str, name: str) -> list[tuple[int, list[Any]]]:
    """Return the lines of a text file with the row each stands in, as a spreadsheet counts."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter(text))
    lines: list[tuple[int, list[Any]]] = []
    try:
        for number, line in enumerate(reader, start=1):
            # other libraries in the same Python may have lifted the csv module's own limit
            if any(len(x) > _LONGEST_CELL for x in line):
                raise DataError(_too_long(name, number))
            lines.append((number, [cell(x) for x in line]))
    except csv.Error as exc:
        said = f"{name} cannot be read as CSV, row {len(lines) + 1}: {exc}."
        if "field larger" in str(exc):
            said = _too_long(name, len(lines) + 1)
        raise DataError(said) from exc
    return lines


def delimiter(text: str) -> str:
    """Return what parts the cells: what gives the most known headings in a line.

    Where that tells nothing, what parts most of the first lines into equally many cells: titles,
    quoted text and decimals may hold the others, but seldom in every line.
    """
    top = text[:50_000]

    def parted(sign: str) -> tuple[int, int, int]:
        rows = csv.reader(io.StringIO(top, newline=""), delimiter=sign)
        lines = list(islice(filter(any, rows), TOP))
        known = max((sum(map(is_heading, line)) for line in lines), default=0)
        often = Counter(len(line) for line in lines if len(line) > 1)
        alike = max(((count, width) for width, count in often.items()), default=(0, 0))
        return known, *alike

    try:
        return max(";\t,", key=parted)
    except csv.Error:  # reading the whole file tells where
        return ","


def _too_long(name: str, row: int) -> str:
    return (
        f"{name} cannot be read: a cell in row {row} holds more than {_LONGEST_CELL} characters. "
        "Perhaps a quotation mark is not closed."
    )
