"""The plan panel: what you want to know and what you can do, and the plan that answers it."""

import re
from dataclasses import dataclass
from datetime import date, timedelta
from functools import partial
from html import escape
from pathlib import Path
from typing import Any

import ipywidgets as widgets

from kit import quantities
from kit.analysis import words
from kit.errors import InputError, KitError
from kit.formula import Formula, WeighingSheet, read_formula, weigh, write_formula
from kit.panels.fields import LABELS, Typed, above_0, count, number, section, setting
from kit.panels.keys import OwnKeys
from kit.panels.plan_offers import can_answer, can_be_set, spreads_of
from kit.panels.plan_shown import show_plan
from kit.panels.style import STYLE, link, trouble
from kit.plan.design import design
from kit.plan.factors import Factor, Kitchen
from kit.plan.limits import Limits
from kit.plan.plan import Plan
from kit.plan.power import Power, power
from kit.plan.schedule import Schedule, schedule
from kit.plan.spread import Spread
from kit.records.things import Bake
from kit.records.typed import day as read_day
from kit.workspace import Trial, Workspace

__all__ = ["PlanPanel", "Proposal"]

_NOTHING = "nothing else"
_GUESS, _UNKNOWN = "my guess, below", "not known yet"
_NEW = "a new trial"


@dataclass(frozen=True)
class Proposal:
    """What the panel shows: each part made by one plain call.

    Parameters
    ----------
    plan : Plan
    power : Power or None
        None while the spread is not known.
    weights : WeighingSheet or None
        None without a formula.
    schedule : Schedule
        Of the first bake.
    """

    plan: Plan
    power: Power | None
    weights: WeighingSheet | None
    schedule: Schedule


