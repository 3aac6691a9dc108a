"""Checking a table of pieces cell by cell, and one thing against another, before it is stored."""

import math
from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass, field
from typing import Any

from kit import quantities
from kit.errors import InputError
from kit.quantities import Checked, Quantity
from kit.records.readings import check_kind
from kit.records.typed import day, text, whole

__all__ = ["Sheet", "check"]


@dataclass
class Sheet:
    """A table on its way in.

    Parameters
    ----------
    name : str
        What it is called in messages.
    rows : list of int
        Spreadsheet row of each line; the heading is row 1.
    cells : dict
        Column -> one cell a line; an empty one is None.
    problems : list of (row, InputError)
        What keeps it out.
    doubts : list of (row, column, doubt)
        What is unusual.
    keys : dict
        Level -> per line what identifies its bake, dough, load (or None), piece.
    about_bake : dict
        Bake -> day, flour_lot, yeast_lot.
    places : list
        Place on the griddle, one a line.
    readings : list of (level, key, quantity, value)
        What was measured.
    events : list of (piece's key, kind)
        What happened.
    """

    name: str
    rows: list[int]
    cells: dict[str, list[Any]]
    problems: list[tuple[int, InputError]] = field(default_factory=list)
    doubts: list[tuple[int, str, str]] = field(default_factory=list)
    keys: dict[str, list[Any]] = field(default_factory=dict)
    about_bake: dict[str, dict[str, Any]] = field(default_factory=dict)
    places: list[int | None] = field(default_factory=list)
    readings: list[tuple[str, Any, str, float]] = field(default_factory=list)
    events: list[tuple[Any, str]] = field(default_factory=list)

    def problem(self, row: int, column: str, value: object, rule: str, remedy: str = "") -> None:
        """Note a problem."""
        self.problems.append((row, InputError(column, value, rule, remedy, f"row {row}")))

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
        for cell, row in zip(self.column(name), self.rows, strict=True):
            if (type(cell), cell) not in seen:
                try:
                    seen[type(cell), cell] = reader(cell)
                except InputError as exc:
                    seen[type(cell), cell] = exc
            got = seen[type(cell), cell]
            if isinstance(got, InputError):
                self.problem(row, name, cell, got.rule, got.remedy)
                got = None
            out.append(got)
        return out


def check(sheet: Sheet) -> None:
    """Fill in what a sheet says, and its problems and doubts."""
    _structure(sheet)
    columns = {q.name: q for q in quantities.all_quantities() if q.name in sheet.cells}
    read = {name: _quantity(sheet, quantity) for name, quantity in columns.items()}
    for name, quantity in columns.items():
        keys, values = sheet.keys[quantity.level], read[name]
        if quantity.formula is not None and all(need in read for need in quantity.needs):
            values = _not_computed(quantity, values, [read[need] for need in quantity.needs])
        if quantity.level == "piece":
            told = [(key, v) for key, v in zip(keys, values, strict=True) if v is not None]
        else:
            told = list(_one_each(sheet, name, quantity.level, values, quantity.show).items())
        sheet.readings += [(quantity.level, key, name, value) for key, value in told]
    for key, cell in zip(sheet.keys["piece"], sheet.read("events", _kinds), strict=True):
        sheet.events += [(key, kind) for kind in cell or ()]


def _code(cell: Any) -> str:
    """Return a code as text: a spreadsheet makes 1 or 1.0 of bake "1"."""
    if isinstance(cell, float) and cell.is_integer():
        cell = int(cell)
    return text("code", cell, longest=80, needed=False)


def _kinds(cell: Any) -> list[str]:
    kinds = [] if cell is None else str(cell).split(";")
    return [check_kind(kind) for kind in kinds if kind.strip()]


