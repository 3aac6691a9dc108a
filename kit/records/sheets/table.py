"""A table as it stands: headings, columns, rows; nothing understood yet.

Cells that begin with an equals sign stay text: nothing in a file is ever computed.
"""

import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, time, timedelta
from functools import cached_property
from typing import Any, NamedTuple
from unicodedata import normalize

from kit import quantities
from kit.errors import InputError
from kit.given import is_missing
from kit.records.sheets.headings import is_heading, joined, told_apart, with_units
from kit.records.sheets.words import IGNORED, exact, plain, uncounted, ways_to_write
from kit.units import parse

__all__ = ["ERRORS", "TOP", "Formula", "Percent", "Problem", "Table", "as_read", "cell",
           "headed"]  # fmt: skip

#: how many rows at the top may be a title before the heading comes
TOP = 20
#: what a spreadsheet shows where it could not compute
ERRORS = frozenset(
    ("#N/A", "#DIV/0!", "#VALUE!", "#REF!", "#NAME?", "#NUM!", "#NULL!", "#SPILL!", "#CALC!")
)
#: what people write where nothing was measured; no number, and no code either
_NOT_MEASURED = frozenset(("-", "--", "–", "—", "n/a"))
#: how a cell begins that is a number and no heading
_NUMBER = re.compile(r"[<>~≈±+\-−]*\s*\d")
#: signs without a width and soft hyphens: with one, "A" would be another dough
_UNSEEN = dict.fromkeys(map(ord, "\u200b\u2060\ufeff\u00ad"))


class Percent(str):
    """A number formatted as percent, as it is shown: 0.008 is "0.8 %"."""


class Formula(str):
    """A formula whose value the file does not hold."""


class Problem(NamedTuple):
    """What keeps a row out."""

    row: int  # of the spreadsheet
    error: InputError
    piece: int = 0  # which piece of its row it is about; 0 where it is no single one's


@dataclass(frozen=True)
class Table:
    """What stands in one sheet."""

    name: str  # file or table, as it is called in messages
    sheet: str  # sheet of the workbook; empty for a text file or a frame
    headings: list[str]  # one a column
    # one a column, one cell a row: text, number, day, time; an empty one is None
    columns: list[list[Any]]
    rows: list[int]  # spreadsheet row of each row; counted from 1 at the top of the file
    heading_row: int = 1  # in which the headings stand
    # what is worth knowing about the file
    notes: list[str] = field(default_factory=list, repr=False)
    # cells that cannot be used whatever their column means
    problems: list[Problem] = field(default_factory=list, repr=False)
    # which column of the file each one is, counted from 0
    places: list[int] = field(default_factory=list, repr=False)
    # column -> its letter where it is hidden; its first row where cells of it are struck through
    hidden: dict[int, str] = field(default_factory=dict, repr=False)
    struck: dict[int, int] = field(default_factory=dict, repr=False)

    @cached_property
    def names(self) -> list[str]:
        """The headings, those that come again numbered; one that is empty by its place."""
        seen: Counter[str] = Counter()
        names = []
        for place, heading in enumerate(self.headings, start=1):
            name = heading or f"column {place}"
            seen[name] += 1
            names.append(name if seen[name] == 1 else f"{name} ({seen[name]})")
        return names


def cell(x: Any) -> Any:
    """Return a cell as a spreadsheet would hold it; None when empty, or a dash for not measured."""
    if is_missing(x) or (isinstance(x, str) and x.strip().lower() in _NOT_MEASURED):
        return None
    if isinstance(x, bool):
        return str(x).upper()
    if isinstance(x, int | float | date | time | timedelta):
        return x
    if isinstance(x, str):
        clean = as_read(x).strip()
        return x if x == clean else clean or None  # a `Percent` stays one
    return str(x).strip() or None


def as_read(text: str) -> str:
    """Return a text composed and without signs nobody sees: alike where it reads alike."""
    return text if text.isascii() else normalize("NFC", text.translate(_UNSEEN))


def headed(
    name: str,
    sheet: str,
    lines: Iterable[tuple[int, Sequence[Any]]],
    notes: list[str],
    across: Mapping[int, Mapping[int, int]] | None = None,
) -> Table:
    """Find the headings and part what stands below them into columns.

    `lines` come with their row, from the top of the file. `across` is row -> first column of cells
    merged in it -> last one, counted from 0; asked when the lines are read.
    """
    filled = [(row, line) for row, line in lines if any(x is not None for x in line)]
    if not filled:
        return Table(name, sheet, [], [], [], 1, notes)
    known = [sum(is_heading(x) for x in line) for _, line in filled[:TOP]]
    at = known.index(max(known)) if max(known) >= 2 else 0  # a title may stand above
    headings, top = ["" if x is None else str(x) for x in filled[at][1]], at
    # a name over several columns, what tells them apart below: both rows are the heading
    for first in (at, at - 1):
        two = filled[first : first + 2] if first >= 0 else []
        merged = (across or {}).get(two[0][0]) if two else None
        both = joined(two[0][1], two[1][1], merged) if len(two) == 2 else []
        if told_apart(both) > told_apart(headings):
            headings, top, at = both, first, first + 1
            rows = f"Rows {filled[top][0]} and {filled[at][0]}"
            notes = [*notes, f"{rows} are read as one heading."]
            break
    heading_row = filled[at][0]
    if top:
        notes = [*notes, f"The headings stand in row {filled[top][0]}; what is above is left out."]
    while headings and not headings[-1]:
        headings.pop()  # spreadsheets write empty columns at the end
    if at + 1 < len(filled) and (measured := with_units(headings, filled[at + 1][1])):
        at += 1
        notes = [*notes, f"Row {filled[at][0]} is read as the units of the columns."]
        headings = measured
    own = [line for _, line in filled[top : at + 1]]
    below, told = _one_table(filled[at + 1 :], own, headings)
    width, notes = len(headings), [*notes, *told]
    columns: list[list[Any]] = [[] for _ in range(width)]
    problems = []
    for row, line in below:
        for i, column in enumerate(columns):
            column.append(line[i] if i < len(line) else None)
        over = [x for x in line[width:] if x is not None]
        if over:
            problems.append(Problem(row, _over(row, str(over[-1]))))
    kept = [i for i in range(width) if headings[i] or any(x is not None for x in columns[i])]
    return Table(
        name, sheet, [headings[i] for i in kept], [columns[i] for i in kept],
        [row for row, _ in below], heading_row, notes, problems, kept,
    )  # fmt: skip


