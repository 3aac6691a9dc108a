"""One line of a formula: what, in which role, how much, and how much of that is water.

Water by an ingredient's name: *Composition of Foods*, USDA Agriculture Handbook No. 8, revision of
1976, milk products (as copied at cip.ukcentre.com/milk1.htm) and, for whole raw egg, No. 8-1 (75.33
%). A carton may say otherwise: give `water_fraction` with the ingredient then.
"""

import math
import re
from dataclasses import dataclass

from kit import quantities
from kit.errors import InputError, NotFoundError
from kit.formula.numbers import required, short

__all__ = ["ROLES", "WATER", "Ingredient", "Water", "water_in"]

_HANDBOOK_8 = "USDA Agriculture Handbook No. 8 (1976)"


@dataclass(frozen=True)
class Water:
    """Share of water in an ingredient.

    Parameters
    ----------
    name : str
        Of the food in the table; empty where nothing fits.
    fraction : float
        Grams of water in a gram.
    source : str
        Where the number stands; empty where it is an assumption.
    """

    name: str
    fraction: float
    source: str

    @property
    def known(self) -> bool:
        """Whether it rests on a source, or on being water or dry."""
        return bool(self.source)


#: Words an ingredient's name must hold, most particular first, and what the table says.
WATER: tuple[tuple[str, Water], ...] = tuple(
    (words, Water(name, fraction, _HANDBOOK_8))
    for words, name, fraction in (
        ("sweetened condensed milk", "sweetened condensed milk", 0.272),
        ("evaporated skim milk", "evaporated skim milk", 0.794),
        ("evaporated milk", "evaporated whole milk", 0.740),
        ("buttermilk", "cultured buttermilk", 0.901),
        ("skim milk", "skim milk", 0.908),
        ("skimmed milk", "skim milk", 0.908),
        ("semi-skimmed milk", "lowfat milk", 0.892),
        ("lowfat milk", "lowfat milk", 0.892),
        ("low-fat milk", "lowfat milk", 0.892),
        ("whole milk", "whole milk", 0.880),
        ("milk", "whole milk", 0.880),
        ("sour cream", "cultured sour cream", 0.710),
        ("heavy cream", "heavy whipping cream", 0.577),
        ("whipping cream", "heavy whipping cream", 0.577),
        ("yogurt", "plain yogurt", 0.880),
        ("yoghurt", "plain yogurt", 0.880),
        ("butter", "butter", 0.159),
        ("whole egg", "egg, whole, raw", 0.7533),
        ("egg", "egg, whole, raw", 0.7533),
        ("eggs", "egg, whole, raw", 0.7533),
    )
)
_PURE = Water("water", 1.0, "water is all water")
_DRY = Water("", 0.0, "its own moisture is not counted")
_DRIED = re.compile(r"\b(powder|powdered|dried|dry|solids)\b")
_OTHER_MILK = re.compile(
    r"\b(oat|soy|soya|almond|rice|coconut|hemp|pea|nut|peanut|cocoa|cacao|shea|chocolate|"
    r"almonds?|hazelnut|cashew|apple|white|whites|yolk|yolks)\b"
)
#: roles in which the table is looked up; elsewhere a name such as "milk chocolate" misleads
_WET = ("liquid", "fat", "egg", "")


def water_in(name: str, role: str = "") -> Water:
    """Share of water in an ingredient, from its name and role.

    Parameters
    ----------
    name : str
        E.g. ``"whole milk"``.
    role : str, optional
        One of `kit.formula.ROLES`.

    Returns
    -------
    Water
        For a liquid that the table does not know, 1 without a source: all of it counts as water
        until somebody says otherwise; white or yolk alone likewise counts as whole egg. Flour's
        own moisture, and that of sugar, yeast and the like, is not counted.

    Examples
    --------
    >>> water_in("whole milk 3.3 % fat").fraction, water_in("cold water", "liquid").fraction
    (0.88, 1.0)
    >>> water_in("butter", "fat").fraction, water_in("milk powder", "other").fraction
    (0.159, 0.0)
    >>> water_in("pale ale", "liquid")
    Water(name='', fraction=1.0, source='')
    """
    low = re.sub(r"[\s,]+", " ", name.strip().lower())
    if role in _WET:
        plain = low.replace("semi skimmed", "semi-skimmed").replace("low fat", "low-fat")
        if re.search(r"\bwater\b", plain) and role in ("liquid", ""):
            return _PURE
        dried = _DRIED.search(plain) is not None and role != "liquid"
        if not dried and not _OTHER_MILK.search(plain):
            for words, water in WATER:
                if re.search(rf"(?<![\w-]){re.escape(words)}\b", plain):
                    return water
    if role == "liquid":
        return Water("", 1.0, "")
    if role == "egg" and not _DRIED.search(low):
        egg = WATER[-1][1]
        part = _OTHER_MILK.search(low) is not None  # white or yolk: not in the table
        return Water("", egg.fraction, "") if part else egg
    return _DRY


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
        Grams of water in a gram of it; from `kit.formula.ingredient` where not given.
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
