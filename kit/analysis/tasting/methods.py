"""Tests in which a taster must choose: how often a guess is right, and how right follows from d′.

d′ ("d prime") is the distance between two muffins as it is felt, in units of how much one muffin
feels different from bite to bite. The same d′ gives different shares of right answers in
different tests; the functions that say so are those of Thurstonian models:

=========  ====================================================================================
triangle   2 ∫₀^∞ [Φ(−z√3 + d′√⅔) + Φ(−z√3 − d′√⅔)] φ(z) dz
duo-trio   1 − Φ(d′/√2) − Φ(d′/√6) + 2 Φ(d′/√2) Φ(d′/√6)
pair       Φ(d′/√2)
=========  ====================================================================================

Source: Ennis 1993, J Sensory Studies 8:353; Bradley 1963, Biometrics 19:385 (from memory).
"""

import math
from dataclasses import dataclass
from functools import cache

import numpy as np

from kit.analysis.moments import Floats
from kit.errors import NotFoundError

__all__ = ["METHODS", "Method", "chance_right", "d_prime", "method", "slope"]

#: d′ beyond which every test is practically always right.
_MOST = 40.0


@dataclass(frozen=True)
class Method:
    """One kind of test.

    Parameters
    ----------
    name : str
    guess : float
        Chance that a guess is right.
    samples : int
        Muffins on one taster's plate.
    task : str
        What the taster is asked.
    standard : str
        Where it is laid down.
    """

    name: str
    guess: float
    samples: int
    task: str
    standard: str


METHODS = {
    m.name: m
    for m in (
        Method("triangle", 1 / 3, 3, "Two of the three are alike. Tick the odd one.", "ISO 4120"),
        Method(
            "duo-trio", 1 / 2, 3, "Taste the reference first. Tick the one that is like it.",
            "ISO 10399",
        ),
        Method("pair", 1 / 2, 2, "Tick one of the two.", "ISO 5495"),
    )
}  # fmt: skip


def method(name: str) -> Method:
    """Return a test by its name; a wrong one lists those there are."""
    if name not in METHODS:
        raise NotFoundError("tasting method", str(name), METHODS)
    return METHODS[name]


def chance_right(test: str, d: float) -> float:
    """Chance of a right answer at a felt difference.

    Parameters
    ----------
    test : str
        ``"triangle"``, ``"duo-trio"`` or ``"pair"``.
    d : float
        d′, 0 or more.

    Examples
    --------
    >>> [round(chance_right(test, 1.0), 4) for test in ("triangle", "duo-trio", "pair")]
    [0.418, 0.5825, 0.7602]
    """
    from scipy.special import ndtr

    method(test)
    if test == "pair":
        return float(ndtr(d / math.sqrt(2)))
    if test == "duo-trio":
        a, b = ndtr(d / math.sqrt(2)), ndtr(d / math.sqrt(6))
        return float(1 - a - b + 2 * a * b)
    nodes, weights = _on_half_line()
    shift, root = d * math.sqrt(2 / 3), nodes * math.sqrt(3)
    inside = ndtr(shift - root) + ndtr(-shift - root)
    return float(2 * np.sum(weights * inside))


@cache
def _on_half_line() -> tuple[Floats, Floats]:
    """Gauss–Legendre nodes on 0 to 10 with the normal density in the weights."""
    nodes, weights = np.polynomial.legendre.leggauss(120)
    z = 5 * (nodes + 1)
    return z, 5 * weights * np.exp(-(z**2) / 2) / math.sqrt(2 * math.pi)


def d_prime(test: str, right: float) -> float:
    """Felt difference behind a share of right answers: 0 at guessing or below, ∞ at all right.

    Examples
    --------
    >>> round(d_prime("triangle", 10 / 15), 4)
    2.3214
    """
    from scipy.optimize import brentq

    if math.isnan(right):
        return math.nan
    if right <= method(test).guess:
        return 0.0
    if right >= 1 - 1e-12:  # all right, but for rounding
        return math.inf
    return float(brentq(lambda d: chance_right(test, d) - right, 0, _MOST, xtol=1e-10))


def slope(test: str, d: float) -> float:
    """Change of the chance of a right answer with d′, by a central difference."""
    step = 1e-5
    low = max(d - step, 0.0)
    return (chance_right(test, d + step) - chance_right(test, low)) / (d + step - low)
