"""Trials and what is theirs alone: question, factors, formula; and a workspace's own quantities."""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict
from typing import Any

from sqlalchemy import Connection, select

from kit import quantities
from kit.errors import InputError, NotFoundError
from kit.formula.formula import Formula
from kit.formula.ingredient import Ingredient
from kit.quantities import Quantity, open_ends
from kit.records import tables as t
from kit.records.journal import Row, Step
from kit.records.things import there
from kit.records.typed import margin, text, zone

__all__ = [
    "add_quantity", "add_trial", "change_trial", "factors", "formula", "own_quantities",
    "set_formula", "trial_row", "trials",
]  # fmt: skip


def trials(connection: Connection) -> list[Any]:
    """Return the rows of all trials, oldest first."""
    query = select(t.trial).where(there(t.trial)).order_by(t.trial.c.created)
    return list(connection.execute(query))


def trial_row(connection: Connection, trial_id: str) -> Any:
    """Return one trial's row.

    Raises NotFoundError: it was removed.
    """
    row = connection.execute(select(t.trial).where(t.trial.c.id == trial_id)).one()
    if row.deleted is not None:
        raise NotFoundError("trial", row.name, [other.name for other in trials(connection)])
    return row


def _checked(
    connection: Connection, given: Mapping[str, Any], trial_id: str = ""
) -> dict[str, Any]:
    """Return the columns of a trial, each read and checked; only those given."""
    row: dict[str, Any] = {}
    if "name" in given:
        row["name"] = text("name", given["name"], longest=80)
        same = select(t.trial.c.id).where(
            there(t.trial), t.trial.c.name == row["name"], t.trial.c.id != trial_id
        )
        if connection.scalar(same) is not None:
            raise InputError(
                "name", row["name"], "is taken by another trial", "Choose another name."
            )
    if "question" in given:
        row["question"] = text("question", given["question"], longest=500, needed=False)
    if "baker" in given:
        row["baker"] = text("baker", given["baker"], needed=False)
    if "outcome" in given:
        outcome = given["outcome"]
        row["outcome"] = None if outcome is None else quantities.get(outcome).name
    if "matters" in given:
        mine = select(t.trial.c.outcome).where(t.trial.c.id == trial_id)
        outcome = row["outcome"] if "outcome" in row else connection.scalar(mine)
        unit = quantities.get(outcome).unit if outcome else ""
        row["matters"] = margin("matters", given["matters"], unit)
    if "zone" in given:
        row["zone"] = zone(given["zone"])
    if "invented" in given:
        row["invented"] = bool(given["invented"])
    return row


def add_trial(step: Step, given: Mapping[str, Any]) -> str:
    """Add a trial; return its id. What may be given: see `Workspace.new_trial`."""
    row = {**_checked(step.connection, given), "formula_id": None, "created": step.at}
    trial_id = step.add(t.trial, row)
    _add_factors(step, trial_id, given["factors"] or {})
    return trial_id


def change_trial(step: Step, trial_id: str, given: Mapping[str, Any]) -> None:
    """Give a trial other values, see `add_trial`; factors replace all earlier ones."""
    known = ("name", "question", "outcome", "matters", "zone", "invented", "baker", "factors")
    for name in given:
        if name not in known:
            raise NotFoundError("trial field", name, known)
    if columns := _checked(step.connection, given, trial_id):
        step.change(t.trial, trial_id, columns)
    if "factors" in given:
        old = select(t.factor.c.id).where(t.factor.c.trial_id == trial_id, there(t.factor))
        for factor_id in step.connection.scalars(old).all():
            step.delete(t.factor, factor_id)
        _add_factors(step, trial_id, given["factors"] or {})


