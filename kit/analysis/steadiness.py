"""Where the spread comes from when nothing is changed on purpose: bake, dough, load, place, piece.

Which of them is worth working on, and what a trial must be judged against.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np
import pandas as pd

from kit.analysis import steadiness_words, words
from kit.analysis.components import POINTS, Surrogates, interval, sources, spread_of
from kit.analysis.mixed import MixedFit
from kit.analysis.moments import Floats
from kit.analysis.spread_records import (
    SpreadRecords,
    away_from_mean,
    fit_spread,
    measuring_variance,
    read_spread,
)
from kit.errors import DesignError
from kit.shown import Judged

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["Steadiness", "steadiness"]

#: Fewer groups than this tell little about how much groups differ.
FEW = 5


@dataclass(frozen=True)
class Steadiness(Judged):
    """Sources of spread, each with its size, its share and how well it is known.

    Parameters
    ----------
    outcome : str
    components : DataFrame
        One row a source, outermost first: ``component, sd, low, high, variance, share,
        share_low, share_high, groups``. Shares are of the squared spread, since only squares
        add up. ``groups`` counts the bakes, doughs …, 0 where a known uncertainty was given.
    total : Series
        ``sd, low, high`` of a single reading of a piece of any bake.
    largest : str
        The source with the largest share.
    sure : float
        Share of the surrogate values in which that source is indeed the largest.
    factors : tuple of str
        What was changed on purpose and taken out first.
    counts : mapping
        Bakes, doughs, pieces.
    level : float
        Of the intervals.
    checks : tuple of str
    fit : MixedFit
    """

    outcome: str
    components: pd.DataFrame
    total: pd.Series
    largest: str
    sure: float
    factors: tuple[str, ...]
    counts: Mapping[str, int]
    level: float
    checks: tuple[str, ...]
    fit: MixedFit = field(repr=False)
    _words: ClassVar[Any] = steadiness_words

    def of(self, component: str) -> pd.Series:
        """One row of `components`."""
        return self.components[self.components["component"] == component].iloc[0]

    def __repr__(self) -> str:
        parts = ", ".join(
            f"{row.component} {row.sd:.3g}" for row in self.components.itertuples(index=False)
        )
        return f"<Steadiness {self.outcome}: {parts}>"

    def to_frame(self) -> pd.DataFrame:
        """The sources, one tidy row each, and last "all" of them together."""
        everything = {"component": "all", "variance": self.total["sd"] ** 2, **self.total}
        return pd.concat([self.components, pd.DataFrame([everything])], ignore_index=True)

    def plot(self, ax: "Axes | None" = None) -> "Axes":
        """Draw the sources as bars with intervals."""
        from kit import charts

        return charts.steadiness(self, ax)


def steadiness(
    frame: pd.DataFrame,
    outcome: str,
    factors: Sequence[str] = (),
    dough: str | None = "dough",
    bake: str | None = "bake",
    load: str | None = None,
    place: str | None = None,
    piece: str | None = None,
    measuring: float | None = None,
    level: float = 0.95,
    mixing: str | None = None,
) -> Steadiness:
    """Say where the spread of an outcome comes from.

    Components by REML with bake, dough and load random (`kit.analysis.mixed`); their intervals
    by surrogate values (`kit.analysis.components`). Places are the same ones every time, so
    their means are fixed and their component is the variance of these means about their own
    mean, Σ(mean_i − mean)²/(places − 1), with an interval from the noncentral F distribution.

    Parameters
    ----------
    frame : DataFrame
        One row a piece; one row a reading where pieces were measured more than once.
    outcome : str
    factors : sequence of str
        What was changed on purpose; its effect is taken out first.
    dough, bake, load, place : str, optional
        Columns that say what belongs together. Places must be named alike on every bake.
    piece : str, optional
        Column that names the pieces, where some were measured more than once: the spread of
        repeated readings is then told apart as measuring.
    measuring : float, optional
        Known standard uncertainty of one reading, in the outcome's unit, instead of repeats.
    level : float
        Of the intervals.
    mixing : str, optional
        Column that says which doughs of a bake were mixed in one go; may be one of the factors.

    Returns
    -------
    Steadiness

    Raises
    ------
    NotFoundError, InputError, DataError, DesignError
        A column or value that cannot be used, or too few doughs or pieces.

    Examples
    --------
    >>> heights = pd.DataFrame({
    ...     "bake": [1] * 4 + [2] * 4 + [3] * 4, "dough": list("aabbccddeeff"),
    ...     "rise_height_mm": [27.9, 28.3, 30.6, 30.2, 26.4, 26.8, 28.9, 29.3, 31, 31.3, 28.2, 28],
    ... })
    >>> steadiness(heights, "rise_height_mm")
    <Steadiness rise_height_mm: bake 0, dough 1.86, piece 0.253>
    """
    factors = [factors] if isinstance(factors, str) else list(factors)
    columns = {
        "bake": bake, "mixing": mixing, "dough": dough, "load": load, "place": place,
        "piece": piece,
    }  # fmt: skip
    records = read_spread(frame, outcome, factors, columns)
    reading = measuring_variance(records, measuring, outcome)
    fit, notes = fit_spread(records, level)
    if records.counts.get("place", 0) > 1:
        try:
            away_from_mean(fit, factors)
        except DesignError as exc:  # the rest is told all the same
            records = read_spread(frame, outcome, factors, {**columns, "place": None})
            fit, notes = fit_spread(records, level)
            notes += (str(exc).rstrip("."),)
    estimates, drawn = _sources(records, fit, reading)
    shares = np.maximum(np.column_stack(list(drawn.values())), 0.0)
    total = shares.sum(axis=1)
    estimate = np.maximum(np.array(list(estimates.values())), 0.0)
    components = sources(list(estimates), estimate, shares, level)
    components["groups"] = [_groups_of(records, name) for name in estimates]
    top = int(estimate.argmax())
    low, high = np.sqrt(interval(total, level))
    return Steadiness(
        outcome=outcome,
        components=components,
        total=pd.Series({"sd": np.sqrt(estimate.sum()), "low": low, "high": high}),
        largest=str(components["component"].iloc[top]),
        sure=float((shares.argmax(axis=1) == top).mean()),
        factors=tuple(factors),
        counts=records.counts,
        level=level,
        checks=(*records.notes, *notes, *_cautions(components, records, reading)),
        fit=fit,
    )


def _sources(
    records: SpreadRecords, fit: MixedFit, reading: float
) -> tuple[dict[str, float], dict[str, Floats]]:
    """Estimated variance and surrogates of every source, outermost first."""
    drawn = Surrogates(fit, more=2)
    innermost = "piece" if "dough" in fit.groups or records.counts["dough"] == 1 else "dough"
    names = [*fit.groups, innermost]
    estimates = dict(zip(names, map(float, drawn.estimate), strict=True))
    values = dict(zip(names, drawn.values.T, strict=True))
    if records.counts.get("place", 0) > 1:
        last = estimates.pop(innermost), values.pop(innermost)
        estimates["place"], values["place"] = _places(fit, drawn.even[:, 0])
        estimates[innermost], values[innermost] = last
    if np.isfinite(reading):
        repeats = records.repeats
        drawn_reading = np.full(POINTS, reading)
        if repeats is not None:
            drawn_reading = spread_of(reading, repeats.df, drawn.even[:, 1])
        each = 1.0 if repeats is None else repeats.each
        estimates[innermost] -= reading / each
        values[innermost] = values[innermost] - drawn_reading / each
        estimates["measuring"], values["measuring"] = reading, drawn_reading
    return estimates, values


def _places(fit: MixedFit, even: Floats) -> tuple[float, Floats]:
    """Variance of the places' means about their mean, and its surrogates.

    With F the test of the places, Σ(difference²) is its noncentrality times the variance of one
    difference. The surrogates are the noncentralities at which F would be passed with the
    chances `even` (a confidence distribution).
    """
    from scipy import stats

    rows = away_from_mean(fit, ())
    table = fit.linear(rows)
    count = len(rows)
    each = float((table["se"] ** 2).sum()) / (count - 1)
    estimate = float((table["estimate"] ** 2).sum()) / (count - 1) - each
    test = fit.test(rows)
    df, f = float(test["num_df"]), float(test["F"])
    most = df * f + 8 * np.sqrt(2 * df * (df + 2 * df * f)) + 40
    grid = most * np.linspace(0, 1, 200) ** 2
    chance = stats.ncf.cdf(f, df, float(test["den_df"]), np.maximum(grid, 1e-10))
    found: Floats = np.interp(1 - even, 1 - chance, grid)
    return estimate, found * each / df


def _groups_of(records: SpreadRecords, name: str) -> int:
    if name == "measuring":
        return 0 if records.repeats is None else records.repeats.df
    return records.counts[name]


def _cautions(components: pd.DataFrame, records: SpreadRecords, reading: float) -> list[str]:
    notes = []
    for name, count in zip(components["component"], components["groups"], strict=True):
        if name not in ("piece", "measuring", "place") and count < FEW:
            notes.append(
                f"the spread from {name} to {name} is known from {words.plural(count, name)} "
                "only: the interval is honest but wide"
            )
    if np.isnan(reading):
        notes.append(
            "what is called piece holds the measuring as well: measure some pieces twice, or "
            "state the uncertainty of a reading, to tell them apart"
        )
    elif components["sd"].iloc[-2] == 0:
        inner = components["component"].iloc[-2]
        notes.append(
            f"{inner}s differ no more than measuring them again would explain; if the stated or "
            "repeated readings were taken with more care than usual, this is too hopeful"
        )
    return notes
