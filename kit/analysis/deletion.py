"""The same fit without each dough in turn, all of them searched at once from the whole fit."""

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
import pandas as pd

from kit.analysis import reml
from kit.analysis.blocks import Blocks, stack
from kit.analysis.kenward_roger import Estimate
from kit.analysis.mixed import MixedFit
from kit.analysis.moments import Integers
from kit.analysis.scaled import Scaled, may_go_below, number_groups
from kit.errors import KitError

__all__ = ["without_each"]


def without_each(
    fit: MixedFit, rows: pd.DataFrame, outcome: str, by: Sequence[str], units: Integers
) -> list[MixedFit | None]:
    """Refit without each unit.

    Groupings stay as they are.

    Parameters
    ----------
    fit : MixedFit
        Of all rows.
    rows : DataFrame
        One row a piece, with the columns of the fit.
    outcome : str
    by : sequence of str
        Columns whose values must all be left.
    units : int array, shape (rows,)
        Which unit (dough) each row belongs to, 0 … U − 1.

    Returns
    -------
    list of MixedFit or None, one a unit
        None where a setting is gone with the unit, or what is left cannot be fitted so.
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
