"""The quantities: the one place that knows names, units, levels, ranges, labels, decimals.

Forms, spreadsheet columns, chart axes, the package schema and the documentation are made from
this table. Add your own with `add` (or `Workspace.add_quantity`, which also remembers it).

Plausible ranges are asked about, never refused: they are common practice in griddle-baked
muffins, no source, except where a source stands beside the row. Possible ranges are refused:
they follow from what the word means (a share lies between 0 and 1).
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from keyword import iskeyword

from kit.errors import InputError, NotFoundError, UnitError
from kit.given import check_range, given_number, is_missing
from kit.units import can_be_kept, parse
from kit.us_units import also_us, either

__all__ = [
    "COLUMNS", "LEVELS", "SERIES", "Checked", "Quantity", "add", "all_quantities", "built_in",
    "called", "check_own", "find", "get", "label", "open_ends",
    "remember",
]  # fmt: skip

#: what a reading can belong to, outermost first
LEVELS = ("bake", "dough", "load", "piece")
#: a frame's other columns, whose names no quantity may take
COLUMNS = frozenset(
    "trial bake day dough load piece place flour_lot yeast_lot events note how u".split()
)
#: read again and again: each reading counts by itself, at its time, so none of them stands in a
#: frame, on a form or in a plan
SERIES = frozenset({"dough_ratio", "dough_volume_ml"})


@dataclass(frozen=True)
class Checked:
    """A value that is possible, and the doubt about it if it is unusual.

    Parameters
    ----------
    value : float or None
        Metric, in the quantity's unit; None when nothing was given.
    doubt : str
        A question to put to the baker, empty when the value is usual.
    """

    value: float | None
    doubt: str = ""


@dataclass(frozen=True)
class Quantity:
    """Something with a unit, a level and a range.

    Parameters
    ----------
    name : str
        As in columns and code, with the unit at the end.
    label : str
        As on charts and forms, without the unit.
    unit : str
        ``"°C"``, ``"g"``, ``"h"`` …; empty for scores, shares and counts.
    level : str
        One of `LEVELS`: what one value of it belongs to.
    possible : (float, float)
        Outside it a value is refused.
    usual : (float, float)
        Outside it a value is asked about.
    decimals : int
        Shown.
    meaning : str
        One sentence for the form and the write-up.
    needs : tuple of str
        For a computed quantity: what it is computed from.
    formula : callable, optional
        Takes the values of `needs` in order.
    whole : bool
        Only whole numbers (scores, counts).
    """

    name: str
    label: str
    unit: str
    level: str
    possible: tuple[float, float]
    usual: tuple[float, float]
    decimals: int
    meaning: str
    needs: tuple[str, ...] = ()
    formula: Callable[..., float] | None = None
    whole: bool = False

    def __post_init__(self) -> None:
        for name in ("possible", "usual", "needs"):
            object.__setattr__(self, name, tuple(getattr(self, name)))

    @property
    def axis(self) -> str:
        """Label with unit, as on a chart's axis."""
        return f"{self.label} ({self.unit})" if self.unit else self.label

    @property
    def asked(self) -> str:
        """Label with the units it may be written in, as on a sheet."""
        return f"{self.label} ({either(self.unit)})" if self.unit else self.label

    def show(self, value: float | None) -> str:
        """Return the value with its unit, at the quantity's decimals; a dash when missing."""
        if is_missing(value):
            return "–"
        text = f"{value:.{self.decimals}f}"
        # a reading of °C is no difference: it can be told in °F as it stands
        return also_us(f"{text} {self.unit}", absolute=True) if self.unit else text

    def check(self, value: float | None, where: str = "") -> Checked:
        """Refuse an impossible value, question an unusual one.

        Raises InputError: no number, outside `possible`, not finite, or not whole where only whole
        numbers make sense.
        """
        return self._checked(value, where, has_unit=False)

    def _checked(self, value: float | None, where: str, has_unit: bool) -> Checked:
        number = given_number(value, self.name, where)
        if number is None:
            return Checked(None)
        remedy, told = self._ask(), ""
        if not has_unit:
            remedy = self._if_f(number, self.possible, "If °F is meant, write {:g} F.") or remedy
            bare = "; if it was typed without a unit and °F is meant, write {:g} F"
            told = self._if_f(number, self.usual, bare)
        check_range(self.name, number, *self.possible, remedy, where, self.unit)
        if self.whole and not number.is_integer():
            raise InputError(self.name, number, "must be a whole number", self._ask(), where)
        usual_low, usual_high = self.usual
        if usual_low <= number <= usual_high:
            return Checked(number)
        return Checked(
            number,
            f"{self.label} {self.show(number)} is unusual "
            f"(mostly {usual_low:g} to {usual_high:g}{' ' + self.unit if self.unit else ''}"
            f"{told}). Is it right?",
        )

    def parse(self, text: str | float | None, where: str = "") -> Checked:
        """Read what was typed (any unit of the right kind) and check it.

        Raises InputError: not readable as this quantity, or impossible.
        """
        try:
            number = parse(text, self.unit, self.name, where)
        except UnitError as exc:
            if not self._is_scale:
                raise
            raise UnitError(self.name, text, exc.rule, self._ask(), where) from exc
        has_unit = isinstance(text, str) and any(c.isalpha() or c == "°" for c in text)
        try:
            return self._checked(number, where, has_unit)
        except InputError as exc:
            raise InputError(*self._as_typed(text, number, exc), where) from exc

    def _as_typed(
        self, text: str | float | None, number: float | None, refused: InputError
    ) -> tuple[str, object, str, str]:
        """Field, value as it was typed, rule, and a remedy with what it may have been meant as."""
        if number is None or not isinstance(text, str) or f"{number:.12g}" in text:
            return self.name, refused.value, refused.rule, refused.remedy
        remedy = f"It was read as {number:.5g} {self.unit}".rstrip() + f". {self._ask()}"
        if self.unit == "min" and ":" in text:
            remedy += f" For minutes and seconds write {text.strip().replace(':', ' min ')}."
        return self.name, text, refused.rule, remedy

    def _if_f(self, number: float, span: tuple[float, float], told: str) -> str:
        """What to say of a number outside a span of °C that lies in it as °F; else nothing."""
        if self.unit != "°C" or not span[0] <= (number - 32) / 1.8 <= span[1]:
            return ""
        return told.format(number)

    @property
    def _is_scale(self) -> bool:
        """Whether it has a few steps, which its meaning names."""
        few = self.possible[1] - self.possible[0] < 20
        return self.whole and few and self.usual == self.possible and bool(self.meaning)

    def _ask(self) -> str:
        if self._is_scale:
            return self.meaning
        return f"Enter {self.label.lower()}{' in ' + self.unit if self.unit else ''}."


