"""Every sentence about a forecast, made from the numbers of the result."""

import math
from typing import TYPE_CHECKING

from kit.analysis import words
from kit.analysis.rise_words import clock, span

if TYPE_CHECKING:
    from kit.analysis.forecast import Forecast
    from kit.analysis.forecast_prior import Earlier

__all__ = ["cautions", "headline", "method", "rests_on"]

#: From this chance on it is said that it may never be double.
_TELL = 0.05


def headline(f: "Forecast") -> str:
    """When it will be double, and when to look again."""
    if f.doubled:
        return "It is double now."
    sure = f"{100 * f.level:.0f} %"
    if math.isinf(f.hours):
        text = "It may not become double: it is slower, or levels off sooner, than double needs."
    else:
        text = f"Double is expected {_at(f, f.hours)} ({sure}: {_span(f)})."
    return f"{text} Look again {_at(f, f.look_hours)}."


def _at(f: "Forecast", hours: float) -> str:
    """Return "at 9:40", or "in 35 min" where the clock is not known."""
    when = f.at(hours)
    if when is not None:
        return f"at {when.hour}:{when.minute:02d}"
    ahead = hours - f.last_hours
    return f"in {clock(ahead)}" if ahead > 0 else "by now"


def _span(f: "Forecast") -> str:
    low, high = f.at(max(f.low, f.last_hours)), f.at(f.high)
    if low is not None and high is not None:
        return f"{low.hour}:{low.minute:02d} to {high.hour}:{high.minute:02d}"
    if low is not None:
        return f"{low.hour}:{low.minute:02d} or later"
    early = max(f.low - f.last_hours, 0.0)
    return f"in {span(early, f.high - f.last_hours)}"


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
        text += f" There is a chance of about {100 * f.never:.0f} % that it never becomes double."
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
        "For the statistician: modified Gompertz curves (Zwietering et al. 1990), log gain, log "
        "speed and log fastest moment normal from dough to dough, normal–inverse-Wishart prior, "
        f"readings by importance sampling; {100 * f.level:.0f} % interval of the posterior"
    )
    if f.room_temp_c is not None:
        text += (
            "; temperature by the cardinal model (Rosso et al. 1993) with 2.8, 32.3 and 45.4 °C "
            "(Salvado et al. 2011; the minimum is over the genus) and Newton's law of cooling"
        )
    return f"{text}."
