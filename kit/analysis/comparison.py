"""What a comparison of settings found, told in words; `kit.compare` also looks at it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
import pandas as pd

from kit import words
from kit.analysis.answer import fitting
from kit.analysis.answer.fitting import Difference
from kit.analysis.answer.found import Found
from kit.analysis.answer.sentences import (
    after_the_notes,
    against,
    beyond_reach,
    bounds,
    fitted,
    judged_by,
    margin,
    so_many,
    spread_over,
)
from kit.analysis.grouping.structure import MOST_SETTINGS, Records, read_records, safe_name
from kit.analysis.means import with_interval
from kit.analysis.mixed import MixedFit, mixed
from kit.analysis.moments import Floats
from kit.analysis.verdict import Answer, decide_each
from kit.errors import DesignError, InputError
from kit.given import as_number
from kit.shown import Telling

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["Comparison", "Difference", "compared"]


@dataclass(frozen=True, kw_only=True)
class Comparison(Found):
    """A comparison of settings, and everything it rests on (see `Found` for what all answers hold).

    Parameters
    ----------
    by : str
        Column compared.
    kind : {"settings", "line"}
        Settings side by side, or a straight line through a numeric factor.
    differences : DataFrame
        All of them, one a row: ``contrast, level, versus, difference, se, df, t, p, low,
        high, answer``.
    means : DataFrame
        ``level, mean, se, df, low, high``.
    control : object
        The setting all others are compared with, or None for every pair.
    test : Series
        ``num_df, den_df, F, p`` of the whole factor.
    naive_p : float
        What treating every piece as an experiment of its own would have claimed.
    records : Records
        What was read.
    """

    by: str
    kind: Literal["settings", "line"]
    differences: pd.DataFrame
    means: pd.DataFrame
    control: Any
    test: pd.Series
    naive_p: float
    records: Records = field(repr=False)

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

    @property
    def headline(self) -> str:
        """The answer in a few words."""
        if self.answer is Answer.UNCLEAR and self.leading.sure:
            return "A difference, but cannot tell yet whether it matters."
        return words.capital(f"{self.answer.told(self.matters)}.")

    @property
    def sentence(self) -> str:
        """What was found, with the interval and what it means."""
        by, lead, what = self.by, self.leading, words.name(self.outcome)
        size = lead.size(self.outcome)
        if self.kind == "line":
            change = "up" if lead.difference >= 0 else "down"
            found = (
                f"With {words.name(by)} from {words.amount(by, lead.versus)} to "
                f"{words.amount(by, lead.level)}, {what} goes {change} by {size} along a straight "
                "line"
            )
        else:
            found = (
                f"With {words.setting(by, lead.level)}, {what} comes out {size} {lead.way} than "
                f"{words.setting(by, lead.versus, again=True)}"
            )
        fits = f"the bakes fit anything {bounds(self, lead)}"
        if self.answer is Answer.MATTERS:
            tail = f"all of it beyond {margin(self)}" if self.matters else "never zero"
            return f"{found}; {fits}, {tail}. {self._pairs()}".strip()
        link = ", but" if self.answer is Answer.UNCLEAR else ";"
        return " ".join(filter(None, (f"{found}{link} {fits}.", against(self), self._pairs())))

    @property
    def rests_on(self) -> str:
        """How much baking stands behind the answer, and what counts as one experiment."""
        return judged_by(self, self.by, self.adjusted)

    @property
    def next_step(self) -> str:
        """What to do next."""
        if self.answer is Answer.UNCLEAR and self.more is not None:
            over = "range" if self.kind == "line" else "settings"
            step = (
                f"Next: about {so_many(self, self.more)}, {spread_over(self, over)}, would settle "
                "it four times in five if the true difference is near "
                f"{self.leading.size(self.outcome)} and the spread as it was."
            )
        elif self.answer is Answer.UNCLEAR:
            step = beyond_reach(self)
        elif self.answer is Answer.MATTERS:
            more = "" if self.noted else "; more of the same bakes would only sharpen the number"
            step = f"Next: choose the setting you prefer{more}."
        else:
            what = words.name(self.outcome)
            step = f"Next: choose by taste, cost or convenience; for {what} they are alike enough."
        return after_the_notes(step, self.noted)

    @property
    def method(self) -> str:
        """Model, degrees of freedom, p values and sources, for a statistician."""
        lead, looked = self.leading, len(self.differences)
        if looked == 1:
            rule = ""
        elif self.control is None:
            rule = f" by Tukey–Kramer over {looked} pairs (Kramer 1956)"
        else:
            against_one = words.amount(self.by, self.control)
            rule = f" by Dunnett (1955), {looked} settings against {against_one}"
        few = ": F cannot be told, so few are its degrees of freedom"
        whole = f"Whole factor{' ' + words.f_test(self.test) if self.test['F'] >= 0 else few}"
        return (
            f"For the statistician: {fitted(self.fit)}. {whole}. This difference "
            f"{words.number(lead.difference, lead.se)}, {words.number(lead.se, lead.se)}, "
            f"t({lead.df:.1f}) = {words.minus(f'{lead.t:.2f}')}, "
            f"p = {lead.p:.2g}{rule}; {100 * self.fit.level:.0f} % interval."
        )

    @property
    def why_not_pieces(self) -> str:
        """Why counting every piece as an experiment would be wrong; empty where it is right."""
        unit, units = self.unit, self.counts[self.unit]
        each, p = self.counts["piece"] / units, self.test["p"]
        if unit == "piece" or each < 1.5 or not self.naive_p < p:
            return ""
        return (
            f"Had each of the {self.counts['piece']} pieces been counted as an experiment of its "
            f"own, p would read {self.naive_p:.1g} instead of {p:.2g}. That would be wrong: the "
            f"pieces of one {unit} share its luck, so {each:.0f} of them are not {each:.0f} "
            f"separate answers. What was varied was varied between {unit}s, and there are "
            f"{words.plural(units, unit)}."
        )

    def _pairs(self) -> str:
        """Where several differences were looked at, how the others came out."""
        total = len(self.differences)
        alike = int((self.differences["answer"] == self.answer.value).sum())
        of_them = f"of the {total} differences looked at"
        if total == 1:
            return ""
        if self.answer in (Answer.SMALL, Answer.NONE):
            return f"It is the largest {of_them}."
        if self.answer is Answer.MATTERS and alike == 1:
            sure = "matters" if self.matters else "is not zero"
            return f"It is the only one {of_them} that surely {sure}."
        if self.answer is Answer.MATTERS:
            many = f"All {total} differences looked at" if alike == total else f"{alike} {of_them}"
            return f"{many} surely {'matter' if self.matters else 'are not zero'}."
        if alike == total:
            return f"All {total} differences looked at are still open."
        return f"{words.capital(of_them)}, {alike} {'is' if alike == 1 else 'are'} open."

    def tells(self) -> Telling:
        """What it says."""
        texts = (self.sentence, self.rests_on, self.next_step)
        return Telling(self.headline, texts, self.checks, self.method)

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
    matters = fitting.margin(matters, outcome)
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
        number = as_number(control)
        if number in records.frame[factor].unique():
            control = number  # as the column is read, of whatever kind it was given
        means = fit.means(factor)
        differences = fit.contrasts(factor, "pairs" if control is None else "control", control)
    low, high = differences["low"].to_numpy(), differences["high"].to_numpy()
    differences["answer"] = [each.value for each in decide_each(low, high, matters)]
    answer, leading = fitting.overall(differences)
    fitting.refuse_unjudged(leading.df, records, "setting")
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
