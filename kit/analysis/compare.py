"""Compare the settings of a factor over several bakes and answer in words that hold.

A dough is one experimental unit, however many muffins it makes: what was decided at mixing is
judged against the spread from dough to dough, what was decided on the griddle against the
spread from piece to piece. Which is which follows from the records, not from a question.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
import pandas as pd

from kit.analysis import sentences, words
from kit.analysis.means import with_interval
from kit.analysis.mixed import MixedFit, mixed
from kit.analysis.moments import Floats
from kit.analysis.structure import (
    MOST_SETTINGS,
    Records,
    Unit,
    read_records,
    safe_name,
)
from kit.analysis.verdict import Answer, decide, more_units
from kit.errors import DesignError, InputError

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["Comparison", "Difference", "compare"]

#: With fewer degrees of freedom an interval says nothing at all.
LEAST_DF = 0.5
#: Up to here it is checked whether there are loads enough; beyond there always are.
MOST_ROWS = 2000


@dataclass(frozen=True)
class Difference:
    """One difference between two settings, `level` minus `versus`.

    Where several were looked at, `p` and the interval are jointly protected.
    """

    level: Any
    versus: Any
    difference: float
    se: float
    df: float
    t: float
    p: float
    low: float
    high: float
    answer: Answer

    @property
    def half_width(self) -> float:
        """Half the interval's width."""
        return (self.high - self.low) / 2


@dataclass(frozen=True)
class Comparison:
    """An answer, and everything it rests on.

    Parameters
    ----------
    outcome, by : str
        Columns compared.
    kind : {"settings", "line"}
        Settings side by side, or a straight line through a numeric factor.
    matters : float or None
        The smallest difference the baker cares about.
    answer : Answer
    leading : Difference
        The one the answer is about.
    differences : DataFrame
        All of them, one a row: ``contrast, level, versus, difference, se, df, t, p, low,
        high, answer``.
    means : DataFrame
        ``level, mean, se, df, low, high``.
    points : DataFrame
        One row a piece used: ``bake, dough, load, level, value``.
    unit : {"bake", "dough", "load", "piece"}
        What the factor was decided for, hence what counts as one experiment.
    counts : mapping
        How many bakes, doughs and pieces it rests on.
    columns : mapping
        Which columns said which pieces belong together: trial, bake, dough, load; None where
        none did.
    adjusted : tuple of str
        Other factors held alike.
    control : object
        The setting all others are compared with, or None for every pair.
    test : Series
        ``num_df, den_df, F, p`` of the whole factor.
    naive_p : float
        What treating every piece as an experiment of its own would have claimed.
    more : int or None
        How many more of the `unit` would settle it; None when settled or out of reach.
    checks : tuple of str
        What to know before trusting it.
    fit : MixedFit
    """

    outcome: str
    by: str
    kind: Literal["settings", "line"]
    matters: float | None
    answer: Answer
    leading: Difference
    differences: pd.DataFrame
    means: pd.DataFrame
    points: pd.DataFrame
    unit: Unit
    counts: Mapping[str, int]
    columns: Mapping[str, str | None]
    adjusted: tuple[str, ...]
    control: Any
    test: pd.Series
    naive_p: float
    more: int | None
    checks: tuple[str, ...]
    fit: MixedFit = field(repr=False)

    @property
    def headline(self) -> str:
        """The answer in a few words."""
        return sentences.headline(self)

    @property
    def sentence(self) -> str:
        """What was found, for a reader who never heard of a p value."""
        return sentences.finding(self)

    @property
    def rests_on(self) -> str:
        """How much baking stands behind it."""
        return sentences.rests_on(self)

    @property
    def next_step(self) -> str:
        """What to do next."""
        return sentences.next_step(self)

    @property
    def method(self) -> str:
        """Model, degrees of freedom, p value and sources, for a statistician."""
        return sentences.method(self)

    def __repr__(self) -> str:
        lead = self.leading
        return (
            f"<Comparison {self.outcome} by {self.by}: {self.answer.value}, "
            f"{lead.difference:.3g} [{lead.low:.3g}, {lead.high:.3g}]>"
        )

    def __str__(self) -> str:
        lines = [self.headline, self.sentence, self.rests_on, self.next_step]
        lines += [f"Note: {check}." for check in self.checks]
        return "\n".join([*lines, self.method])

    def _repr_html_(self) -> str:
        from html import escape

        notes = "".join(f"<li>{escape(check)}.</li>" for check in self.checks)
        return (
            f"<p><strong>{escape(self.headline)}</strong> {escape(self.sentence)}</p>"
            f"<p>{escape(self.rests_on)} {escape(self.next_step)}</p>"
            + (f"<ul>{notes}</ul>" if notes else "")
            + f"<p><small>{escape(self.method)}</small></p>"
        )

    def to_frame(self) -> pd.DataFrame:
        """Every number told or drawn, one tidy row each.

        Returns
        -------
        DataFrame
            ``kind`` is "difference", "mean", "dough" (mean of a dough's pieces at a setting)
            or "piece"; ``estimate`` its value; ``level, versus, bake, dough, low, high, se,
            df, p, answer`` where they apply.
        """
        parts = [
            self.differences.rename(columns={"difference": "estimate"}).assign(kind="difference"),
            self.means.rename(columns={"mean": "estimate"}).assign(kind="mean"),
            self.dough_means().rename(columns={"value": "estimate"}).assign(kind="dough"),
            self.points.rename(columns={"value": "estimate"}).assign(kind="piece"),
        ]
        where = ["kind", "level", "versus", "bake", "dough"]
        numbers = ["estimate", "low", "high", "se", "df", "p", "answer"]
        return pd.concat(parts, ignore_index=True)[where + numbers]

    def dough_means(self) -> pd.DataFrame:
        """Mean of each dough's pieces at each setting: ``bake, dough, level, value, pieces``."""
        grouped = self.points.groupby(["bake", "dough", "level"], sort=False, observed=True)
        return grouped["value"].agg(value="mean", pieces="size").reset_index()

    def plot(self, ax: "Axes | None" = None) -> "Axes":
        """Draw pieces, dough means, setting means with intervals, and `matters` as a band."""
        from kit import charts

        return charts.comparison(self, ax)


