"""What a trial's package holds: the rows that count, table by table, with nothing removed in them.

The same rows are read when a package is written and when one that arrives is held against what is
already here.
"""

import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import Column, Connection, Select, Table, select

from kit import quantities
from kit.quantities import Quantity
from kit.records import tables as t
from kit.records.journal import Row, in_parts
from kit.records.things import CHAIN, TABLE_OF, joined, there
from kit.records.trials import trial_row

__all__ = ["PACKED", "Kept", "Rows", "columns_of", "deciding", "original_of", "read_rows"]

#: the tables of a package, those referred to first
PACKED = (
    t.formula, t.ingredient, t.trial, t.factor, t.lot, t.bake, t.dough, t.load, t.piece, t.photo,
    t.reading, t.event, t.taster, t.tasting,
)  # fmt: skip
# one package is one trial; what was removed is not in it; the order of the lines is that of `seq`
_NOT_SENT = ("trial_id", "deleted", "seq")

Rows = dict[str, list[Row]]


def columns_of(table: Table) -> list[Column[Any]]:
    """Return the columns of a table that a package has."""
    return [column for column in table.columns if column.name not in _NOT_SENT]


@dataclass(frozen=True)
class Kept:
    """A trial's rows, and what could not be taken along."""

    rows: Rows
    quantities: list[Quantity]
    left_out: list[str]


def read_rows(connection: Connection, trial_id: str) -> Kept:
    """Return all that counts in a trial.

    Of the readings those that count: the newest of each thing and quantity that was not planned,
    and the newest planned one, besides what each photo told last. What hangs on something removed
    is not there.

    Raises NotFoundError: it was removed.
    """
    head = trial_row(connection, trial_id)

    def rows(table: Table, query: Select[Any]) -> list[Row]:
        names = [column.name for column in columns_of(table)]
        found = connection.execute(query)
        return [{name: getattr(row, name) for name in names} for row in found]

    def of_trial(table: Table) -> Select[Any]:
        return select(table).where(table.c.trial_id == trial_id, there(table))

    def of_level(level: str) -> list[Row]:
        table, chain = TABLE_OF[level], CHAIN[level]
        mine = select(table).select_from(joined(level)).where(t.bake.c.trial_id == trial_id)
        counts = mine.where(*map(there, chain))
        return rows(table, counts.order_by(*(one.c.position for one in chain)))

    def by_id(table: Table, ids: list[str]) -> list[Row]:
        """In the order of first use."""
        wanted = list(dict.fromkeys(ids))
        found: dict[str, Row] = {}
        for some in in_parts(wanted):
            these = rows(table, select(table).where(table.c.id.in_(some)))
            found |= {row["id"]: row for row in these}
        return [found[i] for i in wanted if i in found]

    out: Rows = {"trial": [{n.name: getattr(head, n.name) for n in columns_of(t.trial)}]}
    out["factor"] = rows(t.factor, of_trial(t.factor).order_by(t.factor.c.position))
    out["formula"] = by_id(t.formula, [head.formula_id] if head.formula_id else [])
    lines = select(t.ingredient).where(
        t.ingredient.c.formula_id == head.formula_id, there(t.ingredient)
    )
    out["ingredient"] = rows(t.ingredient, lines.order_by(t.ingredient.c.position))
    out |= {level: of_level(level) for level in CHAIN}
    lots = [bake[f"{kind}_lot_id"] for bake in out["bake"] for kind in ("flour", "yeast")]
    out["lot"] = by_id(t.lot, [lot for lot in lots if lot])
    targets = {level: {row["id"] for row in out[level]} for level in quantities.LEVELS}
    targets["trial"] = {trial_id}
    loads = targets["load"]
    for piece in out["piece"]:
        if piece["load_id"] not in loads:
            piece["load_id"] = piece["place"] = None
    place = {row["id"]: i for level in quantities.LEVELS for i, row in enumerate(out[level])}
    out["photo"] = sorted(
        (
            photo
            for photo in rows(t.photo, of_trial(t.photo))
            if photo["level"] is None or photo["target_id"] in targets.get(photo["level"], ())
        ),
        # an order that ids, which may be drawn anew, have no part in
        key=lambda photo: (original_of(photo), place.get(photo["target_id"], -1), _said(photo)),
    )
    readings = rows(t.reading, of_trial(t.reading).order_by(t.reading.c.seq))
    out["reading"], left_out = _counting(readings, targets, {p["id"] for p in out["photo"]})
    # ordered as `frame` does, so that what happened at one moment is told in one order
    events = rows(t.event, of_trial(t.event).order_by(t.event.c.at))
    out["event"] = [e for e in events if e["target_id"] in targets[e["level"]]]
    tastings = rows(t.tasting, of_trial(t.tasting))
    out["tasting"] = sorted(tastings, key=lambda tasting: (tasting["at"], _said(tasting)))
    out["taster"] = by_id(t.taster, [tasting["taster_id"] for tasting in out["tasting"]])
    used = [row["quantity"] for table in ("factor", "reading") for row in out[table]]
    names = dict.fromkeys([*used, *([head.outcome] if head.outcome else [])])
    return Kept(out, [quantities.get(name) for name in names], left_out)


def _said(row: Row) -> str:
    return repr([value for name, value in row.items() if name != "id" and name[-3:] != "_id"])


def _counting(
    readings: list[Row], targets: dict[str, set[str]], photos: set[str]
) -> tuple[list[Row], list[str]]:
    """Return the readings that are sent, oldest first, and what is left out.

    Those that decide a frame; and of each of `photos` what was measured on it last, though another
    photo of the same thing may count, because two of one piece tell how surely photos measure.
    """
    known = {quantity.name for quantity in quantities.all_quantities(series=True)}
    counting: list[Row] = []
    on_photo: dict[tuple[str, str, str], tuple[Any, Row]] = {}
    unknown: dict[str, int] = {}
    for row in readings:
        if row["target_id"] not in targets[row["level"]]:
            continue
        if row["quantity"] not in known:
            unknown[row["quantity"]] = unknown.get(row["quantity"], 0) + 1
            continue
        counting.append(row)
        if row["photo_id"] in photos:
            on_photo[row["target_id"], row["quantity"], row["photo_id"]] = _decides(row), row
    newest = {_decides(row): row for row in deciding(counting) if row["value"] is not None}
    sent = {row["id"] for row in newest.values()}
    sent |= {row["id"] for decides, row in on_photo.values() if decides in newest}
    out = [row for row in readings if row["id"] in sent]
    for row in out:
        if row["photo_id"] not in photos:
            row["photo_id"] = None
    said = [
        f"{count} readings of {name}: nothing is known about this quantity any more"
        for name, count in unknown.items()
    ]
    return out, said


def deciding(readings: list[Row]) -> list[Row]:
    """Return the readings that decide a frame, oldest first: the newest of each of its cells."""
    newest = {_decides(row): row["id"] for row in readings}
    last = set(newest.values())
    return [row for row in readings if row["id"] in last]


def _decides(row: Row) -> tuple[str, str, bool, str]:
    """Return which cell of a frame a reading stands for."""
    when = row["at"] if row["quantity"] in quantities.SERIES else ""
    return row["target_id"], row["quantity"], row["how"] == "planned", when


def original_of(photo: Row) -> str:
    """Return the SHA-256 of a picture as it was taken.

    A picture that came with a package carries it in its file's name; the row's own is that of the
    file, which lost where and by whom it was taken.
    """
    said = re.match(r"[0-9a-f]{64}(?![0-9a-f])", Path(photo["path"]).name)
    return said[0] if said else str(photo["sha256"])