class PlanPanel(widgets.VBox):  # type: ignore[misc]
    """Asks for the question and the kitchen, shows the plan, keeps it and writes its sheets.

    Parameters
    ----------
    workspace : Workspace

    Attributes
    ----------
    proposal : Proposal or None
        What is shown; None while something typed cannot be used.
    """

    def __init__(self, workspace: Workspace) -> None:
        self.workspace = workspace
        self.proposal: Proposal | None = None
        self._filling, self._under_way = True, False
        self._make_fields()
        self.shown, self.kept = widgets.HTML(), widgets.HTML()
        self.keep = widgets.Button(
            description="Keep this plan and write its sheets", icon="check", disabled=True,
            layout=widgets.Layout(width="auto", max_width="20rem"),
        )  # fmt: skip
        asks = widgets.Box(
            [
                section(
                    "What do you want to know?", self.trial, self.name, self.question, self.factor,
                    self.settings, self.other, self.other_settings, self.outcome, self.matters,
                ),
                section(
                    "What can you do?", self.bakes, self.first, self.doughs, self.pieces,
                    self.places, self.table, self.more, self.rest,
                ),
                section("What is in it?", self.formula_name, self.formula, self.piece, self.step,
                        self.fine),
                section("How much do doughs differ by themselves?", self.spread, self.guess),
            ],
            layout=widgets.Layout(display="flex", flex_flow="row wrap", grid_gap="0 2rem"),
        )  # fmt: skip
        super().__init__([OwnKeys(), widgets.HTML(STYLE), asks, self.shown, self.keep, self.kept])
        self.add_class("kit-panel")
        self.keep.on_click(lambda _: self._keep())
        self._fill()

    def _make_fields(self) -> None:
        def wide() -> widgets.Layout:
            # each field its own: those that are not needed are hidden one by one
            return widgets.Layout(width="auto", max_width="34rem")

        def pick(label: str, options: Any) -> widgets.Dropdown:
            return widgets.Dropdown(description=label, options=options, style=LABELS, layout=wide())

        known = quantities.all_quantities()
        settable = [(q.label, q.name) for q in known if can_be_set(q)]
        noise = [("nothing: one recipe, repeated", "")]
        outcomes = [(q.label, q.name) for q in known if can_answer(q)]
        self.trial = pick("Plan", [_NEW])
        self.name = Typed("Its name", "malt", "short, such as malt")
        self.question = Typed("The question", "Does more malt make a taller muffin?")
        self.factor = pick("I change", [*settable, *noise])
        self.settings = Typed("Settings", "0 to 1.2", "0 to 1.2, or 0, 0.4, 0.8")
        self.other = pick("and also", [(_NOTHING, ""), *settable])
        self.other_settings = Typed("Its settings", "", "such as 5 or 6")
        self.outcome = pick("I measure", outcomes)
        self.matters = Typed("What matters", "2", "smallest difference you care about")
        self.bakes = widgets.IntSlider(
            value=5, min=1, max=12, description="Bakes", style=LABELS, layout=wide(),
            continuous_update=False,
        )  # fmt: skip
        week = date.today() + timedelta(days=7)
        self.first = Typed("First bake on", week.isoformat(), "year-month-day")
        self.doughs = Typed("Doughs a bake", "4", "as many as you have tubs")
        self.pieces = Typed("Pieces a dough", "6")
        self.places = Typed("Places on the griddle", "6")
        self.table = Typed("On the table at", "12:00")
        self.more = widgets.ToggleButton(
            value=False, description="More about your kitchen",
            layout=widgets.Layout(width="16rem"),
        )  # fmt: skip
        self.every = Typed("Days between bakes", "7")
        self.awake_from = Typed("Awake from", "6:00")
        self.awake_to = Typed("Awake to", "22:00")
        self.hands = Typed("Pairs of hands", "1")
        self.retard = Typed("Cold retard (h)", "24", "where it is not what you change")
        self.slack = Typed("It may be off by (h)", "0.5", "0: exactly")
        self.side = Typed("Time a side (min)", "5", "where it is not what you change")
        self.room = Typed("Room temperature", "22 °C", "22, or 72 F")
        self.rest = widgets.VBox(
            [self.every, self.awake_from, self.awake_to, self.hands, self.retard, self.slack,
             self.side, self.room], layout=widgets.Layout(display="none")
        )  # fmt: skip
        self.formula_name = Typed("Formula", "")
        self.formula = Typed("Ingredients, % of flour", "", "bread flour 100", rows=9)
        self.piece = Typed("Raw piece", "76 g", "76 g, or 2 3/4 oz")
        self.step = Typed("Scale shows steps of", "1 g")
        self.fine = Typed("Fine scale, steps of", "", "0.1 g, or empty")
        self.spread = pick("It is", [_UNKNOWN])
        self.dough_sd = Typed("From dough to dough", "1")
        self.piece_sd = Typed("From piece to piece", "1.5")
        self.guess = widgets.VBox(
            [self.dough_sd, self.piece_sd], layout=widgets.Layout(display="none")
        )

    def _fill(self) -> None:
        """Offer what the workspace has, then ask for the first time."""
        trials = self.workspace.trials()
        self.trial.options = [_NEW, *(t.name for t in trials)]
        taken = {t.name for t in trials}
        if self.name.value in taken:
            numbers = (f"{self.name.value}-{n}" for n in range(2, 1000))
            self.name.value = next(name for name in numbers if name not in taken)
        formula = next((f for t in reversed(trials) if (f := t.formula())), None)
        if formula is not None:
            self.formula_name.value, self.formula.value = formula.name, write_formula(formula)
        self.outcome.value = "rise_height_mm"
        self._offer_spreads()
        for typed in self._typed():
            typed.observe_text(self._ask)
        for picked in (self.factor, self.other, self.bakes, self.spread):
            picked.observe(lambda _: self._ask(), "value")
        self.trial.observe(lambda _: self._show_trial(), "value")
        self.outcome.observe(lambda _: self._show_outcome(), "value")
        self.more.observe(lambda change: _show(self.rest, change["new"]), "value")
        self._filling = False
        self._ask()

    def _typed(self) -> list[Typed]:
        return [field for field in vars(self).values() if isinstance(field, Typed)]

    @property
    def chosen(self) -> Trial | None:
        """The trial that gets more bakes; None for a new one."""
        return None if self.trial.value == _NEW else self.workspace.trial(self.trial.value)

    def _show_trial(self) -> None:
        """Take question, settings and formula from a trial that is there."""
        if self._filling:
            return
        trial = self.chosen
        self._filling = True
        # what has been baked decides what more bakes must be of
        self._under_way = trial is not None and len(trial.baked()) > 0
        for field in (self.name, self.question, self.settings, self.other_settings):
            field.text.disabled = trial is not None
        self.factor.disabled = self.other.disabled = trial is not None
        if trial is not None:
            self.name.value, self.question.value = trial.name, trial.question
            factors = [(n, s) for n, s in trial.factors.items() if n in dict(_flip(self.factor))]
            for picked, typed, (name, settings) in zip(
                (self.factor, self.other), (self.settings, self.other_settings),
                [*factors, ("", []), ("", [])], strict=False,
            ):  # fmt: skip
                if name or picked is self.other:
                    picked.value = name
                    typed.value = "; ".join(f"{s:g}" for s in settings)
            if trial.outcome in dict(_flip(self.outcome)):
                self.outcome.value = trial.outcome
            self.matters.value = "" if trial.matters is None else f"{trial.matters:g}"
            formula = trial.formula()
            if formula is not None:
                self.formula_name.value, self.formula.value = formula.name, write_formula(formula)
        self._filling = False
        self._show_outcome()

    def _show_outcome(self) -> None:
        if not self._filling:
            self._offer_spreads()
            self._ask()

    def _offer_spreads(self) -> None:
        """Trials in which the outcome was measured on several doughs, a guess, or nothing."""
        before = self.spread.value
        self._spreads = spreads_of(self.workspace, self.outcome.value)
        options = [*self._spreads, _GUESS, _UNKNOWN]
        filling, self._filling = self._filling, True
        self.spread.options = options
        self.spread.value = before if before in options and before != _UNKNOWN else options[0]
        self._filling = filling

    def _ask(self) -> None:
        """Make the plan from what is typed and show it, or the reason why not."""
        if self._filling:
            return
        self.kept.value = ""
        unit = words.unit_of(self.outcome.value)
        self.matters.text.description = f"What matters ({unit})" if unit else "What matters"
        _show(self.guess, self.spread.value == _GUESS)
        _show(self.settings, bool(self.factor.value))
        _show(self.other, bool(self.factor.value))
        _show(self.other_settings, bool(self.factor.value and self.other.value))
        for field in self._typed():
            field.said.value = ""
        self.proposal = None
        try:
            self.proposal = self._propose()
            self.shown.value = show_plan(
                self.proposal.plan, self.proposal.power, self.proposal.weights,
                self.proposal.schedule, self._call(),
            )  # fmt: skip
        except KitError as exc:
            beside = any(field.said.value for field in self._typed())
            told = "see beside the field what can be used." if beside else str(exc)
            self.shown.value = trouble(told)
        self.keep.disabled = self.proposal is None

    def _propose(self) -> Proposal:
        """Read every field, then call design, power, weigh and schedule."""
        kitchen = Kitchen(
            bakes=self.bakes.value,
            doughs_per_bake=count(self.doughs),
            pieces_per_dough=count(self.pieces),
            places=count(self.places),
        )
        spread = self._spread()
        trial = self.chosen
        if trial is not None and self._under_way:
            plan = trial.extend(kitchen, spread=spread)
        else:
            plan = design(self._factors(), kitchen, spread=spread)
        noticed = None
        if spread is not None and plan.factors:
            noticed = self._power(plan, spread)
        formula = self._formula()
        weights = None if formula is None else self._weigh(formula, plan)
        return Proposal(plan, noticed, weights, self._schedule(plan))

    def _factors(self) -> list[Factor]:
        fields = [(self.factor, self.settings)] if self.factor.value else []
        if self.other.value and fields:
            fields.append((self.other, self.other_settings))
        return [typed.read(partial(Factor.written, picked.value)) for picked, typed in fields]

    def _spread(self) -> Spread | None:
        """From earlier bakes or as guessed; None while nobody knows."""
        unit, outcome = words.unit_of(self.outcome.value), self.outcome.value
        if self.spread.value == _UNKNOWN:
            return None
        if self.spread.value != _GUESS:
            return self._spreads[self.spread.value]
        fields = (
            (self.dough_sd, "from dough to dough"), (self.piece_sd, "from piece to piece"),
        )  # fmt: skip
        dough, piece = (
            field.read(partial(number, unit=unit, field=what, difference=True))
            for field, what in fields
        )
        return self.piece_sd.read(lambda _: Spread(dough, piece, outcome=outcome))

    def _power(self, plan: Plan, spread: Spread) -> Power:
        unit, outcome = words.unit_of(self.outcome.value), self.outcome.value
        matters = self.matters.read(
            lambda text: above_0(text, unit, "what matters", difference=True)
        )
        # without the simulation that an uneven plan would get: a slider cannot wait for it
        if self.chosen is not None and outcome == self.chosen.outcome:
            return self.chosen.power(plan, spread, matters=matters, simulate=0)
        return power(plan, spread=spread, outcome=outcome, matters=matters, simulate=0)

    def _formula(self) -> Formula | None:
        if not self.formula.value.strip():
            return None
        name = self.formula_name.value.strip() or "Formula"
        return self.formula.read(lambda text: read_formula(name, text))

    def _size(self) -> dict[str, Any]:
        """How much dough, on which scale."""
        return {
            "raw_piece_g": self.piece.read(lambda text: above_0(text, "g", "raw piece")),
            "scale_step_g": self.step.read(lambda text: above_0(text, "g", "scale step")) or 1.0,
            "fine_step_g": self.fine.read(lambda text: above_0(text, "g", "fine scale step")),
        }

    def _weigh(self, formula: Formula, plan: Plan) -> WeighingSheet:
        first = plan.doughs[plan.doughs["bake"] == plan.doughs["bake"].iloc[0]]
        whole = [f.quantity for f in plan.factors if f.level == "dough"]
        doughs = {row["dough"]: {q: row[q] for q in whole} for row in first.to_dict("records")}
        size = self._size()

        def sheet(_: str) -> WeighingSheet:
            for one in formula.with_settings(next(iter(doughs.values()))).open:
                raise InputError(
                    "formula", f"{one.name} ?", "is not set by this plan",
                    "Write its share of the flour in place of the question mark.",
                )  # fmt: skip
            return weigh(formula, doughs, pieces=int(first["pieces"].max()), **size)

        return self.formula.read(sheet)

    def _same(self, plan: Plan) -> dict[str, float]:
        """What is planned alike for all: whatever of it is not varied."""
        fields = (("retard_hours", self.retard, "h"), ("side_minutes", self.side, "min"))
        varied = [f.quantity for f in plan.factors]
        same = {
            name: field.read(partial(setting, quantity=quantities.get(name), unit=unit))
            for name, field, unit in fields
            if name not in varied
        }
        return {name: value for name, value in same.items() if value is not None}

    def _times(self) -> dict[str, Any]:
        """Limits of the kitchen and its room, as `schedule` takes them."""
        read: dict[str, Any] = {
            "awake_from": self.awake_from.value.strip(), "awake_to": self.awake_to.value.strip(),
            "hands": count(self.hands), "tubs": count(self.doughs),
            "griddle_places": count(self.places),
            "retard_tolerance_hours": self.slack.read(
                lambda text: number(text, "h", "it may be off by")
            ),
        }  # fmt: skip
        limits = self.awake_from.read(lambda _: Limits(**read))
        temp = quantities.get("room_temp_c")
        room = self.room.read(partial(setting, quantity=temp, unit="°C"))
        return {"limits": limits, "room_temp_c": room}

    def _schedule(self, plan: Plan) -> Schedule:
        runs = plan.runs[plan.runs["bake"] == plan.runs["bake"].iloc[0]]
        runs = runs.rename(columns={"code": "blind"}).assign(**self._same(plan))
        day = self.first.read(lambda text: read_day("first bake on", text))
        on = day or date.today()
        times = self._times()
        zone = self.chosen.zone if self.chosen else _zone()
        return self.table.read(
            lambda text: schedule(
                runs, zone=zone, table_time=f"{on.isoformat()} {_clock(text)}", **times
            ).fitted()
        )

    def _call(self) -> str:
        """The same from Python."""
        assert self.proposal is not None
        plan = self.proposal.plan
        kitchen = plan.kitchen
        called = "trial.extend(" if self._under_way else f"kit.design({list(plan.factors)!r},\n    "
        return (
            f"plan = {called}kit.Kitchen(bakes={kitchen.bakes}, doughs_per_bake={kitchen.doughs}, "
            f"pieces_per_dough={kitchen.pieces_per_dough}, places={kitchen.places}))\n"
            "trial.keep(plan)"
        )

    def _keep(self) -> None:
        """Store the plan with its trial and write sheets and calendar into the folder."""
        if self.proposal is None:
            return
        try:
            trial = self._trial_to_fill()
            bakes = trial.keep(
                self.proposal.plan, self.first.value or None, count(self.every),
                self._same(self.proposal.plan), instead=True,
            )  # fmt: skip
            written = [self._write_sheet(trial, bake) for bake in bakes]
        except KitError as exc:
            self.kept.value = trouble(str(exc))
            return
        items = "".join(f"<li>{line}</li>" for line in written)
        self.kept.value = (
            f'<div role="status"><p>Kept in <strong>{escape(trial.name)}</strong>. Open a sheet '
            f"and print it; record the bake in <em>record.ipynb</em>.</p><ul>{items}</ul></div>"
        )
        self._filling = True
        self.trial.options = [_NEW, *(t.name for t in self.workspace.trials())]
        self.trial.value = trial.name
        self._filling = False

    def _trial_to_fill(self) -> Trial:
        """The trial that was picked, or a new one with what was typed."""
        assert self.proposal is not None
        trial = self.chosen
        if trial is None:
            unit = words.unit_of(self.outcome.value)
            trial = self.workspace.new_trial(
                self.name.value, question=self.question.value,
                factors={f.quantity: list(f.settings) for f in self.proposal.plan.factors},
                outcome=self.outcome.value,
                matters=number(self.matters.value, unit, "what matters", difference=True),
            )  # fmt: skip
        formula = self._formula()
        if formula is not None and trial.formula() is None:
            lines = [(i.name, i.role, i.percent) for i in formula.ingredients]
            trial.set_formula(formula.name, lines, formula.note)
        return trial

    def _write_sheet(self, trial: Trial, bake: Bake) -> str:
        """One bake's sheet and, where its day is known, its calendar; links to both."""
        folder = self.workspace.folder or Path.cwd()
        name = re.sub(r"[^\w.-]+", "-", f"{trial.name}-bake-{bake.code}")
        weights = None if trial.formula() is None else trial.weigh(bake, **self._size())
        plan = None
        if bake.day is not None:
            plan = trial.timetable(bake, self.table.value, **self._times()).fitted()
        sheet = trial.bench_sheet(bake, folder / f"{name}.html", weights, plan)
        on = f" on {bake.day:%Y-%m-%d}" if bake.day else ""
        links = [f"Bake {escape(bake.code)}{on}: {link(sheet, 'bench sheet')}"]
        if plan is not None:
            links.append(link(trial.calendar(plan, folder / f"{name}.ics"), "calendar"))
        return ", ".join(links)


def _clock(text: str) -> str:
    from kit.plan.clock import read_clock

    minute = min(read_clock(text, "on the table at"), 1439)
    return f"{minute // 60:02d}:{minute % 60:02d}"


def _zone() -> str:
    from kit.records.typed import local_zone

    return local_zone()


def _flip(picked: widgets.Dropdown) -> list[tuple[str, str]]:
    """A menu's values with their labels."""
    return [(value, label) for label, value in picked.options]


def _show(box: widgets.Widget, shown: bool) -> None:
    box.layout.display = None if shown else "none"
