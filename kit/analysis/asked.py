"""What every analysis asks of what it is given: columns that are there, numbers between limits."""

import math
from collections.abc import Iterable, Sequence

import pandas as pd

from kit.errors import InputError, NotFoundError
from kit.given import as_number

__all__ = ["has_numbers", "need_between", "need_columns", "need_one_of", "relabelled"]


def need_columns(frame: pd.DataFrame, columns: Iterable[str]) -> None:
    """Refuse the first column that is not there.

    Raises
    ------
    NotFoundError
    """
    for column in columns:
        if column not in frame.columns:
            raise NotFoundError("column", column, map(str, frame.columns))


def need_between(field: str, value: object, low: float, high: float, remedy: str = "") -> float:
    """Return a number that lies between two limits, ends excluded; `high` may be infinite.

    Raises
    ------
    InputError
        It does not, or is none.

    Examples
    --------
    >>> need_between("alpha", 0.05, 0, 0.5)
    0.05
    """
    number = as_number(value)
    if number is None or not low < number < high:
        rule = f"must lie between {low:g} and {high:g}"
        raise InputError(
            field, value, f"must be above {low:g}" if math.isinf(high) else rule, remedy
        )
    return number


def need_one_of(field: str, value: object, known: Sequence[str]) -> None:
    """Refuse what is not one of the names that are known.

    Raises
    ------
    InputError
    """
    if value not in known:
        raise InputError(field, value, f"must be one of {', '.join(map(repr, known))}")


def relabelled(frame: pd.DataFrame) -> pd.DataFrame:
    """Number the rows anew where their labels repeat, as those of tables put together do."""
    if not isinstance(frame, pd.DataFrame) or frame.index.is_unique:
        return frame
    return frame.reset_index(drop=True)


def has_numbers(column: pd.Series) -> bool:
    """Say whether a column holds numbers; yes and no are none.

    Examples
    --------
    >>> has_numbers(pd.Series([0.5, 2])), has_numbers(pd.Series([True, False]))
    (True, False)
    """
    return pd.api.types.is_numeric_dtype(column) and not pd.api.types.is_bool_dtype(column)
