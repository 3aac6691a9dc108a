"""The data reduced to what a restricted likelihood needs: strata, and blocks that lie unevenly.

The pieces of one combination of groups (say one dough's pieces in one load) share all random
effects, so within a combination the covariance is σ²I and only the combination's normalised sum
carries the rest. What remains is one small dense matrix a block (a block is one level of the
outermost grouping). Where the groupings of a block lie evenly, as they do in most bakes, its
matrices have the same axes; turned to these, its rows are independent, and rows that take alike of
every component are summed into one *stratum*, as in the analysis of variance. The few other blocks
are worked as they are, all of one size at once.

Every array has the trials first: the outcomes of thousands of simulated trials of one design lie
side by side. One trial is the same with one of them.
"""

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from kit.analysis.moments import Floats, Integers
from kit.errors import DataError

__all__ = ["Batch", "Blocks", "Strata", "make_blocks", "stack"]

#: Largest block of group combinations worked as one dense matrix.
LARGEST_BLOCK = 1500


@dataclass(frozen=True)
class Strata:
    """Independent rows, those that take alike of every component summed.

    Parameters
    ----------
    shares, even : float arrays, shape (T or 1, D, K)
        Variance a row takes of each component, in that component's variance; and in the form in
        which a component may go below zero (see `estimate`).
    df : float array, shape (T or 1, D)
        Rows in each stratum.
    xx, xy, yy : float arrays, shapes (T or 1, D, p, p), (T, D, p), (T, D)
        Their sums of squares and products.
    """

    shares: Floats
    even: Floats
    df: Floats
    xx: Floats
    xy: Floats
    yy: Floats


@dataclass(frozen=True)
class Batch:
    """All blocks of one size s that cannot be turned into independent rows.

    Parameters
    ----------
    rows : float array, shape (T, B, s, q)
        Normalised sums of [X, y] of each combination of groups.
    shared : float array, shape (T or 1, K, B, s, s)
        For each random grouping, how strongly two combinations share its effect.
    even : float array, shape (T or 1, K, B, s, s)
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
    names, levels : tuples of length K
        The random groupings, and how many groups each has.
    strata : Strata
        The first is that of the pieces about the means of their combination.
    batches : tuple of Batch
    n : int array, shape (T or 1,)
        Pieces.
    rank : int
        Columns of X.
    """

    names: tuple[str, ...]
    levels: tuple[int, ...]
    strata: Strata
    batches: tuple[Batch, ...]
    n: Integers
    rank: int

    @property
    def trials(self) -> int:
        """How many outcomes there are."""
        return len(self.strata.yy)

    def in_even_form(self, components: NDArray[np.bool_]) -> "Blocks":
        """The same data, some components of each trial (shape (T, K)) as they may go below zero."""
        own = self.strata
        strata = replace(own, shares=np.where(components[:, None], own.even, own.shares))
        each = components[:, :, None, None, None]
        batches = (replace(b, shared=np.where(each, b.even, b.shared)) for b in self.batches)
        return replace(self, strata=strata, batches=tuple(batches))

    def of(self, trials: NDArray[Any]) -> "Blocks":
        """Some of the trials."""
        if len(trials) == self.trials:
            return self
        return replace(
            self,
            strata=take(self.strata, trials),
            batches=tuple(take(b, trials) for b in self.batches),
            n=self.n if len(self.n) == 1 else self.n[trials],
        )


_Arrays = TypeVar("_Arrays", Strata, Batch)


def take(arrays: _Arrays, trials: NDArray[Any]) -> _Arrays:
    """The same arrays for some of the trials; those that are common to all stay."""
    parts = {f.name: getattr(arrays, f.name) for f in fields(arrays)}
    return replace(arrays, **{k: a if len(a) == 1 else a[trials] for k, a in parts.items()})


