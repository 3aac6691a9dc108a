"""What a package's rows say: every value possible, every reference to something that is there.

The rules are those the kit's own verbs keep; a package that a kit wrote breaks none of them.
"""

import json
import re
from collections.abc import Callable, Sequence
from datetime import datetime
from functools import partial
from typing import Any

from kit.errors import InputError, NotFoundError
from kit.formula import Formula, Ingredient
from kit.quantities import LEVELS, Quantity
from kit.records.bench.stages import STAGES
from kit.records.journal import Row
from kit.records.package.own import meet
from kit.records.package.read import Arrival, where_of
from kit.records.package.rows import PACKED, columns_of
from kit.records.package.safe_zip import safe_name
from kit.records.photos.measured_by import MeasuredBy
from kit.records.readings import HOW, STAGE, check_kind
from kit.records.tastings.store import check_plate
from kit.records.typed import margin, moment, text, zone

__all__ = ["check_package"]

_ID, _SHA256 = re.compile(r"[0-9A-Za-z-]{8,64}"), re.compile(r"[0-9a-f]{64}")
_DOUBTS = 50

#: table -> columns that hold typed text: how long it may be, and whether something must stand there
_TEXTS = {
    "trial": {"name": (80, True), "question": (500, False), "baker": (200, False)},
    "formula": {"name": (200, True), "note": (2000, False)},
    "ingredient": {"name": (200, True), "note": (2000, False)},
    "lot": {"kind": (40, True), "code": (80, True), "note": (2000, False)},
    "bake": {"code": (40, True), "note": (2000, False)},
    "dough": {"code": (40, True), "note": (2000, False)},
    "piece": {"code": (40, True), "blind": (2000, False)},
    "photo": {"path": (500, False), "taken": (40, False), "shows": (200, False)},
    "reading": {"note": (2000, False)},
    "event": {"text": (2000, False)},
    "taster": {"name": (200, True)},
}
#: of these no two rows may be alike
_ALONE = {
    "factor": ("quantity",), "ingredient": ("position",), "lot": ("kind", "code"),
    "bake": ("code",), "dough": ("bake_id", "code"), "load": ("bake_id", "position"),
    "piece": ("dough_id", "code"), "taster": ("name",),
}  # fmt: skip


def check_package(arrival: Arrival) -> dict[str, Quantity]:
    """Check all rows; return what each quantity of the package is here.

    Raises DataError: lists every problem.
    """
    met = meet(arrival)
    arrival.stop()
    ids = _references(arrival)
    arrival.stop()
    for table, columns in _TEXTS.items():
        _each(arrival, table, partial(_texts, columns))
    for table, columns_alone in _ALONE.items():
        _alone(arrival, table, columns_alone)
    _trial(arrival, met)
    _formula(arrival)
    _griddle(arrival)
    targets = {level: ids[level] for level in LEVELS} | {"trial": ids["trial"]}
    doubts: list[str] = []
    _each(arrival, "reading", lambda row: _reading(row, met, targets, doubts))
    _each(arrival, "event", lambda row: _event(row, targets))
    _each(arrival, "photo", lambda row: _photo(row, targets))
    _each(arrival, "tasting", _tasting)
    arrival.stop()
    arrival.notes += doubts[:_DOUBTS]
    if len(doubts) > _DOUBTS:
        arrival.notes.append(f"and {len(doubts) - _DOUBTS} more values that are unusual")
    return met


def _each(arrival: Arrival, table: str, check: Callable[[Row], None]) -> None:
    """Check every row of a table; what is wrong with one does not hide the next."""
    for row in arrival.rows[table]:
        try:
            check(row)
        except InputError as exc:
            where = where_of(table, row)
            arrival.problem(where, exc.field, exc.value, exc.rule, exc.remedy)
        except NotFoundError as exc:
            where = where_of(table, row)
            known = ", ".join(exc.known[:12])
            arrival.problem(where, exc.kind, exc.name, f"is not known. There are: {known}")


def _references(arrival: Arrival) -> dict[str, set[str]]:
    """Check that ids are ids and there once, and that what is referred to is there."""
    ids: dict[str, set[str]] = {}
    seen: set[str] = set()
    for table in PACKED:
        for row in arrival.rows[table.name]:
            own = row["id"]
            if not _ID.fullmatch(own) or own in seen:
                rule = "must be letters and digits, and no other row's"
                arrival.problem(where_of(table.name, row), "id", own, rule)
            seen.add(own)
        ids[table.name] = {row["id"] for row in arrival.rows[table.name]}
        for column in columns_of(table):
            if not column.foreign_keys:
                continue
            other = next(iter(column.foreign_keys)).column.table.name
            for row in arrival.rows[table.name]:
                given = row[column.name]
                if given is not None and given not in ids[other]:
                    rule = f"must be the id of a row in {other}.csv"
                    arrival.problem(where_of(table.name, row), column.name, given, rule)
    heads = len(ids["trial"])
    if heads != 1 or len(arrival.rows["trial"]) != 1:
        arrival.problem("trial.csv", "rows", len(arrival.rows["trial"]), "must be one: the trial")
    if len(arrival.rows["formula"]) > 1:
        arrival.problem("formula.csv", "rows", len(arrival.rows["formula"]), "must be one at most")
    return ids


def _texts(columns: dict[str, tuple[int, bool]], row: Row) -> None:
    for name, (longest, needed) in columns.items():
        if row[name] is None:
            continue
        row[name] = text(name, row[name], longest=longest, needed=needed)


def _alone(arrival: Arrival, table: str, names: Sequence[str]) -> None:
    seen: set[tuple[Any, ...]] = set()
    for row in arrival.rows[table]:
        key = tuple(row[name] for name in names)
        if key in seen:
            rule = f"must be alone in {table}.csv, by {' and '.join(names)}"
            arrival.problem(where_of(table, row), names[-1], key[-1], rule)
        seen.add(key)


