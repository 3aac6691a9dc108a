"""The stages of a bake, in the words of the trade, and the order in which they can come.

A dough is mixed, chilled, taken out, shaped, and doubles; a load goes on the griddle, is turned,
comes off and rests. A stage is an event of a closed list of kinds on a dough, a load or a piece:
its time is kept in UTC, so that lengths are right also in the night the clocks change. Any of
them may be missing: a partial note is better than none.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from typing import ClassVar

from kit.errors import InputError, NotFoundError
from kit.plan.timetable.clock import say_minutes
from kit.records.things import Bake, Dough, Load, Piece, Thing
from kit.records.when import say_when

__all__ = ["SAYS", "STAGES", "BakeTimes", "Noted", "check_order", "check_stage", "earlier",
           "minutes_between", "say_long"]  # fmt: skip

#: level -> its stages, in the usual order
STAGES: Mapping[str, tuple[str, ...]] = {
    "dough": ("mixed", "in the fridge", "out of the fridge", "shaped", "doubled"),
    "load": ("waiting", "on the griddle", "turned", "third turn", "off the griddle", "rested"),
    # where the pieces of one load are turned at different times
    "piece": ("turned", "third turn", "off the griddle"),
}
# shaping comes before the fridge in some kitchens, after it in others
_FIRST = {
    "in the fridge": ("mixed",),
    "out of the fridge": ("mixed", "in the fridge"),
    "shaped": ("mixed",),
    "doubled": ("mixed", "in the fridge", "out of the fridge", "shaped"),
    **{stage: STAGES["load"][:place] for place, stage in enumerate(STAGES["load"])},
}
#: what happened, after the thing's name
SAYS = {
    "mixed": "was mixed", "in the fridge": "went into the fridge",
    "out of the fridge": "came out of the fridge", "shaped": "was shaped",
    "doubled": "had doubled", "waiting": "stood ready", "on the griddle": "went on the griddle",
    "turned": "was turned", "third turn": "had its third turn",
    "off the griddle": "came off the griddle", "rested": "had rested",
}  # fmt: skip
#: what a dough has behind it before its pieces go on the griddle
_BEFORE_GRIDDLE = ("mixed", "in the fridge", "out of the fridge", "shaped")


@dataclass(frozen=True, repr=False)
class Noted:
    """A stage as it is noted."""

    id: str  # of the event
    thing: Thing  # a dough, load or piece
    stage: str  # one of `STAGES`
    at: datetime  # when it was, UTC
    noted: datetime  # when it was written down, UTC
    doubt: str = ""  # a question about it, empty when there is none
    corrected: bool = False  # whether an earlier time was replaced just now
    level: ClassVar[str] = "stage"

    @property
    def late_minutes(self) -> float:
        """How many whole minutes later it was written down; 0 when at once."""
        return float(max(0, int(minutes_between(self.at, self.noted))))

    @property
    def zone(self) -> str:
        """The clock it was lived by."""
        zone: str = self.thing.bake.zone  # type: ignore[union-attr]  # a bake has no stages
        return zone

    def __str__(self) -> str:
        return f"{self.thing} {self.stage}, {say_when(self.at, self.zone)}{self.lateness}"

    @property
    def lateness(self) -> str:
        """``", noted 14 min later"``; empty when it was noted at once."""
        late = int(self.late_minutes)
        return f", noted {say_long(late)} later" if late >= 1 else ""

    def __repr__(self) -> str:
        return f"<{self}>"


@dataclass(frozen=True)
class BakeTimes:
    """What is in the records about the stages of one bake."""

    bake: Bake
    doughs: Sequence[Dough]  # in order
    loads: Sequence[Load]  # in order
    pieces: Sequence[Piece]  # in order
    noted: Mapping[str, Mapping[str, Noted]]  # thing's id -> stage -> as noted
    planned: Mapping[tuple[str, str], float]  # (thing's id, quantity) -> planned value
    # (thing's id, quantity) -> (value, how) of the newest reading that was not planned
    actual: Mapping[tuple[str, str], tuple[float, str]]
    # room temperature (°C) and minutes to double, of every dough of the trial that has both
    doubled: Sequence[tuple[float, float]]

    @cached_property
    def on(self) -> Mapping[str, Sequence[Piece]]:
        """Load's id -> its pieces."""
        return {load.id: [p for p in self.pieces if p.load == load] for load in self.loads}

    @cached_property
    def loads_of(self) -> Mapping[str, Sequence[Load]]:
        """Dough's id -> the loads its pieces are on."""
        return {
            dough.id: [x for x in self.loads if any(p.dough == dough for p in self.on[x.id])]
            for dough in self.doughs
        }

    def doughs_of(self, load: Load) -> list[Dough]:
        """Return the doughs with a piece on the load."""
        return [dough for dough in self.doughs if load in self.loads_of[dough.id]]

    def of(self, thing: Thing) -> dict[str, Noted]:
        """Return the stages noted of a thing; a piece has its load's where it has none itself."""
        own = dict(self.noted.get(thing.id, {}))
        if isinstance(thing, Piece) and thing.load is not None:
            return {**self.noted.get(thing.load.id, {}), **own}
        return own

    def value(self, thing: Thing, quantity: str) -> float | None:
        """Return what a quantity was, else what it is planned to be."""
        key = thing.id, quantity
        return self.actual[key][0] if key in self.actual else self.planned.get(key)

    def side_minutes(self, piece: Piece) -> float | None:
        """Return the planned time a side."""
        return self.planned.get((piece.id, "side_minutes"))

    def shaped_later(self, dough: Dough) -> list[Piece]:
        """Return the pieces of a dough that are planned to proof for less than others of it."""
        ratios = {p: self.planned.get((p.id, "proof_ratio")) for p in self.pieces
                  if p.dough == dough}  # fmt: skip
        known = {p: ratio for p, ratio in ratios.items() if ratio is not None}
        return [p for p, ratio in known.items() if ratio < max(known.values())]

    def sides_alike(self, load: Load) -> bool:
        """Whether all pieces of a load are to be turned at the same time."""
        return len({self.side_minutes(p) for p in self.on[load.id]}) <= 1


