"""A trial while its doughs proof, and what their rise tells: readings, curves, the forecast."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import pandas as pd

from kit import quantities, units
from kit.errors import DataError, InputError
from kit.formula.allergens import may_spoil
from kit.formula.safety import SAFETY
from kit.quantities import Checked
from kit.records import readings
from kit.records.bench.store import far_from_day
from kit.records.proofs import KeptTimes, Proofs, asked_at, of_start, read_proofs
from kit.records.things import Dough
from kit.records.trial_records import TrialRecords
from kit.records.when import read_when, say_when

if TYPE_CHECKING:
    from kit.analysis.forecast import Forecast
    from kit.analysis.rise import Asked
    from kit.analysis.rise_all import Rises

__all__ = ["TrialProof"]

_RATIO = "dough_ratio"
#: a ratio so much under the highest is asked about; own choice, no source
_FALL = 0.95
_MILK = next(text for name, text, _ in SAFETY if name.startswith("Milk"))


class TrialProof(TrialRecords):
    """The verbs of a trial about its rise; see `kit.analysis.rise` for what they do."""

    def note_rise(
        self,
        dough: Dough,
        now: str | float,
        start: str | float = 1.0,
        way: str = "ratio",
        at: str | datetime | None = None,
        u: str | float | None = None,
    ) -> Checked:
        """Note how far a dough has risen; it is stored when this returns.

        The clock starts when the dough was shaped, or came out of the fridge if that was later, as
        noted with `stage`. Without such a note, record a ratio of 1 for the moment you marked it.

        Parameters
        ----------
        now, start : str or float
            What is read now, and what was read at the start: ``"1,6"``, ``"84 mm"``.
        way : str
            What is read: "ratio" (of the volumes), "level" in a straight jar or ring, the distance
            of two "marks" on the dough, or the "height" of a free piece that keeps its shape.
        at : str or datetime, optional
            When, by the clock of the kitchen: ``"9:40"``. Now when not given. A reading of the same
            moment takes the place of the one before it.
        u : str or float, optional
            Standard uncertainty of the ratio.

        Returns
        -------
        Checked
            The volume ratio, and a question about it where it is unusual.

        Raises
        ------
        InputError
            It cannot be read, or is impossible. Nothing is stored.
        """
        from kit.analysis.proofs.ways import volume_ratio

        unit = "" if way == "ratio" else "mm"
        read = [units.parse(v, unit, name) for v, name in ((now, "now"), (start, "start"))]
        for value, name in zip(read, ("now", "start"), strict=True):
            if value is None:
                raise InputError(name, "", "must not be empty", "Enter what you read.", str(dough))
        ratio = volume_ratio(float(read[0] or 0), float(read[1] or 0), way)
        checked = quantities.get(_RATIO).check(ratio, str(dough))
        zone = dough.bake.zone
        moment = datetime.now(UTC)
        when = moment if at is None else read_when("at", at, zone, moment, str(dough))
        before = self._proofs().of(dough)
        with self._step() as step:
            stamp = when.isoformat(timespec="microseconds")
            readings.record(step, self.id, dough, _RATIO, ratio, "entered", u, stamp)
            self._say(step, f"{dough} at {ratio:.2f} times its start, {say_when(when, zone)}")
        doubts = [checked.doubt, far_from_day(dough.bake, when)]
        earlier = before[before["at"] < when]["proof_ratio"]
        if len(earlier) and ratio < _FALL * earlier.max():
            doubts.append(
                f"It was {earlier.max():.2f} times before and is {ratio:.2f} now: has it fallen, "
                "or is one of them mistyped?"
            )
        return Checked(ratio, " ".join(filter(None, doubts)))

    def proof_start(self, dough: Dough) -> str | None:
        """Say when the clock of a dough's warm proof started, and what says so; None if nothing."""
        start = self._proofs(dough).starts.get(dough.id)
        if start is None:
            return None
        why = "it was marked" if start[1] == "marked" else start[1]
        return f"its clock started at {say_when(start[0], dough.bake.zone)} ({why})"

    def rise_readings(self) -> pd.DataFrame:
        """Return how the doughs rose, one row a reading, by dough and time.

        Columns: bake, dough, piece (of a photo), hours since the clock started, proof_ratio, u,
        how (entered, photo), at (by the clock of the kitchen), photo (its file).
        """
        return self._proofs().readings.reset_index(drop=True)

    def rise(
        self,
        by: str | None = None,
        of: Dough | Sequence[Dough] | None = None,
        shape: "Asked" = "auto",
        level: float = 0.95,
    ) -> "Rises":
        """Describe how doughs rose: lag, top speed, time to double, each with an interval.

        Parameters
        ----------
        by : str, optional
            What the doughs are told apart by: something decided for a dough or a bake.
        of : Dough or sequence of Dough, optional
            Which; all that were read when not given.
        shape, level
            See `kit.rise`.

        Returns
        -------
        Rises
            One curve a dough, under ``curves``; ``plot()`` draws them in one picture.

        Raises
        ------
        DataError
            No dough was read after its clock started.
        InputError, NotFoundError
            No such quantity, or one that a dough has no single value of.
        """
        from kit.analysis.rise_all import rise_all

        proofs = self._proofs()
        table, checks = proofs.readings, list(proofs.checks)
        if of is not None:
            wanted = [of] if isinstance(of, Dough) else list(of)
            table = table[table.index.isin([dough.id for dough in wanted])]
            checks = [c for c in checks if any(c.startswith(f"{dough}:") for dough in wanted)]
        if table.empty:
            msg = (
                "no dough was read while it proofed. Note its ratio now and then, from the moment "
                "it is shaped. " + " ".join(f"{c}." for c in checks)
            )
            raise DataError(msg.strip())
        if by is not None:
            table, left_out = self._with_setting(table, proofs, by)
            checks += left_out
        told = rise_all(
            table.assign(u_start=of_start(table)), by=by, bake="bake", u="u", shape=shape,
            level=level, photo="photo", u_start="u_start",
        )  # fmt: skip
        return replace(told, checks=(*checks, *told.checks))

    def forecast(
        self,
        dough: Dough | str,
        now: datetime | None = None,
        level: float = 0.9,
        earlier: Iterable["TrialProof"] = (),
    ) -> "Forecast":
        """Forecast when a dough will be double, from its readings and your earlier doughs.

        Parameters
        ----------
        dough : Dough or str
            Itself, or its code.
        now : datetime, optional
            When it is asked; readings after it are not looked at. The moment when not given; for
            a dough of another day that of its last reading.
        level : float
            Of the interval.
        earlier : iterable of Trial, optional
            Other trials whose doughs of this kind count as earlier ones too.

        Raises
        ------
        DataError
            Nothing says when its clock started, or there are too few readings and no earlier
            doughs.
        """
        from kit.analysis.forecast import forecast
        from kit.analysis.proofs.temperature import FRIDGE_C, in_rooms

        if isinstance(dough, str):
            dough = self.dough(dough)
        proofs = self._proofs(dough)
        if dough.id not in proofs.starts:
            msg = (
                f"{dough}: nothing says when its clock started. Note when it was shaped, or record "
                "a ratio of 1 for the moment it was marked."
            )
            raise DataError(msg)
        started = proofs.starts[dough.id][0]
        own = proofs.of(dough)
        at, notes = asked_at(dough, own, started, now)
        own = own[own["at"] <= at]
        others, rooms = self._earlier(proofs, dough, started, earlier)
        others, room, more = in_rooms(others, rooms, proofs.rooms.get(dough.id))
        u = own["u"].to_list() if len(own) and (own["u"] > 0).all() else None
        told = forecast(
            own["hours"].to_list(),
            own["proof_ratio"].to_list(),
            others,
            room_temp_c=room,
            now=at.astimezone(ZoneInfo(dough.bake.zone)),
            level=level,
            u=u,
            start_temp_c=FRIDGE_C if dough.id in proofs.cold else None,
            now_hours=(at - started).total_seconds() / 3600,
        )
        mine = [check for check in proofs.checks if check.startswith(f"{dough}:")]
        return replace(told, checks=(*notes, *mine, *more, *told.checks, *self._warm()))

    def double_at(
        self, temp_c: float, level: float = 0.9, cold: bool = True,
        earlier: Iterable["TrialProof"] = (),
    ) -> "Forecast":  # fmt: skip
        """Say how long the next dough takes to double in a room of another temperature.

        Parameters
        ----------
        temp_c : float
            Of the room, 15 to 35 °C.
        level : float
            Of the interval.
        cold : bool
            Whether it comes straight from the refrigerator; else it has the room's temperature.
        earlier : iterable of Trial, optional
            Other trials whose doughs count too.

        Returns
        -------
        Forecast
            Its headline says how long, its checks how far to trust it.

        Raises
        ------
        DataError
            Doughs were read, and of none the room is known.
        """
        from kit.analysis.forecast import double_at
        from kit.analysis.proofs.temperature import FRIDGE_C, in_rooms, refuse_outside

        temp = units.parse(temp_c, "°C", "temp_c")
        if temp is None:
            raise InputError("temp_c", temp_c, "must not be empty", "Give the room's temperature.")
        refuse_outside(temp, "temp_c", "Proof one dough there and read it.")
        others, rooms = self._earlier(self._proofs(), None, None, earlier)
        if rooms and all(room is None for room in rooms.values()):
            msg = (
                "the room of no earlier dough is recorded, so their times cannot be moved to "
                "another. Record the room temperature of a bake in which doughs were read."
            )
            raise DataError(msg)
        others, _, more = in_rooms(others, rooms, temp)
        told = double_at(temp, others, level=level, start_temp_c=FRIDGE_C if cold else None)
        return replace(told, checks=(*more, *told.checks, *self._warm()))

    def keep_double(self, shape: "Asked" = "auto") -> KeptTimes:
        """Keep each dough's time to double, from its curve, for `compare` and the page.

        Stored as `double_minutes`, computed, with its uncertainty; one undo takes all back. A time
        somebody entered stays. One beyond the last reading is not kept: nobody saw it; what was
        kept of such a dough before a reading was corrected is taken back, its stages' length not.
        """
        told = self.rise(shape=shape)
        doughs = {(d.bake.code, d.code): d for d in self.doughs()}
        offers = (offer for bake in self.bakes() for offer in self.from_times(bake).offers)
        staged = {o.thing.id for o in offers if (o.quantity, o.state) == ("double_minutes", "same")}
        rows = []
        with self._step() as step:
            known = readings.known_values(step.connection, self.id, ["double_minutes"])
            for curve, name in zip(told.curves, told.doughs.itertuples(), strict=True):
                thing = doughs[str(name.bake), str(name.dough)]
                row = curve.of("double_hours")
                minutes = round(60 * float(row["estimate"]), 1)
                wide = curve.fit.quantile() if curve.fit else 1.96  # the interval's half, in u
                u = round(60 * float(row["high"] - row["low"]) / (2 * wide), 2)
                has, how = known.get((thing.id, "double_minutes"), (None, ""))
                unseen = ""
                if math.isnan(minutes):
                    unseen = "not known: it was not read past double"
                elif minutes > 60 * float(curve.readings["hours"].max()):
                    unseen = "beyond its last reading: not kept"
                state = unseen or "kept"
                if has is not None and how not in ("computed", "planned"):
                    state = unseen or f"entered as {has:.0f} min, which stays"
                elif unseen and how == "computed" and thing.id not in staged:
                    readings.record(step, self.id, thing, "double_minutes", None, "computed")
                    state += f"; the {has:.0f} min kept before are taken back"
                elif has == minutes and how == "computed":
                    state = "same as kept before"
                elif not unseen:
                    uncertain = u if math.isfinite(u) and u > 0 else None
                    readings.record(
                        step, self.id, thing, "double_minutes", minutes, "computed", uncertain
                    )
                rows.append((name.bake, name.dough, minutes, u, state))
            done = KeptTimes(
                pd.DataFrame(rows, columns=["bake", "dough", "double_minutes", "u", "state"])
            )
            self._say(step, f"time to double kept of {done.kept} doughs")
        return done

    # what these stand on

    def _proofs(self, dough: Dough | None = None) -> Proofs:
        zone = self.zone
        with self._store.reading() as connection:
            found = read_proofs(connection, self.id, zone, [] if dough is None else [dough])
        if self._store.folder is None:
            return found
        folder = self._store.folder
        # where some readings are of photos, those typed have NaN
        shown = found.readings["photo"].map(
            lambda p: str(folder / p) if isinstance(p, str) and p else None
        )
        return replace(found, readings=found.readings.assign(photo=shown))

    def _with_setting(
        self, table: pd.DataFrame, proofs: Proofs, by: str
    ) -> tuple[pd.DataFrame, list[str]]:
        """Readings with the setting of their dough; those without one are left out and named."""
        level = quantities.get(by).level
        if level not in ("dough", "bake"):
            raise InputError(
                "by", by, f"belongs to a {level}: a dough has no single value of it",
                "Choose what is decided for a dough.",
            )  # fmt: skip
        with self._store.reading() as connection:
            known = readings.known_values(connection, self.id, [by])
        value = {
            key: known[own, by][0]
            for key, dough in proofs.doughs.items()
            if (own := key if level == "dough" else dough.bake.id, by) in known
        }
        missing = [str(proofs.doughs[i]) for i in dict.fromkeys(table.index) if i not in value]
        notes = [f"{', '.join(missing)}: no {by} is recorded, so left out"] if missing else []
        table = table[table.index.isin(list(value))]
        if table.empty:
            msg = f"no dough that was read has a value of {by}. Record it on the dough."
            raise DataError(msg)
        return table.assign(**{by: table.index.map(value)}), notes

    def _earlier(
        self,
        proofs: Proofs,
        dough: Dough | None,
        before: datetime | None,
        trials: Iterable["TrialProof"],
    ) -> tuple[pd.DataFrame, dict[str, float | None]]:
        """Readings of doughs that began before this one, and the rooms they stood in."""
        parts, rooms = [], {}
        for trial, own in [(self, proofs), *((other, other._proofs()) for other in trials)]:
            for key, one in own.doughs.items():
                start = own.starts.get(key)
                if start is None or (dough is not None and key == dough.id):
                    continue
                if before is not None and start[0] >= before:
                    continue
                name = f"{one.code}" if trial is self else f"{one.code} of {trial.name}"
                name = name if name not in rooms else f"{name} of bake {one.bake.code}"
                rooms[name] = own.rooms.get(key)
                parts.append(own.of(one)[["hours", "proof_ratio"]].assign(dough=name))
        empty = pd.DataFrame({"dough": [], "hours": [], "proof_ratio": []})
        return pd.concat(parts, ignore_index=True) if parts else empty, rooms

    def _warm(self) -> list[str]:
        """The caution where milk or egg is, or may be, in the dough."""
        formula = self.formula()
        return [_MILK.rstrip(".")] if formula is None or may_spoil(formula) else []
