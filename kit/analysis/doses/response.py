"""What a factor's doses do to an outcome, and every sentence about it.

Nothing is said here that cannot be checked against `DoseResponse.to_frame`.
"""

import math
from dataclasses import asdict, dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from kit import words
from kit.analysis.answer.fitting import Difference
from kit.analysis.answer.found import Found
from kit.analysis.answer.sentences import (
    after_the_notes,
    against,
    beyond_reach,
    bounds,
    fitted,
    judged_by,
    outlook,
    spread_over,
)
from kit.analysis.doses.best import BestDose
from kit.analysis.doses.fit import Curve, Shape
from kit.analysis.doses.settings import near
from kit.analysis.verdict import Answer
from kit.shown import Telling

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["SHAPES", "DoseResponse"]

SHAPES = {
    "straight": "a straight line",
    "curved": "a curve with one bend",
    "plateau": "a line that levels off",
}
_TRENDS = {
    "up": "The more {dose}, the more {what}, over all the doses baked.",
    "down": "The more {dose}, the less {what}, over all the doses baked.",
    "peak": "{What} has a peak between the doses baked.",
    "dip": "{What} has a lowest point between the doses baked.",
    "up first": "{What} rises with the first of the {dose}; what more of it does is open.",
    "down first": "{What} falls with the first of the {dose}; what more of it does is open.",
    "up last": "{What} rises towards the highest dose; lower down it is open.",
    "down last": "{What} falls towards the highest dose; lower down it is open.",
    "up overall": "{What} is more at the highest dose than at the lowest.",
    "down overall": "{What} is less at the highest dose than at the lowest.",
    "up to a plateau": "{What} rises, and then levels off if the shape is right.",
    "down to a plateau": "{What} falls, and then levels off if the shape is right.",
    "unclear": "Cannot tell yet what {dose} does.",
}


