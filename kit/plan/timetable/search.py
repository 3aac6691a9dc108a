"""When everything happens: doughs as late as hands allow.

A day is hands, of which the griddle keeps its own, and what takes some: mixing a dough, and shaping
it. Where hands are short a dough is shaped earlier than its loads ask for (see `latest`), and its
pieces wait. Where proof is varied and hands are short to mix a dough, all of it is earlier, or what
is shaped first; where they are to shape some of it, its pieces of that load are, however they
proof: to wait unequally would look like an effect of proof. Of the ways to place a dough that are
tried the best weighs its longest wait against how unlike the proofs of chilled doughs wait on the
average (a warm dough cannot wait otherwise). Mixing follows from the first shaping and the retard.
Doughs are placed in turn from the last to the first (those of the same moment in the plan's order),
and so are their parts, which always ends: earlier there are free hands.
"""

from bisect import bisect_right
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import count
from operator import itemgetter

from kit.plan.timetable.clock import Span, most_at_once
from kit.plan.timetable.latest import Layout
from kit.plan.timetable.runs import PlannedDough
from kit.plan.timetable.timing import DoughTimes, Times

__all__ = ["Held", "solve"]

#: How bad a way is; of those that are alike the one that waits less in all is better.
Cost = tuple[float, int]
#: Steps in which another plan is looked for, in minutes.
STEP = 5
#: So many minutes of the longest wait are worth one by which pieces of one proof wait longer than
#: those of another, on the average of the bake; and one by which those of a dough wait unlike. Of
#: 200 random plans more fit, wait for shorter and more alike so than by the longest wait alone.
_UNLIKE, _LOADS = 4, 0.05


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
    doughs = layout.bake.doughs
    if held is not None and not _within((table + layout.heat, table), held.awake):
        return None
    if as_drawn and len({d.retard_minutes for d in doughs}) > 1:
        return None
    order = list(reversed(doughs))
    if not as_drawn:
        order.sort(key=lambda d: -layout.parts[d.name][0].spans[0][0])
    found: dict[str, DoughTimes] = {}
    for dough in order:
        placed = _place(layout, dough, table, found, held, as_drawn)
        if placed is None:
            return None
        found[dough.name] = placed[1]
    again = layout.bake.proof_varies and not as_drawn
    while again:  # each once more, now that the others have their times
        again = False
        for dough in order:
            others = {name: times for name, times in found.items() if name != dough.name}
            placed = _place(layout, dough, table, others, held)
            proofs = _chilled_waits(layout, table, others)
            if placed and placed[0] < _cost(
                layout, dough, _waits(layout, table, dough, found[dough.name]), proofs
            ):
                found, again = {**found, dough.name: placed[1]}, True
    loads = {name: (table + on, table + off) for name, (on, off) in layout.loads.items()}
    return Times({d.name: found[d.name] for d in doughs}, loads, table + layout.heat, table)


