"""What is stored about one trial, behind one class: the verbs that write it and give it back."""

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

import pandas as pd

from kit import quantities
from kit.analysis.grouping.meant import as_meant
from kit.errors import InputError
from kit.given import is_missing
from kit.quantities import Checked, Quantity
from kit.records import planned, readings, structure, things, trials
from kit.records import tables as t
from kit.records.bench.stages import Noted
from kit.records.bench.verbs import TrialStages
from kit.records.differing import differing
from kit.records.frame import Frames, read
from kit.records.readings import Event
from kit.records.sheets.verbs import TrialSheets
from kit.records.tastings.verbs import TrialTastings
from kit.records.things import Bake, Dough, Load, Piece, Thing
from kit.records.typed import day as read_day
from kit.records.when import read_at

__all__ = ["TrialRecords"]


class TrialRecords(TrialStages, TrialTastings, TrialSheets):
    """The records of one trial: adding, changing, recording, and looking at them."""

    # what there is

    def bakes(self) -> list[Bake]:
        """Return the bakes, by day."""
        with self._store.reading() as connection:
            return things.bakes(connection, self.id)

    def doughs(self, bake: Bake | None = None) -> list[Dough]:
        """Return the doughs, of one bake or of all."""
        where = self._within(bake, Bake)
        with self._store.reading() as connection:
            return things.doughs(connection, self.id, *where)

    def loads(self, bake: Bake | None = None) -> list[Load]:
        """Return the loads, of one bake or of all."""
        where = self._within(bake, Bake)
        with self._store.reading() as connection:
            return things.loads(connection, self.id, *where)

    def pieces(self, dough: Dough | None = None) -> list[Piece]:
        """Return the pieces, of one dough or of all."""
        where = self._within(dough, Dough)
        with self._store.reading() as connection:
            return things.pieces(connection, self.id, *where)

    @staticmethod
    def _within(thing: Bake | Dough | None, kind: type[Bake] | type[Dough]) -> list[Any]:
        if thing is None:
            return []
        things.check_kind(thing, kind)
        return [things.TABLE_OF[kind.level].c.id == thing.id]

    def bake(self, code: str) -> Bake:
        """Return one bake by its code; a wrong one lists those there are."""
        found: Bake = self._find("bake", str(code))
        return found

    def dough(self, code: str, bake: str | None = None) -> Dough:
        """Return one dough by its code, and its bake's where several doughs share it."""
        found: Dough = self._find("dough", str(code), bake)
        return found

    def load(self, position: int, bake: str) -> Load:
        """Return one load of a bake: 1 is the first."""
        found: Load = self._find("load", position, str(bake))
        return found

    def piece(self, code: str, dough: str | None = None, bake: str | None = None) -> Piece:
        """Return one piece by its code, and its dough's and bake's where several share it."""
        found: Piece = self._find("piece", str(code), bake, dough)
        return found

    def _find(self, level: str, code: str | int, *within: str | None) -> Any:
        with self._store.reading() as connection:
            return things.find(connection, self.id, level, code, *within)

    # adding, changing, removing

    def add_bake(
        self,
        day: str | date | None = None,
        flour_lot: str | None = None,
        yeast_lot: str | None = None,
        code: str | None = None,
        note: str = "",
    ) -> Bake:
        """Begin a bake.

        Parameters
        ----------
        day : str or date, optional
            Year-month-day; today when not given. An empty one is not known.
        flour_lot, yeast_lot : str, optional
            Codes on the bags; new ones become known.
        code : str, optional
            1, 2 … when not given.
        note : str
            Anything.
        """
        with self._step() as step:
            zone = trials.trial_row(step.connection, self.id).zone
            here = datetime.now(ZoneInfo(zone))
            on = read_day("day", here if day is None else day, zone=zone)
            made = structure.add_bake(step, self.id, on, zone, code, flour_lot, yeast_lot, note)
            self._say(step, f"{made}{f' of {on}' if on else ''} begun")
        return made

    def add_dough(self, bake: Bake, code: str | None = None, note: str = "") -> Dough:
        """Add a dough to a bake; it is called 1A, 1B … when no code is given."""
        with self._step() as step:
            things.check_there(step.connection, self.id, bake, Bake)
            made = structure.add_dough(step, bake, code, note)
            self._say(step, f"{made} added")
        return made

    def add_load(self, bake: Bake) -> Load:
        """Add the next load of a bake."""
        with self._step() as step:
            things.check_there(step.connection, self.id, bake, Bake)
            made = structure.add_load(step, bake)
            self._say(step, f"{made} added")
        return made

    def add_piece(
        self,
        dough: Dough,
        load: Load | None = None,
        place: int | None = None,
        code: str | None = None,
        blind: str | None = None,
    ) -> Piece:
        """Add a piece to a dough; it is called 1A1, 1A2 … when no code is given.

        Parameters
        ----------
        dough : Dough
            What it is made of.
        load : Load, optional
            On which fill of the griddle it lies; can be said later with `change`.
        place : int, optional
            Where on the griddle, from 1.
        code, blind : str, optional
            What it is called, and at a blind tasting.
        """
        with self._step() as step:
            things.check_there(step.connection, self.id, dough, Dough)
            if load is not None:
                things.check_there(step.connection, self.id, load, Load)
            made = structure.add_piece(step, dough, load, place, code, blind)
            self._say(step, f"{made} added")
        return made

    def change(self, thing: Thing | None = None, **values: Any) -> None:
        """Change the trial itself, or one of its bakes, doughs or pieces.

        Parameters
        ----------
        thing : Bake, Dough or Piece, optional
            What; the trial itself when not given.
        **values
            Trial: name, question, outcome, matters, zone, invented, baker, factors. Bake: code,
            day, flour_lot, yeast_lot, note. Dough: code, note. Piece: code, load, place, blind.

        Raises
        ------
        InputError
            No such field, a value it cannot have, or a code or name that is taken.
        """
        with self._step() as step:
            if thing is None:
                trials.change_trial(step, self.id, values)
                self._say(step, _listed(values))
            else:
                things.check_there(step.connection, self.id, thing)
                structure.change_thing(step, self.id, thing, values)
                self._say(step, f"{thing}: {_listed(values)}")

    def remove(self, thing: Thing | Event | Noted) -> None:
        """Take a bake, dough, load, piece, event or stage out; what was made of it goes with it.

        Nothing is erased: `Workspace.undo` brings it back. Pieces of a removed load stay.
        """
        with self._step() as step:
            if isinstance(thing, (Event, Noted)):
                readings.check_event(step.connection, self.id, thing)
                step.delete(t.event, thing.id)
            else:
                things.check_there(step.connection, self.id, thing)
                structure.remove(step, thing)
            self._say(step, f"{thing} removed")

    # recording

    def record(
        self,
        thing: Thing | str,
        quantity: str,
        value: str | float | None,
        how: str = "entered",
        u: str | float | None = None,
        at: str | datetime | None = None,
        note: str | None = None,
    ) -> Checked:
        """Record one value; it is stored when this returns.

        Parameters
        ----------
        thing : Bake, Dough, Load, Piece or str
            What was measured, or its code.
        quantity : str
            One of `kit.quantities`; it says whether it belongs to a bake, dough, load or piece.
        value : str, float or None
            As typed: ``"38,5"``, ``"1 1/2 in"``. Empty takes an earlier value back: missing.
        how : str
            planned, entered, photo or computed. What is planned counts until anything else does.
        u : str or float, optional
            Standard uncertainty, in the quantity's unit.
        at : str or datetime, optional
            When, by the clock of the kitchen: ``"9:40"``, ``"yesterday 21:15"``, ISO form; now
            when not given.
        note : str, optional
            For example why an unusual value is right.

        Returns
        -------
        Checked
            The metric value, and a question about it where it is unusual.

        Raises
        ------
        InputError, NotFoundError
            It cannot be read, is impossible, or belongs to something else. Nothing is stored.
        """
        on = self._by_code(thing, quantities.get(quantity)) if isinstance(thing, str) else thing
        # only a time without an offset needs the kitchen's zone, and that is another question
        when = "" if at is None else read_at("at", at, self.zone)
        with self._step() as step:
            return readings.record(step, self.id, on, quantity, value, how, u, when, note)

    def recorded(self, thing: Thing, quantity: str) -> float | None:
        """Return what was last measured or entered of a thing; None where nothing was."""
        things.check_kind(thing)
        with self._store.reading() as connection:
            return readings.newest(connection, thing, quantities.get(quantity).name)

    def _by_code(self, code: str, quantity: Quantity) -> Any:
        if quantity.level == "load":
            raise InputError(
                "load", code, "is not enough to find a load",
                "Give the load itself, for example trial.load(1, bake='2').",
            )  # fmt: skip
        return self._find(quantity.level, code)

    def event(
        self, kind: str, text: str = "", on: Thing | None = None, at: str | datetime | None = None
    ) -> Event:
        """Note that something happened.

        Parameters
        ----------
        kind : str
            One or two words, the same each time: "burnt", "fridge open".
        text : str
            The story.
        on : Bake, Dough, Load or Piece, optional
            What it happened to; the whole trial when not given.
        at : str or datetime, optional
            When, by the clock of the kitchen: ``"9:40"``, ``"yesterday 21:15"``, ISO form; now
            when not given.

        Raises
        ------
        InputError
            No kind or one with a semicolon; no point in time.
        """
        with self._step() as step:
            zone = trials.trial_row(step.connection, self.id).zone
            made = readings.note_event(step, self.id, kind, text, on, at, zone)
            self._say(step, f"{made} noted")
        return made

    def events(self) -> pd.DataFrame:
        """Return what happened, oldest first.

        Columns: at, kind, text, on (level), code, id (both of the thing), event (its own id).
        """
        row = self._row()
        with self._store.reading() as connection:
            return readings.events(connection, self.id, row.zone)

    # looking

    def frame(self) -> pd.DataFrame:
        """Return one tidy row a piece.

        Columns: bake, day, dough, load, piece, place, flour_lot, yeast_lot; every quantity that
        has a value, its unit in its name, actual where recorded, else planned, computed where it
        can be; events. What was not measured is NaN, never 0.
        """
        return self._frames().values

    def differences(self, one: Thing, other: Thing) -> pd.DataFrame:
        """Set two bakes, doughs, loads or pieces side by side: only what differs.

        Columns: quantity, label, one a thing (of its pieces the mean), difference. What nobody
        recorded of one of them is empty there.

        Raises
        ------
        InputError
            They are of two kinds, or one and the same.
        DataError
            One of them has no pieces.
        """
        with self._store.reading() as connection:
            for thing in (one, other):
                things.check_there(connection, self.id, thing)
        return differing(self.frame(), one, other)

    def _as_meant(self) -> tuple[pd.DataFrame, list[str]]:
        """What was baked, values near a setting counted as that setting, and where they were.

        Bakes planned and not begun are left out: their pieces are not missing.
        """
        frame = self.frame()
        with self._store.reading() as connection:
            waiting = {bake.code for bake in planned.not_begun(connection, self.id)}
        begun = frame[~frame["bake"].isin(waiting)].reset_index(drop=True)
        return as_meant(begun if len(begun) else frame, self.factors)

    def provenance(self) -> pd.DataFrame:
        """Return the frame with, for each value, how it came: planned, entered, photo, computed."""
        return self._frames().hows

    def _frames(self) -> Frames:
        with self._store.reading() as connection:
            trials.trial_row(connection, self.id)
            return read(connection, self.id)

    def readings(self) -> pd.DataFrame:
        """Return every reading ever made and not undone, oldest first, with its time and how."""
        zone = self._row().zone
        with self._store.reading() as connection:
            return readings.all_readings(connection, self.id, zone)


def _listed(values: Mapping[str, Any]) -> str:
    """Say what is changed, in words: the history is read by bakers."""
    return ", ".join(f"{name.replace('_', ' ')} now {_said(v)}" for name, v in values.items())


def _said(value: Any) -> str:
    """A new value; the settings of factors as they are typed."""
    if isinstance(value, Mapping):
        return "; ".join(f"{name} {', '.join(map(str, own))}" for name, own in value.items())
    return "empty" if is_missing(value) else str(value)
