"""A spreadsheet in: a wide CSV or frame with one row a piece, stored whole or not at all.

The columns are those a frame comes out with, so what was exported can be read back. Every cell is
checked before anything is stored and all problems are told at once, by spreadsheet row.
"""

import csv
import difflib
import math
from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import Any

import pandas as pd
from sqlalchemy import Connection, select

from kit import quantities
from kit.errors import DataError, NotFoundError
from kit.records import tables as t
from kit.records.csv_check import Sheet, check
from kit.records.frame import STRUCTURE
from kit.records.journal import Row, Step, new_id
from kit.records.structure import lot_id
from kit.records.things import TABLE_OF, there

__all__ = ["read_sheet", "store_sheet"]

_SHOWN = 20


def read_sheet(source: str | Path | pd.DataFrame) -> Sheet:
    """Read and check a table; nothing is stored yet.

    Parameters
    ----------
    source : path or DataFrame
        A CSV file (comma, semicolon or tab; UTF-8) or a frame. Needed columns: ``bake``,
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
        No such file, or no text.
    """
    if isinstance(source, pd.DataFrame):
        name, header = "the table", [str(column) for column in source.columns]
        cells = {
            column: [_cell(x) for x in source.iloc[:, i].tolist()]
            for i, column in enumerate(header)
        }
        sheet = Sheet(name, list(range(2, len(source) + 2)), cells)
    else:
        sheet = _read_file(Path(source))
        header = list(sheet.cells)
    _check_header(sheet.name, header)
    if not sheet.rows:
        text = f"{sheet.name} has no rows below the heading; nothing was stored."
        raise DataError(text)
    check(sheet)
    return sheet


def _cell(x: Any) -> Any:
    """Return a frame's cell as a spreadsheet would hold it; None when empty."""
    if x is None or x is pd.NA or x is pd.NaT or (isinstance(x, float) and math.isnan(x)):
        return None
    if isinstance(x, int | float | date):
        return x
    return str(x).strip() or None


def _read_file(path: Path) -> Sheet:
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            first = file.readline()
            file.seek(0)
            signs = {sign: first.count(sign) for sign in ",;\t"}
            lines = list(csv.reader(file, delimiter=max(signs, key=signs.__getitem__)))
    except UnicodeDecodeError as exc:
        text = f"{path.name} is not plain UTF-8 text. Save it as CSV (UTF-8) in your spreadsheet."
        raise DataError(text) from exc
    except csv.Error as exc:
        text = f"{path.name} cannot be read as CSV: {exc}."
        raise DataError(text) from exc
    except OSError as exc:
        text = f"{path} cannot be read: {(exc.strerror or str(exc)).lower()}."
        raise DataError(text) from exc
    header = [cell.strip() for cell in lines[0]] if lines else []
    while header and not header[-1]:
        header.pop()  # spreadsheets write empty columns at the end
    numbered = [
        (number, line)
        for number, line in enumerate(lines[1:], start=2)
        if any(cell.strip() for cell in line)
    ]
    columns = list(zip(*(_fitted(line, len(header)) for _, line in numbered), strict=True))
    if not numbered:
        columns = [() for _ in header]
    sheet = Sheet(path.name, [number for number, _ in numbered], {})
    for column, cells in zip(header, columns, strict=True):
        if column in sheet.cells:
            _twice(path.name, column)
        sheet.cells[column] = [_cell(cell) for cell in cells]
    for number, line in numbered:
        if any(cell.strip() for cell in line[len(header) :]):
            sheet.problem(
                number, "row", line[-1], "has more cells than the heading",
                "Give each column a heading, and put text that holds a comma in quotes.",
            )  # fmt: skip
    return sheet


def _fitted(line: list[str], width: int) -> list[str]:
    return (line + [""] * width)[:width]


