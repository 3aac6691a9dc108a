"""Workbooks (.xlsx) as tables. Nothing is computed: formulas count with the value last shown.

A workbook is a zip of XML. How much it unpacks to is looked at before anything is unpacked.
"""

import re
import warnings
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import IO, Any

from kit.errors import DataError, NotFoundError
from kit.records.sheets.table import Formula, Percent, Table, cell, headed
from kit.records.typed import plain_name

__all__ = ["read_workbook"]

_MAX_BYTES, _MAX_RATIO, _MAX_ROWS, _MAX_COLUMNS = 600_000_000, 200, 1_048_576, 500
_MERGED = re.compile(rb'<(?:\w+:)?mergeCell\s+ref="([A-Z]+)(\d+):([A-Z]+)(\d+)"')
_FORMULA = re.compile(rb"<(?:\w+:)?f[ >/]")
_HIDDEN = re.compile(rb'<(?:\w+:)?row\s+r="(\d+)"[^>]{0,300}?\shidden="(?:1|true)"')
_COLUMN = re.compile(rb"<(?:\w+:)?col\s[^>]{0,300}>")
_OVERLAP = 500
#: a number format's parts: text in quotes or behind a stroke or as money, digits, percent; the
#: rest is room, filling, colour and condition
_TOKEN = re.compile(
    r'"([^"]*)"|\\(.)|\[\$([^\]-]*)[^\]]*\]|([0#?][0-9#?.,/]*|General)|(%)|[_*].|\[[^\]]*\]|.'
)


def read_workbook(path: Path, sheet: str | None) -> Table:
    """Read one sheet of a workbook; the first one that shows and holds anything when not named.

    Raises DataError: it is damaged, or unpacks to more than a sheet of bakes can hold.
    NotFoundError: no such sheet.
    """
    from openpyxl import load_workbook

    _check_size(path)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # about styles and drawings, which are not read
            book = load_workbook(path, read_only=True, data_only=True)
            try:
                name, notes = _chosen(book, sheet, path.name)
                return _read(book, name, path, notes)
            finally:
                book.close()
    except (DataError, NotFoundError):
        raise
    # whatever openpyxl meets in a damaged file: broken zip, broken XML, missing parts
    except Exception as exc:
        text = f"{path.name} is damaged or no workbook. Open it in your spreadsheet, save it anew."
        raise DataError(text) from exc


def _read(book: Any, name: str, path: Path, notes: list[str]) -> Table:
    """Read one sheet, and note what does not show in it or counts for more than its cell."""
    from openpyxl.utils import get_column_letter

    sheet = book[name]
    sheet.reset_dimensions()
    around, width = _scan(sheet), _width(sheet, path.name)
    met = _Met(any(font.strike for font in book._fonts))
    uncomputed = _uncomputed(path, name, width) if around.formulas else {}
    lines = _lines(sheet, path.name, width, around, uncomputed, met)
    table = headed(plain_name(path.name), name, lines, [], around.across)
    table.notes[:0] = [*notes, *met.told(table.heading_row)]
    rows = set(table.rows)
    for at, place in enumerate(table.places):
        shut = any(place + 1 in some for some in around.columns)
        if shut and any(x is not None for x in table.columns[at]):
            table.hidden[at] = get_column_letter(place + 1)
        if void := rows.intersection(met.void.get(place, ())):
            table.struck[at] = min(void)
    return table


def _check_size(path: Path) -> None:
    """Refuse what unpacks to far more than it seems."""
    try:
        with zipfile.ZipFile(path) as packed:
            members = packed.infolist()
    except (zipfile.BadZipFile, ValueError, NotImplementedError) as exc:
        text = f"{path.name} is damaged or no workbook. Open it in your spreadsheet, save it anew."
        raise DataError(text) from exc
    total = sum(member.file_size for member in members)
    packed_size = sum(member.compress_size for member in members) + 1
    if total > _MAX_BYTES or (total > 20_000_000 and total > _MAX_RATIO * packed_size):
        text = (
            f"{path.name} unpacks to {total // 1_000_000} MB, which no sheet of bakes needs; it "
            "was not opened. Copy the cells you need into a new workbook, or save them as CSV."
        )
        raise DataError(text)


