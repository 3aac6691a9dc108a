"""What a numeric factor does to an outcome: more is better, less is better, or a best dose.

The shape is fitted with bakes, doughs and loads random (`dose_fit`), so that a dose decided for
a whole dough is judged against the spread from dough to dough. A quadratic curve is used
wherever there are three doses or more: a straight line would take for granted that more always
does the same. A plateau is fitted when asked for.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, ClassVar, Literal

import numpy as np
import pandas as pd

from kit.analysis.answer import fitting
from kit.analysis.answer.fitting import Difference
from kit.analysis.asked import need_one_of, relabelled
from kit.analysis.checking.checks import FitChecks, check
from kit.analysis.checking.with_others import with_others
from kit.analysis.doses import answers as answers
from kit.analysis.doses import words as dose_words
from kit.analysis.doses.best import BestDose, Want, find_best
from kit.analysis.doses.data import Doses, read_doses
from kit.analysis.doses.fit import Curve, Shape, lack_of_fit, misfit, settings_means
from kit.analysis.grouping.structure import MOST_SETTINGS, Unit
from kit.analysis.mixed import MixedFit
from kit.analysis.verdict import Answer
from kit.errors import DesignError
from kit.shown import Judged, Telling

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["DoseResponse", "dose"]


@dataclass(frozen=True)
class DoseResponse(Judged):
    """An answer about a dose, and everything it rests on.

    Parameters
    ----------
    outcome, of : str
        Columns.
    shape : {"straight", "curved", "plateau"}
        What was fitted for the answer.
    matters : float or None
    answer : Answer
        About the largest difference between any two doses baked.
    leading : Difference
        That difference, protected for having been looked for (Scheffé).
    trend : str
        What surely happens along the doses: "up", "down", "peak", "up first" …, "unclear".
    whole : Difference
        From the lowest dose baked to the highest, by itself.
    best : BestDose
    curve : DataFrame
        ``dose, mean, se, df, low, high`` along the doses.
    settings : DataFrame or None
        ``level, mean, se, df, low, high`` of every dose taken by itself.
    points : DataFrame
        One row a piece used: ``bake, dough, load, level, value``.
    shapes : DataFrame
        ``shape, misfit, p`` of every shape tried: −2 log likelihood less that of the best one,
        and the test of its lack of fit (NaN where there is none).
    lack_of_fit : Series or None
        ``num_df, den_df, F, p`` of the shape against the doses as settings.
    bend : float or None
        The p of the bend.
    unit, counts, columns, adjusted
        As in `Comparison`.
    covariates : tuple of str
        Numbers measured beside that were held alike along a straight line.
    more : int or None
        How many more of the `unit` would settle it.
    checks : tuple of str
        What to know before trusting it.
    fit : MixedFit
    examined : FitChecks or None
        What was looked at: residuals, single doughs, missing pieces, limits, events.
    """

    outcome: str
    of: str
    shape: Shape
    matters: float | None
    answer: Answer
    leading: Difference
    trend: str
    whole: Difference
    best: BestDose
    curve: pd.DataFrame
    settings: pd.DataFrame | None
    points: pd.DataFrame
    shapes: pd.DataFrame
    lack_of_fit: pd.Series | None
    bend: float | None
    unit: Unit
    counts: Mapping[str, int]
    columns: Mapping[str, str | None]
    adjusted: tuple[str, ...]
    covariates: tuple[str, ...]
    more: int | None
    checks: tuple[str, ...]
    fit: MixedFit = field(repr=False)
    fitted: Curve = field(repr=False)
    examined: FitChecks | None = field(repr=False)
    _words: ClassVar[Any] = dose_words

    @property
    def best_in_words(self) -> str:
        """Which dose is best, where it may lie, and what is enough."""
        return dose_words.best(self)

    def __repr__(self) -> str:
        return (
            f"<DoseResponse {self.outcome} of {self.of}: {self.trend}, best at "
            f"{self.best.dose:.3g}, {self.answer.value}>"
        )

    def tells(self) -> Telling:
        """What it says."""
        texts = (self.sentence, self.best_in_words, self.rests_on, self.next_step)
        return Telling(self.headline, texts, self.checks, self.method)

    def to_frame(self) -> pd.DataFrame:
        """Every number told or drawn, one tidy row each.

        Returns
        -------
        DataFrame
            ``kind`` is "curve", "setting", "best dose" (its estimate is a dose, and so are
            ``low`` and ``high``, one row a stretch), "enough", "turning", "difference",
            "dough" or "piece"; ``level, versus, bake, dough, estimate, low, high, se, df, p``
            where they apply.
        """
        nan, best = np.nan, self.best
        doses: list[dict[str, Any]] = [
            {"kind": "best dose", "estimate": best.dose, "low": a, "high": b}
            for a, b in best.may_be.pieces
        ]
        if best.turning_set is not None:
            doses += [
                {"kind": "turning", "estimate": best.turning, "low": a, "high": b}
                for a, b in best.turning_set.pieces
            ]
        if best.enough is not None:
            low, high = (nan if x is None else x for x in (best.enough_from, best.enough_surely))
            doses.append({"kind": "enough", "estimate": best.enough, "low": low, "high": high})
        differences = [
            {
                "kind": "difference", "level": d.level, "versus": d.versus,
                "estimate": d.difference, "low": d.low, "high": d.high, "se": d.se, "df": d.df,
                "p": d.p,
            }
            for d in (self.leading, self.whole)
        ]  # fmt: skip
        parts = [
            pd.DataFrame(doses + differences),
            self.curve.rename(columns={"dose": "level", "mean": "estimate"}).assign(kind="curve"),
            self.dough_means().rename(columns={"value": "estimate"}).assign(kind="dough"),
            self.points.rename(columns={"value": "estimate"}).assign(kind="piece"),
        ]
        if self.settings is not None:
            table = self.settings.rename(columns={"mean": "estimate"})
            parts.insert(2, table.assign(kind="setting"))
        columns = ["kind", "level", "versus", "bake", "dough", "estimate", "low", "high"]
        whole = pd.concat(parts, ignore_index=True)
        return whole.reindex(columns=[*columns, "se", "df", "p"])

    def dough_means(self) -> pd.DataFrame:
        """Mean of each dough's pieces at each dose: ``bake, dough, level, value, pieces``."""
        return fitting.dough_means(self.points)

    def plot(self, ax: "Axes | None" = None) -> "Axes":
        """Draw pieces, dough means, the shape with its interval, and where the best may lie."""
        from kit import charts

        return charts.dose_response(self, ax)


