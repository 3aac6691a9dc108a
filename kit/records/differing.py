"""What two bakes, doughs, loads or pieces differ in, as far as it was recorded."""

from typing import Any

import numpy as np
import pandas as pd

from kit import quantities
from kit.errors import DataError, InputError
from kit.records.frame import STRUCTURE
from kit.records.things import Bake, Dough, Piece, Thing

__all__ = ["differing"]

#: says which thing it is, and not how it was made
_NAMES = frozenset({"bake", "dough", "load", "piece", "place"})


def differing(frame: pd.DataFrame, one: Thing, other: Thing) -> pd.DataFrame:
    """Set two things side by side; only what differs, or is known of one of them alone.

    Parameters
    ----------
    frame : DataFrame
        Of the trial, one row a piece.
    one, other : Bake, Dough, Load or Piece
        Of one kind.

    Returns
    -------
    DataFrame
        ``quantity, label``, a column each thing (of pieces the mean; NaN or None where nothing
        was recorded) and ``difference`` (the other less the one).

    Raises
    ------
    InputError
        They are of two kinds, or one and the same.
    DataError
        One of them has no pieces.
    """
    if one.level != other.level:
        raise InputError("other", other, f"must be a {one.level} like {one}")
    if one.id == other.id:
        raise InputError("other", other, "is the same one", "Give another.")
    mine, theirs = _rows(frame, one), _rows(frame, other)
    rows = []
    for name in [str(c) for c in frame if c not in _NAMES]:
        a, b = _value(mine[name], name), _value(theirs[name], name)
        number = isinstance(a, float)
        if a == b or (number and (np.isclose(a, b, rtol=1e-12, atol=0, equal_nan=True))):
            continue
        rows.append((name, quantities.label(name), a, b, b - a if number else np.nan))
    return pd.DataFrame(rows, columns=["quantity", "label", str(one), str(other), "difference"])


def _rows(frame: pd.DataFrame, thing: Thing) -> pd.DataFrame:
    """The pieces of a thing."""
    if isinstance(thing, Bake):
        keys: dict[str, object] = {"bake": thing.code}
    elif isinstance(thing, Piece):
        dough = thing.dough
        keys = {"bake": dough.bake.code, "dough": dough.code, "piece": thing.code}
    elif isinstance(thing, Dough):
        keys = {"bake": thing.bake.code, "dough": thing.code}
    else:
        keys = {"bake": thing.bake.code, "load": thing.position}
    found = frame[(frame[list(keys)] == pd.Series(keys)).all(axis=1)]
    if found.empty:
        msg = f"{thing} has no pieces: nothing to set side by side. Add them first."
        raise DataError(msg)
    return found


def _value(cells: Any, name: str) -> Any:
    """The mean of numbers; words one after the other; days as they are written."""
    if name not in (*STRUCTURE, "events"):
        return float(cells.mean())
    if name == "day":
        cells = cells.dt.strftime("%Y-%m-%d")
    return ", ".join(dict.fromkeys(cells.dropna().astype(str))) or None
