"""Allergens that an ingredient's name or role says it holds.

Lists: Regulation (EU) No 1169/2011, Annex II, fourteen groups, among them cereals containing gluten
with wheat, rye, barley and oats by name; in the United States nine (FALCPA 2004, FASTER Act 2021),
among them wheat but not barley. A name says only so much: a mixed ingredient's own label decides.
"""

import re
from collections.abc import Iterable
from dataclasses import dataclass

from kit.formula.formula import Formula
from kit.words import capital, join

__all__ = ["Allergen", "allergen_sentences", "allergens", "contained", "may_spoil"]


@dataclass(frozen=True)
class Allergen:
    """One allergen and the ingredients that bring it.

    Parameters
    ----------
    name : str
        As it is declared.
    sources : tuple of str
        Ingredients.
    us : bool
        Whether it is on the list of the United States too; all are on the European one.
    """

    name: str
    sources: tuple[str, ...]
    us: bool


#: name, on the list of the United States, words in an ingredient's name
_WORDS: tuple[tuple[str, bool, str], ...] = (
    ("wheat", True, r"wheat(?!grass)\w*|spelt|durum|semolina|emmer|einkorn|kamut|khorasan|farro"),
    ("rye", False, r"rye"),
    ("barley", False, r"barley"),
    ("oats", False, r"oats?|oatmeal"),
    ("milk", True, r"(?:butter)?milk|butter|cream|yogh?urt|whey|cheese|kefir|ghee|quark|casein"),
    ("egg", True, r"eggs?"),
    ("soy", True, r"soya?|soybeans?|tofu"),
    ("peanut", True, r"peanuts?"),
    (
        "tree nuts",
        True,
        r"almonds?|hazelnuts?|walnuts?|pecans?|cashews?|pistachios?|macadamias?|brazil nuts?",
    ),
    ("sesame", True, r"sesame|tahini"),
    ("mustard", False, r"mustard"),
    ("celery", False, r"celery"),
    ("lupin", False, r"lupins?"),
    ("fish", True, r"fish|anchov(?:y|ies)"),
    ("sulphites", False, r"sulphites?|sulfites?"),
)
#: of these with gluten; wheat is on both lists
_GLUTEN = ("wheat", "rye", "barley", "oats")
#: words after which milk, butter and cream come from no cow
_NO_DAIRY = re.compile(
    r"\b(oat|soya?|almond|rice|coconut|hemp|pea|peanut|cashew|hazelnut|cocoa|cacao|shea|nut|apple|"
    r"vegan|plant)[\s-]+(based\s+)?(milk|butter|cream|yogh?urt)|\b(cream of tartar|buckwheat)\b"
)
#: flours of no gluten cereal; any other flour is taken for wheat
_NO_WHEAT = re.compile(
    r"\b(buckwheat|rice|maize|corn|chickpea|gram|potato|tapioca|millet|sorghum|teff|quinoa|amaranth|"
    r"coconut|almond|lentil|pea|soya?|lupin|chestnut|cassava|rye|barley|oat|oats|gluten[\s-]free)\b"
)


def allergens(formula: Formula) -> tuple[Allergen, ...]:
    """List the allergens of a formula, in the order of the table.

    Parameters
    ----------
    formula : Formula
        Flour that does not say otherwise is wheat; malt that does not say otherwise is barley. An
        ingredient at 0 % is not in it.

    Examples
    --------
    >>> dough = Formula.from_lines("Dough", [
    ...     ("bread flour", "flour", 100), ("oat milk", "liquid", 70), ("malt", "malt", 1)])
    >>> [(one.name, one.us) for one in allergens(dough)]
    [('wheat', True), ('barley', False), ('oats', False)]
    """
    found: dict[str, list[str]] = {}
    for one in formula.ingredients:
        if one.percent != 0:
            for name in _of(one.name, one.role):
                found.setdefault(name, []).append(one.short)
    return tuple(
        Allergen(name, tuple(dict.fromkeys(found[name])), us)
        for name, us, _ in _WORDS
        if name in found
    )


def may_spoil(formula: Formula) -> bool:
    """Whether milk or egg is in it: its dough may count as food that must be kept cold."""
    return not {"milk", "egg"}.isdisjoint(one.name for one in allergens(formula))


def allergen_sentences(formula: Formula) -> tuple[str, ...]:
    """Say what a formula contains, what two laws make of it, and what is left to the local one."""
    listed = allergens(formula)
    if not listed:
        return (
            "No allergen is evident from the ingredients' names; read the label of each.",
            _LOCAL,
        )
    parts = [f"{one.name} ({join(one.sources)})" for one in listed]
    sentences = [f"Contains {join(parts)}."]
    only_eu = [one.name for one in listed if not one.us]
    if only_eu:
        gluten = [name for name in only_eu if name in _GLUTEN[1:]]
        also = " as with wheat" if any(one.name == "wheat" for one in listed) else ""
        verb = "is" if len(only_eu) == 1 else "are"
        text = f"{capital(join(only_eu))} {verb} on the European list, not on the American one"
        if gluten:
            text += f"; gluten comes with {join(gluten)}{also}"
        sentences.append(text + ".")
    return (*sentences, _LOCAL)


_LOCAL = (
    "Taken from the ingredients' names: their labels decide. Traces, and whether and how to print "
    "“may contain”, are for your local food law to say."
)


def contained(lines: Iterable[tuple[str, str]]) -> str:
    """Name what ingredients, as (name, role), contain by their names; not which contains what.

    Examples
    --------
    >>> contained([("bread flour", "flour"), ("malt", "malt"), ("sesame", "other")])
    'wheat and barley (gluten) and sesame'
    >>> contained([("rice flour", "flour")])
    ''
    """
    found = {allergen for name, role in lines for allergen in _of(name, role)}
    listed = [name for name, _, _ in _WORDS if name in found]
    cereals = [name for name in listed if name in _GLUTEN]
    others = [name for name in listed if name not in cereals]
    gluten = [f"{join(cereals)} (gluten)"] if cereals else []
    return join([*gluten, *others])


def _of(name: str, role: str) -> list[str]:
    name = name.lower()
    bare = _NO_DAIRY.sub(lambda match: match[1] or "", name)
    found = []
    for allergen, _, words in _WORDS:
        where = bare if allergen == "milk" else name
        if re.search(rf"\b(?:{words})\b", where):
            found.append(allergen)
    if "buckwheat" in name and not re.search(r"\b(wheat|spelt)\b", name):
        found = [allergen for allergen in found if allergen != "wheat"]
    if re.search(r"\bgluten[\s-]free\b", name):
        found = [a for a in found if a not in ("wheat", "rye", "barley")]
    if role == "flour" and not _NO_WHEAT.search(name) and "wheat" not in found:
        found.append("wheat")
    if role == "malt" and not {"wheat", "rye", "oats"} & set(found) and "barley" not in found:
        found.append("barley")
    if role == "egg" and "egg" not in found:
        found.append("egg")
    return found
