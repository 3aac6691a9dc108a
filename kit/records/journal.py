"""The journal: the one way rows are added, changed and taken out, and the way back.

A step is what a person would undo at once: one saved field, one imported file. Its rows and its
lines in the table `change` are written in one transaction, so neither is ever there without the
other. Undoing marks the step's lines and puts the rows back; no line is ever removed.
"""

import getpass
import secrets
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from datetime import date
from typing import Any
from zoneinfo import ZoneInfo

import pandas as pd
from sqlalchemy import Connection, Table, select, update
from sqlalchemy import Row as RowOf
from sqlalchemy.exc import IntegrityError

from kit.errors import DataError, StoreError
from kit.records.keeping.store import Store
from kit.records.tables import TABLES, bake, change, dough, load, piece
from kit.records.typed import local_zone, now

__all__ = [
    "Row", "Step", "history", "in_parts", "new_id", "step", "together", "undo", "who_is_here",
]  # fmt: skip

Row = dict[str, Any]

_log = change.insert()


def in_parts(ids: Sequence[str], at_once: int = 500) -> Iterator[Sequence[str]]:
    """Part ids for statements of their own: databases bound how many values one may hold."""
    return (ids[start : start + at_once] for start in range(0, len(ids), at_once))


def new_id() -> str:
    """Return an id no other kitchen will ever draw: a UUID of version 7 (RFC 9562, 5.7).

    It begins with the time, so that new rows stand together in the database's indexes: with
    random ones a large import takes several times as long.
    """
    drawn = secrets.randbits(74)
    head = time.time_ns() // 1_000_000 << 80 | 7 << 76 | (drawn >> 62) << 64
    return f"{head | 2 << 62 | drawn & (1 << 62) - 1:032x}"


def who_is_here() -> str:
    """Return the computer's name for the person at it, empty when it has none."""
    try:
        return getpass.getuser()
    except (KeyError, OSError, ImportError):  # no such user, as in many containers
        return ""


class Step:
    """One undoable action under way, in a transaction that writes; made by `step`.

    What it `says` may be set until it ends; its `number` is that of a step that was begun in an
    earlier transaction and goes on in this one.
    """

    def __init__(self, connection: Connection, who: str, says: str, number: str = "") -> None:
        self.connection, self.who, self.says, self.number = connection, who, says, number
        self.at = now()
        self._changes: list[Row] = []

    def add(self, table: Table, row: Row) -> str:
        """Add one row, with an id if it has none; return the id."""
        row.setdefault("id", new_id())
        self.connection.execute(table.insert(), row)
        self._note(table, row["id"], "add", None, row)
        return str(row["id"])

    def add_all(self, table: Table, rows: Sequence[Row]) -> None:
        """Add many rows with the same columns, ids included, under one line of the journal."""
        if rows:
            self.connection.execute(table.insert(), rows)
            self._note(table, "", "add", None, {"ids": [row["id"] for row in rows]})

    def change(self, table: Table, row_id: str, values: Mapping[str, Any]) -> None:
        """Give a row other values; columns that keep theirs are not noted."""
        names = [table.c[name] for name in values]
        old = self.connection.execute(select(*names).where(table.c.id == row_id)).one()._asdict()
        before = {name: old[name] for name in values if old[name] != values[name]}
        if before:
            after = {name: values[name] for name in before}
            self.connection.execute(update(table).where(table.c.id == row_id).values(after))
            self._note(table, row_id, "change", before, after)

    def delete(self, table: Table, row_id: str) -> None:
        """Take a row out: it is marked and stays where it is."""
        self.connection.execute(update(table).where(table.c.id == row_id).values(deleted=self.at))
        self._note(table, row_id, "delete", None, None)

    def _note(
        self, table: Table, row_id: str, what: str, before: Row | None, after: Row | None
    ) -> None:
        self._changes.append(
            {
                "table": table.name,
                "row_id": row_id,
                "what": what,
                "before": _kept(before),
                "after": _kept(after),
            }
        )

    def end(self) -> None:
        """Write the journal's lines."""
        if not self._changes:
            return
        number = self.number or new_id()
        shared = {"step": number, "at": self.at, "who": self.who, "says": None}
        lines = [{**shared, **line} for line in self._changes]
        if not (self.number and self._reworded()):
            lines[0]["says"] = self.says
        self.connection.execute(_log, lines if len(lines) > 1 else lines[0])

    def _reworded(self) -> bool:
        """Say anew on its first line what a step begun earlier does; False where it has none."""
        begun = (
            change.c.step == self.number,
            change.c.undone.is_(None),
            change.c.says.is_not(None),
        )
        return bool(
            self.connection.execute(update(change).where(*begun).values(says=self.says)).rowcount
        )


