"""Units at the edge: what a baker types becomes one metric number, exactly.

Inside the kit every number is metric and its unit stands in its name (`rise_height_mm`). This
module is the only place that knows anything else. Conversions are exact fractions, rounded
once, to the nearest double.

Sources: the inch is 25.4 mm and the pound 453.592 37 g exactly (international yard and pound,
1959); US customary volumes follow from the gallon of 231 cubic inches (NIST SP 811, appendix
B.8, gives the rounded values); °C = (°F − 32) · 5/9. Degrees Windisch-Kolbach from degrees
Lintner: °WK = 3.5 · °L − 16 (handbook of the trade, see `tests/test_units.py`).
"""

import math
import re
from dataclasses import dataclass
from fractions import Fraction

from kit.errors import UnitError
from kit.given import DIGITS, given_number

__all__ = [
    "DIMENSIONS", "Unit", "can_be_kept", "convert", "find_unit", "in_ounces", "parse", "unfold",
    "unit_names",
]  # fmt: skip


@dataclass(frozen=True)
class Unit:
    """One unit: metric value = (typed value + `shift`) × `factor`."""

    symbol: str  # how it is shown
    dimension: str  # key of `DIMENSIONS`; only units of one dimension convert into each other
    factor: Fraction  # to the dimension's metric unit
    names: tuple[str, ...]  # what people type, lower case, without dots
    shift: Fraction = Fraction(0)  # to the dimension's metric unit


#: dimension -> the metric unit everything of that dimension is kept in, and an example
DIMENSIONS = {
    "mass": ("g", "61.4 g or 2 1/8 oz"),
    "length": ("mm", "38 mm or 1 1/2 in"),
    "volume": ("ml", "250 ml or 1 cup"),
    "temperature": ("°C", "40.5 °C or 105 F"),
    "time": ("min, h or d", "90 min, 1 h 30 or 2 d"),
    "percent": ("%", "0.8 %"),
    "malt strength": ("°L", "60 °L"),
    "share": ("", "a plain number such as 2 or 0.35, or 35 %"),
    "plain": ("", "a plain number such as 2"),
    "specific volume": ("ml/g", "3.2 ml/g"),
    "count per area": ("/cm²", "24 /cm²"),
    "area": ("mm²", "1.2 mm²"),
}

_IN = Fraction(254, 10)
_LB = Fraction(45359237, 100000)
_GALLON_ML = 231 * _IN**3 / 1000  # 231 cubic inches


def _u(symbol: str, dimension: str, factor: Fraction | int, *names: str, shift: int = 0) -> Unit:
    return Unit(symbol, dimension, Fraction(factor), names, Fraction(shift))


