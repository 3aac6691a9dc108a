"""The answer without each dough in turn: whether one alone carries it.

As in Quenouille's jackknife (1956, Biometrika 43:353); the fits without each dough are all searched
at once from the whole fit.
"""

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from kit.analysis.answer.fit_checks import Finding
from kit.analysis.checking.looks import NO_ANSWER, Ask
from kit.analysis.grouping.structure import safe_name
from kit.analysis.mixed import MixedFit
from kit.analysis.model import reml
from kit.analysis.model.blocks import Blocks, stack
from kit.analysis.model.kenward_roger import Estimate
from kit.analysis.model.scaled import Scaled, may_go_below, number_groups
from kit.analysis.moments import Integers
from kit.errors import KitError

__all__ = ["Tell", "one_dough_out", "without_each"]

#: With more doughs than this, one alone can hardly carry the answer, and trying takes long.
_MOST_LEFT_OUT = 40
#: More doughs than this are counted, not named, in a sentence.
MOST_NAMED = 3
#: Chance that some dough is called odd where none is (1 in 10 finds hardly more of those that are,
#: by simulation).
_ODD = 0.05

#: From fits that are like the one looked at to their answers in words, and their numbers.
Tell = Callable[[Sequence[MixedFit]], Sequence[tuple[str, float]]]


def one_dough_out(
    frame: pd.DataFrame, rows: pd.DataFrame, labels: pd.DataFrame, fit: MixedFit,
    names: Sequence[str], columns: Mapping[str, str | None], ask: Ask, tell: Tell | None, now: str,
) -> tuple[pd.DataFrame, bool, list[Finding]]:  # fmt: skip
    """The answer without each dough in turn; whether some dough is odd; what is to be said of it.

    That fewer doughs say something else is no alarm, for near a limit any of them may tip it: an
    odd dough is one. (A difference that moves over the limit without some dough was found in 10 to
    19 of 100 clean trials, and told no more of the doughs that were wrong.) For the arguments see
    `kit.analysis.checking.checks.check`; asked anew is where the same fit cannot give it.
    """
    empty = pd.DataFrame(columns=["dough", "estimate", "answer"])
    first = np.unique(rows["dough"].to_numpy(), return_index=True)[1]
    if columns["dough"] is None:
        return empty, False, []
    if len(first) > _MOST_LEFT_OUT:
        text = f"with {len(first)} doughs it was not tried whether one alone carries the answer"
        return empty, False, [Finding("single dough", text)]
    outcome, *factors = map(safe_name, names)
    refits: list[tuple[str, float] | None] = [None] * len(first)
    if tell is not None:
        doughs = pd.factorize(rows["dough"], sort=True)[0]
        fits = without_each(fit, rows, outcome, factors, doughs)
        known = iter(tell([each for each in fits if each is not None]))
        refits = [None if each is None else next(known) for each in fits]
    keys = [c for c in (columns["trial"], columns["bake"], columns["dough"]) if c is not None]
    told = []
    for at, refit in zip(first, refits, strict=True):
        try:
            if refit is None:
                own = frame.loc[rows.index[at], keys]
                refit = ask(frame[~(frame[keys] == own).all(axis=1)])
            answer, estimate = refit
        except KitError:
            answer, estimate = NO_ANSWER, math.nan
        told.append((str(labels["dough"].iloc[at]), estimate, answer))
    table, odd = pd.DataFrame(told, columns=list(empty)), _odd_doughs(rows, fit, outcome)
    return table, bool(odd.any()), [_odd_or_not(table.assign(odd=odd), now)]


def _odd_or_not(table: pd.DataFrame, now: str) -> Finding:
    changed, odd = table[table["answer"] != now], table[table["odd"]]
    if len(odd):
        which = " or ".join(f"dough {dough}" for dough in odd["dough"])
        text = (
            f"{which} lies further off than chance usually puts one of {len(table)}: "
            f"{_without(odd, table, now)}. Look up what was different about it; leave it out for a "
            "reason of that kind only"
        )
        return Finding("single dough", text, True)
    if changed.empty:
        text = f"whichever of the {len(table)} doughs is left out, the answer stays: {now}"
        return Finding("single dough", text)
    text = (
        f"one dough less might change the answer ({_without(changed, table, now)}), but no dough "
        "lies so far off that it should not count"
    )
    return Finding("single dough", text)


