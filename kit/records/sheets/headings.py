"""Which row of a table is its heading: alone, over two rows, or with the units below."""

import re
from collections.abc import Mapping, Sequence
from itertools import zip_longest
from typing import Any

from kit import quantities
from kit.records.sheets.words import IGNORED, Guess, guess, uncounted, unit_fits
from kit.units import parse

__all__ = ["is_heading", "joined", "told_apart", "with_units"]

#: what stands among the units below "Bake" or "Dough", and names none
_FORMS = frozenset(
    ("no", "nr", "#", "number", "nummer", "code", "unit", "units", "einheit", "einheiten")
)
_MEASURED = re.compile(r"[+\-−]?\d+(?:[.,]\d+)?")


def joined(
    top: Sequence[Any], bottom: Sequence[Any], merged: Mapping[int, int] | None
) -> list[str]:
    """Return two rows as one heading; nothing where they are none.

    Below or above what names a bake, its day or a dough nothing else may stand: it would be one.
    A name reaches over what it is merged with; where nothing is, up to the next one or to what is
    a heading of the whole row by itself. A number belongs to a heading only where it counts.
    """
    made, over, named, last = list[str](), "", False, 0
    counted: dict[str, list[str]] = {}
    for at, pair in enumerate(zip_longest(top, bottom)):
        x, y = ("" if z is None else f"{z:g}" if isinstance(z, float) else str(z) for z in pair)
        y = "" if y == x else y  # the same in both where merged
        if any(guess(z) in map(Guess, ("bake", "day", "dough")) for z in (x, y) if z):
            named = True
            if x and y:
                return []
        if x:
            over, last = x, merged.get(at, at) if merged else len(top) + len(bottom)
        elif not y or at > last or _is_of_row(y):
            over = ""
        made.append(f"{over} {y}".strip() if y else x)
        for number, word in ((y, over), (over, y)):
            if over and y and (begins := _MEASURED.match(number)):
                counted.setdefault(word, []).append(begins[0])
    counts = all(n == [str(i) for i in range(1, len(n) + 1)] for n in counted.values())
    return made if named and counts else []


def _is_of_row(heading: str) -> bool:
    """Whether it surely says something of the bake or the dough."""
    one = guess(heading)
    own = quantities.find(one.meaning)
    of_piece = one.meaning == "piece" or (own is not None and own.level == "piece")
    return one.meaning != IGNORED and not one.doubt and not of_piece


def told_apart(headings: Sequence[str]) -> int:
    """Return how many of the headings are known, and no other's."""
    return len({heading for heading in headings if is_heading(uncounted(heading)[0])})


def is_heading(x: Any) -> bool:
    """Say whether a cell is a heading whose meaning is known, or guessed with a doubt."""
    if not isinstance(x, str) or len(x) >= 80 or not any(map(str.isalpha, x)):
        return False
    return guess(x).meaning != IGNORED


def with_units(headings: Sequence[str], line: Sequence[Any]) -> list[str]:
    """Return the headings with their units where a row below holds these; else nothing.

    Such a row names no bake, dough, piece, day or event, measures nothing, and holds at least one
    unit that fits its column. A second unit beside one in the heading is put so that it is asked
    about.
    """
    made, fitting = list(headings), 0
    for i, (heading, x) in enumerate(zip(headings, line, strict=False)):
        one = guess(heading)
        own = quantities.find(one.meaning)
        unit = str(x or "").strip(" ()[]").replace("cm2", "cm²").replace("cm3", "cm³")
        if one.meaning == IGNORED or not unit or x == heading:  # the same in both where merged
            continue
        if own is None:
            if not _only_a_form(one.meaning, unit):
                return []
        elif unit_fits(unit, own.name):
            fitting += own.unit != ""  # "x" beside a plain number may mean anything
            said = one.unit or (own.unit if heading == own.name else "")
            if not said:
                made[i] = f"{heading} ({unit})"
            elif parse(f"1 {said}", own.unit) != parse(f"1 {unit}", own.unit):
                made[i] = f"{own.label} ({said} or {unit})"
        elif not isinstance(x, str) or _MEASURED.fullmatch(unit):
            return []
        elif own.unit:
            if any(sign.isdecimal() for sign in unit):
                return []
            made[i] = f"{own.label} ({one.unit} or {unit})" if one.unit else f"{heading} ({unit})"
    return made if fitting else []


def _only_a_form(meaning: str, x: str) -> bool:
    """Say whether a cell below "Bake" or "Date" only tells how such are written."""
    if meaning in ("day", "load", "place"):
        return not any(sign.isdecimal() for sign in x)
    return x.strip(".:").casefold() in _FORMS
