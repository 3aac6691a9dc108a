"""Plans near one that does not fit: what to change least so that it does."""

from collections.abc import Iterable, Iterator
from dataclasses import replace
from itertools import combinations, islice
from typing import TYPE_CHECKING

from kit import words
from kit.plan.timetable.clock import awake_spans, say_minutes, say_moment
from kit.plan.timetable.latest import lay_out
from kit.plan.timetable.remarks import moved
from kit.plan.timetable.runs import Bake
from kit.plan.timetable.search import Held, solve

if TYPE_CHECKING:
    from kit.plan.timetable.scheduled import Schedule

__all__ = ["offers"]

#: How far, and in what steps, another time on the table is looked for, in minutes.
FURTHEST, STEP = 48 * 60, 15
#: So many ways to leave doughs out are tried at most.
MOST_WAYS = 60
#: Minutes that pieces may wait sooner than that anything else is changed, where proof is varied.
SOON = 10


def offers(s: "Schedule") -> "tuple[Schedule, ...]":
    """Find plans that fit near one that does not.

    Tried in turn: a longer wait; retards moved within the stated tolerance; another time on the
    table; both; a longer wait where proof is varied, which it blurs; doughs left out. Loads that do
    not fit on the griddle are filled anew first.

    Returns
    -------
    tuple of Schedule
        With what was changed; the least change first, at most one of each kind.
    """
    if s.fits:
        return ()
    bake = s.bake
    if bake.overfull(s.limits.griddle_places):
        bake = bake.filled(s.limits.griddle_places)
    tolerance = int(60 * s.limits.retard_tolerance_hours)
    found = []
    stay = _try(s, bake, [0], 0, SOON)
    if stay is None:
        chilled = _try(s, bake, [0], tolerance) if tolerance else None
        moved = _try(s, bake, _shifts(), 0)
        both = None
        if tolerance and chilled is None:
            most = FURTHEST if moved is None else abs(moved.times.table - s.times.table) - 1
            both = _try(s, bake, _shifts(most), tolerance)
        waiting = _try(s, bake, [0], 0, FURTHEST) if bake.proof_varies else None
        found = [plan for plan in (chilled, moved, both, waiting) if plan is not None]
        fewer = _fewer(s, bake, at_any_time=not found)
        if fewer is not None and (len(fewer.bake.doughs) > 1 or not found):
            found.append(fewer)
    else:
        found = [stay]
    return tuple(replace(plan, change=_change(s, plan)) for plan in found)


def _shifts(most: int = FURTHEST) -> Iterator[int]:
    """Minutes to move the table by, the nearest first, later before earlier."""
    for step in range(STEP, most + 1, STEP):
        yield step
        yield -step


def _try(
    s: "Schedule", bake: Bake, shifts: Iterable[int], tolerance: int, more: int = 0
) -> "Schedule | None":
    """The first of these times on the table that fits.

    Where proof is varied, to wait would undo it: nothing waits for so much `more` than hands ask.
    """
    table = s.times.table
    reach = (s.times.start - FURTHEST - tolerance - 1440, table + FURTHEST)
    awake = awake_spans(reach, *s.limits.awake, s.zone)
    layout = lay_out(bake, s.limits)
    wait = s.limits.whole("wait_minutes")
    asked = solve(layout, table)
    if bake.proof_varies and asked is not None:
        wait = min(wait, max(map(asked.waited, bake.pieces)) + more)
    held = Held(awake, tolerance, wait, s.not_before)
    for shift in shifts:
        hours = (layout, table + shift, held)
        times = (solve(*hours, as_drawn=True) if tolerance else None) or solve(*hours)
        if times is not None:
            plan = replace(s, times=times, bake=bake)
            return plan if plan.fits else None  # tubs and shelf do not look at the clock
    return None


def _fewer(s: "Schedule", bake: Bake, at_any_time: bool) -> "Schedule | None":
    """As few doughs left out as possible, the last of the plan first."""
    names = [d.name for d in reversed(bake.doughs)]
    ways = (out for n in range(1, len(names)) for out in combinations(names, n))
    for out in islice(ways, MOST_WAYS):
        plan = _try(s, bake.without(out), [0], 0)
        if plan is not None:
            return plan
    for n in range(1, len(names) if at_any_time else 1):
        plan = _try(s, bake.without(names[:n]), _shifts(), 0)
        if plan is not None:
            return plan
    return None


def _change(s: "Schedule", plan: "Schedule") -> str:
    """What is different, in words, to go on after "nearest that fits"."""
    kept = {d.name for d in plan.bake.doughs}
    left_out = [d.name for d in s.bake.doughs if d.name not in kept]
    parts = []
    if left_out:
        parts.append(f"leave out dough{'s' if len(left_out) > 1 else ''} {words.join(left_out)}")
    if s.bake.overfull(s.limits.griddle_places):
        count = words.plural(len(plan.bake.loads), "load")
        parts.append(f"the pieces in {count} of up to {s.limits.griddle_places}")
    parts += moved(plan.bake, plan.times)
    shift = plan.times.table - s.times.table
    if shift:
        way = f"{say_minutes(abs(shift))} {'later' if shift > 0 else 'earlier'}"
        if s.forward:
            moment = say_moment(plan.times.first_mix, s.zone)
            parts.append(f"start mixing at {moment}, everything {way}")
        else:
            moment = say_moment(plan.times.table, s.zone)
            parts.append(f"on the table at {moment}, {way}")
    for name, times in plan.times.doughs.items():
        asked = s.times.doughs[name].shapings
        before = {asked[piece][0] + shift - start for piece, (start, _) in times.shapings.items()}
        if max(before) > 0 and not left_out and not s.bake.overfull(s.limits.griddle_places):
            by = ("up to " if len(before) > 1 else "") + say_minutes(max(before))
            parts.append(f"dough {name} taken out {by} earlier, to wait ready")
    return words.join(parts) or "other hours for the same steps"
