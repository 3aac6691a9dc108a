"""``datapackage.json``: what each column of a package means, its type, unit and possible range.

Frictionless Data Package and Table Schema, version 1 (specs.frictionlessdata.io). They know no
unit of a field, so it stands in a property of its own and in the description.
"""

import math
import re
from collections.abc import Iterable
from typing import Any

import pandas as pd
from sqlalchemy import Column, Table

from kit import quantities
from kit.formula import ROLES
from kit.quantities import Quantity
from kit.records.frame import STRUCTURE
from kit.records.journal import Row
from kit.records.package.cells import guarded, kind_of
from kit.records.package.rows import columns_of
from kit.records.readings import HOW
from kit.records.tables import VERSION

__all__ = ["FORMAT", "QUANTITY_COLUMNS", "about_table", "cell_kinds", "descriptor", "piece_cells",
           "pieces_schema", "quantities_schema", "resource", "resource_name",
           "table_schema"]  # fmt: skip

#: how a package is laid out; a kit refuses one with a greater number
FORMAT = 1
#: column -> (kind, may be missing) of the table of quantities
QUANTITY_COLUMNS = {
    "name": ("text", False), "label": ("text", False), "unit": ("text", False),
    "level": ("text", False), "possible_low": ("number", True), "possible_high": ("number", True),
    "usual_low": ("number", True), "usual_high": ("number", True), "decimals": ("whole", False),
    "meaning": ("text", False), "whole": ("truth", False),
}  # fmt: skip
#: what a package's table of photos has more than the workspace's
PHOTO_COLUMNS = {"original_sha256": ("text", False)}

_TYPES = {"text": "string", "number": "number", "whole": "integer", "truth": "boolean",
          "day": "date", "json": "string"}  # fmt: skip
_TABLES = {
    "trial": "The question, what answers it, and who asks. One row.",
    "factor": "What was set on purpose, and to what.",
    "formula": "What the formula is called.",
    "ingredient": "What goes into the dough, in percent of the flour's weight.",
    "lot": "Bags of flour, yeast and other things, by the code on them.",
    "bake": "Sessions at the griddle.",
    "dough": "Batches mixed.",
    "load": "Fills of the griddle.",
    "piece": "Muffins.",
    "photo": "Pictures, without the place and the person they were taken at and by.",
    "reading": "Every value that counts, and what each photo told: of what, how it came, when.",
    "event": "What happened besides the plan.",
    "taster": "Who tasted.",
    "tasting": "What was tasted, and what was said.",
    "quantity": "What the columns and readings mean.",
}
_COLUMNS = {
    "id": "Tells this row from all others, in all kitchens.",
    "position": "Place in the order.",
    "code": "What it is called.",
    "note": "What the baker wrote down.",
    "percent": "Of the flour's weight; empty where the trial says. Unit: %.",
    "outcome": "The quantity that answers the question.",
    "matters": "Smallest difference of the outcome the baker cares about, in the outcome's unit.",
    "zone": "Time zone of the kitchen, by its IANA name.",
    "invented": "Whether the data are made up.",
    "created": "When the trial was begun.",
    "settings": "The values it was set to, a JSON list in the quantity's unit.",
    "day": "Date of the bake.",
    "place": "Place on the griddle, from 1.",
    "blind": "What it is called at a blind tasting.",
    "level": "What it belongs to: bake, dough, load, piece, or the trial itself.",
    "target_id": "The id of what it belongs to.",
    "path": "File in this package; empty where the picture is not in it.",
    "sha256": "SHA-256 of the file in this package; of the original where there is none.",
    "original_sha256": "SHA-256 of the picture as it was taken, before its notes were removed.",
    "taken": "When the picture was taken.",
    "shows": "What the picture shows.",
    "measured_by": "By what the picture was measured, as JSON: reference, shape, marks by hand.",
    "quantity": "Name of the quantity, explained in quantity.csv.",
    "value": "In the quantity's unit.",
    "u": "Standard uncertainty, in the quantity's unit.",
    "how": "How the value came: planned, entered, read from a photo, or computed.",
    "at": "When, in UTC.",
    "samples": "What was tasted, as JSON.",
    "answer": "What was answered, as JSON.",
    "unit": "Unit; empty for scores, shares and counts.",
    "possible_low": "A smaller value is impossible; empty for none.",
    "possible_high": "A greater value is impossible; empty for none.",
    "usual_low": "A smaller value is asked about; empty for none.",
    "usual_high": "A greater value is asked about; empty for none.",
    "whole": "Whether only whole numbers make sense.",
}
_ONE_OF: dict[tuple[str, str], tuple[str, ...]] = {
    ("ingredient", "role"): ROLES,
    ("reading", "how"): HOW,
    ("reading", "level"): quantities.LEVELS,
    ("quantity", "level"): quantities.LEVELS,
    ("event", "level"): ("trial", *quantities.LEVELS),
}
_STRUCTURE = {
    "bake": ("string", "Session at the griddle."), "day": ("date", "Date of the bake."),
    "dough": ("string", "Batch mixed."), "load": ("integer", "Fill of the griddle, in order."),
    "piece": ("string", "The muffin."), "place": ("integer", "Place on the griddle."),
    "flour_lot": ("string", "Bag of flour."), "yeast_lot": ("string", "Packet of yeast."),
    "events": ("string", "What happened to the piece, its load, dough and bake."),
}  # fmt: skip


