"""What to look at before an answer is trusted, told in words with the numbers behind.

Residuals (far-off pieces and doughs), spread that differs between settings, one dough that
carries the answer, pieces missing for a reason the setting may have caused, an outcome at the
end of its scale, and events: each is one finding, alarming or not. Nothing is left out of the
answer by itself; that is for the baker to decide.

The single looks are in `kit.analysis.looks`, with their sources.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

import pandas as pd

from kit.analysis import looks, words
from kit.analysis.looks import Ask, Finding
from kit.analysis.mixed import MixedFit
from kit.analysis.structure import safe_name

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from kit.analysis.compare import Comparison

__all__ = ["Finding", "FitChecks", "check", "check_comparison"]


@dataclass(frozen=True)
class FitChecks:
    """All findings about one fit, and the numbers behind.

    Parameters
    ----------
    outcome, by : str
    findings : tuple of Finding
    pieces : DataFrame
        ``bake, dough, level, fitted, residual``: one row a piece, the residual being what is
        left after the dough's own (or the bake's, or nothing when no pieces belong together).
    doughs : DataFrame
        ``dough, fitted, residual, pieces``: what is left of each dough's mean.
    left_out : DataFrame
        ``dough, estimate, answer``: the answer without each dough.
    missing : DataFrame
        ``level, pieces, missing``.
    estimate : float
        The number in `left_out` with all doughs in.
    """

    outcome: str
    by: str
    findings: tuple[Finding, ...]
    pieces: pd.DataFrame = field(repr=False)
    doughs: pd.DataFrame = field(repr=False)
    left_out: pd.DataFrame = field(repr=False)
    missing: pd.DataFrame = field(repr=False)
    estimate: float = field(repr=False)

    @property
    def checks(self) -> tuple[str, ...]:
        """The alarming findings."""
        return tuple(f.text for f in self.findings if f.alarm)

    def __repr__(self) -> str:
        return (
            f"<FitChecks {self.outcome} by {self.by}: {len(self.findings)} looked at, "
            f"{len(self.checks)} to think about>"
        )

    def __str__(self) -> str:
        first = (
            f"Of {words.plural(len(self.findings), 'thing')} looked at, {len(self.checks)} to "
            "think about."
        )
        marks = ("!" if f.alarm else "–" for f in self.findings)
        rows = zip(marks, self.findings, strict=True)
        return "\n".join([first, *(f"{mark} {words.capital(f.text)}." for mark, f in rows)])

    def _repr_html_(self) -> str:
        from html import escape

        first, *rest = str(self).split("\n")
        return f"<p>{escape(first)}</p><ul>{''.join(f'<li>{escape(r)}</li>' for r in rest)}</ul>"

    def to_frame(self) -> pd.DataFrame:
        """Everything drawn, one tidy row each: ``kind`` piece, dough, left out, missing."""
        parts = (
            ("piece", self.pieces),
            ("dough", self.doughs),
            ("left out", self.left_out),
            ("missing", self.missing),
        )
        whole = [table.assign(kind=kind) for kind, table in parts if len(table)]
        return pd.concat(whole, ignore_index=True)

    def plot(
        self,
        ax: "Axes | None" = None,
        what: Literal["residuals", "quantiles", "left out", "missing"] = "residuals",
    ) -> "Axes":
        """Draw residuals against fitted values, their quantiles, or the answer without each."""
        from kit import charts

        return charts.fit_checks(self, ax, what)


def check(
    frame: pd.DataFrame,
    rows: pd.DataFrame,
    labels: pd.DataFrame,
    fit: MixedFit,
    names: tuple[str, str],
    columns: Mapping[str, str | None],
    ask: Ask,
    now: tuple[str, float],
) -> FitChecks:
    """Look at one fit from all sides.

    Parameters
    ----------
    frame : DataFrame
        As it was given: one row a piece, those without a reading included.
    rows : DataFrame
        The rows used, with the columns of the fit and numbers ``bake, dough``.
    labels : DataFrame
        The bakes' and doughs' own names, row by row of `rows`.
    fit : MixedFit
    names : (str, str)
        Outcome and factor, as columns of `frame`.
    columns : mapping
        ``trial, bake, dough, load`` to the column that says which, or None.
    ask : callable
        Gives the answer in words, and its number, for a frame with rows left out.
    now : (str, float)
        What it gives for all rows.

    Returns
    -------
    FitChecks
    """
    outcome, by = names
    pieces, doughs = looks.residuals(rows, labels, fit, outcome, by)
    missing = looks.missing_table(frame, outcome, by)
    out, finding = looks.one_dough_out(frame, rows, labels, columns, ask, now)
    findings = [
        *looks.far_off(pieces, doughs, outcome),
        *looks.spread(pieces, outcome, by),
        *finding,
        *looks.missing(missing, outcome, by),
        *looks.at_limit(rows[safe_name(outcome)], outcome),
        *looks.events(frame.loc[rows.index], frame, ask, now),
    ]
    return FitChecks(outcome, by, tuple(findings), pieces, doughs, out, missing, now[1])


def check_comparison(frame: pd.DataFrame, answer: "Comparison") -> FitChecks:
    """Look at a `Comparison` from all sides.

    Parameters
    ----------
    frame : DataFrame
        What `kit.compare` was given.
    answer : Comparison
    """
    from kit.analysis.compare import compare
    from kit.analysis.structure import read_records

    held = [a for a in answer.adjusted if a != answer.columns["trial"]]
    line = answer.kind == "line"

    def ask(part: pd.DataFrame) -> tuple[str, float]:
        again = compare(
            part,
            answer.outcome,
            answer.by,
            **answer.columns,
            matters=answer.matters,
            adjust=held,
            control=answer.control,
            line=line,
            level=answer.fit.level,
        )
        same = again.differences
        if not line:
            pair = (same["level"] == answer.leading.level) & (
                same["versus"] == answer.leading.versus
            )
            same = same[pair]
        return again.answer.value, float(same["difference"].iloc[0]) if len(same) else math.nan

    records = read_records(frame, answer.outcome, answer.by, answer.columns, answer.adjusted, line)
    now = (answer.answer.value, answer.leading.difference)
    names = (answer.outcome, answer.by)
    return check(frame, records.frame, records.labels, answer.fit, names, answer.columns, ask, now)
