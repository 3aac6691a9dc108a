"""One table of a bake as plain data: its columns, what stands in them, and storing one text."""

import math
import re
from collections import Counter
from collections.abc import Iterable
from dataclasses import replace
from typing import Any, TypeGuard

import pandas as pd

from kit import quantities, units, words
from kit.errors import InputError
from kit.panels.parts.entry import Answer, Cell, Heading
from kit.panels.parts.today import day_said
from kit.panels.recording.events import TITLE
from kit.quantities import Quantity
from kit.records.things import Bake, Dough, Load, Piece, Thing
from kit.records.typed import whole
from kit.us_units import also_us, either
from kit.workspace import Trial

__all__ = ["LevelSheet"]

#: what belongs to the thing itself and is no quantity: its label, and whether it takes words
_FIELDS = {
    "bake": {"day": ("Day", True), "flour_lot": ("Flour lot", True),
             "yeast_lot": ("Yeast lot", True), "note": ("Note", True)},
    "dough": {"note": ("Note", True)},
    "load": {},
    "piece": {"load": ("Load", False), "place": ("Place", False)},
}  # fmt: skip
#: which of these a plan fills in
_GIVEN = {"day", "load", "place"}
#: what else a bare number may be meant in: as it is typed, and as it is shown
_CUSTOMARY = {"°C": ("F", "°F"), "mm": ("in", "in"), "g": ("oz", "oz")}
#: how a value came, said beside it when nobody typed it
_CAME = {"photo": "from a photo", "computed": "computed"}

Filled = tuple[list[Heading], list[Heading], dict[tuple[str, str], Cell]]


