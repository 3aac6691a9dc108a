"""Bakes, doughs, loads and pieces: what readings belong to.

The handles are small and frozen; what they say was so when they were handed out. The database is
asked by their `id` alone.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, ClassVar

from sqlalchemy import (
    Column,
    ColumnElement,
    Connection,
    Row,
    Select,
    Table,
    and_,
    bindparam,
    func,
    select,
)

from kit.errors import InputError, NotFoundError
from kit.records import tables as t

__all__ = [
    "TABLE_OF",
    "Bake",
    "Dough",
    "Load",
    "Piece",
    "Thing",
    "bakes",
    "check_kind",
    "check_there",
    "count",
    "doughs",
    "find",
    "loads",
    "pieces",
    "there",
]


@dataclass(frozen=True, repr=False)
class _Thing:
    id: str
    level: ClassVar[str]

    def __repr__(self) -> str:
        return f"<{self}>"


@dataclass(frozen=True, repr=False)
class Bake(_Thing):
    """One session at the griddle."""

    code: str
    day: date | None
    zone: str
    flour_lot: str | None
    yeast_lot: str | None
    note: str
    level: ClassVar[str] = "bake"

    def __str__(self) -> str:
        return f"bake {self.code}"


@dataclass(frozen=True, repr=False)
class Dough(_Thing):
    """One batch mixed."""

    code: str
    bake: Bake
    note: str
    level: ClassVar[str] = "dough"

    def __str__(self) -> str:
        told = self.code.startswith(self.bake.code)
        return f"dough {self.code}" if told else f"dough {self.code} of {self.bake}"


@dataclass(frozen=True, repr=False)
class Load(_Thing):
    """One fill of the griddle; `position` is its order in the bake."""

    position: int
    bake: Bake
    level: ClassVar[str] = "load"

    def __str__(self) -> str:
        return f"load {self.position} of {self.bake}"


@dataclass(frozen=True, repr=False)
class Piece(_Thing):
    """One muffin."""

    code: str
    dough: Dough
    load: Load | None
    place: int | None
    blind: str | None
    level: ClassVar[str] = "piece"

    def __str__(self) -> str:
        told = self.code.startswith(self.dough.code) and " of " not in str(self.dough)
        return f"piece {self.code}" if told else f"piece {self.code} of {self.dough}"


Thing = Bake | Dough | Load | Piece

TABLE_OF: dict[str, Table] = {"bake": t.bake, "dough": t.dough, "load": t.load, "piece": t.piece}

_flour, _yeast = t.lot.alias("flour"), t.lot.alias("yeast")
_BAKE = (
    t.bake.c.id.label("bake_id"),
    t.bake.c.code.label("bake_code"),
    t.bake.c.day,
    t.bake.c.zone,
    _flour.c.code.label("flour_lot"),
    _yeast.c.code.label("yeast_lot"),
    t.bake.c.note.label("bake_note"),
)
_DOUGH = (
    t.dough.c.id.label("dough_id"),
    t.dough.c.code.label("dough_code"),
    t.dough.c.note.label("dough_note"),
)
_LOAD = (t.load.c.id.label("load_id"), t.load.c.position)
_PIECE = (t.piece.c.id.label("piece_id"), t.piece.c.code, t.piece.c.place, t.piece.c.blind)


def there(table: Table) -> ColumnElement[bool]:
    """Say in SQL that a table's row counts."""
    return table.c.deleted.is_(None)


def _selected(level: str, trial_id: str) -> Select[Any]:
    """Select the things of one level that count, with all that stands above them, in order."""
    where = [t.bake.c.trial_id == trial_id, there(t.bake)]
    columns: list[ColumnElement[Any]] = [*_BAKE]
    order = [t.bake.c.day.nulls_last(), t.bake.c.position]
    source: Any = t.bake.outerjoin(_flour, t.bake.c.flour_lot_id == _flour.c.id)
    source = source.outerjoin(_yeast, t.bake.c.yeast_lot_id == _yeast.c.id)
    if level in ("dough", "piece"):
        source = source.join(t.dough, and_(t.dough.c.bake_id == t.bake.c.id, there(t.dough)))
        columns += _DOUGH
        order.append(t.dough.c.position)
    if level == "piece":
        source = source.join(t.piece, and_(t.piece.c.dough_id == t.dough.c.id, there(t.piece)))
        source = source.outerjoin(t.load, and_(t.piece.c.load_id == t.load.c.id, there(t.load)))
        columns += [*_LOAD, *_PIECE]
        order.append(t.piece.c.position)
    if level == "load":
        source = source.join(t.load, and_(t.load.c.bake_id == t.bake.c.id, there(t.load)))
        columns += _LOAD
        order.append(t.load.c.position)
    return select(*columns).select_from(source).where(*where).order_by(*order)


def _bake(r: Row[Any]) -> Bake:
    return Bake(r.bake_id, r.bake_code, r.day, r.zone, r.flour_lot, r.yeast_lot, r.bake_note)


def _dough(r: Row[Any]) -> Dough:
    return Dough(r.dough_id, r.dough_code, _bake(r), r.dough_note)


def _load(r: Row[Any]) -> Load:
    return Load(r.load_id, r.position, _bake(r))


def _piece(r: Row[Any]) -> Piece:
    load = None if r.load_id is None else _load(r)
    return Piece(r.piece_id, r.code, _dough(r), load, r.place, r.blind)