def _chosen(book: Any, sheet: str | None, name: str) -> tuple[str, list[str]]:
    """Return the sheet to read, and a word about those that are not."""
    sheets = {ws.title: ws.sheet_state for ws in book.worksheets}
    shown = [title for title, state in sheets.items() if state == "visible"]
    hidden = [title for title in sheets if title not in shown]
    if sheet is not None:
        if sheet not in sheets:
            raise NotFoundError("sheet", sheet, sheets)
        return sheet, ([f"The sheet {sheet!r} is hidden in {name}."] if sheet in hidden else [])
    holding = [title for title in shown if _holds(book[title])]
    if not holding:
        text = f"{name} has no sheet that shows and holds anything; nothing was stored."
        if hidden:
            text += f" Hidden: {', '.join(map(repr, hidden))}; name one: sheet={hidden[0]!r}."
        raise DataError(text)
    notes = []
    if len(holding) > 1:
        rest = ", ".join(map(repr, holding[1:]))
        notes.append(f"Is {holding[0]!r} the sheet you mean? There are also {rest}.")
    if hidden:
        notes.append(f"Hidden and not read: {', '.join(map(repr, hidden))}.")
    return holding[0], notes


def _holds(sheet: Any) -> bool:
    sheet.reset_dimensions()  # programs write wrong ones
    return any(x.value is not None for row in sheet.iter_rows(max_row=1000) for x in row)


@dataclass
class _Around:
    """What a sheet says besides its cells; openpyxl does not tell it while it reads row by row."""

    # first row, first column, last row, last column of merged areas
    merged: list[tuple[int, int, int, int]] = field(default_factory=list)
    rows: set[int] = field(default_factory=set)  # hidden ones
    columns: list[range] = field(default_factory=list)  # hidden ones
    formulas: bool = False  # whether it holds any

    @property
    def across(self) -> dict[int, dict[int, int]]:
        """Row -> first column of cells merged in it -> last one, columns counted from 0."""
        reach: dict[int, dict[int, int]] = {}
        for row, first, _, last in self.merged:
            if last > first:
                reach.setdefault(row, {})[first - 1] = last - 1
        return reach


@dataclass
class _Met:
    """What was met in a sheet's rows that a person who looks at it may not see."""

    may_be_void: bool  # whether anything in the workbook is struck through
    rows: list[int] = field(default_factory=list)  # hidden ones that hold something
    # column, counted from 0 -> rows with something struck through
    void: dict[int, list[int]] = field(default_factory=dict)
    # first row and column of merged cells that count for rows below -> what they hold
    merged: dict[tuple[int, int], Any] = field(default_factory=dict)

    def told(self, heading_row: int) -> Iterator[str]:
        """Ask about it; merged cells of headings over two rows are not asked about."""
        if self.rows:
            yield (
                f"Hidden rows are read as well ({len(self.rows)}, the first is row {self.rows[0]})."
                " Is that meant? If not, delete them from the sheet."
            )
        below = sorted(origin for origin in self.merged if origin[0] > heading_row)
        if below:
            yield (
                f"Merged cells count for every row they cover ({len(below)} of them, the first in "
                f"row {below[0][0]}: {self.merged[below[0]]!r}). Is that meant?"
            )


def _width(sheet: Any, file: str) -> int:
    """Return how many columns the first rows of a sheet fill."""
    top = [row for _, row in zip(range(50), sheet.iter_rows(), strict=False)]
    width = max((i for row in top for i, x in enumerate(row, 1) if x.value is not None), default=0)
    if width > _MAX_COLUMNS:
        text = f"{file} has {width} columns. Copy the ones you need into a new workbook."
        raise DataError(text)
    return width


def _lines(
    sheet: Any, file: str, width: int, around: _Around, uncomputed: dict[int, dict[int, str]],
    met: _Met,
) -> Iterator[tuple[int, list[Any]]]:  # fmt: skip
    """Yield a sheet's rows as plain cells, merged ones filled downwards; note what is `met`."""
    fill: dict[tuple[int, int], tuple[int, int]] = {}
    for first_row, first, last_row, last in around.merged:
        if last_row - first_row < 10_000 and first <= width:
            over = range(first_row, last_row + 1), range(first, min(last, width) + 1)
            fill |= {(row, col): (first_row, first) for row in over[0] for col in over[1]}
    seen: dict[tuple[int, int], Any] = {}
    formats: dict[int, str] = {}
    # one column more, to meet cells without a heading
    for number, row in enumerate(sheet.iter_rows(max_col=width + 1), start=1):
        if number > _MAX_ROWS:
            text = f"{file} has more than {_MAX_ROWS} rows, more than a sheet can hold."
            raise DataError(text)
        line = [_plain(x, formats) for x in row]
        for col, formula in uncomputed.get(number, {}).items():
            if line[col - 1] is None:
                line[col - 1] = Formula(formula)
        if number in around.rows and any(x is not None for x in line):
            met.rows.append(number)
        if met.may_be_void:
            for at, x in enumerate(row):
                if x.value is not None and x.font.strike:
                    met.void.setdefault(at, []).append(number)
        if fill:
            for col in range(1, len(line) + 1):
                origin = fill.get((number, col))
                if origin == (number, col):
                    seen[origin] = line[col - 1]
                elif origin is not None and origin[1] == col:  # down, never across
                    line[col - 1] = seen.get(origin)
                    if seen.get(origin) is not None:
                        met.merged[origin] = seen[origin]
        yield number, line


