"""What every analysis asks of what it is given: columns that are there, numbers between limits."""

import math
from collections.abc import Iterable, Sequence

import pandas as pd

from kit.errors import InputError, NotFoundError
from kit.given import as_number, is_missing

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


def relabelled(frame: pd.DataFrame, *settings: str) -> pd.DataFrame:
    """Number the rows anew where their labels repeat, as those of tables put together do.

    And read columns of settings alike: numbers of any kind, `Decimal` or beside None, are numbers,
    and a number's text beside the number is that number, as "True" beside True is a yes.

    Examples
    --------
    >>> from decimal import Decimal
    >>> table = pd.DataFrame({"malt": [Decimal("0.8"), None, "0.8"], "rye": [True, "True", "no"]})
    >>> read = relabelled(table, "malt", "rye")
    >>> read["malt"].tolist(), read["rye"].tolist()
    ([0.8, nan, 0.8], [True, True, 'no'])
    """
    if not isinstance(frame, pd.DataFrame):
        return frame
    for name in (s for s in settings if isinstance(s, str) and s in frame):
        column = frame[name]
        if not isinstance(column, pd.Series) or column.dtype != object:
            continue
        given = [v for v in column.unique() if not is_missing(v)]
        texts = {str(v): v for v in given if not isinstance(v, str)}
        texts |= {f"{n:g}": v for v in texts.values() if (n := as_number(v)) is not None}
        read = {v: texts.get(v, v) if isinstance(v, str) else v for v in given}
        numbers = {v: as_number(of) for v, of in read.items()}
        kept = [n for n in numbers.values() if n is not None and abs(n) < 2**53]  # else they merge
        if numbers and len(kept) == len(numbers):
            frame = frame.assign(**{name: column.map(numbers).astype(float)})
        elif texts:
            frame = frame.assign(**{name: column.map(read)})
    return frame if frame.index.is_unique else frame.reset_index(drop=True)


def has_numbers(column: pd.Series) -> bool:
    """Say whether a column holds numbers; yes and no are none.

    Examples
    --------
    >>> has_numbers(pd.Series([0.5, 2])), has_numbers(pd.Series([True, False]))
    (True, False)
    """
    return pd.api.types.is_numeric_dtype(column) and not pd.api.types.is_bool_dtype(column)
