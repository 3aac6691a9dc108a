"""Sets of doses that fit the bakes: one stretch, several, without end, or every dose.

A ratio of two uncertain numbers, such as where a curve turns, has no honest "plus or minus". Its
set (Fieller 1954, J R Stat Soc B 16:175) holds every value that a test does not reject; where
the curve hardly bends it reaches without end, lies on both sides of a gap, or is everything.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass

from kit import words

__all__ = ["DoseSet", "critical", "fieller", "near"]


@dataclass(frozen=True)
class DoseSet:
    """Stretches of doses, from low to high, that do not touch.

    Parameters
    ----------
    pieces : tuple of (float, float)
        Ends included; infinite where there is no end.

    Examples
    --------
    >>> DoseSet.of([(2.0, 3.0), (0.5, 1.0), (1.0, 1.5)]).pieces
    ((0.5, 1.5), (2.0, 3.0))
    """

    pieces: tuple[tuple[float, float], ...]

    @classmethod
    def of(cls, pieces: Iterable[tuple[float, float]]) -> "DoseSet":
        """Join stretches that overlap or touch."""
        joined: list[tuple[float, float]] = []
        for low, high in sorted(pieces):
            # neighbours on a grid touch but for rounding
            if joined and low <= joined[-1][1] + 1e-9 * abs(joined[-1][1]):
                joined[-1] = joined[-1][0], max(high, joined[-1][1])
            else:
                joined.append((low, high))
        return cls(tuple((float(low), float(high)) for low, high in joined))

    @property
    def bounded(self) -> bool:
        """Whether it ends on both sides."""
        return all(math.isfinite(end) for piece in self.pieces for end in piece)

    def __contains__(self, dose: float) -> bool:
        return any(low <= dose <= high for low, high in self.pieces)

    def within(self, low: float, high: float) -> "DoseSet":
        """Keep the part between two doses."""
        cut = ((max(low, a), min(high, b)) for a, b in self.pieces)
        return DoseSet(tuple((float(a), float(b)) for a, b in cut if a <= b))

    def shifted(self, by: float) -> "DoseSet":
        """Move it along."""
        return DoseSet(tuple((float(a + by), float(b + by)) for a, b in self.pieces))

    def in_words(self, column: str, low: float, high: float) -> str:
        """Tell the part between the lowest and highest dose baked.

        Examples
        --------
        >>> DoseSet(((0.71, 1.2),)).in_words("malt_percent", 0.0, 1.2)
        'from 0.71 % to the highest dose baked, 1.2 %'
        """
        span = (high - low) or 1.0
        told = []
        for a, b in self.within(low, high).pieces:
            first, last = (near(x, span) for x in (a, b))
            if a <= low and b >= high:
                return f"any dose baked, {first:g} to {words.amount(column, last)}"
            if a == b or first == last:
                name = "the lowest dose baked, " if a <= low else ""
                name = "the highest dose baked, " if a >= high else name
                told.append(f"{name}{words.amount(column, last)}")
            elif a <= low:
                lowest, top = words.amount(column, first), words.amount(column, last)
                told.append(f"from the lowest dose baked, {lowest}, to {top}")
            elif b >= high:
                told.append(
                    f"from {words.amount(column, first)} to the highest dose baked, "
                    f"{words.amount(column, last)}"
                )
            else:
                told.append(f"from {first:g} to {words.amount(column, last)}")
        return ", or ".join(told) or "no dose baked"


def near(dose: float, span: float) -> float:
    """Round a dose to about a hundredth of the range baked: finer means nothing.

    Examples
    --------
    >>> near(0.86347, 1.2), near(17.343, 24.0)
    (0.86, 17.3)
    """
    if not math.isfinite(dose):
        return dose
    return round(dose, max(0, 2 - math.floor(math.log10(span))) if span < 100 else 0)


def critical(df: float, level: float) -> float:
    """Student's t that an interval at `level` goes out to."""
    from scipy import special

    return float(special.stdtrit(df, (1 + level) / 2))


def fieller(a: float, b: float, v_a: float, v_ab: float, v_b: float, t: float) -> DoseSet:
    """Every u at which a + b·u may be zero: |a + b·u| ≤ t·SE(a + b·u).

    Parameters
    ----------
    a, b : float
        Estimates.
    v_a, v_ab, v_b : float
        Their variances and covariance.
    t : float
        Critical value.

    Returns
    -------
    DoseSet
        One stretch when b surely differs from zero; else without end, or everything.

    Examples
    --------
    Two uncertain numbers, uncorrelated, each with variance 1, t = 2: 10 − 5u.

    >>> [(round(x, 4), round(y, 4)) for x, y in fieller(10.0, -5.0, 1.0, 0.0, 1.0, 2.0).pieces]
    [(1.3333, 3.4286)]
    >>> fieller(10.0, -1.0, 1.0, 0.0, 1.0, 2.0).bounded
    False
    """
    # with q2·u² + q1·u + q0 ≤ 0
    q2, q1, q0 = b**2 - t**2 * v_b, 2 * (a * b - t**2 * v_ab), a**2 - t**2 * v_a
    inside = q1**2 - 4 * q2 * q0
    if q2 == 0 or inside < 0:
        everything = q2 <= 0 and q0 <= 0
        return DoseSet(((-math.inf, math.inf),) if everything or q2 < 0 else ())
    root = math.sqrt(inside)
    # the form that loses no digits to a difference of like numbers
    half = -(q1 + math.copysign(root, q1)) / 2
    ends = sorted((float(half / q2), float(q0 / half) if half != 0 else 0.0))
    if q2 > 0:
        return DoseSet(((ends[0], ends[1]),))
    return DoseSet(((-math.inf, ends[0]), (ends[1], math.inf)))
