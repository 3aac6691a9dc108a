"""Whether the light on a cut face comes from one side, and the slopes of cells that it lights up.

Light from all round darkens a cell alike on every side. A lamp at one side leaves the rim next to
it in shadow and lights the slope opposite, up to the wall's own light or beyond: seen along the
lamp's direction the light falls steeply at every rim and rises gently within every cell. So the
steep slopes of the picture all lean one way, whatever the cells look like.

Slopes lit beyond the wall's own light are as bright as nothing else on a cut face is, and all lie
on the same side of the dark part of their cells: the one away from the lamp. Bright specks lie on
no side. Where bright patches do lean one way, those with a dark part before them belong to cells,
and so does what lies between the two; what lies between a bright part and the dark one behind it is
wall.
"""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from kit.photo.crumbs.pale_cells import HALF_MM, SOFT_MM
from kit.photo.pixels.pieces import disc_element, pieces

__all__ = ["ADVICE", "TOLD", "lit_slopes", "side_light", "toward_light"]

Array = NDArray[np.float64]
Picture = NDArray[Any]

#: A pixel of the picture that slopes are told from, and how far off the crust.
FINE_MM, _OFF_EDGE_MM = 0.14, 0.5
#: Tiles that stand for so many independent looks at the light.
TILE_MM = 5.0
#: Seen where it is so many times its standard uncertainty. On drawn faces of three programs that
#: share no code, lit evenly, it was above 2.4 times nowhere; under a lamp mostly above 5 times.
SEEN = 3.5
#: What leans less does not matter; from the second on it is said what to do.
LEAST, TOLD = 0.05, 0.1
ADVICE = (
    "the light comes from one side: slopes that face it look like wall, and walls beside them are "
    "not seen, so that the crumb may seem less open by some 5 to 10 points than it is, and its "
    "cells fewer. Photograph it in light from all round: flash and lamp off, near a large window, "
    "with something white standing on the dark side. Or scan it"
)
#: How far about a dark part a bright one is looked for.
ABOUT_MM = 0.45
#: Brighter than the wall by this share of its light; darkness counts up to the second.
BRIGHT, DARKEST = 0.02, 0.3
#: Seen where sides agree by this share and by so many times their standard uncertainty: in even
#: light they agreed by no more than 0.11 and 2.7 times, under a lamp by 0.35 and 10 times where
#: slopes were brighter than the wall (drawn and traced faces, November 2026).
LEAST_SIDE, SIDE_SEEN = 0.12, 4.0
#: A slope is brighter than the wall by this many of the wall's standard deviations, and is seen to
#: half its brightness; a dark and a bright part are one cell's over so wide a gap.
CLEAR, LEAST_BRIGHT, GAP_MM = 2.5, 0.05, 0.3


def side_light(dark: Picture, crumb: Picture, px_per_mm: float) -> float:
    """Return how far slopes lean one way: 0 in even light, 0.1 to 0.5 under a lamp at one side.

    The length of the mean of g·|g|² over the picture's gradients g, over the mean of |g|² to the
    power 3/2: an odd moment, which any light that is alike from opposite sides leaves at 0. Its
    uncertainty is told by tiles of the crumb; 0 where it is small or not clear of that.

    Parameters
    ----------
    dark : (height, width) float32
        From `darkness.darkness`.
    crumb : (height, width) bool
    px_per_mm : float

    Examples
    --------
    >>> y, x = np.mgrid[:420, :420] / 14.0 % 3 - 1.5
    >>> pit = np.maximum(0.8 - np.hypot(x, y), 0).astype(np.float32)
    >>> full = np.ones(pit.shape, bool)
    >>> side_light(pit, full, 14.0)
    0.0
    >>> slope = np.where(pit > 0, 0.4 - 0.5 * x, 0).astype(np.float32)
    >>> side_light(slope, full, 14.0) > 0.2
    True
    """
    light, inner, k = _smaller(dark, crumb, px_per_mm)
    inner = inner[1:-1, 1:-1]
    across = (light[1:-1, :-2] - light[1:-1, 2:]) * inner
    down = (light[:-2, 1:-1] - light[2:, 1:-1]) * inner
    square = across * across + down * down
    weight, leans, u = _mean_side(square, across, down, TILE_MM * px_per_mm / k)
    if not weight:
        return 0.0
    many = float(inner.sum())
    usual = many * (weight / many) ** 1.5
    strength = float(np.hypot(*leans)) / usual
    return strength if strength > max(LEAST, SEEN * u / usual) else 0.0


