"""The deeper panel: one question picked, one answer in words, its picture, the numbers below."""

from dataclasses import dataclass
from html import escape
from typing import Any

import ipywidgets as widgets

from kit import charts, quantities, words
from kit.analysis.overview import Overview
from kit.errors import DataError, KitError
from kit.panels.parts.blocks import folded, from_python, if_invented, items, picture, scrolled
from kit.panels.parts.controls import Panel, button, offer, pick, visible
from kit.panels.parts.fields import tell
from kit.panels.parts.so_far import beside_refusal
from kit.panels.parts.style import trouble
from kit.panels.parts.today import outcomes_of, trial_to_answer
from kit.shown import paragraphs
from kit.us_units import also_us
from kit.workspace import Trial, Workspace

__all__ = ["DeeperPanel"]

_STATISTICS = "For the statistician"
#: verdict of an overview -> how one, and how several, are told
_VERDICTS = {
    "matters": ("matters", "matter"),
    "does not": ("does not", "do not"),
    "cannot tell": ("cannot be told yet",) * 2,
    "a difference": (
        "makes a difference (how much matters was not said)",
        "make a difference (how much matters was not said)",
    ),
    "not tested": ("was not tested", "were not tested"),
}


@dataclass(frozen=True)
class _Question:
    """What can be asked: the words, the verb of `Trial`, and what it wants to know."""

    words: str
    verb: str
    factor: str = ""  # name of the argument that takes a factor; empty where it takes none
    outcome: bool = True
    factors: int = 0  # things changed on purpose that it takes


_QUESTIONS = (
    _Question("Which dose is best?", "dose", "of"),
    _Question("Do two things work together?", "surface", factors=2),
    _Question("Does it matter if…? All at once", "overview", outcome=False),
    _Question("Where does the spread come from?", "steadiness"),
    _Question("Are all places of the griddle alike?", "griddle_map"),
    _Question("Is it steady from bake to bake?", "bake_chart"),
    _Question("Does it follow the room or the flour?", "drift"),
    _Question("What should I bake next?", "next", "by"),
)


class DeeperPanel(Panel):
    """Asks a trial one of several questions by its own verbs; holds nothing but the answer.

    Attributes
    ----------
    answer : object or None
        What is shown: the result of the verb; None before, and where there is none.
    called : str
        The same from Python.
    """

    def __init__(self, workspace: Workspace) -> None:
        self.workspace = workspace
        self.answer: Any = None
        self.called = ""
        names = [trial.name for trial in workspace.trials()]

        self.trial = pick("About trial", names, value=trial_to_answer(workspace))
        self.question = pick("Question", [(q.words, q.verb) for q in _QUESTIONS])
        self.outcome, self.factor = pick("Measured"), pick("Changed")
        self.ask = button("Answer", self._answer, "question")
        self.ask.disabled = not names
        self.shown = widgets.HTML()
        super().__init__(self.trial, self.question, self.outcome, self.factor, self.ask, self.shown)
        if not names:
            self.shown.value = trouble("There is no trial in this folder yet.")
            return
        self.trial.observe(lambda _: self._offer(), "value")
        for asked in (self.question, self.outcome, self.factor):
            asked.observe(lambda _: self._fit_fields(), "value")
        self._offer()

    def _asks(self) -> list[widgets.Widget]:
        return [self.trial, self.question, self.outcome, self.factor]  # answered when pressed

    @property
    def asked(self) -> _Question:
        """The question that is picked."""
        return next(q for q in _QUESTIONS if q.verb == self.question.value)

    def _offer(self) -> None:
        trial = self.chosen
        offer(self.outcome, [(q.label, q.name) for q in outcomes_of(trial)], trial.outcome)
        offer(self.factor, [(quantities.get(name).label, name) for name in trial.factors])
        self._fit_fields()

    def _fit_fields(self) -> None:
        """Show the fields that are needed; take away an answer to something else."""
        visible(self.outcome, self.asked.outcome)
        visible(self.factor, self.asked.factor)
        self.answer, self.shown.value = None, ""

    def _answer(self) -> None:
        trial, question = self.chosen, self.asked
        given: dict[str, Any] = {}
        if question.outcome:
            given["outcome"] = self.outcome.value
        if question.factor:
            given[question.factor] = self.factor.value
        said = ", ".join(f"{name}={value!r}" for name, value in given.items())
        self.called = f"print(ws.trial({trial.name!r}).{question.verb}({said}))"

        def answered() -> str:
            if len(trial.factors) < question.factors:
                count = words.plural(len(trial.factors), "thing")
                msg = (
                    f"{trial.name} changed only {count} on purpose, and this asks about two. Plan "
                    "a trial that changes two, in plan.ipynb."
                )
                raise DataError(msg)
            try:
                self.answer = getattr(trial, question.verb)(**given)
            except KitError as exc:
                if not question.factor:
                    raise
                so_far = (given.get("outcome"), given[question.factor], exc)
                return trouble(str(exc)) + beside_refusal(trial, *so_far)
            return self._page(trial)

        self.answer = None
        tell(self.shown, answered, meanwhile="Working it out …")

    def _page(self, trial: Trial) -> str:
        """Words, the picture, what more there is to say, then what is for the statistician."""
        told = self.answer.tells()
        notes = items(f"{words.capital(note)}." for note in told.checks)
        method = told.method.removeprefix(f"{_STATISTICS}:").strip()
        chart = charts.svg(
            self.answer.plot(), told.headline, " ".join([told.headline, *told.sentences])
        )
        table = self.answer.to_frame().to_html(
            index=False, border=0, na_rep="", float_format="{:.4g}".format
        )
        drawn, said = picture(chart, f"Picture: {told.headline}"), paragraphs(told.sentences)
        first, below = said, ""
        if isinstance(self.answer, Overview):  # a sentence a pair is too much before the picture
            first, below = f"<p>{escape(_in_short(self.answer))}</p>", said
        return (
            f'<section class="kit-answer">{if_invented(trial)}'
            f'<div role="status"><p class="kit-lead">{escape(also_us(told.headline))}</p>'
            f"{first}</div>{drawn}{below}"
            + (f"<p><strong>To know:</strong></p>{notes}" if notes else "")
            + folded(_STATISTICS, paragraphs([method]) + scrolled(table, "Numbers"))
            + f"{from_python(self.called)}</section>"
        )


def _in_short(overview: Overview) -> str:
    """How many pairs got which verdict, and which of them matter."""
    table, parts = overview.table, []
    for verdict, (one, several) in _VERDICTS.items():
        found = table[table["verdict"] == verdict]
        if found.empty:
            continue
        part = f"{len(found)} {one if len(found) == 1 else several}"
        if verdict == "matters":
            pairs = zip(found["factor"], found["outcome"], strict=True)
            named = [f"{words.name(by)} for {words.name(outcome)}" for by, outcome in pairs]
            part += f" ({words.join(named)})"
        parts.append(part)
    return f"Of {words.plural(len(table), 'effect')} asked about, {words.join(parts)}."
