"""What a scale makes of a weight: its step, and the range that is really achieved.

A scale that shows 2 g in steps of 1 g holds anything from 1.5 to 2.5 g. Rounding is to the step,
half away from zero (common practice, no source). A step of more than 2 % of the
amount is called coarse (common practice, no source).
"""

import math
from dataclasses import dataclass
from fractions import Fraction

from kit.errors import InputError
from kit.formula.numbers import required, span, weight

__all__ = ["Achieved", "Scales", "round_down", "round_to_step", "round_up"]

#: a step that is a larger share of the amount than this is coarse
COARSE = 0.02
_STEP = "It is the smallest change the scale shows, for example 1 or 0.1 g."


def _steps(value_g: float, step_g: float) -> tuple[Fraction, Fraction]:
    """How many steps `value_g` is, and the step, free of binary noise in the twelfth digit."""
    required("scale_step_g", step_g, above=0, remedy=_STEP)
    step = Fraction(f"{step_g:.12g}")
    return Fraction(f"{required('weight_g', value_g):.12g}") / step, step


def round_to_step(value_g: float, step_g: float) -> float:
    """Round to the scale's step, half away from zero.

    Parameters
    ----------
    value_g, step_g : float
        The weight and the smallest change the scale shows.

    Raises
    ------
    InputError
        A step that is not above 0, or a weight that is no number.

    Examples
    --------
    >>> round_to_step(7.5, 1), round_to_step(11.5, 1), round_to_step(-7.5, 1)
    (8.0, 12.0, -8.0)
    >>> round_to_step(2.345, 0.01), round_to_step(63, 5)
    (2.35, 65.0)
    """
    steps, step = _steps(value_g, step_g)
    up = math.floor(abs(steps) + Fraction(1, 2)) * step
    return float(-up if steps < 0 else up)


def round_down(value_g: float, step_g: float) -> float:
    """Largest multiple of the step that is not above `value_g`.

    Examples
    --------
    >>> round_down(87.58, 1), round_down(0.3, 0.1)
    (87.0, 0.3)
    """
    steps, step = _steps(value_g, step_g)
    return float(math.floor(steps) * step)


def round_up(value_g: float, step_g: float) -> float:
    """Smallest multiple of the step that is not below `value_g`.

    Examples
    --------
    >>> round_up(249.2, 1), round_up(0.3, 0.1)
    (250.0, 0.3)
    """
    steps, step = _steps(value_g, step_g)
    return float(math.ceil(steps) * step)


class Achieved:
    """What a weight on a scale really is: its range, and whether the scale is fine enough."""

    percent: float
    planned_g: float
    step_g: float
    low_percent: float
    high_percent: float

    @property
    def coarse(self) -> bool:
        """Whether the scale's step is more than 2 % of the amount."""
        return self.percent > 0 and self.step_g > COARSE * self.planned_g * (1 + 1e-12)

    @property
    def range_percent(self) -> str:
        """The range really achieved, in words: "0.38 to 0.63 %"."""
        return span(self.low_percent, self.high_percent, "%")

    def overlaps(self, other: "Achieved") -> bool:
        """Whether both may really be the same dose."""
        low, high = sorted((self, other), key=lambda one: (one.low_percent, one.high_percent))
        return high.low_percent <= low.high_percent * (1 + 1e-12)


@dataclass(frozen=True)
class Scales:
    """What the kitchen weighs on: one scale, and perhaps a fine one for small amounts.

    Parameters
    ----------
    step_g : float
        Smallest change the scale shows.
    fine_step_g : float or None
        The same of the fine scale, where there is one.
    fine_up_to_g : float
        Most that the fine scale carries.
    unit : {"g", "oz"}
        What the scales show.
    """

    step_g: float
    fine_step_g: float | None = None
    fine_up_to_g: float = 50.0
    unit: str = "g"

    def __post_init__(self) -> None:
        if self.unit not in ("g", "oz"):
            raise InputError("unit", self.unit, "must be 'g' or 'oz'")
        required("scale_step_g", self.step_g, above=0, remedy=_STEP)
        if self.fine_step_g is not None:
            required("fine_step_g", self.fine_step_g, above=0, remedy=_STEP)
            required("fine_up_to_g", self.fine_up_to_g, above=0, remedy=_FINE)

    def step_for(self, weight_g: float) -> float:
        """Step of the scale that an amount is weighed on."""
        if self.fine_step_g is not None and weight_g <= self.fine_up_to_g:
            return self.fine_step_g
        return self.step_g

    def __str__(self) -> str:
        text = f"a scale in steps of {self.say(self.step_g)}"
        if self.fine_step_g is not None:
            most, step = self.say(self.fine_up_to_g), self.say(self.fine_step_g)
            text += f", up to {most} one in steps of {step}"
        return text

    def say(self, weight_g: float) -> str:
        """Write a weight in the unit that the scales show."""
        return weight(weight_g, self.unit)


_FINE = "It is the most that the fine scale carries, in grams."
