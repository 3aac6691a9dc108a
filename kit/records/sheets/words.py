"""What people write above a column, and which meaning and unit the kit reads from it."""

import difflib
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from kit import quantities
from kit.errors import NotFoundError, UnitError
from kit.records.frame import STRUCTURE
from kit.units import parse

__all__ = ["IGNORED", "LONG", "Column", "Guess", "both_mean", "exact", "guess", "meaning_of",
           "meanings", "plain", "uncounted", "unit_fits", "unit_in", "ways_to_write"]  # fmt: skip

#: the meaning of a column that is left out
IGNORED = "ignored"
#: the columns of a long table: what was measured, which quantity, its value, the value's unit
LONG = ("thing", "quantity", "value", "unit")

# English and German, as heard in kitchens; common practice, no source
_WORDS = {
    "bake": "bake no, bake number, session, baking, backgang, backen, backtag nr",
    "day": "date, bake day, baked on, day of bake, datum, tag, backtag",
    "dough": "dough no, batch, batch no, mix, teig, teig nr, charge",
    "load": "load no, griddle load, round, fill, ladung, beladung, füllung",
    "piece": "piece no, muffin, muffin no, bun, stück, stück nr",
    "place": "spot, position, griddle place, place on griddle, platz, stelle",
    "flour_lot": "flour, flour bag, lot of flour, mehl, mehlcharge",
    "yeast_lot": "yeast bag, yeast pack, lot of yeast, hefecharge",
    "events": "event, happened, what happened, ereignis, ereignisse",
    "thing": "what, item, of, code",
    "quantity": "measure, measured, measurement, variable, größe, messgröße",
    "value": "reading, result, number, wert, messwert",
    "unit": "units, einheit",
    "room_temp_c": "room temp, room, kitchen temperature, air temperature, raumtemperatur",
    "malt_percent": "malt, diastatic malt, malz, backmalz",
    "malt_lintner": "lintner, diastatic power",
    "hydration_percent": "water, wasser",
    "salt_percent": "salt, salz",
    "yeast_percent": "yeast, hefe",
    "liquid_temp_c": "liquid temp, water temperature, water temp, milk temperature, milk temp, "
    "wassertemperatur, schütttemperatur",
    "dough_temp_c": "dough temp, teigtemperatur",
    "retard_hours": "retard, cold retard, cold proof, fridge, fridge time, retard time, "
    "kühlzeit, kalte gare",
    "retard_temp_c": "retard temp, fridge temp, fridge temperature, kühlschranktemperatur",
    "proof_minutes": "proof, proof time, proofing time, final proof, gare, stückgare, gärzeit",
    "proof_temp_c": "proof temp, proofing temperature, gärtemperatur",
    "griddle_temp_c": "griddle, griddle temp, surface temperature, plate temperature, "
    "plattentemperatur",
    "waited_minutes": "waited, wait, waiting time, wartezeit",
    "ball_weight_g": "ball weight, raw weight, piece weight, dough weight, scaled weight, "
    "teigeinlage, rohgewicht",
    "proof_ratio": "proof volume, rise ratio, gärverhältnis",
    "side_minutes": "side time, time per side, minutes per side, first side, backzeit je seite",
    "extra_flips": "flips, extra turns, turns",
    "core_temp_c": "core temp, core, inside temperature, kerntemperatur",
    "baked_weight_g": "baked weight, weight baked, final weight, backgewicht, endgewicht",
    "bake_loss_percent": "bake loss, baking loss, weight loss, backverlust",
    "rise_height_mm": "height, rise, rise height, piece height, höhe",
    "diameter_mm": "diameter, width, durchmesser",
    "volume_ml": "volume, volumen",
    "specific_volume_ml_per_g": "specific volume, spezifisches volumen",
    "crumb_openness": "openness, crumb, porung, offenporigkeit",
    "cells_per_cm2": "cells, cell count, poren",
    "browning_l": "browning, lightness, l, bräunung",
    "hollow_tap": "tap, hollow, tap sound, klopfprobe",
    "gumminess": "gummy, stickiness, klebrigkeit",
    "liking": "score, liked, taste score, gefallen",
}
#: words that fit several meanings, and what to ask
_EITHER = {
    "weight": "the raw piece (ball_weight_g) or the baked one (baked_weight_g)",
    "gewicht": "the raw piece (ball_weight_g) or the baked one (baked_weight_g)",
    "temperature": "the room's, the dough's or the griddle's",
    "temp": "the room's, the dough's or the griddle's",
    "temperatur": "the room's, the dough's or the griddle's",
    "time": "on the griddle (side_minutes), proofing or in the refrigerator",
    "zeit": "on the griddle (side_minutes), proofing or in the refrigerator",
}
#: a number that counts, alone or after what it counts
_COUNTS = re.compile(
    r"[\s_.]*[(#]?(?:\b(?:piece|muffin|bun|stück|no|nr)\b[\s_.#]*)*"
    r"(?<!\d)(\d{1,2})(?!\d)\)?[\s_]*",
    re.IGNORECASE,
)
_NUMBER_FIRST = re.compile(r"\W*\d")
_BRACKETED = re.compile(r"^(?P<words>.*\S)\s*[(\[](?P<unit>[^()\[\]]*)[)\]]\s*$")


