"""How much bakes, doughs and pieces of one recipe differ by themselves.

Estimated from earlier bakes with the kit's own mixed model, or stated. The uncertainty of the
estimate is carried along: a sum of variances is taken to follow chi-square in proportion, with
the degrees of freedom that its own standard error implies (Satterthwaite 1946, Biometrics Bull
2:110).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from kit import words
from kit.analysis.grouping.experiments import mixings, with_mixing, with_shaping
from kit.analysis.grouping.structure import safe_name, shaped_as
from kit.errors import DataError, DesignError, InputError, NotFoundError
from kit.given import as_number
from kit.shown import Telling, Told

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["ASSUMED", "Spread"]

#: As their variances are kept.
_PARTS = ("bake", "dough", "piece", "mixing", "shaping")
#: Chance that the range of a spread holds the true one.
RANGE = 0.8


@dataclass(frozen=True)
class Spread(Told):
    """Standard deviations of one outcome when nothing is changed on purpose.

    Parameters
    ----------
    dough : float
        From dough to dough of one bake.
    piece : float
        From piece to piece of one dough.
    bake : float
        From bake to bake.
    outcome : str
        Its column, for the unit; empty when not said.
    source : str
        Where the numbers come from, as it stands in a sentence.
    doughs : int or None
        How many doughs it was estimated from; None when it was stated.
    mixing : float or None
        From mixing to mixing of one bake, where doughs of one retard are mixed in one go; None
        where no bake has shown it.
    shaping : float or None
        From shaping to shaping of one dough, where pieces of one proof are shaped together; None
        where no bake has shown it.

    Examples
    --------
    >>> Spread(dough=1.0, piece=1.5)
    <Spread dough 1, piece 1.5, bake 0: stated>
    """

    dough: float
    piece: float
    bake: float = 0.0
    outcome: str = ""
    source: str = "stated"
    doughs: int | None = None
    checks: tuple[str, ...] = ()
    mixing: float | None = None
    shaping: float | None = None
    _variance: tuple[float, ...] | None = field(default=None, repr=False)
    _covariance: tuple[tuple[float, ...], ...] | None = field(default=None, repr=False)

    def __post_init__(self) -> None:
        for name in ("dough", "piece", "bake"):
            value = getattr(self, name)
            number = as_number(value)
            if number is None or not 0 <= number < math.inf:
                called = f"sd_{name}"
                raise InputError(called, value, "must be a number, 0 or more")
            object.__setattr__(self, name, number)
        if self.dough == 0 and self.piece == 0:
            remedy = "Without any spread the smallest difference is seen at once."
            raise InputError("sd_piece", self.piece, "must be above 0 when sd_dough is 0", remedy)

    @classmethod
    def from_bakes(
        cls,
        frame: pd.DataFrame,
        outcome: str,
        factors: Sequence[str] = (),
        dough: str = "dough",
        bake: str | None = "bake",
        mixing: str | None = None,
    ) -> "Spread":
        """Estimate from earlier bakes, a noise bake or any trial.

        Parameters
        ----------
        frame : DataFrame
            One row a piece.
        factors : sequence of str
            What was changed on purpose; its effect is taken out first.
        dough, bake : str
            Columns that say which pieces belong together; bake may be None.
        mixing : str, optional
            Column that says which doughs of a bake were mixed in one go, such as one of the
            factors, ``retard_hours``.

        Raises
        ------
        NotFoundError, DataError, DesignError
            A column is missing, or there are too few doughs or pieces.
        """
        from kit.analysis.mixed import mixed

        factors = [factors] if isinstance(factors, str) else list(factors)
        columns = [outcome, dough, *([bake] if bake else []), *factors]
        for column in columns:
            if column not in frame.columns:
                raise NotFoundError("column", column, map(str, frame.columns))
        proofs = {f: column for f, column in shaped_as(frame, *factors).items() if column}
        rows = frame[[*dict.fromkeys([*columns, *proofs.values()])]].dropna()
        if rows.empty:
            msg = f"no piece has {outcome}: there is no spread to learn from."
            raise DataError(msg)
        by_bake = rows.groupby(bake).ngroup() if bake else pd.Series(0, index=rows.index)
        keys = [*([bake] if bake else []), dough]
        table = pd.DataFrame({"bake": by_bake, "dough": rows.groupby(keys).ngroup()})
        bakes, doughs = table["bake"].nunique(), table["dough"].nunique()
        _enough(doughs, len(rows), outcome)
        table[safe_name(outcome)] = rows[outcome]
        terms = []
        for factor in factors:
            if rows[factor].nunique() > 1:
                table[safe_name(factor)] = rows[proofs.get(factor, factor)]
                terms.append(f"C({safe_name(factor)})")
        groups: tuple[str, ...] = (*(["bake"] if 1 < bakes < doughs else []), "dough")
        if mixing in factors and bake:
            mixed_in = rows.groupby([bake, mixing]).ngroup()
            table["mixing"] = mixings(mixed_in, table["dough"], table["bake"])
            groups, _ = with_mixing(table, groups, "nested")
        if proofs:
            table["shaping"] = rows.groupby([*keys, *proofs.values()]).ngroup()
            groups = with_shaping(table, groups)
        formula = f"{safe_name(outcome)} ~ {' + '.join(terms) or '1'}"
        try:
            fit = mixed(table, formula, groups)
        except DesignError:
            if not {"mixing", "shaping"} & set(groups):
                raise
            # too few to see what they do
            groups = tuple(g for g in groups if g not in ("mixing", "shaping"))
            fit = mixed(table, formula, groups)
        raw, cov = np.zeros(len(_PARTS)), np.zeros((len(_PARTS), len(_PARTS)))
        there = [_PARTS.index(group) for group in (*groups, "piece")]
        raw[there], cov[np.ix_(there, there)] = fit._estimate.variance, fit._estimate.w
        sd = dict(zip(_PARTS, np.sqrt(np.maximum(raw, 0.0)).tolist(), strict=True))
        checks = []
        if bakes == doughs > 1:
            checks.append(
                "each of these bakes had one dough, so the spread from dough to dough holds the "
                "day's as well: a plan that bakes all settings on one day may do better than said"
            )
        if sd["dough"] == 0:
            checks.append(
                "no spread from dough to dough was seen beyond what the pieces explain; that is "
                "luck as often as truth, see the range"
            )
        seen = {group: sd[group] if group in groups else None for group in ("mixing", "shaping")}
        return cls(
            sd["dough"], sd["piece"], sd["bake"], outcome,
            f"from {words.plural(doughs, 'dough')} on {words.plural(bakes, 'bake')}", doughs,
            tuple(checks), seen["mixing"], seen["shaping"],
            tuple(map(float, raw)), tuple(tuple(map(float, r)) for r in cov),
        )  # fmt: skip

    @property
    def known(self) -> bool:
        """Whether it was estimated, and so has a range."""
        return self._covariance is not None

    def freedom(self, weights: Sequence[float]) -> float:
        """Degrees of freedom behind a weighted sum of variances, in the order of the parts."""
        if self._covariance is None or self._variance is None:
            return math.inf
        w = np.zeros(len(_PARTS))
        w[: len(weights)] = weights
        value = float(w @ np.asarray(self._variance))
        error = float(w @ np.asarray(self._covariance) @ w)
        return max(2 * value**2 / error, 0.5) if error > 0 and value > 0 else 0.5

    def factors(self, weights: Sequence[float]) -> tuple[float, float]:
        """How much smaller and larger the standard deviation may be, as two factors.

        Of the weighted sum of the variances (bake, dough, piece and, where they count, mixing and
        shaping); the range holds the truth four times in five. (1, 1) for a stated spread.

        Examples
        --------
        >>> Spread(1.0, 1.5).factors((0, 1, 1 / 6))
        (1.0, 1.0)
        """
        from scipy import special

        df = self.freedom(weights)
        if math.isinf(df):
            return 1.0, 1.0
        tail = (1 - RANGE) / 2
        high, low = special.chdtri(df, tail), special.chdtri(df, 1 - tail)
        return float(np.sqrt(df / high)), float(np.sqrt(df / low))

    def __repr__(self) -> str:
        return (
            f"<Spread dough {self.dough:.3g}, piece {self.piece:.3g}, bake {self.bake:.3g}: "
            f"{self.source}>"
        )

    @property
    def parts(self) -> str:
        """The numbers as they stand in a sentence; of bake, mixing, shaping where there is one."""
        unit = words.unit_of(self.outcome)
        sds = {n: getattr(self, n) for n in ("bake", "mixing", "dough", "shaping", "piece")}
        shown = {n: sd or 0.0 for n, sd in sds.items() if sd or n in ("dough", "piece")}
        return words.join(
            f"{words.number(sd, sd or 1.0, unit)} from {n} to {n}" for n, sd in shown.items()
        )

    @property
    def sentence(self) -> str:
        """The numbers in words, with the range of the one that is known worst."""
        unit = words.unit_of(self.outcome)
        what = f" of {words.name(self.outcome)}" if self.outcome else ""
        text = f"Spread{what} ({self.source}): {self.parts}."
        if self.known:
            low, high = self.factors((0, 1, 0))
            if self.dough > 0:
                text += (
                    f" From dough to dough it may well be anything between "
                    f"{words.number(self.dough * low, self.dough * low)} and "
                    f"{words.number(self.dough * high, self.dough * high, unit)}."
                )
        return text

    def tells(self) -> Telling:
        """What it says."""
        return Telling(self.sentence, (), self.checks)

    def to_frame(self) -> pd.DataFrame:
        """One row a source of spread: ``component, sd, low, high``; the range 80 %."""
        rows = []
        for name, weights in zip(_PARTS, np.eye(len(_PARTS)).tolist(), strict=True):
            sd = getattr(self, name)
            if sd is None:
                continue
            low, high = self.factors(weights) if sd > 0 else (math.nan, math.nan)
            rows.append((name, sd, sd * low, sd * high))
        return pd.DataFrame(rows, columns=["component", "sd", "low", "high"])

    def plot(self, ax: "Axes | None" = None) -> "Axes":
        """Draw the three standard deviations with their ranges."""
        from kit import charts

        return charts.spread_bars(self, ax)


def _enough(doughs: int, pieces: int, outcome: str) -> None:
    if doughs < 2:
        msg = (
            f"only {words.plural(doughs, 'dough')} with {words.name(outcome)}: the spread from "
            "dough to dough cannot be seen. Mix the same recipe at least twice."
        )
        raise DataError(msg)
    if pieces <= doughs:
        msg = (
            f"one piece a dough: the spread from piece to piece cannot be told from that from "
            f"dough to dough. Measure {words.name(outcome)} on two pieces or more of a dough."
        )
        raise DataError(msg)


#: Used where nothing is known: pieces half as different again as doughs, bakes three times as
#: different (bakes as in Cook's cakes, data set `cake` of lme4: 6.2, 1.9 and 4.5 degrees).
ASSUMED = Spread(dough=1.0, piece=1.5, bake=3.0, source="assumed")
