"""A plan analysed before it is baked: with the variances known, or on simulated outcomes.

With the variances known, the standard error and the Kenward–Roger degrees of freedom of a
difference follow from the plan alone. Where neither the estimate nor its degrees of freedom
depend on the variances (balanced plans), Student's t is exact. Elsewhere outcomes are drawn and
refitted with the kit's own engine: the layout is reduced once, and each trial only brings a new
column of outcomes.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd

from kit.analysis.grouping.experiments import spare_beside
from kit.analysis.grouping.structure import Unit, read_records, safe_name
from kit.analysis.model import reml
from kit.analysis.model.blocks import Blocks, make_blocks
from kit.analysis.model.kenward_roger import Estimate, each_df, single_df
from kit.analysis.model.scaled import Structure, may_go_below  # the answers' own rule
from kit.analysis.moments import Floats, Integers
from kit.errors import DesignError, KitError
from kit.plan.kitchen import MOST_PIECES
from kit.plan.noticing.exact import Simulated, criticals

__all__ = ["Known", "Rehearsal", "Sds", "rehearse"]

_OUTCOME = "made_up_outcome"
_CHUNK = 100
#: Pieces are taken to differ at least by this share of the variance of all else.
_LEAST = 1e-12


@dataclass(frozen=True)
class Sds:
    """Standard deviations of each grouping and of pieces."""

    bake: float
    dough: float
    load: float
    piece: float
    mixing: float = 0.0
    shaping: float = 0.0

    def of(self, group: str, alone: bool) -> float:
        """Of one grouping; doughs take the bake's where each bake has one of them."""
        if group == "dough" and alone:
            return float(np.hypot(self.dough, self.bake))
        return float(getattr(self, group))


@dataclass(frozen=True)
class Known:
    """The differences of a plan when the variances are known.

    Parameters
    ----------
    se, df : float arrays, shape (c,)
        True standard errors, and Kenward–Roger degrees of freedom.
    widened : float array, shape (c,)
        How much larger the standard error is reported, because the variances that weigh bakes
        and doughs are estimated; 1 for balanced plans.
    """

    se: Floats
    df: Floats
    widened: Floats


