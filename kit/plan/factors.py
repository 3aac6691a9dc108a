"""What is set on purpose: a quantity, its settings, and where they are decided."""

import difflib
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal, get_args

from kit import quantities, words
from kit.errors import DesignError, InputError, NotFoundError
from kit.given import as_number, as_whole

__all__ = ["DECIDED", "MOST_SETTINGS", "Decided", "Factor", "Level", "Setting"]

Decided = Literal["mixing", "retarding", "shaping", "griddle"]
Level = Literal["dough", "load", "piece"]
Setting = float | str

#: Where a setting can be decided, in the order of the work.
DECIDED: tuple[Decided, ...] = get_args(Decided)
#: More settings of one factor than this are no plan for a kitchen.
MOST_SETTINGS = 24
#: What can be set where more can be read (a piece that fell has a proof ratio below 1): above the
#: first and up to the second, and what to say. The proof times are reckoned for these ratios.
_SET: dict[str, tuple[float, float, str]] = {
    "proof_ratio": (1, 4, "2 is double the volume after shaping."),
    "side_minutes": (0, 60, "Enter minutes a side."),
}
#: Numbers with nothing but spaces between, a unit after the last: a comma in one is a decimal's.
_SPACED = re.compile(r"(?:\d+|\d*[.,]\d+)(?:\s+(?:\d+|\d*[.,]\d+))+\s*[^\d\s.,;/]*")
#: One number, also a fraction, and the unit behind it, if any.
_WITH_UNIT = re.compile(r"[-+\d.,/\s¼-¾⅐-⅞]*[\d¼-¾⅐-⅞](\s*[^\d\s:][^\d:]*)?")
_SPAN = re.compile(
    r"(.+?)\s*(?:\bto\b|–|—|(?<=[\d%])\s*-(?=\s*\d)|\.\.+|…)\s*(.+?)(?:\s+in\s+(\d+))?"
)