def _kept(row: Row | None) -> Row | None:
    """Days are kept as text: JSON has none."""
    if row is None or "day" not in row or row["day"] is None:
        return row
    return {**row, "day": row["day"].isoformat()}


@dataclass(frozen=True)
class _Together:
    """Steps of one store that are undone at once."""

    store: Store
    number: str
    says: str


_together: ContextVar[_Together | None] = ContextVar("together", default=None)


@contextmanager
def together(store: Store, says: str, whole: bool = False) -> Iterator[None]:
    """Let all steps inside the block be one to undo, each stored by itself as it ends.

    `says` is the one line of the history. With `whole` all of them are taken back when the block
    fails; those of a block inside this one are its own. Raises StoreError: the block failed, and
    what it had done could not be taken back; says both.
    """
    joined = _Together(store, new_id(), says)
    before = _together.set(joined)
    try:
        yield
    except BaseException as why:
        if whole:
            _take_back_all(store, joined.number, why)
        raise
    finally:
        _together.reset(before)


_STAYS = "what has been given to another since stays, and the next undo tries it again"


def _take_back_all(store: Store, number: str, why: BaseException) -> None:
    """Take a step back because of a failure, which must not be hidden by another."""
    try:
        with store.reading() as connection:
            lines = _done(connection, number)
            if not lines:
                return  # who did nothing need not wait for those who write
        with store.writing() as connection:
            _, stays = _take_back(connection, number)
            if stays == len(lines):
                msg = "another window has its names or places. Undo what it did."
                raise StoreError(msg)  # the step stays as it is
        said = f"Not all of what was done before that is taken back: {_STAYS}." if stays else ""
        then = ""
    except StoreError as exc:
        said = f"What was done before that stays, for it could not be taken back: {exc}"
        then = " Then undo: it takes it back."
    if said and isinstance(why, Exception):
        text = f"{why} {said}{then}"
        raise StoreError(text) from why
    if said:
        why.add_note(said)


@contextmanager
def step(store: Store, who: str, says: str = "", number: str = "") -> Iterator[Step]:
    """Do one undoable thing: everything inside the block is stored with its journal, or nothing.

    A long one may take several blocks of one `number` (from `new_id`), each stored whole; it is
    undone at once. Raises DataError: what came before of a long one was undone meanwhile, here or
    in another window.
    """
    joined = _together.get()
    if joined is not None and joined.store is not store:
        joined = None
    with store.writing() as connection:
        action = Step(connection, who, says, number if joined is None else joined.number)
        if action.number:
            _refuse_undone(connection, action.number)
        yield action
        action.says = action.says if joined is None else joined.says
        action.end()


def _refuse_undone(connection: Connection, number: str) -> None:
    """Do not go on with a step that was taken back: half of it would be there."""
    gone = select(change.c.seq).where(change.c.step == number, change.c.undone.is_not(None))
    if connection.execute(gone.limit(1)).first():
        msg = (
            "what was stored of this was undone meanwhile, so the rest was left as well. Do it "
            "again if it is wanted."
        )
        raise DataError(msg)


def undo(store: Store) -> str | None:
    """Take back the last step not yet taken back; return what it was, None when there is none."""
    with store.writing() as connection:
        last = connection.execute(
            select(change.c.step).where(change.c.undone.is_(None)).order_by(change.c.seq.desc())
        ).first()
        if last is None:
            return None
        says, stays = _take_back(connection, last.step)
        return f"{says}; {_STAYS}" if stays else says


