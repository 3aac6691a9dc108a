"""Rows that are doughs: "Height 1, Height 2, Height 3" are the heights of three of its pieces."""

from collections.abc import Collection, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from kit import quantities
from kit.analysis import words
from kit.quantities import Quantity
from kit.records.sheets.file import Table
from kit.records.sheets.words import IGNORED, LONG, Column, Guess, guess, uncounted

if TYPE_CHECKING:
    from kit.records.sheets.look import Look

__all__ = ["apart", "beside_several", "for_all", "lines_held", "unfold"]

#: what a column without a number says of all pieces of a row: it is decided, not measured
_DECIDED = ("side_minutes", "extra_flips", "proof_ratio")
#: what to do where such columns, numbered, are not those of pieces
_IF_NOT = dict.fromkeys(_DECIDED, "if they mean anything else, say ignored") | {
    "side_minutes": "if they are the two sides of one, say ignored"
}
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
        of the columns it was, none for one that is numbered and left out.
    """
    numbered: dict[str, dict[int, int]] = {}
    for at, heading in enumerate(table.headings):
        base, number = uncounted(heading)
        if table.headings.count(heading) > 1:
            base, number = heading, table.headings[:at].count(heading) + 1
        if number is not None and _quantity(base):
            numbered.setdefault(base, {}).setdefault(number, at)
    found = {base: _with_bare(table.headings, base, at) for base, at in numbered.items()}
    of_piece = [base for base, places in found.items() if _counts_up(places) and _of_piece(base)]
    sizes = {len(found[base]) for base in of_piece if guess(base).meaning not in _DECIDED}
    # what is decided says nothing of how many pieces there are
    groups = {base: list(found[base].values()) for base in of_piece if len(found[base]) in sizes}
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
        one = guess(base)
        if_not = _IF_NOT.get(one.meaning, "if it is one piece again, keep one column")
        doubt = f"{told} They are read so; {if_not}."
        asked[called[-1]] = replace(one, doubt=doubt), tuple(names[at] for at in places)
    for base, numbered_at in found.items():
        several = len(numbered_at) > 1 and _of_piece(base)
        if base not in groups and (several or _counts_up(numbered_at)):
            for name in (names[at] for at in numbered_at.values()):
                asked[name] = Guess(IGNORED, "", _which(name, _quantity(base))), ()
    rows, numbers = [r for r in table.rows for _ in range(most)], [*range(1, most + 1)] * count
    unfolded = replace(table, headings=headings, columns=columns, rows=rows, numbers=numbers)
    return unfolded, called, asked


def _quantity(heading: str) -> Quantity | None:
    """Return the quantity a heading surely means; None where it means none."""
    one = guess(heading)
    return None if one.doubt else quantities.find(one.meaning)


def _of_piece(heading: str) -> bool:
    """Whether each piece has its own."""
    quantity = _quantity(heading)
    return quantity is not None and quantity.level == "piece"


def _with_bare(headings: Sequence[str], base: str, places: dict[int, int]) -> dict[int, int]:
    """Return the places of numbered columns in order; "Height" is the one before "Height 2".

    It is before "Height.1" as well: so a data frame names columns that are called alike.
    """
    if headings.count(base) == 1:
        if all(headings[at] == f"{base}.{number}" for number, at in places.items()):
            places = {number + 1: at for number, at in places.items()}
        places = {1: headings.index(base)} | places
    return dict(sorted(places.items()))


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


def beside_several(columns: Sequence[Column]) -> tuple[Column, ...]:
    """Return columns as they count where a row holds several pieces.

    What is said of one of them is left out: of which, the row does not say, and on each of them it
    would count as measured so many times. So is what is decided, where it has a number.
    """
    bases = [uncounted(column.heading)[0] for column in columns]
    out = []
    for column, base in zip(columns, bases, strict=True):
        quantity = quantities.find(column.meaning)
        of_one = column.meaning in _OF_ONE or (quantity is not None and quantity.level == "piece")
        if column.meaning in _DECIDED:
            of_one = base != column.heading or bases.count(base) > 1
        if of_one and not column.pieces:
            doubt = _which(column.heading, quantity)
            column = replace(column, meaning=IGNORED, unit="", doubt=doubt)
        out.append(column)
    return tuple(out)


def for_all(columns: Sequence[Column]) -> list[str]:
    """Say of which columns each cell counts for all pieces of its row, though one could differ."""
    found = [c.heading for c in columns if c.meaning in _DECIDED and not c.pieces]
    return [f"{heading!r} counts for all pieces of a row alike." for heading in found]


def _which(heading: str, quantity: Quantity | None) -> str:
    """Ask about a column beside several pieces that is left out."""
    if quantity is not None and quantity.level != "piece":
        one = f"A {quantity.level} has one {words.name(quantity.name)}"
        return f"What is {heading!r}? {one}, and several stand here; it is left out unless you say."
    decided = quantity is not None and quantity.name in _DECIDED
    for_each = ", keep one column without a number if it is for all pieces" if decided else ""
    return (
        f"Which piece's is {heading!r}? A row holds several here, so it is left out. Say ignored "
        f"to go on without it{for_each}, or give each piece a row of its own."
    )


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
    several = any(c.pieces and c.meaning != IGNORED for c in look.columns if c is not group)
    columns, cells = [], list[list[Any]]()
    for piece, name in enumerate(group.pieces):
        doubt, counts = f"Does {name!r} mean {group.meaning}?", {}
        if piece:
            doubt = f"{first!r} and {name!r} both mean {group.meaning}. Which? Now the first."
            if several:  # of other columns: then no piece's counts
                doubt = _which(name, quantities.find(group.meaning))
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
