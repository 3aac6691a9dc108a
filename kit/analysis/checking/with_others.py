"""Whether a factor does the same in every bake, and at every setting of what is held alike.

An answer with another factor held alike is the average over that factor's settings. Where malt
makes a muffin taller after a long retard and flatter after a short one, the average may be nothing
at all, though malt matters at both (interaction; Fisher 1935, *The Design of Experiments*, ch. 6).

Where a bake holds several doughs (pieces, loads) of a setting, the spread that a difference is
judged by is that within the bakes, and a setting that does more on one day than on another does not
widen the interval: it then speaks of these bakes only (bakes by settings as the error of a factor:
Yates 1935, J R Stat Soc Suppl 2:181). It is tested against the same spread, and from three bakes on
the answer for further days is told where it is another one.
"""

import math
from collections.abc import Sequence

import numpy as np
import pandas as pd

from kit import words
from kit.analysis.answer.fit_checks import Finding
from kit.analysis.answer.fitting import Difference, is_number, overall, term
from kit.analysis.comparison import Comparison
from kit.analysis.grouping.structure import MOST_SETTINGS, safe_name
from kit.analysis.means import with_interval
from kit.analysis.mixed import MixedFit, Structure, mixed
from kit.analysis.verdict import Answer, decide_each
from kit.errors import KitError

__all__ = ["bake_by_bake", "with_others"]

#: One time in twenty by chance, all pairs together: the test has little power in a few bakes.
_ALARM = 0.05
#: Above it bakes are taken to agree, as when mean squares are pooled (Bozivich, Bancroft & Hartley
#: 1956, Ann Math Stat 27:1017): that another day is not in the interval is said of every answer.
_ALIKE = 0.25
#: Fewer bakes tell next to nothing of further days.
_LEAST_BAKES = 3
#: More cells of bakes and settings, and more rows, are not tried: it takes long.
_MOST_CELLS, _MOST_ROWS = 100, 2000


def with_others(
    rows: pd.DataFrame, fit: MixedFit, names: tuple[str, str], others: Sequence[str],
    lead: Difference, asked: int | None = None,
) -> list[Finding]:  # fmt: skip
    """Test the factor by each of the others, and tell the difference at each of their settings.

    Each other that could be tested has a finding, alarming where the factor did not do the same.
    `rows` were fitted, with the others held alike; `names` are outcome and factor; `lead` is told
    at each setting. Among the pairs `asked` about in all (else those of `others`) the chance of a
    false alarm is shared out (Bonferroni).
    """
    found = []
    by = names[1]
    own = next(t for t in (safe_name(by), f"C({safe_name(by)})") if t in fit.formula.split())
    for other in others:
        name = safe_name(other)
        settings = list(pd.unique(rows[name]))
        if not 2 <= len(settings) <= MOST_SETTINGS or len(rows) > _MOST_ROWS:
            continue
        both = f"{own}:{term(other, is_number(rows[name]))}"
        try:
            more = mixed(
                rows, f"{fit.formula} + {both}", fit.groups, structure=fit.structure,
                level=fit.level,
            )  # fmt: skip
            p = float(more.term(both)["p"])
        except KitError:
            continue  # nothing left over to judge it by
        alarm = p < _ALARM / (asked or len(others))
        text = (
            f"no sign that {words.name(by)} did not do the same at every setting of "
            f"{words.name(other)} (p = {p:.2g}), which is no proof"
        )
        if alarm:
            text = _apart(names, other, _at_each(rows, more, names, name, lead), lead, p)
        if not math.isnan(p):
            found.append(Finding("together", text, alarm))
    return found


def _at_each(
    rows: pd.DataFrame, fit: MixedFit, names: tuple[str, str], other: str, lead: Difference
) -> pd.DataFrame:
    """The difference at every setting of the other at which it was baked: ``mean, low, high``."""
    by = safe_name(names[1])
    settings = rows.groupby(other, observed=True)[by].agg(set)
    if f"C({by})" in fit.formula:
        settings = settings[[{lead.level, lead.versus} <= had for had in settings]]
    pair = pd.concat([rows.iloc[:1]] * 2, ignore_index=True)
    made = []
    for setting in settings.index:
        two = pair.assign(**{other: setting, by: [lead.level, lead.versus]})
        high, low = fit.design.rows_of(two)
        made.append(high - low)
    told = with_interval(fit.linear(np.array(made).reshape(-1, fit.rank)), fit.level)
    return told.set_axis(settings.index, axis=0)


def _apart(
    names: tuple[str, str], other: str, each: pd.DataFrame, lead: Difference, p: float
) -> str:
    (outcome, by), told = names, ""
    if len(each) > 1:
        ends = each.iloc[
            [int(each["mean"].argmin()), int(each["mean"].argmax())]
        ]  # may be True, False
        unit = words.unit_of(outcome)
        parts = []
        for setting, row in ends.iterrows():
            half = (row["high"] - row["low"]) / 2
            low, high = (words.number(row[end], half) for end in ("low", "high"))
            size = words.number(row["mean"], half, unit)
            span = f" ({low} to {high})" if math.isfinite(half) else ""
            parts.append(f"{size}{span} with {words.setting(other, setting)}")
        pair = f"{words.amount(by, lead.level)} against {words.amount(by, lead.versus)}"
        told = f": {pair} made {parts[0]}, {parts[1]}"
    return (
        f"{words.name(by)} did not do the same at every setting of {words.name(other)} (p = "
        f"{p:.2g}){told}. The answer is the average over them and may hold for none: ask whether "
        f"the two work together, or answer it for each setting of {words.name(other)} by itself"
    )


def bake_by_bake(rows: pd.DataFrame, c: Comparison) -> list[Finding]:
    """Tell in how many bakes the difference went the same way, and whether it was the same.

    `rows` are what was fitted: `Records.frame`.
    """
    each = _differences(rows, c)
    if len(each) < 2:
        return []
    same = int((np.sign(each) == np.sign(c.leading.difference)).sum())
    p = _p(rows, c.fit, c.by, c.kind == "line") if c.repeats else None
    further = _another_day(rows, c, p) if c.repeats and len(each) >= _LEAST_BAKES else []
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


def _differences(rows: pd.DataFrame, c: Comparison) -> "pd.Series[float]":
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


def _another_day(rows: pd.DataFrame, c: Comparison, p: float | None) -> list[Finding]:
    """The answer were it asked of further days: what a bake does to a setting is random too.

    Where it could not be tested whether the bakes agree, they are not taken to.
    """
    if c.kind == "line" or len(rows) > _MOST_ROWS or "bake" not in c.fit.groups:
        return []
    inside = [g for g in c.fit.groups if g != "bake"]
    if len(inside) > 3:  # five groupings in all can be fitted, and the loads matter least here
        inside.remove("load")
    groups = ("bake", *inside, "bake_by_setting")
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
        p = float(more.term(f"{own}:C(bake)")["p"])
    except KitError:
        return None  # nothing left over to judge it by
    return p if p >= 0 else None
