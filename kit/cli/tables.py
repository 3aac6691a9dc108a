"""Files given on the command line, and numbers typed beside them."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

from kit.cli.shell import say
from kit.errors import DataError, InputError, NotFoundError

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["level", "number", "read", "settings", "text"]


def read(table: Path) -> "pd.DataFrame":
    """Read a CSV file with commas, semicolons or tabs, decimal points or commas.

    Raises
    ------
    DataError
        It is not there, or not a table.
    """
    import pandas as pd
    from pandas.api.types import is_numeric_dtype as is_number

    try:
        with table.open(encoding="utf-8-sig") as file:
            first = file.readline()
        sign = max(",;\t", key=first.count)
        point, comma = (
            pd.read_csv(table, sep=sign, decimal=mark, encoding="utf-8-sig") for mark in ".,"
        )
    except FileNotFoundError as exc:
        msg = f"{table} is not there. Give a CSV file or a workspace folder."
        raise DataError(msg) from exc
    except (pd.errors.ParserError, pd.errors.EmptyDataError, UnicodeDecodeError, OSError) as exc:
        msg = f"{table} cannot be read as a CSV table: {str(exc).splitlines()[0]}"
        raise DataError(msg) from exc
    if sign == ",":
        return point
    for column in map(str, point.columns):
        if not is_number(point[column]) and is_number(comma[column]):
            point[column] = comma[column]
    return point


def text(file: Path) -> str:
    """Read a text file, and say where its encoding had to be guessed.

    Raises
    ------
    DataError
        It is not there, or not plain text.
    """
    from kit.records.sheets.file import decoded
    from kit.records.trouble import said_of_disk

    try:
        content = file.read_bytes()
    except OSError as exc:
        msg = f"{file} was not read: {said_of_disk(exc)}"
        raise DataError(msg) from exc
    read, notes = decoded(content, file.name, "plain text (UTF-8)")
    for note in notes:
        say(f"Note: {note}")
    return read


def number(matters: str | None, outcome: str | None) -> float | None:
    """What matters, as typed, in the outcome's unit."""
    from kit.analysis.words import unit_of
    from kit.units import parse

    return parse(matters, unit_of(outcome or ""), "--matters", difference=True)


def level(frame: "pd.DataFrame", by: str | None, control: str | None) -> Any:
    """The setting a person means by its text."""
    if control is None or by is None or by not in frame:
        return control
    levels = frame[by].dropna().unique().tolist()
    named = {f"{v:g}" if isinstance(v, float) else str(v): v for v in levels}
    if control not in named:
        raise InputError("--control", control, f"must be one of {', '.join(named)}")
    return named[control]


def settings(frame: "pd.DataFrame", column: str) -> list[Any]:
    """Return the distinct values of a column, in order."""
    if column not in frame:
        raise NotFoundError("column", column, map(str, frame.columns))
    return sorted(frame[column].dropna().unique().tolist())
