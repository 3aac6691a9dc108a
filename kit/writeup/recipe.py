"""The trial's formula as the page tells it: what was changed on purpose is no fixed percentage."""

from collections.abc import Iterable, Mapping

import pandas as pd

from kit.errors import KitError
from kit.formula.formula import Formula
from kit.formula.numbers import plain

__all__ = ["recipe"]

#: more values than this are told by the lowest and the highest
_MOST_NAMED = 6


def recipe(formula: Formula, settings: Mapping[str, Iterable[object]]) -> pd.DataFrame:
    """Return a formula's table with what the settings of a trial do to it.

    Parameters
    ----------
    formula : Formula
    settings : mapping
        Factor -> the values that were baked. Those that no formula knows are passed over.

    Returns
    -------
    DataFrame
        As `Formula.to_frame`, and ``changed``: the percentages an ingredient was baked with, where
        a factor sets it; else empty.

    Examples
    --------
    >>> bread = Formula.from_lines("bread", [("flour", "flour", 100), ("malt", "malt", 0.5)])
    >>> recipe(bread, {"malt_percent": [0, 0.6], "retard_hours": [16]})["changed"].tolist()
    ['', '0 or 0.6 (changed on purpose)']
    """
    table = formula.to_frame()
    baked: list[set[float]] = [set() for _ in formula.ingredients]
    for name, values in settings.items():
        versions = [made for value in values if (made := _with(formula, name, value))]
        for i, own in enumerate(formula.ingredients):
            shares = {made.ingredients[i].percent for made in versions}
            if shares - {own.percent}:
                baked[i] |= {share for share in shares if share is not None}
    table["changed"] = [_told(sorted(shares)) for shares in baked]
    return table


def _with(formula: Formula, name: str, value: object) -> Formula | None:
    """The formula with one setting; None where it cannot take it, as malt where it has none."""
    try:
        return formula.with_settings({name: value})
    except KitError:
        return None


def _told(shares: list[float]) -> str:
    """Percentages in words; one alone was not changed, only other than written."""
    if not shares:
        return ""
    shown = list(dict.fromkeys(plain(share) for share in shares))
    if len(shown) == 1:
        return f"{shown[0]} (set by the trial)"
    if len(shown) > _MOST_NAMED:
        return f"{shown[0]} to {shown[-1]} (changed on purpose)"
    return f"{', '.join(shown[:-1])} or {shown[-1]} (changed on purpose)"
