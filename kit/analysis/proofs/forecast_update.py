"""A new dough's curve from what is expected of it and its readings so far.

Each shape of curve counts by how likely it makes the readings, of earlier doughs and of this one
(Bayesian model averaging; Hoeting, Madigan, Raftery & Volinsky 1999, Stat Sci 14:382).

Importance sampling: draws from a heavy-tailed guess at the posterior (multivariate t about its
mode), weighted by how much more likely the truth makes them, twice, the second time about what
the first found (adaptive importance sampling; Owen, *Monte Carlo theory, methods and examples*,
ch. 10). Seeded, so that the same readings give the same answer.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from kit.analysis.moments import Floats
from kit.analysis.proofs.forecast_prior import Expected, double, ratio
from kit.analysis.proofs.models import Shape

__all__ = ["Draws", "Mixture", "update", "weighted_quantile"]

#: Draws, and the degrees of freedom of what they are drawn from.
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
    shape : Shape
    log_evidence : float
        Of the shape, but for what is the same for all shapes.
    """

    phi: Floats
    weight: Floats
    shape: Shape
    log_evidence: float

    @property
    def worth(self) -> float:
        """How many independent draws they are worth."""
        return float(1 / (self.weight**2).sum())


class Mixture:
    """Draws of several shapes, each weighed by its evidence.

    Attributes
    ----------
    weight : array, shape (draws of all shapes,)
        Adding up to 1.
    """

    def __init__(self, draws: Sequence[Draws]) -> None:
        self._draws = draws
        log = np.array([d.log_evidence for d in draws])
        share = np.exp(log - log.max())
        share /= share.sum()
        self.weight: Floats = np.concatenate(
            [s * d.weight for s, d in zip(share, draws, strict=True)]
        )

    def double(self) -> Floats:
        """Hours to double of every draw."""
        return np.concatenate([double(d.phi, d.shape) for d in self._draws])

    def ratio(self, hours: Floats) -> Floats:
        """Proof ratio of every draw, shape (draws, hours)."""
        return np.concatenate([ratio(hours, d.phi[:, None, :], d.shape) for d in self._draws])


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
        away = ratio(hours, phi[..., None, :], expected.shape) - ratios
        if u is not None:
            return np.asarray(prior - ((away / u) ** 2).sum(axis=-1) / 2)
        rss = (away**2).sum(axis=-1) / (expected.noise**2 * expected.noise_df)
        return np.asarray(prior - (expected.noise_df + len(hours)) / 2 * np.log1p(rss))

    found = minimize(
        lambda phi: -float(log_posterior(phi)), expected.centre, method="Nelder-Mead",
        options={"maxiter": 600, "xatol": 1e-4, "fatol": 1e-4},
    )  # fmt: skip
    centre, scale = found.x, _curvature(log_posterior, found.x, expected.scale)
    # what normalises the prior, and the likelihood where the spread of readings is the shape's own
    constant = expected.log_evidence - np.linalg.slogdet(expected.scale)[1] / 2
    constant -= len(hours) * np.log(expected.noise) if u is None else 0.0
    for _ in range(3):
        phi, weight, log_mean = _weigh(log_posterior, centre, scale, rng)
        draws = Draws(phi, weight, expected.shape, float(constant + log_mean))
        centre = weight @ phi
        off = phi - centre
        # a little wider than what was found, so that the tails are not missed
        scale = 1.2 * (off * weight[:, None]).T @ off + 1e-8 * np.eye(3)
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
) -> tuple[Floats, Floats, float]:
    """Draw from a multivariate t and weigh: draws, weights, log of the mean weight."""
    root = np.linalg.cholesky(scale)
    normal = rng.standard_normal((_DRAWS, 3))
    stretch = np.sqrt(_DF / rng.chisquare(_DF, _DRAWS))
    phi = centre + (normal * stretch[:, None]) @ root.T
    far = ((normal * stretch[:, None]) ** 2).sum(axis=1)
    log_weight = log_posterior(phi) + (_DF + 3) / 2 * np.log1p(far / _DF)
    weight = np.exp(log_weight - log_weight.max())
    log_mean = log_weight.max() + np.log(weight.mean()) + np.log(np.diag(root)).sum()
    return phi, weight / weight.sum(), float(log_mean)


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
