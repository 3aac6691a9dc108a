"""Constants of control charts, from the distribution of the range of n normal values.

The range W of n standard normal values has the distribution function
F(w) = n ∫ φ(x) [Φ(x + w) − Φ(x)]^(n−1) dx (Tippett 1925, Biometrika 17:364), and
E W = ∫ (1 − F) dw, E W² = 2 ∫ w (1 − F) dw.
"""

import math
from functools import lru_cache

import numpy as np

from kit.errors import InputError

__all__ = ["c4", "d2", "d3", "lower_range_factor", "upper_range_factor"]


@lru_cache(maxsize=32)
def _range_moments(n: int) -> tuple[float, float]:
    """Mean and mean square of the range."""
    from scipy import special

    if n < 2:
        raise InputError("n", n, "must be 2 or more: one value has no range")
    nodes, weights = np.polynomial.legendre.leggauss(160)
    x, at_x = 9.0 * nodes, 9.0 * weights  # beyond nine standard deviations nothing counts
    w, at_w = 9.0 * (nodes + 1), 9.0 * weights
    density = np.exp(-(x**2) / 2) / math.sqrt(2 * math.pi)
    inside = special.ndtr(x + w[:, None]) - special.ndtr(x)
    beyond = 1 - n * (inside ** (n - 1)) @ (at_x * density)
    return float(at_w @ beyond), float(2 * (at_w * w) @ beyond)


def d2(n: int) -> float:
    """Mean range of n values in standard deviations.

    Examples
    --------
    >>> round(d2(2), 6)
    1.128379
    """
    return _range_moments(n)[0]


def d3(n: int) -> float:
    """Standard deviation of the range of n values, in standard deviations.

    Examples
    --------
    >>> round(d3(5), 4)
    0.8641
    """
    mean, square = _range_moments(n)
    return math.sqrt(square - mean**2)


def c4(n: int) -> float:
    """Mean of the standard deviation of n values, in standard deviations.

    Examples
    --------
    >>> round(c4(4), 4)
    0.9213
    """
    if n < 2:
        raise InputError("n", n, "must be 2 or more: one value has no standard deviation")
    return math.sqrt(2 / (n - 1)) * math.exp(math.lgamma(n / 2) - math.lgamma((n - 1) / 2))


def upper_range_factor(n: int) -> float:
    """Three standard deviations above the mean range, as a multiple of it (D4).

    Examples
    --------
    >>> round(upper_range_factor(2), 3)
    3.267
    """
    return 1 + 3 * d3(n) / d2(n)


def lower_range_factor(n: int) -> float:
    """Three standard deviations below the mean range, as a multiple of it; never negative (D3)."""
    return max(0.0, 1 - 3 * d3(n) / d2(n))
