"""The restricted likelihood of many trials, without an n×n matrix, and its slopes.

Formulas: Searle, Casella & McCulloch (1992), *Variance Components*, ch. 6.
"""

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from kit.analysis.model.blocks import Batch, Blocks, Strata
from kit.analysis.moments import Floats, Integers

__all__ = [
    "SMALLEST", "Point", "information_of", "joined", "point", "slopes", "some_of", "spread_of",
    "sums",
]  # fmt: skip

#: A component below zero may shrink the spread of group sums to this share of the pieces' own:
#: two doughs whose rounded means happen to agree must not make a difference look certain.
SMALLEST = 1e-3
#: Beyond this ratio the pieces' own spread is lost in rounding: none is left to be seen.
_LARGEST = 1e14


@dataclass(frozen=True)
class Point:
    """The restricted likelihood, profiled over σ², at one set of variance ratios a trial.

    With H = V/σ², λ = σ_k²/σ² and components 1…K and the residual last:
    ``m`` = [X y]ᵀH⁻¹[X y], ``g[i]`` = [X y]ᵀH⁻¹U_iH⁻¹[X y],
    ``q[i, j]`` = [X y]ᵀH⁻¹U_iH⁻¹U_jH⁻¹[X y], ``t[i]`` = tr H⁻¹U_i, ``tt[i, j]`` = tr H⁻¹U_iH⁻¹U_j.
    The criterion is infinite where the covariance is not positive definite.
    """

    ratio: Floats
    criterion: Floats
    sigma2: Floats
    beta: Floats
    a_inverse: Floats
    m: Floats
    g: Floats
    q: Floats
    t: Floats
    tt: Floats


def point(blocks: Blocks, ratio: Floats, derivatives: bool = True) -> Point:
    """Evaluate at variance ratios of shape (T, K)."""
    bad = _impossible(blocks, ratio)
    m, g, q, t, tt, logdet = sums(blocks, np.where(bad[:, None], 0.0, ratio), derivatives)
    p = blocks.rank
    a = m[:, :p, :p]
    sign, log_a = np.linalg.slogdet(a)
    bad |= sign <= 0  # of pieces next to certain the settings are seen no more
    a_inverse = np.linalg.inv(np.where(bad[:, None, None], np.eye(p), a))
    beta = np.einsum("tij,tj->ti", a_inverse, m[:, :p, p])
    rss = m[:, p, p] - np.einsum("ti,ti->t", m[:, p, :p], beta)
    df = blocks.n - p
    bad |= rss <= 0
    sigma2 = np.where(bad, 1.0, rss) / df
    criterion = df * (np.log(2 * np.pi * sigma2) + 1) + logdet + log_a
    return Point(
        ratio, np.where(bad, np.inf, criterion), sigma2, beta, a_inverse, m, g, q, t, tt
    )  # fmt: skip


def _impossible(blocks: Blocks, ratio: Floats) -> NDArray[np.bool_]:
    """Where a component below zero leaves too little spread, or none, or hides the pieces'."""
    bad: NDArray[np.bool_] = np.any(ratio > _LARGEST, axis=1)
    if (ratio >= 0).all():
        return bad
    bad |= spread_of(blocks.strata, ratio).min(axis=1) <= SMALLEST
    for batch in blocks.batches:
        least = np.linalg.eigvalsh(covariance_of(batch, ratio)).min(axis=(1, 2))
        bad |= least <= SMALLEST
    return bad


def spread_of(strata: Strata, ratio: Floats) -> Floats:
    """Variance of the rows of each stratum, in σ², shape (T, D)."""
    if len(strata.shares) == 1:
        whole: Floats = 1.0 + ratio @ strata.shares[0].T
    else:
        whole = 1.0 + (strata.shares @ ratio[:, :, None])[..., 0]
    return whole


def covariance_of(batch: Batch, ratio: Floats) -> Floats:
    """H of each block, shape (T, B, s, s)."""
    own = (ratio[:, :, None, None, None] * batch.shared).sum(axis=1)
    whole: Floats = np.eye(batch.rows.shape[2]) + own
    return whole


