"""Variance components by restricted maximum likelihood, for many trials at once.

The likelihood (`likelihood`) is profiled over the pieces' variance and searched in the ratios of
the others to it; what is known of the coefficients then follows (`kenward_roger`).
"""

from collections.abc import Sequence
from dataclasses import fields, replace

import numpy as np
from numpy.typing import NDArray

from kit import words
from kit.analysis.model.blocks import Blocks
from kit.analysis.model.kenward_roger import Estimate, finish
from kit.analysis.model.likelihood import (
    SMALLEST,
    Point,
    covariance_of,
    information_of,
    joined,
    point,
    slopes,
    some_of,
    spread_of,
    sums,
)  # fmt: skip
from kit.analysis.moments import Floats
from kit.errors import DataError, DesignError, KitError

__all__ = ["NO_SPREAD", "NotApartError", "estimate", "estimate_many", "known", "separate"]

#: Numbers worked on at once when there are many trials.
_AT_ONCE = 4_000_000
#: The same message wherever nothing is left over beside the settings.
NO_SPREAD = (
    "the readings do not differ at all within a setting: there is no spread to judge a "
    "difference by. Readings in coarse steps may agree so by chance: read finer, or bake once "
    "more. Or were they copied, and not measured one by one?"
)
#: Sums of squares are known to this share of themselves: less is left by the rounding alone.
_ROUNDING = 1e-14
#: Spread within groups so much less than between them, in squares, is the rounding of computers.
_NOTHING = 1e-12


class NotApartError(DesignError):
    """A grouping that cannot be told from the others."""


def estimate(blocks: Blocks, may_go_below: Sequence[bool], start: Floats | None = None) -> Estimate:
    """Fit the variance components of one trial by restricted maximum likelihood.

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
    start : float array, shape (K,), optional
        Ratios to search from as well, such as those of nearly the same data.

    Raises
    ------
    DesignError, DataError
        No spare doughs or pieces to learn the spread from; readings that do not differ.
    """
    found, problems = estimate_many(blocks, may_go_below, start)
    if problems:
        raise problems[0]
    return found[0]


