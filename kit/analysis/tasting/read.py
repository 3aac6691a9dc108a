"""Reading what tasters answered: counts of right answers, and tables of ranks or scores."""

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
import pandas as pd

from kit.analysis.asked import need_columns
from kit.errors import DataError, InputError
from kit.given import as_whole

__all__ = ["counts", "marks_of", "table"]


def counts(
    correct: int | Sequence[int], tasters: int, tries: int | Sequence[int]
) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """Right answers and tries, one entry a taster.

    Raises
    ------
    InputError
        No whole numbers, more right than answers, or one count for tasters who each answered
        several times.

    Examples
    --------
    >>> counts(2, 3, 1), counts([2, 0, 3], 3, 3)
    (((1, 1, 0), (1, 1, 1)), ((2, 0, 3), (3, 3, 3)))
    """
    if not _whole(tasters, 1):
        raise InputError("tasters", tasters, "must be a whole number from 1")
    people = int(tasters)
    each = list(tries) if isinstance(tries, Iterable) else [tries] * people
    if len(each) != people or not all(_whole(k, 1) for k in each):
        raise InputError(
            "tries", tries, f"must be a whole number from 1, or one for each of {people} tasters"
        )
    if isinstance(correct, Sequence | np.ndarray) and not isinstance(correct, str):
        rights = list(correct)
        if len(rights) != people:
            raise InputError(
                "correct", correct, f"must hold one count for each of {people} tasters"
            )
    elif people > 1 and any(k > 1 for k in each):
        raise InputError(
            "correct", correct, "must say how many each taster got right",
            "One person's repeats are not more people: write one count a taster, [2, 0, 3].",
        )  # fmt: skip
    elif people == 1:
        rights = [correct]
    else:
        if not _whole(correct, 0) or correct > people:
            raise InputError("correct", correct, f"must be a whole number from 0 to {people}")
        rights = [1] * int(correct) + [0] * (people - int(correct))
    for right, k in zip(rights, each, strict=True):
        if not _whole(right, 0) or right > k:
            raise InputError("correct", right, f"must be a whole number from 0 to {k}")
    return tuple(int(r) for r in rights), tuple(int(k) for k in each)


def _whole(value: Any, least: int) -> bool:
    number = as_whole(value)
    return number is not None and number >= least


def marks_of(frame: pd.DataFrame, value: str) -> pd.DataFrame:
    """The rows that have taster, sample and value, with the values as numbers.

    Raises
    ------
    NotFoundError, InputError
        A column that is not there, a value that is no number.
    """
    columns = ["taster", "sample", value]
    need_columns(frame, columns)
    used = frame[columns].dropna()
    numbers = pd.to_numeric(used[value], errors="coerce")
    if numbers.isna().any():
        wrong = used.loc[numbers.isna(), value].iloc[0]
        raise InputError(value, wrong, "is not a number", "Write 1, 2, 3 …")
    return used.assign(**{value: numbers.astype(float)})


def table(frame: pd.DataFrame, value: str) -> pd.DataFrame:
    """One row a taster, one column a sample: the mean where a taster had a sample several times.

    Rows without a value are left out: not answered is missing, never 0.

    Raises
    ------
    NotFoundError, InputError, DataError
        A column that is not there, values that are no numbers, fewer than two samples or no taster.
    """
    used = marks_of(frame, value)
    wide = used.pivot_table(
        index="taster", columns="sample", values=value, aggfunc="mean", sort=False
    )
    if wide.shape[1] < 2 or wide.empty:
        msg = (
            f"{value} is there for {wide.shape[1]} samples and {wide.shape[0]} tasters: at least "
            "two samples and one taster are needed."
        )
        raise DataError(msg)
    return wide
