"""Looking at the answer after every bake, and when to stop.

Whoever looks after every bake and stops at the first answer is fooled far more often than one
time in twenty (with eight looks, 18 % of the time): each look is another chance to be. The
intervals here hold all together, whenever one looks and whatever makes one stop: repeated
confidence intervals (Jennison & Turnbull 1989, J R Stat Soc B 51:305) at levels spent by the
O'Brien–Fleming type function of Lan & DeMets (see `kit.analysis.spending`). What is spent goes by
the share of the planned bakes (as calendar time in Lan & DeMets 1989, Stat Med 8:1191), how alike
two looks are by the doughs behind them.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import pandas as pd

from kit import words
from kit.analysis.answer.fitting import is_number, overall
from kit.analysis.answer.sentences import outlook
from kit.analysis.answer.settling import FUTILE, chance_in_words
from kit.analysis.compare import compare
from kit.analysis.comparison import Comparison
from kit.analysis.spending import levels
from kit.analysis.verdict import Answer, decide_each
from kit.errors import DataError, DesignError, InputError
from kit.given import as_whole
from kit.plan.noticing.exact import critical
from kit.plan.worth import Evidence, gather
from kit.shown import Telling, Told

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["Looks", "look_table", "looks"]

#: An interval so many times as wide as the usual one says nothing yet.
_FAR = 4.0


@dataclass(frozen=True)
class Looks(Told):
    """What each look at the answer said, looked at once or after every bake.

    Parameters
    ----------
    comparison : Comparison
        The usual answer from all bakes so far.
    table : DataFrame
        One row a look, after each bake: ``bake`` (its name), ``bakes, units`` (so far),
        ``level`` (of the interval that holds for looking every time), ``difference, se, df,
        low, high, wide_low, wide_high`` (of the two settings in question; the usual interval
        and the one that holds) and ``answer, wide_answer`` to the whole question. Numbers are
        missing where a bake left nothing to compare yet.
    planned : int
        Bakes planned in all.
    alpha : float
        1 minus the chance that all these intervals hold together.
    chance_left : float or None
        To be settled once all planned bakes are done; None when it is settled, nothing is left
        or it could not be worked out.
    """

    comparison: Comparison
    table: pd.DataFrame
    planned: int
    alpha: float
    chance_left: float | None
    checks: tuple[str, ...]
    evidence: Evidence | None = field(repr=False, default=None)

    @property
    def made(self) -> int:
        """Bakes so far."""
        return len(self.table)

    @property
    def settled_after(self) -> int | None:
        """Number of the first bake after which it was settled, however often one looks."""
        settled = self.table["wide_answer"] != Answer.UNCLEAR.value
        return int(self.table.loc[settled, "bakes"].iloc[0]) if settled.any() else None

    @property
    def answer(self) -> Answer:
        """The answer that holds for looking every time: the first that settled it, if any did."""
        first = self.settled_after
        if first is None:
            return Answer.UNCLEAR
        return Answer(self.table.loc[self.table["bakes"] == first, "wide_answer"].iloc[0])

    @property
    def futile(self) -> bool:
        """Whether even all planned bakes would hardly settle it."""
        return self.chance_left is not None and self.chance_left < FUTILE

    @property
    def stop(self) -> bool:
        """Whether to stop: it is settled, or the planned bakes are done."""
        return self.settled_after is not None or self.made >= self.planned

    @property
    def headline(self) -> str:
        """Stop or go on."""
        if self.settled_after is not None and self._since():
            unclear = self.table["wide_answer"].iloc[-1] == Answer.UNCLEAR.value
            later = "do not say it again" if unclear else "say otherwise"
            return f"Stop: it was settled after bake {self._first}; later ones {later}."
        if self.settled_after is not None:
            when = "is" if self.settled_after == self.made else f"was, after bake {self._first},"
            return f"Stop: it {when} settled, also when looked at after every bake."
        if self.made >= self.planned:
            return "All planned bakes are done, and it stays open."
        if self.futile:
            planned = words.plural(self.planned, "planned bake")
            return f"Think before you go on: even all {planned} would hardly settle it."
        return "Go on: it is not settled yet."

    @property
    def sentences(self) -> list[str]:
        """Why, and what is to be expected."""
        said, left = [], self.made < self.planned
        if self.settled_after is not None:
            now, matters, since = self.comparison.answer, self.comparison.matters, ""
            if now is not self.answer:
                once = f"looked at once, all bakes say: {now.told(matters)}"
                since = f", from bake {self._first} on; {once}"
            said += [f"The answer that stands: {self.answer.told(matters)}{since}.", self._since()]
            if self.answer is Answer.NONE and not self._since():
                said.append("More bakes would look for something too small for you to care about.")
        elif self.comparison.answer is not Answer.UNCLEAR:
            said.append(
                f"Looked at after every bake, it is not settled {'yet' if left else 'after all'}, "
                "although it would be had this been the only look: each look is one more chance to "
                "be fooled."
            )
        said.append(self._spans())
        if (self.futile or not left) and self.comparison.answer is Answer.UNCLEAR:
            said.append(f"Looked at once, beyond what was planned: {outlook(self.comparison)}.")
        if self.chance_left is not None:
            said.append(
                f"If all {self.planned} planned bakes are made like those so far, the chance that "
                f"it is settled by then is {chance_in_words(self.chance_left)}."
            )
            if self.futile:
                said[-1] += (
                    " That is advice, not a test: stopping for it raises no false alarm, and going "
                    "on spoils nothing."
                )
        return [s for s in said if s]

    def _since(self) -> str:
        """Why an answer stands that the bakes since it was given do not give again; or nothing."""
        last = Answer(self.table["wide_answer"].iloc[-1])
        if last is Answer.UNCLEAR:
            return (
                "The bakes since then leave it open again. It stands all the same: taken the first "
                f"time it is sure, and then kept, an answer is wrong in {100 * self.alpha:.0f} of "
                "100 trials at most. If much hangs on it, ask again in a trial of its own."
            )
        if (last is Answer.MATTERS) is not (self.answer is Answer.MATTERS):
            return (
                "The bakes since then say otherwise "
                f"({last.told(self.comparison.matters)}), and both cannot be right: "
                "look for what changed meanwhile, and ask again in a trial of its own."
            )
        return ""

    @property
    def _first(self) -> str:
        return str(self.table.loc[self.table["bakes"] == self.settled_after, "bake"].iloc[0])

    def _spans(self) -> str:
        """Both intervals of the two settings in question."""
        row = self.table.iloc[-1]
        c = self.comparison
        if not math.isfinite(row["difference"]):
            return ""
        unit, half = words.unit_of(c.outcome), float(row["high"] - row["low"]) / 2
        pair = (
            f"{words.amount(c.by, c.leading.level)} against {words.amount(c.by, c.leading.versus)}"
        )
        text = (
            f"{words.capital(words.name(c.outcome))}, {pair}: "
            f"{words.number(row['difference'], half, unit)}; looked at once, "
            f"{words.number(row['low'], half)} to {words.number(row['high'], half, unit)}"
        )
        wide = (float(row["wide_high"]) - float(row["wide_low"])) / 2
        if not wide < _FAR * half:
            return f"{text}; looked at after every bake, it is too early to say anything."
        return (
            f"{text}; looked at after every bake, {words.number(row['wide_low'], half)} to "
            f"{words.number(row['wide_high'], half, unit)}."
        )

    @property
    def method(self) -> str:
        """For a statistician."""
        spent = ", ".join(f"{p:.2g}" for p in 1 - self.table["level"].dropna())
        return (
            f"For the statistician: repeated confidence intervals (Jennison & Turnbull 1989), "
            f"together {100 * (1 - self.alpha):.0f} %; O'Brien–Fleming type spending (Lan & DeMets "
            f"1983) over {self.planned} bakes, found on the t (Tukey) statistics of these degrees "
            f"of freedom by simulation. P values allowed at the looks: {spent or 'none yet'}. "
            "The chance at the end is a predictive power (Spiegelhalter et al. 1986)."
        )

    def __repr__(self) -> str:
        c = self.comparison
        return (
            f"<Looks {c.outcome} by {c.by}: {self.made} of {self.planned} bakes, "
            f"{self.answer.value}>"
        )

    def tells(self) -> Telling:
        """What it says."""
        return Telling(self.headline, (*self.sentences,), self.checks, self.method)

    def to_frame(self) -> pd.DataFrame:
        """Return one row a look; see `table`."""
        return self.table.copy()

    def plot(self, ax: "Axes | None" = None) -> "Axes":
        """Draw the two intervals after each bake, with zero and what matters."""
        from kit import charts

        return charts.intervals_over_looks(self, ax)


def looks(
    frame: pd.DataFrame,
    outcome: str,
    by: str,
    bakes_planned: int,
    *,
    bake: str = "bake",
    dough: str | None = "dough",
    load: str | None = None,
    matters: float | None = None,
    adjust: Sequence[str] = (),
    line: bool | None = None,
    alpha: float = 0.05,
    mixing: str | None = None,
) -> Looks:
    """Say what each look so far was worth, and whether to stop.

    Parameters
    ----------
    frame : DataFrame
        One row a piece, bakes in the order they were made.
    outcome, by : str
        As for `kit.compare`.
    bakes_planned : int
        In all. To be settled before the first look: changing it because of what was seen
        undoes the protection.
    bake, dough, load : str
        Columns that say which rows belong together.
    matters, adjust, line, mixing
        As for `kit.compare`.
    alpha : float
        1 minus the chance that all intervals hold together.

    Raises
    ------
    InputError
        Fewer bakes planned than made.
    DataError, DesignError, NotFoundError
        As for `kit.compare` of all bakes.

    Examples
    --------
    >>> days = [(b, f"{b}{s}", s, 30 + 3 * s + (7 * b * (s + 2) + 5 * i) % 4)
    ...         for b in range(1, 4) for s in (0, 1) for i in range(3)]
    >>> rows = pd.DataFrame(days, columns=["bake", "dough", "malt", "height"])
    >>> looks(rows, "height", "malt", bakes_planned=6).table["bakes"].tolist()
    [1, 2, 3]
    """
    whole = as_whole(bakes_planned)
    if whole is None or not 1 <= whole <= 1000:
        raise InputError("bakes_planned", bakes_planned, "must be a whole number, 1 to 1000")
    if line is None and by in frame:
        line = is_number(frame[by])  # once: a look at few of the bakes must not decide otherwise
    how: dict[str, Any] = {
        "dough": dough, "bake": bake, "load": load, "matters": matters, "adjust": adjust,
        "line": line, "level": 1 - alpha, "mixing": mixing,
    }  # fmt: skip
    final = compare(frame, outcome, by, **how)
    names = list(final.points["bake"].unique())
    if len(names) > bakes_planned:
        rule = f"is less than the {len(names)} bakes made"
        remedy = "Give the number that was planned before the first look."
        raise InputError("bakes_planned", bakes_planned, rule, remedy)
    answers = [
        _look(frame[frame[bake].isin(names[:n])], outcome, by, how) for n in range(1, len(names))
    ]
    table = look_table(final, names, [*answers, final], bakes_planned, alpha)
    found = Looks(final, table, bakes_planned, alpha, None, final.checks)
    try:
        evidence = gather(frame, final)
        found = replace(found, evidence=evidence)
        return found if found.stop else replace(found, chance_left=_chance_left(found, evidence))
    except DesignError as why:
        note = f"what more bakes would add was not worked out: {why}".rstrip(".")
        return replace(found, checks=(*found.checks, note))


def _chance_left(found: Looks, evidence: Evidence) -> float:
    """Chance to be settled at the last planned look, the bakes to come being like those so far."""
    left = found.planned - found.made
    then = evidence.after(evidence.like_so_far(left))
    level = evidence.looking_level(found.table, then, left, found.planned, found.alpha)
    return evidence.chance(then, evidence.half(then, level))


def _look(frame: pd.DataFrame, outcome: str, by: str, how: dict[str, Any]) -> Comparison | None:
    """The answer from the first bakes; None where they leave nothing to compare yet."""
    try:
        return compare(frame, outcome, by, **how)
    except (DataError, DesignError):
        return None


_COLUMNS = ["bake", "bakes", "units", "level", "difference", "se", "df"]
_SPANS = ["low", "high", "answer", "wide_low", "wide_high", "wide_answer"]


def look_table(
    final: Comparison,
    names: Sequence[Any],
    answers: Sequence[Comparison | None],
    planned: int,
    alpha: float,
) -> pd.DataFrame:
    """One row a look, columns as in `Looks`; the level of each spends what may be spent by then.

    `names` are those of the bakes in the order they were made, `answers` the comparisons after
    each, None where there was nothing to compare yet.
    """
    unit, points = final.unit, final.points
    rows: list[dict[str, Any]] = []
    for n, (name, answer) in enumerate(zip(names, answers, strict=True), 1):
        so_far = points[points["bake"].isin(names[:n])]
        keys = ["bake"] if unit == "bake" else ["bake", unit]
        units = len(so_far) if unit == "piece" else len(so_far.drop_duplicates(keys))
        row: dict[str, Any] = dict.fromkeys([*_COLUMNS, *_SPANS], math.nan)
        row |= {"bake": name, "bakes": n, "units": units}
        row["answer"] = row["wide_answer"] = Answer.UNCLEAR.value
        if answer is not None:
            row |= _numbers(answer, final)
        rows.append(row)
    seen = [(row, a) for row, a in zip(rows, answers, strict=True) if not math.isnan(row["df"])]
    settings = 2 if final.kind == "line" else len(final.means)
    allowed = levels(
        [row["bakes"] / planned for row, _ in seen], [row["df"] for row, _ in seen],
        [row["units"] for row, _ in seen], settings, alpha,
    )  # fmt: skip
    for (row, answer), p in zip(seen, allowed, strict=True):
        assert answer is not None
        wide = _widened(answer, float(p))
        row |= {"level": 1 - p, "wide_answer": overall(wide)[0].value}
        found = _of_pair(wide, final)
        if found:
            row |= {"wide_low": found["low"], "wide_high": found["high"]}
    return pd.DataFrame(rows, columns=[*_COLUMNS, *_SPANS])


def _numbers(answer: Comparison, final: Comparison) -> dict[str, Any]:
    """The two settings in question at one look, and the answer to the whole question."""
    row = _of_pair(answer.differences, final)
    return {"df": answer.leading.df, **row, "answer": answer.answer.value}


def _of_pair(differences: pd.DataFrame, final: Comparison) -> dict[str, float]:
    """The difference now in question, at this look; empty where it was not there yet."""
    lead = final.leading
    for row in differences.to_dict("records"):
        if {row["level"], row["versus"]} != {lead.level, lead.versus}:
            continue
        sign = 1.0 if row["level"] == lead.level else -1.0
        low, high = sorted((sign * float(row["low"]), sign * float(row["high"])))
        found = {"difference": sign * float(row["difference"]), "low": low, "high": high}
        return {**found, "se": float(row["se"]), "df": float(row["df"])}
    return {}


def _widened(answer: Comparison, p: float) -> pd.DataFrame:
    """All differences with intervals of level 1 − p, and what each then says."""
    wide = answer.differences.copy()
    settings = 2 if answer.kind == "line" else len(answer.means)
    half = [
        critical(1 - p, float(df), settings) * float(se)
        for df, se in zip(wide["df"], wide["se"], strict=True)
    ]
    wide["low"], wide["high"] = wide["difference"] - half, wide["difference"] + half
    ends = wide["low"].to_numpy(), wide["high"].to_numpy()
    wide["answer"] = [each.value for each in decide_each(*ends, answer.matters)]
    return wide
