"""Where the spread comes from when nothing is changed on purpose: bake, dough, load, place, piece.

Which of them is worth working on, and what a trial must be judged against. What to do next is
common practice, no source.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from kit import words
from kit.analysis.mixed import MixedFit
from kit.analysis.moments import Floats
from kit.analysis.steady.components import POINTS, Surrogates, interval, sources, spread_of
from kit.analysis.steady.spread_records import (
    SpreadRecords,
    away_from_mean,
    fit_spread,
    measuring_variance,
    read_spread,
)
from kit.errors import DesignError
from kit.shown import Telling, Told

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["Steadiness", "baked", "steadiness"]

#: Fewer groups than this tell little about how much groups differ.
FEW = 5
FROM = {
    "bake": "from bake to bake",
    "mixing": "from mixing to mixing (doughs mixed in one go)",
    "dough": "from dough to dough",
    "load": "from load to load",
    "place": "from place to place on the griddle",
    "piece": "from piece to piece of one dough",
    "measuring": "from measuring",
}
#: From this chance on it is said without "seems".
SURE = 0.95
_NEXT = {
    "bake": (
        "compare settings within one bake, all of them on every bake, so that the day cannot "
        "favour one; note the room's temperature and the lots of flour and yeast, and look at "
        "whether the bakes follow them"
    ),
    "mixing": (
        "keep the hour of mixing, the dough's temperature and the way into the refrigerator alike; "
        "for what differs between mixings, bake on more days rather than more doughs of each"
    ),
    "dough": (
        "weigh to the gram, and keep the dough's temperature, mixing and times alike; in a trial "
        "mix more doughs rather than more pieces of each, which cannot make up for it"
    ),
    "load": (
        "measure the griddle before each load (with a probe: it burns) and write down how long "
        "the pieces waited; in a trial put every setting on every load"
    ),
    "place": (
        "map the griddle to see which places differ, and in a trial let every setting lie on "
        "every place"
    ),
    "piece": (
        "divide by weight, shape alike and proof together; in a trial a few more pieces a dough "
        "help a little"
    ),
    "measuring": (
        "measure each piece twice, apart, and take the mean, or find a surer way to measure: the "
        "baking is steadier than the readings"
    ),
}


@dataclass(frozen=True)
class Steadiness(Told):
    """Sources of spread, each with its size, its share and how well it is known.

    Parameters
    ----------
    outcome : str
    components : DataFrame
        One row a source, outermost first: ``component, sd, low, high, variance, share,
        share_low, share_high, groups``. Shares are of the squared spread, since only squares
        add up. ``groups`` counts the bakes, doughs …, 0 where a known uncertainty was given.
    total : Series
        ``sd, low, high`` of a single reading of a piece of any bake: the root of all `variance`
        together, and the interval of their sum with those below zero as they are, neither end
        below that of a part and the upper one not below ``sd``.
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

    def of(self, component: str) -> pd.Series:
        """One row of `components`."""
        return self.components[self.components["component"] == component].iloc[0]

    @property
    def headline(self) -> str:
        """The largest source, as surely as it is known."""
        most = float(self.of(self.largest)["share_low"]) >= 0.5
        how_much = "Most" if most else "The largest part"
        verb = "is" if self.sure >= SURE else "seems to be"
        return (
            f"{how_much} of the spread in {words.name(self.outcome)} {verb} {FROM[self.largest]}."
        )

    @property
    def sentence(self) -> str:
        """Every source with its standard deviation, interval and share."""
        table = self.components.sort_values("share", ascending=False, kind="stable")
        unit = words.unit_of(self.outcome)
        told = []
        for row in table.to_dict("records"):
            width = (row["high"] - row["low"]) / 2
            if row["sd"] == 0:
                most = words.number(row["high"], width, unit)
                told.append(f"{FROM[row['component']]} none was seen (it may be up to {most})")
                continue
            span = f"({words.number(row['low'], width)} to {words.number(row['high'], width)})"
            if width == 0:
                span = "(as stated)"
            told.append(
                f"{FROM[row['component']]} {words.number(row['sd'], width, unit)} {span}, "
                f"{100 * row['share']:.0f} % of it"
            )
        half = (self.total["high"] - self.total["low"]) / 2
        text = "; ".join(told)
        low, high = (words.number(self.total[end], half) for end in ("low", "high"))
        total = f"{words.number(self.total['sd'], half, unit)} ({low} to {high})"
        text = f"Typical differences from the mean: {text}. All together: {total}."
        if self.sure < SURE:
            text += (
                f" That the largest source is {FROM[self.largest]} is not sure yet "
                f"(about {10 * self.sure:.0f} in 10)."
            )
        return text

    @property
    def rests_on(self) -> str:
        """How much baking stands behind it."""
        if not self.factors:
            return baked(self.counts)
        factors = words.join(map(words.name, self.factors))
        return f"{baked(self.counts)} What {factors} did was taken out first."

    @property
    def next_step(self) -> str:
        """What to do about the largest source."""
        text = f"Next: {_NEXT[self.largest]}."
        if self.sure < SURE:
            text += (
                " A few more bakes of the same recipe would show whether that is the place to work."
            )
        return text

    @property
    def method(self) -> str:
        """Model and intervals, for a statistician."""
        fit = self.fit
        random = f"random {words.join(fit.groups)}" if fit.groups else "no random groups"
        text = (
            f"For the statistician: {fit.formula}, {random} ({fit.structure}) by REML, components "
            "may end below zero and are shown as zero; sizes are standard deviations, shares are "
            f"of variance; {100 * self.level:.0f} % intervals by surrogate values for mean squares "
            "(Weerahandi 1993; Chiang 2001), of all together by those of the sum with components "
            "below zero as they are, neither end below that of a component or the upper below the "
            "estimate"
        )
        if "place" in set(self.components["component"]):
            text += "; places fixed, their interval from the noncentral F distribution"
        return f"{text}."

    def tells(self) -> Telling:
        """What it says."""
        texts = (self.sentence, self.rests_on, self.next_step)
        return Telling(self.headline, texts, self.checks, self.method)

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


