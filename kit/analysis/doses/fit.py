"""Straight line, curve and plateau: what a numeric factor does, fitted with the random groups.

Straight and curved (a quadratic) are ordinary regressions. The plateau rises or falls along a
straight line up to a break point and stays level beyond it. Between two neighbouring doses the
model with the break anywhere there, and a step left free, has always the same columns (the
dose up to the lower neighbour, and whether it lies beyond), so one fit an interval tells
everything: the break is where the line reaches the level, a ratio of two coefficients, with
Fieller's (1954, J R Stat Soc B 16:175) set as its interval. That set is the profile of
Kenward–Roger tests of "the break is here".
"""

import itertools
import math
from dataclasses import dataclass, replace
from functools import partial
from typing import Literal

import numpy as np
import pandas as pd

from kit import words
from kit.analysis.doses.data import Doses
from kit.analysis.doses.settings import DoseSet, critical, fieller
from kit.analysis.grouping.structure import MOST_SETTINGS, safe_name
from kit.analysis.mixed import MixedFit
from kit.analysis.moments import Floats
from kit.errors import DesignError, InputError

__all__ = [
    "Curve", "Shape", "curved", "lack_of_fit", "misfit", "plateau", "settings_means", "straight",
]  # fmt: skip

Shape = Literal["straight", "curved", "plateau"]
#: More different doses than this make the search for a break point long and its steps tiny.
MOST_DOSES = 60


@dataclass(frozen=True)
class Curve:
    """A fitted shape.

    Parameters
    ----------
    shape : {"straight", "curved", "plateau"}
    of : str
        The factor's `safe_name`.
    fit : MixedFit
    low, high : float
        Lowest and highest dose baked.
    break_at : float or None
        Where the plateau begins.
    break_set : DoseSet or None
        Where it may begin, from the second dose on.
    knot : float or None
        The dose at or below the break: where the columns of the plateau's fit part.
    wider : MixedFit or None
        The plateau's fit with the break left free, for the uncertainty where the break stands
        on a dose.
    """

    shape: Shape
    of: str
    fit: MixedFit
    low: float
    high: float
    break_at: float | None = None
    break_set: DoseSet | None = None
    knot: float | None = None
    wider: MixedFit | None = None

    @property
    def freedom(self) -> int:
        """In how many ways the curve can bend and tilt: what joint intervals must cover."""
        return 1 if self.shape == "straight" else 2

    @property
    def bend(self) -> float | None:
        """The p of a curve's bend."""
        if self.shape != "curved":
            return None
        return float(self.fit.coefficients["p"].loc[self.bend_name])

    @property
    def bend_name(self) -> str:
        """The curve's coefficient of the squared dose."""
        return next(str(n) for n in self.fit.coefficients.index if str(n).startswith("I("))

    def columns(self, frame: pd.DataFrame) -> dict[str, Floats]:
        """Columns that the fit needs besides those of the records."""
        return {} if self.knot is None else plateau_columns(frame, self.of, self.knot)

    def rows(self, doses: Floats, wide: bool = False) -> Floats:
        """Rows whose product with the coefficients is the mean at each dose, shape (r, p)."""
        fit = self.wider if wide and self.wider is not None else self.fit
        x = np.asarray(doses, dtype=float)
        own = {self.of: x}
        if self.shape == "curved":
            own[self.bend_name] = x**2
        elif self.break_at is not None and self.knot is not None:
            ramp, step = plateau_names(self.of, self.knot)
            level = x >= self.break_at
            own = {ramp: np.where(level, self.knot, x), step: level.astype(float)}
        names = list(fit.coefficients.index)
        # all else stands at its mean; only the dose's own columns change along the curve
        rows = np.repeat(fit.design.middle, len(x), axis=0)
        for name, column in own.items():
            if name in names:  # no step where the break stands on a dose
                rows[:, names.index(name)] = column
        return rows

    def heights(self, doses: Floats) -> pd.DataFrame:
        """``estimate, se, df`` of the mean at each dose."""
        return self._told(self.rows(doses), self.rows(doses, wide=True))

    def changes(self, doses: Floats, versus: Floats) -> pd.DataFrame:
        """``estimate, se, df`` of the mean at each dose minus that at the other one."""
        wide = self.rows(doses, wide=True) - self.rows(versus, wide=True)
        return self._told(self.rows(doses) - self.rows(versus), wide)

    def _told(self, plain: Floats, wide: Floats) -> pd.DataFrame:
        # a dose against itself, or two on the same level: no difference, for sure
        same = np.abs(plain).max(axis=1) == 0
        table = self.fit.linear(np.where(same[:, None], np.nan, plain)).to_numpy(copy=True)
        if self.wider is not None:
            sure = self.wider.linear(np.where(same[:, None], np.nan, wide)).to_numpy()
            table[:, 1:] = sure[:, 1:]
        none = np.isnan(table)
        table[none[:, 0], :2] = 0.0
        table[none[:, 2], 2] = np.nan if none[:, 2].all() else np.nanmin(table[:, 2])
        return pd.DataFrame(table, columns=["estimate", "se", "df"])


def straight(doses: Doses) -> Curve:
    """Fit a straight line."""
    return _curve(doses, "straight", doses.fit(doses.of[0]))


def curved(doses: Doses) -> Curve:
    """Fit a curve with one bend (a quadratic).

    Raises
    ------
    DesignError
        Fewer than three doses: two show no bend.
    """
    name = doses.of[0]
    if doses.frame[name].nunique() < 3:
        msg = (
            f"two doses of {words.name(name)} show no bend and no peak: any curve fits them. Bake "
            "at least one dose between them, best also one beyond."
        )
        raise DesignError(msg)
    return _curve(doses, "curved", doses.fit(name, f"I({name}**2)"))


