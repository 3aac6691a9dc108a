"""Where each dough and each load of a running bake is, what comes next, and about when."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import partial

from kit import words
from kit.plan.timetable.clock import say_minutes
from kit.plan.timetable.limits import Limits
from kit.plan.timetable.proofing import COLDEST_C, WARMEST_C, doubling
from kit.records.bench.lengths import proof_start, ready_since
from kit.records.bench.stages import BakeTimes, Noted
from kit.records.things import Dough, Load, Piece, Thing

__all__ = ["Due", "Place", "dough_place", "load_places"]

#: lengths where nothing is planned: common practice, no source
USUAL = Limits()
_RETARD_HOURS = (12.0, 48.0)
_SIDE_MINUTES = (5.0, 10.0)


@dataclass(frozen=True)
class Due:
    """When the next stage is to be."""

    start: datetime  # UTC; the earliest and the latest that is as expected
    at: datetime | None  # the best guess; None where only the range can be said
    end: datetime  # UTC; the earliest and the latest that is as expected
    basis: str  # what it rests on


@dataclass(frozen=True)
class Place:
    """Where something is."""

    name: str  # as on a button: "1A", "load 2"
    things: tuple[Thing, ...]  # what its next stage is noted on
    where: str
    last: Noted | None  # the stage it is in
    since: datetime | None  # since when it is there, UTC
    next: str | None  # the next stage
    also: tuple[str, ...] = ()  # what may come instead
    due: Due | None = None


def dough_place(times: BakeTimes, dough: Dough) -> Place:
    """Say where a dough is."""
    at = partial(Place, dough.code, (dough,))
    noted = times.of(dough)
    last = max(noted.values(), key=lambda one: one.at, default=None)
    griddle = _on_griddle(times, dough)
    if griddle is not None:
        return at(griddle[0], None, griddle[1], None)
    if last is None:
        return at("not mixed yet", None, None, "mixed", ("in the fridge",))
    retard = times.planned.get((dough.id, "retard_hours"))
    if last.stage == "in the fridge":
        due = _retard(last.at, retard)
        return at("in the fridge", last, last.at, "out of the fridge", (), due)
    if "doubled" in noted:
        return at("doubled and ready", last, noted["doubled"].at, None)
    start = proof_start(noted)
    if start is not None:
        due = _proof(times, dough, start)
        also = () if "in the fridge" in noted else ("in the fridge",)
        return at("proofing", last, start.at, "doubled", also, due)
    if last.stage == "mixed":
        nexts = ("in the fridge", "shaped") if retard != 0 else ("shaped", "in the fridge")
        return at("mixed", last, last.at, nexts[0], nexts[1:])
    if last.stage == "shaped":  # after the fridge, and nobody wrote down when it came out
        return at("shaped", last, last.at, "doubled")
    soon = _plain(last.at, USUAL.shape_minutes, "usual")
    return at("out of the fridge", last, last.at, "shaped", (), soon)


def _on_griddle(times: BakeTimes, dough: Dough) -> tuple[str, datetime | None] | None:
    """Say how far a dough's pieces are, once the first are on the griddle."""
    mine = [times.of(piece) for piece in times.pieces if piece.dough == dough]
    off = [noted["off the griddle"].at for noted in mine if "off the griddle" in noted]
    on = [noted for noted in mine if "on the griddle" in noted and "off the griddle" not in noted]
    left = len(mine) - len(off) - len(on)
    if left == len(mine):
        return None
    if len(off) == len(mine):
        return "off the griddle", max(off)
    ready = "waiting" if "doubled" in times.of(dough) else "proofing"
    parts = [(len(on), "on the griddle"), (len(off), "off the griddle"), (left, ready)]
    first, *rest = [f"{count} {what}" for count, what in parts if count]
    if not rest:
        return "on the griddle", None
    return words.join([f"{words.plural(len(mine), 'piece')}, {first}", *rest]), None


def _plain(start: datetime, minutes: float, basis: str) -> Due:
    at = start + timedelta(minutes=minutes)
    return Due(at, at, at, f"{basis} {say_minutes(minutes)}")


def _retard(start: datetime, planned: float | None) -> Due:
    if planned is not None:
        return _plain(start, planned * 60, "planned")
    low, high = (start + timedelta(hours=hours) for hours in _RETARD_HOURS)
    text = f"nothing planned; {_RETARD_HOURS[0]:g} to {_RETARD_HOURS[1]:g} h are usual"
    return Due(low, None, high, text)


def _proof(times: BakeTimes, dough: Dough, start: Noted) -> Due:
    planned = times.planned.get((dough.id, "proof_minutes"))
    if planned is not None:
        return _plain(start.at, planned, "planned")
    room = times.value(dough, "proof_temp_c")
    if room is None:
        room = times.value(times.bake, "room_temp_c")
    if room is None or not COLDEST_C <= room <= WARMEST_C:
        guess = doubling((72 - 32) / 1.8)
        basis = "usual at 22 °C; the room's temperature is not noted"
    else:
        own = [pair for pair in times.doubled if COLDEST_C <= pair[0] <= WARMEST_C]
        guess = doubling(room, own)
        whose = "by your own times" if own else "usual"
        basis = f"about {say_minutes(round(guess.minutes))} at {room:g} °C, {whose}"
    low, at, high = (
        start.at + timedelta(minutes=m) for m in (guess.low, guess.minutes, guess.high)
    )
    return Due(low, at, high, basis)


