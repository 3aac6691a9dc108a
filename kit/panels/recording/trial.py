"""The form that begins a trial: question, what is changed, what is measured, what matters."""

from collections.abc import Callable
from functools import partial

import ipywidgets as widgets

from kit import quantities, units, words
from kit.errors import InputError
from kit.panels.parts.controls import button, pick, section
from kit.panels.parts.fields import Typed, beside_of, tell, what_matters
from kit.plan.factors import Factor
from kit.workspace import Trial, Workspace

__all__ = ["TrialForm"]

_NOTHING = ("nothing", "")


class TrialForm(widgets.VBox):  # type: ignore[misc]
    """Fields for a new trial and the button that begins it.

    Parameters
    ----------
    workspace : Workspace
    begun : callable
        Called with the new trial.
    """

    def __init__(self, workspace: Workspace, begun: Callable[[Trial], None]) -> None:
        self.workspace, self._begun = workspace, begun
        known = quantities.all_quantities()
        changed = (q for q in known if q.level != "bake" and not q.formula)
        settable = [_NOTHING, *((q.label, q.name) for q in changed)]
        measured = [_NOTHING, *((q.label, q.name) for q in known if q.level == "piece")]
        self.name = Typed("Name", hint="short, such as malt")
        self.question = Typed("Question", hint="Does more malt make a taller muffin?")
        self.factor = pick("I change", settable)
        self.settings = Typed("Settings", hint="0, 0.4, 0.8   or   0 to 1.2")
        self.other = pick("and also", settable)
        self.other_settings = Typed("Its settings", hint="5 or 6 min")
        self.outcome = pick("I measure", measured)
        self.matters = Typed("What matters", hint="smallest difference you care about")
        self.begin = button("Begin this trial", self._begin)
        self.trouble = widgets.HTML()
        super().__init__(
            [
                section(
                    "A new trial", self.name, self.question, self.factor, self.settings, self.other,
                    self.other_settings, self.outcome, self.matters, self.begin, self.trouble,
                )
            ]
        )  # fmt: skip
        self.outcome.observe(self._name_unit, "value")

    def _name_unit(self, _: object) -> None:
        self.matters.text.description = what_matters(self.outcome.value)

    def _begin(self) -> None:
        def begun() -> None:
            factors = self._factors()
            unit = words.unit_of(self.outcome.value)
            matters = self.matters.read(
                lambda text: units.parse(text, unit, "what matters", difference=True)
            )
            if matters is not None and not self.outcome.value:
                rule = "needs something that is measured"
                raise InputError("what matters", matters, rule, "Say what you measure.")
            with beside_of({"name": self.name}):
                trial = self.workspace.new_trial(
                    self.name.value, question=self.question.value, factors=factors,
                    outcome=self.outcome.value or None, matters=matters,
                )  # fmt: skip
            for field in (*asked, self.question):
                field.value = ""
            self._begun(trial)

        asked = (self.name, self.settings, self.other_settings, self.matters)
        tell(self.trouble, begun, *asked)

    def _factors(self) -> dict[str, list[float]]:
        picked = ((self.factor, self.settings), (self.other, self.other_settings))
        factors: dict[str, list[float]] = {}
        for factor, typed in picked:
            if factor.value:
                read = typed.read(partial(Factor.written, factor.value))
                factors[read.quantity] = [float(s) for s in read.settings]
            elif typed.value.strip():
                typed.read(_without_factor)
        return factors


def _without_factor(text: str) -> None:
    raise InputError("settings", text, "need to say what is changed", "Choose it above.")
