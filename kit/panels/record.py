"""The record panel: choose a trial and a bake, and write down what was done and what came out."""

from collections.abc import Callable, Iterable, Sequence
from html import escape
from typing import Any, Self

import ipywidgets as widgets

from kit import words
from kit.panels.parts.blocks import if_invented, status
from kit.panels.parts.controls import (
    Panel,
    button,
    columns,
    offer,
    pick,
    row,
    section,
    toggle,
    visible,
)
from kit.panels.parts.fields import Typed, tell
from kit.panels.parts.today import day_said, today_in, todays_bake, trial_at_work
from kit.panels.recording.events import TITLE, EventForm
from kit.panels.recording.running import RunningPanel
from kit.panels.recording.tables import LevelTable, workspace_key
from kit.panels.recording.trial import TrialForm
from kit.quantities import LEVELS
from kit.records.things import Bake, Thing
from kit.records.typed import whole
from kit.us_units import also_us
from kit.workspace import Trial, Workspace

__all__ = ["RecordPanel"]

_HISTORY = 40


class RecordPanel(Panel):
    """Trial, bake, doughs, loads, pieces, and a table to type into for each.

    Every value is stored by `Trial.record` or `Trial.change` as its field is left.

    Attributes
    ----------
    tables : dict
        Level -> `LevelTable`.
    running : VBox
        Where the buttons for the stages of a running bake stand.
    """

    def __init__(self, workspace: Workspace) -> None:
        self.workspace = workspace
        self._key = workspace_key(str(workspace.folder or workspace.store.name))
        self.trial = pick("Trial")
        self.new = toggle("A new trial")
        self.form = TrialForm(workspace, self._begun)
        self.about = widgets.HTML()
        self.bake = pick("Bake")
        self.coming = widgets.HTML()
        self.day = Typed("New bake on", hint="today, or year-month-day")
        self.begin = button("Begin a bake", lambda: self._doing(self._begin_bake, self.said))
        self.doughs = Typed("Doughs", hint="how many")
        self.loads = Typed("Loads of the griddle", hint="how many")
        self.pieces = Typed("Pieces of each dough", hint="how many")
        self.add = button("Add what is missing", lambda: self._doing(self._add_missing, self.said))
        self.said = widgets.HTML()
        self.change = toggle("More doughs, loads or pieces")
        self._counts = widgets.VBox([self.doughs, self.loads, self.pieces, self.add])
        self.undo = button("Undo", lambda: self._doing(self._undo, self.undone), "undo")
        self.last, self.undone = widgets.HTML(), widgets.HTML()
        self.past = toggle("History")
        self.history = widgets.HTML()
        self.stages = toggle("Stages and their times")
        self.running = widgets.VBox()
        self.happened = toggle(TITLE)
        self.events = EventForm(self._noted)
        self.tables = {
            level: LevelTable(level, self._stored, workspace.together) for level in LEVELS
        }
        trial = section("Which trial?", self.trial, self.about, self.new, self.form)
        bake = section(
            "Which bake?", self.bake, self.coming, self.day, self.begin, self.change, self._counts,
            self.said,
        )  # fmt: skip
        back = row(self.undo, self.last, self.undone, gap="0")
        super().__init__(
            columns(trial, bake), self.stages, self.running, *self.tables.values(), self.happened,
            self.events, back, self.past, self.history, kind="kit-record",
        )  # fmt: skip
        self._listen()
        self.refresh()

    def _asks(self) -> list[widgets.Widget]:
        # how many doughs, loads and pieces there are is known by the records, stages by the clock
        return [self.trial, self.new, self.form, self.bake, self.day,
                *self.tables.values(), self.happened, self.events]  # fmt: skip

    def _come_back(self, before: Self) -> None:
        """Columns that were added to the tables are shown as well."""
        super()._come_back(before)
        for level, table in before.tables.items():
            if table.sheet is not None:
                self.tables[level].seek(table.sheet.added)

    def _listen(self) -> None:
        self.trial.observe(lambda _: self._show_trial(), "value")
        self.bake.observe(lambda _: self._show_bake(), "value")
        self.new.observe(lambda _: visible(self.form, self.new.value), "value")
        self.change.observe(lambda _: visible(self._counts, self.change.value), "value")
        self.stages.observe(lambda _: visible(self.running, self.stages.value), "value")
        self.happened.observe(lambda _: visible(self.events, self.happened.value), "value")
        self.past.observe(lambda _: self._show_history(), "value")

    @property
    def chosen_bake(self) -> Bake | None:
        """The bake that is picked."""
        trial = self.chosen
        bakes = trial.bakes() if trial else []
        return next((bake for bake in bakes if bake.id == self.bake.value), None)

    # showing

    def refresh(self) -> None:
        """Show what the records have now; texts that are not saved stay in their fields."""
        names = [trial.name for trial in self.workspace.trials()]
        picked = self.trial.value if self.trial.value in names else trial_at_work(self.workspace)
        with self.filling():
            offer(self.trial, names, picked)
        self.new.value = self.new.value or not names
        visible(self.form, self.new.value)
        self._show_trial()

    def _show_trial(self) -> None:
        if self._filling:
            return
        trial = self.chosen
        bakes = trial.bakes() if trial else []
        self.about.value = _about(trial) if trial else ""
        meant = todays_bake(bakes)
        with self.filling():
            offer(self.bake, _offered(bakes), self.bake.value, *([meant.id] if meant else []))
        self.begin.disabled = self.day.text.disabled = trial is None
        self._show_bake()

    def _show_bake(self) -> None:
        if self._filling:
            return
        trial, bake = self.chosen, self.chosen_bake
        self.coming.value = _coming(bake)
        visible(self.change, bake)
        if trial and bake:
            doughs = trial.doughs(bake)
            most = max((len(trial.pieces(dough)) for dough in doughs), default=0)
            counts = (len(doughs), len(trial.loads(bake)), most)
            for field, count in zip((self.doughs, self.loads, self.pieces), counts, strict=True):
                field.value, field.said.value = str(count or ""), ""
            self.change.value = not most
        visible(self._counts, bool(bake) and self.change.value)
        self._show_tables(trial, bake)
        self._show_running(trial, bake)

    def _show_tables(self, trial: Trial | None, bake: Bake | None) -> None:
        for table in self.tables.values():
            if trial and bake:
                table.show(trial, bake, self._key)
            else:
                table.hide()
        self._show_events(trial, bake)
        self._show_last()

    def _show_events(self, trial: Trial | None, bake: Bake | None) -> None:
        """Have the place where to note what happened ready while there is a bake."""
        visible(self.happened, bake)
        visible(self.events, bake is not None and self.happened.value)
        if trial and bake:
            self.events.show(trial, bake)

    def _show_running(self, trial: Trial | None, bake: Bake | None) -> None:
        """Put the buttons for the stages of the bake into their place."""
        self.running.children = []
        visible(self.stages, bake)
        self.stages.value = bake is not None and _is_on(bake)
        visible(self.running, self.stages.value)
        if trial and bake:
            running = RunningPanel(self.workspace, trial, bake)
            # its buttons note times from which lengths can be recorded: show them in the tables
            for told, trait in ((running.board, "rows"), (running.told, "value")):
                told.observe(lambda _: self._show_tables(trial, bake), trait)
            self.running.children = [running]

    def _stored(self) -> None:
        """A table stored something; bakes and their days may be others now, here or elsewhere."""
        self.said.value = self.undone.value = ""
        if (trial := self.chosen) and _offered(trial.bakes()) != list(self.bake.options):
            self._show_trial()
        self._show_last()

    def _noted(self) -> None:
        self._show_events(self.chosen, self.chosen_bake)
        self._stored()

    def _show_last(self) -> None:
        done = self.workspace.history(_HISTORY)
        left = list(done["what"][~done["undone"]])
        self.undo.disabled = not left
        last = next(iter(self._blinded(left[-1:])), "nothing yet")
        self.last.value = f'<p class="kit-last">Last: {escape(last)}</p>'
        self._show_history()

    def _blinded(self, texts: Iterable[str]) -> list[str]:
        """What was done, without the doughs of pieces that are measured by codes alone."""
        sheet = self.tables["piece"].sheet
        return sheet.blinded(texts) if sheet else list(texts)

    def _show_history(self) -> None:
        done = self.workspace.history(_HISTORY)
        done["what"] = self._blinded(done["what"])
        self.history.value = _told(done) if self.past.value else ""

    # doing

    def _doing(self, what: Callable[[], str], said: widgets.HTML) -> None:
        self.said.value = self.undone.value = ""
        tell(said, lambda: status(what()), self.day, self.doughs, self.loads, self.pieces)

    def _begun(self, trial: Trial) -> None:
        self.new.value = False
        with self.filling():
            offer(self.trial, [one.name for one in self.workspace.trials()], trial.name)
        self.refresh()

    def _begin_bake(self) -> str:
        trial = self.chosen
        assert trial is not None
        made = self.day.read(lambda typed: trial.add_bake(day_said(typed, trial.zone) or None))
        self.day.value = ""
        with self.filling():
            offer(self.bake, [(str(made), made.id)])
        self.refresh()
        return f"{made} of {made.day} begun."

    def _add_missing(self) -> str:
        """Bring doughs, loads and pieces up to the numbers typed; pressing twice adds nothing."""
        trial, bake = self.chosen, self.chosen_bake
        assert trial is not None
        assert bake is not None
        wanted = [
            field.read(lambda text: whole("how many", text)) or 0
            for field in (self.doughs, self.loads, self.pieces)
        ]
        added: dict[str, Sequence[Thing]] = {}
        with self.workspace.together(f"{trial.name}: doughs, loads and pieces added to {bake}"):
            for level, there, make, n in (
                ("dough", trial.doughs, trial.add_dough, wanted[0]),
                ("load", trial.loads, trial.add_load, wanted[1]),
            ):
                added[level] = [make(bake) for _ in range(n - len(there(bake)))]
            added["piece"] = [
                trial.add_piece(dough)
                for dough in trial.doughs(bake)
                for _ in range(wanted[2] - len(trial.pieces(dough)))
            ]
        self.refresh()
        told = [words.plural(len(made), level) for level, made in added.items() if made]
        return f"Added: {', '.join(told)}." if told else "There are as many already."

    def _undo(self) -> str:
        said = self.workspace.undo()
        [said] = self._blinded([said])
        self.refresh()
        return f"{words.capital(said)}."


