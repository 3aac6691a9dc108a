"""The four answers, from the interval of a difference against zero and against what matters.

=====================================  =============================================
the whole interval lies …              answer
=====================================  =============================================
beyond `matters`, on one side          a difference that matters
within ±`matters`, not across zero     a difference too small to matter
within ±`matters`, across zero         no difference that matters
anywhere else                          cannot tell yet
=====================================  =============================================

The second and third are results of their own (an equivalence test at the interval's level;
Schuirmann 1987, J Pharmacokinet Biopharm 15:657, uses the 90 % interval, this one is stricter),
never "no effect found".
"""

import math
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from kit.analysis.moments import Floats, Integers

__all__ = [
    "MOST_DOUGHS", "Answer", "decide", "decide_each", "more_units", "settled", "sign",
]  # fmt: skip

#: More new doughs than this is no advice for a home series (12 to 24 doughs is what people
#: manage; own estimate, no source).
MOST_DOUGHS = 24
#: Advice is given for a chance of four in five, as plans are.
_OFTEN = 0.8


class Answer(StrEnum):
    """What the bakes say."""

    MATTERS = "a difference that matters"
    SMALL = "a difference too small to matter"
    NONE = "no difference that matters"
    UNCLEAR = "cannot tell yet"

    def told(self, matters: float | None) -> str:
        """The answer in a sentence: where nobody said what matters, a difference is just that."""
        return "a difference" if self is Answer.MATTERS and matters is None else self.value


def decide(low: float, high: float, matters: float | None) -> Answer:
    """Answer from one interval of the difference; a bound that is NaN gives "cannot tell yet".

    Without `matters` (above 0), any difference that is surely not zero counts as mattering, and a
    difference can never be called too small.

    Examples
    --------
    >>> decide(2.1, 5.5, 2.0).value, decide(0.5, 3.0, 2.0).value, decide(-0.9, 1.2, 2.0).value
    ('a difference that matters', 'cannot tell yet', 'no difference that matters')
    """
    return decide_each(np.array([low]), np.array([high]), matters)[0]


def decide_each(low: Floats, high: Floats, matters: float | None) -> list[Answer]:
    """`decide` for many intervals."""
    answers = list(Answer)
    return [answers[i] for i in _codes(low, high, matters)]


def settled(low: Floats, high: Floats, matters: float | None) -> NDArray[np.bool_]:
    """Which of many intervals say something: anything but "cannot tell yet"; see `decide`."""
    return _codes(low, high, matters) < list(Answer).index(Answer.UNCLEAR)


def _codes(low: Floats, high: Floats, matters: float | None) -> Integers:
    """Which of the four answers each interval gives, by its place in `Answer`."""
    margin = matters or 0.0
    unknown = np.isnan(low) | np.isnan(high)
    beyond = (low > margin) | (high < -margin)
    inside = (-margin < low) & (high < margin)
    apart = (low > 0) | (high < 0)
    return np.select([unknown, beyond, inside & apart, inside], [3, 0, 1, 2], 3)


def sign(low: float, high: float) -> int:
    """Whether an interval lies surely above zero (1), surely below (−1), or neither (0)."""
    return int(low > 0) - int(high < 0)


def more_units(
    difference: float,
    se: float,
    df: float,
    critical: float,
    matters: float | None,
    units: int,
    most: int = MOST_DOUGHS,
) -> int | None:
    """How many more doughs (pieces, loads) settle it four times in five, all staying as it is.

    That is: if the true difference and spread are those seen so far. The estimate to come then
    scatters about the present one, so the interval must clear the limits that decide (±`matters`)
    with room to spare (conditional power; Lan & Wittes 1988, Biometrics 44:579). The standard error
    is taken to fall with the square root of the number of doughs and the degrees of freedom to grow
    one for one; the critical value follows Student's t in proportion.

    The interval now is difference ± critical · se, from so many `units`. None when more than `most`
    would be needed: the difference is too close to the limit for a home series to settle.

    Examples
    --------
    >>> more_units(3.0, 0.9, 1e6, 1.96, 1.5, 6)
    9
    """
    from scipy import special

    if not math.isfinite(se):
        return None
    extra, margin = np.arange(most + 1), matters or 0.0
    t = special.stdtrit(df + extra, 0.975)
    then = se * np.sqrt(units / (units + extra))
    half = critical * t / t[0] * then
    sd = then * np.sqrt(np.maximum(extra, 1) / (units + extra))  # of the estimate to come
    beyond = special.ndtr((difference - margin - half) / sd)
    beyond += special.ndtr((-difference - margin - half) / sd)
    inside = special.ndtr((margin - half - difference) / sd)
    inside -= special.ndtr((half - margin - difference) / sd)
    enough = beyond + np.maximum(inside, 0.0) >= _OFTEN
    enough[0] = False
    return int(enough.argmax()) if enough.any() else None
