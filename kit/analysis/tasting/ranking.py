"""Ranking: tasters put several muffins in order (ISO 8587)."""

import math
from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from kit import words
from kit.analysis.asked import need_between
from kit.analysis.means import tukey_critical
from kit.analysis.tasting.answered import NOT_LIKING, Answered
from kit.analysis.tasting.read import table
from kit.analysis.tasting.shuffles import chance_of_spread, spread
from kit.analysis.verdict import Answer
from kit.errors import DataError

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["Ranking", "friedman", "least_difference", "ranking"]

#: Of so many samples the test of all of them guards every pair too (Fisher's protected difference;
#: Hayter 1986, JASA 81:1000).
_GUARDED = 3
#: Degrees of freedom of a spread that is known, as that of ranks is.
_KNOWN = 1e6


@dataclass(frozen=True)
class Ranking(Answered):
    """What the orders say.

    Parameters
    ----------
    meaning : str
        What rank 1 means, such as "liked most".
    ranks : DataFrame
        One row a taster, one column a sample; tied samples share their ranks.
    statistic : float
        Friedman's, corrected for ties.
    p : float
        Chance of it where nobody can tell.
    exact : bool
        Whether `p` counts all orders; else it is from χ² with samples − 1 degrees of freedom.
    least : float
        Least significant difference between two rank sums.
    pairs : DataFrame
        ``before, after, difference, apart``: rank sums of each two samples.
    alpha : float
    reachable : bool
        Whether any result of so few tasters could be enough.
    answer : Answer
    checks : tuple of str
    """

    meaning: str
    ranks: pd.DataFrame
    statistic: float
    p: float
    exact: bool
    least: float
    pairs: pd.DataFrame
    alpha: float
    reachable: bool
    answer: Answer
    checks: tuple[str, ...]

    @property
    def sums(self) -> "pd.Series[float]":
        """Rank sum of each sample, the smallest first."""
        return self.ranks.sum().sort_values(kind="stable")

    @property
    def tasters(self) -> int:
        """People."""
        return len(self.ranks)

    @property
    def headline(self) -> str:
        """The answer in a few words."""
        if self.answer is Answer.UNCLEAR:
            return "Cannot tell yet."
        return "The tasters told them apart."

    @property
    def sentence(self) -> str:
        """What was found."""
        order = words.join(f"{name} ({total:g})" for name, total in self.sums.items())
        text = f"Rank sums, from {self.meaning} on: {order}."
        if self.answer is Answer.UNCLEAR:
            return f"{text} Tasters who cannot tell would often spread them as far."
        apart = self.pairs[self.pairs["apart"]]
        if apart.empty:
            return f"{text} Taken together they differ, but no two of them surely."
        told = words.join(f"{r.before} before {r.after}" for r in apart.itertuples())
        return f"{text} Surely {told}."

    @property
    def could_miss(self) -> str:
        """What a panel like this would likely have missed."""
        if not self.reachable:
            return f"With {words.plural(self.tasters, 'taster')} no result could have been enough."
        places = self.least / self.tasters
        return (
            f"With {words.plural(self.tasters, 'taster')} two samples must differ by "
            f"{math.ceil(self.least - 1e-9)} in their rank sums; a difference of less than "
            f"{places:.1f} places on average would likely be missed."
        )

    @property
    def next_step(self) -> str:
        """What to do next."""
        if self.answer is Answer.UNCLEAR:
            return "Next: ask more people, or compare the first and the last as a pair."
        if self.question:
            return NOT_LIKING
        first = self.sums.index[0]
        return f"Next: go on with {first}, or check it against the next in a pair."

    @property
    def statistics(self) -> str:
        """Test, p value and sources, for a statistician."""
        how = "exact" if self.exact else f"χ²({self.ranks.shape[1] - 1})"
        joint = ", for all pairs at once" if self.ranks.shape[1] > _GUARDED else ""
        return (
            f"For the statistician: ISO 8587, Friedman F = {self.statistic:.2f} corrected for "
            f"ties, {how} p = {self.p:.2g}; least significant difference of rank sums "
            f"{self.least:.1f}{joint}, used only where F is significant."
        )

    def __repr__(self) -> str:
        return (
            f"<Ranking of {self.ranks.shape[1]} by {self.tasters} tasters: F = "
            f"{self.statistic:.3g}, p = {self.p:.2g}, {self.answer.value}>"
        )

    def to_frame(self) -> pd.DataFrame:
        """One row a sample: ``sample, rank_sum, mean_rank, half_least``.

        `half_least` is half the least difference: two samples whose bars ± it do not meet are
        apart.
        """
        sums = self.sums
        return pd.DataFrame(
            {
                "sample": list(sums.index),
                "rank_sum": sums.to_numpy(),
                "mean_rank": sums.to_numpy() / self.tasters,
                "half_least": self.least / 2,
            }
        )

    def plot(self, ax: "Axes | None" = None) -> "Axes":
        """Draw the rank sums with half the least difference to either side."""
        from kit import charts

        return charts.rank_sums(self, ax)


