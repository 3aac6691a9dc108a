"""How dark a piece must be somewhere to be a cell: clearly darker than specks on the wall are.

Grain, crumbs and noise make specks a little beyond the level. They are about as many on any face:
among few pieces a larger share would be specks, so that there more is asked of each.
"""

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kit.photo.cells import SMALLEST_MM2
from kit.photo.darkness import Rim
from kit.photo.pieces import pieces

__all__ = ["sure_level"]

Picture = NDArray[Any]

#: At least and at most so many of the wall's standard deviations darker than a cell's edge, and at
#: most this share of the way to the deepest.
LEAST, MOST, DEEP = 0.5, 2.0, 0.4
#: Among so many pieces the least is asked; it grows by so much for each time that they are e times
#: fewer, as the tail of a normal noise falls e times within a quarter to a half of its standard
#: deviation.
MANY, FEWER = 400, 0.5


def sure_level(sharp: Picture, core: Picture, level: float, rim: Rim, px_per_mm: float) -> float:
    """Return the darkness that a cell reaches somewhere and specks do not.

    Parameters
    ----------
    sharp : (height, width) float32
        From `darkness.rim_level`.
    core : (height, width) bool
        Off the crust.
    level : float
        Darkness at a cell's edge.
    rim : Rim
    px_per_mm : float

    Examples
    --------
    Among 400 cells half a standard deviation beyond the level is enough:

    >>> dark, core = np.zeros((100, 100), np.float32), np.ones((100, 100), bool)
    >>> dark.reshape(20, 5, 20, 5)[:, :4, :, :4] = 0.3
    >>> rim = Rim(0.1, 0.01, 0.5, 0.1, 0.0, 0.02, 0.5)
    >>> round(sure_level(dark, core, 0.1, rim, 10.0), 3)
    0.11
    """
    area_mm2 = pieces((sharp > level) & core).pixels / px_per_mm**2
    few = math.log(MANY / max(1, int(np.count_nonzero(area_mm2 >= SMALLEST_MM2))))
    beyond = min(MOST, LEAST + FEWER * max(0.0, few)) * rim.noise
    return level + min(beyond, DEEP * max(rim.deep - level, 0.0))
