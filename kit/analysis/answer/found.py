"""What every answer holds, whether settings were compared or doses asked about."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from kit.analysis.answer import fitting
from kit.analysis.answer.fit_checks import FitChecks
from kit.analysis.answer.fitting import Difference
from kit.analysis.answer.settling import After, most_units, settled_chance
from kit.analysis.grouping.structure import MOST_SETTINGS, Unit
from kit.analysis.mixed import MixedFit
from kit.analysis.verdict import Answer
from kit.shown import Told

__all__ = ["Found"]


@dataclass(frozen=True, kw_only=True)
class Found(Told):
    """An answer, and what it rests on.

    Parameters
    ----------
    outcome : str
        Column measured.
    matters : float or None
        The smallest difference the baker cares about.
    answer, leading
        The answer, and the difference it is about.
    points : DataFrame
        One row a piece used: ``bake, mixing, dough, shaping, load, level, value``.
    unit : {"bake", "mixing", "dough", "shaping", "load", "piece"}
        What the factor was decided for, hence what counts as one experiment.
    counts : mapping
        How many bakes, doughs and pieces it rests on; mixings where they hold several
        doughs, shapings and loads where the factor was decided for them.
    columns : mapping
        ``trial, bake, mixing, dough, load`` to the column that said which, or None.
    adjusted : tuple of str
        Other factors held alike.
    more : int or None
        How many more of the `unit` would settle it; None when settled or out of reach.
    checks : tuple of str
        What to know before trusting it.
    fit : MixedFit
    examined : FitChecks or None
        What was looked at: residuals, single doughs, missing pieces, limits, events.
    """

    outcome: str
    matters: float | None
    answer: Answer
    leading: Difference
    points: pd.DataFrame
    unit: Unit
    counts: Mapping[str, int]
    columns: Mapping[str, str | None]
    adjusted: tuple[str, ...]
    more: int | None
    checks: tuple[str, ...]
    fit: MixedFit = field(repr=False)
    examined: FitChecks | None = field(repr=False, default=None)

    @property
    def noted(self) -> bool:
        """Whether something was found that may change the answer."""
        return self.examined is not None and bool(self.examined.checks)

    @property
    def repeats(self) -> bool:
        """Whether a bake holds several of what a setting is given to, at one setting."""
        p = self.points
        if not self.columns["bake"] or self.columns["trial"]:
            return False
        if self.unit == "bake" or p["level"].nunique() > MOST_SETTINGS:
            return False
        cells = p.groupby(["bake", "level"], observed=True)
        made = cells.size() if self.unit == "piece" else cells[self.unit].nunique()
        return bool(made.max() > 1)

    def reach(self) -> tuple[int, float]:
        """What a home series more would bring: how many of the `unit`, and their chance to settle.

        As many as `MOST_DOUGHS` doughs make at one bake's rate so far, looked at once; see
        `more_units` for how the spread shrinks.
        """
        from scipy import special

        lead, now = self.leading, self.counts[self.unit]
        more = most_units(self.counts, self.unit)
        then = After(lead.se * (now / (now + more)) ** 0.5, lead.df + more, now + more)
        t_now, t_then = special.stdtrit(np.array([lead.df, then.df]), 0.975)
        critical = lead.half_width / lead.se * float(t_then / t_now)
        chance = settled_chance(lead.difference, lead.se, lead.df, then, critical, self.matters)
        return more, chance

    def dough_means(self) -> pd.DataFrame:
        """Mean of each dough's pieces at each setting: ``bake, dough, level, value, pieces``."""
        return fitting.dough_means(self.points)
