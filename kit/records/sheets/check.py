"""Checking a table cell by cell, and one thing against another, before anything is stored."""

import math
import re
from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from functools import partial
from typing import Any
from unicodedata import normalize

from kit import quantities, words
from kit.errors import InputError
from kit.quantities import Checked, Quantity
from kit.records.readings import check_kind
from kit.records.sheets.cells import date_order, read_day
from kit.records.sheets.summed import sums_up
from kit.records.sheets.table import ERRORS, Formula, Problem
from kit.records.typed import day, text, whole

__all__ = ["Sheet", "check", "named"]

_NAMED = ("bake", "dough", "piece")
#: what people write for "as above", and for "nothing happened"; common practice, no source
_AS_ABOVE = frozenset(
    ('"', "''", "〃", "„", "”", "“", "do.", "ditto", "dito", "s.o.", "dto", "dto.", "idem")
)
_NOTHING = frozenset(("none", "no", "nothing", "ok", "nein", "keine", "keins", "nichts"))
_ABOUT_BAKE = ("day", "flour_lot", "yeast_lot")


@dataclass
class Sheet:
    """A table on its way in."""

    rows: list[int]  # spreadsheet row of each line; the heading is row 1
    cells: dict[str, list[Any]]  # column -> one cell a line; an empty one is None
    wide: bool = True  # each row is a piece; else each row is a value, of whatever the row names
    problems: list[Problem] = field(default_factory=list)
    # row, column, doubt: what is unusual
    doubts: list[tuple[int, str, str]] = field(default_factory=list)
    # level -> per line what identifies its bake, dough, load, piece; None where it names none
    keys: dict[str, list[Any]] = field(default_factory=dict)
    # ``day``, ``flour_lot``, ``yeast_lot`` -> what each line says
    about_bake: dict[str, list[Any]] = field(default_factory=dict)
    places: list[int | None] = field(default_factory=list)  # place on the griddle, one a line
    # quantity -> its value on each line, None where there is none
    values: dict[str, list[float | None]] = field(default_factory=dict)
    kinds: list[list[str]] = field(default_factory=list)  # what happened to the piece of each line
    # rows whose bake, dough or piece was refused or left empty
    nameless: set[int] = field(default_factory=set)
    # level -> the keys of what the trial has already
    known: Mapping[str, Iterable[Any]] = field(default_factory=dict)
    # which piece of its row each line is; empty where each row is one
    numbers: list[int] = field(default_factory=list)
    # columns with a cell of its own for each piece of a row
    of_pieces: set[str] = field(default_factory=set)

    def problem(
        self, row: int, column: str, value: object, rule: str, remedy: str = "", piece: int = 0
    ) -> None:
        """Note a problem; one of a row with several pieces once, not for each of them."""
        told = Problem(row, InputError(column, value, rule, remedy, f"row {row}"), piece)
        last = self.problems[-1] if self.numbers and self.problems else None
        if last is None or (str(last.error), last.piece) != (str(told.error), piece):
            self.problems.append(told)

    def good(self) -> list[int]:
        """Return the lines without a problem, by their place in `rows`."""
        bad = {problem.row for problem in self.problems}
        return [i for i, row in enumerate(self.rows) if row not in bad]

    @property
    def unusual(self) -> list[str]:
        """Return the doubts as lines, by row."""
        return [f"row {row}, {name}: {doubt}" for row, name, doubt in sorted({*self.doubts})]

    def column(self, name: str) -> list[Any]:
        """Return a column's cells, empty ones where there is no such column."""
        return self.cells.get(name, [None] * len(self.rows))

    def first_row(self, level: str) -> dict[Any, int]:
        """Return each thing of a level with the row it first stands in."""
        first: dict[Any, int] = {}
        for key, row in zip(self.keys[level], self.rows, strict=True):
            first.setdefault(key, row)
        return first

    def read(self, name: str, reader: Callable[[Any], Any]) -> list[Any]:
        """Read a column with `reader`, equal cells once; what it refuses is a problem."""
        seen: dict[Hashable, Any] = {}
        out = []
        pieces = self.numbers if name in self.of_pieces else [0] * len(self.rows)
        for cell, row, piece in zip(self.column(name), self.rows, pieces, strict=True):
            if (type(cell), cell) not in seen:
                try:
                    seen[type(cell), cell] = reader(_computed(name, cell))
                except InputError as exc:
                    seen[type(cell), cell] = exc
            got = seen[type(cell), cell]
            if isinstance(got, InputError):
                self.problem(row, name, cell, got.rule, got.remedy, piece)
                got = None
            out.append(got)
        return out


