"""Slopes of cells that a lamp at one side lights up beyond the wall's own light.

They are as bright as nothing else on a cut face is, and all lie on the same side of the dark part
of their cells: the one away from the lamp. Bright specks lie on no side. Where bright patches do
lean one way, those with a dark part before them belong to cells, and so does what lies between the
two; what lies between a bright part and the dark one behind it is wall.
"""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from kit.photo.pale_cells import HALF_MM, SOFT_MM
from kit.photo.pieces import pieces
from kit.photo.side_light import smaller, sums_of_tiles

__all__ = ["lit_slopes", "toward_light"]

Array = NDArray[np.float64]
Picture = NDArray[Any]

#: How far about a dark part a bright one is looked for.
ABOUT_MM = 0.45
#: Brighter than the wall by this share of its light; darkness counts up to the second.
BRIGHT, DARKEST = 0.02, 0.3
#: Seen where sides agree by this share and by so many times their standard uncertainty: in even
#: light they agreed by no more than 0.11 and 2.7 times, under a lamp by 0.35 and 10 times where
#: slopes were brighter than the wall (drawn and traced faces, November 2026).
LEAST, SEEN = 0.12, 4.0
#: A slope is brighter than the wall by this many of the wall's standard deviations, and is seen to
#: half its brightness; a dark and a bright part are one cell's over so wide a gap.
CLEAR, LEAST_BRIGHT, GAP_MM = 2.5, 0.05, 0.3


def toward_light(dark: Picture, crumb: Picture, px_per_mm: float) -> Array:
    """Return on which side of bright patches the dark ones lie: (x, y), as long as sides agree.

    The mean direction in which it grows darker about each bright patch, weighted by how bright it
    is and by how steeply it grows darker there; 0, 0 where that is small or not clear.

    Parameters
    ----------
    dark : (height, width) float32
        From `darkness.darkness`.
    crumb : (height, width) bool
    px_per_mm : float
    """
    import cv2

    light, inner, k = smaller(dark, crumb, px_per_mm)
    own = light[inner > 0]
    if not len(own):
        return np.zeros(2)
    wall = _usual(own)
    bright = np.maximum(wall - light - BRIGHT, 0) * inner
    deep = cv2.GaussianBlur(np.clip(light - wall, 0, DARKEST) * inner, (0, 0),
                            ABOUT_MM * px_per_mm / k)  # fmt: skip
    x, y = (cv2.Sobel(deep, cv2.CV_32F, *way) for way in ((1, 0), (0, 1)))
    tile = max(2, round(5.0 * px_per_mm / k))
    weight, *sides = (
        sums_of_tiles(bright * v, tile) for v in (np.hypot(x, y), x, y)
    )  # fmt: skip
    total = float(weight.sum())
    if not total:
        return np.zeros(2)
    side = np.array([s.sum() for s in sides]) / total
    apart = np.array(sides) - side[:, None, None] * weight
    tiles = int(np.count_nonzero(weight))
    u = float(np.sqrt(np.square(apart).sum() * tiles / max(1, tiles - 1) / 2)) / total
    return side if np.hypot(*side) > max(LEAST, SEEN * u) else np.zeros(2)


def _usual(values: Picture) -> float:
    """The commonest darkness: the wall's."""
    steps = ((values + 0.3) * 75).astype(np.intp)
    many = np.bincount(steps[(steps >= 0) & (steps < 60)], minlength=60)
    return (int(np.convolve(many, [1, 2, 3, 2, 1], "same").argmax()) + 0.5) / 75 - 0.3


def lit_slopes(
    dark: Picture, found: Picture, crumb: Picture, core: Picture, px_per_mm: float, side: Array
) -> Picture:
    """Return slopes brighter than the wall, and what lies between them and their dark parts.

    Parameters
    ----------
    dark : (height, width) float32
        From `darkness.darkness`.
    found, crumb : (height, width) bool
        Dark cells, and the crumb.
    core : (height, width) bool
        A slope must reach into it.
    px_per_mm : float
    side : (2,) array
        From `toward_light`, not 0.

    Returns
    -------
    (height, width) bool
    """
    import cv2

    soft = cv2.GaussianBlur(dark, (0, 0), SOFT_MM * px_per_mm)
    away = cv2.distanceTransform(1 - found.view(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_5)
    wall = soft[core & (away > 0.2 * px_per_mm)][::3]
    if not len(wall):
        return np.zeros_like(found)
    middle = _usual(wall)
    # as far as the bright half of the wall strays by itself
    brighter = middle - wall[wall < middle]
    spread = 1.48 * float(np.median(brighter)) if len(brighter) else 0.0
    level = middle - max(LEAST_BRIGHT, CLEAR * spread)
    n = 2 * max(1, round(HALF_MM * px_per_mm)) + 1
    wide = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (n, n))
    bright = cv2.morphologyEx(
        ((soft < level) & crumb & ~found).view(np.uint8), cv2.MORPH_OPEN, wide
    )
    patches = pieces(bright.view(bool))
    lit = patches.mask(patches.hold(core))
    # from the dark part away from the light, and back from the bright one
    step = side / np.hypot(*side)
    reach = max(1, round(GAP_MM * px_per_mm))
    line = np.zeros((2 * reach + 1, 2 * reach + 1), np.uint8)
    end = np.round(reach + reach * step).astype(int)
    cv2.line(line, (reach, reach), (int(end[0]), int(end[1])), 1)
    shadow = (soft > 2 * middle - level) & crumb  # as dark as the others are bright
    before = cv2.dilate(shadow.view(np.uint8), line)
    behind = cv2.dilate(lit.view(np.uint8), line[::-1, ::-1].copy())
    own = (lit | ((behind > 0) & (before > 0))) & crumb
    cells = pieces(own | shadow)
    return own & cells.mask(cells.hold(shadow))
