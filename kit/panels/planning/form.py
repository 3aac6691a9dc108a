"""The fields of the plan panel, and what is read from them."""

import re
from datetime import date, timedelta
from functools import partial
from typing import Any

import ipywidgets as widgets

from kit import quantities, words
from kit.errors import InputError
from kit.formula import Formula, read_formula
from kit.panels.parts.controls import Panel, columns, pick, section, toggle
from kit.panels.parts.fields import Typed, above_0, beside_of, count, number
from kit.panels.parts.slide import Slide
from kit.panels.planning.offers import can_answer, can_be_set, example
from kit.plan.factors import Factor
from kit.plan.kitchen import Kitchen
from kit.plan.plan import Plan
from kit.plan.spread import Spread
from kit.plan.timetable.limits import Limits
from kit.units import in_ounces

__all__ = ["GUESS", "NEW", "UNKNOWN", "PlanForm"]

_NOTHING = "nothing else"
#: What the menus offer besides what the workspace holds.
GUESS, UNKNOWN = "my guess, below", "not known yet"
NEW = "a new trial"


class PlanForm(Panel):
    """Asks for the question and the kitchen; what cannot be used is said beside its field.

    Parameters
    ----------
    below : widgets
        Stand below the fields.
    """

    def __init__(self, *below: widgets.Widget) -> None:
        self._make_fields()
        #: what earlier trials tell, by how `spread` offers it
        self.spreads: dict[str, Spread] = {}
        #: what is unusual about what is typed
        self.doubts: list[str] = []
        asks = columns(
            section(
                "What do you want to know?", self.trial, self.name, self.question, self.factor,
                self.settings, self.other, self.other_settings, self.outcome, self.matters,
            ),
            section(
                "What can you do?", self.bakes, self.first, self.doughs, self.pieces,
                self.places, self.table, self.more, self.rest,
            ),
            section(
                "What is in it?", self.formula_name, self.formula, self.piece, self.step, self.fine
            ),
            section("How much do doughs differ by themselves?", self.spread, self.guess),
        )  # fmt: skip
        super().__init__(asks, *below)

    def _make_fields(self) -> None:
        known = quantities.all_quantities()
        settable = [(q.label, q.name) for q in known if can_be_set(q)]
        noise = [("nothing: one recipe, repeated", "")]
        outcomes = [(q.label, q.name) for q in known if can_answer(q)]
        self.trial = pick("Plan", [NEW])
        self.name = Typed("Its name", "malt", "short, such as malt")
        self.question = Typed("The question", "Does more malt make a taller muffin?")
        self.factor = pick("I change", [*settable, *noise])
        self.settings = Typed("Settings", "0 to 1.2", "0 to 1.2, or 0, 0.4, 0.8")
        self.other = pick("and also", [(_NOTHING, ""), *settable])
        self.other_settings = Typed("Its settings", "", "such as 5 or 6")
        self.outcome = pick("I measure", outcomes)
        self.matters = Typed("What matters", "2", "smallest difference you care about")
        self.bakes = Slide(label="Bakes", low=1, high=12, step=1, value=5)
        week = date.today() + timedelta(days=7)
        self.first = Typed("First bake on", week.isoformat(), "year-month-day")
        self.doughs = Typed("Doughs a bake", "4", "as many as you have tubs")
        self.pieces = Typed("Pieces a dough", "6")
        self.places = Typed("Places on the griddle", "6")
        self.table = Typed("On the table at", "12:00")
        self.more = toggle("More about your kitchen")
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
        self.step = Typed("Scale shows steps of", "1 g", "1 g, or 0.1 oz")
        self.fine = Typed("Fine scale, steps of", "", "0.1 g, or empty")
        self.spread = pick("They differ", [UNKNOWN])
        self.dough_sd = Typed("From dough to dough", "1")
        self.piece_sd = Typed("From piece to piece", "1.5")
        self.guess = widgets.VBox(
            [self.dough_sd, self.piece_sd], layout=widgets.Layout(display="none")
        )

    def _typed(self) -> list[Typed]:
        return [field for field in vars(self).values() if isinstance(field, Typed)]

    def _kitchen(self) -> Kitchen:
        asked = {
            "doughs_per_bake": self.doughs, "pieces_per_dough": self.pieces, "places": self.places,
        }  # fmt: skip
        read: dict[str, Any] = {name: count(field) for name, field in asked.items()}
        with beside_of(asked):
            return Kitchen(bakes=int(self.bakes.value), **read)

    def _factors(self) -> list[Factor]:
        fields = [(self.factor, self.settings)] if self.factor.value else []
        if self.other.value and fields:
            fields.append((self.other, self.other_settings))
        return [typed.read(partial(_factor, picked.value)) for picked, typed in fields]

    def _show_units(self) -> None:
        """Say beside the settings in which unit they are read, and how two of them are written."""
        for picked, typed, label in (
            (self.factor, self.settings, "Settings"),
            (self.other, self.other_settings, "Its settings"),
        ):
            unit = quantities.get(picked.value).unit if picked.value else ""
            typed.text.description = f"{label} ({unit})" if unit else label
            typed.text.placeholder = f"such as {example(picked.value)}" if picked.value else ""

    def _spread(self) -> Spread | None:
        unit, outcome = words.unit_of(self.outcome.value), self.outcome.value
        if self.spread.value == UNKNOWN:
            return None
        if self.spread.value != GUESS:
            return self.spreads[self.spread.value]
        fields = (
            (self.dough_sd, "from dough to dough"), (self.piece_sd, "from piece to piece"),
        )  # fmt: skip
        dough, piece = (
            field.read(partial(number, unit=unit, field=what, difference=True))
            for field, what in fields
        )
        return self.piece_sd.read(lambda _: Spread(dough, piece, outcome=outcome))

    def _formula(self) -> Formula | None:
        if not self.formula.value.strip():
            return None
        name = self.formula_name.value.strip() or "Formula"
        return self.formula.read(lambda text: read_formula(name, text))

    def _size(self) -> dict[str, Any]:
        return {
            "raw_piece_g": self._usual(self.piece, "ball_weight_g"),
            "scale_step_g": self.step.read(lambda text: above_0(text, "g", "scale step")) or 1.0,
            "fine_step_g": self.fine.read(lambda text: above_0(text, "g", "fine scale step")),
            "scale_unit": "oz" if in_ounces(self.step.value) else "g",
        }

    def _same(self, plan: Plan) -> dict[str, float]:
        """What is planned alike for all: whatever of it is not varied."""
        fields = (("retard_hours", self.retard), ("side_minutes", self.side))
        varied = [f.quantity for f in plan.factors]
        return {name: self._usual(field, name) for name, field in fields if name not in varied}

    def _times(self) -> dict[str, Any]:
        asked = {
            "awake_from": self.awake_from, "awake_to": self.awake_to, "hands": self.hands,
            "tubs": self.doughs, "griddle_places": self.places,
            "retard_tolerance_hours": self.slack,
        }  # fmt: skip
        hours = partial(number, unit="h", field="it may be off by")
        counted = ("hands", "tubs", "griddle_places")
        read: dict[str, Any] = {name: count(asked[name]) for name in counted}
        read |= {name: asked[name].value.strip() for name in ("awake_from", "awake_to")}
        read["retard_tolerance_hours"] = self.slack.read(hours)
        with beside_of(asked):
            limits = Limits(**read)
        return {"limits": limits, "room_temp_c": self._usual(self.room, "room_temp_c")}

    def _usual(self, field: Typed, quantity: str) -> float:
        """Read a field; what cannot be is refused, what is unusual becomes a doubt."""

        def reader(text: str) -> float:
            checked = quantities.get(quantity).parse(text)
            if checked.value is None:
                raise InputError(quantity, "", "must not be empty")
            if checked.doubt and checked.doubt not in self.doubts:
                self.doubts.append(checked.doubt)
            return checked.value

        return field.read(reader)


def _factor(quantity: str, text: str) -> Factor:
    if not text.strip():
        remedy = f"Write them here, such as {example(quantity)}."
        raise InputError("settings", text, "must be at least two", remedy)
    return Factor.written(quantity, re.sub(r"\b(vs|versus|against)\b\.?", " or ", text))
