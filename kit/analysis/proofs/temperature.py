"""How much faster a dough rises in a warmer room, and how a cold one warms up.

The rate follows the cardinal temperature model with inflection (Rosso et al. 1993, *J Theor Biol*
162:447), with the yeast's optimum and maximum from Salvado et al. (2011, *Appl Environ Microbiol*
77:2292): 32.3 and 45.4 °C. The minimum is 2.8 °C, the middle of the 1.3 to 4.3 °C they give over
the genus, not published for this species.

Growth is not gas: that a dough's rise follows the yeast's growth rate is an approximation. Use it
to move the baker's own times by some degrees, between about 15 and 35 °C.
"""

import numpy as np
import pandas as pd

from kit.analysis.moments import Floats
from kit.errors import InputError

__all__ = [
    "COLDEST_C", "FRIDGE_C", "SPREAD_PER_10_C", "T_MAX_C", "T_MIN_C", "T_OPT_C", "USUAL_HOURS",
    "USUAL_ROOM_C", "WARMEST_C", "Clock", "equivalent_hours", "growth", "in_rooms", "real_hours",
    "refuse_outside",
]  # fmt: skip

T_MIN_C, T_OPT_C, T_MAX_C = 2.8, 32.3, 45.4
COLDEST_C, WARMEST_C = 15.0, 35.0
#: Standard uncertainty of the logarithm of a rate moved by 10 °C. Rules of thumb give factors of
#: 2.0 to 2.6 ("doubles per 17 °F", Reinhart, quoted by an oven maker's blog; "about 10 % per °C",
#: BAKE magazine, 2015): taken to hold the truth 8 times in 10 (own choice, no source).
SPREAD_PER_10_C = float(np.log(2.6 / 2.0) / 2 / 1.2816)
#: A refrigerator (common practice), and own arithmetic for a 70 g ball in still air: 2.7 kJ/(kg K)
#: for dough (the middle of 2.15 to 3.19 of five doughs), 10 W/(m² K) over its whole surface.
FRIDGE_C, WARMING_HOURS = 4.0, 0.68
_STEP_HOURS = 1 / 120
#: A cold dough in a room of 72 °F takes about two hours to double: common practice, no source.
USUAL_HOURS, USUAL_ROOM_C = 2.0, (72.0 - 32.0) * 5.0 / 9.0


def growth(
    temp_c: float | Floats, low: float = T_MIN_C, best: float = T_OPT_C, high: float = T_MAX_C
) -> Floats:
    """Share of the best rate at a temperature: cardinal temperature model with inflection.

    γ = (T − Tmax)(T − Tmin)² / {(Topt − Tmin)[(Topt − Tmin)(T − Topt) − (Topt − Tmax)(Topt + Tmin
    − 2T)]} between Tmin and Tmax, else 0.

    Examples
    --------
    >>> [round(float(growth(t)), 4) for t in (4, 20, 32.3, 50)]
    [0.0042, 0.5965, 1.0, 0.0]
    """
    t = np.asarray(temp_c, dtype=float)
    wide = best - low
    under = wide * (wide * (t - best) - (best - high) * (best + low - 2 * t))
    inside = (t > low) & (t < high)
    out: Floats = np.where(inside, (t - high) * (t - low) ** 2 / np.where(inside, under, 1.0), 0.0)
    return out


def dough_temp(
    hours: float | Floats, room_c: float, start_c: float, warming_hours: float
) -> Floats:
    """Temperature of a dough that warms like a lump: T = room + (start − room)·exp(−t/τ).

    After three time constants it is within 5 % of the way (Lienhard, *A Heat Transfer Textbook*).
    A ball's middle lags behind its skin, so this is rough.

    Examples
    --------
    >>> float(dough_temp(0, 22, 4, 0.7)), round(float(dough_temp(2.1, 22, 4, 0.7)), 2)
    (4.0, 21.1)
    """
    out: Floats = room_c + (start_c - room_c) * np.exp(-np.asarray(hours) / warming_hours)
    return out


def _clock(
    room_c: float, start_c: float | None, at_c: float, until: float
) -> tuple[Floats, Floats]:
    """Hours by the clock, and the hours at `at_c` in which as much would happen."""
    t = np.arange(0, until + 2 * _STEP_HOURS, _STEP_HOURS)
    temp = np.full_like(t, room_c)
    if start_c is not None:
        temp = dough_temp(t, room_c, start_c, WARMING_HOURS)
    rate = growth(temp) / float(growth(at_c))
    return t, np.append(0.0, np.cumsum((rate[1:] + rate[:-1]) / 2 * _STEP_HOURS))