def dose(
    frame: pd.DataFrame,
    outcome: str,
    of: str,
    dough: str | None = None,
    bake: str | None = None,
    load: str | None = None,
    trial: str | None = None,
    matters: float | str | None = None,
    adjust: Sequence[str] = (),
    covariates: Sequence[str] = (),
    shape: Literal["auto", "straight", "curved", "plateau"] = "auto",
    want: Want = "high",
    level: float = 0.95,
    examine: bool = True,
    mixing: str | None = None,
) -> DoseResponse:
    """Fit what an outcome does along the doses of a numeric factor.

    Parameters
    ----------
    frame : DataFrame
        One row a piece.
    outcome, of : str
        Numeric column measured, and numeric column set on purpose.
    dough, bake, load, trial : str, optional
        Columns that say which rows belong together; see `kit.compare`.
    matters : float, optional
        The smallest difference that the baker cares about, in the outcome's unit.
    adjust : sequence of str
        Other factors to hold alike.
    covariates : sequence of str
        What was measured beside (room temperature, ball weight, minutes waited): numbers are
        held alike along a straight line, words as settings. What the dose itself changes is no
        covariate: holding it alike would take away part of what the dose does.
    shape : {"auto", "straight", "curved", "plateau"}
        "auto" is a curve, or a straight line when there are two doses only.
    want : {"high", "low"}
        What is best: much of the outcome, or little.
    level : float
        Of the intervals.
    examine : bool
        Look at residuals, single doughs, missing pieces, limits and events too.
    mixing : str, optional
        See `kit.compare`.

    Returns
    -------
    DoseResponse

    Raises
    ------
    DesignError
        The bakes cannot answer this, whatever the numbers.
    DataError, InputError, NotFoundError
        A column or value that cannot be used.
    """
    frame, matters = relabelled(frame), fitting.margin(matters, outcome)
    need_one_of("shape", shape, ("auto", *answers.FITTED))
    need_one_of("want", want, ("high", "low"))
    columns = {"trial": trial, "bake": bake, "mixing": mixing, "dough": dough, "load": load}
    held = [a for a in dict.fromkeys([trial, *adjust]) if a is not None]
    doses = read_doses(frame, outcome, [of], columns, held, covariates, level)
    different = doses.frame[doses.of[0]].nunique()
    if shape == "auto":
        shape = "curved" if different > 2 else "straight"
    tried = _all_shapes(doses, different, shape)
    result = _result(doses, tried, shape, (outcome, of), columns, matters, want, covariates)
    if not examine:
        return result

    def ask(part: pd.DataFrame) -> tuple[str, float]:
        some = read_doses(part, outcome, [of], columns, held, covariates, level, doses.records)
        again = answers.FITTED[result.shape](some)
        found = answers.largest(again, matters)[0].told(matters)
        change = again.changes(np.array([lead.level]), np.array([lead.versus]))
        return found, float(change["estimate"].iloc[0])

    curve, lead = tried[shape], result.leading

    def tell(fits: Sequence[MixedFit]) -> list[tuple[str, float]]:
        return answers.of_refits(curve, fits, matters, lead)

    rows = doses.frame.assign(**curve.columns(doses.frame))
    now = result.answer.told(matters), lead.difference
    examined = check(
        frame, rows, doses.records.labels, curve.fit, (outcome, of), columns, ask,
        None if curve.knot is not None else tell, now,
    )  # fmt: skip
    if shape != "plateau":
        names, beside = (outcome, of), result.adjusted
        together = with_others(doses.frame, curve.fit, names, beside, result.whole)
        examined = replace(examined, findings=(*examined.findings, *together))
    return replace(result, examined=examined, checks=(*result.checks, *examined.checks))


