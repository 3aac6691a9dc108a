"""What a trial does before the bake: design, power, the plan kept, weights, times, bench sheet."""

import dataclasses
import os
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from kit.analysis import words
from kit.errors import DataError, InputError, KitError
from kit.records import planned, things, trials
from kit.records import tables as t
from kit.records.frame import held
from kit.records.things import Bake
from kit.records.trial_records import TrialRecords
from kit.records.trouble import in_words
from kit.records.typed import day as read_day

if TYPE_CHECKING:
    from kit.formula.sheet import WeighingSheet
    from kit.plan.factors import Factor, Kitchen
    from kit.plan.limits import Limits
    from kit.plan.next import NextBake
    from kit.plan.noticed import Power
    from kit.plan.plan import Plan
    from kit.plan.schedule import Schedule
    from kit.plan.spread import Spread

__all__ = ["TrialPlanning", "check_factors", "put_away_in_words"]


class TrialPlanning(TrialRecords):
    """The verbs of a trial before the bake; see `kit.plan` and `kit.formula` for what they do."""

    def design(self, kitchen: "Kitchen", kind: Any = "auto", seed: int = 1, **more: Any) -> "Plan":
        """Plan bakes that answer the trial's question.

        Parameters
        ----------
        kitchen : Kitchen
            What the kitchen can do.
        kind, seed, **more
            See `kit.design`.
        """
        from kit.plan.design import design
        from kit.plan.factors import Factor

        factors = [Factor(name, tuple(settings)) for name, settings in self.factors.items()]
        more.setdefault("spread", self._spread_if_known())
        return design(factors, kitchen, kind, seed, **more)

    def extend(
        self, kitchen: "Kitchen", seed: int = 1, factors: "Sequence[Factor]" = (), **more: Any
    ) -> "Plan":
        """Plan more bakes, those that add most to what has been baked.

        Parameters
        ----------
        kitchen : Kitchen
            Its bakes are the number to add.
        factors : sequence of Factor, optional
            Settings to have besides those of the trial.
        seed, **more
            See `kit.plan.extend.extend`.
        """
        from kit.plan.extend import extend
        from kit.plan.factors import Factor

        baked = self.baked()
        if baked.empty:
            msg = "nothing has been baked yet: plan the trial with design()."
            raise DataError(msg)
        besides = {one.quantity: one.settings for one in factors}
        wanted = []
        for name, settings in self.factors.items():
            used = set(baked[name].dropna()) if name in baked else set()
            every = {*settings, *used, *besides.get(name, ())}
            wanted.append(Factor(name, tuple(sorted(every))))
        more.setdefault("spread", self._spread_if_known())
        return extend(baked, wanted, kitchen, seed, **more)

    def baked(self) -> pd.DataFrame:
        """Return the pieces of which the outcome was measured: what the trial rests on so far."""
        frame, _ = self._as_meant()
        return frame[frame[self.outcome].notna()] if self.outcome in frame else frame[:0]

    def spread(self, outcome: str | None = None) -> "Spread":
        """How much doughs and pieces of this trial differ by themselves.

        Parameters
        ----------
        outcome : str, optional
            The trial's own when not given.

        Raises
        ------
        DataError, NotFoundError
            Too little has been baked.
        """
        from kit.plan.spread import Spread

        outcome = self._outcome(outcome)
        frame, _ = self._as_meant()
        varied = [f for f in self.factors if f in frame and frame[f].notna().any()]
        found = Spread.from_bakes(frame, outcome, varied)
        mark = " (invented data)" if self.invented else ""
        return dataclasses.replace(found, source=f"{found.source} of {self.name}{mark}")

    def power(
        self, plan: "Plan", spread: "Spread | None" = None, of: str | None = None, **more: Any
    ) -> "Power":
        """What a plan will notice of the trial's outcome.

        For more bakes of a trial under way (`extend`), together with those baked already.

        Parameters
        ----------
        plan : Plan
        spread : Spread, optional
            From this trial's own bakes when not given.
        of : str, optional
            Which factor; the first when not given.
        **more
            See `kit.power`; ``matters`` is the trial's own when not given.
        """
        from kit.plan.power import power

        if spread is None and not {"sd_dough", "sd_piece"} & set(more):
            spread = self.spread()
        more.setdefault("matters", self.matters)
        baked = self.baked()
        if len(baked) and not set(map(str, plan.runs["bake"])) & set(baked["bake"]):
            both = pd.concat([baked, plan.runs.astype({"bake": str})], ignore_index=True)
            plan = dataclasses.replace(
                plan, runs=both[plan.runs.columns.intersection(baked.columns)]
            )
        return power(plan, of, spread=spread, outcome=self.outcome or "", **more)

    def next(
        self, by: str | None = None, bakes_planned: int | None = None, **more: Any
    ) -> "NextBake":
        """Say how sure the answer is, what one more bake would add, and when to stop.

        The answer may be looked at after every bake: false alarms stay at 5 % over all looks.

        Parameters
        ----------
        by : str, optional
            Which factor; the first when not given.
        bakes_planned : int, optional
            In all, settled before the first look; those of the kept plan and those made besides
            when not given, and 8 where no plan was kept.
        **more
            See `kit.plan.next.next_bake`: outcome, matters, adjust, line, alpha.

        Raises
        ------
        InputError
            No outcome or factor is known, or fewer bakes planned than made.
        DataError, DesignError, NotFoundError
            The bakes so far leave nothing to compare.
        """
        from kit.analysis.mixing import mixed_by
        from kit.plan.next import next_bake

        outcome = self._outcome(more.pop("outcome", None))
        frame, notes = self._as_meant()
        by = by or next(iter(self.factors), None)
        if by is None:
            raise InputError("by", None, "is not set for this trial", "Say which factor is asked.")
        if outcome == self.outcome:
            more.setdefault("matters", self.matters)
        others = [factor for factor in self.factors if factor != by]
        more.setdefault("adjust", held(frame, outcome, others))
        with self._store.reading() as connection:
            of_plan = {bake.code for bake in planned.of_plan(connection, self.id)}
        if bakes_planned is None and of_plan:
            made = set(frame.loc[frame[outcome].notna(), "bake"]) if outcome in frame else set()
            bakes_planned = len(of_plan | made)
        load = "load" if "load" in frame and frame["load"].notna().any() else None
        more.setdefault("mixing", mixed_by(by))
        found = next_bake(frame, outcome, by, bakes_planned, load=load, **more)
        return dataclasses.replace(found, checks=(*found.checks, *notes))

    def keep(
        self,
        plan: "Plan",
        days: "str | date | Sequence[str | date | None] | None" = None,
        every_days: int = 7,
        same: Mapping[str, Any] | None = None,
        instead: bool = False,
    ) -> list[Bake]:
        """Make the plan's bakes, doughs, loads and pieces, with what is planned for each.

        Parameters
        ----------
        plan : Plan
        days : str, date or sequence, optional
            The first bake's day, from which the others follow; or one day a bake.
        every_days : int
            From one bake to the next, when only the first day is given.
        same : mapping, optional
            What is planned alike for all, such as ``{"retard_hours": 24}``.
        instead : bool
            Put away bakes planned earlier and not begun.

        Returns
        -------
        list of Bake

        Raises
        ------
        InputError, NotFoundError
            A day or setting that cannot be, or a factor that the bakes so far have no setting
            of; nothing is stored.
        """
        days = _days(days, every_days, plan.runs["bake"].nunique())
        with self._step() as step:
            zone = trials.trial_row(step.connection, self.id).zone
            gone = planned.put_away(step, self.id) if instead else []
            known = trials.factors(step.connection, self.id)
            waiting = {bake.id for bake in planned.not_begun(step.connection, self.id)}
            begun = [b for b in things.bakes(step.connection, self.id) if b.id not in waiting]
            if begun:
                check_factors([f.quantity for f in plan.factors], known, self.name)
            more = {
                f.quantity: sorted({*known.get(f.quantity, []), *map(float, f.settings)})
                for f in plan.factors
                if f.numeric
            }
            if any(known.get(name) != settings for name, settings in more.items()):
                trials.change_trial(step, self.id, {"factors": {**known, **more}})
            made = planned.store_runs(step, self.id, zone, plan.runs, days, same or {})
            put = f", {len(gone)} planned earlier put away" if gone else ""
            self._say(step, f"plan kept: {words.plural(len(made), 'bake')}{put}")
        return made

    def put_plan_away(self) -> list[Bake]:
        """Take out the bakes that were planned and not begun. It can be undone."""
        with self._step() as step:
            gone = planned.put_away(step, self.id)
            self._say(step, f"plan put away: {words.plural(len(gone), 'bake')} not begun")
        return gone

    def planned_bakes(self) -> list[Bake]:
        """Return the bakes that were planned and not begun."""
        with self._store.reading() as connection:
            return planned.not_begun(connection, self.id)

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

    def weigh(self, bake: Bake, raw_piece_g: float | None = None, **more: Any) -> "WeighingSheet":
        """Say what to weigh for each dough of a planned bake.

        Parameters
        ----------
        bake : Bake
        raw_piece_g : float, optional
            Weight of a raw piece; or say ``flour_g`` or ``dough_g``.
        **more
            See `kit.formula.weigh`: scale_step_g, fine_step_g, use_blend …

        Raises
        ------
        DataError
            The trial has no formula.
        """
        from kit.formula.weighing import weigh

        formula = self.formula()
        if formula is None:
            msg = f"{self.name} has no formula: set it first, then it can be scaled (set_formula)."
            raise DataError(msg)
        runs = self.planned(bake)
        levels = {row.quantity: row.level for row in self._planned_levels()}
        whole = [c for c in runs.columns if levels.get(c) == "dough"]
        doughs = runs.drop_duplicates("dough").sort_values("dough").set_index("dough")
        settings = {
            str(code): {c: row[c] for c in whole if pd.notna(row[c])}
            for code, row in doughs.iterrows()
        }
        if raw_piece_g is not None and "pieces" not in more:
            more["pieces"] = int(runs.groupby("dough").size().max())
        return weigh(formula, settings, raw_piece_g=raw_piece_g, **more)

    def timetable(
        self,
        bake: Bake,
        table_time: str | datetime | None = None,
        mix_time: str | datetime | None = None,
        limits: "Limits | None" = None,
        **more: Any,
    ) -> "Schedule":
        """Say when everything of a planned bake happens.

        Parameters
        ----------
        bake : Bake
        table_time, mix_time : str or datetime, optional
            A time of day (``"9:00"``) is that of the bake's day.
        limits : Limits, optional
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
        weights: "WeighingSheet | pd.DataFrame | None" = None,
        schedule: "Schedule | None" = None,
        quantities: Iterable[str] | None = None,
        paper: str = "A4",
        layout: Sequence[Sequence[int]] | None = None,
    ) -> Path:
        """Write the sheet of a planned bake, to be printed and written on.

        Parameters
        ----------
        bake : Bake
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
        """
        from kit.plan.sheet import bench_sheet

        wanted = list(quantities) if quantities is not None else self.sheet_quantities()
        mark = " (invented data)" if self.invented else ""
        text = bench_sheet(
            self.planned(bake), weights, schedule, wanted, f"{self.name}{mark}", paper, layout
        )
        return _write(path, text)

    def calendar(self, schedule: "Schedule", path: str | Path, alarm_minutes: int = 10) -> Path:
        """Write the steps of a timetable as an iCalendar file with alarms."""
        from kit.plan.calendar import calendar_text

        return _write(path, calendar_text(schedule, self.name, alarm_minutes))

    def sheet_quantities(self) -> list[str]:
        """Return what the bench sheet asks for by itself: outcome, factors, usual disturbances."""
        own = [*self.factors, *([self.outcome] if self.outcome else [])]
        usual = ("room_temp_c", "dough_temp_c", "ball_weight_g", "griddle_temp_c", "waited_minutes")
        from kit import quantities

        known = {q.name for q in quantities.all_quantities()}
        return list(dict.fromkeys([*own, *(name for name in usual if name in known)]))

    def _planned_levels(self) -> Iterable[Any]:
        r = t.reading.c
        query = t.reading.select().with_only_columns(r.quantity, r.level).distinct()
        with self._store.reading() as connection:
            return connection.execute(query.where(r.trial_id == self.id)).all()

    def _spread_if_known(self) -> "Spread | None":
        try:
            return self.spread()
        except KitError:  # too little was baked to say
            return None


def check_factors(planned: Iterable[str], changed: Iterable[str], name: str) -> None:
    """Refuse a factor that a trial's bakes so far have no setting of: no answer could use them.

    Raises
    ------
    InputError
        A planned factor is not among those changed so far.
    """
    known = list(changed)
    for factor in planned:
        if known and factor not in known:
            changes = words.join([words.name(one) for one in known])
            rule = f"is not what {name} changes ({changes}): its bakes so far lack it"
            raise InputError("factor", factor, rule, "Begin a new trial for it.")


def put_away_in_words(codes: Sequence[str]) -> str:
    """Say which planned bakes a new plan stands in place of.

    Examples
    --------
    >>> put_away_in_words(["5", "6"])
    'Put away, because planned earlier and not begun: bakes 5 and 6. Undo brings them back.'
    """
    which = f"{'bake' if len(codes) == 1 else 'bakes'} {words.join(codes)}"
    return f"Put away, because planned earlier and not begun: {which}. Undo brings them back."


def _days(
    days: "str | date | Sequence[str | date | None] | None", every_days: int, count: int
) -> list[date | None]:
    """One day a bake, from the first on or as given; None where no day is known yet."""
    if days is None:
        return [None] * count
    if isinstance(days, (str, date)):
        if isinstance(every_days, bool) or not isinstance(every_days, int) or every_days < 1:
            raise InputError("every_days", every_days, "must be a whole number, 1 or more")
        first = read_day("days", days)
        if first is None:
            return [None] * count
        return [first + timedelta(days=every_days * n) for n in range(count)]
    listed = [read_day("days", one) for one in days]
    told = [day for day in listed if day is not None]
    if told != sorted(set(told)):
        raise InputError(
            "days", [str(d) for d in told], "must be in order, each once", "One day a bake."
        )
    return listed


def _moment(bake: Bake, field: str, value: str | datetime | None) -> str | datetime | None:
    """A time of day on the bake's day; what holds a date stays as it is."""
    from kit.plan.clock import read_clock

    if not isinstance(value, str) or "-" in value:
        return value
    minute = min(read_clock(value, field), 1439)
    if bake.day is None:
        raise InputError(
            field, value, f"needs a day, and {bake} has none", "Give the day as well, or set it."
        )
    return f"{bake.day.isoformat()} {minute // 60:02d}:{minute % 60:02d}"


def _write(path: str | Path, text: str) -> Path:
    """Write aside, then rename: an older file stays whole until the new one is."""
    path = Path(path)
    aside = path.with_name(f".{path.name}.part")
    with in_words(str(path)):
        aside.write_text(text, encoding="utf-8", newline="")
        os.replace(aside, path)
    return path