def compare(
    frame: pd.DataFrame,
    outcome: str,
    by: str,
    dough: str | None = None,
    bake: str | None = None,
    load: str | None = None,
    trial: str | None = None,
    matters: float | None = None,
    adjust: Sequence[str] = (),
    control: Any = None,
    line: bool | None = None,
    level: float = 0.95,
) -> Comparison:
    """Compare an outcome between the settings of a factor.

    Parameters
    ----------
    frame : DataFrame
        One row a piece. A column ``piece``, when there is one, must not repeat within a dough.
    outcome, by : str
        Numeric column measured, and column set on purpose.
    dough, bake, load : str, optional
        Columns that say which rows belong together. Without `dough` every row is taken as a
        dough of its own.
    trial : str, optional
        Column that says which trial a row belongs to, when several are put together: bakes are
        told apart by it, and trials are held alike.
    matters : float, optional
        The smallest difference that the baker cares about, in the outcome's unit.
    adjust : sequence of str
        Other factors to hold alike.
    control : object, optional
        Compare every setting with this one only (Dunnett) instead of every pair
        (Tukey–Kramer).
    line : bool, optional
        Fit a straight line through a numeric factor instead of comparing settings; decided
        by itself when not given (a line when a numeric factor takes more than 8 values).
    level : float
        Of the intervals.

    Returns
    -------
    Comparison

    Raises
    ------
    DesignError
        The bakes cannot answer this, whatever the numbers: each setting mixed once, a factor
        that cannot be told from the bake or from another factor, too few doughs.
    DataError, InputError, NotFoundError
        A column or value that cannot be used.
    """
    if matters is not None and not 0 < matters < np.inf:
        raise InputError(
            "matters", matters, "must be above 0", "Give the smallest difference you care about."
        )
    adjust = [a for a in dict.fromkeys(adjust) if a not in (by, outcome)]
    columns = {"trial": trial, "bake": bake, "dough": dough, "load": load}
    if trial is not None:
        adjust = [trial, *(a for a in adjust if a != trial)]
    records = read_records(frame, outcome, by, columns, adjust, line)
    as_line = records.as_line
    if control is not None and as_line:
        raise InputError("control", control, "goes with settings, not with a line")
    adjust, notes = _separable(records, by)
    terms = [_term(a, _is_number(records.frame[safe_name(a)])) for a in adjust]
    own = _term(by, as_line)
    formula = f"{safe_name(outcome)} ~ {' + '.join([own, *terms])}"
    fit, more_notes = _fit(records, formula, level)
    test = pd.Series(fit.terms.loc[own])
    if as_line:
        means, differences = _line(fit, records.frame[safe_name(by)])
        notes += _bend(records, fit, own, by)
    else:
        factor = safe_name(by)
        means = fit.means(factor)
        differences = fit.contrasts(factor, "pairs" if control is None else "control", control)
    differences["answer"] = [
        decide(low, high, matters).value
        for low, high in zip(differences["low"], differences["high"], strict=True)
    ]
    answer, leading = _overall(differences)
    if leading.df < LEAST_DF:
        msg = (
            f"the spread from {records.unit} to {records.unit} cannot be judged from these bakes "
            f"({leading.df:.2f} degrees of freedom). Bake each setting in at least two more "
            f"{'doughs' if records.unit == 'piece' else records.unit + 's'}."
        )
        raise DesignError(msg)
    units = int(records.frame[records.unit].nunique()) if records.unit != "piece" else fit.n
    return Comparison(
        outcome=outcome,
        by=by,
        kind="line" if as_line else "settings",
        matters=matters,
        answer=answer,
        leading=leading,
        differences=differences,
        means=means,
        points=records.labels.assign(
            level=records.frame[safe_name(by)], value=records.frame[safe_name(outcome)]
        ).reset_index(drop=True),
        unit=records.unit,
        counts=records.counts,
        columns=columns,
        adjusted=tuple(adjust),
        control=control,
        test=test,
        naive_p=mixed(records.frame, formula).p_value(own),
        more=_more(answer, leading, matters, units, 1 if as_line else len(means)),
        checks=(*records.notes, *notes, *more_notes, *_few(leading, records)),
        fit=fit,
    )


