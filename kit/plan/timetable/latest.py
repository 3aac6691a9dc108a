"""The loads of a bake back from its table, and when doughs are to be shaped for them.

The loads follow one another without a gap, the last of them so that its pieces have rested when the
table is laid. Every dough is to be shaped as late as its first load allows, so that nothing goes on
before it is proofed. Where proof is varied, the pieces of each load and proof are shaped by
themselves, so that none waits, but for those whose turns come too soon after one another to put the
dough back into the cold.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from operator import itemgetter

from kit.plan.timetable.clock import Span
from kit.plan.timetable.limits import Limits
from kit.plan.timetable.runs import Bake, PlannedPiece

__all__ = ["Layout", "Part", "lay_out"]

#: Of the minutes to shape a dough, those that go on taking it out and putting the rest back, at
#: every shaping again; and how far apart shapings of one dough begin at the least, with how much
#: in the cold between them. Common practice, no source.
_OUT_AND_BACK = 2
_APART, _COLD = 10, 4

#: When some pieces of a dough are shaped, all at once; the end of it.
Turn = tuple[int, list[PlannedPiece]]


@dataclass(frozen=True)
class Part:
    """Pieces of a dough that go on in the same loads, and are moved together.

    `shapings` says when each is shaped at the latest, so that every one is proofed for its load;
    `waits` how long each stands ready then, in minutes, behind its minutes to proof.
    """

    shapings: Mapping[str, Span]
    waits: Sequence[tuple[int, int]]

    @cached_property
    def spans(self) -> list[Span]:
        """When it is at work, in order."""
        return sorted(set(self.shapings.values()))

    @cached_property
    def taken(self) -> list[Span]:
        """From the start of each until another part of the dough can be shaped."""
        return [_taken(span) for span in self.spans]

    @cached_property
    def wait(self) -> int:
        """How many minutes one of them stands ready."""
        return max(wait for _, wait in self.waits)


@dataclass(frozen=True)
class Layout:
    """What does not depend on the hour: moments before the table (which is 0), all negative.

    `loads` says when each is on the griddle and off it, `parts` those of each dough in the order
    they are begun, `alike` whether they had best wait alike.
    """

    bake: Bake
    limits: Limits
    loads: Mapping[str, Span]
    heat: int
    parts: Mapping[str, tuple[Part, ...]]
    alike: bool = True


def lay_out(bake: Bake, limits: Limits) -> Layout:
    """Put the loads back to back before the table, and say when doughs must be out."""
    loads: dict[str, Span] = {}
    end = -limits.whole("rest_minutes")
    for load in reversed(bake.loads):
        loads[load.name] = (end - load.minutes(limits), end)
        end = loads[load.name][0] - limits.whole("changeover_minutes")
    loads = {load.name: loads[load.name] for load in bake.loads}
    first = min(on for on, _ in loads.values())
    by: dict[PlannedPiece, int] = {}  # when each had best be shaped: ready with all of its load
    for load in bake.loads:
        ready = loads[load.name][0]
        if limits.griddle_hands == limits.hands:  # then nobody shapes meanwhile, and all wait alike
            ready = min(ready, first + min(p.proof_minutes for p in load.pieces))
        by |= {p: ready - p.proof_minutes for p in load.pieces}
    parts = {}
    for dough in bake.doughs:
        own = [p for p in bake.pieces if p.dough == dough.name]
        last = {p: loads[p.load][0] - p.proof_minutes for p in own}
        apart = bake.proof_varies and dough.retard_minutes > 0  # a warm dough cannot wait
        turns = _turns({p: by[p] for p in own}, limits) if apart else [(min(last.values()), own)]
        found = [
            Part(
                {
                    p.name: (end - _minutes(len(some) / len(own), limits), end)
                    for end, some in together
                    for p in some
                },
                [(p.proof_minutes, last[p] - end) for end, some in together for p in some],
            )
            for together in _by_load(turns)
        ]
        parts[dough.name] = tuple(sorted(found, key=lambda part: part.spans[0][0]))
    return Layout(bake, limits, loads, first - limits.whole("heat_minutes"), parts)


def _minutes(share: float, limits: Limits) -> int:
    """To take a dough out and shape a share of it."""
    shape = limits.whole("shape_minutes")
    once = min(_OUT_AND_BACK, shape)
    return once + math.ceil(round((shape - once) * share, 9))


def _turns(by: Mapping[PlannedPiece, int], limits: Limits) -> list[Turn]:
    """Pieces of one moment by themselves, the rest cold again meanwhile.

    Moments too near to one another are joined at the earlier, the nearest first.
    """
    turns: dict[int, list[PlannedPiece]] = {}
    for piece, end in sorted(by.items(), key=itemgetter(1)):
        turns.setdefault(end, []).append(piece)
    while True:
        starts = [end - _minutes(len(some) / len(by), limits) for end, some in turns.items()]
        near = [
            (after[0] - end, end, after[0])
            for (end, start), after in pairwise(zip(turns, starts, strict=True))
            if after[1] < _taken((start, end))[1]
        ]
        if not near:
            return list(turns.items())
        _, end, after_end = min(near)
        turns[end] += turns.pop(after_end)


def _by_load(turns: Iterable[Turn]) -> list[list[Turn]]:
    """The turns that have pieces of the same load together."""
    found: list[tuple[set[str], list[Turn]]] = []
    for turn in turns:
        loads, together = {p.load for p in turn[1]}, [turn]
        for part in [part for part in found if part[0] & loads]:
            found.remove(part)
            loads |= part[0]
            together += part[1]
        found.append((loads, together))
    return [together for _, together in found]


def _taken(shaping: Span) -> Span:
    """From when a dough is out to be shaped until it can be taken out again."""
    start, end = shaping
    return start, max(start + _APART, end + _COLD)
