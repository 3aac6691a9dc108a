"""What a camera wrote beside the picture: when, by which lens, which way up. It may lie.

Tag numbers: CIPA DC-008 (Exif 2.32), tables 4 to 8 (numbers from memory; the tests write files
by them that Pillow and pillow-heif read back). Anything that cannot be true becomes a note in
words, never an error: the picture itself may still be good.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from typing import Any
from zoneinfo import ZoneInfo

from kit.errors import InputError

__all__ = ["Shot", "as_zone", "shot"]

_MAKE, _MODEL, _TURNED = 0x010F, 0x0110, 0x0112
_FOCAL_35MM, _ZOOM, _WIDTH, _HEIGHT = 0xA405, 0xA404, 0xA002, 0xA003
#: when the shutter fell, when it was stored: clock, parts of a second, offset from UTC
_CLOCKS = ((0x9003, 0x9291, 0x9011), (0x9004, 0x9292, 0x9012))
#: 35 mm equivalents of lenses one can buy (common practice, no source)
_FOCAL_RANGE = (6.0, 2400.0)
#: A clock that was never set starts before digital photos were made.
_FIRST_YEAR = 1995


@dataclass(frozen=True)
class Shot:
    """What the camera says of a picture.

    Parameters
    ----------
    turned : int
        EXIF orientation, 1 to 8; 1 is upright.
    taken : datetime or None
        With its offset from UTC; None when that is not known.
    clock : datetime or None
        What the camera's clock said, without an offset.
    focal_35mm : float or None
    model : str
    notes : tuple of str
    """

    turned: int = 1
    taken: datetime | None = None
    clock: datetime | None = None
    focal_35mm: float | None = None
    model: str = ""
    notes: tuple[str, ...] = ()


def shot(tags: Mapping[int, Any], width: int, height: int, zone: tzinfo | None = None) -> Shot:
    """Read a camera's tags.

    Parameters
    ----------
    tags : mapping of int to value
        Main and Exif directory in one.
    width, height : int
        Of the picture as stored, in pixels.
    zone : tzinfo, optional
        Of the camera's clock, for files that do not say.

    Examples
    --------
    >>> told = shot({0x9003: "2026:03:05 06:41:07", 0x9011: "+01:00"}, 4000, 3000)
    >>> told.taken.isoformat()
    '2026-03-05T06:41:07+01:00'
    """
    notes: list[str] = []
    taken, clock = _when(tags, zone, notes)
    return Shot(
        turned=_turned(tags.get(_TURNED), notes),
        taken=taken,
        clock=clock,
        focal_35mm=_focal(tags, width, height, notes),
        model=_model(tags),
        notes=tuple(notes),
    )


def as_zone(zone: str | tzinfo | None) -> tzinfo | None:
    """Return a time zone from its name ("Europe/London").

    Raises
    ------
    InputError
        No such zone.
    """
    if zone is None or isinstance(zone, tzinfo):
        return zone
    try:
        return ZoneInfo(zone)
    except (LookupError, ValueError, OSError, TypeError) as exc:
        rule = "must be a time zone such as 'Europe/London'"
        raise InputError("zone", zone, rule) from exc


def _turned(value: Any, notes: list[str]) -> int:
    if value is None:
        return 1
    number = _number(value)
    if number in range(1, 9):
        return int(number)
    # 0 is what some phones write for "not said"
    if number != 0:
        notes.append(f"the file gives {value!r:.20} for which way up: taken as upright")
    return 1


def _when(
    tags: Mapping[int, Any], zone: tzinfo | None, notes: list[str]
) -> tuple[datetime | None, datetime | None]:
    for tag, parts, offset in _CLOCKS:
        text = _text(tags.get(tag))
        if not text:
            continue
        clock = _clock(text, _text(tags.get(parts)))
        if clock is None:
            notes.append(f"the file gives {text!r:.30} as its time, which is none")
            continue
        ahead = clock.replace(tzinfo=UTC) - datetime.now(UTC) > timedelta(days=2)
        if clock.year < _FIRST_YEAR or ahead:
            notes.append(f"the camera's clock said {clock:%Y-%m-%d %H:%M}, which cannot be")
            return None, clock
        away = _offset(_text(tags.get(offset))) or zone
        if away is None:
            notes.append(
                f"the camera's clock said {clock:%Y-%m-%d %H:%M:%S}, but not in which time zone"
            )
            return None, clock
        return clock.replace(tzinfo=away), clock
    return None, None


def _clock(text: str, parts: str) -> datetime | None:
    try:
        clock = datetime.strptime(text[:19].replace("T", " "), "%Y:%m:%d %H:%M:%S")
    except ValueError:
        return None
    if parts.isascii() and parts.isdigit():
        clock = clock.replace(microsecond=int(parts[:6].ljust(6, "0")))
    return clock


def _offset(text: str) -> timezone | None:
    try:
        away = datetime.strptime(text, "%z").utcoffset()
    except ValueError:
        return None
    # no clock on earth is set farther off than these
    if away is None or not timedelta(hours=-12) <= away <= timedelta(hours=14):
        return None
    return timezone(away)


def _focal(tags: Mapping[int, Any], width: int, height: int, notes: list[str]) -> float | None:
    focal = _number(tags.get(_FOCAL_35MM))
    if math.isnan(focal) or focal == 0:  # 0 is the standard's word for "not known"
        return None
    low, high = _FOCAL_RANGE
    if not low <= focal <= high:
        notes.append(f"the file gives a focal length of {focal:.4g} mm, which no lens has")
        return None
    if _number(tags.get(_ZOOM)) > 1.05:
        notes.append("zoomed by cropping: the focal length may be off; better walk nearer")
    said = sorted([_number(tags.get(_WIDTH)), _number(tags.get(_HEIGHT))])
    if min(said) > 0:  # False for NaN
        now = sorted([width, height])
        if abs(said[0] / said[1] - now[0] / now[1]) > 0.01:
            notes.append(
                f"cropped after it was taken ({said[1]:.0f}×{said[0]:.0f} then, "
                f"{now[1]}×{now[0]} pixels now): the lens is not known any more"
            )
            return None
        if abs(said[1] / now[1] - 1) > 0.01:
            notes.append(
                f"made smaller or larger after it was taken ({said[1]:.0f}×{said[0]:.0f} then, "
                f"{now[1]}×{now[0]} pixels now)"
            )
    return focal


def _model(tags: Mapping[int, Any]) -> str:
    make, model = _text(tags.get(_MAKE)), _text(tags.get(_MODEL))
    both = model if model.lower().startswith(make.lower()) else f"{make} {model}"
    return both.strip()[:80]


def _text(value: Any) -> str:
    if isinstance(value, bytes):
        value = value.decode("latin-1")
    if not isinstance(value, str):
        return ""
    return "".join(c for c in value.split("\0")[0] if c.isprintable()).strip()


def _number(value: Any) -> float:
    """A tag as a number; NaN where it is none."""
    if isinstance(value, tuple) and len(value) == 1:
        value = value[0]
    try:
        number = float(value)
    except (TypeError, ValueError, ZeroDivisionError, OverflowError):
        return math.nan
    return number if math.isfinite(number) else math.nan
