"""Spread combinations over bakes (or over doughs) so that they can be compared within them.

Where every combination fits into every bake they are complete blocks. Otherwise combinations
are swapped between bakes until the information about them, differences between bakes taken
out, cannot be raised by any swap; where a balanced incomplete block design exists for a small
number of settings, that is what comes out (Yates 1936, Ann Eugen 7:121; swapping as in Cook &
Nachtsheim 1980, Technometrics 22:315).
"""

from collections.abc import Sequence

import numpy as np

from kit.analysis.moments import Floats, Integers

__all__ = ["fill", "into_blocks"]

#: How much larger the spread from block to block is taken than that inside: comparisons are
#: then made inside.
_BLOCK_RATIO = 10.0
_STARTS = 8


def fill(count: int, slots: int, rng: np.random.Generator) -> Integers:
    """Numbers 0…count−1 repeated to fill the slots, each equally often or once more."""
    times, rest = divmod(slots, count)
    return np.concatenate([np.repeat(np.arange(count), times), rng.permutation(count)[:rest]])


def into_blocks(
    rows: Floats, items: Integers, sizes: Sequence[int], rng: np.random.Generator
) -> list[Integers]:
    """Put items into blocks of given sizes.

    Parameters
    ----------
    rows : float array, shape (T, p)
        Model columns of each item, without the constant, scaled by how much they are expected
        to matter: what is kept apart is judged with a prior of variance 1 on each (DuMouchel &
        Jones 1994, Technometrics 36:37).
    items : int array, shape (sum of sizes,)
        Row numbers, repeated as often as they are to be used.

    Returns
    -------
    list of int arrays
        The items of each block, in random order.
    """
    count = len(rows)
    if all(size % count == 0 for size in sizes) and _even(items, count):
        return [rng.permutation(np.tile(np.arange(count), size // count)) for size in sizes]
    block = np.repeat(np.arange(len(sizes)), sizes)
    best: tuple[float, Integers] | None = None
    for _ in range(_STARTS if len(sizes) > 1 else 1):
        placed, value = _ascend(rows, _start(items, block, rng), block)
        if best is None or value > best[0] + 1e-9:
            best = value, placed
    assert best is not None
    return [rng.permutation(best[1][block == b]) for b in range(len(sizes))]


def _even(items: Integers, count: int) -> bool:
    times = np.bincount(items, minlength=count)
    return bool(times.min() == times.max())


def _start(items: Integers, block: Integers, rng: np.random.Generator) -> Integers:
    """Deal the items round the blocks, equal ones next to each other, so that few repeat."""
    order = rng.permutation(int(items.max()) + 1)
    dealt = items[np.argsort(order[items], kind="stable")]
    within = np.concatenate([rng.permutation(int(n)) for n in np.bincount(block)])
    slots = np.lexsort((rng.permutation(len(block)), within))
    placed = np.empty_like(items)
    placed[slots] = dealt
    return placed


def _ascend(rows: Floats, placed: Integers, block: Integers) -> tuple[Integers, float]:
    """Make the best swap between two blocks until none helps."""
    p, blocks = rows.shape[1], int(block.max()) + 1
    sizes = np.bincount(block)
    weight = _BLOCK_RATIO / (1 + _BLOCK_RATIO * sizes)
    total = rows[placed].T @ rows[placed] + np.eye(p)
    first, second = np.triu_indices(len(placed), 1)
    apart = block[first] != block[second]
    first, second = first[apart], second[apart]

    def value_of(sums: Floats) -> float:
        return float(np.linalg.slogdet(total - (sums * weight[:, None]).T @ sums)[1])

    sums = np.zeros((blocks, p))
    np.add.at(sums, block, rows[placed])
    value = value_of(sums)
    for _ in range(200):
        different = placed[first] != placed[second]
        i, j = first[different], second[different]
        if len(i) == 0:
            break
        change = rows[placed[j]] - rows[placed[i]]
        bi, bj = block[i], block[j]
        now = total - (sums * weight[:, None]).T @ sums
        new_i, new_j = sums[bi] + change, sums[bj] - change
        # many swaps may tie: keep the arrays small
        gains = np.empty(len(i))
        for part in range(0, len(i), 4000):
            s = slice(part, part + 4000)
            gains[s] = np.linalg.slogdet(
                now
                + _outer(sums[bi[s]], weight[bi[s]])
                - _outer(new_i[s], weight[bi[s]])
                + _outer(sums[bj[s]], weight[bj[s]])
                - _outer(new_j[s], weight[bj[s]])
            )[1]
        top = int(gains.argmax())
        if gains[top] <= value + 1e-9:
            break
        sums[bi[top]], sums[bj[top]] = new_i[top], new_j[top]
        placed[i[top]], placed[j[top]] = placed[j[top]], placed[i[top]]
        value = value_of(sums)
    return placed, value


def _outer(vectors: Floats, weight: Floats) -> Floats:
    result: Floats = weight[:, None, None] * vectors[:, :, None] * vectors[:, None, :]
    return result
