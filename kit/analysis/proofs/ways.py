"""What a baker reads off a proofing dough, and the volume ratio it stands for.

One quantity, the volume ratio, however it is read: 2 is double the volume.
"""

from collections.abc import Mapping
from typing import NamedTuple

from kit.errors import InputError

__all__ = ["WAYS", "Way", "volume_ratio"]


class Way(NamedTuple):
    """What is read, the power of it that volume goes with, and when that is true."""

    words: str
    power: int
    holds: str


WAYS: Mapping[str, Way] = {
    "ratio": Way(
        "the ratio itself", 1, "Volume now over volume at the start, however you know it."
    ),
    "level": Way(
        "level in a straight jar or ring", 1,
        "Holds where the walls are straight and the top is flat; read its middle. 2 × the level is "
        "double.",
    ),
    "marks": Way(
        "distance of two marks on the dough", 3,
        "Holds while the dough swells alike in all directions: a free ball, not one that spreads "
        "or is held by a wall. 1.26 × the distance is double.",
    ),
    "height": Way(
        "height of a free piece that keeps its shape", 3,
        "Holds only while it is as wide for its height as it was: a ball that spreads gains volume "
        "that its height does not show. 1.26 × the height is double.",
    ),
}  # fmt: skip


def volume_ratio(now: float, start: float = 1.0, way: str = "ratio") -> float:
    """Return the volume ratio that a reading stands for.

    Parameters
    ----------
    now, start : float
        What is read now and what was read when the clock started, in the same unit. For "ratio"
        the start is 1.
    way : str
        One of `WAYS`.

    Returns
    -------
    float
        Volume over volume at the start.

    Raises
    ------
    InputError
        Another way, or a reading not above 0.

    Examples
    --------
    >>> volume_ratio(84, 42, "level"), round(volume_ratio(63, 50, "marks"), 2)
    (2.0, 2.0)
    """
    if way not in WAYS:
        raise InputError("way", way, f"must be one of {', '.join(WAYS)}")
    for name, value in (("now", now), ("start", start)):
        if not 0 < value < float("inf"):
            raise InputError(name, value, "must be above 0", "Enter what you read.")
    return float((now / start) ** WAYS[way].power)
