"""From the light of a crumb to its cells: where each begins, which are sure, which walls part them.

What each of these steps is unsure of is counted beside: with the threshold higher by its
uncertainty; and lower, with no thin walls looked for.
"""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kit.errors import DataError
from kit.photo.crumbs import cells as counting
from kit.photo.crumbs import darkness, thin_walls
from kit.photo.crumbs.own_levels import own_levels
from kit.photo.crumbs.pale_cells import pale_cells, too_few
from kit.photo.crumbs.side_light import lit_slopes, side_light, toward_light
from kit.photo.pixels.pieces import pieces

__all__ = ["SeenCells", "see_cells", "sure_level"]

Picture = NDArray[Any]

USUAL_BLUR_PX = 1.0
#: Lens, sensor and rectifying blur at least this much.
LEAST_BLUR_PX = 0.8
#: A crust's outline is never quite sharp by itself (from drawn and real pictures).
SOFT_MM = 0.08
#: The deepest is at least so dark.
LEAST_DARK = 0.06
#: Somewhere a cell is at least and at most so many of the wall's standard deviations darker than
#: at its edge, and at most this share of the way to the deepest.
LEAST, MOST, DEEP = 0.5, 2.0, 0.4
#: Among so many pieces the least is asked; it grows by so much for each time that they are e times
#: fewer, as the tail of a normal noise falls e times within a quarter to a half of its standard
#: deviation.
MANY, FEWER = 400, 0.5


@dataclass(frozen=True)
class SeenCells:
    """Cells as seen, and what they were seen by.

    Parameters
    ----------
    found, less, whole : Cells
        As seen; with the threshold higher by its uncertainty; lower, with no thin walls looked for.
    rim : Rim
    level : float
        The threshold.
    lean : float
        From `side_light`, or how far sides agree by `toward_light` where that is more.
    unseen : float
        From `pale_cells`.
    clear, more : Cells
        Without the pale ones; with those too that were left out as too few.
    left_out : int
        How many those are.
    """

    found: counting.Cells
    less: counting.Cells
    whole: counting.Cells
    rim: darkness.Rim
    level: float
    lean: float
    unseen: float
    clear: counting.Cells
    more: counting.Cells
    left_out: int


def see_cells(
    light: Picture, crumb: Picture, px_per_mm: float, seen_px_per_mm: float, outline_blur_mm: float,
    threshold: float | None = None,
) -> SeenCells:  # fmt: skip
    """Find the cells of a crumb in its light.

    Parameters
    ----------
    light : (height, width) float32
        Linear.
    crumb : (height, width) bool
    px_per_mm, seen_px_per_mm : float
        Of the picture; of the photo, where it has fewer.
    outline_blur_mm : float
        From `darkness.blur_at`; NaN where it is not clear.
    threshold : float, optional
        Given by hand.

    Raises
    ------
    DataError
        Light and dark hardly differ.
    """
    import cv2

    depth_px = cv2.distanceTransform(crumb.view(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_5)
    dark = darkness.darkness(light, depth_px, px_per_mm)
    least = math.hypot(darkness.SMOOTH_MM, LEAST_BLUR_PX / seen_px_per_mm)
    lens = (
        USUAL_BLUR_PX / seen_px_per_mm if math.isnan(outline_blur_mm)
        else math.sqrt(max(0.0, outline_blur_mm**2 - SOFT_MM**2))
    )  # fmt: skip
    blur = max(math.hypot(darkness.SMOOTH_MM, lens), least)
    rim, sharp = darkness.rim_level(dark, depth_px, px_per_mm, blur)
    if rim.deep < LEAST_DARK or not light[crumb].any():
        msg = (
            "light and dark hardly differ on this face, so that cells cannot be told from walls: "
            "let daylight fall on it from all round, and photograph it sharp."
        )
        raise DataError(msg)
    level, u_level = (rim.level, rim.u) if threshold is None else (threshold, 0.25 * rim.u)
    core = depth_px > counting.FRINGE_MM * px_per_mm
    sure = dark > sure_level(sharp, core, level, rim, px_per_mm)
    dark_enough = (sharp > level) & crumb
    # passages that look shut may be open: down to where specks of the wall begin
    lowest = min(level, max(level - u_level, rim.wall + darkness.CLEAR * rim.noise))
    opened = thin_walls.parted(dark_enough, dark, crumb, rim, px_per_mm, seen_px_per_mm)
    levels = own_levels(opened, sharp, crumb, rim, level, px_per_mm)

    def counted(mask: Picture, also: Picture) -> counting.Cells:
        return counting.find_cells(
            mask | also, crumb, px_per_mm, rim.blur_mm, sure=core & (sure | also)
        )

    none = np.zeros_like(crumb)
    clear = counted(sharp > levels, none)
    also, unseen = pale_cells(dark, clear.mask, crumb, core, px_per_mm, level, rim.blur_mm)
    few, left_out = too_few(also, clear.mask)
    also &= ~few
    side = toward_light(dark, crumb, px_per_mm)
    if side.any():
        also |= lit_slopes(dark, clear.mask, crumb, core, px_per_mm, side)
    seen = counted(sharp > levels, also) if also.any() else clear
    counts = [
        seen,
        counted(sharp > levels + u_level, also),
        counted((sharp > lowest) & crumb, also),
        clear,
        counted(sharp > levels, also | few) if left_out else seen,
    ]
    found, less, whole, clear, more = counting.with_fringe(counts, depth_px)
    lean = max(side_light(dark, crumb, px_per_mm), float(np.hypot(*side)))
    return SeenCells(found, less, whole, rim, level, lean, unseen, clear, more, left_out)


def sure_level(
    sharp: Picture, core: Picture, level: float, rim: darkness.Rim, px_per_mm: float
) -> float:
    """Return the darkness that a cell reaches somewhere, off the crust, and specks do not.

    Grain, crumbs and noise make specks a little beyond the level. They are about as many on any
    face: among few pieces a larger share would be specks, so that there more is asked of each.

    Parameters
    ----------
    sharp : (height, width) float32
        From `darkness.rim_level`.
    core : (height, width) bool
        The crumb off the crust.
    level : float
        The darkness at cells' edges.
    rim : Rim
    px_per_mm : float

    Examples
    --------
    >>> sharp = np.zeros((200, 200), np.float32)
    >>> sharp[20:60, 20:60] = 0.5
    >>> rim = darkness.Rim(0.2, 0.02, 0.9, 0.1, 0.0, 0.01, 0.5)
    >>> round(sure_level(sharp, sharp >= 0, 0.2, rim, 14.0), 3)
    0.22
    """
    area_mm2 = pieces((sharp > level) & core).pixels / px_per_mm**2
    few = math.log(MANY / max(1, int(np.count_nonzero(area_mm2 >= counting.SMALLEST_MM2))))
    beyond = min(MOST, LEAST + FEWER * max(0.0, few)) * rim.noise
    return level + min(beyond, DEEP * max(rim.deep - level, 0.0))
