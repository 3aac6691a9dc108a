"""What a plan says of itself: how its settings lie, and what to know before baking it."""

from collections.abc import Iterator, Sequence

import numpy as np
import pandas as pd

from kit import words
from kit.analysis.grouping.mixing import mixed_by
from kit.analysis.moments import Integers
from kit.analysis.verdict import MOST_DOUGHS
from kit.plan.designs.aliases import Freedom, freedom, not_told_apart, one_with
from kit.plan.designs.model import make_model, setting_numbers
from kit.plan.designs.points import Fraction
from kit.plan.designs.treatments import Asked, count, fraction_of, fractioned
from kit.plan.factors import Factor
from kit.plan.plan import decided_in_words, settings_in_words

__all__ = ["CURVES", "arrangement", "cautions", "not_varied"]


def arrangement(asked: Asked, kind: str, runs: pd.DataFrame, bakes: list[Integers]) -> list[str]:
    """How the settings lie, in sentences."""
    notes = []
    kitchen = asked.kitchen
    if kind in CURVES:
        for f in (*asked.whole, *asked.single):
            notes.append(words.capital(settings_in_words(f, sorted(runs[f.quantity].unique()))))
    else:
        notes += map(decided_in_words, (*asked.whole, *asked.single))
    notes += map(decided_in_words, asked.loaded)
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
    if kind == "fraction":
        notes.append(_resolution(fraction_of(asked), len(fractioned(asked))))
    return notes


def _times(n: int) -> str:
    return {2: "twice", 3: "three times"}.get(n, f"{n} times")


def _resolution(fraction: Fraction, k: int) -> str:
    kept = {
        3: "single factors are confused with pairs of factors",
        4: "single factors are clear of pairs, but pairs are confused with each other",
    }.get(fraction.resolution, "single factors and pairs are clear of each other")
    roman = "I II III IV V VI VII VIII IX X".split()[fraction.resolution - 1]
    return (
        f"{len(fraction.points)} of the {2**k} combinations (resolution {roman}, "
        f"{', '.join(fraction.generators)} with the factors lettered in order): {kept}"
    )


#: Kinds whose settings lie on a curve, not side by side.
CURVES = ("composite", "box-behnken", "optimal")


def cautions(
    kind: str,
    factors: Sequence[Factor],
    runs: pd.DataFrame,
    known_spread: bool,
    curve_df: int | None = None,
) -> list[str]:
    """All cautions about a plan's runs, the gravest first.

    Parameters
    ----------
    runs : DataFrame
        One row a piece; what was baked before may be in it.
    known_spread : bool
        Whether the dough-to-dough spread is known or guessed.
    curve_df : int, optional
        Degrees of freedom left by a curve, for the kinds that have one.
    """
    curved = curve_df is not None
    said = not_varied(factors) + one_with(runs, factors, fully=curved)
    if not curved:
        said += _aliases(factors, runs)
    if kind == "noise":
        said += _noise(runs)
    elif curve_df is not None:
        said += _curve(curve_df)
    else:
        said += _left_over(freedom(runs, factors), runs)
        said += _uneven(factors, runs)
    if kind == "noise" or any(f.level == "dough" for f in factors):
        said += _loads(runs)
    if kind not in ("composite", "box-behnken"):
        said += _peak(factors)
    said += _too_many(runs)
    for factor in factors:
        said += factor.doubts()
    if not known_spread and kind != "noise":
        said.append(
            "how much doughs of one recipe differ by themselves is not known yet. Best bake that "
            "first (one recipe, repeated: the same several times on two bakes); only then can "
            "anyone say how small a difference this plan will show"
        )
    return said


def not_varied(factors: Sequence[Factor]) -> list[str]:
    """Proof to be changed inside doughs of which some are not chilled."""
    hours = [s for f in factors if f.quantity == "retard_hours" for s in f.settings]
    names = words.join(f.name for f in factors if f.shaped_apart)
    if not names or 0 not in hours:
        return []
    return [
        f"{names} would not be varied in a dough of 0 h retard: not chilled, it is shaped all at "
        "once, and its pieces proof alike. Chill every dough for some hours, or change proof from "
        "dough to dough"
    ]


def _aliases(factors: Sequence[Factor], runs: pd.DataFrame) -> list[str]:
    """Effects that are one and the same, where two or more factors are set together."""
    said = []
    for level, keys in (("dough", ["bake", "dough"]), ("piece", ["bake", "dough", "piece"])):
        mine = [f for f in factors if f.level == level]
        if len(mine) < 2:
            continue
        units = runs if "piece" not in runs else runs.drop_duplicates(keys)
        values = {f.quantity: sorted(units[f.quantity].unique(), key=str) for f in mine}
        if any(len(v) != 2 for v in values.values()):
            continue  # products of more settings are no single effects
        chosen = setting_numbers(units, values)
        model = make_model(mine, "pairs", [[-1.0, 1.0]] * len(mine))
        block: dict[str, Integers] = {}
        if units["bake"].nunique() > 1 and level == "dough":
            block["the bake"] = pd.factorize(units["bake"])[0].astype(np.int64)
        said += not_told_apart(model, chosen, block)
    return said


