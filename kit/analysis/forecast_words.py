"""Every sentence about a forecast, made from the numbers of the result."""

import math
from datetime import datetime
from typing import TYPE_CHECKING

from kit.analysis import words
from kit.analysis.rise_words import clock, span

if TYPE_CHECKING:
    from kit.analysis.forecast import Forecast
    from kit.analysis.forecast_prior import Earlier

__all__ = ["cautions", "expected", "look", "method", "rests_on"]

#: From this chance on it is said that it may never be double.
_TELL = 0.05
#: and from this one no finer than "more than 95 %": the curve itself is an assumption
_SURE = 0.95


def expected(f: "Forecast") -> str:
    """When it will be double."""
    if f.doubled:
        return "It has doubled."
    sure = f"with {100 * f.level:.0f} %"
    if math.isinf(f.hours):
        return "It may not become double: it is slower, or levels off sooner, than double needs."
    if _of_the_next(f):
        room = "" if f.room_temp_c is None else f" in a room of {f.room_temp_c:.3g} °C"
        return f"A dough{room} doubles in about {clock(f.hours)} ({_lasting(f)} {sure})."
    if f.hours <= f.now_hours:
        return f"It is probably double already ({_span(f)} {sure})."
    return f"Double {_at(f, f.hours)} ({_span(f)} {sure})."


def look(f: "Forecast") -> str:
    """When to look again; empty where there is nothing to look at."""
    if f.doubled or _of_the_next(f):
        return ""
    if f.look_hours <= f.now_hours:
        return "Look at it now."
    return f"Look again {_at(f, f.look_hours, about='')}."


def _of_the_next(f: "Forecast") -> bool:
    """Whether it tells of doughs to come, not of one that proofs."""
    return not len(f.readings) and f.now is None


def _at(f: "Forecast", hours: float, about: str = "about ") -> str:
    """Return "at about 09:52", or "in about 35 min" where the clock is not known."""
    when = f.at(hours)
    if when is not None:
        return f"at {about}{_hand(f, when)}"
    return f"in {about}{clock(hours - f.now_hours)}"


def _hand(f: "Forecast", when: datetime) -> str:
    """A clock time, with its day where that is not today."""
    other = "" if f.now is None or when.date() == f.now.date() else f" on {when:%Y-%m-%d}"
    return f"{when:%H:%M}{other}"


def _span(f: "Forecast") -> str:
    """Between which times; from the last reading on, at which it was not double yet."""
    low, high = f.at(max(f.low, f.last_hours)), f.at(f.high)
    if low is not None and high is not None:
        return f"between {_hand(f, low)} and {_hand(f, high)}"
    if low is not None:
        return f"{_hand(f, low)} or later"
    early = max(f.low - f.now_hours, 0.0)
    return f"in {span(early, f.high - f.now_hours)}"


def _lasting(f: "Forecast") -> str:
    return (
        span(f.low, f.high)
        if math.isinf(f.high)
        else (f"between {clock(f.low)} and {clock(f.high)}")
    )


def rests_on(f: "Forecast") -> str:
    """Readings and earlier doughs."""
    parts = []
    if len(f.readings):
        parts.append(f"{words.plural(len(f.readings), 'reading')} of this dough")
    if f.earlier:
        parts.append(f"{words.plural(len(f.earlier), 'earlier dough')} of yours")
    else:
        parts.append("usual practice (a cold dough doubles in about two hours at 22 °C, no source)")
    text = f"It rests on {words.join(parts)}."
    if f.never >= _TELL and not f.doubled:
        chance = f"about {100 * f.never:.0f} %" if f.never < _SURE else "more than 95 %"
        text += f" The chance that it never becomes double is {chance}."
    return text


def cautions(earlier: "Earlier | None", given: bool, moved: bool) -> list[str]:
    """What to know before trusting it."""
    notes = []
    if earlier is None or not earlier.doughs:
        notes.append("without curves of your own the forecast is wide; record this one to its end")
    elif len(earlier.doughs) < 4:
        notes.append(
            f"{words.plural(len(earlier.doughs), 'earlier dough')} cannot say much about how "
            "doughs differ: the forecast is wide"
        )
    if given and earlier is not None and earlier.left_out:
        names = words.join(map(str, earlier.left_out))
        notes.append(f"too few readings of {names} for a curve: left out")
    if moved:
        notes.append(
            "times are moved by temperature as yeast grows, and a cold dough is taken to warm like "
            "a lump: good for some degrees, not for the refrigerator"
        )
    return notes


def method(f: "Forecast") -> str:
    """Model and sources, for a statistician."""
    text = (
        "For the statistician: modified Gompertz and logistic curves (Zwietering et al. 1990), "
        "each by its evidence, log gain, log speed and log fastest moment normal from dough to "
        "dough, normal–inverse-Wishart prior, readings by importance sampling; "
        f"{100 * f.level:.0f} % interval of the posterior of doughs that double"
    )
    if f.room_temp_c is not None:
        text += (
            "; temperature by the cardinal model (Rosso et al. 1993) with 2.8, 32.3 and 45.4 °C "
            "(Salvado et al. 2011; the minimum is over the genus) and Newton's law of cooling"
        )
    return f"{text}."
