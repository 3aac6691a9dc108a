"""What every answer does alike: what is held alike, the fit, one answer out of many differences."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from kit import words
from kit.analysis.answer.settling import most_units
from kit.analysis.grouping.experiments import spare, spare_beside, unit_of
from kit.analysis.grouping.mixing import columns_of, shaped_by
from kit.analysis.grouping.structure import Records, as_held, is_number, safe_name
from kit.analysis.means import dunnett, tukey_criticals
from kit.analysis.mixed import MixedFit, mixed
from kit.analysis.model.matrix import parse_formula, variables_of
from kit.analysis.model.recipe import recipes
from kit.analysis.model.reml import NO_SPREAD, NotApartError
from kit.analysis.moments import Floats
from kit.analysis.verdict import Answer, decide_each, more_units, sign
from kit.errors import DataError, DesignError, InputError
from kit.units import parse

__all__ = [
    "LEAST_DF", "ORDER", "Difference", "differences_of", "dough_means", "few", "fit_records",
    "is_number", "margin", "more_needed", "overall", "refuse_unjudged", "separable", "term",
]  # fmt: skip

#: Of several answers the first of these is the one to give.
ORDER = (Answer.MATTERS, Answer.UNCLEAR, Answer.SMALL, Answer.NONE)
#: With fewer degrees of freedom an interval says nothing at all.
LEAST_DF = 0.5
#: Up to here it is checked whether there are loads enough; beyond there always are.
MOST_ROWS = 2000
#: Of so many units the spread is never found next to nothing by chance.
MANY_UNITS = 60


@dataclass(frozen=True)
class Difference:
    """One difference between two settings, `level` minus `versus`.

    Where several were looked at, `p` and the interval are jointly protected.
    """

    level: Any
    versus: Any
    difference: float
    se: float
    df: float
    t: float
    p: float
    low: float
    high: float
    answer: Answer

    @property
    def half_width(self) -> float:
        """Half the interval's width."""
        return (self.high - self.low) / 2

    def size(self, outcome: str) -> str:
        """How large it is, whichever way round, in the outcome's unit."""
        return words.number(abs(self.difference), self.half_width, words.unit_of(outcome))

    @property
    def way(self) -> str:
        """Which way it goes."""
        return "more" if self.difference >= 0 else "less"

    @property
    def sure(self) -> bool:
        """Whether it is surely not zero."""
        return sign(self.low, self.high) != 0


def margin(matters: object, outcome: str) -> float | None:
    """The smallest difference that matters, in the outcome's unit; as typed, such as "1/8 in".

    Raises
    ------
    InputError
    """
    read = parse(matters, words.unit_of(outcome), "matters", difference=True)  # type: ignore[arg-type]
    if read is None and (matters is None or isinstance(matters, str)):
        return None
    if read is None or not 0 < read < np.inf:
        raise InputError(
            "matters", matters, "must be above 0", "Give the smallest difference you care about."
        )
    return read


def term(column: str, as_number: bool) -> str:
    """A column as it stands in a formula: a number, or settings."""
    name = safe_name(column)
    return name if as_number else f"C({name})"


def separable(records: Records, by: str) -> tuple[list[str], list[str]]:
    """Keep the other factors that say something of their own.

    Raises
    ------
    DesignError
        The factor changes only together with the others.
    """
    if not records.adjust:
        return [], []
    factors = [safe_name(name) for name in (by, *records.adjust)]
    frame = records.frame[factors].drop_duplicates()

    def rank(*parts: Floats) -> int:
        together = np.hstack([np.ones((len(frame), 1)), *parts])
        return int(np.linalg.matrix_rank(together))

    own = columns_of(frame[safe_name(by)].astype(float if records.as_line else str))
    others = {a: columns_of(as_held(frame[safe_name(a)])) for a in records.adjust}
    kept: list[str] = []
    notes = []
    for other, theirs in others.items():
        before = [others[k] for k in kept]
        if rank(theirs) == 1:
            continue  # never varied: nothing to hold alike
        if rank(*before, theirs) == rank(*before):
            notes.append(
                f"{words.name(other)} was not held alike: it changed together with "
                f"{words.join(words.name(k) for k in kept)}"
            )
            continue
        if rank(own, *before, theirs) - rank(*before, theirs) < rank(own) - 1:
            msg = (
                f"{words.name(by)} and {words.name(other)} cannot be told apart: they changed "
                "together. Bake at least two settings of one with the same setting of the other."
            )
            raise DesignError(msg)
        kept.append(other)
    return kept, notes


