"""What happened besides the plan: a burnt muffin, a dropped dough, a bake given up."""

from collections.abc import Callable
from datetime import UTC, date, datetime
from functools import partial
from html import escape
from typing import Any

import ipywidgets as widgets

from kit.panels.parts.blocks import status
from kit.panels.parts.controls import button, offer, pick, row
from kit.panels.parts.fields import Typed, beside_of, tell
from kit.panels.parts.today import today_in
from kit.records.readings import Event
from kit.records.things import Bake
from kit.records.when import read_when, say_when
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
        self.note = button("Note it", self._note)
        self.said, self.noted = widgets.HTML(), widgets.VBox()
        super().__init__([self.of, self.what, self.more, self.at, self.note, self.said, self.noted])

    def show(self, trial: Trial, bake: Bake) -> None:
        """Offer what there is in a bake and show what was noted of it; texts typed stay."""
        things = [
            bake, *trial.doughs(bake), *trial.loads(bake),
            *(piece for dough in trial.doughs(bake) for piece in trial.pieces(dough)),
        ]  # fmt: skip
        self._trial, self._things = trial, {thing.id: thing for thing in things}
        today = today_in(trial.zone)
        self._past = bake.day if bake.day and bake.day < today else None
        on = f"9:40 (then it is {self._past}), or 2026-11-26 9:40"
        self.at.text.placeholder = on if self._past else _NOW
        offer(self.of, [(str(thing), thing.id) for thing in things], self.of.value)
        self.said.value = ""
        noted = trial.events()
        self.what.text.options = list(dict.fromkeys([*noted["kind"], *_USUAL]))
        self.noted.children = self._told(noted[noted["id"].isin(list(self._things))])

    def _note(self) -> None:
        trial = self._trial
        assert trial is not None
        fields = {"kind": self.what, "text": self.more, "at": self.at}

        def noted() -> str:
            at, of, now = self.at.value.strip(), self._things[self.of.value], datetime.now(UTC)
            with beside_of(fields):
                when = read_when("at", at, trial.zone, now, today=self._past) if at else None
                made = trial.event(self.what.value, self.more.value, of, when)
            for field in fields.values():
                field.value = ""
            self._after()
            told = f"{made.kind}, {made.on}, {say_when(when or now, trial.zone, now)}"
            return status(
                f"Noted: {told}. Undo takes it back. When you compare, you can leave out what it "
                "happened to."
            )

        tell(self.said, noted, *fields.values())

    def _take_out(self, event: Event) -> None:
        trial = self._trial
        assert trial is not None

        def taken_out() -> str:
            trial.remove(event)
            self._after()
            return status(f"Taken out: {event.kind}, {event.on}. Undo brings it back.")

        tell(self.said, taken_out)

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
            out = button("Take it out", partial(self._take_out, event))
            out.tooltip = f"Take out {event.kind}, {event.on}: noted by mistake"
            rows.append(row(told, out, gap="0", align_items="center"))
        return rows
