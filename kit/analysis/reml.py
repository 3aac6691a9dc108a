"""Restricted likelihood and Kenward–Roger quantities without an n×n matrix.

The pieces of one combination of groups (say one dough's pieces in one load) share all random
effects, so within a combination the covariance is σ²I and only the combination's normalised sum
carries the rest. What remains is one small dense matrix a block (a block is one level of the
outermost grouping), handled for all blocks of the same size at once.

Formulas: Searle, Casella & McCulloch (1992), *Variance Components*, ch. 6 (restricted
likelihood); Kenward & Roger (1997), Biometrics 53:983, in the form of Halekoh & Højsgaard
(2014), J Stat Softw 59(9), section 6 (adjusted covariance, F scaling and degrees of freedom).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from kit.analysis.moments import Floats, Integers
from kit.errors import DataError, DesignError

__all__ = ["Blocks", "Estimate", "estimate", "f_test", "make_blocks", "single_df"]


#: Largest block of group combinations worked as one dense matrix.
LARGEST_BLOCK = 1500
#: A component below zero may shrink the spread of group sums to this share of the pieces' own:
#: two doughs whose rounded means happen to agree must not make a difference look certain.
SMALLEST = 1e-3


@dataclass(frozen=True)
class _Batch:
    """All blocks of one size s.

    Parameters
    ----------
    rows : float array, shape (B, s, q)
        Normalised sums of [X, y] of each combination of groups.
    shared : float array, shape (K, B, s, s)
        For each random grouping, how strongly two combinations share its effect.
    even : float array, shape (K, B, s, s)
        The same, scaled so that every group has the same total strength: the form in which a
        component may go below zero (see `estimate`). Equal to `shared` when all groups of a
        grouping have the same number of pieces.
    """

    rows: Floats
    shared: Floats
    even: Floats


@dataclass(frozen=True)
class Blocks:
    """The data as the restricted likelihood needs them.

    Parameters
    ----------
    names : tuple of str
        The K random groupings.
    levels : tuple of int
        How many groups each has.
    within : float array, shape (q, q)
        Cross products of [X, y] about the means of the group combinations.
    within_df : int
        Pieces minus combinations.
    batches : tuple of _Batch
    n, rank : int
        Pieces, and columns of X.
    """

    names: tuple[str, ...]
    levels: tuple[int, ...]
    within: Floats
    within_df: int
    batches: tuple[_Batch, ...]
    n: int
    rank: int

    def in_even_form(self, components: Sequence[bool]) -> "Blocks":
        """The same data with some components in the form that may go below zero."""
        even = np.array(components)[:, None, None, None]
        batches = (replace(b, shared=np.where(even, b.even, b.shared)) for b in self.batches)
        return replace(self, batches=tuple(batches))


@dataclass(frozen=True)
class _Sums:
    """Everything the likelihood and its derivatives need at one set of variance ratios.

    With H = V/σ² and components 1…K and the residual last: ``m`` = [X y]ᵀH⁻¹[X y],
    ``g[i]`` = [X y]ᵀH⁻¹U_iH⁻¹[X y], ``q[i, j]`` = [X y]ᵀH⁻¹U_iH⁻¹U_jH⁻¹[X y],
    ``t[i]`` = tr H⁻¹U_i, ``tt[i, j]`` = tr H⁻¹U_iH⁻¹U_j, ``logdet`` = log|H|.
    """

    m: Floats
    g: Floats
    q: Floats
    t: Floats
    tt: Floats
    logdet: float


@dataclass(frozen=True)
class Estimate:
    """Variance components, coefficients and what Kenward–Roger needs.

    Parameters
    ----------
    variance : float array, shape (K + 1,)
        Groupings in order, residual last. May be negative with ``variance="free"``.
    beta : float array, shape (p,)
    phi, phi_adjusted : float array, shape (p, p)
        Model covariance of beta, and with the Kenward–Roger adjustment.
    p_matrices : float array, shape (K + 1, p, p)
        P_i of the paper.
    w : float array, shape (K + 1, K + 1)
        Covariance of the variance estimates (twice the inverse expected information).
    criterion : float
        −2 log restricted likelihood without log|X'X|-type constants of the coding.
    """

    variance: Floats
    beta: Floats
    phi: Floats
    phi_adjusted: Floats
    p_matrices: Floats
    w: Floats
    criterion: float


def make_blocks(
    xy: Floats,
    n: Floats,
    within_ss: float,
    groups: Sequence[Integers],
    names: Sequence[str],
    outermost: Integers | None,
) -> Blocks:
    """Reduce cells to blocks.

    Parameters
    ----------
    xy : float array, shape (C, q)
        Design columns and, last, the outcome's mean, of each cell.
    n : float array, shape (C,)
        Pieces in each cell.
    within_ss : float
        Centred sum of squares inside the cells.
    groups : sequence of int arrays, shape (C,)
        Group number of each cell, one array a grouping.
    names : sequence of str
    outermost : int array, shape (C,), or None
        Cells with different values are independent; None when every cell may be related.

    Raises
    ------
    DataError
        A block is too large to be worked as one dense matrix.
    """
    total = (xy * n[:, None]).T @ xy
    total[-1, -1] += within_ss
    pieces, rank = round(n.sum()), xy.shape[1] - 1
    if not groups:
        return Blocks((), (), total, pieces, (), pieces, rank)
    combo = np.zeros(len(n), dtype=np.int64)
    for group in groups:
        combo = combo * (int(group.max()) + 1) + group
    code, first = _first_of_each(combo)
    size = np.bincount(code, weights=n)
    sums = np.column_stack([np.bincount(code, weights=n * column) for column in xy.T])
    rows = sums / np.sqrt(size)[:, None]
    labels = np.column_stack([group[first] for group in groups])
    totals = [np.bincount(label, weights=size) for label in labels.T]
    relative = [held[label] / held.mean() for held, label in zip(totals, labels.T, strict=True)]
    within = total - rows.T @ rows
    if outermost is None:
        block: Integers = np.zeros(len(rows), dtype=np.int64)
    else:
        block = _first_of_each(outermost[first])[0]
    return Blocks(
        tuple(names),
        tuple(len(np.unique(g)) for g in groups),
        within,
        pieces - len(rows),
        tuple(_batches(rows, np.sqrt(size), labels, np.column_stack(relative), block)),
        pieces,
        rank,
    )


def _first_of_each(keys: Integers) -> tuple[Integers, Integers]:
    """Number the distinct keys, and where each stands first."""
    _, first, code = np.unique(keys, return_index=True, return_inverse=True)
    return code, first


def _batches(
    rows: Floats, root: Floats, labels: Integers, relative: Floats, block: Integers
) -> list[_Batch]:
    order = np.argsort(block, kind="stable")
    counts = np.bincount(block)
    if counts.max() > LARGEST_BLOCK:
        msg = (
            f"the random groups tie {counts.max()} groups together, more than {LARGEST_BLOCK}: "
            "too large to analyse at once. Leave a grouping out."
        )
        raise DataError(msg)
    starts = np.concatenate([[0], np.cumsum(counts)[:-1]])
    batches = []
    for s in np.unique(counts):
        index = order[starts[counts == s][:, None] + np.arange(s)]  # (B, s)
        scale = root[index]
        same = labels[index][:, :, None, :] == labels[index][:, None, :, :]  # (B, s, s, K)
        shared = np.moveaxis(same, -1, 0) * (scale[:, :, None] * scale[:, None, :])
        even = shared / np.moveaxis(relative[index], -1, 0)[..., None]
        batches.append(_Batch(rows[index], shared, even))
    return batches


def _product(a: Floats, b: Floats) -> Floats:
    """Stacked matrix product; blocks of one are plain numbers, thousands at a time."""
    return a * b if a.shape[-1] == 1 else a @ b


def _sums(blocks: Blocks, ratio: Floats, derivatives: bool = True) -> _Sums:
    """Evaluate at variance ratios λ = σ_k²/σ².

    Raises
    ------
    numpy.linalg.LinAlgError
        The covariance is not positive definite there.
    """
    k, q = len(ratio), blocks.within.shape[0]
    m = blocks.within.copy()
    g = np.zeros((k + 1, q, q))
    qq = np.zeros((k + 1, k + 1, q, q))
    t, tt = np.zeros(k + 1), np.zeros((k + 1, k + 1))
    g[k] = qq[k, k] = blocks.within
    t[k] = tt[k, k] = blocks.within_df
    logdet = 0.0
    for batch in blocks.batches:
        b, s, _ = batch.rows.shape
        eye = np.eye(s)
        h = eye + np.tensordot(ratio, batch.shared, axes=1)
        if s == 1:
            if h.min() <= SMALLEST:
                raise np.linalg.LinAlgError
            inverse: Floats = 1.0 / h
            logdet += float(np.log(h).sum())
        else:
            root = np.linalg.cholesky(h)
            diagonal = np.diagonal(root, axis1=1, axis2=2)
            inverse = np.linalg.inv(h)
            if np.diagonal(inverse, axis1=1, axis2=2).max() * SMALLEST >= 1:
                raise np.linalg.LinAlgError
            logdet += 2.0 * float(np.log(diagonal).sum())
        hr = _product(inverse, batch.rows)
        flat = hr.reshape(b * s, q)
        m += batch.rows.reshape(b * s, q).T @ flat
        if not derivatives:
            continue
        hu = [_product(inverse, u) for u in batch.shared] + [inverse]
        uhr = [_product(u, hr).reshape(b * s, q) for u in batch.shared] + [flat]
        huhr = [_product(a, hr).reshape(b * s, q) for a in hu]
        for i in range(k + 1):
            g[i] += flat.T @ uhr[i]
            t[i] += float(np.trace(hu[i], axis1=1, axis2=2).sum())
            for j in range(i, k + 1):
                qq[i, j] += uhr[i].T @ huhr[j]
                tt[i, j] += float((hu[i] * np.swapaxes(hu[j], 1, 2)).sum())
    for i in range(k + 1):
        for j in range(i):
            qq[i, j], tt[i, j] = qq[j, i].T, tt[j, i]
    return _Sums(m, g, qq, t, tt, logdet)


@dataclass(frozen=True)
class _Point:
    """The restricted likelihood, profiled over σ², at one set of ratios."""

    ratio: Floats
    sums: _Sums
    criterion: float
    sigma2: float
    beta: Floats
    a_inverse: Floats


def _point(blocks: Blocks, ratio: Floats, derivatives: bool = True) -> _Point:
    sums = _sums(blocks, ratio, derivatives)
    p = blocks.rank
    a = sums.m[:p, :p]
    root = np.linalg.cholesky(a)
    a_inverse = np.linalg.inv(a)
    beta = a_inverse @ sums.m[:p, p]
    rss = float(sums.m[p, p] - sums.m[p, :p] @ beta)
    df = blocks.n - p
    if rss <= 0:
        raise np.linalg.LinAlgError
    criterion = (
        df * (np.log(2 * np.pi * rss / df) + 1)
        + sums.logdet
        + 2 * float(np.log(np.diag(root)).sum())
    )
    return _Point(ratio, sums, float(criterion), rss / df, beta, a_inverse)


def _slopes(blocks: Blocks, at: _Point) -> tuple[Floats, Floats, Floats]:
    """Gradient, Hessian and expected information of the criterion in the ratios."""
    p, k, df = blocks.rank, len(at.ratio), blocks.n - blocks.rank
    s, ai = at.sums, at.a_inverse
    v = np.append(-at.beta, 1.0)
    gv = s.g[:k] @ v  # (k, q)
    a = gv @ v / at.sigma2
    ag = ai @ s.g[:k, :p, :p]  # (k, p, p)
    trace = s.t[:k] - np.trace(ag, axis1=1, axis2=2)
    gradient = trace - a
    pairs = (
        s.tt[:k, :k]
        - 2 * np.einsum("ij,klji->kl", ai, s.q[:k, :k, :p, :p])
        + np.einsum("kij,lji->kl", ag, ag)
    )
    bend = 2 * (np.einsum("i,klij,j->kl", v, s.q[:k, :k], v) - gv[:, :p] @ ai @ gv[:, :p].T)
    hessian = -pairs + bend / at.sigma2 - np.outer(a, a) / df
    return gradient, hessian, pairs - np.outer(trace, trace) / df


def _descend(blocks: Blocks, start: _Point, low: Floats, high: Floats) -> _Point:
    """Projected Newton search between bounds, with step halving; always ends."""
    at = start
    for _ in range(200):
        gradient, hessian, information = _slopes(blocks, at)
        free = np.where(gradient > 0, at.ratio > low, at.ratio < high)
        if not free.any():
            return at
        sub = np.ix_(free, free)
        curve = hessian[sub]
        try:
            np.linalg.cholesky(curve)
        except np.linalg.LinAlgError:
            curve = information[sub]
        step = np.zeros(len(gradient))
        step[free] = -np.linalg.lstsq(curve, gradient[free], rcond=1e-14)[0]
        small = float(-gradient @ step) < 1e-9
        best, length = None, 1.0
        while length > 1e-12:
            ratio = np.clip(at.ratio + length * step, low, high)
            try:
                tried = _point(blocks, ratio)
            except np.linalg.LinAlgError:
                length /= 2
                continue
            # near the optimum rounding hides the descent: the Newton step itself is trusted
            if tried.criterion < at.criterion or small:
                best = tried
                break
            length /= 2
        if best is None:
            return at
        moved = np.max(np.abs(best.ratio - at.ratio) / (np.abs(at.ratio) + 1e-12))
        at = best
        if moved < 1e-13 or (small and moved < 1e-10):
            return at
    return at


def estimate(blocks: Blocks, may_go_below: Sequence[bool]) -> Estimate:
    """Fit the variance components by restricted maximum likelihood.

    Parameters
    ----------
    blocks : Blocks
        X must have full rank, with orthonormal columns over the pieces for best accuracy.
    may_go_below : sequence of bool, length K
        Components that, having ended at zero, may go below it: the groups then get a spread of
        their own, smaller than that of the pieces, in proportion to it whatever their size.
        (Were the component itself allowed below zero, as sums of unequal groups would have it,
        the largest group would take nearly all the weight.) With groups of equal size this is
        the analysis of variance. The others are held at zero or above.

    Raises
    ------
    DesignError
        There are no spare doughs or pieces to learn the spread from.
    DataError
        The readings do not differ, so there is no spread.
    """
    p, k, df = blocks.rank, len(blocks.names), blocks.n - blocks.rank
    if df <= 0:
        msg = (
            f"{blocks.n} readings for {p} unknowns: nothing is left over to judge the spread by. "
            "Bake more doughs or ask about fewer settings."
        )
        raise DesignError(msg)
    _check_spread(blocks)
    starts = [_point(blocks, np.full(k, x), derivatives=False) for x in (0.02, 0.3, 3.0)]
    start = min(starts, key=lambda s: s.criterion) if k else starts[0]
    start = _point(blocks, start.ratio)
    if k:
        _check_identified(blocks, start)
        start = _descend(blocks, start, np.zeros(k), np.full(k, np.inf))
        blocks, start = _below_zero(blocks, start, np.array(may_go_below, dtype=bool))
    return _finish(blocks, start)


def _below_zero(blocks: Blocks, at: _Point, may: NDArray[np.bool_]) -> tuple[Blocks, _Point]:
    """Let the components that ended at zero, and may, go on below it."""
    below = np.full(len(at.ratio), False)
    while ((at.ratio == 0) & may & ~below).any():
        below |= (at.ratio == 0) & may
        even = blocks.in_even_form(tuple(below))
        bounds = np.where(below, -np.inf, 0.0), np.where(below, 0.0, np.inf)
        at = _descend(even, _point(even, at.ratio), *bounds)
    return blocks.in_even_form(tuple(below)), at


def _check_spread(blocks: Blocks) -> None:
    p = blocks.rank
    plain = _sums(blocks, np.zeros(len(blocks.names)), derivatives=False).m
    left = plain[p, p] - plain[p, :p] @ np.linalg.solve(plain[:p, :p], plain[:p, p])
    if left <= 1e-24 * max(plain[p, p], 1e-300) or left <= 0:
        msg = (
            "the readings do not differ at all within a setting: there is no spread to judge a "
            "difference by. Check that they were measured one by one and not copied."
        )
        raise DataError(msg)
    if blocks.names and blocks.within_df and blocks.within[p, p] <= 1e-20 * left:
        inner = blocks.names[-1]
        msg = (
            f"all pieces of a {inner} read the same: the outcome belongs to the {inner}, not to "
            f"the piece. Give one row a {inner} and group by what lies around it."
        )
        raise DataError(msg)


def _information(blocks: Blocks, at: _Point) -> Floats:
    """Expected information (times two) of (λ_1 … λ_K, 1) in units of σ⁻⁴."""
    s, ai, p = at.sums, at.a_inverse, blocks.rank
    ag = ai @ s.g[:, :p, :p]
    result: Floats = (
        s.tt
        - 2 * np.einsum("ij,klji->kl", ai, s.q[:, :, :p, :p])
        + np.einsum("kij,lji->kl", ag, ag)
    )
    return result


def _inverse_information(blocks: Blocks, at: _Point) -> Floats:
    """Inverse of the expected information, scaled first: components may differ a lot.

    Raises
    ------
    DesignError
        Two components cannot be told apart at these estimates.
    """
    information = _information(blocks, at)
    diagonal = np.diag(information)
    if (diagonal > 0).all():
        scale = 1 / np.sqrt(np.outer(diagonal, diagonal))
        size, axes = np.linalg.eigh((information + information.T) / 2 * scale)
        if size[0] > 1e-13:
            inverse: Floats = scale * ((axes / size) @ axes.T)
            return inverse
    msg = (
        f"too few pieces for so many groupings: the spread of {', '.join(blocks.names)} and piece "
        "cannot be told apart. Leave a grouping out, or bake more."
    )
    raise DesignError(msg)


def _check_identified(blocks: Blocks, at: _Point) -> None:
    """Every grouping must leave a trace of its own after the settings have taken theirs."""
    information = _information(blocks, at)
    for i, name in reversed(list(enumerate(blocks.names))):  # the innermost says most
        if information[i, i] <= 1e-9 * at.sums.tt[i, i]:
            msg = (
                f"the settings use up every {name}: no number of pieces can tell the setting "
                f"from the {name}. Give each setting at least two of them."
            )
            raise DesignError(msg)
    scale = 1 / np.sqrt(np.diag(information))
    correlation = information * np.outer(scale, scale)
    for i, name in enumerate(blocks.names):
        others = [*range(i), len(blocks.names)]  # those further out, and the residual
        kept = np.ix_(others, others)
        cross = correlation[i, others]
        unique = 1 - cross @ np.linalg.lstsq(correlation[kept], cross, rcond=1e-10)[0]
        if unique < 1e-9:
            rest = " and ".join((*blocks.names[:i], "piece"))
            msg = (
                f"{name} cannot be told from {rest}: each holds only one of the other. "
                f"Leave {name} out of the groups."
            )
            raise DesignError(msg)


def _finish(blocks: Blocks, at: _Point) -> Estimate:
    p, s2 = blocks.rank, at.sigma2
    s = at.sums
    phi = s2 * at.a_inverse
    p_matrices = -s.g[:, :p, :p] / s2**2
    q_matrices = s.q[:, :, :p, :p] / s2**3
    w = 2 * s2**2 * _inverse_information(blocks, at)
    inner = np.einsum("ij,ijkl->kl", w, q_matrices) - np.einsum(
        "ij,ikl,lm,jmn->kn", w, p_matrices, phi, p_matrices
    )
    # the adjustment is never negative; where it is zero (balanced data) rounding may say so
    root = np.linalg.cholesky(phi)
    size, axes = np.linalg.eigh(root.T @ (inner + inner.T) @ root)
    side = root @ axes
    adjusted = phi + (side * np.maximum(size, 0.0)) @ side.T
    return Estimate(
        variance=np.append(at.ratio * s2, s2),
        beta=at.beta,
        phi=phi,
        phi_adjusted=adjusted,
        p_matrices=p_matrices,
        w=w,
        criterion=at.criterion,
    )


def _traces(fit: Estimate, theta: Floats) -> tuple[float, float]:
    """A₁ and A₂ of Kenward & Roger for Θ = Lᵀ(LΦLᵀ)⁻¹L."""
    tp = theta @ fit.phi @ fit.p_matrices @ fit.phi  # (K + 1, p, p)
    single = np.trace(tp, axis1=1, axis2=2)
    a1 = float(single @ fit.w @ single)
    a2 = float(np.einsum("ij,ikl,jlk->", fit.w, tp, tp))
    return a1, a2


def single_df(fit: Estimate, contrast: Floats) -> float:
    """Degrees of freedom of one contrast: 2/A₂ (the scale is then exactly 1)."""
    variance = float(contrast @ fit.phi @ contrast)
    each = np.einsum("i,kij,j->k", fit.phi @ contrast, fit.p_matrices, fit.phi @ contrast)
    a2 = float(each @ fit.w @ each) / variance**2
    return 2.0 / a2


def f_test(fit: Estimate, beta: Floats, contrasts: Floats) -> tuple[int, float, float]:
    """Kenward–Roger F test that ``contrasts @ beta`` is zero.

    Parameters
    ----------
    fit : Estimate
    beta : float array, shape (p,)
        The coefficients (those of `fit` when it was given the outcome as it is).
    contrasts : float array, shape (r, p)

    Returns
    -------
    num_df, den_df, F
        F is scaled.
    """
    _, singular, vt = np.linalg.svd(np.atleast_2d(contrasts))
    rank = int((singular > 1e-9 * singular[0]).sum())
    basis = vt[:rank]
    value = basis @ beta
    statistic = float(value @ np.linalg.solve(basis @ fit.phi_adjusted @ basis.T, value)) / rank
    if rank == 1:
        return 1, single_df(fit, basis[0]), statistic
    theta = basis.T @ np.linalg.solve(basis @ fit.phi @ basis.T, basis)
    a1, a2 = _traces(fit, theta)
    q = rank
    b = (a1 + 6 * a2) / (2 * q)
    g = ((q + 1) * a1 - (q + 4) * a2) / ((q + 2) * a2)
    base = 3 * q + 2 * (1 - g)
    c1, c2, c3 = g / base, (q - g) / base, (q + 2 - g) / base
    v0, v1, v2 = 1 + c1 * b, 1 - c2 * b, 1 - c3 * b
    # written with 1/(q·rho), which is finite where F has no variance (4 df: v2 = 0)
    shrink = 1 - a2 / q
    part = v1 / shrink if abs(shrink) > 1e-10 else 1.0
    inverse = part**2 * v2 / v0
    den = 4 + (q + 2) * inverse / (1 - inverse)
    scale = 1.0 if abs(den - 2) < 1e-2 else den * shrink / (den - 2)
    return q, float(den), float(scale * statistic)