def _one_table(
    below: list[tuple[int, Sequence[Any]]], own: list[Sequence[Any]], headings: Sequence[str]
) -> tuple[list[tuple[int, Sequence[Any]]], list[str]]:
    """Return the rows below the headings up to those of another table, and what was left out.

    The headings may come again, in their `own` words or in others that say the same.
    """
    texts, headed_by = [_text(line) for line in own], _Headings(headings)
    kept, again, maybe = [], list[int](), list[int]()
    notes, headed_again = [], False
    for row, line in below:
        first = next(x for x in line if x is not None)
        units = with_units(headings, line) if headed_again else []
        headed_again = False
        if units and headed_by.means(units):
            continue
        if units:
            notes.append(
                f"Row {row} holds the units of another table, whose headings are those of this "
                f"one: it and what is below are left out. {_ON_ITS_OWN}"
            )
            break
        if not isinstance(first, str) or _NUMBER.match(first):  # as most rows begin
            kept.append((row, line))
            continue
        read = "again" if _text(line) in texts else headed_by.read(line)
        if read == "another":
            notes.append(
                f"Row {row} begins another table, with headings of its own: it and what is below "
                f"are left out. {_ON_ITS_OWN}"
            )
            break
        if read == "again":
            again.append(row)
            headed_again = True
            continue
        kept.append((row, line))
        maybe += [row] if read == "maybe" else []
    if maybe:
        notes.append(
            f"Row {maybe[0]} reads like headings and counts as a row like the others. If another "
            "table begins there, put it on a sheet of its own."
        )
    if again:
        rows = f"Row {again[0]} repeats" if len(again) == 1 else f"{len(again)} rows repeat"
        left = "is" if len(again) == 1 else "are"
        notes.insert(0, f"{rows} the headings and {left} left out.")
    return kept, notes


_ON_ITS_OWN = "Is that meant? Put it on a sheet of its own and bring that in."


def _text(line: Sequence[Any]) -> tuple[str, ...]:
    """A line as it reads, without case and empty cells."""
    return tuple(str(x).casefold() for x in line if x is not None)


class _Headings:
    """A table's headings, to know them again further down, or those of another table."""

    def __init__(self, headings: Sequence[str]) -> None:
        self._index = ways_to_write()  # once: looked up for every cell
        self._plain = [plain(heading) for heading in headings]
        self._meant = [self._meaning(heading) for heading in headings]

    def read(self, line: Sequence[Any]) -> str:
        """Say whether a line has the headings "again", those of "another" table, "maybe", or "".

        Words may be a dough's name as well: surely headings are those that stand below what is
        measured, or below themselves.
        """
        said = [(at, x) for at, x in enumerate(line) if x is not None]
        if len(said) < 2 or any(not isinstance(x, str) or _NUMBER.match(x) for _, x in said):
            return ""
        meant = {at: found for at, x in said if (found := self._meaning(x))}
        names = {meaning for meaning, _, _ in meant.values()}
        named = names.intersection(("bake", "day", "dough", "piece", "thing"))
        if not (named and any(map(quantities.find, names))) or len(meant) <= len(said) / 2:
            return ""
        own = {at: self._meant[at] for at, _ in said if at < len(self._meant)}
        below = {at for at, one in own.items() if one and quantities.find(one[0])}
        same = {at for at, x in said if at in own and plain(x) == self._plain[at]}
        if not below and len(same) < 2:
            return "maybe" if len(meant) == len(said) else ""
        if all(at in same or one is None or meant.get(at) == one for at, one in own.items()):
            return "again" if len(own) == len(said) else "another"
        return "another" if len(said) > 2 else "maybe"

    def means(self, headings: Sequence[str]) -> bool:
        """Say whether other headings mean the same, in the same units."""
        return [self._meaning(heading) for heading in headings] == self._meant

    def _meaning(self, heading: str) -> tuple[str, Any, int | None] | None:
        """What a heading surely means, what one of its unit is, and which piece it is of."""
        words, number = uncounted(heading)
        one = exact(heading, self._index)
        if one is None and number is not None:
            one = exact(words, self._index)
        else:
            number = None
        if one is None or one.doubt or one.meaning == IGNORED:
            return None
        if (own := quantities.find(one.meaning)) is None:
            return one.meaning, None, None
        return one.meaning, parse(f"1 {one.unit or own.unit}", own.unit), number


def _over(row: int, value: str) -> InputError:
    return InputError(
        "row", value, "has more cells than the heading",
        "Give each column a heading, and put text that holds a comma in quotes.", f"row {row}",
    )  # fmt: skip
