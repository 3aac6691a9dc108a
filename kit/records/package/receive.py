"""Another baker's package into a workspace: beside what is there, never over it.

Everything is read and checked before anything is stored; then all of it is stored in one step, so
that one undo takes it back. Rows keep their ids, by which kitchens know the same trial; where any
of them is taken here, all rows get new ones.
"""

import re
from collections.abc import Callable, Iterable
from os import PathLike
from typing import Any

from sqlalchemy import Connection, Table, select

from kit.quantities import Quantity
from kit.records import tables as t
from kit.records import trials
from kit.records.journal import Row, Step, in_parts, new_id, step
from kit.records.keeping.store import Store
from kit.records.package.check import check_package
from kit.records.package.own import remember
from kit.records.package.photos import Landing
from kit.records.package.read import Arrival, read_package
from kit.records.package.rows import PACKED, Rows, columns_of, deciding, original_of, read_rows
from kit.records.package.safe_zip import SafeZip
from kit.records.things import there
from kit.records.typed import text
from kit.words import plural

__all__ = ["free_name", "receive_package"]


def receive_package(
    store: Store, who: str, source: str | PathLike[str], baker: str | None = None
) -> tuple[str, bool, tuple[str, ...]]:
    """Bring another baker's trial in, whole or not at all; see `Workspace.receive`.

    Returns its id here, whether the very same was here before, and what was renamed, left out, or
    is unusual.
    """
    named = None if baker is None else text("baker", baker)
    with SafeZip(source) as zipped:
        arrival = read_package(zipped)
        met = check_package(arrival)
        whose = named or arrival.rows["trial"][0]["baker"]
        with store.reading() as connection:
            same = _already_here(connection, arrival, store.folder is not None)
        if same is not None:
            return same, True, ()
        with Landing(store.folder, zipped, arrival) as landing, step(store, who) as action:
            # another program may have received it while the pictures were unpacked
            same = _already_here(action.connection, arrival, store.folder is not None)
            if same is None:
                trial_id = _store(action, arrival, met, whose, landing)
                return trial_id, False, tuple(arrival.notes)
    return same, True, ()


def _already_here(connection: Connection, arrival: Arrival, files: bool) -> str | None:
    """Return the trial that is the very same, None when there is none.

    Files count where there is a folder for them: a package with pictures brings something new
    to a trial that came without. So does one with what a second photo of a piece told, which
    packages of earlier kits leave out.
    """
    head = arrival.rows["trial"][0]
    theirs, told = _likeness(arrival.rows), _readings(arrival.rows)
    for row in trials.trials(connection):
        if row.created != head["created"]:
            continue
        ours = read_rows(connection, row.id).rows
        for photo in ours["photo"]:
            photo["original_sha256"] = original_of(photo)
        if _likeness(ours) != theirs or not _names_alike(ours, arrival.rows):
            continue
        if told <= _readings(ours) and (not files or _pictures(arrival.rows) <= _pictures(ours)):
            return str(row.id)
    return None


#: what receiving may have changed, or what may be said anew
_FREE = {"trial": {"name", "baker"}, "lot": {"code"}, "taster": {"name"},
         "photo": {"path", "sha256"}}  # fmt: skip


def _pictures(rows: Rows) -> set[str]:
    return {row["original_sha256"] for row in rows["photo"] if row["path"]}


def _readings(rows: Rows) -> set[tuple[Any, ...]]:
    """Return all that was read, what does not decide a frame included."""
    return {tuple(line[1:]) for line in _lines(rows)[t.reading.name]}


def _likeness(rows: Rows) -> dict[str, list[Any]]:
    """Return what rows say that every kit has sent."""
    return _lines({**rows, "reading": deciding(rows["reading"])})


def _lines(rows: Rows) -> dict[str, list[Any]]:
    """Return all that rows say, the id of each first, ids replaced by their places."""
    place = {row["id"]: (n, i) for n, table in enumerate(PACKED)
             for i, row in enumerate(rows[table.name])}  # fmt: skip
    told: dict[str, list[Any]] = {}
    for table in PACKED:
        names = [c.name for c in columns_of(table) if c.name not in _FREE.get(table.name, ())]
        refers = [name == "id" or name.endswith("_id") for name in names]
        lines = [
            [place.get(row[n], row[n]) if r else row[n] for n, r in zip(names, refers, strict=True)]
            for row in rows[table.name]
        ]
        if table is t.photo:
            hashes = [row["original_sha256"] for row in rows["photo"]]
            lines = [[*line, own] for line, own in zip(lines, hashes, strict=True)]
        told[table.name] = lines
    return told


def _names_alike(ours: Rows, theirs: Rows) -> bool:
    return all(
        _is_version(mine[name], other[name])
        for table, name in (("lot", "code"), ("taster", "name"))
        for mine, other in zip(ours[table], theirs[table], strict=True)
    )


def _is_version(ours: str, theirs: str) -> bool:
    """Whether a name here is that of the package, or that with its baker behind it."""
    longer = re.fullmatch(r"(.*) \([^()]*\)", ours, re.DOTALL)
    if longer is None:
        return ours == theirs
    # a long one was cut to make room
    begins = theirs.startswith(longer[1]) and len(longer[1]) >= min(len(theirs), 40)
    return ours == theirs or begins


