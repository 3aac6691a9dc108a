"""What a numeric factor does to an outcome: more is better, less is better, or a best dose.

The shape is fitted with bakes, doughs and loads random (`dose_fit`), so that a dose decided for
a whole dough is judged against the spread from dough to dough. A quadratic curve is used
wherever there are three doses or more: a straight line would take for granted that more always
does the same. A plateau is fitted when asked for.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Literal

import numpy as np
import pandas as pd

from kit import words
from kit.analysis.answer import fitting
from kit.analysis.asked import need_one_of, relabelled
from kit.analysis.checking.checks import check
from kit.analysis.checking.with_others import with_others
from kit.analysis.doses import answers
from kit.analysis.doses.best import Want, find_best
from kit.analysis.doses.data import Doses, read_doses
from kit.analysis.doses.fit import Curve, Shape, lack_of_fit, misfit, settings_means
from kit.analysis.doses.response import SHAPES, DoseResponse
from kit.analysis.grouping.structure import MOST_SETTINGS
from kit.analysis.mixed import MixedFit
from kit.errors import DesignError

__all__ = ["DoseResponse", "dose"]

#: A shape of the same number of unknowns fits clearly better when −2 log likelihood is this
#: much less (a factor of e² ≈ 7 in likelihood; a rule of thumb, no source).
_CLEARLY = 4.0


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
    frame, matters = relabelled(frame, of, *adjust, *covariates), fitting.margin(matters, outcome)
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
    fitting.refuse_unjudged(leading.df, records, "dose")
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
            *_about_shape(shape, names[1], different, shapes, bend, _once(doses)),
            *answers.moved_by(doses, curve, whole, names[0], beside),
            *fitting.few(leading, records),
        ),
        fit=curve.fit,
        fitted=curve,
    )


def _once(doses: Doses) -> bool:
    """Whether each dose was made once only."""
    if doses.records.unit == "piece":
        return False
    made = doses.frame.groupby(doses.of[0])[doses.records.unit].nunique()
    return bool(made.max() == 1)


def _about_shape(
    shape: str, of: str, different: int, shapes: pd.DataFrame, bend: float | None, once: bool
) -> list[str]:
    """What is known about the shape, and what cannot be."""
    dose, notes = words.name(of), []
    if different == 2:
        notes.append(
            f"only two doses of {dose} were baked: whether there is a peak between or beyond "
            "them cannot be seen"
        )
    elif different == 3 and shape != "straight":
        notes.append(
            f"with three doses {SHAPES[shape]} always meets all of them: whether it is the right "
            "shape cannot be tested; a fourth dose would"
        )
    if once:
        notes.append(
            "each dose was mixed once: how doughs differ is judged from how they lie about "
            f"{SHAPES[shape]}, so if that shape is wrong the answer is too. Mix each dose again"
        )
    table = shapes.set_index("shape")
    mine = table.loc[shape]
    if mine["p"] < 0.05:
        notes.append(
            f"the doses do not lie on {SHAPES[shape]} (p = {mine['p']:.2g}): read the doses as "
            "settings with `compare` beside it"
        )
    elif shape == "straight" and bend is not None and bend < 0.05:
        notes.append(f"there is a bend along the doses (p = {bend:.2g}): a curve says more")
    rivals = table.drop(index=["straight", shape], errors="ignore")["misfit"]
    if shape != "straight" and len(rivals) and different > 3:
        name, gain = str(rivals.idxmin()), float(mine["misfit"] - rivals.min())
        if gain >= _CLEARLY:
            notes.append(f"{SHAPES[name]} fits these doses better than {SHAPES[shape]}")
        elif shape == "plateau" or gain > 0:
            notes.append(
                f"{SHAPES[name]} fits these doses about as well: which of the two it is cannot "
                "be told"
            )
    return notes
