"""Linear regression with random bakes, doughs and loads, honest with few of them.

`mixed` fits by REML with Kenward–Roger standard errors and degrees of freedom. The work is done
on sums per distinct cell (`moments`), so ten million pieces cost little more than one pass over
the table.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Literal

import numpy as np
import pandas as pd

from kit.alike import Alike
from kit.analysis.asked import need_between, need_one_of
from kit.analysis.model import reml
from kit.analysis.model.kenward_roger import Estimate, each_df, f_test
from kit.analysis.model.matrix import Design, make_design, parse_formula, variables_of
from kit.analysis.model.scaled import Scaled, Structure, constant_of, may_go_below, number_groups
from kit.analysis.moments import Floats, Moments, moments
from kit.errors import DataError, InputError

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["MixedFit", "Structure", "fit_table", "mixed"]

_NOTHING = pd.Series({"num_df": 0.0, "den_df": np.nan, "F": np.nan, "p": np.nan})


@dataclass(frozen=True)
class MixedFit(Alike):
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
    level : float
        Of the intervals.
    checks : tuple of str
        What to know before trusting it.
    least_df, most_df : float
        The one is put where the approximation says less than 1, as at the lower edge of a spread;
        no more than the other is ever said.
    least_df_of_means : float
        What is put instead where something rests on the level common to all pieces.
    beside : tuple of str
        Terms whose own degrees of freedom are left as the approximation says.
    """

    formula: str
    groups: tuple[str, ...]
    structure: Structure
    variance_rule: str
    n: int
    rank: int
    rows_dropped: Mapping[str, int]
    group_counts: Mapping[str, int]
    level: float
    checks: tuple[str, ...]
    design: Design = field(repr=False)
    _estimate: Estimate = field(repr=False)
    _shift: float = field(repr=False)
    _constant: Floats = field(repr=False)
    _scaled: "Scaled" = field(repr=False)
    least_df: float = 0.0
    most_df: float = math.inf
    least_df_of_means: float = 0.0
    beside: tuple[str, ...] = ()

    @property
    def criterion(self) -> float:
        """REML criterion, −2 log restricted likelihood, with its constant."""
        return float(self._estimate.criterion)

    @cached_property
    def coefficients(self) -> pd.DataFrame:
        """By name ``estimate, se, df, t, p, low, high``: treatment coding, first level 0."""
        from scipy import special

        table = self.linear(np.eye(self.rank)).set_axis(pd.Index(self.design.names, name="name"))
        t = table["estimate"] / table["se"]
        half = special.stdtrit(table["df"], (1 + self.level) / 2) * table["se"]
        low, high = table["estimate"] - half, table["estimate"] + half
        return table.assign(t=t, p=2 * special.stdtr(table["df"], -t.abs()), low=low, high=high)

    @cached_property
    def variance(self) -> pd.DataFrame:
        """By component ``variance, sd, share``, never negative; the last row is "residual"."""
        shown = np.maximum(self._estimate.variance, 0.0)
        return pd.DataFrame(
            {"variance": shown, "sd": np.sqrt(shown), "share": shown / shown.sum()},
            index=pd.Index([*self.groups, "residual"], name="component"),
        )

    @cached_property
    def covariance(self) -> pd.DataFrame:
        """Of the coefficients, adjusted."""
        names = list(self.design.names)
        return pd.DataFrame(self._estimate.phi_adjusted, index=names, columns=names)

    @property
    def dropped_columns(self) -> tuple[str, ...]:
        """Coefficients left out because earlier columns already say the same."""
        return self.design.dropped

    @property
    def exact(self) -> bool:
        """Whether the settings explain everything, so that nothing is left to judge them by."""
        return self._scaled.exact

    @property
    def ratios(self) -> Floats:
        """Variance of each grouping in that of the pieces."""
        variance = self._estimate.variance
        ratios: Floats = variance[:-1] / variance[-1]
        return ratios

    @cached_property
    def terms(self) -> pd.DataFrame:
        """Marginal (type III) tests, Kenward–Roger: ``num_df, den_df, F, p`` by term."""
        rows = {name: self.term(name) for name in self.design.hypotheses}
        table = pd.DataFrame.from_dict(rows, orient="index", columns=list(_NOTHING.index))
        return table.rename_axis("term")

    def term(self, name: str) -> pd.Series:
        """One row of `terms`."""
        return self.test(self.design.hypotheses[name])

    def naive_p(self, term: str) -> float:
        """P of a term had every piece been an experiment of its own (least squares)."""
        from scipy import special

        contrasts, own = self.design.hypotheses[term], self._scaled
        q, df = len(contrasts), self.n - self.rank
        if not q:
            return np.nan
        value = contrasts @ own.start
        side = np.linalg.solve(own.r.T, contrasts.T)  # the covariance is side'side, times
        variance = own.unit**2 * self.n / df
        f = value @ np.linalg.solve(side.T @ side, value) / q / variance
        return float(special.fdtrc(q, df, f))

    def test(self, contrasts: Floats) -> pd.Series:
        """Kenward–Roger F test that every row of ``contrasts @ coefficients`` is zero.

        Parameters
        ----------
        contrasts : float array, shape (r, p) or (p,)

        Returns
        -------
        Series
            ``num_df, den_df, F, p``; NaN where there is nothing to test.

        Raises
        ------
        InputError
            Not as many columns as the design has.
        """
        from scipy import special

        if not len(contrasts):
            return _NOTHING
        rows = np.atleast_2d(np.asarray(contrasts, dtype=float))
        if rows.shape[1] != self.rank:
            raise InputError("contrasts", rows.shape, f"must have {self.rank} columns")
        # a level common to all pieces (up to 1e9) cancels exactly, not by rounding
        beta = self._estimate.beta
        if self._constant_in(rows).any():
            beta = beta + self._constant * self._shift
        num, den, f = f_test(self._estimate, beta, rows)
        den = float(self._enough(np.array(den), rows).min())
        p = float(special.fdtrc(num, den, f))
        return pd.Series({"num_df": num, "den_df": den, "F": f, "p": p})

    def linear(self, rows: Floats) -> pd.DataFrame:
        """Of ``rows @ coefficients``: ``estimate, se, df``, one row each.

        `rows` has shape (r, p); rows of NaN stay NaN.
        """
        result = np.full((len(rows), 3), np.nan)
        known = np.isfinite(rows).all(axis=1)
        good, fit = rows[known], self._estimate
        result[known, 0] = good @ fit.beta + self._shift * self._constant_in(good)
        result[known, 1] = np.sqrt(np.maximum(((good @ fit.phi_adjusted) * good).sum(axis=1), 0.0))
        result[known, 2] = self._enough(each_df(fit, good), good)
        return pd.DataFrame(result, columns=["estimate", "se", "df"])

    def _enough(self, df: Floats, rows: Floats) -> Floats:
        # how well a mean is known is known from the bakes, a difference within them from its units
        floor = np.where(self._constant_in(rows) == 0, self.least_df, self.least_df_of_means)
        held = [name.split("[")[0] in self.beside for name in self.design.names]
        least = 1e-9 * np.abs(rows).max(axis=1, keepdims=True)
        floor = np.where((np.abs(rows[:, held]) > least).any(axis=1), 0.0, floor)
        return np.minimum(np.where(df < 1, np.maximum(df, floor), df), self.most_df)

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
        return self.coefficients.reset_index()

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
        ``"rise_height_mm ~ C(malt_percent)"``: the outcome's column, then formulaic's terms.
    groups : sequence of str
        Up to five columns, outermost first; without any it is least squares.
    variance : {"free", "floored"}
        ``"floored"`` holds every variance component at zero or above, as most software does.
        ``"free"`` lets an estimate go below zero (not that of bakes that hold the settings
        unevenly), which keeps tests at their level with few doughs; what is reported is never
        negative.
    structure : {"nested", "within-first", "crossed"}
        ``"nested"``: a group is the combination of its own value and those before it (doughs
        in bakes). ``"within-first"``: the other groupings lie inside the first but cross
        each other (doughs and loads of a bake). ``"crossed"``: all cross (small data).
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
    groups = [groups] if isinstance(groups, str) else list(groups)
    _check_arguments(groups, variance, structure, level)
    outcome, rhs = parse_formula(formula)
    variables = variables_of(rhs, map(str, frame.columns))
    if outcome in variables or outcome in groups:
        raise InputError("outcome", outcome, "must not also be a setting or a group")
    table = moments(frame, outcome, [*groups, *(v for v in variables if v not in groups)])
    return fit_table(table, formula, groups, variance, structure, level)