def _twice(name: str, column: str) -> None:
    text = f"{name} has the column {column!r} twice; keep one. Nothing was stored."
    raise DataError(text)


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
            _twice(name, column)
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
        What is unusual, with its row; stored nevertheless.

    Raises
    ------
    DataError
        There are problems; lists them.
    """
    _check_new(step.connection, trial_id, sheet)
    if sheet.problems:
        order = {column: place for place, column in enumerate(sheet.cells)}
        problems = sorted(sheet.problems, key=lambda p: (p[0], order.get(p[1].field, -1)))
        count = "1 problem" if len(problems) == 1 else f"{len(problems)} problems"
        lines = [f"{sheet.name} has {count}; nothing was stored. Row 1 is the heading."]
        lines += [str(problem) for _, problem in problems[:_SHOWN]]
        if len(problems) > _SHOWN:
            lines.append(f"and {len(problems) - _SHOWN} more")
        raise DataError("\n".join(lines))
    _write(step, trial_id, zone, sheet)
    trial = step.connection.scalar(select(t.trial.c.name).where(t.trial.c.id == trial_id))
    pieces = "1 piece" if len(sheet.rows) == 1 else f"{len(sheet.rows)} pieces"
    step.says = f"{trial}: imported {pieces} from {sheet.name}"
    return [f"row {row}, {name}: {doubt}" for row, name, doubt in sorted(sheet.doubts)]


def _check_new(connection: Connection, trial_id: str, sheet: Sheet) -> None:
    taken = select(t.bake.c.code).where(t.bake.c.trial_id == trial_id, there(t.bake))
    known = set(connection.scalars(taken))
    for code, first in sheet.first_row("bake").items():
        if code in known:
            sheet.problem(
                first, "bake", code, "is already in the trial",
                "Give the new bake another code, or undo the earlier import.",
            )  # fmt: skip


def _write(step: Step, trial_id: str, zone: str, sheet: Sheet) -> None:
    """Add the rows, parents first; positions follow the order of the sheet."""
    ids: dict[str, dict[Any, str]] = {}
    made: dict[str, list[Row]] = {"bake": [], "dough": [], "load": [], "piece": []}
    inside: dict[Any, int] = {}

    def place_in(level: str, above: Any) -> int:
        inside[level, above] = inside.get((level, above), 0) + 1
        return inside[level, above]

    last: int = step.connection.scalar(
        select(t.bake.c.position).where(t.bake.c.trial_id == trial_id)
        .order_by(t.bake.c.position.desc())
    ) or 0  # fmt: skip
    for level in made:
        ids[level] = {key: new_id() for key in sheet.keys[level] if key is not None}
    for key in ids["bake"]:
        about = sheet.about_bake[key]
        flour_id, _ = lot_id(step, "flour", about["flour_lot"])
        yeast_id, _ = lot_id(step, "yeast", about["yeast_lot"])
        made["bake"].append(
            {
                "id": ids["bake"][key],
                "trial_id": trial_id,
                "position": last + place_in("bake", None),
                "code": key,
                "day": about["day"],
                "zone": zone,
                "flour_lot_id": flour_id,
                "yeast_lot_id": yeast_id,
                "note": "",
            }
        )
    for key, new in ids["dough"].items():
        bake, code = key
        made["dough"].append(
            {
                "id": new,
                "bake_id": ids["bake"][bake],
                "position": place_in("dough", bake),
                "code": code,
                "note": "",
            }
        )
    for key, new in ids["load"].items():
        bake, position = key
        made["load"].append({"id": new, "bake_id": ids["bake"][bake], "position": position})
    for key, load, place in zip(sheet.keys["piece"], sheet.keys["load"], sheet.places, strict=True):
        dough, code = key
        made["piece"].append(
            {
                "id": ids["piece"][key],
                "dough_id": ids["dough"][dough],
                "position": place_in("piece", dough),
                "code": code,
                "load_id": None if load is None else ids["load"][load],
                "place": place,
                "blind": None,
            }
        )
    for level, rows in made.items():  # parents first
        step.add_all(TABLE_OF[level], rows)
    shared = {"trial_id": trial_id, "u": None, "how": "entered", "at": step.at,
              "photo_id": None, "note": None}  # fmt: skip
    step.add_all(
        t.reading,
        [
            {"id": new_id(), "level": level, "target_id": ids[level][key], "quantity": name,
             "value": value, **shared}
            for level, key, name, value in sheet.readings
        ],
    )  # fmt: skip
    step.add_all(
        t.event,
        [
            {"id": new_id(), "trial_id": trial_id, "level": "piece",
             "target_id": ids["piece"][key], "kind": kind, "text": "", "at": step.at}
            for key, kind in sheet.events
        ],
    )  # fmt: skip
