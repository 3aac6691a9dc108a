"""Clock and calendar: minutes of real time inside, the kitchen's own clock outside.

A moment is a whole number of minutes since 1970-01-01 00:00 UTC, so that sixteen hours in the
refrigerator are sixteen hours also in the night the clocks change. Only what is read or shown
goes through the kitchen's time zone (IANA names, Python's `zoneinfo`).
"""

import difflib
import re
from bisect import bisect_left
from collections.abc import Sequence
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError, available_timezones

import pandas as pd

from kit.dates import in_iso_form
from kit.errors import InputError

__all__ = [
    "DAYS", "Span", "awake_spans", "clock_changes", "local", "most_at_once", "read_clock",
    "read_moment", "read_zone", "say_clock", "say_day", "say_minutes", "say_moment", "utc",
]  # fmt: skip

Span = tuple[int, int]

DAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
_MONTHS = ("January", "February", "March", "April", "May", "June", "July", "August",
           "September", "October", "November", "December")  # fmt: skip
_YEARS = (1970, 2200)


def read_zone(name: str) -> ZoneInfo:
    """Return the time zone of that name.

    Raises
    ------
    InputError
        No such zone; names the nearest ones.
    """
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError, TypeError) as exc:
        near = difflib.get_close_matches(str(name), sorted(available_timezones()), 2, 0.85)
        remedy = "Give a place such as Europe/Berlin or America/New_York."
        if near:
            remedy = f"Did you mean {' or '.join(near)}?"
        raise InputError("zone", name, "is no time zone this computer knows", remedy) from exc


def read_moment(value: str | datetime, zone: ZoneInfo, field: str) -> tuple[int, str]:
    """Read a day and time by the kitchen's clock.

    Parameters
    ----------
    value : str or datetime
        ``"2026-11-05 09:00"``; without an offset it is local time in `zone`.
    field : str
        Named in the error.

    Returns
    -------
    (int, str)
        The moment, seconds dropped, and a note when the clock shows that time twice (the first
        is taken).

    Raises
    ------
    InputError
        Not a day and time, one the clock skips, or one outside 1970–2200.
    """
    example = "Write day and time, for example 2026-11-05 09:00."
    try:
        read = value
        if isinstance(value, str):
            typed = re.sub(r" +(\d):", r" 0\1:", in_iso_form(value.strip()))
            if not re.search(r"\d[T ]\d", typed):
                raise ValueError
            read = datetime.fromisoformat(typed)
        if not isinstance(read, datetime) or pd.isna(read):
            raise ValueError
    except ValueError as exc:
        raise InputError(field, value, "is not a day and a time", example) from exc
    if not _YEARS[0] < read.year < _YEARS[1]:
        raise InputError(field, value, f"must lie between {_YEARS[0]} and {_YEARS[1]}", example)
    if read.tzinfo is not None:
        return _minutes(read), ""
    wall = read.replace(tzinfo=zone)
    back = wall.astimezone(UTC).astimezone(zone).replace(tzinfo=None)
    if back != read.replace(fold=0):
        rule = "is skipped by the clock that night, which is put forward"
        raise InputError(field, value, rule, f"Give {back:%Y-%m-%d %H:%M} or another time.")
    first, second = wall.replace(fold=0), wall.replace(fold=1)
    note = ""
    if first.utcoffset() != second.utcoffset():
        note = (
            f"{read:%H:%M} comes twice on {say_day(_minutes(first), zone)}, when the clocks go "
            "back: the first is meant here"
        )
        wall = first
    return _minutes(wall), note


_CLOCK = re.compile(r"(\d{1,2})(?:[:.h]([0-5]\d))?h?\s*(?:([ap])\.?m\.?)?")


def read_clock(value: str | time, field: str) -> int:
    """Read a time of day as minutes after midnight; ``"24:00"`` is the end of the day.

    As people write it: ``9``, ``9:30``, ``9.30``, ``9h30``, ``9:30 pm``.

    Raises
    ------
    InputError
        Not a time of day.

    Examples
    --------
    >>> read_clock("6:00", "awake_from"), read_clock("24:00", "awake_to")
    (360, 1440)
    >>> read_clock("9", "table_time"), read_clock("12:30 am", "table_time")
    (540, 30)
    """
    if isinstance(value, time):
        return value.hour * 60 + value.minute
    found = _CLOCK.fullmatch(str(value).strip().lower())
    minute = -1
    if found:
        hour, half = int(found[1]), found[3]
        if half is None or 1 <= hour <= 12:
            hour = hour if half is None else hour % 12 + (12 if half == "p" else 0)
            minute = hour * 60 + int(found[2] or 0)
    if not 0 <= minute <= 1440:
        raise InputError(field, value, "is not a time of day", "Write it as 06:00 or 22:30.")
    return minute


