"""Whether the journal and the rows it tells of agree."""

from collections.abc import Iterator, Mapping
from typing import Any

from sqlalchemy import Connection, select

from kit.records.tables import TABLES, change

__all__ = ["journal_findings"]

_COPY = "Undoing may not work there. What is recorded can be read and exported as before."


def journal_findings(
    connection: Connection, rows: Mapping[str, list[Any]]
) -> Iterator[tuple[str, str]]:
    """Yield what does not agree, and what to do; `rows` are those of every table, by its name."""
    added: dict[str, set[str]] = {name: set() for name in TABLES}
    out: dict[str, set[str]] = {name: set() for name in TABLES}  # added and undone, or deleted
    steps: dict[str, list[bool]] = {}
    told: set[str] = set()
    strange = 0
    columns = (change.c.step, change.c.says, change.c.table, change.c.row_id, change.c.what,
               change.c.after, change.c.undone)  # fmt: skip
    for line in connection.execute(select(*columns).order_by(change.c.seq)):
        steps.setdefault(line.step, []).append(line.undone is not None)
        if line.says is not None:
            told.add(line.step)
        if line.table not in TABLES or line.what not in ("add", "change", "delete"):
            strange += 1
            continue
        ids = [line.row_id] if line.row_id else (line.after or {}).get("ids", [])
        if line.what == "add":
            added[line.table].update(ids)
        if (line.what == "add" and line.undone) or (line.what == "delete" and not line.undone):
            out[line.table].update(ids)
    if strange:
        yield f"{strange} lines of the journal tell of what this kit does not know.", _COPY
    half = sum(any(undone) and not all(undone) for undone in steps.values())
    if half:
        yield f"{half} steps of the journal are undone by half.", _COPY
    silent = sum(step not in told for step in steps)
    if silent:
        yield f"{silent} steps of the journal do not say what was done.", _COPY
    for name, some in rows.items():
        have = {row.id for row in some}
        if missing := len(added[name] - have):
            yield f"The journal tells of {missing} rows of {name} that are not there.", _COPY
        if unknown := len(have - added[name]):
            yield f"{unknown} rows of {name} stand in no line of the journal.", _COPY
        marked = {row.id for row in some if row.deleted is not None}
        if differ := len((marked ^ out[name]) & have & added[name]):
            yield f"{differ} rows of {name} are taken out or not, unlike the journal says.", _COPY
