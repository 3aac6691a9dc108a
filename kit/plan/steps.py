"""A bake's times as steps with words, what does not fit, and what to know besides."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from kit.analysis import words
from kit.plan.clock import (
    Span,
    awake_spans,
    clock_changes,
    local,
    say_clock,
    say_day,
    say_minutes,
    say_moment,
)
from kit.plan.limits import Limits
from kit.plan.proofing import Doubling
from kit.plan.runs import Bake, PlannedLoad, PlannedPiece, to_five
from kit.plan.timing import DoughTimes, Times, most_at_once

__all__ = ["Step", "longest_waits", "make_steps", "misses", "moved", "notes", "record_moved",
           "turns"]  # fmt: skip

#: Who does a step that takes no time, or leaves its hands free.
ANYONE = "anyone"
#: Doughs that are ready so many minutes apart are told of.
_ALIKE = 15


@dataclass(frozen=True)
class Step:
    """One thing that is done, or one stretch in which something stands.

    Parameters
    ----------
    start, end : int
        Moments in minutes (`kit.plan.clock`).
    what : str
        ``mix, rise, chill, retard, shape, proof, wait, heat, load, changeover, rest, table``.
    who : str
        A person, or where it stands meanwhile.
    hands_on : bool
        Somebody must be there.
    dough, load : str
        Empty where it belongs to none, or to several doughs.
    text : str
        What to do, as it is read out.
    """

    start: int
    end: int
    what: str
    who: str
    hands_on: bool
    dough: str
    load: str
    text: str

    @property
    def told(self) -> bool:
        """Worth reading out: somebody starts something."""
        return self.hands_on and self.what != "changeover"


def make_steps(bake: Bake, limits: Limits, times: Times) -> tuple[Step, ...]:
    """All steps of a bake by start."""
    steps = [s for name, t in times.doughs.items() for s in _dough_steps(bake, name, t, times)]
    steps += _load_steps(bake, limits, times)
    order = {name: i for i, name in enumerate(_ORDER)}
    steps.sort(key=lambda s: (s.start, order[s.what], s.end))
    return tuple(_with_people(steps, limits))


_ORDER = ("rest", "changeover", "retard", "chill", "rise", "proof", "wait", "heat", "mix", "shape",
          "load", "table")  # fmt: skip


def _dough_steps(bake: Bake, name: str, t: DoughTimes, times: Times) -> Iterator[Step]:
    """Mix, chill, take out, shape, proof, and wait where the griddle is not free."""
    cold, rise = say_minutes(t.retard_minutes), t.cold - t.mixed
    pieces = [p for p in bake.pieces if p.dough == name]
    mixing = f"mix dough {name} ({say_minutes(t.mixed - t.mix)})"
    if rise:
        mixing += f", leave it to rise for {say_minutes(rise)}"
    elif t.retard_minutes:
        mixing += f", then into the refrigerator for {cold}"
    yield Step(t.mix, t.mixed, "mix", "", True, name, "", mixing)
    if rise:
        text = f"dough {name} rises for {say_minutes(rise)}"
        yield Step(t.mixed, t.cold, "rise", "room", False, name, "", text)
    if t.retard_minutes:
        if rise:
            text = f"dough {name} into the refrigerator for {cold}"
            yield Step(t.cold, t.cold, "chill", ANYONE, True, name, "", text)
        text = f"dough {name} stands in the refrigerator for {cold}"
        yield Step(t.cold, t.out, "retard", "refrigerator", False, name, "", text)
    yield from _shapings(name, t, pieces)
    ready: dict[str, int] = {}
    proofs: dict[Span, set[str]] = {}
    for p in pieces:
        moment = t.ready(p.proof_minutes)
        ready[p.load] = max(ready.get(p.load, 0), moment)
        proofs.setdefault((moment - p.proof_minutes, moment), set()).add(p.load)
    for (shaped, moment), loads in sorted(proofs.items()):
        text = f"dough {name} proofs for {say_minutes(moment - shaped)}"
        load = loads.pop() if len(loads) == 1 else ""
        yield Step(shaped, moment, "proof", "room", False, name, load, text)
    for load, moment in ready.items():
        on = times.loads[load][0]
        if on > moment:
            text = f"dough {name} stands ready for load {load}, {say_minutes(on - moment)}"
            yield Step(moment, on, "wait", "room", False, name, load, text)


def _shapings(name: str, t: DoughTimes, pieces: Sequence[PlannedPiece]) -> Iterator[Step]:
    """Take the dough out and shape it; piece by piece where some proof for less than others."""
    own: dict[Span, list[PlannedPiece]] = {}
    for p in pieces:
        own.setdefault(t.shapings[p.proof_minutes], []).append(p)
    first = min(own)
    for span, some in sorted(own.items()):
        told = words.plural(len(pieces), "piece")
        if len(own) > 1:
            told = words.join(sorted(p.name for p in some))
        text = f"shape {told} of dough {name}"
        if span == first and t.out > t.cold:
            text = f"take dough {name} out and shape {told}"
        text += f" ({say_minutes(span[1] - span[0])})"
        if len(own) > 1:
            text += f", to proof for {say_minutes(max(p.proof_minutes for p in some))}"
        if span != max(own):
            text += "; the rest of it back into the cold"
        yield Step(*span, "shape", "", True, name, "", text)


def _load_steps(bake: Bake, limits: Limits, times: Times) -> Iterator[Step]:
    """Heat, loads, changeovers, rest on the rack, table."""
    first = times.loads[bake.loads[0].name][0]
    if first > times.heat:
        text = f"heat the griddle ({say_minutes(first - times.heat)})"
        yield Step(times.heat, times.heat, "heat", ANYONE, True, "", "", text)
    for i, load in enumerate(bake.loads):
        on, off = times.loads[load.name]
        doughs = [d.name for d in bake.doughs if any(p.dough == d.name for p in load.pieces)]
        only = doughs[0] if len(doughs) == 1 else ""
        yield Step(on, off, "load", "", True, only, load.name, _load_text(load, limits, doughs))
        if i + 1 < len(bake.loads):
            after = times.loads[bake.loads[i + 1].name][0]
            if after > off:
                text = f"wipe the griddle and let it come back to heat, {say_minutes(after - off)}"
                yield Step(off, after, "changeover", "", True, "", "", text)
        rest = limits.whole("rest_minutes")
        if rest:
            text = f"load {load.name} rests on the rack, which finishes the cooking"
            yield Step(off, off + rest, "rest", "rack", False, only, load.name, text)
    yield Step(times.table, times.table, "table", ANYONE, True, "", "", "on the table")


def _load_text(load: PlannedLoad, limits: Limits, doughs: Sequence[str]) -> str:
    """What goes on, when to turn and when to take off."""
    of = f"dough {doughs[0]}" if len(doughs) == 1 else f"doughs {words.join(doughs)}"
    count = words.plural(len(load.pieces), "piece")
    return f"load {load.name} on, {count} of {of}: {turns(load, limits.third_turn_minutes)}"


def turns(load: PlannedLoad, third_turn_minutes: float) -> str:
    """When the pieces of a load are turned and taken off."""
    by_side = _by_side(load)
    text = "; ".join(
        (f"{_places(places)} " if len(by_side) > 1 else "")
        + f"turned after {side:g} min, off after {2 * side:g}"
        for side, places in by_side.items()
    )
    if third_turn_minutes:
        text += f" ({third_turn_minutes:g} more for a third turn where it sounds dense)"
    return text


def _by_side(load: PlannedLoad) -> dict[float, list[int]]:
    """Places by time a side, the shortest first."""
    sides = sorted({p.side_minutes for p in load.pieces})
    return {s: [p.place for p in load.pieces if p.side_minutes == s] for s in sides}


def _places(places: Sequence[int]) -> str:
    return f"place{'s' if len(places) > 1 else ''} {words.join(str(p) for p in places)}"


def _with_people(steps: Sequence[Step], limits: Limits) -> Iterator[Step]:
    """Give every hands-on stretch to the person with the lowest number who is free.

    The griddle keeps its people from the first load to the last.
    """
    session = [s for s in steps if s.what in ("load", "changeover")]
    free = [min(s.start for s in steps)] * limits.hands
    at_griddle = ""
    end = max(s.end for s in session)
    for s in steps:
        who = s.who
        if s.what in ("load", "changeover"):
            if not at_griddle:
                people = [i for i, since in enumerate(free) if since <= s.start]
                people = people[: limits.griddle_hands]
                for i in people:
                    free[i] = end
                at_griddle = words.join(f"person {i + 1}" for i in people) or ANYONE
            who = at_griddle
        elif not who:
            person = next(i for i, since in enumerate(free) if since <= s.start)
            free[person] = s.end
            who = f"person {person + 1}"
        yield Step(s.start, s.end, s.what, who, s.hands_on, s.dough, s.load, s.text)


def misses(
    bake: Bake,
    limits: Limits,
    times: Times,
    steps: Sequence[Step],
    zone: ZoneInfo,
    not_before: int | None,
) -> tuple[str, ...]:
    """What of a plan cannot be done, a sentence without its full stop each."""
    found = list(_asleep(limits, times, steps, zone))
    if not_before is not None:
        found += [
            f"dough {name} would have to be mixed at {say_moment(t.mix, zone)}, before "
            f"{say_moment(not_before, zone)}"
            for name, t in times.doughs.items()
            if t.mix < not_before
        ]
    tubs = most_at_once([(t.mix, t.work[-1][1]) for t in times.doughs.values()])
    if tubs > limits.tubs:
        found.append(f"{tubs} doughs stand at once, for {words.plural(limits.tubs, 'tub')}")
    cold = most_at_once([(t.cold, t.work[-1][0]) for t in times.doughs.values()])
    if cold > limits.shelf_places:
        places = words.plural(limits.shelf_places, "shelf place")
        found.append(f"{cold} doughs are in the refrigerator at once, for {places}")
    for load in bake.overfull(limits.griddle_places):
        most = max(p.place for p in load.pieces)
        has = f"{len(load.pieces)} pieces"
        if len(load.pieces) <= limits.griddle_places:
            has = f"a piece at place {most}"
        places = words.plural(limits.griddle_places, "place")
        found.append(f"load {load.name} has {has}, on a griddle of {places}")
    for name, wait in longest_waits(bake, times).items():
        if wait > limits.whole("wait_minutes"):
            found.append(
                f"pieces of load {name} stand ready for {say_minutes(wait)}, longer than "
                f"{say_minutes(limits.whole('wait_minutes'))}"
            )
    return tuple(found)


def _asleep(limits: Limits, times: Times, steps: Sequence[Step], zone: ZoneInfo) -> Iterator[str]:
    """Steps outside somebody's day; those at the griddle together."""
    spans = awake_spans((times.start, times.table), *limits.awake, zone)
    doing = {"mix": "mixing dough", "chill": "chilling dough", "shape": "taking out dough"}
    session = []
    for s in steps:
        if not s.hands_on or any(a <= s.start and s.end <= b for a, b in spans):
            continue
        if s.what in doing:
            what = "shaping dough" if s.text.startswith("shape") else doing[s.what]
            yield (
                f"{what} {s.dough} at {_from_to(s.start, s.end, zone)} is not within "
                f"{limits.awake_words}"
            )
        else:
            session.append(s)
    if session:
        start, end = session[0].start, session[-1].end
        yield (
            f"the time at the griddle, {_from_to(start, end, zone)}, is not within "
            f"{limits.awake_words}"
        )


