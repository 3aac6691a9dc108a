"""Combinations shared out over bakes and doughs so that they can be compared within them.

Where every combination fits into every bake they are complete blocks. Otherwise combinations
are swapped between bakes until the information about them, differences between bakes taken
out, cannot be raised by any swap; where a balanced incomplete block design exists for a small
number of settings, that is what comes out (Yates 1936, Ann Eugen 7:121; swapping as in Cook &
Nachtsheim 1980, Technometrics 22:315). What to say where they do not fit stands here too.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pandas as pd

from kit import words
from kit.analysis.grouping.experiments import spare
from kit.analysis.moments import Floats, Integers
from kit.errors import DesignError
from kit.plan.designs.layout import Doughs
from kit.plan.designs.treatments import Asked, Points, count

__all__ = [
    "curve_df", "fill", "fit_square", "into_blocks", "share_doughs", "share_pieces",
    "square_uneven",
]  # fmt: skip

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
    """Put items into blocks of given sizes: the items of each block, in random order.

    `rows`, shape (T, p), are model columns of each item, without the constant, scaled by how much
    they are expected to matter: what is kept apart is judged with a prior of variance 1 on each
    (DuMouchel & Jones 1994, Technometrics 36:37). `items`, shape (sum of sizes,), are row numbers,
    repeated as often as they are to be used.
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


#: Enough to know the spread from dough to dough roughly.
NOISE_DOUGHS = 8


