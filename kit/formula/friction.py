"""Friction: what mixing adds to the dough's temperature, from one's own records.

It is a temperature difference: ×5/9 from °F, without the 32. Printed values run from 5 to 35 °F
(Cook's Illustrated, how-to 5818, by way of mixing), so it is measured: n × (dough reached) − (sum
of the temperatures measured), n being 3, or 4 with a preferment.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from kit.errors import DataError
from kit.formula.numbers import plain, required
from kit.given import given_number
from kit.shown import InLines
from kit.units import parse

__all__ = ["Friction", "difference_c", "measure_friction"]


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
