"""When everything happens: loads from the table back, doughs as late as hands allow.

All times are whole minutes (see `clock`). A day is hands, of which the griddle keeps its
own, and what takes some: mixing a dough, and shaping it. The loads follow one another without a
gap, the last of them so that its pieces have rested when the table is laid. Every dough is shaped
as late as its first load allows, so that nothing goes on before it is proofed; where hands are
short it is shaped earlier, and its pieces wait. Where proof is varied, the pieces of each load and
proof are shaped by themselves, so that none waits, but for those whose turns come too soon after
one another to put the dough back into the cold. Where hands are short to mix a dough, all of it is
earlier, or what is shaped first; where they are to shape some of it, its pieces of that load are,
however they proof: to wait unequally would look like an effect of proof. Of the ways to place a
dough that are tried the best weighs its longest wait against how unlike the proofs of chilled
doughs wait on the average (a warm dough cannot wait otherwise). Mixing follows
from the first shaping and the retard. Doughs are placed in turn from the last to the first (those
of the same moment in the plan's order), and so are their parts, which always ends: earlier there
are free hands.
"""

import math
from bisect import bisect_right
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import count, pairwise, product
from operator import itemgetter

from kit.plan.timetable.clock import Span, most_at_once
from kit.plan.timetable.limits import Limits
from kit.plan.timetable.runs import Bake, PlannedDough, PlannedPiece

__all__ = ["DoughTimes", "Held", "Layout", "Times", "lay_out", "solve"]

#: Steps in which another plan is looked for, in minutes.
STEP = 5
#: So many minutes of the longest wait are worth one by which pieces of one proof wait longer than
#: those of another, on the average of the bake; and one by which those of a dough wait unlike. Of
#: 200 random plans more fit, wait for shorter and more alike so than by the longest wait alone.
_UNLIKE, _LOADS = 4, 0.05
#: Of the minutes to shape a dough, those that go on taking it out and putting the rest back, at
#: every shaping again; and how far apart shapings of one dough begin at the least, with how much
#: in the cold between them. Common practice, no source.
_OUT_AND_BACK = 2
_APART, _COLD = 10, 4

#: When some pieces of a dough are shaped, all at once; the end of it.
Turn = tuple[int, list[PlannedPiece]]


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


@dataclass(frozen=True)
class Part:
    """Pieces of a dough that go on in the same loads, and are moved together.

    `shapings` says when each is shaped at the latest, so that every one is proofed for its load;
    `wait` is how many minutes one of them stands ready then.
    """

    shapings: Mapping[str, Span]
    wait: int

    @property
    def latest(self) -> int:
        """The last moment to begin with it."""
        return min(self.shapings.values())[0]

    def at(self, moment: int) -> dict[str, Span]:
        """Its shapings, counted from a moment instead of the table."""
        return {
            name: (moment + start, moment + end) for name, (start, end) in self.shapings.items()
        }


@dataclass(frozen=True)
class Held:
    """What a plan is held to.

    Somebody is up when there is something to do (spans of moments, in order), retards are moved
    by `tolerance` minutes at most, no piece stands ready for longer than `wait` minutes, and
    nothing is mixed before a moment.
    """

    awake: Sequence[Span]
    tolerance: int
    wait: int
    not_before: int | None

    def allows(self, mix: int, cold: int) -> bool:
        """Whether a dough may be mixed and chilled then."""
        early = self.not_before is not None and mix < self.not_before
        return not early and _within((cold, cold), self.awake)


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
                max(last[p] - e for e, some in together for p in some),
            )
            for together in _by_load(turns)
        ]
        parts[dough.name] = tuple(sorted(found, key=lambda part: part.latest))
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
            if after[1] < max(start + _APART, end + _COLD)
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


def solve(
    layout: Layout, table: int, held: Held | None = None, as_drawn: bool = False
) -> Times | None:
    """Find the times of a bake that is on the table at a moment.

    Parameters
    ----------
    held : Held, optional
        Without it sleep and waiting are not looked at and there always is an answer.
    as_drawn : bool
        Mix in the order that was drawn, retards moved rather than doughs. Doughs of different
        retards have no such order.

    Returns
    -------
    Times or None
        None when nothing fits.
    """
    doughs, parts = layout.bake.doughs, layout.parts
    if held is not None and (
        any(part.wait > held.wait for some in parts.values() for part in some)
        or not _within((table + layout.heat, table), held.awake)
    ):
        return None
    if as_drawn and len({d.retard_minutes for d in doughs}) > 1:
        return None
    order = list(reversed(doughs))
    if not as_drawn:
        order.sort(key=lambda d: -parts[d.name][0].latest)
    found: dict[str, DoughTimes] = {}
    for dough in order:
        times = _place(layout, dough, table, found, held, as_drawn)
        if times is None:
            return None
        found[dough.name] = times
    again = layout.bake.proof_varies and not as_drawn
    while again:  # each once more, now that the others have their times
        again = False
        for dough in order:
            others = {name: times for name, times in found.items() if name != dough.name}
            times = _place(layout, dough, table, others, held)
            if times is not None:
                tried = {**found, dough.name: times}
                if _cost(layout, dough, table, tried) < _cost(layout, dough, table, found):
                    found, again = tried, True
    loads = {name: (table + on, table + off) for name, (on, off) in layout.loads.items()}
    return Times({d.name: found[d.name] for d in doughs}, loads, table + layout.heat, table)