class LevelSheet:
    """What is recorded of a bake, its doughs, its loads or its pieces.

    The bake stands upright, one quantity a row; the others have one row a dough, load or piece.

    Parameters
    ----------
    trial : Trial
    bake : Bake
    level : str
        One of `kit.quantities.LEVELS`.
    """

    def __init__(self, trial: Trial, bake: Bake, level: str) -> None:
        self.trial, self.bake, self.level = trial, bake, level
        #: of pieces: by "dough", by "griddle" (load and place, as on the bench sheet), or by
        #: "code" alone, for who measures without knowing what is what
        self.order = "dough"
        self.added: list[str] = []
        self.shown: list[str] = []
        self._things: dict[str, Any] = {}
        #: the trial's name and, by codes alone, the code of each piece of all its bakes: what is
        #: taken back may be the trial itself
        self._codes: tuple[str, dict[str, str]] = "", {}
        #: what the table shows and what was planned, by thing and quantity
        self._known: dict[tuple[str, str], float | None] = {}
        self._plan: dict[tuple[str, str], float] = {}

    def things(self) -> list[Any]:
        """Return the bake, or its doughs, loads or pieces, as they are now."""
        trial, bake = self.trial, self.bake
        if self.level == "bake":
            return [one for one in trial.bakes() if one.id == bake.id]
        if self.level == "dough":
            return list(trial.doughs(bake))
        if self.level == "load":
            return list(trial.loads(bake))
        pieces = [piece for dough in trial.doughs(bake) for piece in trial.pieces(dough)]
        if self.order == "griddle":
            pieces.sort(key=lambda p: (p.load.position if p.load else math.inf, p.place or 0))
        if self.order == "code":
            pieces.sort(key=lambda p: (len(p.blind or p.code), p.blind or p.code))
        return pieces

    def filled(self) -> Filled:
        """Return columns, rows and what stands in the fields."""
        readings = self.trial.readings()
        readings = readings[readings["level"] == self.level]
        # oldest first: the last of several readings stays, and an empty one takes back the others
        actual: dict[Any, Any] = {
            (r.id, r.quantity): r for r in readings.itertuples() if r.how != "planned"
        }
        plan: dict[Any, Any] = {
            (r.id, r.quantity): r.value for r in readings.itertuples() if r.how == "planned"
        }
        self._plan = {key: value for key, value in plan.items() if not pd.isna(value)}
        self._known = {
            key: None if pd.isna(reading.value) else reading.value
            for key, reading in actual.items()
        }
        self.shown = self._columns(dict.fromkeys(readings["quantity"]))
        things = self.things()
        self._things = {thing.id: thing for thing in things}
        by_code = self.trial.pieces() if self.order == "code" else []
        named = {str(piece): f"code {piece.blind or piece.code}" for piece in by_code}
        self._codes = self.trial.name, named
        heads, rows = [self._heading(name) for name in self.shown], [self._row(t) for t in things]
        cells = {
            (row.key, head.key): self._cell(thing, head, actual, plan)
            for thing, row in zip(things, rows, strict=True)
            for head in heads
        }
        if self.level == "bake":
            return rows, heads, {(head, row): cell for (row, head), cell in cells.items()}
        return heads, rows, cells

    def blinded(self, texts: Iterable[str]) -> list[str]:
        """Return what was done with the codes of pieces for their names, where rows are by codes.

        The pieces of all bakes of the trial; other trials have pieces of the same names.
        """
        whose, codes = self._codes
        name = re.compile("|".join(rf"{re.escape(one)}\b" for one in codes) or "(?!)")
        return [
            name.sub(lambda found: codes[found[0]], text)
            if text.removeprefix("undone: ").startswith(f"{whose}: ")
            else text
            for text in texts
        ]

    def others(self) -> list[Quantity]:
        """Return the quantities that could be recorded here and are not shown."""
        known = (q for q in quantities.all_quantities() if q.level == self.level)
        return [q for q in known if not q.formula and q.name not in self.shown]

    def _columns(self, recorded: Iterable[str]) -> list[str]:
        """What the trial is about first, then what was recorded before, then what was added."""
        trial = self.trial
        about = [*trial.factors, *([trial.outcome] if trial.outcome else [])]
        names = [*about, *recorded, *trial.sheet_quantities(), *self.added]
        wanted = [n for name in names for n in _measured(name)]
        mine = [n for n in wanted if quantities.get(n).level == self.level]
        own = list(_FIELDS[self.level])
        if self.level == "piece" and not trial.loads(self.bake):
            own = []
        if self.order == "code":  # nothing that tells the settings
            mine, own = [name for name in mine if name not in trial.factors], []
        return list(dict.fromkeys([*mine, *own]))

    def _heading(self, name: str) -> Heading:
        if name in _FIELDS[self.level]:
            return Heading(name, _FIELDS[self.level][name][0])
        quantity = quantities.get(name)
        return Heading(name, quantity.label, either(quantity.unit), tip=quantity.meaning)

    def _cell(self, thing: Thing, head: Heading, actual: Any, plan: Any) -> Cell:
        named = f"code {thing.blind or thing.code}" if self._by_code(thing) else thing
        label = f"{f'{head.text} {head.more}'.strip()}, {named}"
        if head.key in _FIELDS[self.level]:
            words = _FIELDS[self.level][head.key][1]
            return Cell(label, _own_text(thing, head.key), words=words, given=head.key in _GIVEN)
        quantity = quantities.get(head.key)
        said = []
        planned = plan.get((thing.id, head.key))
        if planned is not None and planned == planned and self.order != "code":
            said.append(f"planned {_for_us(_shown(quantity, planned), quantity.unit)}")
        text, reading = "", actual.get((thing.id, head.key))
        if reading is not None and reading.value == reading.value:
            text = _shown(quantity, reading.value)
            said += [_CAME[reading.how]] if reading.how in _CAME else []
        return Cell(label, text, " · ".join(said))

    def _by_code(self, thing: Thing) -> TypeGuard[Piece]:
        return self.order == "code" and isinstance(thing, Piece)

    def _row(self, thing: Thing) -> Heading:
        if self._by_code(thing):
            return Heading(thing.id, thing.blind or thing.code)
        row = _row(thing)
        if self.order == "griddle" and isinstance(thing, Piece):
            return replace(row, group=thing.load.id if thing.load else "")
        return row

    def store(self, row: str, column: str, text: str, sure: bool) -> Answer:
        """Store one text with the trial's own verbs, or ask about it.

        Raises
        ------
        KitError
            It cannot be read or stored.
        """
        key, name = (column, row) if self.level == "bake" else (row, column)
        thing = self._things[key]
        if name in _FIELDS[self.level]:
            value = self._own_value(name, text)
            if name == "place" and not sure and (doubt := self._odd_place(thing, value)):
                return Answer("asked", text, doubt)
            self.trial.change(thing, **{name: value})
            return Answer("saved", (value if name == "day" else text).strip())
        quantity = quantities.get(name)
        try:
            checked = quantity.parse(text, str(thing))
        except InputError as exc:
            raise _with_way_out(quantity, text, exc) from exc
        doubt = checked.doubt
        if "°F is meant" not in doubt:
            doubt = f"{doubt} {_in_customary(quantity, text)}".strip()
        doubt = doubt or self._another_setting(thing, quantity, checked.value)
        there = self.trial.recorded(thing, quantity.name)
        meanwhile = self._meanwhile(thing, quantity, there, checked.value)
        if (doubt or meanwhile) and not sure:
            held = ("" if there is None else _shown(quantity, there)) if meanwhile else None
            return Answer("asked", text, f"{meanwhile} {doubt}".strip(), held)
        note = "unusual, asked about, and said to be right" if doubt else None
        value = self.trial.record(thing, name, text, note=note).value
        self._known[thing.id, name] = value
        if value is None:
            return Answer("saved", "", "taken out: missing")
        shown = _shown(quantity, value)
        # a typed unit was converted: both stand there
        return Answer("saved", shown, "" if _bare(text) else f"saved: {text.strip()}")

    def _another_setting(self, thing: Thing, quantity: Quantity, value: float | None) -> str:
        """Ask where what was done is nearer to another setting of the trial than to the plan."""
        planned = self._plan.get((thing.id, quantity.name))
        settings = self.trial.factors.get(quantity.name, [])
        if value is None or planned is None or not settings:
            return ""
        near = min(settings, key=lambda setting: (abs(setting - value), setting))
        if abs(near - value) >= abs(planned - value):
            return ""
        plan, other = (words.amount(quantity.name, one) for one in (planned, near))
        told = f"{plan} was planned for {thing}, and {other} is for others. Is it right?"
        if near != value:
            typed = words.amount(quantity.name, value)
            told = f"{typed} is nearer to {other}, as of others, than to {plan}, as planned. "
            told += "Is it right?"
        return also_us(told, absolute=True)

    def _meanwhile(
        self, thing: Thing, quantity: Quantity, there: float | None, value: float | None
    ) -> str:
        """Tell of a value that another window or a photo put where this table shows another."""
        known = self._known.get((thing.id, quantity.name))
        if there in (known, value):
            return ""
        now = "was taken out" if there is None else f"became {quantity.show(there)}"
        return f"Meanwhile it {now}, in another window or from a photo. Put this in its place?"

    def _own_value(self, name: str, text: str) -> Any:
        """A piece's load is the load itself; the rest is taken as typed."""
        if name == "place":
            return whole("place", text)
        if name == "day":
            return day_said(text, self.bake.zone)
        if name != "load":
            return text
        position = whole("load", text)
        return None if position is None else self.trial.load(position, self.bake.code)

    def _odd_place(self, piece: Piece, place: int | None) -> str:
        """Ask about a place that the griddle, from all that lay on it, does not seem to have."""
        others = [one for one in self.trial.pieces() if one.id != piece.id]
        places = [one.place for one in others if one.place is not None]
        if place is None or not places:
            return ""
        # a load that is being filled in may go as far as it has pieces
        held = Counter(one.load.id for one in (*others, piece) if one.load is not None)
        most = max(*places, *held.values())
        if place <= most:
            return ""
        return f"Place {place} is unusual: so far the griddle had places 1 to {most}. Is it right?"