def free_name(name: str, whose: str, taken: Iterable[str], longest: int) -> str:
    """Return a name nothing else has: the baker's behind it, and a number if need be.

    Examples
    --------
    >>> free_name("malt", "Ana", ["malt"], 80), free_name("malt", "Ana", ["malt", "malt (Ana)"], 80)
    ('malt (Ana)', 'malt (Ana 2)')
    """
    known, tried, number = set(taken), name, 1
    who = whose.partition("(")[0].replace(")", "")[:30].strip() or "received"
    while tried in known:
        behind = f" ({who})" if number == 1 else f" ({who} {number})"
        tried, number = name[: longest - len(behind)].rstrip() + behind, number + 1
    return tried


def _store(
    action: Step, arrival: Arrival, met: dict[str, Quantity], whose: str, landing: Landing
) -> str:
    rows, connection = arrival.rows, action.connection
    keep, lots = _shared(connection, t.lot, rows["lot"], lambda a, b: (
        (a.kind, a.note) == (b["kind"], b["note"]) and _is_version(a.code, b["code"])
    ))  # fmt: skip
    known, tasters = _shared(
        connection, t.taster, rows["taster"], lambda a, b: _is_version(a.name, b["name"])
    )
    keep |= known
    fresh = _any_taken(connection, rows)
    ids = {
        row["id"]: keep.get(row["id"]) or (new_id() if fresh or row["id"] in lots | tasters
                                           else row["id"])
        for table in PACKED for row in rows[table.name]
    }  # fmt: skip
    head = rows["trial"][0]
    taken = [row.name for row in trials.trials(connection)]
    name = free_name(head["name"], whose, taken, 80)
    if name != head["name"]:
        arrival.notes.append(f"a trial {head['name']} is here already: the new one is {name}")
    head |= {"name": name, "baker": whose}
    _rename(connection, arrival, t.lot, "code", whose, keep, ("kind",))
    _rename(connection, arrival, t.taster, "name", whose, keep)
    remember(action, met)
    landing.place()
    trial_id = ids[head["id"]]
    for table in PACKED:
        new = [row for row in rows[table.name] if row["id"] not in keep]
        action.add_all(table, _renewed(table, new, ids, trial_id))
    counts = ", ".join(plural(len(rows[n]), n) for n in ("bake", "dough", "piece"))
    action.says = f"{name}: received from {arrival.name}, {counts}"
    return trial_id


def _renewed(table: Table, rows: list[Row], ids: dict[str, str], trial_id: str) -> list[Row]:
    """Return rows as they are stored here, under their ids here."""
    names = [column.name for column in columns_of(table)]
    refers = {name for name in names if name == "id" or name.endswith("_id")}
    more = {"trial_id": trial_id} if "trial_id" in table.c else {}
    return [
        {name: ids[row[name]] if name in refers and row[name] else row[name] for name in names}
        | more
        for row in rows
    ]


def _found(connection: Connection, table: Table, ids: list[str]) -> list[Any]:
    """Return the rows that have one of some ids, whether they count or not."""
    mine = (select(table).where(table.c.id.in_(some)) for some in in_parts(ids))
    return [row for query in mine for row in connection.execute(query)]


def _shared(
    connection: Connection, table: Table, rows: list[Row], same: Callable[[Any, Row], bool]
) -> tuple[dict[str, str], set[str]]:
    """Return the lots (or tasters) that are here already, and ids that something else has."""
    given = {row["id"]: row for row in rows}
    keep, others = {}, set()
    for row in _found(connection, table, list(given)):
        if row.deleted is None and same(row, given[row.id]):
            keep[row.id] = row.id
        else:
            others.add(row.id)
    return keep, others


def _any_taken(connection: Connection, rows: Rows) -> bool:
    """Whether any id of a row that belongs to this trial alone is known here, counting or not."""
    return any(
        _found(connection, table, [row["id"] for row in rows[table.name]])
        for table in PACKED
        if table not in (t.lot, t.taster)
    )


def _rename(
    connection: Connection,
    arrival: Arrival,
    table: Table,
    name: str,
    whose: str,
    keep: dict[str, str],
    within: tuple[str, ...] = (),
) -> None:
    """Give lots (or tasters) that are called as another one here a name of their own."""
    columns = [table.c[n] for n in (*within, name)]
    taken = {tuple(row) for row in connection.execute(select(*columns).where(there(table)))}
    longest = 80 if table is t.lot else 200
    for row in arrival.rows[table.name]:
        if row["id"] in keep:
            continue
        kind = tuple(row[n] for n in within)
        names = [key[-1] for key in taken if key[:-1] == kind]
        new = free_name(row[name], whose, names, longest)
        if new != row[name]:
            shown = f"{kind[0]} lot" if kind else table.name
            arrival.notes.append(f"another {shown} {row[name]} is here: the new one is {new}")
            row[name] = new
        taken.add((*kind, new))
