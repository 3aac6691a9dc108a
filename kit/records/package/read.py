"""A package that arrived, as rows: the right files, the right columns, each cell of its kind.

What the rows say is looked at afterwards, in `package.check`. Problems are gathered, so that they
are told at once; the addresses ``datapackage.json`` may name are never asked.
"""

import csv
import json
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from kit.errors import DataError, InputError
from kit.records.journal import Row
from kit.records.package.cells import LONGEST, read_cell
from kit.records.package.rows import PACKED, Rows
from kit.records.package.safe_zip import SafeZip, safe_name
from kit.records.package.schema import FORMAT, QUANTITY_COLUMNS, cell_kinds, resource_name
from kit.records.tables import VERSIONS
from kit.words import plural

__all__ = ["Arrival", "read_package", "where_of"]

_SHOWN, _ENOUGH = 20, 500
_MAX_ROWS = 500_000


@dataclass
class Arrival:
    """A package on its way in."""

    name: str  # the file, as it is called in messages
    # table -> rows; every row has under ``"row"`` where it stands in its file
    rows: Rows = field(default_factory=dict)
    problems: list[InputError] = field(default_factory=list)  # what keeps it out
    notes: list[str] = field(default_factory=list)  # what was left out, and what is unusual

    def problem(self, where: str, name: str, value: object, rule: str, remedy: str = "") -> None:
        """Note a problem; after some hundred nobody reads on."""
        self.note(InputError(name, value, rule, remedy, where))

    def note(self, exc: InputError) -> None:
        """Note a problem that was raised."""
        self.problems.append(exc)
        if len(self.problems) >= _ENOUGH:
            self.stop()

    def stop(self) -> None:
        """Refuse the package if there is any problem.

        Raises DataError: lists the problems.
        """
        if not self.problems:
            return
        count = plural(len(self.problems), "problem")
        if len(self.problems) >= _ENOUGH:
            count = f"{_ENOUGH} problems or more"
        lines = [f"{self.name} has {count}; nothing was stored. Row 1 is the heading."]
        lines += [str(problem) for problem in self.problems[:_SHOWN]]
        if len(self.problems) > _SHOWN:
            lines.append(f"and {len(self.problems) - _SHOWN} more")
        raise DataError("\n".join(lines))


def where_of(table: str, row: Row) -> str:
    """Return where a row stands, for messages."""
    return f"{table}.csv row {row['row']}"


def read_package(zipped: SafeZip) -> Arrival:
    """Read the rows of a package; nothing is stored.

    Raises DataError: it is no package of a bake trial, was made by a newer kit, or lacks what it
    should have; or cells are not of their kind.
    """
    package = _descriptor(zipped)
    paths = _paths(zipped, package)
    arrival = Arrival(zipped.path.name)
    tables: dict[str, dict[str, tuple[str, bool]]] = {"quantity": QUANTITY_COLUMNS}
    tables |= {table.name: cell_kinds(table) for table in PACKED}
    for name, columns in tables.items():
        path = _path(zipped, paths, resource_name(name))
        arrival.rows[name] = _rows(arrival, name, columns, zipped.lines(path))
    arrival.stop()
    return arrival


def _descriptor(zipped: SafeZip) -> dict[str, Any]:
    if "datapackage.json" not in zipped:
        zipped.refuse("is no data package: it has no datapackage.json")
    try:
        package = json.loads(zipped.text("datapackage.json", 20_000_000))
    except DataError:  # said in words already
        raise
    except (ValueError, RecursionError) as exc:
        zipped.refuse("has a datapackage.json that cannot be read as JSON", exc)
    kit = package.get("kit") if isinstance(package, dict) else None
    if not isinstance(kit, dict):
        text = (
            "is a data package, but not one of a bake trial. A table with one row a piece can be "
            "brought in with: python -m kit import"
        )
        zipped.refuse(text)
    number, schema = kit.get("format"), kit.get("schema")
    known = type(number) is int and 1 <= number <= FORMAT and schema in VERSIONS
    if not known:
        is_newer = (type(number) is int and number > FORMAT) or (
            isinstance(schema, str) and schema.isdigit() and int(schema[:9]) > int(VERSIONS[-1])
        )
        shown = f"format {str(number)[:20]}, schema {str(schema)[:20]}"
        if is_newer:
            text = (
                f"was written by a newer kit ({shown}; this one knows format {FORMAT}, schema "
                f"{VERSIONS[-1]}). Install the newer kit: pip install -U bake-trial-kit"
            )
            zipped.refuse(text)
        zipped.refuse(f"says it is of a kind that never was ({shown})")
    return {**package}


