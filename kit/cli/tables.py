"""Files given on the command line, and numbers typed beside them."""

import os
from io import StringIO
from pathlib import Path
from typing import TYPE_CHECKING, Any

from kit.cli.shell import say
from kit.errors import DataError, InputError, NotFoundError

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["level", "number", "read", "settings", "text"]


def read(table: Path) -> "pd.DataFrame":
    """Read a CSV file with commas, semicolons or tabs, decimal points or commas.

    Raises DataError: it is not there, or not a table.
    """
    import pandas as pd
    from pandas.api.types import is_numeric_dtype as is_number

    from kit.records.sheets.file import delimiter

    if not os.path.exists(table):
        msg = f"{table} is not there. Give a CSV file or a workspace folder."
        raise DataError(msg)
    content = text(table, "CSV (UTF-8)")
    sign = delimiter(content)
    try:
        point, comma = (pd.read_csv(StringIO(content), sep=sign, decimal=mark) for mark in ".,")
    except (pd.errors.ParserError, pd.errors.EmptyDataError) as exc:
        msg = f"{table} cannot be read as a CSV table: {str(exc).splitlines()[0]}"
        raise DataError(msg) from exc
    if sign == ",":
        return point
    for column in map(str, point.columns):
        if not is_number(point[column]) and is_number(comma[column]):
            point[column] = comma[column]
    return point


def text(file: Path, kind: str = "plain text (UTF-8)") -> str:
    """Read a text file, and say where its encoding had to be guessed.

    Raises DataError: it is not there, or not plain text.
    """
    from kit.records.keeping.trouble import said_of_disk
    from kit.records.sheets.file import decoded

    try:
        content = file.read_bytes()
    except OSError as exc:
        msg = f"{file} was not read: {said_of_disk(exc)}"
        raise DataError(msg) from exc
    read, notes = decoded(content, file.name, kind)
    for note in notes:
        say(f"Note: {note}")
    return read


def number(matters: str | None, outcome: str | None) -> float | None:
    """What matters, as typed, in the outcome's unit."""
    from kit.units import parse
    from kit.words import unit_of

    return parse(matters, unit_of(outcome or ""), "--matters", difference=True)


def level(frame: "pd.DataFrame", by: str | None, control: str | None) -> Any:
    """The setting a person means by its text."""
    if control is None or by is None or by not in frame:
        return control
    named = {f"{v:g}" if isinstance(v, float) else str(v): v for v in settings(frame, by)}
    if control not in named:
        raise InputError("--control", control, f"must be one of {', '.join(named)}")
    return named[control]


def settings(frame: "pd.DataFrame", column: str) -> list[Any]:
    """Return the distinct values of a column, in order."""
    if column not in frame:
        raise NotFoundError("column", column, map(str, frame.columns))
    return sorted(frame[column].dropna().unique().tolist())