def _from_to(start: int, end: int, zone: ZoneInfo) -> str:
    if start == end:
        return say_moment(start, zone)
    return f"{say_clock(start, zone)} to {say_moment(end, zone)}"


def longest_waits(bake: Bake, times: Times) -> dict[str, int]:
    """Load -> the longest wait of its pieces."""
    longest: dict[str, int] = {}
    for p in bake.pieces:
        longest[p.load] = max(longest.get(p.load, 0), times.waited(p))
    return longest


def notes(bake: Bake, times: Times, zone: ZoneInfo, proof: Doubling | None) -> tuple[str, ...]:
    """What to know besides, a sentence without its full stop each."""
    found = [*bake.notes, *record_moved(bake, times), *_out_of_turn(bake, times)]
    found += _shaped_at_once(bake)
    if proof is not None:
        guess, low, high = (say_minutes(to_five(m)) for m in (proof.minutes, proof.low, proof.high))
        found.append(
            f"the warm proof rests on {proof.rests_on}: about {guess} at {proof.room_temp_c:.1f} "
            f"°C, mostly {low} to {high}. Go by the dough, not by the clock"
        )
    found += _waiting(bake, times, proof)
    mixed_sides = [load for load in bake.loads if len(_by_side(load)) > 1]
    if mixed_sides:
        which = words.join(load.name for load in mixed_sides)
        found.append(
            f"load{'s' if len(mixed_sides) > 1 else ''} {which}: pieces with a shorter side time "
            "come off earlier than the others of their load, which lasts as long as its longest "
            "piece"
        )
    found += _changes(times, zone)
    return tuple(found)


