"""A table as it is understood: which columns count, which lines are a piece, what they say.

Units, decimal marks and days are made plain on the way to a checked `Sheet`.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from functools import cached_property, partial
from typing import Any

from kit import quantities
from kit.errors import InputError
from kit.quantities import Quantity
from kit.records.frame import STRUCTURE
from kit.records.sheets import pieces
from kit.records.sheets.cells import date_order, decimal_mark, number_cell, read_day
from kit.records.sheets.check import Sheet, check
from kit.records.sheets.known import Known
from kit.records.sheets.table import Table
from kit.records.sheets.words import IGNORED, Column, guess, unit_fits

__all__ = ["Understood", "meant"]


@dataclass(frozen=True, repr=False)
class Understood:
    """A table, and what each of its columns means."""

    table: Table  # as it stands in the file
    columns: tuple[Column, ...]
    dates: str = ""  # "day/month" or "month/day", when the baker said so
    decimal: str = ""  # "comma" or "point", when the baker said so
    # what the trial has already: a long table may name things by code alone
    known: Known | None = None

    @property
    def name(self) -> str:
        """Return what the table is called, its sheet included."""
        table = self.table
        return f"{table.name}, sheet {table.sheet!r}" if table.sheet else table.name

    @property
    def long(self) -> bool:
        """Say whether each row is one value of one thing; else each row is a piece."""
        return {"quantity", "value"} <= {column.meaning for column in self.columns}

    @property
    def unfolded(self) -> bool:
        """Say whether each row holds several pieces."""
        return not self.long and pieces.holds_several(pieces.of_pieces(self.columns))

    @cached_property
    def counting(self) -> tuple[Column, ...]:
        """Return the columns as they count beside one another."""
        columns = pieces.of_pieces(self.columns)
        return pieces.beside_several(columns) if self.unfolded else pieces.one_each(columns)

    @cached_property
    def lines(self) -> list[tuple[int, int]]:
        """Return the lines that count, one a piece: place of the row, and which piece of it.

        Of a row with several, those something is measured of; the first where nothing is.
        """
        places = range(len(self.table.rows))
        if not self.unfolded:
            return [(at, 0) for at in places]
        counts = zip(self.counting, self.table.columns, strict=True)
        own = [(c.piece, cells) for c, cells in counts if c.piece and c.meaning != IGNORED]
        first = min(piece for piece, _ in own)
        held = (sorted({p for p, cells in own if cells[at] is not None}) for at in places)
        return [(at, piece) for at, found in zip(places, held, strict=True)
                for piece in found or [first]]  # fmt: skip

    @cached_property
    def cells(self) -> dict[str, list[Any]]:
        """Return the cells of the columns that count, one a line, by what they mean."""
        return self.laid_out(zip(self.counting, self.table.columns, strict=True))

    def laid_out(self, read: Iterable[tuple[Column, Sequence[Any]]]) -> dict[str, list[Any]]:
        """Return columns with a cell a row as they count: by meaning, with a cell a line.

        A line has the cells of its own piece, and those that are of all pieces of its row.
        """
        found: dict[str, dict[int, Sequence[Any]]] = {}
        for column, cells in read:
            if column.meaning != IGNORED:
                found.setdefault(column.meaning, {})[column.piece] = cells
        nothing = [None] * len(self.table.rows)
        return {
            meaning: [own.get(piece, own.get(0, nothing))[at] for at, piece in self.lines]
            for meaning, own in found.items()
        }

    @cached_property
    def date_order(self) -> str:
        """Return in which order days are read: as said, else as the column shows."""
        return self.dates or date_order(self.cells.get("day", []))

    def mark(self, meaning: str) -> str:
        """Return the decimal mark of a column: as said, as its cells show, as the others show."""
        if self.decimal:
            return self.decimal
        own = self._marks[meaning]
        if own:
            return own if own != "both" else ""
        others = set(self._marks.values()) - {""}
        return others.pop() if len(others) == 1 and "both" not in others else ""

    @cached_property
    def _marks(self) -> dict[str, str]:
        numbers = (m for m in self.cells if m == "value" or quantities.find(m))
        return {m: decimal_mark(self.cells[m]) for m in numbers}


def meant(table: Understood) -> Sheet:
    """Return a table as it is understood, checked.

    Cells that hang on an open question are problems.
    """
    known = table.known.ids if table.known else {}
    sheet = Sheet(
        [table.table.rows[at] for at, _ in table.lines], {}, wide=not table.long, known=known,
        numbers=[piece for _, piece in table.lines] if table.unfolded else [],
        of_pieces={column.meaning for column in table.counting if column.piece},
        problems=[*table.table.problems],
    )  # fmt: skip
    columns = zip(table.counting, table.table.columns, strict=True)
    readers = [(column, cells, _reader(table, column)) for column, cells in columns]
    sheet.cells = table.laid_out(
        (column, _each(sheet, column, table.table.rows, cells, reader))
        for column, cells, reader in readers if reader is not None
    )  # fmt: skip
    if "day" in sheet.cells and "bake" not in sheet.cells:
        days = sheet.cells["day"]
        sheet.cells["bake"] = [None if x is None else x.isoformat() for x in days]
    if table.long:
        _long(table, sheet)
    check(sheet)
    return sheet


def _reader(table: Understood, column: Column) -> Callable[[Any], Any] | None:
    """Return how the cells of a column are made plain; None where they say nothing of a thing."""
    if column.meaning == "day":
        return lambda x: read_day(x, table.date_order)
    if column.meaning in (*STRUCTURE, "events"):
        return lambda x: x.isoformat() if isinstance(x, date) else x
    if quantities.find(column.meaning) is None:
        return None
    return partial(
        number_cell, column.meaning, unit=column.unit, mark=table.mark(column.meaning),
        sure=bool(table.decimal), stored=column.percent == "stored",
    )  # fmt: skip


def _each(
    sheet: Sheet, column: Column, rows: Sequence[int], cells: Sequence[Any],
    reader: Callable[[Any], Any],
) -> list[Any]:  # fmt: skip
    """Read a column's cells one by one; what cannot be read is a problem and empty."""
    out = []
    for row, x in zip(rows, cells, strict=True):
        try:
            out.append(None if x is None else reader(x))
        except InputError as exc:
            sheet.problem(row, column.meaning, x, exc.rule, exc.remedy, column.piece)
            out.append(None)
    return out


