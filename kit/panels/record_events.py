"""What happened besides the plan: a burnt muffin, a dropped dough, a bake given up."""

from collections.abc import Callable
from datetime import UTC, date, datetime
from functools import partial
from html import escape
from typing import Any
from zoneinfo import ZoneInfo

import ipywidgets as widgets

from kit.errors import InputError, KitError
from kit.panels.blocks import status
from kit.panels.controls import pick, row, tall
from kit.panels.fields import Typed, beside
from kit.panels.style import trouble
from kit.records.bench.when import read_when, say_when
from kit.records.readings import Event
from kit.records.things import Bake
from kit.workspace import Trial

__all__ = ["TITLE", "EventForm"]

#: what the button that opens the form says, and whoever points to it
TITLE = "Something happened?"
_NOW = "now, or 9:40, or yesterday 21:15"
_USUAL = ("burnt", "dropped", "torn", "collapsed", "fridge left open", "bake given up")


class EventForm(widgets.VBox):  # type: ignore[misc]
    """Fields for what happened to a bake, a dough, a load or a piece, by `Trial.event`.

    Parameters
    ----------
    after : callable
        Called when something was noted.
    """

    def __init__(self, after: Callable[[], None]) -> None:
        self._after = after
        self._trial: Trial | None = None
        self._past: date | None = None
        self._things: dict[str, Any] = {}
        self.of = pick("It happened to")
        self.what = Typed("What", hint="burnt, dropped …", offers=_USUAL)
        self.more = Typed("More about it", hint="may stay empty")
        self.at = Typed("When", hint=_NOW)
        self.note = tall("Note it", self._note)
        self.said, self.noted = widgets.HTML(), widgets.VBox()
        super().__init__([self.of, self.what, self.more, self.at, self.note, self.said, self.noted])

    def show(self, trial: Trial, bake: Bake) -> None:
        """Offer what there is in a bake and show what was noted of it; texts typed stay."""
        things = [
            bake, *trial.doughs(bake), *trial.loads(bake),
            *(piece for dough in trial.doughs(bake) for piece in trial.pieces(dough)),
        ]  # fmt: skip
        picked = self.of.value
        self._trial, self._things = trial, {thing.id: thing for thing in things}
        today = datetime.now(ZoneInfo(trial.zone)).date()
        self._past = bake.day if bake.day and bake.day < today else None
        on = f"9:40 (then it is {self._past}), or 2026-11-26 9:40"
        self.at.text.placeholder = on if self._past else _NOW
        self.of.options = [(str(thing), thing.id) for thing in things]
        self.of.value = picked if picked in self._things else bake.id
        self.said.value = ""
        noted = trial.events()
        self.what.text.options = list(dict.fromkeys([*noted["kind"], *_USUAL]))
        self.noted.children = self._told(noted[noted["id"].isin(list(self._things))])

    def _note(self) -> None:
        """Store what is typed, or say beside a field what is wrong with it."""
        trial = self._trial
        assert trial is not None
        fields = {"kind": self.what, "text": self.more, "at": self.at}
        for said in (self.said, *(field.said for field in fields.values())):
            said.value = ""
        try:
            at = self.at.value.strip()
            now = datetime.now(UTC)
            when = read_when("at", at, trial.zone, now, today=self._past) if at else None
            made = trial.event(self.what.value, self.more.value, self._things[self.of.value], when)
        except InputError as exc:
            told = beside(exc, fields)
            if told is exc:
                self.said.value = trouble(str(exc))
        except KitError as exc:
            self.said.value = trouble(str(exc))
        else:
            for field in fields.values():
                field.value = ""
            self._after()
            noted = f"{made.kind}, {made.on}, {say_when(when or now, trial.zone, now)}"
            self.said.value = status(
                f"Noted: {noted}. Undo takes it back. When you compare, you can leave out what it "
                "happened to."
            )

    def _take_out(self, event: Event) -> None:
        """Take out what was noted by mistake, however long ago."""
        assert self._trial is not None
        try:
            self._trial.remove(event)
        except KitError as exc:  # another window was quicker
            self.said.value = trouble(str(exc))
            return
        self._after()
        self.said.value = status(f"Taken out: {event.kind}, {event.on}. Undo brings it back.")

    def _told(self, events: Any) -> list[widgets.Widget]:
        """What was noted, the latest first, each with a button that takes it out."""
        rows: list[widgets.Widget] = [widgets.HTML("Noted so far:")] if len(events) else []
        latest = events.iloc[::-1].sort_values("at", ascending=False, kind="stable")
        for one in latest.itertuples():
            event = Event(one.event, one.kind, one.text, str(one.at), self._things[one.id])
            more = f" ({escape(one.text)})" if one.text else ""
            told = widgets.HTML(
                f'<div class="kit-answer"><time>{one.at:%Y-%m-%d %H:%M}</time> '
                f"{escape(f'{event.on}: {event.kind}')}{more}</div>"
            )
            out = tall("Take it out", partial(self._take_out, event))
            out.tooltip = f"Take out {event.kind}, {event.on}: noted by mistake"
            rows.append(row(told, out, gap="0", align_items="center"))
        return rows
