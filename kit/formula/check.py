"""Unusual amounts, questioned: each doubt says what is usual and who says so."""

from collections.abc import Iterator
from dataclasses import dataclass

from kit import quantities
from kit.formula.formula import Formula
from kit.formula.ingredient import Ingredient
from kit.formula.losses import Basis, rebase_loss
from kit.formula.numbers import plain
from kit.formula.yeast import kind_of
from kit.words import capital

__all__ = ["Doubt", "bake_loss_doubts", "doubts", "malt_doubts"]

_PRACTICE = "common practice, no source"
_ASB = "American Society of Baking, English muffins"
_READ_TWICE = "Is it right?"


@dataclass(frozen=True)
class Doubt:
    """A question to put to the baker.

    Parameters
    ----------
    subject : str
        What it is about: a quantity or an ingredient.
    text : str
        The question.
    source : str
        Who says what is usual.
    """

    subject: str
    text: str
    source: str

    def __str__(self) -> str:
        return f"{self.text} (Source: {self.source}.)"


def doubts(formula: Formula) -> tuple[Doubt, ...]:
    """Question what is unusual in a formula.

    Parameters
    ----------
    formula : Formula
        Ingredients still open are not judged.

    Returns
    -------
    tuple of Doubt
        Empty where nothing is unusual.

    Examples
    --------
    >>> from kit.formula import Formula
    >>> dough = Formula.from_lines("Dough", [
    ...     ("flour", "flour", 100), ("water", "liquid", 68), ("salt", "salt", 4),
    ...     ("instant yeast", "yeast", 0.4)])
    >>> for doubt in doubts(dough):
    ...     print(doubt.text)
    Salt is 4 %, mostly it is 1 to 2.5 %. Is it right?
    """
    found = [*_hydration(formula), *_salt(formula), *_yeast(formula)]
    malts, sugars = formula.of_role("malt"), formula.of_role("sugar")
    if _settled(malts):
        found += malt_doubts(_sum(malts))
    if _settled(sugars) and _sum(sugars) > 5:
        text = f"Sugar is {plain(_sum(sugars))} %; above 5 % it slows the yeast. Is it meant so?"
        found.append(Doubt("sugar", text, "Marek and Bushuk, Cereal Chem. 44:300 (1967)"))
    return tuple(found)


def malt_doubts(malt_percent: float) -> tuple[Doubt, ...]:
    """Question a dose of diastatic malt: more than 1 % of the flour."""
    if malt_percent <= 1:
        return ()
    text = (
        f"Diastatic malt is {plain(malt_percent)} %; 0.5 to 1 % is mostly named as the most, above "
        f"it the crumb may turn sticky and gummy. {_READ_TWICE}"
    )
    source = "two trade pages on diastatic malt, no standard found"
    return (Doubt("malt_percent", text, source),)


def bake_loss_doubts(bake_loss_percent: float, of: Basis = "dough") -> tuple[Doubt, ...]:
    """Question a bake loss outside its usual range, as a share of the dough."""
    loss = rebase_loss(bake_loss_percent, of, "dough")
    low, high = quantities.get("bake_loss_percent").usual
    if low <= loss <= high:
        return ()
    text = (
        f"Bake loss is {plain(loss, 1)} % of the dough, mostly it is 9.8 to 11.5 %. {_READ_TWICE}"
    )
    return (Doubt("bake_loss_percent", text, "bakers' dictionary, Baking Business"),)


def _hydration(formula: Formula) -> Iterator[Doubt]:
    for one in (*formula.of_role("liquid"), *formula.of_role("egg")):
        if not one.water.known:
            like = "all water" if one.role == "liquid" else "whole egg"
            text = (
                f"{capital(one.short)} counts as {like}, because its share of water is not known. "
                "Give water_fraction if it is another."
            )
            yield Doubt(one.name, text, "assumption")
    level = formula.hydration_percent
    low, high = quantities.get("hydration_percent").usual
    if not formula.open_of("liquid") and not low <= level <= high:
        usual = f"{plain(low)} to {plain(high)} %; muffins take 83 to 87 % water"
        text = f"Hydration is {plain(level, 1)} %, mostly it is {usual}. {_READ_TWICE}"
        yield Doubt("hydration_percent", text, f"{_PRACTICE}; {_ASB}")


def _salt(formula: Formula) -> Iterator[Doubt]:
    salts = formula.of_role("salt")
    low, high = quantities.get("salt_percent").usual
    if _settled(salts) and not low <= _sum(salts) <= high:
        usual = f"{plain(low)} to {plain(high)} %"
        text = f"Salt is {plain(_sum(salts))} %, mostly it is {usual}. {_READ_TWICE}"
        source = f"The Bread Baker's Apprentice, 1.5 to 2.5 %; {_ASB}, 1 to 2 %"
        yield Doubt("salt_percent", text, source)


def _yeast(formula: Formula) -> Iterator[Doubt]:
    yeasts = formula.of_role("yeast")
    if not yeasts:
        yield Doubt("yeast_percent", f"There is no yeast. {_READ_TWICE}", _PRACTICE)
    for one in yeasts:
        kind = kind_of(one.name)
        most, source = (8.0, _ASB) if kind == "fresh" else (2.5, _PRACTICE)
        if one.percent is not None and not 0 < one.percent <= most:
            again = _READ_TWICE if kind else "Is it fresh yeast?"
            text = (
                f"{capital(one.short)} is {plain(one.percent)} %, mostly it is at most "
                f"{plain(most)} %. {again}"
            )
            yield Doubt("yeast_percent", text, source)


def _settled(lines: tuple[Ingredient, ...]) -> bool:
    return all(one.percent is not None for one in lines)


def _sum(lines: tuple[Ingredient, ...]) -> float:
    return sum(one.percent or 0.0 for one in lines)
