"""Numbers in and numbers in words: what the formula part asks of a number, and how it shows one."""

import math
from fractions import Fraction

from kit.errors import InputError
from kit.given import as_number, check_range
from kit.units import convert

__all__ = [
    "grams", "letters", "plain", "required", "short", "span", "weight", "whole",
]  # fmt: skip


def required(
    field: str,
    value: object,
    *,
    above: float = -math.inf,
    low: float = -math.inf,
    high: float = math.inf,
    remedy: str = "",
    where: str = "",
) -> float:
    """Return `value` as a finite number inside its limits.

    Parameters
    ----------
    field : str
        Named in the error.
    value : object
        As given.
    above : float
        It must be greater than this.
    low, high : float
        It must not lie outside these.
    remedy, where : str
        For the error.

    Raises
    ------
    InputError
        Missing, no number, not finite, or outside.

    Examples
    --------
    >>> required("flour_g", 0, above=0, remedy="Enter the flour's weight in grams.")
    Traceback (most recent call last):
    kit.errors.InputError: flour_g is 0: must be above 0. Enter the flour's weight in grams.
    """
    number = as_number(value)
    if number is None:
        rule = "must not be empty" if value is None else "must be a number"
        raise InputError(field, value, rule, remedy, where)
    if math.isnan(number):
        raise InputError(field, number, "must not be empty", remedy, where)
    if not number > above and not math.isinf(number):
        raise InputError(field, number, f"must be above {above:g}", remedy, where)
    check_range(field, number, low, high, remedy, where)
    return number


def whole(field: str, value: object, remedy: str = "") -> int:
    """Return `value` as a counting number, 1 to 100 000.

    Raises
    ------
    InputError
        Anything else.
    """
    number = required(field, value, low=1, high=100_000, remedy=remedy)
    if number != int(number):
        raise InputError(field, number, "must be a whole number", remedy)
    return int(number)


def plain(value: float, decimals: int = 2) -> str:
    """Write a number with at most `decimals` places, without trailing zeros.

    Halves go away from zero, as they do on a scale.

    Examples
    --------
    >>> plain(73.60), plain(0.375), plain(-4.0), plain(-0.001)
    ('73.6', '0.38', '−4', '0')
    """
    scaled = Fraction(f"{abs(value):.12g}") * 10**decimals  # 12 digits: 0.375 is not 0.37499…
    rounded = math.floor(scaled + Fraction(1, 2)) / 10**decimals
    text = f"{rounded:.{decimals}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return f"−{text}" if value < 0 and rounded else text


def grams(value_g: float) -> str:
    """Write a weight as a kitchen does: whole tenths, hundredths below 10 g, kilograms never.

    Examples
    --------
    >>> grams(825.499), grams(0.94), grams(250.0)
    ('825.5 g', '0.94 g', '250 g')
    """
    return f"{plain(value_g, 2 if abs(value_g) < 10 else 1)} g"


def weight(value_g: float, unit: str = "g") -> str:
    """Write a weight as a scale shows it, in grams or in ounces.

    Examples
    --------
    >>> weight(249.47, "oz"), weight(249.47)
    ('8.8 oz', '249.5 g')
    """
    return grams(value_g) if unit == "g" else f"{plain(convert(value_g, 'g', unit), 3)} {unit}"


def span(low: float, high: float, unit: str = "") -> str:
    """Write a range, with as many decimals as its width is worth.

    Examples
    --------
    >>> span(0.375, 0.625, "%"), span(0, 0, "%"), span(0.396, 0.404, "%"), span(99.8, 100.2, "%")
    ('0.38 to 0.63 %', '0 %', '0.396 to 0.404 %', '99.8 to 100.2 %')
    """
    decimals = 2
    while decimals < 6 and 0 < high - low < 2 * 10.0**-decimals:
        decimals += 1
    if high >= 10 and high - low >= 0.2:
        decimals = 1
    ends = [plain(low, decimals), plain(high, decimals)]
    text = ends[0] if ends[0] == ends[1] else " to ".join(ends)
    return f"{text} {unit}".strip()


def letters(number: int) -> str:
    """Write a number as doughs are named: A, B … Z, AA, AB … for 1, 2 ….

    Examples
    --------
    >>> letters(1), letters(26), letters(27)
    ('A', 'Z', 'AA')
    """
    said = ""
    while number:
        number, rest = divmod(number - 1, 26)
        said = chr(65 + rest) + said
    return said


def short(name: str) -> str:
    """An ingredient's name as it stands in a sentence: without what follows a comma.

    Examples
    --------
    >>> short("diastatic malt, as the trial says")
    'diastatic malt'
    """
    return name.split(",")[0].strip() or name
