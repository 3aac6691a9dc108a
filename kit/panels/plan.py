"""The plan panel: what you want to know and what you can do, and the plan that answers it."""

from dataclasses import dataclass
from datetime import date
from functools import partial
from html import escape
from typing import Any, Self

import ipywidgets as widgets

from kit import words
from kit.errors import KitError
from kit.formula import Formula, WeighingSheet, weigh, write_formula
from kit.panels.parts.again import held
from kit.panels.parts.blocks import status
from kit.panels.parts.controls import button, offer, visible
from kit.panels.parts.fields import Typed, above_0, count, number, tell, what_matters
from kit.panels.parts.rest import AtRest
from kit.panels.parts.style import FAULT, notebook, trouble
from kit.panels.parts.today import day_said, today_in
from kit.panels.planning.form import GUESS, NEW, UNKNOWN, PlanForm
from kit.panels.planning.offers import named, spreads_of
from kit.panels.planning.sheets import linked, papers, written_before
from kit.panels.planning.shown import show_plan
from kit.plan.design import design
from kit.plan.plan import Plan
from kit.plan.power import Power, power
from kit.plan.schedule import Schedule, schedule
from kit.plan.spread import Spread
from kit.plan.timetable.clock import read_clock
from kit.planning import put_away_in_words
from kit.records.things import Bake
from kit.records.typed import day as read_day
from kit.records.typed import local_zone
from kit.us_units import us_paper
from kit.workspace import Trial, Workspace

__all__ = ["PlanPanel", "Proposal"]


@dataclass(frozen=True)
class Proposal:
    """What the panel shows: each part made by one plain call.

    Parameters
    ----------
    plan : Plan
    powers : list of Power
        One a factor; empty while the spread is not known.
    weights : WeighingSheet or None
        None without a formula, or where it leaves a share open that the plan does not set.
    schedule : Schedule
        Of the first bake.
    """

    plan: Plan
    powers: list[Power]
    weights: WeighingSheet | None
    schedule: Schedule


