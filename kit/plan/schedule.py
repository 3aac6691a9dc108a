"""The times of a bake: back from the table, or forward from the mixing.

Examples
--------
>>> import pandas as pd
>>> runs = pd.DataFrame({
...     "dough": ["A"] * 6 + ["B"] * 6, "load": [1] * 6 + [2] * 6,
...     "retard_hours": [16] * 6 + [40] * 6, "side_minutes": [6] * 12,
... })
>>> plan = schedule(runs, table_time="2026-11-05 10:00", zone="Europe/Berlin")
>>> plan
<Schedule 2 doughs, 12 pieces, 2 loads: 14:45 on Tuesday 3 November to 10:00 on Thursday 5 \
November, fits>
>>> plan.fits, plan.doughs.loc[0, "take_out"].strftime("%H:%M")
(True, '06:46')
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import cached_property
from html import escape
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import pandas as pd

from kit.analysis import words
from kit.errors import InputError
from kit.plan import clock
from kit.plan.clock import say_clock, say_day, say_moment
from kit.plan.limits import Limits
from kit.plan.nearest import Offer, offers
from kit.plan.proofing import Doubling, doubling
from kit.plan.runs import Bake, read_runs
from kit.plan.steps import Step, make_steps, misses, notes
from kit.plan.timing import Times, lay_out, solve

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["Limits", "Offer", "Schedule", "Step", "schedule"]


@dataclass(frozen=True, eq=False)
class Schedule:
    """What happens when, and what does not fit.

    Parameters
    ----------
    bake : Bake
        Doughs and loads in plan order.
    limits : Limits
    zone : ZoneInfo
        Of the kitchen's clock.
    proof : Doubling or None
        What the warm proof rests on; None where the plan gives every time itself.
    times : Times
        Every moment, in minutes of UTC.
    forward : bool
        Reckoned from the mixing instead of from the table.
    not_before : int or None
        Mixing was not to start before.
    steps : tuple of Step
        Everything that is done or waits, by start.
    misses : tuple of str
        What does not fit; empty when all fits.
    notes : tuple of str
        What to know besides.
    """

    bake: Bake
    limits: Limits
    zone: ZoneInfo
    proof: Doubling | None
    times: Times
    forward: bool
    not_before: int | None
    steps: tuple[Step, ...]
    misses: tuple[str, ...]
    notes: tuple[str, ...]
    _given: tuple[str, ...] = field(default=(), repr=False)

    @property
    def fits(self) -> bool:
        """Whether everything asked for can be done."""
        return not self.misses

    @property
    def checks(self) -> tuple[str, ...]:
        """What does not fit, then what to know besides."""
        return (*self.misses, *self.notes)

    @property
    def table_time(self) -> datetime:
        """When the last pieces have rested, by the kitchen's clock."""
        return clock.local(self.times.table, self.zone)

    @property
    def mix_time(self) -> datetime:
        """When the first dough is mixed, by the kitchen's clock."""
        return clock.local(self.times.first_mix, self.zone)

    @cached_property
    def offers(self) -> tuple[Offer, ...]:
        """Plans near this one that fit, the nearest first; empty when this one fits."""
        return offers(self)

    @property
    def nearest(self) -> "Schedule | None":
        """The nearest plan that fits: this one if it does, None when none was found."""
        if self.fits:
            return self
        return self.offers[0].schedule if self.offers else None

    def fitted(self) -> "Schedule":
        """The nearest that fits and bakes all the same pieces, its first note saying the change.

        This one where it fits, and where nothing near it does.
        """
        pieces = {p.name for p in self.bake.pieces}
        for offer in self.offers:
            if {p.name for p in offer.schedule.bake.pieces} == pieces:
                note = f"changed so that it fits: {offer.change}"
                return replace(offer.schedule, notes=(note, *offer.schedule.notes))
        return self

    @property
    def doughs(self) -> pd.DataFrame:
        """One row a dough, by the kitchen's clock.

        Returns
        -------
        DataFrame
            ``dough, mix, cold, take_out, shaped, ready`` (its first piece), ``ready_early,
            ready_late`` (the range of the proof time; missing where the plan gives the time
            itself), ``first_load, retard_hours``.
        """
        rows = []
        for name, t in self.times.doughs.items():
            own = [p for p in self.bake.pieces if p.dough == name]
            proof = min(p.proof_minutes for p in own)
            moments: dict[str, float | None] = {
                "mix": t.mix, "cold": t.cold, "take_out": t.out, "shaped": t.shaped,
                "ready": t.shaped + proof, "ready_early": None, "ready_late": None,
                "first_load": min(self.times.loads[p.load][0] for p in own),
            }  # fmt: skip
            if self.proof is not None:
                moments["ready_early"] = t.shaped + proof * self.proof.low / self.proof.minutes
                moments["ready_late"] = t.shaped + proof * self.proof.high / self.proof.minutes
            row: dict[str, Any] = {"dough": name}
            for column, moment in moments.items():
                row[column] = None if moment is None else clock.local(round(moment), self.zone)
            rows.append({**row, "retard_hours": t.retard_minutes / 60})
        return pd.DataFrame(rows)

    @property
    def loads(self) -> pd.DataFrame:
        """One row a load: ``load, on, off, minutes, pieces, waited_minutes`` (longest wait)."""
        pieces = self.pieces
        rows = []
        for load in self.bake.loads:
            on, off = self.times.loads[load.name]
            waited = pieces.loc[pieces["load"] == load.name, "waited_minutes"].max()
            rows.append(
                {
                    "load": load.name,
                    "on": clock.local(on, self.zone),
                    "off": clock.local(off, self.zone),
                    "minutes": off - on,
                    "pieces": len(load.pieces),
                    "waited_minutes": int(waited),
                }
            )
        return pd.DataFrame(rows)

    @property
    def pieces(self) -> pd.DataFrame:
        """One row a piece, load by load.

        Returns
        -------
        DataFrame
            ``piece, blind, dough, load, place, side_minutes, proof_minutes`` (until ready),
            ``waited_minutes`` (ready before the load), ``on``, and minutes after ``on``:
            ``turn_after, off_after, off_after_third_turn``.
        """
        rows = []
        for p in self.bake.pieces:
            on = self.times.loads[p.load][0]
            rows.append(
                {
                    "piece": p.name,
                    "blind": p.blind,
                    "dough": p.dough,
                    "load": p.load,
                    "place": p.place,
                    "side_minutes": p.side_minutes,
                    "proof_minutes": p.proof_minutes,
                    "waited_minutes": on - self.times.doughs[p.dough].shaped - p.proof_minutes,
                    "on": clock.local(on, self.zone),
                    "turn_after": p.side_minutes,
                    "off_after": p.bake_minutes,
                    "off_after_third_turn": p.bake_minutes + self.limits.third_turn_minutes,
                }
            )
        return pd.DataFrame(rows)

    def __repr__(self) -> str:
        counts = ", ".join(words.plural(n, word) for n, word in self._counts())
        fits = "fits" if self.fits else f"{words.plural(len(self.misses), 'thing')} amiss"
        start, end = (say_moment(m, self.zone) for m in (self.times.start, self.times.table))
        return f"<Schedule {counts}: {start} to {end}, {fits}>"

    def __str__(self) -> str:
        lines = [self.headline]
        day = ""
        for step in self.steps:
            if not step.told:
                continue
            today = say_day(step.start, self.zone)
            if today != day:
                lines.append(f"{today}:")
                day = today
            lines.append(f"  {say_clock(step.start, self.zone)}  {step.text}")
        lines += [f"Does not fit: {miss}." for miss in self.misses]
        lines += [self.nearest_words] if self.misses else []
        lines += [f"Note: {note}." for note in self.notes]
        return "\n".join(lines)

    @property
    def headline(self) -> str:
        """What it is in one sentence."""
        counts = words.join(words.plural(n, word) for n, word in self._counts())
        bake = f"Bake {self.bake.name}: " if self.bake.name else ""
        whole = f"{bake}{counts}, on the table at {say_moment(self.times.table, self.zone)}"
        return f"{whole} ({self.zone.key})."

    @property
    def nearest_words(self) -> str:
        """What would fit, in words; empty when this plan does."""
        if self.fits:
            return ""
        if not self.offers:
            return (
                "No plan near this one fits. More hands, tubs or shelf places, a longer day or "
                "fewer doughs would help."
            )
        first, *others = (offer.change for offer in self.offers)
        more = f" Or {'; or '.join(others)}." if others else ""
        return f"Nearest that fits: {first}.{more}"

    def _repr_html_(self) -> str:
        rows = "".join(
            f"<tr><td>{escape(say_day(s.start, self.zone))}</td>"
            f"<td>{escape(say_clock(s.start, self.zone))}</td><td>{escape(s.text)}</td></tr>"
            for s in self.steps
            if s.told
        )
        remarks = [f"Does not fit: {miss}." for miss in self.misses]
        remarks += [self.nearest_words] if self.misses else []
        remarks += [f"{words.capital(note)}." for note in self.notes]
        listed = "".join(f"<li>{escape(remark)}</li>" for remark in remarks)
        return (
            f"<p><strong>{escape(self.headline)}</strong></p>"
            f"<table><thead><tr><th>Day</th><th>Time</th><th>What</th></tr></thead>"
            f"<tbody>{rows}</tbody></table>" + (f"<ul>{listed}</ul>" if listed else "")
        )

    def to_frame(self) -> pd.DataFrame:
        """Every step, one tidy row each.

        Returns
        -------
        DataFrame
            ``start, end`` (the kitchen's clock, with zone), ``minutes`` (real), ``what``,
            ``who`` (a person, or where it stands meanwhile), ``hands_on, dough, load, text``.
        """
        rows = [
            {
                "start": s.start,
                "end": s.end,
                "minutes": s.end - s.start,
                "what": s.what,
                "who": s.who,
                "hands_on": s.hands_on,
                "dough": s.dough,
                "load": s.load,
                "text": s.text,
            }
            for s in self.steps
        ]
        table = pd.DataFrame(rows)
        for column in ("start", "end"):
            moments = pd.to_datetime(table[column] * 60, unit="s", utc=True)
            table[column] = moments.dt.tz_convert(self.zone)
        return table

    def plot(self, ax: "Axes | None" = None) -> "Axes":
        """Draw doughs, griddle and rack along the time, idle stretches drawn short."""
        from kit.plan import timeline

        return timeline.schedule(self, ax)

    def _counts(self) -> list[tuple[int, str]]:
        return [
            (len(self.bake.doughs), "dough"),
            (len(self.bake.pieces), "piece"),
            (len(self.bake.loads), "load"),
        ]

    def again(self, times: Times, bake: Bake | None = None) -> "Schedule":
        """The same kitchen with other times, or with other doughs and loads."""
        return _build(
            self.bake if bake is None else bake,
            self.limits,
            self.zone,
            self.proof,
            times,
            self.forward,
            self.not_before,
            self._given,
        )


