"""What a trial has already, by the codes a table uses: against it a coming table is matched."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import Connection, Select, func, select

from kit.records import tables as t
from kit.records.sheets.table import as_read
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
    for bake_id, code, day, flour_lot, yeast_lot in _by_code(connection.execute(bakes).all()):
        key = key_of[bake_id] = _free(known.ids["bake"], as_read(code), code)
        known.ids["bake"][key] = bake_id
        known.about_bake[key] = {"day": day, "flour_lot": flour_lot, "yeast_lot": yeast_lot}
    doughs = _rows(connection, trial_id, t.dough.c.id, t.dough.c.code, t.dough.c.bake_id)
    for dough_id, code, bake_id in _by_code(doughs):
        bake, ids = key_of[bake_id], known.ids["dough"]
        key = key_of[dough_id] = _free(ids, (bake, as_read(code)), (bake, code))
        ids[key] = dough_id
    for row in _rows(connection, trial_id, t.load.c.id, t.load.c.bake_id, t.load.c.position):
        known.ids["load"][key_of[row[1]], row[2]] = row[0]
    p = t.piece.c
    pieces = _rows(connection, trial_id, p.id, p.code, p.dough_id, p.load_id, p.place)
    for piece_id, code, dough_id, load_id, place in _by_code(pieces):
        dough, ids = key_of[dough_id], known.ids["piece"]
        ids[_free(ids, (dough, as_read(code)), (dough, code))] = piece_id
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


def _by_code(rows: Iterable[Any]) -> list[Any]:
    """Rows of (id, code, ...), those first whose code stands as it reads: an older kit kept others.

    Such codes are found as they read, unless that is another's.
    """
    return sorted(rows, key=lambda row: as_read(row[1]) != row[1])


def _free(ids: Mapping[Any, str], as_it_reads: Any, as_it_stands: Any) -> Any:
    return as_it_stands if as_it_reads in ids else as_it_reads


def _of_trial(trial_id: str, level: str, *columns: Any) -> Select[Any]:
    """Select from one level's table what belongs to a trial, things taken out included."""
    return select(*columns).select_from(joined(level)).where(t.bake.c.trial_id == trial_id)


def _rows(connection: Connection, trial_id: str, *columns: Any) -> Sequence[Any]:
    level = columns[0].table.name
    counts = map(there, CHAIN[level])
    return connection.execute(_of_trial(trial_id, level, *columns).where(*counts)).all()


def _last_positions(connection: Connection, trial_id: str, known: Known) -> None:
    bakes = select(func.max(t.bake.c.position)).where(t.bake.c.trial_id == trial_id)
    known.last["bake", trial_id] = connection.scalar(bakes) or 0
    for level, parent in (("dough", t.dough.c.bake_id), ("piece", t.piece.c.dough_id)):
        highest = func.max(TABLE_OF[level].c.position)
        query = _of_trial(trial_id, level, parent, highest).group_by(parent)
        known.last |= {(level, above): last for above, last in connection.execute(query)}
