"""Two doses at once: a response surface, where it turns, and how the two work together.

A full quadratic in both factors with bakes, doughs and loads random; when one of the factors
has two settings only its square cannot be told, and is left out with a word. Stationary point
and canonical form as in Box & Draper (2007), *Response Surfaces, Mixtures, and Ridge Analyses*,
ch. 11. What is said to be sure comes from Kenward–Roger contrasts, not from the fitted picture.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np
import pandas as pd

from kit.analysis.answer.fitting import margin
from kit.analysis.asked import need_one_of, relabelled
from kit.analysis.checking.checks import FitChecks, check
from kit.analysis.doses import surface_words
from kit.analysis.doses.best import Want
from kit.analysis.doses.data import Doses, read_doses
from kit.analysis.doses.surface_fit import Effect, Quadratic, Turning, hull, square
from kit.analysis.means import with_interval
from kit.analysis.mixed import MixedFit
from kit.analysis.moments import Floats
from kit.analysis.verdict import decide
from kit.errors import DesignError, InputError
from kit.shown import Judged

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["Surface", "surface"]


@dataclass(frozen=True)
class Surface(Judged):
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
        As in `Comparison`.
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
    _words: ClassVar[Any] = surface_words

    def __repr__(self) -> str:
        kind = self.turning.kind if self.turning else "no turning point"
        return f"<Surface {self.outcome} of {self.of[0]} and {self.of[1]}: {kind}>"

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
    frame, matters = relabelled(frame), margin(matters, outcome)
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
        checks=(*records.notes, *surface_words.about(names, doses.of, bends, squares, reached)),
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
