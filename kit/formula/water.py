"""How much of an ingredient is water, by its name: a small cited table.

Sources: *Composition of Foods*, USDA Agriculture Handbook No. 8, revision of 1976, milk products
(as copied at cip.ukcentre.com/milk1.htm) and, for whole raw egg, No. 8-1 (75.33 %). A carton may
say otherwise: give `water_fraction` with the ingredient then.
"""

import re
from dataclasses import dataclass

__all__ = ["WATER", "Water", "water_in"]

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
