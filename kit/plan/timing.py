"""When everything happens: loads from the table back, doughs as late as hands allow.

All times are whole minutes (see `kit.plan.clock`). The loads follow one another without a gap,
the last of them so that its pieces have rested when the table is laid. Every dough is taken out
as late as its first load allows, so that nothing goes on before it is proofed; where hands are
short it is taken out earlier, and its pieces wait. Where proof is varied, the pieces of each load
and proof are shaped by themselves, so that none waits, but for those whose turns come too soon
after one another to put the dough back into the cold. Mixing follows from the retard. Doughs are
placed in turn from the last to the first (those of the same moment in the plan's order), which
always ends: earlier there are free hands.
"""

import math
from bisect import bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from operator import itemgetter

from kit.plan.clock import Span
from kit.plan.limits import Limits
from kit.plan.runs import Bake, PlannedDough, PlannedPiece

__all__ = ["DoughTimes", "Layout", "Times", "lay_out", "most_at_once", "solve"]

#: Steps in which another plan is looked for, in minutes.
STEP = 5
#: Of the minutes to shape a dough, those that go on taking it out and putting the rest back, at
#: every shaping again; and how far apart shapings of one dough begin at the least, with how much
#: in the cold between them. Common practice, no source.
_OUT_AND_BACK = 2
_APART, _COLD = 10, 4


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
    """Moments of a whole bake.

    Parameters
    ----------
    doughs : mapping
        Name -> its times, in plan order.
    loads : mapping
        Name -> on the griddle and off it, in plan order.
    heat, table : int
        When the griddle is lit and when the last pieces have rested.
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
class Layout:
    """What does not depend on the hour: moments before the table (which is 0), all negative.

    Parameters
    ----------
    bake : Bake
    limits : Limits
    loads : mapping
        Name -> on the griddle and off it.
    heat : int
    shapings : mapping
        Dough -> piece -> when it is shaped, after the dough is taken out.
    latest : mapping
        Dough -> the last moment to take it out so that every piece is proofed for its load.
    slack : mapping
        Dough -> how much earlier it may be taken out until a piece waits too long; below 0 is
        none.
    """

    bake: Bake
    limits: Limits
    loads: Mapping[str, Span]
    heat: int
    shapings: Mapping[str, Mapping[str, Span]]
    latest: Mapping[str, int]
    slack: Mapping[str, int]


def lay_out(bake: Bake, limits: Limits) -> Layout:
    """Put the loads back to back before the table, and say when doughs must be out."""
    loads: dict[str, Span] = {}
    end = -limits.whole("rest_minutes")
    for load in reversed(bake.loads):
        loads[load.name] = (end - load.minutes(limits), end)
        end = loads[load.name][0] - limits.whole("changeover_minutes")
    loads = {load.name: loads[load.name] for load in bake.loads}
    heat = min(on for on, _ in loads.values()) - limits.whole("heat_minutes")
    shapings: dict[str, Mapping[str, Span]] = {}
    latest, slack = {}, {}
    shaped_by = _shaped_by(bake, loads, limits)
    for dough in bake.doughs:
        name, own = dough.name, [p for p in bake.pieces if p.dough == dough.name]
        apart = bake.proof_varies and dough.retard_minutes > 0  # a warm dough cannot wait
        shapings[name] = _shapings({p.name: shaped_by[p.name] for p in own}, apart, limits)
        outs = [loads[p.load][0] - p.proof_minutes - shapings[name][p.name][1] for p in own]
        latest[name] = min(outs)
        slack[name] = limits.whole("wait_minutes") - (max(outs) - min(outs))
    return Layout(bake, limits, loads, heat, shapings, latest, slack)


def _shaped_by(bake: Bake, loads: Mapping[str, Span], limits: Limits) -> dict[str, int]:
    """When each piece had best be shaped, so that those of a load are ready together.

    Where all hands are at the griddle nobody shapes meanwhile: those of a later load are ready,
    and wait alike, as soon as those of it are that proof for the shortest.
    """
    first = min(on for on, _ in loads.values())
    found: dict[str, int] = {}
    for load in bake.loads:
        ready, least = loads[load.name][0], min(p.proof_minutes for p in load.pieces)
        if limits.griddle_hands == limits.hands:
            ready = min(ready, first + least)
        found |= {p.name: ready - p.proof_minutes for p in load.pieces}
    return found


def _shapings(shaped_by: Mapping[str, int], apart: bool, limits: Limits) -> dict[str, Span]:
    """When each piece of a dough is shaped, in minutes after the dough is taken out.

    All at once, or, `apart`, those of one moment by themselves, the rest cold again meanwhile;
    moments too near to one another are joined at the earlier, the nearest first.
    """
    shape = limits.whole("shape_minutes")
    if not apart:
        return dict.fromkeys(shaped_by, (0, shape))
    once = min(_OUT_AND_BACK, shape)
    turns: dict[int, list[str]] = {}
    for name, end in sorted(shaped_by.items(), key=itemgetter(1)):
        turns.setdefault(end, []).append(name)
    while True:
        spans = [
            (end - once - math.ceil((shape - once) * len(some) / len(shaped_by)), end)
            for end, some in turns.items()
        ]
        near = [
            (after[1] - end, end, after[1])
            for (start, end), after in pairwise(spans)
            if after[0] < max(start + _APART, end + _COLD)
        ]
        if not near:
            break
        _, end, after_end = min(near)
        turns[end] += turns.pop(after_end)
    return {
        name: (start - spans[0][0], end - spans[0][0])
        for (start, end), some in zip(spans, turns.values(), strict=True)
        for name in some
    }


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
    limits = layout.limits
    if awake is not None and (
        min(layout.slack.values()) < 0 or not _within((table + layout.heat, table), awake)
    ):
        return None
    loads = {name: (table + on, table + off) for name, (on, off) in layout.loads.items()}
    session = (min(on for on, _ in loads.values()), max(off for _, off in loads.values()))
    busy: list[Span] = [session] * limits.griddle_hands
    found: dict[str, DoughTimes] = {}
    doughs = layout.bake.doughs
    if as_drawn and len({d.retard_minutes for d in doughs}) > 1:
        return None
    last_first = list(reversed(doughs))
    for dough in (
        last_first if as_drawn else sorted(last_first, key=lambda d: -layout.latest[d.name])
    ):
        latest = table + layout.latest[dough.name]
        if awake is None:
            times: DoughTimes | None = _as_asked(layout, dough, latest, busy)
        else:
            slack = layout.slack[dough.name]
            if layout.bake.proof_varies:  # to wait would undo it: no earlier than hands are short
                asked = _as_asked(layout, dough, latest, busy).out
                slack = min(slack, math.ceil((latest - asked) / STEP) * STEP)
            before = min((t.mix for t in found.values()), default=None) if as_drawn else None
            times = _held(layout, dough, latest, slack, busy, awake, not_before, tolerance, before)
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


def _as_asked(layout: Layout, dough: PlannedDough, out: int, busy: Sequence[Span]) -> DoughTimes:
    """The exact retard, taken out as late as hands allow."""
    while True:
        times = _times(layout, dough, dough.retard_minutes, out)
        if all(_is_free(span, busy, layout.limits.hands) for span in times.work):
            return times
        out -= 1


def _held(
    layout: Layout,
    dough: PlannedDough,
    latest: int,
    slack: int,
    busy: Sequence[Span],
    awake: Sequence[Span],
    not_before: int | None,
    tolerance: int,
    before: int | None,
) -> DoughTimes | None:
    """The retard nearest to the planned one, taken out as late as hands and sleep allow.

    Where it is to be mixed before another dough, out as late as can be comes first.
    """
    limits = layout.limits
    mix, rise = limits.whole("mix_minutes"), limits.whole("rise_minutes")
    outs = [
        out
        for out in range(latest, latest - slack - 1, -STEP)
        if all(
            _within(span, awake) and _is_free(span, busy, limits.hands)
            for span in _times(layout, dough, dough.retard_minutes, out).work[1:]
        )
    ]
    changes = [0]
    if dough.retard_minutes and outs:
        changes += [c for step in range(STEP, tolerance + 1, STEP) for c in (step, -step)]
    changes = [c for c in changes if not c or dough.retard_minutes + c >= STEP]
    ways = [(change, out) for change in changes for out in outs]
    if before is not None:
        ways.sort(key=lambda way: -way[1])  # the sort is stable: the nearest retard stays first
    for change, out in ways:
        cold = out - dough.retard_minutes - change
        mixing = (cold - rise - mix, cold - rise)
        if (
            (not_before is None or mixing[0] >= not_before)
            and (before is None or mixing[1] <= before)
            and _within(mixing, awake)
            and _within((cold, cold), awake)
            and _is_free(mixing, busy, limits.hands)
        ):
            return _times(layout, dough, dough.retard_minutes + change, out)
    return None


def _times(layout: Layout, dough: PlannedDough, retard: int, out: int) -> DoughTimes:
    limits, shapings = layout.limits, layout.shapings[dough.name]
    cold = out - retard
    mixed = cold - limits.whole("rise_minutes")
    return DoughTimes(
        mix=mixed - limits.whole("mix_minutes"),
        mixed=mixed,
        cold=cold,
        out=out,
        shapings={name: (out + start, out + end) for name, (start, end) in shapings.items()},
    )


def _within(span: Span, awake: Sequence[Span]) -> bool:
    """Whether somebody is up all the while."""
    i = bisect_right(awake, span[0], key=itemgetter(0)) - 1  # spans are in order and apart
    return i >= 0 and span[1] <= awake[i][1]


def _is_free(span: Span, busy: Sequence[Span], hands: int) -> bool:
    """Whether one more thing in this span leaves nobody with two at once."""
    start, end = span
    near = [(max(s, start), min(e, end)) for s, e in busy if s < end and e > start]
    return len(near) < hands or most_at_once(near) < hands
