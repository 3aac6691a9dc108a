"""The taste panel: plan a blind tasting, take the answers by code, open it and read it."""

from html import escape
from pathlib import Path
from typing import Any

import ipywidgets as widgets

from kit.analysis import words
from kit.analysis.tasting import tasters_needed
from kit.analysis.tasting.needed import Needed
from kit.errors import InputError, KitError
from kit.panels.blocks import items, status
from kit.panels.controls import LABELS, Panel, button, columns, pick, section, tick, visible
from kit.panels.fields import Typed, beside, people, share
from kit.panels.style import link, trouble
from kit.panels.taste_shown import answer_page, few_tasters
from kit.panels.today import trial_to_answer
from kit.us_units import us_paper
from kit.workspace import Trial, Workspace

__all__ = ["TastePanel"]

_METHODS = [
    ("triangle: two alike, which is odd?", "triangle"),
    ("duo-trio: which is like the reference?", "duo-trio"),
    ("pair: which is preferred?", "pair"),
    ("ranking: put several in order", "ranking"),
    ("scores: a mark for each", "scores"),
]
_BUTTON = {"width": "20rem", "max_width": "calc(100% - 4px)"}
_CHOOSE = ("triangle", "duo-trio", "pair")
#: kind -> what a field is called before its code, and what it says while it is empty
_MARKED = {
    "ranking": ("Rank of", "1: put first, such as the one liked most"),
    "scores": ("Score of", ""),
}
_MIND = (
    "Ask before anybody tastes: the muffins hold wheat and gluten from malt, and may hold milk and "
    "egg. Serve them baked through and cooled, never raw dough."
)