@dataclass(frozen=True, kw_only=True)
class DoseResponse(Found):
    """An answer about a dose, and everything it rests on (see `Found` for what all answers hold).

    The answer is about the largest difference between any two doses baked, protected for having
    been looked for (Scheffé).

    Parameters
    ----------
    of : str
        The factor's column.
    shape : {"straight", "curved", "plateau"}
        What was fitted for the answer.
    trend : str
        What surely happens along the doses: "up", "down", "peak", "up first" …, "unclear".
    whole : Difference
        From the lowest dose baked to the highest, by itself.
    best : BestDose
    curve : DataFrame
        ``dose, mean, se, df, low, high`` along the doses.
    settings : DataFrame or None
        ``level, mean, se, df, low, high`` of every dose taken by itself.
    shapes : DataFrame
        ``shape, misfit, p`` of every shape tried: −2 log likelihood less that of the best one,
        and the test of its lack of fit (NaN where there is none).
    lack_of_fit : Series or None
        ``num_df, den_df, F, p`` of the shape against the doses as settings.
    bend : float or None
        The p of the bend.
    covariates : tuple of str
        Numbers measured beside that were held alike along a straight line.
    """

    of: str
    shape: Shape
    trend: str
    whole: Difference
    best: BestDose
    curve: pd.DataFrame
    settings: pd.DataFrame | None
    shapes: pd.DataFrame
    lack_of_fit: pd.Series | None
    bend: float | None
    covariates: tuple[str, ...]
    fitted: Curve = field(repr=False)

    def __repr__(self) -> str:
        return (
            f"<DoseResponse {self.outcome} of {self.of}: {self.trend}, best at "
            f"{self.best.dose:.3g}, {self.answer.value}>"
        )

    @property
    def headline(self) -> str:
        """The answer in a few words."""
        what, dose = words.name(self.outcome), words.name(self.of)
        if self.answer is Answer.NONE or self.answer is Answer.SMALL:
            return f"Between these doses {dose} makes {self.answer.value}."
        if self.misfits:
            shape = f"{words.capital(what)} does not follow {SHAPES[self.shape]}"
            return f"{shape} along the doses: compare them as settings."
        told = _TRENDS[self.trend].format(dose=dose, what=what, What=words.capital(what))
        if self.trend != "unclear" and self.answer is Answer.UNCLEAR and self.matters is not None:
            told += " Whether it matters cannot be told yet."
        return told

    @property
    def sentence(self) -> str:
        """What the outcome does along the doses, with intervals."""
        lead, whole = self.leading, self.whole
        start = f"Along {SHAPES[self.shape]}, which does not fit, from" if self.misfits else "From"
        parts = [f"{start} {self._amounts(whole)}, {self._goes(whole)}."]
        if self.misfits:
            return parts[0]
        levels_off = self.fitted.break_at is not None and lead.level >= self.fitted.break_at
        if {lead.level, lead.versus} != {whole.level, whole.versus} and not levels_off:
            parts.append(
                f"The largest difference between two doses is from {self._amounts(lead)}: "
                f"{self._goes(lead)}, allowing for having looked for it."
            )
        if self.matters is not None and self.answer is Answer.MATTERS:
            margin = words.amount(self.outcome, self.matters)
            parts.append(f"That is surely beyond the {margin} that matters.")
        elif self.matters is not None:
            parts.append(against(self))
        return " ".join(filter(None, parts))

    @property
    def best_in_words(self) -> str:
        """Which dose is best, where it may lie, and what is enough."""
        b, low, high = self.best, self.fitted.low, self.fitted.high
        if self.misfits:
            return "Which dose is best cannot be read off a shape that does not fit."
        if self.answer in (Answer.NONE, Answer.SMALL):
            return "No dose is better by as much as matters: choose by taste, cost or convenience."
        what, most = words.name(self.outcome), "highest" if b.want == "high" else "lowest"
        may = b.may_be.in_words(self.of, low, high)
        every = (low, high) in b.may_be.pieces
        at, half = self._dose(b.dose), b.high - b.mean
        mean = words.number(b.mean, half, words.unit_of(self.outcome))
        span = f"{words.number(b.low, half)} to {words.number(b.high, half)}"
        if b.place == "plateau":
            text = f"As a line that levels off, {what} is {most} from {at} on ({mean}, {span})"
            text += (
                "; where it levels off cannot be told."
                if every
                else f"; it may level off {self._break_in_words()}."
            )
        elif every:
            text = (
                f"Which dose is best cannot be told: any from {low:g} to "
                f"{words.amount(self.of, high)} may be where {what} is {most}."
            )
        else:
            end = {"highest": "the highest dose baked, ", "lowest": "the lowest dose baked, "}
            text = f"Along {SHAPES[self.shape]}, {what} is {most} at {end.get(b.place, '')}{at} "
            text += f"({mean}, {span})"
            if b.may_be.pieces == ((b.dose, b.dose),):
                text += ", and no other dose baked fits as the best."
            else:
                verb = "lie anywhere" if may.startswith("from") else "be"
                text += f"; the best dose may {verb} {may}."
        if b.place in ("highest", "lowest") and not every:
            text += " No best dose was found inside the doses baked; beyond them nothing is known."
        elif high in b.may_be and b.place == "inside" and not every:
            text += " That the best lies beyond the doses baked is not ruled out."
        return " ".join([text, self._enough()]).strip()

    @property
    def rests_on(self) -> str:
        """How much baking stands behind the answer, and what counts as one experiment."""
        return judged_by(self, self.of, [*self.adjusted, *self.covariates])

    @property
    def next_step(self) -> str:
        """What to do next."""
        return after_the_notes(self._step(), self.noted)

    @property
    def method(self) -> str:
        """Model, tests and sources, for a statistician."""
        lead, parts = self.leading, [f"For the statistician: {fitted(self.fit)}."]
        if self.bend is not None:
            parts.append(f"Bend p = {self.bend:.2g}.")
        if self.lack_of_fit is not None:
            test = words.f_test(self.lack_of_fit)
            parts.append(f"Lack of fit against the doses as settings {test}.")
        size = words.number(lead.difference, lead.se)
        parts.append(
            f"Largest difference {size}, SE {words.number(lead.se, lead.se)}, {lead.df:.1f} df, "
            f"p = {lead.p:.2g}"
            + (" by Scheffé (1953)" if self.fitted.freedom > 1 else "")
            + f"; {100 * self.fit.level:.0f} % intervals."
        )
        turns = self.best.turning_set
        if turns is not None and self.best.turning is not None:
            where = " and ".join(_stretch(a, b) for a, b in turns.pieces)
            parts.append(
                f"The fitted curve turns ({self.best.turning_kind}) at {self.best.turning:.3g}; "
                f"Fieller (1954) set {where}."
            )
        if self.fitted.break_at is not None:
            parts.append("The uncertainty of the break point is Fieller's, interval by interval.")
        return words.minus(" ".join(parts)).replace("Kenward−", "Kenward–")

    @property
    def misfits(self) -> bool:
        """Whether the doses surely do not lie on the shape."""
        return self.lack_of_fit is not None and float(self.lack_of_fit["p"]) < 0.05

    def _step(self) -> str:
        b = self.best
        if self.misfits:
            return "Next: look at the doses as settings with `compare`, or try another shape."
        if self.answer in (Answer.SMALL, Answer.NONE):
            return "Next: settled as far as these doses go; ask about another factor."
        if self.answer is Answer.UNCLEAR and self.more is not None:
            return f"Next: {outlook(self)}, {spread_over(self, 'doses')}."
        if self.answer is Answer.UNCLEAR:
            return f"{beyond_reach(self)} A wider range of doses may settle it sooner."
        if b.place == "highest":
            return "Next: bake a higher dose too, if it is safe and sensible, to see where it ends."
        if b.place == "lowest":
            return "Next: bake doses between the lowest and the next one to see how it begins."
        if len(b.may_be.pieces) == 1 and b.may_be.bounded:
            first, last = b.may_be.pieces[0]
            if last - first > (self.fitted.high - self.fitted.low) / 4:
                where = b.may_be.in_words(self.of, self.fitted.low, self.fitted.high)
                return f"Next: to narrow the best dose, bake more doughs {_between(where)}."
        return "Next: use it, and bake it once more beside your usual dose to see it hold."

    def _amounts(self, x: Difference) -> str:
        """Both doses and the factor: 0 % to 1.2 % diastatic malt."""
        return f"{self._dose(x.versus)} to {self._dose(x.level)} {words.name(self.of)}"

    def _dose(self, dose: float) -> str:
        """A dose as finely as the range baked tells it."""
        return words.amount(self.of, near(dose, self.fitted.high - self.fitted.low))

    def _goes(self, x: Difference) -> str:
        """How the outcome changes, with its interval in words."""
        change = "up" if x.difference >= 0 else "down"
        size = words.number(abs(x.difference), x.half_width, words.unit_of(self.outcome))
        fits = f"the bakes fit anything {bounds(self, x)}"
        return f"{words.name(self.outcome)} goes {change} by {size} ({fits})"

    def _enough(self) -> str:
        """The lowest dose that comes within `matters` of the best."""
        b, low = self.best, self.fitted.low
        if self.matters is None or self.answer is not Answer.MATTERS:
            return ""
        if b.enough is None or b.enough <= low:
            return ""
        margin = words.amount(self.outcome, self.matters)
        text = f"From about {self._dose(b.enough)} on you are within {margin} of it"
        if b.enough_surely is not None:
            text += f" (surely so from {self._dose(b.enough_surely)} on)"
        else:
            text += " (of no dose is that sure yet)"
        levels = self.points["level"].drop_duplicates()
        short = levels[levels < (low if b.enough_from is None else b.enough_from)]
        if len(short):
            less = " and less" if len(short) > 1 else ""
            text += f"; with {words.amount(self.of, short.max())}{less} surely not"
        return f"{text}."

    def _break_in_words(self) -> str:
        """Where the plateau may begin."""
        second = float(self.points["level"].drop_duplicates().nsmallest(2).iloc[-1])
        told = []
        for a, b in self.best.may_be.pieces:
            first, last = self._dose(a), self._dose(b)
            if b >= self.fitted.high and a <= second:
                told.append("anywhere, or not at all")
            elif b >= self.fitted.high:
                told.append(f"from {first} on, or not at all inside the doses baked")
            elif a <= second:
                told.append(f"anywhere up to {last}")
            else:
                told.append(f"between {first} and {last}")
        return ", or ".join(told)

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
        largest = pd.DataFrame([asdict(self.leading), asdict(self.whole)])
        parts = [
            pd.DataFrame(doses),
            largest.rename(columns={"difference": "estimate"}).assign(kind="difference"),
            self.curve.rename(columns={"dose": "level", "mean": "estimate"}).assign(kind="curve"),
            self.dough_means().rename(columns={"value": "estimate"}).assign(kind="dough"),
            self.points.rename(columns={"value": "estimate"}).assign(kind="piece"),
        ]
        if self.settings is not None:
            table = self.settings.rename(columns={"mean": "estimate"})
            parts.insert(3, table.assign(kind="setting"))
        columns = ["kind", "level", "versus", "bake", "dough", "estimate", "low", "high"]
        whole = pd.concat(parts, ignore_index=True)
        return whole.reindex(columns=[*columns, "se", "df", "p"])

    def plot(self, ax: "Axes | None" = None) -> "Axes":
        """Draw pieces, dough means, the shape with its interval, and where the best may lie."""
        from kit import charts

        return charts.dose_response(self, ax)


def _between(where: str) -> str:
    return where if where.startswith("from") else f"at {where}"


def _stretch(low: float, high: float) -> str:
    """From where to where, either end perhaps open."""
    if math.isinf(low) and math.isinf(high):
        return "every dose"
    if math.isinf(low):
        return f"up to {high:.4g}"
    return f"from {low:.4g} on" if math.isinf(high) else f"{low:.4g} to {high:.4g}"
