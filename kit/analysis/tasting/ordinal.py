"""Cumulative logit model of scores, with a random shift of the whole scale for each taster.

P(score ≤ k | sample j, taster i) = 1 / (1 + exp(−(θ_k − β_j − σ z_i))), z_i standard normal. The
likelihood of each taster is integrated over z by adaptive Gauss–Hermite quadrature around its own
mode (Liu and Pierce 1994, Biometrika 81:624), with exact slopes at the nodes (Fisher's identity).
McCullagh 1980, J R Stat Soc B 42:109, for the model. Only the order of the scores counts.
"""

import math
from dataclasses import dataclass

import numpy as np

from kit.analysis.moments import Floats, Integers

__all__ = ["Fit", "chance_higher", "fit", "limit"]

_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(15)
#: log odds beyond which more makes no difference: one sample is above the other every time.
FAR = 12.0


@dataclass(frozen=True)
class Fit:
    """A fitted model.

    Parameters
    ----------
    thresholds : float array, shape (scores − 1,)
    effects : float array, shape (samples,)
        Log odds against the first sample.
    sd : float
        Of tasters; 0 where there is no taster.
    log_likelihood : float
    vector : float array
        As the search sees it.
    """

    thresholds: Floats
    effects: Floats
    sd: float
    log_likelihood: float
    vector: Floats


def _logistic(x: Floats) -> Floats:
    from scipy.special import expit

    return np.asarray(expit(x))


def _thresholds(vector: Floats, cuts: int) -> Floats:
    """First threshold, then the logs of the gaps."""
    return np.asarray(vector[0] + np.concatenate([[0.0], np.cumsum(np.exp(vector[1:cuts]))]))


def _minus_log_likelihood(
    vector: Floats, y: Integers, x: Integers, who: Integers | None, cuts: int, samples: int
) -> tuple[float, Floats]:
    """Value and slope; `vector` holds thresholds, effects but the first, and the sd of tasters."""
    theta = np.concatenate([[-np.inf], _thresholds(vector, cuts), [np.inf]])
    effect = np.concatenate([[0.0], vector[cuts : cuts + samples - 1]])
    upper, lower, eta = theta[y + 1], theta[y], effect[x]

    def ends(shift: Floats) -> tuple[Floats, Floats, Floats]:
        up, lo = _logistic(upper[:, None] - shift), _logistic(lower[:, None] - shift)
        # from the nearer side, so that a small chance far out keeps its digits
        other = _logistic(shift - lower[:, None]) - _logistic(shift - upper[:, None])
        inside = np.where(lo > 0.5, other, up - lo)
        return up, lo, np.maximum(inside, 1e-300)

    if who is None:
        z, posterior = np.zeros((1, 1)), np.ones((1, 1))
        up, lo, inside = ends(eta[:, None])
        value = float(np.sum(np.log(inside)))
        mine, sd = np.zeros_like(x), 0.0
    else:
        mine, sd = who, float(vector[-1])
        people = int(who.max()) + 1
        mode: Floats = np.zeros(people)
        curve: Floats = np.ones(people)
        for _ in range(60):
            up, lo, _p = ends((eta + sd * mode[who])[:, None])
            slope = sd * np.bincount(who, (up + lo - 1)[:, 0], people) - mode
            bend = (up * (1 - up) + lo * (1 - lo))[:, 0]
            curve = 1 + sd**2 * np.bincount(who, bend, people)
            step = np.clip(slope / curve, -1.0, 1.0)
            mode = mode + step
            if np.max(np.abs(step)) < 1e-9:
                break
        width = 1 / np.sqrt(curve)
        z = mode[:, None] + width[:, None] * _NODES
        up, lo, inside = ends(eta[:, None] + sd * z[who])
        logs = np.zeros((people, len(_NODES)))
        np.add.at(logs, who, np.log(inside))
        logs += -(z**2) / 2 + _NODES**2 / 2 + np.log(_WEIGHTS)
        top = logs.max(axis=1, keepdims=True)
        each = np.exp(logs - top)
        total = each.sum(axis=1)
        value = float(np.sum(top[:, 0] + np.log(total * width) - 0.5 * math.log(2 * math.pi)))
        posterior = each / total[:, None]
    weight = posterior[mine]
    along = up + lo - 1  # slope of log chance with the linear predictor
    slope = np.zeros(len(vector))
    effects = np.bincount(x, np.sum(weight * along, axis=1), samples)
    slope[cuts : cuts + samples - 1] = effects[1:]
    if who is not None:
        slope[-1] = np.sum(weight * along * z[mine])
    of_cut = np.bincount(y + 1, np.sum(weight * up * (1 - up) / inside, axis=1), cuts + 2)
    of_cut -= np.bincount(y, np.sum(weight * lo * (1 - lo) / inside, axis=1), cuts + 2)
    inner = of_cut[1:-1]
    slope[0] = inner.sum()
    for k in range(1, cuts):
        slope[k] = inner[k:].sum() * math.exp(vector[k])
    return -value, -slope


