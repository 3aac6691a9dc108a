"""The tables of the bench sheet: texts, boxes to write in, weights to tick."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, TypeVar

import pandas as pd

from kit import quantities as known
from kit.analysis import words
from kit.errors import DataError
from kit.plan.runs import Bake, PlannedPiece, as_text
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
    settings = [c for c in of_dough if c not in {q.name for q in boxes}]
    columns: list[str | Quantity] = [*settings, *boxes]
    parts = _evenly(columns, _ACROSS_DOUGH)
    first = {d.name: next(p for p in bake.pieces if p.dough == d.name) for d in bake.doughs}
    tables = []
    for part in parts:
        head = ["Dough", *(known.label(c) if isinstance(c, str) else c.asked for c in part)]
        rows = []
        for name, piece in first.items():
            row = planned[piece.name]
            cells = [Cell(name, "code")]
            for c in part:
                if isinstance(c, str):
                    cells.append(Cell(_say(c, row.get(c))))
                else:
                    value = row.get(c.name) if c.name in of_dough else None
                    cells.append(Cell("" if value is None else f"plan {_plain(value)}", "box"))
            rows.append(cells)
        tables.append(Table("", head, rows))
    return tables


def load_tables(
    pieces: Sequence[PlannedPiece],
    planned: Mapping[str, dict[str, Any]],
    of_piece: Sequence[str],
    boxes: Sequence[Quantity],
) -> list[Table]:
    """Place, code, piece, settings and boxes; more boxes than fit go below."""
    settings = [c for c in of_piece if c not in {q.name for q in boxes}]
    parts = _evenly(boxes, _ACROSS_LOAD)
    tables = []
    for i, part in enumerate(parts):
        shown = settings if i == 0 else []
        coded = any(p.blind for p in pieces)
        head = ["Place", *["Code"] * coded, "Piece", *map(known.label, shown)]
        head += [q.asked for q in part]
        rows = []
        for p in pieces:
            row = planned[p.name]
            cells = [Cell(str(p.place)), *[Cell(p.blind or "–", "code")] * coded]
            cells.append(Cell(p.name, "text" if coded else "code"))
            cells += [Cell(_say(c, row.get(c))) for c in shown]
            for q in part:
                value = row.get(q.name) if q.name in of_piece else None
                cells.append(Cell("" if value is None else f"plan {_plain(value)}", "box"))
            rows.append(cells)
        tables.append(Table("", head, rows))
    return tables


def measure_tables(pieces: Sequence[PlannedPiece], boxes: Sequence[Quantity]) -> list[Table]:
    """Boxes for what is measured after baking, by code alone and in its order."""
    codes = sorted((p.blind or p.name for p in pieces), key=lambda c: (len(c), c))
    tables = []
    for part in _evenly(boxes, _ACROSS_MEASURE) if boxes else []:
        rows = [[Cell(code, "code"), *(Cell("", "box") for _ in part)] for code in codes]
        tables.append(Table("", ["Code", *(q.asked for q in part)], rows))
    return tables


def weights_table(table: pd.DataFrame | None, mixed: Sequence[str]) -> Table | None:
    """What to weigh, a box to tick beside each weight."""
    if table is None or table.empty:
        return None
    if {"dough", "ingredient"} <= set(table.columns):
        values = [c for c in table.columns if c not in ("dough", "ingredient")]
        if len(values) != 1:
            msg = (
                "the weights need one column besides dough and ingredient, and have "
                f"{len(values)}: {words.join(map(str, values)) or 'none'}."
            )
            raise DataError(msg)
        if table.duplicated(["dough", "ingredient"]).any():
            twice = table[table.duplicated(["dough", "ingredient"])].iloc[0]
            msg = f"the weights have {twice['ingredient']} of dough {twice['dough']} twice."
            raise DataError(msg)
        table = table[[as_text(d) in mixed for d in table["dough"]]]
        doughs = list(dict.fromkeys(table["dough"]))
        ingredients = list(dict.fromkeys(table["ingredient"]))
        wide = table.pivot(index="ingredient", columns="dough", values=values[0])
        wide = wide.loc[ingredients, doughs]
        wide.columns = pd.Index([f"Dough {as_text(d)}" for d in doughs])
        unit = " (g)" if str(values[0]) in ("g", "grams") or str(values[0]).endswith("_g") else ""
        table = wide.rename_axis(f"Ingredient{unit}").reset_index()
    elif not isinstance(table.index, pd.RangeIndex):
        table = table.reset_index()
    head = [str(c).replace("_", " ") for c in table.columns]
    rows = []
    for name, *amounts in table.itertuples(index=False, name=None):
        rows.append([Cell(as_text(name) or "–"), *map(_weight, amounts)])
    return Table("What to weigh", head, rows)


def _weight(value: Any) -> Cell:
    """A weight with a box to tick; a dash and no box where there is none."""
    if value is None or pd.isna(value):
        return Cell("–")
    number = isinstance(value, (int, float)) and not isinstance(value, bool)
    text = f"{value:.2f}".rstrip("0").rstrip(".") if number else str(value)
    return Cell(text, "tick")


def _evenly(columns: Sequence[_T], most: int) -> list[list[_T]]:
    """Split into as few parts of nearly the same size as hold at most `most`; at least one."""
    parts = max(1, math.ceil(len(columns) / most))
    ends = [round(i * len(columns) / parts) for i in range(parts + 1)]
    return [list(columns[a:b]) for a, b in pairwise(ends)]


def _plain(value: Any) -> str:
    """A number without its unit, which stands in the head of its column."""
    return f"{value:g}" if isinstance(value, (int, float)) else str(value)
