"""Days as people write them: with points, with the month's name, in ISO form without its zeros.

With points it is day.month.year wherever they are used (common practice, no source). With
slashes 3/4/2026 is two days in two countries, so those are asked about elsewhere.
"""

import re
from calendar import month_name
from datetime import date

__all__ = ["in_iso_form"]

_POINTED = re.compile(
    r"(?P<day>\d{1,2})\.\s?(?P<month>\d{1,2})\."
    r"(?:\s?(?P<year>\d{4}|\d{2})(?=$|[\s,]))?[,\s]*(?P<rest>.*)"
)
_ISO = re.compile(
    r"(?P<year>\d{4})-(?P<month>\d{1,2})-(?P<day>\d{1,2})(?=$|[\sT,])[T,\s]*(?P<rest>.*)"
)
#: days, each month taken as 31
_YEAR, _SOON = 372, 62
#: a time of day by a twelve-hour clock, at the beginning of what follows the day
_HALF_DAY = re.compile(
    r"^(?P<hour>0?[1-9]|1[0-2])(?:[:.](?P<minute>[0-5]\d))?\s*(?P<half>[ap])\.?m\b\.?",
    re.IGNORECASE,
)
_LATER = r"(?:,?\s+(?P<year>(?:19|20)\d\d)(?=$|[\s,]))?(?=$|[\s,])[,\s]*(?P<rest>.*)"
_NTH = r"(?P<day>\d{1,2})(?:st|nd|rd|th)?"
_NAMED = (
    re.compile(rf"(?P<month>[a-z]{{3,9}})\.?\s+{_NTH}{_LATER}", re.IGNORECASE),
    re.compile(rf"{_NTH}\.?\s+(?P<month>[a-z]{{3,9}})\.?{_LATER}", re.IGNORECASE),
)


def in_iso_form(typed: str, today: date | None = None) -> str:
    """Return a text with the day in front in ISO form, where it can be but one day.

    A time of day behind it by a twelve-hour clock is put by a whole day's clock.

    Parameters
    ----------
    today : date, optional
        A day without its year is the last such day; without `today` it is left as it is.

    Examples
    --------
    >>> in_iso_form("3.12.2026"), in_iso_form("03.12.26, 9:40")
    ('2026-12-03', '2026-12-03 9:40')
    >>> in_iso_form("19.11. 8:40", date(2026, 11, 26)), in_iso_form("9.40.15")
    ('2026-11-19 8:40', '9.40.15')
    >>> in_iso_form("Dec. 5th, 2026 8am"), in_iso_form("5 December 2026"), in_iso_form("2026-12-5")
    ('2026-12-05 08:00', '2026-12-05', '2026-12-05')
    >>> in_iso_form("2026-12-05 12:30 a.m."), in_iso_form("5.12.2026 9.30 pm")
    ('2026-12-05 00:30', '2026-12-05 21:30')
    >>> in_iso_form("Dec 31 9:40", date(2027, 1, 2)), in_iso_form("Dec 5"), in_iso_form("3/4/2026")
    ('2026-12-31 9:40', 'Dec 5', '3/4/2026')
    """
    for pattern in (_POINTED, _ISO, *_NAMED):
        found = pattern.fullmatch(typed.strip())
        month = 0 if found is None else _month(found["month"])
        if found is None or not month or (found["year"] is None and today is None):
            continue
        day = int(found["day"])
        if found["year"]:
            year = int(found["year"]) + 2000 * (len(found["year"]) == 2)
        else:
            assert today is not None
            year = _year(month, day, today)
        time = _HALF_DAY.sub(_by_whole_day, found["rest"])
        return f"{year:04d}-{month:02d}-{day:02d} {time}".strip()
    return typed


def _by_whole_day(found: re.Match[str]) -> str:
    hour = int(found["hour"]) % 12 + 12 * (found["half"].lower() == "p")
    return f"{hour:02d}:{found['minute'] or '00'}"


def _year(month: int, day: int, today: date) -> int:
    """The year of the last such day, but of the next where that is not two months away.

    Whoever notes what has been is then told that it is still to come, and no year is lost.
    """
    later = 31 * (month - today.month) + day - today.day
    return today.year - (later > 0) + (0 < later % _YEAR <= _SOON)


def _month(said: str) -> int:
    """Its number, 0 where it is none: 12, dec, Sept, December."""
    if said.isdecimal():
        return int(said) if 1 <= int(said) <= 12 else 0
    names = enumerate(month_name)
    return next((n for n, name in names if n and name.lower().startswith(said.lower())), 0)
