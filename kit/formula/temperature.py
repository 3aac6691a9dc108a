"""How warm the liquid must be for the dough to come out at the temperature wanted.

The rule of the trade takes the dough's temperature as the mean of what goes into it: liquid = n ×
dough − flour − room − friction, with n = 3; with a preferment n = 4 and its temperature is
subtracted too (San Francisco Baking Institute, Artisan I course notes 2009). It weighs water, flour
and air alike, so a balance of heat would not agree exactly. Friction is what mixing adds, a
difference: ×5/9 from °F, without the 32. Printed values run from 5 to 35 °F (Cook's Illustrated,
how-to 5818, by way of mixing), so it is measured by the same rule from one's own records.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from kit.errors import DataError, InputError
from kit.formula.numbers import plain, required
from kit.given import given_number
from kit.shown import InLines
from kit.units import convert, parse

__all__ = [
    "Friction", "LiquidTemperature", "difference_c", "ice_percent", "liquid_temperature",
    "measure_friction",
]  # fmt: skip


@dataclass(frozen=True)
class Friction(InLines):
    """What mixing adds, measured on one's own doughs.

    Parameters
    ----------
    mean_c : float
        Mean of the records, in kelvin (a difference of °C).
    sd_c : float
        Their standard deviation; NaN from a single one.
    values_c : tuple of float
        One a record.
    factors : {3, 4}
        How many temperatures the rule takes.
    left_out : int
        Records in which a temperature was missing.
    """

    mean_c: float
    sd_c: float
    values_c: tuple[float, ...]
    factors: int
    left_out: int

    def __str__(self) -> str:
        count = len(self.values_c)
        text = (
            f"Friction {plain(self.mean_c, 1)} °C (a difference; {plain(self.mean_c * 1.8, 1)} °F)"
        )
        if count == 1:
            text += ", from one dough: how much it varies is not known yet."
        else:
            text += f", standard deviation {plain(self.sd_c, 1)}, from {count} doughs."
        if self.left_out:
            text += f" {self.left_out} left out: a temperature is missing."
        return text

    def to_frame(self) -> pd.DataFrame:
        """One row a record: friction_c."""
        return pd.DataFrame({"friction_c": self.values_c})


def measure_friction(
    dough_temp_c: Sequence[float],
    flour_temp_c: Sequence[float],
    room_temp_c: Sequence[float],
    liquid_temp_c: Sequence[float],
    preferment_temp_c: Sequence[float] | None = None,
) -> Friction:
    """Measure friction from one's own records.

    Parameters
    ----------
    dough_temp_c, flour_temp_c, room_temp_c, liquid_temp_c : sequence of float
        One value a dough, °C; NaN or None where it was not measured.
    preferment_temp_c : sequence of float, optional
        Where a preferment went in, for the rule of four.

    Raises
    ------
    DataError
        Lists of unequal length, or no dough with all its temperatures.

    Examples
    --------
    >>> print(measure_friction([24, 25], [20, 21], [21, 22], [27, 26]))
    Friction 5 °C (a difference; 9 °F), standard deviation 1.4, from 2 doughs.
    """
    given = [dough_temp_c, flour_temp_c, room_temp_c, liquid_temp_c]
    if preferment_temp_c is not None:
        given.append(preferment_temp_c)
    columns = [[given_number(x, "temperature") for x in column] for column in given]
    lengths = {len(column) for column in columns}
    if len(lengths) != 1:
        msg = f"the lists of temperatures are of different lengths: {sorted(lengths)}. "
        raise DataError(msg + "Give one value a dough in each, NaN where none was measured.")
    whole = [row for row in zip(*columns, strict=True) if None not in row]
    if not whole:
        msg = "no dough has all the temperatures that friction needs: dough, flour, room, liquid. "
        raise DataError(msg + "Measure them at the next mixing; one dough is enough to begin with.")
    factors = len(columns) - 1
    values = [factors * row[0] - math.fsum(row[1:]) for row in whole]
    mean = math.fsum(values) / len(values)
    spread = math.nan
    if len(values) > 1:
        spread = math.sqrt(math.fsum((x - mean) ** 2 for x in values) / (len(values) - 1))
    return Friction(mean, spread, tuple(values), factors, len(columns[0]) - len(whole))


def difference_c(given: float | str, field: str = "difference_c") -> float:
    """Read a temperature difference: °F count ×5/9, without the 32.

    Examples
    --------
    >>> difference_c("9 F"), difference_c("5 °C"), difference_c(4.5)
    (5.0, 5.0, 4.5)
    """
    number = parse(given, "°C", field, difference=True)
    return required(field, number, remedy="Enter a difference in °C, or text such as '8 F'.")


#: above this yeast cells die, 55 to 60 °C (Gardiner and Wilson, *The Inquisitive Cook*, 1998)
YEAST_DIES_C = 55.0
#: dissolved yeast is harmed above these, in the same book: dry yeast 41–46 °C, fresh yeast 35 °C
DISSOLVE_DRY_C, DISSOLVE_FRESH_C = 46.0, 35.0
#: colder than this it is said not to touch dry yeast (common practice, no source)
COLD_C = 10.0
_BOOK = "Gardiner and Wilson, The Inquisitive Cook, 1998"
#: melting 1 g of ice takes the heat that cools 1 g of water by 334 / 4.19 K (physical constants)
_ICE_K = 334 / 4.19
_TEMPERATURE = "Enter a number in °C, or text with its unit such as '75 F'."


@dataclass(frozen=True)
class LiquidTemperature(InLines):
    """How warm the liquid must be.

    Parameters
    ----------
    liquid_temp_c : float
        The answer, °C.
    dough_temp_c : float
        Wanted, °C.
    friction_c : float
        Reckoned with, a difference.
    factors : {3, 4}
        Of the rule.
    dough_sd_c : float
        By how much the dough will miss, one standard deviation, as friction varies; NaN where
        that is not known.
    checks : tuple of str
        Where yeast is harmed, with the source.
    """

    liquid_temp_c: float
    dough_temp_c: float
    friction_c: float
    factors: int
    dough_sd_c: float
    checks: tuple[str, ...]

    def __repr__(self) -> str:
        return f"<LiquidTemperature {plain(self.liquid_temp_c, 1)} °C>"

    def __str__(self) -> str:
        text = f"Liquid at {_both(self.liquid_temp_c)} for a dough of {_both(self.dough_temp_c)}"
        if math.isfinite(self.dough_sd_c):
            text += f", give or take {plain(self.dough_sd_c, 1)} °C as your mixing varies"
        return "\n".join([text + ".", *(f"Note: {check}." for check in self.checks)])

    def to_frame(self) -> pd.DataFrame:
        """One row: liquid_temp_c, liquid_temp_f, dough_temp_c, friction_c, factors, dough_sd_c."""
        table = pd.DataFrame([vars(self)]).drop(columns="checks")
        table.insert(1, "liquid_temp_f", convert(self.liquid_temp_c, "°C", "F"))
        return table


def liquid_temperature(
    dough_temp_c: float | str,
    *,
    flour_temp_c: float | str,
    room_temp_c: float | str,
    friction_c: "float | str | Friction",
    preferment_temp_c: float | str | None = None,
) -> LiquidTemperature:
    """Say how warm the liquid must be for a dough of a wanted temperature.

    Parameters
    ----------
    dough_temp_c : float or str
        Wanted. Here and below a number in °C, or text with a unit: ``"75 F"``.
    flour_temp_c, room_temp_c : float or str
        Measured.
    friction_c : float, str or Friction
        What mixing adds: a difference (``"8 F"`` is 4.4 °C), or what `measure_friction` found.
    preferment_temp_c : float or str, optional
        Measured; makes the rule one of four factors.

    Raises
    ------
    InputError
        Liquid below 0 °C (how much ice makes up for it is said) or above 55 °C would be needed,
        or a temperature is missing.

    Examples
    --------
    >>> print(liquid_temperature("75 F", flour_temp_c="65 F", room_temp_c="65 F", friction_c="8 F"))
    Liquid at 30.6 °C (87 °F) for a dough of 23.9 °C (75 °F).
    """
    dough = _read("dough_temp_c", dough_temp_c)
    known = [_read("flour_temp_c", flour_temp_c), _read("room_temp_c", room_temp_c)]
    if preferment_temp_c is not None:
        known.append(_read("preferment_temp_c", preferment_temp_c))
    factors = len(known) + 1
    spread = math.nan
    if isinstance(friction_c, Friction):
        if friction_c.factors != factors:
            rule = f"was measured with {friction_c.factors} factors, asked for with {factors}"
            remedy = "Measure it on doughs made the same way, with or without a preferment."
            raise InputError("friction_c", friction_c.mean_c, rule, remedy)
        friction = friction_c.mean_c
        # the next dough: its own scatter, and that of the mean it is reckoned with
        spread = friction_c.sd_c * math.sqrt(1 + 1 / len(friction_c.values_c)) / factors
    else:
        friction = difference_c(friction_c, "friction_c")
        required("friction_c", friction, low=-20, high=60, remedy="Mostly it is 3 to 19 °C.")
    liquid = factors * dough - math.fsum(known) - friction
    _refuse(liquid, dough, factors)
    return LiquidTemperature(liquid, dough, friction, factors, spread, tuple(_yeast(liquid)))


def ice_percent(liquid_temp_c: float, tap_temp_c: float) -> float:
    """Share of the liquid to add as ice so that it works like liquid of a temperature.

    Parameters
    ----------
    liquid_temp_c : float
        Needed, °C; may lie below 0.
    tap_temp_c : float
        The water there is, °C.

    Returns
    -------
    float
        Per cent of the liquid's weight: (tap − needed) / (tap + 79.7), the heat of melting being
        334 J/g and that of warming water 4.19 J/(g K). 0 where the water is cold enough.

    Raises
    ------
    InputError
        So cold that more than all of it would be ice.

    Examples
    --------
    >>> round(ice_percent(-4, tap_temp_c=15), 1), ice_percent(20, tap_temp_c=15)
    (20.1, 0.0)
    """
    tap = required("tap_temp_c", tap_temp_c, low=0, high=60, remedy="Measure the cold water.")
    needed = required("liquid_temp_c", liquid_temp_c, remedy=_TEMPERATURE)
    share = 100 * max(0.0, tap - needed) / (tap + _ICE_K)
    if share > 100:
        rule = f"must be at least {plain(-_ICE_K, 0)}, what all of it as ice does"
        raise InputError("liquid_temp_c", needed, rule, "Chill the flour as well.")
    return share


def _read(field: str, given: float | str) -> float:
    value = parse(given, "°C", field)
    return required(field, value, low=-30, high=60, remedy=_TEMPERATURE)


def _refuse(liquid_c: float, dough_c: float, factors: int) -> None:
    if liquid_c < -1e-9:
        warm = dough_c - liquid_c / factors
        share = ice_percent(max(liquid_c, -_ICE_K), 0.0)
        ice = f"{plain(share, 0)} % of it as ice, the rest at 0 °C, makes up for it (ice_percent "
        ice += "tells for warmer water)"
        if liquid_c < -_ICE_K:
            ice = "ice alone does not reach it, so chill the flour as well"
        raise InputError(
            "liquid_temp_c",
            round(liquid_c, 2),
            "must be at least 0",
            f"With liquid at 0 °C the dough comes out at {_both(warm)}, "
            f"{plain(warm - dough_c, 1)} °C too warm; {ice}.",
        )
    if liquid_c > YEAST_DIES_C:
        cold = dough_c - (liquid_c - YEAST_DIES_C) / factors
        raise InputError(
            "liquid_temp_c",
            round(liquid_c, 2),
            f"must be at most {YEAST_DIES_C:g}, above which yeast dies ({_BOOK})",
            f"With liquid at {YEAST_DIES_C:g} °C the dough comes out at {_both(cold)}, "
            f"{plain(dough_c - cold, 1)} °C too cold; warm the flour as well.",
        )


def _yeast(liquid_c: float) -> list[str]:
    if liquid_c > DISSOLVE_DRY_C:
        return [
            f"too warm to dissolve yeast in (dry yeast takes 41 to {DISSOLVE_DRY_C:g} °C, fresh "
            f"{DISSOLVE_FRESH_C:g} °C); mix dry yeast into the flour first ({_BOOK})"
        ]
    if liquid_c > DISSOLVE_FRESH_C:
        return [
            f"too warm to dissolve fresh yeast in, which takes {DISSOLVE_FRESH_C:g} °C; dry yeast "
            f"is not harmed ({_BOOK})"
        ]
    if liquid_c < COLD_C:
        return [
            "mix dry yeast into the flour first: dissolved in liquid below 38 °C its cells leak, "
            f"which makes the dough sticky ({_BOOK})"
        ]
    return []


def _both(temp_c: float) -> str:
    return f"{plain(temp_c, 1)} °C ({plain(convert(temp_c, '°C', 'F'), 0)} °F)"