def _plain(x: Any, formats: dict[int, str]) -> Any:
    """Return a cell as text, number, day or time; a unit its format shows belongs to it."""
    value = x.value
    if value is None:
        return None
    if x.data_type == "n" and isinstance(value, int | float):
        style = x._style_id
        if style not in formats:
            formats[style] = _shown_behind(x.number_format or "")
        if formats[style] == "%" and not isinstance(value, bool):
            return Percent(f"{value * 100:.12g} %")
        return f"{value!r}{formats[style]}" if formats[style] else value
    if isinstance(value, datetime) and value.time() == time():
        return value.date()
    if isinstance(value, date | time | timedelta):
        return value
    return cell(value)


def _shown_behind(form: str) -> str:
    r"""Return what a number format shows behind the number: "%", or a unit in quotes.

    Where the number is shown in parts ("1 h 30 min" for 130), or its size decides which unit, what
    is returned is no unit, so that the cell is refused.

    Examples
    --------
    >>> [_shown_behind(form) for form in ("0.0%", '0.0" cm"', '"No. "0', '0"."', "0", "0_) [$d]")]
    ['%', ' cm', '', '', '', ' d']
    """
    sections = form.split(";")
    if not re.search(r"\[[<>=]", form):
        sections = sections[:1]  # what stands behind it is for numbers below zero
    found = dict.fromkeys(filter(None, map(_unit_of_section, sections)))
    return " or".join(found)


def _unit_of_section(section: str) -> str:
    """Return what one section of a number format shows behind the number."""
    unit, digits, between = "", False, ""
    for token in _TOKEN.finditer(section):
        quoted, escaped, money, number, percent = token.groups()
        shown = quoted or escaped or money
        if percent:
            return "%"
        if shown:
            unit += shown if digits else ""
        elif number:
            between, unit, digits = between + unit, "", True
        elif token[0].isspace():
            unit += " " if unit or digits else ""
    if re.search(r"\w", between):
        return f"{between} …{unit}"
    return unit.rstrip() if re.search(r"\w|[°″′%\"]", unit) else ""


def _scan(sheet: Any) -> _Around:
    """Scan a sheet's XML for what belongs to no cell."""
    from openpyxl.utils import column_index_from_string

    found, rest = _Around(), b""
    source: IO[bytes]
    with sheet._get_source() as source:
        while chunk := source.read(1 << 20):
            text = rest + chunk
            if b"<!DOCTYPE" in text:  # no spreadsheet writes one; it can unfold without end
                msg = "a document type inside a sheet"
                raise ValueError(msg)
            found.formulas = found.formulas or _FORMULA.search(text) is not None
            found.rows |= {int(row) for row in _HIDDEN.findall(text)}
            for column in _COLUMN.findall(text):
                said = dict(re.findall(rb'(\w+)="(\w+)"', column))
                if said.get(b"hidden") in (b"1", b"true"):
                    found.columns.append(range(int(said[b"min"]), int(said[b"max"]) + 1))
            last = 0
            for area in _MERGED.finditer(text):
                left, top, right, bottom = (part.decode() for part in area.groups())
                found.merged.append((int(top), column_index_from_string(left),
                                     int(bottom), column_index_from_string(right)))  # fmt: skip
                last = area.end()
            rest = text[max(last, len(text) - _OVERLAP) :]
    return found


def _uncomputed(path: Path, name: str, width: int) -> dict[int, dict[int, str]]:
    """Return the formulas of a sheet, by row and column: some may have no value kept."""
    from openpyxl import load_workbook

    book = load_workbook(path, read_only=True, data_only=False)
    try:
        sheet = book[name]
        sheet.reset_dimensions()
        found: dict[int, dict[int, str]] = {}
        for number, row in enumerate(sheet.iter_rows(max_col=width), start=1):
            if number > _MAX_ROWS:
                break
            for col, x in enumerate(row, start=1):
                if x.data_type == "f":
                    text = x.value if isinstance(x.value, str) else getattr(x.value, "text", "=")
                    found.setdefault(number, {})[col] = str(text or "=")
        return found
    finally:
        book.close()
