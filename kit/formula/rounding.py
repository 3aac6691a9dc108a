"""What a scale makes of a weight: its step, and the range that is really achieved.

A scale that shows 2 g in steps of 1 g holds anything from 1.5 to 2.5 g. Rounding is to the step,
half away from zero (common practice, no source). A step of more than 2 % of the
amount is called coarse (common practice, no source).
"""

import math
from dataclasses import dataclass
from fractions import Fraction

import pandas as pd

from kit.errors import InputError
from kit.formula.numbers import grams, plain, required, span, weight
from kit.shown import InLines

__all__ = ["Achieved", "Dose", "Scales", "dose", "round_down", "round_to_step", "round_up"]

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
class Dose(InLines, Achieved):
    """One amount as planned, as weighed, and as it may really be.

    Parameters
    ----------
    percent : float
        Planned, of the flour's weight.
    flour_g : float
        Flour it is a share of.
    step_g : float
        Of the scale it is weighed on.
    shown_g : float
        What the scale is to show.
    """

    percent: float
    flour_g: float
    step_g: float
    shown_g: float

    @property
    def planned_g(self) -> float:  # type: ignore[override]  # reckoned here
        """Exact weight."""
        return self.percent * self.flour_g / 100

    @property
    def low_g(self) -> float:
        """Least that may lie on the scale: half a step below, never below nothing."""
        return max(0.0, self.shown_g - self.step_g / 2) if self.percent else 0.0

    @property
    def high_g(self) -> float:
        """Most that may lie on the scale: half a step above. What is left out is really 0."""
        return self.shown_g + self.step_g / 2 if self.percent else 0.0

    @property
    def low_percent(self) -> float:  # type: ignore[override]  # reckoned here
        """Least dose really achieved, in % of the flour."""
        return 100 * self.low_g / self.flour_g

    @property
    def high_percent(self) -> float:  # type: ignore[override]  # reckoned here
        """Greatest dose really achieved, in % of the flour."""
        return 100 * self.high_g / self.flour_g

    @property
    def vanishes(self) -> bool:
        """Whether something is wanted and the scale shows nothing."""
        return self.percent > 0 and self.shown_g == 0

    def __str__(self) -> str:
        if self.percent == 0:
            return f"0 % of {grams(self.flour_g)} flour: left out."
        text = (
            f"{plain(self.percent)} % of {grams(self.flour_g)} flour is {grams(self.planned_g)}; "
            f"on a scale in steps of {grams(self.step_g)} weigh {grams(self.shown_g)}, "
            f"really {self.range_percent}."
        )
        return text + (" The scale shows nothing so small." if self.vanishes else "")

    def to_frame(self) -> pd.DataFrame:
        """One row: percent, flour_g, planned_g, shown_g, step_g and the range in g and %."""
        names = ("percent", "flour_g", "planned_g", "shown_g", "step_g", "low_g", "high_g")
        return pd.DataFrame(
            [{name: getattr(self, name) for name in (*names, "low_percent", "high_percent")}]
        )


def dose(percent: float, flour_g: float, scale_step_g: float) -> Dose:
    """Weigh out a share of the flour's weight on a scale with steps.

    Parameters
    ----------
    percent : float
        Of the flour's weight.
    flour_g : float
        Weight of all flours. Its own half step is not counted: it changes the dose by well under
        a hundredth of itself.
    scale_step_g : float
        Smallest change the scale shows.

    Returns
    -------
    Dose
        With the range really achieved: shown ± half a step, as a share of the flour.

    Raises
    ------
    InputError
        A dose below 0, no flour, or a step that is none.

    Examples
    --------
    >>> print(dose(0.5, 400, 1))
    0.5 % of 400 g flour is 2 g; on a scale in steps of 1 g weigh 2 g, really 0.38 to 0.63 %.
    """
    share = required("percent", percent, low=0, high=1000, remedy="Enter it in % of the flour.")
    flour = required("flour_g", flour_g, above=0, remedy="Enter the flour's weight in grams.")
    return Dose(share, flour, scale_step_g, round_to_step(share * flour / 100, scale_step_g))


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
