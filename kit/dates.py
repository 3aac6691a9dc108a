"""Days written with points: day.month.year, wherever points are used (common practice, no source).

With slashes 3/4/2026 is two days in two countries, so those are asked about elsewhere.
"""

import re
from datetime import date

__all__ = ["without_points"]

_POINTED = re.compile(r"(\d{1,2})\.\s?(\d{1,2})\.(?:\s?(\d{4}|\d{2})(?=$|[\s,]))?[,\s]*(.*)")


def without_points(typed: str, today: date | None = None) -> str:
    """Return a text with the day in front in ISO form, where it is written with points.

    Parameters
    ----------
    typed : str
    today : date, optional
        A day without its year is the last such day; without `today` it is left as it is.

    Examples
    --------
    >>> without_points("3.12.2026"), without_points("03.12.26, 9:40")
    ('2026-12-03', '2026-12-03 9:40')
    >>> without_points("19.11. 8:40", date(2026, 11, 26)), without_points("9.40.15")
    ('2026-11-19 8:40', '9.40.15')
    """
    found = _POINTED.fullmatch(typed.strip())
    if found is None or not 1 <= int(found[2]) <= 12 or (found[3] is None and today is None):
        return typed
    day, month, rest = int(found[1]), int(found[2]), found[4]
    if found[3]:
        year = int(found[3]) + 2000 * (len(found[3]) == 2)
    else:
        assert today is not None
        year = today.year - ((month, day) > (today.month, today.day))
    return f"{year:04d}-{month:02d}-{day:02d} {rest}".strip()