def estimate_many(
    blocks: Blocks,
    may_go_below: Sequence[bool] | NDArray[np.bool_],
    start: Floats | None = None,
) -> tuple[Estimate, dict[int, KitError]]:
    """Fit many trials of one design, of `make_blocks` with several outcomes or of `stack`.

    `may_go_below` has shape (K,) or (T, K); see `estimate`.

    Returns
    -------
    Estimate
        With trials first; NaN where there is none.
    dict
        Number of a trial to why it cannot be fitted.
    """
    trials, k = blocks.trials, len(blocks.names)
    may = np.broadcast_to(np.atleast_2d(np.asarray(may_go_below, dtype=bool)), (trials, k))
    chunk = max(1, min(trials, _AT_ONCE // _numbers(blocks)))
    parts: list[Estimate] = []
    problems: dict[int, KitError] = {}
    for first in range(0, trials, chunk):
        index = np.arange(first, min(first + chunk, trials))
        part, found = _estimate(blocks.of(index), may[index], start)
        parts.append(part)
        problems |= {first + i: error for i, error in found.items()}
    joined = (np.concatenate([getattr(e, f.name) for e in parts]) for f in fields(Estimate))
    return Estimate(*joined), problems


def known(blocks: Blocks, variance: Floats) -> Estimate:
    """What a fit of one trial would say if it found these variances, whatever the outcome.

    `variance` has shape (K + 1,): groupings in order, residual last, which must be above 0.

    Raises
    ------
    DesignError
        There are no spare doughs or pieces to learn the spread from.
    """
    if problems := _too_few(blocks):
        raise problems[0]
    at = point(blocks, variance[None, :-1] / variance[-1])
    at = replace(at, sigma2=variance[-1:])
    information = information_of(blocks, at)
    inverse = np.linalg.pinv(information, rcond=1e-12, hermitian=True)
    return finish(blocks, at, inverse)[0][0]


def separate(blocks: Blocks) -> bool:
    """Whether the layout of one trial lets all groupings be told apart, whatever comes out."""
    if _too_few(blocks):
        return False
    at = point(blocks, np.full((1, len(blocks.names)), 0.3))
    at = replace(at, sigma2=np.ones(1))
    return not _check_identified(blocks, at) and not finish(blocks, at)[1]


def _estimate(
    blocks: Blocks, may: NDArray[np.bool_], near: Floats | None
) -> tuple[Estimate, dict[int, KitError]]:
    trials, k, p = blocks.trials, len(blocks.names), blocks.rank
    empty = Estimate(*(np.full((trials, *s), np.nan) for s in _shapes(k, p)))
    problems = _too_few(blocks)
    if len(problems) < trials:
        problems = {**_check_spread(blocks), **problems}
    good = np.array([i for i in range(trials) if i not in problems], dtype=int)
    if len(good):
        data = blocks.of(good)
        ratios = [np.full(k, x) for x in (0.02, 0.3, 3.0)] if k else [np.zeros(0)]
        ratios += [] if near is None else [np.maximum(near, 1e-6)]
        starts = [point(data, np.tile(x, (len(good), 1)), False) for x in ratios]
        lowest = np.argmin([s.criterion for s in starts], axis=0)
        ratio = np.array([s.ratio for s in starts])[lowest, np.arange(len(good))]
        start = point(data, ratio)
        found = _check_identified(data, start) if k else {}
        problems |= {int(good[i]): error for i, error in found.items()}
        fine = np.array([i for i in range(len(good)) if i not in found], dtype=int)
        good, data, start = good[fine], data.of(fine), some_of(start, fine)
    if len(good):
        if k:
            zero = np.zeros(start.ratio.shape)
            start = _descend(data, start, zero, zero + np.inf)
            data, start = _below_zero(data, start, may[good])
        fit, blurred = finish(data, start)
        problems |= {int(good[i]): error for i, error in blurred.items()}
        for f in fields(Estimate):
            getattr(empty, f.name)[good] = getattr(fit, f.name)
    return empty, problems


def _numbers(blocks: Blocks) -> int:
    """How many numbers one trial takes while it is worked on."""
    k, q = len(blocks.names) + 1, blocks.rank + 1
    dense = sum(b.shared[0].size * 4 + b.rows[0].size * 3 for b in blocks.batches)
    return int((k * k + k + 1) * (q * q + blocks.strata.df.shape[1]) + dense)


def _shapes(k: int, p: int) -> list[tuple[int, ...]]:
    """Of the parts of an `Estimate`."""
    return [(k + 1,), (p,), (p, p), (p, p), (k + 1, p, p), (k + 1, k + 1), ()]


def _below_zero(blocks: Blocks, at: Point, may: NDArray[np.bool_]) -> tuple[Blocks, Point]:
    """Let the components that ended at zero, and may, go on below it."""
    below = np.zeros(at.ratio.shape, dtype=bool)
    even = blocks
    while (fresh := (at.ratio == 0) & may & ~below).any():
        below |= fresh
        even = blocks.in_even_form(below)
        which = np.flatnonzero(fresh.any(axis=1))
        data, own = even.of(which), below[which]
        bounds = np.where(own, -np.inf, 0.0), np.where(own, 0.0, np.inf)
        at = joined(at, which, _descend(data, point(data, at.ratio[which]), *bounds))
    return even, at


def _descend(blocks: Blocks, start: Point, low: Floats, high: Floats) -> Point:
    """Projected Newton search between bounds of shape (T, K), with step halving; always ends."""
    at, going = start, np.arange(len(start.ratio))
    for _ in range(200):
        here, data = some_of(at, going), blocks.of(going)
        bounds = low[going], high[going]
        step, slope, free = _newton(data, here, *bounds)
        small = slope < 1e-9
        length = np.ones(len(going))
        if (bounds[0] < 0).any():
            # not all the way at once: from the edge itself the others could not move on
            length = np.minimum(length, 0.8 * _room(data, here.ratio, step))
        best, waiting = here, np.flatnonzero(free)
        moved = np.zeros(len(going))
        while len(waiting):
            own = here.ratio[waiting]
            ratio = own + length[waiting, None] * step[waiting]
            ratio = np.clip(ratio, bounds[0][waiting], bounds[1][waiting])
            tried = point(data.of(waiting), ratio)
            # near the optimum rounding hides the descent: the Newton step itself is trusted
            good = tried.criterion < here.criterion[waiting]
            good |= small[waiting] & np.isfinite(tried.criterion)
            if good.any():
                which = waiting[good]
                best = joined(best, which, some_of(tried, np.flatnonzero(good)))
                change = np.abs(ratio - own) / (np.abs(own) + 1e-12)
                moved[which] = change[good].max(axis=1)
            length[waiting] /= 2
            waiting = waiting[~good & (length[waiting] > 1e-12)]
        at = best if len(going) == len(at.ratio) else joined(at, going, best)
        going = going[(moved >= 1e-13) & ~(small & (moved < 1e-10))]
        if not len(going):
            break
    return at


def _newton(
    blocks: Blocks, at: Point, low: Floats, high: Floats
) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """Step, descent along it, and which trials still have somewhere to go."""
    gradient, hessian, information = slopes(blocks, at)
    free = np.where(gradient > 0, at.ratio > low, at.ratio < high)
    both = free[:, :, None] & free[:, None]
    fixed = np.eye(free.shape[1]) * ~free[:, None]
    curve = np.where(both, hessian, fixed)
    size, axes = np.linalg.eigh(curve)
    bent = size.min(axis=1) <= 0
    if bent.any():
        size[bent], axes[bent] = np.linalg.eigh(np.where(both, information, fixed)[bent])
    known = np.abs(size) > 1e-14 * np.abs(size).max(axis=1, keepdims=True)
    down = np.where(free, gradient, 0.0)
    along = np.einsum("tij,ti->tj", axes, down) * known / np.where(known, size, 1.0)
    step = -np.einsum("tij,tj->ti", axes, along) * free
    some: NDArray[np.bool_] = np.any(free, axis=1)
    return step, -(down * step).sum(axis=1), some


def _room(blocks: Blocks, ratio: Floats, step: Floats) -> Floats:
    """How far along a step all spread stays above its least, in steps."""
    least = SMALLEST * (1 + 1e-9)
    left, change = spread_of(blocks.strata, ratio) - least, spread_of(blocks.strata, step) - 1.0
    relative = (change / np.maximum(left, 1e-15)).min(axis=1)
    for batch in blocks.batches:
        size, axes = np.linalg.eigh(covariance_of(batch, ratio))
        axes = axes / np.sqrt(np.maximum(size - least, 1e-15))[..., None, :]
        moved = covariance_of(batch, step) - np.eye(axes.shape[-1])
        turned = np.linalg.eigvalsh(np.swapaxes(axes, 2, 3) @ moved @ axes)
        relative = np.minimum(relative, turned.min(axis=(1, 2)))
    room: Floats = np.where(relative < 0, -1 / np.minimum(relative, -1e-300), np.inf)
    return room


def _too_few(blocks: Blocks) -> dict[int, KitError]:
    """Trials with no more readings than numbers to be found from them."""
    problems: dict[int, KitError] = {}
    n = np.broadcast_to(blocks.n, blocks.trials)
    for i in np.flatnonzero(n <= blocks.rank):
        msg = (
            f"{words.plural(int(n[i]), 'reading')} to find {words.plural(blocks.rank, 'number')} "
            "by: nothing is left over to judge the spread by. Bake more doughs or ask about fewer "
            "settings."
        )
        problems[int(i)] = DesignError(msg)
    return problems


def _check_spread(blocks: Blocks) -> dict[int, KitError]:
    """Trials whose readings do not differ at all, or only between the innermost groups."""
    problems: dict[int, KitError] = {}
    p, trials = blocks.rank, blocks.trials
    plain = sums(blocks, np.zeros((trials, len(blocks.names))), derivatives=False)[0]
    fitted = np.linalg.solve(plain[:, :p, :p], plain[:, :p, p:])[..., 0]
    whole = plain[:, p, p]
    left = whole - np.einsum("ti,ti->t", plain[:, p, :p], fitted)
    alike = left <= _ROUNDING * whole
    problems |= {int(i): DataError(NO_SPREAD) for i in np.flatnonzero(alike)}
    within, df = blocks.strata.yy[:, 0], blocks.strata.df[:, 0]
    none = (within <= _NOTHING * left) & (df > 0) & ~alike
    for i in np.flatnonzero(none) if blocks.names else ():
        inner = blocks.names[-1]
        msg = (
            f"but for the settings, everything in a {inner} reads the same: no spread is left to "
            "judge a difference by. Readings in coarse steps may agree so by chance: read finer, "
            f"or bake once more. Where a {inner} has one reading, give one row a {inner} and group "
            "by what lies around it."
        )
        problems[int(i)] = DataError(msg)
    return problems


def _check_identified(blocks: Blocks, start: Point) -> dict[int, KitError]:
    """Every grouping must leave a trace of its own after the settings have taken theirs."""
    problems: dict[int, KitError] = {}
    information = information_of(blocks, start)
    diagonal = np.diagonal(information, axis1=1, axis2=2)
    traces = np.diagonal(start.tt, axis1=1, axis2=2)
    for i, name in reversed(list(enumerate(blocks.names))):  # the innermost says most
        for trial in np.flatnonzero(diagonal[:, i] <= 1e-9 * traces[:, i]):
            msg = (
                f"the settings use up every {name}: no number of pieces can tell the setting "
                f"from the {name}. Give each setting at least two of them."
            )
            problems.setdefault(int(trial), DesignError(msg))
    scale = 1 / np.sqrt(np.where(diagonal > 0, diagonal, 1.0))
    correlation = information * scale[:, :, None] * scale[:, None]
    for i, name in enumerate(blocks.names):
        others = [*range(i), len(blocks.names)]  # those further out, and the residual
        cross = correlation[:, i, others]
        inverse = np.linalg.pinv(correlation[:, others][:, :, others], rcond=1e-10, hermitian=True)
        unique = 1 - np.einsum("ti,tij,tj->t", cross, inverse, cross)
        for trial in np.flatnonzero(unique < 1e-9):
            rest = " and ".join((*blocks.names[:i], "piece"))
            msg = (
                f"{name} cannot be told from {rest}: beside the settings, each holds only one of "
                f"the other. Bake more pieces of every {name}, or leave {name} out of the groups."
            )
            problems.setdefault(int(trial), NotApartError(msg))
    return problems
