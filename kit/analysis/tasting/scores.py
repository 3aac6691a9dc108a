"""Scores on an ordered scale: which muffin is scored higher, by tasters who each use it their way.

Only the order of the scores counts: nothing says that from 2 to 3 is as far as from 7 to 8. The
size of a difference is the chance that one taster scores one muffin above the other (a tie counts
half). Two things stand behind an answer: an exact test that shuffles each taster's own scores
(`shuffles`), which holds its level whatever the scores, and the interval of a cumulative logit
model with tasters as random (`ordinal`).
"""

import math
from dataclasses import dataclass
from itertools import combinations, product
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from kit import words
from kit.analysis.asked import need_between
from kit.analysis.tasting.answered import NOT_LIKING, Answered
from kit.analysis.tasting.ordinal import FAR, Fit, chance_higher, fit, limit
from kit.analysis.tasting.read import table
from kit.analysis.tasting.shuffles import chance_of_spread
from kit.analysis.verdict import Answer, decide
from kit.errors import DataError
from kit.shown import percent, span

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["Scores", "scores"]

#: What would be missed is told for a chance of 8 in 10 to notice it.
_OFTEN = 0.8
#: A pair that surely differs.
_APART = (Answer.MATTERS.value, Answer.SMALL.value)


@dataclass(frozen=True)
class Scores(Answered):
    """What the scores say.

    Parameters
    ----------
    table : DataFrame
        One row a taster, one column a sample; the mean where a taster had it several times.
    means : DataFrame
        ``sample, mean, median, tasters``.
    pairs : DataFrame
        ``higher, lower, log_odds, low, high, chance, chance_low, chance_high, answer``: chance
        that a taster scores `higher` above `lower`; intervals jointly protected (Bonferroni).
    model : Fit
    p : float
        Chance of such a spread where nobody can tell.
    exact : bool
        Whether all orders were counted for it.
    matters : float or None
        Smallest chance of scoring higher that the baker cares about, above 0.5.
    level : float
        Of the intervals.
    reachable : bool
        Whether any scores of so few tasters could be enough.
    missed : float
        Chance of scoring higher that a panel like this would have noticed 8 times in 10; NaN where
        even the plainest is not noticed as often.
    answer : Answer
        About the two that are furthest apart.
    checks : tuple of str
    """

    table: pd.DataFrame
    means: pd.DataFrame
    pairs: pd.DataFrame
    model: Fit
    p: float
    exact: bool
    matters: float | None
    level: float
    reachable: bool
    missed: float
    answer: Answer
    checks: tuple[str, ...]

    @property
    def leading(self) -> Any:
        """The row of `pairs` that is furthest apart."""
        return self.pairs.iloc[0]

    @property
    def tasters(self) -> int:
        """People."""
        return len(self.table)

    @property
    def told(self) -> bool:
        """Whether the samples are surely not all alike."""
        return self.p <= 1 - self.level

    @property
    def headline(self) -> str:
        """The answer in a few words."""
        if self.answer is Answer.NONE:
            return "No difference that matters."
        if self.answer is Answer.UNCLEAR:
            if not self.told:
                return "Cannot tell yet."
            one = "it may be small" if len(self.pairs) == 1 else "no two of them surely"
            enough = "cannot tell yet whether enough to matter"
            return f"The tasters scored them apart, but {one if self.matters is None else enough}."
        tail = ", but too little to matter" if self.answer is Answer.SMALL else ""
        return f"The tasters scored {self.leading['higher']} higher{tail}."

    @property
    def sentence(self) -> str:
        """What was found about the two furthest apart."""
        lead, mean = self.leading, self.means.set_index("sample")["mean"]
        one, two = lead["higher"], lead["lower"]
        text = (
            f"Mean score {mean[one]:.1f} for {one}, {mean[two]:.1f} for {two}. By these, a taster "
            f"scores {one} above {two} {percent(lead['chance'])} of the time (50 % is no "
            f"difference); the scores fit {span(lead['chance_low'], lead['chance_high'])}"
        )
        if self.matters is not None:
            text += f", and {percent(self.matters)} is what matters"
        if len(self.pairs) == 1:
            return f"{text}."
        apart = int(self.pairs["answer"].isin(_APART).sum())
        return f"{text}. Of {len(self.pairs)} pairs looked at, {apart} surely differ."

    @property
    def could_miss(self) -> str:
        """What a panel like this would likely have missed."""
        people = f"With {words.plural(self.tasters, 'taster')}"
        if not self.reachable:
            return f"{people} no scores could have been enough."
        if math.isnan(self.missed) or self.missed > 0.995:
            return f"{people} all but the plainest difference would likely be missed."
        return (
            f"{people} a difference would likely be missed unless a taster scores one above the "
            f"other more than {percent(self.missed)} of the time."
        )

    @property
    def next_step(self) -> str:
        """What to do next."""
        if self.question and self.answer is not Answer.UNCLEAR:
            return NOT_LIKING
        if self.answer is Answer.MATTERS:
            return f"Next: {self.leading['higher']} it is, unless cost or effort says otherwise."
        if self.answer in (Answer.SMALL, Answer.NONE):
            return "Next: choose by cost or convenience; for the taste they are alike."
        if self.table.shape[1] == 2:
            return "Next: ask more people."
        return "Next: ask more people; or put fewer muffins before them, best two as a pair."

    @property
    def statistics(self) -> str:
        """Model, test and sources, for a statistician."""
        lead = self.leading
        how = "all orders counted" if self.exact else "19 999 orders drawn"
        near, far = (
            "without limit" if math.isinf(lead[end]) else words.minus(f"{lead[end]:.2f}")
            for end in ("low", "high")
        )
        many = f", Bonferroni over {len(self.pairs)} pairs" if len(self.pairs) > 1 else ""
        return (
            f"For the statistician: randomisation test within tasters, {how}, p = {self.p:.2g}. "
            f"Cumulative logit (McCullagh 1980), random taster, sd {self.model.sd:.2f}, adaptive "
            f"Gauss–Hermite: log odds {lead['log_odds']:.2f} ({near} to {far}), profile likelihood "
            f"at {percent(self.level)}{many}."
        )

    def __repr__(self) -> str:
        return (
            f"<Scores of {self.table.shape[1]} by {self.tasters} tasters: p = {self.p:.2g}, "
            f"{self.answer.value}>"
        )

    def to_frame(self) -> pd.DataFrame:
        """Every number told or drawn, one row each.

        ``kind`` is "pair" (``sample`` above ``versus``: chance), "mean" or "score" (of a taster).
        """
        pairs = self.pairs.rename(columns={"higher": "sample", "lower": "versus"})
        pairs = pairs.assign(kind="pair", estimate=pairs["chance"], low=pairs["chance_low"])
        pairs["high"] = pairs["chance_high"]
        single = self.table.rename_axis("taster").reset_index().melt(
            "taster", var_name="sample", value_name="estimate"
        )  # fmt: skip
        parts = [
            pairs,
            self.means.rename(columns={"mean": "estimate"}).assign(kind="mean"),
            single.dropna(subset="estimate").assign(kind="score"),
        ]
        columns = ["kind", "sample", "versus", "taster", "estimate", "low", "high", "answer"]
        return pd.concat(parts, ignore_index=True).reindex(columns=columns)

    def plot(self, ax: "Axes | None" = None) -> "Axes":
        """Draw every taster's scores, one line a taster, and the means."""
        from kit import charts

        return charts.taster_lines(self, ax)


