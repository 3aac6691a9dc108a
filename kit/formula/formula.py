"""A formula: what goes into a dough, in baker's percentages.

All flours together are 100; everything else is measured by them. Effective hydration counts all
water that is added, that in milk, butter and egg included: Σ percent × share of water.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from html import escape
from typing import Any

import pandas as pd

from kit.errors import InputError, NotFoundError
from kit.formula.ingredient import Ingredient
from kit.formula.numbers import plain, required
from kit.formula.settings import at_percents, hydration_percent, put_all, put_in
from kit.words import join

__all__ = ["Formula"]

#: how far from 100 the flours may be: what rounding to a tenth does to a few of them
_FLOUR_SLACK = 0.05


@dataclass(frozen=True)
class Formula:
    """Ingredients in baker's percentages; the flours together are 100.

    Parameters
    ----------
    name : str
        What it makes.
    ingredients : sequence of Ingredient
        In the order of the sheet.
    note : str
        Anything.

    Raises
    ------
    InputError
        No ingredients, the same name twice, or flours that do not make 100.

    Examples
    --------
    >>> muffin = Formula.from_lines("Muffin", [
    ...     ("bread flour", "flour", 100), ("water", "liquid", 40),
    ...     ("whole milk", "liquid", 30), ("salt", "salt", 1.8), ("diastatic malt", "malt", None),
    ... ])
    >>> round(muffin.hydration_percent, 2)
    66.4
    >>> print(muffin.with_setting("malt_percent", 0.8))
    Muffin
      100 %  bread flour
       40 %  water
       30 %  whole milk (88 % water)
      1.8 %  salt
      0.8 %  diastatic malt
    In all 172.6 % of the flour's weight; hydration 66.4 % (water 40, whole milk 26.4).
    """

    name: str
    ingredients: tuple[Ingredient, ...]
    note: str = ""

    def __post_init__(self) -> None:
        if not isinstance(self.name, str) or not self.name.strip():
            raise InputError("formula", self.name, "must not be empty", "Give it a name.")
        object.__setattr__(self, "ingredients", tuple(self.ingredients))
        seen: set[str] = set()
        for one in self.ingredients:
            if one.name in seen:
                remedy = "Put the two together, or tell them apart by name."
                raise InputError("ingredient", one.name, "is there twice", remedy)
            seen.add(one.name)
        flours = self.of_role("flour")
        if not flours:
            raise InputError(
                "flour", None, "must not be empty", "Add the flour: it is 100 % by definition."
            )
        for one in flours:
            if one.percent is None:
                raise InputError(
                    "percent", None, "must not be empty", "Flour cannot be left open.", one.name
                )
        total = math.fsum(one.percent or 0.0 for one in flours)
        if abs(total - 100) > _FLOUR_SLACK:
            raise InputError("flour", total, "must add up to 100", _flour_remedy(flours, total))

    @classmethod
    def from_lines(cls, name: str, lines: Iterable[Any], note: str = "") -> "Formula":
        """Make a formula from short lines.

        Parameters
        ----------
        name : str
            What it makes.
        lines : iterable
            Each a sequence ``(name, role, percent)``, or anything with attributes of these names
            such as a line of the formula kept with a trial.
        note : str
            Anything.
        """
        return cls(name, tuple(_line(one) for one in lines), note)

    @classmethod
    def from_weights(cls, name: str, lines: Iterable[tuple[str, str, float]]) -> "Formula":
        """Make a formula from a recipe that gives weights.

        Parameters
        ----------
        name : str
            What it makes.
        lines : iterable of (name, role, weight)
            Weights in grams, or all in any other one unit.

        Raises
        ------
        InputError
            A weight below 0, or no flour.

        Examples
        --------
        >>> dough = Formula.from_weights("Dough", [("flour", "flour", 40), ("water", "liquid", 23)])
        >>> dough["water"].percent
        57.5
        """
        rows = [
            (what, role, required("weight", weight, low=0, where=str(what)))
            for what, role, weight in lines
        ]
        flour = math.fsum(weight for _, role, weight in rows if role == "flour")
        required(
            "flour", flour, above=0, remedy="Baker's percentages are measured by the flour: add it."
        )
        for what, _, weight in rows:
            if weight > 10 * flour:  # no ingredient is more
                rule = f"is not a tenth of the {what}, {weight:g}"
                remedy = "A point or comma stands before decimals: write 1200, not 1.200."
                raise InputError("flour", flour, rule, remedy)
        made = [Ingredient(what, role, 100 * weight / flour) for what, role, weight in rows]
        return cls(name, tuple(made))

    def __getitem__(self, name: str) -> Ingredient:
        """Return one ingredient by name.

        Raises
        ------
        NotFoundError
            Lists the ingredients there are.
        """
        for one in self.ingredients:
            if one.name == name:
                return one
        raise NotFoundError("ingredient", name, (one.name for one in self.ingredients))

    def of_role(self, role: str) -> tuple[Ingredient, ...]:
        """Return the ingredients of one role."""
        return tuple(one for one in self.ingredients if one.role == role)

    @property
    def open(self) -> tuple[Ingredient, ...]:
        """Ingredients whose percentage the trial still has to set."""
        return tuple(one for one in self.ingredients if one.percent is None)

    def open_of(self, role: str) -> bool:
        """Whether an ingredient of this role still has no percentage."""
        return any(one.percent is None for one in self.of_role(role))

    @property
    def total_percent(self) -> float:
        """All ingredients together, in % of the flour; an open one counts as nothing yet."""
        return math.fsum(one.percent or 0.0 for one in self.ingredients)

    @property
    def hydration_percent(self) -> float:
        """All water, that in milk, butter and egg included, in % of the flour's weight."""
        return hydration_percent(self.ingredients)

    def with_percent(self, name: str, percent: float) -> "Formula":
        """Return the formula with one ingredient at another percentage."""
        return self.with_percents({self[name].name: percent})

    def with_percents(self, percents: Mapping[str, float]) -> "Formula":
        """Return the formula with some ingredients, by name, at other percentages."""
        return self._of(at_percents(self.ingredients, percents))

    def with_setting(self, name: str, value: float) -> "Formula":
        """Return the formula with one setting of a trial put in.

        Parameters
        ----------
        name : str
            ``malt_percent``, ``salt_percent``, ``yeast_percent`` or ``hydration_percent``, or an
            ingredient's own name, with or without ``_percent`` at the end.
        value : float
            In % of the flour's weight. Hydration is reached by scaling the liquids alike; the
            water in butter and egg stays.

        Raises
        ------
        InputError, NotFoundError
            A setting that the formula has no ingredient for, or a value it cannot take.
        """
        return self._of(put_in(self.ingredients, name, value))

    def with_settings(self, settings: Mapping[str, object]) -> "Formula":
        """Return the formula with the settings of one dough put in.

        Settings that a formula knows nothing about, such as ``retard_hours``, are passed over;
        hydration is put in last.
        """
        return self._of(put_all(self.ingredients, settings))

    def _of(self, lines: tuple[Ingredient, ...]) -> "Formula":
        return self if lines is self.ingredients else replace(self, ingredients=lines)

    def __repr__(self) -> str:
        return (
            f"<Formula {self.name}: {len(self.ingredients)} ingredients, "
            f"{plain(self.total_percent)} %, hydration {plain(self.hydration_percent, 1)} %>"
        )

    def __str__(self) -> str:
        shown = ["open" if i.percent is None else plain(i.percent) + " %" for i in self.ingredients]
        width = max(len(text) for text in shown) + 2
        lines = [
            f"{text:>{width}}  {one.name}{_of_which_water(one)}"
            for one, text in zip(self.ingredients, shown, strict=True)
        ]
        return "\n".join([self.name, *lines, self.summary, *([self.note] if self.note else [])])

    @property
    def summary(self) -> str:
        """Total and hydration in a sentence."""
        left = f" and {join(one.short for one in self.open)}, still to be set" if self.open else ""
        wet = [one for one in self.ingredients if one.percent and one.water_percent > 0]
        parts = ", ".join(f"{one.short} {plain(one.water_percent, 1)}" for one in wet)
        where = f" ({parts})" if len(wet) > 1 else ""
        return (
            f"In all {plain(self.total_percent)} % of the flour's weight{left}; "
            f"hydration {plain(self.hydration_percent, 1)} %{where}."
        )

    def _repr_html_(self) -> str:
        rows = "".join(
            f"<tr><td>{escape(one.name)}</td><td>{escape(one.role)}</td><td>"
            f"{'open' if one.percent is None else plain(one.percent)}</td></tr>"
            for one in self.ingredients
        )
        return (
            f"<table><caption>{escape(self.name)}</caption><thead><tr><th>Ingredient</th>"
            f"<th>Role</th><th>% of flour</th></tr></thead><tbody>{rows}</tbody></table>"
            f"<p>{escape(self.summary)}</p>" + (f"<p>{escape(self.note)}</p>" if self.note else "")
        )

    def to_frame(self) -> pd.DataFrame:
        """One row an ingredient: name, role, percent, water_fraction, water_percent, note."""
        frame = pd.DataFrame([vars(one) for one in self.ingredients])
        return frame.assign(
            percent=frame["percent"].astype(float),
            water_fraction=[one.water.fraction for one in self.ingredients],
            water_percent=[one.water_percent for one in self.ingredients],
        )[["name", "role", "percent", "water_fraction", "water_percent", "note"]]


def _of_which_water(one: Ingredient) -> str:
    fraction = one.water.fraction
    return f" ({plain(100 * fraction)} % water)" if 0 < fraction < 1 else ""


def _line(given: Any) -> Ingredient:
    if isinstance(given, Ingredient):
        return given
    if isinstance(given, Mapping):
        return Ingredient(**given)
    if isinstance(given, Sequence) and not isinstance(given, str) and 3 <= len(given) <= 5:
        return Ingredient(*given)
    if all(hasattr(given, word) for word in ("name", "role", "percent")):
        return Ingredient(given.name, given.role, given.percent, note=getattr(given, "note", ""))
    raise InputError("ingredient", given, "must be name, role and percent", _LINE_REMEDY)


_LINE_REMEDY = 'Write ("salt", "salt", 1.8).'


def _flour_remedy(flours: Sequence[Ingredient], total: float) -> str:
    general = "In baker's percentages all flours together are 100 and the rest is measured by them."
    if total <= 0:
        return general
    nearest = ", ".join(f"{one.name} {plain(100 * (one.percent or 0.0) / total)}" for one in flours)
    return f"{general} Kept in proportion they would be: {nearest}."