def fit_records(
    records: Records, formula: str, level: float, what: str = "setting",
    others: Sequence[str] = (),
) -> tuple[MixedFit, list[str]]:  # fmt: skip
    """Fit with all groupings; without the load when there is too little to see it.

    `what` is to be baked again where the spread cannot be judged; the `others` are factors asked
    about in the same breath, which may be decided for other units.

    Raises
    ------
    DataError
        The readings do not differ within the settings.
    """
    groups, structure = records.groups, records.structure
    notes = []
    if "load" in groups and records.unit != "load" and not _enough_loads(records, formula):
        groups, structure = tuple(g for g in groups if g != "load"), "nested"
        notes.append("too few loads to see what a load does; it was left out")
    for kind, inside in (("mixing", ["dough"]), ("shaping", [])):
        if kind not in groups or records.unit in ("bake", "mixing", kind):
            continue
        if min(_spare_units(records, formula, each) for each in (kind, *inside)) < 1:
            groups = tuple(g for g in groups if g != kind)
            notes.append(f"too few {kind}s to see what a {kind} does; it was left out")
    try:
        fit = mixed(records.frame, formula, groups, structure=structure, level=level)
    except NotApartError:
        if records.unit != "piece":  # in a baker's words
            refuse_unjudged(_spare_units(records, formula, records.unit, groups), records, what)
        raise
    if fit.exact:
        raise DataError(NO_SPREAD)
    own = records.unit
    if own == "mixing" and _below_nothing(fit):
        groups = tuple(g for g in groups if g != "mixing")
        fit = mixed(records.frame, formula, groups, structure=structure, level=level)
        most = _spare_units(records, formula, own)  # the mixings stay the experiments
        return replace(fit, least_df=most, most_df=most), notes
    units = {own, *(_unit_of(records, f) for f in others)}
    spares = [
        _spare_units(records, formula, unit, groups)
        for unit in units
        if (len(records.frame) if unit == "piece" else records.frame[unit].nunique()) <= MANY_UNITS
    ]
    least = min(spares, default=0.0)  # of what there are fewest
    of_means = least if own in groups[:1] else 0.0
    held = tuple(formula.split(" + ")[1:])
    return replace(fit, least_df=least, least_df_of_means=of_means, beside=held), notes


def _unit_of(records: Records, other: str) -> str:
    """What another factor asked about was decided for."""
    shaped = shaped_by(other) and "shaping" in records.groups
    return "shaping" if shaped else unit_of(records.frame, safe_name(other))


def _below_nothing(fit: MixedFit) -> bool:
    """Whether the mixings came out more alike than their doughs, and nothing is known by that.

    Where a layout is uneven, a spread below nothing takes the standard error down with it, and the
    approximation has less than one degree of freedom for it: too many differences would be told
    where there is none (``tests/analysis/test_mixing.py -m long -k uneven`` says how many are
    now). The spread is then taken from the doughs, with the mixings' own degrees of freedom.
    """
    if "mixing" not in fit.groups or fit._estimate.variance[fit.groups.index("mixing")] >= 0:
        return False
    asked = next(name for name in fit.design.hypotheses if name != "Intercept")
    return bool(fit.term(asked)["den_df"] < 1)


def _spare_units(
    records: Records, formula: str, unit: str, groups: Sequence[str] | None = None
) -> float:
    """What such units leave over beside the settings: a mean square of so many degrees of freedom.

    Of many units, of which that is known beforehand, there is no need to ask.
    """
    groups = records.groups if groups is None else groups
    if unit == "piece":
        return float(len(records.frame) - _taken_up(records, formula, groups))
    around = ("bake", "mixing", "dough", "shaping")
    kinds = [*(kind for kind in around if kind in groups and kind != unit), unit]
    cells, x = _cells(records, formula, kinds)
    return spare_beside(x, cells, groups, unit)


def _taken_up(records: Records, formula: str, kinds: Iterable[str]) -> int:
    """How many numbers the settings and such groups take up."""
    cells, settings = _cells(records, formula, kinds)
    groups = (cells[kind].to_numpy() for kind in kinds)
    apart = [(group[:, None] == np.unique(group)).astype(float) for group in groups]
    return int(np.linalg.matrix_rank(np.hstack([settings, *apart])))


def _cells(records: Records, formula: str, kinds: Iterable[str]) -> tuple[pd.DataFrame, Floats]:
    """The distinct rows of groupings and settings, and the columns of the settings."""
    rhs = parse_formula(formula)[1]
    variables = variables_of(rhs, map(str, records.frame.columns))
    cells = records.frame[[*dict.fromkeys([*kinds, *variables])]].drop_duplicates()
    return cells, recipes(rhs, cells[variables])[0].of(cells)


