"""What to look at before an answer is trusted, told in words with the numbers behind.

Slips of the pen (a dough written down twice, a decimal point astray), residuals (far-off pieces
and doughs), spread that differs between settings, one dough that carries the answer, pieces
missing for a reason the setting may have caused, an outcome at the end of its scale, what was set
besides, what is held alike though the setting moved it, the settings' turn and places, whether
every bake and every setting of another factor says the same, and events: each is one finding,
alarming or not. Nothing is left out of the answer by itself; that is for the baker to decide.

The single looks are in the files beside this one, with their sources.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

import pandas as pd

from kit.analysis.answer.fit_checks import Finding, FitChecks
from kit.analysis.answer.fitting import differences_of
from kit.analysis.checking import looks
from kit.analysis.checking.beside import beside, moved_along
from kit.analysis.checking.deletion import Tell, one_dough_out
from kit.analysis.checking.kept import on_places, turns
from kit.analysis.checking.left_out import missing, missing_table
from kit.analysis.checking.looks import Ask
from kit.analysis.checking.slips import copied, slipped
from kit.analysis.checking.with_others import bake_by_bake, with_others
from kit.analysis.comparison import Comparison, compared
from kit.analysis.grouping.structure import safe_name
from kit.analysis.mixed import MixedFit

__all__ = ["check", "check_comparison"]


def check(
    frame: pd.DataFrame,
    rows: pd.DataFrame,
    labels: pd.DataFrame,
    fit: MixedFit,
    names: tuple[str, str, *tuple[str, ...]],
    columns: Mapping[str, str | None],
    ask: Ask,
    tell: Tell | None,
    now: tuple[str, float],
    each_dough: bool = True,
) -> FitChecks:
    """Look at one fit from all sides.

    Parameters
    ----------
    frame, rows : DataFrame
        As it was given, one row a piece, those without a reading included; and the rows used, with
        the columns of the fit and numbers ``bake, dough``.
    labels : DataFrame
        The bakes' and doughs' own names, row by row of `rows`.
    names : (str, str, …)
        Outcome, factor, and further factors, as columns of `frame`.
    columns : mapping
        ``trial, bake, dough, load`` to the column that says which, or None.
    ask : callable
        Gives the answer in words, and its number, for a frame with rows left out.
    tell : callable
        The same for each of several fits that are like `fit`; None where only `ask` can.
    now : (str, float)
        What it gives for all rows.
    each_dough : bool
        Whether to ask again without each dough, which takes long.
    """
    (outcome, by, *others), used = names, frame.loc[rows.index]
    labels = labels.assign(dough=_doughs_by_name(rows, labels))
    pieces, doughs = looks.residuals(rows, labels, fit, outcome, by)
    absent, lost = missing_table(frame, outcome, by), []
    doughs_by = [c for kind in ("trial", "bake", "dough") if (c := columns.get(kind))]
    for factor in (by, *others):
        each = missing_table(frame, outcome, factor)
        once = missing_table(frame, outcome, factor, doughs_by) if columns["dough"] else None
        lost.append(missing(each, outcome, factor, once))
    out, odd, single = pd.DataFrame(), False, list[Finding]()
    if each_dough:
        out, odd, single = one_dough_out(
            frame, rows, labels, fit, names, columns, ask, tell, now[0]
        )
    scatter = looks.spread(pieces, outcome, by)
    if not any(finding.alarm for finding in scatter):  # which would show in the doughs as well
        scatter = looks.dough_spread(rows, doughs, by) or scatter
    values, settings = rows[safe_name(outcome)], rows[[safe_name(f) for f in (by, *others)]]
    slips = slipped(values, rows["dough"], labels["dough"], settings, outcome)
    findings = [
        *copied(values, rows["dough"], labels["dough"]),
        *(slips or looks.far_off(pieces, doughs[: 0 if odd else None], outcome)),
        *scatter,
        *single,
        lost[0],
        *(f for f in lost[1:] if f.alarm),
        *looks.at_limit(values, outcome),
        *beside(used, (by, *others), fit, columns),
        *moved_along(used, (by, *others), fit, columns),
        *(turns(rows, labels, by, columns.get("mixing") != by) if columns["bake"] else ()),
        *(on_places(used, (by, *others), rows) if "C(place)" not in fit.formula else ()),
        *looks.events(used, frame, ask, now[0]),
    ]
    return FitChecks(outcome, by, tuple(findings), pieces, doughs, out, absent, now[1])


def _doughs_by_name(rows: pd.DataFrame, labels: pd.DataFrame) -> pd.Series:
    """The doughs' own names, with the bake's where those of several bakes have the same."""
    own = labels["dough"].astype(str)
    if own.nunique() == rows["dough"].nunique():
        return own
    return own + " of bake " + labels["bake"].astype(str).str.removeprefix("bake ")


def check_comparison(frame: pd.DataFrame, answer: Comparison, alone: bool = True) -> FitChecks:
    """Look at a `Comparison` of a frame from all sides.

    Without `alone` that is left out which takes long, or is asked of many answers together: the
    answer without each dough, and at every setting of what is held alike.
    """
    held = [a for a in answer.adjusted if a != answer.columns["trial"]]
    line, lead, level = answer.kind == "line", answer.leading, answer.fit.level

    def ask(part: pd.DataFrame) -> tuple[str, float]:
        again = compared(
            part, answer.outcome, answer.by, answer.columns, answer.matters, held,
            answer.control, line, level,
        )  # fmt: skip
        same = again.differences
        if not line:
            same = same[(same["level"] == lead.level) & (same["versus"] == lead.versus)]
        size = float(same["difference"].iloc[0]) if len(same) else math.nan
        return again.answer.told(answer.matters), size

    def tell(fits: Sequence[MixedFit]) -> list[tuple[str, float]]:
        rows, count = answer.contrasts_made
        told = differences_of(fits, rows, count, level, answer.matters)
        table = answer.differences
        at = int(((table["level"] == lead.level) & (table["versus"] == lead.versus)).argmax())
        return [(best.told(answer.matters), float(numbers[at])) for best, numbers in told]

    records = answer.records
    now = answer.answer.told(answer.matters), lead.difference
    names = (answer.outcome, answer.by)
    found = check(
        frame, records.frame, records.labels, answer.fit, names, answer.columns, ask, tell, now,
        alone,
    )  # fmt: skip
    others = answer.adjusted if alone else ()
    more = with_others(records.frame, answer.fit, names, others, lead)
    more += bake_by_bake(records.frame, answer)
    return replace(found, findings=(*found.findings, *more))
