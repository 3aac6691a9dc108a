"""A table as it stands in a file: rows and cells, nothing understood yet.

Text files with commas, semicolons or tabs, in UTF-8, UTF-16 or Windows-1252; workbooks
(`kit.records.sheets.xlsx`); frames. Cells that begin with an equals sign stay text: nothing in a
file is ever computed.
"""

import codecs
import csv
import io
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, time, timedelta
from functools import cached_property
from itertools import islice
from pathlib import Path
from typing import Any

import pandas as pd

from kit.errors import DataError, InputError
from kit.given import is_missing
from kit.records.sheets.headings import is_heading, joined, told_apart, with_units
from kit.records.typed import plain_name

__all__ = [
    "ERRORS",
    "Formula",
    "Percent",
    "Table",
    "cell",
    "decoded",
    "delimiter",
    "headed",
    "open_table",
]

#: how many rows at the top may be a title before the heading comes
_TOP = 20
_LONGEST_CELL = 131_072


#: what a spreadsheet shows where it could not compute
ERRORS = frozenset(
    ("#N/A", "#DIV/0!", "#VALUE!", "#REF!", "#NAME?", "#NUM!", "#NULL!", "#SPILL!", "#CALC!")
)


#: what people write where nothing was measured; no number, and no code either
_NOT_MEASURED = frozenset(("-", "--", "–", "—", "n/a"))


class Percent(str):
    """A number formatted as percent, as it is shown: 0.008 is "0.8 %"."""


class Formula(str):
    """A formula whose value the file does not hold."""


@dataclass(frozen=True)
class Table:
    """What stands in one sheet."""

    name: str  # file or table, as it is called in messages
    sheet: str  # sheet of the workbook; empty for a text file or a frame
    headings: list[str]  # one a column
    # one a column, one cell a row: text, number, day, time; an empty one is None
    columns: list[list[Any]]
    rows: list[int]  # spreadsheet row of each row; counted from 1 at the top of the file
    heading_row: int = 1  # in which the headings stand
    # what is worth knowing about the file
    notes: list[str] = field(default_factory=list, repr=False)
    # (int, InputError): Cells that cannot be used whatever their column means, by row
    problems: list[tuple[int, InputError]] = field(default_factory=list, repr=False)

    @cached_property
    def names(self) -> list[str]:
        """The headings, those that come again numbered; one that is empty by its place."""
        seen: Counter[str] = Counter()
        names = []
        for place, heading in enumerate(self.headings, start=1):
            name = heading or f"column {place}"
            seen[name] += 1
            names.append(name if seen[name] == 1 else f"{name} ({seen[name]})")
        return names


def cell(x: Any) -> Any:
    """Return a cell as a spreadsheet would hold it; None when empty, or a dash for not measured."""
    if is_missing(x) or (isinstance(x, str) and x.strip().lower() in _NOT_MEASURED):
        return None
    if isinstance(x, bool):
        return str(x).upper()
    if isinstance(x, int | float | date | time | timedelta):
        return x
    if isinstance(x, str):
        clean = x.strip()
        return x if x == clean else clean  # a `Percent` stays one
    return str(x).strip() or None


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
    path = Path(source)
    name = plain_name(path.name)
    try:
        with path.open("rb") as file:
            begins = file.read(8)
            if begins[:4] == b"PK\x03\x04" or path.suffix.lower() in (".xlsx", ".xlsm"):
                from kit.records.sheets.xlsx import read_workbook

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
        lines = list(islice(filter(any, rows), _TOP))
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


def headed(
    name: str,
    sheet: str,
    lines: Iterable[tuple[int, Sequence[Any]]],
    notes: list[str],
    across: Mapping[int, Mapping[int, int]] | None = None,
) -> Table:
    """Find the headings and part what stands below them into columns.

    `lines` come with their row, from the top of the file. `across` is row -> first column of cells
    merged in it -> last one, counted from 0; asked when the lines are read.
    """
    filled = [(row, line) for row, line in lines if any(x is not None for x in line)]
    if not filled:
        return Table(name, sheet, [], [], [], 1, notes)
    known = [sum(is_heading(x) for x in line) for _, line in filled[:_TOP]]
    at = known.index(max(known)) if max(known) >= 2 else 0  # a title may stand above
    headings, top = ["" if x is None else str(x) for x in filled[at][1]], at
    # a name over several columns, what tells them apart below: both rows are the heading
    for first in (at, at - 1):
        two = filled[first : first + 2] if first >= 0 else []
        merged = (across or {}).get(two[0][0]) if two else None
        both = joined(two[0][1], two[1][1], merged) if len(two) == 2 else []
        if told_apart(both) > told_apart(headings):
            headings, top, at = both, first, first + 1
            rows = f"Rows {filled[top][0]} and {filled[at][0]}"
            notes = [*notes, f"{rows} are read as one heading."]
            break
    heading_row = filled[at][0]
    if top:
        notes = [*notes, f"The headings stand in row {filled[top][0]}; what is above is left out."]
    while headings and not headings[-1]:
        headings.pop()  # spreadsheets write empty columns at the end
    if at + 1 < len(filled) and (measured := with_units(headings, filled[at + 1][1])):
        at += 1
        notes = [*notes, f"Row {filled[at][0]} is read as the units of the columns."]
        headings = measured
    width, below = len(headings), filled[at + 1 :]
    columns: list[list[Any]] = [[] for _ in range(width)]
    problems = []
    for row, line in below:
        for i, column in enumerate(columns):
            column.append(line[i] if i < len(line) else None)
        over = [x for x in line[width:] if x is not None]
        if over:
            problems.append((row, _over(row, str(over[-1]))))
    kept = [i for i in range(width) if headings[i] or any(x is not None for x in columns[i])]
    return Table(
        name, sheet, [headings[i] for i in kept], [columns[i] for i in kept],
        [row for row, _ in below], heading_row, notes, problems,
    )  # fmt: skip


def _over(row: int, value: str) -> InputError:
    return InputError(
        "row", value, "has more cells than the heading",
        "Give each column a heading, and put text that holds a comma in quotes.", f"row {row}",
    )  # fmt: skip
