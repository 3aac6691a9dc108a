"""A table as it is understood: which columns count, and how a row becomes lines of one piece."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from kit import quantities
from kit.records.sheets import pieces
from kit.records.sheets.cells import date_order, decimal_mark
from kit.records.sheets.known import Known
from kit.records.sheets.table import Table
from kit.records.sheets.words import IGNORED, Column

__all__ = ["Understood"]


@dataclass(frozen=True, repr=False)
class Understood:
    """A table, and what each of its columns means.

    Parameters
    ----------
    table : Table
        As it stands in the file.
    columns : tuple of Column
        What each column means.
    dates : str
        "day/month" or "month/day", when the baker said so.
    decimal : str
        "comma" or "point", when the baker said so.
    known : Known
        What the trial has already: a long table may name things by code alone.
    """

    table: Table
    columns: tuple[Column, ...]
    dates: str = ""
    decimal: str = ""
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