def cell_kinds(table: Table) -> dict[str, tuple[str, bool]]:
    """Return column -> (kind, may be missing) of one of the workspace's tables in a package."""
    kinds = {c.name: (kind_of(c), bool(c.nullable)) for c in columns_of(table)}
    return kinds | PHOTO_COLUMNS if table.name == "photo" else kinds


def resource_name(table: str) -> str:
    """Return the name of a table's resource."""
    return f"record-{table}"


def _field(name: str, type_: str, about: str, unit: str = "", **rules: Any) -> Row:
    said = f"{about} Unit: {unit}." if unit else about
    field: Row = {"name": name, "type": type_, "title": name.replace("_", " ").capitalize()}
    if said:
        field["description"] = said
    if unit:
        field["unit"] = unit
    if rules:
        field["constraints"] = rules
    return field


def _schema(fields: list[Row], key: list[str], others: list[Row] | None = None) -> Row:
    schema: Row = {"fields": fields, "missingValues": [""], "primaryKey": key}
    if others:
        schema["foreignKeys"] = others
    return schema


def table_schema(table: Table) -> Row:
    """Return the Table Schema of one of the workspace's tables as a package has it."""
    fields = [_record_field(table, column) for column in columns_of(table)]
    if table.name == "photo":
        fields += [_field(n, _TYPES[k], _COLUMNS[n]) for n, (k, _) in PHOTO_COLUMNS.items()]
    others = [
        _refers(column.name, next(iter(column.foreign_keys)).column.table.name, "id")
        for column in columns_of(table)
        if column.foreign_keys
    ]
    if "quantity" in table.c:
        others.append(_refers("quantity", "quantity", "name"))
    return _schema(fields, ["id"], others)


def _refers(field: str, table: str, to: str) -> Row:
    return {"fields": [field], "reference": {"resource": resource_name(table), "fields": [to]}}


def _record_field(table: Table, column: Column[Any]) -> Row:
    name, kind = column.name, kind_of(column)
    of = name.removesuffix("_id")
    about = _COLUMNS.get(name) or (f"The id of its {of.replace('_', ' ')}." if of != name else "")
    type_ = "datetime" if name in ("at", "created") else _TYPES[kind]
    rules: Row = {}
    if not column.nullable and (kind != "text" or name in ("id", "quantity", "how")):
        rules["required"] = True
    if (table.name, name) in _ONE_OF:
        rules["enum"] = list(_ONE_OF[table.name, name])
    if kind == "whole":
        rules["minimum"] = 1
    if name in ("u", "percent", "matters"):
        rules["minimum"] = 0
    return _field(name, type_, about, "%" if name == "percent" else "", **rules)