class PlanPanel(PlanForm):
    """Asks for the question and the kitchen, shows the plan, keeps it and writes its sheets."""

    def __init__(self, workspace: Workspace) -> None:
        self.workspace = workspace
        self._proposal: Proposal | None = None
        self._under_way = False
        self._answer = AtRest(self._show_answer)
        #: what was typed for each factor; the name and question that the panel wrote itself
        self._settings: dict[tuple[Typed, str], str] = {}
        self._named = ("", "")
        self.working, self.shown, self.kept = widgets.HTML(), widgets.HTML(), widgets.HTML()
        self.keep = button("Keep this plan and write its sheets", self._keep, "check")
        super().__init__(self.working, self.shown, self.keep, self.kept)
        self._fill()

    @property
    def proposal(self) -> Proposal | None:
        """The plan of what is typed; None while something typed cannot be used."""
        self._answer.settle()
        return self._proposal

    def _fill(self) -> None:
        """Offer what the workspace has, then ask for the first time."""
        trials = self.workspace.trials()
        self.trial.options = [NEW, *(t.name for t in trials)]
        formula = next((f for t in reversed(trials) if (f := t.formula())), None)
        if formula is not None and not formula.of_role("malt"):
            # what is filled in must be something that the baker's own formula can change
            self.factor.value, self.settings.value = "retard_hours", "24 or 48"
            self.name.value, self.question.value = named("retard_hours", "rise_height_mm")
        self.name.value = self._free(self.name.value)
        self._named = (self.name.value, self.question.value)
        self._take_formula(formula)
        self.outcome.value = "rise_height_mm"
        self._offer_spreads()
        for typed in self._typed():
            typed.observe_text(self._ask)
        for picked, typed in ((self.factor, self.settings), (self.other, self.other_settings)):
            picked.observe(partial(self._change_factor, typed), "value")
        for picked in (self.bakes, self.spread):
            picked.observe(lambda _: self._ask(), "value")
        self.trial.observe(lambda _: self._show_trial(), "value")
        self.outcome.observe(lambda _: self._show_outcome(), "value")
        self.more.observe(lambda change: visible(self.rest, change["new"]), "value")
        self._ask()
        self._answer.settle()

    def _free(self, name: str) -> str:
        """The name, with a number where another trial has it already."""
        taken = set(self.trial.options)
        numbers = (f"{name}-{n}" for n in range(2, 1000))
        return name if name not in taken else next(one for one in numbers if one not in taken)

    def _change_factor(self, typed: Typed, change: dict[str, Any]) -> None:
        """Settings of one thing are none of another: put them by, take out those of the new one."""
        if self._filling:
            return
        self._settings[typed, change["old"]] = typed.value
        with self.filling():
            typed.value = self._settings.get((typed, change["new"]), "")
            if typed is self.settings:
                mine, ours = (self.name.value, self.question.value), self._named
                name, question = named(change["new"], self.outcome.value)
                self._named = (self._free(name), question)
                self.name.value, self.question.value = (
                    new if text == old else text
                    for text, old, new in zip(mine, ours, self._named, strict=True)
                )
        self._ask()

    @property
    def chosen(self) -> Trial | None:
        """The trial that gets more bakes; None for a new one."""
        self.gone.value = ""
        return None if self.trial.value == NEW else super().chosen

    def _show_trial(self) -> None:
        """A trial that is there is planned on as it is; a new one is asked about."""
        if self._filling:
            return
        trial = self.chosen
        with self.filling():
            # what has been baked decides what more bakes must be of
            self._under_way = trial is not None and len(trial.baked()) > 0
            for field in (self.name, self.question, self.settings, self.other_settings):
                field.text.disabled = trial is not None
            self.factor.disabled = self.other.disabled = trial is not None
            if trial is not None:
                self._take_over(trial)
                # what a trial brings is not what somebody typed; that it was chosen is
                chosen = self.trial.description, 0
                self._untouched = {
                    **held(self._asks()), chosen: self._untouched.get(chosen),
                }  # fmt: skip
        self._offer_spreads(afresh=True)
        self._ask()

    def _take_over(self, trial: Trial) -> None:
        self.name.value, self.question.value = trial.name, trial.question
        offered = [name for _, name in self.factor.options]
        factors = [(name, settings) for name, settings in trial.factors.items() if name in offered]
        for picked, typed, (name, settings) in zip(
            (self.factor, self.other), (self.settings, self.other_settings),
            [*factors, ("", []), ("", [])], strict=False,
        ):  # fmt: skip
            if name or picked is self.other:
                picked.value = name
                typed.value = "; ".join(f"{s:g}" for s in settings)
        if trial.outcome in [name for _, name in self.outcome.options]:
            self.outcome.value = trial.outcome
        self.matters.value = "" if trial.matters is None else f"{trial.matters:g}"
        self._take_formula(trial.formula())

    def _take_formula(self, formula: Formula | None) -> None:
        if formula is not None:
            self.formula_name.value = formula.name
            self.formula.value = write_formula(formula, decimals=3)

    def _show_outcome(self) -> None:
        if not self._filling:
            self._offer_spreads()
            self._ask()

    def _offer_spreads(self, afresh: bool = False) -> None:
        """Trials in which the outcome was measured on several doughs, a guess, or nothing.

        For another trial the best that is known is taken `afresh`; a guess stays.
        """
        before = self.spread.value
        own = "" if self.chosen is None else self.chosen.name
        self.spreads = spreads_of(self.workspace, self.outcome.value, own)
        options = [*self.spreads, GUESS, UNKNOWN]
        stays = before in options and before != UNKNOWN and (before == GUESS or not afresh)
        with self.filling():
            offer(self.spread, options, *([before] if stays else []))

    def _ask(self) -> None:
        """Ask what the menus leave to ask; make the plan when the hand rests."""
        if self._filling:
            return
        self.kept.value = "" if self.chosen is None else written_before(self.chosen)
        self.matters.text.description = what_matters(self.outcome.value)
        self._show_units()
        if self._returning:
            return
        visible(self.guess, self.spread.value == GUESS)
        visible(self.settings, bool(self.factor.value))
        visible(self.other, bool(self.factor.value))
        visible(self.other_settings, bool(self.factor.value and self.other.value))
        # what was shown stays meanwhile: a page that shrinks and grows again jumps under the hand
        self.working.value = status("Working it out …")
        self._answer.soon()

    def _show_answer(self) -> None:
        """Make the plan from what is typed and show it, or the reason why not."""
        for field in self._typed():
            field.said.value = ""
        self._proposal, self.doubts = None, []
        try:
            made = self._propose()
            self.shown.value = show_plan(
                made.plan, made.powers, made.weights, made.schedule, self._call(made.plan),
                self.doubts,
            )  # fmt: skip
            self._proposal = made
        except KitError as exc:
            named = [f"“{f.text.description}”" for f in self._typed() if f.said.value]
            told = f"see beside {words.join(named)} what can be used." if named else str(exc)
            self.shown.value = trouble(told)
        except Exception:  # a fault of ours: what was shown answers something else
            self.shown.value = trouble(FAULT)
            raise
        finally:
            self.working.value = ""
            self.keep.disabled = self._proposal is None

    def _come_back(self, before: Self) -> None:
        """What is changed comes back with its settings, though nobody touched them."""
        for mine, theirs, picked in (
            (self.settings, before.settings, before.factor),
            (self.other_settings, before.other_settings, before.other),
        ):
            self._settings[mine, picked.value] = theirs.value
        super()._come_back(before)

    def _returned(self) -> None:
        self._ask()

    def _propose(self) -> Proposal:
        """Read every field, then call design, power, weigh and schedule."""
        kitchen, spread = self._kitchen(), self._spread()
        trial = self.chosen
        if trial is not None and self._under_way:
            plan = trial.extend(kitchen, spread=spread)
        else:
            plan = design(self._factors(), kitchen, spread=spread)
        noticed: list[Power] = []
        if spread is not None:
            noticed = [self._power(plan, spread, one.quantity) for one in plan.factors]
        formula = self._formula()
        weights = None if formula is None else self._weigh(formula, plan)
        return Proposal(plan, noticed, weights, self._schedule(plan))

    def _power(self, plan: Plan, spread: Spread, of: str) -> Power:
        unit, outcome = words.unit_of(self.outcome.value), self.outcome.value
        matters = self.matters.read(
            lambda text: above_0(text, unit, "what matters", difference=True)
        )
        # without the simulation that an uneven plan would get: a slider cannot wait for it
        if self.chosen is not None and outcome == self.chosen.outcome:
            return self.chosen.power(plan, spread, of, matters=matters, simulate=0)
        return power(plan, of, spread=spread, outcome=outcome, matters=matters, simulate=0)

    def _weigh(self, formula: Formula, plan: Plan) -> WeighingSheet | None:
        """What to weigh; nothing while the plan leaves a share of the formula open."""
        first = plan.doughs[plan.doughs["bake"] == plan.doughs["bake"].iloc[0]]
        whole = [f.quantity for f in plan.factors if f.level == "dough"]
        doughs = {row["dough"]: {q: row[q] for q in whole} for row in first.to_dict("records")}
        size = self._size()
        for one in formula.with_settings(next(iter(doughs.values()))).open:
            self.formula.said.value = trouble(
                f"{one.short} ? is not set by this plan. To see what to weigh, write its share of "
                "the flour in place of the question mark."
            )
            return None
        pieces = int(first["pieces"].max())
        return self.formula.read(lambda _: weigh(formula, doughs, pieces=pieces, **size))

    def _schedule(self, plan: Plan) -> Schedule:
        runs = plan.runs[plan.runs["bake"] == plan.runs["bake"].iloc[0]]
        runs = runs.rename(columns={"code": "blind"}).assign(**self._same(plan))
        zone = self._zone
        on, times = self._first_day() or today_in(zone), self._times()
        return self.table.read(
            lambda text: schedule(
                runs, zone=zone, table_time=f"{on.isoformat()} {_clock(text)}", **times
            ).fitted()
        )

    @property
    def _zone(self) -> str:
        return self.chosen.zone if self.chosen else local_zone()

    def _first_day(self) -> date | None:
        return self.first.read(lambda text: read_day("first bake on", day_said(text, self._zone)))

    def _call(self, plan: Plan) -> str:
        kitchen, factors = plan.kitchen, ", ".join(f"kit.{one!r}" for one in plan.factors)
        called = "trial.extend(" if self._under_way else f"kit.design([{factors}],\n    "
        return (
            f"plan = {called}kit.Kitchen(bakes={kitchen.bakes}, doughs_per_bake={kitchen.doughs}, "
            f"pieces_per_dough={kitchen.pieces_per_dough}, places={kitchen.places}))\n"
            "trial.keep(plan)"
        )

    def _keep(self) -> None:
        if self.proposal is None:
            return

        def kept() -> str:
            trial, bakes, gone = self._kept_plan()
            with self.filling():  # before its sheets: if the disk is full, the same button goes on
                offer(self.trial, [NEW, *(t.name for t in self.workspace.trials())], trial.name)
            written = [self._write_sheet(trial, bake) for bake in bakes]
            items = "".join(f"<li>{line}</li>" for line in written)
            away = f" {put_away_in_words(gone)}" if gone else ""
            return (
                f'<div role="status"><p>Kept in <strong>{escape(trial.name)}</strong>. Open a '
                f"sheet and print it; record the bake in {notebook('record')}.{escape(away)}</p>"
                f"<ul>{items}</ul></div>"
            )

        tell(self.kept, kept)

    def _kept_plan(self) -> tuple[Trial, list[Bake], list[str]]:
        """Keep the plan in the trial that was picked or a new one; what it is in place of."""
        assert self.proposal is not None
        plan, formula, trial = self.proposal.plan, self._formula(), self.chosen
        when = self._first_day(), count(self.every), self._same(plan)
        if trial is None:
            unit = words.unit_of(self.outcome.value)
            matters = number(self.matters.value, unit, "what matters", difference=True)
            trial, bakes = self.workspace.begin(
                self.name.value, plan, *when, formula, question=self.question.value,
                outcome=self.outcome.value, matters=matters,
            )  # fmt: skip
            return trial, bakes, []
        gone = [bake.code for bake in trial.planned_bakes()]
        bakes = trial.keep(plan, *when, instead=True)
        if formula is not None and trial.formula() is None:
            trial.set_formula(formula)
        return trial, bakes, gone

    def _write_sheet(self, trial: Trial, bake: Bake) -> str:
        page, dates = papers(trial, bake)
        assert self.proposal is not None
        weights = plan = None
        if self.proposal.weights is not None and trial.formula() is not None:
            weights = trial.weigh(bake, **self._size())
        if bake.day is not None:
            plan = trial.timetable(bake, self.table.value, **self._times()).fitted()
        trial.bench_sheet(bake, page, weights, plan, paper=us_paper())
        if plan is not None:
            trial.calendar(plan, dates)
        return linked(trial, bake)


def _clock(text: str) -> str:
    minute = min(read_clock(text, "on the table at"), 1439)
    return f"{minute // 60:02d}:{minute % 60:02d}"
