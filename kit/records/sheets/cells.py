"""Cells as people write them: decimal commas, units in the heading, days in either order.

A single cell can be read in two ways; the other cells of its column often say in which.
"""

import re
from collections.abc import Iterable, Iterator
from datetime import date, datetime, timedelta
from typing import Any

from kit.errors import InputError
from kit.records.sheets.table import Percent
from kit.records.typed import day

__all__ = [
    "DATE_ORDERS", "MIXED", "date_order", "decimal_mark", "is_open", "number_cell", "read_as",
    "read_day", "two_numbers",
]  # fmt: skip

#: in which order days are written; "" where the cells do not tell
DATE_ORDERS = ("day/month", "month/day")
MIXED = "mixed"

_SPOKEN = re.compile(r"(\d{1,2})([./-])(\d{1,2})\2(\d{4}|\d{2})(?:[ T]\d{1,2}:\d{2}(?::\d{2})?)?")
# three digits after a mark may be thousands; any other number of them are decimals
_COMMA = re.compile(r"(?<![\d.,])(?:0,\d+|\d+,(?:\d{1,2}|\d{4,}))(?![\d.,])|\d\.\d{3},\d")
_POINT = re.compile(r"(?<![\d.,])(?:0\.\d+|\d+\.(?:\d{1,2}|\d{4,}))(?![\d.,])|\d,\d{3}\.\d")
_BOTH_COMMA = re.compile(r"^([+\-−]?\d{1,3}(?:\.\d{3})+),(\d.*)$")
_BOTH_POINT = re.compile(r"^([+\-−]?\d{1,3}(?:,\d{3})+)(\.\d.*)$")
_THOUSANDS = re.compile(r"^([+\-−]?[1-9]\d{0,2})([.,])(\d{3})(?![\d.,])(.*)$")
_BARE = re.compile(
    r"[\s\d.,/+\-−½⅓⅔¼¾⅕⅖⅗⅘⅙⅚⅛⅜⅝⅞]*\d[\s\d.,/½⅓⅔¼¾⅕⅖⅗⅘⅙⅚⅛⅜⅝⅞]*(?:[eE][+\-]?\d+)?|[½⅓⅔¼¾⅛⅜⅝⅞]"
)


def decimal_mark(cells: Iterable[Any]) -> str:
    """Return "comma" or "point" where the cells show one only; "both"; or "".

    Examples
    --------
    >>> decimal_mark(["38,5", "1,050"]), decimal_mark(["1,050"]), decimal_mark(["38.5", "1,2"])
    ('comma', '', 'both')
    """
    comma = point = False
    for x in cells:
        if isinstance(x, str):
            comma = comma or ("," in x and _COMMA.search(x) is not None)
            point = point or ("." in x and _POINT.search(x) is not None)
            if comma and point:
                return "both"
    return "comma" if comma else "point" if point else ""


def two_numbers(text: str) -> bool:
    """Say whether a text such as "1,050" is one number or a thousand times it."""
    found = _THOUSANDS.match(text)
    return found is not None and found[2] == ","


def number_cell(
    field: str, x: Any, unit: str = "", mark: str = "", sure: bool = False, stored: bool = False
) -> Any:
    """Return a cell as `kit.units.parse` reads it: one decimal mark, with its unit.

    A bare number is in `unit`, as written in the heading; empty is the quantity's own. The `mark`
    is "comma" or "point", or empty where not known; when the baker is `sure`, the other mark parts
    thousands. A cell formatted as percent counts as `stored` (0.008), or as shown (0.8 %). Raises
    InputError: it can be read as two numbers.

    >>> number_cell("height", "1,050", mark="comma"), number_cell("height", 1.5, "in")
    ('1.050', '1.5 in')
    """
    if isinstance(x, Percent) and stored:
        x = float(x.removesuffix(" %")) / 100
    if isinstance(x, int | float):
        return f"{x!r} {unit}" if unit else x
    if not isinstance(x, str) or isinstance(x, Percent):
        return x
    text = x
    if both := _BOTH_COMMA.match(text):
        text = both[1].replace(".", "") + "." + both[2]
    elif both := _BOTH_POINT.match(text):
        text = both[1].replace(",", "") + both[2]
    elif parted := _THOUSANDS.match(text):
        head, sign, tail, rest = parted.groups()
        decimal = {"comma": ",", "point": "."}.get(mark)
        if decimal == sign:
            text = f"{head}.{tail}{rest}"
        elif decimal is not None and (sign == "," or sure):
            text = f"{head}{tail}{rest}"
        elif decimal is not None:
            rule = "could mean two numbers among decimal commas"
            remedy = f"Write {head},{tail} or {head}{tail}, or say which decimals have."
            raise InputError(field, x, rule, remedy)
    return f"{text} {unit}" if unit and _BARE.fullmatch(text) else text


