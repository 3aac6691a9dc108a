"""How many times its first volume a dough is: from a container's level, a ball, or two marks.

One quantity by three roads. Geometry only: a volume goes with the cube of a length where the
shape stays the same, and with the height where the walls are straight.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd

from kit.errors import InputError
from kit.photo.arguments import above_0, check_kind
from kit.photo.sides.jar import JAR, Jar
from kit.photo.value import Value, combined
from kit.shown import Telling, Told

__all__ = ["DOUBLE", "ProofRatio", "ratio_from_level", "ratio_from_marks", "ratio_of_volumes"]

#: Said on every screen that shows a ratio. 1.26 is the cube root of 2.
DOUBLE = (
    "Double is double the volume: about 1.26 times as high where the shape stays the same, 2 times "
    "as high in a ring or a straight jar"
)
#: How alike parts of uncertainty err in two photos of one camera and reference, as correlations
#: (own choice); all others are the same in both. How far blur and shading shift an edge goes with
#: what lies behind it, and a rising dough hides other ground. Whether a jar's own foot was taken
#: for the dough's is one answer for all photos of a jar that stays where it is.
ALIKE = {"fit": 0.0, "edge": 0.0, "marking": 0.8}


@dataclass(frozen=True)
class ProofRatio(Told):
    """A dough's volume over its first volume.

    Parameters
    ----------
    ratio : Value
    method : str
        "level", "volumes" or "marks".
    checks : tuple of str
        When it holds, and what double means.
    """

    ratio: Value
    method: str
    checks: tuple[str, ...]

    @property
    def headline(self) -> str:
        """The number."""
        low, high = self.ratio.interval(0.95)
        return f"{self.ratio.value:.2f} times the first volume ({low:.2f} to {high:.2f})."

    def __repr__(self) -> str:
        return f"<ProofRatio {self.ratio} by {self.method}>"

    def tells(self) -> Telling:
        """What it says."""
        return Telling(self.headline, (), self.checks)

    def to_frame(self) -> pd.DataFrame:
        """One row: quantity, value, u, low, high (95 %), method."""
        low, high = self.ratio.interval(0.95)
        row = ("proof_ratio", self.ratio.value, self.ratio.u, low, high, self.method)
        return pd.DataFrame([row], columns=["quantity", "value", "u", "low", "high", "method"])


def ratio_from_level(
    jar: Jar, level_mm_first: float, level_mm_now: float, u_level_mm: float = 1.0
) -> ProofRatio:
    """Return the ratio from a container's level at the start and now.

    Parameters
    ----------
    jar : Jar
        Straight or with a profile.
    level_mm_first, level_mm_now : float
        Over the inside bottom.
    u_level_mm : float
        Standard uncertainty of either reading (1 mm by a ruler on the glass: own guess).

    Raises
    ------
    InputError
        A level that is not above 0 or is above the rim.

    Examples
    --------
    >>> round(ratio_from_level(Jar(80), 40, 84).ratio.value, 3)
    2.1
    """
    check_kind("jar", jar, Jar, JAR)
    above_0("level_mm_first", level_mm_first, "From the inside bottom.")
    u_level_mm = above_0("u_level_mm", u_level_mm, least=True)
    first, now = jar.volume_ml(level_mm_first), jar.volume_ml(level_mm_now)
    ratio = now / first
    parts = {
        "level now": jar.area_mm2(level_mm_now) / 1000 / first * u_level_mm,
        "first level": ratio * jar.area_mm2(level_mm_first) / 1000 / first * u_level_mm,
    }
    told = (
        "a level is read where the dough meets the wall: a dome above it counts for nothing here, "
        "so read both times with the top as flat or as domed"
    )
    return ProofRatio(combined(ratio, "", **parts), "level", (told, DOUBLE))


def ratio_from_marks(
    first_mm: float, now_mm: float, u_first_mm: float = 0.5, u_now_mm: float = 0.5
) -> ProofRatio:
    """Return the ratio from how far two marks on the dough lie apart: the cube of their ratio.

    It holds where the dough swells alike in all directions, so not for a ball that slumps, nor in
    a jar or a ring.

    Parameters
    ----------
    first_mm, now_mm : float
        Distance of the marks at the start and now (any unit, the same for both).
    u_first_mm, u_now_mm : float
        Standard uncertainties.

    Raises
    ------
    InputError
        A distance that is not above 0.

    Examples
    --------
    >>> round(ratio_from_marks(50, 63).ratio.value, 2)
    2.0
    """
    first_mm = above_0("first_mm", first_mm, "Measure the same two marks.")
    now_mm = above_0("now_mm", now_mm, "Measure the same two marks.")
    u_first_mm = above_0("u_first_mm", u_first_mm, least=True)
    u_now_mm = above_0("u_now_mm", u_now_mm, least=True)
    if not 1e-3 < now_mm / first_mm < 1e3:
        rule = f"must be in the unit of first_mm, {first_mm:g}"
        raise InputError("now_mm", now_mm, rule, "Measure the same two marks.")
    ratio = (now_mm / first_mm) ** 3
    parts = {"now": 3 * ratio * u_now_mm / now_mm, "first": 3 * ratio * u_first_mm / first_mm}
    told = (
        "holds when the dough swells alike in all directions; a ball that slumps or a dough in a "
        "jar does not",
        "measure the marks from the same place, square-on",
    )
    return ProofRatio(combined(ratio, "", **parts), "marks", (*told, DOUBLE))


def ratio_of_volumes(
    first: float,
    now: float,
    first_parts: Mapping[str, float],
    now_parts: Mapping[str, float],
    shared: bool,
) -> Value:
    """Return the ratio of two volumes; what errs alike in both cancels.

    Parameters
    ----------
    first, now : float
        Volumes, ml.
    first_parts, now_parts : mapping of str to float
        Signed standard uncertainties by cause, ml (`Side.signed`).
    shared : bool
        Both were seen by one camera against one reference that did not move: what errs alike in
        both by `ALIKE` cancels.

    Examples
    --------
    >>> ratio_of_volumes(100, 200, {"scale": 3, "fit": 1}, {"scale": 6, "fit": 2}, True)
    Value(2.000 ± 0.028)
    """
    ratio = now / first
    parts: dict[str, float] = {}
    for name in {**first_parts, **now_parts}:
        a, b = first_parts.get(name, 0.0) / first, now_parts.get(name, 0.0) / now
        alike = ALIKE.get(name, 1.0) if shared else 0.0
        parts[name] = ratio * math.sqrt(max(a * a + b * b - 2 * alike * a * b, 0.0))
    return combined(ratio, "", **parts)
