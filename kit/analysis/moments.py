"""The small table of sums that every regression needs, made in one pass over the pieces.

A regression with random bakes and doughs depends on the pieces only through, for each distinct
row of groups and settings (a *cell*): how many pieces, their mean, and the centred sum of
squares. Ten million pieces of a thousand doughs become a few thousand cells; everything after
that works on cells.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from kit.analysis.asked import has_numbers, need_columns
from kit.errors import DataError

__all__ = ["Floats", "Integers", "Moments", "moments", "outcome_values"]

Floats = NDArray[np.floating[Any]]
Integers = NDArray[np.integer[Any]]


@dataclass(frozen=True)
class Moments:
    """Counts, means and sums of squares per cell.

    Parameters
    ----------
    cells : DataFrame, shape (C, number of columns)
        The distinct rows of the columns asked for.
    n, mean : float arrays, shape (C,)
        Pieces in each cell, and their mean outcome minus `shift`.
    shift : float
        One of the outcomes, subtracted before summing so that large readings that differ
        little lose no digits.
    within_ss : float
        Sum over the cells of squared deviations from the cell's mean.
    dropped : mapping
        Column to the rows left out because it was missing there.
    """

    cells: pd.DataFrame
    n: Floats
    mean: Floats
    shift: float
    within_ss: float
    dropped: Mapping[str, int]

    @property
    def total(self) -> int:
        """Number of pieces used."""
        return int(self.n.sum())


def moments(frame: pd.DataFrame, outcome: str, columns: Sequence[str]) -> Moments:
    """Reduce `frame`, one row a piece, to one row a distinct combination of `columns`.

    A missing value of the numeric outcome or in any column drops the row, which is reported.

    Raises
    ------
    NotFoundError
        A column does not exist.
    DataError
        The outcome is not numeric, holds an infinite value, or nothing is left.
    """
    need_columns(frame, (outcome, *columns))
    y = outcome_values(frame, outcome)
    codes, missing = _cell_codes([frame[column] for column in columns], len(frame))
    keep = ~np.isnan(y)
    dropped = {outcome: int((~keep).sum())}
    for column, absent in zip(columns, missing, strict=True):
        if absent is not None:
            dropped[column] = int((keep & absent).sum())
            keep &= ~absent
    if not keep.any():
        msg = (
            f"no row has both {outcome} and {', '.join(columns) or 'a value'}: "
            "nothing to analyse. Record at least two doughs with the outcome."
        )
        raise DataError(msg)
    rows = None if keep.all() else np.flatnonzero(keep)
    if rows is not None:
        y, codes = y[rows], codes[rows]
    codes, first = _compact(codes)
    shift = float(y[0])
    y = y - shift
    n = np.bincount(codes).astype(float)
    mean = np.bincount(codes, weights=y) / n
    within = 0.0
    if len(n) < len(y):
        y -= mean[codes]
        # what rounding left of each mean, so that the squares are about the true one
        correction = np.bincount(codes, weights=y) / n
        mean += correction
        within = max(float(np.dot(y, y) - np.dot(n, correction**2)), 0.0)
    first = first if rows is None else rows[first]
    cells = frame[list(columns)].iloc[first].reset_index(drop=True)
    return Moments(cells, n, mean, shift, within, {c: k for c, k in dropped.items() if k})


def outcome_values(frame: pd.DataFrame, outcome: str) -> Floats:
    """Return a column as floats, NaN where missing.

    Raises
    ------
    DataError
        Text or an infinite value; names the first row.
    """
    column, wrong = frame[outcome], np.zeros(len(frame), dtype=bool)
    if not has_numbers(column):
        given, column = column, pd.to_numeric(column, errors="coerce")
        wrong = (column.isna() & given.notna()).to_numpy()
    if wrong.any():
        row = int(wrong.argmax())
        msg = (
            f"{outcome} is {given.iloc[row]!r} (row {row + 1} of the table): "
            f"is not a number. {int(wrong.sum())} of {len(column)} values are text; "
            "correct them or leave the cells empty."
        )
        raise DataError(msg)
    values = column.to_numpy(dtype=float, na_value=np.nan)
    infinite = np.isinf(values)
    if infinite.any():
        row = int(infinite.argmax())
        msg = (
            f"{outcome} is {values[row]} (row {row + 1} of the table): is not a finite number. "
            "Correct it or leave the cell empty."
        )
        raise DataError(msg)
    return values


def _cell_codes(
    columns: Sequence[pd.Series], rows: int
) -> tuple[Integers, list[NDArray[np.bool_] | None]]:
    """Number the combinations of `columns`; also say where each column is missing."""
    codes: Integers = np.zeros(rows, dtype=np.int64)
    size, missing = 1, []
    for column in columns:
        if isinstance(column.dtype, pd.CategoricalDtype):
            own, levels = column.cat.codes.to_numpy(), len(column.cat.categories)
        else:
            own, found = pd.factorize(column)
            levels = len(found)
        absent = own < 0
        missing.append(absent if absent.any() else None)
        if size * (levels + 1) > 2**62:
            codes, _ = _compact(codes)
            size = int(codes.max()) + 1
        codes = own.astype(np.int64) if size == 1 else codes * levels + own
        size *= max(levels, 1)
    return codes, missing


def _compact(codes: Integers) -> tuple[Integers, Integers]:
    """Renumber codes 0…C−1 without gaps and return the first row of each."""
    low, top = int(codes.min()), int(codes.max())
    if top - low < max(4 * len(codes), 1024):
        # the range is small enough for a table: much faster than sorting or hashing
        codes = codes - low
        first = np.full(top - low + 1, -1, dtype=np.int64)
        first[codes[::-1]] = np.arange(len(codes) - 1, -1, -1)
        used = np.flatnonzero(first >= 0)
        if len(used) == len(first):
            return codes, first
        renumber = np.zeros(len(first), dtype=np.int64)
        renumber[used] = np.arange(len(used))
        return renumber[codes], first[used]
    codes, found = pd.factorize(codes)
    first = np.empty(len(found), dtype=np.int64)
    first[codes[::-1]] = np.arange(len(codes) - 1, -1, -1)
    return codes.astype(np.int64), first