def plateau(doses: Doses) -> Curve:
    """Fit a straight line up to a break point, level beyond it.

    Raises
    ------
    DesignError
        Fewer than three doses.
    InputError
        Too many different doses.
    """
    name = doses.of[0]
    x = doses.frame[name].to_numpy(dtype=float)
    different = np.unique(x)
    if len(different) < 3:
        msg = (
            f"two doses of {words.name(name)} cannot show where a plateau begins. Bake at least "
            "one dose between them, best two."
        )
        raise DesignError(msg)
    if len(different) > MOST_DOSES:
        rule = f"works with up to {MOST_DOSES} different doses, and there are {len(different)}"
        raise InputError("shape", "plateau", rule, f"Round {name} first.")
    line = replace(straight(doses), shape="plateau")  # no break inside the doses
    tried = [line]
    pieces = _no_break(doses, different[-1])
    for knot, after in itertools.pairwise(map(float, different[1:])):
        ramp, step = plateau_names(name, knot)
        columns = partial(plateau_columns, of=name, knot=knot)
        wider = doses.fit(ramp, step, columns=columns)
        on_dose = replace(line, fit=doses.fit(ramp, columns=columns), break_at=knot, knot=knot)
        tried.append(replace(on_dose, wider=wider))
        beta, delta = (float(wider.coefficients["estimate"].loc[c]) for c in (ramp, step))
        if beta != 0 and knot < knot + delta / beta < after:
            tried.append(replace(on_dose, fit=wider, break_at=knot + delta / beta))
        pieces += _breaks(wider, ramp, step).shifted(knot).within(knot, after).pieces
    best = min(tried, key=lambda curve: misfit(curve.fit))
    return replace(best, break_set=DoseSet.of(pieces))


def plateau_names(of: str, knot: float) -> tuple[str, str]:
    """Columns of the plateau's fit: the dose up to the knot, and whether it lies beyond.

    Examples
    --------
    >>> plateau_names("malt_percent", 0.4)
    ('malt_percent_up_to_0_4', 'malt_percent_beyond_0_4')
    """
    return safe_name(f"{of}_up_to_{knot:g}"), safe_name(f"{of}_beyond_{knot:g}")


def plateau_columns(frame: pd.DataFrame, of: str, knot: float) -> dict[str, Floats]:
    """The columns that `plateau_names` names."""
    x = frame[of].to_numpy(dtype=float)
    ramp, step = plateau_names(of, knot)
    return {ramp: np.minimum(x, knot), step: (x > knot).astype(float)}


def _breaks(wider: MixedFit, ramp: str, step: str) -> DoseSet:
    """How far beyond the knot the ramp may go on before it is level."""
    names = list(wider.coefficients.index)
    i, j = names.index(ramp), names.index(step)
    b, v = wider.coefficients["estimate"].to_numpy(), wider.covariance.to_numpy()
    df = float(wider.coefficients["df"].iloc[[i, j]].min())
    # the step left after a ramp that goes on by u is step − u·ramp: not sure to differ from 0?
    return fieller(b[j], -b[i], v[j, j], -v[i, j], v[i, i], critical(df, wider.level))


def _no_break(doses: Doses, last: float) -> list[tuple[float, float]]:
    """Whether a line that goes straight on to the last dose fits: the break is not below it."""
    name = doses.of[0]
    column = f"{name}_is_the_last"

    def at_last(cells: pd.DataFrame) -> dict[str, Floats]:
        return {column: (cells[name] == last).to_numpy().astype(float)}

    row = doses.fit(name, column, columns=at_last).coefficients.loc[column]
    return [(last, math.inf)] if row["low"] <= 0 <= row["high"] else []


def misfit(fit: MixedFit) -> float:
    """−2 log likelihood at the REML variances: comparable between shapes, less is better."""
    _, phi = np.linalg.slogdet(fit._estimate.phi)
    return fit.criterion + float(phi) + fit.rank * math.log(2 * math.pi)


def lack_of_fit(doses: Doses, curve: Curve) -> pd.Series | None:
    """Test the shape against the doses as settings: ``num_df, den_df, F, p``.

    Returns
    -------
    Series or None
        None where it cannot be tested: a dose for every bend, or doses hardly ever repeated.
    """
    levels = doses.frame[curve.of].nunique()
    if levels <= curve.freedom + 1 or levels > MOST_SETTINGS:
        return None
    own = list(curve.columns(doses.frame)) or [curve.of]
    if curve.shape == "curved":
        own.append(f"I({curve.of}**2)")
    settings = f"C({curve.of})"
    try:
        bent = doses.fit(*own, settings, columns=curve.columns)
    except DesignError:
        return None  # no doughs to spare
    test = bent.term(settings)
    return None if math.isnan(float(test["p"])) else test


def settings_means(doses: Doses) -> pd.DataFrame | None:
    """Mean of each dose taken as a setting of its own; None where that cannot be had."""
    name = doses.of[0]
    if doses.frame[name].nunique() > MOST_SETTINGS:
        return None
    try:
        return doses.fit(f"C({name})").means(name)
    except DesignError:
        return None  # each dose mixed once: its mean is known, its uncertainty is not


def _curve(doses: Doses, shape: Shape, fit: MixedFit) -> Curve:
    x = doses.frame[doses.of[0]]
    return Curve(shape, doses.of[0], fit, float(x.min()), float(x.max()))
