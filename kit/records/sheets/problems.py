"""The cells of a table that cannot be used, as a table and as lines."""

import re
from collections.abc import Sequence
from datetime import date, time, timedelta
from typing import Any

import pandas as pd

from kit import quantities
from kit.given import is_missing
from kit.records.sheets.table import Problem
from kit.records.sheets.understood import Understood

__all__ = ["problem_frame", "problem_lines"]


def problem_frame(table: Understood, problems: Sequence[Problem]) -> pd.DataFrame:
    """Return problems as a table: sheet, row, column, value, remedy."""
    columns = {(c.meaning, c.piece): c for c in table.counting}
    whole = {c.meaning: c for c in sorted(table.counting, key=lambda c: -c.piece)}
    value, day = whole.get("value"), whole.get("day")
    cells = dict(zip(table.table.names, table.table.columns, strict=True))
    order = {heading: place for place, heading in enumerate(table.table.names)}
    at = {row: i for i, row in enumerate(table.table.rows)} if problems else {}
    told: list[tuple[Any, ...]] = []
    for row, e, piece in problems:
        known = quantities.find(e.field)
        column = columns.get((e.field, piece)) or whole.get(e.field)
        if column is None and table.long and known:
            column = value
        elif column is None and e.field == "bake":
            column = day
        heading, value_there, remedy = e.field, e.value, e.remedy
        if column is not None:
            # as it stands in the table, not as it was read
            heading, value_there = column.heading, cells[column.heading][at[row]]
            in_own = known and column.unit not in ("", known.unit)
            if in_own and str(e.value) != str(value_there):  # as the column has it
                remedy = re.sub(r"^It was read as .*?\. ", "", remedy)
                remedy += f" It was read as {value_there} {column.unit}."
        if isinstance(value_there, date | time | timedelta):
            value_there = str(value_there)
        remedy = f"{e.rule[:1].upper()}{e.rule[1:]}. {remedy}".strip()
        told.append((table.table.sheet or table.table.name, row, heading, value_there, remedy))
    told.sort(key=lambda one: (one[1], order.get(one[2], -1)))
    names = ["sheet", "row", "column", "value", "remedy"]
    return pd.DataFrame(told, columns=names, dtype=object).astype({"row": int})


def problem_lines(problems: pd.DataFrame, shown: int) -> list[str]:
    """Return the first of a table of problems, one a line."""
    told = problems.head(shown)[["row", "column", "value", "remedy"]].values.tolist()
    cells = [column if is_missing(x) else f"{column} {x!r}" for _, column, x, _ in told]
    lines = [f"  row {one[0]}, {cell}: {one[3]}" for one, cell in zip(told, cells, strict=True)]
    return [*lines, f"  and {len(problems) - shown} more"] if len(problems) > shown else lines