def sums(
    blocks: Blocks, ratio: Floats, derivatives: bool
) -> tuple[Floats, Floats, Floats, Floats, Floats, Floats]:
    """m, g, q, t, tt of `Point`, and log|H|."""
    trials, k = ratio.shape
    strata, q = blocks.strata, blocks.rank + 1
    spread = spread_of(strata, ratio)
    h = 1.0 / spread
    logdet = (strata.df * np.log(spread)).sum(axis=1)
    if not derivatives:
        m: Floats = _crossed(h[:, None], strata)[:, 0]
        none: Floats = np.zeros((trials, 0))
        g, qq, t, tt = none, none, none, none
    else:
        each = np.concatenate([strata.shares, np.ones((*strata.shares.shape[:2], 1))], axis=2)
        he = h[..., None] * each
        pairs = he[..., :, None] * he[..., None, :]  # (T, D, K + 1, K + 1)
        weights = np.concatenate(
            [h[..., None], h[..., None] * he, (h[..., None, None] * pairs).reshape(*h.shape, -1)],
            axis=2,
        )
        crossed = _crossed(np.swapaxes(weights, 1, 2), strata)
        m, g = crossed[:, 0], crossed[:, 1 : k + 2]
        qq = crossed[:, k + 2 :].reshape(trials, k + 1, k + 1, q, q)
        t = (strata.df[..., None] * he).sum(axis=1)
        tt = (strata.df[..., None, None] * pairs).sum(axis=1)
    for batch in blocks.batches:
        covariance = covariance_of(batch, ratio)
        inverse = np.linalg.inv(covariance)
        logdet = logdet + np.linalg.slogdet(covariance)[1].sum(axis=1)
        _, b, s, _ = batch.rows.shape
        hr = inverse @ batch.rows

        def product(x: Floats, y: Floats, bs: int = b * s) -> Floats:
            return np.swapaxes(x.reshape(trials, bs, q), 1, 2) @ y.reshape(trials, bs, q)

        m = m + product(batch.rows, hr)
        if not derivatives:
            continue
        us = [batch.shared[:, i] for i in range(k)]
        hu = [*(inverse @ u for u in us), inverse]
        uhr = [*(u @ hr for u in us), hr]
        huhr = [inverse @ u for u in uhr]
        for i in range(k + 1):
            g[:, i] += product(hr, uhr[i])
            t[:, i] += np.trace(hu[i], axis1=2, axis2=3).sum(axis=1)
            for j in range(k + 1):
                qq[:, i, j] += product(uhr[i], huhr[j])
                tt[:, i, j] += (hu[i] * np.swapaxes(hu[j], 2, 3)).sum(axis=(1, 2, 3))
    return m, g, qq, t, tt, logdet


def _crossed(weights: Floats, strata: Strata) -> Floats:
    """Weighted sums of the strata's [X y]ᵀ[X y], shape (T, number of weights, q, q)."""
    trials, number, d = weights.shape
    p = strata.xy.shape[2]
    table = np.empty((trials, number, p + 1, p + 1))
    if len(strata.xx) == 1:
        xx = weights.reshape(-1, d) @ strata.xx.reshape(d, p * p)
    else:
        xx = weights @ strata.xx.reshape(-1, d, p * p)
    table[..., :p, :p] = xx.reshape(trials, number, p, p)
    table[..., p, :p] = table[..., :p, p] = weights @ strata.xy
    table[..., p, p] = (weights @ strata.yy[..., None])[..., 0]
    return table


def slopes(blocks: Blocks, at: Point) -> tuple[Floats, Floats, Floats]:
    """Gradient, Hessian and expected information of the criterion in the ratios."""
    p, k, df = blocks.rank, at.ratio.shape[1], (blocks.n - blocks.rank)[:, None, None]
    ai, s2 = at.a_inverse, at.sigma2[:, None]
    v = np.concatenate([-at.beta, np.ones((len(at.beta), 1))], axis=1)
    gv = np.einsum("tkij,tj->tki", at.g[:, :k], v)
    a = np.einsum("tki,ti->tk", gv, v) / s2
    information = information_of(blocks, at)[:, :k, :k]
    ag = np.trace(ai[:, None] @ at.g[:, :k, :p, :p], axis1=2, axis2=3)
    trace = at.t[:, :k] - ag
    bend = np.einsum("ti,tklij,tj->tkl", v, at.q[:, :k, :k], v)
    gx = gv[..., :p]
    bend = 2 * (bend - gx @ ai @ np.swapaxes(gx, 1, 2)) / s2[..., None]
    hessian = -information + bend - a[:, :, None] * a[:, None] / df
    return trace - a, hessian, information - trace[:, :, None] * trace[:, None] / df


def information_of(blocks: Blocks, at: Point) -> Floats:
    """Expected information (times two) of (λ_1 … λ_K, 1) in units of σ⁻⁴, shape (T, K+1, K+1)."""
    ai, p = at.a_inverse, blocks.rank
    ag = ai[:, None] @ at.g[:, :, :p, :p]
    result: Floats = (
        at.tt
        - 2 * np.einsum("tij,tklji->tkl", ai, at.q[..., :p, :p])
        + np.einsum("tkij,tlji->tkl", ag, ag)
    )
    return result


def some_of(at: Point, trials: Integers) -> Point:
    """Points of some trials only."""
    if len(trials) == len(at.ratio):
        return at
    return Point(*(getattr(at, f.name)[trials] for f in fields(Point)))


def joined(whole: Point, trials: Integers, part: Point) -> Point:
    """The same points with those of some trials replaced."""

    def put(old: Floats, new: Floats) -> Floats:
        old = old.copy()
        old[trials] = new
        return old

    return Point(*(put(getattr(whole, f.name), getattr(part, f.name)) for f in fields(Point)))
