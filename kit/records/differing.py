"""What two bakes, doughs, loads or pieces differ in, as far as it was recorded."""

from typing import Any

import numpy as np
import pandas as pd

from kit import quantities
from kit.analysis import words
from kit.errors import DataError, InputError
from kit.records.frame import STRUCTURE
from kit.records.things import Bake, Dough, Piece, Thing

__all__ = ["CAUTION", "differing", "rows"]

#: said below two batches side by side
CAUTION = (
    "What was recorded of pieces is their mean. Two batches differ in many ways at once, and by "
    "themselves too: this shows what to look into, not what made the difference. A comparison "
    "over several bakes asks that."
)

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
    differ = []
    for name in [str(c) for c in frame if c not in _NAMES]:
        a, b = _value(mine[name], name), _value(theirs[name], name)
        number = isinstance(a, float)
        if a == b or (number and (np.isclose(a, b, rtol=1e-12, atol=0, equal_nan=True))):
            continue
        differ.append((name, quantities.label(name), a, b, b - a if number else np.nan))
    return pd.DataFrame(differ, columns=["quantity", "label", str(one), str(other), "difference"])


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


def rows(found: pd.DataFrame) -> list[tuple[str, str, str, str]]:
    """Return what `differing` found as it is read: name, each's value, difference.

    What is alike as it is written is left out.
    """
    one, other = found.columns[2:4]
    read = []
    for row in found.to_dict("records"):
        mine, theirs = (_shown(row["quantity"], row[name]) for name in (one, other))
        if mine != theirs:  # closer than it is written
            name = words.capital(words.name(row["quantity"]))
            read.append((name, mine, theirs, _shown(row["quantity"], row["difference"], sign=True)))
    return read


def _shown(name: str, value: Any, sign: bool = False) -> str:
    """A value with its unit, a mean of whole numbers to a tenth; a dash where nothing is known."""
    if value is None or value != value:
        return "–"
    if not isinstance(value, float):
        return str(value)
    try:
        known = quantities.get(name)
    except LookupError:
        text = f"{value:.4g}"
    else:
        decimals = known.decimals or (0 if value.is_integer() else 1)
        text = f"{value:.{decimals}f} {known.unit}".strip()
    return f"+{text}" if sign and value > 0 else words.minus(text)
