"""Whether each setting kept to places of its own, so that the griddle may be its doing.

A griddle is hotter here than there. Shared out piece by piece, that is chance and in the interval;
where one setting lay on the left and the other on the right in every bake, it is in the
difference, and nothing in the numbers tells. How far settings and places went together is
Cramér's V² (1946, *Mathematical Methods of Statistics*, ch. 21). Pieces of a dough mostly lie side
by side; so it is doughs that are shared out anew to say how often lots would keep them so apart,
bakes or pieces where the factor was decided for them. Where lots can hardly do anything else, as in
two or three bakes, it is a fact all the same that the griddle is in the difference.
"""

from collections.abc import Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from kit.analysis import words
from kit.analysis.looks import ALARM, Finding
from kit.analysis.moments import Floats, Integers
from kit.analysis.structure import MOST_SETTINGS
from kit.analysis.turns import BY_LOT, KEPT

__all__ = ["on_places"]

_PLACE = "place"
#: So much of what tells the settings apart goes with the places: half of what a hot corner does
#: would be in the difference (own choice).
_TOGETHER = 0.5
#: So many ways to share out are drawn, the fewer the more there is to share out; a chance of 1 in 4
#: or 8 may come out this much larger then.
_WAYS, _ROOM, _NEARLY = (1000, 8000), 1_000_000, 1.1
#: Units of more than one setting are slips up to this share of them, as `experiments.unit_of` does.
_SLIPS = 0.25
#: Pieces are too few to be kept apart where as many would be so by chance as often (chi-square),
#: with each place one setting's own (own choice; else 1 in 100).
_WHOLLY, _SAME = 0.05, 1e-6


def on_places(used: pd.DataFrame, factors: Sequence[str], units: pd.DataFrame) -> list[Finding]:
    """Look at where on the griddle the settings of each factor lay.

    Parameters
    ----------
    used : DataFrame
        One row a piece that counted; places are in a column ``place``.
    factors : sequence of str
    units : DataFrame
        Row by row of `used`, numbers ``bake, dough``.

    Returns
    -------
    list of Finding
        Empty where places are not known, or the settings did not keep to them.
    """
    from scipy.stats import chi2_contingency

    if _PLACE not in used:
        return []
    found = []
    for factor in factors:
        known = used[[_PLACE, factor]].notna().all(axis=1)
        lay = pd.crosstab(used[_PLACE], used[factor])
        places, settings = lay.shape
        if factor == _PLACE or not (2 <= settings <= MOST_SETTINGS and places >= 2):
            continue
        together = float(_going_together(lay.to_numpy(dtype=float)[None])[0])
        if together < _TOGETHER:
            continue
        chance, utmost, wholly = _by_lot(used.loc[known], factor, units.loc[known])
        # that few bakes can be shared out in few ways does not take the griddle out of them
        as_it_is = utmost and chi2_contingency(lay, correction=False).pvalue < (
            _WHOLLY if wholly else ALARM
        )
        alarm = bool(as_it_is or chance < _NEARLY * KEPT)
        if not alarm and chance > _NEARLY * BY_LOT:
            continue
        text = _text(factor, lay, together < 1 - _SAME)
        if _NEARLY * KEPT <= chance < 1 - _SAME:
            text += f"; lots would have it 1 time in {round(1 / chance)}"
        found.append(Finding("place", text, alarm))
    return found


def _going_together(tables: Floats) -> Floats:
    """Cramér's V² of counts, shape (tables, places, settings)."""
    total = tables.sum(axis=(1, 2), keepdims=True)
    even = tables.sum(axis=2, keepdims=True) * tables.sum(axis=1, keepdims=True) / total
    chi2 = ((tables - even) ** 2 / even).sum(axis=(1, 2))
    v: Floats = chi2 / (total[:, 0, 0] * (min(tables.shape[1:]) - 1))
    return v


def _by_lot(used: pd.DataFrame, factor: str, units: pd.DataFrame) -> tuple[float, bool, bool]:
    """Chance that lots keep the settings so far apart; whether none can more, and whether wholly.

    What is shared out is what the factor was decided for, a few slips apart: bakes among all bakes,
    doughs within their bake, or pieces within their dough.
    """
    setting, dough, bake = (
        pd.factorize(c)[0] for c in (used[factor], units["dough"], units["bake"])
    )
    place = pd.factorize(used[_PLACE])[0]
    unit: Integers = np.arange(len(used))
    own: Integers = setting
    block: Integers = dough
    main, mixed = _decided(dough, setting)
    if mixed <= _SLIPS:
        unit, own, block = dough, main, bake[np.unique(dough, return_index=True)[1]]
        main, mixed = _decided(block, own)
        if mixed <= _SLIPS:
            unit, own, block = bake, main, np.zeros(len(main), dtype=int)
    own = pd.factorize(own)[0]
    lies = np.zeros((len(own), place.max() + 1), dtype=np.float32)
    np.add.at(lies, (unit, place), 1)
    order = np.argsort(block, kind="stable")
    lies, own, ends = lies[order], own[order], np.flatnonzero(np.diff(block[order])) + 1
    settings = np.arange(own.max() + 1)
    if len(settings) < 2:
        return 1.0, True, False
    rng = np.random.default_rng(1946)
    ways = int(np.clip(_ROOM // max(len(own), lies.shape[1] * len(settings)), *_WAYS))
    drawn = np.tile(own.astype(np.int8), (ways, 1))
    for part in np.split(drawn, ends, axis=1):
        rng.permuted(part, axis=1, out=part)
    each = [_counts(drawn == k, lies) for k in settings]
    there = _going_together(np.stack([_counts(own[None] == k, lies) for k in settings], axis=2))[0]
    apart = _going_together(np.stack(each, axis=2))
    chance = float((apart > there - _SAME).mean())
    return chance, not (apart > there + _SAME).any(), bool(there > 1 - _SAME)


def _decided(group: Integers, setting: Integers) -> tuple[Integers, float]:
    """The main setting of each group, and the share of groups with more than one."""
    counts = np.zeros((group.max() + 1, setting.max() + 1))
    np.add.at(counts, (group, setting), 1)
    return counts.argmax(axis=1), float(((counts > 0).sum(axis=1) > 1).mean())


def _counts(has: NDArray[np.bool_], lies: NDArray[np.float32]) -> Floats:
    """Pieces on each place of the units that have a setting, way by way."""
    counts: Floats = (has.astype(np.float32) @ lies).astype(float)
    return counts


def _text(factor: str, lay: pd.DataFrame, mostly: bool) -> str:
    home = (lay / lay.sum()).to_numpy().argmax(axis=1)
    told = []
    for i, setting in enumerate(lay.columns):
        own = [f"{p:g}" if isinstance(p, float) else str(p) for p in lay.index[home == i]]
        if own:
            places = f"place{'s' if len(own) > 1 else ''} {words.join(own)}"
            told.append(f"{words.amount(factor, setting)} on {places}")
    return (
        f"the settings {'mostly ' if mostly else ''}kept to places of their own ("
        f"{'; '.join(told)}): what the griddle does there (a hot corner, a cool rim) is in the "
        "difference. Let every setting lie on every place in the next bakes"
    )
