"""How far an outline's points are off a solid: their noise, weights, and what neighbours share."""

import math

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "TOGETHER", "cost_of", "jitter_of", "near_rms", "no_surer", "noise_of", "run_length",
    "weights_of",
]  # fmt: skip

Array = NDArray[np.float64]

#: neighbours that err together, while the shape is sought
TOGETHER = 8.0
#: an outline, whose edges err together, tells the lens to no less than this share of what was known
#: (own choice: of drawn pieces with shadow and noise nine heights in ten then lay within 95 %)
LEARNT = 0.3


def weights_of(res: Array, spread: Array, noise: float) -> Array:
    """Cauchy weights; 2.385 gives 95 % efficiency on normal noise (Holland and Welsch 1977)."""
    return np.asarray(1 / (1 + (res / (2.385 * noise * spread)) ** 2))


def noise_of(res: Array, spread: Array, floor: float) -> float:
    """From the residuals' size, 1.4826 times their median (normal noise)."""
    return max(float(np.median(np.abs(res / spread))) * 1.4826, floor)


def near_rms(res: Array) -> float:
    """Root mean square of the nearest nine tenths."""
    kept = np.sort(np.abs(res))[: max(1, int(0.9 * len(res)))]
    return float(np.sqrt(np.mean(kept**2)))


def jitter_of(res: Array, spread: Array, floor: float) -> float:
    """From how much neighbours differ: says the noise before the shape is found."""
    apart = np.abs(np.diff(res / spread))
    return max(float(np.median(apart)) * 1.4826 / math.sqrt(2), floor)


def run_length(res: Array) -> float:
    """How many neighbours err together: 1 + 2 Σ autocorrelation until it first falls below 0.1."""
    centred = np.clip(res - np.median(res), *np.quantile(res, [0.05, 0.95]))
    power = float(centred @ centred)
    if power == 0 or len(res) < 12:
        return 1.0
    total = 1.0
    for lag in range(1, len(res) // 6):
        r = float(centred[:-lag] @ centred[lag:]) / power
        if r < 0.1:
            break
        total += 2 * r
    return total


def cost_of(res: Array, spread: Array, noise: float) -> float:
    """Twice the minus log likelihood of residuals with Cauchy's heavy tails."""
    scaled = (res / (2.385 * noise * spread)) ** 2
    return float(2.385**2 * np.log1p(scaled).sum() / TOGETHER)


def no_surer(cov: Array, at: int, known: float) -> Array:
    """A covariance with number `at` told to no less than a share of what was `known` of it.

    What goes with it is as much less sure.
    """
    goes = cov[:, at] / cov[at, at]
    more = max((LEARNT * known) ** 2 - float(cov[at, at]), 0.0)
    return np.asarray(cov + more * np.outer(goes, goes))
