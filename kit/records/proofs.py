"""How doughs rose: their readings in hours since the warm proof began.

The clock starts with the stages noted in a running bake: shaped, or out of the fridge if that is
later. Where no stage says so it starts with the first reading of exactly 1: the mark on the jar,
or the first photo of a series. A reading belongs to the dough (`dough_ratio`), or comes from a
photo of one of its pieces (`proof_ratio`, whose photo says when). A ratio somebody typed for a
piece has no time of its own and is left out.
"""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pandas as pd
from sqlalchemy import Connection, and_, or_, select

from kit.errors import InputError
from kit.records import tables as t
from kit.records import things
from kit.records.bench.lengths import proof_start
from kit.records.bench.stages import Noted
from kit.records.bench.store import noted_stages
from kit.records.readings import known_values
from kit.records.things import Dough, there
from kit.records.when import say_when
from kit.shown import InLines

__all__ = [
    "COLUMNS", "KeptTimes", "Proofs", "asked_at", "of_start", "read_proofs",
]  # fmt: skip

#: of `Proofs.readings`
COLUMNS = ("bake", "dough", "piece", "hours", "proof_ratio", "u", "how", "at", "photo")
_QUANTITY = "dough_ratio"
#: a first photo so much later than the start is told of; own choice, no source
_LATE_HOURS = 0.25
#: a last reading so long ago is no dough that proofs now
_OVER = timedelta(hours=12)


@dataclass(frozen=True)
class Proofs:
    """Readings of proofing doughs."""

    # `COLUMNS`, one row a reading, by dough and time: ``hours`` since the start, ``at`` by the
    # kitchen's clock, ``photo`` its file as the records name it (missing where there is none)
    readings: pd.DataFrame
    # by id: those that were read; the readings have the id as their index
    doughs: Mapping[str, Dough]
    # id -> when the clock of a dough started (UTC), and what says so
    starts: Mapping[str, tuple[datetime, str]]
    # id -> temperature of the air (°C) a dough proofs in, where it is recorded
    rooms: Mapping[str, float]
    cold: frozenset[str]  # doughs that came out of the refrigerator
    checks: tuple[str, ...]  # what was left out

    def of(self, dough: Dough) -> pd.DataFrame:
        """The readings of one dough."""
        return self.readings[self.readings.index == dough.id]


@dataclass(frozen=True, repr=False)
class KeptTimes(InLines):
    """What became of the times to double."""

    # one row a dough that was read: ``bake, dough, double_minutes, u, state``; the state is kept,
    # same (it was there already), entered (somebody did, and that stays), or why not
    doughs: pd.DataFrame

    @property
    def kept(self) -> int:
        """How many were stored."""
        return int((self.doughs["state"] == "kept").sum())

    def __repr__(self) -> str:
        return f"<KeptTimes: {self.kept} of {len(self.doughs)} doughs>"

    def __str__(self) -> str:
        lines = [f"Time to double kept for {self.kept} of {len(self.doughs)} doughs."]
        for row in self.doughs.itertuples():
            known = not math.isnan(float(row.double_minutes))  # type: ignore[arg-type]
            told = f"{row.double_minutes:.0f} min, " if known else ""
            lines.append(f"Dough {row.dough} of bake {row.bake}: {told}{row.state}.")
        return "\n".join(lines)

    def to_frame(self) -> pd.DataFrame:
        """One row a dough."""
        return self.doughs.copy()


def read_proofs(
    connection: Connection, trial_id: str, zone: str, also: Iterable[Dough] = ()
) -> Proofs:
    """Return the readings of all doughs of a trial that were read while they proofed.

    Times are shown in `zone`; `also` are doughs to look for although they were not read yet.
    """
    rows = _newest(connection, trial_id)
    every = {dough.id: dough for dough in things.doughs(connection, trial_id)}
    asked = {*rows["dough_id"], *(dough.id for dough in also)}
    doughs = {i: dough for i, dough in every.items() if i in asked}
    rows = rows[rows["dough_id"].isin(list(doughs))]
    noted = noted_stages(connection, trial_id, doughs)
    starts: dict[str, tuple[datetime, str]] = {}
    checks, parts = [], []
    for key, dough in doughs.items():
        own = rows[rows["dough_id"] == key].sort_values("at", kind="stable")
        start = _start(noted.get(key, {}), own)
        if start is None:
            checks.append(
                f"{dough}: nothing says when its clock started, so its readings tell nothing. Note "
                "when it was shaped, or record a ratio of 1 for the moment it was marked"
            )
            continue
        starts[key] = start
        hours = (own["at"] - start[0]).dt.total_seconds() / 3600
        early = int((hours < 0).sum())
        if early:
            some = "1 reading is" if early == 1 else f"{early} readings are"
            checks.append(f"{dough}: {some} from before its clock started ({start[1]}): left out")
        own = own.assign(bake=dough.bake.code, dough=dough.code, hours=hours)
        # 1 by definition: at the start, and of the photo that the others are held against
        first = (own["how"] == "photo") & (own["proof_ratio"] == 1) & own["u"].isna()
        if (first & (hours > _LATE_HOURS)).any():
            late = 60 * float(hours[first].iloc[0])
            checks.append(
                f"{dough}: its photos are held against the first one, taken {late:.0f} min after "
                f"its clock started ({start[1]}): what it rose before is not in them"
            )
        parts.append(own[(hours > 0) & ~first])
    table = pd.concat(parts) if parts else rows.assign(bake="", dough="", hours=0.0).iloc[:0]
    table = table.set_index("dough_id").rename_axis(None)
    table["at"] = table["at"].dt.tz_convert(ZoneInfo(zone))
    known = known_values(connection, trial_id, ("proof_temp_c", "room_temp_c", "retard_hours"))
    rooms, cold = {}, set()
    for key, dough in doughs.items():
        room = known.get((key, "proof_temp_c")) or known.get((dough.bake.id, "room_temp_c"))
        if room is not None:
            rooms[key] = room[0]
        chilled = known.get((key, "retard_hours"), (0.0, ""))[0] > 0
        if chilled or "out of the fridge" in noted.get(key, {}):
            cold.add(key)
    return Proofs(table[list(COLUMNS)], doughs, starts, rooms, frozenset(cold), tuple(checks))


