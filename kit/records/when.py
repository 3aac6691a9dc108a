"""A time as a baker says it: "9:40", "yesterday 21:15", a day and a time."""

import re
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from kit.dates import in_iso_form
from kit.errors import InputError
from kit.plan.timetable.clock import DAYS
from kit.records.typed import moment, placed

__all__ = ["read_at", "read_when", "say_when"]

_EXAMPLE = "Write 9:40, yesterday 21:15, or 2026-11-26 09:40."
_TYPED = re.compile(
    r"(?:(?P<day>today|yesterday|\d{4}-\d{2}-\d{2})[,\sT]\s*)?"
    r"(?P<hour>\d{1,2})(?:[:.](?P<minute>[0-5]\d)(?:[:.](?P<second>[0-5]\d)(?:\.(?P<part>\d+))?)?"
    r"|(?=\s*[ap]\.?m))\s*(?:(?P<half>[ap])\.?m\.?)?(?:\s+(?P<which>first|second)(?:\s+time)?)?",
    re.IGNORECASE,
)
#: begins with a time of day, the day said at the most as today or yesterday
_BY_CLOCK = re.compile(
    r"\s*(?:(?:today|yesterday)[,\s]\s*)?(?:\d{1,2}(?:[:.][0-5]\d(?![.\d])|\s*[ap]\.?m)|noon)",
    re.IGNORECASE,
)
#: the clocks of a browser, a phone and a shared server differ by so much at the most
_SLACK = timedelta(minutes=2)


def read_when(
    field: str, value: str | datetime, zone: str, now: datetime, where: str = "",
    today: date | None = None,
) -> datetime:  # fmt: skip
    """Return the point in time a baker means, UTC.

    ``"9:40"``, ``"9 pm"``, ``"noon"``, ``"yesterday 21:15"``, ISO form; without an offset by the
    clock in `zone`. ``first`` or ``second`` after it tells the two apart that a clock shows in the
    night it is put back. Nothing noted is later than `now` (aware); a time that names no day is of
    `today`, or else that of `now`. Raises InputError: not a time, one that the clock skips or shows
    twice that night, or still to come.

    >>> noon = datetime(2026, 11, 26, 12, tzinfo=UTC)
    >>> read_when("at", "yesterday 21:15", "Europe/Berlin", noon).isoformat()
    '2026-11-25T20:15:00+00:00'
    """
    clock = ZoneInfo(zone)
    here = now.astimezone(clock).date()
    read, which = _read(field, value, here, today or here, where)
    if read.tzinfo is None:
        read = placed(field, value, read, which, clock, where)
    at = read.astimezone(UTC)
    if at > now + _SLACK:
        clock_alone = r"[\d:.]+\s*[apm.]*|noon"
        bare = isinstance(value, str) and re.fullmatch(clock_alone, value.strip().lower())
        remedy = f"Write yesterday {str(value).strip()} if that is meant." if bare else _EXAMPLE
        raise InputError(
            field, str(value), f"is still to come (it is {say_when(now, zone)})", remedy, where
        )
    return min(at, now)


def read_at(field: str, value: str | datetime | None, zone: str) -> str:
    """Return a point in time as it is stored: by the clock alone, or as `typed.moment` takes it.

    Raises InputError: not a point in time, or one that the clock skips or shows twice that night.
    """
    if isinstance(value, str) and _BY_CLOCK.match(value):
        value = read_when(field, value, zone, datetime.now(UTC))
    elif isinstance(value, str) and _TYPED.fullmatch(in_iso_form(value.strip())):
        clock = ZoneInfo(zone)
        today = datetime.now(clock).date()
        read, which = _read(field, value, today, today, "")
        value = placed(field, value, read, which, clock)
    return moment(field, value, zone)


def _read(
    field: str, value: str | datetime, today: date, unnamed: date, where: str
) -> tuple[datetime, str | None]:
    """Return the time as it stands there, naive where no offset does, and which of two it is."""
    if isinstance(value, datetime) and value == value:  # pandas' NaT is a datetime
        return value.replace(fold=0), "second" if value.fold else None
    typed = re.sub(
        r"^(.+?)[,\s]+(today|yesterday)$", r"\2 \1", str(value).strip(), flags=re.IGNORECASE
    )
    typed = re.sub(r"\bnoon$", "12:00", typed, flags=re.IGNORECASE)
    # a clock time after it: 9.10.15 alone is none
    if re.search(r"[,\s]\d?\d(?:[:.]|\s*[ap]\.?m)", typed, re.IGNORECASE):
        typed = in_iso_form(typed, today)
    found = _TYPED.fullmatch(typed)
    try:
        if found is None:
            if not re.search(r"\d[T ]\d", typed):
                raise ValueError(typed)
            return datetime.fromisoformat(typed), None
        named, half = (found["day"] or "").lower(), (found["half"] or "").lower()
        hour = int(found["hour"])
        if half:
            if not 1 <= hour <= 12:
                raise ValueError(typed)
            hour = hour % 12 + (12 if half == "p" else 0)
        on = {"": unnamed, "today": today, "yesterday": today - timedelta(days=1)}.get(named)
        on = on or date.fromisoformat(named)
        parts = int(found["minute"] or 0), int(found["second"] or 0), f"{found['part'] or 0:0<6}"
        read = datetime(on.year, on.month, on.day, hour, *parts[:2], int(parts[2][:6]))
        return read, (found["which"] or "").lower() or None
    except ValueError as exc:
        raise InputError(field, value, "is not a time", _EXAMPLE, where) from exc


def say_when(at: datetime, zone: str, now: datetime | None = None) -> str:
    """Say a time by the kitchen's clock, with its day where that is not today's.

    The offset is added where the clock shows that time twice.

    Examples
    --------
    >>> at = datetime(2026, 11, 25, 20, 15, tzinfo=UTC)
    >>> say_when(at, "Europe/Berlin"), say_when(at, "Europe/Berlin", at)
    ('21:15 on Wednesday 2026-11-25', '21:15')
    """
    local = at.astimezone(ZoneInfo(zone))
    twice = local.replace(fold=0).utcoffset() != local.replace(fold=1).utcoffset()
    # in the hour before clocks go forward both folds differ as well, yet it comes once
    there = local.replace(fold=1 - local.fold).astimezone(UTC).astimezone(ZoneInfo(zone))
    twice = twice and there.replace(tzinfo=None) == local.replace(tzinfo=None)
    text = f"{local:%H:%M}"
    if twice:
        text += f" ({'the second time' if local.fold else 'the first time'})"
    if now is not None and now.astimezone(ZoneInfo(zone)).date() == local.date():
        return text
    return f"{text} on {DAYS[local.weekday()]} {local:%Y-%m-%d}"
