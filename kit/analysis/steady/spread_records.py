"""Rows made ready to ask where the spread comes from: what lies in what, repeats, what is fixed."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from kit import words
from kit.analysis.answer.fitting import term
from kit.analysis.asked import need_between
from kit.analysis.grouping.columns import check_columns, missing_notes
from kit.analysis.grouping.experiments import number, numbered, random_groups
from kit.analysis.grouping.structure import is_number, safe_name
from kit.analysis.mixed import MixedFit, Structure, mixed
from kit.analysis.moments import Floats, outcome_values
from kit.errors import DataError, DesignError, InputError

__all__ = ["SpreadRecords", "away_from_mean", "fit_spread", "read_spread"]

#: Beside the names of the groupings.
PLACE = "place_"


@dataclass(frozen=True)
class Repeats:
    """How much readings of the same piece differ.

    Parameters
    ----------
    variance : float
        Of a single reading, pooled over the pieces; in the outcome's unit, squared.
    df : int
        Readings minus pieces.
    each : float
        Readings a piece, harmonic mean.
    """

    variance: float
    df: int
    each: float


@dataclass(frozen=True)
class SpreadRecords:
    """The rows that can be used, one a piece, and how they hang together.

    Parameters
    ----------
    table : DataFrame
        ``bake, mixing, dough, load`` as numbers (load −1 when not known), ``place_`` when there
        are places, the outcome and the factors under `safe_name`.
    outcome : str
        Under `safe_name`.
    terms : tuple of str
        What is fixed, as it stands in a formula.
    groups, structure
        For `kit.mixed`.
    counts : mapping
        Bakes, mixings, doughs, loads, pieces, and places when there are any.
    repeats : Repeats or None
        None where no piece was measured more than once.
    notes : tuple of str
    """

    table: pd.DataFrame
    outcome: str
    terms: tuple[str, ...]
    groups: tuple[str, ...]
    structure: Structure
    counts: Mapping[str, int]
    repeats: Repeats | None
    notes: tuple[str, ...]


def read_spread(
    frame: pd.DataFrame,
    outcome: str,
    factors: Sequence[str],
    columns: Mapping[str, str | None],
) -> SpreadRecords:
    """Check the columns, leave out what is missing, average repeats, find the structure.

    Parameters
    ----------
    frame : DataFrame
        One row a piece, or a reading where pieces were measured more than once.
    outcome : str
    factors : sequence of str
        What was changed on purpose.
    columns : mapping
        ``bake, mixing, dough, load, place, piece`` to the column that says which, or None.

    Raises
    ------
    NotFoundError, InputError, DataError
        A column or value that cannot be used.
    """
    roles = [("outcome", outcome), *columns.items(), *(("factors", f) for f in factors)]
    check_columns(frame, roles)
    named = {role: column for role, column in columns.items() if column is not None}
    y = pd.Series(outcome_values(frame, outcome), index=frame.index)
    if "load" in named and frame[named["load"]].isna().all():
        named.pop("load")
    needed = list(dict.fromkeys([*named.values(), *factors]))
    keep = frame[needed].notna().all(axis=1) & y.notna()
    row = "reading" if "piece" in named else "piece"
    notes = missing_notes(frame, [outcome, *needed], y, row)
    rows = frame[keep]
    if rows.empty:
        msg = f"no piece has {outcome} and all it belongs to: there is no spread to look at."
        raise DataError(msg)

    table = numbered(rows, {kind: named.get(kind) for kind in ("bake", "dough", "mixing", "load")})
    if "place" in named:
        table[PLACE] = rows[named["place"]]
    terms = []
    for factor in factors:
        if rows[factor].nunique() < 2:
            continue
        table[safe_name(factor)] = rows[factor]
        terms.append(term(factor, is_number(rows[factor])))
    table[safe_name(outcome)] = y[keep]
    repeats = None
    if "piece" in named:
        piece = number(rows, [named[r] for r in ("bake", "dough", "piece") if r in named])
        table, repeats = _average_repeats(table, piece, outcome)
        if repeats is None:
            notes.append("no piece was measured more than once: measuring cannot be told apart")
    groups, structure, more = random_groups(table, 1)
    if table["dough"].nunique() == 1 and "dough" in groups:
        groups = tuple(g for g in groups if g != "dough")
        notes.append("all of it is from one dough: what changes between doughs cannot be seen")
    bakes = table["bake"].nunique()
    if bakes == 1 and "bake" in named:
        notes.append("all of it is from one bake: what changes from bake to bake cannot be seen")
    counts = {g: int(table[g].nunique()) for g in ("bake", "mixing", "dough", "load")}
    counts["piece"] = len(table)
    if "place" in named:
        counts["place"] = int(table[PLACE].nunique())
    return SpreadRecords(
        table, safe_name(outcome), tuple(terms), groups, structure, counts, repeats,
        (*notes, *more),
    )  # fmt: skip


def _average_repeats(
    table: pd.DataFrame, piece: pd.Series, outcome: str
) -> tuple[pd.DataFrame, Repeats | None]:
    """One row a piece, and how much its readings differ."""
    name = safe_name(outcome)
    readings = table.groupby(piece)[name]
    size = readings.size()
    df = int(size.sum() - len(size))
    if df == 0:
        return table, None
    within = float(((table[name] - readings.transform("mean")) ** 2).sum())
    if within == 0:
        msg = (
            f"readings of the same piece are all alike in {words.name(outcome)}: they were copied "
            "or rounded, not measured again. Measure each piece afresh."
        )
        raise DataError(msg)
    one = table.groupby(piece).first()
    one[name] = readings.mean()
    return one, Repeats(within / df, df, float(len(size) / (1 / size).sum()))


def fit_spread(records: SpreadRecords, level: float) -> tuple[MixedFit, tuple[str, ...]]:
    """Fit with all groupings; without load, and then mixing, where it cannot be seen; notes."""
    place = [f"C({PLACE})"] if records.counts.get("place", 0) > 1 else []
    formula = f"{records.outcome} ~ {' + '.join([*records.terms, *place]) or '1'}"
    groups, structure = records.groups, records.structure
    notes: tuple[str, ...] = ()
    for name in ("load", "mixing"):
        try:
            return mixed(records.table, formula, groups, structure=structure, level=level), notes
        except DesignError:
            if not {"load", "mixing"} & set(groups):
                raise
        if name in groups:
            groups, structure = tuple(g for g in groups if g != name), "nested"
            notes += (f"too few {name}s to see what a {name} does; it was left out",)
    return mixed(records.table, formula, groups, structure=structure, level=level), notes


def away_from_mean(fit: MixedFit, factors: Sequence[str]) -> Floats:
    """Rows (places, p) of every place's difference from the mean of all places.

    Raises
    ------
    DesignError
        Places and factors went together, so that neither can be told from the other.
    """
    rows = fit.design.grid([PLACE])[1]
    away = fit.design.estimable(rows - rows.mean(axis=0))
    if np.isnan(away).any():
        msg = (
            f"the places cannot be told from {words.join(words.name(f) for f in factors)}: one "
            "setting lay on some of them and another on the others. Bake at least one setting on "
            "all places."
        )
        raise DesignError(msg)
    return away


def measuring_variance(records: SpreadRecords, measuring: float | None, outcome: str) -> float:
    """Variance of one reading: known, or from repeats; NaN when neither.

    Raises
    ------
    InputError
        Not a number above 0, or given although repeats say it.
    """
    if measuring is None:
        return np.nan if records.repeats is None else records.repeats.variance
    if records.repeats is not None:
        raise InputError(
            "measuring", measuring, "is not needed: the repeats say it",
            "Leave out either measuring or piece.",
        )  # fmt: skip
    remedy = f"Give the standard uncertainty of one reading of {words.name(outcome)}, in its unit."
    return need_between("measuring", measuring, 0, np.inf, remedy) ** 2