_UNITS = (
    _u("g", "mass", 1, "g", "gr", "gram", "grams", "gramme", "grammes"),
    _u("kg", "mass", 1000, "kg", "kilo", "kilos", "kilogram", "kilograms"),
    _u("mg", "mass", Fraction(1, 1000), "mg", "milligram", "milligrams"),
    _u("oz", "mass", _LB / 16, "oz", "ounce", "ounces"),
    _u("lb", "mass", _LB, "lb", "lbs", "pound", "pounds"),
    _u("mm", "length", 1, "mm", "millimetre", "millimetres", "millimeter", "millimeters"),
    _u("cm", "length", 10, "cm", "centimetre", "centimetres", "centimeter", "centimeters"),
    _u("m", "length", 1000, "m", "metre", "metres", "meter", "meters"),
    _u("in", "length", _IN, "in", "inch", "inches", '"', "″"),
    _u("ml", "volume", 1, "ml", "cc", "cm3", "cm³", "millilitre", "millilitres", "milliliters"),
    _u("l", "volume", 1000, "l", "litre", "litres", "liter", "liters"),
    _u("tsp", "volume", _GALLON_ML / 768, "tsp", "teaspoon", "teaspoons"),
    _u("tbsp", "volume", _GALLON_ML / 256, "tbsp", "tablespoon", "tablespoons"),
    _u("fl oz", "volume", _GALLON_ML / 128, "fl oz", "floz", "fluid ounce", "fluid ounces"),
    _u("cup", "volume", _GALLON_ML / 16, "cup", "cups"),
    _u("°C", "temperature", 1, "c", "°c", "°", "deg c", "degc", "degree c", "degrees c", "celsius"),
    _u(
        "°F",
        "temperature",
        Fraction(5, 9),
        "f",
        "°f",
        "deg f",
        "degf",
        "degree f",
        "degrees f",
        "fahrenheit",
        shift=-32,
    ),
    _u("min", "time", 1, "min", "mins", "minute", "minutes", "'", "′"),
    _u("h", "time", 60, "h", "hr", "hrs", "hour", "hours"),
    _u("s", "time", Fraction(1, 60), "s", "sec", "secs", "second", "seconds"),
    _u("d", "time", 1440, "d", "day", "days"),
    _u("%", "percent", 1, "%", "percent", "per cent", "pct"),
    _u("°L", "malt strength", 1, "°l", "l°", "lintner", "deg lintner", "°lintner"),
    _u("°WK", "malt strength", Fraction(2, 7), "°wk", "wk", "windisch-kolbach", shift=16),
    _u("%", "share", Fraction(1, 100), "%", "percent", "per cent", "pct"),
    _u("×", "share", 1, "×", "x", "times", "fold"),
    _u("ml/g", "specific volume", 1, "ml/g", "cm3/g", "cm³/g", "cc/g"),
    _u("/cm²", "count per area", 1, "/cm²", "/cm2", "per cm2", "per cm²"),
    _u("mm²", "area", 1, "mm²", "mm2", "square millimetres", "square millimeters"),
    _u("cm²", "area", 100, "cm²", "cm2", "square centimetres", "square centimeters"),
)
_BY_NAME: dict[str, list[Unit]] = {}
for _unit in _UNITS:
    for _name in _unit.names:
        _BY_NAME.setdefault(_name, []).append(_unit)

#: by symbol; the first where two dimensions share one, as % does
_BY_SYMBOL = {unit.symbol: unit for unit in reversed(_UNITS)}

_VULGAR = {
    "½": "1/2", "⅓": "1/3", "⅔": "2/3", "¼": "1/4", "¾": "3/4", "⅕": "1/5", "⅖": "2/5",
    "⅗": "3/5", "⅘": "4/5", "⅙": "1/6", "⅚": "5/6", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8",
}  # fmt: skip
#: as telephones and Spanish keyboards write them, and what pasting leaves behind unseen
_ALIKE = str.maketrans({"º": "°", "˚": "°", "℃": "°C", "℉": "°F", "⁄": "/", **dict.fromkeys(
    "\u200b\ufeff\u200e\u200f"
)})  # fmt: skip
_NUMBER = re.compile(
    r"""(?P<sign>[+\-−]?)\s*
        (?: (?P<whole>\d+)[\s\-]+(?P<n1>\d+)\s*/\s*(?P<d1>\d+)      # 3 1/2
          | (?P<n2>\d+)\s*/\s*(?P<d2>\d+)                           # 1/4
          | (?P<plain>\d+(?:[.,]\d*)?|[.,]\d+)(?P<exp>[eE][+\-]?\d+)?(?![.,]?\d) )  # 2,5
        \s*""",
    re.VERBOSE,
)


def unit_names(*dimensions: str) -> list[str]:
    """Return what people call the units of some dimensions, the longest first.

    Examples
    --------
    >>> unit_names("mass")[:2]
    ['milligrams', 'kilograms']
    """
    names = {name for unit in _UNITS if unit.dimension in dimensions for name in unit.names}
    return sorted(names, key=lambda name: (-len(name), name))


def unfold(text: str) -> str:
    """Write fractions that are one sign with digits, squares and cubes as one sign, degrees as °.

    Examples
    --------
    >>> unfold("8½ oz"), unfold("150 cm3"), unfold("40 ℃")
    ('8 1/2 oz', '150 cm³', '40 °C')
    """
    text = text.translate(_ALIKE)
    text = re.sub(r"(?i)(?<![a-z])([cm]m)([23])\b", lambda m: m[1] + "²³"[int(m[2]) - 2], text)
    for sign, plain in _VULGAR.items():
        text = text.replace(sign, " " + plain)
    return text