def _row(thing: Any) -> Heading:
    if isinstance(thing, Piece):
        lies = [f"load {thing.load.position}"] if thing.load else []
        lies += [f"place {thing.place}"] if thing.place else []
        return Heading(thing.id, thing.code, ", ".join(lies), group=thing.dough.id)
    if isinstance(thing, Load):
        return Heading(thing.id, str(thing.position))
    if isinstance(thing, Dough):
        return Heading(thing.id, thing.code)
    return Heading(thing.id, f"Bake {thing.code}")


def _own_text(thing: Any, name: str) -> str:
    value = getattr(thing, name)
    if isinstance(value, Load):
        return str(value.position)
    return "" if value is None else str(value)


def _with_way_out(quantity: Quantity, text: str, exc: InputError) -> InputError:
    """What is wrong with a number, and what else may have been meant."""
    remedy = _in_customary(quantity, text) or exc.remedy
    if quantity.unit == "min" and (clock := re.fullmatch(r"(\d+):(\d\d)", text.strip())):
        minutes = f"{int(clock[1]) + int(clock[2]) / 60:.4g}"
        remedy = f"It was read as hours and minutes. For minutes and seconds write {minutes}."
    if not any(sign.isdigit() for sign in text):  # "burnt", "n/a", "-"
        remedy = f"Leave it empty, and note below under “{TITLE}” what it was."
    return InputError(exc.field, exc.value, exc.rule, remedy, exc.where)