@dataclass(frozen=True)
class Rehearsal:
    """One factor of a plan, as the analysis will see it.

    Parameters
    ----------
    x : float array, shape (n, p)
    contrasts : float array, shape (c, p)
        Differences between settings (or between the ends of a line).
    names : tuple of (object, object)
        The two settings of each difference, the later first.
    groups : dict of str to int array, shape (n,)
        Random groupings.
    outermost : int array, shape (n,), or None
    structure : str
        How the groupings lie, see `kit.mixed`.
    unit : {"bake", "mixing", "dough", "shaping", "load", "piece"}
    settings : int
        Means compared; 2 for a line.
    alone : bool
        Each bake has one dough only.
    least_df : float
        Put where the approximation says less than one, see `kit.analysis.mixed.MixedFit`.
    """

    x: Floats
    contrasts: Floats
    names: tuple[tuple[object, object], ...]
    groups: dict[str, Integers]
    outermost: Integers | None
    structure: Structure
    unit: Unit
    settings: int
    alone: bool
    counts: Mapping[str, int]
    line: bool
    least_df: float = 0.0

    def known(self, sds: Sds) -> "Known":
        """Standard errors, degrees of freedom and weights of the differences, variances known.

        Kenward & Roger (1997), with the expected information at these variances; V is linear
        in them, so their R terms are zero.
        """
        r, blocks = self._layout
        variances = [sds.of(name, self.alone) ** 2 for name in self.groups]
        piece = max(sds.piece**2, _LEAST * max([1e-12, *variances]))
        fit = reml.known(blocks, np.array([*variances, piece]))
        rows = np.linalg.solve(r.T, self.contrasts.T).T
        variance = ((rows @ fit.phi) * rows).sum(axis=1)
        adjusted = ((rows @ fit.phi_adjusted) * rows).sum(axis=1)
        return Known(np.sqrt(variance), each_df(fit, rows), np.sqrt(adjusted / variance))

    @cached_property
    def _layout(self) -> tuple[Floats, Blocks]:
        """The triangle of x, and the plan reduced to sums, whatever comes out."""
        q, r = np.linalg.qr(self.x)
        return r, self._blocks(q, np.zeros((len(q), 1)))

    def weights(self, sds: Sds) -> tuple[Floats, Floats]:
        """What each piece counts in the estimate of each difference.

        Pieces that share settings and groupings count alike, so one of them stands for all; and
        what lies in different outermost groups is independent: neither needs an n×n matrix. Of one
        piece of each of k kinds, shape (c, k); and how many pieces of each, shape (k,).
        """
        groups = {name: group[self._kinds[0]] for name, group in self.groups.items()}
        x, pieces = self.x[self._kinds[0]], self._kinds[1]
        outermost = np.zeros(len(self.x), int) if self.outermost is None else self.outermost
        block = outermost[self._kinds[0]]
        vx = np.empty_like(x)
        for number in np.unique(block):
            here = np.flatnonzero(block == number)
            v = np.diag(max(sds.piece**2, 1e-12) / pieces[here])
            for name, group in groups.items():
                own = group[here]
                v += sds.of(name, self.alone) ** 2 * (own[:, None] == own)
            vx[here] = np.linalg.solve(v, x[here])
        weights: Floats = self.contrasts @ np.linalg.solve(x.T @ vx, vx.T) / pieces
        return weights, pieces

    @cached_property
    def _kinds(self) -> tuple[Integers, Floats]:
        """One piece of each kind, and how many there are of it."""
        like = np.column_stack([self.x, *self.groups.values()])
        first, count = np.unique(like, axis=0, return_index=True, return_counts=True)[1:]
        return first, count.astype(float)

    def balance(self, sds: Sds) -> float:
        """How far estimates and degrees of freedom depend on the variances; 0 for not at all.

        The largest of the shares of precision lost, and of degrees of freedom changed, when the
        plan is analysed with quite other variances (doughs and bakes twice as different and
        more, loads differing like pieces).
        """
        other = Sds(2 * sds.bake + sds.piece, 2 * sds.dough + sds.piece, *[sds.piece] * 4)
        one, two = self.known(sds), self.known(other)
        (was, pieces), (then, _) = self.weights(sds), self.weights(other)
        lost = (then - was) ** 2 @ pieces / (was**2 @ pieces)
        changed = np.abs(1 / one.df - 1 / two.df) * 2  # what df do to a critical value
        return float(max(lost.max(), changed.max()))

    def simulate(
        self,
        sds: Sds,
        which: int,
        trials: int,
        seed: int,
        level: float,
        progress: Callable[[int, int], None] | None = None,
        stop: Callable[[], bool] | None = None,
    ) -> Simulated:
        """Draw outcomes without any difference and refit them.

        `which` is the number of the difference looked at, `level` that of the intervals. `progress`
        is called with trials done and in all; when `stop` is True, what has been done is used.

        Raises
        ------
        DesignError
            No trial could be analysed.
        """
        rng = np.random.default_rng(seed)
        q, r = np.linalg.qr(self.x)
        rows = np.linalg.solve(r.T, self.contrasts.T).T
        found = np.empty((3, len(rows), 0))
        problems: dict[int, KitError] = {}
        while found.shape[2] < trials and not (found.size and stop is not None and stop()):
            count = min(_CHUNK, trials - found.shape[2])
            y = self._draw(sds, count, rng)
            some, failed = self._looked_at(q, rows, y)
            found = np.concatenate([found, some], axis=2)
            problems |= failed
            if progress is not None:
                progress(found.shape[2], trials)
        errors, se, df = found
        if not np.isfinite(se).any() and problems:
            first = next(iter(problems.values()))
            raise DesignError(str(first)) from first
        halves = se * criticals(df.ravel(), level, self.settings).reshape(df.shape)
        furthest = (np.abs(errors) + halves).max(axis=0)
        return Simulated(errors[which], halves[which], furthest)

    def _looked_at(self, q: Floats, rows: Floats, y: Floats) -> tuple[Floats, dict[int, KitError]]:
        """Estimate, standard error, degrees of freedom of every pair and column, as answers do."""
        fit, failed = self._fits(q, y)
        se = np.sqrt(np.einsum("pi,tij,pj->pt", rows, fit.phi_adjusted, rows))
        df = np.array([single_df(fit, row) for row in rows])
        known = np.where(df < 1, np.maximum(df, self.least_df), df)
        some = np.array([rows @ fit.beta.T, se, known])
        some[:, :, list(failed)] = np.array([0.0, np.inf, 1.0])[:, None, None]  # wide as can be
        if self.unit == "mixing" and "mixing" in self.groups:
            below = fit.variance[:, list(self.groups).index("mixing")] < 0
            below &= (df < 1).any(axis=0)
            if below.any():  # as `kit.analysis.answer.fitting` does
                some[:, :, below] = _without("mixing", self)._looked_at(q, rows, y[:, below])[0]
                some[2][:, below] = self.least_df
        return some, failed

    def _draw(self, sds: Sds, count: int, rng: np.random.Generator) -> Floats:
        y = rng.normal(0, sds.piece, (len(self.x), count))
        for name, group in self.groups.items():
            sd = sds.of(name, self.alone)
            y = y + rng.normal(0, 1, (int(group.max()) + 1, count))[group] * sd
        return y

    def _fits(self, q: Floats, y: Floats) -> tuple[Estimate, dict[int, KitError]]:
        """Refit every column; the layout is reduced to sums once for all of them."""
        groups = list(self.groups.values())
        below = may_go_below(q, np.ones(len(q)), groups, "free", self.structure)
        return reml.estimate_many(self._blocks(q, y), below)

    def _blocks(self, q: Floats, y: Floats) -> Blocks:
        """Every column of outcomes as a trial."""
        groups, names = list(self.groups.values()), list(self.groups)
        xy, n = np.column_stack([q, y]), np.ones(len(q))
        return make_blocks(xy, n, 0.0, groups, names, self.outermost, q.shape[1])