def _noise(runs: pd.DataFrame) -> Iterator[str]:
    doughs, bakes = len(runs[["bake", "dough"]].drop_duplicates()), runs["bake"].nunique()
    df = doughs - bakes
    if df == 0:
        yield (
            "each bake has one dough, so what a dough does cannot be told from what the day "
            "does: mix at least two doughs on each bake"
        )
    elif df < 3:
        yield (
            f"the spread from dough to dough will be known from {words.plural(df, 'degree')} of "
            "freedom only, which is very rough: four doughs or more on a bake, or another bake, "
            "make it useful"
        )
    if len(runs) < 2 * doughs:
        yield (
            "each dough makes one piece, so the spread from piece to piece cannot be told from "
            "that from dough to dough: bake at least two pieces of each"
        )


def _curve(df: int) -> Iterator[str]:
    if df <= 0:
        yield (
            "the curve uses up every dough: nothing is left over to judge it by (0 degrees of "
            "freedom). Repeat the middle of the range, or plan another bake"
        )
    elif df < 3:
        yield (
            f"the curve leaves {words.plural(df, 'degree')} of freedom to judge it by: its "
            "intervals will be wide. Repeating the middle of the range helps most"
        )


def _left_over(found: Sequence[Freedom], runs: pd.DataFrame) -> Iterator[str]:
    """What has nothing, or little, left over to be judged by."""
    few: dict[int, list[str]] = {}
    none: dict[str, list[str]] = {}
    bakes = runs["bake"].nunique()
    for left in found:
        name, unit = words.name(left.factor), left.unit
        if left.df >= 4:
            continue
        if left.df > 0:
            few.setdefault(left.df, []).append(name)
        elif left.units == runs[left.factor].nunique() and unit != "piece":
            verb = {"load": "baked", "shaping": "shaped"}.get(unit, "mixed")
            remedy = (
                "Bake it all again on another bake"
                if bakes == 1
                else f"Give each setting one more {unit}, best all settings on each bake"
            )
            yield (
                f"each setting of {name} is {verb} once: no number of pieces can tell the "
                f"setting from the {unit} (0 degrees of freedom). {remedy}"
            )
        else:
            none.setdefault(unit, []).append(name)
    for unit, names in none.items():
        yield (
            f"nothing is left over to judge {words.join(names)} by (0 degrees of freedom): the "
            f"settings use up every {unit}. Plan another bake, or fewer settings"
        )
    for df, names in few.items():
        is_, its = ("is", "its") if len(names) == 1 else ("are", "their")
        yield (
            f"{words.join(names)} {is_} judged by about {words.plural(df, 'degree')} of freedom "
            f"only (comparisons left over to see the spread by): {its} intervals "
            "will be wide, and one more bake narrows them a lot"
        )


def _loads(runs: pd.DataFrame) -> Iterator[str]:
    if "load" not in runs or runs["load"].isna().any():
        return
    per_load = runs.groupby(["bake", "load"])["dough"].nunique()
    if per_load.max() == 1 < runs.groupby("bake")["dough"].nunique().max():
        yield (
            "each load holds pieces of one dough only, so what the load does (its heat, its "
            "wait) cannot be told from the dough: let the doughs share the loads if you can"
        )


def _uneven(factors: Sequence[Factor], runs: pd.DataFrame) -> Iterator[str]:
    """Settings decided for pieces that a dough cannot share out evenly."""
    single = [f for f in factors if f.level == "piece"]
    pieces = int(runs.groupby(["bake", "dough"]).size().max())
    kinds = len(runs[[f.quantity for f in single]].drop_duplicates()) if single else 1
    joint, each = words.join(f.name for f in single), words.plural(pieces, "piece")
    what = "settings" if len(single) == 1 else "combinations"
    near = pieces // kinds * kinds
    if not near:
        yield (
            f"{each} of a dough cannot hold all {kinds} {what} of {joint}: each dough has some of "
            f"them, as evenly as it goes. With {kinds} pieces each would have all"
        )
    elif near < pieces:
        yield (
            f"{each} of a dough cannot be shared out evenly between {kinds} {what} of {joint}: "
            f"{near} or {near + kinds} pieces could"
        )


def _peak(factors: Sequence[Factor]) -> Iterator[str]:
    two = [f.name for f in factors if f.numeric and len(f.settings) == 2]
    if two:
        have, each, do = ("has", "", "it does") if len(two) == 1 else ("have", " each", "they do")
        yield (
            f"{words.join(two)} {have} two settings{each}: enough to see whether {do} anything, "
            "too few to see a peak between them. Four settings or more can show one"
        )


def _too_many(runs: pd.DataFrame) -> Iterator[str]:
    doughs, bakes = len(runs[["bake", "dough"]].drop_duplicates()), runs["bake"].nunique()
    if doughs <= MOST_DOUGHS:
        return
    nearest = f"{MOST_DOUGHS} doughs in all would be the most"
    if 1 <= (fewer := MOST_DOUGHS * bakes // doughs) < bakes:
        many = doughs * fewer // bakes
        nearest = f"{words.plural(fewer, 'bake')} of the same kind would be {many} doughs"
    yield (
        f"{doughs} doughs are more than a home series usually gets done (some 12 to "
        f"{MOST_DOUGHS}; experience, no source): {nearest}"
    )