class TastePanel(Panel):
    """Asks what is tasted and by whom, takes answers blind, and opens the tasting at the end.

    Parameters
    ----------
    workspace : Workspace

    Attributes
    ----------
    answer : Choice, Ranking, Scores or None
        What is shown; None while the tasting is blind.
    """

    def __init__(self, workspace: Workspace) -> None:
        self.workspace = workspace
        self.answer: Any = None
        self._make_fields()
        plan = section(
            "Plan it", self.method, self.samples, self.question, self.tasters, self.twice,
            self.noticed, self.enough, self.plan, self.planned,
        )  # fmt: skip
        take = section(
            "Take the answers", self.tasting, self.taster, self.plate, self.marks, self.save,
            self.saved,
        )  # fmt: skip
        # it stands below the others, not beside them
        end = section("Open it", self.matters, self.without, self.unblind, self.opened, flex="none")
        mind = widgets.HTML(f'<p class="kit-banner"><strong>Allergens.</strong> {_MIND}</p>')
        super().__init__(mind, self.trial, columns(plan, take), end, self.shown)
        if not self.trial.options:
            self.plan.disabled = self.save.disabled = self.unblind.disabled = True
            self.shown.value = trouble("There is no trial in this folder yet.")
            return
        self._listen()
        self._show_trial()

    def _make_fields(self) -> None:
        names = [trial.name for trial in self.workspace.trials()]
        self.trial = pick("Trial", names, value=trial_to_answer(self.workspace))
        self.method = pick("Kind", _METHODS)
        self.samples = Typed("Compare", "", "one a line, such as: 16 h cold", rows=3)
        self.question = Typed("Question", "", "liking, when empty")
        self.tasters = Typed("Tasters", "12", "how many, or names with commas")
        self.twice = tick("One muffin twice, unknown to them")
        self.noticed = Typed("To be noticed by (%)", "50", "share of people able to tell")
        self.enough, self.planned = widgets.HTML(), widgets.HTML()
        self.plan = button("Plan it and write the sheets", self._plan, "check", **_BUTTON)
        self.tasting, self.taster = pick("Tasting"), pick("Taster")
        self.plate = pick("Plate")
        self.marks = widgets.VBox()
        self.save = button("Save this answer", self._save, "save", **_BUTTON)
        self.saved = widgets.HTML()
        self.matters = Typed("What matters (%)", "", "share of people, may stay empty")
        self.without = tick("Open it although answers are missing")
        self.unblind = button("Open the tasting", self._open, "eye", **_BUTTON)
        self.opened, self.shown = widgets.HTML(), widgets.HTML()

    def _listen(self) -> None:
        self.trial.observe(lambda _: self._show_trial(), "value")
        self.method.observe(lambda _: self._show_method(), "value")
        self.noticed.observe_text(self._show_enough)
        self.tasters.observe_text(self._show_enough)
        self.tasting.observe(lambda _: self._show_tasting(), "value")
        self.taster.observe(lambda _: self._show_plates(), "value")
        self.plate.observe(lambda _: self._show_marks(), "value")
        self.matters.observe_text(self._show_answer)

    @property
    def chosen(self) -> Trial:
        """The trial that is picked."""
        return self.workspace.trial(self.trial.value)

    # planning

    def _show_trial(self) -> None:
        if self._filling:
            return
        factors = self.chosen.factors
        name = next(iter(factors), "")
        settings = [words.setting(name, level) for level in factors.get(name, [])]
        # a triangle takes two; the outermost differ most
        self.samples.value = "\n".join([settings[0], settings[-1]] if settings else [])
        self.planned.value = ""
        self._show_method()
        self._show_tastings()

    def _show_method(self) -> None:
        method = self.method.value
        visible(self.twice, method == "scores")
        visible(self.question, method not in ("triangle", "duo-trio"))
        visible(self.noticed, method in _CHOOSE)
        visible(self.matters, method != "ranking")
        self._show_enough()

    def _show_enough(self) -> None:
        """Say how many tasters it takes."""
        self.enough.value = ""
        method = self.method.value
        if method not in _CHOOSE:
            return
        try:
            need = self._need()
        except KitError as exc:
            if not self.noticed.said.value:
                self.enough.value = trouble(str(exc))
            return
        try:
            entered = self.tasters.read(people)
        except InputError:
            told = ""  # said beside the field
        else:
            count = entered if isinstance(entered, int) else len(entered)
            few = few_tasters(need, count)
            told = f" You have entered {count}, who {few}." if few else ""
        self.enough.value = status(f"It would take {need.headline}{told}")

    def _need(self) -> Needed:
        method, able = self.method.value, share(self.noticed)
        return tasters_needed(method, able or 0.5, two_sided=method == "pair")

    def _too_few(self, count: int) -> list[str]:
        """Say before anybody tastes what a small tasting cannot tell."""
        if self.method.value not in _CHOOSE or self.noticed.said.value:
            return []
        need = self._need()
        few = few_tasters(need, count)
        return [f"{need.tasters} tasters are needed, as said above: {count} {few}"] if few else []

    def _plan(self) -> None:
        self.planned.value = ""
        method, trial = self.method.value, self.chosen
        names = [line.strip() for line in self.samples.value.splitlines() if line.strip()]
        folder = self.workspace.folder or Path.cwd()
        self.samples.said.value = ""
        try:
            plan = trial.plan_tasting(
                method, names, self.tasters.read(people), seed=_seed(trial),
                duplicate=method == "scores" and self.twice.value,
                question="" if method in ("triangle", "duo-trio") else self.question.value,
            )  # fmt: skip
            sheets, key = trial.tasting_sheets(folder, paper=us_paper())
        except KitError as exc:
            if isinstance(exc, InputError):
                beside(exc, {"samples": self.samples, "tasters": self.tasters})
            if not self.samples.said.value and not self.tasters.said.value:
                self.planned.value = trouble(str(exc))
            return
        checks = [*plan.checks, *self._too_few(len(plan.tasters))]
        notes = items(f"{words.capital(check)}." for check in checks)
        self.planned.value = (
            f'<div role="status"><p>{escape(plan.headline)} Print {link(sheets)} for the '
            f"tasters, and {link(key)} for who serves and does not taste.</p>"
            f"{notes}</div>"
        )
        self._show_tastings()

    # answers

    def _show_tastings(self) -> None:
        """Offer the trial's tastings, the newest first."""
        told = self.chosen.tastings().drop_duplicates("tasting")
        numbers = zip(told["tasting"], told["method"], strict=True)
        listed = [(f"{number}: {method}", int(number)) for number, method in numbers]
        with self.filling():
            self.tasting.options = listed[::-1]
            self.tasting.value = listed[-1][1] if listed else None
        self._show_tasting()

    def _served(self) -> Any:
        """What was served in the tasting that is picked."""
        told = self.chosen.tastings()
        return told[told["tasting"] == self.tasting.value]

    def _left(self, told: Any) -> list[tuple[str, int]]:
        """Tasters and plates of which nothing is answered."""
        done = told.groupby(["taster", "plate"], sort=False)["mark"].count() > 0
        return list(done[~done].index)

    def _blind(self, told: Any) -> bool:
        """Whether a tasting was not opened yet."""
        return bool(told["sample"].isna().all())

    def _show_tasting(self) -> None:
        if self._filling:
            return
        told = self._served()
        self.save.disabled = self.unblind.disabled = told.empty
        self.saved.value = self.opened.value = ""
        with self.filling():
            people = list(dict.fromkeys(told["taster"]))
            self.taster.options = people
            self.taster.value = people[0] if people else None
        self._show_plates()
        self._show_answer()

    def _show_plates(self) -> None:
        if self._filling:
            return
        told = self._served()
        own = told[told["taster"] == self.taster.value]
        with self.filling():
            plates = list(dict.fromkeys(int(k) for k in own["plate"]))
            self.plate.options = plates
            self.plate.value = plates[0] if plates else None
            visible(self.plate, len(plates) > 1)
        self._show_marks()

    def _show_marks(self) -> None:
        """Fields for one plate, by code alone, filled with what is stored."""
        if self._filling:
            return
        told = self._served()
        on = told[(told["taster"] == self.taster.value) & (told["plate"] == self.plate.value)]
        on = on[on["code"] != "R"]
        if on.empty:
            self.marks.children = [widgets.HTML("<p>No tasting is planned yet.</p>")]
            return
        method = on["method"].iloc[0]
        if method in _CHOOSE:
            ticked = on.loc[on["mark"] == 1, "code"].tolist()
            field = widgets.ToggleButtons(
                options=on["code"].tolist(), value=ticked[0] if ticked else None,
                description="Ticked", style={**LABELS, "button_width": "5rem"},
            )  # fmt: skip
            self.marks.children = [field]
        else:
            label, hint = _MARKED[method]
            self.marks.children = [
                Typed(f"{label} {code}", "" if mark != mark else f"{mark:g}", hint)
                for code, mark in zip(on["code"], on["mark"], strict=True)
            ]
        self._show_count(told)

    def _show_count(self, told: Any) -> None:
        """Say how many plates are answered, and by whom not."""
        done = told.groupby(["taster", "plate"], sort=False)["mark"].count() > 0
        left = list(dict.fromkeys(name for name, _ in self._left(told)))
        if not self._blind(told):
            left = []  # what did not come before it was opened comes no more
        wait = f" Still to come: {escape(words.join(left[:8]))}." if left else ""
        more = " …" if len(left) > 8 else ""
        self.marks.children = [
            *self.marks.children,
            widgets.HTML(f"<p>{int(done.sum())} of {len(done)} answers are in.{wait}{more}</p>"),
        ]

    def _save(self) -> None:
        """Store what was answered and go on to the next taster who has not."""
        fields = [f for f in self.marks.children if not isinstance(f, widgets.HTML)]
        try:
            if isinstance(fields[0], widgets.ToggleButtons):
                given: Any = fields[0].value
                if given is None:
                    raise InputError("answer", "", "must not be empty", "Tick a code.")
            else:
                given = {f.text.description.split()[-1]: f.value for f in fields}
            said = self.chosen.taste(
                self.taster.value, given, self.plate.value, self.tasting.value
            )  # fmt: skip
        except KitError as exc:
            self.saved.value = trouble(str(exc))
            return
        self.opened.value = ""  # why it could not be opened before may hold no longer
        self._go_on()
        # last, so that who reads it finds the next plate's fields in place
        self.saved.value = status(f"Saved: {said}.")

    def _go_on(self) -> None:
        """Show the next plate that is not answered, or this one again."""
        left = self._left(self._served())
        if left:
            self.taster.value, self.plate.value = left[0]
        self._show_marks()

    # the end

    def _open(self) -> None:
        told = self._served()
        if not self._blind(told):
            self.opened.value = status("It is open already: the answer stands below.")
            return
        left = [] if self.without.value else self._left(told)
        if left and told["mark"].notna().any():
            who = words.join(list(dict.fromkeys(name for name, _ in left)))
            self.opened.value = trouble(
                f"answers are missing from {who}, and nobody is blind after it is opened. Wait "
                f"for them, or tick “{self.without.description}”."
            )
            return
        try:
            said = self.chosen.unblind(self.tasting.value, self.without.value)
        except KitError as exc:
            self.opened.value = trouble(str(exc))
            return
        self.opened.value = status(f"{words.capital(said)}.")
        self._show_marks()
        self._show_answer()

    def _show_answer(self) -> None:
        """Show what an open tasting says; of a blind one nothing."""
        self.answer, self.shown.value = None, ""
        told = self._served()
        if self._blind(told):
            return
        # the button that opened it stays: whoever works by keyboard stands on it
        self.save.disabled = True
        try:
            matters = share(self.matters)
            self.answer = self.chosen.tasting_answer(self.tasting.value, matters)
        except KitError as exc:
            if not self.matters.said.value:
                self.shown.value = trouble(str(exc))
            return
        self.shown.value = answer_page(self.chosen, self.answer, told, self.tasting.value, matters)


def _seed(trial: Trial) -> int:
    """Another draw for each tasting of the trial."""
    return 1 + trial.tastings()["tasting"].nunique()
