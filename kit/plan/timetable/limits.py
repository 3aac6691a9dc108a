"""What a kitchen allows, and how long things take in it."""

import math
from dataclasses import dataclass, fields
from datetime import time

from kit.errors import InputError
from kit.given import as_number, as_whole
from kit.plan.timetable.clock import read_clock

__all__ = ["Limits"]

# field -> smallest, largest, only whole numbers, and what to enter
_RANGE: dict[str, tuple[float, float, bool, str]] = {
    "hands": (1, 50, True, "Enter how many people can work at once."),
    "tubs": (1, 500, True, "Enter how many doughs can stand at once."),
    "shelf_places": (0, 500, True, "Enter how many tubs fit into the refrigerator."),
    "griddle_places": (1, 200, True, "Enter how many pieces the griddle holds."),
    "griddle_hands": (0, 50, True, "Enter 1, or 0 when shaping can go on between two turns."),
    "mix_minutes": (1, 600, False, "Enter minutes to weigh and mix one dough."),
    "rise_minutes": (0, 1440, False, "Enter minutes a dough stands before the refrigerator."),
    "shape_minutes": (1, 600, False, "Enter minutes to take out and shape one dough."),
    "heat_minutes": (0, 240, False, "Enter minutes the griddle takes to heat."),
    "side_minutes": (0.5, 60, False, "Enter minutes a side."),
    "third_turn_minutes": (0, 60, False, "Enter minutes, 0 for no third turn."),
    "changeover_minutes": (0, 240, False, "Enter minutes between two loads."),
    "rest_minutes": (0, 600, False, "Enter minutes on the rack."),
    "wait_minutes": (0, 600, False, "Enter minutes a proofed piece may wait at most."),
    "retard_tolerance_hours": (0, 48, False, "Enter hours, 0 for none."),
}


@dataclass(frozen=True)
class Limits:
    """What the kitchen allows, and how long things take in it.

    The lengths are common practice, no source: put in your own.

    Parameters
    ----------
    awake_from, awake_to : str or time
        Local time of day between which somebody can work; ``"22:00"`` to ``"6:00"`` is a night.
    hands : int
        People who can work at once.
    tubs : int
        Doughs that can stand at once, from mixing until shaping.
    shelf_places : int
        Tubs that fit into the refrigerator.
    griddle_places : int
        Pieces on the one griddle.
    griddle_hands : int
        People a load keeps busy: 1, or 0 when the one who turns can shape meanwhile.
    mix_minutes, shape_minutes : float
        For one dough; shaping includes taking it out, and where a dough is shaped in parts, 2
        minutes of it come again with every part.
    rise_minutes : float
        Standing warm between mixing and the refrigerator.
    heat_minutes : float
        From lighting the griddle to the first load.
    side_minutes : float
        A side, where the plan says nothing.
    third_turn_minutes : float
        Kept free at the end of each load for pieces that sound dense.
    changeover_minutes : float
        Between two loads: wipe, let the surface come back to heat.
    rest_minutes : float
        On the rack, which finishes the cooking.
    wait_minutes : float
        The longest a proofed piece may stand ready before its load; 90 is the usual range of
        the quantity `waited_minutes`.
    retard_tolerance_hours : float
        How far a retard may be moved in a plan that is offered instead; a plan as asked keeps
        every retard exactly.

    Raises
    ------
    InputError
        A value that no kitchen has.

    Examples
    --------
    >>> Limits(hands=2).griddle_places
    6
    >>> Limits(griddle_places=0)
    Traceback (most recent call last):
    ...
    kit.errors.InputError: griddle_places is 0: must be a whole number from 1 to 200. Enter how \
many pieces the griddle holds.
    """

    awake_from: str | time = "06:00"
    awake_to: str | time = "22:00"
    hands: int = 1
    tubs: int = 4
    shelf_places: int = 4
    griddle_places: int = 6
    griddle_hands: int = 1
    mix_minutes: float = 20
    rise_minutes: float = 0
    shape_minutes: float = 10
    heat_minutes: float = 15
    side_minutes: float = 6
    third_turn_minutes: float = 3
    changeover_minutes: float = 4
    rest_minutes: float = 30
    wait_minutes: float = 90
    retard_tolerance_hours: float = 1

    def __post_init__(self) -> None:
        for field in fields(self):
            if field.name not in _RANGE:
                continue
            value = getattr(self, field.name)
            low, high, whole, ask = _RANGE[field.name]
            kind = "a whole number" if whole else "a number"
            number = as_whole(value) if whole else as_number(value)
            if number is None or not low <= number <= high:
                raise InputError(field.name, value, f"must be {kind} from {low:g} to {high:g}", ask)
        if self.griddle_hands > self.hands:
            rule = f"must be at most hands, which is {self.hands}"
            remedy = "Enter 0 when the one who turns can shape meanwhile."
            raise InputError("griddle_hands", self.griddle_hands, rule, remedy)
        start, end = self.awake
        if start == end:
            remedy = "Somebody must be up for a while; give 00:00 and 24:00 for day and night."
            raise InputError("awake_to", self.awake_to, "is the same as awake_from", remedy)

    @property
    def awake(self) -> tuple[int, int]:
        """Start and end of the day in minutes after midnight."""
        return read_clock(self.awake_from, "awake_from"), read_clock(self.awake_to, "awake_to")

    @property
    def awake_words(self) -> str:
        """The day in words: ``06:00 to 22:00``."""
        start, end = (f"{m // 60:02d}:{m % 60:02d}" for m in self.awake)
        return f"{start} to {end}"

    def whole(self, field: str) -> int:
        """A length in whole minutes, rounded up."""
        return math.ceil(float(getattr(self, field)))
