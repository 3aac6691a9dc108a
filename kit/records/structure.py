"""Adding, changing and removing bakes, doughs, loads and pieces."""

from collections.abc import Callable, Mapping
from datetime import date
from typing import Any

import pandas as pd
from sqlalchemy import ColumnElement, Connection, Table, func, select

from kit.errors import InputError, NotFoundError
from kit.formula.numbers import letters
from kit.records import tables as t
from kit.records.journal import Step
from kit.records.things import (
    CHAIN,
    TABLE_OF,
    Bake,
    Dough,
    Load,
    Piece,
    Thing,
    joined,
    pieces,
    there,
)
from kit.records.typed import day as read_day
from kit.records.typed import text, whole

__all__ = [
    "add_bake", "add_dough", "add_load", "add_lot", "add_piece", "change_thing", "lot_id", "lots",
    "remove",
]  # fmt: skip


def _next(
    connection: Connection,
    table: Table,
    above: ColumnElement[bool],
    given: str | None,
    where: str,
    numbered: Callable[[int], str],
) -> tuple[int, str]:
    """Return the next position under one parent, and the code given, or the first that is free."""
    last = connection.scalar(select(func.max(table.c.position)).where(above)) or 0
    if given is not None:
        return last + 1, _own_code(connection, table, (above,), given, where)
    taken = set(connection.scalars(select(table.c.code).where(above, there(table))))
    number = len(taken) + 1
    while numbered(number) in taken:
        number += 1
    return last + 1, numbered(number)


def _own_code(
    connection: Connection,
    table: Table,
    others: tuple[ColumnElement[bool], ...],
    code: str,
    where: str,
) -> str:
    """Check a code given by hand against those of `others`."""
    own = text("code", code, longest=40)
    same = select(table.c.id).where(*others, there(table), table.c.code == own)
    if connection.scalar(same) is not None:
        raise InputError(
            "code", own, f"is taken by another {table.name}", "Choose another code.", where
        )
    return own


def lot_id(step: Step, kind: str, code: str | None) -> tuple[str | None, str | None]:
    """Return a lot's id and code, the lot added when it is new; (None, None) when empty."""
    own = text(f"{kind}_lot", code, longest=80, needed=False)
    if not own:
        return None, None
    known = _known_lot(step, kind, own)
    return known or step.add(t.lot, {"kind": kind, "code": own, "note": ""}), own


def _known_lot(step: Step, kind: str, code: str) -> str | None:
    same = t.lot.c.kind == kind, t.lot.c.code == code, there(t.lot)
    known: str | None = step.connection.scalar(select(t.lot.c.id).where(*same))
    return known


def add_lot(step: Step, kind: str, code: str, note: str = "") -> None:
    """Make a lot known, or give a known one another note."""
    row = {
        "kind": text("kind", kind, longest=40).lower(), "code": text("code", code, longest=80),
        "note": text("note", note, longest=2000, needed=False),
    }  # fmt: skip
    known = _known_lot(step, row["kind"], row["code"])
    if known is None:
        step.add(t.lot, row)
    else:
        step.change(t.lot, known, {"note": row["note"]})


def lots(connection: Connection) -> pd.DataFrame:
    """Return the lots: kind, code, note."""
    columns = (t.lot.c.kind, t.lot.c.code, t.lot.c.note)
    rows = connection.execute(select(*columns).where(there(t.lot)).order_by(*columns)).all()
    return pd.DataFrame(rows, columns=["kind", "code", "note"])


def add_bake(
    step: Step,
    trial_id: str,
    day: date | None,
    zone: str,
    code: str | None = None,
    flour_lot: str | None = None,
    yeast_lot: str | None = None,
    note: str = "",
) -> Bake:
    """Add a bake; its code is the next number unless given."""
    above = t.bake.c.trial_id == trial_id
    position, own = _next(step.connection, t.bake, above, code, "", str)
    clean = text("note", note, longest=2000, needed=False)
    flour_id, flour_lot = lot_id(step, "flour", flour_lot)
    yeast_id, yeast_lot = lot_id(step, "yeast", yeast_lot)
    row = {
        "trial_id": trial_id, "position": position, "code": own, "day": day, "zone": zone,
        "flour_lot_id": flour_id, "yeast_lot_id": yeast_id,
        "note": clean,
    }  # fmt: skip
    return Bake(step.add(t.bake, row), own, day, zone, flour_lot, yeast_lot, clean)


def add_dough(step: Step, bake: Bake, code: str | None = None, note: str = "") -> Dough:
    """Add a dough; its code is the bake's with the next letter (1A, 1B …) unless given."""
    above = t.dough.c.bake_id == bake.id
    position, own = _next(
        step.connection, t.dough, above, code, str(bake), lambda n: f"{bake.code}{letters(n)}"
    )
    clean = text("note", note, longest=2000, needed=False)
    row = {"bake_id": bake.id, "position": position, "code": own, "note": clean}
    return Dough(step.add(t.dough, row), own, bake, clean)


def add_load(step: Step, bake: Bake) -> Load:
    """Add the next load of a bake."""
    above = t.load.c.bake_id == bake.id, there(t.load)
    last = step.connection.scalar(select(func.max(t.load.c.position)).where(*above)) or 0
    return Load(step.add(t.load, {"bake_id": bake.id, "position": last + 1}), last + 1, bake)