def _offered(bakes: Sequence[Bake]) -> list[tuple[str, str]]:
    """The bakes as the menu offers them, the newest first."""
    return [(f"{bake}{f' of {bake.day}' if bake.day else ''}", bake.id) for bake in bakes][::-1]


def _is_on(bake: Bake) -> bool:
    return bake.day == today_in(bake.zone)


def _coming(bake: Bake | None) -> str:
    """Say where the bake that is shown is still to come: what is typed may be of another one."""
    ahead = 0 if bake is None or bake.day is None else (bake.day - today_in(bake.zone)).days
    if ahead <= 0:
        return ""
    days = words.plural(ahead, "day")
    told = f"It is planned in {days}. Baked earlier or later? Change its day below."
    return f'<p class="kit-banner" role="status">{told}</p>'


def _about(trial: Trial) -> str:
    lines = [if_invented(trial, " Begin a trial of your own for your bakes.")]
    if trial.question:
        lines.append(f'<p class="kit-question">{escape(trial.question)}</p>')
    changed = [
        f"{words.name(name)}: {', '.join(words.amount(name, s) for s in settings)}"
        for name, settings in trial.factors.items()
    ]
    if changed:
        told = also_us("; ".join(changed), absolute=True)
        lines.append(f"<p>Changed on purpose: {escape(told)}</p>")
    if trial.outcome:
        told = words.name(trial.outcome)
        if trial.matters is not None:
            told += f"; {words.amount(trial.outcome, trial.matters)} would matter"
        lines.append(f"<p>Measured: {escape(also_us(told))}</p>")
    return f'<div class="kit-answer">{"".join(lines)}</div>'


def _told(history: Any) -> str:
    items = (
        f"<li><time>{row.when:%Y-%m-%d %H:%M}</time> {escape(row.what)}"
        f"{' <strong>(undone)</strong>' if row.undone else ''}"
        f"{f' <small>{escape(row.who)}</small>' if row.who else ''}</li>"
        for row in history.iloc[::-1].itertuples()
    )
    return f'<div class="kit-answer"><ol reversed>{"".join(items)}</ol></div>'
