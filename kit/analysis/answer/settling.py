"""Whether more baking can settle an answer: how much, and with what chance.

Units of the answer (pieces, loads, doughs) are turned into doughs and bakes as they were baked so
far: 24 doughs are a home series, 24 pieces are one bake.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from kit.analysis.verdict import MOST_DOUGHS, settled
from kit.shown import percent

__all__ = ["FUTILE", "After", "chance_in_words", "most_units", "settled_chance"]

#: Below this chance to be settled, going on is hardly worth it (own choice, no source).
FUTILE = 0.10
#: Draws of what may come; a chance is met to ± 1 point.
_DRAWS = 10_000


@dataclass(frozen=True)
class After:
    """The difference once more has been baked.

    Parameters
    ----------
    se, df : float
        Expected standard error and degrees of freedom.
    units : int
        Doughs then (or what else a setting is given to).
    """

    se: float
    df: float
    units: int


def most_units(counts: Mapping[str, int], unit: str) -> int:
    """How many of a unit `MOST_DOUGHS` doughs make, at one bake's rate so far.

    Examples
    --------
    >>> most_units({"bake": 3, "dough": 6, "piece": 36}, "piece")
    144
    >>> most_units({"bake": 3, "dough": 6, "load": 12, "piece": 72}, "load")
    48
    """
    return max(1, round(MOST_DOUGHS * counts[unit] / counts["dough"]))


def settled_chance(
    difference: float, se: float, df: float, then: After, critical: float, matters: float | None
) -> float:
    """Chance that an answer is settled after more bakes.

    A predictive power (Spiegelhalter, Freedman & Blackburn 1986, Control Clin Trials 7:8). With
    nothing known beforehand, the true difference lies about the estimate as Student's t says, and
    the true spread about the estimated one as chi-square says; then the estimate to come is normal
    about the present one with variance se² − se_then², and the spread to come is the present one
    joined by that of the new doughs.

    Parameters
    ----------
    difference, se, df : float
        As now.
    then : After
    critical : float
        Half width of the interval to come, in its standard errors.
    matters : float or None

    Examples
    --------
    >>> settled_chance(0.0, 1.0, 1e9, After(0.5, 1e9, 8), 1.96, matters=100.0)
    1.0
    """
    rng = np.random.default_rng(1986)
    true = df / (2 * rng.standard_gamma(df / 2, _DRAWS))  # variance, in that estimated now
    moved = np.sqrt(true * max(se**2 - then.se**2, 0.0)) * rng.normal(size=_DRAWS)
    new = 2 * rng.standard_gamma(max(then.df - df, 0.0) / 2, _DRAWS)
    half = critical * then.se * np.sqrt((df + new * true) / max(then.df, df))
    low, high = difference + moved - half, difference + moved + half
    return float(settled(low, high, matters).mean())


def chance_in_words(chance: float) -> str:
    """About so much; simulated, so never quite nothing."""
    return "below 1 %" if chance < 0.005 else f"about {percent(chance)}"
