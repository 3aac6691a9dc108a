"""Exact chances of counts: how many right are enough, and what a panel of that size can notice.

Where one taster answers several times, the answers are not those of more people. If nobody can
tell, every answer is a guess, whoever gives it, so that the count of all right answers is still
binomial and the test of "nobody can tell" stays exact. How *many* people can tell is another
question: there the tasters are the units (`share_of_people`), and what can be noticed is worked
out for people who either always tell or always guess, the least favourable case.
"""

import math
from collections.abc import Sequence
from functools import cache

import numpy as np

from kit.analysis.moments import Floats

__all__ = [
    "at_least", "at_most", "bounds", "needed_right", "noticed_by", "power", "share_of_people",
]  # fmt: skip

#: With fewer people than this their spread says nothing: each counts as one answer.
FEWEST_PEOPLE = 6


def at_least(right: int, answers: int, chance: float) -> float:
    """P(X ≥ right) of a binomial count."""
    from scipy.stats import binom

    return float(binom.sf(right - 1, answers, chance))


def at_most(right: int, answers: int, chance: float) -> float:
    """P(X ≤ right) of a binomial count."""
    from scipy.stats import binom

    return float(binom.cdf(right, answers, chance))


def needed_right(answers: int, guess: float, alpha: float) -> int | None:
    """Fewest right answers that guessing reaches with a chance of at most `alpha`.

    Returns
    -------
    int or None
        None where not even all right are enough.

    Examples
    --------
    >>> needed_right(12, 1 / 3, 0.05), needed_right(2, 1 / 3, 0.05)
    (8, None)
    """
    from scipy.stats import binom

    least = 1 + int(np.flatnonzero(binom.sf(np.arange(answers + 1), answers, guess) <= alpha)[0])
    return least if least <= answers else None


def bounds(right: float, answers: float, level: float) -> tuple[float, float]:
    """Interval of a share by Clopper and Pearson (1934, Biometrika 26:404).

    `right` and `answers` need not be whole.

    Examples
    --------
    >>> [round(end, 3) for end in bounds(9, 12, 0.95)]
    [0.428, 0.945]
    """
    from scipy.special import betaincinv

    tail = (1 - level) / 2
    low = 0.0 if right <= 0 else float(betaincinv(right, answers - right + 1, tail))
    high = 1.0 if right >= answers else float(betaincinv(right + 1, answers - right, 1 - tail))
    return low, high


def share_of_people(
    right: Sequence[int], tries: Sequence[int], level: float
) -> tuple[float, float]:
    """Interval of the share of right answers among people, of whom some answered several times.

    Clopper–Pearson for the number of answers that the spread between tasters makes them worth,
    with the correction for few tasters of Korn and Graubard (1998, Survey Methodology 24:193).
    They are never worth more than there are answers; below six tasters, or where all answers are
    the same, no more than there are tasters.

    Examples
    --------
    >>> one_each = share_of_people([1] * 9 + [0] * 3, [1] * 12, 0.95)
    >>> [round(end, 3) for end in one_each]
    [0.428, 0.945]
    >>> [round(end, 2) for end in share_of_people([3] * 9 + [0] * 3, [3] * 12, 0.95)]
    [0.38, 0.96]
    """
    people, answers, total = len(tries), sum(tries), sum(right)
    share = total / answers
    if answers == people:
        return bounds(total, answers, level)
    worth = float(people)
    if people >= FEWEST_PEOPLE and 0 < total < answers:
        from scipy.stats import t

        off = [r - share * k for r, k in zip(right, tries, strict=True)]
        variance = people / (people - 1) * sum(x * x for x in off) / answers**2
        tail = 0.5 + level / 2
        few = (t.ppf(tail, answers - 1) / t.ppf(tail, people - 1)) ** 2
        worth = float(answers)
        if variance > 0:
            worth = min(worth, share * (1 - share) / variance * few)
    return bounds(share * worth, worth, level)


def power(telling: float, tries: Sequence[int], guess: float, needed: int | None) -> float:
    """Chance of at least `needed` right when a share of people `telling` always tells.

    Each of the others guesses. With one answer each this is the binomial tail.

    Examples
    --------
    >>> round(power(0.5, [1] * 12, 1 / 3, 8), 3)
    0.632
    """
    if needed is None:
        return 0.0
    if set(tries) == {1}:
        return at_least(needed, len(tries), guess + telling * (1 - guess))
    if len(tries) == 1:  # one person: the share is of her own tries
        return at_least(needed, tries[0], guess + telling * (1 - guess))
    spread = np.ones(1)
    for k in tries:
        own = (1 - telling) * _guessing(k, guess)
        own[k] += telling
        spread = np.convolve(spread, own)
    return float(spread[needed:].sum())


@cache
def _guessing(tries: int, guess: float) -> Floats:
    """Chances of 0 … `tries` right of one who guesses."""
    from scipy.stats import binom

    return np.asarray(binom.pmf(np.arange(tries + 1), tries, guess))


def noticed_by(
    tries: Sequence[int], guess: float, needed: int | None, chance: float = 0.8
) -> float:
    """Smallest share of people able to tell that is noticed with that chance; NaN if none is.

    Examples
    --------
    >>> round(noticed_by([1] * 12, 1 / 3, 8), 2)
    0.6
    """
    from scipy.optimize import brentq

    if needed is None:
        return math.nan
    return float(brentq(lambda share: power(share, tries, guess, needed) - chance, 0, 1))
