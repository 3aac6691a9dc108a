"""Storing the rows of a checked table: what is there already is found by its codes.

How, and what becomes of values that are there, is told at `Trial.bring_in`. Pieces without a code
are numbered whether their row can be used or not, so that a corrected file finds them again.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from kit import quantities
from kit.errors import InputError
from kit.records import tables as t
from kit.records.journal import Row, Step, new_id
from kit.records.sheets.check import Sheet, named
from kit.records.sheets.known import Known
from kit.records.sheets.table import Problem
from kit.records.structure import lot_id
from kit.records.things import TABLE_OF

__all__ = ["Tally", "store_lines"]

#: how many changes are told one by one
TOLD = 200


@dataclass
class Tally:
    """What came of it."""

    rows: set[int] = field(default_factory=set)  # stored whole
    # level -> things made
    new: dict[str, int] = field(default_factory=lambda: dict.fromkeys(TABLE_OF, 0))
    values: int = 0  # readings recorded, the first of their quantity on their thing
    same: int = 0  # values that were recorded before the table came in
    # (id of a thing, quantity): what it tells, each counted once: a dough's value stands on all of
    # its rows
    met: set[tuple[str, str]] = field(default_factory=set)
    changed: int = 0  # values and other entries that replaced different ones
    told: list[str] = field(default_factory=list)  # the changes in words, the first `TOLD` of them
    # of rows that the records themselves do not let in
    problems: list[Problem] = field(default_factory=list)

    def change(self, words: str) -> None:
        """Note that something recorded is different now."""
        self.changed += 1
        if len(self.told) < TOLD:
            self.told.append(words)


class _Batch:
    """Rows on their way into one step, gathered by table."""

    def __init__(self, step: Step, trial_id: str, zone: str, known: Known, tally: Tally) -> None:
        self.step, self.trial_id, self.zone = step, trial_id, zone
        self.known, self.tally = known, tally
        self.made: dict[str, list[Row]] = {level: [] for level in TABLE_OF}
        self.readings: list[Row] = []
        self.events: list[Row] = []
        self.moves: list[tuple[str, Row]] = []
        self.new_pieces: dict[str, Row] = {}

    def bake(self, code: str, about: dict[str, Any], row: int) -> None:
        """Make a bake, or correct what is known of it."""
        said = {name: value for name, value in about.items() if value is not None}
        bake_id = self.known.ids["bake"].get(code)
        if bake_id is None:
            columns = {"day": None, "flour_lot_id": None, "yeast_lot_id": None}
            made = {"trial_id": self.trial_id, "code": code, "zone": self.zone, "note": ""}
            self._make("bake", code, self.trial_id, made | columns | self._bake_columns(said))
            self.known.about_bake[code] = dict.fromkeys(about) | said
            return
        old = self.known.about_bake[code]
        for name, value in said.items():
            if value != old[name]:
                if old[name] is not None:
                    self.tally.change(f"row {row}, bake {code}: {name} {old[name]} → {value}")
                old[name] = value
                self.moves.append((bake_id, self._bake_columns({name: value})))

    def _bake_columns(self, said: dict[str, Any]) -> Row:
        """Return what is said of a bake as its table keeps it; new lots become known."""
        columns = {}
        for name, value in said.items():
            if name == "day":
                columns["day"] = value
            else:
                columns[f"{name}_id"], _ = lot_id(self.step, name.removesuffix("_lot"), value)
        return columns

    def dough(self, key: tuple[str, str]) -> None:
        """Make a dough that is new."""
        if key not in self.known.ids["dough"]:
            bake_id = self.known.ids["bake"][key[0]]
            self._make("dough", key, bake_id, {"bake_id": bake_id, "code": key[1], "note": ""})

    def load(self, key: tuple[str, int]) -> str:
        """Return a load's id, made when new; its number is its position."""
        found = self.known.ids["load"].get(key)
        if found is None:
            row = {"id": new_id(), "bake_id": self.known.ids["bake"][key[0]], "position": key[1]}
            found = self._add("load", key, row)
        return found

    def piece(self, key: Any, load_id: str | None, place: int | None, row: int) -> str:
        """Return a piece's id; make it, or put it where the row says it lies."""
        known, found = self.known, self.known.ids["piece"].get(key)
        if found is None:
            dough_id = known.ids["dough"][key[0]]
            columns = {"load_id": load_id, "place": place, "blind": None}
            made = {"dough_id": dough_id, "code": key[1], **columns}
            found = self._make("piece", key, dough_id, made)
            known.put(found, load_id, place)
            self.new_pieces[found] = self.made["piece"][-1]
        elif load_id is not None:
            old = known.lies[found]
            # a row that names the load alone leaves the place as it is
            now = (load_id, old[1] if place is None and old[0] == load_id else place)
            if now != old:
                if old[0] is not None:
                    self.tally.change(f"row {row}, piece {key[1]}: lies elsewhere on the griddle")
                known.put(found, *now)
                columns = {"load_id": now[0], "place": now[1]}
                if found in self.new_pieces:
                    self.new_pieces[found].update(columns)
                else:
                    self.moves.append((found, columns))
        return found

    def _make(self, level: str, key: Any, above: str, row: Row) -> str:
        position = self.known.next_position(level, above)
        return self._add(level, key, {"id": new_id(), "position": position, **row})

    def _add(self, level: str, key: Any, row: Row) -> str:
        self.made[level].append(row)
        self.known.ids[level][key] = row["id"]
        self.tally.new[level] += 1
        return str(row["id"])

    def value(self, level: str, key: Any, name: str, value: float, row: int) -> None:
        """Record a value unless it is the newest already."""
        target = self.known.ids[level][key]
        old = self.known.newest.get((target, name))
        first = (target, name) not in self.tally.met
        self.tally.met.add((target, name))
        if old == value:
            self.tally.same += first
            return
        if old is None:
            self.tally.values += 1
        else:
            quantity = quantities.get(name)
            shown = quantity.show(old), quantity.show(value)
            if shown[0] == shown[1]:
                shown = f"{old:.12g}", f"{value:.12g}"
            said = f"{quantity.label} {shown[0]} → {shown[1]}"
            self.tally.change(f"row {row}, {named(level, key)}: {said}")
        self.known.newest[target, name] = value
        self.readings.append(
            {"id": new_id(), "trial_id": self.trial_id, "level": level, "target_id": target,
             "quantity": name, "value": value, "u": None, "how": "entered", "at": self.step.at,
             "photo_id": None, "note": None}
        )  # fmt: skip

    def event(self, piece_id: str, kind: str) -> None:
        """Note what happened to a piece, once."""
        if (piece_id, kind) not in self.known.happened:
            self.known.happened.add((piece_id, kind))
            self.events.append(
                {"id": new_id(), "trial_id": self.trial_id, "level": "piece",
                 "target_id": piece_id, "kind": kind, "text": "", "at": self.step.at}
            )  # fmt: skip

    def write(self) -> None:
        """Store everything, parents first; places are left before others take them."""
        for level in ("bake", "dough", "load"):
            self.step.add_all(TABLE_OF[level], self.made[level])
        for row_id, values in self.moves:
            self.step.change(t.piece if "load_id" in values else t.bake, row_id, values)
        self.step.add_all(t.piece, self.made["piece"])
        self.step.add_all(t.reading, self.readings)
        self.step.add_all(t.event, self.events)