def quantities_schema() -> Row:
    """Return the Table Schema of the table of quantities."""
    fields = []
    for name, (kind, optional) in QUANTITY_COLUMNS.items():
        rules: Row = {} if optional or name in ("unit", "meaning") else {"required": True}
        if ("quantity", name) in _ONE_OF:
            rules["enum"] = list(_ONE_OF["quantity", name])
        fields.append(_field(name, _TYPES[kind], _COLUMNS.get(name, ""), **rules))
    return _schema(fields, ["name"])


def pieces_schema(frame: pd.DataFrame) -> Row:
    """Return the Table Schema of ``pieces.csv``: one row a piece, the units beside the columns."""
    return _schema([_piece_field(str(column)) for column in frame], ["bake", "dough", "piece"])


def _piece_field(name: str) -> Row:
    if name in _STRUCTURE:
        type_, about = _STRUCTURE[name]
        needed: Row = {"required": True} if name in ("bake", "dough", "piece") else {}
        return _field(name, type_, about, **needed)
    quantity = quantities.find(name)
    if quantity is None:
        return _field(name, "number", "Nothing is known about this quantity any more.")
    return _quantity_field(quantity)


def _quantity_field(quantity: Quantity) -> Row:
    # what is computed from possible values may itself be what nobody would call possible
    ends = (-math.inf, math.inf) if quantity.formula else quantity.possible
    rules = {
        name: end
        for name, end in zip(("minimum", "maximum"), ends, strict=True)
        if math.isfinite(end)
    }
    type_ = "integer" if quantity.whole else "number"
    field = _field(quantity.name, type_, quantity.meaning, quantity.unit, **rules)
    return {**field, "title": quantity.label}


def resource(name: str, path: str, content: bytes, digest: str, about: Row, schema: Row) -> Row:
    """Return the description of one CSV file."""
    return {
        "name": name, "path": path, "profile": "tabular-data-resource", **about,
        "format": "csv", "mediatype": "text/csv", "encoding": "utf-8",
        "bytes": len(content), "hash": f"sha256:{digest}", "schema": schema,
    }  # fmt: skip


def about_table(table: str) -> Row:
    """Return title and description of a table."""
    return {"title": table.capitalize(), "description": _TABLES.get(table, "")}


def descriptor(head: Row, now: str, licence: str | None, resources: Iterable[Row]) -> Row:
    """Return the whole of ``datapackage.json``, of the trial's row (`head`) and its files.

    `now` is when it is written, ISO 8601; `licence` as the baker says it (a code, an address or
    words; none where empty); `resources` are from `resource`.
    """
    invented = bool(head["invented"])
    slug = re.sub(r"[^a-z0-9]+", "-", head["name"].lower()).strip("-") or "trial"
    mark = "INVENTED data: made up to show how this works. " if invented else ""
    package: Row = {
        "profile": "data-package", "name": slug, "id": head["id"],
        "title": f"{'INVENTED: ' if invented else ''}{head['name']}",
        "description": mark + head["question"], "created": now, "invented": invented,
        "keywords": ["baking", "experiment", *(["invented"] if invented else [])],
        "kit": {"format": FORMAT, "schema": VERSION},
    }  # fmt: skip
    if head["baker"]:
        package["contributors"] = [{"title": head["baker"], "role": "author"}]
    if licence:
        package["licenses"] = [_licence(licence)]
    return {**package, "resources": list(resources)}


def _licence(said: str) -> Row:
    if re.fullmatch(r"[-a-zA-Z0-9._]+", said):
        return {"name": said}
    if said.startswith(("https://", "http://")):
        return {"name": "other", "path": said}
    return {"name": "other", "title": said}


def piece_cells(frame: pd.DataFrame) -> Iterable[list[str]]:
    """Yield the lines of ``pieces.csv``, heading first."""
    names = [str(column) for column in frame]
    whole = {"load", "place"} | {q.name for q in quantities.all_quantities() if q.whole}

    def cell(name: str, value: Any) -> str:
        if value is None or value != value:
            return ""
        if name == "day":
            return str(value.date().isoformat())
        if name in whole:
            return str(int(value))
        texts = name in STRUCTURE or name == "events"
        return guarded(str(value)) if texts else repr(float(value))

    yield names
    for row in frame.itertuples(index=False, name=None):
        yield [cell(name, value) for name, value in zip(names, row, strict=True)]
