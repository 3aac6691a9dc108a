"""Stages in the store: events of their own kinds, read together with what was planned."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pandas as pd
from sqlalchemy import Connection, select

from kit.errors import InputError
from kit.records import tables as t
from kit.records import things
from kit.records.bench.lengths import offers
from kit.records.bench.stages import STAGES, BakeTimes, Noted, check_order, check_stage, earlier
from kit.records.journal import Step
from kit.records.readings import STAGE, counting
from kit.records.things import Bake, Thing, check_there, there
from kit.records.when import read_when, say_when

__all__ = ["far_from_day", "note_stage", "noted_stages", "read_times", "stages_frame"]

_MINUTE = timedelta(minutes=1)
#: a dough may be mixed, or wait in the cold, so many days from the day of its bake; own choice
_NEAR_DAYS = 4


def read_times(connection: Connection, trial_id: str, bake: Bake) -> BakeTimes:
    """Return all that is known about the stages of one bake."""
    within = t.bake.c.id == bake.id
    doughs = things.doughs(connection, trial_id, within)
    loads = things.loads(connection, trial_id, within)
    pieces = things.pieces(connection, trial_id, within)
    own = {thing.id: thing for thing in (*doughs, *loads, *pieces)}
    on_plan, actual = counting(connection, trial_id)
    planned = {key: value for key, (value, _) in on_plan.items()}
    doubled = [
        (actual[dough.bake.id, "room_temp_c"][0], actual[dough.id, "double_minutes"][0])
        for dough in things.doughs(connection, trial_id)
        if (dough.bake.id, "room_temp_c") in actual and (dough.id, "double_minutes") in actual
    ]
    noted = noted_stages(connection, trial_id, own)
    return BakeTimes(bake, doughs, loads, pieces, noted, planned, actual, doubled)


def noted_stages(
    connection: Connection, trial_id: str, own: Mapping[str, Any]
) -> dict[str, dict[str, Noted]]:
    """Return id -> stage -> as noted, of the things in `own` (id -> thing)."""
    e = t.event.c
    query = select(e.id, e.target_id, e.kind, e.text, e.at).where(
        e.trial_id == trial_id, there(t.event), e.kind.startswith(STAGE)
    )
    noted: dict[str, dict[str, Noted]] = {}
    for row in connection.execute(query.order_by(e.at)):
        thing, stage = own.get(row.target_id), row.kind.removeprefix(STAGE)
        if thing is None or stage not in STAGES[thing.level]:
            continue  # removed, or a word of another kit's
        at = datetime.fromisoformat(row.at)
        written = datetime.fromisoformat(row.text) if row.text else at
        noted.setdefault(thing.id, {})[stage] = Noted(row.id, thing, stage, at, written)
    return noted


def note_stage(
    step: Step,
    trial_id: str,
    thing: Thing,
    stage: str,
    at: str | datetime | None,
    correct: bool = True,
) -> Noted:
    """Note when a thing came to a stage, or correct it; see `Trial.stage`.

    `at` is as typed, None the step's own time; `correct` lets it take the place of one noted
    already.
    """
    check_there(step.connection, trial_id, thing)
    word = check_stage(thing, stage)
    bake: Bake = thing.bake  # type: ignore[union-attr]  # a bake itself has no stages
    times = read_times(step.connection, trial_id, bake)
    now = datetime.fromisoformat(step.at)
    had = times.noted.get(thing.id, {}).get(word)
    if had is not None and (at is None or not correct):
        raise InputError(
            "stage", word, f"is noted already ({say_when(had.at, bake.zone)})",
            "Give the time to correct it. If it happened again, note an event.", str(thing),
        )  # fmt: skip
    moment = now if at is None else read_when("at", at, bake.zone, now, str(thing))
    if at is not None:
        moment = _within_minute(times, thing, word, moment)
    check_order(times, thing, word, moment, say_when(moment, bake.zone) if at is None else at)
    own = {**times.noted.get(thing.id, {})}
    made = Noted(had.id if had else "", thing, word, moment, now if at is not None else moment)
    # what follows from it must be possible, and is asked about where it is unusual
    own[word] = made
    after = replace(times, noted={**times.noted, thing.id: own})
    before = {(o.thing.id, o.quantity): o.value for o in offers(times)}
    new = [o for o in offers(after) if before.get((o.thing.id, o.quantity)) != o.value]
    doubts = dict.fromkeys([*(o.doubt for o in new), far_from_day(bake, moment)])
    if had is not None and word == "shaped" and times.shaped_later(thing):  # type: ignore[arg-type]
        was = say_when(had.at, bake.zone)
        doubts[
            "Some of its pieces are shaped later, and the time noted is that of the first shaping: "
            f"it was {was}. Is that corrected?"
        ] = None
    row = {
        "kind": STAGE + word, "at": moment.isoformat(timespec="microseconds"),
        "text": step.at if at is not None else "",
    }  # fmt: skip
    if had is not None:
        step.change(t.event, had.id, row)
    else:
        row |= {"trial_id": trial_id, "level": thing.level, "target_id": thing.id}
        made = replace(made, id=step.add(t.event, row))
    return replace(made, doubt=" ".join(filter(None, doubts)), corrected=had is not None)


def far_from_day(bake: Bake, at: datetime) -> str:
    """Ask where a stage is noted of a bake whose day is another: the wrong one may be chosen."""
    if bake.day is None:
        return ""
    on = at.astimezone(ZoneInfo(bake.zone)).date()
    apart = (on - bake.day).days
    if abs(apart) <= _NEAR_DAYS:
        return ""
    side = "after" if apart > 0 else "before"
    return f"That is {abs(apart)} days {side} the day of {bake}, {bake.day}. Is it the right bake?"


def _within_minute(times: BakeTimes, thing: Thing, stage: str, at: datetime) -> datetime:
    """Move a time typed to the minute behind what was pressed before it in that same minute."""
    if at.second or at.microsecond:
        return at
    before = [noted.at for noted in earlier(times, thing, stage)]
    return max([other for other in before if at <= other < at + _MINUTE], default=at)


def stages_frame(times: Sequence[BakeTimes], zone: str) -> pd.DataFrame:
    """Return the stages as a table: ``at, stage, on, code, bake, late_minutes``, oldest first."""
    rows = [
        (n.at, n.stage, n.thing.level, n.thing.code, one.bake.code, n.late_minutes)
        for one in times for own in one.noted.values() for n in own.values()
    ]  # fmt: skip
    names = ["at", "stage", "on", "code", "bake", "late_minutes"]
    frame = pd.DataFrame(rows, columns=names).sort_values("at", kind="stable", ignore_index=True)
    frame["late_minutes"] = frame["late_minutes"].astype(float)
    frame["at"] = pd.to_datetime(frame["at"], utc=True).dt.tz_convert(zone)
    return frame
