"""When everything happens: loads from the table back, doughs as late as hands allow.

All times are whole minutes (see `clock`). A day is hands, of which the griddle keeps its
own, and what takes some: mixing a dough, and shaping it. The loads follow one another without a
gap, the last of them so that its pieces have rested when the table is laid. Every dough is shaped
as late as its first load allows, so that nothing goes on before it is proofed; where hands are
short it is shaped earlier, and its pieces wait. Where proof is varied, the pieces of each load and
proof are shaped by themselves, so that none waits, but for those whose turns come too soon after
one another to put the dough back into the cold. Where hands are short to mix a dough, all of it is
earlier; where they are to shape some of it, its pieces of that load are, however they proof: to
wait unequally would look like an effect of proof. The longest wait is as short as can be. Mixing
follows from the first shaping and the retard. Doughs are placed in turn from the last to the first
(those of the same moment in the plan's order), and so are their parts, which always ends: earlier
there are free hands.
"""

import math
from bisect import bisect_right
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import chain, count, pairwise, product
from operator import itemgetter

from kit.plan.timetable.clock import Span
from kit.plan.timetable.limits import Limits
from kit.plan.timetable.runs import Bake, PlannedDough, PlannedPiece

__all__ = ["DoughTimes", "Layout", "Times", "lay_out", "most_at_once", "solve"]

