"""What people type that is no quantity: names, whole numbers, days, moments, zones."""

import os
import re
from calendar import month_name, monthrange
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from kit.dates import in_iso_form
from kit.errors import InputError
from kit.given import as_whole, is_missing
from kit.units import parse

__all__ = [
    "day",
    "file_path",
    "local_zone",
    "margin",
    "moment",
    "need",
    "now",
    "placed",
    "plain_name",
    "text",
    "whole",
    "zone",
]

#: bytes in the name of a file, on every usual disk
_LONGEST_NAME = 255
_FIRST_YEAR, _LAST_YEAR = 1970, 2200
#: digits, and up to two zeros behind a comma or a point, as spreadsheets write them
_COUNTED = re.compile(r"(\d{1,6})(?:[.,]00?)?")


def text(field: str, value: object, *, longest: int = 200, needed: bool = True) -> str:
    """Return `value` as clean text: trimmed, of bearable length, fit for every database.

    Raises InputError: empty where text is needed, too long, or holding characters that cannot be
    stored.
    """
    clean = "" if value is None else str(value).strip()
    if needed and not clean:
        raise InputError(field, value, "must not be empty")
    if len(clean) > longest:
        raise InputError(field, clean, f"must be at most {longest} characters long")
    if "\0" in clean or any("\ud800" <= sign <= "\udfff" for sign in clean):
        raise InputError(field, clean, "holds characters that cannot be stored", "Type it anew.")
    return clean


def need(field: str, value: object, kind: Any, what: str, remedy: str) -> None:
    """Refuse what is not of a kind, or of one of several; `what` says which one that is.

    Raises InputError.
    """
    if not isinstance(value, kind):
        raise InputError(field, value, f"is no {what}", remedy)


def file_path(field: str, value: object) -> Path:
    """Return a file's or folder's name as a path. Raises InputError: it is none."""
    try:
        name = os.fsencode(value)  # type: ignore[arg-type]
    except (TypeError, UnicodeEncodeError):
        name = b"\0"
    if b"\0" in name:
        raise InputError(field, value, "is no name of a file", "Write it in quotes.")
    if max(map(len, name.split(b"/"))) > _LONGEST_NAME:
        raise InputError(field, value, "is too long for a name", "Choose a shorter one.")
    return Path(os.fsdecode(name))


def plain_name(name: str) -> str:
    r"""Return a file's name as it can be stored and shown: "_" for bytes that are no UTF-8.

    Examples
    --------
    >>> plain_name("Brötchen\udcff.csv")
    'Brötchen_.csv'
    """
    return re.sub("[\ud800-\udfff]", "_", name)


def margin(field: str, value: str | float | None, unit: str = "") -> float | None:
    """Return a difference in `unit` above 0, such as a standard uncertainty; None when empty."""
    number = parse(value, unit, field, difference=True)
    if number is not None and not number > 0:
        raise InputError(field, value, "must be above 0")
    return number


def whole(field: str, value: object) -> int | None:
    """Return a counting number (1, 2, …), None when empty.

    Raises InputError: anything else; 1.000 is one here and a thousand there.
    """
    if is_missing(value):
        return None
    if isinstance(value, str):
        written = _COUNTED.fullmatch(value.strip())
        number = int(written[1]) if written else None
    else:
        number = as_whole(value)
    if number is None or not 1 <= number <= 100_000:
        raise InputError(field, value, "must be a whole number from 1", "Write 1, 2, 3 …")
    return number


def day(field: str, value: object, zone: str | None = None) -> date | None:
    """Return a day written as a date or in ISO form, None when empty.

    Of a moment with a time zone it is the day that `zone` has then.

    Raises InputError: anything else; 03/04/2026 is two different days in two countries.
    """
    if is_missing(value):
        return None
    read = _read_day(field, value, zone)
    _need_our_time(field, value, read)
    return read


def _need_our_time(field: str, value: object, read: date) -> None:
    """Refuse what no kitchen meant, such as a spreadsheet's 5 formatted as a day."""
    if not _FIRST_YEAR <= read.year <= _LAST_YEAR:
        rule = f"must lie between {_FIRST_YEAR} and {_LAST_YEAR}"
        raise InputError(field, str(value), rule, "Write for example 2026-11-26.")


def _read_day(field: str, value: object, zone: str | None) -> date:
    if isinstance(value, datetime):
        placed = value.astimezone(ZoneInfo(zone)) if zone and value.tzinfo else value
        return placed.date()
    if isinstance(value, date):
        return value
    typed = in_iso_form(str(value).strip())
    try:
        if typed[4:5] != "-":
            raise ValueError(typed)
        # a spreadsheet's "2026-11-26 00:00:00" is the day as well
        return datetime.fromisoformat(typed).date()
    except ValueError as exc:
        rule, remedy = _meant(typed)
        raise InputError(field, value, rule, remedy) from exc


