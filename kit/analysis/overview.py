"""Does it matter if…? Every factor of a trial against every outcome, in one table.

Each cell is a comparison of its own (`kit.compare`), with the trial's other factors held alike:
matters, does not (within the margin), cannot tell, or not tested and why. Many answers at once
mean that some are wrong by chance; how many is said.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from kit import words
from kit.analysis.answer.sentences import outlook
from kit.analysis.asked import relabelled
from kit.analysis.checking.checks import check_comparison
from kit.analysis.checking.with_others import with_others
from kit.analysis.compare import compare
from kit.analysis.comparison import Comparison
from kit.analysis.verdict import Answer, sign
from kit.errors import InputError, KitError
from kit.shown import ITEM, Telling, Told

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["Overview", "overview"]

_VERDICTS = {
    Answer.MATTERS: "matters",
    Answer.SMALL: "does not",
    Answer.NONE: "does not",
    Answer.UNCLEAR: "cannot tell",
}


@dataclass(frozen=True)
class Overview(Told):
    """Every factor against every outcome.

    Parameters
    ----------
    table : DataFrame
        One row a pair: ``factor, outcome, verdict, answer, level, versus, difference, low,
        high, p, matters, bakes, units, unit, why, outlook``. The verdict is "matters", "does not",
        "cannot tell", "not tested" (``why`` says why) or, where no margin was given, "a
        difference". The difference is the leading one; ``outlook`` says what more baking would
        bring where it cannot be told yet.
    settings : DataFrame
        ``factor, outcome, level, mean, low, high, scaled``; scaled is the mean's distance from
        the middle of that factor's means, in standard deviations between pieces.
    trade_offs : tuple of str
        What else changes with the setting that changes the first outcome most.
    comparisons : mapping
        (factor, outcome) to its `Comparison`, where there is one.
    """

    table: pd.DataFrame
    settings: pd.DataFrame
    trade_offs: tuple[str, ...]
    checks: tuple[str, ...]
    comparisons: Mapping[tuple[str, str], Comparison] = field(repr=False)

    @property
    def sentences(self) -> tuple[str, ...]:
        """One sentence a pair."""
        pairs = zip(self.table["factor"], self.table["outcome"], self.table["why"], strict=True)
        return tuple(
            f"{words.capital(words.name(by))} for {words.name(y)}: "
            f"{_told(c) if (c := self.comparisons.get((by, y))) else f'not tested: {why}'}"
            for by, y, why in pairs
        )

    def __repr__(self) -> str:
        counts = self.table["verdict"].value_counts()
        told = ", ".join(f"{n} {verdict}" for verdict, n in counts.items())
        return f"<Overview: {told}>"

    def tells(self) -> Telling:
        """What it says."""
        texts = [f"{ITEM}{sentence}" for sentence in self.sentences]
        if self.trade_offs:
            texts += ["What goes together:", *(f"{ITEM}{text}" for text in self.trade_offs)]
        return Telling("Does it matter if…?", texts, self.checks)

    def _repr_html_(self) -> str:
        from html import escape

        rows = "".join(
            f"<tr><td>{escape(words.name(r['factor']))}</td>"
            f"<td>{escape(words.name(r['outcome']))}</td>"
            f"<td><strong>{escape(r['verdict'])}</strong></td><td>{escape(told)}</td></tr>"
            for r, told in zip(self.table.to_dict("records"), self.sentences, strict=True)
        )
        head = "<tr><th>factor</th><th>outcome</th><th>does it matter?</th><td></td></tr>"
        rest = [*self.trade_offs, *(f"{check}." for check in self.checks)]
        notes = "".join(f"<li>{escape(text)}</li>" for text in rest)
        return f"<table>{head}{rows}</table><ul>{notes}</ul>"

    def to_frame(self) -> pd.DataFrame:
        """The table, and the settings' means below it: ``kind`` is "answer" or "setting"."""
        parts = [self.table.assign(kind="answer"), self.settings.assign(kind="setting")]
        return pd.concat([p for p in parts if len(p)], ignore_index=True)

    def plot(self, ax: "Axes | None" = None, factor: str | None = None) -> "Axes":
        """Draw all answers; with `factor`, all outcomes at its settings in one picture."""
        from kit import charts

        if factor is None:
            return charts.overview(self, ax)
        return charts.outcomes_by_setting(self, factor, ax)


