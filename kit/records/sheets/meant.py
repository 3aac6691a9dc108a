"""From a table as it stands to a checked one: units, decimal marks and days are made plain."""

from collections.abc import Callable, Sequence
from datetime import date
from functools import partial
from typing import Any

from kit import quantities
from kit.errors import InputError
from kit.quantities import Quantity
from kit.records.frame import STRUCTURE
from kit.records.sheets.cells import number_cell, read_day
from kit.records.sheets.check import Sheet, check
from kit.records.sheets.known import Known
from kit.records.sheets.understood import Understood
from kit.records.sheets.words import Column, guess, unit_fits

__all__ = ["meant"]


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
