"""Whether a workspace's file is sound: every finding in plain words, with what to do.

Nothing is changed.
"""

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd
from sqlalchemy import Connection, select

from kit import quantities, words
from kit.errors import InputError, StoreError
from kit.records import tables as t
from kit.records import trials
from kit.records.keeping.copies import copies
from kit.records.keeping.journal_check import journal_findings
from kit.records.keeping.store import Store, open_store
from kit.records.things import CODE_OF, TABLE_OF, there
from kit.shown import InLines

__all__ = ["Finding", "StoreCheck", "check_store"]

_GO_BACK = "Close every program that uses it and put back a copy: python -m kit restore {folder}"
_NO_COPY = "Put back a copy of the folder if you have one."
# a removed trial keeps its bakes, to come back whole
_PARENTS = (
    (t.dough, "bake_id", t.bake), (t.load, "bake_id", t.bake), (t.piece, "dough_id", t.dough),
    (t.piece, "load_id", t.load),
)  # fmt: skip


@dataclass(frozen=True)
class Finding:
    """One thing that is not as it should be."""

    about: str  # file, schema, belonging, value, photo or journal
    what: str  # a sentence
    remedy: str  # what to do


@dataclass(frozen=True, repr=False)
class StoreCheck(InLines):
    """What was looked at and what was found."""

    name: str  # of the workspace
    version: str  # of its schema; empty when it could not be read
    counts: dict[str, int]  # table -> rows that count
    photos: int  # picture files compared with their fingerprint
    findings: tuple[Finding, ...]  # empty when all is well

    @property
    def ok(self) -> bool:
        """Say whether nothing was found."""
        return not self.findings

    @property
    def checks(self) -> tuple[str, ...]:
        """Return the findings as sentences."""
        return tuple(f"{f.what} {f.remedy}" for f in self.findings)

    def __repr__(self) -> str:
        return f"<StoreCheck {self.name}: {len(self.findings)} findings>"

    def __str__(self) -> str:
        looked = ", ".join(
            words.plural(self.counts.get(name, 0), name)
            for name in ("trial", "bake", "dough", "piece", "reading")
        )
        first = f"{self.name} (schema {self.version or 'unknown'}): {looked}, "
        first += f"{words.plural(self.photos, 'photo')}."
        if self.ok:
            return f"{first}\nAll is well: the file, what belongs to what, values, photos, journal."
        return "\n".join([first, *(f"- {check}" for check in self.checks)])

    def to_frame(self) -> pd.DataFrame:
        """Return the findings: about, what, remedy."""
        rows = [(f.about, f.what, f.remedy) for f in self.findings]
        return pd.DataFrame(rows, columns=["about", "what", "remedy"])


def check_store(where: Store | str | Path) -> StoreCheck:
    """Look a workspace over: an open one, or that of a folder or address.

    Also one whose file is so damaged that it cannot be opened.
    """
    if not isinstance(where, Store):
        try:
            store = open_store(where, copy=False)
        except StoreError as exc:
            kept = None if "://" in str(where) else Path(where)
            return StoreCheck(str(where), "", {}, 0, (Finding("file", str(exc), _remedy(kept)),))
        try:
            return check_store(store)
        finally:
            store.close()
    findings: list[Finding] = []
    version, counts, photos = "", dict[str, int](), 0
    try:
        with where.reading() as connection:
            version = connection.scalar(select(t.stamp.c.version_num)) or ""
            damage = list(_file(connection, _remedy(where.folder)))
            findings += damage
            if not damage:  # what a damaged file says means little
                rows = _rows(connection)
                counts = {n: sum(r.deleted is None for r in some) for n, some in rows.items()}
                findings += _belonging(connection, rows)
                findings += _values(connection)
                findings += [Finding("journal", *f) for f in journal_findings(connection, rows)]
                photos, wrong = _photos(where, rows["photo"])
                findings += wrong
    except StoreError as exc:
        findings.append(Finding("file", str(exc), _remedy(where.folder)))
    return StoreCheck(where.name, version, counts, photos, tuple(findings))


def _remedy(folder: Path | None) -> str:
    kept = folder is not None and copies(folder)
    return _GO_BACK.format(folder=folder) if kept else _NO_COPY


