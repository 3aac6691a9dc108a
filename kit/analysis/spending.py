"""How strict each look must be when the answer is looked at after every bake.

An alpha-spending function (Lan & DeMets 1983, Biometrika 70:659) says how much of the allowed
5 % of false alarms may have been used up by each look. The one here is of O'Brien–Fleming type
(O'Brien & Fleming 1979, Biometrics 35:549): next to nothing early, nearly all at the end.

The usual tables hold for a spread that is known. In a home series it is estimated from a handful
of doughs, and putting the tables' levels on Student's t gave 5.7 % of false alarms over eight
looks. So what is spent at each look is found on the very statistic that is looked at: the largest
difference between settings over a spread estimated anew, simulated over all looks. Where a bake
adds fewer degrees of freedom than the settings less one, what its doughs add to the spread is a
beta share of a chi-square (Lukacs 1955, Ann Math Stat 26:319).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kit.analysis.means import tukey_p
from kit.analysis.moments import Floats
from kit.errors import InputError

__all__ = ["levels", "spent"]

#: Simulated series; the false alarms of all looks together are met to ± 0.1 points.
_SERIES = 200_000
#: With fewer series than this still to be stopped, what may be spent is taken as the level
#: itself: never too much, and all but exact as long as hardly anything was spent before.
_FEW = 60


def spent(time: float, alpha: float = 0.05) -> float:
    """Chance of a false alarm that may have been used up by now, both directions together.

    4 − 4 Φ(z / √time), where Φ(z) = 1 − alpha / 4: half of `alpha` in each direction. `time` says
    how much of what was planned has been done, 0 to 1.

    Examples
    --------
    >>> round(spent(1.0), 6), f"{spent(0.5):.5f}"
    (0.05, '0.00305')
    """
    from scipy import special

    if time <= 0:
        return 0.0
    z = float(special.ndtri(alpha / 4))
    return 4 * float(special.ndtr(z / math.sqrt(min(time, 1.0))))


def levels(
    times: Sequence[float],
    df: Sequence[float],
    information: Sequence[float] | None = None,
    settings: int = 2,
    alpha: float = 0.05,
) -> Floats:
    """P value below which a look may claim a difference, looked at after every bake.

    Parameters
    ----------
    times : sequence of float, shape (k,)
        How much of what was planned had been done at each look: rising, above 0, at most 1.
    df, information : sequence of float, shape (k,)
        Degrees of freedom of the difference at each look; and what it rests on, in any unit, such
        as doughs (`times` when not given).
    settings : int
        How many are compared; p values are protected over all their pairs (Tukey).
    alpha : float
        False alarms allowed over all looks together.

    Returns
    -------
    float array, shape (k,)
        One minus these is the level of intervals that hold whenever one looks and whatever
        makes one stop (repeated confidence intervals: Jennison & Turnbull 1989, J R Stat Soc B
        51:305). A level does not depend on later looks.

    Raises
    ------
    InputError
        Looks that do not rise, or of unlike number.

    Examples
    --------
    >>> levels([0.25, 0.5, 0.75, 1.0], df=[3, 7, 11, 15]).round(3)
    array([0.   , 0.003, 0.018, 0.042])
    """
    steps = _rising("times", times)
    if steps[-1] > 1 + 1e-9:
        raise InputError("times", float(steps[-1]), "must be at most 1")
    doughs = steps if information is None else _rising("information", information)
    if not len(steps) == len(df) == len(doughs):
        raise InputError("df", list(df), "must have one value a look")
    if not min(df) > 0:
        raise InputError("df", list(df), "must be above 0")
    return np.array(
        _levels(
            tuple(zip(steps.tolist(), map(float, df), doughs.tolist(), strict=True)),
            settings,
            float(alpha),
        )
    )


@dataclass(frozen=True, eq=False)
class _Series:
    """All simulated series after a look; those beyond a limit so far are stopped.

    ``sums`` has shape (settings, series); ``squares`` (series,) of the spread, times its degrees of
    freedom; ``done, known, allowed``: doughs, degrees of freedom, and what may have been spent;
    ``random``: where the random numbers stand.
    """

    levels: tuple[float, ...]
    sums: Floats
    squares: Floats
    inside: NDArray[np.bool_]
    done: float
    known: float
    allowed: float
    random: Any


#: One look: when, its degrees of freedom, and the doughs behind it.
_Look = tuple[float, float, float]


@lru_cache(maxsize=256)
def _levels(looks: tuple[_Look, ...], settings: int, alpha: float) -> tuple[float, ...]:
    return _series(looks, settings, alpha).levels


@lru_cache(maxsize=4)  # each some ten megabytes; what may come goes on from the looks so far
def _series(looks: tuple[_Look, ...], settings: int, alpha: float) -> _Series:
    """Go on by one look with all simulated series."""
    from scipy import special

    rng = np.random.default_rng(1983)
    if not looks:
        none = np.zeros((settings, _SERIES)), np.zeros(_SERIES), np.ones(_SERIES, dtype=bool)
        return _Series((), *none, 0.0, 0.0, 0.0, rng.bit_generator.state)
    before = _series(looks[:-1], settings, alpha)
    rng.bit_generator.state = before.random
    (time, more, now), done = looks[-1], before.done
    sums, squares, inside = before.sums, before.squares.copy(), before.inside
    fresh = rng.normal(0, math.sqrt(now - done), (_SERIES, settings)).T
    # degrees of freedom that fall (an uneven bake may do that) bring no new knowledge
    gained = max(more - before.known, 0.0)
    if done:  # new doughs unlike the old ones move the means and widen the spread at once
        apart = fresh / (now - done) - sums / done
        apart -= apart.mean(axis=0)
        own = (apart**2).sum(axis=0) * done * (now - done) / now
        if gained < settings - 1 - 1e-9:
            # a share of a chi-square by the beta of its degrees of freedom is one of fewer itself
            part = (gained / 2, (settings - 1 - gained) / 2)
            own *= rng.beta(*part, _SERIES) if gained > 1e-4 else 0.0
        squares += own
        gained -= settings - 1
    sums = sums + fresh
    if gained > 1e-4:  # a rounding error must not change what is drawn after it
        squares += 2 * rng.standard_gamma(gained / 2, _SERIES)
    known = max(more, before.known)
    allowed = spent(time, alpha) - before.allowed
    count, level = round(allowed * _SERIES), allowed
    if count >= _FEW:
        size = (sums.max(axis=0) - sums.min(axis=0)) / np.sqrt(2 * now * squares / known)
        size[~inside] = 0.0
        limit = float(np.partition(size, -count)[-count])
        inside = inside & (size < limit)
        one = settings <= 2
        p = 2 * float(special.stdtr(known, -limit)) if one else tukey_p(limit, known, settings)
        level = min(p, before.allowed + allowed)  # never more than may be spent in all by now
    return _Series(
        (*before.levels, level), sums, squares, inside, now, known, before.allowed + allowed,
        rng.bit_generator.state,
    )  # fmt: skip


def _rising(name: str, values: Sequence[float]) -> Floats:
    numbers = np.asarray(values, dtype=float)
    if not len(numbers) or not np.all(np.diff(numbers, prepend=0.0) > 0):
        raise InputError(name, list(values), "must rise from look to look, starting above 0")
    return numbers
