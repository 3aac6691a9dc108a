"""What a plan cannot tell apart, and what it leaves nothing to judge by, said before baking."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from kit import words
from kit.analysis.asked import has_numbers
from kit.analysis.grouping.experiments import spare
from kit.analysis.grouping.mixing import counts_for, mixed_by, shaped_by
from kit.analysis.grouping.structure import MOST_SETTINGS
from kit.analysis.moments import Floats, Integers
from kit.plan.designs.model import Model
from kit.plan.factors import Factor

__all__ = ["Freedom", "freedom", "not_told_apart", "one_with"]

_TINY = 1e-8


@dataclass(frozen=True)
class Freedom:
    """What is left over to judge one factor by.

    `unit` is what counts as one experiment for it, `units` how many the plan has, `df` the degrees
    of freedom left for the spread from unit to unit.
    """

    factor: str
    unit: str
    units: int
    df: int


def _dummies(column: pd.Series) -> Floats:
    codes = pd.factorize(column)[0]
    result: Floats = np.eye(int(codes.max()) + 1)[codes]
    return result


def _asked(column: pd.Series) -> Floats:
    """Settings, each by itself; a straight line where they are too many for that."""
    if column.nunique() > MOST_SETTINGS and has_numbers(column):
        return np.column_stack([np.ones(len(column)), column.to_numpy(dtype=float)])
    return _dummies(column)


def _rank(*parts: Floats) -> int:
    return int(np.linalg.matrix_rank(np.hstack(parts), tol=1e-6)) if parts else 0


def one_with(runs: pd.DataFrame, factors: Sequence[Factor], fully: bool = False) -> list[str]:
    """Sentences about factors that change only together with something else of the bake.

    `runs` has one row a piece: ``bake, order, dough, load, place`` and the factors. `fully` speaks
    only of what is the same throughout: on a curve settings need not all be crossed.
    """
    said = []
    several = runs["bake"].nunique() > 1
    laid_out = not {"order", "load", "place"} - set(runs) and bool(
        runs[["load", "place"]].notna().all(axis=None)
    )
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
        keys = {"bake": runs["bake"]}
        if laid_out and factor.level == "dough" and several:
            keys["the order of mixing"] = runs["order"]
        if laid_out and factor.level == "piece":
            keys["load"] = runs.groupby(["bake", "load"]).ngroup()
        if laid_out:
            keys["the place on the griddle"] = runs["place"]
        for what, key in keys.items():
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

    Counted as the answers do: what is made in one go counts once, and what it lies in is taken
    out (bakes, mixings, doughs). Settings are added up, not their combinations.
    """
    return [_freedom(runs, factor, factors) for factor in factors]


def _freedom(runs: pd.DataFrame, factor: Factor, factors: Sequence[Factor]) -> Freedom:
    mine = [f for f in factors if f.level == factor.level]
    mixing = mixed_by(*(f.quantity for f in factors))
    dough = ["bake", "dough"]
    keys = {"bake": dough[:1], "mixing": ["bake", mixing] if mixing else dough, "dough": dough}
    keys["shaping"] = [*dough, *shaped_by(factor.quantity)]
    keys |= {"load": ["bake", "load"]} if "load" in runs else {}
    number = {name: runs.groupby(key).ngroup().to_numpy() for name, key in keys.items()}
    number["piece"] = np.arange(len(runs))
    count = {name: len(np.unique(numbers)) for name, numbers in number.items()}
    several, unit, around = count["mixing"] < count["dough"], str(factor.level), ["bake"]
    if unit == "piece":
        unit = "shaping" if count["dough"] < count["shaping"] < count["piece"] else unit
        around = ["dough"]
    elif unit == "dough" and several and factor.quantity == mixing:
        unit, mine = "mixing", [factor]
    elif unit == "dough" and count["dough"] == count["bake"]:
        around = []  # bakes of one dough are compared as a whole
    x = np.hstack([_asked(runs[f.quantity]) for f in mine])

    def left(*names: str) -> int:
        return spare(x, [number[name] for name in names])

    df = left(*around, unit)
    if several and unit == "dough":
        doughs = runs.drop_duplicates(dough)
        others = [doughs[f.quantity].astype(str) for f in mine if f is not factor]
        apart = counts_for(
            doughs[factor.quantity].astype(str), [doughs["bake"].astype(str), *others],
            doughs.groupby(keys["mixing"]).ngroup(),
        )  # fmt: skip
        inside = left("bake", "mixing", unit)
        df = inside if apart and inside >= 1 and left("bake", "mixing") >= 1 else df
    return Freedom(factor.quantity, unit, count[unit], df)


def not_told_apart(model: Model, chosen: Integers, block: Mapping[str, Integers]) -> list[str]:
    """Which effects are one and the same thing in these rows, in words.

    `model` has the single factors and their pairs, `chosen` setting numbers, one row an experiment,
    shape (n, k); `block` is what else may be confused with them, shape (n,), as ``{"bake": …}``.
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
