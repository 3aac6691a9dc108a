"""The trial's formula as pages tell it: what was changed on purpose is no fixed percentage."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

import pandas as pd

from kit import quantities, units
from kit.errors import InputError, KitError, NotFoundError
from kit.formula.formula import Formula
from kit.formula.numbers import plain
from kit.formula.settings import ROLE_SETTINGS, check_named

__all__ = ["at_setting", "changed_by", "left_open", "recipe"]

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


def changed_by(
    formula: Formula, factors: Mapping[str, Sequence[float]]
) -> dict[str, Sequence[float]]:
    """Return those of a trial's factors that change its formula, with what was baked."""
    return {
        name: baked
        for name, baked in factors.items()
        if recipe(formula, {name: baked})["changed"].any()
    }


def left_open(formula: Formula, factors: Mapping[str, Sequence[float]]) -> list[str]:
    """Return the settings that a formula leaves open and the trial does not change.

    Examples
    --------
    >>> lines = [("flour", "flour", 100), ("malt", "malt", None), ("honey", "other", None)]
    >>> bread = Formula.from_lines("bread", lines)
    >>> left_open(bread, {"retard_hours": [16]}), left_open(bread, {"malt_percent": [0, 1]})
    (['malt_percent', 'honey'], ['honey'])
    """
    changed = recipe(formula, factors)["changed"]
    open_ = [
        one
        for one, told in zip(formula.ingredients, changed, strict=True)
        if one.percent is None and not told
    ]
    by_role = {
        role: name for name, role in ROLE_SETTINGS.items() if len(formula.of_role(role)) == 1
    }
    return [by_role.get(one.role, one.name) for one in open_]


def at_setting(
    formula: Formula, factors: Mapping[str, Sequence[float]], settings: Mapping[str, str | float]
) -> Formula:
    """Return a trial's formula at one setting of all that it leaves open or the trial changes.

    Parameters
    ----------
    formula : Formula
    factors : mapping
        What the trial changes -> what was baked. Those that no formula knows are passed over.
    settings : mapping
        Quantity, its label, or what `left_open` names -> value, as typed.

    Raises
    ------
    InputError
        A setting is missing, or lies beyond what was baked.
    NotFoundError
        It is nothing that the trial changes in the formula.

    Examples
    --------
    >>> lines = [("flour", "flour", 100), ("malt, if any", "malt", None)]
    >>> bread = Formula.from_lines("bread", lines)
    >>> print(at_setting(bread, {"malt_percent": [0, 0.8]}, {"Diastatic malt": "0,6"}))
    bread
      100 %  flour
      0.6 %  malt
    In all 100.6 % of the flour's weight; hydration 0 %.
    """
    check_named(settings)
    given: dict[str, str | float] = {}
    for said, value in settings.items():
        name = quantities.called(said)
        if name in given:
            raise InputError(name, value, "is said twice", f"Leave out this or {given[name]}.")
        given[name] = value
    changed, open_ = changed_by(formula, factors), left_open(formula, factors)
    for name in given.keys() - changed.keys() - set(open_):
        known = [*changed, *open_]
        raise NotFoundError("part of the recipe that the trial changes", name, known)
    made = formula
    for name in open_:
        made = made.with_setting(name, _used(name, given.get(name)))
    for name, baked in changed.items():
        quantity = quantities.get(name)
        share = quantity.parse(given.get(name)).value
        shown = {quantity.show(one): one for one in baked}
        if share is not None:
            share = shown.get(quantity.show(share), share)  # as it is told, it may be typed
        if share is None or not min(baked) <= share <= max(baked):
            rule = "must be one that was baked, or between those"
            raise InputError(name, given.get(name), rule, f"Baked were {', '.join(shown)}.")
        made = made.with_setting(name, share)
    # what stood open may be called "malt, as the trial says", and now it is said
    named = (
        replace(one, name=was.short) if was.percent is None else one
        for was, one in zip(formula.ingredients, made.ingredients, strict=True)
    )
    return replace(made, ingredients=tuple(named))


def _used(name: str, typed: str | float | None) -> float:
    quantity = quantities.find(name)
    share = quantity.parse(typed).value if quantity else units.parse(typed, "%", name)
    if share is None:
        remedy = "The formula leaves it open: write how much was used, in % of the flour."
        raise InputError(name, typed, "must not be empty", remedy)
    return share


def _with(formula: Formula, name: str, value: object) -> Formula | None:
    """The formula with one setting; None where it cannot take it, as malt where it has none."""
    try:
        return formula.with_settings({name: value})
    except KitError:
        return None


def _told(shares: list[float]) -> str:
    """Percentages in words; one alone was not changed, only other than written.

    Examples
    --------
    >>> _told([1, 2, 3, 4, 5, 6]), _told([1, 2, 3, 4, 5, 6, 7])
    ('1, 2, 3, 4, 5 or 6 (changed on purpose)', '1 to 7 (changed on purpose)')
    >>> _told([2])
    '2 (set by the trial)'
    """
    if not shares:
        return ""
    shown = list(dict.fromkeys(plain(share) for share in shares))
    if len(shown) == 1:
        return f"{shown[0]} (set by the trial)"
    if len(shown) > _MOST_NAMED:
        return f"{shown[0]} to {shown[-1]} (changed on purpose)"
    return f"{', '.join(shown[:-1])} or {shown[-1]} (changed on purpose)"
