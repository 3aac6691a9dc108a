"""The deeper panel: one question picked, one answer in words, its picture, the numbers below."""

from collections.abc import Callable
from dataclasses import dataclass
from html import escape
from typing import Any

import ipywidgets as widgets

from kit import charts, quantities
from kit.analysis import words
from kit.errors import KitError
from kit.panels.fields import LABELS
from kit.panels.keys import OwnKeys
from kit.panels.so_far import beside_refusal
from kit.panels.style import STYLE, trouble
from kit.panels.today import outcomes_of, trial_to_answer
from kit.shown import ITEM, paragraphs
from kit.us_units import also_us
from kit.workspace import Trial, Workspace

__all__ = ["DeeperPanel"]

_STATISTICS = "For the statistician:"


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


class DeeperPanel(widgets.VBox):  # type: ignore[misc]
    """Asks a trial one of several questions by its own verbs; holds nothing but the answer.

    Parameters
    ----------
    workspace : Workspace

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

        def pick(label: str, options: Any) -> widgets.Dropdown:
            # a layout of its own: fields that are not needed are hidden one by one
            layout = widgets.Layout(width="auto", max_width="34rem")
            return widgets.Dropdown(description=label, options=options, style=LABELS, layout=layout)

        self.trial = pick("About trial", names)
        self.trial.value = trial_to_answer(workspace)
        self.question = pick("Question", [(q.words, q.verb) for q in _QUESTIONS])
        self.outcome, self.factor = pick("Its outcome", []), pick("Its factor", [])
        self.ask = widgets.Button(
            description="Answer", icon="question", layout=widgets.Layout(width="12rem"),
            disabled=not names,
        )  # fmt: skip
        self.shown = widgets.HTML()
        super().__init__(
            [
                OwnKeys(), widgets.HTML(STYLE), self.trial, self.question, self.outcome,
                self.factor, self.ask, self.shown,
            ]
        )  # fmt: skip
        self.add_class("kit-panel")
        if not names:
            self.shown.value = trouble("There is no trial in this folder yet.")
            return
        self.trial.observe(lambda _: self._offer(), "value")
        self.question.observe(lambda _: self._fit_fields(), "value")
        self.ask.on_click(lambda _: self._answer())
        self._offer()

    @property
    def chosen(self) -> Trial:
        """The trial that is picked."""
        return self.workspace.trial(self.trial.value)

    @property
    def asked(self) -> _Question:
        """The question that is picked."""
        return next(q for q in _QUESTIONS if q.verb == self.question.value)

    def _offer(self) -> None:
        """Outcomes and factors of the trial."""
        trial = self.chosen
        factors = list(trial.factors)
        outcomes = outcomes_of(trial)
        self.outcome.options = [(q.label, q.name) for q in outcomes]
        names = [q.name for q in outcomes]
        self.outcome.value = trial.outcome if trial.outcome in names else next(iter(names), None)
        self.factor.options = [(quantities.get(name).label, name) for name in factors]
        self.factor.value = next(iter(factors), None)
        self._fit_fields()

    def _fit_fields(self) -> None:
        """Show the fields that the question needs; take away an answer to another one."""
        self.outcome.layout.display = None if self.asked.outcome else "none"
        self.factor.layout.display = None if self.asked.factor else "none"
        self.answer, self.shown.value = None, ""

    def _answer(self) -> None:
        """Call the verb and show what it says, or the reason why not."""
        trial, question = self.chosen, self.asked
        if len(trial.factors) < question.factors:
            count = words.plural(len(trial.factors), "thing")
            self.answer = None
            self.shown.value = trouble(
                f"{trial.name} changed only {count} on purpose, and this asks about two. Plan a "
                "trial that changes two, in plan.ipynb."
            )
            return
        given: dict[str, Any] = {}
        if question.outcome:
            given["outcome"] = self.outcome.value
        if question.factor:
            given[question.factor] = self.factor.value
        self.answer = None
        self.shown.value = '<p role="status">Working it out …</p>'
        self.ask.disabled = True
        said = ", ".join(f"{name}={value!r}" for name, value in given.items())
        self.called = f"print(ws.trial({trial.name!r}).{question.verb}({said}))"
        verb: Callable[..., Any] = getattr(trial, question.verb)
        try:
            self.answer = verb(**given)
            self.shown.value = self._page(trial)
        except KitError as exc:
            more = beside_refusal(trial, given.get("outcome"), given.get(question.factor), exc)
            self.shown.value = trouble(str(exc)) + (more if question.factor else "")
        except Exception:  # a fault of ours: never leave "Working it out" standing, then let it out
            self.shown.value = trouble("this should not happen; the log says more.")
            raise
        finally:
            self.ask.disabled = False

    def _page(self, trial: Trial) -> str:
        """Words first, then the picture, then what is for the statistician."""
        told = self.answer.tells()
        notes = [f"{ITEM}{note}." for note in told.checks]
        method = told.method.removeprefix(_STATISTICS).strip()
        banner = (
            '<p class="kit-banner"><strong>Invented data</strong>, made up to show how this works.'
            "</p>"
        )
        picture = charts.svg(
            self.answer.plot(), told.headline, " ".join([told.headline, *told.sentences])
        )
        table = self.answer.to_frame().to_html(
            index=False, border=0, na_rep="", float_format="{:.4g}".format
        )
        return (
            f'<section class="kit-answer">{banner if trial.invented else ""}'
            f'<div role="status"><p class="kit-lead">{escape(also_us(told.headline))}</p>'
            f"{paragraphs(told.sentences)}</div>"
            '<figure><div class="kit-picture" role="region" tabindex="0" '
            f'aria-label="Picture: {escape(told.headline)}">{picture}</div></figure>'
            + (f"<p><strong>To know:</strong></p>{paragraphs(notes)}" if notes else "")
            + "<details><summary>For the statistician</summary>"
            + (f"<p>{escape(method)}</p>" if method else "")
            + '<div class="kit-scroll" role="region" aria-label="Numbers" tabindex="0">'
            + f"{table}</div></details><details><summary>The same from Python</summary>"
            + f"<pre>{escape(self.called)}</pre></details></section>"
        )
