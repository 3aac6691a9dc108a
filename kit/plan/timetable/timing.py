"""The moments of a bake: of its doughs, its loads and its table, in minutes (see `clock`)."""

from collections.abc import Mapping
from dataclasses import dataclass

from kit.plan.timetable.clock import Span
from kit.plan.timetable.runs import PlannedPiece

__all__ = ["DoughTimes", "Times"]


@dataclass(frozen=True)
class DoughTimes:
    """Moments of one dough; `cold` and `out` are equal when it is not chilled.

    `shapings` has the names of its pieces, and when each is shaped.
    """

    mix: int
    mixed: int
    cold: int
    out: int
    shapings: Mapping[str, Span]

    @property
    def work(self) -> list[Span]:
        """When hands are at it: mixing, then every shaping."""
        return [(self.mix, self.mixed), *sorted(set(self.shapings.values()))]

    def ready(self, piece: PlannedPiece) -> int:
        """When one of its pieces is ready for the griddle."""
        return self.shapings[piece.name][1] + piece.proof_minutes

    @property
    def retard_minutes(self) -> int:
        """Time in the refrigerator."""
        return self.out - self.cold


@dataclass(frozen=True)
class Times:
    """Moments of a whole bake, doughs and loads by name, in plan order.

    Loads are on the griddle and off it; at `heat` the griddle is lit, at `table` the last pieces
    have rested.
    """

    doughs: Mapping[str, DoughTimes]
    loads: Mapping[str, Span]
    heat: int
    table: int

    @property
    def first_mix(self) -> int:
        """When the first dough is mixed."""
        return min(d.mix for d in self.doughs.values())

    @property
    def start(self) -> int:
        """The first thing to do."""
        return min(self.first_mix, self.heat)

    def waited(self, piece: PlannedPiece) -> int:
        """Minutes a piece stands ready before its load."""
        return self.loads[piece.load][0] - self.doughs[piece.dough].ready(piece)
