"""How the rows of a trial hang together: what belongs to which bake, dough and load.

From this follows what counts as one experiment for a factor, which groupings are random, and
whether the bakes as they were made can answer the question at all.
"""

import keyword
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NoReturn

import pandas as pd

from kit import quantities, words
from kit.analysis.asked import has_numbers, relabelled
from kit.analysis.grouping import experiments
from kit.analysis.grouping.columns import (
    check_columns,
    missing_notes,
    refuse_duplicates,
    refuse_two_ways,
)
from kit.analysis.grouping.experiments import (
    Unit,
    constant,
    held,
    number,
    numbered,
    shared,
    unit_of,
)
from kit.analysis.grouping.meant import meant
from kit.analysis.grouping.mixing import counts_for, shaped_by
from kit.analysis.mixed import Structure
from kit.analysis.moments import outcome_values
from kit.errors import DataError, InputError

__all__ = [
    "MOST_SETTINGS", "Records", "Unit", "as_held", "is_number", "read_records", "safe_name",
    "shaped_as",
]  # fmt: skip

#: A numeric factor with more values than this is taken as a line, not as settings.
MOST_SETTINGS = 8


@dataclass(frozen=True)
class Records:
    """The rows that can be used, and how they hang together.

    Parameters
    ----------
    frame : DataFrame
        Columns ``bake, mixing, dough, shaping, load`` (numbers that are unique over all bakes;
        load −1 when not known), the outcome, the factor and what is held alike, under `safe_name`.
    labels : DataFrame
        The bakes', doughs' and loads' own names, row by row; shapings are numbered.
    adjust : tuple of str
        Other factors that can be held alike.
    as_line : bool
        Whether the factor is taken as a line.
    groups, structure
        For `kit.mixed`.
    unit : {"bake", "mixing", "dough", "shaping", "load", "piece"}
        What the factor was decided for.
    counts : mapping
        Bakes, doughs and pieces; mixings where they hold several doughs, shapings and loads where
        the factor was decided for them.
    notes : tuple of str
    """

    frame: pd.DataFrame
    labels: pd.DataFrame
    adjust: tuple[str, ...]
    as_line: bool
    groups: tuple[str, ...]
    structure: Structure
    unit: Unit
    counts: Mapping[str, int]
    notes: tuple[str, ...]

    def points(self, factor: str, outcome: str) -> pd.DataFrame:
        """By own names, a row a piece: ``bake, mixing, dough, shaping, load, level, value``."""
        own = self.labels.assign(level=self.frame[factor], value=self.frame[outcome])
        return own.reset_index(drop=True)


def safe_name(column: str) -> str:
    """A column's name as it can stand in a formula.

    Examples
    --------
    >>> safe_name("rise_height_mm"), safe_name("2nd try: height")
    ('rise_height_mm', '_2nd_try_height')
    """
    name = re.sub(r"\W+", "_", column)
    if not name or name[0].isdigit() or keyword.iskeyword(name) or name in "CIQ":
        name = f"_{name}"
    # the grouping columns have these names already
    return f"{name}_" if name in ("bake", "mixing", "dough", "shaping", "load") else name