def in_ounces(text: str) -> bool:
    """Whether a weight was typed in ounces or pounds.

    Examples
    --------
    >>> in_ounces("0.1 oz"), in_ounces("1/4 lb."), in_ounces("1 g"), in_ounces("")
    (True, True, False, False)
    """
    return re.search(r"(?<![^\W\d])(?:oz|ounces?|lbs?|pounds?)\b", text.lower()) is not None


def find_unit(name: str, dimension: str, field: str = "value") -> Unit:
    """Return the unit a person means by `name`, which must be of `dimension`.

    Raises
    ------
    UnitError
        The unit is unknown, or measures something else.

    Examples
    --------
    >>> find_unit("inches", "length").symbol
    'in'
    """
    clean = re.sub(r"\s+", " ", name.strip().lower().rstrip(".")).replace("° ", "°")
    found = _BY_NAME.get(clean, [])
    for unit in found:
        if unit.dimension == dimension:
            return unit
    metric, example = DIMENSIONS[dimension]
    wanted = dimension if metric else "no unit"
    if found:
        rule = f"{found[0].symbol} measures {found[0].dimension}, expected {wanted}"
    else:
        rule = f"has an unknown unit, expected {wanted}"
    remedy = f"Write it in {metric}, for example {example}." if metric else f"Write {example}."
    if dimension == "percent" and found and found[0].dimension in ("mass", "volume"):
        remedy = "It is a share of the flour: 2.5 g to 500 g of flour is 0.5 %."
        if found[0].dimension == "volume":
            remedy = f"Weigh one {found[0].symbol} of it once. {remedy}"
    raise UnitError(field, name, rule, remedy)


def _dimension_of(unit: str) -> tuple[str, Fraction]:
    """Dimension of a quantity's unit and its size in that dimension's metric unit.

    A unit that is in no table is a dimension of its own ("own"): nothing converts into it.
    """
    known = _BY_SYMBOL.get(unit)
    if known is None:
        return "own" if unit else "plain", Fraction(1)
    return known.dimension, known.factor


def can_be_kept(unit: str) -> bool:
    """Say whether a quantity may have this unit: not where zero lies elsewhere, as °F has it."""
    known = _BY_SYMBOL.get(unit)
    return known is None or not known.shift


def _read_number(text: str, field: str, original: str, where: str) -> tuple[Fraction, str]:
    """Read one number off the front of `text`; return it and what is left."""
    match = _NUMBER.match(text)
    if match is None:
        raise UnitError(field, original, "is not a number", DIGITS, where)
    part = match.groupdict()
    if part["plain"] is not None:
        if re.fullmatch(r"[1-9]\d{0,2},\d{3}", part["plain"]):
            digits = part["plain"]
            raise UnitError(
                field,
                original,
                "could mean two numbers",
                f"Write {digits.replace(',', '.')} or {digits.replace(',', '')}.",
                where,
            )
        exponent = part["exp"] or ""
        if exponent and not -400 < int(exponent[1:]) < 300:
            raise UnitError(field, original, "is too large or too small a number", where=where)
        value = Fraction(part["plain"].replace(",", ".") + exponent)
    else:
        numerator, denominator = part["n1"] or part["n2"], part["d1"] or part["d2"]
        if int(denominator) == 0:
            raise UnitError(field, original, "divides by zero", DIGITS, where)
        value = Fraction(int(part["whole"] or 0)) + Fraction(int(numerator), int(denominator))
    return (-value if part["sign"] in "-−" and part["sign"] else value), text[match.end() :]


