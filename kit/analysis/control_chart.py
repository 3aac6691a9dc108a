"""Is the kitchen steady from bake to bake? One value a bake, with its limits and signs of change.

Individuals and moving ranges: the spread is judged by how much neighbouring bakes differ,
which a slow drift does not inflate (NIST/SEMATECH e-Handbook 6.3.2.2). The signs are the four zone
tests; singly and together, and how often they cry out for nothing, they are described there in
6.3.2 and by Champ & Woodall (1987), Technometrics 29:393: with limits known, on average after 370
values for the first alone, after 92 for all four.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from kit import words
from kit.analysis.asked import need_columns
from kit.analysis.moments import Floats, outcome_values
from kit.analysis.steady.chart_constants import d2, upper_range_factor
from kit.errors import DataError, InputError
from kit.shown import Telling, Told

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["RULES", "ControlChart", "Rule", "Run", "bake_chart", "control_chart", "find_runs"]

#: Limits from fewer values are rough (common practice, no source).
ENOUGH = 20
#: A steady kitchen gives a sign once in so many bakes, but hardly in the first few, from which its
#: own limits come (simulated: zone tests and jumps together, 20 to 100 bakes, to ± 2 points).
_ONCE_IN, _FIRST = 60, 8


def _by_chance(bakes: int) -> float:
    """Share of charts of a steady kitchen that show a sign, its limits being from all bakes."""
    return float(-np.expm1(-max(bakes - _FIRST, 0) / _ONCE_IN))


@dataclass(frozen=True)
class Rule:
    """At least `need` of `of` values in succession lie beyond `limit` on the same side."""

    name: str
    need: int
    of: int
    limit: float
    text: str


RULES = (
    Rule("one beyond 3", 1, 1, 3.0, "beyond the limit (three standard deviations)"),
    Rule("two of three beyond 2", 2, 3, 2.0, "two of three beyond two standard deviations"),
    Rule("four of five beyond 1", 4, 5, 1.0, "four of five beyond one standard deviation"),
    Rule("eight on one side", 8, 8, 0.0, "eight in a row"),
)


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


def find_runs(z: Floats) -> tuple[Run, ...]:
    """Find where a rule is met; a stretch that goes on is told once, at its first sign.

    Parameters
    ----------
    z : float array, shape (n,)
        Distances from the centre in standard deviations, in order of time.

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
    for rule in RULES:
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