def read_records(
    frame: pd.DataFrame,
    outcome: str,
    by: str,
    columns: Mapping[str, str | None],
    adjust: Sequence[str],
    line: bool | None,
    beside: Sequence[str] = (),
) -> Records:
    """Check the columns, leave out what is missing, and find the structure.

    The frame has one row a piece; `columns` say which is ``trial, bake, mixing, dough, load``, or
    None; `adjust` are to be held alike, those `beside` asked about in the same breath; `line` as in
    `kit.compare`.

    Raises
    ------
    NotFoundError, InputError, DataError
        A column or value that cannot be used.
    DesignError
        The bakes as made cannot answer the question.
    """
    bake, dough, load, mixing = (columns.get(c) for c in ("bake", "dough", "load", "mixing"))
    held_too = [("adjust", a) for a in adjust if a != columns["trial"]]
    check_columns(frame, [("outcome", outcome), ("by", by), *columns.items(), *held_too])
    frame = relabelled(frame, by, *adjust)
    if mixing and not bake:
        raise InputError("mixing", mixing, "needs bake", "Say what tells bakes apart.")
    as_line = _as_line(frame[by], by, line)
    values = outcome_values(frame, outcome)
    if load is not None and frame.loc[~pd.isna(values), load].isna().all():
        load = None  # loads of bakes to come say nothing about those measured
    day = [c for c in (columns["trial"], bake) if c is not None]
    refuse_duplicates(frame, [*day, *([dough] if dough else [])])
    needed = list(
        dict.fromkeys(c for c in (by, dough, bake, mixing, load, *adjust) if c is not None)
    )
    keep = frame[needed].notna().all(axis=1) & ~pd.isna(values)
    notes = missing_notes(frame, [outcome, *needed], pd.Series(values, index=frame.index))
    rows = frame[keep]
    for setting in (by, *(a for _, a in held_too)):
        refuse_two_ways(rows[setting], setting)
    if rows.empty:
        _refuse_nothing(frame[~pd.isna(values)], outcome, by, needed)
    settings = rows[by].unique()
    if len(settings) < 2:
        only = settings[0]
        only = words.rounded(by, float(only)) if isinstance(only, float) else only
        msg = (
            f"{words.name(by)} has one setting only ({only}) among the pieces with "
            f"{words.name(outcome)}: there is nothing to compare it with. Bake at least one more "
            "setting, twice."
        )
        raise DataError(msg)
    if dough is None:
        notes.append(
            "no column says which pieces share a dough, so every row is taken as a dough of its "
            "own; if rows do share doughs, the answer is surer than it should be"
        )

    named = {**columns, "load": load}
    table = numbered(rows, named)
    proofs = shaped_as(rows, by, *adjust)
    if dough:
        read = [p for p, c in proofs.items() if not c and held(table["dough"], rows[p]).max() > 1]
        for proof in (p for p in read if p in (by, *beside)):
            middle = rows[proof].groupby(table["dough"]).transform("median")
            proofs[proof] = meant(proof)
            rows = rows.assign(**{meant(proof): rows[proof] > middle})
        notes += [
            _HALVES.format(proof=words.name(p), meant=meant(p)) if proofs[p] else _unknown(p)
            for p in read
        ]
    known = [column for column in proofs.values() if column]
    shaped = number(rows, [*day, dough, *known]) if dough and known else range(len(rows))
    table["shaping"] = shaped
    table[safe_name(outcome)] = values[keep.to_numpy()]
    for column in (by, *adjust):
        table[safe_name(column)] = rows[column]
    kinds = ("bake", "mixing", "dough", "shaping", "load")
    labels = pd.DataFrame(
        {kind: rows[c] if (c := named.get(kind)) else "" for kind in kinds}, index=rows.index
    )
    labels["shaping"] = table["shaping"]
    if not dough:
        labels["dough"] = table["dough"] + 1
    factor = safe_name(by)
    if load is None and (heats := _of_loads(table, (by, *beside))):
        table["load"] = number(rows, [*day, *heats])
        labels["load"] = rows[heats].astype(str).agg(", ".join, axis=1)
        notes.append(
            "no loads are recorded: pieces of one bake with the same "
            f"{words.join(map(words.name, heats))} were taken as one load"
        )
    as_set = table.assign(**{factor: rows[proofs.get(by) or by]})
    unit = unit_of(as_set, factor)
    if unit in ("bake", "mixing", "dough"):
        once, lost, more = _once_a_dough(table, outcome, adjust)
        table, labels, adjust = table[once], labels[once], [a for a in adjust if a not in lost]
        notes += more
    if not as_line:
        experiments.refuse_inseparable(table, factor, by, unit)
    odd = experiments.odd_ones(as_set.loc[table.index], factor, unit)
    if odd:
        notes.append(
            f"{words.plural(odd, unit)} held more than one setting of {words.name(by)}: if that "
            "is a slip of the pen, correct it"
        )
    varied = held(table["bake"], table[factor]) > 1
    if varied.sum() == 1 < len(varied):
        notes.append(
            f"{words.name(by)} differed within one of the {len(varied)} bakes only, and "
            "each of the others had one setting: what their days did is in what they tell"
        )
    if unit not in ("bake", "mixing") and mixing not in (by, *beside) and shared(table):
        if not _mixing_counts(table, factor, adjust, as_line, unit):
            table["mixing"] = table["dough"]
    # asked about together, they are judged in one fit: it needs the loads, whichever comes first
    if any(unit_of(table, safe_name(f)) == "load" for f in beside if f in adjust):
        unit = "load"
    trials = 1 if columns["trial"] is None else rows[columns["trial"]].nunique()
    groups, structure, more = experiments.random_groups(table, trials, unit)
    told = ["bake", *(["mixing"] if shared(table) else []), "dough"]
    told += [unit] if unit in ("shaping", "load") else []
    counts = {**{kind: table[kind].nunique() for kind in told}, "piece": len(table)}
    return Records(
        table, labels, tuple(adjust), as_line, groups, structure, unit, counts, (*notes, *more)
    )