def parse(
    text: str | float | None,
    unit: str,
    field: str = "value",
    where: str = "",
    difference: bool = False,
) -> float | None:
    """Read what a person typed as one number in `unit`.

    Fractions, decimal commas, implied and compound units are understood: ``105 F``,
    ``1/4 oz``, ``3 1/2 in``, ``2,5``, ``1 lb 4 oz``, ``1 h 30``, ``1:30`` (hours and minutes).
    A bare number is in `unit`. Nothing typed is missing: ``None``, never 0.

    Parameters
    ----------
    text : str, float or None
        As typed. Numbers are taken as they are, NaN as missing.
    unit : str
        The unit the quantity is kept in: a metric unit of `DIMENSIONS`, ``"h"``, one of the
        user's own (``"N"``), or ``""`` for a plain number.
    field, where : str
        Named in the error.
    difference : bool
        The number is a difference: degrees count, their zero does not (2 °F are 1.1 °C).

    Returns
    -------
    float or None
        The exact conversion, rounded once.

    Raises
    ------
    UnitError
        Not a number, an unknown unit, one of another dimension, or a number that can be read
        in two ways (``1,050``).

    Examples
    --------
    >>> parse("105 F", "°C"), parse("3 1/2 in", "mm"), parse("2,5", "%")
    (40.55555555555556, 88.9, 2.5)
    >>> parse("1 h 30", "min"), parse("5 min 30", "min"), parse("17 h 20", "h"), parse("", "g")
    (90.0, 5.5, 17.333333333333332, None)
    """
    if text is None:
        return None
    if not isinstance(text, str):
        number = given_number(text, field, where)
        if number is not None and math.isinf(number):
            raise UnitError(field, text, "is not a finite number", where=where)
        return number
    rest = unfold(text).strip()
    if rest == "":
        return None
    if len(rest) > 100:  # no number a baker writes; keeps the arithmetic small
        raise UnitError(field, text, "is too long to be a number", where=where)
    dimension, size = _dimension_of(unit)
    if dimension == "time" and (clock := re.fullmatch(r"(\d+):([0-5]\d)", rest)):
        return float((int(clock[1]) * 60 + int(clock[2])) / size)

    if dimension == "own":
        rest = rest.removesuffix(unfold(unit)).rstrip()
    total, last = Fraction(0), None
    minus = rest[:1] in ("-", "−")  # of all that follows: −2 lb 3 oz
    while rest:
        value, rest = _read_number(rest, field, text, where)
        name = re.match(r"[^\d+\-−.,][^\d+−]*", rest)
        if name is None and rest:
            raise UnitError(field, text, "is not a number", DIGITS, where)
        rest = rest[name.end() :] if name else ""
        if name is None and last is None:
            total = value * size  # a bare number is in the quantity's own unit
        elif name is None and last is not None and last.symbol in ("h", "min"):
            more = value if last.symbol == "h" else value / 60  # "1 h 30", "5 min 30"
            total += -more if minus else more
        elif name is None:
            rule = "has a number without a unit at the end"
            raise UnitError(field, text, rule, "Write its unit as well.", where)
        else:
            said = name[0].strip()
            if last is not None and last.symbol == "h" and said.lower().rstrip(".") == "m":
                said = "min"  # metres do not follow hours
            try:
                found = find_unit(said, _named(dimension), field)
            except UnitError as exc:
                told = (exc.rule, exc.remedy)
                if dimension == "own":
                    told = (f"must be in {unit}", f"Write for example 2 {unit}.")
                raise UnitError(field, text, *told, where) from exc
            if last is not None and (found.shift or found.factor >= last.factor or value < 0):
                rule = "has units in an order that cannot be added"
                raise UnitError(field, text, rule, "Write the larger one first.", where)
            more = (value if difference else value + found.shift) * found.factor
            total += -more if minus and last is not None else more
            last = found
    return float(total / size)


def _named(dimension: str) -> str:
    """Units may be typed for a share ("2 ×"); a plain number takes the same signs."""
    return {"plain": "share", "own": "plain"}.get(dimension, dimension)


def convert(value: float, unit: str, to: str) -> float:
    """Show a kept value in another unit, e.g. ``convert(40.5, "°C", "F")``.

    Examples
    --------
    >>> round(convert(200.0, "°C", "F"), 6), round(convert(88.9, "mm", "in"), 6)
    (392.0, 3.5)
    """
    dimension, size = _dimension_of(unit)
    target = find_unit(to, dimension)
    return float(Fraction(value) * size / target.factor - target.shift)
