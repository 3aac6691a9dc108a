"""From a model formula to a full-rank design matrix, marginal hypotheses and a grid of means.

formulaic makes the columns (`recipe`); this module drops what cannot be estimated (from the
right), says which cells are empty, and finds the marginal ("type III") hypothesis of each term
from the general form of estimable functions (SAS/STAT, *The Four Types of Estimable Functions*),
which holds with empty cells too.
"""

import itertools
import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Any

import numpy as np
import pandas as pd

from kit.analysis.model.recipe import Recipe, levels_of, recipes
from kit.analysis.moments import Floats, Integers
from kit.errors import DataError, NotFoundError

__all__ = ["Design", "make_design", "parse_formula", "variables_of"]


@dataclass(frozen=True)
class Design:
    """A design matrix on cells and what is needed to ask about it.

    Parameters
    ----------
    x : float array, shape (C, p)
        Columns kept, full rank.
    names, dropped : tuple of str
        Coefficients kept, and those left out because earlier columns already say the same.
    kept : int array, shape (p,)
    levels, covariates : dict
        Categorical variable to its levels, in order; numeric one to its mean over the pieces.
    empty : tuple of str
        Combinations of levels that a term of the model needs and that have no rows.
    """

    x: Floats
    names: tuple[str, ...]
    dropped: tuple[str, ...]
    kept: Integers
    levels: dict[str, list[Any]]
    covariates: dict[str, float]
    empty: tuple[str, ...]
    _recipe: Recipe
    _whole: Recipe
    _cells: pd.DataFrame
    _row_space: Floats

    @cached_property
    def hypotheses(self) -> dict[str, Floats]:
        """Term name to the rows of its marginal hypothesis on the coefficients, shape (r, p)."""
        return _marginal_hypotheses(self._whole, self._whole.of(self._cells), self.x)

    @cached_property
    def middle(self) -> Floats:
        """The row of the mean with everything at its mean, shape (1, p)."""
        return self.estimable(self.grid([])[1])

    def rows_of(self, frame: pd.DataFrame) -> Floats:
        """Rows, shape (r, p), whose product with the coefficients is what the model gives."""
        return self._recipe.of(frame)[:, self.kept]

    def along(self, variable: str, values: Floats) -> Floats:
        """Rows, shape (r, p), that make the mean at each of the values of a covariate.

        Factors are averaged with equal weights, other covariates stand at their mean.
        """
        if variable not in self.covariates:
            raise NotFoundError("numeric variable of the model", variable, self.covariates)
        full = [self.grid([], {variable: float(value)})[1] for value in values]
        return self.estimable(np.vstack(full))

    def grid(
        self, factors: Sequence[str], at: Mapping[str, float] | None = None
    ) -> tuple[pd.DataFrame, Floats]:
        """Rows of the marginal means, on all columns; `estimable` turns them into contrasts.

        Other factors are averaged with equal weights, covariates stand at their mean or `at`.

        Returns
        -------
        levels : DataFrame, one row a combination of the levels of `factors`
        rows : float array, shape (combinations, all columns)

        Raises
        ------
        NotFoundError
            A name is no factor of the model.
        """
        for factor in factors:
            if factor not in self.levels:
                raise NotFoundError("factor of the model", factor, self.levels)
        standing = self.covariates | dict(at or {})
        counts = [len(levels) for levels in self.levels.values()]
        size = math.prod(counts)
        index = dict(zip(self.levels, np.indices(counts).reshape(len(counts), size), strict=True))
        x = self._on_grid(index, standing, size)
        code = np.zeros(len(x), dtype=int)
        for factor in factors:
            code = code * len(self.levels[factor]) + index[factor]
        number = math.prod(len(self.levels[f]) for f in factors)
        rows = np.array([x[code == i].mean(axis=0) for i in range(number)])
        combinations = list(itertools.product(*(self.levels[f] for f in factors)))
        table = pd.DataFrame(combinations, columns=list(factors)) if factors else None
        return (pd.DataFrame({"all": [0]}) if table is None else table), rows

    def _on_grid(
        self, index: Mapping[str, Integers], standing: Mapping[str, float], rows: int
    ) -> Floats:
        """All columns at every combination of levels, covariates standing as given."""
        if self._recipe.columns is None:
            full = pd.DataFrame(index=range(rows))
            for name, levels in self.levels.items():
                full[name] = pd.Categorical.from_codes(index[name], categories=pd.Index(levels))
            return self._recipe.of(full.assign(**standing))
        values: dict[str, Any] = {n: np.full(rows, v) for n, v in standing.items()}
        for name, levels in self.levels.items():
            values[name] = np.array(levels, dtype=object)[index[name]]
        return self._recipe.from_values(values, rows)

    def estimable(self, rows: Floats) -> Floats:
        """Rows on the columns kept; NaN where an empty cell makes the answer unknowable."""
        rest = rows - rows @ self._row_space.T @ self._row_space
        known = np.linalg.norm(rest, axis=1) <= 1e-8 * np.linalg.norm(rows, axis=1)
        return np.where(known[:, None], rows[:, self.kept], np.nan)


