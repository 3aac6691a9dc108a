"""Bakes, doughs, loads and pieces: what readings belong to.

The handles are small and frozen; what they say was so when they were handed out. The database is
asked by their `id` alone.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise
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
from kit.given import as_whole
from kit.records import tables as t
from kit.records.typed import plain_name

__all__ = [
    "CHAIN", "CODE_OF", "FLOUR", "LISTS", "TABLE_OF", "YEAST", "Bake", "Dough", "Load", "Piece",
    "Thing", "bakes", "check_kind", "check_there", "count", "doughs", "find", "joined", "loads",
    "pieces", "selected", "there",
]  # fmt: skip


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

    @property
    def code(self) -> str:
        """What it is called: its number."""
        return str(self.position)

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

    @property
    def bake(self) -> Bake:
        """Its dough's."""
        return self.dough.bake

    def __str__(self) -> str:
        told = self.code.startswith(self.dough.code) and " of " not in str(self.dough)
        return f"piece {self.code}" if told else f"piece {self.code} of {self.dough}"


Thing = Bake | Dough | Load | Piece

#: level -> the tables from the bake down to its own
CHAIN: dict[str, tuple[Table, ...]] = {
    "bake": (t.bake,),
    "dough": (t.bake, t.dough),
    "load": (t.bake, t.load),
    "piece": (t.bake, t.dough, t.piece),
}
TABLE_OF = {level: chain[-1] for level, chain in CHAIN.items()}
#: level -> the column that says what a thing is called
CODE_OF: dict[str, Column[Any]] = {
    level: table.c.position if level == "load" else table.c.code
    for level, table in TABLE_OF.items()
}
#: a bake's lots
FLOUR, YEAST = t.lot.alias("flour"), t.lot.alias("yeast")
_BAKE = (
    t.bake.c.id.label("bake_id"),
    t.bake.c.code.label("bake_code"),
    t.bake.c.day,
    t.bake.c.zone,
    FLOUR.c.code.label("flour_lot"),
    YEAST.c.code.label("yeast_lot"),
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


def joined(level: str) -> Any:
    """Join the tables from the bake down to a level, whether their rows count or not."""
    source: Any = t.bake
    for above, below in pairwise(CHAIN[level]):
        source = source.join(below, below.c[f"{above.name}_id"] == above.c.id)
    return source


def selected(level: str, trial_id: str) -> Select[Any]:
    """Select the things of one level that count, with all that stands above them, in order."""
    chain = CHAIN[level]
    source = joined(level).outerjoin(FLOUR, t.bake.c.flour_lot_id == FLOUR.c.id)
    source = source.outerjoin(YEAST, t.bake.c.yeast_lot_id == YEAST.c.id)
    columns: list[ColumnElement[Any]] = [*_BAKE, *(_DOUGH if t.dough in chain else ())]
    if level in ("load", "piece"):
        columns += _LOAD
    if level == "piece":
        columns += _PIECE
        source = source.outerjoin(t.load, and_(t.piece.c.load_id == t.load.c.id, there(t.load)))
    where = [t.bake.c.trial_id == trial_id, *map(there, chain)]
    order = [t.bake.c.day.nulls_last(), *(table.c.position for table in chain)]
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


def _rows(
    level: str, connection: Connection, trial_id: str, where: tuple[ColumnElement[bool], ...]
) -> Sequence[Row[Any]]:
    return connection.execute(selected(level, trial_id).where(*where)).all()


def bakes(connection: Connection, trial_id: str, *where: ColumnElement[bool]) -> list[Bake]:
    """Return a trial's bakes, by day."""
    return [_bake(row) for row in _rows("bake", connection, trial_id, where)]


def doughs(connection: Connection, trial_id: str, *where: ColumnElement[bool]) -> list[Dough]:
    """Return a trial's doughs, bake by bake."""
    return [_dough(row) for row in _rows("dough", connection, trial_id, where)]


def loads(connection: Connection, trial_id: str, *where: ColumnElement[bool]) -> list[Load]:
    """Return a trial's loads, bake by bake."""
    return [_load(row) for row in _rows("load", connection, trial_id, where)]


def pieces(connection: Connection, trial_id: str, *where: ColumnElement[bool]) -> list[Piece]:
    """Return a trial's pieces, dough by dough."""
    return [_piece(row) for row in _rows("piece", connection, trial_id, where)]


def count(connection: Connection, trial_id: str, level: str) -> int:
    """Return how many bakes, doughs, loads or pieces a trial has."""
    rows = selected(level, trial_id).order_by(None).subquery()
    return connection.scalar(select(func.count()).select_from(rows)) or 0


#: level -> how its things are listed
LISTS: dict[str, Callable[..., Sequence[Any]]] = {
    "bake": bakes, "dough": doughs, "load": loads, "piece": pieces,
}  # fmt: skip


def find(
    connection: Connection,
    trial_id: str,
    level: str,
    code: str | int,
    bake: str | None = None,
    dough: str | None = None,
) -> Any:
    """Return the one thing called `code` (a load: its position), in a `bake` or `dough` by code.

    Raises NotFoundError: there is none; lists those there are. InputError: there are several.
    """
    listing = LISTS[level]
    within = []
    if bake is not None:
        within.append(t.bake.c.code == plain_name(str(bake)))
    if dough is not None:
        within.append(t.dough.c.code == plain_name(str(dough)))
    asked = as_whole(code) if level == "load" else plain_name(str(code))
    may_be = level != "load" or (asked is not None and abs(int(asked)) < 2**31)
    found = listing(connection, trial_id, CODE_OF[level] == asked, *within) if may_be else []
    if len(found) > 1:
        both = f"{found[0]} or {found[1]}"
        doughs_tell = level == "piece" and found[0].bake == found[1].bake
        field = "dough" if doughs_tell else "bake"
        raise InputError(level, code, f"could be {both}", f"Say which {field}: {field}=….")
    if not found:
        known = listing(connection, trial_id, *within)
        raise NotFoundError(level, str(code), dict.fromkeys(thing.code for thing in known))
    return found[0]


def _with_above(level: str) -> Select[Any]:
    """Select a thing's trial, and whether it and all it belongs to count."""
    source = joined(level).join(t.trial, t.bake.c.trial_id == t.trial.c.id)
    counts = and_(*map(there, (t.trial, *CHAIN[level]))).label("counts")
    found = TABLE_OF[level].c.id == bindparam("thing_id")
    return select(t.trial.c.id, t.trial.c.name, counts).select_from(source).where(found)


#: built once: one is run for every value that is saved
_WITH_ABOVE = {level: _with_above(level) for level in TABLE_OF}


def check_kind(thing: object, *kinds: type[Thing]) -> None:
    """Refuse what is no handle of one of `kinds`: a code, or a handle of something else.

    Raises InputError: it is none; says which kinds it may be.
    """
    if not isinstance(thing, kinds or _Thing):
        *names, last = [kind.level for kind in kinds] or ["bake", "dough", "load", "piece"]
        listed = f"{', '.join(names)} or {last}" if names else last
        remedy = f"Give what trial.{last}(…){' or the like' if names else ''} returns."
        raise InputError("thing" if names else last, thing, f"is no {listed}", remedy)


def check_there(connection: Connection, trial_id: str, thing: Thing, *kinds: type[Thing]) -> str:
    """Return the trial's name when `thing` counts in it.

    Raises InputError: it is not of one of `kinds`, belongs to another trial, or it or what it
    belongs to was removed.
    """
    check_kind(thing, *kinds)
    row = connection.execute(_WITH_ABOVE[thing.level], {"thing_id": thing.id}).first()
    if row is None or row.id != trial_id:
        raise InputError(thing.level, str(thing), "belongs to another trial")
    if not row.counts:
        raise InputError(thing.level, str(thing), "was removed", "Undo that, or add it again.")
    return str(row.name)