def bakes(connection: Connection, trial_id: str, *where: ColumnElement[bool]) -> list[Bake]:
    """Return a trial's bakes, by day."""
    rows = connection.execute(_selected("bake", trial_id).where(*where))
    return [_bake(row) for row in rows]


def doughs(connection: Connection, trial_id: str, *where: ColumnElement[bool]) -> list[Dough]:
    """Return a trial's doughs, bake by bake."""
    rows = connection.execute(_selected("dough", trial_id).where(*where))
    return [_dough(row) for row in rows]


def loads(connection: Connection, trial_id: str, *where: ColumnElement[bool]) -> list[Load]:
    """Return a trial's loads, bake by bake."""
    rows = connection.execute(_selected("load", trial_id).where(*where))
    return [_load(row) for row in rows]


def pieces(connection: Connection, trial_id: str, *where: ColumnElement[bool]) -> list[Piece]:
    """Return a trial's pieces, dough by dough."""
    rows = connection.execute(_selected("piece", trial_id).where(*where))
    return [_piece(row) for row in rows]


def count(connection: Connection, trial_id: str, level: str) -> int:
    """Return how many bakes, doughs, loads or pieces a trial has."""
    rows = _selected(level, trial_id).order_by(None).subquery()
    return connection.scalar(select(func.count()).select_from(rows)) or 0


_LISTS: dict[str, tuple[Callable[..., Sequence[Any]], Column[Any]]] = {
    "bake": (bakes, t.bake.c.code),
    "dough": (doughs, t.dough.c.code),
    "load": (loads, t.load.c.position),
    "piece": (pieces, t.piece.c.code),
}


def find(
    connection: Connection,
    trial_id: str,
    level: str,
    code: str | int,
    bake: str | None = None,
    dough: str | None = None,
) -> Any:
    """Return the one thing called `code` (a load: its position).

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Open.
    trial_id : str
        Its trial.
    level : str
        One of `kit.quantities.LEVELS`.
    code : str or int
        What it is called.
    bake, dough : str, optional
        Codes of what it belongs to, needed where several share `code`.

    Raises
    ------
    NotFoundError
        There is none; lists those there are.
    InputError
        There are several.
    """
    listing, column = _LISTS[level]
    within = []
    if bake is not None:
        within.append(t.bake.c.code == str(bake))
    if dough is not None:
        within.append(t.dough.c.code == str(dough))
    found = listing(connection, trial_id, column == code, *within)
    if len(found) > 1:
        both = f"{found[0]} or {found[1]}"
        doughs_tell = level == "piece" and found[0].dough.bake == found[1].dough.bake
        field = "dough" if doughs_tell else "bake"
        raise InputError(level, code, f"could be {both}", f"Say which {field}: {field}=….")
    if not found:
        known = listing(connection, trial_id, *within)
        names = [str(getattr(thing, column.name)) for thing in known]
        raise NotFoundError(level, str(code), dict.fromkeys(names))
    return found[0]


def _with_above(level: str) -> Select[Any]:
    """Select a thing's trial, and whether it and all it belongs to count."""
    chain = [t.trial, t.bake]
    joined: Any = t.trial.join(t.bake, t.bake.c.trial_id == t.trial.c.id)
    if level in ("dough", "piece"):
        chain.append(t.dough)
        joined = joined.join(t.dough, t.dough.c.bake_id == t.bake.c.id)
    if level == "load":
        chain.append(t.load)
        joined = joined.join(t.load, t.load.c.bake_id == t.bake.c.id)
    if level == "piece":
        chain.append(t.piece)
        joined = joined.join(t.piece, t.piece.c.dough_id == t.dough.c.id)
    counts = and_(*map(there, chain)).label("counts")
    found = TABLE_OF[level].c.id == bindparam("thing_id")
    return select(t.trial.c.id, t.trial.c.name, counts).select_from(joined).where(found)


#: built once: one is run for every value that is saved
_WITH_ABOVE = {level: _with_above(level) for level in TABLE_OF}


def check_kind(thing: object, *kinds: type[Thing]) -> None:
    """Refuse what is no handle of one of `kinds`: a code, or a handle of something else.

    Raises
    ------
    InputError
    """
    if not isinstance(thing, kinds or _Thing):
        *names, last = [kind.level for kind in kinds] or ["bake", "dough", "load", "piece"]
        listed = f"{', '.join(names)} or {last}" if names else last
        remedy = f"Give what trial.{last}(…){' or the like' if names else ''} returns."
        raise InputError("thing" if names else last, thing, f"is no {listed}", remedy)


def check_there(connection: Connection, trial_id: str, thing: Thing, *kinds: type[Thing]) -> str:
    """Return the trial's name when `thing` counts in it.

    Raises
    ------
    InputError
        It is not of one of `kinds`, belongs to another trial, or it or what it belongs to was
        removed.
    """
    check_kind(thing, *kinds)
    row = connection.execute(_WITH_ABOVE[thing.level], {"thing_id": thing.id}).first()
    if row is None or row.id != trial_id:
        raise InputError(thing.level, str(thing), "belongs to another trial")
    if not row.counts:
        raise InputError(thing.level, str(thing), "was removed", "Undo that, or add it again.")
    return str(row.name)