def fit(
    y: Integers, x: Integers, who: Integers | None, start: Floats | None = None,
    fixed: float | None = None,
) -> Fit:  # fmt: skip
    """Fit by maximum likelihood; always ends (bounded search), also where scores are separated.

    Parameters
    ----------
    y : int array, shape (n,)
        Scores as 0, 1, … without gaps.
    x : int array, shape (n,)
        Samples as 0, 1, …; the first is the reference.
    who : int array, shape (n,), or None
        Tasters as 0, 1, …; None for no random part.
    start : float array, optional
        Where the search begins.
    fixed : float, optional
        Hold the effect of sample 1 at this value.
    """
    from scipy.optimize import minimize

    cuts, samples = int(y.max()), int(x.max()) + 1
    if start is None:
        below = np.array([np.mean(y <= k) for k in range(cuts)])
        logit = np.log(below / (1 - below))
        gaps = np.log(np.maximum(np.diff(logit), 1e-3))
        start = np.concatenate([logit[:1], gaps, np.zeros(samples - 1)])
        if who is not None:
            start = np.append(start, 0.7)
    limits = [(-40.0, 40.0)] + [(-9.0, 4.0)] * (cuts - 1) + [(-FAR, FAR)] * (samples - 1)
    if who is not None:
        limits.append((0.0, 8.0))
    start = np.array(start, dtype=float)
    if fixed is not None:
        start[cuts] = fixed
        limits[cuts] = (fixed, fixed)
    found = minimize(
        _minus_log_likelihood, start, (y, x, who, cuts, samples), jac=True, method="L-BFGS-B",
        bounds=limits, options={"maxiter": 300, "ftol": 1e-10, "gtol": 1e-6},
    )  # fmt: skip
    v = np.asarray(found.x)
    effects = np.concatenate([[0.0], v[cuts : cuts + samples - 1]])
    return Fit(
        _thresholds(v, cuts),
        effects,
        float(v[-1]) if who is not None else 0.0,
        -float(found.fun),
        v,
    )


def limit(
    best: Fit, y: Integers, x: Integers, who: Integers | None, critical: float, side: int
) -> float:
    """End of the profile-likelihood interval of sample 1's effect.

    Parameters
    ----------
    best : Fit
        Of the same data.
    y, x, who
        See `fit`.
    critical : float
        Twice the fall of the log likelihood is its square there.
    side : {-1, 1}

    Returns
    -------
    float
        Infinite where the scores of the two samples do not overlap enough to bound it.
    """
    from scipy.optimize import brentq

    cuts = int(y.max())
    near = float(best.effects[1])
    seen = {near: best}

    def above(value: float) -> float:
        if value not in seen:  # a second search of one value may end a little elsewhere
            closest = min(seen, key=lambda known: abs(known - value))
            seen[value] = fit(y, x, who, seen[closest].vector, value)
        fall = 2 * (best.log_likelihood - seen[value].log_likelihood)
        return float(fall - critical**2)

    assert len(best.vector) > cuts
    step, last = 1.0, near
    if side * near >= FAR - 1e-6:
        return side * math.inf
    while True:
        value = float(np.clip(last + side * step, -FAR, FAR))
        if above(value) > 0:
            break
        if abs(value) >= FAR:
            return side * math.inf
        last, step = value, step * 1.7
    low, high = sorted((last, value))
    return float(brentq(above, low, high, xtol=2e-3))


def chance_higher(model: Fit, difference: float, middle: float) -> float:
    """Chance that one taster scores the first sample above the second; a tie counts half.

    Parameters
    ----------
    model : Fit
    difference : float
        Log odds between the two, may be infinite.
    middle : float
        Mean of their two effects.
    """
    difference = float(np.clip(difference, -2 * FAR, 2 * FAR))
    z, weight = np.polynomial.hermite_e.hermegauss(31)
    cuts = np.concatenate([[-np.inf], model.thresholds, [np.inf]])

    def shares(effect: float) -> Floats:
        below = _logistic(cuts[None, :] - effect - model.sd * z[:, None])
        return np.diff(below, axis=1)

    one, two = shares(middle + difference / 2), shares(middle - difference / 2)
    lower = np.cumsum(two, axis=1) - two / 2
    higher = np.sum(one * lower, axis=1)
    return float(np.sum(higher * weight) / np.sum(weight))
