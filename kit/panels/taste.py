"""The taste panel: plan a blind tasting, take the answers by code, open it and read it."""

from html import escape
from pathlib import Path
from typing import Any, Self

import ipywidgets as widgets

from kit import words
from kit.analysis.tasting import tasters_needed
from kit.analysis.tasting.needed import Needed
from kit.errors import DataError, InputError, KitError
from kit.formula import Formula, allergens
from kit.panels.parts.blocks import items, status
from kit.panels.parts.controls import (
    Panel,
    button,
    columns,
    offer,
    pick,
    row,
    section,
    tick,
    visible,
)
from kit.panels.parts.fields import Typed, beside_of, people, share, tell
from kit.panels.parts.style import holds, trouble
from kit.panels.parts.today import last_done, trial_to_answer
from kit.panels.tasting.plate import CHOOSE, Plate, besides
from kit.panels.tasting.shown import answer_page, few_tasters, to_print
from kit.records.keeping.aside import file_name
from kit.us_units import us_paper
from kit.workspace import Workspace

__all__ = ["TastePanel"]

_METHODS = [
    ("triangle: two alike, which is odd?", "triangle"),
    ("duo-trio: which is like the reference?", "duo-trio"),
    ("pair: which is preferred?", "pair"),
    ("ranking: put several in order", "ranking"),
    ("scores: a mark for each", "scores"),
]
#: tasting, method, taster and code of each muffin
_Served = tuple[tuple[Any, ...], ...]
_HOLDS = "the muffins hold wheat, and may hold barley malt, milk and egg"