@dataclass(frozen=True)
class Guess:
    """What a heading seems to mean."""

    # a name of `kit.records.frame.STRUCTURE`, ``"events"``, one of `LONG`, a quantity, or `IGNORED`
    meaning: str
    unit: str = ""  # as written in the heading; empty when it names none
    doubt: str = ""  # a question, empty when the kit is sure


@dataclass(frozen=True)
class Column:
    """One column and what it means."""

    heading: str  # as it stands above it; a second one of the same name is called "Height (2)"
    # bake, day, dough, load, piece, place, flour_lot, yeast_lot, events, the name of a quantity,
    # thing, quantity, value, unit, or ignored
    meaning: str
    unit: str = ""  # of its bare numbers, as the heading says; empty for the quantity's own unit
    doubt: str = ""  # a question; empty where there is none
    # how cells formatted as percent count: "shown" (0.8 %) or "stored" (0.008)
    percent: str = "shown"
    piece: int = 0  # which piece of its row it is of, from 1, where a row may hold several; else 0
    guessed: Guess = Guess(IGNORED)  # what its heading seems to mean, whatever was said since
    answered: bool = False  # the baker said what this very column means
    own_reading: bool = False  # and in which unit, or how its percent count


def meanings() -> list[str]:
    """Return everything a column can mean."""
    own = [q.name for q in quantities.all_quantities()]
    return [*STRUCTURE, *own, "events", *LONG, IGNORED]


def plain(words: str) -> str:
    """Return words without case, doubled spaces, and signs that tell nothing: "Malt €" is none."""
    return re.sub(r'[^\w°%‰"″±×÷∆$€£¥¢]+|_+', " ", words.casefold()).strip()


def uncounted(heading: str) -> tuple[str, int | None]:
    """Return a heading without the number that counts, and that number; None where none does.

    Examples
    --------
    >>> uncounted("Height 2 (mm)"), uncounted("Muffin 1 height"), uncounted("Height")
    (('Height (mm)', 2), ('height', 1), ('Height', None))
    """
    said = _COUNTS.findall(heading)
    return (_COUNTS.sub(" ", heading).strip(), int(said[0])) if len(said) == 1 else (heading, None)


def ways_to_write() -> dict[str, str]:
    """Return every way of writing a meaning; made anew, since bakers add quantities."""
    index: dict[str, str] = {}
    for quantity in quantities.all_quantities():
        index[plain(quantity.name)] = index[plain(quantity.label)] = quantity.name
    for meaning, words in _WORDS.items():
        for word in words.split(", "):
            index.setdefault(plain(word), meaning)
    # a table's own names stand above everything: what was exported is read back
    return index | {plain(name): name for name in meanings()}