def date_order(cells: Iterable[Any]) -> str:
    """Return the order of a column's days: one of `DATE_ORDERS`, "mixed", or "".

    A number above 12 is no month and decides for the whole column; points are written in
    day.month.year only.

    Examples
    --------
    >>> date_order(["03/04/2026", "26/11/2026"]), date_order(["03/04/2026"])
    ('day/month', '')
    """
    found = set()
    for x in cells:
        if isinstance(x, str) and (said := _SPOKEN.fullmatch(x)):
            if int(said[1]) > 12 or (said[2] == "." and int(said[3]) <= 12):
                found.add("day/month")
            elif int(said[3]) > 12:
                found.add("month/day")
    return MIXED if len(found) > 1 else found.pop() if found else ""


def read_as(cells: Iterable[Any], order: str) -> Iterator[str]:
    """Tell how days of two meanings are read, where others decide; ask where one does for several.

    Examples
    --------
    >>> list(read_as(["12/3/2026", "12/10/2026", "13/12/2026"], "day/month"))
    ["Days are read as day/month, as '13/12/2026' alone shows: '12/3/2026' is 2026-03-12. Is that \
right?"]
    """
    written = [x for x in dict.fromkeys(cells) if is_open(x)]
    shows = [x for x in written if date_order([x]) == order]
    open_ones = [x for x in written if not date_order([x])]
    if not shows or not open_ones:
        return
    meant = read_day(open_ones[0], order)
    alone, ask = (" alone", ". Is that right?") if len(shows) == 1 < len(open_ones) else ("", "")
    yield (
        f"Days are read as {order}, as {shows[0]!r}{alone} shows: {open_ones[0]!r} is {meant}{ask}"
    )


def is_open(x: Any) -> bool:
    """Say whether a cell is a day that needs an order to be read."""
    said = _SPOKEN.fullmatch(x) if isinstance(x, str) else None
    return said is not None and said[1].zfill(2) != said[3].zfill(2)


def read_day(x: Any, order: str) -> date | None:
    """Return the day a cell means, in the `order` of `date_order` or as the baker said.

    Raises InputError: it is no day, or could be two.

    >>> read_day("3/4/26", "day/month").isoformat()
    '2026-04-03'
    """
    if isinstance(x, int | float) and 20_000 <= x < 80_000:
        meant = (datetime(1899, 12, 30) + timedelta(days=float(x))).date()
        remedy = f"Format the column as date; it would be {meant.isoformat()}."
        raise InputError("day", x, "is a number, not a day", remedy)
    said = _SPOKEN.fullmatch(x) if isinstance(x, str) else None
    if said is None:
        return day("day", x)
    first, second, year = int(said[1]), int(said[3]), int(said[4])
    year += 2000 if year < 100 else 0
    if order == MIXED:
        rule = "stands in a column that mixes day/month and month/day"
        raise InputError("day", x, rule, "Write year-month-day: 2026-11-26.")
    if order == "" and first != second:
        rule = f"could be {year}-{second:02d}-{first:02d} or {year}-{first:02d}-{second:02d}"
        raise InputError("day", x, rule, "Say whether days are day/month or month/day.")
    month, number = (first, second) if order == "month/day" else (second, first)
    try:
        return date(year, month, number)
    except ValueError as exc:
        rule = f"is no {order or 'day/month'} date"
        raise InputError("day", x, rule, "Write year-month-day: 2026-11-26.") from exc