_INF = math.inf


def _loss_percent(ball_g: float, baked_g: float) -> float:
    """Bake loss as a share of the raw piece (common practice: store the basis)."""
    return 100.0 * (ball_g - baked_g) / ball_g


def _specific_volume(volume_ml: float, baked_g: float) -> float:
    """Volume per mass of the baked piece (AACC 10-05.01 measures it by seed displacement)."""
    return volume_ml / baked_g


_Q = Quantity
_TABLE = (
    # what a whole bake shares
    _Q("room_temp_c", "Room temperature", "°C", "bake", (-30, 60), (15, 32), 1,
       "Air where the dough stands."),
    # decided when the dough is mixed or retarded
    _Q("malt_percent", "Diastatic malt", "%", "dough", (0, 20), (0, 2), 2,
       "Diastatic malt as a share of the flour's weight."),
    _Q("malt_lintner", "Malt strength", "°L", "dough", (0, 1000), (20, 250), 0,
       "Diastatic power of the malt in degrees Lintner."),
    _Q("hydration_percent", "Hydration", "%", "dough", (0, 300), (55, 95), 1,
       "All water, that in milk and egg included, as a share of the flour's weight."),
    _Q("salt_percent", "Salt", "%", "dough", (0, 20), (1, 2.5), 2,
       "Salt as a share of the flour's weight."),
    _Q("yeast_percent", "Yeast", "%", "dough", (0, 30), (0.05, 3), 2,
       "Instant dry yeast, or what does its work, as a share of the flour's weight."),
    _Q("liquid_temp_c", "Liquid temperature", "°C", "dough", (-5, 100), (2, 45), 1,
       "The liquid as it went in."),
    _Q("dough_temp_c", "Dough temperature", "°C", "dough", (-10, 60), (15, 32), 1,
       "The dough just after mixing."),
    _Q("retard_hours", "Cold retard", "h", "dough", (0, 240), (0, 72), 1,
       "Time in the refrigerator."),
    _Q("retard_temp_c", "Retard temperature", "°C", "dough", (-10, 25), (1, 8), 1,
       "The refrigerator where the dough stood."),
    _Q("proof_minutes", "Warm proof", "min", "dough", (0, 1440), (20, 300), 0,
       "Time from shaping, or from the refrigerator, to the griddle."),
    _Q("double_minutes", "Time to double", "min", "dough", (0, 1440), (30, 300), 0,
       "Warm time from shaping, or from the refrigerator, until the volume has doubled."),
    _Q("dough_ratio", "Rise so far", "", "dough", (0.2, 12), (0.9, 4), 2,
       "Volume of a proofing dough divided by its volume when the warm proof began: 2 is double."),
    _Q("dough_volume_ml", "Dough volume", "ml", "dough", (0.1, 100000), (5, 5000), 0,
       "Volume of a proofing dough, or of the ball or jar that stands for it, in a photo."),
    _Q("proof_temp_c", "Proof temperature", "°C", "dough", (-5, 60), (18, 40), 1,
       "Air where the pieces proof."),
    # one fill of the griddle
    _Q("griddle_temp_c", "Griddle temperature", "°C", "load", (20, 400), (140, 230), 0,
       "The surface as the load went on."),
    _Q("waited_minutes", "Waited before the griddle", "min", "load", (0, 600), (0, 90), 0,
       "Time the pieces stood ready because the griddle was full."),
    # one muffin
    _Q("ball_weight_g", "Raw piece", "g", "piece", (1, 2000), (40, 150), 1,
       "The shaped piece before it proofs."),
    _Q("proof_ratio", "Proof ratio", "", "piece", (0.5, 10), (1.2, 3), 2,
       "Volume at the griddle divided by volume after shaping: 2 is double the volume."),
    _Q("side_minutes", "Time a side", "min", "piece", (0, 60), (3, 12), 1,
       "Time on the first side."),
    _Q("extra_flips", "Extra turns", "", "piece", (0, 20), (0, 3), 0,
       "Turns after both sides had their time, for a piece that sounds dense.", whole=True),
    _Q("core_temp_c", "Core temperature", "°C", "piece", (-5, 110), (85, 100), 1,
       "The middle as it came off the griddle."),
    _Q("baked_weight_g", "Baked piece", "g", "piece", (1, 2000), (35, 140), 1,
       "The piece after it has rested on the rack."),
    _Q("bake_loss_percent", "Bake loss", "%", "piece", (-_INF, 100), (5, 20), 1,
       "Weight lost between shaping and rack, as a share of the raw piece.",
       needs=("ball_weight_g", "baked_weight_g"), formula=_loss_percent),
    _Q("rise_height_mm", "Height", "mm", "piece", (1, 300), (15, 60), 1,
       "Greatest height of the baked piece."),
    _Q("diameter_mm", "Diameter", "mm", "piece", (5, 500), (60, 130), 1,
       "Greatest width of the baked piece."),
    _Q("volume_ml", "Volume", "ml", "piece", (1, 5000), (80, 400), 0,
       "Volume of the baked piece."),
    _Q("specific_volume_ml_per_g", "Specific volume", "ml/g", "piece", (0.1, 30), (1.5, 6), 2,
       "Volume of the baked piece divided by its weight.",
       needs=("volume_ml", "baked_weight_g"), formula=_specific_volume),
    _Q("crumb_openness", "Crumb openness", "", "piece", (0, 1), (0.1, 0.8), 3,
       "Share of the cut face taken by cells of 0.10 mm² or more."),
    _Q("cells_per_cm2", "Cells", "/cm²", "piece", (0, 1000), (5, 150), 1,
       "Cells of 0.10 mm² or more per square centimetre of crumb."),
    _Q("median_cell_mm2", "Middle cell", "mm²", "piece", (0, 1000), (0.1, 20), 2,
       "Half of the cells of 0.10 mm² or more are larger than this, half are smaller."),
    _Q("browning_l", "Browning L*", "", "piece", (0, 100), (25, 85), 1,
       "Lightness of the face, CIE L*: 100 is white, lower is darker."),
    _Q("hollow_tap", "Tap", "", "piece", (0, 2), (0, 2), 0,
       "How it sounds when tapped: 0 dense, 1 between, 2 hollow.", whole=True),
    _Q("gumminess", "Gumminess", "", "piece", (0, 4), (0, 4), 0,
       "Crumb between the fingers: 0 dry, 2 moist, 4 sticky.", whole=True),
    _Q("liking", "Liking", "", "piece", (1, 9), (1, 9), 0,
       "One taster's score, 1 dislike extremely to 9 like extremely.", whole=True),
)  # fmt: skip
_KNOWN: dict[str, Quantity] = {quantity.name: quantity for quantity in _TABLE}


