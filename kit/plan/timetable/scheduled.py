"""A bake with all its times: what happens when, what does not fit, and what would."""

from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from html import escape
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import pandas as pd

from kit import words
from kit.alike import Alike
from kit.plan.timetable import clock
from kit.plan.timetable.clock import say_clock, say_day, say_moment
from kit.plan.timetable.limits import Limits
from kit.plan.timetable.nearest import offers
from kit.plan.timetable.proofing import Doubling
from kit.plan.timetable.remarks import longest_waits, misses, not_apart, notes, record_moved
from kit.plan.timetable.runs import Bake
from kit.plan.timetable.steps import Step, make_steps
from kit.plan.timetable.timing import Times

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["Schedule"]


@dataclass(frozen=True)
class Schedule(Alike):
    """What happens when, and what does not fit.

    Parameters
    ----------
    bake : Bake
        Doughs and loads in plan order.
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
    given : tuple of str
        What is to be known of the times that were asked for.
    change : str
        What was changed so that it fits; empty for a plan as asked.
    """

    bake: Bake
    limits: Limits
    zone: ZoneInfo
    proof: Doubling | None
    times: Times
    forward: bool
    not_before: int | None
    given: tuple[str, ...] = ()
    change: str = ""

    @cached_property
    def steps(self) -> tuple[Step, ...]:
        """Everything that is done or waits, by start."""
        return make_steps(self.bake, self.limits, self.times)

    @cached_property
    def misses(self) -> tuple[str, ...]:
        """What does not fit; empty when all fits."""
        return misses(
            self.bake, self.limits, self.times, self.steps, self.zone, self.not_before
        )  # fmt: skip

    @cached_property
    def notes(self) -> tuple[str, ...]:
        """What to know besides."""
        told = (*self.given, *notes(self.bake, self.times, self.zone, self.proof))
        if not self.change:
            return told
        again = record_moved(self.bake, self.times)  # the change names them already
        record = "; record how long each retard really was" if again else ""
        changed = f"changed so that it fits: {self.change}{record}"
        return (changed, *(note for note in told if note not in again))

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
    def offers(self) -> "tuple[Schedule, ...]":
        """Plans near this one that fit, the nearest first; empty when this one fits."""
        return offers(self)

    @property
    def nearest(self) -> "Schedule | None":
        """The nearest plan that fits: this one if it does, None when none was found."""
        if self.fits:
            return self
        return self.offers[0] if self.offers else None

    def fitted(self) -> "Schedule":
        """The nearest that fits and bakes all the same pieces, its first note saying the change.

        This one where it fits, and where nothing near it does.
        """
        pieces = {p.name for p in self.bake.pieces}
        alike = (s for s in self.offers if {p.name for p in s.bake.pieces} == pieces)
        return next(alike, self)

    @property
    def doughs(self) -> pd.DataFrame:
        """One row a dough, by the kitchen's clock.

        Returns
        -------
        DataFrame
            ``dough, mix, cold, take_out, shaped, ready`` (the first of it), ``ready_early,
            ready_late`` (the range of the proof time; missing where the plan gives the time
            itself), ``first_load, retard_hours`` (until it is first taken out).
        """
        rows = []
        for name, t in self.times.doughs.items():
            own = [p for p in self.bake.pieces if p.dough == name]
            ready, shaped = min((t.ready(p), t.shapings[p.name][1]) for p in own)
            moments: dict[str, float | None] = {
                "mix": t.mix, "cold": t.cold, "take_out": t.out, "shaped": shaped,
                "ready": ready, "ready_early": None, "ready_late": None,
                "first_load": min(self.times.loads[p.load][0] for p in own),
            }  # fmt: skip
            if self.proof is not None:
                by_guess = (ready - shaped) / self.proof.minutes
                moments["ready_early"] = shaped + by_guess * self.proof.low
                moments["ready_late"] = shaped + by_guess * self.proof.high
            row: dict[str, Any] = {"dough": name}
            for column, moment in moments.items():
                row[column] = None if moment is None else clock.local(round(moment), self.zone)
            rows.append({**row, "retard_hours": t.retard_minutes / 60})
        return pd.DataFrame(rows)

    @property
    def loads(self) -> pd.DataFrame:
        """One row a load: ``load, on, off, minutes, pieces, waited_minutes`` (longest wait)."""
        waits = longest_waits(self.bake, self.times)
        rows = []
        for load in self.bake.loads:
            on, off = self.times.loads[load.name]
            moments = clock.local(on, self.zone), clock.local(off, self.zone)
            rows.append((load.name, *moments, off - on, len(load.pieces), waits[load.name]))
        columns = ["load", "on", "off", "minutes", "pieces", "waited_minutes"]
        return pd.DataFrame(rows, columns=columns)

    @property
    def pieces(self) -> pd.DataFrame:
        """One row a piece, load by load.

        Returns
        -------
        DataFrame
            ``piece, dough, load, place, blind, side_minutes, proof_minutes`` (until ready),
            ``waited_minutes`` (ready before the load), ``on``, and minutes after ``on``:
            ``turn_after, off_after, off_after_third_turn``.
        """
        pieces = self.bake.pieces
        table = pd.DataFrame([vars(p) for p in pieces]).rename(columns={"name": "piece"})
        off = table["side_minutes"] * 2
        return table.assign(
            waited_minutes=[self.times.waited(p) for p in pieces],
            on=[clock.local(self.times.loads[p.load][0], self.zone) for p in pieces],
            turn_after=table["side_minutes"],
            off_after=off,
            off_after_third_turn=off + self.limits.third_turn_minutes,
        )

    def __repr__(self) -> str:
        counts = ", ".join(words.plural(n, word) for n, word in self._counts())
        fits = "fits" if self.fits else f"{words.plural(len(self.misses), 'thing')} amiss"
        start, end = (say_moment(m, self.zone) for m in (self.times.start, self.times.table))
        change = f": {self.change}" if self.change else ""
        return f"<Schedule {counts}: {start} to {end}, {fits}{change}>"

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
            if len(self.misses) == len(not_apart(self.bake, self.times)):
                return "No other hours would change that."
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
        table = pd.DataFrame([vars(s) for s in self.steps])
        table.insert(2, "minutes", table["end"] - table["start"])
        for column in ("start", "end"):
            moments = pd.to_datetime(table[column] * 60, unit="s", utc=True)
            table[column] = moments.dt.tz_convert(self.zone)
        return table

    def plot(self, ax: "Axes | None" = None) -> "Axes":
        """Draw doughs, griddle and rack along the time, idle stretches drawn short."""
        from kit import charts

        return charts.timetable(self, ax)

    def _counts(self) -> list[tuple[int, str]]:
        return [
            (len(self.bake.doughs), "dough"),
            (len(self.bake.pieces), "piece"),
            (len(self.bake.loads), "load"),
        ]