@dataclass(frozen=True)
class ControlChart(Told):
    """Values in order of time, their limits, and the signs of change.

    Parameters
    ----------
    outcome : str
        Column or plain words.
    points : DataFrame
        One row a bake: ``name, value, distance`` (from the centre in standard deviations),
        ``moving_range`` (from the one before; NaN at the first), ``signs`` (text, empty where
        there is none).
    centre, lower, upper, sd : float
        Mean, limits three standard deviations from it, and the standard deviation: mean moving
        range over d2.
    mean_range, upper_range : float
        Mean moving range and its upper limit.
    runs : tuple of Run
        Signs in the values.
    jumps : tuple of int
        Values (from 0) that lie further from the one before than the upper limit allows.
    checks : tuple of str
    """

    outcome: str
    points: pd.DataFrame
    centre: float
    lower: float
    upper: float
    sd: float
    mean_range: float
    upper_range: float
    runs: tuple[Run, ...]
    jumps: tuple[int, ...]
    checks: tuple[str, ...]

    @property
    def steady(self) -> bool:
        """Whether there is no sign of change."""
        return not self.runs and not self.jumps

    @property
    def headline(self) -> str:
        """The answer in a few words."""
        if self.steady:
            changed = f"{words.name(self.outcome)} changed over these {len(self.points)} bakes"
            if len(self.points) < ENOUGH:
                return f"No sign that {changed}; so few would show a large change only."
            return f"Steady: no sign that {changed}."
        signs = len(self.runs) + len(self.jumps)
        count = "One sign" if signs == 1 else f"{signs} signs"
        return f"{count} that {words.name(self.outcome)} did not stay the same."

    @property
    def signs(self) -> tuple[str, ...]:
        """Every sign in words, with the names of its bakes."""
        names = self.points["name"].astype(str).tolist()
        told = []
        for run in self.runs:
            side = "above" if run.side > 0 else "below"
            value = self._shown(float(self.points["value"].iloc[run.last]))
            if run.rule.of == 1:
                limit = self._shown(self.upper if run.side > 0 else self.lower)
                told.append(f"Bake {names[run.last]} ({value}) lies {side} the limit of {limit}.")
            else:
                span = f"Bakes {names[run.first]} to {names[run.last]}"
                told.append(f"{span}: {run.rule.text}, {side} the mean.")
        for at in self.jumps:
            jump = self._shown(float(self.points["moving_range"].iloc[at]))
            told.append(
                f"From bake {names[at - 1]} to {names[at]} it jumped by {jump}, more than the "
                f"{self._shown(self.upper_range)} that chance explains."
            )
        return tuple(told)

    @property
    def sentence(self) -> str:
        """Centre, limits and signs."""
        text = (
            f"One bake lies about {self._shown(self.centre)}, and chance alone mostly keeps it "
            f"between {self._shown(self.lower)} and {self._shown(self.upper)}."
        )
        return " ".join([text, *self.signs])

    @property
    def next_step(self) -> str:
        """What to do next."""
        if self.steady:
            return "Next: go on; a change made on purpose would have to show beyond these limits."
        return (
            "Next: look in the notes of these bakes for what was different (flour or yeast lot, "
            "room, griddle, hands, scale) before believing any comparison across them."
        )

    @property
    def method(self) -> str:
        """Formulas and sources, for a statistician."""
        return (
            f"For the statistician: individuals and moving ranges of two (e-Handbook 6.3.2.2), "
            f"limits from {len(self.points)} values: mean ± 3·(mean moving range)/d2, "
            f"d2 = {d2(2):.4f}; {len(RULES)} zone tests, which together give a false sign about "
            "once in 92 values when limits are known (Champ & Woodall 1987), oftener when they "
            f"rest on few, and with the jumps once in {_ONCE_IN}."
        )

    def _shown(self, value: float) -> str:
        return words.number(value, self.sd, words.unit_of(self.outcome))

    def __repr__(self) -> str:
        return (
            f"<ControlChart {self.outcome}: {len(self.points)} bakes, {self.centre:.4g} "
            f"[{self.lower:.4g}, {self.upper:.4g}], {len(self.runs) + len(self.jumps)} signs>"
        )

    def tells(self) -> Telling:
        """What it says."""
        return Telling(self.headline, (self.sentence, self.next_step), self.checks, self.method)

    def to_frame(self) -> pd.DataFrame:
        """The bakes, one tidy row each, with centre and limits beside."""
        return self.points.assign(
            centre=self.centre, lower=self.lower, upper=self.upper, mean_range=self.mean_range,
            upper_range=self.upper_range,
        )  # fmt: skip

    def plot(self, ax: "Axes | None" = None) -> "Axes":
        """Draw values and limits; in a figure of its own, the moving ranges below."""
        from kit import charts

        return charts.control_chart(self, ax)