def all_quantities(series: bool = False) -> tuple[Quantity, ...]:
    """Return every known quantity, those added by the user last; `SERIES` only when asked for."""
    return tuple(q for q in _KNOWN.values() if series or q.name not in SERIES)


def get(name: str) -> Quantity:
    """Return one quantity by name.

    Raises NotFoundError: lists the names that exist.
    """
    try:
        return _KNOWN[name]
    except KeyError:
        raise NotFoundError("quantity", name, _KNOWN) from None


def find(name: str) -> Quantity | None:
    """Return the quantity that stands in frames, on forms and in plans under a name; else None.

    Examples
    --------
    >>> find("angle"), find("dough_ratio"), find("salt_percent").label
    (None, None, 'Salt')
    """
    return None if name in SERIES else _KNOWN.get(name)


def called(text: str) -> str:
    """Return the name of the quantity a person means, by its name or its label; else the text.

    Examples
    --------
    >>> called("Cold retard"), called("rise_height_mm"), called("angle")
    ('retard_hours', 'rise_height_mm', 'angle')
    """
    clean = " ".join(text.lower().split())
    return next((q.name for q in _KNOWN.values() if clean == q.label.lower()), text)


def add(quantity: Quantity) -> Quantity:
    """Make one's own quantity known for this session.

    Raises InputError: the name is taken by a different quantity, or it cannot be one: see
    `check_own`.
    """
    check_own(quantity)
    return remember(quantity)