def overview(
    frame: pd.DataFrame,
    factors: Sequence[str],
    outcomes: Sequence[str],
    dough: str | None = None,
    bake: str | None = None,
    load: str | None = None,
    trial: str | None = None,
    matters: Mapping[str, float] | None = None,
    level: float = 0.95,
    mixing: str | None = None,
) -> Overview:
    """Compare every outcome between the settings of every factor.

    Parameters
    ----------
    frame : DataFrame
        One row a piece.
    factors, outcomes : sequence of str
    dough, bake, load, trial, mixing, level
        See `kit.compare`.
    matters : mapping, optional
        Outcome to the smallest difference the baker cares about. Without it neither "matters"
        nor "does not" is said.

    Raises
    ------
    InputError
        No factor or no outcome.
    """
    for name, given in (("factors", factors), ("outcomes", outcomes)):
        if not given:
            raise InputError(name, list(given), "must name at least one column")
    frame, margins = relabelled(frame, *factors), dict(matters or {})
    together: dict[str, Any] = {
        "dough": dough, "bake": bake, "load": load, "trial": trial, "mixing": mixing
    }  # fmt: skip
    rows: list[dict[str, Any]] = []
    answers: dict[tuple[str, str], Comparison] = {}
    for factor in dict.fromkeys(factors):
        for outcome in dict.fromkeys(outcomes):
            if factor == outcome:
                continue
            others = [f for f in factors if f in frame.columns and f not in (factor, outcome)]
            try:
                answer = compare(
                    frame, outcome, factor, **together, matters=margins.get(outcome),
                    adjust=[f for f in others if frame[f].notna().any()], level=level,
                )  # fmt: skip
            except KitError as exc:
                rows.append(_not_tested(factor, outcome, exc))
                continue
            answers[factor, outcome] = answer
            rows.append(_row(answer))
    table, found = pd.DataFrame(rows, columns=_COLUMNS), list(answers.values())
    checks = *_checks(table, margins, level), *_together(found), *_alarms(frame, found)
    trade_offs = tuple(_trade_offs(table, answers, list(outcomes)))
    return Overview(table, _settings(answers), trade_offs, checks, answers)


_COLUMNS = [
    "factor", "outcome", "verdict", "answer", "level", "versus", "difference", "low", "high",
    "p", "matters", "bakes", "units", "unit", "why", "outlook",
]  # fmt: skip


def _row(c: Comparison) -> dict[str, Any]:
    lead = c.leading
    plain = c.answer is Answer.MATTERS and c.matters is None
    return {
        "factor": c.by, "outcome": c.outcome,
        "verdict": "a difference" if plain else _VERDICTS[c.answer],
        "answer": c.answer.value, "level": lead.level, "versus": lead.versus,
        "difference": lead.difference, "low": lead.low, "high": lead.high, "p": lead.p,
        "matters": np.nan if c.matters is None else c.matters, "bakes": c.counts["bake"],
        "units": c.counts.get(c.unit, np.nan), "unit": c.unit, "why": "",
        "outlook": outlook(c) if c.answer is Answer.UNCLEAR and c.matters else "",
    }  # fmt: skip


def _not_tested(factor: str, outcome: str, exc: KitError) -> dict[str, Any]:
    empty = dict.fromkeys(_COLUMNS, np.nan)
    why = {"answer": "", "level": None, "versus": None, "unit": "", "outlook": "", "why": str(exc)}
    return {**empty, "factor": factor, "outcome": outcome, "verdict": "not tested", **why}


def _together(answers: Sequence[Comparison]) -> list[str]:
    """Whether the factors do the same with each other one; every two are asked about once."""
    pairs: dict[tuple[str, frozenset[str]], tuple[Comparison, str]] = {}
    for c in answers:
        for other in c.adjusted:
            pairs.setdefault((c.outcome, frozenset((c.by, other))), (c, other))
    told = []
    for c, other in pairs.values():
        names = (c.outcome, c.by)
        found = with_others(c.records.frame, c.fit, names, [other], c.leading, len(pairs))
        told += [f"for {words.name(c.outcome)}, {f.text}" for f in found if f.alarm]
    return told


def _alarms(frame: pd.DataFrame, answers: Sequence[Comparison]) -> list[str]:
    """What is to think about in single answers, each told once with those that it is about.

    Whether factors do the same with each other is asked of all pairs together, and whether an
    answer leans on a single dough of the answer itself.
    """
    asked = [(c.by, c.outcome) for c in answers]
    about: dict[str, list[tuple[str, str]]] = {}
    for c in answers:
        for finding in check_comparison(frame, c, alone=False).findings:
            if finding.alarm:
                about.setdefault(finding.text, []).append((c.by, c.outcome))
    return [f"{_of_which(pairs, asked)}{text}" for text, pairs in about.items()]


def _of_which(pairs: Sequence[tuple[str, str]], asked: Sequence[tuple[str, str]]) -> str:
    """The pairs in as few words as say which; nothing where it is all of them."""
    if set(pairs) == set(asked):
        return ""
    for at in (0, 1):  # all that was asked of one factor, or of one outcome
        named = {pair[at] for pair in pairs}
        if set(pairs) == {pair for pair in asked if pair[at] in named}:
            return f"{words.join(words.name(n) for n in dict.fromkeys(p[at] for p in pairs))}: "
    return f"{words.join(f'{words.name(by)} for {words.name(y)}' for by, y in pairs)}: "