def _is_number(column: pd.Series) -> bool:
    """Whether a factor to hold alike is better taken as a number than as settings."""
    return pd.api.types.is_numeric_dtype(column) and column.nunique() > MOST_SETTINGS


def _term(column: str, as_number: bool) -> str:
    name = safe_name(column)
    return name if as_number else f"C({name})"


def _separable(records: Records, by: str) -> tuple[list[str], list[str]]:
    """Keep the other factors that say something of their own.

    Raises
    ------
    DesignError
        The factor changes only together with the others.
    """
    frame = records.frame

    def columns(name: str, as_number: bool) -> Floats:
        column = frame[safe_name(name)]
        if not as_number:
            dummies: Floats = pd.get_dummies(column.astype(str), dtype=float).to_numpy()
            return dummies
        values = column.to_numpy(dtype=float)
        centred: Floats = ((values - values.mean()) / (values.std() or 1.0))[:, None]
        return centred

    def rank(*parts: Floats) -> int:
        together = np.hstack([np.ones((len(frame), 1)), *parts])
        return int(np.linalg.matrix_rank(np.unique(together, axis=0)))

    own = columns(by, records.as_line)
    others = {a: columns(a, _is_number(frame[safe_name(a)])) for a in records.adjust}
    kept: list[str] = []
    notes = []
    for other, theirs in others.items():
        before = [others[k] for k in kept]
        if rank(theirs) == 1:
            continue  # never varied: nothing to hold alike
        if rank(*before, theirs) == rank(*before):
            notes.append(
                f"{words.name(other)} was not held alike: it changed together with "
                f"{words.join(words.name(k) for k in kept)}"
            )
            continue
        if rank(own, *before, theirs) - rank(*before, theirs) < rank(own) - 1:
            msg = (
                f"{words.name(by)} and {words.name(other)} cannot be told apart: they changed "
                "together. Bake at least two settings of one with the same setting of the other."
            )
            raise DesignError(msg)
        kept.append(other)
    return kept, notes


def _fit(records: Records, formula: str, level: float) -> tuple[MixedFit, list[str]]:
    """Fit with all groupings; without the load when there is too little to see it."""
    groups, structure = records.groups, records.structure
    notes = []
    if "load" in groups and records.unit != "load" and not _enough_loads(records, formula):
        groups, structure = tuple(g for g in groups if g != "load"), "nested"
        notes.append("too few loads to see what a load does; it was left out")
    return mixed(records.frame, formula, groups, structure=structure, level=level), notes


