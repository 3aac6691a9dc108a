"""Whether a factor does the same at every setting of what is held alike.

An answer with another factor held alike is the average over that factor's settings. Where malt
makes a muffin taller after a long retard and flatter after a short one, the average may be nothing
at all, though malt matters at both (interaction; Fisher 1935, *The Design of Experiments*, ch. 6).
"""

import math
from collections.abc import Sequence

import numpy as np
import pandas as pd

from kit.analysis import words
from kit.analysis.fitting import Difference, is_number, term
from kit.analysis.looks import Finding
from kit.analysis.means import with_interval
from kit.analysis.mixed import MixedFit, mixed
from kit.analysis.structure import MOST_SETTINGS, safe_name
from kit.errors import KitError

__all__ = ["with_others"]

#: One time in twenty by chance, all pairs together: the test has little power in a few bakes.
_ALARM = 0.05
#: More rows than this are not tried where groupings cross: it takes long.
_MOST_ROWS = 5000


def with_others(
    rows: pd.DataFrame, fit: MixedFit, names: tuple[str, str], others: Sequence[str],
    lead: Difference, asked: int | None = None,
) -> list[Finding]:  # fmt: skip
    """Test the factor by each of the others, and tell the difference at each of their settings.

    Parameters
    ----------
    rows : DataFrame
        What was fitted.
    fit : MixedFit
        With the others held alike.
    names : (str, str)
        Outcome and factor.
    others : sequence of str
        What is held alike.
    lead : Difference
        The one that is told at each setting of the other.
    asked : int, optional
        How many such pairs are asked about in all, among which the chance of a false alarm is
        shared out (Bonferroni); those of `others` when not given.

    Returns
    -------
    list of Finding
        Empty where the factor does about the same with all of them, or nothing is left over to
        judge that by.
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
            p = more.p_value(both)
        except KitError:
            continue  # nothing left over to judge it by
        if not p < _ALARM / (asked or len(others)):
            continue
        each = _at_each(rows, more, names, name, lead)
        found.append(Finding("together", _text(names, other, each, lead, p), True))
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


def _text(
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