def control_chart(
    values: "Sequence[float] | pd.Series[float]",
    names: Sequence[object] = (),
    outcome: str = "value",
) -> ControlChart:
    """Chart values in order of time.

    Parameters
    ----------
    values : sequence of float
        One a bake; a missing one is left out and its neighbours become neighbours.
    names : sequence, optional
        Of the bakes; numbers from 1 when not given.
    outcome : str
        Column or words for what it is.

    Returns
    -------
    ControlChart

    Raises
    ------
    DataError
        Fewer than three values, values that do not differ, or a value that is no finite number.
    InputError
        Not one name for each value.

    Examples
    --------
    >>> control_chart([28.1, 28.6, 27.9, 28.4, 28.0, 33.0], outcome="rise_height_mm").signs[0]
    'Bake 6 (33.0 mm) lies above the limit of 32.8 mm.'
    """
    series = pd.Series(outcome_values(pd.DataFrame({outcome: list(values)}), outcome))
    given = list(names) or list(range(1, len(series) + 1))
    if len(given) != len(series):
        raise InputError("names", len(given), f"must be {len(series)}, one for each value")
    missing = series.isna()
    checks = []
    if missing.any():
        left = words.join(str(n) for n, m in zip(given, missing, strict=True) if m)
        checks.append(f"left out, as there is no value: {left}")
    points = pd.DataFrame({"name": given, "value": series})[~missing].reset_index(drop=True)
    if len(points) < 3:
        msg = f"{words.plural(len(points), 'bake')}: a chart needs three at least, best {ENOUGH}."
        raise DataError(msg)
    ranges = points["value"].diff().abs()
    mean_range = float(ranges.mean())
    if mean_range == 0:
        msg = "the values do not differ from bake to bake at all: they were copied or rounded."
        raise DataError(msg)
    centre, sd = float(points["value"].mean()), mean_range / d2(2)
    points["distance"] = (points["value"] - centre) / sd
    points["moving_range"] = ranges
    upper_range = upper_range_factor(2) * mean_range
    runs = find_runs(points["distance"].to_numpy())
    jumps = tuple(int(i) for i in np.flatnonzero(ranges > upper_range))
    signs = [[run.rule.name for run in runs if run.last == i] for i in range(len(points))]
    for i in jumps:
        signs[i].append("jump")
    points["signs"] = ["; ".join(s) for s in signs]
    if len(points) < ENOUGH:
        checks.append(
            f"the limits rest on {len(points)} bakes, fewer than {ENOUGH}: take a sign as a reason "
            "to look, not as proof, and draw the chart again when there are more"
        )
    elif runs or jumps:
        checks.append(
            f"a steady kitchen gives a sign as well, about once in {_ONCE_IN} bakes: with "
            f"{len(points)} bakes it happens in about {100 * _by_chance(len(points)):.0f} of 100 "
            "such charts"
        )
    return ControlChart(
        outcome=outcome, points=points, centre=centre, lower=centre - 3 * sd,
        upper=centre + 3 * sd, sd=sd, mean_range=mean_range, upper_range=upper_range, runs=runs,
        jumps=jumps, checks=tuple(checks),
    )  # fmt: skip


def bake_chart(
    frame: pd.DataFrame,
    outcome: str,
    bake: str = "bake",
    dough: str | None = "dough",
    only: Mapping[str, object] | None = None,
) -> ControlChart:
    """Chart one value a bake: the mean of its dough means, in the order of the rows.

    Parameters
    ----------
    frame : DataFrame
        One row a piece.
    outcome, bake : str
    dough : str, optional
    only : mapping, optional
        Take these settings only, such as ``{"malt_percent": 0}``: the control dough of every
        bake. Without it all pieces count, and a bake that held other settings looks different.

    Returns
    -------
    ControlChart

    Raises
    ------
    NotFoundError, DataError
        A column is missing, or nothing is left.
    """
    only = only or {}
    keys = [bake, *([dough] if dough else [])]
    need_columns(frame, (outcome, *keys, *only))
    values = pd.Series(outcome_values(frame, outcome), index=frame.index)
    keep = frame[bake].notna()
    for column, setting in only.items():
        keep &= frame[column] == setting
    rows = frame[keep].assign(_value=values[keep])
    if rows.empty:
        which = words.join(words.setting(c, v) for c, v in only.items())
        msg = f"no piece {f'with {which} ' if which else ''}has a bake: nothing to chart."
        raise DataError(msg)
    doughs = rows.groupby(keys, sort=False, observed=True)["_value"].mean()
    means = doughs.groupby(level=0, sort=False, observed=True).mean()
    return control_chart(means, list(means.index), outcome)
