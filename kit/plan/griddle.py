"""Which piece lies where on the griddle, and when: loads, places, blind codes.

Doughs and settings are spread over loads as evenly as they go (loads then cross doughs, so that
what the load does is not taken for the dough), and over places from load to load, each new
load filled so that no setting lies where it has lain before while there is another place: with
as many settings as places this is a Latin square (Hall 1935, J Lond Math Soc 10:26: a rectangle
without repeats can always be continued).
"""

from collections.abc import Sequence

import numpy as np

from kit.analysis.moments import Floats, Integers

__all__ = ["blind_codes", "into_loads", "onto_places"]

_TRIES = 4000


def into_loads(
    dough: Integers,
    setting: Integers,
    group: Integers,
    loads: int,
    rng: np.random.Generator,
    load_setting: Integers | None = None,
) -> Integers:
    """Deal one bake's pieces to loads.

    Parameters
    ----------
    dough, setting, group : int arrays, shape (n,)
        Each piece's dough, the number of its setting decided for pieces, and the number of its
        dough's setting.
    loads : int
        All but equally full.
    load_setting : int array, shape (loads,), optional
        Setting of each load, kept even over doughs too.

    Returns
    -------
    int array, shape (n,)
        Load of each piece, from 0.
    """
    if loads == 1:
        return np.zeros(len(dough), dtype=np.int64)
    order = np.lexsort((rng.permutation(len(dough)), setting, dough))
    load = np.empty(len(dough), dtype=np.int64)
    load[order] = np.arange(len(dough)) % loads
    load = rng.permutation(loads)[load]
    kind = np.arange(loads) if load_setting is None else load_setting
    # what is to be even over loads, and how much it counts
    keys = [(setting, 4.0), (dough, 4.0), (group * (setting.max() + 1) + setting, 1.0)]
    if load_setting is not None:
        keys.append((dough * (setting.max() + 1) + setting, 4.0))
    tables = [
        _Table(key, weight, load if n < 3 else kind[load], loads)
        for n, (key, weight) in enumerate(keys)
    ]
    of = [np.arange(loads)] * 3 + ([kind] if load_setting is not None else [])
    for _ in range(_TRIES):
        if all(table.settled for table in tables):
            break
        i, j = rng.integers(len(dough), size=2)
        a, b = load[i], load[j]
        if a == b:
            continue
        change = sum(t.change(i, j, o[a], o[b]) for t, o in zip(tables, of, strict=True))
        if change <= 0:
            for t, o in zip(tables, of, strict=True):
                t.swap(i, j, o[a], o[b])
            load[i], load[j] = b, a
    return load


class _Table:
    """Counts of one key over loads, and how uneven they are."""

    def __init__(self, key: Integers, weight: float, load: Integers, loads: int) -> None:
        self.key, self.weight = key, weight
        self.counts = np.zeros((int(key.max()) + 1, loads), dtype=np.int64)
        np.add.at(self.counts, (key, load), 1)
        self.columns = np.unique(load)

    @property
    def settled(self) -> bool:
        """No count differs from another of its row by more than one."""
        used = self.counts[:, self.columns]
        return bool((used.max(axis=1) - used.min(axis=1)).max() <= 1)

    def change(self, i: int, j: int, a: int, b: int) -> float:
        """What the sum of squares gains when piece i goes from a to b and j from b to a."""
        ki, kj, n = self.key[i], self.key[j], self.counts
        if ki == kj or a == b:
            return 0.0
        gain = n[ki, b] - n[ki, a] + n[kj, a] - n[kj, b] + 2
        return self.weight * 2.0 * float(gain)

    def swap(self, i: int, j: int, a: int, b: int) -> None:
        self.counts[self.key[i], a] -= 1
        self.counts[self.key[i], b] += 1
        self.counts[self.key[j], b] -= 1
        self.counts[self.key[j], a] += 1


def onto_places(
    keys: Sequence[Integers],
    load: Integers,
    places: int,
    rng: np.random.Generator,
    used: Sequence[Floats],
) -> Integers:
    """Give the pieces of one bake their places, load after load.

    Parameters
    ----------
    keys : sequence of int arrays, shape (n,)
        What is to be even over places, the most important first.
    load : int array, shape (n,)
    used : sequence of float arrays, shape (levels of the key, places)
        How often each has lain there in earlier bakes; counted on here.

    Returns
    -------
    int array, shape (n,)
        Place of each piece, from 0.
    """
    from scipy.optimize import linear_sum_assignment

    place = np.empty(len(load), dtype=np.int64)
    weights = [1000.0, 30.0, 1.0][: len(keys)]
    for one in range(int(load.max()) + 1):
        pieces = np.flatnonzero(load == one)
        cost = rng.uniform(0, 1e-3, (len(pieces), places))
        for key, weight, counts in zip(keys, weights, used, strict=True):
            # the next one costs what stands there already, above the emptiest place of its own
            there = counts[key[pieces]]
            cost += weight * (there - there.min(axis=1, keepdims=True))
        rows, columns = linear_sum_assignment(cost)
        place[pieces[rows]] = columns
        for key, counts in zip(keys, used, strict=True):
            np.add.at(counts, (key[pieces], place[pieces]), 1.0)
    return place


def blind_codes(count: int, rng: np.random.Generator) -> Integers:
    """Three-digit codes without repeats, none beginning with 0; four digits beyond 900 pieces.

    Common practice in tasting, no source.
    """
    digits = 3
    while count > 9 * 10 ** (digits - 1):
        digits += 1
    low = 10 ** (digits - 1)
    codes: Integers = low + rng.permutation(9 * low)[:count]
    return codes