def _check_place(
    connection: Connection,
    dough: Dough,
    load: Load | None,
    place: object,
    piece_id: str = "",
    moved: bool = False,
) -> int | None:
    """Return a place that is free in a load of the dough's own bake; `moved` there on its place."""
    number = whole("place", place)
    if load is None:
        if number is not None:
            raise InputError(
                "place", number, "needs a load", "Say on which load the piece lies as well."
            )
        return None
    if load.bake.id != dough.bake.id:
        raise InputError("load", str(load), f"is not of {dough.bake}, where {dough} belongs")
    taken = connection.scalar(
        select(t.piece.c.code).where(
            t.piece.c.load_id == load.id,
            t.piece.c.place == number,
            t.piece.c.id != piece_id,
            there(t.piece),
        )
    )
    if number is not None and taken is not None:
        if moved:
            rule = f"has piece {taken} on the same place, {number}, already"
            raise InputError("load", str(load), rule, "Choose another place first.")
        rule = f"is taken by piece {taken}"
        raise InputError("place", number, rule, "Choose another place.", str(load))
    return number


def add_piece(
    step: Step,
    dough: Dough,
    load: Load | None = None,
    place: int | None = None,
    code: str | None = None,
    blind: str | None = None,
) -> Piece:
    """Add a piece; its code is the dough's with the next number (1A1, 1A2 …) unless given."""
    above = t.piece.c.dough_id == dough.id
    position, own = _next(
        step.connection, t.piece, above, code, str(dough), lambda n: f"{dough.code}{n}"
    )
    place = _check_place(step.connection, dough, load, place)
    hidden = text("blind", blind, longest=20, needed=False) or None
    row = {
        "dough_id": dough.id, "position": position, "code": own,
        "load_id": load.id if load else None, "place": place, "blind": hidden,
    }  # fmt: skip
    return Piece(step.add(t.piece, row), own, dough, load, place, hidden)


_CHANGEABLE = {
    "bake": ("code", "day", "flour_lot", "yeast_lot", "note"),
    "dough": ("code", "note"),
    "piece": ("code", "load", "place", "blind"),
}


def change_thing(step: Step, trial_id: str, thing: Thing, values: Mapping[str, Any]) -> None:
    """Give a bake, dough or piece other values; see `Trial.change`.

    A bake has code, day, flour_lot, yeast_lot, note; a dough code, note; a piece code, load, place,
    blind.
    """
    if isinstance(thing, Load):
        raise InputError("load", str(thing), "has nothing to change", "Change its pieces' load.")
    for name in values:
        if name not in _CHANGEABLE[thing.level]:
            kind = f"{thing.level} field"
            raise NotFoundError(kind, name, _CHANGEABLE[thing.level])
    new = dict(values)
    if "code" in new:
        above, where = _above(trial_id, thing)
        table = TABLE_OF[thing.level]
        others = (above, table.c.id != thing.id)
        new["code"] = _own_code(step.connection, table, others, new["code"], where)
    for name in ("note", "blind"):
        if name in new:
            new[name] = text(name, new[name], longest=2000, needed=False)
    if "blind" in new:
        new["blind"] = new["blind"] or None
    if "day" in new:
        new["day"] = read_day("day", new["day"])
    for kind in ("flour", "yeast"):
        if f"{kind}_lot" in new:
            new[f"{kind}_lot_id"], _ = lot_id(step, kind, new.pop(f"{kind}_lot"))
    if isinstance(thing, Piece) and ("load" in new or "place" in new):
        # where it lies now, not where it lay when the handle was given out
        (piece,) = pieces(step.connection, trial_id, t.piece.c.id == thing.id)
        load = new.pop("load", piece.load)
        # taken off its load, a piece has no place either
        place = new.get("place", None if load is None else piece.place)
        moved = "place" not in new
        new["place"] = _check_place(step.connection, thing.dough, load, place, thing.id, moved)
        new["load_id"] = None if load is None else load.id
    step.change(TABLE_OF[thing.level], thing.id, new)


def _above(trial_id: str, thing: Thing) -> tuple[ColumnElement[bool], str]:
    """Return the condition of sharing a parent with `thing`, and the parent's name."""
    if isinstance(thing, Dough):
        return t.dough.c.bake_id == thing.bake.id, str(thing.bake)
    if isinstance(thing, Piece):
        return t.piece.c.dough_id == thing.dough.id, str(thing.dough)
    return t.bake.c.trial_id == trial_id, ""


def remove(step: Step, thing: Thing) -> None:
    """Take a thing out, with all that was made of it. Pieces of a removed load stay, off it."""
    ids, own = step.connection.scalars, TABLE_OF[thing.level]
    if isinstance(thing, Load):
        on_it = select(t.piece.c.id).where(t.piece.c.load_id == thing.id, there(t.piece))
        for piece_id in ids(on_it).all():
            step.change(t.piece, piece_id, {"load_id": None, "place": None})
    for level, chain in reversed(CHAIN.items()):  # pieces first, then what they belong to
        if own in chain[:-1]:
            below = select(chain[-1].c.id).select_from(joined(level)).where(own.c.id == thing.id)
            for lower_id in ids(below.where(*map(there, chain))).all():
                step.delete(chain[-1], lower_id)
    step.delete(own, thing.id)