def moved(bake: Bake, times: Times) -> list[str]:
    """Retards that are not as planned, a phrase each."""
    retards = [(d.name, times.doughs[d.name].retard_minutes, d.retard_minutes) for d in bake.doughs]
    return [
        f"dough {name} chilled for {say_minutes(minutes)} instead of {say_minutes(asked)}"
        for name, minutes, asked in retards
        if minutes != asked
    ]


def record_moved(bake: Bake, times: Times) -> list[str]:
    """One sentence that asks to write down the retards that were moved; none without."""
    told = words.join(moved(bake, times))
    return [f"{told}: record what it really was"] if told else []


def _shaped_at_once(bake: Bake) -> Iterator[str]:
    """Doughs whose pieces cannot proof for different times."""
    for dough in bake.doughs:
        if len(dough.proofs) > 1 and not dough.retard_minutes:
            asked = words.join(say_minutes(minutes) for minutes, _ in reversed(dough.proofs))
            yield (
                f"pieces of dough {dough.name} are to proof for {asked}, but a dough that is not "
                "chilled is shaped all at once: those of one load proof alike. Chill it, and some "
                "can be shaped later"
            )


def _out_of_turn(bake: Bake, times: Times) -> Iterator[str]:
    """Doughs of one retard that are mixed in another order than the plan drew."""
    alike: dict[int, list[str]] = {}
    for dough in bake.doughs if bake.drawn else ():
        alike.setdefault(dough.retard_minutes, []).append(dough.name)
    for names in alike.values():
        mixed = sorted(names, key=lambda name: times.doughs[name].mix)
        if mixed != names:
            yield (
                f"drawn to be mixed {', '.join(names)}, these doughs are mixed {', '.join(mixed)}, "
                "as their loads and the hours ask for: write down the order as it was"
            )


