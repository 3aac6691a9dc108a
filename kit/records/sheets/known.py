"""What a trial has already, by the codes a table uses: against it a coming table is matched."""

from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import Connection, Select, func, select

from kit.records import tables as t
from kit.records.things import CHAIN, FLOUR, TABLE_OF, YEAST, joined, selected, there

__all__ = ["Known", "read_known"]


@dataclass
class Known:
    """A trial's things and what is recorded of them; kept up while a table comes in.

    Keys are those of `kit.records.sheets.check.Sheet`: a bake's code; (bake, code) of a dough;
    (bake, position) of a load; (dough's key, code) of a piece.
    """

    ids: dict[str, dict[Any, str]]  # level -> key -> id
    # bake -> its day and the codes of its lots
    about_bake: dict[str, dict[str, Any]] = field(default_factory=dict)
    # id of a piece -> its load's id and its place
    lies: dict[str, tuple[str | None, int | None]] = field(default_factory=dict)
    # (id of a load, place) -> id of the piece there
    on_griddle: dict[tuple[str, int], str] = field(default_factory=dict)
    # (level, id of what it belongs to) -> last position taken, things taken out included
    last: dict[tuple[str, str], int] = field(default_factory=dict)
    # (id of a thing, quantity) -> newest value that was not only planned
    newest: dict[tuple[str, str], float | None] = field(default_factory=dict)
    happened: set[tuple[str, str]] = field(default_factory=set)  # (id of a piece, kind)

    def next_position(self, level: str, above: str) -> int:
        """Take the next position under one parent."""
        position = self.last[level, above] = self.last.get((level, above), 0) + 1
        return position

    def put(self, piece_id: str, load_id: str | None, place: int | None) -> None:
        """Note where a piece lies now."""
        load, old = self.lies.get(piece_id, (None, None))
        if load is not None and old is not None:
            self.on_griddle.pop((load, old), None)
        self.lies[piece_id] = load_id, place
        if load_id is not None and place is not None:
            self.on_griddle[load_id, place] = piece_id


def read_known(connection: Connection, trial_id: str, recorded: bool = True) -> Known:
    """Read what a trial has; which things alone, not what is `recorded` of them, to look."""
    known = Known({level: {} for level in TABLE_OF})
    bakes = selected("bake", trial_id).with_only_columns(
        t.bake.c.id, t.bake.c.code, t.bake.c.day, FLOUR.c.code, YEAST.c.code
    )
    key_of: dict[str, Any] = {}
    for bake_id, code, day, flour_lot, yeast_lot in connection.execute(bakes):
        known.ids["bake"][code] = bake_id
        key_of[bake_id] = code
        known.about_bake[code] = {"day": day, "flour_lot": flour_lot, "yeast_lot": yeast_lot}
    for row in _rows(connection, trial_id, t.dough.c.id, t.dough.c.bake_id, t.dough.c.code):
        known.ids["dough"][key_of[row[1]], row[2]] = row[0]
        key_of[row[0]] = (key_of[row[1]], row[2])
    for row in _rows(connection, trial_id, t.load.c.id, t.load.c.bake_id, t.load.c.position):
        known.ids["load"][key_of[row[1]], row[2]] = row[0]
    p = t.piece.c
    for piece_id, dough_id, code, load_id, place in _rows(
        connection, trial_id, p.id, p.dough_id, p.code, p.load_id, p.place
    ):
        known.ids["piece"][key_of[dough_id], code] = piece_id
        known.put(piece_id, load_id, place)
    if not recorded:
        return known
    _last_positions(connection, trial_id, known)
    r = t.reading.c
    newest = select(r.target_id, r.quantity, r.value).where(
        r.trial_id == trial_id, r.how != "planned", r.deleted.is_(None)
    )
    for target, quantity, value in connection.execute(newest.order_by(r.seq)):
        known.newest[target, quantity] = value
    e = t.event.c
    events = select(e.target_id, e.kind).where(e.trial_id == trial_id, there(t.event))
    known.happened = {(target, kind) for target, kind in connection.execute(events)}
    return known


def _of_trial(trial_id: str, level: str, *columns: Any, taken_out: bool = False) -> Select[Any]:
    """Select from one level's table what belongs to a trial."""
    query = select(*columns).select_from(joined(level)).where(t.bake.c.trial_id == trial_id)
    return query if taken_out else query.where(*map(there, CHAIN[level]))


def _rows(connection: Connection, trial_id: str, *columns: Any) -> list[Any]:
    query = _of_trial(trial_id, columns[0].table.name, *columns)
    return list(connection.execute(query).all())


def _last_positions(connection: Connection, trial_id: str, known: Known) -> None:
    bakes = select(func.max(t.bake.c.position)).where(t.bake.c.trial_id == trial_id)
    known.last["bake", trial_id] = connection.scalar(bakes) or 0
    for level, parent in (("dough", t.dough.c.bake_id), ("piece", t.piece.c.dough_id)):
        highest = func.max(TABLE_OF[level].c.position)
        query = _of_trial(trial_id, level, parent, highest, taken_out=True).group_by(parent)
        for above, last in connection.execute(query):
            known.last[level, above] = last