def _place(
    layout: Layout,
    dough: PlannedDough,
    table: int,
    others: Mapping[str, DoughTimes],
    held: Held | None,
    as_drawn: bool = False,
) -> tuple[Cost, DoughTimes] | None:
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
    mix_minutes, rise_minutes = limits.whole("mix_minutes"), limits.whole("rise_minutes")

    @cache
    def free(start: int, end: int) -> bool:
        span = (start, end)
        return (held is None or _within(span, held.awake)) and _is_free(span, busy, limits.hands)

    found: dict[tuple[int, int], int | None] = {}

    def free_from(i: int, least: int) -> int | None:
        """By how many minutes hands let a part be earlier, `least` or more."""
        if (i, least) not in found:
            every: Iterable[int] = count(least, step)
            if held is not None:
                every = range(least, held.wait - parts[i].wait + 1, step)
            own = [(table + start, table + end) for start, end in parts[i].spans]
            by = next((by for by in every if all(free(s - by, e - by) for s, e in own)), None)
            last = by if by is not None else max(every, default=least)
            found.update(((i, busy_at), by) for busy_at in range(least, last + 1, step))
            found[i, least] = by
        return found[i, least]

    def earlier(i: int, least: int, placed: Sequence[Span]) -> tuple[int, list[Span]] | None:
        """The same beside those `placed`, and from when to when the dough is out for it."""
        while (by := free_from(i, least)) is not None:
            spans = [(start - by, end - by) for start, end in parts[i].taken]
            if all(
                until <= start or end <= other  # the rest of the dough is cold again between them
                for start, end in spans
                for other, until in placed
            ):
                return by, spans
            least = by + step
        return None

    @cache
    def all_later(least: int) -> tuple[list[int], list[Span]] | None:
        """The same of all parts but the first."""
        moved: list[int] = []
        placed: list[Span] = []
        for i in reversed(range(1, len(parts))):
            found = earlier(i, least, placed)
            if found is None:
                return None
            moved.insert(0, found[0])
            placed += found[1]
        return moved, placed

    @cache
    def shaped(first: int, rest: int) -> tuple[list[int], int] | None:
        """By how many minutes each part is earlier, and when the dough is taken out."""
        after = all_later(rest)
        found = earlier(0, first, after[1]) if after else None
        if not after or not found:
            return None
        return [found[0], *after[0]], table + min(found[1] + after[1])[0]

    @cache
    def mixed(out: int, change: int) -> tuple[int, int, int] | None:
        """When mixing begins and ends, and when the dough is chilled."""
        cold = out - dough.retard_minutes - change
        mix, end = cold - rise_minutes - mix_minutes, cold - rise_minutes
        if (
            not free(mix, end)
            or (before is not None and end > before)
            or (held is not None and not held.allows(mix, cold))
        ):
            return None
        return mix, end, cold

    if any(free_from(i, 0) is None for i in range(len(parts))):
        return None
    changes = [0]
    if held is not None and dough.retard_minutes:
        nearest = (c for by in range(STEP, held.tolerance + 1, STEP) for c in (by, -by))
        changes += [c for c in nearest if dough.retard_minutes + c >= STEP]
    proofs = _chilled_waits(layout, table, others)
    best: tuple[Cost, DoughTimes] | None = None
    for change in changes:
        for first in count(0, step):  # until the first part alone would wait for too long
            over = best is not None and parts[0].wait + first > best[0][0]
            if over or free_from(0, first) is None:
                break
            for rest in (0, first) if first and len(parts) > 1 else (0,):
                way = shaped(first, rest)
                mixing = mixed(way[1], change) if way else None
                if not way or not mixing:
                    continue
                moved, out = way
                own = [
                    (minutes, wait + by)
                    for part, by in zip(parts, moved, strict=True)
                    for minutes, wait in part.waits
                ]
                cost = _cost(layout, dough, own, proofs)
                if best is None or cost < best[0]:
                    shapings = {
                        name: (table + start - by, table + end - by)
                        for part, by in zip(parts, moved, strict=True)
                        for name, (start, end) in part.shapings.items()
                    }
                    best = cost, DoughTimes(*mixing, out, shapings)
        if best is not None and before is None:
            break
    return best


def _waits(
    layout: Layout, table: int, dough: PlannedDough, times: DoughTimes
) -> list[tuple[int, int]]:
    """Of each piece of a dough its minutes to proof, and how long it stands ready."""
    return [
        (p.proof_minutes, table + layout.loads[p.load][0] - times.ready(p))
        for p in layout.bake.pieces
        if p.dough == dough.name
    ]


def _chilled_waits(
    layout: Layout, table: int, found: Mapping[str, DoughTimes]
) -> list[tuple[int, int]]:
    """The same of all the chilled doughs that have their times."""
    chilled = (d for d in layout.bake.doughs if d.retard_minutes and d.name in found)
    return [wait for d in chilled for wait in _waits(layout, table, d, found[d.name])]


def _cost(
    layout: Layout,
    dough: PlannedDough,
    own: Sequence[tuple[int, int]],
    others: Sequence[tuple[int, int]],
) -> Cost:
    """How bad it is to wait so: the longest of a dough, and what looks like an effect of proof."""
    waits = [wait for _, wait in own]
    longest = max(waits)
    if not layout.alike:
        return longest, sum(waits)
    proofs: dict[int, list[int]] = {}
    for minutes, wait in (*others, *(own if dough.retard_minutes else ())):
        proofs.setdefault(minutes, []).append(wait)
    means = [sum(some) / len(some) for some in proofs.values()] or [0]
    unlike = _UNLIKE * (max(means) - min(means)) + _LOADS * (longest - min(waits))
    return longest + unlike, sum(waits)


def _within(span: Span, awake: Sequence[Span]) -> bool:
    """Whether somebody is up all the while."""
    i = bisect_right(awake, span[0], key=itemgetter(0)) - 1  # spans are in order and apart
    return i >= 0 and span[1] <= awake[i][1]


def _is_free(span: Span, busy: Sequence[Span], hands: int) -> bool:
    """Whether one more thing in this span leaves nobody with two at once."""
    start, end = span
    near = [(max(s, start), min(e, end)) for s, e in busy if s < end and e > start]
    return len(near) < hands or most_at_once(near) < hands