def check(sheet: Sheet) -> None:
    """Fill in what a sheet says, and its problems and doubts."""
    _structure(sheet)
    columns = {q.name: q for q in quantities.all_quantities() if q.name in sheet.cells}
    read = {name: _quantity(sheet, quantity) for name, quantity in columns.items()}
    for name, quantity in columns.items():
        values = read[name]
        if quantity.formula is not None and all(need in read for need in quantity.needs):
            values = _not_computed(quantity, values, [read[need] for need in quantity.needs])
        if quantity.level != "piece" or not sheet.wide:
            _one_each(sheet, name, quantity.level, values, quantity.show)
        sheet.values[name] = values
    sheet.kinds = [kinds or [] for kinds in sheet.read("events", _kinds)]


def _computed(column: str, cell: Any) -> Any:
    """Refuse a cell its spreadsheet could not compute, or whose value the file does not hold."""
    if isinstance(cell, Formula):
        rule = "is a formula whose value the file does not hold"
        remedy = "Open it in your spreadsheet, save it anew, or write the value itself."
        raise InputError(column, cell, rule, remedy)
    if isinstance(cell, str) and cell in ERRORS:
        rule = "is an error of the spreadsheet"
        raise InputError(column, cell, rule, "Correct the formula, or empty the cell.")
    return cell


def _clock(cell: time | timedelta) -> str:
    """Return a time of a spreadsheet as hours and minutes are typed."""
    span = cell if isinstance(cell, timedelta) else datetime.combine(date.min, cell) - datetime.min
    minutes, seconds = divmod(round(span.total_seconds()), 60)
    if minutes < 0:
        return f"{minutes} min"
    return f"{minutes // 60}:{minutes % 60:02d}" if not seconds else f"{minutes} min {seconds} s"


def _code(cell: Any) -> str:
    """Return a code as text: a spreadsheet makes 1 or 1.0 of bake "1"."""
    if isinstance(cell, float) and cell.is_integer():
        cell = int(cell)
    if isinstance(cell, datetime) and cell.time() == time():
        cell = cell.date()
    return _written_out("code", text("code", cell, longest=80, needed=False))


def _written_out(field: str, said: str) -> str:
    if said.strip().casefold() in _AS_ABOVE:  # "Do" is a Thursday
        raise InputError(field, said.strip(), "says as above", "Write out what stands above it.")
    return said


def _codes(sheet: Sheet, level: str) -> list[Any]:
    """Read the codes of single things, refusing those of rows that sum up others."""
    there = {str(key if level == "bake" else key[1]) for key in sheet.known.get(level, ())}
    others = {str(x).casefold() for name in _NAMED for x in sheet.column(name)}
    return sheet.read(level, lambda cell: _one_code(cell, there, others))


def _one_code(cell: Any, there: set[str], others: set[str]) -> str:
    code = _code(cell)
    if code not in there and sums_up(code, others):
        rule = "is what a row that sums up others is called"
        raise InputError("code", code, rule, "Leave that row out, or write another code.")
    return code


def _kinds(cell: Any) -> list[str]:
    kinds = [] if cell is None else str(cell).split(";")
    said = [kind for kind in kinds if kind.strip().casefold() not in {"", *_NOTHING}]
    return [check_kind(_written_out("events", kind)) for kind in said]


