"""How the columns of a design are made: formulaic decides once, after that plain arithmetic does.

formulaic reads the formula, finds which levels each factor has and which columns keep the rank;
that takes some ten milliseconds, and depends only on the formula, on the kind of each column and on
the levels it holds. So what it decided is kept as a *recipe*, tried once against formulaic's own
columns. Formulas with other functions than ``C(x)`` and ``I(x**2)`` go to formulaic each time.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from kit.analysis.moments import Floats

__all__ = ["Recipe", "levels_of", "recipes"]

#: A column with more different values than this is hardly a factor.
_MOST_LEVELS = 60
_MOST_KEPT = 256
_kept: dict[Any, tuple["Recipe", "Recipe"]] = {}

#: One factor of a column: its variable, the level it indicates or None, and its power.
_Part = tuple[str, Any, int]


@dataclass(frozen=True, eq=False)
class Recipe:
    """Columns of a design.

    Parameters
    ----------
    spec : formulaic.ModelSpec
    columns : tuple of tuples of _Part, or None
        What each column is the product of; None when only formulaic knows.
    """

    spec: Any
    columns: tuple[tuple[_Part, ...], ...] | None

    @property
    def names(self) -> list[str]:
        """Of the columns, as formulaic has them."""
        return [str(name) for name in self.spec.column_names]

    @property
    def kinds(self) -> dict[str, bool]:
        """Factor expression -> whether it is categorical."""
        return {
            str(name): "categorical" in str(state[0]).lower()
            for name, state in self.spec.encoder_state.items()
        }

    def of(self, frame: pd.DataFrame) -> Floats:
        """The columns for these rows, shape (rows, all columns)."""
        if self.columns is None:
            return np.asarray(self.spec.get_model_matrix(frame, na_action="raise"), dtype=float)
        return self.from_values({n: _values(frame[n]) for n in self._variables}, len(frame))

    def from_values(self, values: Mapping[str, Any], rows: int) -> Floats:
        """The columns from arrays of values, where `columns` is known."""
        made: dict[_Part, Floats] = {}
        x = np.ones((rows, len(self.columns or ())))
        for i, parts in enumerate(self.columns or ()):
            for part in parts:
                if part not in made:
                    variable, level, power = part
                    own = values[variable]
                    told = own.astype(float) ** power if level is None else own == level
                    made[part] = told.astype(float)
                x[:, i] *= made[part]
        return x

    @property
    def _variables(self) -> set[str]:
        return {part[0] for parts in self.columns or () for part in parts}


def recipes(rhs: Any, cells: pd.DataFrame) -> tuple[Recipe, Recipe]:
    """The recipe of full rank, and the one with every level of every factor.

    Parameters
    ----------
    rhs : formulaic.Formula
    cells : DataFrame
        The variables of the formula.
    """
    key = (str(rhs), tuple((name, *_kind(cells[name])) for name in cells.columns))
    found = _kept.get(key)
    if found is None:
        found = _new(rhs, cells, True), _new(rhs, cells, False)
        if all(r.columns is not None for r in found):
            if len(_kept) >= _MOST_KEPT:
                _kept.pop(next(iter(_kept)), None)
            _kept[key] = found
    return found


def levels_of(column: pd.Series) -> list[Any]:
    """The levels that a column holds, in order."""
    if isinstance(column.dtype, pd.CategoricalDtype):
        present = set(column)
        return [level for level in column.cat.categories if level in present]
    return sorted(column.unique(), key=lambda level: (isinstance(level, str), level))


def _kind(column: pd.Series) -> tuple[Any, ...]:
    """What formulaic's decisions depend on."""
    if isinstance(column.dtype, pd.CategoricalDtype):
        return "levels", *column.cat.categories
    found = pd.unique(column)
    if len(found) <= _MOST_LEVELS:
        return str(column.dtype), *sorted(found, key=lambda v: (isinstance(v, str), v))
    return (str(column.dtype),)


def _values(column: pd.Series) -> Any:
    if isinstance(column.dtype, pd.CategoricalDtype) or column.dtype.kind not in "biuf":
        return column.to_numpy(dtype=object)
    return column.to_numpy()


def _new(rhs: Any, cells: pd.DataFrame, full_rank: bool) -> Recipe:
    matrix = rhs.get_model_matrix(cells, na_action="raise", ensure_full_rank=full_rank)
    spec = matrix.model_spec
    recipe = Recipe(spec, _columns(spec, cells))
    same = recipe.columns is not None and np.array_equal(recipe.of(cells), np.asarray(matrix))
    return recipe if same else Recipe(spec, None)


def _columns(spec: Any, cells: pd.DataFrame) -> tuple[tuple[_Part, ...], ...] | None:
    """Read from formulaic's decisions what each column is the product of."""
    if spec.transform_state:
        return None
    columns: list[tuple[_Part, ...]] = []
    for _, scoped, _ in spec.structure:
        for one in scoped:
            made: list[tuple[_Part, ...]] = [()]
            for each in one.factors:
                parts = _parts(str(each.factor), each.reduced, spec, cells)
                if parts is None or one.scale != 1:
                    return None
                made = [(*before, part) for part in parts for before in made]
            columns += made
    return tuple(columns)


def _parts(text: str, reduced: bool, spec: Any, cells: pd.DataFrame) -> list[_Part] | None:
    """The columns of one factor; None when it is neither a column, ``C(x)`` nor ``I(x**2)``."""
    power = re.fullmatch(r"I\((\w+) ?\*\* ?(\d)\)", text)
    known = re.fullmatch(r"C\((\w+)\)|(\w+)", text)
    name = power[1] if power else known and (known[1] or known[2])
    if not name or name not in cells.columns:
        return None
    kind, state = spec.encoder_state[text]
    if "categorical" not in str(kind).lower():
        return [(name, None, int(power[2]) if power else 1)]
    levels = list(state["categories"])
    if len(levels) > _MOST_LEVELS:
        return None
    return [(name, level, 1) for level in levels[1 if reduced else 0 :]]
