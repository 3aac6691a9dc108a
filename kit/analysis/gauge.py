"""Is it the bake or the ruler? Pieces measured more than once, by several people or photos.

Repeatability is how much readings differ under the same conditions, reproducibility how much
they differ between people or photos as well (ISO 5725-1:1994, 3.13 and 3.17). Two readings of
the same thing differ by less than 1.96·√2 standard deviations in 95 of 100 cases (ISO
5725-6:1994, 4.1): pieces that differ by more are told apart.
"""

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from kit import words
from kit.analysis.asked import need_columns
from kit.analysis.mixed import MixedFit, Structure, mixed
from kit.analysis.moments import Floats, outcome_values
from kit.analysis.steady.components import Surrogates, interval, sources
from kit.errors import DataError, DesignError, InputError
from kit.shown import Telling, Told

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["LIMIT", "Gauge", "gauge"]

#: Repeatability limit in standard deviations of a reading.
LIMIT = 1.96 * math.sqrt(2)
#: Measuring that makes up less than this share of the variance is no hindrance (common
#: practice, no source).
SMALL_SHARE = 0.1
#: Fewer pieces or people than this tell little about how much they differ.
FEW = 5


@dataclass(frozen=True)
class Gauge(Told):
    """How much of the spread is measuring, and what differences can be told.

    Parameters
    ----------
    reading, part : str
        Columns: what was read, and of which piece.
    by : str or None
        Column of people or photos; None when there was one.
    components : DataFrame
        ``component, sd, low, high, variance, share, share_low, share_high``: the part, the
        people or photos, part × people (where pieces were read again by the same), "repeat".
    anova : DataFrame indexed by source
        ``df, ss, ms``: sums of squares one after the other.
    repeat, reproduce : Series
        ``sd, low, high, limit, limit_low, limit_high``: of readings by the same, and by others.
    share : Series
        ``share, low, high``: all but the parts, of the whole variance.
    counts : mapping
    level : float
    checks : tuple of str
    fit : MixedFit
    """

    reading: str
    part: str
    by: str | None
    components: pd.DataFrame
    anova: pd.DataFrame
    repeat: pd.Series
    reproduce: pd.Series
    share: pd.Series
    counts: Mapping[str, int]
    level: float
    checks: tuple[str, ...]
    points: pd.DataFrame = field(repr=False)
    fit: MixedFit = field(repr=False)

    @property
    def headline(self) -> str:
        """What differences the readings tell."""
        return f"These readings tell apart differences of about {self.apart(self.repeat)}."

    @property
    def sentence(self) -> str:
        """Repeatability, reproducibility and the share of the spread that is measuring."""
        text = f"Read again in the same way, {self._of(self.repeat)}."
        if self.by is not None:
            text += (
                f" Read by another {words.name(self.by)}, {self._of(self.reproduce)}, so that "
                f"only differences of about {self.apart(self.reproduce)} are told apart."
            )
        share, low, high = (_percent(self.share[k]) for k in ("share", "low", "high"))
        return (
            f"{text} Measuring is {share} % of the spread ({low} to {high} %; shares are of "
            f"squares), the rest is true difference between {words.name(self.part)}s."
        )

    @property
    def next_step(self) -> str:
        """What to do next."""
        if self.share["high"] < SMALL_SHARE:
            return "Next: one reading a piece is enough; spend the time on another dough."
        inner = self.components.set_index("component")["variance"].drop(self.part)
        if self.by is not None and inner.idxmax() != "repeat":
            return (
                f"Next: the {words.name(self.by)}s differ more than one does from itself: let the "
                "same one read all pieces of a trial, or agree on how to read and try again."
            )
        if self.share["share"] < SMALL_SHARE:
            return (
                "Next: one reading a piece seems to be enough; a few more pieces read twice would "
                "make that sure."
            )
        return (
            "Next: read each piece twice, apart, and take the mean, which makes the smallest "
            f"difference told about {self._told(self.repeat['limit'] / math.sqrt(2))}."
        )

    @property
    def method(self) -> str:
        """Model and sources, for a statistician."""
        return (
            f"For the statistician: {self.fit.formula}, random {words.join(self.fit.groups)} "
            f"({self.fit.structure}) by REML, components may end below zero and are shown as "
            f"zero; limits 1.96·√2·s (ISO 5725-6:1994); {100 * self.level:.0f} % intervals by "
            "surrogate values for mean squares (Weerahandi 1993; Chiang 2001)."
        )

    def _of(self, one: pd.Series) -> str:
        told = self._within(one["sd"], one["low"], one["high"])
        return f"a reading differs from the mean of many by {told}"

    def apart(self, one: pd.Series) -> str:
        """The difference told, of `repeat` or `reproduce`, with its interval.

        Two readings of one piece lie further apart than an estimate from so few in 11 (five pieces
        read twice) to 18 of 100 cases (two), not in 5.
        """
        return self._within(one["limit"], one["limit_low"], one["limit_high"])

    def _within(self, value: float, low: float, high: float) -> str:
        return f"{self._told(value)} ({float(f'{low:.2g}'):.10g} to {self._told(high)})"

    def _told(self, difference: float) -> str:
        """A difference to two digits that count, with its unit."""
        shown = float(f"{difference:.2g}")
        return f"{shown:.10g} {words.unit_of(self.reading)}".strip() if shown else "0"

    def __repr__(self) -> str:
        return (
            f"<Gauge {self.reading}: repeat {self.repeat['sd']:.3g}, tells apart "
            f"{self.repeat['limit']:.3g}, {_percent(self.share['share'])} % of the spread>"
        )

    def tells(self) -> Telling:
        """What it says."""
        return Telling(self.headline, (self.sentence, self.next_step), self.checks, self.method)

    def to_frame(self) -> pd.DataFrame:
        """The components, one tidy row each."""
        return self.components.copy()

    def plot(self, ax: "Axes | None" = None) -> "Axes":
        """Draw every reading, piece by piece."""
        from kit import charts

        return charts.gauge(self, ax)


