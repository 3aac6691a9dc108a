"""What a comparison of settings found, and how it is found; `kit.compare` also looks at it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, ClassVar, Literal

import numpy as np
import pandas as pd

from kit import words
from kit.analysis.answer import fitting, sentences
from kit.analysis.answer.fitting import Difference
from kit.analysis.asked import relabelled
from kit.analysis.grouping.structure import MOST_SETTINGS, Records, Unit, read_records, safe_name
from kit.analysis.means import with_interval
from kit.analysis.mixed import MixedFit, mixed
from kit.analysis.moments import Floats
from kit.analysis.verdict import Answer, decide_each
from kit.errors import DesignError, InputError
from kit.shown import Judged

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from kit.analysis.checking.checks import FitChecks

__all__ = ["Comparison", "Difference", "compared"]


@dataclass(frozen=True)
class Comparison(Judged):
    """An answer, and everything it rests on.

    Parameters
    ----------
    outcome, by : str
        Columns compared.
    kind : {"settings", "line"}
        Settings side by side, or a straight line through a numeric factor.
    matters : float or None
        The smallest difference the baker cares about.
    answer, leading
        The answer, and the difference it is about.
    differences : DataFrame
        All of them, one a row: ``contrast, level, versus, difference, se, df, t, p, low,
        high, answer``.
    means : DataFrame
        ``level, mean, se, df, low, high``.
    points : DataFrame
        One row a piece used: ``bake, mixing, dough, shaping, load, level, value``.
    unit : {"bake", "mixing", "dough", "shaping", "load", "piece"}
        What the factor was decided for, hence what counts as one experiment.
    counts : mapping
        How many bakes, doughs and pieces it rests on; mixings where they hold several
        doughs, shapings and loads where the factor was decided for them.
    columns : mapping
        ``trial, bake, mixing, dough, load`` to the column that said which, or None.
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
    records : Records
        What was read.
    examined : FitChecks or None
        What was looked at: residuals, single doughs, missing pieces, limits, events.
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
    records: Records = field(repr=False)
    examined: "FitChecks | None" = field(repr=False, default=None)
    _words: ClassVar[Any] = sentences

    @property
    def contrasts_made(self) -> tuple[Floats, int | None]:
        """The differences as rows of coefficients, and how many means their pairs are of.

        None for the number where all are compared with one.
        """
        design, levels = self.fit.design, list(self.means["level"])
        if self.kind == "line":
            ends = self.leading.level, self.leading.versus
            high, low = design.along(safe_name(self.by), np.array(ends, dtype=float))
            return (high - low)[None], 2
        rows = design.grid([safe_name(self.by)])[1]
        pairs = zip(self.differences["level"], self.differences["versus"], strict=True)
        made = np.array([rows[levels.index(a)] - rows[levels.index(b)] for a, b in pairs])
        return design.estimable(made), None if self.control is not None else len(levels)

    def __repr__(self) -> str:
        lead = self.leading
        return (
            f"<Comparison {self.outcome} by {self.by}: {self.answer.value}, "
            f"{lead.difference:.3g} [{lead.low:.3g}, {lead.high:.3g}]>"
        )

    def to_frame(self) -> pd.DataFrame:
        """Every number told or drawn, one tidy row each.

        ``kind`` is "difference", "mean", "dough" (mean of a dough's pieces at a setting) or
        "piece"; ``estimate`` its value; ``level, versus, bake, dough, low, high, se, df, p,
        answer`` where they apply.
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
        return fitting.dough_means(self.points)

    def plot(self, ax: "Axes | None" = None) -> "Axes":
        """Draw pieces, dough means, setting means with intervals, and `matters` as a band."""
        from kit import charts

        return charts.comparison(self, ax)


def compared(
    frame: pd.DataFrame,
    outcome: str,
    by: str,
    columns: Mapping[str, str | None],
    matters: float | str | None = None,
    adjust: Sequence[str] = (),
    control: Any = None,
    line: bool | None = None,
    level: float = 0.95,
) -> Comparison:
    """Compare the settings of a factor, as `kit.compare` does, without a look at what was found.

    `columns` says which column is the ``trial, bake, mixing, dough, load``, or None; all else,
    and what is raised, as in `kit.compare`.
    """
    frame, matters = relabelled(frame), fitting.margin(matters, outcome)
    adjust = [a for a in dict.fromkeys([columns["trial"], *adjust]) if a is not None]
    records = read_records(frame, outcome, by, columns, adjust, line)
    as_line = records.as_line
    if control is not None and as_line:
        raise InputError("control", control, "goes with settings, not with a line")
    adjust, notes = fitting.separable(records, by)
    terms = [fitting.term(a, fitting.is_number(records.frame[safe_name(a)])) for a in adjust]
    own = fitting.term(by, as_line)
    formula = f"{safe_name(outcome)} ~ {' + '.join([own, *terms])}"
    fit, more_notes = fitting.fit_records(records, formula, level)
    test = fit.term(own)
    if as_line:
        means, differences = _line(fit, records.frame[safe_name(by)])
        notes += _bend(records, fit, own, by)
    else:
        factor = safe_name(by)
        means = fit.means(factor)
        differences = fit.contrasts(factor, "pairs" if control is None else "control", control)
    low, high = differences["low"].to_numpy(), differences["high"].to_numpy()
    differences["answer"] = [each.value for each in decide_each(low, high, matters)]
    answer, leading = fitting.overall(differences)
    fitting.refuse_unjudged(leading, records, "setting")
    return Comparison(
        outcome=outcome,
        by=by,
        kind="line" if as_line else "settings",
        matters=matters,
        answer=answer,
        leading=leading,
        differences=differences,
        means=means,
        points=records.points(safe_name(by), safe_name(outcome)),
        unit=records.unit,
        counts=records.counts,
        columns=dict(columns),
        adjusted=tuple(adjust),
        control=control,
        test=test,
        naive_p=fit.naive_p(own),
        more=fitting.more_needed(answer, leading, matters, records, 1 if as_line else len(means)),
        checks=(*records.notes, *notes, *more_notes, *fitting.few(leading, records)),
        fit=fit,
        records=records,
    )


def _line(fit: MixedFit, column: pd.Series) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Height of the line at up to nine values, and the difference between its ends."""
    values = np.sort(column.unique())
    if len(values) > MOST_SETTINGS:
        values = np.linspace(values[0], values[-1], 9)
    means = with_interval(fit.linear(fit.design.along(str(column.name), values)), fit.level)
    means.insert(0, "level", values)
    span = float(values[-1] - values[0])
    slope = fit.coefficients.loc[str(column.name)]
    size, se, low, high = slope[["estimate", "se", "low", "high"]] * span
    ends = {
        "contrast": f"{values[-1]:g} - {values[0]:g}", "level": values[-1], "versus": values[0],
        "difference": size, "se": se, "df": slope["df"], "t": slope["t"], "p": slope["p"],
        "low": low, "high": high,
    }  # fmt: skip
    return means, pd.DataFrame([ends])


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
    p = bent.term(f"C({own})")["p"]
    if not p < 0.05:
        return []
    return [
        f"the settings of {words.name(by)} do not lie on a straight line (p = {p:.2g}): "
        "compare them as settings instead"
    ]