def scores(
    frame: pd.DataFrame, score: str = "score", matters: float | None = None, level: float = 0.95,
    seed: int = 1,
) -> Scores:  # fmt: skip
    """Judge scores on an ordered scale, such as 1 dislike extremely to 9 like extremely.

    Parameters
    ----------
    frame : DataFrame
        One row a ``taster`` and ``sample``. Where one taster scored a sample several times, her
        mean counts: she stays one taster.
    score : str
        Column of the scores; larger ones are higher.
    matters : float, optional
        Smallest chance of scoring one higher that you care about, between 0.5 and 1, such as 0.7.
    level : float
        Of the intervals; 1 − level is the largest chance of a false alarm.
    seed : int
        Of the shuffles, where there are too many to count.

    Returns
    -------
    Scores

    Raises
    ------
    DataError, InputError, NotFoundError
        Too few samples or tasters, all scores alike, a column that is not there.

    Notes
    -----
    Intervals are of the profile likelihood; its fall is judged by Student's t with tasters − 1
    degrees of freedom, as few tasters need: with normal quantiles, 6 to 12 tasters would be
    trusted too much.

    Examples
    --------
    >>> liked = pd.DataFrame({"taster": list("IIJJKKLLMMNN"), "sample": ["old", "new"] * 6,
    ...                       "score": [5, 7, 4, 6, 6, 7, 3, 6, 5, 8, 6, 8]})
    >>> answer = scores(liked)
    >>> print(answer.headline, answer.p)
    The tasters scored new higher. 0.03125
    """
    need_between("level", level, 0.5, 1, "Write 0.95.")
    if matters is not None:
        remedy = "Write 0.7: a taster scores it higher 7 times in 10."
        need_between("matters", matters, 0.5, 1, remedy)
    wide = table(frame, score)
    # who scored one sample only says nothing about differences within a taster
    wide = wide[wide.notna().sum(axis=1) >= 2].dropna(axis=1, how="all")
    if len(wide) < 2:
        few = words.plural(len(wide), "taster")
        msg = f"{few} scored two samples or more: at least two tasters are needed."
        raise DataError(msg)
    names = list(wide.columns)
    marks = wide.to_numpy(dtype=float)
    who, x = np.nonzero(~np.isnan(marks))
    values, y = np.unique(marks[who, x].round(9), return_inverse=True)
    if len(values) < 2:
        msg = f"every score is {values[0]:g}: nothing can be told apart."
        raise DataError(msg)
    p, exact = chance_of_spread(marks, seed)
    pairs, model, missed = _pairs(y.astype(np.int64), x, who, names, level, matters)
    # orders that differ only in which sample is which are as far apart
    reachable = math.factorial(len(names)) ** (1 - len(wide)) <= 1 - level
    if len(names) == 2:
        missed = _noticed(model, len(wide), 1 - level, seed) if reachable else math.nan
    if p > 1 - level:
        pairs.loc[pairs["answer"].isin(_APART), "answer"] = Answer.UNCLEAR.value
    means = pd.DataFrame(
        {
            "sample": names, "mean": wide.mean().to_numpy(), "median": wide.median().to_numpy(),
            "tasters": wide.notna().sum().to_numpy(),
        }
    )  # fmt: skip
    return Scores(
        wide, means, pairs, model, p, exact, matters, level, reachable, missed,
        Answer(pairs["answer"].iloc[0]), _checks(frame, wide, model, pairs),
    )  # fmt: skip