def _add_factors(step: Step, trial_id: str, given: Mapping[str, Iterable[Any]]) -> None:
    if not isinstance(given, Mapping):
        rule = "must say what is set on purpose, and to what"
        raise InputError("factors", given, rule, 'Write {"malt_percent": [0, 0.4, 0.8]}.')
    for position, (name, settings) in enumerate(given.items(), start=1):
        quantity = quantities.get(name)
        if isinstance(settings, str) or not isinstance(settings, Iterable):
            raise InputError(name, settings, "must be a list of settings", "Write [0, 0.4, 0.8].")
        settings = list(settings)
        read = [quantity.parse(setting, "factor").value for setting in settings]
        if None in read or len(set(read)) != len(read) or len(read) < 2:
            raise InputError(
                name,
                settings,
                "must be two or more settings, none of them empty or twice",
                "A factor is what you change on purpose.",
            )
        row = {"trial_id": trial_id, "position": position, "quantity": name, "settings": read}
        step.add(t.factor, row)


def factors(connection: Connection, trial_id: str) -> dict[str, list[float]]:
    """Return a trial's factors: quantity name -> settings."""
    query = (
        select(t.factor.c.quantity, t.factor.c.settings)
        .where(t.factor.c.trial_id == trial_id, there(t.factor))
        .order_by(t.factor.c.position)
    )
    return {row.quantity: row.settings for row in connection.execute(query)}


def set_formula(
    step: Step,
    trial_id: str,
    name: str,
    ingredients: Sequence[tuple[str, str, str | float | None]],
    note: str = "",
) -> None:
    """Give a trial its formula; see `Trial.set_formula`."""
    lines = []
    given = [
        list(line) if isinstance(line, Iterable) and not isinstance(line, str) else []
        for line in (ingredients if isinstance(ingredients, Iterable) else [ingredients])
    ]
    if any(len(line) != 3 for line in given):
        rule = "must be a list of (ingredient, role, percent)"
        raise InputError("ingredients", ingredients, rule, 'Write [("bread flour", "flour", 100)].')
    for what, role, percent in given:
        own = text("ingredient", what)
        lines.append((own, role, _PERCENT.parse(percent, own).value))
    clean = text("note", note, longest=2000, needed=False)
    made = Formula.from_lines(text("name", name), lines, clean)
    formula_id = step.add(t.formula, {"name": made.name, "note": clean})
    for position, one in enumerate(made.ingredients, start=1):
        row: Row = {"position": position, "name": one.name, "role": one.role,
                    "percent": one.percent, "note": one.note}  # fmt: skip
        step.add(t.ingredient, {"formula_id": formula_id, **row})
    step.change(t.trial, trial_id, {"formula_id": formula_id})


_PERCENT = Quantity(
    "percent", "Share", "%", "dough", (0, 1000), (0, 1000), 2, "Of the flour's weight."
)


def formula(connection: Connection, formula_id: str | None) -> Formula | None:
    """Return a formula, None where there is none."""
    if formula_id is None:
        return None
    head = connection.execute(select(t.formula).where(t.formula.c.id == formula_id)).one()
    lines = connection.execute(
        select(t.ingredient)
        .where(t.ingredient.c.formula_id == formula_id, there(t.ingredient))
        .order_by(t.ingredient.c.position)
    )
    listed = tuple(Ingredient(x.name, x.role, x.percent, note=x.note) for x in lines)
    return Formula(head.name, listed, head.note)


def add_quantity(step: Step, quantity: Quantity) -> None:
    """Remember a quantity of the user's own.

    Raises InputError: it is computed (a formula cannot be kept), or its name is taken.
    """
    if quantity.formula is not None:
        raise InputError(
            "formula",
            quantity.name,
            "cannot be remembered, only what is measured can",
            "Compute it on the frame instead.",
        )
    quantities.add(quantity)
    if quantity.name in {own.name for own in own_quantities(step.connection)}:
        return
    kept = {k: v for k, v in asdict(quantity).items() if k not in ("needs", "formula")}
    for what in ("possible", "usual"):
        kept[what] = [None if math.isinf(end) else end for end in kept[what]]  # JSON has no inf
    step.add(t.quantity, {"name": quantity.name, "definition": kept})


def own_quantities(connection: Connection) -> list[Quantity]:
    """Return the remembered quantities."""
    kept = connection.scalars(select(t.quantity.c.definition).where(there(t.quantity)))
    ends = ("possible", "usual")
    return [Quantity(**row | {end: open_ends(*row[end]) for end in ends}) for row in kept]
