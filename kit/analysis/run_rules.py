"""Signs that a series of bakes is no longer what it was: the four zone tests.

A value is measured in standard deviations from the centre. Singly and together these tests, and
how often they cry out for nothing, are described in NIST/SEMATECH e-Handbook 6.3.2 and by Champ
& Woodall (1987), Technometrics 29:393: on average after 370 values for the first alone, after
92 for all four.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from kit.analysis.moments import Floats
from kit.errors import NotFoundError

__all__ = ["RULES", "Rule", "Run", "find_runs"]


@dataclass(frozen=True)
class Rule:
    """At least `need` of `of` values in succession lie beyond `limit` on the same side."""

    name: str
    need: int
    of: int
    limit: float
    text: str


RULES = {
    rule.name: rule
    for rule in (
        Rule("one beyond 3", 1, 1, 3.0, "beyond the limit (three standard deviations)"),
        Rule("two of three beyond 2", 2, 3, 2.0, "two of three beyond two standard deviations"),
        Rule("four of five beyond 1", 4, 5, 1.0, "four of five beyond one standard deviation"),
        Rule("eight on one side", 8, 8, 0.0, "eight in a row"),
    )
}


@dataclass(frozen=True)
class Run:
    """One sign.

    Parameters
    ----------
    rule : Rule
    first, last : int
        The stretch of values, from 0; `last` is the one that gives the sign.
    side : int
        1 above the centre, −1 below.
    """

    rule: Rule
    first: int
    last: int
    side: int


def find_runs(z: Floats, rules: Sequence[str] = tuple(RULES)) -> tuple[Run, ...]:
    """Find where a rule is met; a stretch that goes on is told once, at its first sign.

    Parameters
    ----------
    z : float array, shape (n,)
        Distances from the centre in standard deviations, in order of time.
    rules : sequence of str
        Names in `RULES`.

    Returns
    -------
    tuple of Run
        In order of the value that gives the sign.

    Examples
    --------
    >>> [(run.rule.name, run.last, run.side) for run in find_runs([0.2, 3.4, -2.1, 0.3, -2.6])]
    [('one beyond 3', 1, 1), ('two of three beyond 2', 4, -1)]
    """
    z = np.asarray(z, dtype=float)
    found = []
    for name in rules:
        if name not in RULES:
            raise NotFoundError("rule", name, RULES)
        rule = RULES[name]
        for side in (1, -1):
            beyond = side * z > rule.limit
            windows = np.convolve(beyond, np.ones(rule.of), mode="full")[: len(z)]
            # the value itself must lie beyond, else the sign was given before
            sign = (np.rint(windows) >= rule.need) & beyond
            fresh = sign & ~np.concatenate([[False], sign[:-1]]) if rule.of > 1 else sign
            for last in np.flatnonzero(fresh):
                first = max(0, int(last) - rule.of + 1)
                first += int(np.argmax(beyond[first : last + 1]))
                found.append(Run(rule, first, int(last), side))
    return tuple(sorted(found, key=lambda run: (run.last, run.first)))