def _checks(
    frame: pd.DataFrame, wide: pd.DataFrame, model: Fit, pairs: pd.DataFrame
) -> tuple[str, ...]:
    """What to know before trusting it."""
    said = []
    if frame.dropna().duplicated(["taster", "sample"]).any():
        said.append(
            "one person's repeats are not more people: a taster's scores of one sample were "
            "averaged"
        )
    left = frame["taster"].nunique() - len(wide)
    if left:
        said.append(
            f"{words.plural(left, 'taster')} scored fewer than two samples and do not count"
        )
    lost = [str(s) for s in frame.dropna()["sample"].unique() if s not in wide.columns]
    if lost:
        said.append(f"{words.join(lost)} left out: scored by such tasters only")
    if wide.isna().any(axis=None):
        said.append("not every taster scored every sample; what is missing was left out, not 0")
    if len(wide) < 6:
        said.append(f"{len(wide)} tasters are very few: the interval leans on the model")
    if pairs["log_odds"].abs().max() >= FAR - 1e-6 or not np.isfinite(pairs["high"]).all():
        said.append(
            "the scores of some samples hardly overlap, so that the far end of their interval is "
            "without limit"
        )
    if model.sd >= 8 - 1e-6:
        said.append("tasters use the scale so differently that only their own order counts")
    return tuple(said)


