"""What the doses of two factors do together, and every sentence about it."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import pandas as pd

from kit import words
from kit.analysis.answer.fit_checks import FitChecks
from kit.analysis.answer.sentences import fitted, held_alike, made_of
from kit.analysis.doses.best import Want
from kit.analysis.doses.settings import near
from kit.analysis.doses.surface_fit import Effect, Turning
from kit.analysis.mixed import MixedFit
from kit.analysis.verdict import Answer, decide, sign
from kit.shown import Telling, Told

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["Surface"]

_KINDS = {
    "peak": "a peak",
    "dip": "a lowest point",
    "saddle": "a saddle (up one way, down another)",
}


@dataclass(frozen=True)
class Surface(Told):
    """An answer about two doses together.

    Parameters
    ----------
    outcome : str
    of : (str, str)
    want : {"high", "low"}
    matters : float or None
    coefficients : DataFrame
        Of the fit: ``estimate, se, df, t, p, low, high``.
    effects : tuple of Effect
        Each factor's change from lowest to highest at the other one's lowest and highest.
    together : Effect
        How much more the first factor does at the second one's highest dose than at its lowest.
    turning : Turning or None
        None without both squares.
    best : (float, float)
        Where the fitted surface is best inside what was baked.
    best_mean, best_low, best_high : float
        The outcome there.
    tests : DataFrame
        ``num_df, den_df, F, p`` of the linear part, the squares, working together.
    lack_of_fit : Series or None
        Against the combinations baked as settings: ``num_df, den_df, F, p``.
    grid : DataFrame
        Both factors and ``mean``.
    points : DataFrame
        The combinations baked: both factors, ``doughs, pieces, mean``.
    counts, columns, adjusted, checks, fit, examined
        As in `Found`.
    """

    outcome: str
    of: tuple[str, str]
    want: Want
    matters: float | None
    coefficients: pd.DataFrame
    effects: tuple[Effect, ...]
    together: Effect
    turning: Turning | None
    best: tuple[float, float]
    best_mean: float
    best_low: float
    best_high: float
    tests: pd.DataFrame
    lack_of_fit: pd.Series | None
    grid: pd.DataFrame = field(repr=False)
    points: pd.DataFrame = field(repr=False)
    counts: Mapping[str, int]
    columns: Mapping[str, str | None]
    adjusted: tuple[str, ...]
    checks: tuple[str, ...]
    fit: MixedFit = field(repr=False)
    examined: FitChecks | None = field(repr=False, default=None)

    def __repr__(self) -> str:
        kind = self.turning.kind if self.turning else "no turning point"
        return f"<Surface {self.outcome} of {self.of[0]} and {self.of[1]}: {kind}>"

    @property
    def headline(self) -> str:
        """Whether the two work together."""
        first, second = map(words.name, self.of)
        what, depends = words.name(self.outcome), self.depends
        if depends is False:
            return f"What {first} does hardly depends on {second}."
        if depends is None:
            return f"Whether what {first} does depends on {second} cannot be told yet."
        low, high = self.effects[:2]
        at_low, at_high = (words.amount(self.of[1], e.at) for e in (low, high))
        sure_low, sure_high = (sign(e.low, e.high) for e in (low, high))
        if sure_low and sure_high and sure_low != sure_high:
            turn = f"{first} {_verb(sure_low)} {what} at {at_low} {second} and"
            return words.capital(f"{turn} {_verb(sure_high)} it at {at_high}.")
        if bool(sure_low) != bool(sure_high):
            here, there = (at_low, at_high) if sure_low else (at_high, at_low)
            return (
                f"{words.capital(first)} surely {_verb(sure_low or sure_high)} {what} at {here} "
                f"{second}; at {there} what it does is surely different, and may be nothing."
            )
        more = "more" if abs(high.change) > abs(low.change) else "less"
        return f"{words.capital(first)} does {more} at {at_high} {second} than at {at_low}."

    @property
    def sentence(self) -> str:
        """What each does at either end of the other, how they work together, where it is best."""
        parts, what, unit = [], words.name(self.outcome), words.unit_of(self.outcome)
        for low, high in (self.effects[:2], self.effects[2:]):
            told = [
                f"{_number(e, unit)} at {words.amount(e.other, e.at)} {words.name(e.other)}"
                for e in (low, high)
            ]
            parts.append(
                f"From its lowest dose to its highest, {words.name(low.factor)} changes {what} by "
                f"{told[0]} and by {told[1]}."
            )
        parts.append(f"The difference between the first two is {_number(self.together, unit)}.")
        most, rather = ("highest", "lower") if self.want == "high" else ("lowest", "higher")
        half = (self.best_high - self.best_low) / 2
        low_end, high_end = (words.number(v, half) for v in (self.best_low, self.best_high))
        parts.append(
            f"Inside what was baked the fitted surface is {most} at {self._place(self.best)}: "
            f"{words.number(self.best_mean, half, unit)} ({low_end} to {high_end}); picked for "
            f"coming out {most}, it is likely a little {rather}."
        )
        parts.append(self._turning())
        return " ".join(parts).strip()

    @property
    def rests_on(self) -> str:
        """How much baking stands behind it."""
        df, combinations = self.together.df, words.plural(len(self.points), "combination")
        return (
            f"It rests on {made_of(self.counts, self.columns)}, in {combinations} of the two; the "
            f"difference is judged with {df:.1f} degrees of freedom, so by the spread of about "
            f"{df + 1:.0f} independent results.{held_alike(self.adjusted)}"
        )

    @property
    def next_step(self) -> str:
        """What to bake next."""
        depends = self.depends
        if depends is False:
            first, second = map(words.name, self.of)
            return f"Choose {first} and {second} each by itself."
        if depends is None:
            return (
                "More doughs at the four corners (both low, both high, and one of each) tell most "
                "about whether the two work together."
            )
        return f"Before you rely on it, bake {self._place(self.best)} again, on another day."

    @property
    def method(self) -> str:
        """Model, tests and sources, for a statistician."""
        tests = "; ".join(f"{name} {words.f_test(test)}" for name, test in self.tests.iterrows())
        text = f"For the statistician: {fitted(self.fit)}. {words.capital(tests)}."
        if self.lack_of_fit is not None:
            text += f" Lack of fit {words.f_test(self.lack_of_fit)}."
        if self.turning is not None:
            (x, z), (a, b) = self.turning.at, self.turning.curvatures
            text += words.minus(
                f" Stationary point ({x:.3g}, {z:.3g}), curvatures {a:.3g} and {b:.3g} in half "
                "ranges (Box & Draper 2007, ch. 11)."
            )
        sure = f"{100 * self.fit.level:.0f} % intervals"
        return f"{text} {sure}, not protected for looking at several."

    @property
    def depends(self) -> bool | None:
        """Whether what the first does surely depends on the second, or hardly; None if open."""
        t = self.together
        if decide(t.low, t.high, self.matters) in (Answer.NONE, Answer.SMALL):
            return False
        return True if sign(t.low, t.high) else None

    def _turning(self) -> str:
        t = self.turning
        if t is None:
            return ""
        if t.ridge:
            return (
                "It bends surely in one direction only. Along the other it may be a ridge, on "
                "which quite different pairs of doses do about the same; whether it is cannot be "
                "told yet."
            )
        if not t.sure:
            return (
                f"The fitted surface has {_KINDS[t.kind]}, but its bends are not sure: take the "
                "picture as a guess where to bake next."
            )
        where = f"at {self._place(t.at)}" if t.inside else "outside what was baked"
        return f"It has {_KINDS[t.kind]} {where}; both its bends are sure."

    def _place(self, at: tuple[float, float]) -> str:
        told = []
        for name, dose in zip(self.of, at, strict=True):
            doses = self.grid[name]
            span = float(doses.max() - doses.min())
            told.append(f"{words.amount(name, near(dose, span))} {words.name(name)}")
        return " and ".join(told)

    def tells(self) -> Telling:
        """What it says."""
        texts = (self.sentence, self.rests_on, self.next_step)
        return Telling(self.headline, texts, self.checks, self.method)

    def to_frame(self) -> pd.DataFrame:
        """Every number told or drawn, one tidy row each.

        Returns
        -------
        DataFrame
            ``kind`` is "coefficient", "effect", "together", "turning", "best", "baked" or
            "surface"; both factors where they apply; ``name, estimate, low, high, df``.
        """
        a, b = self.of
        told = self.coefficients.reset_index().assign(kind="coefficient")
        rows: list[dict[str, object]] = []
        for kind, effects in (("effect", self.effects), ("together", (self.together,))):
            rows += [
                {"kind": kind, "name": e.factor, e.other: e.at, "estimate": e.change,
                 "low": e.low, "high": e.high, "df": e.df}
                for e in effects
            ]  # fmt: skip
        if self.turning is not None:
            at, value = self.turning.at, self.turning.value
            rows.append({"kind": "turning", "name": self.turning.kind, a: at[0], b: at[1],
                         "estimate": value})  # fmt: skip
        rows.append({"kind": "best", a: self.best[0], b: self.best[1], "estimate": self.best_mean,
                     "low": self.best_low, "high": self.best_high})  # fmt: skip
        parts = [
            told,
            pd.DataFrame(rows),
            self.points.rename(columns={"mean": "estimate"}).assign(kind="baked"),
            self.grid.rename(columns={"mean": "estimate"}).assign(kind="surface"),
        ]
        columns = ["kind", "name", a, b, "estimate", "low", "high", "df"]
        return pd.concat(parts, ignore_index=True).reindex(columns=columns)

    def plot(self, ax: "Axes | None" = None) -> "Axes":
        """Draw contours over both doses, what was baked, and where it is best."""
        from kit import charts

        return charts.surface(self, ax)


def _verb(sign: int) -> str:
    return "raises" if sign > 0 else "lowers"


def _number(e: Effect, unit: str) -> str:
    half = (e.high - e.low) / 2
    sign = "+" if e.change > 0 else ""
    return (
        f"{sign}{words.number(e.change, half, unit)} ({words.number(e.low, half)} to "
        f"{words.number(e.high, half)})"
    )
