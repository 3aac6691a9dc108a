"""Unusual amounts, questioned: each doubt says what is usual and who says so."""

from dataclasses import dataclass

from kit import quantities
from kit.formula.formula import Formula
from kit.formula.ingredient import Ingredient
from kit.formula.losses import Basis, rebase_loss
from kit.formula.numbers import capital, plain
from kit.formula.yeast import kind_of

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
    >>> dough = Formula.from_lines("Dough", [
    ...     ("flour", "flour", 100), ("water", "liquid", 68), ("salt", "salt", 4),
    ...     ("instant yeast", "yeast", 0.4)])
    >>> for doubt in doubts(dough):
    ...     print(doubt.text)
    Salt is 4 %, mostly it is 1 to 2.5 %. Is it right?
    """
    found = [*_hydration(formula), *_salt(formula), *_yeast(formula)]
    malts = formula.of_role("malt")
    if _settled(malts):
        found += malt_doubts(_sum(malts))
    sugars = formula.of_role("sugar")
    if _settled(sugars) and _sum(sugars) > 5:
        found.append(
            Doubt(
                "sugar",
                f"Sugar is {plain(_sum(sugars))} %; above 5 % it slows the yeast. Is it meant so?",
                "Marek and Bushuk, Cereal Chem. 44:300 (1967)",
            )
        )
    return tuple(found)


def malt_doubts(malt_percent: float) -> tuple[Doubt, ...]:
    """Question a dose of diastatic malt: more than 1 % of the flour."""
    if malt_percent <= 1:
        return ()
    return (
        Doubt(
            "malt_percent",
            f"Diastatic malt is {plain(malt_percent)} %; 0.5 to 1 % is mostly named as the most, "
            f"above it the crumb may turn sticky and gummy. {_READ_TWICE}",
            "two trade pages on diastatic malt, no standard found",
        ),
    )


def bake_loss_doubts(bake_loss_percent: float, of: Basis = "dough") -> tuple[Doubt, ...]:
    """Question a bake loss outside its usual range, as a share of the dough."""
    loss = rebase_loss(bake_loss_percent, of, "dough")
    low, high = quantities.get("bake_loss_percent").usual
    if low <= loss <= high:
        return ()
    return (
        Doubt(
            "bake_loss_percent",
            f"Bake loss is {plain(loss, 1)} % of the dough, mostly it is 9.8 to 11.5 %. "
            f"{_READ_TWICE}",
            "bakers' dictionary, Baking Business",
        ),
    )


def _hydration(formula: Formula) -> list[Doubt]:
    found = []
    for one in (*formula.of_role("liquid"), *formula.of_role("egg")):
        if not one.water.known:
            like = "all water" if one.role == "liquid" else "whole egg"
            found.append(
                Doubt(
                    one.name,
                    f"{capital(one.short)} counts as {like}, because its share of water is not "
                    "known. Give water_fraction if it is another.",
                    "assumption",
                )
            )
    level = formula.hydration_percent
    low, high = quantities.get("hydration_percent").usual
    if not formula.open_of("liquid") and not low <= level <= high:
        usual = f"{plain(low)} to {plain(high)} %; muffins take 83 to 87 % water"
        found.append(
            Doubt(
                "hydration_percent",
                f"Hydration is {plain(level, 1)} %, mostly it is {usual}. {_READ_TWICE}",
                f"{_PRACTICE}; {_ASB}",
            )
        )
    return found


def _salt(formula: Formula) -> list[Doubt]:
    salts = formula.of_role("salt")
    low, high = quantities.get("salt_percent").usual
    if not _settled(salts) or low <= _sum(salts) <= high:
        return []
    usual = f"{plain(low)} to {plain(high)} %"
    return [
        Doubt(
            "salt_percent",
            f"Salt is {plain(_sum(salts))} %, mostly it is {usual}. {_READ_TWICE}",
            f"The Bread Baker's Apprentice, 1.5 to 2.5 %; {_ASB}, 1 to 2 %",
        )
    ]


def _yeast(formula: Formula) -> list[Doubt]:
    found = []
    yeasts = formula.of_role("yeast")
    if not yeasts:
        return [Doubt("yeast_percent", f"There is no yeast. {_READ_TWICE}", _PRACTICE)]
    for one in yeasts:
        if one.percent is None:
            continue
        kind = kind_of(one.name)
        most, source = (8.0, _ASB) if kind == "fresh" else (2.5, _PRACTICE)
        if one.percent > most or one.percent == 0:
            found.append(
                Doubt(
                    "yeast_percent",
                    f"{capital(one.short)} is {plain(one.percent)} %, mostly it is at most "
                    f"{plain(most)} %. {_READ_TWICE if kind else 'Is it fresh yeast?'}",
                    source,
                )
            )
    return found


def _settled(lines: tuple[Ingredient, ...]) -> bool:
    return all(one.percent is not None for one in lines)


def _sum(lines: tuple[Ingredient, ...]) -> float:
    return sum(one.percent or 0.0 for one in lines)
