"""Triangle, duo-trio and pair: what a count of right answers, or of choices, says.

Tests and minimum counts are the exact binomial of ISO 4120 (triangle), ISO 10399 (duo-trio) and
ISO 5495 (pair). The share of people able to tell is (share right − guess) / (1 − guess), its
interval that of Clopper and Pearson carried through; d′ likewise. The interval's two ends are
each wrong in at most `alpha` of all tastings, so that it agrees with the one-sided tests of the
standards (a two-sided pair: `alpha` for both ends together).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar, NamedTuple

import pandas as pd

from kit.analysis.asked import need_between
from kit.analysis.tasting import choice_words as say
from kit.analysis.tasting import exact
from kit.analysis.tasting.answered import Answered
from kit.analysis.tasting.methods import Method, d_prime, method, slope
from kit.analysis.tasting.read import counts
from kit.analysis.verdict import Answer, decide

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["Choice", "Estimate", "duo_trio", "pair", "triangle"]


class Estimate(NamedTuple):
    """A number with its interval."""

    value: float
    low: float
    high: float


@dataclass(frozen=True)
class Choice(Answered):
    """What a test of choosing says.

    Parameters
    ----------
    method : Method
    rights, tries : tuple of int
        One entry a taster: how many right (or for the first of a pair), of how many answers.
    names : tuple of str
        The two muffins compared; of a pair the first is the one counted.
    two_sided : bool
        A pair without an expectation: either may be preferred.
    alpha : float
        Largest chance of a false alarm.
    p : float
        Chance of such a count, or a rarer one, by guessing.
    needed : int or None
        Fewest right that are enough; None where all right are not.
    counted : tuple of int
        Right and answers that the test counts: all of them, of a pair with repeats each taster's
        majority.
    share : Estimate
        Share of right answers (of a pair: of choices for the first).
    noticing : Estimate
        Share of people able to tell; NaN for a two-sided pair.
    d : Estimate
        d′; NaN for a two-sided pair.
    d_se : float
        Standard error of d′ (delta method), NaN where d′ is 0 or without limit.
    matters : float or None
        Smallest share of people able to tell that the baker cares about (two-sided pair:
        smallest majority).
    p_alike : float
        Chance of so few right if a share `matters` could tell; NaN where not asked or refused.
    missed : float
        Share of people that had to be able to tell for a panel like this to notice it 8 times in
        10; NaN where no result would have been enough.
    answer : Answer
    told : bool
        Whether the tasters told them apart (or preferred one).
    checks : tuple of str
    """

    method: Method
    rights: tuple[int, ...]
    tries: tuple[int, ...]
    names: tuple[str, str]
    two_sided: bool
    alpha: float
    p: float
    needed: int | None
    counted: tuple[int, int]
    share: Estimate
    noticing: Estimate
    d: Estimate
    d_se: float
    matters: float | None
    p_alike: float
    missed: float
    answer: Answer
    told: bool
    checks: tuple[str, ...]
    _words: ClassVar[Any] = say

    @property
    def right(self) -> int:
        """Right answers in all."""
        return sum(self.rights)

    @property
    def answers(self) -> int:
        """Answers in all."""
        return sum(self.tries)

    @property
    def tasters(self) -> int:
        """People."""
        return len(self.tries)

    def __repr__(self) -> str:
        return (
            f"<Choice {self.method.name}: {self.right} of {self.answers} by "
            f"{self.tasters} tasters, p = {self.p:.2g}, {self.answer.value}>"
        )

    def to_frame(self) -> pd.DataFrame:
        """One row an estimate: ``what, estimate, low, high, guess, missed, p, right, answers``."""
        rows = [
            ("share right" if not self.two_sided else f"share for {self.names[0]}", *self.share),
            ("share of people able to tell", *self.noticing),
            ("d prime", *self.d),
        ]
        table = pd.DataFrame(rows, columns=["what", "estimate", "low", "high"])
        right, answers = self.counted
        extra: dict[str, Any] = {
            "guess": [self.method.guess, math.nan, math.nan],
            "missed": [math.nan, self.missed, math.nan],
            "p": self.p, "right": right, "answers": answers,
        }  # fmt: skip
        return table.assign(**extra)

    def plot(self, ax: "Axes | None" = None) -> "Axes":
        """Draw the right answers beside what guessing gives."""
        from kit import charts

        return charts.against_guessing(self, ax)


def triangle(
    correct: int | Sequence[int], tasters: int, tries: int | Sequence[int] = 1,
    matters: float | None = None, alpha: float = 0.05, names: tuple[str, str] = ("A", "B"),
) -> Choice:  # fmt: skip
    """Judge a triangle: three muffins, two alike; which is the odd one? (ISO 4120).

    Parameters
    ----------
    correct : int or sequence of int
        How many were right; with several tries a taster, one count a taster.
    tasters : int
        How many people.
    tries : int or sequence of int
        How often each taster answered.
    matters : float, optional
        Smallest share of people able to tell that you care about, such as 0.3.
    alpha : float
        Largest chance of a false alarm.
    names : pair of str
        What is compared.

    Returns
    -------
    Choice

    Raises
    ------
    InputError
        Counts that cannot be; several tries a taster and one count for all.

    Examples
    --------
    >>> answer = triangle(9, 12)
    >>> print(answer.headline)
    The tasters told them apart.
    >>> print(answer.sentence.partition("; ")[2])
    8 are enough. The answers fit from 21 to 89 % of people like these able to tell.
    >>> print(triangle(6, 12).could_miss)
    With 12 tasters a difference that fewer than 60 % of people can tell would likely be missed.
    """
    return _judge("triangle", correct, tasters, tries, matters, alpha, names)


def duo_trio(
    correct: int | Sequence[int], tasters: int, tries: int | Sequence[int] = 1,
    matters: float | None = None, alpha: float = 0.05, names: tuple[str, str] = ("A", "B"),
) -> Choice:  # fmt: skip
    """Judge a duo-trio: which of two is like the reference? (ISO 10399); see `triangle`.

    Examples
    --------
    >>> duo_trio(9, 10).told, duo_trio(8, 10).told
    (True, False)
    """
    return _judge("duo-trio", correct, tasters, tries, matters, alpha, names)


def pair(
    chosen: int | Sequence[int], tasters: int, tries: int | Sequence[int] = 1,
    expected: bool = False, matters: float | None = None, alpha: float = 0.05,
    names: tuple[str, str] = ("A", "B"),
) -> Choice:  # fmt: skip
    """Judge a pair: which do you prefer, or which is more …? (ISO 5495).

    Parameters
    ----------
    chosen : int or sequence of int
        How many chose the first of `names`; with several tries a taster, one count a taster.
    tasters, tries, alpha, names
        See `triangle`.
    expected : bool
        It was known before which one is more (say, has more salt): one-sided, d′ is given. Never
        true of liking.
    matters : float, optional
        Expected: smallest share of people able to tell. Else: smallest majority you care about,
        between 0.5 and 1.

    Returns
    -------
    Choice

    Notes
    -----
    A taster who answers several times may always prefer the same one, so answers are not added
    up: the test counts each taster's majority, ties left out.

    Examples
    --------
    >>> print(pair(10, 11, names=("long retard", "short retard")).headline)
    The tasters preferred long retard.
    """
    return _judge("pair", chosen, tasters, tries, matters, alpha, names, not expected)


def _judge(
    name: str, correct: int | Sequence[int], tasters: int, tries: int | Sequence[int],
    matters: float | None, alpha: float, names: tuple[str, str], two_sided: bool = False,
) -> Choice:  # fmt: skip
    test = method(name)
    rights, times = counts(correct, tasters, tries)
    _check(matters, alpha, two_sided)
    repeats, alone = sum(times) > len(times), len(times) == 1
    right, answers, units = sum(rights), sum(times), times
    if name == "pair" and repeats and not alone:
        decided = [2 * r > k for r, k in zip(rights, times, strict=True) if 2 * r != k]
        right, answers, units = sum(decided), len(decided), (1,) * len(decided)
    guess = test.guess
    if answers == 0:
        p, needed = 1.0, None
    elif two_sided:
        p = min(1.0, 2 * exact.at_least(max(right, answers - right), answers, guess))
        needed = exact.needed_right(answers, guess, alpha / 2)
    else:
        p = exact.at_least(right, answers, guess)
        needed = exact.needed_right(answers, guess, alpha)
    level = 1 - alpha if two_sided else 1 - 2 * alpha
    share = Estimate(
        sum(rights) / sum(times),
        *(
            exact.bounds(sum(rights), sum(times), level)
            if alone
            else exact.share_of_people(rights, times, level)
        ),
    )
    unknown = Estimate(math.nan, math.nan, math.nan)
    noticing = unknown if two_sided else Estimate(*(_able(s, guess) for s in share))
    d = unknown if two_sided else Estimate(*(d_prime(name, s) for s in share))
    told = p <= alpha
    p_alike = math.nan
    if matters is not None and not two_sided and not repeats:
        p_alike = exact.at_most(right, answers, guess + matters * (1 - guess))
    missed = exact.noticed_by(units, guess, needed) if units else math.nan
    if two_sided:
        answer = _of_pair(told, share, matters)
    else:
        answer = _of_difference(told, p_alike, noticing, matters, alpha, repeats)
    checks = say.checks(test, rights, times, units, needed, alpha, matters, two_sided, right)
    return Choice(
        test, rights, times, names, two_sided, alpha, p, needed, (right, answers), share, noticing,
        d, _se(name, d.value, share.value, sum(times), repeats), matters, p_alike, missed, answer,
        told, checks,
    )  # fmt: skip


def _check(matters: float | None, alpha: float, two_sided: bool) -> None:
    need_between("alpha", alpha, 0, 0.5, "Write 0.05.")
    if matters is not None and two_sided:
        need_between("matters", matters, 0.5, 1, "Write 0.65 for 65 of 100 choosing the same.")
    elif matters is not None:
        need_between("matters", matters, 0, 1, "Write 0.3 for 30 of 100 people able to tell.")


def _able(share: float, guess: float) -> float:
    return max(0.0, (share - guess) / (1 - guess))


def _of_difference(
    told: bool, p_alike: float, noticing: Estimate, matters: float | None, alpha: float,
    repeats: bool,
) -> Answer:  # fmt: skip
    if matters is None:
        return Answer.MATTERS if told else Answer.UNCLEAR
    if told and noticing.low > matters:
        return Answer.MATTERS
    if not repeats and p_alike <= alpha:
        return Answer.SMALL if told else Answer.NONE
    return Answer.UNCLEAR


def _of_pair(told: bool, share: Estimate, matters: float | None) -> Answer:
    if matters is None:
        return Answer.MATTERS if told else Answer.UNCLEAR
    answer = decide(share.low - 0.5, share.high - 0.5, matters - 0.5)
    if answer is Answer.MATTERS and not told:
        return Answer.UNCLEAR
    return answer


def _se(name: str, d: float, share: float, answers: int, repeats: bool) -> float:
    """Of d′, by the delta method, one answer a taster."""
    if repeats or not 0 < d < math.inf:
        return math.nan
    return math.sqrt(share * (1 - share) / answers) / slope(name, d)