def _paths(zipped: SafeZip, package: dict[str, Any]) -> dict[str, Any]:
    """Return resource name -> path as it is said, unchecked."""
    resources = package.get("resources")
    if not isinstance(resources, list):
        zipped.refuse("has a datapackage.json that lists no files")
    paths: dict[str, Any] = {}
    for one in resources:
        if isinstance(one, dict) and isinstance(one.get("name"), str):
            if one["name"] in paths:
                zipped.refuse(f"describes {one['name'][:60]!r} twice")
            paths[one["name"]] = one.get("path")
    return paths


def _path(zipped: SafeZip, paths: dict[str, Any], name: str) -> str:
    """Return the path of a resource that is needed, if it is a file in the package."""
    if name not in paths:
        zipped.refuse(f"lacks the table {name!r}: its datapackage.json does not list it")
    path = paths[name]
    if not isinstance(path, str):
        zipped.refuse(f"does not say in one word where {name!r} is")
    if "://" in path:
        text = f"wants {name!r} fetched from elsewhere ({path[:60]!r}), and nothing is fetched"
        zipped.refuse(text)
    if wrong := safe_name(path):
        zipped.refuse(f"names a file for {name!r} that {wrong} ({path[:60]!r})")
    if path not in zipped:
        zipped.refuse(f"lacks the file {path[:60]!r} of the table {name!r}")
    return path


def _rows(
    arrival: Arrival, table: str, columns: dict[str, tuple[str, bool]], said: Iterator[str]
) -> list[Row]:
    lines = csv.reader(said, strict=True)
    out: list[Row] = []
    try:
        header = next(lines, [])
        known = _header(arrival, table, columns, header)
        absent = dict.fromkeys(columns.keys() - set(header))
        for number, line in enumerate(lines, start=2):
            if number > _MAX_ROWS:
                arrival.problem(f"{table}.csv", "row", number, f"must be at most {_MAX_ROWS}")
                break
            if not line:
                continue
            where = f"{table}.csv row {number}"
            if len(line) != len(header):
                rule = f"must be as many cells as the heading has ({len(header)})"
                arrival.problem(where, "row", len(line), rule)
                continue
            row: Row = {"row": number, **absent}
            for place, name in known:
                kind, optional = columns[name]
                try:
                    row[name] = read_cell(name, line[place], kind, optional, where)
                except InputError as exc:
                    arrival.note(exc)
                    row[name] = None
            out.append(row)
    except csv.Error as exc:
        limit = "field larger" in str(exc)
        rule = f"must be at most {LONGEST} characters long" if limit else "cannot be read as CSV"
        arrival.problem(f"{table}.csv row {lines.line_num}", "cell", "…", rule)
    return out


def _header(
    arrival: Arrival, table: str, columns: dict[str, tuple[str, bool]], header: list[str]
) -> list[tuple[int, str]]:
    """Return the places of the columns that are known; what is not known is left and said."""
    if len(header) > 200:
        arrival.problem(f"{table}.csv row 1", "columns", len(header), "must be at most 200")
        arrival.stop()
    for name in sorted({name for name in header if header.count(name) > 1}):
        arrival.problem(f"{table}.csv row 1", "column", name, "must be there once")
    # what may be missing in a row may be missing in all, as in a package of an older kit
    missing = [name for name, (_, may) in columns.items() if name not in header and not may]
    if missing:
        rule = f"must have the columns {', '.join(missing)}"
        arrival.problem(f"{table}.csv row 1", "heading", ", ".join(header)[:200], rule)
        arrival.stop()
    strange = [name for name in header if name not in columns]
    if strange:
        arrival.notes.append(f"left out of {table}.csv: {', '.join(strange)[:200]}, not known here")
    return [(place, name) for place, name in enumerate(header) if name in columns]
