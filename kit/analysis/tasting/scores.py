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
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np
import pandas as pd

from kit.analysis import words
from kit.analysis.asked import need_between
from kit.analysis.tasting import score_words as say
from kit.analysis.tasting.answered import Answered
from kit.analysis.tasting.ordinal import FAR, Fit, chance_higher, fit, limit
from kit.analysis.tasting.read import table
from kit.analysis.tasting.shuffles import chance_of_spread
from kit.analysis.verdict import Answer, decide
from kit.errors import DataError

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["Scores", "scores"]

#: What would be missed is told for a chance of 8 in 10 to notice it.
_OFTEN = 0.8


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
    by_taster : bool
        Whether tasters were told apart.
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
    by_taster: bool
    p: float
    exact: bool
    matters: float | None
    level: float
    reachable: bool
    missed: float
    answer: Answer
    checks: tuple[str, ...]
    _words: ClassVar[Any] = say

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
        from kit.analysis.tasting.pictures import taster_lines

        return taster_lines(self, ax)


def scores(
    frame: pd.DataFrame, taster: str | None = "taster", sample: str = "sample",
    score: str = "score", matters: float | None = None, level: float = 0.95, seed: int = 1,
) -> Scores:  # fmt: skip
    """Judge scores on an ordered scale, such as 1 dislike extremely to 9 like extremely.

    Parameters
    ----------
    frame : DataFrame
        One row a taster and sample. Where one taster scored a sample several times, her mean
        counts: she stays one taster.
    taster : str or None
        Column; None where every row is another person, one score each.
    sample, score : str
        Columns. Larger scores are higher.
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
    degrees of freedom (observations − samples where every row is another person), as few tasters
    need: with normal quantiles, 6 to 12 tasters would be trusted too much.

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
    known = frame if taster is not None else frame.assign(_person=np.arange(len(frame)))
    people = "_person" if taster is None else taster
    wide = table(known, people, sample, score)
    if taster is not None:
        # who scored one sample only says nothing about differences within a taster
        wide = wide[wide.notna().sum(axis=1) >= 2].dropna(axis=1, how="all")
    if len(wide) < 2:
        few = words.plural(len(wide), "taster")
        msg = f"{few} scored two samples or more: at least two tasters are needed."
        raise DataError(msg)
    names = list(wide.columns)
    marks = wide.to_numpy(dtype=float)
    own, x = np.nonzero(~np.isnan(marks))
    values, y = np.unique(marks[own, x].round(9), return_inverse=True)
    if len(values) < 2:
        msg = f"every score is {values[0]:g}: nothing can be told apart."
        raise DataError(msg)
    who: Any = None if taster is None else own
    if taster is None:
        p, exact = _unpaired(marks[own, x], x, seed), False
    else:
        p, exact = chance_of_spread(marks, seed)
    df = len(y) - len(names) if who is None else len(wide) - 1
    pairs, model, missed = _pairs(y.astype(np.int64), x, who, names, max(df, 1), level, matters)
    alike = math.factorial(len(names))  # orders that differ only in which sample is which
    if who is None:
        had = np.bincount(x)
        alike = alike if len(set(had)) == 1 else 1
        orders = math.factorial(len(y)) // math.prod(math.factorial(int(n)) for n in had)
    else:
        orders = math.factorial(len(names)) ** len(wide)
    reachable = alike / orders <= 1 - level
    if who is not None and len(names) == 2:
        missed = _noticed(model, len(wide), 1 - level, seed) if reachable else math.nan
    told = p <= 1 - level
    if not told:
        clear = pairs["answer"].isin([Answer.MATTERS.value, Answer.SMALL.value])
        pairs.loc[clear, "answer"] = Answer.UNCLEAR.value
    answer = Answer(pairs["answer"].iloc[0])
    means = pd.DataFrame(
        {
            "sample": names, "mean": wide.mean().to_numpy(), "median": wide.median().to_numpy(),
            "tasters": wide.notna().sum().to_numpy(),
        }
    )  # fmt: skip
    checks = say.checks(
        frame, wide, known, people, sample, taster is not None, matters, model, pairs
    )
    return Scores(
        wide, means, pairs, model, taster is not None, p, exact, matters, level, reachable, missed,
        answer, checks,
    )  # fmt: skip


def _pairs(
    y: Any, x: Any, who: Any, names: list[Any], df: int, level: float, matters: float | None
) -> tuple[pd.DataFrame, Fit, float]:
    """Every pair with its interval, the furthest apart first."""
    from scipy.stats import t

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


def _unpaired(values: Any, x: Any, seed: int, drawn: int = 19_999) -> float:
    """Chance of such a spread between samples where all scores are of different people."""
    rng = np.random.default_rng(seed)
    own = values - values.mean()
    had = np.bincount(x)
    inside = np.eye(len(had))[x]

    def between(marks: Any) -> Any:
        return np.sum((marks @ inside) ** 2 / had, axis=-1)

    shuffled = rng.permuted(np.tile(own, (drawn, 1)), axis=1)
    return float((1 + np.sum(between(shuffled) >= between(own) - 1e-9)) / (1 + drawn))
