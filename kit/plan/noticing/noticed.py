"""What a plan will notice, in numbers and in words."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import pandas as pd

from kit import words
from kit.analysis.grouping.structure import Unit
from kit.errors import DesignError
from kit.plan.noticing.exact import Curve, Exact, between, critical, numbers_of
from kit.plan.spread import Spread
from kit.shown import Telling, Told

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["Power", "degrees", "often"]


@dataclass(frozen=True)
class Power(Told):
    """The differences a plan will show, and how surely.

    Parameters
    ----------
    of : str
        The factor; empty when only numbers were given.
    unit : {"dough", "shaping", "piece", "load", "mixing", "bake"}
        What one setting is given to, hence what counts as one experiment.
    settings : int
        How many are compared.
    bakes : int or None
        None when all doughs are mixed in one session, or bakes were not spoken of.
    doughs, pieces : int, float
        Doughs in all, and pieces a dough.
    chance_wanted : float
        0.8: four times in five.
    alpha : float
        1 minus the level of the intervals.
    smallest : float
        Smallest difference between two settings noticed with that chance.
    smallest_range : (float, float)
        For the range of the spread; equal to `smallest` twice when it was stated.
    chance : float or None
        Of noticing a difference of `matters`, or of noticing `effects` as a whole.
    alike : float or None
        Chance of being able to say "no difference that matters" of all settings when there is none
        at all.
    df : float
        Behind the interval.
    se : float
        Standard error of the difference.
    effects : tuple of float
        Means of all settings, where the whole factor was asked about.
    trials : int
        Simulated; 0 in closed form.
    error : float
        Monte-Carlo standard error of `chance`, or of the wanted chance at `smallest`.
    """

    of: str
    unit: Unit
    settings: int
    bakes: int | None
    doughs: int
    pieces: float
    spread: Spread
    chance_wanted: float
    alpha: float
    smallest: float
    smallest_range: tuple[float, float]
    matters: float | None
    chance: float | None
    chance_range: tuple[float, float] | None
    alike: float | None
    df: float
    se: float
    effects: tuple[float, ...]
    trials: int
    error: float
    checks: tuple[str, ...]
    line: bool = False
    _curve: Curve = field(repr=False, kw_only=True)
    _exact: bool = field(repr=False, default=True)

    def chance_of(self, difference: float) -> float:
        """Chance of noticing one pair of settings that differ by this much."""
        return self._curve.chance(difference)

    def smallest_at(self, chance: float) -> float:
        """Smallest difference noticed with another chance."""
        between("chance", chance)
        return self._curve.smallest(chance)

    @property
    def surely(self) -> float:
        """Smallest true difference answered "a difference that matters" with the wanted chance.

        The whole interval must then lie beyond `matters` and not only beyond zero, so it must be
        so much larger than the smallest that is noticed. NaN where nobody said what matters.
        """
        return math.nan if self.matters is None else self.matters + self.smallest

    def doughs_against_pieces(
        self,
        pieces: Sequence[int] = (1, 3, 6, 12, 24),
        bakes: Sequence[int] = (2, 3, 4, 5, 6, 8, 10, 12),
    ) -> pd.DataFrame:
        """Smallest difference for other numbers of bakes and pieces: why pieces do not do it.

        Every setting as often in every bake as in this plan (without bakes: so many doughs a
        setting). For a factor decided inside doughs, so many doughs, each with all settings.

        Returns
        -------
        DataFrame
            ``bakes`` (or ``doughs``), ``pieces``, ``smallest``, ``doughs_in_all``.
        """
        rows = []
        what, in_a_bake = "doughs", 1
        if self.bakes is not None and not self.inside:
            what, in_a_bake = "bakes", max(1, round(self.doughs / self.bakes / self.settings))
        for count in bakes:
            for each in pieces:
                try:
                    other = numbers_of(
                        self.settings,
                        count if what == "bakes" else None,
                        in_a_bake if what == "bakes" else count,
                        each,
                        self.unit if self.inside else "dough",  # type: ignore[arg-type]
                    )
                except DesignError:
                    continue
                found = self._smallest_of(other.se(self.spread), other.df)
                rows.append((count, each, found, other.doughs))
        return pd.DataFrame(rows, columns=[what, "pieces", "smallest", "doughs_in_all"])

    @property
    def inside(self) -> bool:
        """Whether settings are compared within each dough."""
        return self.unit in ("piece", "shaping")

    @property
    def unit_of_outcome(self) -> str:
        """Such as mm; empty when no outcome was named."""
        return words.unit_of(self.spread.outcome)

    @property
    def headline(self) -> str:
        """What will be noticed."""
        between = "two settings" if self.settings > 2 else "the two settings"
        if self.line:
            between = "the two ends of the line"
        if self.of:
            between += f" of {words.name(self.of)}"
        if math.isinf(self.smallest):
            return f"{self._with_what()}, no difference is noticed {often(self.chance_wanted)}."
        return (
            f"{self._with_what()}, you will notice a difference of "
            f"{self._amount(self.smallest)} between {between} {often(self.chance_wanted)}."
        )

    def _with_what(self) -> str:
        about = "" if self.pieces == int(self.pieces) else "about "
        each = f"{about}{self.pieces:.3g} {'piece' if self.pieces == 1 else 'pieces'}"
        doughs = words.plural(self.doughs, "dough")
        made = f"{doughs} of {each}"
        if self.bakes is None or self.bakes == self.doughs:
            return f"With {made}"
        return f"With {words.plural(self.bakes, 'bake')} ({made})"

    def _amount(self, value: float) -> str:
        return words.number(value, value, self.unit_of_outcome)

    @property
    def sentences(self) -> list[str]:
        """Everything to be said, one sentence each."""
        said = [self.headline]
        if self.smallest_range[0] < self.smallest_range[1]:
            low, high = self.smallest_range
            said.append(
                f"The spread is known only {self.spread.source}, so that may turn out to be "
                f"anything from {self._amount(low)} to {self._amount(high)} (one time in five "
                "even beyond)."
            )
        if self.effects:
            said.append(f"The settings as given are noticed {often(self.chance or 0.0)}.")
        elif self.matters is not None and self.chance is not None:
            said.append(self._about_matters())
        said.append(self._pieces_or_doughs())
        if not self.spread.known:
            said.append(f"All this holds if the spread is as stated: {self.spread.parts}.")
        return [s for s in said if s]

    def _of_matters(self) -> str:
        return words.amount(self.spread.outcome, self.matters)

    def _about_matters(self) -> str:
        assert self.chance is not None
        assert self.matters is not None
        text = (
            f"A difference of {self._of_matters()}, which matters to you, is noticed "
            f"{often(self.chance)}"
        )
        if self.chance_range and self.chance_range[1] - self.chance_range[0] > 0.02:
            low, high = self.chance_range
            text += f" (anything from {100 * low:.0f} to {100 * high:.0f} % of the time)"
        text += "."
        if math.isfinite(self.surely):
            text += (
                " To be noticed is to be told from none: that it surely reaches "
                f"{self._of_matters()} can be said {often(self.chance_wanted)} only of a "
                f"difference of {self._amount(self.surely)} or more."
            )
        if self.alike is not None:
            text += (
                " If the settings do not differ at all, the bakes will be able to say so (less "
                f"than {self._of_matters()}) {often(self.alike)}."
            )
        return text

    def _pieces_or_doughs(self) -> str:
        """What doubling would buy."""
        if self.line or not math.isfinite(self.smallest):
            return ""
        spread = self.spread
        if self.unit == "piece":
            return (
                "It is decided inside each dough, so pieces count here: twice as many pieces, or "
                f"doughs, would bring it to about {self._amount(self.smallest / math.sqrt(2))}."
            )
        if self.unit not in ("dough", "mixing", "shaping") or self.pieces < 1:
            return ""
        if self.unit == "mixing" and spread.mixing:
            return "The mixings count here, so only more bakes tell much more."
        own, of_pieces = spread.dough**2, spread.piece**2 / self.pieces
        if self.unit == "shaping":
            own, of_pieces = (spread.shaping or 0.0) ** 2, of_pieces * self.settings
        more = self.smallest * math.sqrt((own + of_pieces / 2) / (own + of_pieces))
        twice = self._twice()
        if twice is None:
            return ""
        word = "bakes" if self.bakes and not self.inside else "doughs"
        return (
            f"Twice as many pieces a dough would bring it to {self._amount(more)}, twice as many "
            f"{word} to {self._amount(twice)}."
        )

    def _twice(self) -> float | None:
        if not self._exact:
            return self.smallest / math.sqrt(2)
        # twice as many units: N − bakes (doughs) − (settings − 1), or N − settings in one session
        blocked = self.inside or (self.bakes is not None and self.bakes > 1)
        df = 2 * self.df + self.settings - blocked
        return self._smallest_of(self.se / math.sqrt(2), df)

    def _smallest_of(self, se: float, df: float) -> float:
        """Smallest difference noticed with another standard error and degrees of freedom."""
        limit = critical(1 - self.alpha, df, self.settings)
        return Exact(se, df, limit, self.settings).smallest(self.chance_wanted)

    @property
    def method(self) -> str:
        """For a statistician."""
        pair = "Student's t" if self.settings <= 2 else "Tukey's studentized range over all pairs"
        how = (
            f"{self.trials} simulated trials refitted by REML with Kenward–Roger degrees of "
            f"freedom, Monte-Carlo standard error {100 * self.error:.1f} points"
            if self.trials
            else "noncentral t, exact for this balanced plan"
            if self._exact
            else "noncentral t with the variances taken as known, an approximation for this plan"
        )
        if self.effects:
            how = f"noncentral F({self.settings - 1}, {self.df:.1f}) for the whole factor; {how}"
        return (
            f"For the statistician: {100 * (1 - self.alpha):.0f} % interval by {pair}, "
            f"{degrees(self.df)}, SE of a difference {words.number(self.se, self.se)}; {how}. "
            f"{self.spread.sentence}"
        )

    def __repr__(self) -> str:
        what = self.of or "settings"
        return (
            f"<Power {what}: {self.smallest:.3g} noticed with chance {self.chance_wanted:g}; "
            f"{self.doughs} doughs of {self.pieces:g}>"
        )

    def tells(self) -> Telling:
        """What it says."""
        first, *rest = self.sentences
        return Telling(first, rest, self.checks, self.method)

    def to_frame(self) -> pd.DataFrame:
        """One row a number: ``what, value, low, high, error``."""
        rows: list[tuple[str, float, float, float, float]] = [
            ("smallest", self.smallest, *self.smallest_range, math.nan)
        ]
        if self.chance is not None:
            low, high = self.chance_range or (self.chance, self.chance)
            rows.append(("chance", self.chance, low, high, self.error))
        if self.matters is not None:
            least, most = self.smallest_range
            rows.append(
                ("surely", self.surely, self.matters + least, self.matters + most, math.nan)
            )
        if self.alike is not None:
            rows.append(("alike", self.alike, math.nan, math.nan, self._curve.error(self.alike)))
        return pd.DataFrame(rows, columns=["what", "value", "low", "high", "error"])

    def plot(self, ax: "Axes | None" = None) -> "Axes":
        """Draw the smallest difference against bakes, one line for each number of pieces."""
        from kit import charts

        return charts.doughs_and_pieces(self, ax)


def degrees(df: float) -> str:
    """Degrees of freedom as they are said.

    Examples
    --------
    >>> degrees(1.0), degrees(9.27)
    ('1 degree of freedom', '9.3 degrees of freedom')
    """
    number = f"{df:.1f}".removesuffix(".0")
    return f"{number} {'degree' if number == '1' else 'degrees'} of freedom"


def often(chance: float) -> str:
    """A chance as it is said.

    Examples
    --------
    >>> often(0.8), often(0.53), often(0.004), often(0.9999)
    ('four times in five', '53 % of the time', 'hardly ever', 'practically always')
    """
    said = {0.8: "four times in five", 0.9: "nine times in ten", 0.5: "one time in two"}
    for value, text in said.items():
        if abs(chance - value) < 0.0005:
            return text
    if chance >= 0.995:
        return "practically always"
    if chance < 0.01:
        return "hardly ever"
    return f"{100 * chance:.0f} % of the time"
