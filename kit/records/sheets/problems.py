"""The cells of a table that cannot be used, as a table and as lines."""

import re
from collections.abc import Sequence
from datetime import date, time, timedelta
from typing import TYPE_CHECKING, Any

import pandas as pd

from kit import quantities
from kit.errors import InputError
from kit.given import is_missing

if TYPE_CHECKING:
    from kit.records.sheets.look import Look

__all__ = ["problem_frame", "problem_lines"]


def problem_frame(look: "Look", problems: Sequence[tuple[int, InputError]]) -> pd.DataFrame:
    """Return problems as a table: sheet, row, column, value, remedy."""
    names = [q.name for q in quantities.all_quantities()]
    headings: dict[str, str] = {}
    for column in sorted(look.counting, key=lambda one: one.piece):
        before = headings.get(column.meaning)
        headings[column.meaning] = f"{before}, {column.heading}" if before else column.heading
    order = {heading: place for place, heading in enumerate(headings.values())}
    if look.long:
        headings = {name: headings["value"] for name in names} | headings
    if "day" in headings:
        headings.setdefault("bake", headings["day"])
    named = (column.heading for column in look.columns)
    cells = dict(zip(named, look.table.columns, strict=True))
    units = {column.heading: column.unit for column in look.columns}
    at = {row: i for i, row in enumerate(look.table.rows)} if problems else {}
    rows: list[tuple[Any, ...]] = []
    named_as = [(row, headings.get(e.field, e.field), e) for row, e in problems]
    for row, heading, e in sorted(named_as, key=lambda p: (p[0], order.get(p[1], -1))):
        # as it stands in the table, not as it was read
        one_line = heading in cells and not look.unfolded
        value = cells[heading][at[row]] if one_line else e.value
        value = str(value) if isinstance(value, date | time | timedelta) else value
        remedy, known, unit = e.remedy, quantities.find(e.field), units.get(heading)
        # as the column has it, not in the kit's unit
        if known and unit and unit != known.unit and one_line:
            remedy = re.sub(r"^It was read as .*?\. ", "", remedy)
            remedy += f" It was read as {value} {unit}."
        remedy = f"{e.rule[:1].upper()}{e.rule[1:]}. {remedy}".strip()
        rows.append((look.table.sheet or look.table.name, row, heading, value, remedy))
    columns = ["sheet", "row", "column", "value", "remedy"]
    return pd.DataFrame(rows, columns=columns, dtype=object).astype({"row": int})


def problem_lines(problems: pd.DataFrame, shown: int) -> list[str]:
    """Return the first of a table of problems, one a line."""
    told = problems.head(shown)[["row", "column", "value", "remedy"]].values.tolist()
    cells = [column if is_missing(x) else f"{column} {x!r}" for _, column, x, _ in told]
    lines = [f"  row {one[0]}, {cell}: {one[3]}" for one, cell in zip(told, cells, strict=True)]
    return [*lines, f"  and {len(problems) - shown} more"] if len(problems) > shown else lines