def minutes_between(start: datetime, end: datetime) -> float:
    """Minutes of real time from one moment to another, both aware."""
    return (end - start).total_seconds() / 60


def say_long(minutes: float) -> str:
    """A length of time as it is spoken, in whole days where it is more than two.

    Examples
    --------
    >>> say_long(0.5), say_long(1040.7), say_long(4000)
    ('less than a minute', '17 h 20 min', '2 days')
    """
    if minutes < 1:
        return "less than a minute"
    days = int(minutes // 1440)
    return say_minutes(int(minutes)) if days < 2 else f"{days} days"


def check_stage(thing: Thing, stage: object) -> str:
    """Return the stage's word, clean.

    Raises NotFoundError, InputError: the thing has no stage of that name, or none at all.
    """
    known = STAGES.get(thing.level)
    if known is None:
        raise InputError("stage", stage, f"belongs to a dough, a load or a piece, not to {thing}")
    word = " ".join(str(stage).lower().split())
    if word not in known:
        kind = f"stage of a {thing.level}"
        raise NotFoundError(kind, str(stage), known)
    return word


def check_order(times: BakeTimes, thing: Thing, stage: str, at: datetime, typed: object) -> None:
    """Ask about a time that what is noted besides cannot go with; it is told as it was `typed`.

    Raises InputError: for example a dough that comes out before it went in.
    """
    zone = times.bake.zone

    def ask(rule: str, other: Noted) -> InputError:
        when = say_when(other.at, zone)
        return InputError(
            stage, str(typed), rule.format(f"{other.thing} {SAYS[other.stage]} ({when})"),
            "Give another time, or correct the other one first.", str(thing),
        )  # fmt: skip

    for other in earlier(times, thing, stage):
        if at < other.at:
            raise ask("is before {}", other)
    for other in _later(times, thing, stage):
        if at > other.at:
            raise ask("is after {}", other)
    if isinstance(thing, Dough):
        own = {name: noted.at for name, noted in times.of(thing).items()} | {stage: at}
        into, out, shaped = (own.get(x) for x in ("in the fridge", "out of the fridge", "shaped"))
        if into and out and shaped and into < shaped < out:
            raise InputError(
                stage, str(typed), "would have it shaped while it stood in the fridge "
                f"({say_when(into, zone)} to {say_when(out, zone)})",
                "Give another time, or correct the other ones first.", str(thing),
            )  # fmt: skip


def earlier(times: BakeTimes, thing: Thing, stage: str) -> Iterator[Noted]:
    """Yield what cannot have come after a stage of a thing."""
    first = _FIRST.get(stage, ())
    own = times.of(thing)
    yield from (own[name] for name in first if name in own)
    if isinstance(thing, Load):
        for dough in times.doughs_of(thing) if stage != "waiting" else ():
            of = times.of(dough)
            yield from (of[name] for name in _BEFORE_GRIDDLE if name in of)
        for piece in times.on[thing.id]:
            of_piece = times.noted.get(piece.id, {})
            yield from (of_piece[name] for name in first if name in of_piece)


def _later(times: BakeTimes, thing: Thing, stage: str) -> Iterator[Noted]:
    """Yield what cannot have come before a stage of a thing."""

    def after(of: Mapping[str, Noted]) -> Iterator[Noted]:
        return (noted for name, noted in of.items() if stage in _FIRST.get(name, ()))

    yield from after(times.of(thing))
    if isinstance(thing, Load):
        for piece in times.on[thing.id]:
            yield from after(times.noted.get(piece.id, {}))
    if isinstance(thing, Dough) and stage in _BEFORE_GRIDDLE:
        for load in times.loads_of[thing.id]:
            yield from (n for name, n in times.of(load).items() if name != "waiting")