def _all_shapes(doses: Doses, different: int, asked: Shape) -> dict[str, Curve]:
    """Every shape these doses can show, for the side-by-side; the one asked for must."""
    tried = {}
    for name, fitted in answers.FITTED.items():
        if name != asked and (name != "straight" and not 2 < different <= MOST_SETTINGS):
            continue
        try:
            tried[name] = fitted(doses)
        except DesignError:
            if name == asked:
                raise
    return tried


def _result(
    doses: Doses,
    tried: Mapping[str, Curve],
    shape: Shape,
    names: tuple[str, str],
    columns: Mapping[str, str | None],
    matters: float | None,
    want: Want,
    covariates: Sequence[str],
) -> DoseResponse:
    curve, records, unit = tried[shape], doses.records, doses.records.unit
    answer, leading = answers.largest(curve, matters)
    fitting.refuse_unjudged(leading, records, "dose")
    misfits = {name: lack_of_fit(doses, c) for name, c in tried.items()}
    away = {name: misfit(c.fit) for name, c in tried.items()}
    different = doses.frame[doses.of[0]].nunique()
    whole = answers.whole(curve, matters)
    beside = tuple(c for c in covariates if c in records.adjust)
    bend = tried["curved"].bend if "curved" in tried else None
    shapes = pd.DataFrame(
        {
            "shape": list(tried),
            "misfit": [m - min(away.values()) for m in away.values()],
            "p": [np.nan if m is None else float(m["p"]) for m in misfits.values()],
        }
    )
    return DoseResponse(
        outcome=names[0],
        of=names[1],
        shape=shape,
        matters=matters,
        answer=answer,
        leading=leading,
        trend=answers.both_sides(doses, answers.trend_of(curve, whole)),
        whole=whole,
        best=answers.may_be_best(doses, curve, find_best(curve, want, matters)),
        curve=answers.along(curve),
        settings=settings_means(doses),
        points=records.points(doses.of[0], doses.outcome),
        shapes=shapes,
        lack_of_fit=misfits[shape],
        bend=bend,
        unit=unit,
        counts=records.counts,
        columns=columns,
        adjusted=tuple(a for a in records.adjust if a not in beside),
        covariates=beside,
        more=fitting.more_needed(answer, leading, matters, records, min(different, MOST_SETTINGS)),
        checks=(
            *records.notes,
            *dose_words.about_shape(shape, names[1], different, shapes, bend, _once(doses)),
            *answers.moved_by(doses, curve, whole, names[0], beside),
            *fitting.few(leading, records),
        ),
        fit=curve.fit,
        fitted=curve,
        examined=None,
    )


def _once(doses: Doses) -> bool:
    """Whether each dose was made once only."""
    if doses.records.unit == "piece":
        return False
    made = doses.frame.groupby(doses.of[0])[doses.records.unit].nunique()
    return bool(made.max() == 1)
