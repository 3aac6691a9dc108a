"""What of a bake's times does not fit, and what to know besides."""

from collections.abc import Collection, Iterable, Iterator, Sequence
from itertools import pairwise
from zoneinfo import ZoneInfo

from kit import words
from kit.plan.timetable.clock import (
    Span,
    awake_spans,
    clock_changes,
    local,
    most_at_once,
    say_clock,
    say_day,
    say_minutes,
    say_moment,
)
from kit.plan.timetable.limits import Limits
from kit.plan.timetable.proofing import Doubling
from kit.plan.timetable.runs import Bake, PlannedPiece, to_five
from kit.plan.timetable.steps import Step, by_side
from kit.plan.timetable.timing import Times

__all__ = ["longest_waits", "misses", "moved", "not_apart", "notes", "record_moved"]

#: Doughs that are ready so many minutes apart are told of.
_ALIKE = 15
#: Minutes that food which must be kept cold may be warm.
_MOST_WARM = 4 * 60
#: So many shapings more than doughs are a few.
_FEW = 3


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
    found += not_apart(bake, times)
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
    found += [*_parts(bake, times), *_colder(times)]
    if proof is not None:
        guess, low, high = (say_minutes(to_five(m)) for m in (proof.minutes, proof.low, proof.high))
        found.append(
            f"the warm proof rests on {proof.rests_on}: about {guess} at {proof.room_temp_c:.1f} "
            f"°C, mostly {low} to {high}. Go by the dough, not by the clock"
        )
    found += _waiting(bake, times, proof)
    mixed_sides = [load for load in bake.loads if len(by_side(load)) > 1]
    if mixed_sides:
        which = words.join(load.name for load in mixed_sides)
        found.append(
            f"load{'s' if len(mixed_sides) > 1 else ''} {which}: pieces with a shorter side time "
            "come off earlier than the others of their load, which lasts as long as its longest "
            "piece"
        )
    found += [*_cooler(bake, times), *_warm(bake, times), *_changes(times, zone)]
    return tuple(found)


def _cooler(bake: Bake, times: Times) -> Iterator[str]:
    """Loads that are to be cooler than those right before them."""
    cooler = [
        (load.griddle_temp_c - after.griddle_temp_c, load.name, after.name)
        for load, after in pairwise(bake.loads)
        if load.griddle_temp_c is not None and after.griddle_temp_c is not None
        and after.griddle_temp_c < load.griddle_temp_c
    ]  # fmt: skip
    if cooler:
        told = words.join(
            f"load {b} is to be {by:g} °C cooler than load {a}" for by, a, b in cooler
        )
        _, before, after_it = cooler[0]
        gap = say_minutes(times.loads[after_it][0] - times.loads[before][1])
        yield (
            f"{told} before it, and a griddle cools slowly: where {gap} are too short, leave more "
            "between loads (changeover_minutes), and go by the thermometer"
        )


def _warm(bake: Bake, times: Times) -> Iterator[str]:
    """Doughs that are out of the cold for longer than a widely adopted code allows.

    Four hours between 5 and 57 °C: FDA Food Code, 3-501.19 (see `kit.formula.safety`).
    """
    warm = {}
    for name, t in times.doughs.items():
        first = t.cold - t.mix if t.retard_minutes else t.out - t.mix
        last = max(
            times.loads[p.load][0] - t.shapings[p.name][0] for p in bake.pieces if p.dough == name
        )
        if first + last > _MOST_WARM:
            warm[name] = say_minutes(first + last)
    if warm:
        yield (
            "mixing, rise, proof and wait together, pieces stand warm for up to "
            f"{words.join(f'{told} (dough {name})' for name, told in warm.items())}: with milk or "
            "egg in the dough one widely adopted code allows four hours. Ask your food authority "
            "whether it holds here"
        )


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


def not_apart(bake: Bake, times: Times) -> list[str]:
    """Doughs with pieces of one load that proof for different times but are shaped at once."""
    found = []
    for dough in bake.doughs:
        together: dict[tuple[str, Span], set[int]] = {}
        for p in bake.pieces:
            if p.dough == dough.name:
                key = p.load, times.doughs[p.dough].shapings[p.name]
                together.setdefault(key, set()).add(p.proof_minutes)
        alike = {m for some in together.values() if max(some) - min(some) >= to_five(0)
                 for m in some}  # fmt: skip
        if not alike:
            continue
        why, remedy = "their turns come too soon after one another", "Set them further apart"
        if not dough.retard_minutes:
            why, remedy = "a dough that is not chilled is shaped all at once", "Chill it some hours"
        found.append(
            f"pieces of dough {dough.name} are to proof for "
            f"{words.join(map(say_minutes, sorted(alike)))}, but {why}: those of one load proof "
            f"alike, so that this is not varied. {remedy}, or change proof from dough to dough"
        )
    return found


def _parts(bake: Bake, times: Times) -> Iterator[str]:
    """How often doughs are taken out to be shaped, and what is shaped together."""
    spans = {name: set(t.shapings.values()) for name, t in times.doughs.items()}
    many = sum(map(len, spans.values()))
    if many > len(spans) + _FEW:
        told = words.join(f"{n} {words.plural(len(own), 'time')}" for n, own in spans.items())
        yield (
            f"doughs are taken out {many} times to shape a part of them ({told}): if that is too "
            "often, plan fewer doughs or pieces, or change proof from dough to dough"
        )
    turns: dict[tuple[str, Span], set[tuple[str, int]]] = {}
    for p in bake.pieces if bake.proof_varies else ():
        if times.doughs[p.dough].retard_minutes:
            key = p.dough, times.doughs[p.dough].shapings[p.name]
            turns.setdefault(key, set()).add((p.load, p.proof_minutes))
    joined = dict.fromkeys(f"dough {name}" for (name, _), of in turns.items() if len(of) > 1)
    if joined:
        yield (
            f"some pieces of {words.join(list(joined))} would be shaped too soon after one another "
            "to put the dough back into the cold: they are shaped together, at the earlier moment, "
            "and those that could have been shaped later wait ready for it"
        )


