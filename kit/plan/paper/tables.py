"""The tables of the bench sheet: texts, boxes to write in, weights to tick."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, TypeVar

import pandas as pd

from kit import quantities as known
from kit import words
from kit.errors import DataError
from kit.formula.sheet import WeighingSheet
from kit.plan.timetable.runs import Bake, PlannedPiece
from kit.quantities import Quantity
from kit.us_units import also_us

__all__ = ["Cell", "Table", "dough_tables", "load_tables", "measure_tables", "settings_of",
           "weights_table"]  # fmt: skip

_T = TypeVar("_T")

#: Columns of a plan that say where a piece belongs, not what is done to it.
_PLACE = {
    "trial", "bake", "day", "dough", "load", "place", "piece", "blind", "code", "order", "run",
    "flour_lot", "yeast_lot", "seed",
}  # fmt: skip
#: So many boxes fit beside one another.
_ACROSS_LOAD, _ACROSS_MEASURE, _ACROSS_DOUGH = 5, 8, 6


@dataclass(frozen=True)
class Table:
    """A table on the sheet: a cell is text, or a box when it ends the row's texts."""

    caption: str
    head: list[str]
    rows: list[list["Cell"]]


@dataclass(frozen=True)
class Cell:
    """Text, a box to write in (with the planned value in its corner), or a weight to tick."""

    text: str = ""
    kind: str = "text"


def settings_of(
    planned: Mapping[str, dict[str, Any]], pieces: Sequence[PlannedPiece]
) -> tuple[list[str], list[str]]:
    """Columns that hold settings: those alike within every dough, and the others."""
    columns = [c for c in next(iter(planned.values())) if c not in _PLACE]
    of_dough: list[str] = []
    of_piece: list[str] = []
    for column in columns:
        seen: dict[str, set[str]] = {}
        for p in pieces:
            seen.setdefault(p.dough, set()).add(_say(column, planned[p.name].get(column)))
        if all(values == {"–"} for values in seen.values()):
            continue
        alike = all(len(values) == 1 for values in seen.values())
        quantity = known.find(column)
        at_piece = quantity is not None and quantity.level == "piece"
        (of_dough if alike and not at_piece else of_piece).append(column)
    return of_dough, of_piece


def _say(column: str, value: Any) -> str:
    """A setting with its unit, in a US kitchen with both; a dash where there is none."""
    if value is None or pd.isna(value):
        return "–"
    return also_us(words.amount(column, value), absolute=True)


def dough_tables(
    bake: Bake,
    planned: Mapping[str, dict[str, Any]],
    of_dough: Sequence[str],
    boxes: Sequence[Quantity],
) -> list[Table]:
    """Settings of each dough and boxes, as many across as fit."""
    first = {d.name: next(p for p in bake.pieces if p.dough == d.name) for d in bake.doughs}
    columns: list[str | Quantity] = [*_not_asked(of_dough, boxes), *boxes]
    tables = []
    for part in _evenly(columns, _ACROSS_DOUGH):
        rows = [
            [Cell(name, "code"), *(_cell(planned[piece.name], c, of_dough) for c in part)]
            for name, piece in first.items()
        ]
        tables.append(Table("", ["Dough", *map(_head, part)], rows))
    return tables


def load_tables(
    pieces: Sequence[PlannedPiece],
    planned: Mapping[str, dict[str, Any]],
    of_piece: Sequence[str],
    boxes: Sequence[Quantity],
) -> list[Table]:
    """Place, code, piece, settings and boxes; more boxes than fit go below."""
    coded = any(p.blind for p in pieces)
    tables = []
    for i, part in enumerate(_evenly(boxes, _ACROSS_LOAD)):
        columns: list[str | Quantity] = [*(_not_asked(of_piece, boxes) if i == 0 else []), *part]
        rows = [
            [
                Cell(str(p.place)),
                *[Cell(p.blind or "–", "code")] * coded,
                Cell(p.name, "text" if coded else "code"),
                *(_cell(planned[p.name], c, of_piece) for c in columns),
            ]
            for p in pieces
        ]
        head = ["Place", *["Code"] * coded, "Piece", *map(_head, columns)]
        tables.append(Table("", head, rows))
    return tables


def _not_asked(settings: Sequence[str], boxes: Sequence[Quantity]) -> list[str]:
    """Settings that are not written down anew: those stand in their box."""
    return [c for c in settings if c not in {q.name for q in boxes}]


def _head(column: str | Quantity) -> str:
    return known.label(column) if isinstance(column, str) else column.asked


def _cell(row: Mapping[str, Any], column: str | Quantity, settings: Sequence[str]) -> Cell:
    """A setting, or a box with what is planned in its corner."""
    if isinstance(column, str):
        return Cell(_say(column, row.get(column)))
    value = row.get(column.name) if column.name in settings else None
    return Cell("" if value is None else f"plan {_plain(value)}", "box")


def measure_tables(pieces: Sequence[PlannedPiece], boxes: Sequence[Quantity]) -> list[Table]:
    """Boxes for what is measured after baking, by code alone and in its order."""
    codes = sorted((p.blind or p.name for p in pieces), key=lambda c: (len(c), c))
    tables = []
    for part in _evenly(boxes, _ACROSS_MEASURE) if boxes else []:
        rows = [[Cell(code, "code"), *(Cell("", "box") for _ in part)] for code in codes]
        tables.append(Table("", ["Code", *(q.asked for q in part)], rows))
    return tables


def weights_table(weights: WeighingSheet | None, mixed: Sequence[str]) -> Table | None:
    """What to weigh for the doughs that are mixed, a box to tick beside each weight.

    A sheet of one dough without settings is for every dough.
    """
    if weights is None:
        return None
    if not isinstance(weights, WeighingSheet):
        msg = (
            f"the weights are a {type(weights).__name__}: they must be a weighing sheet, which "
            "kit.formula.weigh makes."
        )
        raise DataError(msg)
    columns = weights.columns()
    heads = [columns[code] for code in mixed if code in columns]
    shown = heads
    if list(weights.doughs.values()) == [{}]:
        heads, shown = list(columns.values()), ["each dough"]
    elif len(heads) < len(mixed):
        lacks = words.join([code for code in mixed if code not in columns])
        msg = (
            f"the weights are of {words.join(list(weights.doughs))}, and the plan mixes {lacks}: "
            "give weigh the doughs by the plan's codes, or none where one formula is for all."
        )
        raise DataError(msg)
    rows = [
        [Cell(str(name)), *(Cell(text, "text" if text == "none" else "tick") for text in texts)]
        for name, *texts in weights.table()[heads].itertuples(name=None)
    ]
    return Table("What to weigh", ["Ingredient", *shown], rows)


def _evenly(columns: Sequence[_T], most: int) -> list[list[_T]]:
    """Split into as few parts of nearly the same size as hold at most `most`; at least one."""
    parts = max(1, math.ceil(len(columns) / most))
    ends = [round(i * len(columns) / parts) for i in range(parts + 1)]
    return [list(columns[a:b]) for a, b in pairwise(ends)]


def _plain(value: Any) -> str:
    """A number without its unit, which stands in the head of its column."""
    return f"{value:g}" if isinstance(value, (int, float)) else str(value)