def _odd_doughs(rows: pd.DataFrame, fit: MixedFit, outcome: str) -> NDArray[np.bool_]:
    """Which doughs' means lie off all others, by the spread of the others (one a dough).

    Means of the doughs with settings and bakes as they were; each set against what is left of the
    others (externally studentised residuals: Beckman & Trussell 1974, J Am Stat Assoc 69:199), the
    chance shared among them by Bonferroni. Two that are alone in a bake are odd both or neither.
    `rows` are as fitted, with numbers ``bake, dough``.
    """
    from scipy import stats

    own = rows["dough"].to_numpy()
    doughs, first = np.unique(own, return_index=True)
    x = pd.DataFrame(fit.design.rows_of(rows)).groupby(own).mean().to_numpy()
    if "bake" in fit.groups:
        x = np.hstack([x, pd.get_dummies(rows["bake"].iloc[first]).to_numpy(dtype=float)])
    y = rows[outcome].groupby(own).mean().to_numpy(dtype=float)
    q, values, _ = np.linalg.svd(x, full_matrices=False)
    q = q[:, values > 1e-9 * values[0]]
    left, room = y - q @ (q.T @ y), 1 - (q**2).sum(axis=1)
    df = len(doughs) - q.shape[1] - 1
    told = room > 1e-9
    size = np.where(told, left, 0.0) ** 2 / np.where(told, room, 1.0)
    others = np.maximum(left @ left - size, 0.0)
    if df < 1 or not (others > 1e-12 * (y @ y)).all():
        return np.zeros(len(doughs), dtype=bool)
    chance = 2 * stats.t.sf(np.sqrt(size * df / others), df)
    return np.asarray(chance * len(np.unique(np.round(chance[told], 9))) < _ODD)


def _without(changed: pd.DataFrame, table: pd.DataFrame, now: str) -> str:
    parts = []
    for other, group in changed.groupby("answer", sort=False):
        doughs = list(group["dough"])
        named = " or ".join(f"dough {dough}" for dough in doughs)
        if len(doughs) > MOST_NAMED:
            named = f"one of {len(doughs)} of the {len(table)} doughs ({doughs[0]}, for one)"
        parts.append(f"without {named} it would {'still ' * (other == now)}be: {other}")
    return "; ".join(parts)


def without_each(
    fit: MixedFit, rows: pd.DataFrame, outcome: str, by: Sequence[str], units: Integers
) -> list[MixedFit | None]:
    """Refit without each unit (dough), groupings as they are.

    `units` numbers the unit of each row, 0 … U − 1; `by` are the columns whose values must all be
    left. None where a setting is gone with the unit, or what is left cannot be fitted so.
    """
    x, y = fit.design.rows_of(rows), rows[outcome].to_numpy(dtype=float) - fit._shift
    settings = [pd.factorize(rows[name])[0] for name in by]
    numbers, outermost = number_groups(rows, fit.groups, fit.structure)
    found: list[MixedFit | None] = [None] * (int(units.max()) + 1)
    scaled, below, asked = [], [], []
    for unit in range(len(found)):
        keep = units != unit
        if any(np.bincount(s[keep], minlength=s.max() + 1).min() == 0 for s in settings):
            continue
        if np.linalg.matrix_rank(x[keep]) < x.shape[1]:
            continue  # a setting of what is held alike is gone with it
        own = Scaled.of(x[keep], y[keep], np.ones(int(keep.sum())), 0.0)
        if own.exact or (np.abs(np.diag(own.r)) < 1e-6 * np.abs(np.diag(fit._scaled.r))).any():
            continue  # some column says nothing any more, or nothing is left to judge by
        left = [np.unique(number[keep], return_inverse=True)[1] for number in numbers]
        outer = None if outermost is None else outermost[keep]
        asked.append((unit, own.blocks(left, fit.groups, outer)))
        below.append(may_go_below(own.columns, own.n, left, fit.variance_rule, fit.structure))
        scaled.append(own)
    for i, estimate in _estimates([b for _, b in asked], below, fit):
        if not np.isfinite(estimate.phi_adjusted).all():
            continue
        part = scaled[i].restored(estimate)
        n = len(scaled[i].n)
        found[asked[i][0]] = replace(fit, n=n, _estimate=part, _scaled=scaled[i])
    return found


def _estimates(
    blocks: Sequence[Blocks], below: Sequence[Sequence[bool]], fit: MixedFit
) -> Iterator[tuple[int, Estimate]]:
    """Those that can be had, with their number."""
    together = stack(blocks) if blocks else None
    if together is not None:
        many, problems = reml.estimate_many(together, np.array(below), fit.ratios)
        yield from ((i, many[i]) for i in range(len(blocks)) if i not in problems)
        return
    for i, (one, may) in enumerate(zip(blocks, below, strict=True)):
        try:
            yield i, reml.estimate(one, may, fit.ratios)
        except KitError:
            continue