def _meant(typed: str) -> tuple[str, str]:
    """What is wrong with a day, and the days that three numbers with slashes may mean.

    Examples
    --------
    >>> _meant("12/3/2026")[1], _meant("30/11/26")[1]
    ('Write 2026-12-03 or 2026-03-12, whichever it is.', 'Write 2026-11-30.')
    >>> _meant("2026-11-31")
    ('is no day: November has 30', 'Write the day that is meant.')
    >>> _meant("soon")[1]
    'Write for example 2026-11-26.'
    """
    iso = re.fullmatch(r"(\d{4})-(\d\d)-(\d\d)", typed)
    if iso is not None and 1 <= int(iso[2]) <= 12 and int(iso[1]):
        most = monthrange(int(iso[1]), int(iso[2]))[1]
        return f"is no day: {month_name[int(iso[2])]} has {most}", "Write the day that is meant."
    parts = re.fullmatch(r"(\d\d?)[/-](\d\d?)[/-](\d{4}|\d\d)", typed)
    days = []
    if parts is not None:
        one, other, year = (int(part) for part in parts.groups())
        for month, day_of_month in dict.fromkeys([(one, other), (other, one)]):
            try:
                days.append(date(year + 2000 * (year < 100), month, day_of_month).isoformat())
            except ValueError:  # no thirteenth month
                continue
    rule = "is not a day written year-month-day"
    if not days:
        return rule, "Write for example 2026-11-26."
    return rule, f"Write {' or '.join(days)}{', whichever it is' * (len(days) > 1)}."


def zone(value: str | ZoneInfo | None) -> str:
    """Return the name of a time zone, the computer's own when None is given.

    Raises InputError: not a name of the IANA data base.
    """
    if value is None:
        return local_zone()
    try:
        return ZoneInfo(str(value)).key
    except (KeyError, ValueError, OSError) as exc:
        raise InputError(
            "zone", value, "is not a time zone", "Write for example Europe/Berlin."
        ) from exc


def local_zone() -> str:
    """Return the IANA name of the computer's time zone, ``"UTC"`` where it does not tell."""
    linked = str(Path("/etc/localtime").resolve())
    for name in (os.environ.get("TZ", "").lstrip(":"), linked.partition("zoneinfo/")[2]):
        try:
            if name:
                return ZoneInfo(name).key
        except (KeyError, ValueError, OSError):
            continue  # a zone in POSIX form has no name
    return "UTC"


def now() -> str:
    """Return the moment, UTC, as it is stored."""
    return datetime.now(UTC).isoformat(timespec="microseconds")


def moment(field: str, value: str | datetime | None, where: str) -> str:
    """Return a point in time, UTC, as it is stored: of ISO form, of a datetime, of now for None.

    Without an offset it is read as the clock in zone `where` showed it. Raises InputError: no point
    in time, or one that the clock skips or shows twice.

    >>> moment("at", "2026-07-02 07:30", "Europe/Berlin")
    '2026-07-02T05:30:00.000000+00:00'
    """
    if value is None:
        return now()
    try:
        typed = re.sub(r"(?<=\d )(?=\d:)", "0", in_iso_form(str(value).strip()))  # 9:40
        read = value if isinstance(value, datetime) else datetime.fromisoformat(typed)
        _need_our_time(field, value, read)
        if read.tzinfo is None:
            which = "second" if read.fold else None
            read = placed(field, value, read.replace(fold=0), which, ZoneInfo(where))
        return read.astimezone(UTC).isoformat(timespec="microseconds")
    except InputError:
        raise
    except (ValueError, OverflowError) as exc:
        raise InputError(field, value, "is not a point in time", "Write 2026-11-26 07:30.") from exc


def placed(
    field: str, value: object, read: datetime, which: str | None, clock: ZoneInfo, where: str = ""
) -> datetime:
    """Put a time by the kitchen's clock into its zone; ask where the clock was changed."""
    first, second = (read.replace(tzinfo=clock, fold=fold) for fold in (0, 1))
    back = first.astimezone(UTC).astimezone(clock).replace(tzinfo=None)
    shown = str(value)
    if back != read:
        raise InputError(
            field, shown, "never was: the clock was put forward over it",
            f"Write {back:%Y-%m-%d %H:%M} if you had not yet put yours forward.", where,
        )  # fmt: skip
    if first.utcoffset() == second.utcoffset():
        return first
    if which is None:
        raise InputError(
            field, shown, "came twice, because the clock was put back",
            f"Write {read:%Y-%m-%d %H:%M} first (before the change) or second (after it).", where,
        )  # fmt: skip
    return second if which == "second" else first