def make_blocks(
    xy: Floats,
    n: Floats,
    within_ss: float | Floats,
    groups: Sequence[Integers],
    names: Sequence[str],
    outermost: Integers | None,
    rank: int | None = None,
) -> Blocks:
    """Reduce cells to strata and blocks.

    Parameters
    ----------
    xy : float array, shape (C, p + T)
        Design columns and, last, the outcomes' means, of each cell; p is `rank`, else all but one.
    n : float array, shape (C,)
        Pieces in each cell.
    within_ss : float, or float array of shape (T,)
        Centred sum of squares inside the cells.
    groups : sequence of int arrays, shape (C,)
        Group number of each cell, one array a grouping.
    outermost : int array, shape (C,), or None
        Cells with different values are independent; None when every cell may be related.

    Raises
    ------
    DataError
        A block is too large to be worked as one dense matrix.
    """
    p = xy.shape[1] - 1 if rank is None else rank
    x, y = xy[:, :p], xy[:, p:]
    nx, ny = n[:, None] * x, n[:, None] * y
    xx, xy_, yy = x.T @ nx, y.T @ nx, np.einsum("ct,ct->t", y, ny) + within_ss
    pieces, none = round(n.sum()), np.zeros((1, 1, len(groups)))
    if not groups:
        df = np.array([[float(pieces)]])
        strata = Strata(none, none, df, xx[None, None], xy_[:, None], yy[:, None])
        return Blocks((), (), strata, (), np.array([pieces]), p)
    combo = np.zeros(len(n), dtype=np.int64)
    for group in groups:
        combo = combo * (int(group.max()) + 1) + group
    code, first = _first_of_each(combo)
    size = np.bincount(code, weights=n)
    rows = _sums_of(np.column_stack([nx, ny]), code, len(first)) / np.sqrt(size)[:, None]
    labels = np.column_stack([group[first] for group in groups])
    totals = [np.bincount(label, weights=size) for label in labels.T]
    relative = [held[label] / held.mean() for held, label in zip(totals, labels.T, strict=True)]
    if outermost is None:
        block: Integers = np.zeros(len(rows), dtype=np.int64)
    else:
        block = _first_of_each(outermost[first])[0]
    x, y = rows[:, :p], rows[:, p:]
    df = np.array([[float(pieces - len(rows))]])
    xx, xy_, yy = xx - x.T @ x, xy_ - y.T @ x, yy - np.einsum("ct,ct->t", y, y)
    within = Strata(none, none, df, xx[None, None], xy_[:, None], yy[:, None])
    turned, batches = _split(rows, np.sqrt(size), labels, np.column_stack(relative), block, p)
    parts = [within, _merged(*turned, p)] if len(turned[0]) else [within]
    joined = (np.concatenate([getattr(s, f.name) for s in parts], axis=1) for f in fields(Strata))
    levels = tuple(len(held) for held in totals)
    return Blocks(tuple(names), levels, Strata(*joined), batches, np.array([pieces]), p)


def stack(trials: Sequence[Blocks]) -> Blocks | None:
    """Several data sets of the same columns as trials of one; None where blocks are uneven."""
    if any(b.batches for b in trials):
        return None
    deep = max(b.strata.df.shape[1] for b in trials)

    def padded(name: str) -> Floats:
        whole = []
        for b in trials:
            part = getattr(b.strata, name)
            room = [(0, 0), (0, deep - part.shape[1]), *[(0, 0)] * (part.ndim - 2)]
            whole.append(np.pad(part, room))
        return np.concatenate(whole)

    strata = Strata(*(padded(f.name) for f in fields(Strata)))
    return replace(trials[0], strata=strata, n=np.concatenate([b.n for b in trials]))


def _first_of_each(keys: Integers) -> tuple[Integers, Integers]:
    """Number the distinct keys, and where each stands first."""
    _, first, code = np.unique(keys, return_index=True, return_inverse=True)
    return code, first


def _sums_of(columns: Floats, code: Integers, groups: int) -> Floats:
    """Sum of each column in each group."""
    order = np.argsort(code, kind="stable")
    starts = np.searchsorted(code[order], np.arange(groups))
    sums: Floats = np.add.reduceat(columns[order], starts, axis=0)
    return sums


_Turned = tuple[Floats, Floats, Floats]  # rows, shares, even