def equivalent_hours(
    hours: Floats,
    room_c: float,
    at_c: float,
    start_c: float | None = FRIDGE_C,
) -> Floats:
    """Hours at the steady temperature `at_c` in which as much would happen.

    Parameters
    ----------
    hours : array
        By the clock.
    room_c : float
        The room the dough warms up in.
    at_c : float
    start_c : float, optional
        Of the dough at the start; None when it has the room's.

    Examples
    --------
    >>> round(float(equivalent_hours(np.array(2.0), 22.0, 22.0, start_c=None)), 9)
    2.0
    >>> round(float(equivalent_hours(np.array(2.0), 22.0, 22.0)), 2)  # the first hour hardly counts
    1.22
    """
    t, much = _clock(room_c, start_c, at_c, float(np.max(hours)))
    out: Floats = np.interp(hours, t, much)
    return out


def real_hours(
    much: Floats,
    room_c: float,
    at_c: float,
    start_c: float | None = FRIDGE_C,
) -> Floats:
    """Hours by the clock until `much` has happened: the inverse of `equivalent_hours`.

    Examples
    --------
    >>> round(float(real_hours(np.array(1.0), 17.2, 26.7, start_c=None)), 2)  # 63 °F for 80 °F
    1.97
    """
    rate = float(growth(room_c)) / float(growth(at_c))
    longest = 12 * WARMING_HOURS
    t, done = _clock(room_c, start_c, at_c, longest)
    late = t[-1] + (np.asarray(much) - done[-1]) / rate
    out: Floats = np.where(np.asarray(much) > done[-1], late, np.interp(much, done, t))
    return out


def refuse_outside(
    room_temp_c: float,
    name: str = "room_temp_c",
    remedy: str = "Leave the temperatures out to compare doughs of rooms alike, or measure a time "
    "there.",
) -> None:
    """Refuse rooms the model is not meant for.

    Raises
    ------
    InputError
        Below 15 or above 35 °C.
    """
    if COLDEST_C <= room_temp_c <= WARMEST_C:
        return
    raise InputError(
        name,
        room_temp_c,
        f"must lie between {COLDEST_C:g} and {WARMEST_C:g} to move times by temperature",
        remedy,
    )


class Clock:
    """Between hours by the clock and hours at the steady temperature of the room."""

    def __init__(self, room_temp_c: float | None, start_temp_c: float | None) -> None:
        if room_temp_c is not None:
            refuse_outside(room_temp_c)
        self.room, self.start = room_temp_c, start_temp_c
        self.moved = room_temp_c is not None

    def usual(self) -> float:
        """Time to double of usual practice."""
        if self.room is None:
            return USUAL_HOURS
        return float(self.there(np.array(USUAL_HOURS), USUAL_ROOM_C))

    def there(self, hours: Floats, room: float | None = None) -> Floats:
        """Hours of the curves; of a dough in another room where one is given."""
        if self.room is None or not np.size(hours):
            return hours
        other = self.room if room is None else room
        return equivalent_hours(hours, other, self.room, self.start)

    def back(self, much: Floats) -> Floats:
        """Hours by the clock of this dough."""
        if self.room is None:
            return much
        return real_hours(much, self.room, self.room, self.start)


def in_rooms(
    table: pd.DataFrame, rooms: dict[str, float | None], room: float | None
) -> tuple[pd.DataFrame, float | None, list[str]]:
    """Earlier doughs with their rooms where times can be moved by temperature."""

    def usable(temp: float | None) -> bool:
        return temp is not None and COLDEST_C <= temp <= WARMEST_C

    known = [name for name, temp in rooms.items() if usable(temp)]
    if not usable(room) or (rooms and not known):
        return table, None, []
    kept = table[table["dough"].isin(known)]
    others = [name for name in rooms if name not in known]
    notes = []
    if others:
        notes.append(
            f"left out, because the room of {', '.join(others)} is not recorded or not between "
            f"{COLDEST_C:g} and {WARMEST_C:g} °C"
        )
    return kept.assign(room_temp_c=kept["dough"].map(rooms).astype(float)), room, notes