def toward_light(dark: Picture, crumb: Picture, px_per_mm: float) -> Array:
    """Return on which side of bright patches the dark ones lie: (x, y), as long as sides agree.

    The mean direction in which it grows darker about each bright patch, weighted by how bright it
    is and by how steeply it grows darker there; 0, 0 where that is small or not clear. Takes what
    `side_light` takes.
    """
    import cv2

    light, inner, k = _smaller(dark, crumb, px_per_mm)
    own = light[inner > 0]
    if not len(own):
        return np.zeros(2)
    wall = _usual(own)
    bright = np.maximum(wall - light - BRIGHT, 0) * inner
    deep = cv2.GaussianBlur(np.clip(light - wall, 0, DARKEST) * inner, (0, 0),
                            ABOUT_MM * px_per_mm / k)  # fmt: skip
    x, y = (cv2.Sobel(deep, cv2.CV_32F, *way) for way in ((1, 0), (0, 1)))
    steep = np.maximum(np.hypot(x, y), np.float32(1e-12))
    weight, sides, u = _mean_side(bright * steep, x / steep, y / steep, TILE_MM * px_per_mm / k)
    if not weight:
        return np.zeros(2)
    side = sides / weight
    return side if np.hypot(*side) > max(LEAST_SIDE, SIDE_SEEN * u / weight) else np.zeros(2)


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
    dark, crumb, px_per_mm
        As for `side_light`.
    found, core : (height, width) bool
        Dark cells; a slope must reach into the core.
    side : (2,) array
        From `toward_light`, not 0.
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
    wide = disc_element(HALF_MM * px_per_mm)
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


def _mean_side(
    weight: Picture, x: Picture, y: Picture, tile_px: float
) -> tuple[float, Array, float]:
    """Sum of weights, of weighted directions (x, y), and its standard uncertainty by tiles."""
    n = max(2, round(tile_px))
    own, *both = (_sums_of_tiles(v, n) for v in (weight, weight * x, weight * y))
    sides, total = np.array(both), float(own.sum())
    if not total:
        return 0.0, np.zeros(2), 0.0
    whole = sides.sum((1, 2))
    apart = sides - whole[:, None, None] * own / total
    tiles = int(np.count_nonzero(own))
    return total, whole, float(np.sqrt(np.square(apart).sum() * tiles / max(1, tiles - 1) / 2))


def _smaller(dark: Picture, crumb: Picture, px_per_mm: float) -> tuple[Picture, Picture, int]:
    """Return darkness, and the crumb clear of its edge, on pixels so many times larger."""
    import cv2

    k = max(1, round(FINE_MM * px_per_mm))
    height, width = (n // k for n in dark.shape)
    part = np.s_[: height * k, : width * k]
    light = cv2.GaussianBlur(
        cv2.resize(dark[part], (width, height), interpolation=cv2.INTER_AREA), (0, 0), 0.7
    )
    wide = 2 * round(_OFF_EDGE_MM * px_per_mm / k) + 1
    inner = cv2.erode(
        crumb[part].view(np.uint8)[::k, ::k].copy(), np.ones((wide, wide), np.uint8), borderValue=0
    )
    return light, inner, k


def _sums_of_tiles(values: Picture, n: int) -> NDArray[np.float64]:
    """Return the sums over square tiles of n pixels."""
    rows = np.add.reduceat(values, np.arange(0, values.shape[0], n), axis=0, dtype=np.float64)
    return np.asarray(np.add.reduceat(rows, np.arange(0, values.shape[1], n), axis=1))
