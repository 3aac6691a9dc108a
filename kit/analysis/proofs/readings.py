"""Readings of a rise, checked and put in order."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from kit.analysis.moments import Floats
from kit.errors import DataError, InputError

__all__ = ["LONGEST_HOURS", "MOST_RATIO", "Readings", "read_rise"]

#: Readings beyond are mistakes: minutes for hours, or a height in millimetres for a ratio.
LONGEST_HOURS, MOST_RATIO = 168.0, 12.0
#: A dough has fallen when a later reading lies lower than the highest by more than their
#: uncertainties explain so often: the highest of many readings lies above most of the others by
#: luck, so the chance is shared out among all pairs (Bonferroni). Own choice, held to by
#: simulation.
_BY_LUCK = 0.05
#: Where no uncertainties are stated, by this share of the highest at least.
_FALL = 0.05
#: What a reading is unsure by where that is not stated, as a share of it, and of how many degrees
#: of freedom that is worth: few readings tell little of it themselves. Own choice, no source.
_UNSURE, _UNSURE_DF = 0.025, 20.0


@dataclass(frozen=True)
class Readings:
    """Readings after the start, in order of time.

    Parameters
    ----------
    hours, ratios : array, shape (n,)
    u : array, shape (n,), or None
    fell : (float, float) or None
        Hours and ratio of the highest reading, where a later one lies surely lower.
    start : int
        How many readings were taken at hour 0; they are 1 by definition and tell nothing.
    checks : tuple of str
    """

    hours: Floats
    ratios: Floats
    u: Floats | None
    fell: tuple[float, float] | None
    start: int
    checks: tuple[str, ...]

    @property
    def last(self) -> float:
        """Hours of the last reading."""
        return float(self.hours[-1])

    @property
    def top(self) -> float:
        """The highest ratio."""
        return float(self.ratios.max())

    @property
    def peak_hours(self) -> float:
        """Hours of the highest reading where it fell after, else of the last one."""
        return self.last if self.fell is None else self.fell[0]

    def rising(self) -> tuple[Floats, Floats, Floats | None]:
        """Readings up to the highest where it fell after; all of them otherwise."""
        keep = self.hours <= self.peak_hours
        return self.hours[keep], self.ratios[keep], None if self.u is None else self.u[keep]

    def table(self, used_to_peak: bool) -> pd.DataFrame:
        """``hours, ratio, u, used``, the start included."""
        u = np.full(len(self.hours), np.nan) if self.u is None else self.u
        rows = pd.DataFrame({"hours": self.hours, "ratio": self.ratios, "u": u})
        rows["used"] = (rows["hours"] <= self.peak_hours) | (not used_to_peak)
        first = pd.DataFrame({"hours": [0.0], "ratio": [1.0], "u": [np.nan], "used": [True]})
        return pd.concat([first] * bool(self.start) + [rows], ignore_index=True)

    def crossing(self, ratio: float, level: float) -> tuple[float, float, float]:
        """Hours at which a ratio was passed: between two readings, and the two readings.

        With stated uncertainties the interval reaches back to the last reading surely below,
        and on to the first one surely above. NaN, and infinity above, where it was not reached.
        """
        from scipy import special

        t, r = np.append(0.0, self.hours), np.append(1.0, self.ratios)
        u = np.zeros(len(t)) if self.u is None else np.append(0.0, self.u)
        slack = float(special.ndtri((1 + level) / 2)) * u
        below, above = r + slack < ratio, r - slack >= ratio
        first = int(np.argmax(above)) if above.any() else len(t)
        low = float(t[:first][below[:first]].max(initial=0.0))
        high = float(t[first]) if first < len(t) else np.inf
        passed = np.flatnonzero(r >= ratio)
        if not len(passed):
            return np.nan, low, np.inf
        i = int(passed[0])
        middle = t[i - 1] + (ratio - r[i - 1]) / (r[i] - r[i - 1]) * (t[i] - t[i - 1])
        return float(middle), min(low, float(middle)), high


def read_rise(hours: Any, ratios: Any, u: Any = None) -> Readings:
    """Check readings of a rise and put them in order.

    Raises
    ------
    InputError
        A time or ratio that cannot be, or an uncertainty not above 0.
    DataError
        Lists of different lengths, or nothing after the start.
    """
    t, r = (_numbers(values, name) for values, name in ((hours, "hours"), (ratios, "ratios")))
    if t.shape != r.shape:
        msg = f"{len(t)} times and {len(r)} ratios: give one ratio for each time."
        raise DataError(msg)
    spread = None if u is None else np.broadcast_to(_numbers(u, "u"), t.shape)
    there = np.isfinite(t) & np.isfinite(r)
    for name, values, low, high, remedy in (
        ("hours", t, 0.0, LONGEST_HOURS, "Give hours since the clock started, not minutes."),
        ("ratios", r, 0.2, MOST_RATIO, "Give volume over the volume at the start: 2 is double."),
    ):
        wrong = there & ~((values >= low) & (values <= high))
        if wrong.any():
            i = int(np.flatnonzero(wrong)[0])
            rule = f"must lie between {low:g} and {high:g}"
            raise InputError(name, float(values[i]), rule, remedy, f"reading {i + 1}")
    checks = []
    if (~there).any():
        count = int((~there).sum())
        some = "reading has" if count == 1 else "readings have"
        checks.append(f"{count} {some} no time or no ratio and was left out")
    if spread is not None:
        wrong = there & ~(spread > 0)
        if wrong.any():
            remedy = "Give the standard uncertainty of a ratio, for example 0.03."
            raise InputError("u", float(spread[wrong][0]), "must be above 0", remedy)
    start = there & (t == 0)
    if (np.abs(r[start] - 1) > 0.02).any():
        remedy = "Divide all readings by the one at the start."
        off = float(r[start][np.abs(r[start] - 1).argmax()])
        raise InputError("ratios", off, "must be 1 at hour 0", remedy)
    order = np.argsort(t, kind="stable")
    order = order[there[order] & (t[order] > 0)]
    if not len(order):
        msg = "no reading after the start: nothing can be said of the rise. Look at it again later."
        raise DataError(msg)
    t, r = t[order], r[order]
    spread = None if spread is None else spread[order]
    return Readings(t, r, spread, _fell(t, r, spread), int(start.sum()), tuple(checks))


def _numbers(values: Any, name: str) -> Floats:
    """As an array of floats; None is missing."""
    try:
        return np.atleast_1d(np.asarray(values, dtype=float))
    except (TypeError, ValueError) as exc:
        remedy = "Read what was typed with kit.units.parse first."
        raise InputError(name, values, "must be numbers", remedy) from exc


def _fell(t: Floats, r: Floats, u: Floats | None) -> tuple[float, float] | None:
    """The highest reading, where a later one lies surely lower."""
    from scipy import special

    top = int(r.argmax())
    later = r[top + 1 :]
    if not len(later):
        return None
    chance = _BY_LUCK / (len(r) * (len(r) - 1) / 2)
    if u is not None:
        limit = special.ndtri(1 - chance) * np.hypot(u[top], u[top + 1 :])
        fell = bool((r[top] - later > limit).any())
    else:
        unsure, df = _scatter(t, r)
        limit = max(special.stdtrit(df, 1 - chance) * np.sqrt(2) * unsure, -np.log1p(-_FALL))
        fell = bool((np.log(r[top] / later) > limit).any())
    return (float(t[top]), float(r[top])) if fell else None


def _scatter(t: Floats, r: Floats) -> tuple[float, float]:
    """What a reading is unsure by, as a share of it, and the degrees of freedom that rests on.

    From how far each reading lies off the straight line between its neighbours (Gasser, Sroka and
    Jennen-Steinmetz 1986, *Biometrika* 73:625), which a slope does not move, and from what is
    usual. Neighbouring distances share readings, so n of them are worth about n/1.94 degrees of
    freedom (own arithmetic: 1 + 2 (4/6)² + 2 (1/6)² for readings evenly apart).
    """
    y, wide = np.log(r), t[2:] - t[:-2]
    share = np.divide(t[2:] - t[1:-1], wide, out=np.full(len(wide), 0.5), where=wide > 0)
    off = share * y[:-2] + (1 - share) * y[2:] - y[1:-1]
    own = off**2 / (share**2 + (1 - share) ** 2 + 1)
    known = len(own) / 1.94
    df = _UNSURE_DF + known
    # by their median, for the fall lies off the line as well (0.455: that of chi-squared, 1 df)
    usual = float(np.median(own)) / 0.455 if len(own) else 0.0
    return float(np.sqrt((_UNSURE_DF * _UNSURE**2 + known * usual) / df)), df