def _known(name: str, met: dict[str, Quantity]) -> Quantity:
    if name not in met:
        raise InputError("quantity", name, "must be explained in quantity.csv")
    return met[name]


def _trial(arrival: Arrival, met: dict[str, Quantity]) -> None:
    def head(row: Row) -> None:
        zone(row["zone"])
        row["created"] = _when("created", row["created"])
        margin("matters", row["matters"])
        if row["outcome"] is not None:
            row["outcome"] = _known(row["outcome"], met).name

    def factor(row: Row) -> None:
        quantity, settings = _known(row["quantity"], met), row["settings"]
        row["quantity"] = quantity.name
        numbers = isinstance(settings, list) and all(type(s) in (int, float) for s in settings)
        if not numbers or len(set(settings)) != len(settings) or not 2 <= len(settings) <= 1000:
            raise InputError("settings", settings, "must be two or more numbers, none twice")
        for setting in settings:
            quantity.check(float(setting))

    _each(arrival, "trial", head)
    _each(arrival, "factor", factor)
    lots = {row["id"]: row["kind"] for row in arrival.rows["lot"]}

    def bake(row: Row) -> None:
        zone(row["zone"])
        for kind in ("flour", "yeast"):
            name = f"{kind}_lot_id"
            lot = row[name]
            if lot is not None and lots[lot] != kind:
                raise InputError(name, lot, f"must be a lot of {kind}")

    _each(arrival, "bake", bake)


def _formula(arrival: Arrival) -> None:
    """Check the formula as one typed here is checked."""
    lines: list[Ingredient] = []

    def line(row: Row) -> None:
        lines.append(Ingredient(row["name"], row["role"], row["percent"], note=row["note"]))

    _each(arrival, "ingredient", line)
    if len(lines) < len(arrival.rows["ingredient"]):
        return  # told already

    def whole(row: Row) -> None:
        Formula(row["name"], tuple(lines), row["note"])

    _each(arrival, "formula", whole)


def _griddle(arrival: Arrival) -> None:
    """Check that pieces lie on loads of their own bake, one on a place."""
    bake_of = {row["id"]: row["bake_id"] for t in ("dough", "load") for row in arrival.rows[t]}
    places: set[tuple[str, int]] = set()

    def piece(row: Row) -> None:
        load, place = row["load_id"], row["place"]
        if load is None:
            if place is not None:
                raise InputError("place", place, "needs a load")
            return
        if bake_of[load] != bake_of[row["dough_id"]]:
            raise InputError("load_id", load, "must be a load of the bake its dough is of")
        if place is not None:
            if not 1 <= place <= 100_000 or (load, place) in places:
                raise InputError("place", place, "must be from 1, and no other piece's")
            places.add((load, place))

    _each(arrival, "piece", piece)


def _when(name: str, value: str) -> str:
    return moment(name, value, "UTC")


def _target(row: Row, targets: dict[str, set[str]]) -> None:
    if row["level"] not in targets:
        raise InputError("level", row["level"], f"must be one of {', '.join(targets)}")
    if row["target_id"] not in targets[row["level"]]:
        raise InputError("target_id", row["target_id"], f"must be a {row['level']}'s id")


def _reading(
    row: Row, met: dict[str, Quantity], targets: dict[str, set[str]], doubts: list[str]
) -> None:
    _target(row, targets)
    quantity = _known(row["quantity"], met)
    if quantity.level != row["level"]:
        raise InputError("level", row["level"], f"must be {quantity.level} for {quantity.name}")
    if row["how"] not in HOW:
        raise InputError("how", row["how"], f"must be one of {', '.join(HOW)}")
    if row["value"] is None:
        raise InputError("value", None, "must not be empty")
    checked = quantity.check(row["value"])
    margin("u", row["u"])
    row["quantity"], row["at"] = quantity.name, _when("at", row["at"])
    if checked.doubt:
        doubt = checked.doubt.removesuffix(" Is it right?").removesuffix(".")
        doubts.append(f"reading.csv row {row['row']}: {doubt}")


def _event(row: Row, targets: dict[str, set[str]]) -> None:
    _target(row, targets)
    row["at"] = _when("at", row["at"])
    if not row["kind"].startswith(STAGE):
        row["kind"] = check_kind(row["kind"])
    elif row["kind"].removeprefix(STAGE) not in STAGES.get(row["level"], ()):
        raise InputError("kind", row["kind"], f"is no stage of a {row['level']}")
    elif row["text"]:  # when it was written down, which is not when it was
        row["text"] = _when("text", row["text"])


def _photo(row: Row, targets: dict[str, set[str]]) -> None:
    if row["level"] is not None or row["target_id"] is not None:
        _target(row, targets)
    for name in ("sha256", "original_sha256"):
        if not _SHA256.fullmatch(row[name]):
            raise InputError(name, row[name], "must be a SHA-256, 64 hexadecimal digits")
    if row["path"] and (wrong := safe_name(row["path"])):
        raise InputError("path", row["path"], wrong)
    if row["measured_by"] is not None:
        MeasuredBy.from_row(row["measured_by"])
    if row["taken"] is not None:
        try:
            datetime.fromisoformat(row["taken"])
        except ValueError as exc:
            raise InputError("taken", row["taken"], "is not a point in time") from exc


def _tasting(row: Row) -> None:
    row["at"] = _when("at", row["at"])
    for name in ("samples", "answer"):
        if len(json.dumps(row[name])) > 100_000:
            raise InputError(name, "…", "must be shorter")
    check_plate(row["method"], row["samples"], row["answer"])