def _waiting(bake: Bake, times: Times, proof: Doubling | None) -> Iterator[str]:
    """Pieces that wait keep rising: say which, how long, and about how far."""
    waits = {name: wait for name, wait in longest_waits(bake, times).items() if wait > 0}
    if not waits:
        return
    told = words.join(f"load {name} {say_minutes(wait)}" for name, wait in waits.items())
    text = f"pieces that stand ready keep rising: {told}"
    if proof is not None and all(p.proof_minutes == to_five(proof.minutes) for p in bake.pieces):
        ratio = proof.ratio_after(to_five(proof.minutes) + max(waits.values()))
        text += f", at the most to a proof ratio of about {ratio:.1f} instead of 2"
    yield f"{text}. Write down when each load goes on"
    yield from _unequal(bake, times)


def _unequal(bake: Bake, times: Times) -> Iterator[str]:
    """Doughs of one load that have stood ready for different times: proof differs with them."""
    order = {dough.name: i for i, dough in enumerate(bake.doughs)}
    hurried = {d.name: _taken_early(bake, times, d.name) for d in bake.doughs}
    for load in bake.loads:
        pieces = sorted(load.pieces, key=lambda p: (order[p.dough], p.proof_minutes))
        waits = {p.dough: times.waited(p) for p in pieces}
        if _apart(waits) < _ALIKE:
            continue
        told = words.join(f"dough {name} {say_minutes(w)}" for name, w in waits.items())
        by_hands = _apart({name: w - hurried[name] for name, w in waits.items()}) < _ALIKE
        even = "one more pair of hands evens it out" if by_hands else (
            "it comes from doughs that have pieces in earlier loads, too; loads that share all "
            "doughs alike even it out"
        )  # fmt: skip
        yield (
            f"doughs do not stand ready alike before load {load.name} ({told}), so that proof "
            f"differs with the dough: {even}, and a reading of the proof ratio shows it"
        )
        return


def _apart(waits: dict[str, int]) -> int:
    return max(waits.values()) - min(waits.values())


def _taken_early(bake: Bake, times: Times, dough: str) -> int:
    """Minutes that hands, or a retard, had a dough taken out before its first load asks for it."""
    return min(times.waited(p) for p in bake.pieces if p.dough == dough)


def _changes(times: Times, zone: ZoneInfo) -> Iterator[str]:
    """Say what a change of the clock does to the look of the times."""
    for moment, minutes in clock_changes((times.start, times.table), zone):
        way = "forward" if minutes > 0 else "back"
        before = local(moment - 1, zone)
        yield (
            f"the clocks go {way} by {say_minutes(abs(minutes))} after "
            f"{before:%H:%M} on {say_day(moment - 1, zone)}: times of day are by the changed "
            f"clock, lengths are real time"
        )