def check_own(quantity: Quantity) -> None:
    """Refuse what cannot be a quantity of somebody's own.

    Raises InputError: no plain name or a column's, no label, decimals, level or unit that can be,
    empty ranges.
    """
    if not quantity.name.isidentifier() or quantity.name != quantity.name.lower():
        raise InputError(
            "name",
            quantity.name,
            "must be lower-case letters, digits and underscores",
            "For example crust_thickness_mm.",
        )
    if quantity.name in COLUMNS or iskeyword(quantity.name):
        raise InputError("name", quantity.name, "is the name of another column", "Choose another.")
    if not quantity.label.strip():
        raise InputError("label", quantity.label, "must not be empty", "Forms and charts show it.")
    if quantity.decimals not in range(10):
        raise InputError("decimals", quantity.decimals, "must be a whole number from 0 to 9")
    if quantity.level not in LEVELS:
        raise InputError("level", quantity.level, f"must be one of {', '.join(LEVELS)}")
    if not can_be_kept(quantity.unit):
        raise InputError("unit", quantity.unit, "must have its zero where °C or °L has it")
    for what in ("possible", "usual"):
        low, high = getattr(quantity, what)
        if not low < high:
            raise InputError(what, (low, high), "must be two numbers, the lower one first")


def remember(quantity: Quantity) -> Quantity:
    """Make a quantity known that was added before, whatever `add` refuses by now.

    Raises InputError: the name is taken by a different quantity.
    """
    if _KNOWN.setdefault(quantity.name, quantity) != quantity:
        raise InputError(
            "name", quantity.name, "is taken by another quantity", "Choose another name."
        )
    return quantity


def open_ends(low: float | None, high: float | None) -> tuple[float, float]:
    """Return a range as a quantity has it: an end that is missing is open."""
    return -_INF if low is None else low, _INF if high is None else high


def built_in() -> frozenset[str]:
    """Names of the quantities every kit knows."""
    return frozenset(quantity.name for quantity in _TABLE)


def label(name: str) -> str:
    """Return the axis label of a column; the column's own words when it is no quantity.

    Examples
    --------
    >>> label("rise_height_mm"), label("angle_deg")
    ('Height (mm)', 'angle deg')
    """
    return _KNOWN[name].axis if name in _KNOWN else name.replace("_", " ")
