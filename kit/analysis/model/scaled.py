"""Cells made ready for the likelihood: scaled, groups numbered, what may go below zero."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd

from kit.analysis.model.blocks import Blocks, make_blocks
from kit.analysis.model.kenward_roger import Estimate
from kit.analysis.moments import Floats, Integers

__all__ = ["Scaled", "Structure", "constant_of", "may_go_below", "number_groups"]

Structure = Literal["nested", "within-first", "crossed"]
#: A spread this small beside the readings' own size is not one: nobody reads twelve digits.
ROUNDING = 1e-12
#: Share of the settings' spread that may lie between and within bakes at once.
EVEN_ENOUGH = 0.05


@dataclass(frozen=True, eq=False)
class Scaled:
    """Cells with columns orthonormal over the pieces and the least-squares fit taken off.

    REML does not change by it, and no digits are lost to the columns' scales.

    Parameters
    ----------
    columns, residual, n : float arrays, shapes (C, p), (C,), (C,)
    within_ss : float
    r, start : float arrays, shapes (p, p), (p,)
        From the columns back to those of the design; coefficients of least squares.
    unit : float
        What the outcome was divided by.
    exact : bool
        Whether the settings explain everything, and fewer than the readings: what is left is the
        rounding of computers.
    """

    columns: Floats
    residual: Floats
    n: Floats
    within_ss: float
    r: Floats
    start: Floats
    unit: float
    exact: bool

    @classmethod
    def of(cls, x: Floats, y: Floats, n: Floats, within_ss: float) -> "Scaled":
        """Scale a design on cells and their means."""
        root = np.sqrt(n)
        q, r = np.linalg.qr(x * root[:, None])
        start = np.linalg.solve(r, q.T @ (root * y))
        start += np.linalg.solve(r, q.T @ (root * (y - x @ start)))
        residual = y - x @ start
        left = float(np.sqrt((np.dot(n, residual**2) + within_ss) / n.sum()))
        unit = left or 1.0
        # as many unknowns as readings leave nothing either, and are another trouble
        exact = bool(n.sum() > x.shape[1] and left <= ROUNDING * np.abs(y).max())
        q, residual, within_ss = q / root[:, None], residual / unit, within_ss / unit**2
        return cls(q, residual, n, within_ss, r, start, unit, exact)

    def blocks(
        self, numbers: Sequence[Integers], groups: Sequence[str], outermost: Integers | None
    ) -> Blocks:
        """What the likelihood needs."""
        xy = np.column_stack([self.columns, self.residual])
        return make_blocks(xy, self.n, self.within_ss, numbers, groups, outermost)

    def restored(self, fit: Estimate) -> Estimate:
        """The estimate in the design's own columns and unit."""
        back, r, unit = np.linalg.inv(self.r), self.r, self.unit
        left = self.n.sum() - len(r)
        logs = 2 * np.log(np.abs(np.diag(r))).sum() + 2 * left * np.log(unit)
        return Estimate(
            variance=fit.variance * unit**2,
            beta=self.start + back @ fit.beta * unit,
            phi=back @ fit.phi @ back.T * unit**2,
            phi_adjusted=back @ fit.phi_adjusted @ back.T * unit**2,
            p_matrices=r.T @ fit.p_matrices @ r / unit**4,
            w=fit.w * unit**4,
            criterion=fit.criterion + logs,
        )


def may_go_below(
    columns: Floats, n: Floats, numbers: Sequence[Integers], variance: str, structure: Structure
) -> list[bool]:
    """Which components may go below zero: with "free" all, with one exception.

    An outermost grouping that holds others stays at zero or above where it holds the settings
    unevenly (bakes of two doughs, four settings): differences between bakes that vary too
    little would count for too much. Where every bake holds every setting alike, or a setting
    belongs to whole bakes, nothing is weighed between and within bakes at once.

    Of C cells the columns (C, p), orthonormal over the pieces n (C,), and the numbers of their
    groups (C,) are given, one array a grouping, outermost first.
    """
    may = [variance == "free"] * len(numbers)
    if variance == "free" and len(numbers) > 1 and structure != "crossed":
        size = np.bincount(numbers[0], weights=n)
        sums = np.column_stack([np.bincount(numbers[0], weights=n * c) for c in columns.T])
        between = sums.T @ (sums / size[:, None]) - np.outer(*[sums.sum(axis=0)] * 2) / n.sum()
        share = np.linalg.eigvalsh(between)
        may[0] = bool(np.minimum(share, 1 - share).max() <= EVEN_ENOUGH)
    return may


def number_groups(
    cells: pd.DataFrame, groups: Sequence[str], structure: Structure
) -> tuple[list[Integers], Integers | None]:
    """Number the groups of each grouping, and the independent blocks."""
    own = [pd.factorize(cells[group])[0].astype(np.int64) for group in groups]
    numbers: list[Integers] = []
    for i, codes in enumerate(own):
        outer = None
        if i > 0 and structure != "crossed":
            outer = numbers[i - 1] if structure == "nested" else own[0]
        both = codes if outer is None else outer * (codes.max() + 1) + codes
        numbers.append(pd.factorize(both)[0].astype(np.int64))
    if not groups or (structure == "crossed" and len(groups) > 1):
        return numbers, None
    return numbers, numbers[0]


def constant_of(x: Floats) -> Floats:
    """Coefficients whose fitted values are all 1; all 0 when the model has no constant."""
    exact = np.flatnonzero(np.all(x == 1, axis=0))
    if len(exact):
        first: Floats = np.eye(x.shape[1])[exact[0]]
        return first
    ones = np.ones(len(x))
    found: Floats = np.linalg.lstsq(x, ones, rcond=None)[0]
    return found if np.max(np.abs(x @ found - ones)) < 1e-9 else np.zeros(x.shape[1])
