"""Adding, changing and removing bakes, doughs, loads and pieces."""

from collections.abc import Callable, Mapping
from datetime import date
from typing import Any

import pandas as pd
from sqlalchemy import ColumnElement, Connection, Table, func, select

from kit.errors import InputError, NotFoundError
from kit.records import tables as t
from kit.records.journal import Step
from kit.records.things import TABLE_OF, Bake, Dough, Load, Piece, Thing, pieces, there
from kit.records.typed import day as read_day
from kit.records.typed import text, whole

__all__ = [
    "add_bake",
    "add_dough",
    "add_load",
    "add_lot",
    "add_piece",
    "change_thing",
    "letters",
    "lot_id",
    "lots",
    "remove",
]


def letters(number: int) -> str:
    """Return A, B … Z, AA, AB … for 1, 2 …: the letters of a bake's doughs."""
    said = ""
    while number:
        number, rest = divmod(number - 1, 26)
        said = chr(65 + rest) + said
    return said


def _next(
    connection: Connection, table: Table, above: ColumnElement[bool], code: Callable[[int], str]
) -> tuple[int, str]:
    """Return the next position under one parent, and the first code no other has."""
    taken = set(connection.scalars(select(table.c.code).where(above, there(table))))
    last = connection.scalar(select(func.max(table.c.position)).where(above)) or 0
    number = len(taken) + 1
    while code(number) in taken:
        number += 1
    return last + 1, code(number)


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
    known = step.connection.scalar(
        select(t.lot.c.id).where(t.lot.c.kind == kind, t.lot.c.code == own, there(t.lot))
    )
    return known or step.add(t.lot, {"kind": kind, "code": own, "note": ""}), own


def add_lot(step: Step, kind: str, code: str, note: str = "") -> None:
    """Make a lot known, or give a known one another note."""
    row = {
        "kind": text("kind", kind, longest=40).lower(), "code": text("code", code, longest=80),
        "note": text("note", note, longest=2000, needed=False),
    }  # fmt: skip
    same = (t.lot.c.kind == row["kind"], t.lot.c.code == row["code"], there(t.lot))
    known = step.connection.scalar(select(t.lot.c.id).where(*same))
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
    position, next_code = _next(step.connection, t.bake, above, str)
    own = next_code if code is None else _own_code(step.connection, t.bake, (above,), code, "")
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
    position, next_code = _next(
        step.connection, t.dough, above, lambda n: f"{bake.code}{letters(n)}"
    )
    if code is not None:
        next_code = _own_code(step.connection, t.dough, (above,), code, str(bake))
    clean = text("note", note, longest=2000, needed=False)
    row = {"bake_id": bake.id, "position": position, "code": next_code, "note": clean}
    return Dough(step.add(t.dough, row), next_code, bake, clean)


def add_load(step: Step, bake: Bake) -> Load:
    """Add the next load of a bake."""
    above = t.load.c.bake_id == bake.id, there(t.load)
    last = step.connection.scalar(select(func.max(t.load.c.position)).where(*above)) or 0
    return Load(step.add(t.load, {"bake_id": bake.id, "position": last + 1}), last + 1, bake)


def check_place(
    connection: Connection, dough: Dough, load: Load | None, place: object, piece_id: str = ""
) -> int | None:
    """Return a place on the griddle that is free in a load of the dough's own bake."""
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
        raise InputError(
            "place", number, f"is taken by piece {taken}", "Choose another place.", str(load)
        )
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
    position, next_code = _next(step.connection, t.piece, above, lambda n: f"{dough.code}{n}")
    if code is not None:
        next_code = _own_code(step.connection, t.piece, (above,), code, str(dough))
    place = check_place(step.connection, dough, load, place)
    hidden = text("blind", blind, longest=20, needed=False) or None
    row = {
        "dough_id": dough.id, "position": position, "code": next_code,
        "load_id": load.id if load else None, "place": place, "blind": hidden,
    }  # fmt: skip
    return Piece(step.add(t.piece, row), next_code, dough, load, place, hidden)


_CHANGEABLE = {
    "bake": ("code", "day", "flour_lot", "yeast_lot", "note"),
    "dough": ("code", "note"),
    "piece": ("code", "load", "place", "blind"),
}


def change_thing(step: Step, trial_id: str, thing: Thing, values: Mapping[str, Any]) -> None:
    """Give a bake, dough or piece other values.

    Parameters
    ----------
    step : Step
        Under way.
    trial_id : str
        Its trial.
    thing : Bake, Dough or Piece
        What is changed.
    values : mapping
        A bake's code, day, flour_lot, yeast_lot, note; a dough's code, note; a piece's code, load,
        place, blind.

    Raises
    ------
    NotFoundError
        It has no such field.
    InputError
        The value cannot be used.
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
        new["place"] = check_place(step.connection, thing.dough, load, place, thing.id)
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
    ids = step.connection.scalars
    if isinstance(thing, Load):
        on_it = select(t.piece.c.id).where(t.piece.c.load_id == thing.id, there(t.piece))
        for piece_id in ids(on_it).all():
            step.change(t.piece, piece_id, {"load_id": None, "place": None})
    doughs = [thing.id] if isinstance(thing, Dough) else []
    if isinstance(thing, Bake):
        in_it = select(t.dough.c.id).where(t.dough.c.bake_id == thing.id, there(t.dough))
        doughs = list(ids(in_it))
        for load_id in ids(
            select(t.load.c.id).where(t.load.c.bake_id == thing.id, there(t.load))
        ).all():
            step.delete(t.load, load_id)
    for dough_id in doughs:
        of_it = select(t.piece.c.id).where(t.piece.c.dough_id == dough_id, there(t.piece))
        for piece_id in ids(of_it).all():
            step.delete(t.piece, piece_id)
        if dough_id != thing.id:
            step.delete(t.dough, dough_id)
    step.delete(TABLE_OF[thing.level], thing.id)