def share_doughs(
    asked: Asked, kind: str, whole: Points, rng: np.random.Generator
) -> list[Integers]:
    """Which combination each dough of each bake gets."""
    kitchen, count = asked.kitchen, len(whole.settings)
    bakes, room = kitchen.bakes, kitchen.doughs
    slots = bakes * room
    if slots < count:
        raise DesignError(_does_not_fit(asked, count, kind))
    if kind == "noise":  # eight doughs say enough
        bakes = min(bakes, max(2, -(-NOISE_DOUGHS // room)))
    if count <= room:  # complete blocks; tubs left over stay empty
        sizes = [room // count * count] * bakes
        if whole.once and kind != "fraction":
            sizes = [count] * bakes
    elif whole.once:
        total = slots // count * count
        if total % room == 0:
            bakes = total // room
        sizes = [total // bakes + (b < total % bakes) for b in range(bakes)]
    else:
        sizes = [room] * bakes
    items = fill(count, sum(sizes), rng)
    blocks = into_blocks(whole.rows, items, sizes, rng)
    return [blocks[i] for i in rng.permutation(len(blocks))]


def _does_not_fit(asked: Asked, count: int, kind: str) -> str:
    kitchen, k = asked.kitchen, len(asked.whole)
    slots = kitchen.bakes * kitchen.doughs
    times = 2 if k == 1 else 1  # one factor's settings must be mixed twice to be judged
    needed = -(-times * count // kitchen.doughs)
    what = "settings" if k == 1 else "combinations"
    text = (
        f"{count} {what} of {words.join(f.name for f in asked.whole)} do not fit into "
        f"{words.plural(kitchen.bakes, 'bake')} of {words.plural(kitchen.doughs, 'dough')}. "
        f"Nearest: {words.plural(needed, 'bake')}{', each setting mixed twice' if k == 1 else ''}"
    )
    two = all(len(f.settings) == 2 for f in asked.whole)
    if kind in ("factorial", "split-plot", "blocks") and k >= 3 and two:
        text += ", or kind='fraction'"
    elif k == 1 and slots >= 4:
        text += f", or {slots // 2} settings mixed twice each"
    elif k > 1 and slots > k + 1:
        text += ", or kind='optimal'"
    return f"{text}."


def share_pieces(
    bakes: list[Integers], single: Points, pieces: int, rng: np.random.Generator
) -> list[Doughs]:
    """Share the settings decided for pieces out in every dough, evenly for each recipe."""
    count = len(single.settings)
    recipe = np.concatenate(bakes)
    if single.once and count > pieces * len(recipe):
        msg = (
            f"{count} combinations do not fit into {words.plural(len(recipe), 'dough')} of "
            f"{words.plural(pieces, 'piece')}. Nearest: kind='optimal', or more pieces."
        )
        raise DesignError(msg)
    each = np.empty((len(recipe), pieces), dtype=np.int64)
    for one in np.unique(recipe):
        mine = np.flatnonzero(recipe == one)
        items = fill(count, len(mine) * pieces, rng)
        blocks = into_blocks(single.rows, items, [pieces] * len(mine), rng)
        each[mine] = blocks
    ends = np.cumsum([len(b) for b in bakes])[:-1]
    return [Doughs(w, s) for w, s in zip(bakes, np.split(each, ends), strict=True)]


def fit_square(asked: Asked, doughs: int, whole: Points, single: Points) -> tuple[Asked, list[str]]:
    """Use as many places and pieces as let every setting go round evenly."""
    kitchen = asked.kitchen
    count = len(single.settings) if asked.single else len(whole.settings)
    if asked.loaded or not kitchen.shared_loads:
        msg = (
            "a Latin square needs loads that doughs share and that are all alike. Nearest: "
            "kind='blocks'."
        )
        raise DesignError(msg)
    if count > kitchen.places:
        msg = (
            f"a Latin square of {count} settings needs {count} places on the griddle, and there "
            f"are {kitchen.places}. Nearest: {kitchen.places} settings, or kind='blocks'."
        )
        raise DesignError(msg)
    places = kitchen.places // count * count
    most = kitchen.pieces_per_dough
    if kitchen.loads_per_bake is not None:
        most = min(most, kitchen.loads_per_bake * places // doughs)
    step = count if asked.single else 1
    fits = [m for m in range(step, most + 1, step) if doughs * m % places == 0]
    if not fits:
        needed = next(m for m in range(step, step * places + 1, step) if doughs * m % places == 0)
        msg = (
            f"{words.plural(doughs, 'dough')} of {words.plural(most, 'piece')} do not fill the "
            f"griddle evenly with {count} settings on {places} places. Nearest: {needed} pieces "
            "a dough, or kind='blocks'."
        )
        raise DesignError(msg)
    # a whole number of squares in every bake where it can be
    square = [m for m in fits if doughs * m // places % count == 0]
    pieces = max(square or fits)
    notes = []
    if (places, pieces) != (kitchen.places, kitchen.pieces_per_dough):
        notes.append(
            f"{count} settings go round evenly on {places} of the {kitchen.places} places with "
            f"{words.plural(pieces, 'piece')} a dough instead of {kitchen.pieces_per_dough}"
        )
    fitted = replace(kitchen, places=places, pieces_per_dough=pieces)
    return replace(asked, kitchen=fitted), notes


def square_uneven(runs: pd.DataFrame, asked: Asked) -> list[str]:
    """Say where the squares are not complete."""
    factors = asked.single or asked.whole
    table = runs.groupby([f.quantity for f in factors] + ["place"]).size()
    settings = count(factors)
    loads = len(runs[["bake", "load"]].drop_duplicates())
    full = len(table) == settings * asked.kitchen.places and table.min() == table.max()
    if full:
        return []
    more = -(-loads // settings) * settings
    return [
        f"{loads} loads do not make whole squares of {settings} settings: the places are "
        f"shared out as evenly as it goes; {more} loads would be even"
    ]


def curve_df(
    bakes: list[Integers], each: list[Doughs], whole: Points, single: Points, asked: Asked
) -> int:
    """Degrees of freedom that a curve leaves, bakes (or doughs) taken out."""
    blocks = bakes if asked.whole else [dough for bake in each for dough in bake.single]
    rows = (whole if asked.whole else single).rows[np.concatenate(blocks)]
    block = np.repeat(np.arange(len(blocks)), [len(b) for b in blocks])
    return spare(rows, [block, np.arange(len(rows))])
