"""Readings and events: what was measured, and what happened.

A reading is only ever added. The newest one of a thing and quantity counts; an empty one takes
the earlier ones back. Planned readings count while there is no other. Of a quantity that is read
again and again (`kit.quantities.SERIES`) the newest reading of each time counts. So history and
undo need nothing more than the rows themselves.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any, ClassVar
from zoneinfo import ZoneInfo

import pandas as pd
from sqlalchemy import Connection, select

from kit import quantities
from kit.errors import InputError
from kit.quantities import Checked, Quantity
from kit.records import tables as t
from kit.records.journal import Row, Step
from kit.records.things import CODE_OF, TABLE_OF, Thing, check_there, there
from kit.records.typed import margin, text
from kit.records.when import read_at

__all__ = [
    "HOW", "STAGE", "Event", "Values", "all_readings", "check_event", "check_kind", "counting",
    "events", "known_values", "newest", "note_event", "record",
]  # fmt: skip

#: (thing's id, quantity) -> (value, how it came to be)
Values = dict[tuple[str, str], tuple[float, str]]
#: how a reading came to be
HOW = ("planned", "entered", "photo", "computed")
#: what the kinds of event begin with that are stages of the bake (`kit.records.bench.stages`):
#: noted for every dough and load, they tell no piece from another
STAGE = "stage: "


def _check_level(quantity: Quantity, thing: Thing, value: object) -> None:
    """Refuse a quantity on a thing it does not belong to; name the right one.

    Raises InputError: for example malt, which is the dough's, on one piece.
    """
    if quantity.level == thing.level:
        return
    right: Any = getattr(thing, quantity.level, None)
    remedy = f"Record it on {right}." if right else f"Record it on each {quantity.level}."
    rule = f"belongs to a {quantity.level}, not to a {thing.level}"
    raise InputError(quantity.name, value, rule, remedy, str(thing))


def record(
    step: Step,
    trial_id: str,
    thing: Thing,
    name: str,
    value: str | float | None,
    how: str = "entered",
    u: str | float | None = None,
    at: str = "",
    note: str | None = None,
    photo_id: str | None = None,
) -> Checked:
    """Record one value; see `Trial.record`.

    `step` gets its words here. `at` is UTC as `kit.records.typed.moment` gives it, empty is now;
    `photo_id` is of the photo it was measured on.
    """
    quantity = quantities.get(name)
    trial = check_there(step.connection, trial_id, thing)
    _check_level(quantity, thing, value)
    if how not in HOW:
        raise InputError("how", how, f"must be one of {', '.join(HOW)}")
    checked = quantity.parse(value, str(thing))
    uncertainty = margin("u", u, quantity.unit)
    clean = text("note", note, longest=2000, needed=False) or None
    at = at or step.at
    if name in quantities.SERIES and how == "planned":
        raise InputError("how", how, "cannot be: nobody plans a reading", "Enter it when it is.")
    if checked.value is None and newest(step.connection, thing, name, how, at) is None:
        return checked  # nothing there, nothing typed: a form passed through a field
    row: Row = {
        "trial_id": trial_id, "level": thing.level, "target_id": thing.id, "quantity": name,
        "value": checked.value, "u": uncertainty, "how": how, "at": at,
        "photo_id": photo_id, "note": clean,
    }  # fmt: skip
    step.add(t.reading, row)
    what = "taken back" if checked.value is None else quantity.show(checked.value)
    planned = "planned " if how == "planned" else ""
    step.says = f"{trial}: {planned}{quantity.label} {what}, {thing}"
    return checked


def newest(
    connection: Connection, thing: Thing, name: str, how: str = "entered", at: str = ""
) -> float | None:
    """Return what counts now: the last value planned, or else the last that was not planned.

    `how` is "planned", or anything else for what was measured or entered; `at` is when, of one of
    `kit.quantities.SERIES`.
    """
    same = t.reading.c.how == "planned" if how == "planned" else t.reading.c.how != "planned"
    if name in quantities.SERIES:
        same = t.reading.c.at == at
    last = (
        select(t.reading.c.value)
        .where(t.reading.c.target_id == thing.id, t.reading.c.quantity == name)
        .where(same, there(t.reading))
        .order_by(t.reading.c.seq.desc())
        .limit(1)
    )
    value: float | None = connection.scalar(last)
    return value


def counting(
    connection: Connection, trial_id: str, names: Iterable[str] | None = None
) -> tuple[Values, Values]:
    """Return what counts of each thing and quantity: the newest planned, and the newest other.

    Of all quantities where no `names` are given; without those that were taken back.
    """
    r = t.reading.c
    query = select(r.target_id, r.quantity, r.value, r.how).where(
        r.trial_id == trial_id, there(t.reading)
    )
    if names is not None:
        query = query.where(r.quantity.in_(list(names)))
    planned: Values = {}
    actual: Values = {}
    for target, name, value, how in connection.execute(query.order_by(r.seq)):
        newest = planned if how == "planned" else actual
        newest.pop((target, name), None)
        if value is not None:  # an empty one takes the earlier ones back
            newest[target, name] = float(value), str(how)
    return planned, actual


def known_values(connection: Connection, trial_id: str, names: Iterable[str]) -> Values:
    """Return (id, quantity) -> value and how it came, for doughs and bakes with or without pieces.

    As in a frame: the newest that is not planned, else the newest planned.
    """
    planned, actual = counting(connection, trial_id, names)
    return planned | actual


def _in_zone(times: list[str], zone: str) -> pd.DatetimeIndex:
    return pd.to_datetime(times, utc=True).tz_convert(ZoneInfo(zone))


def all_readings(connection: Connection, trial_id: str, zone: str) -> pd.DataFrame:
    """Return every reading that was not undone, those replaced since included, oldest first.

    Columns: ``level, id`` (of the thing), ``quantity, value`` (NaN where an earlier one was taken
    back), ``unit, u, how, at`` (in `zone`), ``photo`` (the id of the one it was measured on),
    ``note``.
    """
    r = t.reading.c
    query = select(
        r.level, r.target_id, r.quantity, r.value, r.u, r.how, r.at, r.photo_id, r.note
    ).where(r.trial_id == trial_id, r.deleted.is_(None))
    rows = connection.execute(query.order_by(r.seq)).all()
    names = ["level", "id", "quantity", "value", "u", "how", "at", "photo", "note"]
    frame = pd.DataFrame(rows, columns=names).astype({"value": float, "u": float})
    units = {q.name: q.unit for q in quantities.all_quantities(series=True)}
    frame.insert(4, "unit", frame["quantity"].map(units))
    frame["at"] = _in_zone(list(frame["at"]), zone)
    return frame


@dataclass(frozen=True, repr=False)
class Event:
    """Something that happened to one thing, or to the whole trial (`on` is None)."""

    id: str
    kind: str
    text: str
    at: str
    on: Thing | None
    level: ClassVar[str] = "event"

    def __str__(self) -> str:
        return f"event {self.kind!r}" + (f" on {self.on}" if self.on else "")

    def __repr__(self) -> str:
        return f"<{self}>"


def note_event(
    step: Step,
    trial_id: str,
    kind: str,
    what: str = "",
    on: Thing | None = None,
    at: str | datetime | None = None,
    zone: str = "UTC",
) -> Event:
    """Note that something happened; see `Trial.event`. `at` is by the clock in `zone`."""
    short = check_kind(kind)
    if short.startswith(STAGE.strip()):
        raise InputError("kind", short, "is kept for stages", "Note it with trial.stage(…).")
    if on is not None:
        check_there(step.connection, trial_id, on)
    row = {
        "trial_id": trial_id, "level": on.level if on is not None else "trial",
        "target_id": on.id if on is not None else trial_id, "kind": short,
        "text": text("text", what, longest=2000, needed=False), "at": read_at("at", at, zone),
    }  # fmt: skip
    return Event(step.add(t.event, row), short, str(row["text"]), str(row["at"]), on)


def check_event(connection: Connection, trial_id: str, event: Any) -> None:
    """Refuse an event or stage that is another trial's, or that was taken out already.

    Raises InputError.
    """
    e = t.event.c
    found = select(e.id).where(e.id == event.id, e.trial_id == trial_id, there(t.event))
    if connection.scalar(found) is None:
        rule = "was removed or belongs to another trial"
        raise InputError("event", str(event), rule, "Undo that, or note it again.")


def check_kind(kind: object) -> str:
    """Return an event's kind, clean. Raises InputError: it is empty, too long, or no one event."""
    short = text("kind", kind, longest=40)
    if ";" in short:
        raise InputError("kind", short, "must not hold a semicolon", "Note two events.")
    return short


def events(connection: Connection, trial_id: str, zone: str) -> pd.DataFrame:
    """Return what happened, oldest first; columns as in `Trial.events`."""
    e = t.event.c
    query = select(e.at, e.kind, e.text, e.level, e.target_id, e.id).where(
        e.trial_id == trial_id, e.deleted.is_(None), ~e.kind.startswith(STAGE)
    )
    rows = connection.execute(query.order_by(e.at)).all()
    codes: dict[str, str] = {}
    for level in {row.level for row in rows} - {"trial"}:
        own = TABLE_OF[level].c.id
        of = own.in_([row.target_id for row in rows if row.level == level])
        named = connection.execute(select(own, CODE_OF[level]).where(of))
        codes |= {i: str(code) for i, code in named}
    return pd.DataFrame(
        {
            "at": _in_zone([row.at for row in rows], zone),
            "kind": [row.kind for row in rows],
            "text": [row.text for row in rows],
            "on": [row.level for row in rows],
            "code": [codes.get(row.target_id) for row in rows],
            "id": [row.target_id for row in rows],
            "event": [row.id for row in rows],
        }
    )