def _structure(sheet: Sheet) -> None:
    """Say which bake, dough, load and piece each row is."""
    bakes, doughs, pieces = (_codes(sheet, level) for level in _NAMED)
    # a value whose thing is not found has no bake either, nor a row without a day where that tells
    # the bake: one word about it is enough
    lost = {p.row for p in sheet.problems if not sheet.wide or p.error.field == "day"}
    for name, codes in (("bake", bakes), ("dough", doughs)):
        for row, code in zip(sheet.rows, codes, strict=True):
            if code == "" and (sheet.wide if name == "dough" else row not in lost):
                sheet.problem(row, name, "", "must not be empty", f"Say which {name} it is.")
    loads, places = (sheet.read(x, partial(whole, "number")) for x in ("load", "place"))
    sheet.keys = {"bake": bakes, "dough": _within(bakes, doughs), "load": _within(bakes, loads)}
    sheet.places = places
    refused = zip(sheet.rows, bakes, doughs, pieces, strict=True)
    sheet.nameless = {
        row for row, *codes in refused if None in codes or (sheet.wide and not codes[1])
    }
    if sheet.wide:
        _number_pieces(sheet, pieces)
    else:
        sheet.keys["piece"] = _within(sheet.keys["dough"], pieces)
    _nearly_alike(sheet)
    _places(sheet, bakes, loads)
    sheet.about_bake = {
        "day": sheet.read("day", lambda cell: day("day", cell)),
        "flour_lot": sheet.read("flour_lot", lambda cell: _code(cell) or None),
        "yeast_lot": sheet.read("yeast_lot", lambda cell: _code(cell) or None),
    }
    for name in _ABOUT_BAKE:
        _one_each(sheet, name, "bake", sheet.about_bake[name], str)


def _within(above: Sequence[Any], codes: Sequence[Any]) -> list[Any]:
    """Return what identifies things on each line: what they belong to, and their code there."""
    both = zip(above, codes, strict=True)
    return [(key, code) if key is not None and code else None for key, code in both]


def _nearly_alike(sheet: Sheet) -> None:
    """Ask about bakes and doughs that a slip may have made two of: "A" and "a", "1" and "01"."""

    def folded(level: str, key: Any) -> tuple[Any, str, str]:
        if level == "bake":
            return None, key, _day_of(key)
        return *key, _bare(key[1])

    for level in ("bake", "dough"):
        first: dict[Any, Any] = {}
        there = set(sheet.known.get(level, ()))
        for key in there:
            above, code, alike = folded(level, key)
            first.setdefault((above, alike), code)
        for key, row in sheet.first_row(level).items():
            if not key or key in there:
                continue
            above, code, alike = folded(level, key)
            seen = first.setdefault((above, alike), code)
            if alike and seen != code:
                doubt = f"{code!r} and {seen!r} count as two {level}s. Is that right?"
                sheet.doubts.append((row, level, doubt))


def _bare(code: Any) -> str:
    """Return a code without case and what a slip may add: spaces, signs around it, zeros.

    Not what tells numbers apart: a sign, or the zero before a decimal mark.
    """
    whole = re.sub(r"\s+", "", normalize("NFC", str(code)).casefold())
    bare = re.sub(r"^(?:[^\w+\-−]|_)+|(?:[^\w+\-−]|_)+$", "", whole) or whole
    return re.sub(r"^0+(?=\d)", "", bare).removesuffix(".0")  # as data frames write 1


def _day_of(code: Any) -> str:
    """Return the day that a bake is called by, however it is written; else the bare code."""
    written = str(code)
    try:
        return str(read_day(written, date_order([written])))
    except InputError:
        return _bare(code)


def _places(sheet: Sheet, bakes: Sequence[Any], loads: Sequence[Any]) -> None:
    """Refuse a place without a load, and two pieces on one."""
    on_griddle: dict[Any, tuple[int, Any]] = {}
    for row, piece, bake, load, place in zip(
        sheet.rows, sheet.keys["piece"], bakes, loads, sheet.places, strict=True
    ):
        if place is None or bake is None:
            continue
        if load is None:
            sheet.problem(
                row, "place", place, "needs a load",
                "Fill in the column load as well: 1 where the griddle was filled once.",
            )  # fmt: skip
        elif (bake, load, place) in on_griddle:
            other, on_it = on_griddle[bake, load, place]
            if on_it == piece and not sheet.wide:
                continue  # said again of the same piece
            sheet.problem(
                row, "place", place, f"is taken in load {load} of bake {bake} by row {other}",
                "One place holds one piece.",
            )  # fmt: skip
        else:
            on_griddle[bake, load, place] = row, piece


