"""A table as the kit itself writes it, in at once: stored whole or not at all.

The columns are those a frame comes out with, so what was exported can be read back. Every cell is
checked before anything is stored and all problems are told at once, by spreadsheet row. Tables of
another kind are looked at first: see `kit.records.sheets.look`.
"""

import difflib
from collections.abc import Iterable, Sequence
from pathlib import Path

import pandas as pd
from sqlalchemy import select

from kit import quantities
from kit.analysis import words
from kit.errors import DataError, InputError, NotFoundError
from kit.records import tables as t
from kit.records.frame import STRUCTURE
from kit.records.journal import Step
from kit.records.sheets.check import Sheet, check
from kit.records.sheets.file import Table, open_table
from kit.records.sheets.known import Known, read_known
from kit.records.sheets.store import Tally, store_lines

__all__ = ["read_sheet", "store_sheet"]

_SHOWN = 20


def read_sheet(source: str | Path | pd.DataFrame) -> Sheet:
    """Read and check a table; nothing is stored yet.

    Parameters
    ----------
    source : path or DataFrame
        A CSV file (comma, semicolon or tab), a workbook, or a frame. Needed columns: ``bake``,
        ``dough``. Possible ones: those of `kit.records.frame.STRUCTURE`, ``events``, and every
        quantity by name. Cells may carry units and decimal commas; an empty one is missing. A
        piece without a code is numbered.

    Returns
    -------
    Sheet
        The checked contents, with problems.

    Raises
    ------
    NotFoundError
        A column nobody knows, or a needed one that is not there; lists the right ones.
    DataError
        No such file, or no table.
    """
    table = open_table(source, titled=False)
    _check_header(table.name, [heading.strip() for heading in table.headings])
    if not table.rows:
        text = f"{table.name} has no rows below the heading; nothing was stored."
        raise DataError(text)
    sheet = Sheet(table.name, table.rows, _cells(table), notes=table.notes)
    sheet.problems += table.problems
    check(sheet)
    return sheet


def _cells(table: Table) -> dict[str, list[object]]:
    return dict(zip((h.strip() for h in table.headings), table.columns, strict=True))


def _check_header(name: str, header: Sequence[str]) -> None:
    known = [*STRUCTURE, *(q.name for q in quantities.all_quantities()), "events"]
    strange = [column for column in header if column not in known]
    if strange:
        # likely ones first: the list is long
        close = difflib.get_close_matches(strange[0], known, n=3)
        raise NotFoundError(
            "column", ", ".join(strange), [*close, *(k for k in known if k not in close)]
        )
    for column in header:
        if header.count(column) > 1:
            text = f"{name} has the column {column!r} twice; keep one. Nothing was stored."
            raise DataError(text)
    for needed in ("bake", "dough"):
        if needed not in header:
            text = (
                f"{name} has no column {needed!r}, which says what each piece belongs to; "
                f"nothing was stored. There are: {', '.join(map(repr, header)) or 'none'}."
            )
            raise DataError(text)


def store_sheet(step: Step, trial_id: str, zone: str, sheet: Sheet) -> list[str]:
    """Store a checked table in one step.

    Parameters
    ----------
    step : Step
        Under way; its words are set here.
    trial_id : str
        Into which trial; its bakes must be new to it.
    zone : str
        Where it was baked.
    sheet : Sheet
        From `read_sheet`.

    Returns
    -------
    list of str
        What is unusual, with its row, or worth knowing about the file; stored nevertheless.

    Raises
    ------
    DataError
        There are problems; lists them.
    """
    known, tally = read_known(step.connection, trial_id), Tally()
    _refuse(sheet, [*sheet.problems, *_not_new(known, sheet)])
    store_lines(step, trial_id, zone, sheet, range(len(sheet.rows)), known, tally)
    trial = step.connection.scalar(select(t.trial.c.name).where(t.trial.c.id == trial_id))
    pieces = words.plural(len(sheet.rows), "piece")
    step.says = f"{trial}: imported {pieces} from {sheet.name}"
    return [*sheet.notes, *sheet.unusual]


def _refuse(sheet: Sheet, problems: Iterable[tuple[int, InputError]]) -> None:
    """Raise the first problems by row, if there are any."""
    order = {column: place for place, column in enumerate(sheet.cells)}
    said = [str(e) for _, e in sorted(problems, key=lambda p: (p[0], order.get(p[1].field, -1)))]
    if not said:
        return
    count = words.plural(len(said), "problem")
    lines = [f"{sheet.name} has {count}; nothing was stored. Row 1 is the heading.", *said[:_SHOWN]]
    if len(said) > _SHOWN:
        lines.append(f"and {len(said) - _SHOWN} more")
    raise DataError("\n".join(lines))


def _not_new(known: Known, sheet: Sheet) -> list[tuple[int, InputError]]:
    """Return a problem for each bake the trial has already."""
    rule = "is already in the trial"
    remedy = "Give the new bake another code, or undo the earlier import."
    return [
        (row, InputError("bake", code, rule, remedy, f"row {row}"))
        for code, row in sheet.first_row("bake").items()
        if code in known.ids["bake"]
    ]