def _enough_loads(records: Records, formula: str) -> bool:
    """Whether loads and pieces both keep two degrees of freedom besides all else."""
    if len(records.frame) > MOST_ROWS:
        return True
    # loads that hold whole doughs are seen between the doughs, others beside them
    outer = records.groups[: records.groups.index("load")]
    kinds = dict.fromkeys(("bake", *outer, "load", *records.groups))
    cells, settings = _cells(records, formula, kinds)
    groups = [cells[kind].to_numpy() for kind in kinds]
    seen = spare(settings, groups[: list(kinds).index("load") + 1])
    return seen >= 2 and len(records.frame) - _taken_up(records, formula, kinds) >= 2


def overall(differences: pd.DataFrame) -> tuple[Answer, Difference]:
    """One answer for all differences, and the largest difference with that answer."""
    rows = differences.to_dict("records")
    known = [row for row in rows if not (math.isnan(row["low"]) or math.isnan(row["high"]))]
    if not known:
        msg = "none of the differences can be estimated: bake the missing combinations first."
        raise DesignError(msg)
    present = {row["answer"] for row in known}
    answer = next(a for a in ORDER if a.value in present)
    # all differences being small, the largest of all is the one to show
    small = answer in (Answer.SMALL, Answer.NONE)
    of_this = [row for row in known if small or row["answer"] == answer.value]
    row = max(of_this, key=lambda row: abs(row["difference"]))
    numbers = {n: float(row[n]) for n in ("difference", "se", "df", "t", "p", "low", "high")}
    return answer, Difference(row["level"], row["versus"], **numbers, answer=Answer(row["answer"]))


def differences_of(
    fits: Sequence[MixedFit], rows: Floats, count: int | None, level: float, matters: float | None
) -> list[tuple[Answer, Floats]]:
    """One answer of each fit for the same differences, and their sizes.

    Parameters
    ----------
    rows : float array, shape (r, p)
        The differences as rows of coefficients.
    count : int or None
        Means among which all pairs are looked at (Tukey); None for all against one (Dunnett).
    """
    if not fits:
        return []
    known, told = np.isfinite(rows).all(axis=1), []
    tables = [fit.linear(rows).to_numpy() for fit in fits]
    df = np.array([np.where(known, table[:, 2], 1e6) for table in tables])
    critical = None if count is None else tukey_criticals(level, df, count)
    for i, (fit, (size, se, each)) in enumerate(zip(fits, (t.T for t in tables), strict=True)):
        good, half = size[known], se[known]
        half = half * (
            dunnett(fit, rows[known], each[known])[1] if critical is None else critical[i, known]
        )
        answers = decide_each(good - half, good + half, matters)
        # none of them can be known where the settings kept to what is held alike
        told.append((next((a for a in ORDER if a in answers), Answer.UNCLEAR), size))
    return told


def more_needed(
    answer: Answer, lead: Difference, matters: float | None, records: Records, settings: int
) -> int | None:
    """How many more units would settle it, a whole number for each setting.

    None when settled, or when `MOST_DOUGHS` doughs would not do.
    """
    if answer is not Answer.UNCLEAR:
        return None
    critical = lead.half_width / lead.se
    units, most = records.counts[records.unit], most_units(records.counts, records.unit)
    more = more_units(lead.difference, lead.se, lead.df, critical, matters, units, most)
    return None if more is None else math.ceil(more / settings) * settings


def few(lead: Difference, records: Records) -> list[str]:
    """Warn when the spread itself is hardly known."""
    if lead.df > 4 - 1e-6:
        return []
    return [
        f"the spread from {records.unit} to {records.unit} is known from very little "
        f"({lead.df:.1f} degrees of freedom): the interval is honest but wide, and one more "
        f"{records.unit} may change it much"
    ]


def refuse_unjudged(df: float, records: Records, what: str) -> None:
    """Refuse an answer without any degrees of freedom (DesignError); `what` is baked again."""
    if df < LEAST_DF:
        unit = records.unit
        msg = (
            f"the spread from {unit} to {unit} cannot be judged from these bakes "
            f"({df:.2f} degrees of freedom). Bake each {what} in at least two more "
            f"{'doughs' if unit in ('piece', 'shaping') else unit + 's'}."
        )
        raise DesignError(msg)


def dough_means(points: pd.DataFrame) -> pd.DataFrame:
    """Mean of each dough's pieces at each setting: ``bake, dough, level, value, pieces``."""
    grouped = points.groupby(["bake", "dough", "level"], sort=False, observed=True)
    return grouped["value"].agg(value="mean", pieces="size").reset_index()