def _file(connection: Connection, remedy: str) -> Iterator[Finding]:
    """Ask SQLite itself; other databases look after themselves."""
    if connection.dialect.name != "sqlite":
        return
    for (said,) in connection.exec_driver_sql("PRAGMA integrity_check(20)"):
        if said != "ok":
            yield Finding("file", f"The file is damaged: {said}.", remedy)
    lost = connection.exec_driver_sql("PRAGMA foreign_key_check").fetchall()
    for table in sorted({row[0] for row in lost}):
        count = sum(row[0] == table for row in lost)
        yield Finding("belonging", f"{count} rows of {table} belong to nothing.", remedy)


def _rows(connection: Connection) -> dict[str, list[Any]]:
    """Return the rows of every table the journal keeps: the few columns that are needed."""
    rows = {}
    for name, table in t.TABLES.items():
        wanted = [table.c.id, table.c.deleted]
        wanted += [c for c in table.c if c.name in ("level", "target_id", "path", "sha256")]
        rows[name] = list(connection.execute(select(*wanted)))
    return rows


def _belonging(connection: Connection, rows: dict[str, list[Any]]) -> Iterator[Finding]:
    """Things that count below something that was taken out, and values of nothing."""
    for table, column, parent in _PARENTS:
        query = select(table.c.id).join_from(table, parent, table.c[column] == parent.c.id)
        lost = connection.scalars(query.where(there(table), ~there(parent))).all()
        if lost:
            what = f"{len(lost)} {table.name}s belong to a {parent.name} that was taken out."
            yield Finding("belonging", what, "Undo the removal, or take them out as well.")
    known = {level: {row.id for row in rows[level]} for level in (*TABLE_OF, "trial")}
    for name in ("reading", "event", "photo"):
        lost_rows = [
            row for row in rows[name]
            if row.deleted is None and row.target_id is not None
            and row.target_id not in known.get(row.level, ())
        ]  # fmt: skip
        if lost_rows:
            what = f"{len(lost_rows)} {name}s belong to nothing that exists."
            yield Finding("belonging", what, "They do no harm; put back a copy if you miss them.")


def _values(connection: Connection) -> Iterator[Finding]:
    """Values that cannot be, and quantities nobody knows."""
    known = quantities.all_quantities(series=True)
    own = {q.name: q for q in (*known, *trials.own_quantities(connection))}
    r = t.reading.c
    query = (
        select(r.quantity, r.value, r.level, r.target_id, t.trial.c.name)
        .join_from(t.reading, t.trial, r.trial_id == t.trial.c.id)
        .where(there(t.reading), r.value.is_not(None))
    )
    strange: dict[str, int] = {}
    for name, value, level, target, trial in connection.execute(query):
        if name not in own:
            strange[name] = strange.get(name, 0) + 1
            continue
        try:
            own[name].check(value)
        except InputError as exc:
            called = _called(connection, level, target)
            yield Finding(
                "value", f"{trial}: {own[name].label} of {level} {called} is {value:g}, "
                f"which {exc.rule}.", f"{exc.remedy} An empty value takes it back.".strip(),
            )  # fmt: skip
    for name, count in strange.items():
        what = f"{count} values of {name}, which is no quantity this kit knows."
        yield Finding(
            "value", what, "Add it with Workspace.add_quantity, or install the newer kit."
        )


def _called(connection: Connection, level: str, target: str) -> str:
    if level not in TABLE_OF:
        return target
    return str(connection.scalar(select(CODE_OF[level]).where(TABLE_OF[level].c.id == target)))


def _photos(store: Store, rows: list[Any]) -> tuple[int, list[Finding]]:
    """Compare picture files with their fingerprints."""
    compared, wrong = 0, []
    for row in rows:
        if row.deleted is not None or not row.path or store.folder is None:
            continue
        compared += 1
        try:
            with (store.folder / row.path).open("rb") as file:
                if hashlib.file_digest(file, "sha256").hexdigest() == row.sha256:
                    continue
            what = f"The photo {row.path} was altered since it was added."
            remedy = "Put the original back; what was measured on it may no longer fit."
        except OSError:
            what = f"The photo {row.path} is missing."
            remedy = "Put the file back where it was, or take the photo out."
        wrong.append(Finding("photo", what, remedy))
    return compared, wrong
