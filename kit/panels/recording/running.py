"""The running bake as a panel: a big button for what comes next, and where everything is."""

from collections.abc import Mapping
from typing import Any

import anywidget
import ipywidgets as widgets
import traitlets

from kit import words
from kit.errors import InputError, KitError
from kit.panels.parts.blocks import items, status
from kit.panels.parts.controls import Panel, button, offer, pick, row, section, tick
from kit.panels.parts.fields import Typed, refused, tell
from kit.panels.parts.once import Once
from kit.panels.parts.scripts import SHARED, script
from kit.panels.parts.style import trouble
from kit.records.bench.running import Row, Running
from kit.records.bench.stages import STAGES
from kit.workspace import Bake, Trial, Workspace

__all__ = ["RunningPanel"]


class _Board(anywidget.AnyWidget):
    """Where everything is, ticking, and the buttons; its part in the browser is running.js."""

    _esm = script(__file__, "presses")
    _css = SHARED / "presses.css"
    bake = traitlets.Unicode().tag(sync=True)
    zone = traitlets.Unicode("UTC").tag(sync=True)
    rows: Any = traitlets.List().tag(sync=True)


class RunningPanel(Panel):
    """Asks what is happening now and notes it; says where every dough and load is.

    It holds nothing: what it shows is read from the records, so it is right after a restart.

    Parameters
    ----------
    workspace : Workspace
    trial : Trial
    bake : Bake

    Attributes
    ----------
    running : Running or None
        What is shown; None where it cannot be read.
    """

    def __init__(self, workspace: Workspace, trial: Trial, bake: Bake) -> None:
        self.workspace, self.trial, self.bake = workspace, trial, bake
        self.running: Running | None = None
        self._once: Once[dict[str, Any]] = Once()
        self.board = _Board(bake=bake.id, zone=bake.zone)
        self.board.on_msg(self._hear)
        self.told = widgets.HTML()
        self.undo = button("Take back the last entry", self._undo, "undo")
        self.lengths = button("Record the lengths of time", self._record, "clock-o")
        self.settings = tick("also those the trial changes on purpose")
        self.thing, self.stage = pick("Of what"), pick("Stage")
        self.at = Typed("Its time", hint="9:40, yesterday 21:15")
        self.note = button("Note this time", self._note, "pencil")
        self.said = widgets.HTML()
        self.checks = widgets.HTML()
        lengths = row(self.lengths, self.settings, gap="0", align_items="center")
        super().__init__(
            self.board, self.undo, self.checks,
            section("What follows from the times", lengths, self.told),
            section("A stage that was missed, or a time to correct", self.thing, self.stage,
                    self.at, self.note, self.said),
        )  # fmt: skip
        self.thing.observe(lambda _: self._offer_stages(), "value")
        self.refresh()

    def refresh(self) -> None:
        """Read the records again and show them."""
        try:
            self.running = self.trial.running(self.bake)
            doughs, loads = self.trial.doughs(self.bake), self.trial.loads(self.bake)
            on = [p for p in self.trial.pieces() if p.load is not None and p.load in loads]
        except KitError as exc:
            self.running, self.board.rows = None, []
            self.checks.value = trouble(str(exc))
            return
        self.board.rows = [_shown(row) for row in self.running.rows]
        notes = (f"{words.capital(check)}." for check in self.running.checks)
        empty = "" if self.running.rows else "<p>No dough yet: add one to the bake.</p>"
        self.checks.value = empty + items(notes, "kit-answer")
        things = [(str(thing), thing) for thing in (*doughs, *loads, *on)]
        if [thing for _, thing in things] != [thing for _, thing in self.thing.options]:
            offer(self.thing, things, self.thing.value)

    def press(self, row: Row, stage: str, at: str | None = None) -> str:
        """Note a stage of what a row stands for; say what was noted.

        Parameters
        ----------
        row : Row
            One of ``running.rows``.
        stage : str
        at : str, optional
            As typed; now when not given.
        """
        return self._noted(list(row.things), stage, at, False)

    def _noted(self, things: list[Any], stage: str, at: str | None, correct: bool) -> str:
        made = self.trial.stage_all(things, stage, at, correct)
        self.refresh()
        rest = f" and {len(made) - 1} more" if len(made) > 1 else ""
        return f"Noted: {made[0]}{rest}. {made[0].doubt}".strip()

    def _hear(self, _widget: object, message: Mapping[str, Any], _buffers: object) -> None:
        """Do what the browser asks; a press is answered, and done once however often it comes."""
        if message.get("type") == "refresh":
            self.refresh()
        if message.get("type") != "press":
            return
        number = str(message["id"])
        told, _ = self._once.answer(number, lambda: self._do(message))
        self.board.send({"type": "answer", "id": number, **told})

    def _do(self, message: Mapping[str, Any]) -> dict[str, Any]:
        try:
            known = {t.id: t for row in self._rows() for t in row.things}
            known |= {thing.id: thing for _, thing in self.thing.options}
            wanted = [known[i] for i in message["things"] if i in known]
            if len(wanted) != len(message["things"]):
                raise InputError("stage", message["stage"], "is of something that was removed")
            at = message["at"] or message["pressed"]
            text = self._noted(wanted, message["stage"], at, False)
        except KitError as exc:
            self.refresh()
            return {"ok": False, "text": refused(exc)}
        return {"ok": True, "text": text}

    def _rows(self) -> tuple[Row, ...]:
        return self.running.rows if self.running else ()

    def _undo(self) -> None:
        self.said.value = ""
        tell(self.told, lambda: status(self.workspace.undo()))
        self.refresh()

    def _record(self) -> None:
        def recorded() -> str:
            found = self.trial.times_into_readings(self.bake, settings=self.settings.value)
            return f'<div role="status">{found._repr_html_()}</div>'

        tell(self.told, recorded)
        self.refresh()

    def _offer_stages(self) -> None:
        thing = self.thing.value
        offer(self.stage, STAGES[thing.level] if thing is not None else ())

    def _note(self) -> None:
        if self.thing.value is None:
            self.said.value = trouble("There is nothing in this bake yet. Add a dough.")
            return
        at, of, stage = self.at.value.strip() or None, self.thing.value, self.stage.value
        if tell(self.said, lambda: status(self._noted([of], stage, at, True))):
            self.at.value = ""


def _shown(row: Row) -> dict[str, Any]:
    """A row as the browser gets it: words, and moments in milliseconds of UTC."""

    def stamp(at: Any) -> float | None:
        return None if at is None else at.timestamp() * 1000

    due = row.due and {name: stamp(getattr(row.due, name)) for name in ("start", "at", "end")}
    ids = [thing.id for thing in row.things]
    return {
        "key": "|".join([row.kind, *ids]), "things": ids, "name": row.name, "title": row.title,
        "where": row.where, "since": stamp(row.since), "next": row.next, "also": list(row.also),
        "expected": row.expected, "basis": row.due.basis if row.due else "", "due": due,
        "lateness": row.lateness,
    }  # fmt: skip
