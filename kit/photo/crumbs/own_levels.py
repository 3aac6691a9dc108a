"""Pale cells and dark ones: the edge of each lies at its own share of the way down.

One level for all begins too far inside a pale cell and outside a dark one. The mean level is as
far down from the wall as cells are dark on the mean; that of one cell is as far down as it is
dark beside others of its size (small ones are paler by the blur, with no step less at the edge).
"""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from kit.photo.crumbs.cells import SMALLEST_MM2
from kit.photo.crumbs.darkness import Rim
from kit.photo.pixels.pieces import Pieces, nearest, pieces

__all__ = ["own_levels"]

Picture = NDArray[Any]

#: How dark a cell is, is told mostly where it is deepest, up to `DEEP_MM` from its edge, and no
#: farther in than `FLOOR_MM`: the floor of a wide cell may be lit.
DEEP_MM, FLOOR_MM = 0.25, 0.45
#: Darkness grows with the logarithm of a cell's area, up to this.
LARGE_MM2 = 3.0
#: Cells whose logarithms of area spread (variance) no more than this are of one size: pale ones
#: are seen smaller by the mean level.
ALIKE = 0.1
#: Among fewer cells there is no telling which is pale.
FEWEST = 10
#: An edge moves by no more than this.
REACH_MM = 0.25
#: A cell's level is at least so many of the wall's standard deviations darker than the wall, and
#: at most so many times the mean level.
LEAST, MOST = 1.5, 1.6


def own_levels(
    opened: Picture, sharp: Picture, crumb: Picture, rim: Rim, level: float, px_per_mm: float
) -> Picture:
    """Return the darkness beyond which each pixel is open.

    Pieces that are no cells by the mean level keep it: how many are lost in blur goes by that.

    Parameters
    ----------
    opened : (height, width) bool
        Cells as one level shows them, thin walls taken out: these stay walls.
    sharp : (height, width) float32
        From `darkness.rim_level`.
    crumb : (height, width) bool
    rim : Rim
    level : float
        The mean darkness at cells' edges.
    px_per_mm : float

    Returns
    -------
    (height, width) float32
        Infinite where there is wall for sure, −infinite well inside cells.
    """
    import cv2

    found = pieces(opened)
    inside = cv2.distanceTransform(opened.view(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_5)
    own = _levels_of_cells(found, sharp, inside, px_per_mm, rim, level)
    # every other pixel belongs to the nearest cell
    away, whose = nearest(found.labels)
    levels: Picture = np.take(own, whose)
    levels[inside > REACH_MM * px_per_mm] = -np.inf
    shut = (away > REACH_MM * px_per_mm) | (sharp > level) | ~crumb
    across, down = whose[:, 1:] != whose[:, :-1], whose[1:] != whose[:-1]
    for part, meet in (
        (np.s_[:, 1:], across), (np.s_[:, :-1], across), (np.s_[1:], down), (np.s_[:-1], down)
    ):  # fmt: skip
        shut[part] |= meet
    levels[shut & ~opened] = np.inf
    return levels


def _levels_of_cells(
    found: Pieces, sharp: Picture, inside_px: Picture, px_per_mm: float, rim: Rim, level: float
) -> Picture:
    """The darkness at the edge of each piece, float32."""
    area_mm2 = found.pixels / px_per_mm**2
    own = np.full(len(area_mm2), level, np.float32)
    cell = area_mm2 >= SMALLEST_MM2
    if np.count_nonzero(cell) < FEWEST:
        return own
    inside_mm = inside_px.ravel()[found.place] / px_per_mm
    use = inside_mm <= FLOOR_MM
    of, weight = found.of[use], np.square(np.square(np.minimum(inside_mm[use], DEEP_MM)))
    held = np.bincount(of, weight, len(own))[cell]
    dark = np.bincount(of, weight * sharp.ravel()[found.place[use]], len(own))[cell] / held
    # a straight line through all edges, by their lengths
    edge = np.sqrt(area_mm2[cell])
    size = np.log(np.minimum(area_mm2[cell], LARGE_MM2))
    size -= np.average(size, weights=edge)
    slope = np.average(size * dark, weights=edge) / (np.average(size**2, weights=edge) + ALIKE)
    usual = np.average(dark, weights=edge) + slope * size
    share = (dark - rim.wall) / np.maximum(usual - rim.wall, 1e-2)
    least = min(level, rim.wall + LEAST * rim.noise)
    own[cell] = np.clip(rim.wall + share * (level - rim.wall), least, MOST * level)
    return own