#: Steps in which another plan is looked for, in minutes.
STEP = 5
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

    `shapings` says when each is shaped at the latest, so that every one is proofed for its load,
    `slack` how much earlier it may be until one waits too long; below 0 is none.
    """

    shapings: Mapping[str, Span]
    slack: int

    @property
    def latest(self) -> int:
        """The last moment to begin with it."""
        return min(self.shapings.values())[0]

    def at(self, moment: int) -> dict[str, Span]:
        """Its shapings, counted from a moment instead of the table."""
        return {
            name: (moment + start, moment + end) for name, (start, end) in self.shapings.items()
        }

    def early(self, shapings: Mapping[str, Span], table: int) -> int:
        """Minutes by which it is shaped before the latest moment."""
        name = next(iter(self.shapings))
        return table + self.shapings[name][0] - shapings[name][0]


@dataclass(frozen=True)
class Layout:
    """What does not depend on the hour: moments before the table (which is 0), all negative.

    `loads` says when each is on the griddle and off it, `parts` those of each dough in the order
    they are begun.
    """

    bake: Bake
    limits: Limits
    loads: Mapping[str, Span]
    heat: int
    parts: Mapping[str, tuple[Part, ...]]


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
                limits.whole("wait_minutes")
                - max(last[p] - e for e, some in together for p in some),
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
    layout: Layout,
    table: int,
    awake: Sequence[Span] | None = None,
    not_before: int | None = None,
    tolerance: int = 0,
    as_drawn: bool = False,
) -> Times | None:
    """Find the times of a bake that is on the table at a moment.

    Parameters
    ----------
    awake : sequence of (int, int), optional
        When given, the plan is held to it, and to `limits.wait_minutes`. Without it sleep and
        waiting are not looked at and there always is an answer.
    not_before : int, optional
        No mixing before; looked at only together with `awake`.
    tolerance : int
        Minutes by which a retard may be moved; likewise.
    as_drawn : bool
        Mix in the order that was drawn, retards moved rather than doughs; likewise. Doughs of
        different retards have no such order.

    Returns
    -------
    Times or None
        None when nothing fits.
    """
    limits, doughs = layout.limits, layout.bake.doughs
    if awake is not None and (
        min(part.slack for some in layout.parts.values() for part in some) < 0
        or not _within((table + layout.heat, table), awake)
    ):
        return None
    if as_drawn and len({d.retard_minutes for d in doughs}) > 1:
        return None
    loads = {name: (table + on, table + off) for name, (on, off) in layout.loads.items()}
    session = (min(on for on, _ in loads.values()), max(off for _, off in loads.values()))
    busy: list[Span] = [session] * limits.griddle_hands
    found: dict[str, DoughTimes] = {}
    order = list(reversed(doughs))
    if not as_drawn:
        order.sort(key=lambda d: -layout.parts[d.name][0].latest)
    for dough in order:
        times = asked = None
        if awake is None or layout.bake.proof_varies:
            times = asked = _place(layout, dough, table, busy)
        if awake is not None:
            before = min((t.mix for t in found.values()), default=None) if as_drawn else None
            held = (awake, not_before, tolerance, before)
            times = _place(layout, dough, table, busy, *held, asked=asked)
        if times is None:
            return None
        found[dough.name] = times
        busy += times.work
    return Times({d.name: found[d.name] for d in doughs}, loads, table + layout.heat, table)


def most_at_once(spans: Sequence[Span]) -> int:
    """The largest number of spans that share a moment; those that only touch share none.

    Examples
    --------
    >>> most_at_once([(0, 10), (10, 20), (5, 12)])
    2
    """
    ends = sorted([(s, 1) for s, e in spans if e > s] + [(e, -1) for s, e in spans if e > s])
    most = now = 0
    for _, change in ends:
        now += change
        most = max(most, now)
    return most


def _place(
    layout: Layout, dough: PlannedDough, table: int, busy: Sequence[Span],
    awake: Sequence[Span] | None = None, not_before: int | None = None, tolerance: int = 0,
    before: int | None = None, asked: DoughTimes | None = None,
) -> DoughTimes | None:  # fmt: skip
    """As late as hands, and whoever is `awake`, allow; the retard nearest to planned.

    Where it is to be mixed `before` another dough, out as late as can be comes first. To wait would
    undo what is varied: where times are `asked`, they are tried first, and no part is earlier than
    hands are short then.
    """
    limits, parts = layout.limits, layout.parts[dough.name]

    def free(span: Span) -> bool:
        return (awake is None or _within(span, awake)) and _is_free(span, busy, limits.hands)

    def moves(part: Part) -> Iterable[int]:
        if awake is None:
            return count()
        slack = part.slack
        if asked is not None:
            slack = min(slack, math.ceil(part.early(asked.shapings, table) / STEP) * STEP)
        return range(0, slack + 1, STEP)

    def shaped(least: int) -> Mapping[str, Span] | None:
        placed: dict[str, Span] = {}
        for part in reversed(parts):
            ways = (part.at(table - by) for by in moves(part) if by >= least)
            fits = (w for w in ways if all(map(free, set(w.values()))) and _apart(w, placed))
            own = next(fits, None)
            if own is None:
                return None
            placed |= own
        return placed

    def made(change: int, shapings: Mapping[str, Span]) -> DoughTimes | None:
        out = min(shapings.values())[0]
        cold = out - dough.retard_minutes - change
        mixed = cold - limits.whole("rise_minutes")
        mix = mixed - limits.whole("mix_minutes")
        if (
            (not_before is not None and mix < not_before)
            or (before is not None and mixed > before)
            or (awake is not None and not _within((cold, cold), awake))
            or not free((mix, mixed))
        ):
            return None
        return DoughTimes(mix, mixed, cold, out, shapings)

    def longest(times: DoughTimes) -> int:
        return max(part.early(times.shapings, table) for part in parts)

    every: Iterable[Mapping[str, Span]]
    every = (placed for by in moves(parts[0]) if (placed := shaped(by)) is not None)
    if (
        asked is not None
        and all(part.early(asked.shapings, table) <= part.slack for part in parts)
        and all(map(free, set(asked.shapings.values())))
    ):
        every = chain([asked.shapings], every)
    ways: Iterable[tuple[int, Mapping[str, Span]]] = ((0, placed) for placed in every)
    if tolerance and dough.retard_minutes:
        found = list(every)
        changes = [0, *(c for by in range(STEP, tolerance + 1, STEP) for c in (by, -by))]
        ways = [(c, f) for c in changes if not c or dough.retard_minutes + c >= STEP for f in found]
        if before is not None:  # the sort is stable: the nearest retard stays first
            ways.sort(key=lambda way: -min(way[1].values())[0])
    best = next((times for way in ways if (times := made(*way)) is not None), None)
    if awake is None and best is not None and len(parts) > 1:  # all a little, or one part a lot
        others = [made(0, placed) for by in range(longest(best)) if (placed := shaped(by))]
        best = min((best, *(times for times in others if times is not None)), key=longest)
    return best


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