def _split(
    rows: Floats, root: Floats, labels: Integers, relative: Floats, block: Integers, p: int
) -> tuple[_Turned, tuple[Batch, ...]]:
    """Turn the blocks that lie evenly into independent rows; keep the others as they are."""
    order = np.argsort(block, kind="stable")
    counts = np.bincount(block)
    if counts.max() > LARGEST_BLOCK:
        msg = (
            f"the random groups tie {counts.max()} groups together, more than {LARGEST_BLOCK}: "
            "too large to analyse at once. Leave a grouping out."
        )
        raise DataError(msg)
    starts = np.concatenate([[0], np.cumsum(counts)[:-1]])
    turned: list[_Turned] = []
    batches = []
    k, columns = labels.shape[1], rows.shape[1]
    for s in np.unique(counts):
        index = order[starts[counts == s][:, None] + np.arange(s)]  # (B, s)
        scale = root[index]
        same = labels[index][:, :, None, :] == labels[index][:, None, :, :]  # (B, s, s, K)
        shared = np.moveaxis(same, -1, 0) * (scale[:, :, None] * scale[:, None, :])
        even = shared / np.moveaxis(relative[index], -1, 0)[..., None]
        axes, evenly = _common_axes(np.concatenate([shared, even]))
        if evenly.any():
            v = axes[evenly]
            own = [np.moveaxis((v * (u[:, evenly] @ v)).sum(axis=2), 0, -1) for u in (shared, even)]
            r = np.swapaxes(v, 1, 2) @ rows[index[evenly]]
            turned.append(
                (r.reshape(-1, columns), own[0].reshape(-1, k), own[1].reshape(-1, k))
            )  # fmt: skip
        if not evenly.all():
            odd = ~evenly
            r = rows[index[odd]]
            both = np.empty((columns - p, *r.shape[:2], p + 1))
            both[..., :p] = r[..., :p]
            both[..., p] = np.moveaxis(r[..., p:], -1, 0)
            batches.append(Batch(both, shared[None, :, odd], even[None, :, odd]))
    empty = (np.empty((0, columns)), np.empty((0, k)), np.empty((0, k)))
    joined = tuple(np.concatenate(parts) for parts in zip(empty, *turned, strict=True))
    return (joined[0], joined[1], joined[2]), tuple(batches)


def _common_axes(matrices: Floats) -> tuple[Floats, NDArray[np.bool_]]:
    """Axes of each block's symmetric matrices (number, B, s, s) in common, and where such are."""
    number, blocks, s, _ = matrices.shape
    if s == 1:
        return np.ones((blocks, 1, 1)), np.ones(blocks, dtype=bool)
    size = np.abs(matrices).max(axis=(2, 3), keepdims=True)
    matrices = matrices / np.where(size > 0, size, 1.0)
    # a mixture with odd weights has the common axes, if any, and no others
    mixture = np.tensordot(np.sqrt(np.arange(2, number + 2)), matrices, axes=1)
    axes = np.linalg.eigh(mixture)[1]
    turned = np.swapaxes(axes, 1, 2) @ matrices @ axes
    turned[..., np.arange(s), np.arange(s)] = 0.0
    evenly: NDArray[np.bool_] = np.abs(turned).max(axis=(0, 2, 3)) < 1e-12 * s
    return axes, evenly


def _merged(rows: Floats, shares: Floats, even: Floats, p: int) -> Strata:
    """Sum the rows that take alike of every component."""
    both = np.column_stack([shares, even])
    both = both / (np.abs(both).max(axis=0) + 1e-300)
    _, first, code = np.unique(both.round(10), axis=0, return_index=True, return_inverse=True)
    code, d = code.ravel(), len(first)
    count = np.bincount(code, minlength=d).astype(float)
    order = np.argsort(code, kind="stable")
    cuts = np.cumsum(count[:-1]).astype(int)
    xx, xy, yy = np.empty((d, p, p)), np.empty((d, rows.shape[1] - p, p)), []
    for i, part in enumerate(np.split(rows[order], cuts)):
        x, y = part[:, :p], part[:, p:]
        xx[i], xy[i] = x.T @ x, y.T @ x
        yy.append(np.einsum("ct,ct->t", y, y))
    mean = (_sums_of(u, code, d) / count[:, None] for u in (shares, even))
    exact = (np.where(np.abs(u) < 1e-11 * (np.abs(u).max(axis=0) + 1e-300), 0.0, u) for u in mean)
    own, below = exact
    return Strata(
        own[None], below[None], count[None], xx[None], np.swapaxes(xy, 0, 1), np.array(yy).T
    )
