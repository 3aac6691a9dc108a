"""From chosen settings to one row a piece: order of mixing, loads, places, codes."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from kit.analysis.moments import Floats, Integers
from kit.formula.numbers import letters
from kit.plan.factors import Factor, Setting
from kit.plan.griddle import blind_codes, into_loads, onto_places
from kit.plan.kitchen import Kitchen

__all__ = ["COLUMNS", "Doughs", "factors_in_order", "lay_out"]

#: Of a plan's runs, before the factors.
COLUMNS = ("bake", "order", "dough", "load", "place", "code", "piece")
_ORDERS = 150


@dataclass(frozen=True)
class Doughs:
    """One bake's doughs.

    Parameters
    ----------
    whole : int array, shape (n,)
        Number of each dough's combination of settings.
    single : int array, shape (n, pieces)
        Number of each piece's combination of settings.
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

    Parameters
    ----------
    whole, single : sequence of dict
        Settings of each combination decided for doughs, and for pieces.
    loaded : sequence of Factor
        Decided for whole loads.
    first_bake : int
        Number of the first bake.

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
    load_points = _load_points(loaded)
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


def _load_points(loaded: Sequence[Factor]) -> list[dict[str, Setting]]:
    points: list[dict[str, Setting]] = [{}]
    for factor in loaded:
        points = [{**p, factor.quantity: s} for s in factor.settings for p in points]
    return points


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
