"""The compare panel: pick trial, outcome and factor, say what matters, read the answer."""

from dataclasses import replace
from html import escape
from pathlib import Path
from typing import Any

import ipywidgets as widgets

from kit import charts, quantities, units, words
from kit.analysis.comparison import Comparison
from kit.errors import InputError, KitError
from kit.panels.parts.blocks import folded, from_python, if_invented, show
from kit.panels.parts.blocks import picture as drawn
from kit.panels.parts.controls import Panel, button, offer, pick, tick, toggle, visible
from kit.panels.parts.fields import Typed, beside, tell, what_matters
from kit.panels.parts.so_far import beside_refusal
from kit.panels.parts.style import link, trouble
from kit.panels.parts.today import outcomes_of, trial_to_answer
from kit.panels.planning.offers import can_be_set
from kit.workspace import Trial, Workspace
from kit.writeup.blocks import Picture, Table
from kit.writeup.content import sections

__all__ = ["ComparePanel"]

_PAIRS = "every pair"
_SMALLEST = "the smallest difference you care about"


class ComparePanel(Panel):
    """Asks what to compare and shows the answer; holds nothing but what was typed.

    Attributes
    ----------
    answer : Comparison or None
        What is shown; None while something typed cannot be used.
    asked : dict
        What `Trial.compare` was asked: the same by a plain call.
    """

    def __init__(self, workspace: Workspace) -> None:
        self.workspace = workspace
        self.answer: Comparison | None = None
        self.asked: dict[str, Any] = {}
        self._typed: dict[tuple[str, str], str] = {}
        names = [trial.name for trial in workspace.trials()]
        self.trial = pick("Trial", names, value=trial_to_answer(workspace))
        self.outcome, self.factor = pick("I measured"), pick("I changed")
        self.control = pick("Compare")
        self.matters = Typed(what_matters(None), hint=_SMALLEST)
        self.line = tick("As a straight line through all settings")
        self.alike = widgets.VBox()
        self.without = widgets.VBox()
        self.more = toggle("Hold alike, leave out, compare otherwise")
        self.rest = widgets.VBox([self.control, self.line, self.alike, self.without])
        visible(self.rest, False)  # so that the answer is on the first screen
        self.shown = widgets.HTML()
        self.write = button("Write the page", self._write_page, "file")
        self.written = widgets.HTML()
        super().__init__(
            self.trial, self.outcome, self.factor, self.matters, self.more, self.rest,
            self.shown, self.write, self.written,
        )  # fmt: skip
        if not names:
            self.write.disabled = True
            self.shown.value = trouble("There is no trial in this folder yet.")
            return
        self.more.observe(lambda change: visible(self.rest, change["new"]), "value")
        self.trial.observe(lambda _: self._show_trial(), "value")
        self.factor.observe(lambda _: self._show_factor(), "value")
        self.outcome.observe(lambda _: self._show_outcome(), "value")
        for asked in (self.matters.text, self.control, self.line):
            asked.observe(lambda _: self._ask(), "value")
        self._show_trial()

    def _show_trial(self) -> None:
        trial, frame = self.chosen, self.chosen.frame()
        factors = [name for name in trial.factors if name in frame]
        outcomes = outcomes_of(trial)
        events = sorted({e for here in frame["events"].dropna() for e in here.split("; ") if e})
        with self.filling():
            offer(self.outcome, [(q.label, q.name) for q in outcomes], trial.outcome)
            offer(self.factor, [(quantities.get(name).label, name) for name in factors])
            self._show_matters()
            self.without.children = [self._box(f"Leave out: {e}", e, False) for e in events]
        self._show_factor()

    def _show_outcome(self) -> None:
        if not self._filling:
            self._show_matters()
            self._ask()

    def _show_matters(self) -> None:
        """What matters for one outcome says nothing about another."""
        trial = self.chosen
        own = trial.matters if self.outcome.value == trial.outcome else None
        with self.filling():
            kept = self._typed.get((trial.name, self.outcome.value))
            self.matters.value = ("" if own is None else f"{own:g}") if kept is None else kept
            self.matters.text.description = what_matters(self.outcome.value)
            said = _SMALLEST if own is None else f"{own:g}, as the trial says"
            self.matters.text.placeholder = said

    def _show_factor(self) -> None:
        if self._filling:
            return
        by = self.factor.value
        others = [name for _, name in self.factor.options if name != by]
        # what else was set differently is not held alike unless asked, as bakers mean to
        alike = [*((name, True) for name in others), *((name, False) for name in self._set())]
        settings = self.chosen.factors[by] if by else []
        with self.filling():
            self.alike.children = [
                self._box(f"Hold alike: {words.name(name)}", name, ticked) for name, ticked in alike
            ]
            self.control.options = [
                ("every pair of settings", _PAIRS),
                *((f"each setting with {words.amount(by, level)}", level) for level in settings),
            ]
            self.control.value = _PAIRS
        self._ask()

    def _set(self) -> list[str]:
        """Quantities besides the factors that can be set and were not the same throughout."""
        frame, outcome = self.chosen.frame(), self.outcome.value
        taken = {outcome, *(name for _, name in self.factor.options)}
        rows = frame[frame[outcome].notna()] if outcome in frame else frame
        return [
            q.name
            for q in quantities.all_quantities()
            if q.name in frame and q.name not in taken and can_be_set(q)
            and rows[q.name].nunique() > 1
        ]  # fmt: skip

    def _box(self, label: str, name: str, ticked: bool) -> Any:
        box = tick(label, ticked)
        box.name = name
        box.observe(lambda _: self._ask(), "value")
        return box

    def _ask(self) -> None:
        """Call `Trial.compare` with what is picked and show the answer or the reason."""
        if self._filling or self._returning:
            return
        self.written.value = self.shown.value = ""
        trial, against, by = self.chosen, self.control.value, self.factor.value
        self._typed[trial.name, self.outcome.value] = self.matters.value
        self.control.disabled = self.line.value
        self.answer = None
        try:
            unit = words.unit_of(self.outcome.value or "")
            matters = self.matters.read(
                lambda text: units.parse(text, unit, "what matters", difference=True)
            )
            self.asked = {
                "outcome": self.outcome.value,
                "by": by,
                "matters": matters,
                "adjust": [
                    box.name
                    for box in self.alike.children
                    if box.value and box.name != self.outcome.value
                ],
                "control": None if self.line.value or against == _PAIRS else against,
                "line": self.line.value or None,
                "leave_out": [box.name for box in self.without.children if box.value],
            }
            self.answer = trial.compare(**self.asked)
            self.shown.value = self._page(trial, self.answer)
        except KitError as exc:
            if isinstance(exc, InputError):
                beside(exc, {"matters": self.matters})
            if not self.matters.said.value:
                left = self.asked.get("leave_out", ())
                more = beside_refusal(trial, self.outcome.value, by, exc, left)
                self.shown.value = trouble(str(exc)) + more
        self.write.disabled = self.answer is None

    def _returned(self) -> None:
        self._ask()

    def _page(self, trial: Trial, answer: Comparison) -> str:
        """The answer in the words of the page that is shared: picture, numbers, statistics."""
        part = {
            section.name: section.blocks for section in sections(trial.report(answer, others=False))
        }
        picture = next(block for block in part["picture"] if isinstance(block, Picture))
        chart = charts.svg(charts.comparison(answer), picture.title, picture.description)
        # the tables are means, differences, and where the spread comes from
        differences = [block for block in part["analysis"] if isinstance(block, Table)][1]
        brief = replace(  # the other columns are for the statistician
            differences, head=differences.head[:3], numeric=differences.numeric[:3],
            rows=tuple(row[:3] for row in differences.rows),
        )  # fmt: skip
        call = ", ".join(f"{name}={value!r}" for name, value in self.asked.items() if value)
        return (
            f'<section class="kit-answer">{if_invented(trial)}'
            '<div class="kit-question" role="heading" aria-level="2">'
            f"{show(part['question'])}</div>"
            f'<div role="status">{show(part["answer"])}</div>'
            f"{drawn(chart, picture.title, picture.caption)}"
            f"{show(part['rests-on'])}{show([brief])}"
            f"{folded('For the statistician', show(part['analysis']))}"
            f"{from_python(f'trial = ws.trial({trial.name!r})', f'print(trial.compare({call}))')}"
            "</section>"
        )

    def _write_page(self) -> None:
        """Write the page of what is shown into the workspace's folder."""
        trial, answer = self.chosen, self.answer
        assert answer is not None
        path = (self.workspace.folder or Path.cwd()) / trial.page_name(answer)
        before = path.exists()

        def written() -> str:
            trial.writeup(path, answer, self.asked["leave_out"])
            by = (answer.by, *(f for f in trial.factors if f != answer.by))
            told = [words.name(f) for f in by]
            order = f", with {words.join(told)}, each in its own section" if len(told) > 1 else ""
            place = " It takes the place of the page written before." if before else ""
            return f'<p role="status">Written: {link(path)}{escape(f"{order}.{place}")}</p>'

        tell(self.written, written, meanwhile="Writing it …")  # other factors take their time
