"""What a plan is meant to tell apart, as columns of numbers."""

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
import pandas as pd

from kit.analysis.moments import Floats, Integers
from kit.errors import InputError
from kit.plan.factors import Factor, Setting

__all__ = ["Model", "ModelKind", "make_model", "setting_numbers"]

ModelKind = Literal["settings", "main", "pairs", "quadratic", "all"]


@dataclass(frozen=True)
class Model:
    """Columns for each factor's settings, and which of them are multiplied.

    Parameters
    ----------
    bases : tuple of float arrays, shape (settings, columns)
        Each factor's own columns.
    squares : tuple of float arrays or None
        A numeric factor's bend, where the model has one.
    pairs : bool
        Whether the columns of two factors are multiplied.
    all_together : bool
        Whether all products of three and more are in as well.
    labels : tuple of str
        The factors in words.
    """

    bases: tuple[Floats, ...]
    squares: tuple[Floats | None, ...]
    pairs: bool
    all_together: bool
    labels: tuple[str, ...]

    def terms(self) -> list[tuple[str, tuple[int, ...], bool]]:
        """Name, factors and whether it is a bend, of each term but the constant."""
        k = len(self.bases)
        sizes = range(1, (k if self.all_together else 2 if self.pairs else 1) + 1)
        found: list[tuple[str, tuple[int, ...], bool]] = []
        for size in sizes:
            for some in itertools.combinations(range(k), size):
                found.append((" and ".join(self.labels[i] for i in some), some, False))
        found += [
            (f"the bend of {self.labels[i]}", (i,), True)
            for i, square in enumerate(self.squares)
            if square is not None
        ]
        return found

    def columns(self, chosen: Integers, term: tuple[int, ...], bend: bool = False) -> Floats:
        """Columns of one term for rows of setting numbers, shape (n, columns)."""
        if bend:
            square = self.squares[term[0]]
            assert square is not None
            return square[chosen[:, term[0]]]
        result = np.ones((len(chosen), 1))
        for i in term:
            own = self.bases[i][chosen[:, i]]
            result = (result[:, :, None] * own[:, None, :]).reshape(len(chosen), -1)
        return result

    def rows(self, chosen: Integers) -> Floats:
        """All columns, the constant first, for rows of setting numbers, shape (n, p)."""
        parts: list[Floats] = [np.ones((len(chosen), 1))]
        parts += [self.columns(chosen, term, bend) for _, term, bend in self.terms()]
        return np.hstack(parts)


def make_model(
    factors: Sequence[Factor], kind: ModelKind, coded: Sequence[Sequence[float]] | None = None
) -> Model:
    """Build the columns.

    Parameters
    ----------
    kind : {"settings", "main", "pairs", "quadratic", "all"}
        Each setting for itself; straight lines; and pairs of factors; and bends of numeric
        factors with three settings or more; every combination for itself.
    coded : sequence of sequences of float, optional
        Coded values of each factor's settings where they are not those of the factor (axis
        points).

    Raises
    ------
    InputError
        Another kind.
    """
    if kind not in get_args(ModelKind):
        raise InputError("model", kind, f"must be one of {', '.join(get_args(ModelKind))}")
    bases: list[Floats] = []
    squares: list[Floats | None] = []
    for i, factor in enumerate(factors):
        values = (
            np.array(coded[i], dtype=float)
            if coded is not None
            else np.array([factor.coded(s) for s in factor.settings])
            if factor.numeric
            else np.arange(len(factor.settings), dtype=float)
        )
        count = len(values)
        line = (factor.numeric or coded is not None) and kind not in ("settings", "all")
        # effect coding: the last setting is minus the sum of the others
        bases.append(
            values[:, None] if line else np.vstack([np.eye(count - 1), -np.ones(count - 1)])
        )
        bend = kind == "quadratic" and line and count > 2
        squares.append(values[:, None] ** 2 if bend else None)
    return Model(
        tuple(bases),
        tuple(squares),
        kind in ("pairs", "quadratic"),
        kind == "all",
        tuple(f.name for f in factors),
    )


def setting_numbers(units: pd.DataFrame, settings: Mapping[str, Sequence[Setting]]) -> Integers:
    """The number of each unit's setting, from 0, shape (n, k).

    `units` has one row an experiment and a column a factor, `settings` each factor's, in order.
    """
    return np.column_stack(
        [
            units[quantity].map({s: i for i, s in enumerate(known)}).to_numpy(dtype=np.int64)
            for quantity, known in settings.items()
        ]
    )
