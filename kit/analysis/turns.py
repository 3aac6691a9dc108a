"""Whether the settings stood in the same turn in every bake, so that the turn may be their doing.

What comes later waits longer and meets another griddle. Drawn by lot, such an effect is chance and
is in the interval (Fisher 1926, J Min Agric 33:503); with one and the same order in every bake it
is in the difference, and nothing in the numbers tells.
"""

import math

import numpy as np
import pandas as pd

from kit.analysis import words
from kit.analysis.experiments import held
from kit.analysis.looks import Finding
from kit.analysis.moments import Floats
from kit.analysis.structure import MOST_SETTINGS, safe_name

__all__ = ["BY_LOT", "KEPT", "turns"]

#: An order kept that lots drawn anew for every bake would keep more often than this says nothing:
#: two settings in three bakes are just enough (1 in 4).
BY_LOT = 0.25
#: And one that they would keep no more often than this is something to think about: two settings
#: in four bakes (1 in 8).
KEPT = 0.125


def turns(rows: pd.DataFrame, labels: pd.DataFrame, by: str, listed: bool = True) -> list[Finding]:
    """Look at the order of the settings within the bakes, by doughs and by loads.

    Parameters
    ----------
    rows : DataFrame
        In the order they were written down: numbers ``bake, dough, load`` and the factor.
    labels : DataFrame
        Their own names; loads go by their numbers where they have such.
    by : str
    listed : bool
        Whether the order of the doughs means their turn: not where the factor itself decides when
        a dough is mixed.

    Returns
    -------
    list of Finding
        Empty where no bake has two settings in a turn, or too few bakes to see one kept.
    """
    setting = rows[safe_name(by)]
    if setting.nunique() > MOST_SETTINGS:
        return []
    place = pd.Series(np.arange(len(rows)), rows.index)
    number = pd.to_numeric(labels["load"], errors="coerce")
    asked = {"dough": place} if listed and rows["dough"].duplicated().any() else {}
    if rows["load"].min() >= 0:
        asked["load"] = place if number.isna().any() else number
    seen: list[str] = []
    kept: dict[tuple[tuple[object, ...], int, float], list[str]] = {}
    for kind, turn in asked.items():
        if held(rows[kind], setting).max() > 1:
            continue
        once = pd.DataFrame(
            {"bake": rows["bake"], "unit": rows[kind], "setting": setting, "turn": turn}
        ).drop_duplicates("unit")
        order, bakes, chance = _order(once)
        if chance > 1.01 * BY_LOT:  # rounding
            continue
        seen.append(f"{kind}s")
        if order:
            kept.setdefault((tuple(order), bakes, chance), []).append(f"{kind}s")
    if not seen:
        return []
    if not kept:
        text = "the settings came in different turns from bake to bake"
        return [Finding("turn", f"{text}, as the {words.join(seen)} are listed")]
    return [
        Finding("turn", _text(by, order, bakes, kinds, chance), chance < 1.01 * KEPT)
        for (order, bakes, chance), kinds in kept.items()
    ]


def _order(once: pd.DataFrame) -> tuple[list[object], int, float]:
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
    order = [levels[i] for i in np.argsort(-(before == together).sum(axis=1), kind="stable")]
    return (order if same else []), bakes, math.exp(logs)


def _text(by: str, order: tuple[object, ...], bakes: int, kinds: list[str], chance: float) -> str:
    told = [words.amount(by, setting) for setting in order]
    came = f"{told[0]} came before {told[1]}"
    if len(told) > 2:
        came = f"{words.join(told)} came in this order"
    text = f"{came} in all {bakes} bakes, as the {words.join(kinds)} are listed"
    if chance > 1.01 * KEPT:
        often = round(1 / chance)
        return f"{text}, as lots would have it 1 time in {often}: turn them round in the next bakes"
    return (
        f"{text}: if that was their turn, what the turn does (waiting, a griddle that gets hotter) "
        "is in the difference. Draw the turns by lot, or turn them round in the next bakes"
    )