def _newest(connection: Connection, trial_id: str) -> pd.DataFrame:
    """The reading that counts of each dough, piece and time."""
    r, p = t.reading.c, t.photo.c
    query = (
        select(
            r.target_id, t.piece.c.dough_id, t.piece.c.code, r.value, r.u, r.how, r.at, p.path,
            p.taken,
        )
        .select_from(
            t.reading.outerjoin(t.photo, and_(r.photo_id == p.id, there(t.photo))).outerjoin(
                t.piece, and_(r.target_id == t.piece.c.id, there(t.piece))
            )
        )
        .where(r.trial_id == trial_id, there(t.reading))
        .where(or_(r.quantity == _QUANTITY, and_(r.quantity == "proof_ratio", r.how == "photo")))
        .order_by(r.seq)
    )  # fmt: skip
    newest: dict[tuple[str, str], tuple[object, ...]] = {}
    for row in connection.execute(query):
        at = row.taken if row.how == "photo" and row.taken else row.at
        dough = row.dough_id or row.target_id
        newest[row.target_id, at] = (dough, row.code, row.value, row.u, row.how, at, row.path)
    names = ["dough_id", "piece", "proof_ratio", "u", "how", "at", "photo"]
    table = pd.DataFrame(list(newest.values()), columns=names)
    table = table.astype({"proof_ratio": float, "u": float})
    table["at"] = pd.to_datetime(table["at"], utc=True, format="ISO8601")
    return table[table["proof_ratio"].notna()]


def _start(noted: Mapping[str, Noted], own: pd.DataFrame) -> tuple[datetime, str] | None:
    stage = proof_start(noted)
    if stage is not None:
        return stage.at, stage.stage
    marked = own[own["proof_ratio"] == 1]
    return None if marked.empty else (marked["at"].iloc[0].to_pydatetime(), "marked")


def of_start(readings: pd.DataFrame) -> pd.Series:
    """Relative standard uncertainty of the volume that a dough's ratios are over; 0 if not known.

    Known of photos only, whose ratios are all to the first one: its share is in every u. Photos of
    one dough are about equally sure, so it is half of the square of the surest ratio's. `readings`
    have the dough's id as index: ``proof_ratio, u, how``.
    """
    share = (readings["u"] / readings["proof_ratio"]).where(readings["how"] == "photo", 0.0)
    return share.groupby(level=0).transform(lambda own: own.min(skipna=False)).fillna(0.0) / 2**0.5


def asked_at(
    dough: Dough, own: pd.DataFrame, started: datetime, now: datetime | None
) -> tuple[datetime, list[str]]:
    """At which moment a forecast of a dough is told, and what to say of it.

    `own` are its readings with ``at``, its clock `started` then; `now` is when it is asked: the
    moment, or that of the last reading of an earlier day, if not given. Raises InputError: before
    its clock started.
    """
    zone = ZoneInfo(dough.bake.zone)
    if now is not None:
        asked = now if now.tzinfo else now.replace(tzinfo=zone)
        if asked < started:
            when = say_when(started, dough.bake.zone)
            rule = f"is before its clock started ({when})"
            raise InputError("now", str(now), rule, "Give a later time.", str(dough))
        return asked, []
    moment = datetime.now(UTC)
    last = max([started, *own["at"]])
    if moment - last <= _OVER:
        return max(moment, last), []
    when = say_when(last, dough.bake.zone)
    return last, [f"looked back at: told as of its last reading, {when}"]
