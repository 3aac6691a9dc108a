"""The griddle mapped: which places run tall or dark, against the mean of all places.

An analysis of means (Ott 1967, Industrial Quality Control 24:101): each place's difference from
the mean of all, with intervals that hold for all places together. The joint critical value is
that of the studentized maximum modulus, which is at least as wide as the exact one whatever the
correlation (Šidák 1967, JASA 62:626).
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from kit import words
from kit.analysis.answer.fitting import margin
from kit.analysis.means import dunnett_critical, dunnett_p, per_df
from kit.analysis.mixed import MixedFit
from kit.analysis.moments import Floats
from kit.analysis.steadiness import baked
from kit.analysis.steady.spread_records import PLACE, away_from_mean, fit_spread, read_spread
from kit.errors import DataError, InputError
from kit.given import as_whole
from kit.shown import Telling, Told

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["GriddleMap", "griddle_map", "joint"]


@dataclass(frozen=True)
class GriddleMap(Told):
    """How each place differs from the mean of all places.

    Parameters
    ----------
    outcome : str
    places : DataFrame
        One row a place: ``place, row, column`` (from 1; the place's own order), ``mean``,
        ``difference, se, df, t, p, low, high`` (p and interval hold for all places together),
        ``pieces``.
    matters : float or None
        The smallest difference the baker cares about.
    test : Series
        ``num_df, den_df, F, p`` of all places at once.
    counts : mapping
    level : float
    checks : tuple of str
    fit : MixedFit
    """

    outcome: str
    places: pd.DataFrame
    matters: float | None
    test: pd.Series
    counts: Mapping[str, int]
    level: float
    checks: tuple[str, ...]
    fit: MixedFit = field(repr=False)

    @property
    def apart(self) -> pd.DataFrame:
        """The places that surely differ from the mean of all, the most different first."""
        sure = self.places[(self.places["low"] > 0) | (self.places["high"] < 0)]
        return sure.sort_values("difference", key=np.abs, ascending=False)

    @property
    def headline(self) -> str:
        """The answer in a few words."""
        apart = len(self.apart)
        if apart == 0:
            return f"No place differs surely from the others in {words.name(self.outcome)}."
        verb = "differs" if apart == 1 else "differ"
        number = f"{words.plural(apart, 'place')} of {len(self.places)}"
        return f"{number} {verb} from the mean of all in {words.name(self.outcome)}."

    @property
    def sentence(self) -> str:
        """Which places, by how much, and how much could have been missed."""
        unit, told = words.unit_of(self.outcome), []
        for row in self.apart.to_dict("records"):
            half = (row["high"] - row["low"]) / 2
            near, far = sorted((abs(row["low"]), abs(row["high"])))
            size = words.number(abs(row["difference"]), half, unit)
            told.append(
                f"place {row['place']} comes out {size} "
                f"{'more' if row['difference'] > 0 else 'less'} than the mean of all places "
                f"({words.number(near, half)} to {words.number(far, half)})"
            )
        most = _furthest(self.places)
        spread = float(self.places["high"].sub(self.places["low"]).median()) / 2
        if not told:
            return (
                "The largest difference that fits these bakes at any place is "
                f"{words.number(most, spread, unit)} from the mean of all."
            )
        rest = len(self.places) - len(told)
        text = words.capital("; ".join(told)) + "."
        if rest:
            others = "The other place" if rest == 1 else f"The other {rest} places"
            text += (
                f" {others} cannot be told from the mean (differences below about "
                f"{words.number(spread, spread, unit)} would not show)."
            )
        return text

    @property
    def rests_on(self) -> str:
        """How much baking stands behind it."""
        return baked(self.counts)

    @property
    def next_step(self) -> str:
        """What to do next."""
        apart = self.apart
        little = self.matters is not None and _furthest(self.places) < self.matters
        if apart.empty and little:
            return (
                "Next: use all places alike; in a trial still let every setting lie on different "
                "places, which costs nothing."
            )
        if apart.empty:
            return (
                "Next: nothing says that a place should be left out, nor that all are alike: let "
                "every setting of a trial lie on different places, which costs nothing, and map "
                "them again when there are more bakes."
            )
        if little:
            return (
                "Next: these differences are smaller than what matters; let every setting of a "
                "trial lie on different places and leave the griddle as it is."
            )
        return (
            "Next: check the surface there with a probe (it burns; gas and wiring are a "
            "technician's work), turn or move the pieces half-way, or leave these places out; in "
            "a trial let every setting lie on every place."
        )

    @property
    def method(self) -> str:
        """Model and intervals, for a statistician."""
        groups = words.join(self.fit.groups) or "nothing"
        return (
            f"For the statistician: {self.fit.formula}, random {groups} ({self.fit.structure}) by "
            "REML with Kenward–Roger (1997) standard errors; all places "
            f"{words.f_test(self.test)}; differences from the mean of all (analysis of means, Ott "
            f"1967) with joint {100 * self.level:.0f} % intervals by the studentized maximum "
            "modulus (Šidák 1967)."
        )

    def __repr__(self) -> str:
        return (
            f"<GriddleMap {self.outcome}: {len(self.apart)} of {len(self.places)} places apart, "
            f"p = {self.test['p']:.2g}>"
        )

    def tells(self) -> Telling:
        """What it says."""
        return Telling(
            self.headline, (self.sentence, self.rests_on, self.next_step), self.checks, self.method
        )

    def to_frame(self) -> pd.DataFrame:
        """The places, one tidy row each."""
        return self.places.copy()

    def plot(self, ax: "Axes | None" = None) -> "Axes":
        """Draw the griddle with the difference at each place."""
        from kit import charts

        return charts.griddle_map(self, ax)


def _furthest(places: pd.DataFrame) -> float:
    """The largest distance from the mean of all that fits at any of these places."""
    return float(np.abs(places[["low", "high"]].to_numpy(dtype=float)).max())


def griddle_map(
    frame: pd.DataFrame,
    outcome: str,
    place: str = "place",
    factors: Sequence[str] = (),
    dough: str | None = "dough",
    bake: str | None = "bake",
    load: str | None = None,
    across: int | None = None,
    matters: float | str | None = None,
    level: float = 0.95,
) -> GriddleMap:
    """Map a griddle from pieces baked on all its places, best all of one recipe.

    Parameters
    ----------
    frame : DataFrame
        One row a piece.
    outcome, place : str
        What was measured, and the column of places.
    factors : sequence of str
        What was changed on purpose; held alike.
    dough, bake, load : str, optional
        Columns that say what belongs together.
    across : int, optional
        Places in a row of the griddle; they are numbered row by row from the far left. As
        square as possible when not given.
    matters : float or str, optional
        The smallest difference that the baker cares about, in the outcome's unit or as typed.
    level : float
        All intervals together hold with this chance.

    Returns
    -------
    GriddleMap

    Raises
    ------
    NotFoundError, InputError, DataError, DesignError
        A column or value that cannot be used, or places that cannot be told from loads or from
        what was changed on purpose.
    """
    matters = margin(matters, outcome)
    wide = None if across is None else as_whole(across)
    if across is not None and (wide is None or wide < 1):
        rule = "must be a whole number, 1 or more"
        raise InputError("across", across, rule, "Give the places in a row.")
    factors = [factors] if isinstance(factors, str) else list(factors)
    columns = {"bake": bake, "dough": dough, "load": load, "place": place}
    records = read_spread(frame, outcome, factors, columns)
    if records.counts["place"] < 2:
        msg = f"all pieces with {outcome} lay on one place: there is nothing to map."
        raise DataError(msg)
    fit, notes = fit_spread(records, level)
    grid, rows = fit.design.grid([PLACE])
    names, away = list(grid[PLACE]), away_from_mean(fit, factors)
    table = joint(fit, away, level)
    at = np.arange(len(names))
    if wide is not None and all(isinstance(n, (int, np.integer)) and n > 0 for n in names):
        at = np.array(names, dtype=int) - 1  # so that a place never used leaves a gap
    wide = wide or math.ceil(math.sqrt(len(names)))
    table.insert(0, "place", names)
    table.insert(1, "row", at // wide + 1)
    table.insert(2, "column", at % wide + 1)
    table.insert(3, "mean", fit.linear(fit.design.estimable(rows))["estimate"])
    pieces = records.table.groupby(PLACE, observed=True).size()
    table["pieces"] = [int(pieces[name]) for name in names]
    few = [str(n) for n, count in zip(names, table["pieces"], strict=True) if count < 3]
    cautions = [f"fewer than three pieces lay on place {words.join(few)}"] if few else []
    return GriddleMap(
        outcome=outcome,
        places=table,
        matters=matters,
        test=fit.test(away),
        counts=records.counts,
        level=level,
        checks=(*records.notes, *notes, *cautions),
        fit=fit,
    )


def joint(fit: MixedFit, rows: Floats, level: float) -> pd.DataFrame:
    """Estimate contrasts with intervals and p values that hold for all of them together.

    Parameters
    ----------
    fit : MixedFit
    rows : float array, shape (k, p)
    level : float

    Returns
    -------
    DataFrame, one row a contrast
        ``difference, se, df, t, p, low, high``.
    """
    table = fit.linear(rows).rename(columns={"estimate": "difference"})
    apart = np.zeros(len(rows))  # uncorrelated: the widest case
    table["t"] = table["difference"] / table["se"]
    pairs = zip(table["t"], table["df"], strict=True)
    table["p"] = [dunnett_p(abs(t), df, apart) for t, df in pairs]
    half = table["se"] * per_df(table["df"], lambda df: dunnett_critical(level, df, apart))
    return table.assign(low=table["difference"] - half, high=table["difference"] + half)
