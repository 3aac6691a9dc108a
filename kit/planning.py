"""What a trial does before the bake: design, power, the next bake, the plan kept."""

import dataclasses
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

import pandas as pd

from kit import quantities, words
from kit.analysis.grouping.meant import meant
from kit.analysis.grouping.mixing import mixed_by
from kit.errors import DataError, InputError, KitError
from kit.given import as_whole
from kit.records import planned, things, trials
from kit.records.frame import held
from kit.records.things import Bake
from kit.records.trial_asked import TrialAsked
from kit.records.typed import day as read_day

if TYPE_CHECKING:
    from kit.plan.factors import Factor
    from kit.plan.kitchen import Kitchen
    from kit.plan.next import NextBake
    from kit.plan.noticing.noticed import Power
    from kit.plan.plan import Plan
    from kit.plan.spread import Spread

__all__ = ["TrialPlanning", "check_factors", "put_away_in_words"]


class TrialPlanning(TrialAsked):
    """The verbs that plan a trial; see `kit.plan` for what they do."""

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
        """Return the pieces of which the outcome was measured: what the trial rests on so far.

        A proof that was read piece by piece counts here as the setting meant, as it was planned.
        """
        frame, _ = self._as_meant()
        proofs = {meant(f): f for f in self.factors if meant(f) in frame}
        frame = frame.drop(columns=proofs.values()).rename(columns=proofs)
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
        found = Spread.from_bakes(frame, outcome, varied, mixing=mixed_by(*varied))
        mark = " (invented data)" if self.invented else ""
        return dataclasses.replace(found, source=f"{found.source} of {self.name}{mark}")

    def power(
        self, plan: "Plan", spread: "Spread | None" = None, of: str | None = None, **more: Any
    ) -> "Power":
        """What a plan will notice of the trial's outcome.

        For more bakes of a trial under way (`extend`), together with those baked already.

        Parameters
        ----------
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
        from kit.plan.next import next_bake

        outcome, by, matters, others = self._asked(
            more.pop("outcome", None), by, more.pop("matters", None)
        )
        frame, notes = self._as_meant()
        if bakes_planned is None:
            bakes_planned = self._bakes_in_all(frame, outcome)
        more.setdefault("adjust", held(frame, outcome, others))
        together = self._together(frame, outcome, by)
        found = next_bake(frame, outcome, by, bakes_planned, matters=matters, **together, **more)
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
        days : str, date or sequence, optional
            The first bake's day, from which the others follow; or one day a bake.
        every_days : int
            From one bake to the next, when only the first day is given.
        same : mapping, optional
            What is planned alike for all, such as ``{"retard_hours": 24}``.
        instead : bool
            Put away bakes planned earlier and not begun.

        Raises
        ------
        InputError, NotFoundError
            A day or setting that cannot be, or a factor that the trial does not change, or that
            would not be varied; nothing is stored.
        """
        days = _days(days, every_days, plan.runs["bake"].nunique())
        _check_chilled(plan, same or {})
        with self._step() as step:
            zone = trials.trial_row(step.connection, self.id).zone
            gone = planned.put_away(step, self.id) if instead else []
            known = trials.factors(step.connection, self.id)
            waiting = {bake.id for bake in planned.not_begun(step.connection, self.id)}
            begun = [b for b in things.bakes(step.connection, self.id) if b.id not in waiting]
            check_factors([f.quantity for f in plan.factors], known, self.name, bool(begun))
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

    def _spread_if_known(self) -> "Spread | None":
        try:
            return self.spread()
        except KitError:  # too little was baked to say
            return None


def check_factors(
    planned: Iterable[str], changed: Iterable[str], name: str, begun: bool = True
) -> None:
    """Refuse a plan for another question than its trial's: no answer could use them both.

    Before the first bake a plan may change more than the trial says, but nothing instead.

    Raises
    ------
    InputError
        A planned factor is not among those changed so far.
    """
    asked, known = list(planned), list(changed)
    strange = [factor for factor in asked if factor not in known]
    if not known or not strange or not (begun or set(known) - set(asked)):
        return
    rule = f"is not what {name} changes ({words.join(map(words.name, known))})"
    rule += ": its bakes so far lack it" if begun else ""
    raise InputError("factor", strange[0], rule, "Begin a new trial for it.")


def _check_chilled(plan: "Plan", same: Mapping[str, Any]) -> None:
    """Refuse to plan proof inside doughs that are not chilled: the records would say it varied."""
    proofs = [f.name for f in plan.factors if f.shaped_apart]
    hours = same.get("retard_hours")
    if proofs and hours is not None and quantities.get("retard_hours").parse(hours).value == 0:
        raise InputError(
            "retard_hours", hours, f"would not let {words.join(proofs)} be varied: a dough that is "
            "not chilled is shaped all at once, and its pieces proof alike",
            "Chill it for some hours, or change proof from dough to dough.",
        )  # fmt: skip


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
        apart = as_whole(every_days) or 0
        if apart < 1:
            raise InputError("every_days", every_days, "must be a whole number, 1 or more")
        first = read_day("days", days)
        if first is None:
            return [None] * count
        return [first + timedelta(days=apart * n) for n in range(count)]
    listed = [read_day("days", one) for one in days]
    told = [day for day in listed if day is not None]
    if told != sorted(set(told)):
        raise InputError(
            "days", [str(d) for d in told], "must be in order, each once", "One day a bake."
        )
    return listed
