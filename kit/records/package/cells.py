"""One cell of a package's CSV files: a value as text, and back, exactly.

A spreadsheet program takes a cell that begins with ``=``, ``+``, ``-`` or ``@`` for a formula and
runs it. Text that begins so is written with an apostrophe before it, and so is text that begins
with an apostrophe, so that taking one away on the way in gives back exactly what was there.
Numbers are never touched. The apostrophe alone is empty text where nothing would mean missing.
"""

import json
import re
from collections.abc import Callable
from datetime import date
from typing import Any

from sqlalchemy import JSON, Boolean, Column, Date, Float, Integer

from kit.errors import InputError

__all__ = ["LONGEST", "guarded", "kind_of", "read_cell", "restored", "write_cell"]

#: most signs one cell may hold
LONGEST = 100_000

_MARK = "'"
# the wide signs too: some programs in East Asian settings take them for the narrow ones
_STARTS = tuple("=+-@\t\r\n＝＋－＠" + _MARK)
_NUMBER = re.compile(r"-?[0-9]{1,40}(\.[0-9]{1,40})?([eE][+-]?[0-9]{1,4})?")
_WHOLE = re.compile(r"[0-9]{1,9}")
_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")


def guarded(text: str) -> str:
    """Return text that no spreadsheet program takes for a formula.

    Examples
    --------
    >>> guarded("=1+1"), guarded("1+1"), restored(guarded("'=1"))
    ("'=1+1", '1+1', "'=1")
    """
    return _MARK + text if text.startswith(_STARTS) else text


def restored(cell: str) -> str:
    """Return the text that `guarded` was given."""
    return cell.removeprefix(_MARK)


def kind_of(column: Column[Any]) -> str:
    """Return what a column holds: text, number, whole, truth, day or json."""
    kinds = ((JSON, "json"), (Boolean, "truth"), (Date, "day"), (Float, "number"),
             (Integer, "whole"))  # fmt: skip
    return next((kind for type_, kind in kinds if isinstance(column.type, type_)), "text")


def write_cell(value: Any, kind: str, optional: bool) -> str:
    """Return a stored value as a cell of a `kind_of` column; None is missing and leaves it empty.

    An `optional` column may be missing, so that empty text has to look different.
    """
    if value is None and (optional or kind != "json"):
        return ""
    if kind == "text":
        return _MARK if optional and value == "" else guarded(str(value))
    if kind == "json":
        return guarded(json.dumps(value, ensure_ascii=False))
    if kind == "truth":
        return "true" if value else "false"
    if kind == "day":
        return str(value.isoformat())
    return repr(float(value)) if kind == "number" else str(int(value))


def read_cell(field: str, cell: str, kind: str, optional: bool, where: str) -> Any:
    """Return a cell as the value it was.

    Raises InputError: it is not of its kind, too long, or empty where something is needed.
    """
    if len(cell) > LONGEST:
        rule = f"must be at most {LONGEST} characters long"
        raise InputError(field, cell[:60], rule, "", where)
    if cell == "":
        if optional or kind == "text":
            return None if optional else ""
        raise InputError(field, cell, "must not be empty", "", where)
    try:
        return _READERS[kind](cell)
    except (ValueError, OverflowError, RecursionError) as exc:
        raise InputError(field, cell, f"must be {_SAID[kind]}", "", where) from exc


def _matching(pattern: re.Pattern[str], cell: str) -> str:
    if not pattern.fullmatch(cell):
        raise ValueError(cell)
    return cell


def _truth(cell: str) -> bool:
    return {"true": True, "false": False}[_matching(re.compile("true|false"), cell)]


def _finite(cell: str) -> float:
    number = float(_matching(_NUMBER, cell))
    if number in (float("inf"), float("-inf")):
        raise ValueError(cell)
    return number


def _json(cell: str) -> Any:
    text = restored(cell)
    if "\\u0000" in text:
        raise ValueError(cell)  # no database keeps it
    return json.loads(text, parse_constant=_matching_nothing, parse_int=_json_int)


def _matching_nothing(constant: str) -> Any:
    raise ValueError(constant)  # NaN and Infinity are no JSON


def _json_int(digits: str) -> int:
    return int(_matching(re.compile(r"-?[0-9]{1,18}"), digits))


_READERS: dict[str, Callable[[str], Any]] = {
    "text": restored,
    "number": _finite,
    "whole": lambda cell: int(_matching(_WHOLE, cell)),
    "truth": _truth,
    "day": lambda cell: date.fromisoformat(_matching(_DAY, cell)),
    "json": _json,
}
_SAID = {
    "text": "text", "number": "a finite number with a decimal point", "whole": "a whole number",
    "truth": "true or false", "day": "a day written year-month-day", "json": "JSON",
}  # fmt: skip