def parse_formula(formula: str) -> tuple[str, Any]:
    """Split ``"outcome ~ terms"`` into the outcome's column and formulaic's right-hand side.

    Raises
    ------
    DataError
        Not a formula, or the outcome is more than one column's name.
    """
    left, tilde, right = formula.partition("~")
    outcome = left.strip().strip("`")
    if not tilde or not outcome:
        msg = f"{formula!r} is not a formula. Write it as 'outcome ~ factor', with one ~."
        raise DataError(msg)
    if "^" in right:  # inside I(…) Python would take it for another operation, silently
        msg = f"{formula!r} has a ^. Write powers as x**2, for example 'outcome ~ x + I(x**2)'."
        raise DataError(msg)
    try:
        return outcome, _right_side(right.strip() or "1")
    except Exception as exc:  # formulaic raises many kinds; all mean the text is wrong
        msg = f"the formula {formula!r} cannot be read: {str(exc).splitlines()[0]}"
        raise DataError(msg) from exc


@lru_cache(maxsize=256)
def _right_side(text: str) -> Any:
    import formulaic

    return formulaic.Formula(text)


def variables_of(rhs: Any, columns: Iterable[str]) -> list[str]:
    """Columns that the right-hand side uses, and names it uses that are no columns.

    formulaic does not see a variable inside a stateful transform, so columns are also looked
    for by name in the text.
    """
    text = str(rhs)
    seen = {c for c in columns if re.search(rf"(?<![\w.]){re.escape(c)}(?!\w)", text)}
    return sorted(seen | set(map(str, rhs.required_variables)))


def make_design(rhs: Any, cells: pd.DataFrame, weights: Floats) -> Design:
    """Build the design of a right-hand side on C distinct cells, `weights` the pieces in each.

    Raises
    ------
    DataError
        The formula cannot be evaluated on these columns.
    """
    try:
        recipe, whole = recipes(rhs, cells)
        x = recipe.of(cells)
    except Exception as exc:  # whatever the user's expression raised
        msg = f"the formula '{rhs}' cannot be worked out on these columns: {exc}"
        raise DataError(msg) from exc
    spec = recipe.spec
    if spec.transform_state and len(cells) < weights.sum():
        names = ", ".join(map(str, spec.transform_state))
        msg = (
            f"{names} depends on how often each value occurs, which this analysis does not see. "
            "Work the column out beforehand and use its name."
        )
        raise DataError(msg)
    kept = _independent_columns(x)
    all_names = recipe.names
    levels, covariates = _variables(recipe, cells, weights)
    return Design(
        x=x[:, kept],
        names=tuple(all_names[i] for i in kept),
        dropped=tuple(n for i, n in enumerate(all_names) if i not in set(kept)),
        kept=np.array(kept),
        levels=levels,
        covariates=covariates,
        empty=_empty_cells(recipe, cells, levels),
        _recipe=recipe,
        _whole=whole,
        _cells=cells,
        _row_space=_row_space(x),
    )


def _independent_columns(x: Floats) -> list[int]:
    """Indices of columns not spanned by those to their left (twice-iterated Gram–Schmidt)."""
    basis = np.empty((0, x.shape[0]))
    kept = []
    for i, column in enumerate(x.T):
        size = np.linalg.norm(column)
        rest = column - basis.T @ (basis @ column)
        rest -= basis.T @ (basis @ rest)
        left = np.linalg.norm(rest)
        if size > 0 and left > 1e-11 * size:
            kept.append(i)
            basis = np.vstack([basis, rest / left])
    return kept


def _row_space(x: Floats) -> Floats:
    """Orthonormal rows spanning the rows of x."""
    scale = np.linalg.norm(x, axis=0)
    scale[scale == 0] = 1.0
    _, singular, vt = np.linalg.svd(np.linalg.qr(x / scale, mode="r"), full_matrices=False)
    rows = vt[singular > 1e-11 * singular[0]] * scale
    q: Floats = np.linalg.qr(rows.T)[0].T
    return q


