"""When a dough that is proofing now will be double, and when to look again.

What the baker's earlier doughs did, and how they differed, is brought up to date by the first
readings of this one (`forecast_prior`, `forecast_update`). Rooms of other temperatures are
allowed for by `rise_temperature`.
"""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

import numpy as np
import pandas as pd

from kit import words
from kit.analysis.asked import need_columns
from kit.analysis.moments import Floats
from kit.analysis.proofs.forecast_prior import expect, fit_earlier
from kit.analysis.proofs.forecast_update import Mixture, update, weighted_quantile
from kit.analysis.proofs.forecast_words import Forecast, cautions
from kit.analysis.proofs.models import SHAPES
from kit.analysis.proofs.readings import read_rise
from kit.analysis.proofs.temperature import (
    FRIDGE_C,
    SPREAD_PER_10_C,
    USUAL_HOURS,
    USUAL_ROOM_C,
    Clock,
    refuse_outside,
)
from kit.errors import DataError, InputError, NotFoundError

__all__ = ["Forecast", "double_at", "forecast", "next_look"]

#: Without earlier curves so many readings after the start are asked for.
LEAST = 3
#: Looks are told in steps of so many minutes, and no sooner than one step.
_STEP_MINUTES = 5.0
#: An interval wider than this is worth narrowing by a look half-way. Own choice, no source.
_WIDE_HOURS = 0.5


def forecast(
    hours: Sequence[float] | Floats,
    ratios: Sequence[float] | Floats,
    earlier: pd.DataFrame | None = None,
    room_temp_c: float | None = None,
    earlier_temps: Mapping[Any, float] | float | None = None,
    now: datetime | None = None,
    level: float = 0.9,
    u: float | Sequence[float] | None = None,
    start_temp_c: float | None = FRIDGE_C,
    seed: int = 1,
    now_hours: float | None = None,
) -> Forecast:
    """Forecast when a dough will be double.

    Parameters
    ----------
    hours, ratios : sequence of float
        Readings so far, as in `kit.analysis.rise.rise`. With earlier curves they may be empty.
    earlier : DataFrame, optional
        Readings of the baker's earlier doughs of this kind: ``dough, hours, proof_ratio``, one
        row a reading; a column ``room_temp_c`` may stand for `earlier_temps`.
    room_temp_c : float, optional
        The room now, between 15 and 35 °C.
    earlier_temps : mapping of dough to float, or float, optional
        The rooms of the earlier doughs. Both must be given, or neither: then the rooms are
        taken as alike.
    now : datetime, optional
        Clock time at `now_hours`: times are then told by the clock.
    level : float
        Of the interval.
    u : float or sequence, optional
        Standard uncertainty of a ratio.
    start_temp_c : float, optional
        Of all doughs at the start; None where they had the room's temperature.
    seed : int
        Of the draws.
    now_hours : float, optional
        Hours since the start at which it is asked; those of the last reading when not given (0
        before the first). No look is told for earlier.

    Returns
    -------
    Forecast

    Raises
    ------
    DataError
        Too few readings, where there are no earlier curves.
    InputError, NotFoundError
        A temperature, reading or column that cannot be used.

    Examples
    --------
    >>> forecast([0.5, 1.0, 1.5], [1.04, 1.2, 1.5], seed=1).hours < 2.6
    True
    """
    if not 0 < level < 1:
        raise InputError("level", level, "must lie between 0 and 1", "Give 0.9 for 90 %.")
    t, r, spread, notes = _readings(hours, ratios, u)
    table = _earlier_table(earlier, earlier_temps)
    if len(t) < LEAST and table is None:
        count = words.plural(len(t), "reading")
        msg = (
            f"{count} after the start and no earlier curves: too early to say when it will be "
            f"double. {LEAST} readings or more are needed; a quarter to half an hour apart will "
            "do. (Usual practice is about two hours for a cold dough at 22 °C.)"
        )
        raise DataError(msg)
    last = float(t[-1]) if len(t) else 0.0
    told = last if now_hours is None else now_hours
    if not np.isfinite(told) or told < last:
        remedy = "Give the hours since the start, or leave it out."
        raise InputError("now_hours", told, f"is before the last reading ({last:.3g} h)", remedy)
    clock = Clock(room_temp_c, start_temp_c)
    return _tell(clock, table, (t, r, spread), told, now, level, seed, notes)


def double_at(
    temp_c: float,
    earlier: pd.DataFrame | None = None,
    earlier_temps: Mapping[Any, float] | float | None = None,
    level: float = 0.9,
    start_temp_c: float | None = FRIDGE_C,
    seed: int = 1,
) -> Forecast:
    """Say how long the next dough will take to double in a room of another temperature.

    The baker's own times are moved by temperature as yeast grows
    (`kit.analysis.proofs.temperature`), by some degrees, between 15 and 35 °C. The further
    it is moved, the wider the interval.

    Parameters
    ----------
    temp_c : float
        Of the room.
    earlier, earlier_temps, level, start_temp_c, seed
        As in `forecast`. Without earlier curves it rests on usual practice.

    Returns
    -------
    Forecast
        Without a reading.

    Raises
    ------
    InputError, NotFoundError
        A temperature outside 15 to 35 °C, one that is missing, a column that is not there.

    Examples
    --------
    >>> cool, warm = double_at(19.0), double_at(26.0)
    >>> warm.hours < cool.hours
    True
    """
    table = _earlier_table(earlier, earlier_temps)
    clock = Clock(temp_c, start_temp_c)
    nothing = (np.empty(0), np.empty(0), None)
    return _tell(clock, table, nothing, 0.0, None, level, seed, ())


