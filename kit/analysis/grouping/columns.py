"""Columns as they can be used: there, named once, no piece twice, no setting in two ways."""

from collections.abc import Sequence
from contextlib import suppress

import numpy as np
import pandas as pd

from kit import quantities, words
from kit.errors import DataError, InputError, NotFoundError, UnitError
from kit.units import parse

__all__ = ["check_columns", "missing_notes", "refuse_duplicates", "refuse_two_ways"]


def check_columns(frame: pd.DataFrame, named: Sequence[tuple[str, str | None]]) -> None:
    """Refuse a column that is not there, stands twice, or is named for two things."""
    if not isinstance(frame, pd.DataFrame):
        rule = "must be a table (pandas DataFrame) with a row a piece"
        raise InputError("frame", type(frame).__name__, rule)
    if frame.empty:
        msg = "there are no pieces yet: record a bake first."
        raise DataError(msg)
    roles = [(role, column) for role, column in named if column is not None]
    for role, column in roles:
        if not isinstance(column, str):
            raise InputError(role, column, "must be the name of a column, in text")
        if column not in frame.columns:
            what = f"column for {role}"
            raise NotFoundError(what, column, map(str, frame.columns))
        if isinstance(frame[column], pd.DataFrame):
            raise InputError(role, column, "stands twice among the columns", "Rename one of them.")
    used: dict[str, str] = {}
    for role, column in roles:
        if role == "mixing":
            continue  # may be the factor itself
        if used.get(column) == role:
            raise InputError(role, column, "is named twice", "Name each column once.")
        if column in used:
            raise InputError(
                role, column, f"is already used for {used[column]}", "Give each its own column."
            )
        used[column] = role


def refuse_duplicates(frame: pd.DataFrame, within: Sequence[str]) -> None:
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


def refuse_two_ways(column: pd.Series, name: str) -> None:
    """A setting written in two ways ("0.6" and "0,6" of malt, "rye" and "rye ") would be two."""
    known = quantities.find(name)
    seen: dict[object, str] = {}
    for given in map(str, () if pd.api.types.is_numeric_dtype(column) else column.unique()):
        meant_by: object = " ".join(given.split())
        if known is not None and known.unit:  # else "0" and "00" are two flours
            with suppress(UnitError):
                read = parse(given, known.unit)
                meant_by = meant_by if read is None else read
        first = seen.setdefault(meant_by, given)
        if first != given:
            msg = (
                f"{name} is {first!r} in some rows and {given!r} in others, the same "
                "setting written in two ways, which would count as two. Write it in one way."
            )
            raise DataError(msg)


def missing_notes(
    frame: pd.DataFrame, columns: Sequence[str], values: pd.Series, row: str = "piece"
) -> list[str]:
    """How many rows were left out for want of each column, the first of which has `values`.

    Up to six are named, where no two rows have the same name.
    """
    notes, named = [], "piece" in frame.columns and frame["piece"].is_unique
    left = np.ones(len(frame), dtype=bool)
    for column in columns:
        absent = pd.isna(values if column == columns[0] else frame[column]).to_numpy() & left
        left &= ~absent
        count = int(absent.sum())
        if count == 0:
            continue
        who = ""
        if named and count <= 6:
            who = f" ({words.join(frame.loc[absent, 'piece'].astype(str))})"
        notes.append(
            f"{words.plural(count, row)} of {len(frame)} left out: "
            f"{words.name(column)} is missing{who}"
        )
    return notes
