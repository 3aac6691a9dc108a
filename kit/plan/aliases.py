"""What a plan cannot tell apart, and what it leaves nothing to judge by, said before baking."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from kit.analysis import words
from kit.analysis.mixing import mixed_by
from kit.analysis.moments import Floats, Integers
from kit.plan.factors import Factor
from kit.plan.model import Model

__all__ = ["Freedom", "freedom", "not_told_apart", "one_with"]

_TINY = 1e-8


@dataclass(frozen=True)
class Freedom:
    """What is left over to judge one factor by.

    Parameters
    ----------
    factor : str
    unit : str
        What counts as one experiment for it.
    units : int
        How many of them the plan has.
    df : int
        Degrees of freedom left for the spread from unit to unit.
    """

    factor: str
    unit: str
    units: int
    df: int


def _dummies(column: pd.Series) -> Floats:
    codes = pd.factorize(column)[0]
    result: Floats = np.eye(int(codes.max()) + 1)[codes]
    return result


def _rank(*parts: Floats) -> int:
    return int(np.linalg.matrix_rank(np.hstack(parts), tol=1e-6)) if parts else 0


def one_with(runs: pd.DataFrame, factors: Sequence[Factor], fully: bool = False) -> list[str]:
    """Sentences about factors that change only together with something else of the bake.

    Parameters
    ----------
    runs : DataFrame
        One row a piece: ``bake, order, dough, load, place`` and the factors.
    fully : bool
        Only speak of what is the same throughout: on a curve settings need not all be crossed.

    Returns
    -------
    list of str
        Without a full stop, as checks are.
    """
    said = []
    several = runs["bake"].nunique() > 1
    keys = {"bake": runs["bake"]}
    if not {"order", "load", "place"} - set(runs) and runs[["load", "place"]].notna().all(
        axis=None
    ):
        keys["the order of mixing"] = runs["order"]
        keys["load"] = runs.groupby(["bake", "load"]).ngroup()
        keys["the place on the griddle"] = runs["place"]
    for n, factor in enumerate(factors):
        own = _dummies(runs[factor.quantity])
        size = _rank(own) - 1
        if size == 0:
            continue
        for other in factors[:n]:
            theirs = _dummies(runs[other.quantity])
            together = _rank(own, theirs)
            same = together == max(_rank(own), _rank(theirs))
            if same or (together < _rank(theirs) + size and not fully):
                said.append(
                    f"{other.name} and {factor.name} cannot be told apart: "
                    + (
                        "they change only together"
                        if same
                        else "some of their settings change only together"
                    )
                )
        for what, key in keys.items():
            if what == "bake" and not several:
                continue
            if what == "load" and factor.level != "piece":
                continue
            if what == "the order of mixing" and (factor.level != "dough" or not several):
                continue
            if key.nunique() < 2:
                continue
            blocks = _dummies(key)
            if what == "load":  # within a bake: loads of different bakes differ anyway
                blocks = np.hstack([blocks, _dummies(runs["bake"])])
            left = _rank(blocks, own) - _rank(blocks)
            if left == 0:
                said.append(f"{factor.name} and {what} cannot be told apart: {_why(what)}")
            elif left < size and what in ("bake", "load") and not fully:
                said.append(
                    f"some settings of {factor.name} cannot be told from the {what}: they are "
                    f"never in one {what} with the others"
                )
    return said


def _why(what: str) -> str:
    return {
        "bake": "each bake has one setting only. Mix two or more on each, and the day cancels",
        "load": "each load holds one setting only",
        "the order of mixing": "the same setting is always mixed at the same turn",
        "the place on the griddle": "the same setting always lies at the same places",
    }[what]


def freedom(runs: pd.DataFrame, factors: Sequence[Factor]) -> list[Freedom]:
    """Degrees of freedom left to judge each factor by, other factors held alike.

    Bakes, and for what is decided for pieces doughs, are taken out. (Settings added up, not
    their combinations: that is how the answers are made.)
    """
    found = []
    for factor in factors:
        unit: str = factor.level
        if factor.level == "dough":
            units = runs.drop_duplicates(["bake", "dough"])
            mine = [f for f in factors if f.level == "dough"]
            mixing = mixed_by(factor.quantity)
            mixings = units.drop_duplicates(["bake", mixing]) if mixing else units
            if len(mixings) < len(units):
                unit, units, mine = "mixing", mixings, [factor]
            # bakes of one dough are compared as a whole: nothing is left of a bake to take out
            base = [_dummies(units["bake"])] if units["bake"].duplicated().any() else []
        elif factor.level == "load":
            units = runs.drop_duplicates(["bake", "load"])
            base = [_dummies(units["bake"])]
            mine = [f for f in factors if f.level == "load"]
        else:
            units = runs
            base = [_dummies(runs.groupby(["bake", "dough"]).ngroup())]
            mine = [f for f in factors if f.level == "piece"]
        rank = _rank(*base, *(_dummies(units[f.quantity]) for f in mine))
        found.append(Freedom(factor.quantity, unit, len(units), len(units) - rank))
    return found


def not_told_apart(model: Model, chosen: Integers, block: Mapping[str, Integers]) -> list[str]:
    """Which effects are one and the same thing in these rows, in words.

    Parameters
    ----------
    model : Model
        With the single factors and their pairs.
    chosen : int array, shape (n, k)
        Setting numbers, one row an experiment.
    block : mapping of str to int array, shape (n,)
        What else may be confused with them, such as ``{"bake": …}``.

    Returns
    -------
    list of str
    """
    centred: list[tuple[str, int, Floats]] = []
    for name, term, bend in model.terms():
        columns = model.columns(chosen, term, bend)
        columns = columns - columns.mean(axis=0)
        if np.abs(columns).max() > _TINY:
            label = name if len(term) == 1 else f"what {name} do together"
            centred.append((label, len(term), columns))
    said = []
    for what, key in block.items():
        blocks = np.eye(int(key.max()) + 1)[key]
        same = [
            label
            for label, size, columns in centred
            if size > 1 and _rank(blocks, columns) == _rank(blocks)
        ]
        if same:
            said.append(f"{words.join(same)} cannot be told from {what}")
    groups: list[list[int]] = []
    for i, (_, _, columns) in enumerate(centred):
        for group in groups:
            first = centred[group[0]][2]
            if columns.shape[1] == first.shape[1] == 1 and _rank(columns, first) == 1:
                group.append(i)
                break
        else:
            groups.append([i])
    for group in groups:
        if len(group) > 1:
            labels = [centred[i][0] for i in group]
            said.append(f"{labels[0]} cannot be told from {' or from '.join(labels[1:])}")
    return said