def store_lines(
    step: Step,
    trial_id: str,
    zone: str,
    sheet: Sheet,
    lines: Iterable[int],
    known: Known,
    tally: Tally,
) -> None:
    """Store some lines of a checked table, none with a problem, in one step.

    `lines` are places in `Sheet.rows`; new bakes were baked in `zone`; `known` is kept up and
    `tally` counts on.
    """
    batch = _Batch(step, trial_id, zone, known, tally)
    columns = [(quantities.get(name), column) for name, column in sheet.values.items()]
    about_bake = [(name, column) for name, column in sheet.about_bake.items()]
    for i in lines:
        row, key = sheet.rows[i], {level: sheet.keys[level][i] for level in TABLE_OF}
        if taken := _taken(known, key, sheet.places[i], row):
            tally.problems.append(Problem(row, taken))
            continue
        batch.bake(key["bake"], {name: column[i] for name, column in about_bake}, row)
        if key["dough"] is not None:
            batch.dough(key["dough"])
        load_id = None if key["load"] is None else batch.load(key["load"])
        if key["piece"] is not None:
            piece_id = batch.piece(key["piece"], load_id, sheet.places[i], row)
            for kind in sheet.kinds[i]:
                batch.event(piece_id, kind)
        for quantity, column in columns:
            value = column[i]
            if value is not None:
                batch.value(quantity.level, key[quantity.level], quantity.name, value, row)
        tally.rows.add(row)
    batch.write()


def _taken(known: Known, key: dict[str, Any], place: int | None, row: int) -> InputError | None:
    """Return the problem of a place another piece of the records lies on."""
    load_id = known.ids["load"].get(key["load"])
    if load_id is None or place is None:
        return None
    on_it = known.on_griddle.get((load_id, place))
    if on_it is None or on_it == known.ids["piece"].get(key["piece"]):
        return None
    return InputError(
        "place", place, "is taken by another piece in the records",
        "Move that piece first, or write another place.", f"row {row}",
    )  # fmt: skip