def _in_customary(quantity: Quantity, text: str) -> str:
    """Offer °F, inches or ounces where a number without a unit is usual in them alone.

    Examples
    --------
    >>> _in_customary(quantities.get("griddle_temp_c"), "350")
    '350 °F would be 177 °C: write 350 F if you mean that.'
    >>> _in_customary(quantities.get("rise_height_mm"), "1 1/4")
    '1 1/4 in would be 31.8 mm: write 1 1/4 in if you mean that.'
    """
    other, sign = _CUSTOMARY.get(quantity.unit, ("", ""))
    typed = text.strip()
    if not other or not re.fullmatch(r"[\d.,+−/\s½⅓⅔¼¾⅛⅜⅝⅞-]+", typed):
        return ""
    try:
        metric = units.parse(f"{typed} {other}", quantity.unit)
    except InputError:
        return ""
    low, high = quantity.usual
    if metric is None or not low <= metric <= high:
        return ""
    shown = f"{metric:.{quantity.decimals}f} {quantity.unit}"
    return f"{typed} {sign} would be {shown}: write {typed} {other} if you mean that."


def _measured(name: str) -> tuple[str, ...]:
    """A computed quantity is recorded by what it is computed from."""
    quantity = quantities.get(name)
    return quantity.needs if quantity.formula else (name,)


def _bare(text: str) -> bool:
    """Whether a text is a number without a unit or fraction."""
    return re.fullmatch(r"[\d.,+−-]*", text.strip()) is not None


def _for_us(number: str, unit: str) -> str:
    """A number under a column that names its unit; with the customary one where that is wanted."""
    metric = f"{number} {unit}"
    both = also_us(metric, absolute=True)
    return number if both == metric else both


def _shown(quantity: Quantity, value: float) -> str:
    """The value as it is kept; a converted one, with its endless decimals, to one more than usual.

    Examples
    --------
    >>> _shown(quantities.get("rise_height_mm"), 38.1), _shown(quantities.get("rise_height_mm"), 38)
    ('38.1', '38')
    >>> _shown(quantities.get("dough_temp_c"), 40.55555555555556)
    '40.56'
    """
    whole_text = f"{value:.12g}"
    if len(whole_text) <= 8:
        return whole_text
    return f"{round(value, quantity.decimals + 1):.12g}"
