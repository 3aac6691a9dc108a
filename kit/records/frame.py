"""Out of the store: one tidy row a piece, everything known about it in columns."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
from sqlalchemy import Connection, Select, select

from kit import quantities
from kit.analysis.moments import Floats
from kit.records import tables as t
from kit.records.readings import HOW, STAGE
from kit.records.things import FLOUR, YEAST, selected, there

__all__ = ["STRUCTURE", "Frames", "held", "present", "read", "stack"]

#: the columns before the quantities
STRUCTURE = ("bake", "day", "dough", "load", "piece", "place", "flour_lot", "yeast_lot")
_IDS = ("bake_id", "dough_id", "load_id", "piece_id")
_TEXTS = ("bake", "dough", "piece", "flour_lot", "yeast_lot", "events")
# pandas 3 has a text type of its own; in pandas 2 "str" would turn missing into "None"
_TEXT = "str" if int(pd.__version__.partition(".")[0]) >= 3 else "object"


@dataclass(frozen=True)
class Frames:
    """A trial as a table, twice: the values, and how each came to be."""

    # columns `STRUCTURE`, the quantities that have a value in the order of `kit.quantities`,
    # ``events``
    values: pd.DataFrame
    # the same rows; in a quantity's column "planned", "entered", "photo", "computed" or missing
    hows: pd.DataFrame


def read(connection: Connection, trial_id: str) -> Frames:
    """Return one trial's pieces.

    A bake's, dough's or load's value stands on each of its pieces. The newest reading that is not
    planned counts, else the newest planned one. What was not measured is NaN, never 0; a computed
    quantity is filled in where its inputs are there and it was not measured itself.
    """
    rows = connection.execute(_pieces(trial_id)).all()
    ids, structure = _columns(rows)
    actual, planned, how = _matrices(connection, trial_id, ids)
    names = [q.name for q in quantities.all_quantities()]
    measured = [n for n in names if n in actual] + sorted(set(actual) - set(names))
    values: dict[str, Floats] = {}
    hows: dict[str, npt.NDArray[Any]] = {}
    words = np.array([*HOW, None], dtype=object)
    for name in measured:
        from_plan = np.isnan(actual[name])
        column = np.where(from_plan, planned[name], actual[name])
        if np.isnan(column).all():
            continue  # all taken back, or on doughs without pieces
        values[name] = column
        came = np.where(from_plan, HOW.index("planned"), how[name])
        hows[name] = words[np.where(np.isnan(values[name]), -1, came)]
    _fill_computed(values, hows, len(rows))
    happened = _events(connection, trial_id, ids)
    order = [n for n in names if n in values] + [n for n in values if n not in names]
    shared = pd.DataFrame(structure)
    return Frames(
        _typed(shared, {n: values[n] for n in order}, happened),
        _typed(shared, {n: pd.Series(hows[n], dtype=_TEXT) for n in order}, happened),
    )


def _typed(shared: pd.DataFrame, columns: Mapping[str, Any], happened: object) -> pd.DataFrame:
    return pd.concat(
        [shared, pd.DataFrame(columns, index=shared.index),
         pd.DataFrame({"events": happened}, index=shared.index, dtype=_TEXT)], axis=1
    )  # fmt: skip


def _pieces(trial_id: str) -> Select[Any]:
    """Select ids, then the columns of `STRUCTURE`, one row a piece, in baking order."""
    return selected("piece", trial_id).with_only_columns(
        t.bake.c.id, t.dough.c.id, t.load.c.id, t.piece.c.id,
        t.bake.c.code, t.bake.c.day, t.dough.c.code, t.load.c.position,
        t.piece.c.code, t.piece.c.place, FLOUR.c.code, YEAST.c.code,
    )  # fmt: skip


def _columns(rows: Iterable[Any]) -> tuple[dict[str, list[str]], dict[str, "pd.Series[Any]"]]:
    """Return the rows as id lists by level and as columns of the right type."""
    names = [*_IDS, *STRUCTURE]
    lists = dict(zip(names, map(list, zip(*rows, strict=True)), strict=False))
    ids = {name[:-3]: lists.get(name, []) for name in _IDS}
    columns = {}
    for name in STRUCTURE:
        given = lists.get(name, [])
        if name in _TEXTS:
            column = pd.Series(given, dtype=_TEXT)
        elif name == "day":
            column = pd.to_datetime(pd.Series(given, dtype="object")).astype("datetime64[s]")
        else:
            column = pd.Series(given, dtype=float)
            if not column.isna().any():
                column = column.astype(np.int64)
        columns[name] = column
    return ids, columns


def _matrices(
    connection: Connection, trial_id: str, ids: Mapping[str, list[str]]
) -> tuple[dict[str, Floats], dict[str, Floats], dict[str, npt.NDArray[np.intp]]]:
    """Return per quantity and piece: the newest actual value, the newest planned, and how."""
    r = t.reading.c
    query = (
        select(r.target_id, r.quantity, r.how, r.value)
        .where(r.trial_id == trial_id, r.deleted.is_(None))
        .where(r.quantity.not_in(quantities.SERIES))
        .order_by(r.seq)
    )
    # plain tuples: half a million row objects take half as long again as reading them does
    with connection.execute(query) as result:
        rows = [] if result.cursor is None else result.cursor.fetchall()
    target, quantity, how, value = map(list, zip(*rows, strict=True)) if rows else [[]] * 4
    # all bakes, doughs, loads and pieces in one list, and where each piece finds its own in it
    numbered = {level: pd.factorize(np.array(own, dtype=object)) for level, own in ids.items()}
    starts = np.cumsum([0, *(len(unique) for _, unique in numbered.values())])
    everything = pd.Index(np.concatenate([unique for _, unique in numbered.values()]))
    # a piece without a load finds the one cell more at the end, which stays NaN
    of_piece = [
        np.where(number < 0, starts[-1], number + start)
        for (number, _), start in zip(numbered.values(), starts[:-1], strict=True)
    ]
    thing = everything.get_indexer(pd.Index(target, dtype=object))
    which, names = pd.factorize(np.array(quantity, dtype=object))
    hows = pd.Index(HOW).get_indexer(pd.Index(how, dtype=object))
    values = np.array(value, dtype=float)
    actual, planned, came = {}, {}, {}
    for number, name in enumerate(names):
        mine = np.flatnonzero((which == number) & (thing >= 0))  # removed things are not there
        if not len(mine):
            continue
        at, was = thing[mine], hows[mine]
        level = int(np.searchsorted(starts, at[0], side="right")) - 1
        is_plan = was == HOW.index("planned")
        a, p = np.full(starts[-1] + 1, np.nan), np.full(starts[-1] + 1, np.nan)
        h = np.zeros(starts[-1] + 1, dtype=np.intp)
        # the last of several values for one cell stays, and rows come oldest first
        a[at[~is_plan]] = values[mine[~is_plan]]
        h[at[~is_plan]] = was[~is_plan]
        p[at[is_plan]] = values[mine[is_plan]]
        own = of_piece[level]
        actual[name], planned[name], came[name] = a[own], p[own], h[own]
    return actual, planned, came


def _fill_computed(values: dict[str, Floats], hows: dict[str, npt.NDArray[Any]], rows: int) -> None:
    """Add computed quantities where all they need is there and nothing was measured."""
    for quantity in quantities.all_quantities():
        if quantity.formula is None or not all(need in values for need in quantity.needs):
            continue
        have = values.get(quantity.name, np.full(rows, np.nan))
        came = hows.get(quantity.name, np.full(rows, None, dtype=object))
        inputs = [values[need] for need in quantity.needs]
        fill = np.isnan(have) & ~np.isnan(inputs).any(axis=0)
        computed = map(quantity.formula, *(column[fill].tolist() for column in inputs))
        have[fill] = np.fromiter(computed, dtype=float, count=int(fill.sum()))
        came[fill] = "computed"
        if not np.isnan(have).all():
            values[quantity.name], hows[quantity.name] = have, came


def _events(connection: Connection, trial_id: str, ids: Mapping[str, list[str]]) -> Any:
    """Return per piece the kinds of what happened to it, its load, dough and bake."""
    e = t.event.c
    query = select(e.level, e.target_id, e.kind).where(
        e.trial_id == trial_id, there(t.event), ~e.kind.startswith(STAGE)
    )
    rows = connection.execute(query.order_by(e.at)).all()
    happened = pd.DataFrame(rows, columns=["level", "target", "kind"])
    told = pd.Series("", index=range(len(ids["piece"])), dtype=object)
    for level in ("piece", "load", "dough", "bake"):
        mine = happened[happened["level"] == level]
        if len(mine):
            kinds = mine.groupby("target")["kind"].agg("; ".join)
            more = pd.Series(ids[level], dtype=object).map(kinds).fillna("")
            told = told + more.where((told == "") | (more == ""), "; " + more)
    return told.where(told != "", None)


def stack(frames: Mapping[str, pd.DataFrame]) -> pd.DataFrame:
    """Put trials (name -> frame) one below the other, a first column `trial` saying which."""
    if not frames:
        return pd.DataFrame(columns=["trial", *STRUCTURE, "events"])
    names = [q.name for q in quantities.all_quantities()]
    there_is = {column for frame in frames.values() for column in frame.columns}
    known = [n for n in names if n in there_is]
    own = sorted(there_is - set(known) - {*STRUCTURE, "events"})
    full = [frame for frame in frames.values() if len(frame)] or list(frames.values())[:1]
    labels = [name for name, frame in frames.items() for _ in range(len(frame))]
    stacked = pd.concat(full, ignore_index=True)
    stacked = stacked.reindex(columns=[*STRUCTURE, *known, *own, "events"])
    stacked.insert(0, "trial", pd.Series(labels, dtype=_TEXT))
    return stacked


def present(frame: pd.DataFrame, column: str) -> str | None:
    """The column's name if it says anything."""
    return column if column in frame and frame[column].notna().any() else None


def held(frame: pd.DataFrame, outcome: str | None, factors: Iterable[str]) -> list[str]:
    """The factors to hold alike: those set where the outcome was measured.

    What is only planned for bakes to come would leave no piece to compare.
    """
    there = [factor for factor in factors if factor in frame]
    if outcome not in frame:
        return there
    measured = frame[frame[outcome].notna()]
    return [factor for factor in there if present(measured, factor)]