def rehearse(
    runs: pd.DataFrame,
    of: str,
    others: Sequence[str],
    line: bool | None = None,
    mixing: str | None = None,
) -> Rehearsal:
    """Read a plan's runs the way the analysis will read the records.

    Parameters
    ----------
    runs : DataFrame
        One row a piece: ``bake, dough, load`` and the factors.
    of : str
        The factor asked about.
    others : sequence of str
        Factors held alike.
    line : bool, optional
        Judge a numeric factor by the difference between the ends of a straight line; by itself
        when it has more than eight settings.
    mixing : str, optional
        See `kit.compare`.

    Raises
    ------
    DesignError
        The plan cannot answer, whatever comes out; or it has more pieces than can be worked out.
    """
    if len(runs) > MOST_PIECES:
        msg = (
            f"{len(runs)} pieces are more than can be worked out: up to {MOST_PIECES} in all, such "
            "as 20 doughs of 100, which is more than any kitchen bakes for one question. Look at "
            "the pieces a dough and the doughs a bake again."
        )
        raise DesignError(msg)
    load = "load" if "load" in runs and runs["load"].notna().all() else None
    columns = {"trial": None, "bake": "bake", "mixing": mixing, "dough": "dough", "load": load}
    made_up = runs.assign(**{_OUTCOME: np.arange(len(runs), dtype=float)})
    records = read_records(made_up, _OUTCOME, of, columns, list(others), line)
    frame = records.frame
    column, as_line = frame[safe_name(of)], records.as_line
    parts = [np.ones((len(frame), 1)), *_own(column, as_line)]
    for other in others:
        more = np.hstack(_own(frame[safe_name(other)], False) or [np.zeros((len(frame), 0))])
        together = np.hstack([*parts, more])
        if more.shape[1] and np.linalg.matrix_rank(together) == together.shape[1]:
            parts.append(more)
    x = np.hstack(parts)
    if np.linalg.matrix_rank(x) < x.shape[1]:
        msg = f"{of} cannot be told from the other factors: plan it again."
        raise DesignError(msg)
    levels = _levels(column)
    pairs, names = [], []
    if as_line:
        row = np.zeros(x.shape[1])
        row[1] = levels[-1] - levels[0]
        pairs, names = [row], [(levels[-1], levels[0])]
    else:
        unit = np.vstack([np.zeros(len(levels) - 1), np.eye(len(levels) - 1)])
        for i in range(len(levels)):
            for j in range(i):
                row = np.zeros(x.shape[1])
                row[1 : len(levels)] = unit[i] - unit[j]
                pairs.append(row)
                names.append((levels[i], levels[j]))
    groups = {g: frame[g].to_numpy(dtype=np.int64) for g in records.groups}
    crossed = records.structure == "crossed" and len(groups) > 1
    outermost = None if crossed or not groups else next(iter(groups.values()))
    bakes = frame["bake"].nunique()
    settings, alone = 2 if as_line else len(levels), "bake" not in groups and bakes > 1
    seen = Rehearsal(
        x, np.array(pairs), tuple(names), groups, outermost, records.structure, records.unit,
        settings, alone, records.counts, as_line, _least_df(x, frame, groups, records.unit),
    )  # fmt: skip
    if "load" in groups and not reml.separate(seen._layout[1]):
        seen = _without("load", seen)
    for kind, least in (("mixing", ["mixing", "dough"]), ("shaping", ["shaping"])):
        if kind not in groups or records.unit in ("bake", "mixing", kind):
            continue
        if min(spare_beside(x, frame, groups, each) for each in least) < 1:
            seen = _without(kind, seen)
    return seen


def _least_df(x: Floats, frame: pd.DataFrame, groups: Mapping[str, Integers], unit: Unit) -> float:
    """What the units leave over beside the settings, as `kit.analysis.answer.fitting` has it."""
    return 0.0 if unit in ("piece", "load") else spare_beside(x, frame, groups, unit)


def _without(group: str, seen: Rehearsal) -> Rehearsal:
    """Leave a grouping out where there is too little to see it, as the answers do."""
    groups = {name: numbers for name, numbers in seen.groups.items() if name != group}
    return replace(seen, groups=groups, outermost=next(iter(groups.values()), None))


def _own(column: pd.Series, as_line: bool) -> list[Floats]:
    """A factor's columns: the value, or an indicator a setting but the first."""
    if as_line:
        return [column.to_numpy(dtype=float)[:, None]]
    return [(column == level).to_numpy(dtype=float)[:, None] for level in _levels(column)[1:]]


def _levels(column: pd.Series) -> list[Any]:
    numeric = pd.api.types.is_numeric_dtype(column)
    return sorted(column.unique()) if numeric else list(pd.unique(column))