def _structure(sheet: Sheet) -> None:
    """Say which bake, dough, load and piece each row is."""
    bakes, doughs = sheet.read("bake", _code), sheet.read("dough", _code)
    for name, codes in (("bake", bakes), ("dough", doughs)):
        for row, code in zip(sheet.rows, codes, strict=True):
            if code == "":
                sheet.problem(row, name, "", "must not be empty", f"Say which {name} it is.")
    loads, places = sheet.read("load", whole_number), sheet.read("place", whole_number)
    sheet.keys["bake"] = bakes
    sheet.keys["dough"] = list(zip(bakes, doughs, strict=True))
    sheet.keys["load"] = [
        None if load is None else (bake, load) for bake, load in zip(bakes, loads, strict=True)
    ]
    sheet.places = places
    _pieces(sheet, sheet.read("piece", _code))
    on_griddle: dict[Any, int] = {}
    for row, bake, load, place in zip(sheet.rows, bakes, loads, places, strict=True):
        if place is None:
            continue
        if load is None:
            sheet.problem(
                row, "place", place, "needs a load",
                "Fill in the column load as well: 1 where the griddle was filled once.",
            )  # fmt: skip
        elif (bake, load, place) in on_griddle:
            other = on_griddle[bake, load, place]
            sheet.problem(
                row, "place", place, f"is taken in load {load} of bake {bake} by row {other}",
                "One place holds one piece.",
            )  # fmt: skip
        else:
            on_griddle[bake, load, place] = row
    days = sheet.read("day", lambda cell: day("day", cell))
    flours = sheet.read("flour_lot", lambda cell: _code(cell) or None)
    yeasts = sheet.read("yeast_lot", lambda cell: _code(cell) or None)
    sheet.about_bake = {b: {"day": None, "flour_lot": None, "yeast_lot": None} for b in bakes}
    for name, cells in (("day", days), ("flour_lot", flours), ("yeast_lot", yeasts)):
        for bake, value in _one_each(sheet, name, "bake", cells, str).items():
            sheet.about_bake[bake][name] = value


def whole_number(cell: Any) -> int | None:
    """Read a load or a place."""
    return whole("number", cell)


def _pieces(sheet: Sheet, codes: Sequence[str | None]) -> None:
    """Number pieces without a code; refuse a code twice in one dough."""
    taken: dict[Any, int] = {}
    for row, dough, code in zip(sheet.rows, sheet.keys["dough"], codes, strict=True):
        if code and (dough, code) in taken:
            sheet.problem(
                row, "piece", code, f"is already in row {taken[dough, code]}",
                "Give each piece of a dough its own code.",
            )  # fmt: skip
        elif code:
            taken[dough, code] = row
    count: dict[Any, int] = {}
    keys = []
    for row, dough, code in zip(sheet.rows, sheet.keys["dough"], codes, strict=True):
        number = count[dough] = count.get(dough, 0) + 1
        if not code:
            while (dough, f"{dough[1]}{number}") in taken:
                number += 1
            code = f"{dough[1]}{number}"
            taken[dough, code] = row
        keys.append((dough, code))
    sheet.keys["piece"] = keys


def _quantity(sheet: Sheet, quantity: Quantity) -> list[float | None]:
    """Read a quantity's column, noting what is unusual."""
    checked: list[Checked | None] = sheet.read(quantity.name, quantity.parse)
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
) -> dict[Any, Any]:
    """Return the one value each thing of `level` has; a second, different one is a problem."""
    got: dict[Any, tuple[Any, int]] = {}
    for row, key, value, cell in zip(
        sheet.rows, sheet.keys[level], values, sheet.column(column), strict=True
    ):
        if value is None:
            continue
        if key is None:
            sheet.problem(
                row, column, cell, "belongs to a load, and the row names none",
                "Fill in the column load as well: 1 where the griddle was filled once.",
            )  # fmt: skip
        elif got.setdefault(key, (value, row))[0] != value:
            first, where = got[key]
            sheet.problem(
                row, column, cell, f"{_named(level, key)} has {show(first)} in row {where}",
                f"One {level} has one {column}.",
            )  # fmt: skip
    return {key: value for key, (value, _) in got.items()}


def _named(level: str, key: Any) -> str:
    if level == "bake":
        return f"bake {key}"
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
