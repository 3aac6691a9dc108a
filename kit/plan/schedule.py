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
from dataclasses import replace
from datetime import datetime

import pandas as pd

from kit.errors import InputError
from kit.plan.timetable import clock
from kit.plan.timetable.clock import say_moment
from kit.plan.timetable.latest import Layout, lay_out
from kit.plan.timetable.limits import Limits
from kit.plan.timetable.proofing import Doubling, doubling
from kit.plan.timetable.runs import read_runs
from kit.plan.timetable.scheduled import Schedule
from kit.plan.timetable.search import solve
from kit.plan.timetable.timing import Times

__all__ = ["Limits", "Schedule", "schedule"]


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
        The baker's own times to double, see `kit.plan.timetable.proofing.doubling`.
    retard_hours : float, optional
        For doughs of which the plan says nothing; 0 is not chilled.

    Returns
    -------
    Schedule
        Always the plan as asked: retards exact until a dough is first taken out, nothing on the
        griddle before it is proofed, never more at once than there are hands. What does not fit
        (sleep, tubs, shelf, places, waiting, pieces that cannot be shaped apart) stands in its
        `misses`, plans that fit in its `offers`.

    Raises
    ------
    InputError, DataError, NotFoundError
        A time, zone, limit or row that cannot be.
    """
    limits = Limits() if limits is None else limits
    where = clock.read_zone(zone)
    if table_time is None and mix_time is None:
        remedy = "Give one of them, for example table_time='2026-11-05 09:00'."
        raise InputError("table_time", None, "is needed when there is no mix_time", remedy)
    given: list[str] = []
    moments: dict[str, int] = {}
    for name, value in (("table_time", table_time), ("mix_time", mix_time)):
        if value is not None:
            moments[name], note = clock.read_moment(value, where, name)
            given += [note] if note else []
    if len(moments) == 2 and moments["table_time"] <= moments["mix_time"]:
        rule = f"is not after mix_time, {say_moment(moments['mix_time'], where)}"
        remedy = "Bread comes after the mixing: exchange the two, or give one of them."
        raise InputError("table_time", f"{say_moment(moments['table_time'], where)}", rule, remedy)
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
    layout = lay_out(bake, limits)

    def as_asked(layout: Layout) -> Times:
        times = solve(layout, moments.get("table_time", 0))
        if times is not None and forward:
            times = solve(layout, moments["mix_time"] - times.first_mix)
        if times is None:  # pragma: no cover - as asked there always are times
            msg = "no times were found"
            raise RuntimeError(msg)
        return times

    def too_long(times: Times) -> bool:
        return max(map(times.waited, bake.pieces)) > limits.whole("wait_minutes")

    times = as_asked(layout)
    if bake.proof_varies and too_long(times):  # a plan that fits comes before waits that are alike
        times = min(times, as_asked(replace(layout, alike=False)), key=too_long)
    not_before = moments["mix_time"] if len(moments) == 2 else None
    return Schedule(bake, limits, where, proof, times, forward, not_before, tuple(given))
