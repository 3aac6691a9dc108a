"""From chosen settings to one row a piece: order of mixing, loads, places, blind codes.

Doughs and settings are spread over loads as evenly as they go (loads then cross doughs, so that
what the load does is not taken for the dough), and over places from load to load, each new
load filled so that no setting lies where it has lain before while there is another place: with
as many settings as places this is a Latin square (Hall 1935, J Lond Math Soc 10:26: a rectangle
without repeats can always be continued).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from kit.analysis.moments import Floats, Integers
from kit.formula.numbers import letters
from kit.plan.designs.points import full
from kit.plan.designs.treatments import settings_of
from kit.plan.factors import Factor, Setting
from kit.plan.kitchen import Kitchen

__all__ = [
    "COLUMNS", "Doughs", "blind_codes", "factors_in_order", "into_loads", "lay_out", "onto_places",
]  # fmt: skip

#: Of a plan's runs, before the factors.
COLUMNS = ("bake", "order", "dough", "load", "place", "code", "piece")
_ORDERS = 150


@dataclass(frozen=True)
class Doughs:
    """One bake's doughs: the number of each one's combination of settings, shape (n,).

    `single`, shape (n, pieces), is the number of each piece's combination.
    """

    whole: Integers
    single: Integers


def lay_out(
    bakes: Sequence[Doughs],
    whole: Sequence[dict[str, Setting]],
    single: Sequence[dict[str, Setting]],
    loaded: Sequence[Factor],
    kitchen: Kitchen,
    rng: np.random.Generator,
    first_bake: int = 1,
) -> pd.DataFrame:
    """Order the doughs, fill the griddle, and give the pieces blind codes.

    `whole` and `single` are the settings of each combination decided for doughs, and for pieces;
    `loaded` is decided for whole loads. The bakes are numbered from `first_bake`.

    Returns
    -------
    DataFrame
        Columns `COLUMNS`, then the factors; rows in the order of bake, load, place.
    """
    alone, size = replace(kitchen, shared_loads=False), bakes[0].single.shape
    if "proof_ratio" in single[0] and len(whole) == 1 and not loaded:
        # a dough that is on the griddle as a whole is shaped in few parts, and none of them waits
        if alone.loads_needed(*size) == kitchen.loads_needed(*size):
            kitchen = alone
    orders = _orders([b.whole for b in bakes], whole, rng)
    load_points = settings_of(loaded, full([len(f.settings) for f in loaded])) if loaded else [{}]
    used: list[Floats] = [
        np.zeros((len(single), kitchen.places)),
        np.zeros((len(whole), kitchen.places)),
    ]
    if len(single) == 1:
        used.reverse()  # nothing decided for pieces: the doughs' settings go round the places
    keys = _keys(single)
    dealt = [np.zeros((int(key.max()) + 1, -(-size[1] // kitchen.places))) for key in keys]
    frames = []
    for number, (bake, order) in enumerate(zip(bakes, orders, strict=True), start=first_bake):
        frames.append(
            _one_bake(
                number, Doughs(bake.whole[order], bake.single[order]), whole, single,
                load_points, kitchen, rng, used, keys, dealt,
            )
        )  # fmt: skip
    runs = pd.concat(frames, ignore_index=True)
    runs.insert(5, "code", _codes(runs["bake"], rng))
    return runs


def _codes(bake: pd.Series, rng: np.random.Generator) -> Integers:
    """No repeats in the trial while three digits last, never within a bake."""
    if len(bake) <= 900:
        return blind_codes(len(bake), rng)
    parts = [blind_codes(int(n), rng) for n in bake.value_counts(sort=False)]
    return np.concatenate(parts)


def _orders(
    bakes: Sequence[Integers], whole: Sequence[dict[str, Setting]], rng: np.random.Generator
) -> list[Integers]:
    """Random orders of mixing, no setting always at the same turn: the evenest of several."""
    keys = _keys(whole)
    longest = max(len(b) for b in bakes)
    best: tuple[float, list[Integers]] | None = None
    for _ in range(_ORDERS):
        orders: list[Integers] = [rng.permutation(len(b)) for b in bakes]
        uneven = 0.0
        for key in keys:
            turns = np.zeros((int(key.max()) + 1, longest))
            for bake, order in zip(bakes, orders, strict=True):
                turns[key[bake[order]], np.arange(len(order))] += 1
            uneven += float((turns**2).sum()) ** 2  # no one factor is left behind
        if best is None or uneven < best[0]:
            best = uneven, orders
    assert best is not None
    return best[1]


def _keys(points: Sequence[dict[str, Setting]]) -> list[Integers]:
    """Number of each combination, then of its setting of each factor."""
    keys: list[Integers] = [np.arange(len(points))]
    for name in points[0]:
        keys.append(pd.factorize(pd.Series([p[name] for p in points], dtype=object))[0])
    return keys


def _loads_of(kitchen: Kitchen, doughs: int, pieces: int, kinds: int) -> int:
    """How often the griddle is filled, a multiple of the settings decided for loads if it can."""
    loads = kitchen.loads_needed(doughs, pieces)
    even = -(-loads // kinds) * kinds
    return even if kitchen.loads_per_bake is None or even <= kitchen.loads_per_bake else loads


def _one_bake(
    number: int,
    bake: Doughs,
    whole: Sequence[dict[str, Setting]],
    single: Sequence[dict[str, Setting]],
    load_points: Sequence[dict[str, Setting]],
    kitchen: Kitchen,
    rng: np.random.Generator,
    used: list[Floats],
    of: Sequence[Integers],
    dealt: list[Floats],
) -> pd.DataFrame:
    doughs, pieces = bake.single.shape
    dough = np.repeat(np.arange(doughs), pieces)
    setting = bake.single.ravel()
    group = bake.whole[dough]
    loads = _loads_of(kitchen, doughs, pieces, len(load_points))
    kind = rng.permutation(np.arange(loads) % len(load_points))
    if kitchen.shared_loads:
        load = into_loads(dough, setting, group, loads, rng, kind if len(load_points) > 1 else None)
        # loads made up to whole rounds of settings may outnumber the pieces: none is left empty
        filled, load = np.unique(load, return_inverse=True)
        kind = kind[filled]
    else:
        load = _own_loads(bake.single, of, dealt, rng)
    keys = [setting, group, dough] if len(single) > 1 else [group, setting, dough]
    here = [*used, np.zeros((doughs, kitchen.places))]
    place = onto_places(keys, load, kitchen.places, rng, here)
    rows = pd.DataFrame(
        {"bake": number, "order": dough + 1, "dough": "", "load": load + 1, "place": place + 1}
    )
    rows["dough"] = [f"{number}{letters(int(d) + 1)}" for d in dough]
    for points, index in ((whole, group), (single, setting), (load_points, kind[load])):
        for name in points[0]:
            rows[name] = [points[i][name] for i in index]
    rows = rows.sort_values(["load", "place"], ignore_index=True)
    nth = rows.groupby("dough").cumcount() + 1
    rows.insert(5, "piece", rows["dough"] + nth.astype(str))
    return rows


def _own_loads(
    single: Integers, keys: Sequence[Integers], dealt: list[Floats], rng: np.random.Generator
) -> Integers:
    """Loads that hold one dough each, in turn of mixing; its settings dealt to them by lot.

    Of several lots the one that gives every setting (`keys`) the first load, the second and so on
    most nearly alike, together with what the bakes before have `dealt`, which is counted up.
    """
    doughs, pieces = single.shape
    own = dealt[0].shape[1]
    best: tuple[float, Integers, list[Floats]] | None = None
    for _ in range(_ORDERS if own > 1 else 1):
        nth = np.empty_like(single)
        for one, settings in enumerate(single):
            lot = rng.permutation(len(keys[0]))[settings]
            order = np.lexsort((rng.permutation(pieces), lot))
            nth[one, order] = rng.permutation(own)[np.arange(pieces) % own]
        counts = [table.copy() for table in dealt]
        for key, table in zip(keys, counts, strict=True):
            np.add.at(table, (key[single], nth), 1)
        uneven = sum(float(((t - t.mean(axis=1, keepdims=True)) ** 2).sum()) for t in counts)
        if best is None or uneven < best[0]:
            best = uneven, nth, counts
    assert best is not None
    dealt[:] = best[2]
    # first mixed, first baked: chilled alike
    load: Integers = (np.arange(doughs)[:, np.newaxis] * own + best[1]).ravel()
    return load


def factors_in_order(runs: pd.DataFrame, factors: Sequence[Factor]) -> pd.DataFrame:
    """The same runs, the factors last in the order they were given."""
    names = [f.quantity for f in factors]
    return runs[[c for c in runs.columns if c not in names] + names]


_TRIES = 4000


def into_loads(
    dough: Integers,
    setting: Integers,
    group: Integers,
    loads: int,
    rng: np.random.Generator,
    load_setting: Integers | None = None,
) -> Integers:
    """Deal one bake's pieces to loads that are all but equally full; the load of each, from 0.

    `dough`, `setting` and `group`, shape (n,), are each piece's dough, the number of its setting
    decided for pieces, and that of its dough's setting; `load_setting`, shape (loads,), is the
    setting of each load, kept even over doughs too.
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
    """Give the pieces of one bake their places, load after load; the place of each, from 0.

    `keys`, shape (n,) each, is what is to be even over places, the most important first; `used`,
    shape (levels of the key, places), how often each has lain there in earlier bakes, counted on.
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
