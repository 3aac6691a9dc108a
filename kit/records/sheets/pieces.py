"""Rows that are doughs: "Height 1, Height 2, Height 3" are the heights of three of its pieces."""

from collections.abc import Collection, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from kit import quantities
from kit.analysis import words
from kit.records.sheets.file import Table
from kit.records.sheets.words import IGNORED, LONG, Column, Guess, guess, uncounted

if TYPE_CHECKING:
    from kit.records.sheets.look import Look

__all__ = ["apart", "beside_several", "lines_held", "unfold"]

#: what is decided for all pieces of a row; "Side 1, Side 2" are the two sides of one
_DECIDED = ("side_minutes", "extra_flips", "proof_ratio")
#: what a row says of one piece, besides what is measured on it
_OF_ONE = ("piece", "place", "events")


def unfold(
    table: Table, names: Sequence[str]
) -> tuple[Table, list[str], dict[str, tuple[Guess, tuple[str, ...]]]]:
    """Give each piece a line of its own where a row holds several.

    Parameters
    ----------
    table : Table
        As it stands in the file.
    names : sequence of str
        What its columns are called, no two alike.

    Returns
    -------
    Table
        With `numbers`, where something was unfolded: which piece of its row each line is. Every
        row has as many lines; `lines_held` says which of them hold a piece.
    list of str
        What its columns are called.
    dict
        Name of an unfolded column -> what it seems to mean, and what is asked about it; the names
        of the columns it was.
    """
    found: dict[str, dict[int, int]] = {}
    for at, heading in enumerate(table.headings):
        base, number = uncounted(heading)
        if table.headings.count(heading) > 1:
            base, number = heading, table.headings[:at].count(heading) + 1
        if number is not None and _is_measured(guess(base)):
            found.setdefault(base, {}).setdefault(number, at)
    groups = {
        base: [at for _, at in sorted(places.items())]
        for base, places in found.items() if _counts_up(places)
    }  # fmt: skip
    meant: dict[str, int] = {}
    for at, heading in enumerate(table.headings):
        meant.setdefault(guess(heading).meaning, at)  # of two that mean the same the first counts
    if not groups or "dough" not in meant or "piece" in meant or meant.keys() >= {*LONG[1:3]}:
        return table, [*names], {}
    of = [table.columns[meant[name]] for name in ("bake", "day", "dough") if name in meant]
    if len(set(zip(*of, strict=True))) < len(table.rows):
        return table, [*names], {}  # a row is a piece, and its dough's are below one another
    most, count = max(map(len, groups.values())), len(table.rows)
    folded = {at for places in groups.values() for at in places}
    alone = [at for at in range(len(table.headings)) if at not in folded]
    headings, called = [table.headings[at] for at in alone], [names[at] for at in alone]
    columns = [[x for x in table.columns[at] for _ in range(most)] for at in alone]
    asked: dict[str, tuple[Guess, tuple[str, ...]]] = {}
    for base, places in groups.items():
        each = [table.headings[at] for at in places]
        headings.append(", ".join(each))
        called.append(headings[-1])
        own = [table.columns[at] for at in places] + [[None] * count] * (most - len(places))
        columns.append([column[i] for i in range(count) for column in own])
        told = f"Are {words.join(map(repr, each))} those of {len(each)} pieces of a dough?"
        doubt = f"{told} They are read so; if it is one piece again, keep one column."
        asked[called[-1]] = replace(guess(base), doubt=doubt), tuple(names[at] for at in places)
    rows, numbers = [r for r in table.rows for _ in range(most)], [*range(1, most + 1)] * count
    unfolded = replace(table, headings=headings, columns=columns, rows=rows, numbers=numbers)
    return unfolded, called, asked


def _is_measured(one: Guess) -> bool:
    """Whether it is surely measured on each piece."""
    quantity = quantities.find(one.meaning)
    measured = quantity is not None and quantity.level == "piece" and quantity.name not in _DECIDED
    return measured and not one.doubt


def _counts_up(numbers: Collection[int]) -> bool:
    """Whether they are 1, 2 and so on, two at least."""
    return len(numbers) > 1 and sorted(numbers) == list(range(1, len(numbers) + 1))


def lines_held(look: "Look") -> Sequence[int]:
    """Return the lines of a table that count: one a piece that something is measured of.

    A row with none keeps its first; and so does each where no column of several pieces counts.
    """
    numbers = look.table.numbers
    if not numbers:
        return range(len(look.table.rows))
    found = zip(look.columns, look.table.columns, strict=True)
    own = [cells for one, cells in found if look.unfolded and one.pieces and one.meaning != IGNORED]
    most, out = max(numbers), list[int]()
    for start in range(0, len(numbers), most):
        several = range(start, start + most)
        out += [i for i in several if any(cells[i] is not None for cells in own)] or [start]
    return out


def beside_several(column: Column) -> Column:
    """Return a column as it counts where a row holds several pieces.

    What is said of one of them is left out: of which, the row does not say, and on each of them it
    would count as measured so many times.
    """
    quantity = quantities.find(column.meaning)
    of_piece = quantity is not None and quantity.level == "piece" and quantity.name not in _DECIDED
    if column.pieces or not (of_piece or column.meaning in _OF_ONE):
        return column
    doubt = (
        f"Which piece's is {column.heading!r}? A row holds several here, so it is left out. Say "
        "ignored to go on without it, or give each piece a row of its own."
    )
    return replace(column, meaning=IGNORED, unit="", doubt=doubt)


def apart(look: "Look", at: int) -> "Look":
    """Give back the columns one of several pieces was made of: the first counts, as asked.

    Parameters
    ----------
    look : Look
        Of a table with several pieces a row.
    at : int
        Place of that column.
    """
    table, group = look.table, look.columns[at]
    first, held = group.pieces[0], table.columns[at]
    columns, cells = [], list[list[Any]]()
    for piece, name in enumerate(group.pieces):
        doubt, counts = f"Does {name!r} mean {group.meaning}?", {}
        if piece:
            doubt = f"{first!r} and {name!r} both mean {group.meaning}. Which? Now the first."
            counts = {"meaning": IGNORED, "unit": ""}
        doubt = "" if group.meaning == IGNORED else doubt
        columns.append(replace(group, heading=name, doubt=doubt, pieces=(), **counts))
        cells.append([held[i - number + piece] for i, number in enumerate(table.numbers, start=1)])
    headings, held_in = [*table.headings], [*table.columns]
    headings[at : at + 1], held_in[at : at + 1] = group.pieces, cells
    whole = replace(table, headings=headings, columns=held_in)
    return replace(
        look, table=whole, columns=(*look.columns[:at], *columns, *look.columns[at + 1 :])
    )
