"""What follows from the times of the stages: lengths that can be recorded as computed readings.

They are offered. What somebody entered stays, and so does a setting that the trial changes on
purpose, unless it is asked for: a comparison takes each length as a setting of its own.
"""

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime

import pandas as pd

from kit import quantities, words
from kit.errors import InputError
from kit.records.bench.stages import BakeTimes, Noted, minutes_between
from kit.records.things import Dough, Load, Thing
from kit.shown import InLines

__all__ = ["FromTimes", "Offer", "from_times", "offers", "proof_start", "ready_since"]


@dataclass(frozen=True)
class Offer:
    """One length of time between two stages, as a value of a quantity."""

    thing: Thing  # whose it is: a dough, load or piece
    quantity: str
    value: float  # in the quantity's unit
    says: str  # from what to what
    # new: not recorded yet; same: recorded so; changed: recorded from other times; entered by
    # somebody, and kept; setting: of the trial, recorded only when asked for; impossible
    state: str = "new"
    has: float | None = None  # what is recorded

    @property
    def wanted(self) -> bool:
        """Whether recording it changes nothing that somebody decided."""
        return self.state in ("new", "changed")

    @property
    def impossible(self) -> str:
        """Why it cannot be, empty where it can: a time was noted wrongly."""
        try:
            quantities.get(self.quantity).check(self.value)
        except InputError as exc:
            shown = InputError(
                exc.field, self.value, exc.rule, "Is the time right?", str(self.thing)
            )
            return str(shown)
        return ""

    @property
    def doubt(self) -> str:
        """A question about it, empty where it is usual."""
        return self.impossible or quantities.get(self.quantity).check(self.value).doubt

    def __str__(self) -> str:
        quantity = quantities.get(self.quantity)
        text = f"{self.thing}: {quantity.label} {quantity.show(self.value)}, {self.says}"
        has = quantity.show(self.has)
        return text + {
            "new": "", "same": " (recorded)", "changed": f" (recorded: {has})",
            "entered": f" (entered: {has}, kept)", "setting": " (a setting of the trial)",
            "impossible": " (cannot be: not recorded)",
        }[self.state]  # fmt: skip


@dataclass(frozen=True, repr=False)
class FromTimes(InLines):
    """The lengths that follow from the stages of a bake."""

    offers: tuple[Offer, ...]
    recorded: tuple[Offer, ...]  # by this call
    checks: tuple[str, ...]  # what cannot be said, and what to look at

    def __repr__(self) -> str:
        return f"<FromTimes: {len(self.offers)} lengths, {len(self.recorded)} recorded>"

    def __str__(self) -> str:
        if not self.offers:
            head = "No length of time follows from the stages noted so far."
        else:
            head = f"{words.plural(len(self.offers), 'length')} of time follow from the stages"
            head += f"; {len(self.recorded)} recorded now." if self.recorded else "."
        lines = [head, *(f"  {offer}" for offer in self.offers)]
        return "\n".join([*lines, *(f"Note: {check}." for check in self.checks)])

    def to_frame(self) -> pd.DataFrame:
        """One tidy row a length: ``on, code, quantity, value, state, has, recorded``."""
        return pd.DataFrame(
            [
                (
                    o.thing.level, o.thing.code, o.quantity, o.value, o.state, o.has,
                    o in self.recorded,
                )
                for o in self.offers
            ],
            columns=["on", "code", "quantity", "value", "state", "has", "recorded"],
        )  # fmt: skip


def from_times(times: BakeTimes, settings: Collection[str] = ()) -> FromTimes:
    """Return what follows from the stages, beside what is recorded and the trial's `settings`."""
    made = []
    for offer in offers(times):
        has, how = times.actual.get((offer.thing.id, offer.quantity), (None, ""))
        state = "new"
        if offer.impossible:
            state = "impossible"
        elif has is not None and abs(has - offer.value) < 1e-6:
            state = "same"
        elif has is not None:
            state = "changed" if how == "computed" else "entered"
        elif offer.quantity in settings:
            state = "setting"
        made.append(Offer(offer.thing, offer.quantity, offer.value, offer.says, state, has))
    return FromTimes(tuple(made), (), tuple(_checks(times, made)))