def _place(
    layout: Layout,
    dough: PlannedDough,
    table: int,
    others: Mapping[str, DoughTimes],
    held: Held | None,
    as_drawn: bool = False,
) -> DoughTimes | None:
    """The nearest retard that hands, and what it is held to, allow; of its ways the best waits.

    As drawn it is mixed before the `others`, and the best waits come before the retard. Tried is to
    begin with the first part earlier and earlier, and with the others as well, or only with it.
    """
    limits, parts = layout.limits, layout.parts[dough.name]
    ons, offs = zip(*layout.loads.values(), strict=True)
    busy = [(table + min(ons), table + max(offs))] * limits.griddle_hands
    busy += [span for times in others.values() for span in times.work]
    before = min((times.mix for times in others.values()), default=None) if as_drawn else None
    step = STEP if held is not None and not layout.bake.proof_varies else 1

    def moves(part: Part, least: int = 0) -> Iterable[int]:
        return count(least) if held is None else range(least, held.wait - part.wait + 1, step)

    @cache
    def free(span: Span) -> bool:
        return (held is None or _within(span, held.awake)) and _is_free(span, busy, limits.hands)

    @cache
    def shaped(first: int, rest: int) -> Mapping[str, Span] | None:
        placed: dict[str, Span] = {}
        for part in reversed(parts):
            ways = (part.at(table - by) for by in moves(part, first if part is parts[0] else rest))
            fits = (w for w in ways if all(map(free, set(w.values()))) and _apart(w, placed))
            own = next(fits, None)
            if own is None:
                return None
            placed |= own
        return placed

    def made(first: int, rest: int, change: int) -> DoughTimes | None:
        shapings = shaped(first, rest)
        if shapings is None:
            return None
        out = min(shapings.values())[0]
        cold = out - dough.retard_minutes - change
        mixed = cold - limits.whole("rise_minutes")
        mix = mixed - limits.whole("mix_minutes")
        if (
            not free((mix, mixed))
            or (before is not None and mixed > before)
            or (held is not None and not held.allows(mix, cold))
        ):
            return None
        return DoughTimes(mix, mixed, cold, out, shapings)

    changes = [0]
    if held is not None and dough.retard_minutes:
        nearest = (c for by in range(STEP, held.tolerance + 1, STEP) for c in (by, -by))
        changes += [c for c in nearest if dough.retard_minutes + c >= STEP]
    best, least = None, (math.inf, 0)
    for change in changes:
        for first in moves(parts[0]):
            if first > least[0]:  # nor any after it: the first part alone would wait for longer
                break
            for rest in {0, first}:
                times = made(first, rest, change)
                if times is not None:
                    cost = _cost(layout, dough, table, {**others, dough.name: times})
                    if cost < least:
                        best, least = times, cost
        if best is not None and before is None:
            break
    return best


def _cost(
    layout: Layout, dough: PlannedDough, table: int, found: Mapping[str, DoughTimes]
) -> tuple[float, int]:
    """How bad it is to wait so: the longest of a dough, and what looks like an effect of proof."""
    chilled = {d.name for d in layout.bake.doughs if d.retard_minutes > 0}
    waits: dict[int, list[int]] = {}
    own, total = [], 0
    for p in layout.bake.pieces:
        if p.dough in found:
            wait = table + layout.loads[p.load][0] - found[p.dough].ready(p)
            total += wait
            own += [wait] * (p.dough == dough.name)
            if p.dough in chilled:
                waits.setdefault(p.proof_minutes, []).append(wait)
    means = [sum(some) / len(some) for some in waits.values()] or [0]
    unlike = _UNLIKE * (max(means) - min(means)) + _LOADS * (max(own) - min(own))
    return max(own) + layout.alike * unlike, total


def _apart(some: Mapping[str, Span], others: Mapping[str, Span]) -> bool:
    """Whether the dough can be put back into the cold between these and the other shapings."""
    pairs = (sorted(pair) for pair in product(set(some.values()), set(others.values())))
    return all(after >= max(start + _APART, end + _COLD) for (start, end), (after, _) in pairs)


def _within(span: Span, awake: Sequence[Span]) -> bool:
    """Whether somebody is up all the while."""
    i = bisect_right(awake, span[0], key=itemgetter(0)) - 1  # spans are in order and apart
    return i >= 0 and span[1] <= awake[i][1]


def _is_free(span: Span, busy: Sequence[Span], hands: int) -> bool:
    """Whether one more thing in this span leaves nobody with two at once."""
    start, end = span
    near = [(max(s, start), min(e, end)) for s, e in busy if s < end and e > start]
    return len(near) < hands or most_at_once(near) < hands
