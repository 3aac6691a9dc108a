"""Linear regression with random bakes, doughs and loads, honest with few of them.

`mixed` fits by REML with Kenward–Roger standard errors and degrees of freedom. The work is done
on sums per distinct cell (`moments`), so ten million pieces cost little more than one pass over
the table.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING, Literal

import numpy as np
import pandas as pd

from kit.analysis import reml
from kit.analysis.matrix import Design, make_design, parse_formula, variables_of
from kit.analysis.moments import Dropped, Floats, Integers, moments
from kit.errors import InputError

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["MixedFit", "Structure", "may_go_below", "mixed"]

Structure = Literal["nested", "within-first", "crossed"]
#: Share of the settings' spread that may lie between and within bakes at once.
EVEN_ENOUGH = 0.05
_NOTHING = pd.Series({"num_df": 0.0, "den_df": np.nan, "F": np.nan, "p": np.nan})


@dataclass(frozen=True)
class MixedFit:
    """A fitted regression: estimates, their uncertainty, and what they rest on.

    Parameters
    ----------
    formula : str
    groups : tuple of str
        Random groupings, outermost first; empty for least squares.
    structure : str
        How the groupings lie: see `mixed`.
    variance_rule : {"free", "floored"}
    n, rank, rows_dropped
        Pieces used, columns of the design, rows left out by column.
    group_counts : dict
        How many groups each grouping has.
    coefficients : DataFrame indexed by name
        ``estimate, se, df, t, p, low, high``: treatment coding, first level the reference.
    variance : DataFrame indexed by component
        ``variance, sd, share``; never negative as reported. The last row is "residual".
    criterion : float
        REML criterion, −2 log restricted likelihood, with its constant.
    level : float
        Of the intervals.
    checks : tuple of str
        What to know before trusting it.
    """

    formula: str
    groups: tuple[str, ...]
    structure: Structure
    variance_rule: str
    n: int
    rank: int
    rows_dropped: tuple[Dropped, ...]
    group_counts: Mapping[str, int]
    coefficients: pd.DataFrame
    variance: pd.DataFrame
    criterion: float
    level: float
    checks: tuple[str, ...]
    covariance: pd.DataFrame = field(repr=False)
    dropped_columns: tuple[str, ...] = field(repr=False)
    design: Design = field(repr=False)
    _estimate: reml.Estimate = field(repr=False)
    _beta: Floats = field(repr=False)
    _shift: float = field(repr=False)
    _constant: Floats = field(repr=False)

    @cached_property
    def terms(self) -> pd.DataFrame:
        """Marginal (type III) tests, Kenward–Roger: ``num_df, den_df, F, p`` by term."""
        rows = {
            name: self.test(contrast) if len(contrast) else _NOTHING
            for name, contrast in self.design.hypotheses().items()
        }
        return pd.DataFrame.from_dict(rows, orient="index", columns=list(_NOTHING.index))

    def p_value(self, term: str) -> float:
        """P of one row of `terms`."""
        return float(self.terms["p"].to_dict()[term])

    def test(self, contrasts: Floats) -> pd.Series:
        """Kenward–Roger F test that every row of ``contrasts @ coefficients`` is zero.

        Parameters
        ----------
        contrasts : float array, shape (r, p) or (p,)

        Returns
        -------
        Series
            ``num_df, den_df, F, p``.
        """
        from scipy import stats

        rows = np.atleast_2d(np.asarray(contrasts, dtype=float))
        if rows.shape[1] != self.rank:
            raise InputError("contrasts", rows.shape, f"must have {self.rank} columns")
        # a level common to all pieces (up to 1e9) cancels exactly, not by rounding
        free = self._constant_in(rows) == 0
        beta = self._estimate.beta if free.all() else self._beta
        num, den, f = reml.f_test(self._estimate, beta, rows)
        return pd.Series(
            {"num_df": num, "den_df": den, "F": f, "p": float(stats.f.sf(f, num, den))}
        )

    def linear(self, rows: Floats) -> pd.DataFrame:
        """Estimate ``rows @ coefficients`` with its uncertainty.

        Parameters
        ----------
        rows : float array, shape (r, p)
            NaN rows stay NaN.

        Returns
        -------
        DataFrame, one row each
            ``estimate, se, df``.
        """
        result = np.full((len(rows), 3), np.nan)
        for i, row in enumerate(rows):
            if np.isfinite(row).all():
                variance = max(float(row @ self._estimate.phi_adjusted @ row), 0.0)
                result[i] = (
                    row @ self._estimate.beta + self._shift * self._constant_in(row),
                    np.sqrt(variance),
                    reml.single_df(self._estimate, row),
                )
        return pd.DataFrame(result, columns=["estimate", "se", "df"])

    def _constant_in(self, rows: Floats) -> Floats:
        """How much of the level common to all pieces each row of contrasts takes up."""
        share = rows @ self._constant
        size = np.linalg.norm(rows, axis=-1) * np.linalg.norm(self._constant)
        return np.where(np.abs(share) <= 1e-9 * size, 0.0, share)

    def means(self, factors: str | Sequence[str]) -> pd.DataFrame:
        """Marginal means: ``level, mean, se, df, low, high`` (see `kit.analysis.means`)."""
        from kit.analysis.means import marginal_means

        return marginal_means(self, factors)

    def contrasts(
        self,
        factors: str | Sequence[str],
        kind: Literal["pairs", "control"] = "pairs",
        control: object = None,
    ) -> pd.DataFrame:
        """Differences between means with joint protection (see `kit.analysis.means`)."""
        from kit.analysis.means import contrasts

        return contrasts(self, factors, kind, control)

    def __repr__(self) -> str:
        groups = ", ".join(f"{n} {g}s" for g, n in self.group_counts.items()) or "no groups"
        return f"<MixedFit {self.formula} | {self.n} pieces, {groups}>"

    def __str__(self) -> str:
        lines = [f"{self.formula}, from {self.n} pieces"]
        for name, count in self.group_counts.items():
            lines.append(f"  {count} of {name}, each free to differ by chance")
        for term, row in self.terms.iterrows():
            lines.append(
                f"  {term}: F({row.num_df:.0f}, {row.den_df:.1f}) = {row.F:.3f}, p = {row.p:.3g}"
            )
        lines += [f"  note: {check}" for check in self.checks]
        return "\n".join(lines)

    def _repr_html_(self) -> str:
        from html import escape

        notes = "".join(f"<li>{escape(check)}</li>" for check in self.checks)
        tables = "".join(
            f"<p>{escape(title)}</p>{table.to_html(float_format='{:.4g}'.format)}"
            for title, table in (
                ("Terms", self.terms),
                ("Coefficients", self.coefficients),
                ("Where the spread comes from", self.variance),
            )
        )
        return f"<p><code>{escape(self.formula)}</code></p>{tables}<ul>{notes}</ul>"

    def to_frame(self) -> pd.DataFrame:
        """Return the coefficients, one tidy row each."""
        return self.coefficients.rename_axis("name").reset_index()

    def plot(self, ax: "Axes | None" = None) -> "Axes":
        """Draw the coefficients with their intervals."""
        from kit import charts

        return charts.coefficients(self, ax)


def mixed(
    frame: pd.DataFrame,
    formula: str,
    groups: Sequence[str] = (),
    variance: Literal["free", "floored"] = "free",
    structure: Structure = "nested",
    level: float = 0.95,
) -> MixedFit:
    """Regress an outcome on settings, with the groupings random.

    Parameters
    ----------
    frame : DataFrame
        One row a piece. Rows with a missing value are left out and counted.
    formula : str
        ``"rise_height_mm ~ C(malt_percent)"``: the outcome's column, then terms as formulaic
        reads them.
    groups : sequence of str
        None, one, two or three columns, outermost first.
    variance : {"free", "floored"}
        ``"floored"`` holds every variance component at zero or above, as most software does.
        ``"free"`` lets an estimate go below zero (not that of bakes that hold the settings
        unevenly), which keeps tests at their level with few doughs; what is reported is never
        negative.
    structure : {"nested", "within-first", "crossed"}
        ``"nested"``: a group is the combination of its own value and those before it (doughs
        in bakes). ``"within-first"``: the second and third grouping lie inside the first but
        cross each other (doughs and loads of a bake). ``"crossed"``: all cross (small data).
    level : float
        Of the intervals.

    Returns
    -------
    MixedFit

    Raises
    ------
    DataError, DesignError, NotFoundError
        The columns, the readings or the design do not allow the fit; the message says why.
    """
    from scipy import stats

    groups = [groups] if isinstance(groups, str) else list(groups)
    _check_arguments(groups, variance, structure, level)
    outcome, rhs = parse_formula(formula)
    variables = variables_of(rhs, map(str, frame.columns))
    if outcome in variables or outcome in groups:
        raise InputError("outcome", outcome, "must not also be a setting or a group")
    columns = [*groups, *(v for v in variables if v not in groups)]
    table = moments(frame, outcome, columns)
    design = make_design(rhs, table.cells, table.n)
    x, n = design.x, table.n
    constant = _constant(x)
    y = table.mean if constant is not None else table.mean + table.shift

    # Work in columns orthonormal over the pieces and with the least-squares fit taken off:
    # REML does not change, and no digits are lost to the columns' scales.
    root = np.sqrt(n)
    q, r = np.linalg.qr(x * root[:, None])
    start = np.linalg.solve(r, q.T @ (root * y))
    start += np.linalg.solve(r, q.T @ (root * (y - x @ start)))
    residual = y - x @ start
    unit = np.sqrt((np.dot(n, residual**2) + table.within_ss) / n.sum()) or 1.0
    xy = np.column_stack([q / root[:, None], residual / unit])

    numbers, outermost = _number_groups(table.cells, groups, structure)
    blocks = reml.make_blocks(xy, n, table.within_ss / unit**2, numbers, groups, outermost)
    below = may_go_below(xy[:, :-1], n, numbers, variance, structure)
    fit = reml.estimate(blocks, below)

    back = np.linalg.inv(r)
    estimate = reml.Estimate(
        variance=fit.variance * unit**2,
        beta=back @ fit.beta * unit,
        phi=back @ fit.phi @ back.T * unit**2,
        phi_adjusted=back @ fit.phi_adjusted @ back.T * unit**2,
        p_matrices=r.T @ fit.p_matrices @ r / unit**4,
        w=fit.w * unit**4,
        criterion=fit.criterion,
    )
    estimate = replace(estimate, beta=start + estimate.beta)
    shift, constant = (0.0, np.zeros(len(start))) if constant is None else (table.shift, constant)
    beta = estimate.beta + constant * shift
    df_left = blocks.n - blocks.rank
    criterion = fit.criterion + 2 * np.log(np.abs(np.diag(r))).sum() + 2 * df_left * np.log(unit)

    se = np.sqrt(np.diag(estimate.phi_adjusted))
    df = np.array([reml.single_df(estimate, e) for e in np.eye(len(beta))])
    t = beta / se
    half = stats.t.ppf((1 + level) / 2, df) * se
    coefficients = pd.DataFrame(
        {
            "estimate": beta,
            "se": se,
            "df": df,
            "t": t,
            "p": 2 * stats.t.sf(np.abs(t), df),
            "low": beta - half,
            "high": beta + half,
        },
        index=list(design.names),
    )
    return MixedFit(
        formula=formula,
        groups=tuple(groups),
        structure=structure,
        variance_rule=variance,
        n=blocks.n,
        rank=blocks.rank,
        rows_dropped=table.dropped,
        group_counts=dict(zip(groups, blocks.levels, strict=True)),
        coefficients=coefficients,
        variance=_variance_table(groups, estimate.variance),
        criterion=float(criterion),
        level=level,
        checks=_checks(table.dropped, design, groups, estimate),
        covariance=pd.DataFrame(
            estimate.phi_adjusted, index=list(design.names), columns=list(design.names)
        ),
        dropped_columns=design.dropped,
        design=design,
        _estimate=estimate,
        _beta=beta,
        _shift=shift,
        _constant=constant,
    )


def may_go_below(
    columns: Floats, n: Floats, numbers: Sequence[Integers], variance: str, structure: Structure
) -> list[bool]:
    """Which components may go below zero: with "free" all, with one exception.

    An outermost grouping that holds others stays at zero or above where it holds the settings
    unevenly (bakes of two doughs, four settings): differences between bakes that vary too
    little would count for too much. Where every bake holds every setting alike, or a setting
    belongs to whole bakes, nothing is weighed between and within bakes at once.

    Parameters
    ----------
    columns : float array, shape (C, p)
        Design columns, orthonormal over the pieces.
    n : float array, shape (C,)
    numbers : sequence of int arrays, shape (C,)
        The group of each cell, one array a grouping, outermost first.
    variance, structure : str
        As for `mixed`.

    Returns
    -------
    list of bool
        One a grouping.
    """
    may = [variance == "free"] * len(numbers)
    if variance == "free" and len(numbers) > 1 and structure != "crossed":
        size = np.bincount(numbers[0], weights=n)
        sums = np.column_stack([np.bincount(numbers[0], weights=n * c) for c in columns.T])
        between = sums.T @ (sums / size[:, None]) - np.outer(*[sums.sum(axis=0)] * 2) / n.sum()
        share = np.linalg.eigvalsh(between)
        may[0] = bool(np.minimum(share, 1 - share).max() <= EVEN_ENOUGH)
    return may


def _check_arguments(groups: Sequence[str], variance: str, structure: str, level: float) -> None:
    if len(groups) > 3:
        raise InputError("groups", list(groups), "must be at most three columns")
    if len(set(groups)) < len(groups):
        raise InputError("groups", list(groups), "must not repeat a column")
    if variance not in ("free", "floored"):
        raise InputError("variance", variance, "must be 'free' or 'floored'")
    if structure not in ("nested", "within-first", "crossed"):
        raise InputError("structure", structure, "must be 'nested', 'within-first' or 'crossed'")
    if not 0 < level < 1:
        raise InputError("level", level, "must lie between 0 and 1, for example 0.95")


def _number_groups(
    cells: pd.DataFrame, groups: Sequence[str], structure: Structure
) -> tuple[list[Integers], Integers | None]:
    """Number the groups of each grouping, and the independent blocks."""
    numbers = []
    for i, group in enumerate(groups):
        if structure == "nested":
            parts = list(groups[: i + 1])
        elif structure == "within-first" and i > 0:
            parts = [groups[0], group]
        else:
            parts = [group]
        keys = cells.groupby(parts, sort=False, observed=True).ngroup()
        numbers.append(keys.to_numpy(dtype=np.int64))
    if not groups or (structure == "crossed" and len(groups) > 1):
        return numbers, None
    return numbers, numbers[0]


def _constant(x: Floats) -> Floats | None:
    """Coefficients whose fitted values are all 1; None when the model has no constant."""
    exact = np.flatnonzero(np.all(x == 1, axis=0))
    if len(exact):
        first: Floats = np.eye(x.shape[1])[exact[0]]
        return first
    ones = np.ones(len(x))
    found: Floats = np.linalg.lstsq(x, ones, rcond=None)[0]
    return found if np.max(np.abs(x @ found - ones)) < 1e-9 else None


def _variance_table(groups: Sequence[str], variance: Floats) -> pd.DataFrame:
    shown = np.maximum(variance, 0.0)
    return pd.DataFrame(
        {"variance": shown, "sd": np.sqrt(shown), "share": shown / shown.sum()},
        index=pd.Index([*groups, "residual"], name="component"),
    )


def _checks(
    dropped: Sequence[Dropped], design: Design, groups: Sequence[str], estimate: reml.Estimate
) -> tuple[str, ...]:
    checks = [f"{d.rows} rows left out: {d.column} is missing" for d in dropped]
    checks += [
        f"no rows for {cell}: what is said about it cannot be known" for cell in design.empty
    ]
    if design.dropped:
        checks.append(f"not estimable and left out: {', '.join(design.dropped)}")
    for group, value in zip(groups, estimate.variance, strict=False):
        if value <= 0:
            checks.append(
                f"no difference between one {group} and the next was seen beyond what chance "
                f"between pieces explains; the {group} is kept as the unit all the same"
            )
    return tuple(checks)