def _tell(
    clock: Clock,
    table: pd.DataFrame | None,
    read: tuple[Floats, Floats, Floats | None],
    told: float,
    now: datetime | None,
    level: float,
    seed: int,
    notes: tuple[str, ...],
) -> Forecast:
    """What is expected of a dough, its readings, and what both say together."""
    t, r, spread = read
    own, moved, more = _on_this_clock(table, clock)
    pasts = {name: None if own is None else fit_earlier(own, SHAPES[name]) for name in SHAPES}
    draws = Mixture([
        update(expect(clock.usual(), past, moved, SHAPES[name]), clock.there(t), r, spread, seed)
        for name, past in pasts.items()
    ])  # fmt: skip
    past = pasts["gompertz"]
    times = clock.back(draws.double())
    never = float(draws.weight[~np.isfinite(times)].sum())
    # one chance in twenty of never, told by itself, would leave the interval without an end
    becomes = 1 - never if never < 0.5 else 1.0
    middle, low, high = (
        weighted_quantile(times, draws.weight, chance * becomes)
        for chance in (0.5, (1 - level) / 2, (1 + level) / 2)
    )
    last_hours = float(t[-1]) if len(t) else 0.0
    top = float(r.max()) if len(r) else 1.0
    look = np.nan if top >= 2 else max(next_look(last_hours, middle, low, high), told)
    return Forecast(
        hours=middle,
        low=low,
        high=high,
        last_hours=last_hours,
        top_ratio=top,
        now_hours=told,
        look_hours=look,
        never=never,
        now=now,
        room_temp_c=clock.room,
        earlier=() if past is None else past.doughs,
        readings=pd.DataFrame({"hours": t, "ratio": r}),
        curve=_fan(draws, clock, _until(last_hours, middle, high), level),
        level=level,
        checks=(*notes, *more, *cautions(past, clock.moved, top < 2 and last_hours < USUAL_HOURS)),
    )


def _earlier_table(
    earlier: pd.DataFrame | None, temps: Mapping[Any, float] | float | None
) -> pd.DataFrame | None:
    """``dough, hours, proof_ratio`` and ``room_temp_c`` where it is known; None without a row."""
    if earlier is None:
        return None
    columns = ["dough", "hours", "proof_ratio"]
    need_columns(earlier, columns)
    if earlier.empty:
        return None
    table = earlier[[*columns, *(c for c in ("room_temp_c",) if c in earlier)]].copy()
    if isinstance(temps, Mapping):
        missing = [d for d in table["dough"].unique() if d not in temps]
        if missing:
            raise NotFoundError("room temperature for dough", str(missing[0]), map(str, temps))
        table["room_temp_c"] = table["dough"].map(temps).astype(float)
    elif temps is not None:
        table["room_temp_c"] = float(temps)
    return table


def _readings(
    hours: Any, ratios: Any, u: Any
) -> tuple[Floats, Floats, Floats | None, tuple[str, ...]]:
    """Readings up to the highest; none where only the start is there."""
    after = np.asarray(hours, dtype=float).reshape(-1)
    if not (after > 0).any():
        return np.empty(0), np.empty(0), None, ()
    read = read_rise(hours, ratios, u)
    return (*read.rising(), read.checks)


def _on_this_clock(
    table: pd.DataFrame | None, clock: Clock
) -> tuple[pd.DataFrame | None, float, list[str]]:
    """Earlier readings on this room's clock, how far they were moved, and what to know."""
    if table is None:
        off = 0.0 if clock.room is None else abs(clock.room - USUAL_ROOM_C)
        return None, SPREAD_PER_10_C * off / 10, []
    known = "room_temp_c" in table and bool(table["room_temp_c"].notna().all())
    if known != (clock.room is not None):
        missing = "of the earlier doughs" if clock.room is not None else "of this dough's room"
        remedy = "Give room_temp_c and earlier_temps, or neither to take all rooms as alike."
        raise InputError("room_temp_c", clock.room, f"the temperature {missing} is missing", remedy)
    if not known:
        note = "temperatures were not given: all rooms are taken as equally warm"
        return table, 0.0, [note]
    for room in table["room_temp_c"].unique():
        refuse_outside(float(room), "earlier_temps")
    parts = [
        part.assign(hours=clock.there(part["hours"].to_numpy(dtype=float), float(str(room))))
        for room, part in table.groupby(table["room_temp_c"].astype(float))
    ]
    rooms = table.groupby("dough", observed=True)["room_temp_c"].first()
    away = abs(float(clock.room or 0.0) - float(rooms.mean()))
    return pd.concat(parts).sort_index(), SPREAD_PER_10_C * away / 10, []


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


def _until(last: float, middle: float, high: float) -> float:
    """How far the curve is drawn: to the end of the interval, within reason."""
    ends = [end for end in (high, 3 * middle) if np.isfinite(end)]
    return max(last, min(ends, default=2 * last or 2 * USUAL_HOURS))


def _fan(draws: Mixture, clock: Clock, until: float, level: float) -> pd.DataFrame:
    """Ratio to expect along time, with its interval."""
    t, chances = np.linspace(0, until, 61), (0.5, (1 - level) / 2, (1 + level) / 2)
    rows = [
        [weighted_quantile(column, draws.weight, chance) for chance in chances]
        for column in draws.ratio(clock.there(t)).T
    ]
    table = pd.DataFrame(rows, columns=["ratio", "low", "high"])
    table.insert(0, "hours", t)
    return table