def _pairs(
    y: Any, x: Any, who: Any, names: list[Any], level: float, matters: float | None
) -> tuple[pd.DataFrame, Fit, float]:
    """Every pair with its interval, the furthest apart first."""
    from scipy.stats import t

    df = int(who.max())  # tasters − 1
    looked = len(names) * (len(names) - 1) // 2
    critical = float(t.ppf(1 - (1 - level) / 2 / looked, df))
    model = fit(y, x, who)
    rows, halves = [], []
    for a, b in combinations(range(len(names)), 2):
        one, two = (a, b) if model.effects[a] >= model.effects[b] else (b, a)
        # the lower of the two becomes the reference, the higher sample 1
        order = [two, one, *(k for k in range(len(names)) if k not in (one, two))]
        turned = np.argsort(order)[x]
        best = fit(y, turned, who)
        low = limit(best, y, turned, who, critical, -1)
        high = limit(best, y, turned, who, critical, 1)
        middle = (model.effects[one] + model.effects[two]) / 2
        size = float(best.effects[1])
        chances = [chance_higher(model, d, middle) for d in (size, low, high)]
        margin = None if matters is None else matters - 0.5
        verdict = decide(chances[1] - 0.5, chances[2] - 0.5, margin)
        rows.append((names[one], names[two], size, low, high, *chances, verdict.value))
        halves.append(size - low)
    columns = [
        "higher", "lower", "log_odds", "low", "high", "chance", "chance_low", "chance_high",
        "answer",
    ]  # fmt: skip
    pairs = pd.DataFrame(rows, columns=columns)
    half = float(np.median([h for h in halves if math.isfinite(h)] or [math.nan]))
    # beyond the interval's own reach another 0.8 quantile is needed to be seen 8 times in 10
    reach = half * (1 + float(t.ppf(0.8, df)) / critical)
    missed = (
        math.nan if math.isnan(half) else chance_higher(model, reach, float(np.mean(model.effects)))
    )
    pairs = pairs.sort_values("log_odds", ascending=False, kind="stable", ignore_index=True)
    return pairs, model, missed


def _noticed(model: Fit, tasters: int, alpha: float, seed: int) -> float:
    """Chance of scoring higher that the exact test of two samples notices 8 times in 10.

    Panels are drawn from the fitted model and judged by flipping the signs of their differences.
    """
    from scipy.optimize import brentq
    from scipy.special import logit

    rng = np.random.default_rng(seed)
    own, bites = rng.standard_normal((500, tasters)), logit(rng.random((2, 500, tasters)))
    flips = rng.choice([-1.0, 1.0], (1000, tasters))
    if tasters <= 10:
        flips = np.array(list(product([-1.0, 1.0], repeat=tasters)))
    middle = float(np.mean(model.effects))

    def noticed(difference: float) -> float:
        latent = model.sd * own + bites + middle
        low, high = (
            np.searchsorted(model.thresholds, side)
            for side in (latent[0] - difference / 2, latent[1] + difference / 2)
        )
        apart = (high - low).astype(float)
        reached = np.abs(apart @ flips.T) >= np.abs(apart.sum(axis=1, keepdims=True)) - 1e-9
        return float(np.mean(reached.mean(axis=1) <= alpha))

    if noticed(FAR) < _OFTEN:
        return math.nan
    return chance_higher(model, brentq(lambda d: noticed(d) - _OFTEN, 0.0, FAR, xtol=0.01), middle)