def _settings(answers: Mapping[tuple[str, str], Comparison]) -> pd.DataFrame:
    parts = []
    for (factor, outcome), c in answers.items():
        table = c.means[["level", "mean", "low", "high"]]
        sd = float(c.points["value"].std()) or 1.0
        scaled = (table["mean"] - table["mean"].mean()) / sd
        parts.append(table.assign(factor=factor, outcome=outcome, scaled=scaled))
    columns = ["factor", "outcome", "level", "mean", "low", "high", "scaled"]
    return pd.concat(parts, ignore_index=True)[columns] if parts else pd.DataFrame(columns=columns)


def _told(c: Comparison) -> str:
    """One answer in a sentence, with what it rests on."""
    lead, half = c.leading, c.leading.half_width
    low, high = (words.number(v, half) for v in (lead.low, lead.high))
    pair = (
        f"{words.amount(c.by, lead.level)} against {words.amount(c.by, lead.versus)}: "
        f"{lead.size(c.outcome)} {lead.way}, from {low} to {high} {words.unit_of(c.outcome)}"
    ).rstrip()
    ahead = ""
    if c.answer is Answer.MATTERS:
        verdict = "matters" if c.matters else "makes a difference; how much matters was not said"
    elif c.answer is Answer.UNCLEAR:
        verdict = "cannot tell yet"
        if lead.sure:
            verdict = "makes a difference; whether it matters cannot be told yet"
        ahead = f"; {outlook(c)}" if c.matters else ""
    else:
        verdict = f"does not matter, within {words.amount(c.outcome, c.matters)}"
    return f"{verdict} ({pair}; {words.plural(c.counts[c.unit], c.unit)}){ahead}."


def _trade_offs(
    table: pd.DataFrame, answers: Mapping[tuple[str, str], Comparison], outcomes: Sequence[str]
) -> list[str]:
    """For the setting that changes the first outcome most: what else surely changes with it."""
    told = []
    for factor in table["factor"].unique():
        main = next((answers[factor, y] for y in outcomes if (factor, y) in answers), None)
        if main is None or not main.leading.sure:
            continue
        lead, parts, open_ones = main.leading, [], []
        for outcome in outcomes:
            c = answers.get((factor, outcome))
            pair = None if c is None else _same_pair(c, lead.level, lead.versus)
            if pair is None:
                continue
            size, low, high = pair
            if sign(low, high):
                half, way = (high - low) / 2, "more" if size > 0 else "less"
                near, far = sorted((abs(low), abs(high)))
                much = words.number(abs(size), half, words.unit_of(outcome))
                span = f"{words.number(near, half)} to {words.number(far, half)}"
                parts.append(f"{words.name(outcome)} {much} {way} ({span})")
            else:
                open_ones.append(words.name(outcome))
        if len(parts) < 2:
            continue
        text = (
            f"With {words.setting(factor, lead.level)} instead of "
            f"{words.amount(factor, lead.versus)}: {words.join(parts)}"
        )
        if open_ones:
            text += f"; no sure difference in {words.join(open_ones)}"
        told.append(f"{text}.")
    return told


def _same_pair(c: Comparison, level: object, versus: object) -> tuple[float, float, float] | None:
    """Size and bounds of the difference between two settings, whichever way round it was taken."""
    for row in c.differences.to_dict("records"):
        size, low, high = (float(row[name]) for name in ("difference", "low", "high"))
        if (row["level"], row["versus"]) == (level, versus):
            return size, low, high
        if (row["level"], row["versus"]) == (versus, level):
            return -size, -high, -low
    return None


def _checks(table: pd.DataFrame, margins: Mapping[str, float], level: float) -> list[str]:
    notes = []
    tested = int((table["verdict"] != "not tested").sum())
    if tested > 1:
        chance = tested * (1 - level)  # of one or another, at most (Bonferroni)
        seen = f"in up to {100 * chance:.0f} of 100 trials one or another of them"
        notes.append(
            f"{tested} answers were asked for at once, each wrong by chance in up to "
            f"{100 * (1 - level):.0f} of 100 trials: if nothing mattered, "
            f"{seen if chance < 1 else f'about {chance:.0f} of them'} would still look like a "
            "difference. A surprise is a question for the next trial"
        )
    plain = [y for y in table["outcome"].unique() if y not in margins]
    if plain:
        notes.append(
            f"how much matters was not said for {words.join(map(words.name, plain))}: a "
            "difference there may be too small to care about, and “does not matter” cannot be said"
        )
    return notes
