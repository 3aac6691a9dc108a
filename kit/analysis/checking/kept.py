"""Whether the settings kept to a turn or to places of their own, which may then be their doing.

What comes later waits longer and meets another griddle, which is hotter here than there. Drawn by
lot, such an effect is chance and is in the interval (Fisher 1926, J Min Agric 33:503); with one
order in every bake, or one setting always on the left, it is in the difference, and nothing in the
numbers tells. How far settings and places went together is Cramér's V² (1946, *Mathematical Methods
of Statistics*, ch. 21). Pieces of a dough mostly lie side by side; so it is doughs that are shared
out anew to say how often lots would keep them so apart, bakes or pieces where the factor was
decided for them. Where lots can hardly do anything else, as in two or three bakes, it is a fact all
the same that the griddle is in the difference.
"""

import math
from collections.abc import Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from kit import words
from kit.analysis.answer.fit_checks import Finding
from kit.analysis.checking.looks import ALARM
from kit.analysis.grouping.experiments import SLIPS, held
from kit.analysis.grouping.structure import MOST_SETTINGS, safe_name
from kit.analysis.moments import Floats, Integers

__all__ = ["on_places", "turns"]

#: What lots drawn anew for every bake would keep more often than this says nothing: an order of two
#: settings in three bakes is just enough (1 in 4). What they would keep no more often than the
#: other (1 in 8: two settings in four bakes) is something to think about.
_BY_LOT, _KEPT, _ROUNDING = 0.25, 0.125, 1.01
_PLACE = "place"
#: So much of what tells the settings apart goes with the places: half of what a hot corner does
#: would be in the difference (own choice).
_TOGETHER = 0.5
#: So many ways to share out are drawn, the fewer the more there is to share out; a chance of 1 in 4
#: or 8 may come out this much larger then.
_WAYS, _ROOM, _NEARLY = (1000, 8000), 1_000_000, 1.1
#: Pieces are too few to be kept apart where as many would be so by chance as often (chi-square),
#: with each place one setting's own (own choice; else 1 in 100).
_WHOLLY, _SAME = 0.05, 1e-6


def turns(rows: pd.DataFrame, labels: pd.DataFrame, by: str, listed: bool = True) -> list[Finding]:
    """Look at the order of the settings within the bakes, by doughs and by loads.

    `rows` stand in the order they were written down, with numbers ``bake, dough, load`` and the
    factor; loads go by their names in `labels` where these are numbers. That the order of the
    doughs means their turn (`listed`) is not so where the factor itself decides when a dough is
    mixed. Nothing is said where no bake has two settings in a turn, or too few to see one kept.
    """
    setting = rows[safe_name(by)]
    if setting.nunique() > MOST_SETTINGS:
        return []
    place = pd.Series(np.arange(len(rows)), rows.index)
    number = pd.to_numeric(labels["load"], errors="coerce")
    asked = {"dough": place} if listed and rows["dough"].duplicated().any() else {}
    if rows["load"].min() >= 0:
        asked["load"] = place if number.isna().any() else number
    seen: dict[str, tuple[tuple[object, ...], int, float]] = {}
    for kind, turn in asked.items():
        if held(rows[kind], setting).max() > 1:
            continue
        once = pd.DataFrame(
            {"bake": rows["bake"], "unit": rows[kind], "setting": setting, "turn": turn}
        ).drop_duplicates("unit")
        found = _order(once)
        if found[2] <= _ROUNDING * _BY_LOT:
            seen[f"{kind}s"] = found
    kept = [found for found in dict.fromkeys(seen.values()) if found[0]]
    if seen and not kept:
        text = "the settings came in different turns from bake to bake"
        return [Finding("turn", f"{text}, as the {words.join(seen)} are listed")]
    findings = []
    for order, bakes, chance in kept:
        kinds = [kind for kind in seen if seen[kind] == (order, bakes, chance)]
        text = _in_turn(by, order, bakes, kinds, chance)
        findings.append(Finding("turn", text, chance < _ROUNDING * _KEPT))
    return findings


def _order(once: pd.DataFrame) -> tuple[tuple[object, ...], int, float]:
    """The order kept in all bakes, if one was; bakes with several settings; its chance by lot.

    A setting stands before another where all of its units do.
    """
    levels = list(once["setting"].unique())
    before = np.zeros((len(levels), len(levels)))
    together: Floats = np.zeros_like(before)
    bakes, logs = 0, math.lgamma(len(levels) + 1)
    for _, bake in once.groupby("bake"):
        spans = bake.groupby("setting")["turn"].agg(["min", "max"]).reindex(levels)
        first, last = spans["min"].to_numpy(), spans["max"].to_numpy()
        there = ~np.isnan(first)
        if there.sum() < 2:
            continue
        bakes += 1
        logs -= math.lgamma(int(there.sum()) + 1)
        before += last[:, None] < first
        together += np.outer(there, there)
    np.fill_diagonal(together, 0)
    same = bakes and np.all((before == together) | (before.T == together))
    order = np.argsort(-(before == together).sum(axis=1), kind="stable")
    return tuple(levels[i] for i in order if same), bakes, math.exp(logs)


def _in_turn(
    by: str, order: tuple[object, ...], bakes: int, kinds: list[str], chance: float
) -> str:
    told = [words.amount(by, setting) for setting in order]
    came = f"{told[0]} came before {told[1]}"
    if len(told) > 2:
        came = f"{words.join(told)} came in this order"
    text = f"{came} in all {bakes} bakes, as the {words.join(kinds)} are listed"
    if chance > _ROUNDING * _KEPT:
        often = round(1 / chance)
        text += f", as a draw by lot would have it 1 time in {often}"
        return f"{text}: turn them round in the next bakes"
    return (
        f"{text}: if that was their turn, what the turn does (waiting, a griddle that gets hotter) "
        "is in the difference. Draw the turns by lot, or turn them round in the next bakes"
    )


def on_places(used: pd.DataFrame, factors: Sequence[str], units: pd.DataFrame) -> list[Finding]:
    """Look at where on the griddle the settings of each factor lay.

    Parameters
    ----------
    used : DataFrame
        One row a piece that counted; places are in a column ``place``.
    factors : sequence of str
    units : DataFrame
        Row by row of `used`, numbers ``bake, dough``.
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
        alarm = bool(as_it_is or chance < _NEARLY * _KEPT)
        if not alarm and chance > _NEARLY * _BY_LOT:
            continue
        text = _at_home(factor, lay, together < 1 - _SAME)
        if _NEARLY * _KEPT <= chance < 1 - _SAME:
            text += f"; a draw by lot would have it 1 time in {round(1 / chance)}"
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
    if mixed <= SLIPS:
        unit, own, block = dough, main, bake[np.unique(dough, return_index=True)[1]]
        main, mixed = _decided(block, own)
        if mixed <= SLIPS:
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


def _at_home(factor: str, lay: pd.DataFrame, mostly: bool) -> str:
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