@dataclass(frozen=True)
class Factor:
    """A quantity set on purpose, and the values it is set to.

    Parameters
    ----------
    quantity : str
        Name of a quantity (``"malt_percent"``), or a word of one's own (``"flour"``), for which
        `decided` must be said.
    settings : sequence of numbers, or of words
        At least two, all different. Numbers are put in order.
    decided : {"mixing", "retarding", "shaping", "griddle"}, optional
        Where it is decided; follows from the quantity when not given. Mixing and retarding
        decide for a whole dough; shaping decides for a piece; the griddle for a piece, or for a
        whole load where the quantity belongs to the load (griddle temperature).

    Examples
    --------
    >>> Factor("malt_percent", (0, 0.6, 1.2)).level
    'dough'
    >>> Factor("side_minutes", (5, 6))
    Factor('side_minutes', (5, 6), decided='griddle')
    """

    quantity: str
    settings: tuple[Setting, ...]
    decided: Decided = None  # type: ignore[assignment]  # filled in below

    def __post_init__(self) -> None:
        object.__setattr__(self, "decided", _decided(self.quantity, self.decided))
        object.__setattr__(self, "settings", _settings(self.quantity, self.settings))

    @classmethod
    def between(
        cls,
        quantity: str,
        low: float,
        high: float,
        doses: int = 4,
        decided: Decided | None = None,
    ) -> "Factor":
        """Make a factor of evenly spaced doses from `low` to `high`.

        Examples
        --------
        >>> Factor.between("malt_percent", 0, 1.2).settings
        (0, 0.4, 0.8, 1.2)
        """
        if as_whole(doses) not in range(2, MOST_SETTINGS + 1):
            raise InputError(
                "doses", doses, f"must be a whole number from 2 to {MOST_SETTINGS}", "Four do."
            )
        for what, value in (("low", low), ("high", high)):
            number = as_number(value)
            if number is None or not math.isfinite(number):
                raise InputError(what, value, "must be a number", "Give both ends of the range.")
        low, high = float(low), float(high)
        if not low < high:
            raise InputError("high", high, f"must be above low, which is {low:g}")
        step = (high - low) / (doses - 1)
        values = [_rounded(quantity, low + i * step) for i in range(doses)]
        if len(set(values)) < doses:
            msg = (
                f"{doses} doses of {words.name(quantity)} between {low:g} and {high:g} lie closer "
                "together than can be told apart. Take fewer doses or a wider range."
            )
            raise DesignError(msg)
        return cls(quantity, tuple(values), decided)  # type: ignore[arg-type]

    @classmethod
    def written(cls, quantity: str, text: str, decided: Decided | None = None) -> "Factor":
        """Read the settings as a person writes them.

        Parameters
        ----------
        quantity : str
            Name of a quantity.
        text : str
            ``"0, 0.4, 0.8"``, with decimal commas ``"0; 0,4; 0,8"`` or ``"0 0,4 0,8"``,
            ``"5 or 6 min"`` (the one unit is that of all), or a range ``"0 to 1.2"``
            (four doses) or ``"0 to 1.2 in 5"``.

        Raises
        ------
        InputError, UnitError, NotFoundError, DesignError
            It cannot be read, or the quantity cannot be planned.

        Examples
        --------
        >>> Factor.written("malt_percent", "0 to 1.2").settings
        (0, 0.4, 0.8, 1.2)
        >>> Factor.written("malt_percent", "0; 0,4; 0,8 %").settings
        (0, 0.4, 0.8)
        >>> Factor.written("malt_percent", "0,0.6").settings
        (0, 0.6)
        >>> Factor.written("side_minutes", "5 or 6 min").settings
        (5, 6)
        >>> Factor.written("liquid_temp_c", "68 or 104 °F").settings
        (20, 40)
        """
        known = quantities.get(quantity)
        text = text.strip()
        span = _SPAN.fullmatch(text)
        if span:
            low, high = sorted(_typed(known, part) for part in _same_unit(span.group(1, 2)))
            return cls.between(quantity, low, high, int(span[3] or 4), decided)
        if _SPACED.fullmatch(text):
            signs = r"(?<=\d)\s+(?=[.,]?\d)"
        elif ";" in text or "/" in text:
            signs = r";|\s/\s|\bor\b|\band\b|\n"
        else:
            signs = r",\s|,(?!\d)|\bor\b|\band\b|\n"
        parts = [part for part in re.split(signs, text) if part.strip()]
        if len(parts) == 1 and (text.count(",") > 1 or ("," in text and "." in text)):
            parts = [part for part in text.split(",") if part.strip()]  # 0,0.4 without spaces
        values = tuple(_typed(known, part) for part in _same_unit(parts))
        if len(values) == 1:
            rule = f"was read as one number, {values[0]:g}"
            remedy = "Put a space or a semicolon between two settings: 0; 1."
            raise InputError("settings", text, rule, remedy, quantity)
        if len(set(values)) < len(values):  # shown as it was typed
            raise InputError("settings", text, "must all be different", "", quantity)
        return cls(quantity, values, decided)  # type: ignore[arg-type]

    @property
    def level(self) -> Level:
        """What one setting of it is given to: a whole dough, a whole load, or a piece."""
        if self.decided in ("mixing", "retarding"):
            return "dough"
        quantity = quantities.find(self.quantity)
        of_load = quantity is not None and quantity.level == "load"
        return "load" if of_load and self.decided == "griddle" else "piece"

    @property
    def shaped_apart(self) -> bool:
        """Whether pieces of one dough are to proof for different times."""
        return self.level == "piece" and self.quantity in ("proof_ratio", "proof_minutes")

    @property
    def numeric(self) -> bool:
        """Whether the settings are numbers."""
        return not isinstance(self.settings[0], str)

    @property
    def name(self) -> str:
        """As it stands in a sentence."""
        return words.name(self.quantity)

    def coded(self, value: Setting) -> float:
        """A number's place between the lowest setting (−1) and the highest (+1)."""
        low, high = float(self.settings[0]), float(self.settings[-1])
        return (2 * float(value) - low - high) / (high - low)

    def real(self, coded: float) -> Setting:
        """The value at a place between −1 and +1, rounded to what a kitchen can set."""
        low, high = float(self.settings[0]), float(self.settings[-1])
        return _rounded(self.quantity, (low + high) / 2 + coded * (high - low) / 2)

    def doubts(self) -> list[str]:
        """Questions about unusual settings, from the quantity's usual range."""
        quantity = quantities.find(self.quantity)
        if quantity is None:
            return []
        said = (quantity.check(float(s)).doubt for s in self.settings if self.numeric)
        return [doubt.removesuffix(".") for doubt in said if doubt]

    def __repr__(self) -> str:
        return f"Factor({self.quantity!r}, {self.settings!r}, decided={self.decided!r})"


def _rounded(quantity: str, value: float) -> float | int:
    """Round to the quantity's decimals (four digits for a quantity of one's own).

    Examples
    --------
    >>> _rounded("malt_percent", 0.17574), _rounded("retard_hours", 24.0)
    (0.18, 24)
    """
    known = quantities.find(quantity)
    if known is not None:
        decimals = known.decimals
    else:
        decimals = 3 - math.floor(math.log10(abs(value))) if value else 0
    result = round(value, decimals) + 0.0
    return int(result) if result == int(result) else result