def _null_space(a: Floats) -> Floats:
    """Orthonormal columns z with a @ z = 0."""
    if a.shape[0] == 0:
        return np.eye(a.shape[1])
    _, singular, vt = np.linalg.svd(a)
    rank = int((singular > 1e-9).sum())
    space: Floats = vt[rank:].T
    return space


def _variables(
    recipe: Recipe, cells: pd.DataFrame, weights: Floats
) -> tuple[dict[str, list[Any]], dict[str, float]]:
    kinds, spec = recipe.kinds, recipe.spec
    levels: dict[str, list[Any]] = {}
    covariates: dict[str, float] = {}
    factors = dict.fromkeys(factor for term in spec.terms for factor in term.factors)
    for factor in factors:  # in the order of the formula
        for variable in sorted(map(str, spec.factor_variables[factor])):
            if variable not in cells.columns:
                continue
            if kinds.get(str(factor), False):
                levels[variable] = levels_of(cells[variable])
            else:
                values = cells[variable].to_numpy(dtype=float)
                covariates[variable] = float(np.average(values, weights=weights))
    # a variable used both ways is a factor; the grid needs it once, at its levels
    return levels, {n: m for n, m in covariates.items() if n not in levels}


def _signature(term: Any, kinds: Mapping[str, bool]) -> tuple[frozenset[str], tuple[str, ...]]:
    """A term's categorical factors and its numeric ones."""
    factors = [str(f) for f in term.factors]
    return (
        frozenset(f for f in factors if kinds.get(f, False)),
        tuple(sorted(f for f in factors if not kinds.get(f, False) and f != "1")),
    )


def _marginal_hypotheses(whole: Recipe, z: Floats, x: Floats) -> dict[str, Floats]:
    """Rows L of every term's type III hypothesis L·β = 0 on the kept coefficients.

    For term E the estimable functions that involve only E and terms containing E are taken,
    and of these the part orthogonal to the functions that do not involve E at all.
    """
    slices = whole.spec.term_slices
    terms = {t: _signature(t, whole.kinds) for t in slices}
    z = z.copy()
    # numeric parts are scaled alike within a kind of covariate, so that orthogonality among
    # the columns of one kind, which the definition rests on, is kept
    for numeric in {s[1] for s in terms.values()}:
        index = [
            i for t, s in terms.items() if s[1] == numeric for i in range(z.shape[1])[slices[t]]
        ]
        size = np.sqrt(np.mean(z[:, index] ** 2)) if index else 0.0
        if size > 0:
            z[:, index] /= size
    basis = _row_space(z)
    to_kept = np.linalg.lstsq(z, x, rcond=None)[0]
    result = {}
    for term, (categorical, numeric) in terms.items():
        own = set(range(z.shape[1])[slices[term]])
        if not categorical and not numeric:
            continue  # the intercept
        inside = set(own)
        for other, (cats, nums) in terms.items():
            if categorical < cats and numeric == nums:
                inside |= set(range(z.shape[1])[slices[other]])
        outside = [i for i in range(z.shape[1]) if i not in inside]
        without = [i for i in range(z.shape[1]) if i not in inside - own]
        wide = basis.T @ _null_space(basis[:, outside].T)
        narrow = basis.T @ _null_space(basis[:, without].T)
        rest = wide - narrow @ (narrow.T @ wide)
        _, singular, vt = np.linalg.svd(rest.T, full_matrices=False)
        result[str(term)] = vt[singular > 1e-7] @ to_kept
    return result


def _empty_cells(
    recipe: Recipe, cells: pd.DataFrame, levels: Mapping[str, list[Any]]
) -> tuple[str, ...]:
    """Combinations of levels that an interaction of the model needs and that have no rows."""
    kinds, spec = recipe.kinds, recipe.spec
    found = []
    for term in spec.terms:
        factors = [f for f in term.factors if kinds.get(str(f), False)]
        own = {str(v) for f in factors for v in spec.factor_variables[f]}
        variables = [v for v in levels if v in own]
        if len(variables) < 2:
            continue
        present = set(map(tuple, cells[variables].drop_duplicates().to_numpy()))
        for combination in itertools.product(*(levels[v] for v in variables)):
            if combination not in present:
                found.append(
                    " with ".join(f"{v} = {c}" for v, c in zip(variables, combination, strict=True))
                )
    return tuple(dict.fromkeys(found))
