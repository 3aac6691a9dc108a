"""How many tasters, before anybody tastes.

The chance of noticing does not rise steadily with the number of tasters: it falls back whenever
one more right answer is asked for, like the teeth of a saw. So the number given is the smallest
from which the chance *stays* above what was asked; the first tooth that reaches it comes earlier.
"""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np
import pandas as pd

from kit.analysis.asked import need_between, need_one_of
from kit.analysis.moments import Floats, Integers
from kit.analysis.tasting.methods import method
from kit.errors import DataError, InputError
from kit.shown import Telling, Told, percent

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["Needed", "tasters_needed"]

#: More tasters than this nobody gathers for muffins.
_MOST = 4000


@dataclass(frozen=True)
class Needed(Told):
    """How many tasters, and how many right answers then decide.

    Parameters
    ----------
    method : str
        Kind of test.
    aim : {"difference", "alike"}
        Whether a difference is to be noticed, or too small a one to be shown.
    tasters : int
        From here on the chance stays above `chance`.
    first : int
        The first number that reaches it; a few more may fall back below.
    right : int
        With `tasters`: at least (difference) or at most (alike) so many right decide.
    share : float
        Share of people able to tell that is to be noticed, or ruled out.
    chance, alpha : float
        Wanted chance of the answer where it is due, and largest chance of it where it is not.
    two_sided : bool
    table : DataFrame
        ``tasters, right, chance``, one row a number of tasters.
    checks : tuple of str
    """

    method: str
    aim: Literal["difference", "alike"]
    tasters: int
    first: int
    right: int
    share: float
    chance: float
    alpha: float
    two_sided: bool
    table: pd.DataFrame
    checks: tuple[str, ...]

    @property
    def headline(self) -> str:
        """The number and what it does."""
        seen = percent(self.share)
        often = f"{self.chance * 10:g} times in 10"
        if self.aim == "alike":
            return (
                f"{self.tasters} tasters: if nobody can tell, {often} they will show that fewer "
                f"than {seen} of people can; at most {self.right} right decide."
            )
        return (
            f"{self.tasters} tasters: {often} they will notice a difference that {seen} of people "
            f"can tell; at least {self.right} {'of one kind' if self.two_sided else 'right'} "
            "decide."
        )

    def __repr__(self) -> str:
        return f"<Needed {self.method}: {self.tasters} tasters, {self.right} right>"

    def tells(self) -> Telling:
        """What it says."""
        return Telling(self.headline, (), self.checks)

    def to_frame(self) -> pd.DataFrame:
        """Chance of the answer at every number of tasters: ``tasters, right, chance``."""
        return self.table.copy()

    def plot(self, ax: "Axes | None" = None) -> "Axes":
        """Draw the chance against the number of tasters."""
        from kit import charts

        return charts.tasters_needed(self, ax)


def tasters_needed(
    test: str = "triangle",
    share: float = 0.5,
    chance: float = 0.8,
    alpha: float = 0.05,
    aim: Literal["difference", "alike"] = "difference",
    two_sided: bool = False,
) -> Needed:
    """Fewest tasters, one answer each.

    Parameters
    ----------
    test : str
        ``"triangle"``, ``"duo-trio"`` or ``"pair"``.
    share : float
        Share of people able to tell: to be noticed (difference), or to be ruled out (alike).
    chance : float
        That the answer comes where it is due.
    alpha : float
        Largest chance that it comes where it is not.
    aim : {"difference", "alike"}
        "alike" takes it that nobody can tell.
    two_sided : bool
        Of a pair only: either may be preferred.

    Returns
    -------
    Needed

    Raises
    ------
    InputError, NotFoundError
        A share that is none, a test nobody knows.
    DataError
        More than 2000 tasters would be needed.

    Notes
    -----
    The exact binomial of ISO 4120, ISO 10399 and ISO 5495; the saw is looked at up to twice the
    number given and beyond.

    Examples
    --------
    >>> need = tasters_needed("pair", share=0.5)
    >>> need.first, need.tasters, need.right
    (23, 28, 19)
    """
    guess = method(test).guess
    need_one_of("aim", aim, ("difference", "alike"))
    if two_sided and test != "pair":
        raise InputError("two_sided", two_sided, "is for pairs only", "Leave it out.")
    for name, value in (("share", share), ("chance", chance), ("alpha", alpha)):
        need_between(name, value, 0, 1, "Write 0.5 for one half.")
    n = np.arange(1, _MOST + 1)
    right, reached = _saw(n, guess, guess + share * (1 - guess), alpha, aim, two_sided)
    enough = np.flatnonzero(reached >= chance)
    below = np.flatnonzero(reached < chance)
    if not len(enough) or below[-1] + 2 > _MOST // 2:
        msg = (
            f"more than {_MOST // 2} tasters would be needed for {percent(share)} of people: "
            "look for a larger difference."
        )
        raise DataError(msg)
    stays, first = int(n[below[-1] + 1]) if len(below) else 1, int(n[enough[0]])
    table = pd.DataFrame({"tasters": n, "right": right, "chance": reached})
    checks = []
    if first < stays:
        checks.append(
            f"{first} tasters reach it too, but a few more than {first} fall short again, because "
            f"one more right answer is asked for; from {stays} on it stays (looked at up to "
            f"{_MOST})"
        )
    checks.append(
        "this counts people: one person who tastes twice is still one, and tasters who did not "
        "come are missed, so ask a few more"
    )
    return Needed(
        test, aim, stays, first, int(right[stays - 1]), share, chance, alpha, two_sided,
        table[table["tasters"] <= 2 * stays + 10].reset_index(drop=True), tuple(checks),
    )  # fmt: skip


def _saw(
    n: Integers, guess: float, telling: float, alpha: float, aim: str, two_sided: bool
) -> tuple[Integers, Floats]:
    """Right answers that decide, and the chance of them, for every number of tasters."""
    from scipy.stats import binom

    if aim == "alike":
        # the most right with P(X <= c) <= alpha; −1 where there is none
        most = binom.ppf(alpha, n, telling).astype(np.int64)
        most = np.where(binom.cdf(most, n, telling) > alpha, most - 1, most)
        return most, binom.cdf(most, n, guess)
    tail = alpha / 2 if two_sided else alpha
    least = binom.isf(tail, n, guess).astype(np.int64) + 1
    least = np.where(binom.sf(least - 2, n, guess) <= tail, least - 1, least)
    reached = binom.sf(least - 1, n, telling)
    if two_sided:
        reached = reached + binom.sf(least - 1, n, 1 - telling)
    return least, reached
