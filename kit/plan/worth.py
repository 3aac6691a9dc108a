"""What more bakes would add to an answer: how narrow its interval gets, how likely it settles.

The bakes so far and those to come are read as the planner reads a plan (`rehearsal`); how much the
standard error falls and the degrees of freedom grow follows with the spread of the bakes so far.
The chance that the answer is then settled is a predictive power (Spiegelhalter, Freedman &
Blackburn 1986, Control Clin Trials 7:8): the conditional power, averaged over what is not known
yet of the true difference and of the spread.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from kit.analysis.answer.settling import After, settled_chance
from kit.analysis.comparison import Comparison
from kit.analysis.grouping.meant import meant
from kit.analysis.grouping.structure import shaped_as
from kit.analysis.spending import levels
from kit.errors import DesignError
from kit.plan.noticing.exact import critical
from kit.plan.noticing.rehearsal import Sds, rehearse

__all__ = ["Evidence", "gather"]

#: Beyond this many pieces the tables of a plan get too large to work with.
_MOST_PIECES = 1500


@dataclass(frozen=True)
class Evidence:
    """The bakes so far, ready to be added to.

    Parameters
    ----------
    runs : DataFrame
        One row a piece that counted: ``bake, dough``, ``load`` where it plays a part, factors.
    pieces, doughs, loads : int
        Usual in a dough, most in a bake, and most in a bake.
    settings : int
        Means compared; 2 for a line.
    """

    comparison: Comparison
    runs: pd.DataFrame
    pieces: int
    doughs: int
    loads: int
    settings: int
    _sds: Sds = field(repr=False)
    _now: tuple[float, float] = field(repr=False)  # se and df of the difference in question

    @property
    def pair(self) -> tuple[Any, Any]:
        """The two settings in question, the lower first where they are numbers."""
        lead = self.comparison.leading
        return lead.versus, lead.level

    @property
    def every(self) -> tuple[Any, ...]:
        """Every setting; the two ends of a line."""
        if self.comparison.kind == "line":
            return self.pair
        return tuple(self.comparison.means["level"])

    def bake_of(self, settings: Sequence[Any], each: int = 1, more_pieces: int = 1) -> pd.DataFrame:
        """Runs of one bake to come, with `more_pieces` times as many pieces a dough as usual.

        `each` is doughs of each setting (loads, for what is set for a load); for what is set inside
        doughs, doughs in all.
        """
        by, unit = self.comparison.by, self.comparison.unit
        pieces = self.pieces * more_pieces
        shared = [s for s in settings for _ in range(each)]  # a dough each, or a load
        of_dough = unit in ("bake", "mixing", "dough")
        bake, doughs = "to come", each if unit in ("piece", "shaping") else self.doughs
        rows: list[tuple[str, str, str, Any]] = []
        for number in range(len(shared) if of_dough else doughs):
            for i in range(pieces):
                j = i + number  # the settings take turns from dough to dough
                if of_dough:
                    load, setting = i % self.loads, shared[number]
                elif unit == "load":
                    load, setting = j % len(shared), shared[j % len(shared)]
                else:
                    load, setting = (i // len(settings)) % self.loads, settings[j % len(settings)]
                rows.append((bake, f"{bake}.{number}", str(load), setting))
        new = pd.DataFrame(rows, columns=["bake", "dough", "load", by])
        for other in self.runs.columns.difference(new.columns):  # held where most bakes held it
            new[other] = new[by] if other == meant(by) else self.runs[other].mode().iloc[0]
        return new[self.runs.columns]

    def like_so_far(self, bakes: int) -> pd.DataFrame:
        """Runs of bakes to come that repeat those so far, one after the other."""
        made = [rows for _, rows in self.runs.groupby("bake", sort=False)]
        return pd.concat(
            [made[n % len(made)].assign(bake=f"to come {n + 1}") for n in range(bakes)],
            ignore_index=True,
        )

    def after(self, more: pd.DataFrame) -> After:
        """The difference once these runs have been baked as well.

        Raises
        ------
        DesignError
            Old and new together cannot be analysed.
        """
        both = pd.concat([self.runs, more], ignore_index=True)
        c = self.comparison
        lead, unit = c.leading, c.unit
        shaping = ["dough", shaped_as(both, c.by).get(c.by) or c.by]
        shared: dict[str, list[Any]] = {"mixing": [c.columns["mixing"]], "shaping": shaping}
        keys = ["bake", *shared.get(unit, [unit])]
        (se_now, df_now), (se, df) = self._now, _known(both, c, self._sds)
        units = len(both) if unit == "piece" else len(both.drop_duplicates(keys))
        return After(lead.se * se / se_now, lead.df + max(df - df_now, 0.0), units)

    def chance(self, then: After, half: float) -> float:
        """Chance to be settled when the interval is so wide (`half` with the spread as now)."""
        lead = self.comparison.leading
        return settled_chance(
            lead.difference, lead.se, lead.df, then, half / then.se, self.comparison.matters
        )

    def half(self, then: After, level: float) -> float:
        """Expected half width of the interval at this level."""
        return critical(level, then.df, self.settings) * then.se

    def looking_level(
        self, looks: pd.DataFrame, then: After, bakes: int, planned: int, alpha: float
    ) -> float:
        """Level of the interval so many `bakes` ahead, looked at after every one of all `planned`.

        `looks` are those so far: ``bakes, df, units``, df missing where there was nothing to see;
        `then` is after the last of the bakes ahead.
        """
        seen = looks.dropna(subset="df")
        last = seen.iloc[-1]
        share = np.arange(1, bakes + 1) / bakes  # in between, evenly
        at = [*seen["bakes"], *(last["bakes"] + share * bakes)]
        df = [*seen["df"], *(last["df"] + share * (then.df - last["df"]))]
        units = [*seen["units"], *(last["units"] + share * (then.units - last["units"]))]
        times = [float(n) / planned for n in at]
        return 1 - float(levels(times, df, units, self.settings, alpha)[-1])


def gather(frame: pd.DataFrame, comparison: Comparison) -> Evidence:
    """Make ready what has been baked.

    Parameters
    ----------
    frame : DataFrame
        The one that was compared.
    comparison : Comparison
        Without a control, and not over several trials.

    Raises
    ------
    DesignError
        More pieces than can be worked with.
    """
    c, columns = comparison, comparison.columns
    measured = frame[frame[c.outcome].notna()]
    named = [n for n in columns.values() if n is not None and measured[n].notna().any()]
    rows = frame.dropna(subset=list(dict.fromkeys([c.outcome, c.by, *c.adjusted, *named])))
    runs = pd.DataFrame(index=rows.index)
    runs["bake"] = rows[columns["bake"]].astype(str) if columns["bake"] else "1"
    runs["dough"] = (
        rows[columns["dough"]].astype(str) if columns["dough"] else rows.index.astype(str)
    )
    if _uses_load(c):
        runs["load"] = rows[columns["load"]].astype(str)
    elif c.unit == "load":  # none are recorded: see `read_records`
        runs["load"] = rows[c.by].astype(str)
    for column in (c.by, *_beside(c)):
        runs[column] = rows[column]
        if meant(column) in rows:
            runs[meant(column)] = rows[meant(column)]
    if c.counts["piece"] == c.counts["dough"] < len(runs):  # one value a dough
        runs = runs.drop_duplicates(["bake", "dough"])
    runs = runs.reset_index(drop=True)
    sizes = runs.groupby(["bake", "dough"]).size()
    variance = c.fit.variance["variance"].clip(lower=0.0)
    parts = ("bake", "dough", "load", "residual", "mixing", "shaping")
    sds = Sds(*(float(variance.get(part, 0.0)) ** 0.5 for part in parts))
    return Evidence(
        c, runs, int(sizes.median()), int(sizes.groupby("bake").size().max()),
        int(runs.groupby("bake")["load"].nunique().max()) if "load" in runs else 1,
        2 if c.kind == "line" else len(c.means), sds, _known(runs, c, sds),
    )  # fmt: skip


def _beside(c: Comparison) -> list[str]:
    """What else was set: held alike, or mixed in one go."""
    mixing = c.columns["mixing"]
    return [*c.adjusted, *([mixing] if mixing and mixing not in (c.by, *c.adjusted) else [])]


def _uses_load(c: Comparison) -> bool:
    return c.columns["load"] is not None and ("load" in c.fit.groups or c.unit == "load")


def _known(runs: pd.DataFrame, c: Comparison, sds: Sds) -> tuple[float, float]:
    """Standard error and degrees of freedom of the difference in question, variances known.

    Raises
    ------
    DesignError
        These runs cannot be analysed.
    """
    if len(runs) > _MOST_PIECES:
        msg = f"{len(runs)} pieces are more than can be worked with here (up to {_MOST_PIECES})."
        raise DesignError(msg)
    seen = rehearse(runs, c.by, c.adjusted, c.kind == "line", c.columns["mixing"])
    pair = {c.leading.level, c.leading.versus}
    i = [set(names) for names in seen.names].index(pair)
    known = seen.known(sds)
    # by this formula alone, new mixings of two doughs would take degrees of freedom away
    return float(known.se[i]), max(float(known.df[i]), seen.least_df)