def friedman(sums: Any, tasters: int, ties: float = 0.0) -> float:
    """Friedman's statistic from rank sums.

    Parameters
    ----------
    sums : array-like of float, shape (samples,)
    tasters : int
    ties : float
        E = Σ (t³ − t) over all groups of t tied samples.

    Notes
    -----
    ISO 8587: F = 12 ΣR² / (J P (P + 1)) − 3 J (P + 1), divided by 1 − E / (J P (P² − 1)).

    Examples
    --------
    >>> round(friedman([17, 31, 32, 23, 17], 8), 3)
    10.6
    """
    r = np.asarray(sums, dtype=float)
    p = len(r)
    plain = 12 * np.sum(r**2) / (tasters * p * (p + 1)) - 3 * tasters * (p + 1)
    return float(plain / (1 - ties / (tasters * p * (p**2 - 1))))


def least_difference(
    tasters: int, samples: int, alpha: float = 0.05, all_pairs: bool = False
) -> float:
    """Least significant difference of two rank sums (ISO 8587): z √(J P (P + 1) / 6).

    With `all_pairs` the studentized range over √2 stands for z, so that no pair at all is called
    apart by chance more often than `alpha` (Nemenyi 1963, from memory).

    Examples
    --------
    >>> round(least_difference(8, 5), 3), round(least_difference(8, 5, all_pairs=True), 2)
    (12.396, 17.25)
    """
    from scipy.special import ndtri

    z = float(ndtri(1 - alpha / 2))
    if all_pairs:
        z = tukey_critical(1 - alpha, _KNOWN, samples)
    return z * math.sqrt(tasters * samples * (samples + 1) / 6)


def ranking(
    frame: pd.DataFrame, rank: str = "rank", meaning: str = "rank 1", alpha: float = 0.05
) -> Ranking:
    """Judge orders in which tasters put several muffins.

    Parameters
    ----------
    frame : DataFrame
        One row a ``taster`` and ``sample``. Equal ranks are ties. Where one taster ranked several
        times, her ranks are averaged and ranked again: she stays one taster.
    rank : str
        Column of the ranks.
    meaning : str
        What rank 1 means, such as "liked most".
    alpha : float
        Largest chance of a false alarm.

    Returns
    -------
    Ranking

    Raises
    ------
    DataError, NotFoundError, InputError
        A taster who did not rank all samples (named), a column that is not there.

    Notes
    -----
    `p` counts all orders (`shuffles`) up to about 40 tasters for 3 samples, 15 for 4, 6 for 5;
    beyond it is from χ².

    Examples
    --------
    >>> orders = pd.DataFrame({"taster": list("IIIJJJKKKLLL"), "sample": list("ABC" * 4),
    ...                        "rank": [1, 2, 3, 1, 3, 2, 1, 2, 3, 1, 2, 3]})
    >>> print(ranking(orders).sentence)
    Rank sums, from rank 1 on: A (4), B (9) and C (11). Surely A before C.
    """
    need_between("alpha", alpha, 0, 0.5, "Write 0.05.")
    wide = table(frame, rank)
    if wide.isna().any(axis=None):
        who = wide.index[wide.isna().any(axis=1)]
        lack = wide.columns[wide.loc[who[0]].isna()]
        msg = (
            f"{who[0]} did not rank {words.join(str(s) for s in lack)}: an order needs every "
            "sample. Leave this taster out, or ask again."
        )
        raise DataError(msg)
    ranks = wide.rank(axis=1)
    marks = ranks.to_numpy(dtype=float)
    people, samples = marks.shape
    p, exact = chance_of_spread(marks)
    statistic = spread(marks)
    if not exact:
        from scipy.stats import chi2

        p = float(chi2.sf(statistic, samples - 1))
    reachable = math.factorial(samples) ** (1 - people) <= alpha
    told = p <= alpha
    # of three samples F already guards the pairs; of more, pairs that are alike need it as well
    least = least_difference(people, samples, alpha, all_pairs=samples > _GUARDED)
    pairs = _pairs(ranks.sum().sort_values(kind="stable"), least, told)
    return Ranking(
        meaning, ranks, statistic, p, exact, least, pairs, alpha, reachable,
        Answer.MATTERS if told else Answer.UNCLEAR, _checks(frame, wide),
    )  # fmt: skip


def _pairs(sums: "pd.Series[float]", least: float, told: bool) -> pd.DataFrame:
    rows = [
        (a, b, sums[b] - sums[a], bool(told and sums[b] - sums[a] >= least))
        for a, b in combinations(sums.index, 2)
    ]
    return pd.DataFrame(rows, columns=["before", "after", "difference", "apart"])


def _checks(frame: pd.DataFrame, wide: pd.DataFrame) -> tuple[str, ...]:
    said = []
    if len(wide) == 1:
        said.append("one taster's order says nothing about anybody else")
    if frame.duplicated(["taster", "sample"]).any():
        said.append(
            "one person's repeats are not more people: a taster's ranks were averaged and ranked "
            "again"
        )
    return tuple(said)
