"""Whether a setting does the same in every bake.

Where a bake holds several doughs (pieces, loads) of a setting, the spread that a difference is
judged by is that within the bakes, and a setting that does more on one day than on another does not
widen the interval: it then speaks of these bakes only (bakes by settings as the error of a factor:
Yates 1935, J R Stat Soc Suppl 2:181). It is tested against the same spread, and from three bakes on
the answer for further days is told where it is another one.
"""

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from kit.analysis import words
from kit.analysis.fitting import overall
from kit.analysis.looks import Finding
from kit.analysis.mixed import MixedFit, Structure, mixed
from kit.analysis.structure import MOST_SETTINGS, safe_name
from kit.analysis.verdict import Answer, decide_each
from kit.errors import KitError

if TYPE_CHECKING:
    from kit.analysis.compare import Comparison
    from kit.analysis.dose import DoseResponse

__all__ = ["bake_by_bake", "repeats"]

#: One time in twenty by chance: the test has little power in a few bakes.
_ALARM = 0.05
#: Above it bakes are taken to agree, as when mean squares are pooled (Bozivich, Bancroft & Hartley
#: 1956, Ann Math Stat 27:1017): that another day is not in the interval is said of every answer.
_ALIKE = 0.25
#: Fewer bakes tell next to nothing of further days.
_LEAST_BAKES = 3
#: More cells than this of bakes and settings are not tried.
_MOST_CELLS = 100
#: More rows than this are not tried where groupings cross.
_MOST_ROWS = 2000


def repeats(c: "Comparison | DoseResponse") -> bool:
    """Whether a bake holds several of what a setting is given to, at one setting."""
    p = c.points
    if not c.columns["bake"] or c.columns["trial"] or p["level"].nunique() > MOST_SETTINGS:
        return False
    cells = p.groupby(["bake", "level"], observed=True)
    made = cells.size() if c.unit == "piece" else cells[c.unit].nunique()
    return bool(c.unit != "bake" and made.max() > 1)


def bake_by_bake(rows: pd.DataFrame, c: "Comparison") -> list[Finding]:
    """Tell in how many bakes the difference went the same way, and whether it was the same.

    Parameters
    ----------
    rows : DataFrame
        What was fitted: `Records.frame`.
    c : Comparison
    """
    each = _differences(rows, c)
    if len(each) < 2:
        return []
    same = int((np.sign(each) == np.sign(c.leading.difference)).sum())
    p = _p(rows, c.fit, c.by, c.kind == "line") if repeats(c) else None
    further = _another_day(rows, c, p) if repeats(c) and len(each) >= _LEAST_BAKES else []
    if p is None or p >= _ALARM:
        text = f"in {same} of {len(each)} bakes the difference went the same way"
        return [Finding("bakes", text), *further]
    unit, size = words.unit_of(c.outcome), float(np.ptp(each))
    low, high = (words.number(float(v), size, unit) for v in (each.min(), each.max()))
    text = (
        f"{words.name(c.by)} did not do the same in every bake (the difference was anything from "
        f"{low} to {high}; p = {p:.2g}): another day may bring something else again, and the "
        f"interval speaks of these {len(each)} bakes only"
    )
    return [Finding("bakes", text, True), *further]


def _differences(rows: pd.DataFrame, c: "Comparison") -> "pd.Series[float]":
    """The leading difference in each bake that has both settings, all else held alike."""
    lead, setting = c.leading, rows[safe_name(c.by)]
    fitted = c.fit.design.rows_of(rows) @ c.fit.coefficients["estimate"].to_numpy(dtype=float)
    left = rows[safe_name(c.outcome)] - fitted
    doughs = left.groupby([rows["bake"], setting, rows["dough"]]).mean()
    means = doughs.groupby(level=[0, 1]).mean().unstack()
    if not {lead.level, lead.versus} <= set(means):
        return pd.Series(dtype=float)  # the ends of a line
    each: pd.Series[float] = lead.difference + means[lead.level] - means[lead.versus]
    return each.dropna()


def _another_day(rows: pd.DataFrame, c: "Comparison", p: float | None) -> list[Finding]:
    """The answer were it asked of further days: what a bake does to a setting is random too.

    Where it could not be tested whether the bakes agree, they are not taken to.
    """
    groups = ("bake", *(g for g in c.fit.groups if g != "bake"), "bake_by_setting")
    if c.kind == "line" or len(groups) > 4 or len(rows) > _MOST_ROWS or "bake" not in c.fit.groups:
        return []
    factor = safe_name(c.by)
    cells = rows.groupby(["bake", factor], observed=True).ngroup()
    try:
        fit = mixed(
            rows.assign(bake_by_setting=cells), c.fit.formula, groups, structure="within-first",
            level=c.fit.level,
        )  # fmt: skip
    except KitError:
        return []  # too few bakes to see it
    told = fit.contrasts(factor, "pairs" if c.control is None else "control", c.control)
    ends = told["low"].to_numpy(), told["high"].to_numpy()
    told["answer"] = [a.value for a in decide_each(ends[0], ends[1], c.matters)]
    answer, lead = overall(told)
    low, high = (words.number(v, lead.half_width) for v in (lead.low, lead.high))
    text = (
        f"asked of further days, each of which may change what the setting does, the answer would "
        f"be: {answer.told(c.matters)} (a difference of {low} to "
        f"{high} {words.unit_of(c.outcome)}".rstrip()
        + ")"
    )
    # of further days less is known, never more
    less = c.answer is not Answer.UNCLEAR and answer is not c.answer
    return [Finding("bakes", text, less and (p is None or p < _ALIKE))]


def _p(rows: pd.DataFrame, fit: MixedFit, by: str, line: bool) -> float | None:
    """Of bake by setting, bakes being as they were; None where it cannot be tested."""
    groups = tuple(g for g in fit.groups if g != "bake")
    structure: Structure = fit.structure
    if structure == "within-first" and "bake" in fit.groups:
        structure = "nested" if len(groups) < 2 else "crossed"
    if rows["bake"].nunique() * rows[safe_name(by)].nunique() > _MOST_CELLS:
        return None
    if structure == "crossed" and len(rows) > _MOST_ROWS:
        return None
    own = safe_name(by) if line else f"C({safe_name(by)})"
    try:
        more = mixed(rows, f"{fit.formula} + C(bake) + {own}:C(bake)", groups, structure=structure)
        p = more.p_value(f"{own}:C(bake)")
    except KitError:
        return None  # nothing left over to judge it by
    return p if p >= 0 else None