def _splits(heading: str) -> Iterator[tuple[str, str]]:
    """Yield the ways to part a heading into words and a unit, the likeliest first."""
    yield heading, ""
    if bracketed := _BRACKETED.match(heading):
        yield bracketed["words"], bracketed["unit"].strip()
    pieces = [piece for piece in re.split(r"[\s_,]+", heading.strip()) if piece]
    for size in (1, 2):
        if len(pieces) > size:
            yield " ".join(pieces[:-size]), " ".join(pieces[-size:])
    if heading.rstrip().endswith(("%", '"', "″")):
        yield heading.rstrip()[:-1], heading.rstrip()[-1]


def unit_fits(unit: str, meaning: str) -> bool:
    """Say whether a unit can be turned into a quantity's own.

    Examples
    --------
    >>> unit_fits("in", "rise_height_mm"), unit_fits("h", "rise_height_mm")
    (True, False)
    """
    own = quantities.find(meaning)
    if own is None or _NUMBER_FIRST.match(unit):
        return False  # in "1/10 mm" no number is read as it stands
    try:
        return parse(f"1 {unit}", own.unit) is not None
    except UnitError:
        return False


def unit_in(heading: str, meaning: str) -> str:
    """Return the unit of a quantity that a heading names, whatever else it says; else empty.

    Examples
    --------
    >>> unit_in("Weight (oz)", "baked_weight_g"), unit_in("Oven 2 cm", "baked_weight_g")
    ('oz', '')
    """
    parted = (*_splits(heading), *_splits(uncounted(heading)[0]))
    return next((unit for _, unit in parted if unit and unit_fits(unit, meaning)), "")


def guess(heading: str) -> Guess:
    """Return what a heading seems to mean: by name, by label, by kitchen words.

    >>> guess("Height (in)")
    Guess(meaning='rise_height_mm', unit='in', doubt='')
    >>> guess("Retard h").meaning, guess("Teig").meaning, guess("malt %").unit
    ('retard_hours', 'dough', '%')
    >>> guess("hieght").doubt, guess("Oven colour").meaning
    ("Does 'hieght' mean Height?", 'ignored')
    """
    index = ways_to_write()
    if found := exact(heading, index):
        return found
    for words, _ in _splits(heading):
        if either := _EITHER.get(plain(words)):
            return Guess(IGNORED, "", f"{heading!r}: {either}? It is left out unless you say.")
    for words, unit in _splits(heading):
        near = difflib.get_close_matches(plain(words), index, n=1, cutoff=0.82)
        if near and len(plain(words)) > 3 and (not unit or unit_fits(unit, index[near[0]])):
            meaning = index[near[0]]
            return Guess(meaning, unit, _does(heading, meaning))
    return Guess(IGNORED, "", f"What is {heading!r}? It is left out unless you say.")


def exact(heading: str, index: Mapping[str, str]) -> Guess | None:
    """Return what a heading means as one of `ways_to_write`; None where it is none of them."""
    for words, unit in _splits(heading):
        meaning = index.get(plain(words))
        if meaning is None:
            continue
        if not unit or unit_fits(unit, meaning):
            return Guess(meaning, unit)
        if bracketed := _BRACKETED.match(heading):
            if unit_fits(bracketed["unit"], meaning):  # a number or a word before it
                return Guess(meaning, bracketed["unit"], _does(heading, meaning))
            doubt = f"{heading!r}: {unit} is no unit of {_label(meaning)}. Which unit is it?"
            return Guess(meaning, "", doubt if quantities.find(meaning) else "")
    return None


def meaning_of(word: str) -> str:
    """Return the meaning a person names: exactly, or as a heading would.

    Raises NotFoundError: nothing is called so; lists what there is.
    """
    meant = word if word in meanings() else guess(word).meaning
    if meant == IGNORED != word:
        raise NotFoundError("quantity", word, [m for m in meanings() if m not in LONG])
    return meant


def both_mean(first: str, other: str, meaning: str) -> str:
    """Ask about two columns of one meaning."""
    return f"{first!r} and {other!r} both mean {meaning}. Which? Now the first."


def _does(heading: str, meaning: str) -> str:
    return f"Does {heading!r} mean {_label(meaning)}?"


def _label(meaning: str) -> str:
    own = quantities.find(meaning)
    return own.label if own else meaning