class TastePanel(Panel):
    """Asks what is tasted and by whom, takes answers blind, and opens the tasting at the end.

    Attributes
    ----------
    answer : Choice, Ranking, Scores or None
        What is shown; None while the tasting is blind.
    """

    def __init__(self, workspace: Workspace) -> None:
        self.workspace = workspace
        self.answer: Any = None
        #: what was served in a tasting -> what was asked for when it was planned
        self._asked: dict[_Served, tuple[Any, ...]] = {}
        self._make_fields()
        plan = section(
            "Plan it", self.method, self.samples, self.question, self.tasters, self.twice,
            self.noticed, self.enough, self.plan, self.planned,
        )  # fmt: skip
        self.take = section(
            "Take the answers", self.tasting, self.taster, self.plate, self.marks,
            row(self.save, self.undo, self.last), self.saved,
        )  # fmt: skip
        self.end = section("Open it", self.matters, self.without, self.unblind, self.opened)
        self.mind = widgets.HTML(_mind(None))
        super().__init__(self.mind, self.trial, columns(plan, self.take), self.end, self.shown)
        if not self.trial.options:
            self._rest()
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
        self.plan = button("Plan it and write the sheets", self._plan, "check")
        self.tasting, self.taster = pick("Tasting"), pick("Taster")
        self.plate = pick("Plate")
        self.marks = Plate()
        self.save = button("Save this answer", self._save, "save")
        self.undo = button("Undo", self._undo, "undo")
        self.last, self.saved = widgets.HTML(), widgets.HTML()
        self.matters = Typed("What matters (%)", "", "share of people, may stay empty")
        self.without = tick("Open it although answers are missing")
        self.unblind = button("Open the tasting", self._open, "eye")
        self.opened, self.shown = widgets.HTML(), widgets.HTML()

    def _rest(self) -> None:
        for one in (self.plan, self.save, self.undo, self.unblind):
            one.disabled = True
        self.shown.value = trouble("There is no trial in this folder yet.")

    def _listen(self) -> None:
        self.trial.observe(lambda _: self._show_trial(), "value")
        self.method.observe(lambda _: self._show_method(), "value")
        self.noticed.observe_text(self._show_enough)
        self.tasters.observe_text(self._show_enough)
        self.tasting.observe(lambda _: self._show_tasting(), "value")
        self.taster.observe(lambda _: self._show_plates(), "value")
        self.plate.observe(lambda _: self._show_marks(), "value")
        self.matters.observe_text(self._show_answer)

    def _asks(self) -> list[widgets.Widget]:
        # what is answered comes from the records, and that answers may be missing is said anew
        return [self.trial, self.method, self.samples, self.question, self.tasters, self.twice,
                self.noticed, self.tasting]  # fmt: skip

    def _come_back(self, before: Self) -> None:
        super()._come_back(before)
        self._asked = before._asked

    # planning

    def _show_trial(self) -> None:
        if self._filling or not self.trial.value:
            return
        self.mind.value = _mind(self.chosen.formula())
        factors = self.chosen.factors
        name = next(iter(factors), "")
        settings = [words.setting(name, level) for level in factors.get(name, [])]
        # a triangle takes two; the outermost differ most
        self.samples.value = "\n".join([settings[0], settings[-1]] if settings else [])
        self.planned.value = ""
        self._show_method()
        self.take.layout.display = self.end.layout.display = "none"
        self._show_tastings()

    def _show_method(self) -> None:
        method = self.method.value
        visible(self.twice, method == "scores")
        visible(self.question, method not in ("triangle", "duo-trio"))
        visible(self.noticed, method in CHOOSE)
        visible(self.matters, method != "ranking")
        self._show_enough()

    def _show_enough(self) -> None:
        self.enough.value = ""
        method = self.method.value
        if method not in CHOOSE:
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

    def _plan(self) -> None:
        method = self.method.value
        names = [line.strip() for line in self.samples.value.splitlines() if line.strip()]
        folder = self.workspace.folder or Path.cwd()

        def planned() -> str:
            trial = self.chosen
            how = {
                "tasters": self.tasters.read(people),
                "duplicate": method == "scores" and self.twice.value,
                "question": "" if method in ("triangle", "duo-trio") else self.question.value,
            }
            asked = (trial, method, names, how)
            if self._asked.get(self._waiting()) != asked:
                with beside_of({"samples": self.samples, "tasters": self.tasters}):
                    plan = trial.plan_tasting(method, names, **how)
                told = (plan.headline, *(f"{words.capital(check)}." for check in plan.checks))
                self._asked[self._waiting()] = asked
            else:
                told = ("It is planned already. To draw it afresh, press Undo first.",)
            sheets, key = trial.tasting_sheets(folder, paper=us_paper())
            self._show_tastings()
            head, *notes = told
            inside = f"<p>{escape(head)}</p>{to_print(sheets, key)}{items(notes)}"
            return f'<div role="status">{inside}</div>'

        tell(self.planned, planned, self.samples, self.tasters)

    def _waiting(self) -> _Served:
        """What is served in the newest tasting, where it waits for its first answer.

        Its number alone would not do: another window may have planned another one under it.
        """
        told = self.chosen.tastings()
        told = told[told["tasting"] == told["tasting"].max()]
        waits = not told.empty and self._blind(told) and told["mark"].isna().all()
        served = told[["tasting", "method", "taster", "code"]]
        return tuple(served.itertuples(index=False, name=None)) if waits else ()

    def _papers(self) -> str:
        """What there is to print of the tasting that is picked, while it is blind."""
        folder = self.workspace.folder or Path.cwd()
        name = file_name(f"{self.trial.value}-tasting-{self.tasting.value}")
        sheets, key = (folder / f"{name}-{part}.html" for part in ("sheets", "key"))
        told = self._served()
        own = [code for code in told["code"] if code != "R"]
        mine = [*own, f"{self.trial.value}, tasting {self.tasting.value}"]
        there = len(told) and holds(sheets, own) and holds(key, mine)
        return to_print(sheets, key) if there and self._blind(told) else ""

    # answers

    def _show_tastings(self) -> None:
        told = self.chosen.tastings().drop_duplicates("tasting")
        numbers = zip(told["tasting"], told["method"], strict=True)
        listed = [(f"{number}: {method}", int(number)) for number, method in numbers]
        with self.filling():
            offer(self.tasting, listed[::-1])
        if listed:  # what was shown stays, for it says what Undo took back
            self.take.layout.display = self.end.layout.display = None
        self._show_tasting()

    def _served(self) -> Any:
        told = self.chosen.tastings()
        return told[told["tasting"] == self.tasting.value]

    def _left(self, told: Any) -> list[tuple[str, int]]:
        """Tasters and plates of which nothing is answered."""
        done = _answered(told)
        return list(done[~done].index)

    def _blind(self, told: Any) -> bool:
        return bool(told["sample"].isna().all())

    def _show_tasting(self) -> None:
        if self._filling:
            return
        told = self._served()
        self.save.disabled = self.unblind.disabled = told.empty
        self.saved.value = self.opened.value = ""
        self.planned.value = self._papers()
        self.without.value = False  # it was said of another tasting
        with self.filling():
            people = list(dict.fromkeys(told["taster"]))
            waits = [name for name, _ in self._left(told)] if self._blind(told) else []
            offer(self.taster, people, *waits)
        self._show_plates()
        self._show_answer()

    def _show_plates(self) -> None:
        if self._filling:
            return
        told = self._served()
        own = told[told["taster"] == self.taster.value]
        with self.filling():
            plates = list(dict.fromkeys(int(k) for k in own["plate"]))
            waits = [plate for name, plate in self._left(told) if name == self.taster.value]
            offer(self.plate, plates, *waits)
            visible(self.plate, len(plates) > 1)
        self._show_marks()

    def _on_plate(self, told: Any) -> Any:
        """What lies on the plate that is picked, but for the reference."""
        of = (told["taster"] == self.taster.value) & (told["plate"] == self.plate.value)
        return told[of & (told["code"] != "R")]

    def _show_marks(self) -> None:
        """Fields for one plate, by code alone, filled with what is stored; what Undo takes back."""
        if self._filling:
            return
        self.last.value = f'<p class="kit-last">Last: {escape(last_done(self.workspace))}</p>'
        told = self._served()
        on = self._on_plate(told)
        if on.empty:
            self.marks.say("<p>No tasting is planned yet.</p>")
        else:
            self.marks.show(on, self._count(told))

    def _count(self, told: Any) -> str:
        done = _answered(told)
        left = list(dict.fromkeys(name for name, _ in self._left(told)))
        if not self._blind(told):
            left = []  # what did not come before it was opened comes no more
        wait = f" Still to come: {escape(words.join(left[:8]))}." if left else ""
        more = " …" if len(left) > 8 else ""
        return f"<p>{int(done.sum())} of {len(done)} answers are in.{wait}{more}</p>"

    def _save(self) -> None:
        """Store what was answered and go on to the next taster who has not."""
        try:
            before = self._on_plate(self._served())
            said = self.chosen.taste(
                self.taster.value, self.marks.given(), self.plate.value, self.tasting.value
            )  # fmt: skip
        except KitError as exc:
            self.saved.value = "" if self.marks.said_beside(exc) else trouble(str(exc))
            return
        said += besides(before, self._on_plate(self._served()))
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

    def _undo(self) -> None:
        number = self.tasting.value

        def undone() -> str | None:
            was_open = not self._blind(self._served())
            said = f"{words.capital(self.workspace.undo())}."
            names = [trial.name for trial in self.workspace.trials()]
            if self.trial.value not in names:
                self.trial.options = names  # that it was begun is what was taken back
            if not names:
                self._rest()
                return None
            self._show_tastings()
            if number in [value for _, value in self.tasting.options]:
                self.tasting.value = number
                if was_open and self._blind(self._served()):
                    said += " Who has seen what it said is not blind any more."
            return status(said)

        tell(self.saved, undone)

    # the end

    def _open(self) -> None:
        def opened() -> str:
            told = self._served()
            if not self._blind(told):
                return status("It is open already: the answer stands below.")
            left = [] if self.without.value else self._left(told)
            if left and told["mark"].notna().any():
                who = words.join(list(dict.fromkeys(name for name, _ in left)))
                msg = (
                    f"answers are missing from {who}, and nobody is blind after it is opened. Wait "
                    f"for them, or tick “{self.without.description}”."
                )
                raise DataError(msg)
            said = self.chosen.unblind(self.tasting.value, self.without.value)
            self.without.value = False
            self._show_marks()
            self._show_answer()
            return status(f"{words.capital(said)}.")

        tell(self.opened, opened)

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


def _answered(told: Any) -> Any:
    """Whether anything is answered, by taster and plate."""
    return told.groupby(["taster", "plate"], sort=False)["mark"].count() > 0


def _mind(formula: Formula | None) -> str:
    """Say what to ask before anybody tastes: what the formula holds, else what muffins may."""
    found = [] if formula is None else [one.name for one in allergens(formula)]
    holds = f"by their ingredients’ names the muffins hold {words.join(found)}" if found else _HOLDS
    return (
        f'<p class="kit-banner"><strong>Allergens.</strong> Ask before anybody tastes: {holds}. '
        "Serve them baked through and cooled, never raw dough.</p>"
    )
