"""Cells paler than the level of the others: shallow ones, whose floors send much of the light back.

The level is told by edges of clearly dark cells. Where cells are dark and pale alike, many are
paler than it. They are looked for in a smoother picture, clear of what was found, at the lowest
level at which the wall shows hardly any such light patches: specks, mottling and noise make as
many light ones as dark ones, cells only dark ones. What is paler still is not
seen: it is told how much that may be.
"""

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kit.photo.crumbs.cells import SMALLEST_MM2
from kit.photo.crumbs.darkness import middle_and_spread
from kit.photo.pixels.pieces import disc_element, nearest, pieces

__all__ = ["ADVICE", "LEFT_OUT", "TOLD", "pale_cells", "too_few"]

Picture = NDArray[Any]

#: Smoothing beyond that of `darkness`.
SOFT_MM = 0.06
#: Nearer than this to what was found lies its blurred edge; the wall is looked at farther off.
NEAR_MM, WALL_MM = 0.15, 0.2
#: A pale cell is at least twice this wide, and its core this large: a blurred seam is neither.
HALF_MM, CORE_MM2 = 0.1, 0.1
#: More of a core beyond the level, and it is a dark hole that was too small to count.
MOST_DARK = 0.15
#: Levels that are tried, in standard deviations of the wall.
TRIED = np.arange(1.5, 5.01, 0.25)
#: What is paler than this share of the wall's light is a blurred edge's end, on a clean wall too.
LEAST = 0.04
#: Light patches take up at most this share of what the pale ones do.
SPECKS = 0.12
#: With fewer cells nothing is told.
FEWEST = 5
#: Fewer than this, and together less than this share of what was found: as much mottling passes for
#: cells (on drawn faces of few large cells, up to a third more were counted).
HANDFUL, LITTLE = 12, 0.05
#: How dark a cell is, is told mostly up to this far from its core's edge; from its core it reaches
#: this far, up to half its darkness.
DEEP_MM, REACH_MM, EDGE = 0.25, 0.25, 0.5
#: Beside another cell only this much of its darkness is the cell: between them may be a wall, and
#: where there is none it is the same cell.
NO_WALL = 0.85
#: From this share of the crumb on it is said that cells paler than those found may be there.
TOLD = 0.04
ADVICE = (
    "many cells are hardly darker than the wall, and still paler ones are not seen: the crumb may "
    "be more open by {:.0f} points or more. Compare it only with faces photographed in the same "
    "light"
)
LEFT_OUT = (
    "{} not counted: so few and small may be mottled wall. Counted as cells, there would be {:.3g} "
    "to a square centimetre; the ± allows for it"
)


