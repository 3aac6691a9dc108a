"""The quantities of a package against those known here: what one name means must be one thing."""

import keyword
from dataclasses import replace

from kit import quantities
from kit.errors import InputError
from kit.quantities import COLUMNS, Quantity
from kit.records.journal import Row, Step
from kit.records.package.read import Arrival, where_of
from kit.records.trials import add_quantity
from kit.records.typed import text

__all__ = ["meet", "remember"]

_MOST = 200


def meet(arrival: Arrival) -> dict[str, Quantity]:
    """Return name in the package -> the quantity it is here.

    A name known here with the same unit, level and kind of number, and at least the possible range,
    is the same quantity, however it is labelled. One that is something else here gets another name.
    A name not known here becomes a quantity of the workspace's own.
    """
    met: dict[str, Quantity] = {}
    rows = arrival.rows["quantity"]
    if len(rows) > _MOST:
        arrival.problem("quantity.csv", "rows", len(rows), f"must be at most {_MOST}")
        return met
    known = {quantity.name: quantity for quantity in quantities.all_quantities(series=True)}
    for row in rows:
        where = where_of("quantity", row)
        try:
            theirs = _read(row)
        except InputError as exc:
            arrival.problem(where, exc.field, exc.value, exc.rule, exc.remedy)
            continue
        if row["name"] in met:
            arrival.problem(where, "name", row["name"], "must be there once")
            continue
        ours, number = theirs, 1
        while ours.name in known and not _same(known[ours.name], ours):
            number += 1
            ours = replace(theirs, name=f"{theirs.name}_{number}")
        if ours.name != theirs.name:
            arrival.notes.append(
                f"{theirs.name} is something else here, so that of the package is {ours.name}"
            )
        known.setdefault(ours.name, ours)
        met[theirs.name] = known[ours.name]
    return met


def _same(ours: Quantity, theirs: Quantity) -> bool:
    mine, other = ours.possible, theirs.possible
    return (
        (ours.unit, ours.level, ours.whole) == (theirs.unit, theirs.level, theirs.whole)
        and mine[0] <= other[0]
        and mine[1] >= other[1]
    )


def _read(row: Row) -> Quantity:
    """Return the quantity a row describes.

    Raises InputError: it cannot be one.
    """
    name = row["name"]
    plain = name.isascii() and name.isidentifier() and name == name.lower() and len(name) <= 80
    if not plain or keyword.iskeyword(name) or name in COLUMNS or name.startswith("_"):
        rule = "must be lower-case letters, digits and underscores, and no other column's name"
        raise InputError("name", name, rule)
    quantity = Quantity(
        name,
        text("label", row["label"]),
        text("unit", row["unit"], longest=20, needed=False),
        row["level"],
        quantities.open_ends(row["possible_low"], row["possible_high"]),
        quantities.open_ends(row["usual_low"], row["usual_high"]),
        row["decimals"],
        text("meaning", row["meaning"], longest=500, needed=False),
        whole=row["whole"],
    )
    quantities.check_own(quantity)
    return quantity


def remember(step: Step, met: dict[str, Quantity]) -> None:
    """Keep the quantities that are not built in, so that this workspace knows them from now on."""
    ours = quantities.built_in()
    for quantity in met.values():
        if quantity.name not in ours and quantity.formula is None:
            add_quantity(step, quantity)
