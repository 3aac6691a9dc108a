"""A new dough's curve from what is expected of it and its readings so far.

Importance sampling: draws from a heavy-tailed guess at the posterior (multivariate t about its
mode), weighted by how much more likely the truth makes them, twice, the second time about what
the first found (adaptive importance sampling; Owen, *Monte Carlo theory, methods and examples*,
ch. 10). Seeded, so that the same readings give the same answer.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from kit.analysis.forecast_prior import Expected, ratio
from kit.analysis.moments import Floats

__all__ = ["Draws", "update", "weighted_quantile"]

_DRAWS, _DF = 4000, 4.0
_LogDensity = Callable[[Floats], Floats]


@dataclass(frozen=True)
class Draws:
    """Weighted draws of φ.

    Parameters
    ----------
    phi : array, shape (draws, 3)
    weight : array, shape (draws,)
        Adding up to 1.
    """

    phi: Floats
    weight: Floats

    @property
    def worth(self) -> float:
        """How many independent draws they are worth."""
        return float(1 / (self.weight**2).sum())


def update(
    expected: Expected,
    hours: Floats,
    ratios: Floats,
    u: Floats | None,
    seed: int | np.random.Generator = 1,
) -> Draws:
    """Weigh what is expected by the readings.

    Parameters
    ----------
    expected : Expected
    hours, ratios : array, shape (n,)
        On the clock of the curves. n may be 0.
    u : array, shape (n,), or None
        Standard uncertainties; without them the spread about earlier curves, itself uncertain.
    seed : int or Generator
    """
    from scipy.optimize import minimize

    rng = np.random.default_rng(seed)
    inverse = np.linalg.inv(expected.scale)

    def log_posterior(phi: Floats) -> Floats:
        off = phi - expected.centre
        far = np.einsum("...a,ab,...b->...", off, inverse, off)
        prior = -(expected.df + 3) / 2 * np.log1p(far / expected.df)
        if not len(hours):
            return np.asarray(prior)
        away = ratio(hours, phi[..., None, :]) - ratios
        if u is not None:
            return np.asarray(prior - ((away / u) ** 2).sum(axis=-1) / 2)
        rss = (away**2).sum(axis=-1) / (expected.noise**2 * expected.noise_df)
        return np.asarray(prior - (expected.noise_df + len(hours)) / 2 * np.log1p(rss))

    found = minimize(
        lambda phi: -float(log_posterior(phi)), expected.centre, method="Nelder-Mead",
        options={"maxiter": 600, "xatol": 1e-4, "fatol": 1e-4},
    )  # fmt: skip
    centre, scale = found.x, _curvature(log_posterior, found.x, expected.scale)
    for _ in range(3):
        draws = _weigh(log_posterior, centre, scale, rng)
        centre = draws.weight @ draws.phi
        off = draws.phi - centre
        # a little wider than what was found, so that the tails are not missed
        scale = 1.2 * (off * draws.weight[:, None]).T @ off + 1e-8 * np.eye(3)
    return draws


def _curvature(log_posterior: _LogDensity, mode: Floats, widest: Floats) -> Floats:
    """Inverse of the curvature at the mode; what was expected where that is no use."""
    step = 1e-3 * np.eye(3)
    curve = np.empty((3, 3))
    for i in range(3):
        for j in range(3):
            ends = (
                log_posterior(mode + step[i] + step[j]) + log_posterior(mode - step[i] - step[j])
                - log_posterior(mode + step[i] - step[j]) - log_posterior(mode - step[i] + step[j])
            )  # fmt: skip
            curve[i, j] = -float(ends) / 4e-6
    values, vectors = np.linalg.eigh((curve + curve.T) / 2)
    most = float(np.linalg.eigvalsh(widest).max())
    out: Floats = (vectors / np.maximum(values, 1 / most)) @ vectors.T
    return 1.3 * out


def _weigh(
    log_posterior: _LogDensity, centre: Floats, scale: Floats, rng: np.random.Generator
) -> Draws:
    """Draw from a multivariate t and weigh."""
    root = np.linalg.cholesky(scale)
    normal = rng.standard_normal((_DRAWS, 3))
    stretch = np.sqrt(_DF / rng.chisquare(_DF, _DRAWS))
    phi = centre + (normal * stretch[:, None]) @ root.T
    far = ((normal * stretch[:, None]) ** 2).sum(axis=1)
    log_weight = log_posterior(phi) + (_DF + 3) / 2 * np.log1p(far / _DF)
    weight = np.exp(log_weight - log_weight.max())
    return Draws(phi, weight / weight.sum())


def weighted_quantile(values: Floats, weight: Floats, chance: float) -> float:
    """Quantile of weighted draws; infinite draws count as beyond all others.

    Examples
    --------
    >>> weighted_quantile(np.array([3.0, 1.0, 2.0]), np.array([0.25, 0.25, 0.5]), 0.5)
    2.0
    """
    order = np.argsort(values, kind="stable")
    place = np.cumsum(weight[order]) - weight[order] / 2
    i = int(np.searchsorted(place, chance))
    if i == 0 or i >= len(values):
        return float(values[order[min(i, len(values) - 1)]])
    a, b = (float(values[order[k]]) for k in (i - 1, i))
    if not np.isfinite(b):
        return b
    return a + (b - a) * float((chance - place[i - 1]) / (place[i] - place[i - 1]))
