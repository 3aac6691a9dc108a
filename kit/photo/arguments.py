"""What calls with photos are given; what cannot be used is named, with what would be right."""

from collections.abc import Collection
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kit.errors import InputError
from kit.given import as_number

__all__ = [
    "above",
    "above_0",
    "check_kind",
    "check_photo",
    "floats",
    "numbers",
    "one_of",
    "places",
    "positive",
]

Array = NDArray[np.float64]

#: of a millimetre: nothing shorter is meant
LEAST = 1e-6


def check_kind(name: str, given: Any, kind: Any, rule: str) -> None:
    """Refuse a thing of another kind, a class or several joined by | (InputError)."""
    if not isinstance(given, kind):
        raise InputError(name, given, rule)


def check_photo(given: Any) -> None:
    """Refuse what gives no pixels as a photo does (InputError)."""
    if not hasattr(given, "reduced"):
        raise InputError("photo", given, "must be a photo from kit.photo.read")


def one_of(name: str, given: Any, known: Collection[str], remedy: str = "") -> str:
    """Return a word that is known, or say which are."""
    if not (isinstance(given, str) and given in known):
        raise InputError(name, given, f"must be one of {', '.join(known)}", remedy)
    return given


def positive(name: str, given: Any, high: float) -> float:
    """Return a length above 0 and up to `high`, or say what is wrong with it."""
    number = as_number(given)
    if number is None or not LEAST <= number <= high:
        raise InputError(name, given, f"must be above 0 and at most {high:g} mm")
    return number


def above_0(name: str, given: Any, remedy: str = "", *, least: bool = False) -> float:
    """Return a finite number above 0, or of 0 and more where that is the `least`."""
    number = as_number(given)
    if number is None or not 0 <= number < np.inf or not (number or least):
        rule = "must be 0 or more" if least else "must be above 0"
        raise InputError(name, given, rule, remedy)
    return number


def above(name: str, given: Any, unit: str = "mm") -> float:
    """Return a standard uncertainty: 0 or above."""
    number = as_number(given)
    if number is None or not 0 <= number < 100:
        raise InputError(name, given, f"must be 0 or above, in {unit}")
    return number


def numbers(name: str, given: Any, count: int) -> Array:
    """Return so many finite numbers, or say that they must be that."""
    found = floats(given).ravel()
    if len(found) != count or not np.isfinite(found).all():
        raise InputError(name, given, f"must be {count} numbers, in pixels")
    return found


def places(name: str, given: Any, least: int, remedy: str) -> Array:
    """Return places (n, 2) in a picture, at least so many, or say that they must be that."""
    found = floats(given)
    if found.shape != (max(least, len(found)), 2) or not np.isfinite(found).all():
        few = found.ndim == 2 and len(found) < least
        shown = f"{len(found)} points" if few else given
        raise InputError(name, shown, f"must be at least {least} points (x, y)", remedy)
    return found


def floats(given: Any) -> Array:
    """Return numbers as an array; an empty one where they are none."""
    try:
        found = np.asarray(given)
        plain = found.ndim > 0 and not np.iscomplexobj(found)
        return np.asarray(found, float) if plain else np.empty(0)
    except (TypeError, ValueError):
        return np.empty(0)
