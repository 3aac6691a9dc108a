"""The compare panel: pick trial, outcome and factor, say what matters, read the answer."""

from html import escape
from pathlib import Path
from typing import Any

import ipywidgets as widgets

from kit import charts, quantities, units
from kit.analysis import words
from kit.analysis.compare import Comparison
from kit.analysis.sentences import why_not_pieces
from kit.errors import KitError
from kit.panels.keys import OwnKeys
from kit.workspace import Trial, Workspace

__all__ = ["ComparePanel"]

_STYLE = """<style>
.kit-answer {max-width: 46rem; font-size: 1rem; line-height: 1.5; overflow-wrap: anywhere}
.kit-answer h3 {margin: .6em 0 .2em}
.kit-answer figure {margin: .8em 0; max-width: 100%}
.kit-answer svg {max-width: 100%; height: auto}
.kit-answer table {border-collapse: collapse; margin: .4em 0}
.kit-answer th, .kit-answer td {padding: .15em .7em .15em 0; text-align: left}
.kit-banner {border-left: .3rem solid #b35900; padding: .2em .7em}
.kit-trouble {border-left: .3rem solid #8b1a1a; padding: .2em .7em}
</style>"""
_WIDE = {"description_width": "9rem"}
_PAIRS = "every pair"


class ComparePanel(widgets.VBox):  # type: ignore[misc]
    """Asks what to compare and shows the answer; holds nothing itself.

    Parameters
    ----------
    workspace : Workspace

    Attributes
    ----------
    answer : Comparison or None
        What is shown; None while something typed cannot be used.
    """

    def __init__(self, workspace: Workspace) -> None:
        self.workspace = workspace
        self.answer: Comparison | None = None
        layout = widgets.Layout(width="100%", max_width="34rem")

        def field(kind: Any, label: str, **more: Any) -> Any:
            return kind(description=label, style=_WIDE, layout=layout, **more)

        names = [trial.name for trial in workspace.trials()]
        self.trial = field(widgets.Dropdown, "Trial", options=names)
        self.outcome = field(widgets.Dropdown, "Outcome")
        self.factor = field(widgets.Dropdown, "Factor")
        self.matters = field(widgets.Text, "What matters", continuous_update=False)
        self.trouble = widgets.HTML()
        self.control = field(widgets.Dropdown, "Compare")
        self.line = field(widgets.Checkbox, "As a straight line", value=False)
        self.alike = widgets.VBox()
        self.without = widgets.VBox()
        self.shown = widgets.HTML()
        self.write = widgets.Button(
            description="Write the page", icon="file", layout=widgets.Layout(width="12rem")
        )
        self.written = widgets.HTML()
        self._filling = False
        super().__init__(
            [
                OwnKeys(), widgets.HTML(_STYLE), self.trial, self.outcome, self.factor,
                self.matters, self.trouble, self.control, self.line, self.alike, self.without,
                self.shown, self.write, self.written,
            ]
        )  # fmt: skip
        self.trial.observe(lambda _: self._show_trial(), "value")
        self.factor.observe(lambda _: self._show_factor(), "value")
        self.outcome.observe(lambda _: self._show_outcome(), "value")
        for asked in (self.matters, self.control, self.line):
            asked.observe(lambda _: self._ask(), "value")
        self.add_class("kit-panel")
        self.write.on_click(lambda _: self._write_page())
        self._show_trial()

    @property
    def chosen(self) -> Trial:
        """The trial that is picked."""
        return self.workspace.trial(self.trial.value)

    def _show_trial(self) -> None:
        """Offer what the trial has."""
        trial, frame = self.chosen, self.chosen.frame()
        recorded = [q for q in quantities.all_quantities() if q.name in frame]
        factors = [name for name in trial.factors if name in frame]
        outcomes = [q for q in recorded if q.name not in factors]
        events = sorted({e for here in frame["events"].dropna() for e in here.split("; ") if e})
        self._filling = True
        self.outcome.options = [(q.label, q.name) for q in outcomes]
        self.outcome.value = trial.outcome if trial.outcome in frame else None
        self.factor.options = [(quantities.get(name).label, name) for name in factors]
        self.factor.value = factors[0] if factors else None
        self._show_matters()
        self.without.children = [self._box(f"Leave out: {event}", event, False) for event in events]
        self._filling = False
        self._show_factor()

    def _show_outcome(self) -> None:
        if not self._filling:
            self._show_matters()
            self._ask()

    def _show_matters(self) -> None:
        """What matters for one outcome says nothing about another."""
        trial, busy = self.chosen, self._filling
        own = trial.matters if self.outcome.value == trial.outcome else None
        self._filling = True
        self.matters.value = "" if own is None else f"{own:g}"
        unit = words.unit_of(self.outcome.value) if self.outcome.value else ""
        self.matters.description = f"What matters ({unit})" if unit else "What matters"
        self.matters.placeholder = "the smallest difference you care about"
        self._filling = busy

    def _show_factor(self) -> None:
        """Offer what goes with the factor."""
        if self._filling:
            return
        by = self.factor.value
        self._filling = True
        others = [name for _, name in self.factor.options if name != by]
        self.alike.children = [
            self._box(f"Hold alike: {words.name(name)}", name, True) for name in others
        ]
        settings = self.chosen.factors[by] if by else []
        self.control.options = [
            ("every pair of settings", _PAIRS),
            *((f"each setting with {words.amount(by, level)}", level) for level in settings),
        ]
        self.control.value = _PAIRS
        self._filling = False
        self._ask()

    def _box(self, label: str, name: str, ticked: bool) -> Any:
        box = widgets.Checkbox(
            value=ticked, description=label, indent=False, layout=widgets.Layout(width="auto")
        )
        box.name = name
        box.observe(lambda _: self._ask(), "value")
        return box

    def _ask(self) -> None:
        """Call `Trial.compare` with what is picked and show the answer or the reason."""
        if self._filling:
            return
        self.trouble.value, self.written.value = "", ""
        trial, against = self.chosen, self.control.value
        try:
            matters = units.parse(
                self.matters.value, words.unit_of(self.outcome.value), "what matters",
                difference=True,
            )  # fmt: skip
            self.answer = trial.compare(
                self.outcome.value,
                self.factor.value,
                matters,
                adjust=[box.name for box in self.alike.children if box.value],
                control=None if self.line.value or against == _PAIRS else against,
                line=self.line.value or None,
                leave_out=[box.name for box in self.without.children if box.value],
            )
        except KitError as exc:
            self.answer = None
            self.trouble.value = f'<p class="kit-trouble" role="alert">{escape(str(exc))}</p>'
        self.write.disabled = self.answer is None
        self.shown.value = self._page(trial) if self.answer is not None else ""

    def _page(self, trial: Trial) -> str:
        """The answer as a page: words, picture, numbers, then the statistics."""
        answer = self.answer
        assert answer is not None
        banner = (
            '<p class="kit-banner"><strong>Invented data</strong>, made up to show how this works.'
            "</p>"
            if trial.invented
            else ""
        )
        picture = charts.svg(charts.comparison(answer), answer.headline, charts.describe(answer))
        notes = "".join(f"<li>{escape(check)}.</li>" for check in answer.checks)
        shown = answer.differences[["contrast", "difference", "low", "high", "p", "answer"]]
        unit = words.unit_of(answer.outcome)
        table = shown.rename(
            columns={
                "contrast": "first less second",
                "difference": f"difference {unit}".strip(),
                "low": "from",
                "high": "to",
            }
        ).to_html(index=False, border=0, float_format="{:.3g}".format)
        why = why_not_pieces(answer)
        return (
            f'<section class="kit-answer" role="status" aria-live="polite">{banner}'
            f"<h3>{escape(trial.question or answer.by)}</h3>"
            f"<p><strong>{escape(answer.headline)}</strong> {escape(answer.sentence)}</p>"
            f"<figure>{picture}<figcaption>A dot is a piece, a diamond the mean of a dough, a "
            "square the mean of a setting with its interval.</figcaption></figure>"
            f"<p>{escape(answer.rests_on)}</p><p>{escape(answer.next_step)}</p>"
            + (f"<p>Know before you trust it:</p><ul>{notes}</ul>" if notes else "")
            + f"<details><summary>All differences and the statistics</summary>{table}"
            + (f"<p>{escape(why)}</p>" if why else "")
            + f"<p>{escape(answer.method)}</p></details></section>"
        )

    def _write_page(self) -> None:
        """Write the page of what is shown into the workspace's folder."""
        trial = self.chosen
        folder = self.workspace.folder or Path.cwd()
        path = folder / f"{trial.name}.html"
        try:
            trial.writeup(path, self.answer)
        except KitError as exc:
            self.written.value = f'<p class="kit-trouble" role="alert">{escape(str(exc))}</p>'
        else:
            self.written.value = f'<p role="status">Written: <code>{escape(str(path))}</code></p>'
