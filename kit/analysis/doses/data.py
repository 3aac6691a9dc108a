"""The rows of a dose question: what they are, what is held alike, which groups can be seen."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import pandas as pd

from kit import words
from kit.analysis.answer.fitting import fit_records, is_number, separable, term
from kit.analysis.asked import has_numbers
from kit.analysis.grouping.structure import Records, read_records, safe_name
from kit.analysis.mixed import MixedFit, fit_table
from kit.analysis.model.reml import NO_SPREAD
from kit.analysis.moments import Floats, Moments, moments
from kit.errors import DataError, DesignError, InputError

__all__ = ["Columns", "Doses", "read_doses"]

#: Columns made of those of a frame, under their names.
Columns = Callable[[pd.DataFrame], dict[str, Floats]]


@dataclass(frozen=True)
class Doses:
    """The rows, and what every shape is fitted with.

    Parameters
    ----------
    records : Records
        With the groupings that can be seen.
    outcome : str
    of : tuple of str
        Under `safe_name`.
    terms : tuple of str
        What is held alike, as it stands in a formula.
    level : float
    first : MixedFit or None
        Of straight lines: its variances are where to look from, its least degrees of freedom hold
        for every shape.
    """

    records: Records
    outcome: str
    of: tuple[str, ...]
    terms: tuple[str, ...]
    level: float
    first: MixedFit | None = None

    @property
    def frame(self) -> pd.DataFrame:
        """The rows used."""
        return self.records.frame

    def fit(self, *own: str, columns: Columns | None = None) -> MixedFit:
        """Regress on the terms given, all else held alike, with columns made of the dose.

        Raises
        ------
        DataError
            The readings do not differ within the settings.
        """
        records, table = self.records, self._table
        formula = f"{self.outcome} ~ {' + '.join([*own, *self.terms])}"
        if columns is not None:
            table = replace(table, cells=table.cells.assign(**columns(table.cells)))
        fit = fit_table(
            table, formula, records.groups, structure=records.structure, level=self.level,
            start=None if self.first is None else self.first.ratios,
        )  # fmt: skip
        if fit.exact:
            raise DataError(NO_SPREAD)
        if self.first is None:
            return fit
        least, of_means = self.first.least_df, self.first.least_df_of_means
        return replace(fit, least_df=least, least_df_of_means=of_means, beside=self.terms)

    @cached_property
    def _table(self) -> Moments:
        """What all shapes are fitted to."""
        held = (safe_name(a) for a in self.records.adjust)
        columns = dict.fromkeys([*self.records.groups, *self.of, *held])
        return moments(self.frame, self.outcome, list(columns))


def read_doses(
    frame: pd.DataFrame,
    outcome: str,
    of: Sequence[str],
    columns: Mapping[str, str | None],
    adjust: Sequence[str],
    covariates: Sequence[str],
    level: float,
    like: Records | None = None,
) -> Doses:
    """Read the rows, decide what is held alike and which groupings can be seen.

    With `like` the groupings are those found before, for nearly the same rows.

    Raises
    ------
    DesignError
        Two or three doses, each mixed once; a factor that changes only together with another.
    InputError
        The factor is not numeric.
    """
    first, *others = of
    asked = list(dict.fromkeys([*others, *adjust, *covariates]))
    for name in of:
        column = frame[name] if name in frame else pd.Series()
        if isinstance(column, pd.Series) and column.notna().any() and not has_numbers(column):
            raise InputError(name, column.dropna().iloc[0], "must be a number to have doses")
    records = read_records(frame, outcome, first, columns, asked, True, others)
    factors = [safe_name(f) for f in of]
    if len(of) == 1 and records.unit != "piece" and records.frame[factors[0]].nunique() < 4:
        units = records.frame.groupby(factors[0])[records.unit].nunique()
        if units.max() == 1:  # `kit.compare` says why, in the same words
            read_records(frame, outcome, first, columns, asked, False)
    lost = [f for f in others if f not in records.adjust]
    if lost:
        msg = f"{words.join(map(words.name, lost))} differed within doughs: not one value a dough."
        raise DesignError(msg)
    settings = [a for a in records.adjust if a in adjust and a not in others]
    kept, notes = separable(replace(records, adjust=tuple(settings)), first)
    terms = [term(a, is_number(records.frame[safe_name(a)])) for a in kept]
    for name in (c for c in covariates if c in records.adjust and c not in of):
        column = records.frame[safe_name(name)]
        if column.nunique() < 2:
            notes.append(f"{words.name(name)} never changed: there was nothing to hold alike")
            continue
        numeric = has_numbers(column)
        if numeric:
            _refuse_same(records.frame, of, name)
        kept.append(name)
        terms.append(term(name, numeric))
    fit = None
    if like is None:
        formula = f"{safe_name(outcome)} ~ {' + '.join([*factors, *terms])}"
        fit, more = fit_records(records, formula, level, "dose", others)
        groups, structure = fit.groups, fit.structure
        notes += more
    else:
        groups, structure = like.groups, like.structure
    records = replace(
        records,
        adjust=tuple(kept),
        groups=groups,
        structure=structure,
        notes=(*records.notes, *notes),
    )
    return Doses(records, safe_name(outcome), tuple(factors), tuple(terms), level, fit)


def _refuse_same(frame: pd.DataFrame, of: Sequence[str], covariate: str) -> None:
    """Refuse a covariate that is a factor in another guise."""
    column = frame[safe_name(covariate)].astype(float)
    for factor in of:
        if abs(np.corrcoef(column, frame[safe_name(factor)].astype(float))[0, 1]) > 1 - 1e-9:
            msg = (
                f"{words.name(factor)} and {words.name(covariate)} cannot be told apart: they "
                "changed together in every bake."
            )
            raise DesignError(msg)