def baked(counts: Mapping[str, int]) -> str:
    """How many bakes, doughs and pieces it rests on."""
    kinds = [k for k in ("bake", "dough", "piece") if counts[k]]
    return f"It rests on {words.join(words.plural(counts[k], k) for k in kinds)}."


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
    by surrogate values (`kit.analysis.steady.components`). Places are the same ones every time, so
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
    values = np.column_stack(list(drawn.values()))
    estimate = np.maximum(np.array(list(estimates.values())), 0.0)
    components = sources(list(estimates), estimate, values, level)
    components["groups"] = [_groups_of(records, name) for name in estimates]
    top = int(estimate.argmax())
    # a source below zero takes back what chance gave another; yet the whole is no less than a part
    sd = np.sqrt(estimate.sum())
    low, high = np.sqrt(interval(np.maximum(values.sum(axis=1), 0.0), level))
    low, high = max(low, *components["low"]), max(high, sd, *components["high"])
    return Steadiness(
        outcome=outcome,
        components=components,
        total=pd.Series({"sd": sd, "low": low, "high": high}),
        largest=str(components["component"].iloc[top]),
        sure=float((values.argmax(axis=1) == top).mean()),
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
            f"what is called {components['component'].iloc[-1]} holds the measuring as well: "
            "measure some pieces twice, or state the uncertainty of a reading, to tell them apart"
        )
    elif components["sd"].iloc[-2] == 0:
        inner = components["component"].iloc[-2]
        notes.append(
            f"{inner}s differ no more than measuring them again would explain; if the stated or "
            "repeated readings were taken with more care than usual, this is too hopeful"
        )
    return notes
