"""Two doses at once: a response surface, where it turns, and how the two work together.

A full quadratic in both factors with bakes, doughs and loads random; when one of the factors
has two settings only its square cannot be told, and is left out with a word. Stationary point
and canonical form as in Box & Draper (2007), *Response Surfaces, Mixtures, and Ridge Analyses*,
ch. 11. What is said to be sure comes from Kenward–Roger contrasts, not from the fitted picture.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pandas as pd

from kit import words
from kit.analysis.answer.fitting import margin
from kit.analysis.asked import need_one_of, relabelled
from kit.analysis.checking.checks import check
from kit.analysis.doses.best import Want
from kit.analysis.doses.data import Doses, read_doses
from kit.analysis.doses.response_surface import Surface
from kit.analysis.doses.surface_fit import Effect, Quadratic, hull, square
from kit.analysis.means import with_interval
from kit.analysis.mixed import MixedFit
from kit.analysis.moments import Floats
from kit.analysis.verdict import decide
from kit.errors import DesignError, InputError

__all__ = ["Surface", "surface"]


def surface(
    frame: pd.DataFrame,
    outcome: str,
    of: tuple[str, str],
    dough: str | None = None,
    bake: str | None = None,
    load: str | None = None,
    trial: str | None = None,
    matters: float | str | None = None,
    adjust: Sequence[str] = (),
    covariates: Sequence[str] = (),
    squares: bool = True,
    want: Want = "high",
    level: float = 0.95,
    examine: bool = True,
    mixing: str | None = None,
) -> Surface:
    """Fit what an outcome does over the doses of two numeric factors.

    Parameters
    ----------
    frame : DataFrame
        One row a piece.
    outcome : str
    of : (str, str)
        Two numeric columns set on purpose.
    dough, bake, load, trial, matters, adjust, covariates, want, level, examine, mixing
        See `kit.analysis.dose.dose`.
    squares : bool
        Let the surface bend along each factor that has three doses or more; without, it only
        tilts and twists.

    Returns
    -------
    Surface

    Raises
    ------
    DesignError
        The combinations baked cannot tell the two apart.
    DataError, InputError, NotFoundError
        A column or value that cannot be used.
    """
    if len(set(of)) != 2 or len(of) != 2:
        raise InputError("of", tuple(of), "must be two different factors")
    need_one_of("want", want, ("high", "low"))
    for field_, given in (("adjust", adjust), ("covariates", covariates)):
        for name in (c for c in given if c in of):
            raise InputError(field_, name, "is already used for of", "Give each its own column.")
    frame, matters = relabelled(frame, *of, *adjust, *covariates), margin(matters, outcome)
    columns = {"trial": trial, "bake": bake, "mixing": mixing, "dough": dough, "load": load}
    held = [a for a in dict.fromkeys([trial, *adjust]) if a is not None]
    doses = read_doses(frame, outcome, of, columns, held, covariates, level)
    records = replace(doses.records, adjust=tuple(a for a in doses.records.adjust if a not in of))
    doses = replace(doses, records=records)
    bends = [f for f in doses.of if squares and doses.frame[f].nunique() > 2]
    x, z = doses.of
    own = [x, z, *(f"I({f}**2)" for f in bends), f"{x}:{z}"]
    fit = doses.fit(*own)
    gone = [n for n in fit.dropped_columns if n.replace(" ", "") in _names(x, z, bends)]
    if gone:
        msg = (
            f"the combinations of {of[0]} and {of[1]} that were baked cannot tell all their "
            f"effects apart ({', '.join(gone)}). Bake at least all four corners: both low, both "
            "high, and one of each."
        )
        raise DesignError(msg)
    baked = doses.frame[[x, z]].to_numpy(dtype=float)
    shape = Quadratic(fit, x, z, np.column_stack([baked.min(axis=0), baked.max(axis=0)]))
    grid = shape.grid()
    inside = hull(baked, grid)
    corners = np.array([(a, b) for a in shape.box[0] for b in shape.box[1]])
    reached = bool(hull(baked, corners).all())
    means = shape.mean(grid)
    best = grid[int(np.where(inside, means if want == "high" else -means, -np.inf).argmax())]
    at = with_interval(fit.linear(shape.rows(best[None, :])), level).iloc[0]
    names = (of[0], of[1])
    found = Surface(
        outcome=outcome,
        of=names,
        want=want,
        matters=matters,
        coefficients=fit.coefficients,
        effects=tuple(shape.effect(i, end, names) for i in (0, 1) for end in (0, 1)),
        together=shape.together(names),
        turning=shape.turning() if len(bends) == 2 else None,
        best=(float(best[0]), float(best[1])),
        best_mean=float(at["mean"]),
        best_low=float(at["low"]),
        best_high=float(at["high"]),
        tests=shape.tests(bends),
        lack_of_fit=_lack_of_fit(doses, own, 4 + len(bends)),
        grid=pd.DataFrame({of[0]: grid[:, 0], of[1]: grid[:, 1], "mean": means}),
        points=_baked(doses, names),
        counts=records.counts,
        columns=columns,
        adjusted=records.adjust,
        checks=(*records.notes, *_about(names, doses.of, bends, squares, reached)),
        fit=fit,
    )
    if not examine:
        return found

    def told(effect: Effect) -> tuple[str, float]:
        return decide(effect.low, effect.high, matters).value, effect.change

    def ask(part: pd.DataFrame) -> tuple[str, float]:
        return told(
            surface(
                part, outcome, of, dough, bake, load, trial, matters, adjust, covariates, squares,
                want, level, examine=False,
            ).together
        )  # fmt: skip

    def tell(fits: Sequence[MixedFit]) -> list[tuple[str, float]]:
        return [told(replace(shape, fit=fit).together(names)) for fit in fits]

    examined = check(
        frame, doses.frame, records.labels, fit, (outcome, *names), columns, ask, tell,
        told(found.together),
    )  # fmt: skip
    return replace(found, examined=examined, checks=(*found.checks, *examined.checks))


def _names(x: str, z: str, bends: Sequence[str]) -> list[str]:
    """Coefficients as formulaic names them."""
    return [x, z, *(square(f) for f in bends), f"{x}:{z}"]


def _lack_of_fit(doses: Doses, own: Sequence[str], rank: int) -> pd.Series | None:
    """Test the surface against the combinations baked, each free: ``num_df, den_df, F, p``."""

    def combination(frame: pd.DataFrame) -> dict[str, Floats]:
        return {"combination": frame.groupby(list(doses.of)).ngroup().to_numpy().astype(float)}

    if combination(doses.frame)["combination"].max() < rank:
        return None
    try:
        free = doses.fit(*own, "C(combination)", columns=combination)
    except DesignError:
        return None  # no combination was baked twice
    test = free.term("C(combination)")
    return None if pd.isna(test["p"]) else test


def _baked(doses: Doses, of: tuple[str, str]) -> pd.DataFrame:
    grouped = doses.frame.groupby(list(doses.of))
    table = grouped.agg(
        doughs=("dough", "nunique"), pieces=("dough", "size"), mean=(doses.outcome, "mean")
    ).reset_index()
    return table.rename(columns=dict(zip(doses.of, of, strict=True)))


def _about(
    of: tuple[str, str], columns: Sequence[str], bends: Sequence[str], asked: bool, corners: bool
) -> list[str]:
    """What cannot be seen with these doses."""
    notes = []
    for name, column in zip(of, columns, strict=True):
        if asked and column not in bends:
            notes.append(
                f"{words.name(name)} has two doses: whether the surface bends along it cannot be "
                "seen"
            )
    if not corners:
        notes.append(
            "not all four corners (lowest and highest of both) were baked: what is said about "
            "them follows the surface beyond what was baked"
        )
    return notes
