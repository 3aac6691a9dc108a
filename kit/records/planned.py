"""What a plan becomes in the records: bakes, doughs, loads and pieces with planned readings.

Recording starts from them: what was really done is put beside what was planned, and counts in
its place. A plan not begun yet can be put away again as a whole.
"""

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

import pandas as pd
from sqlalchemy import Connection, select

from kit import quantities
from kit.errors import InputError, NotFoundError
from kit.quantities import Quantity
from kit.records import readings, structure, things
from kit.records import tables as t
from kit.records.journal import Step
from kit.records.things import Bake, Thing, there

__all__ = ["not_begun", "of_plan", "planned_runs", "put_away", "store_runs"]

_PLACES = ("bake", "order", "dough", "load", "place", "code", "piece")


def store_runs(
    step: Step,
    trial_id: str,
    zone: str,
    runs: pd.DataFrame,
    days: Sequence[date | None],
    same: Mapping[str, Any],
) -> list[Bake]:
    """Add the bakes of a plan, a day each, by the clock of `zone`.

    `runs` has one row a piece: ``bake, order`` (turn of its dough in mixing), ``dough, load, place,
    code`` (blind), and a column a setting, named by its quantity; `same` is quantity -> value
    planned alike everywhere. Raises NotFoundError, InputError: a setting nobody knows, or one that
    cannot be.
    """
    numbers = list(dict.fromkeys(runs["bake"]))
    if len(days) != len(numbers):
        raise InputError(
            "days", len(days), f"must be {len(numbers)}, one a bake", "Say the day of every bake."
        )
    known = [q.name for q in quantities.all_quantities()]
    settings = [quantities.get(c) for c in runs.columns if c not in _PLACES]
    alike = {quantities.get(name): value for name, value in same.items()}
    twice = [q.name for q in alike if q in settings]
    if twice:
        raise InputError(
            twice[0], same[twice[0]], "is varied by the plan", "Leave it out of what is alike."
        )
    for quantity in (*settings, *alike):
        if quantity.name not in known or quantity.formula is not None:
            raise NotFoundError("quantity that can be planned", quantity.name, known)
    taken = {piece.blind for piece in things.pieces(step.connection, trial_id) if piece.blind}
    made = []
    for number, day in zip(numbers, days, strict=True):
        rows = runs[runs["bake"] == number].sort_values(["load", "place"])
        made.append(_store_bake(step, trial_id, zone, rows, day, settings, alike, taken))
    return made


def _store_bake(
    step: Step, trial_id: str, zone: str, rows: pd.DataFrame, day: date | None,
    settings: Sequence[Quantity], alike: Mapping[Quantity, Any], taken: set[str],
) -> Bake:  # fmt: skip
    bake = structure.add_bake(step, trial_id, day, zone)
    order = rows.drop_duplicates("dough").sort_values("order")["dough"]
    doughs = {name: structure.add_dough(step, bake) for name in order}
    loads = {name: structure.add_load(step, bake) for name in dict.fromkeys(rows["load"])}
    planned: dict[tuple[str, str], tuple[Thing, Any]] = {}
    for row in rows.to_dict("records"):
        dough, load = doughs[row["dough"]], loads[row["load"]]
        blind = _free(str(row["code"]), taken)
        piece = structure.add_piece(step, dough, load, int(row["place"]), blind=blind)
        own: dict[str, Thing] = {"bake": bake, "dough": dough, "load": load, "piece": piece}
        values = {**alike, **{q: row[str(q.name)] for q in settings}}
        for quantity, value in values.items():
            thing = own[quantity.level]
            planned[thing.id, quantity.name] = thing, value
    for (_, name), (thing, value) in planned.items():
        readings.record(step, trial_id, thing, name, value, how="planned")
    return bake


def _free(code: str, taken: set[str]) -> str:
    """Return the code, or the next of three digits that no piece of the trial has."""
    tried = code
    while tried in taken and code.isdigit():
        tried = str(100 + (int(tried) - 99) % 900)
        if tried == code:  # a trial of 900 pieces has used them all up
            tried = f"{code}-{len(taken)}"
    taken.add(tried)
    return tried


def not_begun(connection: Connection, trial_id: str) -> list[Bake]:
    """Return the bakes that have planned readings and nothing else: nothing was written down."""
    return [bake for bake, begun in of_plan(connection, trial_id) if not begun]


def of_plan(connection: Connection, trial_id: str) -> list[tuple[Bake, bool]]:
    """Return the bakes that a plan was kept for, and whether anything else was written down."""
    bakes = things.bakes(connection, trial_id)
    ids = {bake.id: {bake.id} for bake in bakes}
    for level in ("dough", "load", "piece"):
        for thing in things.LISTS[level](connection, trial_id):
            ids[thing.bake.id].add(thing.id)
    r, e = t.reading.c, t.event.c
    done = connection.execute(
        select(r.target_id, r.how).where(r.trial_id == trial_id, there(t.reading))
    ).all()
    planned = {target for target, how in done if how == "planned"}
    begun = {target for target, how in done if how != "planned"}
    begun |= set(
        connection.scalars(select(e.target_id).where(e.trial_id == trial_id, there(t.event)))
    )
    return [(bake, bool(ids[bake.id] & begun)) for bake in bakes if ids[bake.id] & planned]


def put_away(step: Step, trial_id: str) -> list[Bake]:
    """Take out the bakes that were planned and not begun; return them."""
    bakes = not_begun(step.connection, trial_id)
    for bake in bakes:
        structure.remove(step, bake)
    return bakes


def planned_runs(connection: Connection, trial_id: str, bake: Bake) -> pd.DataFrame:
    """Return one bake as it was planned, one row a piece; pieces without a load are left out.

    ``bake, order`` (turn of its dough in mixing), ``dough, load, place, piece, blind`` and a column
    a planned quantity of a dough, load or piece, in the order of loads and places.
    """
    values: dict[str, dict[str, float]] = {}
    for (target, name), (value, _) in readings.counting(connection, trial_id)[0].items():
        values.setdefault(target, {})[name] = value
    of_bake = things.doughs(connection, trial_id, t.bake.c.id == bake.id)
    turn = {dough.id: number for number, dough in enumerate(of_bake, start=1)}
    rows = []
    for piece in things.pieces(connection, trial_id, t.bake.c.id == bake.id):
        if piece.load is None:
            continue
        planned: dict[str, float] = {}
        for thing in (piece.dough, piece.load, piece):
            planned |= values.get(thing.id, {})
        rows.append(
            {
                "bake": bake.code, "order": turn[piece.dough.id], "dough": piece.dough.code,
                "load": piece.load.position, "place": piece.place, "piece": piece.code,
                "blind": piece.blind or "", **planned,
            }
        )  # fmt: skip
    found = {name for row in rows for name in row}
    settings = [q.name for q in quantities.all_quantities() if q.name in found]
    columns = ["bake", "order", "dough", "load", "place", "piece", "blind", *settings]
    table = pd.DataFrame(rows, columns=columns)
    return table.sort_values(["load", "place"], ignore_index=True)