def _enough_loads(records: Records, formula: str) -> bool:
    """Whether loads and pieces both keep two degrees of freedom besides all else."""
    if len(records.frame) > MOST_ROWS:
        return True
    import formulaic

    settings = np.asarray(
        formulaic.Formula(formula.partition("~")[2]).get_model_matrix(records.frame), dtype=float
    )
    dummies = {
        group: pd.get_dummies(records.frame[group], dtype=float).to_numpy()
        for group in ("bake", *records.groups)
    }
    # loads that hold whole doughs are seen between the doughs, others beside them
    outer = [d for g, d in dummies.items() if g not in ("load", *_inside_loads(records))]
    rest = int(np.linalg.matrix_rank(np.hstack([settings, *outer])))
    seen = int(np.linalg.matrix_rank(np.hstack([settings, *outer, dummies["load"]])))
    everything = int(np.linalg.matrix_rank(np.hstack([settings, *dummies.values()])))
    return seen - rest >= 2 and len(records.frame) - everything >= 2


def _inside_loads(records: Records) -> tuple[str, ...]:
    """Groupings that lie inside the loads."""
    return records.groups[records.groups.index("load") + 1 :]


def _line(fit: MixedFit, column: pd.Series) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Height of the line at up to nine values, and the difference between its ends."""
    values = np.sort(column.unique())
    if len(values) > MOST_SETTINGS:
        values = np.linspace(values[0], values[-1], 9)
    means = with_interval(fit.linear(fit.design.along(str(column.name), values)), fit.level)
    means.insert(0, "level", values)
    span = float(values[-1] - values[0])
    slope = fit.coefficients.loc[str(column.name)]
    ends = pd.DataFrame(
        {
            "contrast": [f"{values[-1]:g} - {values[0]:g}"],
            "level": [values[-1]],
            "versus": [values[0]],
            "difference": [slope["estimate"] * span],
            "se": [slope["se"] * span],
            "df": [slope["df"]],
            "t": [slope["t"]],
            "p": [slope["p"]],
            "low": [slope["low"] * span],
            "high": [slope["high"] * span],
        }
    )
    return means, ends


def _bend(records: Records, fit: MixedFit, own: str, by: str) -> list[str]:
    """Say so when the settings do not lie on a straight line (test of lack of fit)."""
    levels = records.frame[own].nunique()
    if levels < 3 or levels > MOST_SETTINGS:
        return []
    try:
        bent = mixed(
            records.frame, f"{fit.formula} + C({own})", fit.groups, structure=fit.structure
        )
    except DesignError:
        return []  # no spare doughs to judge a bend by; the line itself stands
    p = bent.p_value(f"C({own})")
    if not p < 0.05:
        return []
    return [
        f"the settings of {words.name(by)} do not lie on a straight line (p = {p:.2g}): "
        "compare them as settings instead"
    ]


def _overall(differences: pd.DataFrame) -> tuple[Answer, Difference]:
    """One answer for all differences, and the largest difference with that answer."""
    known = differences.dropna(subset=["low", "high"])
    if known.empty:
        msg = "none of the differences can be estimated: bake the missing combinations first."
        raise DesignError(msg)
    present = set(known["answer"])
    order = (Answer.MATTERS, Answer.UNCLEAR, Answer.SMALL, Answer.NONE)
    answer = next(a for a in order if a.value in present)
    # all differences being small, the largest of all is the one to show
    small = answer in (Answer.SMALL, Answer.NONE)
    of_this = known if small else known[known["answer"] == answer.value]
    row = of_this.to_dict("records")[int(of_this["difference"].abs().to_numpy().argmax())]
    numbers = {n: float(row[n]) for n in ("difference", "se", "df", "t", "p", "low", "high")}
    return answer, Difference(row["level"], row["versus"], **numbers, answer=Answer(row["answer"]))


def _more(
    answer: Answer, lead: Difference, matters: float | None, units: int, settings: int
) -> int | None:
    """How many more units would settle it, a whole number for each setting."""
    if answer is not Answer.UNCLEAR:
        return None
    critical = lead.half_width / lead.se
    more = more_units(lead.difference, lead.se, lead.df, critical, matters, units)
    return None if more is None else math.ceil(more / settings) * settings


def _few(lead: Difference, records: Records) -> list[str]:
    """Warn when the spread itself is hardly known."""
    if lead.df > 4 - 1e-6:
        return []
    return [
        f"the spread from {records.unit} to {records.unit} is known from very little "
        f"({lead.df:.1f} degrees of freedom): the interval is honest but wide, and one more "
        f"{records.unit} may change it much"
    ]
