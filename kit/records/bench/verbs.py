"""The running bake, as verbs of a trial: stages noted, where everything is, what follows."""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import UTC, datetime

import pandas as pd

from kit.errors import InputError
from kit.formula.allergens import may_spoil
from kit.records import readings, things, trials
from kit.records.bench.lengths import FromTimes, from_times
from kit.records.bench.running import Running, run
from kit.records.bench.stages import Noted
from kit.records.bench.store import note_stage, read_times, stages_frame
from kit.records.things import Bake, Thing
from kit.records.trial_head import TrialHead
from kit.records.typed import need

__all__ = ["TrialStages"]


class TrialStages(TrialHead):
    """The verbs of a trial while a bake runs."""

    def stage(self, thing: Thing, stage: str, at: str | datetime | None = None) -> Noted:
        """Note that a dough or load has come to a stage, or correct when it did.

        Parameters
        ----------
        thing : Dough, Load or Piece
            A piece where it is turned or taken off at another time than its load.
        stage : str
            Dough: mixed, in the fridge, out of the fridge, shaped, doubled. Load: waiting, on the
            griddle, turned, third turn, off the griddle, rested.
        at : str or datetime, optional
            When, by the clock of the kitchen: ``"9:40"``, ``"yesterday 21:15"``, ISO form. Now
            when not given. For a stage that is noted already it is the correction.

        Returns
        -------
        Noted
            When it was, how late it was written down, and a question where it is unusual.
            `remove` takes it out.

        Raises
        ------
        InputError, NotFoundError
            No such stage or time, or one that cannot be beside the others. Nothing is stored.
        """
        return self.stage_all([thing], stage, at)[0]

    def stage_all(
        self,
        of: Sequence[Thing],
        stage: str,
        at: str | datetime | None = None,
        correct: bool = True,
    ) -> list[Noted]:
        """Note one stage of several things at once, see `stage`; one undo takes it back.

        `correct` says whether a time may take the place of one that is noted already.
        """
        need("of", of, Iterable, "list of things", "Say which doughs, loads or pieces.")
        of = list(of)
        if not of:
            raise InputError("of", [], "must not be empty", "Say which doughs, loads or pieces.")
        with self._step() as step:
            made = [note_stage(step, self.id, thing, stage, at, correct) for thing in of]
            rest = f" and {len(made) - 1} more" if len(made) > 1 else ""
            self._say(step, f"{made[0]}{rest}{' (corrected)' if made[0].corrected else ''}")
        return made

    def stages(self, bake: Bake | None = None) -> pd.DataFrame:
        """Return the stages noted, of one bake or all, oldest first.

        Columns: at (by the clock of the kitchen), stage, on (which level), code, bake,
        late_minutes (how much later it was written down).
        """
        zone = self._row().zone
        with self._store.reading() as connection:
            if bake is not None:
                things.check_there(connection, self.id, bake, Bake)
            bakes = things.bakes(connection, self.id) if bake is None else [bake]
            return stages_frame([read_times(connection, self.id, b) for b in bakes], zone)

    def running(self, bake: Bake, now: datetime | None = None) -> Running:
        """Say where every dough and load of a bake is, what is next and when.

        Parameters
        ----------
        now : datetime, optional
            Aware; the moment when not given.
        """
        if now is not None and getattr(now, "tzinfo", None) is None:
            raise InputError("now", str(now), "has no time zone", "Give an aware datetime.")
        with self._store.reading() as connection:
            things.check_there(connection, self.id, bake, Bake)
            row = trials.trial_row(connection, self.id)
            formula = trials.formula(connection, row.formula_id)
            times = read_times(connection, self.id, bake)
        contains = None if formula is None else may_spoil(formula)
        return run(times, now or datetime.now(UTC), contains)

    def from_times(self, bake: Bake) -> FromTimes:
        """Return the lengths that follow from the stages of a bake; nothing is recorded."""
        with self._store.reading() as connection:
            things.check_there(connection, self.id, bake, Bake)
            settings = trials.factors(connection, self.id)
            return from_times(read_times(connection, self.id, bake), settings)

    def times_into_readings(self, bake: Bake, settings: bool = False) -> FromTimes:
        """Record the lengths that follow from the stages of a bake, as computed readings.

        What somebody entered stays. One undo takes all of it back.

        Parameters
        ----------
        settings : bool
            Also those of quantities the trial changes on purpose.
        """
        with self._step() as step:
            things.check_there(step.connection, self.id, bake, Bake)
            factors = trials.factors(step.connection, self.id)
            found = from_times(read_times(step.connection, self.id, bake), factors)
            chosen = [o for o in found.offers if o.wanted or (settings and o.state == "setting")]
            for offer in chosen:
                readings.record(
                    step, self.id, offer.thing, offer.quantity, offer.value, how="computed"
                )
            self._say(step, f"{len(chosen)} lengths of time of {bake} recorded from its stages")
        return replace(found, recorded=tuple(chosen))