def _colder(times: Times) -> Iterator[str]:
    """What is shaped later has stood cold for longer."""
    later = {name: max(t.work)[0] - t.out for name, t in times.doughs.items()}
    told = words.join(f"dough {name} by up to {say_minutes(m)}" for name, m in later.items() if m)
    if told:
        yield (
            "pieces shaped later, for a later load or a shorter proof, stand cold for longer than "
            f"their dough's retard, {told}. That is little beside a day in "
            "the cold, much beside a few hours; what the shorter proof does cannot be told from it"
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
    told = words.join(f"for {say_minutes(wait)} before load {name}" for name, wait in waits.items())
    text = f"pieces that stand ready keep rising, {told}"
    proofs = {p.proof_minutes for p in bake.pieces}
    if proof is not None and proofs == {to_five(proof.minutes)}:
        ratio = proof.ratio_after(to_five(proof.minutes) + max(waits.values()))
        text += f", at the most to a proof ratio of about {ratio:.1f} instead of 2"
    elif proof is not None and len(proofs) > 1:
        text += _reached(bake, times, proof)
    yield f"{text}. Write down when each load goes on"
    yield from _unequal(bake, times)


def _reached(bake: Bake, times: Times, proof: Doubling) -> str:
    """How far pieces of each planned proof get by the time their load goes on."""
    warm: dict[int, list[int]] = {}
    for p in sorted(bake.pieces, key=lambda p: p.proof_minutes):
        warm.setdefault(p.proof_minutes, []).append(p.proof_minutes + times.waited(p))
    ends = {
        asked: dict.fromkeys(f"{proof.ratio_after(end(had)):.1f}" for end in (min, max))
        for asked, had in warm.items()
    }
    told = words.join(
        f"those for a proof ratio of {proof.ratio_after(asked):.1f} reach about {' to '.join(both)}"
        for asked, both in ends.items()
    )
    spans = list(warm.values())
    if all(max(some) < min(more) for some, more in pairwise(spans)):
        return f"; {told}"
    return (
        f"; {told}, so that what was to differ overlaps: fewer pieces or more places on the "
        "griddle keep it apart, and each piece's own proof ratio tells what it really had"
    )


def _unequal(bake: Bake, times: Times) -> Iterator[str]:
    """Pieces of one load that have stood ready for different times: proof differs with them.

    Said of doughs, of the first such load; of what is to proof for different times, of the worst,
    and of the bake.
    """
    order = {dough.name: i for i, dough in enumerate(bake.doughs)}
    hurried: dict[tuple[str, Span], int] = {}  # shaped before the first of its loads asks for it
    for p in bake.pieces:
        turn = p.dough, times.doughs[p.dough].shapings[p.name]
        hurried[turn] = min(hurried.get(turn, times.waited(p)), times.waited(p))
    found: dict[str, str] = {}
    worst = 0
    for load in bake.loads:
        pieces = sorted(load.pieces, key=lambda p: (order[p.dough], p.proof_minutes))
        waits = [times.waited(p) for p in pieces]
        if _range(waits) < _ALIKE:
            continue
        doughs: dict[str, list[int]] = {}
        for p, wait in zip(pieces, waits, strict=True):
            doughs.setdefault(p.dough, []).append(wait)
        own = max(map(_range, doughs.values()))
        means = _means(pieces, times)
        apart = max(own, _range(means.values()))
        if apart >= max(_ALIKE, worst + 1):
            worst = apart
            told = words.join(
                f"{say_minutes(mean)} on the average for a proof of {say_minutes(minutes)}"
                for minutes, mean in means.items()
            )
            if len(bake.loads) > 1:
                over_all = _means(bake.pieces, times).values()
                told += f"; over the whole bake {words.join(map(say_minutes, over_all))}"
            found["proof"] = (
                f"pieces of different proof do not stand ready alike before load {load.name} "
                f"({told}), so that they differ by that, too: go by each piece's own proof ratio"
            )
        if _range(waits) == own:
            continue
        shaped = [times.doughs[p.dough].shapings[p.name] for p in pieces]
        over = [
            wait - hurried[p.dough, span]
            for p, span, wait in zip(pieces, shaped, waits, strict=True)
        ]
        told = words.join(
            f"dough {name} {' to '.join(dict.fromkeys(map(say_minutes, (min(some), max(some)))))}"
            for name, some in doughs.items()
        )
        why = "hands or waking hours are short to shape them all right before it" if (
            _range(over) < _ALIKE
        ) else (
            "it comes from doughs that have pieces in earlier loads, too; loads that share all "
            "doughs alike even it out"
        )  # fmt: skip
        found.setdefault("dough", (
            f"doughs do not stand ready alike before load {load.name} ({told}), so that proof "
            f"differs with the dough: {why}, and a reading of the proof ratio shows it"
        ))  # fmt: skip
    yield from found.values()


def _means(pieces: Iterable[PlannedPiece], times: Times) -> dict[int, int]:
    """Minutes to proof -> mean wait of those pieces."""
    proofs: dict[int, list[int]] = {}
    for p in pieces:
        proofs.setdefault(p.proof_minutes, []).append(times.waited(p))
    return {minutes: round(sum(some) / len(some)) for minutes, some in sorted(proofs.items())}


def _range(waits: Collection[int]) -> int:
    return max(waits) - min(waits)


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
