"""What a baker should know about a plan before baking it, one sentence each."""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from kit.analysis import words
from kit.analysis.moments import Integers
from kit.analysis.verdict import MOST_DOUGHS
from kit.plan.aliases import Freedom, freedom, not_told_apart, one_with
from kit.plan.factors import Factor
from kit.plan.model import make_model, setting_numbers

__all__ = ["CURVES", "cautions", "not_varied"]

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


def _noise(runs: pd.DataFrame) -> list[str]:
    doughs = len(runs[["bake", "dough"]].drop_duplicates())
    bakes = runs["bake"].nunique()
    pieces = len(runs) / doughs
    said = []
    if doughs - bakes == 0:
        said.append(
            "each bake has one dough, so what a dough does cannot be told from what the day "
            "does: mix at least two doughs on each bake"
        )
    elif doughs - bakes < 3:
        df = doughs - bakes
        said.append(
            f"the spread from dough to dough will be known from {words.plural(df, 'degree')} of "
            "freedom only, which is very rough: four doughs or more on a bake, or another bake, "
            "make it useful"
        )
    if pieces < 2:
        said.append(
            "each dough makes one piece, so the spread from piece to piece cannot be told from "
            "that from dough to dough: bake at least two pieces of each"
        )
    return said


def _curve(df: int) -> list[str]:
    if df >= 3:
        return []
    if df <= 0:
        return [
            "the curve uses up every dough: nothing is left over to judge it by (0 degrees of "
            "freedom). Repeat the middle of the range, or plan another bake"
        ]
    return [
        f"the curve leaves {words.plural(df, 'degree')} of freedom to judge it by: its intervals "
        "will be wide. Repeating the middle of the range helps most"
    ]


def _left_over(found: Sequence[Freedom], runs: pd.DataFrame) -> list[str]:
    """What has nothing, or little, left over to be judged by."""
    said = []
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
            said.append(
                f"each setting of {name} is {verb} once: no number of pieces can tell the "
                f"setting from the {unit} (0 degrees of freedom). {remedy}"
            )
        else:
            none.setdefault(unit, []).append(name)
    for unit, names in none.items():
        said.append(
            f"nothing is left over to judge {words.join(names)} by (0 degrees of freedom): the "
            f"settings use up every {unit}. Plan another bake, or fewer settings"
        )
    for df, names in few.items():
        is_, its = ("is", "its") if len(names) == 1 else ("are", "their")
        said.append(
            f"{words.join(names)} {is_} judged by about {words.plural(df, 'degree')} of freedom "
            f"only (comparisons left over to see the spread by): {its} intervals "
            "will be wide, and one more bake narrows them a lot"
        )
    return said


def _loads(runs: pd.DataFrame) -> list[str]:
    if "load" not in runs or runs["load"].isna().any():
        return []
    per_load = runs.groupby(["bake", "load"])["dough"].nunique()
    doughs = runs.groupby("bake")["dough"].nunique()
    if per_load.max() == 1 and doughs.max() > 1:
        return [
            "each load holds pieces of one dough only, so what the load does (its heat, its "
            "wait) cannot be told from the dough: let the doughs share the loads if you can"
        ]
    return []


def _uneven(factors: Sequence[Factor], runs: pd.DataFrame) -> list[str]:
    """Settings decided for pieces that a dough cannot share out evenly."""
    single = [f for f in factors if f.level == "piece"]
    if not single:
        return []
    names = [f.quantity for f in single]
    pieces = int(runs.groupby(["bake", "dough"]).size().max())
    kinds = len(runs[names].drop_duplicates())
    if pieces % kinds == 0 or len(runs.groupby(["bake", "dough"])) == 0:
        return []
    joint = words.join(f.name for f in single)
    what = "settings" if len(single) == 1 else "combinations"
    if pieces < kinds:
        return [
            f"{words.plural(pieces, 'piece')} of a dough cannot hold all {kinds} {what} of "
            f"{joint}: each dough has some of them, as evenly as it goes. With {kinds} pieces "
            "each would have all"
        ]
    near = pieces // kinds * kinds
    return [
        f"{words.plural(pieces, 'piece')} of a dough cannot be shared out evenly between {kinds} "
        f"{what} of {joint}: {near} or {near + kinds} pieces could"
    ]


def _peak(factors: Sequence[Factor]) -> list[str]:
    two = [f for f in factors if f.numeric and len(f.settings) == 2]
    if not two:
        return []
    names = words.join(f.name for f in two)
    have, each, do = ("has", "", "it does") if len(two) == 1 else ("have", " each", "they do")
    return [
        f"{names} {have} two settings{each}: enough to see whether {do} anything, too few to see "
        "a peak between them. Four settings or more can show one"
    ]


def _too_many(runs: pd.DataFrame) -> list[str]:
    doughs = len(runs[["bake", "dough"]].drop_duplicates())
    if doughs <= MOST_DOUGHS:
        return []
    bakes = runs["bake"].nunique()
    fewer = MOST_DOUGHS * bakes // doughs
    nearest = (
        f"{words.plural(fewer, 'bake')} of the same kind would be {doughs * fewer // bakes} doughs"
        if 1 <= fewer < bakes
        else f"{MOST_DOUGHS} doughs in all would be the most"
    )
    return [
        f"{doughs} doughs are more than a home series usually gets done (some 12 to "
        f"{MOST_DOUGHS}; experience, no source): {nearest}"
    ]
