"""Hours by the clock and of a steady room, the earlier doughs in them, and the next look."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from kit.analysis.forecast_prior import USUAL_HOURS, USUAL_ROOM_C
from kit.analysis.moments import Floats
from kit.analysis.rise_temperature import (
    COLDEST_C,
    WARMEST_C,
    equivalent_hours,
    real_hours,
    refuse_outside,
)
from kit.errors import NotFoundError

__all__ = ["Clock", "earlier_table", "in_rooms", "next_look"]

#: Looks are told in steps of so many minutes, and no sooner than one step.
_STEP_MINUTES = 5.0
#: An interval wider than this is worth narrowing by a look half-way. Own choice, no source.
_WIDE_HOURS = 0.5


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


def earlier_table(earlier: pd.DataFrame, temps: Mapping[Any, float] | float | None) -> pd.DataFrame:
    """``dough, hours, proof_ratio`` and ``room_temp_c`` where it is known."""
    for column in ("dough", "hours", "proof_ratio"):
        if column not in earlier.columns:
            raise NotFoundError("column", column, map(str, earlier.columns))
    columns = ["dough", "hours", "proof_ratio"]
    table = earlier[[*columns, *(c for c in ("room_temp_c",) if c in earlier)]].copy()
    if isinstance(temps, Mapping):
        missing = [d for d in table["dough"].unique() if d not in temps]
        if missing:
            raise NotFoundError("room temperature for dough", str(missing[0]), map(str, temps))
        table["room_temp_c"] = table["dough"].map(temps).astype(float)
    elif temps is not None:
        table["room_temp_c"] = float(temps)
    return table


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


def next_look(now: float, middle: float, low: float, high: float) -> float:
    """When to look again, in hours since the start.

    At the early end of the interval; half-way there while the interval is wide, since a reading
    then narrows it; half-way to the middle where the early end has passed. Own rule, no source.
    """
    step = _STEP_MINUTES / 60
    ahead = low - now
    if ahead <= step:
        ahead = (middle - now) / 2
    elif high - low > _WIDE_HOURS:
        ahead /= 2
    if not np.isfinite(ahead):
        ahead = _WIDE_HOURS
    return now + step * max(1, int(ahead / step + 1e-9))