def gauge(
    frame: pd.DataFrame,
    reading: str,
    part: str = "piece",
    by: str | None = None,
    level: float = 0.95,
) -> Gauge:
    """Find out how much of the spread is measuring.

    Parameters
    ----------
    frame : DataFrame
        One row a reading; every piece read at least twice, by the same or by others.
    reading, part : str
        Columns: the value, and which piece it is of.
    by : str, optional
        Column of people, or of photos: each reads all pieces (crossed), or each belongs to one
        piece (nested: two photos of a piece, each measured twice).
    level : float
        Of the intervals.

    Returns
    -------
    Gauge

    Raises
    ------
    NotFoundError, InputError, DataError
        A column that does not exist, readings that are missing or no piece read twice.
    DesignError
        People who read pieces of their own.

    Examples
    --------
    >>> twice = pd.DataFrame({"piece": [1, 1, 2, 2, 3, 3, 4, 4, 5, 5],
    ...     "rise_height_mm": [28.1, 28.4, 31.0, 30.7, 29.2, 29.9, 33.1, 32.8, 27.0, 27.1]})
    >>> gauge(twice, "rise_height_mm").headline
    'These readings tell apart differences of about 0.77 mm (0.48 to 1.9 mm).'
    """
    used = [c for c in (reading, part, by) if c is not None]
    need_columns(frame, used)
    if len(set(used)) < len(used):
        raise InputError("by", by, "must be a column of its own")
    values = pd.Series(outcome_values(frame, reading), index=frame.index)
    keep = values.notna() & frame[[c for c in used if c != reading]].notna().all(axis=1)
    checks = []
    if not keep.all():
        gone = words.plural(int((~keep).sum()), "reading")
        checks.append(f"{gone} left out: the value, the {part} or the {by or 'value'} is missing")
    table = pd.DataFrame({"part": frame.loc[keep, part], "value": values[keep]})
    if by is not None:
        table["by"] = frame.loc[keep, by]
    parts, readings = table["part"].nunique(), len(table)
    if parts < 2 or readings <= parts:
        msg = (
            f"{words.plural(readings, 'reading')} of {words.plural(parts, 'piece')}: measuring can "
            "only be told from the pieces when at least two pieces are read twice. Read about "
            "five pieces twice each, without looking at the first reading."
        )
        raise DataError(msg)
    people = int(table["by"].nunique()) if by is not None else 1
    if people > 1 and table.groupby("part", observed=True)["by"].nunique().max() == 1:
        msg = (
            f"each {words.name(str(by))} read {words.name(part)}s of its own: what the "
            f"{words.name(str(by))} does cannot be told from the {words.name(part)}s. Let each "
            "read the same ones."
        )
        raise DesignError(msg)
    groups, structure, names = _layout(table, part, by if people > 1 else None)
    if people == 1 and by is not None:
        checks.append(f"one {words.name(by)} only: nothing is said about what another would read")
    elif people > 1 and len(groups) == 1:
        checks.append(f"each {words.name(str(by))} was read once: it and its reading are one here")
    fit = mixed(table, "value ~ 1", groups, structure=structure, level=level)
    drawn = Surrogates(fit)
    inner = np.array([0.0, *[1.0] * (len(names) - 1)])
    only = np.eye(len(names))[-1]
    variance = np.maximum(drawn.estimate, 0.0)
    whole = drawn.sum(np.ones(len(names)))
    low, high = interval(drawn.sum(inner) / whole, level)
    for name, count in ((part, parts), *([(str(by), people)] if len(groups) > 1 else [])):
        if count < FEW:
            many = words.plural(count, words.name(name))
            checks.append(f"{many} only: how much they differ is hardly known")
    points = table[["part", "value", *(["by"] if by is not None else [])]].rename(
        columns={"part": part, "value": reading, "by": by or "by"}
    )
    return Gauge(
        reading=reading,
        part=part,
        by=by if len(groups) > 1 else None,
        components=sources(names, drawn.estimate, drawn.values, level),
        anova=_anova(table, groups, structure).set_index(pd.Index(names, name="source")),
        repeat=_limits(float(variance @ only), drawn.sum(only), level),
        reproduce=_limits(float(variance @ inner), drawn.sum(inner), level),
        share=pd.Series({"share": variance @ inner / variance.sum(), "low": low, "high": high}),
        counts={"part": parts, "by": people, "reading": readings},
        level=level,
        checks=tuple(checks),
        points=points.reset_index(drop=True),
        fit=fit,
    )