def _number_pieces(sheet: Sheet, codes: Sequence[str | None]) -> None:
    """Number pieces without a code by their order in the dough; refuse a code twice in one."""
    taken: dict[Any, int] = {}
    for row, dough, code in zip(sheet.rows, sheet.keys["dough"], codes, strict=True):
        if dough is None:
            continue
        if code and (dough, code) in taken:
            sheet.problem(
                row, "piece", code, f"is already in row {taken[dough, code]}",
                "Give each piece of a dough its own code.",
            )  # fmt: skip
        elif code:
            taken[dough, code] = row
    count: dict[Any, int] = {}
    rows: dict[Any, int] = {}
    keys: list[Any] = []
    for i, (row, dough, code) in enumerate(
        zip(sheet.rows, sheet.keys["dough"], codes, strict=True)
    ):
        if dough is None:
            keys.append(None)
            continue
        number = count[dough] = count.get(dough, 0) + 1
        if sheet.numbers:  # a piece before it may be missing
            number = sheet.numbers[i]
            if (first := rows.setdefault(dough, row)) != row:
                rule, remedy = f"has its pieces in row {first}", "Give each piece a row of its own."
                sheet.problem(row, "dough", dough[1], rule, remedy)
        if not code:
            while (dough, f"{dough[1]}{number}") in taken:
                number += 1
            code = f"{dough[1]}{number}"
            taken[dough, code] = row
        keys.append((dough, code))
    sheet.keys["piece"] = keys


def _quantity(sheet: Sheet, quantity: Quantity) -> list[float | None]:
    """Read a quantity's column, noting what is unusual."""

    def parsed(cell: Any) -> Checked:
        if isinstance(cell, date):
            rule, remedy = "is a day, and a number is needed", "Spreadsheets make a day of 1/2."
            raise InputError(quantity.name, str(cell), rule, f"{remedy} Write 0.5, or '1/2.")
        if isinstance(cell, time | timedelta):
            return quantity.parse(_clock(cell))
        if isinstance(cell, str) and cell.startswith("="):
            rule = "is a formula, and a number is needed"
            raise InputError(quantity.name, cell, rule, "Write the number itself.")
        return quantity.parse(cell)

    checked: list[Checked | None] = sheet.read(quantity.name, parsed)
    said: set[Any] = set()
    keys = sheet.keys[quantity.level]
    for row, key, got in zip(sheet.rows, keys, checked, strict=True):
        # a dough's value stands on all of its pieces; one doubt about it is enough
        if got is not None and got.doubt and (key, got.value) not in said:
            said.add((key, got.value))
            sheet.doubts.append((row, quantity.name, got.doubt))
    return [None if got is None else got.value for got in checked]


def _one_each(
    sheet: Sheet, column: str, level: str, values: Sequence[Any], show: Callable[[Any], str]
) -> None:
    """Let each thing of `level` have one value; a second, different one is a problem."""
    got: dict[Any, tuple[Any, int]] = {}
    for row, key, value, cell in zip(
        sheet.rows, sheet.keys[level], values, sheet.column(column), strict=True
    ):
        # a code refused is told already
        if value is None or (key is None and (level == "bake" or row in sheet.nameless)):
            continue
        if key is None:
            remedy = f"Fill in the column {level} as well"
            sheet.problem(
                row, column, cell, f"belongs to a {level}, and the row names none",
                f"{remedy}: 1 where the griddle was filled once." if level == "load"
                else f"{remedy}.",
            )  # fmt: skip
        elif got.setdefault(key, (value, row))[0] != value:
            first, where = got[key]
            sheet.problem(
                row, column, cell, f"{named(level, key)} has {show(first)} in row {where}",
                f"One {level} has one {words.name(column)}.",
            )  # fmt: skip


def named(level: str, key: Any) -> str:
    """Return what a thing is called, for messages."""
    if level == "bake":
        return f"bake {key}"
    if level == "piece":
        return f"piece {key[1]}"
    bake, code = key
    told = level == "dough" and str(code).startswith(bake)
    return f"{level} {code}" if told else f"{level} {code} of bake {bake}"


def _not_computed(
    quantity: Quantity, values: list[float | None], needs: Sequence[list[float | None]]
) -> list[float | None]:
    """Leave out what the kit itself computes alike: an exported frame carries it.

    Kept, it would count as measured and stand still when one of its inputs is corrected.
    """
    assert quantity.formula is not None
    step = 0.5 * 10.0**-quantity.decimals
    kept = list(values)
    for i, (value, *inputs) in enumerate(zip(values, *needs, strict=True)):
        if value is not None and None not in inputs:
            same = quantity.formula(*inputs)
            if math.isclose(value, same, rel_tol=1e-9, abs_tol=step):
                kept[i] = None
    return kept
