"""The running bake: where every dough and load is, what is next and when, in words.

It is read from the records each time, so it is right after a restart, and by real time, so it
is right when the clocks are changed.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pandas as pd

from kit import words
from kit.plan.timetable.clock import clock_changes, say_minutes
from kit.records.bench.rows import Due, Place, dough_place, load_places
from kit.records.bench.stages import SAYS, BakeTimes, Noted, minutes_between, say_long
from kit.records.things import Bake, Dough
from kit.records.when import say_when
from kit.shown import InLines

__all__ = ["Row", "Running", "run"]

#: how long a dough stands warm before it is told of
_WARM_MINUTES = 120
#: nothing stands warm, or lies on the griddle, so long: it was written in afterwards, or given
#: up, and what was noted last is the end of it
_OVER_MINUTES = 24 * 60
#: a change of the clocks so many minutes after the last note concerns no bake
_LOOKED_BACK = 4 * 1440


@dataclass(frozen=True, kw_only=True)
class Row(Place):
    """Where one dough, load or part of a load is at a moment, and what is next."""

    now: datetime
    zone: str

    @property
    def kind(self) -> str:
        """Dough or load."""
        return "dough" if isinstance(self.things[0], Dough) else "load"

    @property
    def title(self) -> str:
        """The name, said in full."""
        return f"dough {self.name}" if self.kind == "dough" else self.name

    @property
    def elapsed_minutes(self) -> float | None:
        """Real time since it is there."""
        return None if self.since is None else max(0.0, minutes_between(self.since, self.now))

    @property
    def overdue_minutes(self) -> float:
        """How long ago the next stage should have been; 0 when it is not late."""
        return max(0.0, minutes_between(self.due.end, self.now)) if self.due else 0.0

    @property
    def lateness(self) -> str:
        """Whether the last time was written down later."""
        return self.last.lateness.removeprefix(", ") if self.last else ""

    @property
    def expected(self) -> str:
        """By the clock, in words, when the next stage is to be."""
        if self.due is None:
            return ""
        first, last = (say_when(x, self.zone, self.now) for x in (self.due.start, self.due.end))
        if self.due.at is None:
            return f"between {first} and {last}"
        at = f"at {say_when(self.due.at, self.zone, self.now)}"
        return at if self.due.start == self.due.end else f"about {at}, mostly {first} to {last}"

    @property
    def says(self) -> str:
        """All of it in a sentence."""
        text = f"{self.title}: {self.where}"
        if self.elapsed_minutes is not None:
            text += f" for {say_long(self.elapsed_minutes)}"
        if self.lateness:
            text += f" ({self.lateness})"
        if self.next:
            text += f"; next: {self.next}"
        if self.due is not None:
            text += f" {self.expected} ({self.due.basis}), {_left(self.due, self.now)}"
        return text


@dataclass(frozen=True, repr=False)
class Running(InLines):
    """A bake while it runs."""

    bake: Bake
    now: datetime  # UTC
    rows: tuple[Row, ...]  # doughs, then loads
    checks: tuple[str, ...]  # what to know besides

    @property
    def overdue(self) -> tuple[Row, ...]:
        """What should have been done by now, the longest first."""
        late = [row for row in self.rows if row.overdue_minutes > 0]
        return tuple(sorted(late, key=lambda row: -row.overdue_minutes))

    def __repr__(self) -> str:
        late = f", {len(self.overdue)} overdue" if self.overdue else ""
        return f"<Running {self.bake}: {len(self.rows)} under way{late}>"

    def __str__(self) -> str:
        head = f"{words.capital(str(self.bake))} at {say_when(self.now, self.bake.zone)}"
        if not self.rows:
            return f"{head}: no dough yet. Add one, then note when it was mixed."
        lines = [f"{head}:", *(f"  {row.says}" for row in self.rows)]
        return "\n".join([*lines, *(f"Note: {check}." for check in self.checks)])

    def to_frame(self) -> pd.DataFrame:
        """One row a dough, load or part of a load.

        ``name, where, since, elapsed_minutes, next, due, due_from, due_to, overdue_minutes,
        basis``; times by the kitchen's clock.
        """
        zone = ZoneInfo(self.bake.zone)

        def local(at: datetime | None) -> datetime | None:
            return None if at is None else at.astimezone(zone)

        data = [
            (
                r.name, r.where, local(r.since), r.elapsed_minutes, r.next,
                *map(local, (r.due.at, r.due.start, r.due.end) if r.due else (None,) * 3),
                r.overdue_minutes, r.due.basis if r.due else "",
            )
            for r in self.rows
        ]  # fmt: skip
        names = ["name", "where", "since", "elapsed_minutes", "next", "due", "due_from", "due_to",
                 "overdue_minutes", "basis"]  # fmt: skip
        frame = pd.DataFrame(data, columns=names)
        for name in ("since", "due", "due_from", "due_to"):
            frame[name] = pd.to_datetime(frame[name], utc=True).dt.tz_convert(zone)
        return frame.astype({"elapsed_minutes": float, "overdue_minutes": float})


def run(times: BakeTimes, now: datetime, contains: bool | None = None) -> Running:
    """Say where everything of a bake is at a moment (aware).

    `contains` says whether milk or egg is in the dough; None when there is no formula.
    """
    now = now.astimezone(UTC)
    zone = times.bake.zone
    places = [dough_place(times, dough) for dough in times.doughs]
    places += load_places(times, now)
    rows = tuple(_row(place, now, zone) for place in places)
    return Running(times.bake, now, rows, tuple(_checks(times, now, rows, contains)))


def _over(since: datetime | None, now: datetime) -> bool:
    return since is not None and minutes_between(since, now) > _OVER_MINUTES


def _row(place: Place, now: datetime, zone: str) -> Row:
    if place.where != "in the fridge" and _over(place.since, now):
        place = replace(place, since=None, due=None)
    if not place.next:
        place = replace(place, due=None)
    return Row(**vars(place), now=now, zone=zone)


def _left(due: Due, now: datetime) -> str:
    """Say how long it is until then; `kit/panels/recording/running.js` says it alike."""
    if (late := minutes_between(due.end, now)) >= 1:
        return f"overdue by {say_long(late)}"
    left = minutes_between(now, due.at or due.start)
    return f"in {say_long(left)}" if left >= 1 else "due now"


def _checks(
    times: BakeTimes, now: datetime, rows: tuple[Row, ...], contains: bool | None
) -> Iterator[str]:
    zone = times.bake.zone
    noted = sorted(n.at for own in times.noted.values() for n in own.values())
    if noted and noted[-1] > now:
        yield (
            f"the clock of this computer shows {say_when(now, zone)}, earlier than what was noted "
            f"last ({say_when(noted[-1], zone)}): set it right, and look at the times"
        )
    yield from _gaps(times)
    yield from _in_parts(times)
    for row in rows:
        if row.overdue_minutes >= 1 and row.next == "doubled":
            yield (f"dough {row.name} is past its time: go by the dough, not by the clock")
    if any(row.where.startswith("on the griddle") and row.since for row in rows):
        yield "the griddle is hot: do not leave it, or a flame, alone"
    if contains is not False:
        yield from _warm(times, now, bool(contains))
    if noted:
        start, end = (int(at.timestamp() // 60) for at in (noted[0], now))
        end = min(end, int(noted[-1].timestamp() // 60) + _LOOKED_BACK)
        for moment, minutes in clock_changes((start, end), ZoneInfo(zone)):
            way = "forward" if minutes > 0 else "back"
            at = datetime.fromtimestamp(moment * 60, UTC)
            yield (
                f"the clocks went {way} by {say_minutes(abs(minutes))} (it was then "
                f"{say_when(at, zone)}): lengths are real time"
            )


def _in_parts(times: BakeTimes) -> Iterator[str]:
    """Say what is shaped later of a dough that is out of the fridge and not on the griddle."""
    for dough in times.doughs:
        later, noted = times.shaped_later(dough), times.of(dough)
        if later and ("shaped" in noted or "out of the fridge" in noted) and not _on(times, dough):
            yield (
                "to be shaped later and cold until then, as planned to proof for less: "
                f"{words.join(p.code for p in later)} of {dough} (when is on the bench sheet). "
                "The time noted stays that of the first shaping"
            )


def _gaps(times: BakeTimes) -> Iterator[str]:
    """Name the stages that must have been and are not noted."""
    needed = {
        "dough": (("in the fridge", "out of the fridge", ("shaped", "doubled")),),
        "load": (
            ("", "on the griddle", ("turned", "third turn", "off the griddle")),
            ("on the griddle", "turned", ("third turn", "off the griddle", "rested")),
            ("turned", "off the griddle", ("rested",)),
        ),
    }
    for thing in (*times.doughs, *times.loads):
        own = dict(times.noted.get(thing.id, {}))
        more: list[Noted] = []
        if isinstance(thing, Dough):
            more = _on(times, thing)
        else:
            for piece in times.on[thing.id]:
                own |= times.noted.get(piece.id, {})
        for before, missing, after in needed[thing.level]:
            if missing in own or (before and before not in own):
                continue
            later = [own[name].at for name in after if name in own] + [one.at for one in more]
            if any(not before or at > own[before].at for at in later):
                yield (
                    f"nobody wrote down when {thing} {SAYS[missing]}: note the time while somebody "
                    "remembers, or leave it missing"
                )


def _on(times: BakeTimes, dough: Dough) -> list[Noted]:
    loads = [times.of(load) for load in times.loads_of[dough.id]]
    return [noted["on the griddle"] for noted in loads if "on the griddle" in noted]


def _warm(times: BakeTimes, now: datetime, contains: bool) -> Iterator[str]:
    """Say which doughs have stood warm for long, where milk or egg may be in them."""
    warm = {dough.code: _warm_minutes(times, dough, now) for dough in times.doughs}
    long = [
        f"dough {code} for {say_long(minutes)}"
        for code, minutes in warm.items()
        if minutes >= _WARM_MINUTES
    ]
    if long:
        yield (
            f"stood warm in all: {words.join(long)}. {'With' if contains else 'If there is'} milk "
            "or egg in it, a dough may count as food that must be kept at 5 °C (41 °F) or "
            "colder; one widely adopted code (FDA Food Code, 3-501.19) allows up to four hours "
            "between, after which it is cooked, served or thrown away. Whether that holds for "
            "yours is for your food authority to say"
        )


def _warm_minutes(times: BakeTimes, dough: Dough, now: datetime) -> float:
    """Minutes a dough has stood outside the refrigerator, from mixing to its last load.

    To what was noted last where nothing more came for a day.
    """
    noted = times.of(dough)
    if not noted:
        return 0.0
    loads = times.loads_of[dough.id]
    on = _on(times, dough)
    last = max(one.at for one in (*noted.values(), *on))
    end = last if (on and len(on) == len(loads)) or _over(last, now) else now
    start = min(one.at for one in noted.values())
    warm = minutes_between(start, end)
    into, out = noted.get("in the fridge"), noted.get("out of the fridge")
    if into:
        # nobody wrote down when it came out: cold until the next thing that was noted
        after = [one.at for one in (*noted.values(), *on) if one.at > into.at]
        warm -= minutes_between(into.at, out.at if out else min(after, default=end))
    return max(0.0, warm)