def _percent(share: float) -> str:
    """A share in percent, with a decimal where it is small."""
    return f"{100 * share:.{1 if share < 0.095 else 0}f}"


def _layout(
    table: pd.DataFrame, part: str, by: str | None
) -> tuple[list[str], Structure, list[str]]:
    """Random groupings, how they lie, and the names of the components."""
    if by is None:
        return ["part"], "nested", [part, "repeat"]
    cells = table.groupby(["part", "by"], observed=True).ngroups
    again = len(table) > cells
    if table.groupby("by", observed=True)["part"].nunique().max() == 1:
        if not again:  # one reading a photo: photo and reading are one
            return ["part"], "nested", [part, "repeat"]
        return ["part", "by"], "nested", [part, by, "repeat"]
    if not again:
        return ["part", "by"], "crossed", [part, by, "repeat"]
    table["cell"] = table.groupby(["part", "by"], observed=True).ngroup()
    return ["part", "by", "cell"], "crossed", [part, by, f"{part} × {by}", "repeat"]


def _anova(table: pd.DataFrame, groups: Sequence[str], structure: Structure) -> pd.DataFrame:
    """Sums of squares of the same sources one after the other, all fixed."""
    right = {
        "part": "C(part)",
        "by": "C(by)" if structure == "nested" else "C(part) + C(by)",
        "cell": "C(cell)",
    }
    fits = [mixed(table, f"value ~ {term}") for term in ("1", *(right[g] for g in groups))]
    free = [fit.n - fit.rank for fit in fits]
    left = [df * float(fit._estimate.variance[-1]) for fit, df in zip(fits, free, strict=True)]
    df = [*(a - b for a, b in itertools.pairwise(free)), free[-1]]
    ss = [*(a - b for a, b in itertools.pairwise(left)), left[-1]]
    return pd.DataFrame({"df": df, "ss": ss}).assign(ms=lambda rows: rows["ss"] / rows["df"])


def _limits(variance: float, drawn: Floats, level: float) -> pd.Series:
    low, high = np.sqrt(interval(drawn, level))
    sd = math.sqrt(variance)
    return pd.Series(
        {"sd": sd, "low": low, "high": high, "limit": LIMIT * sd, "limit_low": LIMIT * low,
         "limit_high": LIMIT * high}
    )  # fmt: skip
