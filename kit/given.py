"""What is given as a number: of whatever kind, or missing, or none at all.

Python knows `int`, `float`, `Decimal` and `Fraction`, numpy has its own of each size, and pandas
two more marks of what is missing. All of them are read here, and nowhere else.
"""

import math
from decimal import Decimal
from numbers import Integral, Real

from kit.errors import InputError, UnitError

__all__ = ["DIGITS", "as_number", "as_whole", "check_range", "given_number", "is_missing"]

DIGITS = "Write digits, with a comma or a point before decimals, for example 2.5 or 3 1/2."


def as_number(value: object) -> float | None:
    """Return a number of any kind as a float: Python's, numpy's, `Decimal` or `Fraction`.

    Returns
    -------
    float or None
        None for all that is no number, yes and no included; infinite where it is too large.

    Examples
    --------
    >>> as_number(Decimal("0.8")), as_number(True), as_number("0.8")
    (0.8, None, None)
    """
    if type(value) is float:  # most are, and imports read millions
        return value
    if getattr(value, "ndim", None) == 0:
        value = value.item()  # type: ignore[attr-defined]  # numpy's
    if isinstance(value, bool) or not isinstance(value, Real | Decimal):
        return None
    try:
        return float(value)
    except OverflowError:
        return math.inf  # of either sign: nothing can be that large
    except ValueError:  # a signalling NaN
        return math.nan


def as_whole(value: object) -> int | None:
    """Return a whole number of any kind as an int, 4.0 included; None for all else.

    Examples
    --------
    >>> as_whole(4.0), as_whole(2.5), as_whole("4")
    (4, None, None)
    """
    number = as_number(value)
    if number is None or not (isinstance(value, Integral) or number.is_integer()):
        return None
    return int(value)  # type: ignore[call-overload,no-any-return]


def is_missing(value: object) -> bool:
    """Say whether a value is not there: None, NaN, nothing typed, pandas' NA and NaT."""
    if value is None or isinstance(value, str):
        return not (value and value.strip())
    number = as_number(value)
    if number is not None:
        return math.isnan(number)
    import pandas as pd

    return value is pd.NA or value is pd.NaT


def given_number(value: object, field: str, where: str = "") -> float | None:
    """Return a number as it was given, None where it is missing.

    Raises UnitError: no number.
    """
    if is_missing(value):
        return None
    number = as_number(value)
    if number is None:
        raise UnitError(field, value, "is not a number", DIGITS, where)
    return number


def check_range(
    field: str,
    number: float,
    low: float,
    high: float,
    remedy: str = "",
    where: str = "",
    unit: str = "",
) -> None:
    """Refuse a number that is infinite or lies outside its range, ends included.

    Raises InputError: says the range in `unit`, and the `remedy`.
    """
    if math.isinf(number):
        rule, unit = "must be a finite number", ""
    elif low <= number <= high:
        return
    elif math.isinf(high):
        rule = f"must be at least {low:g}"
    elif math.isinf(low):
        rule = f"must be at most {high:g}"
    else:
        rule = f"must lie between {low:g} and {high:g}"
    raise InputError(field, number, f"{rule} {unit}".rstrip(), remedy, where)
