"""The warm proof: how long a cold dough takes to double in a room, and how sure that is."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import pandas as pd

from kit.errors import InputError
from kit.given import as_number
from kit.shown import Telling, Told

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["COLDEST_C", "WARMEST_C", "Doubling", "doubling"]

#: A cold dough in a room of 72 °F takes about two hours to double: common practice, no source.
USUAL_MINUTES, USUAL_ROOM_C = 120.0, (72.0 - 32.0) * 5.0 / 9.0
#: What "about" may hide: a quarter more or less. Own estimate, no source.
ABOUT = 0.25
#: How many times faster 10 °C warmer: "doubles per 17 °F" and "about 10 % per °C".
Q10_LOW, Q10_HIGH = 2.0, 2.6
COLDEST_C, WARMEST_C = 15.0, 35.0
_SURE = 0.8  # of the interval from the baker's own times
_MOVED_BY = ", moved to this temperature (2.0 to 2.6 times as fast for every 10 °C warmer)"
_SAME_C = 0.5  # so near, it is the same temperature


@dataclass(frozen=True)
class Doubling(Told):
    """Minutes a cold, shaped dough takes in a warm room to reach a proof ratio.

    Parameters
    ----------
    room_temp_c : float
        Air where the pieces proof.
    minutes : float
        Best guess, from shaping to a proof ratio of 2 (double the volume).
    low, high : float
        A range it will mostly lie in.
    rests_on : str
        Where it comes from, in words.
    checks : tuple of str
        What to know before trusting it.
    """

    room_temp_c: float
    minutes: float
    low: float
    high: float
    rests_on: str
    checks: tuple[str, ...]

    def to_ratio(self, ratio: float) -> float:
        """Minutes to another proof ratio, taking the gas to come at a steady rate.

        Own simplification, no source: the volume gained grows in proportion to time, so a
        ratio of 1.5 takes half as long as 2.

        Raises
        ------
        InputError
            At or below 1 (nothing has risen), or above 4.

        Examples
        --------
        >>> doubling(72 / 1.8 - 32 / 1.8).to_ratio(1.5)
        60.0
        """
        if not 1 < ratio <= 4:
            remedy = "2 is double the volume after shaping."
            raise InputError("proof_ratio", ratio, "must lie between 1 and 4", remedy)
        return self.minutes * (ratio - 1)

    def ratio_after(self, minutes: float) -> float:
        """Proof ratio to expect after so many minutes, on the same assumption."""
        return 1 + minutes / self.minutes

    def __repr__(self) -> str:
        return (
            f"<Doubling at {self.room_temp_c:g} °C: {self.minutes:.0f} min "
            f"[{self.low:.0f}, {self.high:.0f}]>"
        )

    def tells(self) -> Telling:
        """What it says."""
        headline = (
            f"In a room of {self.room_temp_c:.1f} °C a cold dough doubles in about "
            f"{self.minutes:.0f} minutes, mostly {self.low:.0f} to {self.high:.0f}."
        )
        return Telling(headline, (f"This rests on {self.rests_on}.",), self.checks)

    def to_frame(self) -> pd.DataFrame:
        """One tidy row: ``room_temp_c, minutes, low, high``."""
        return pd.DataFrame([vars(self)])[["room_temp_c", "minutes", "low", "high"]]

    def plot(self, ax: "Axes | None" = None) -> "Axes":
        """Draw the guess and its range."""
        from kit import charts

        return charts.doubling(self, ax)


def doubling(room_temp_c: float, measured: Sequence[float | tuple[float, float]] = ()) -> Doubling:
    """Say how long a cold dough takes to double in a room.

    Without measured times it starts from common practice (two hours at 72 °F, no source). The
    time is moved to another temperature by a factor of 2.0 to 2.6 for every 10 °C: 2.08 follows
    from "doubles per 17 °F" (Reinhart, quoted by an oven maker's blog), 2.59 from "about 10 %
    per °C" (BAKE magazine, *The science of fermentation*, 2015). They disagree, so both ends
    are kept in the range and their geometric mean, 2.28, is the guess.

    Parameters
    ----------
    room_temp_c : float
        Between 15 and 35; outside only with times measured at that temperature.
    measured : sequence
        The baker's own times to double: minutes at this temperature, or pairs ``(room_temp_c,
        minutes)``. They replace the default. Two or more give the range by themselves: 80 %
        prediction interval on the logarithm.

    Raises
    ------
    InputError
        A temperature from which nothing can be said, or a time that is none.

    Examples
    --------
    >>> doubling(22.2222)
    <Doubling at 22.2222 °C: 120 min [90, 150]>
    >>> doubling(27)
    <Doubling at 27 °C: 81 min [57, 108]>
    >>> doubling(21, measured=[(21, 140), (21, 130), (21, 150)])
    <Doubling at 21 °C: 140 min [120, 163]>
    """
    if not _is_number(room_temp_c):
        raise InputError("room_temp_c", room_temp_c, "must be a number", "Enter °C.")
    times = [_read(entry, room_temp_c) for entry in measured]
    if not times:
        _refuse_outside(room_temp_c)
        warmer = room_temp_c - USUAL_ROOM_C
        middle, low, high = _shift(USUAL_MINUTES, warmer)
        rests_on = "common practice (about two hours at 22 °C)"
        rests_on += "" if abs(warmer) <= _SAME_C else _MOVED_BY
        told = "times you have measured yourself are worth more than this guess"
        low, high = low * (1 - ABOUT), high * (1 + ABOUT)
        return Doubling(float(room_temp_c), middle, low, high, rests_on, (told,))
    moved = [minutes for at, minutes in times if abs(at - room_temp_c) > _SAME_C]
    if moved:
        for at in (room_temp_c, *(at for at, _ in times)):
            _refuse_outside(at)
    shifted = [_shift(minutes, room_temp_c - at) for at, minutes in times]
    logs = [math.log(middle) for middle, _, _ in shifted]
    mean = math.fsum(logs) / len(logs)
    slack = max(math.log(max(high / mid, mid / low)) for mid, low, high in shifted)
    checks: tuple[str, ...] = ()
    if len(logs) == 1:
        half = math.log(1 + ABOUT)
        checks = ("one measured time cannot say how much times differ: a quarter is assumed",)
    else:
        from scipy import special

        spread = math.sqrt(math.fsum((x - mean) ** 2 for x in logs) / (len(logs) - 1))
        t = float(special.stdtrit(len(logs) - 1, (1 + _SURE) / 2))
        half = t * spread * math.sqrt(1 + 1 / len(logs))
    half = math.hypot(half, slack)
    count = "one measured time" if len(logs) == 1 else f"{len(logs)} measured times"
    rests_on = f"{count} of your own{', moved to this temperature' if moved else ''}"
    middle, low, high = (math.exp(mean + off) for off in (0.0, -half, half))
    return Doubling(float(room_temp_c), middle, low, high, rests_on, checks)


def _shift(minutes: float, warmer_c: float) -> tuple[float, float, float]:
    """Time in a room so much warmer: guess, shortest, longest."""
    ends = sorted(minutes * q ** (-warmer_c / 10) for q in (Q10_LOW, Q10_HIGH))
    return math.sqrt(ends[0] * ends[1]), ends[0], ends[1]


def _is_number(value: object) -> bool:
    number = as_number(value)
    return number is not None and math.isfinite(number)


def _read(entry: float | tuple[float, float], room_temp_c: float) -> tuple[float, float]:
    """Read one measured time as room temperature and minutes."""
    pair = tuple(entry) if isinstance(entry, (tuple, list)) else (room_temp_c, entry)
    if len(pair) != 2 or not all(_is_number(x) for x in pair) or not 0 < float(pair[1]) <= 1440:
        rule = "must be minutes to double, above 0 and at most 1440"
        raise InputError("measured", entry, rule, "Give 130, or (21.5, 130) for a room of 21.5 °C.")
    return float(pair[0]), float(pair[1])


def _refuse_outside(room_temp_c: float) -> None:
    """Refuse temperatures the rule of thumb does not hold for.

    Growth in the cold follows the cardinal temperatures of the yeast (Salvado et al. 2011,
    *Appl Environ Microbiol* 77:2292; CTMI of Rosso et al. 1993): 0.4 % of the best rate at 4 °C.
    """
    if COLDEST_C <= room_temp_c <= WARMEST_C:
        return
    why = (
        "In the cold yeast slows far more than the rule says (at 4 °C to about 0.4 % of its best, "
        "not to 9 %)."
        if room_temp_c < COLDEST_C
        else "Above it yeast is near its limit and slows again."
    )
    remedy = f"{why} Measure a time at that temperature and give it as measured."
    if COLDEST_C <= (as_c := (room_temp_c - 32) / 1.8) <= WARMEST_C:
        remedy = f"If °F is meant, that is {as_c:.1f} °C."
    rule = f"must lie between {COLDEST_C:g} and {WARMEST_C:g} for a proof time"
    raise InputError("room_temp_c", room_temp_c, rule, remedy)