def utc(moment: int) -> datetime:
    """The moment as an aware time in UTC."""
    return datetime.fromtimestamp(moment * 60, UTC)


def local(moment: int, zone: ZoneInfo) -> datetime:
    """The moment as the kitchen's clock shows it."""
    return utc(moment).astimezone(zone)


def say_clock(moment: int, zone: ZoneInfo) -> str:
    """Time of day: ``09:00``."""
    return f"{local(moment, zone):%H:%M}"


def say_day(moment: int, zone: ZoneInfo) -> str:
    """Day in words, whatever the computer's language: ``Thursday 5 November``."""
    day = local(moment, zone)
    return f"{DAYS[day.weekday()]} {day.day} {_MONTHS[day.month - 1]}"


def say_moment(moment: int, zone: ZoneInfo) -> str:
    """Time and day: ``09:00 on Thursday 5 November``."""
    return f"{say_clock(moment, zone)} on {say_day(moment, zone)}"


def say_minutes(minutes: float) -> str:
    """A length of time as it is spoken.

    Examples
    --------
    >>> say_minutes(40), say_minutes(960), say_minutes(985), say_minutes(12.5)
    ('40 min', '16 h', '16 h 25 min', '12.5 min')
    """
    if minutes < 60:
        return f"{minutes:g} min"
    hours, rest = divmod(round(minutes), 60)
    return f"{hours} h {rest} min" if rest else f"{hours} h"


def most_at_once(spans: Sequence[Span]) -> int:
    """The largest number of spans that share a moment; those that only touch share none.

    Examples
    --------
    >>> most_at_once([(0, 10), (10, 20), (5, 12)])
    2
    """
    ends = sorted([(s, 1) for s, e in spans if e > s] + [(e, -1) for s, e in spans if e > s])
    most = now = 0
    for _, change in ends:
        now += change
        most = max(most, now)
    return most


def awake_spans(span: Span, awake_from: int, awake_to: int, zone: ZoneInfo) -> list[Span]:
    """Stretches of `span` and the days around it in which somebody is up, by the local clock.

    Parameters
    ----------
    span : (int, int)
        Moments.
    awake_from, awake_to : int
        Minutes after midnight; `awake_to` before `awake_from` is after midnight, the next day.

    Returns
    -------
    list of (int, int)
        Joined where one touches the next.
    """
    first = local(span[0], zone).date() - timedelta(days=1)
    last = local(span[1], zone).date() + timedelta(days=1)
    over = awake_to <= awake_from
    spans: list[Span] = []
    for i in range((last - first).days + 1):
        day = first + timedelta(days=i)
        start = _at(day, awake_from, zone)
        end = _at(day + timedelta(days=1) if over else day, awake_to, zone)
        if spans and start <= spans[-1][1]:
            spans[-1] = (spans[-1][0], end)
        else:
            spans.append((start, end))
    return spans


def clock_changes(span: Span, zone: ZoneInfo) -> list[tuple[int, int]]:
    """Find where the local clock is changed within a span.

    Returns
    -------
    list of (int, int)
        The moment of the change, and by how many minutes the clock goes forward (back: below 0).
    """
    found = []
    moment = span[0]
    while moment < span[1]:
        until = min(moment + 1440, span[1])
        change = _offset(until, zone) - _offset(moment, zone)
        if change:
            before, minutes = _offset(moment, zone), range(moment, until)
            later = bisect_left(minutes, True, key=lambda m: _offset(m, zone) != before)
            found.append((moment + later, change))
        moment = until
    return found


def _at(day: date, minute: int, zone: ZoneInfo) -> int:
    """The moment a local clock shows `minute` after midnight of `day`."""
    wall = datetime.combine(day, time()) + timedelta(minutes=minute)
    return _minutes(wall.replace(tzinfo=zone))


def _minutes(moment: datetime) -> int:
    return int(moment.timestamp() // 60)


def _offset(moment: int, zone: ZoneInfo) -> int:
    shift = local(moment, zone).utcoffset() or timedelta()
    return int(shift.total_seconds() // 60)