def fit_table(
    table: Moments,
    formula: str,
    groups: Sequence[str],
    variance: Literal["free", "floored"] = "free",
    structure: Structure = "nested",
    level: float = 0.95,
    start: Floats | None = None,
) -> MixedFit:
    """Regress on sums made before, as `mixed` does on pieces.

    Parameters
    ----------
    table : Moments
        Its cells hold the groups and every variable of the formula.
    start : float array, shape (K,), optional
        Variances of the groupings in that of the pieces, from where to look as well.
    """
    _, rhs = parse_formula(formula)
    variables = variables_of(rhs, map(str, table.cells.columns))
    design = make_design(rhs, table.cells[variables], table.n)
    constant = constant_of(design.x)
    shift = table.shift if constant.any() else 0.0
    numbers, outermost = number_groups(table.cells, groups, structure)
    scaled = Scaled.of(design.x, table.mean + (table.shift - shift), table.n, table.within_ss)
    if groups and scaled.exact:
        raise DataError(reml.NO_SPREAD)
    blocks = scaled.blocks(numbers, groups, outermost)
    below = may_go_below(scaled.columns, table.n, numbers, variance, structure)
    estimate = scaled.restored(reml.estimate(blocks, below, start))
    return MixedFit(
        formula=formula,
        groups=tuple(groups),
        structure=structure,
        variance_rule=variance,
        n=table.total,
        rank=blocks.rank,
        rows_dropped=table.dropped,
        group_counts=dict(zip(groups, blocks.levels, strict=True)),
        level=level,
        checks=_checks(table.dropped, design, groups, estimate),
        design=design,
        _estimate=estimate,
        _shift=shift,
        _constant=constant,
        _scaled=scaled,
    )


def _check_arguments(groups: Sequence[str], variance: str, structure: str, level: float) -> None:
    if len(groups) > 5:
        raise InputError("groups", list(groups), "must be at most five columns")
    if len(set(groups)) < len(groups):
        raise InputError("groups", list(groups), "must not repeat a column")
    need_one_of("variance", variance, ("free", "floored"))
    need_one_of("structure", structure, ("nested", "within-first", "crossed"))
    need_between("level", level, 0, 1, "Write 0.95 for 95 %.")


def _checks(
    dropped: Mapping[str, int], design: Design, groups: Sequence[str], estimate: Estimate
) -> tuple[str, ...]:
    checks = [f"{rows} rows left out: {column} is missing" for column, rows in dropped.items()]
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
