"""One line of a formula: what, in which role, how much."""

import math
from dataclasses import dataclass

from kit import quantities
from kit.errors import InputError, NotFoundError
from kit.formula.numbers import required, short
from kit.formula.water import Water, water_in

__all__ = ["ROLES", "Ingredient"]

#: what an ingredient does in the dough
ROLES = ("flour", "liquid", "salt", "yeast", "malt", "fat", "egg", "sugar", "other")
_MOST_PERCENT = {
    role: quantities.get(f"{role}_percent").possible[1] for role in ("salt", "yeast", "malt")
}
_REMEDY = {
    "malt": "Enzymes work in traces: 1 % is a high dose. Syrup without enzymes has the role sugar.",
    "salt": "Bread takes 1 to 2.5 %.",
    "yeast": "Fresh yeast is mostly 2 to 8 %, dry yeast below 2.5 %.",
}


@dataclass(frozen=True)
class Ingredient:
    """One line of a formula.

    Parameters
    ----------
    name : str
        As on the shelf: "bread flour", "whole milk".
    role : str
        One of `ROLES`.
    percent : float or None
        Of the flour's weight. None where the trial sets it, dough by dough.
    water_fraction : float, optional
        Grams of water in a gram of it; from `kit.formula.water` where not given.
    note : str
        Anything.

    Raises
    ------
    InputError, NotFoundError
        No name, an unknown role, a percentage or share that cannot be.
    """

    name: str
    role: str
    percent: float | None
    water_fraction: float | None = None
    note: str = ""

    def __post_init__(self) -> None:
        if not isinstance(self.name, str) or not self.name.strip():
            raise InputError("ingredient", self.name, "must not be empty", "Give it a name.")
        if self.role not in ROLES:
            raise NotFoundError("role", str(self.role), ROLES)
        if self.percent is not None:
            remedy = _REMEDY.get(self.role, "Enter it in % of the flour's weight.")
            most = _MOST_PERCENT.get(self.role, 1000.0)
            share = required(
                "percent", self.percent, low=0, high=most, remedy=remedy, where=self.name
            )
            object.__setattr__(self, "percent", share)
        if self.water_fraction is not None:
            share = required(
                "water_fraction",
                self.water_fraction,
                low=0,
                high=1,
                remedy="It is the water in one gram: 0.88 for whole milk.",
                where=self.name,
            )
            object.__setattr__(self, "water_fraction", share)

    @property
    def short(self) -> str:
        """Its name as it stands in a sentence: without what follows a comma."""
        return short(self.name)

    @property
    def water(self) -> Water:
        """Share of water, and where it comes from."""
        if self.water_fraction is not None:
            return Water(self.name, self.water_fraction, "given with the ingredient")
        return water_in(self.name, self.role)

    @property
    def water_percent(self) -> float:
        """Water it brings, in % of the flour's weight; NaN while its percentage is open."""
        return math.nan if self.percent is None else self.percent * self.water.fraction