def pale_cells(dark: Picture, found: Picture, crumb: Picture, core: Picture, px_per_mm: float,
               below: float, blur_mm: float = 0.0) -> tuple[Picture, float]:  # fmt: skip
    """Find cells that are paler than `below`.

    Parameters
    ----------
    dark : (height, width) float32
        From `darkness.darkness`.
    found, crumb : (height, width) bool
        Cells found by the level, and the crumb.
    core : (height, width) bool
        A cell must reach into it.
    px_per_mm : float
    below : float
        The level.
    blur_mm : float
        Of `dark` (standard deviation): a hole too small to count is pale and large by it.

    Returns
    -------
    mask : (height, width) bool
        None where light patches are as many as dark ones.
    unseen : float
        Share of the crumb that may be cells paler still: as much area for each step of darkness
        as there is between the palest that are told and the level.

    Examples
    --------
    >>> y, x = np.mgrid[:300, :300] % 60 - 30
    >>> dark = np.where(np.hypot(x, y) < 8, 0.12, 0).astype(np.float32)
    >>> dark += 0.02 * np.random.default_rng(1).standard_normal(dark.shape).astype(np.float32)
    >>> full, none = np.ones(dark.shape, bool), np.zeros(dark.shape, bool)
    >>> pale, _ = pale_cells(dark, none, full, full, 14.0, 0.2)
    >>> len(pieces(pale).pixels) - 1
    25
    >>> bool(pale_cells(-dark, none, full, full, 14.0, 0.2)[0].any())
    False
    """
    import cv2

    soft = cv2.GaussianBlur(dark, (0, 0), SOFT_MM * px_per_mm)
    away = cv2.distanceTransform(1 - found.view(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_5)
    beside = away <= NEAR_MM * px_per_mm
    # what is only counted is counted on every other pixel: in a quarter of the time
    inner, coarse = core[::2, ::2].copy(), soft[::2, ::2]
    wall = np.flatnonzero(core & (away > WALL_MM * px_per_mm))[::3]
    middle, spread = middle_and_spread(soft.ravel()[wall])
    free = crumb & ~beside
    wide = disc_element(HALF_MM * px_per_mm)

    beyond = free[::2, ::2] & (np.abs(coarse - middle) > below - middle)
    height, width = found.shape

    def patches(part: Picture) -> tuple[Picture, Picture, int, int]:
        """Those wide; which of every other pixel are large enough too; how many; their pixels."""
        whole = cv2.morphologyEx((part & free).view(np.uint8), cv2.MORPH_OPEN, wide)
        cores = pieces(whole[::2, ::2].view(bool))
        keep = cores.hold(inner) & (cores.pixels >= CORE_MM2 * px_per_mm**2 / 4)
        dark_ones = np.bincount(cores.of[beyond.ravel()[cores.place]], minlength=len(keep))
        keep &= dark_ones <= MOST_DARK * cores.pixels
        many = int(np.count_nonzero(keep))
        return whole > 0, cores.mask(keep), many, int(cores.pixels[keep].sum())

    # the lower the level, the more specks beside cells: halved until the lowest is found
    levels = middle + np.maximum(spread * TRIED, LEAST)
    levels = levels[levels < below]
    seeds: Picture = np.zeros(found.shape, bool)
    low, high, palest = 0, len(levels), below
    while low < high:
        mid = (low + high) // 2
        pale, large, many, pixels = patches(soft > levels[mid])
        specks = patches(soft < 2 * middle - levels[mid])[3]
        if specks > SPECKS * pixels:
            low = mid + 1
        else:
            high, palest = mid, float(levels[mid])
            large = large if many >= FEWEST else np.zeros_like(large)
            seeds = pale & large.repeat(2, axis=0).repeat(2, axis=1)[:height, :width]
    if not seeds.any():
        return seeds, 0.0
    mask = _grown(seeds, soft, middle, beside, px_per_mm) & crumb
    mask &= ~_too_small(mask, soft - middle, math.hypot(blur_mm, SOFT_MM), px_per_mm)
    deep = palest - middle
    share = int(np.count_nonzero(mask)) / max(1, int(np.count_nonzero(crumb)))
    return mask, share * deep / max(deep, below - palest, 1e-6)


def too_few(pale: Picture, found: Picture) -> tuple[Picture, int]:
    """Find pale cells that are so few that they may be mottling.

    What touches a cell is no patch by itself: a pale passage or shelf of that cell.

    Parameters
    ----------
    pale, found : (height, width) bool
        From `pale_cells`, and the cells found by the level.

    Returns
    -------
    mask : (height, width) bool
        None where they are many, or large beside what was found.
    count : int

    Examples
    --------
    >>> found = np.zeros((100, 100), bool)
    >>> found[10:90, 10:60] = True
    >>> pale = np.zeros_like(found)
    >>> pale[20:24, 70:74] = pale[40:44, 70:74] = pale[60:64, 60:64] = True
    >>> mask, count = too_few(pale, found)
    >>> count, int(mask.sum())
    (2, 32)
    >>> too_few(found, pale)[1]
    0
    """
    cells = pieces(found | pale)
    alone = ~cells.hold(found)
    mask, count = cells.mask(alone), int(np.count_nonzero(alone[1:]))
    if count >= HANDFUL or np.count_nonzero(mask) >= LITTLE * np.count_nonzero(found):
        return np.zeros_like(mask), 0
    return mask, count


def _too_small(mask: Picture, dark: Picture, blur_mm: float, px_per_mm: float) -> Picture:
    """Pieces no larger, at half their darkest, than the blur makes a hole too small to count.

    There a point is seen 2π·ln 2·blur² large; what the smallest cell and the blur take up add up
    like their squares (to within a tenth for discs down to the blur's own width).
    """
    found, own = pieces(mask), dark[mask]
    of, pixels = found.of, found.pixels
    darkest = np.zeros(len(pixels), np.float32)
    np.maximum.at(darkest, of, own)
    half = np.bincount(of[own > 0.5 * darkest[of]], minlength=len(pixels))
    least = math.hypot(SMALLEST_MM2, 2 * math.pi * math.log(2) * blur_mm**2) * px_per_mm**2
    # a large piece with a dark pit is no hole
    return found.mask((half < least) & (pixels < 2 * least))


def _grown(
    seeds: Picture, soft: Picture, middle: float, beside: Picture, px_per_mm: float
) -> Picture:
    """The cells whose cores are given; no cell grows over the border with another one's reach."""
    import cv2

    cores = pieces(seeds)
    # as dark as it is where it is deepest: a hole too small to count is dark in its middle only
    inner = cv2.distanceTransform(seeds.view(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_5)[seeds]
    weight = np.square(np.square(np.minimum(inner, DEEP_MM * px_per_mm)))
    deep = np.bincount(cores.of, weight * (soft[seeds] - middle))
    depth = deep / np.maximum(np.bincount(cores.of, weight), 1e-9)
    apart, whose = nearest(cores.labels)
    within = apart <= REACH_MM * px_per_mm
    share = (soft[within] - middle) / np.maximum(depth, 1e-3).astype(np.float32)[whose[within]]
    border = beside.copy()
    for part, meet in (
        (np.s_[:, 1:], whose[:, 1:] != whose[:, :-1]), (np.s_[1:], whose[1:] != whose[:-1])
    ):  # fmt: skip
        border[part] |= meet
    least = np.where(border[within] & (apart[within] > 0), NO_WALL, EDGE)
    grown = np.zeros_like(seeds)
    grown[within] = share > least
    return grown
