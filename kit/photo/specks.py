"""How dark a piece must be somewhere to be a cell: clearly darker than specks on the wall are.

Grain, crumbs and noise make specks as light as others are dark. Those lighter than the wall cannot
be cells, and so they tell how dark the others get.
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

#: Larger light areas are slopes that face a lamp.
LARGEST_MM2 = 0.5
#: At least and at most so many of the wall's standard deviations darker than a cell's edge, and at
#: most this share of the way to the deepest.
LEAST, MOST, DEEP = 0.5, 2.0, 0.4
#: Specks are as many on any face: among fewer pieces than this a larger share would be specks.
#: There the least grows by so much for each time that they are e times fewer, as the tail of a
#: normal noise falls e times within a quarter to a half of its standard deviation.
MANY, FEWER = 400, 0.5


def sure_level(
    dark: Picture, sharp: Picture, core: Picture, level: float, rim: Rim, px_per_mm: float
) -> float:
    """Return the darkness that a cell reaches somewhere and specks do not.

    Light specks are sought as cells are, with light and dark changed about the wall's middle: as
    many pixels as the smallest cell, as far off the wall as a cell's edge. The fewer pieces a face
    has, the darker they must be besides.

    Parameters
    ----------
    dark, sharp : (height, width) float32
        From `darkness.darkness` and `darkness.rim_level`.
    core : (height, width) bool
        A speck must reach into it, as a cell must.
    level : float
        Darkness at a cell's edge.
    rim : Rim
    px_per_mm : float

    Examples
    --------
    Among 400 cells, on a wall without light specks, half a standard deviation beyond the level is
    enough:

    >>> dark, core = np.zeros((100, 100), np.float32), np.ones((100, 100), bool)
    >>> dark.reshape(20, 5, 20, 5)[:, :4, :, :4] = 0.3
    >>> rim = Rim(0.1, 0.01, 0.5, 0.1, 0.0, 0.02, 0.5)
    >>> round(sure_level(dark, dark, core, 0.1, rim, 10.0), 3)
    0.11

    A speck that is 0.13 lighter than the wall raises it:

    >>> dark[:5, :5] = -0.13
    >>> round(sure_level(dark, dark, core, 0.1, rim, 10.0), 3)
    0.13
    """
    light = pieces((sharp < 2 * rim.wall - level) & core)
    area_mm2 = light.pixels / px_per_mm**2
    speck = (area_mm2 >= SMALLEST_MM2) & (area_mm2 < LARGEST_MM2)
    lightest = float(dark.ravel()[light.place][speck[light.of]].min(initial=rim.wall))
    found = pieces((sharp > level) & core).pixels / px_per_mm**2
    few = math.log(MANY / max(1, int(np.count_nonzero(found >= SMALLEST_MM2))))
    least = level + min(MOST, LEAST + FEWER * max(0.0, few)) * rim.noise
    clear = float(np.clip(2 * rim.wall - lightest, least, level + MOST * rim.noise))
    return min(clear, level + DEEP * max(rim.deep - level, 0.0))
