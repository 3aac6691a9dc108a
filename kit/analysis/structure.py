"""How the rows of a trial hang together: what belongs to which bake, dough and load.

From this follows what counts as one experiment for a factor, which groupings are random, and
whether the bakes as they were made can answer the question at all.
"""

import keyword
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd

from kit.analysis import words
from kit.analysis.mixed import Structure
from kit.analysis.moments import Integers, outcome_values
from kit.errors import DataError, DesignError, InputError, NotFoundError

__all__ = ["MOST_SETTINGS", "Records", "Unit", "random_groups", "read_records", "safe_name"]

#: A numeric factor with more values than this is taken as a line, not as settings.
MOST_SETTINGS = 8

Unit = Literal["bake", "mixing", "dough", "load", "piece"]


@dataclass(frozen=True)
class Records:
    """The rows that can be used, and how they hang together.

    Parameters
    ----------
    frame : DataFrame
        Columns ``bake, mixing, dough, load`` (numbers that are unique over all bakes; load −1 when
        not known), the outcome, the factor and what is held alike, under `safe_name`.
    labels : DataFrame
        The bakes', doughs' and loads' own names, row by row.
    adjust : tuple of str
        Other factors that can be held alike.
    as_line : bool
        Whether the factor is taken as a line.
    groups : tuple of str
        Random groupings for `kit.mixed`, outermost first.
    structure : str
        How they lie.
    unit : {"bake", "mixing", "dough", "load", "piece"}
        What the factor was decided for.
    counts : mapping
        Bakes, doughs and pieces; mixings where they hold several doughs.
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
    return f"{name}_" if name in ("bake", "mixing", "dough", "load") else name


def read_records(
    frame: pd.DataFrame,
    outcome: str,
    by: str,
    columns: Mapping[str, str | None],
    adjust: Sequence[str],
    line: bool | None,
) -> Records:
    """Check the columns, leave out what is missing, and find the structure.

    Parameters
    ----------
    frame : DataFrame
        One row a piece.
    outcome, by : str
    columns : mapping
        ``trial, bake, mixing, dough, load`` to the column that says which, or None.
    adjust : sequence of str
        Other factors to hold alike.
    line : bool or None
        See `kit.compare`.

    Raises
    ------
    NotFoundError, InputError, DataError
        A column or value that cannot be used.
    DesignError
        The bakes as made cannot answer the question.
    """
    bake, dough, load, mixing = (columns.get(c) for c in ("bake", "dough", "load", "mixing"))
    _check_columns(frame, outcome, by, columns, adjust)
    as_line = _as_line(frame[by], by, line)
    values = outcome_values(frame, outcome)
    if load is not None and frame[load].isna().all():
        load = None
    day = [c for c in (columns["trial"], bake) if c is not None]
    _refuse_duplicates(frame, [*day, *([dough] if dough else [])])
    needed = list(
        dict.fromkeys(c for c in (by, dough, bake, mixing, load, *adjust) if c is not None)
    )
    keep = frame[needed].notna().all(axis=1) & ~pd.isna(values)
    notes = _missing_notes(frame, [outcome, *needed], pd.Series(values, index=frame.index))
    rows = frame[keep]
    if rows.empty:
        msg = (
            f"no piece has both {outcome} and {by}: nothing to compare. Record "
            f"{words.name(outcome)} for pieces of at least two settings."
        )
        raise DataError(msg)
    settings = rows[by].unique()
    if len(settings) < 2:
        msg = (
            f"{by} has one setting only ({settings[0]}) among the pieces with {outcome}: there "
            "is nothing to compare it with. Bake at least one more setting, twice."
        )
        raise DataError(msg)
    if dough is None:
        notes.append(
            "no column says which pieces share a dough, so every row is taken as a dough of its "
            "own; if rows do share doughs, the answer is surer than it should be"
        )

    table = pd.DataFrame({"bake": _number(rows, day)}, index=rows.index)
    table["dough"] = _number(rows, [*day, dough]) if dough else range(len(rows))
    table["mixing"] = _mixings(_number(rows, [*day, mixing]) if mixing else None, table["dough"])
    table["load"] = _number(rows, [*day, load]) if load else -1
    table[safe_name(outcome)] = values[keep.to_numpy()]
    for column in (by, *adjust):
        table[safe_name(column)] = rows[column]
    labels = pd.DataFrame(
        {
            "bake": rows[bake] if bake else "",
            "mixing": rows[mixing] if mixing else "",
            "dough": rows[dough] if dough else table["dough"] + 1,
            "load": rows[load] if load else "",
        },
        index=rows.index,
    )
    factor = safe_name(by)
    unit = _unit(table, factor)
    if unit in ("bake", "mixing", "dough"):
        whole, collapsed = _one_row_a_dough(table, safe_name(outcome))
        if collapsed:
            varied = table.groupby("dough")[[safe_name(a) for a in adjust]].nunique().max() > 1
            lost = [a for a in adjust if varied[safe_name(a)]]
            adjust = [a for a in adjust if a not in lost]
            if lost:
                notes.append(
                    f"{words.join(words.name(a) for a in lost)} differed within doughs and could "
                    "not be held alike"
                )
            table = whole
            notes.append(
                f"all pieces of a dough have the same {words.name(outcome)}, so it "
                "was taken once a dough"
            )
            labels = labels.loc[table.index]
    if not as_line:
        _refuse_inseparable(table, factor, by, unit)
    odd = _odd_ones(table, factor, unit)
    if odd:
        notes.append(
            f"{words.plural(odd, unit)} held more than one setting of {words.name(by)}: if that "
            "is a slip of the pen, correct it"
        )
    trials = 1 if columns["trial"] is None else rows[columns["trial"]].nunique()
    groups, structure, more = random_groups(table, trials)
    groups, structure = _with_mixing(table, groups, structure)
    kinds = ("bake", "mixing", "dough") if _shared(table) else ("bake", "dough")
    counts = {**{kind: table[kind].nunique() for kind in kinds}, "piece": len(table)}
    return Records(
        table, labels, tuple(adjust), as_line, groups, structure, unit, counts, (*notes, *more)
    )


def _as_line(column: pd.Series, by: str, line: bool | None) -> bool:
    numeric = pd.api.types.is_numeric_dtype(column) and not pd.api.types.is_bool_dtype(column)
    if line and not numeric:
        raise InputError("line", line, f"needs numbers, and {by} holds words")
    return (numeric and column.nunique() > MOST_SETTINGS) if line is None else line


def _check_columns(
    frame: pd.DataFrame,
    outcome: str,
    by: str,
    columns: Mapping[str, str | None],
    adjust: Sequence[str],
) -> None:
    if frame.empty:
        msg = "there are no pieces yet: nothing to compare. Record a bake first."
        raise DataError(msg)
    named = {"outcome": outcome, "by": by, **columns}
    roles = [(r, c) for r, c in named.items() if c is not None]
    roles += [("adjust", a) for a in adjust if a != columns["trial"]]
    for role, column in roles:
        if column not in frame.columns:
            what = f"column for {role}"
            raise NotFoundError(what, column, frame.columns)
    if columns.get("mixing") and not columns["bake"]:
        raise InputError("mixing", columns["mixing"], "needs bake", "Say what tells bakes apart.")
    used: dict[str, str] = {}
    for role, column in roles:
        if role == "mixing":
            continue  # may be the factor itself
        if column in used:
            raise InputError(
                role, column, f"is already used for {used[column]}", "Give each its own column."
            )
        used[column] = role


def _refuse_duplicates(frame: pd.DataFrame, within: Sequence[str]) -> None:
    """A piece that stands twice would count twice."""
    if "piece" not in frame.columns:
        return
    keys = [*within, "piece"]
    twice = frame["piece"].notna() & frame.duplicated(keys, keep=False)
    if twice.any():
        piece = frame.loc[twice, "piece"].iloc[0]
        same = twice & (frame[keys] == frame.loc[twice, keys].iloc[0]).all(axis=1)
        places = words.join(str(i + 1) for i in same.to_numpy().nonzero()[0])
        msg = (
            f"piece {piece!r} stands in rows {places} of the table: a piece must stand once. "
            "Give each piece its own name, or remove the copy."
        )
        raise DataError(msg)


def _missing_notes(frame: pd.DataFrame, columns: Sequence[str], values: pd.Series) -> list[str]:
    notes = []
    left = np.ones(len(frame), dtype=bool)
    for column in columns:
        absent = pd.isna(values if column == columns[0] else frame[column]).to_numpy() & left
        left &= ~absent
        count = int(absent.sum())
        if count == 0:
            continue
        who = ""
        if "piece" in frame.columns and count <= 6:
            who = f" ({words.join(frame.loc[absent, 'piece'].astype(str))})"
        notes.append(
            f"{words.plural(count, 'piece')} of {len(frame)} left out: "
            f"{words.name(column)} is missing{who}"
        )
    return notes


def _number(rows: pd.DataFrame, keys: Sequence[str]) -> pd.Series:
    """Number the combinations of the key columns; −1 where the last one is missing."""
    if not keys:
        return pd.Series(0, index=rows.index)
    codes: Integers = np.zeros(len(rows), dtype=np.int64)
    last = codes
    for key in keys:
        last = pd.factorize(rows[key])[0]
        codes = pd.factorize(codes * (int(last.max()) + 2) + last + 1)[0]
    return pd.Series(np.where(last < 0, -1, codes), index=rows.index)


def _held(groups: pd.Series, column: pd.Series) -> Integers:
    """How many different values each group holds, by the group's number."""
    values, found = pd.factorize(column)
    pairs = np.unique(groups.to_numpy() * len(found) + values)
    return np.bincount(pairs // len(found))


def _unit(table: pd.DataFrame, factor: str) -> Unit:
    """The largest thing within which the factor does not change, a few slips apart."""

    def constant(group: str) -> bool:
        return bool((_held(table[group], table[factor]) > 1).mean() <= 0.25)

    if table["bake"].max() > 0 and _held(table["bake"], table[factor]).max() == 1:
        return "bake"
    if _shared(table) and _held(table["mixing"], table[factor]).max() == 1:
        return "mixing"
    if table["load"].min() >= 0 and constant("load") and (_whole(table) or not constant("dough")):
        return "load"
    return "dough" if constant("dough") else "piece"


def _mixings(numbers: pd.Series | None, doughs: pd.Series) -> pd.Series:
    """Which doughs were mixed in one go; each by itself where that is not known."""
    if numbers is None or _held(doughs, numbers).max() > 1:
        return doughs
    return numbers


def _shared(table: pd.DataFrame) -> bool:
    """Whether several doughs were mixed in one go."""
    return bool(table["mixing"].nunique() < table["dough"].nunique())


def _with_mixing(
    table: pd.DataFrame, groups: tuple[str, ...], structure: Structure
) -> tuple[tuple[str, ...], Structure]:
    """Add the mixings where they hold several doughs."""
    if not _shared(table):
        return groups, structure
    head = groups[:1] if groups[:1] == ("bake",) else ()
    if structure == "nested" and "load" in groups:  # loads need not lie inside mixings
        structure = "within-first" if head else "crossed"
    return (*head, "mixing", *groups[len(head) :]), structure


def _whole(table: pd.DataFrame) -> bool:
    """Whether loads hold whole doughs, several of them."""
    doughs, loads = table["dough"].nunique(), table["load"].nunique()
    return bool(loads < doughs and _held(table["dough"], table["load"]).max() == 1)


def _odd_ones(table: pd.DataFrame, factor: str, unit: Unit) -> int:
    """How many units hold more than one setting although the factor belongs to the unit."""
    if unit == "piece":
        return 0
    return int((_held(table[unit], table[factor]) > 1).sum())


def _one_row_a_dough(table: pd.DataFrame, outcome: str) -> tuple[pd.DataFrame, bool]:
    """Keep one row a dough where every dough's pieces carry the same value."""
    if table["dough"].nunique() < len(table) and _held(table["dough"], table[outcome]).max() == 1:
        return table.drop_duplicates("dough"), True
    return table, False


def _refuse_inseparable(table: pd.DataFrame, factor: str, by: str, unit: Unit) -> None:
    """Refuse when each setting was made once: the setting and the making are then one."""
    if unit == "piece":
        return
    units = _held(pd.Series(pd.factorize(table[factor])[0]), table[unit])
    if units.max() > 1:
        return
    name = words.name(by)
    if unit == "bake":
        msg = (
            f"{name} and bake cannot be told apart: each setting was baked on one bake only, so "
            "a difference may come from the day as well. Bake each setting on at least two "
            "bakes, best all settings on every bake."
        )
    elif unit == "mixing":
        msg = (
            f"all doughs of one {name} were mixed in one go, each setting once ({len(units)} "
            "mixings): no number of doughs can tell the setting from the mixing. Bake each "
            "setting again on another bake."
        )
    else:
        verb = "mixed" if unit == "dough" else "baked"
        msg = (
            f"each setting of {name} was {verb} once ({len(units)} {unit}s): no number of pieces "
            f"can tell the setting from the {unit}. {'Mix' if unit == 'dough' else 'Bake'} each "
            f"setting in at least one more {unit}, best on another bake."
        )
    raise DesignError(msg)


def random_groups(table: pd.DataFrame, trials: int) -> tuple[tuple[str, ...], Structure, list[str]]:
    """Random groupings that the rows can tell apart, outermost first."""
    notes: list[str] = []
    bakes, doughs = table["bake"].nunique(), table["dough"].nunique()
    groups: list[str] = []
    if trials < bakes < doughs:  # with one bake a trial, the trial says it all
        groups.append("bake")
    elif trials < bakes:
        notes.append(
            "each bake had one dough, so a dough's own spread and the day's cannot be told "
            "apart; together they are called dough here"
        )
    several = doughs < len(table)
    loads = table["load"].nunique()
    if table["load"].min() < 0 or loads <= bakes or loads == len(table):
        return (*groups, *(["dough"] if several else [])), "nested", notes
    if _whole(table):
        return (*groups, "load", *(["dough"] if several else [])), "nested", notes
    if loads == doughs and _held(table["load"], table["dough"]).max() == 1:
        notes.append(
            "each load held pieces of one dough only, so what the load does cannot be told from "
            "the dough"
        )
        return (*groups, *(["dough"] if several else [])), "nested", notes
    both = (*groups, *(["dough"] if several else []), "load")
    return both, "within-first" if groups else "crossed", notes
