"""When two results are the same: when all that they hold is, tables and missing numbers too."""

from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from typing import Any

import numpy as np
import pandas as pd

__all__ = ["Alike", "alike"]


class Alike:
    """A dataclass that equals another of its kind when every field does.

    What `dataclass` makes of ``==`` by itself fails on tables and arrays, which have no one
    answer to it.
    """

    def __init_subclass__(cls, **more: Any) -> None:
        super().__init_subclass__(**more)
        # on the class itself: `dataclass` would put its own before an inherited one
        cls.__eq__ = _equal  # type: ignore[method-assign]
        cls.__hash__ = _hash  # type: ignore[method-assign]


def _equal(self: object, other: object) -> Any:
    return alike(self, other) if type(self) is type(other) else NotImplemented


def _hash(self: object) -> int:
    return hash(repr(self))  # one line, made of the fields: alike for what is alike


def alike(one: Any, other: Any) -> bool:
    """Say whether two values are the same, looking into containers, dataclasses and tables.

    Examples
    --------
    >>> alike({"low": float("nan")}, {"low": float("nan")}), alike((1, 2), (1, 3))
    (True, False)
    """
    if one is other:
        return True
    if type(one) is not type(other):
        return False
    if isinstance(one, pd.DataFrame | pd.Series | pd.Index):
        return bool(one.equals(other))
    if isinstance(one, np.ndarray):
        same = one.shape == other.shape and one.dtype == other.dtype
        return same and pd.Series(one.ravel()).equals(pd.Series(other.ravel()))
    if isinstance(one, Mapping):
        return one.keys() == other.keys() and all(alike(one[key], other[key]) for key in one)
    if isinstance(one, list | tuple):
        return len(one) == len(other) and all(map(alike, one, other))
    if is_dataclass(one):
        return all(alike(getattr(one, f.name), getattr(other, f.name)) for f in fields(one))
    return bool(one == other or (one != one and other != other))