def _refuse_nothing(
    measured: pd.DataFrame, outcome: str, by: str, needed: Sequence[str]
) -> NoReturn:
    """Say what is missing where no piece has all that is needed."""
    lacking = [c for c in needed if c != by and len(measured) and measured[c].isna().all()]
    if lacking and measured[by].notna().any():
        msg = (
            f"no piece with {outcome} has {lacking[0]}, which was to be held alike or to say what "
            f"belongs together. Record {words.name(lacking[0])}, or leave it out."
        )
        raise DataError(msg)
    msg = (
        f"no piece has both {outcome} and {by}: nothing to compare. Record "
        f"{words.name(outcome)} for pieces of at least two settings."
    )
    raise DataError(msg)


def _once_a_dough(
    table: pd.DataFrame, outcome: str, adjust: Sequence[str]
) -> tuple["pd.Series[bool]", list[str], list[str]]:
    """Rows to keep, one a dough where its pieces read the same; what varies in it then; notes."""
    own = held(table["dough"], table[safe_name(outcome)])
    if len(own) == len(table) or own.max() > 1:
        return table["dough"].notna(), [], []
    lost = [a for a in adjust if held(table["dough"], table[safe_name(a)]).max() > 1]
    notes = [
        f"all pieces of a dough have the same {words.name(outcome)}, so it was taken once a dough"
    ]
    if lost:
        gone = words.join(map(words.name, lost))
        notes.insert(0, f"{gone} differed within doughs and could not be held alike")
    return ~table["dough"].duplicated(), lost, notes


def _mixing_counts(
    table: pd.DataFrame, factor: str, adjust: Sequence[str], as_line: bool, unit: Unit
) -> bool:
    """Whether the mixings are told apart for a factor that varies within them."""
    if unit != "dough":
        return False
    doughs = table.drop_duplicates("dough")
    alike = [a for a in map(safe_name, adjust) if held(table["dough"], table[a]).max() == 1]
    around = [doughs["bake"].astype(str), *(as_held(doughs[a]) for a in alike)]
    own = doughs[factor].astype(float if as_line else str)
    return counts_for(own, around, doughs["mixing"])


def shaped_as(rows: pd.DataFrame, *factors: str) -> dict[str, str | None]:
    """Which column says of which pieces a dough were shaped together, by the proof they are of.

    That pieces read the same is chance: where a proof has more values than settings have and
    nothing says what was meant, it is None.
    """
    own = {f: None if is_number(rows[f]) else f for f in shaped_by(*factors)}
    return {f: meant(f) if meant(f) in rows else column for f, column in own.items()}


#: The half of a dough that had risen more is taken as shaped in one go, and so is the other: what
#: shapings do is then judged from dough to dough, whichever pieces were shaped together.
_HALVES = (
    "{proof} was read piece by piece, and nothing says which pieces of a dough were shaped "
    "together: the half of each dough that had risen more was taken as one shaping, the rest as "
    "another. A column “{meant}” with the settings meant says more"
)


def _unknown(proof: str) -> str:
    return (
        f"{words.name(proof)} was read piece by piece, and nothing says which pieces of a dough "
        "were shaped together: if they were, the answer is surer than it should be. Compare the "
        "settings meant, or let a trial with its settings answer"
    )


def _of_loads(table: pd.DataFrame, factors: Sequence[str]) -> list[str]:
    """Which factors were set for loads inside doughs, not read piece by piece."""
    found = []
    for factor in factors:
        known, name = quantities.find(factor), safe_name(factor)
        if known is None or known.level != "load" or constant(table, name, "dough"):
            continue
        loads = number(table, ["bake", name]).nunique()
        if table[name].nunique() <= MOST_SETTINGS or 2 * loads <= len(table):
            found.append(factor)
    return found


def is_number(column: pd.Series) -> bool:
    """Whether a factor to hold alike is better taken as a number than as settings."""
    return has_numbers(column) and column.nunique() > MOST_SETTINGS


def as_held(column: pd.Series) -> pd.Series:
    """Another factor as it is held alike: a number of many values, or settings."""
    return column.astype(float if is_number(column) else str)


def _as_line(column: pd.Series, by: str, line: bool | None) -> bool:
    if line and not has_numbers(column):
        raise InputError("line", line, f"needs numbers, and {by} holds words")
    return is_number(column) if line is None else line