def schedule(
    runs: pd.DataFrame,
    *,
    zone: str,
    table_time: str | datetime | None = None,
    mix_time: str | datetime | None = None,
    limits: Limits | None = None,
    room_temp_c: float = 22.0,
    measured: Sequence[float | tuple[float, float]] = (),
    retard_hours: float | None = None,
) -> Schedule:
    """Say when everything happens: mix, chill, take out, shape, proof, bake, rest, table.

    Parameters
    ----------
    runs : DataFrame
        One bake's rows of a plan, one a piece: ``dough``, and where there are such ``bake,
        load, place, piece, blind, retard_hours, side_minutes, proof_minutes`` (from shaping to
        the griddle), ``proof_ratio`` and ``proof_temp_c``.
    zone : str
        Time zone of the kitchen's clock, such as ``"Europe/Berlin"``.
    table_time, mix_time : str or datetime
        When the last pieces are to be eaten, or when the first dough is mixed; without an
        offset by the kitchen's clock. With both, it is reckoned back from the table, and
        mixing is not to start before `mix_time`.
    limits : Limits, optional
        What the kitchen allows and how long things take.
    room_temp_c : float
        Where the pieces proof.
    measured : sequence, optional
        The baker's own times to double, see `kit.plan.proofing.doubling`.
    retard_hours : float, optional
        For doughs of which the plan says nothing; 0 is not chilled.

    Returns
    -------
    Schedule
        Always the plan as asked: retards exact, nothing on the griddle before it is proofed,
        never more at once than there are hands. What does not fit (sleep, tubs, shelf, places,
        waiting) stands in its `misses`, plans that fit in its `offers`.

    Raises
    ------
    InputError, DataError, NotFoundError
        A time, zone, limit or row that cannot be.
    """
    limits = Limits() if limits is None else limits
    where = clock.read_zone(zone)
    if table_time is None and mix_time is None:
        raise InputError(
            "table_time",
            None,
            "is needed when there is no mix_time",
            "Give one of them, for example table_time='2026-11-05 09:00'.",
        )
    given: list[str] = []
    moments: dict[str, int] = {}
    for name, value in (("table_time", table_time), ("mix_time", mix_time)):
        if value is not None:
            moments[name], note = clock.read_moment(value, where, name)
            given += [note] if note else []
    if len(moments) == 2 and moments["table_time"] <= moments["mix_time"]:
        raise InputError(
            "table_time",
            f"{say_moment(moments['table_time'], where)}",
            f"is not after mix_time, {say_moment(moments['mix_time'], where)}",
            "Bread comes after the mixing: exchange the two, or give one of them.",
        )
    known: dict[float, Doubling] = {}

    def doubling_at(temp_c: float | None) -> Doubling:
        """Work out each temperature once; the room's only when it is needed."""
        at = room_temp_c if temp_c is None else temp_c
        if at not in known:
            known[at] = doubling(at, measured)
        return known[at]

    bake = read_runs(runs, limits, doubling_at, retard_hours)
    proof = known.get(room_temp_c) or next(iter(known.values()), None)
    forward = table_time is None
    table = 0 if forward else moments["table_time"]
    layout = lay_out(bake, limits)
    times = solve(layout, table)
    if times is not None and forward:
        times = solve(layout, moments["mix_time"] - times.first_mix)
    if times is None:  # pragma: no cover - as asked there always are times
        msg = "no times were found"
        raise RuntimeError(msg)
    not_before = moments["mix_time"] if len(moments) == 2 else None
    return _build(bake, limits, where, proof, times, forward, not_before, tuple(given))


def _build(
    bake: Bake,
    limits: Limits,
    zone: ZoneInfo,
    proof: Doubling | None,
    times: Times,
    forward: bool,
    not_before: int | None,
    given: tuple[str, ...],
) -> Schedule:
    """Put steps and words to times."""
    steps = make_steps(bake, limits, times)
    return Schedule(
        bake=bake,
        limits=limits,
        zone=zone,
        proof=proof,
        times=times,
        forward=forward,
        not_before=not_before,
        steps=steps,
        misses=misses(bake, limits, times, steps, zone, not_before),
        notes=(*given, *notes(bake, limits, times, zone, proof)),
        _given=given,
    )
