"""How the settings of a plan lie, in sentences."""

from collections.abc import Sequence

import pandas as pd

from kit.analysis import words
from kit.analysis.mixing import mixed_by
from kit.analysis.moments import Integers
from kit.plan import points as shapes
from kit.plan.cautions import CURVES
from kit.plan.factors import Factor
from kit.plan.plan import inside_doughs, settings_in_words
from kit.plan.treatments import Asked, count, fractioned

__all__ = ["arrangement"]


def arrangement(
    asked: Asked, kind: str, runs: pd.DataFrame, bakes: list[Integers],
    fraction: shapes.Fraction | None,
) -> list[str]:  # fmt: skip
    """How the settings lie, in sentences."""
    notes = []
    kitchen = asked.kitchen
    if kind in CURVES:
        for f in (*asked.whole, *asked.single):
            notes.append(words.capital(settings_in_words(f, sorted(runs[f.quantity].unique()))))
    else:
        for f in asked.whole:
            notes.append(f"{words.capital(settings_in_words(f))}, decided for a whole dough")
        for f in asked.single:
            notes.append(inside_doughs(f))
    for f in asked.loaded:
        notes.append(f"{words.capital(settings_in_words(f))}, decided for a whole load")
    recipes = count(asked.whole)
    if asked.whole and len(bakes) > 1 and kind in ("blocks", "factorial", "split-plot", "latin"):
        what = "setting" if len(asked.whole) == 1 else "combination"
        if recipes <= kitchen.doughs:
            times = len(bakes[0]) // recipes
            often = "" if times == 1 else f" {_times(times)}"
            # doughs of different retards are not mixed on one day
            mixed_apart = mixed_by(*(f.quantity for f in asked.whole))
            day = "the day at the griddle" if mixed_apart else "the day"
            notes.append(f"Every {what} is mixed{often} in every bake, so {day} cancels")
        elif kitchen.doughs > 1:
            notes.append(
                f"A bake holds {kitchen.doughs} of the {recipes} {what}s, so they are spread over "
                "the bakes in a way that lets them be compared within bakes"
            )
    if kind == "latin":
        names = words.join(f.name for f in (asked.single or asked.whole))
        notes.append(
            f"Every setting of {names} goes round the {kitchen.places} places from load to load"
        )
    if not asked.whole:
        each = words.plural(len(bakes[0]), "dough")
        notes.append(f"{words.capital(each)} of one recipe on each bake")
    empty = kitchen.doughs - max(len(b) for b in bakes)
    if empty and asked.whole:
        notes.append(
            f"{words.capital(words.plural(empty, 'tub'))} of {kitchen.doughs} stay"
            f"{'s' if empty == 1 else ''} empty on a bake: an uneven number of doughs would not "
            "be fair to every setting"
        )
    if len(bakes) < kitchen.bakes:
        notes.append(
            f"{len(bakes)} of the {kitchen.bakes} bakes are enough; keep the rest for "
            + ("the trial itself" if kind == "noise" else "doughs that go wrong")
        )
    if fraction is not None:
        notes.append(_resolution(fraction, fractioned(asked)))
    return notes


def _times(n: int) -> str:
    return {2: "twice", 3: "three times"}.get(n, f"{n} times")


def _resolution(fraction: shapes.Fraction, factors: Sequence[Factor]) -> str:
    runs, k = len(fraction.points), len(factors)
    kept = {
        3: "single factors are confused with pairs of factors",
        4: "single factors are clear of pairs, but pairs are confused with each other",
    }.get(fraction.resolution, "single factors and pairs are clear of each other")
    return (
        f"{runs} of the {2**k} combinations (resolution {_roman(fraction.resolution)}, "
        f"{', '.join(fraction.generators)} with the factors lettered in order): {kept}"
    )


def _roman(n: int) -> str:
    return ("0", "I", "II", "III", "IV", "V", "VI", "VII", "VIII", "IX", "X")[n]
