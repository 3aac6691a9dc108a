"""Rows that are doughs: "Height 1, Height 2, Height 3" are the heights of three of its pieces."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

from kit import quantities, words
from kit.errors import InputError
from kit.quantities import Quantity
from kit.records.sheets.table import Table
from kit.records.sheets.words import IGNORED, LONG, Column, Guess, both_mean, guess, uncounted

__all__ = [
    "answered", "beside_several", "for_all", "holds_several", "made_way", "numbered",
    "of_pieces", "one_each",
]  # fmt: skip

#: what a column without a number says of all pieces of a row: it is decided, not measured
_DECIDED = ("side_minutes", "extra_flips", "proof_ratio")
#: what to do where such columns, numbered, are not those of pieces
_IF_NOT = dict.fromkeys(_DECIDED, "If they mean anything else, say ignored of each") | {
    "side_minutes": "If they are the two sides of one, say ignored of each"
}
#: what a row says of one piece, besides what is measured on it
_OF_ONE = ("piece", "place", "events")


def numbered(table: Table) -> dict[int, tuple[Guess, int]]:
    """Find the columns that hold one of several pieces of a row.

    Returns the place of such a column -> what it means and what is asked about it, and which piece
    of its row it is of, from 1; 0 for one that is numbered otherwise and left out.
    """
    found = _by_number(table.headings)
    of_piece = {name for name in found if quantities.get(name).level == "piece"}
    whole = {name for name in found if _counts_up(found[name])}
    sizes = {len(found[name]) for name in of_piece & whole if name not in _DECIDED}
    # what is decided says nothing of how many pieces there are
    groups = [name for name in found if name in of_piece & whole and len(found[name]) in sizes]
    meant: dict[str, int] = {}
    for at, heading in enumerate(table.headings):
        meant.setdefault(guess(heading).meaning, at)  # of two that mean the same the first counts
    if not groups or "dough" not in meant or "piece" in meant or meant.keys() >= {*LONG[1:3]}:
        return {}
    of = [table.columns[meant[name]] for name in ("bake", "day", "dough") if name in meant]
    if len(set(zip(*of, strict=True))) < len(table.rows):
        return {}  # a row is a piece, and its dough's are below one another
    out: dict[int, tuple[Guess, int]] = {}
    for name, places in found.items():
        doubt = _asked(name, [table.headings[at] for at in places.values()])
        for number, at in places.items():
            if name in groups:
                unit = guess(_base(table.headings, at)[0]).unit
                out[at] = Guess(name, unit, doubt), number
            elif name in whole or (name in of_piece and len(places) > 1):
                out[at] = Guess(IGNORED, "", _which(table.names[at], quantities.get(name))), 0
    return out


def _base(headings: Sequence[str], at: int) -> tuple[str, int | None]:
    """Return a heading without its number, and that; one that comes again is counted."""
    heading = headings[at]
    if headings.count(heading) > 1:
        return heading, headings[:at].count(heading) + 1
    return uncounted(heading)


def _by_number(headings: Sequence[str]) -> dict[str, dict[int, int]]:
    """Return quantity -> number -> place of the column, of those whose headings have one.

    "Height" is the one before "Height 2", and before "Height.1" as well: so a data frame names
    columns that are called alike. Where two columns of a quantity have one number, as "Height 1"
    and "Rise height 1", those called as the first count.
    """
    found: dict[str, list[tuple[str, int, int]]] = {}
    bare: dict[str, list[int]] = {}
    for at in range(len(headings)):
        base, number = _base(headings, at)
        one = guess(base)
        if one.doubt or quantities.find(one.meaning) is None:
            continue
        if number is None:
            bare.setdefault(one.meaning, []).append(at)
        else:
            found.setdefault(one.meaning, []).append((base, number, at))
    out = {}
    for name, own in found.items():
        if len({number for _, number, _ in own}) < len(own):
            called = own[0][0].casefold()
            own = [one for one in own if one[0].casefold() == called]
        places = {number: at for _, number, at in reversed(own)}
        bases = {base for base, *_ in own}
        folded = {base.casefold() for base in bases}
        alone = bare.get(name, ())
        first = [at for at in alone if headings[at] in bases] or [
            at for at in alone if headings[at].casefold() in folded
        ]
        if len(first) == 1:
            if all(headings[at] == f"{headings[first[0]]}.{n}" for n, at in places.items()):
                places = {number + 1: at for number, at in places.items()}
            places = {1: first[0]} | places
        out[name] = dict(sorted(places.items()))
    return out


def _counts_up(places: dict[int, int]) -> bool:
    """Whether they are 1, 2 and so on, two at least."""
    return len(places) > 1 and list(places) == list(range(1, len(places) + 1))


def _asked(meaning: str, headings: Sequence[str]) -> str:
    """Ask whether numbered columns hold pieces; of one that is left, what it means."""
    if len(headings) == 1:
        return f"Does {headings[0]!r} mean {quantities.get(meaning).label}?"
    if_not = _IF_NOT.get(meaning, "If it is one piece again, say ignored of all but one")
    return (
        f"Are {words.join(map(repr, headings))} those of {len(headings)} pieces of a dough? They "
        f"are read so, and to say it of one counts for all. {if_not}."
    )


def made_way(columns: Sequence[Column], new: Column) -> list[Column]:
    """Return columns after an answer about `new`: others that mean the same are left out.

    Of one of several pieces, those of the other pieces stay; and once nothing stands in its place
    any more it means what was guessed again, and is asked about.
    """
    left = [
        replace(c, meaning=IGNORED, unit="", doubt="", answered=False, own_reading=False)
        if c is not new and c.meaning == new.meaning != IGNORED and _in_place(c, new) else c
        for c in columns
    ]  # fmt: skip
    out = []
    for column in left:
        own = column.guessed
        made_way = column.piece and column.meaning == IGNORED and not column.answered
        if made_way and not any(c.meaning == own.meaning and _in_place(c, column) for c in left):
            column = replace(column, meaning=own.meaning, unit=own.unit, doubt=own.doubt)
        out.append(column)
    return out


def _in_place(one: Column, other: Column) -> bool:
    """Whether two columns could not both count, meaning the same: not of different pieces."""
    return not one.piece or not other.piece or one.piece == other.piece


def answered(
    columns: Sequence[Column], new: Column, unit: str | None, percent: str | None
) -> list[Column]:
    """Return columns after an answer about one of several pieces, `new` in its place.

    Where it confirms what was guessed, it counts for the others of its kind, with the `unit` and
    `percent` it names; unless that of another was said to be otherwise. Anything else leaves them
    to be asked about, but for those that were answered themselves. Raises InputError: it is said
    to mean what a piece has none of.

    One that came back to what was guessed is asked about where another unit was said of others.
    """
    if new.meaning != IGNORED and not _of_piece(quantities.find(new.meaning)):
        rule = "must be something measured on each piece, or ignored"
        raise InputError("quantity", new.meaning, rule, where=f"column {new.heading!r}")
    kind = new.guessed.meaning
    others = [c for c in columns if c.piece and c.meaning == kind == c.guessed.meaning]
    named = unit is not None or percent is not None
    at_odds = named and any(
        c.own_reading and (c.unit, c.percent) != (new.unit, new.percent) for c in others
    )
    doubt = _asked(kind, [c.heading for c in others]) if others else ""
    out = []
    for column in columns:
        if column is new or column not in others:
            pass
        elif new.meaning != kind or at_odds:
            column = replace(column, doubt="" if column.answered else doubt)
        elif column.own_reading:
            column = replace(column, doubt="")
        else:
            own = column.unit if unit is None else column.guessed.unit or unit
            column = replace(column, doubt="", unit=own, percent=percent or column.percent)
        out.append(column)
    for meaning in dict.fromkeys((kind, new.meaning)):
        if meaning != IGNORED:
            out = _unit_asked(out, kind, meaning)
    return out


def _unit_asked(columns: Sequence[Column], kind: str, meaning: str) -> list[Column]:
    """Ask in which unit those of a kind are of which none was said, where it was of others.

    They mean what was guessed, or all what was said instead.
    """
    own = [c for c in columns if c.piece and (c.meaning, c.guessed.meaning) == (meaning, kind)]
    if meaning == kind:  # a heading's own is neither asked nor said
        own = [c for c in own if not c.guessed.unit]
    said = {c.unit for c in own} - {"", quantities.get(meaning).unit}
    unsaid = [c for c in own if not c.unit and not c.own_reading]
    if not said or not unsaid:
        return [*columns]
    rest = f"Of others of its kind {words.join(sorted(said))} was said. Say its unit."
    out = []
    for column in columns:
        if column in unsaid:
            column = replace(column, doubt=f"In which unit is {column.heading!r}? {rest}")
        elif column in own:  # stays as it is, whatever is said of the one asked about
            column = replace(column, own_reading=True)
        out.append(column)
    return out


def of_pieces(columns: Sequence[Column]) -> tuple[Column, ...]:
    """Return columns with the number of their piece while it says of which they are.

    One that was said to mean something else than was guessed has none, where it is the only one.
    """
    count = Counter(c.meaning for c in columns if c.piece)
    return tuple(
        c if c.meaning == c.guessed.meaning or count[c.meaning] > 1 else replace(c, piece=0)
        for c in columns
    )


def holds_several(columns: Sequence[Column]) -> bool:
    """Say whether a row holds several pieces: where its columns that count are not all of one."""
    own = [c for c in columns if c.piece and c.meaning != IGNORED]
    return len({c.piece for c in own}) > 1 and any(c.meaning not in _DECIDED for c in own)


def one_each(columns: Sequence[Column]) -> tuple[Column, ...]:
    """Return columns as they count where a row is a piece: of those numbered the first."""
    count = Counter(c.meaning for c in columns)
    first: dict[str, str] = {}
    out = []
    for column in columns:
        before = first.setdefault(column.meaning, column.heading)
        if column.piece and column.meaning != IGNORED:
            column = replace(column, piece=0)
            if before != column.heading:
                doubt = both_mean(before, column.heading, column.meaning)
                column = replace(column, meaning=IGNORED, unit="", doubt=doubt)
            elif count[column.meaning] > 1:
                column = replace(column, doubt="")  # which of them, the others ask
        out.append(column)
    return tuple(out)


def beside_several(columns: Sequence[Column]) -> tuple[Column, ...]:
    """Return columns as they count where a row holds several pieces.

    What is said of one of them is left out: of which, the row does not say, and on each of them it
    would count as measured so many times. So is what is decided, where it has a number.
    """
    bases = [uncounted(column.heading)[0] for column in columns]
    out = []
    for column, base in zip(columns, bases, strict=True):
        quantity = quantities.find(column.meaning)
        of_one = column.meaning in _OF_ONE or _of_piece(quantity)
        if column.meaning in _DECIDED:
            of_one = base != column.heading or bases.count(base) > 1
        if of_one and not column.piece:
            doubt = _which(column.heading, quantity)
            column = replace(column, meaning=IGNORED, unit="", doubt=doubt)
        out.append(column)
    return tuple(out)


def _of_piece(quantity: Quantity | None) -> bool:
    return quantity is not None and quantity.level == "piece"


def for_all(columns: Sequence[Column]) -> list[str]:
    """Say of which columns each cell counts for all pieces of its row, though one could differ."""
    found = [c.heading for c in columns if c.meaning in _DECIDED and not c.piece]
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
