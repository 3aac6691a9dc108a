"""A bake's times as steps with words."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from kit import words
from kit.plan.timetable.clock import Span, say_minutes
from kit.plan.timetable.limits import Limits
from kit.plan.timetable.runs import Bake, PlannedLoad, PlannedPiece
from kit.plan.timetable.timing import DoughTimes, Times

__all__ = ["Step", "by_side", "make_steps", "turns"]

#: Who does a step that takes no time, or leaves its hands free.
ANYONE = "anyone"


@dataclass(frozen=True)
class Step:
    """One thing that is done, or one stretch in which something stands.

    Parameters
    ----------
    start, end : int
        Moments in minutes (`kit.plan.timetable.clock`).
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
    ready: dict[str, set[int]] = {}
    proofs: dict[Span, set[str]] = {}
    for p in pieces:
        moment = t.ready(p)
        ready.setdefault(p.load, set()).add(moment)
        proofs.setdefault((moment - p.proof_minutes, moment), set()).add(p.load)
    for (shaped, moment), loads in sorted(proofs.items()):
        text = f"dough {name} proofs for {say_minutes(moment - shaped)}"
        load = loads.pop() if len(loads) == 1 else ""
        yield Step(shaped, moment, "proof", "room", False, name, load, text)
    for load, moments in ready.items():
        on, first = times.loads[load][0], min(moments)
        if on > first:
            long = ("up to " if len(moments) > 1 else "") + say_minutes(on - first)
            text = f"dough {name} stands ready for load {load}, {long}"
            yield Step(first, on, "wait", "room", False, name, load, text)


def _shapings(name: str, t: DoughTimes, pieces: Sequence[PlannedPiece]) -> Iterator[Step]:
    """Take the dough out and shape it; piece by piece where some proof for less than others."""
    own: dict[Span, list[PlannedPiece]] = {}
    for p in pieces:
        own.setdefault(t.shapings[p.name], []).append(p)
    first = min(own)
    for span, some in sorted(own.items()):
        told = words.plural(len(pieces), "piece")
        if len(own) > 1:
            told = words.join(sorted((p.name for p in some), key=lambda n: (len(n), n)))
        text = f"shape {told} of dough {name}"
        if span == first and t.out > t.cold:
            text = f"take dough {name} out and shape {told}"
        text += f" ({say_minutes(span[1] - span[0])})"
        if len(own) > 1:
            proofs: dict[int, list[str]] = {}
            for p in sorted(some, key=lambda p: (p.proof_minutes, len(p.name), p.name)):
                proofs.setdefault(p.proof_minutes, []).append(p.name)
            each = [
                say_minutes(minutes) + (f" ({words.join(names)})" if len(proofs) > 1 else "")
                for minutes, names in proofs.items()
            ]
            text += f", to proof for {words.join(each)}"
        if span != max(own):
            text += "; the rest of it back into the cold"
        yield Step(*span, "shape", "", True, name, "", text)


def _load_steps(bake: Bake, limits: Limits, times: Times) -> Iterator[Step]:
    """Heat, loads, changeovers, rest on the rack, table."""
    first = times.loads[bake.loads[0].name][0]
    if first > times.heat:
        text = f"heat the griddle{_to(bake.loads[0])} ({say_minutes(first - times.heat)})"
        yield Step(times.heat, times.heat, "heat", ANYONE, True, "", "", text)
    for i, load in enumerate(bake.loads):
        on, off = times.loads[load.name]
        doughs = [d.name for d in bake.doughs if any(p.dough == d.name for p in load.pieces)]
        only = doughs[0] if len(doughs) == 1 else ""
        yield Step(on, off, "load", "", True, only, load.name, _load_text(load, limits, doughs))
        if i + 1 < len(bake.loads):
            after = times.loads[bake.loads[i + 1].name][0]
            if after > off:
                heat = f"let it come{_to(bake.loads[i + 1]) or ' back to heat'}"
                text = f"wipe the griddle and {heat}, {say_minutes(after - off)}"
                yield Step(off, after, "changeover", "", True, "", "", text)
        rest = limits.whole("rest_minutes")
        if rest:
            text = f"load {load.name} rests on the rack, which finishes the cooking"
            yield Step(off, off + rest, "rest", "rack", False, only, load.name, text)
    yield Step(times.table, times.table, "table", ANYONE, True, "", "", "on the table")


def _to(load: PlannedLoad, before: str = " to") -> str:
    """How hot the griddle is to be for a load; nothing where the plan does not say."""
    heat = load.griddle_temp_c
    return "" if heat is None else f"{before} {words.amount('griddle_temp_c', heat)}"


def _load_text(load: PlannedLoad, limits: Limits, doughs: Sequence[str]) -> str:
    """What goes on, when to turn and when to take off."""
    of = f"dough {doughs[0]}" if len(doughs) == 1 else f"doughs {words.join(doughs)}"
    count = words.plural(len(load.pieces), "piece")
    on = f"load {load.name} on{_to(load, ' at')}"
    return f"{on}, {count} of {of}: {turns(load, limits.third_turn_minutes)}"


def turns(load: PlannedLoad, third_turn_minutes: float) -> str:
    """When the pieces of a load are turned and taken off."""
    sides = by_side(load)
    text = "; ".join(
        (f"{_places(places)} " if len(sides) > 1 else "")
        + f"turned after {side:g} min, off after {2 * side:g}"
        for side, places in sides.items()
    )
    if third_turn_minutes:
        text += f" ({third_turn_minutes:g} more for a third turn where it sounds dense)"
    return text


def by_side(load: PlannedLoad) -> dict[float, list[int]]:
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