def _long(table: Understood, sheet: Sheet) -> None:
    """Give each value of a long table to the column of its quantity, and each thing its codes."""
    cells, count = table.cells, len(sheet.rows)
    units = cells.get("unit", [None] * count)
    things = cells.get("thing") if "piece" not in cells else None
    mark = table.mark("value")
    asked: dict[Any, tuple[Quantity | None, str]] = {}
    for i, row in enumerate(sheet.rows):
        name, value = cells["quantity"][i], cells["value"][i]
        if name not in asked:
            asked[name] = _named_quantity(name)
        quantity, unit = asked[name]
        if quantity is None:
            if value is not None or name is not None:
                sheet.problem(row, "quantity", name, "is no quantity the kit knows",
                              "Write its name, for example rise_height_mm.")  # fmt: skip
            continue
        if units[i] is not None:
            unit = str(units[i])
        if unit and not unit_fits(unit, quantity.name):
            sheet.problem(row, "unit", unit, f"is no unit of {quantity.label.lower()}",
                          f"Write it in {quantity.unit}." if quantity.unit else "")  # fmt: skip
            continue
        if things is not None and not _found(sheet, table.known, quantity, things[i], i):
            continue
        try:
            plain = number_cell(quantity.name, value, unit, mark, bool(table.decimal))
        except InputError as exc:
            sheet.problem(row, quantity.name, value, exc.rule, exc.remedy)
            continue
        sheet.cells.setdefault(quantity.name, [None] * count)[i] = plain


def _named_quantity(name: Any) -> tuple[Quantity | None, str]:
    one = guess(str(name)) if name is not None else None
    if one is None or one.doubt:
        return None, ""
    quantity = quantities.find(one.meaning)
    return quantity, one.unit if quantity else ""


def _found(sheet: Sheet, known: Known | None, quantity: Quantity, code: Any, i: int) -> bool:
    """Fill in the codes of the thing a row names; False, and a problem, where it is not known."""
    row, level = sheet.rows[i], quantity.level
    code = str(int(code)) if isinstance(code, float) and code.is_integer() else str(code or "")
    bake = sheet.column("bake")[i]
    keys = [key for key in (known.ids[level] if known else ()) if _code_of(level, key) == code]
    if bake is not None:
        keys = [key for key in keys if _bake_of(level, key) == str(bake)]
    if len(keys) != 1:
        rule = f"is no {level} of this trial" if not keys else f"could be several {level}s"
        sheet.problem(row, "thing", code, rule, "Give columns bake, dough, load and piece instead.")
        return False
    (key,) = keys
    parts = {"bake": _bake_of(level, key)}
    if level == "dough":
        parts["dough"] = key[1]
    elif level == "load":
        parts["load"] = key[1]
    elif level == "piece":
        parts |= {"dough": key[0][1], "piece": key[1]}
    for name, part in parts.items():
        sheet.cells.setdefault(name, [None] * len(sheet.rows))[i] = part
    return True


def _code_of(level: str, key: Any) -> str:
    return str(key if level == "bake" else key[1])


def _bake_of(level: str, key: Any) -> str:
    return str(key if level == "bake" else key[0][0] if level == "piece" else key[0])