def _same_unit(parts: Sequence[str]) -> list[str]:
    """Give the one unit that is written to the numbers that bear none, as it is meant.

    Examples
    --------
    >>> _same_unit(["70 ", " 105 °F"]), _same_unit(["0.4", "none"]), _same_unit(["1 h 30", "2 h"])
    (['70 °F', '105 °F'], ['0.4', 'none'], ['1 h 30', '2 h'])
    """
    parts = [part.strip() for part in parts]
    read = [_WITH_UNIT.fullmatch(part) for part in parts]
    units = {each[1].strip() for each in read if each and each[1]}
    unit = f" {units.pop()}" if len(units) == 1 else ""
    bare = [each is not None and not each[1] for each in read]
    return [part + unit * is_bare for part, is_bare in zip(parts, bare, strict=True)]


def _typed(quantity: quantities.Quantity, text: str) -> float:
    if quantity.unit == "%" and text.strip().lower() == "none":  # as the bench sheet says it
        text = "0"
    value = quantity.parse(text, "settings").value
    if value is None:
        raise InputError(
            quantity.name, text, "must not be empty", "Write the settings: 0, 0.4, 0.8.", "settings"
        )
    return _rounded(quantity.name, value) if value != round(value, 6) else value


def _decided(quantity: str, decided: Decided | None) -> Decided:
    """Check where it is decided, or find it from the quantity."""
    if not isinstance(quantity, str) or not quantity.isidentifier():
        rule = "must be a name of letters, digits and underscores"
        raise InputError("quantity", quantity, rule, "For example malt_percent.")
    if decided is not None and decided not in DECIDED:
        rule = f"must be one of {', '.join(DECIDED)}"
        raise InputError("decided", decided, rule, "Say where the setting is chosen.", quantity)
    known = quantities.find(quantity)
    if known is None:
        names = [q.name for q in quantities.all_quantities()]
        near = difflib.get_close_matches(quantity, names, n=1, cutoff=0.75)
        if decided is None or near:
            raise NotFoundError("quantity", quantity, near or names)
        return decided
    level = known.level
    if level == "bake":
        msg = (
            f"{words.name(quantity)} belongs to the whole bake, so it can never be told from the "
            "bake itself. Record it instead, or choose a factor decided for doughs, loads or "
            "pieces."
        )
        raise DesignError(msg)
    if decided is not None:
        if level == "dough" and decided in ("shaping", "griddle"):
            remedy = "All pieces of a dough share it."
            if quantity == "proof_minutes":
                remedy += " Inside doughs vary proof_ratio, which each piece has its own of."
            raise InputError("decided", decided, "must be mixing or retarding", remedy, quantity)
        if level == "load" and decided != "griddle":
            raise InputError(
                "decided", decided, "must be griddle", "All pieces of a load share it.", quantity
            )
        return decided
    if level == "dough":
        return "retarding" if quantity.startswith("retard") else "mixing"
    griddle = level == "load" or quantity in ("side_minutes", "extra_flips", "core_temp_c")
    return "griddle" if griddle else "shaping"


def _settings(quantity: str, settings: Sequence[Setting]) -> tuple[Setting, ...]:
    """Check the settings and put numbers in order."""
    if isinstance(settings, str) or not hasattr(settings, "__iter__"):
        remedy = "For example (0, 0.6, 1.2)."
        raise InputError("settings", settings, "must be a list of at least two", remedy, quantity)
    known = quantities.find(quantity)
    listed = list(settings)
    if known and all(isinstance(s, str) for s in listed):
        listed = [_typed(known, str(s)) for s in listed]
    given = [_setting(s) for s in listed]
    if len(set(map(repr, given))) < len(given):
        raise InputError("settings", listed, "must all be different", "", quantity)
    if len(given) < 2:
        remedy = "With one setting there is nothing to compare it with."
        raise InputError("settings", listed, "must be at least two", remedy, quantity)
    if len(given) > MOST_SETTINGS:
        raise InputError("settings", listed, f"must be at most {MOST_SETTINGS}", "", quantity)
    if all(isinstance(s, str) and s.strip() for s in given):
        return tuple(given)
    for value in given:
        if type(value) not in (int, float) or not math.isfinite(value):
            raise InputError("settings", value, "must be numbers only or words only", "", quantity)
        if known:
            known.check(value)
        above, most, remedy = _SET.get(quantity, (-math.inf, math.inf, ""))
        if not above < value <= most:
            rule = f"must be above {above:g} and at most {most:g}"
            raise InputError("settings", value, rule, remedy, quantity)
    return tuple(sorted(given))


def _setting(given: Any) -> Any:
    """A setting as it is kept: a plain number, whole where it can be; all else as it is."""
    number = as_number(given)
    if number is None or not math.isfinite(number):
        return given
    return int(number) if number.is_integer() else number