def offers(times: BakeTimes) -> Iterator[Offer]:
    """Yield every length that follows from the stages: real time, whatever the clocks did."""
    for dough in times.doughs:
        yield from _of_dough(times, dough)
    for load in times.loads:
        yield from _of_load(times, load)


def proof_start(noted: Mapping[str, Noted]) -> Noted | None:
    """Return when a dough's warm proof began: shaped, or out of the fridge if that is later."""
    shaped, out, into = (noted.get(x) for x in ("shaped", "out of the fridge", "in the fridge"))
    if shaped is None:
        return None
    if out is not None:
        return max(shaped, out, key=lambda one: one.at)
    # shaped before it went in, and nobody wrote down when it came out
    return None if into is not None and into.at >= shaped.at else shaped


def _of_dough(times: BakeTimes, dough: Dough) -> Iterator[Offer]:
    noted = times.of(dough)
    into, out = noted.get("in the fridge"), noted.get("out of the fridge")
    if into and out:
        hours = minutes_between(into.at, out.at) / 60
        yield Offer(dough, "retard_hours", hours, "into the fridge to out of it")
    start = proof_start(noted)
    if start is None:
        return
    on = [n["on the griddle"].at for n in map(times.of, times.loads_of[dough.id])
          if "on the griddle" in n]  # fmt: skip
    if on and min(on) >= start.at and not times.shaped_later(dough):
        proof = minutes_between(start.at, min(on))
        yield Offer(dough, "proof_minutes", proof, f"{start.stage} to its first load")
    if doubled := noted.get("doubled"):
        double = minutes_between(start.at, doubled.at)
        yield Offer(dough, "double_minutes", double, f"{start.stage} to doubled")


def _of_load(times: BakeTimes, load: Load) -> Iterator[Offer]:
    noted = times.of(load)
    on = noted.get("on the griddle")
    if on is None:
        return
    if ready := ready_since(times, load):
        # a load that goes on before its doughs have doubled has not waited
        waited = max(0.0, minutes_between(ready, on.at))
        yield Offer(load, "waited_minutes", waited, "ready to on the griddle")
    for piece in times.on[load.id]:
        turned = times.of(piece).get("turned")
        if turned and (turned.thing == piece or times.sides_alike(load)):
            minutes = minutes_between(on.at, turned.at)
            yield Offer(piece, "side_minutes", minutes, "on the griddle to turned")


def ready_since(times: BakeTimes, load: Load) -> datetime | None:
    """Return since when pieces of a load stand ready: noted, or their first dough doubled.

    None when it is not noted, or not for all of its doughs.
    """
    if waiting := times.of(load).get("waiting"):
        return waiting.at
    doubled = [times.of(dough).get("doubled") for dough in times.doughs_of(load)]
    known = [noted.at for noted in doubled if noted is not None]
    return min(known) if known and len(known) == len(doubled) else None


def _checks(times: BakeTimes, made: list[Offer]) -> Iterator[str]:
    for load in times.loads:
        noted = times.noted.get(load.id, {})
        own = {"turned" in times.noted.get(p.id, {}) for p in times.on[load.id]}
        if "turned" in noted and not times.sides_alike(load) and own != {True}:
            yield (
                f"the pieces of {load} are planned to be turned at different times, and one time "
                "is noted for all: note it for each, or enter their side_minutes"
            )
    for dough in times.doughs:
        if times.shaped_later(dough) and proof_start(times.of(dough)):
            yield (
                f"pieces of {dough} are planned to proof for different times and shaped one after "
                "another, and one time of shaping is noted for all, so no proof time follows from "
                "it: enter the proof ratio of each piece as it was"
            )
    for offer in made:
        if offer.doubt:
            yield f"{offer.thing}: {offer.doubt.rstrip('.')}"
    settings = dict.fromkeys(o.quantity for o in made if o.state == "setting")
    for name in settings:
        yield (
            f"{words.name(name)} is what the trial changes on purpose, so what was planned stays "
            "as its setting; to have its lengths as well tick it beside the button (settings=True "
            "from Python), and compare along a line"
        )