def _take_back(connection: Connection, number: str) -> tuple[str, int]:
    """Put back what one step's lines say where it still stands.

    Return what it was, and how many lines could not be taken back.

    What cannot, because another window has given its name or place away, or has put something into
    it, goes on to the step that is undone next: most likely that is what is in the way.
    """
    when = now()
    lines = _done(connection, number)
    blocked = []
    for line in reversed(lines):  # a dough before its bake
        if line.what == "add":
            table = TABLES[line.table]
            ids = [line.row_id] if line.row_id else line.after["ids"]
            if _others_within(connection, table, ids):
                blocked.append(line.seq)
                continue
            for some in in_parts(ids):
                gone = update(table).where(table.c.id.in_(some)).values(deleted=when)
                connection.execute(gone)
    # backwards: what was done last stands in the way of what was done before it
    for line in reversed(lines):
        try:
            with connection.begin_nested():
                if line.what == "delete":
                    _bring_back(connection, line)
                elif line.what == "change":
                    _change_back(connection, line)
        except IntegrityError:
            blocked.append(line.seq)
    said = next(line for line in lines if line.says is not None)
    says = str(said.says)
    if blocked:
        rest = [line.seq for line in lines if line.seq not in blocked]
        _hand_on(connection, number, blocked)
        if rest and said.seq in blocked:
            first = update(change).where(change.c.seq == rest[0])
            connection.execute(first.values(says=says))
    mine = change.c.step == number, change.c.undone.is_(None)
    connection.execute(update(change).where(*mine).values(undone=when))
    return says, len(blocked)


#: table -> the columns by which what is in one of its rows refers to it
_WITHIN = {
    "trial": (bake.c.trial_id,), "bake": (dough.c.bake_id, load.c.bake_id),
    "dough": (piece.c.dough_id,), "load": (piece.c.load_id,),
}  # fmt: skip


def _others_within(connection: Connection, table: Table, ids: Sequence[str]) -> bool:
    """Whether another window has put something into rows, as a dough into a bake: they must stay.

    What the same step put there is taken back before.
    """
    return any(
        connection.execute(
            select(column).where(column.in_(some), column.table.c.deleted.is_(None)).limit(1)
        ).first()
        for column in _WITHIN.get(table.name, ())
        for some in in_parts(ids)
    )


def _bring_back(connection: Connection, line: RowOf[Any]) -> None:
    """Let a row count again that was taken out then, unless its adding was undone meanwhile."""
    table = TABLES[line.table]
    then = table.c.id == line.row_id, table.c.deleted == line.at
    connection.execute(update(table).where(*then).values(deleted=None))


#: fields that mean something together only: half of them put back would fit nowhere
_PAIRS = ({"load_id", "place"}, {"level", "target_id"})


def _change_back(connection: Connection, line: RowOf[Any]) -> None:
    """Give a row the values that it had, but for those another window changed meanwhile."""
    table = TABLES[line.table]
    this = table.c.id == line.row_id
    stands = select(*(table.c[name] for name in line.after)).where(this)
    now_there = _kept(connection.execute(stands).one()._asdict()) or {}
    theirs = {name for name in line.after if now_there[name] != line.after[name]}
    theirs |= {name for pair in _PAIRS if pair & theirs for name in pair}
    back = {name: old for name, old in line.before.items() if name not in theirs}
    if back:
        connection.execute(update(table).where(this).values(_restored(back)))


def _hand_on(connection: Connection, number: str, blocked: Sequence[int]) -> None:
    """Make lines that cannot be taken back yet those of the step that is undone next."""
    others = select(change.c.step).where(change.c.step != number, change.c.undone.is_(None))
    following = connection.scalar(others.order_by(change.c.seq.desc()).limit(1))
    moved = update(change).where(change.c.seq.in_(blocked))
    connection.execute(moved.values(step=following, says=None))


def _done(connection: Connection, number: str) -> Sequence[RowOf[Any]]:
    """A step's lines in the journal, oldest first; those taken back already are no longer its."""
    mine = select(change).where(change.c.step == number, change.c.undone.is_(None))
    return connection.execute(mine.order_by(change.c.seq)).all()


def _restored(before: Row) -> Row:
    """Return a row's former values as its table takes them."""
    if before.get("day") is None:
        return before
    return {**before, "day": date.fromisoformat(before["day"])}


def history(store: Store, newest: int | None = None) -> pd.DataFrame:
    """Return what was done, one row a step, oldest first; or only the `newest` so many.

    Columns: ``when`` (time in the computer's zone), ``who``, ``what`` (in words), ``undone``
    (bool).
    """
    query = (
        select(change.c.at, change.c.who, change.c.says, change.c.undone)
        .where(change.c.says.is_not(None))
        .order_by(change.c.seq.desc())
        .limit(newest)
    )
    with store.reading() as connection:
        rows = connection.execute(query).all()[::-1]
    when = pd.to_datetime([row.at for row in rows], utc=True)
    return pd.DataFrame(
        {
            "when": when.tz_convert(ZoneInfo(local_zone())),
            "who": [row.who for row in rows],
            "what": [row.says for row in rows],
            "undone": [row.undone is not None for row in rows],
        }
    )
