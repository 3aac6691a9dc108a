"""What two bakes, doughs, loads or pieces differ in, as far as it was recorded."""

from typing import Any

import numpy as np
import pandas as pd

from kit import quantities, words
from kit.errors import DataError, InputError
from kit.records.frame import STRUCTURE
from kit.records.things import Bake, Load, Piece, Thing

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
    """Set two things side by side, of one kind; see `Trial.differences`.

    `frame` has one row a piece.
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
    bake = thing if isinstance(thing, Bake) else thing.bake
    own = thing.position if isinstance(thing, Load) else thing.code
    keys: dict[str, object] = {"bake": bake.code, thing.level: own}
    if isinstance(thing, Piece):
        keys["dough"] = thing.dough.code
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

    Means of whole numbers are told to a tenth; the difference is that of the values as they are
    written, and what is alike as it is written is left out.
    """
    read = []
    for name, _, mine, theirs, _ in found.itertuples(index=False, name=None):
        places, unit = _written(name, mine, theirs)
        one, other = (_shown(value, places, unit) for value in (mine, theirs))
        if one == other:
            continue
        apart = "–"
        if isinstance(mine, float) and not np.isnan([mine, theirs]).any():
            less = round(theirs, places) - round(mine, places)
            apart = f"{'+' if less > 0 else ''}{_shown(less, places, unit)}"
        read.append((words.capital(words.name(name)), one, other, apart))
    return read


def _written(name: str, *values: Any) -> tuple[int, str]:
    """Decimals and unit that a quantity's values are written with."""
    known = quantities.find(name)
    if known is None:
        return 3, ""
    whole = all(not isinstance(v, float) or np.isnan(v) or v.is_integer() for v in values)
    return known.decimals or (0 if whole else 1), known.unit


def _shown(value: Any, places: int, unit: str) -> str:
    """A value with its unit; a dash where nothing is known."""
    if value is None or value != value:
        return "–"
    if not isinstance(value, float):
        return str(value)
    return words.minus(f"{value:.{places}f} {unit}".strip())