def load_places(times: BakeTimes, now: datetime) -> Iterator[Place]:
    """Yield where each load is; its pieces apart where they are turned at different times."""
    expected = _expected(times, now)
    for load in times.loads:
        noted = times.of(load)
        if not _begun(times, load):
            yield _waiting(times, load, expected[load.id])
            continue
        off = _off(times, load)
        if "rested" in noted or None not in off:
            yield _resting(load, noted, [one for one in off if one is not None], now)
        else:
            yield from _groups(times, load)


def _off(times: BakeTimes, load: Load) -> list[Noted | None]:
    """When each piece of a load came off the griddle; the load itself where it has none."""
    some: Sequence[Thing] = times.on[load.id] or [load]
    return [times.of(one).get("off the griddle") for one in some]


def _begun(times: BakeTimes, load: Load) -> bool:
    stages = set(times.of(load)) - {"waiting"}
    return bool(stages) or any(times.noted.get(piece.id) for piece in times.on[load.id])


def _waiting(times: BakeTimes, load: Load, due: Due | None) -> Place:
    since = ready_since(times, load)
    where = "waiting for the griddle" if since else "not ready yet"
    last = times.of(load).get("waiting")
    return Place(f"load {load.code}", (load,), where, last, since, "on the griddle", (), due)


def _resting(load: Load, noted: Mapping[str, Noted], off: Sequence[Noted], now: datetime) -> Place:
    at = partial(Place, f"load {load.code}", (load,))
    if "rested" in noted:
        last = noted["rested"]
        return at("rested and ready", last, last.at, None)
    last = max(off, key=lambda one: one.at)
    due = _plain(last.at, USUAL.rest_minutes, "usual")
    if due.end <= now:  # nobody has to press anything for it
        return at("rested and ready", last, due.end, None, ("rested",))
    return at("resting on the rack", last, last.at, "rested", (), due)


def _groups(times: BakeTimes, load: Load) -> Iterator[Place]:
    """Yield the pieces of a load on the griddle, those that are alike together."""
    alike: dict[tuple[object, ...], list[Piece]] = {}
    for piece in times.on[load.id]:
        own = times.noted.get(piece.id, {})
        key = (times.side_minutes(piece), *((n.stage, n.at) for n in own.values()))
        alike.setdefault(key, []).append(piece)
    whole = len(alike) <= 1 and not any(times.noted.get(p.id) for p in times.on[load.id])
    for pieces in alike.values() or [[]]:
        things: tuple[Thing, ...] = (load,) if whole else tuple(pieces)
        name = f"load {load.position}"
        side = times.side_minutes(pieces[0]) if pieces else None
        if not whole:
            codes = ", ".join(piece.code for piece in pieces)
            name += f", {codes}" if side is None else f", {side:g} min a side ({codes})"
        yield _group(name, things, times.of(things[0]), side)


def _group(
    name: str, things: tuple[Thing, ...], noted: Mapping[str, Noted], side: float | None
) -> Place:
    last = max((n for stage, n in noted.items() if stage != "waiting"), key=lambda one: one.at)
    at = partial(Place, name, things)
    if last.stage == "off the griddle":
        return at("on the rack", last, last.at, None)
    if last.stage == "third turn":
        due = _plain(last.at, USUAL.third_turn_minutes, "usual")
        return at("on the griddle, turned again", last, last.at, "off the griddle", (), due)
    if side is None:
        due = _plain(last.at, USUAL.side_minutes, "usual")
        low, high = (last.at + timedelta(minutes=m) for m in _SIDE_MINUTES)
        due = Due(low, due.at, high, due.basis)
    else:
        due = _plain(last.at, side, "planned")
    if last.stage == "turned":
        where = "on the griddle, second side"
        return at(where, last, last.at, "off the griddle", ("third turn",), due)
    return at("on the griddle, first side", last, last.at, "turned", (), due)


def _expected(times: BakeTimes, now: datetime) -> dict[str, Due | None]:
    """Load's id -> when it can go on, and why then; None where the records do not tell."""
    expected: dict[str, Due | None] = {}
    free: datetime | None = datetime.min.replace(tzinfo=UTC)  # since when the griddle is
    before = ""
    for load in times.loads:
        noted = times.of(load)
        on = noted["on the griddle"].at if "on the griddle" in noted else None
        expected[load.id] = None
        if on is None and free is not None and (ready := _ready(times, load)):
            at, basis = max((ready, "its dough doubled"), (free, before))
            if at >= now or ready_since(times, load):
                expected[load.id] = Due(at, at, at, basis)
            on = max(at, now)
        off = _off(times, load)
        known = [one.at for one in off if one is not None]
        free = None
        if len(known) == len(off):
            free = max(known)
        elif on is not None:
            sides = [times.side_minutes(p) for p in times.on[load.id]]
            side = max((s for s in sides if s is not None), default=USUAL.side_minutes)
            free = max(on + timedelta(minutes=2 * side), now)
        if free is not None:
            free += timedelta(minutes=USUAL.changeover_minutes)
        before = f"after load {load.position}"
    return expected


def _ready(times: BakeTimes, load: Load) -> datetime | None:
    """When the last of a load's doughs has doubled, or is expected to."""
    ready: list[datetime] = []
    for dough in times.doughs_of(load):
        noted = times.of(dough)
        start = proof_start(noted)
        if doubled := noted.get("doubled"):
            ready.append(doubled.at)
        elif start is not None and (at := _proof(times, dough, start).at):
            ready.append(at)
        else:
            return None
    return max(ready, default=None)
