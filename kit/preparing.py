"""What a trial does once its plan is kept: weights, times, bench sheet, calendar."""

from collections.abc import Iterable, Sequence
from datetime import datetime, time
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from kit import quantities, words
from kit.dates import in_iso_form
from kit.errors import DataError, InputError
from kit.records import planned, things
from kit.records.keeping.aside import write_whole
from kit.records.things import Bake
from kit.records.trial_records import TrialRecords
from kit.units import parse

if TYPE_CHECKING:
    from kit.formula.sheet import WeighingSheet
    from kit.plan.schedule import Schedule
    from kit.plan.timetable.limits import Limits

__all__ = ["TrialPreparing"]


class TrialPreparing(TrialRecords):
    """The verbs of a trial for a planned bake; see `kit.formula` and `kit.plan`."""

    def planned(self, bake: Bake) -> pd.DataFrame:
        """Return one bake as it was planned, one row a piece, in the order of loads and places.

        Columns: bake, order (of mixing), dough, load, place, piece, blind, and what is planned.

        Raises
        ------
        DataError
            Nothing was planned for it.
        """
        with self._store.reading() as connection:
            things.check_there(connection, self.id, bake)
            runs = planned.planned_runs(connection, self.id, bake)
        if runs.empty:
            msg = (
                f"nothing is planned for {bake}: it has no pieces on the griddle yet. Make a plan "
                "(design) and keep it, or add loads and pieces with their places."
            )
            raise DataError(msg)
        return runs

    def weigh(
        self, bake: Bake, raw_piece_g: float | str | None = None, **more: Any
    ) -> "WeighingSheet":
        """Say what to weigh for each dough of a planned bake.

        Parameters
        ----------
        raw_piece_g : float or str, optional
            Weight of a raw piece, as typed or in g; or say ``flour_g`` or ``dough_g``.
        **more
            See `kit.formula.weigh`: scale_step_g, fine_step_g, use_blend …

        Raises
        ------
        DataError
            The trial has no formula, or one with an amount that nothing planned says.
        """
        from kit.formula.weighing import weigh

        formula = self.formula()
        if formula is None:
            msg = f"{self.name} has no formula: set it first, then it can be scaled (set_formula)."
            raise DataError(msg)
        runs = self.planned(bake)
        of_dough = {q.name for q in quantities.all_quantities() if q.level == "dough"}
        whole = [c for c in runs.columns if c in of_dough]
        doughs = runs.drop_duplicates("dough").sort_values("dough").set_index("dough")
        settings = {
            str(code): {c: row[c] for c in whole if pd.notna(row[c])}
            for code, row in doughs.iterrows()
        }
        for code, given in settings.items():
            if left := formula.with_settings(given).open:
                msg = (
                    f"the formula leaves {words.join(one.short for one in left)} open (?), and "
                    f"nothing planned for dough {code} says how much: write an amount into the "
                    "formula in its place, or plan it."
                )
                raise DataError(msg)
        if raw_piece_g is not None and "pieces" not in more:
            more["pieces"] = int(runs.groupby("dough").size().max())
        raw = parse(raw_piece_g, "g", "raw_piece_g")
        return weigh(formula, settings, raw_piece_g=raw, **more)

    def timetable(
        self,
        bake: Bake,
        table_time: str | datetime | time | None = None,
        mix_time: str | datetime | time | None = None,
        limits: "Limits | None" = None,
        **more: Any,
    ) -> "Schedule":
        """Say when everything of a planned bake happens.

        Parameters
        ----------
        table_time, mix_time : str, datetime or time, optional
            A time of day (``"9:00"``) is that of the bake's day.
        **more
            See `kit.plan.schedule.schedule`: room_temp_c, measured, retard_hours.
        """
        from kit.plan.schedule import schedule

        return schedule(
            self.planned(bake),
            zone=bake.zone,
            table_time=_moment(bake, "table_time", table_time),
            mix_time=_moment(bake, "mix_time", mix_time),
            limits=limits,
            **more,
        )

    def bench_sheet(
        self,
        bake: Bake,
        path: str | Path,
        weights: "WeighingSheet | None" = None,
        schedule: "Schedule | None" = None,
        quantities: Iterable[str] | None = None,
        paper: str = "A4",
        layout: Sequence[Sequence[int]] | None = None,
    ) -> Path:
        """Write the sheet of a planned bake, to be printed and written on.

        Parameters
        ----------
        path : str or Path
            Of the HTML page; replaced whole.
        weights : WeighingSheet, optional
            See `weigh`.
        schedule : Schedule, optional
            See `timetable`.
        quantities : iterable of str, optional
            What is to be written down; the trial's outcome and factors, and what usually
            disturbs, when not given.
        paper, layout
            See `kit.plan.sheet.bench_sheet`.

        Raises
        ------
        InputError
            The path does not end in .html.
        """
        from kit.plan.sheet import bench_sheet

        if Path(path).suffix.lower() not in (".html", ".htm"):
            raise InputError("path", str(path), "must end in .html", "A browser prints it.")
        wanted = list(quantities) if quantities is not None else self.sheet_quantities()
        mark = " (invented data)" if self.invented else ""
        text = bench_sheet(
            self.planned(bake), weights, schedule, wanted, f"{self.name}{mark}", paper, layout
        )
        return write_whole(Path(path), text)

    def calendar(self, schedule: "Schedule", path: str | Path, alarm_minutes: int = 10) -> Path:
        """Write the steps of a timetable as an iCalendar file with alarms."""
        from kit.plan.timetable.calendar import calendar_text

        return write_whole(Path(path), calendar_text(schedule, self.name, alarm_minutes))

    def sheet_quantities(self) -> list[str]:
        """Return what the bench sheet asks for by itself: outcome, factors, usual disturbances."""
        own = [*self.factors, *([self.outcome] if self.outcome else [])]
        usual = ("room_temp_c", "dough_temp_c", "ball_weight_g", "griddle_temp_c", "waited_minutes")
        return list(dict.fromkeys([*own, *usual]))


def _moment(bake: Bake, field: str, value: str | datetime | time | None) -> str | datetime | None:
    """A time of day on the bake's day; what holds a date stays as it is."""
    from kit.plan.timetable.clock import read_clock

    if isinstance(value, time):
        value = f"{value:%H:%M}"
    if not isinstance(value, str) or "-" in (value := in_iso_form(value)):
        return value
    minute = min(read_clock(value, field), 1439)
    if bake.day is None:
        raise InputError(
            field, value, f"needs a day, and {bake} has none", "Give the day as well, or set it."
        )
    return f"{bake.day.isoformat()} {minute // 60:02d}:{minute % 60:02d}"
