"""Walls thinner than the blur: no lighter than a cell's edge, yet lighter than both their sides.

A wall is a line: it is looked for along lines, so that noise averages out along it. Where such
a line has gaps, its parts are joined when the whole boundary between two cells looks like a wall.
"""

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kit.photo.crumbs.darkness import Rim, middle_and_spread, restored
from kit.photo.pixels.pieces import nearest, pieces

__all__ = ["apart", "left_blur_mm", "parted", "ridge_height"]

Picture = NDArray[Any]

#: Both sides of a thin wall are looked at this far from its middle.
SIDE_MM = 0.21
#: A wall is averaged over this length along it.
ALONG_MM = 0.35
#: What is lighter than this share of a cell's edge counts as that: a passage's ends are wall.
ENDS = 0.6
#: A part of an open area is a cell of its own from this size.
SEED_MM2 = 0.05
#: Power of noise that the blur is taken back with before walls are looked for: averaged along a
#: line, they stand more of it.
RESTORE = 0.02
#: Thinnest wall that is looked for: blurred, it still lifts the light by a known share.
THINNEST_MM = 0.05
#: A point is thin wall where it is lighter than that by this share of the deepest and by the wall's
#: noise, averaged over the photo's pixels along it; gaps are looked for where it falls short by no
#: more than the last.
THIN = 0.01
GAP = 0.06


def parted(
    open_mask: Picture, dark: Picture, crumb: Picture, rim: Rim, px_per_mm: float,
    seen_px_per_mm: float,
) -> Picture:  # fmt: skip
    """Return the open pixels with the thin walls between cells taken out.

    Parameters
    ----------
    open_mask, crumb : (height, width) bool
    dark : (height, width) float32
        From `darkness`.
    rim : Rim
    px_per_mm : float
    seen_px_per_mm : float
        Of the photo, where it has fewer.
    """
    import cv2

    clearer = restored(dark, px_per_mm, rim.blur_mm, RESTORE)
    share = math.erf(THINNEST_MM / (2 * math.sqrt(2) * left_blur_mm(rim.blur_mm)))
    # the line across a passage ends in wall
    height = ridge_height(np.maximum(clearer, np.float32(ENDS * rim.level)), px_per_mm, share)
    off = np.ones((2 * max(1, round(SIDE_MM * px_per_mm)) + 1,) * 2, np.uint8)
    wall = cv2.erode((crumb & (dark < rim.level)).view(np.uint8), off, borderValue=0) > 0
    some = np.flatnonzero(wall)[::3]
    noise = middle_and_spread(clearer.ravel()[some])[1] / math.sqrt(ALONG_MM * seen_px_per_mm)
    margin = THIN * rim.deep + noise
    return apart(open_mask, height, px_per_mm, margin, margin - GAP * rim.deep)


def left_blur_mm(blur_mm: float) -> float:
    """Return the blur left in a restored picture: the normal one that halves the same waves.

    A normal blur passes exp(−2π²s²f²) of a wave of frequency f; with the filter of `restored`,
    half is left of the wave of which the blur alone passes √noise.
    """
    return blur_mm * math.sqrt(2 * math.log(2) / -math.log(RESTORE))


def ridge_height(dark: Picture, px_per_mm: float, share: float) -> Picture:
    """How much lighter each point is than a thin wall there would be, in the best direction.

    Parameters
    ----------
    dark : (height, width) float32
    px_per_mm : float
    share : float
        A wall is lighter than the lighter of its sides by at least this share of their darkness.
        A wall of width w seen with a blur of standard deviation s lifts flat sides by
        erf(w / (2√2·s)); the light inside a narrow passage between two cells rises less.

    Returns
    -------
    (height, width) float32
        In darkness, at most over four directions; below 0 where a point is no wall.
    """
    import cv2

    far, near = max(1, round(SIDE_MM * px_per_mm)), max(1, round(0.71 * SIDE_MM * px_per_mm))
    n = max(1, round(ALONG_MM * px_per_mm)) | 1
    slant = max(1, round(0.71 * ALONG_MM * px_per_mm)) | 1
    diagonal = np.eye(slant, dtype=np.float32) / slant
    height, width = dark.shape
    best: Picture = np.full(dark.shape, -np.inf, np.float32)
    for kernel, dy, dx in (
        (np.full((n, 1), 1 / n), 0, far), (np.full((1, n), 1 / n), far, 0),
        (diagonal[::-1].copy(), near, near), (diagonal, near, -near),
    ):  # fmt: skip
        line = cv2.filter2D(dark, -1, kernel, borderType=cv2.BORDER_REPLICATE)
        wide = cv2.copyMakeBorder(line, far, far, far, far, cv2.BORDER_REPLICATE)
        one = wide[far + dy : far + dy + height, far + dx : far + dx + width]
        other = wide[far - dy : far - dy + height, far - dx : far - dx + width]
        best = cv2.max(best, cv2.addWeighted(cv2.min(one, other), 1 - share, line, -1, 0))
    return np.asarray(best)


def apart(
    open_mask: Picture, height: Picture, px_per_mm: float, margin: float, loose: float
) -> Picture:
    """Return the open pixels with thin walls taken out.

    Parameters
    ----------
    open_mask : (height, width) bool
    height : (height, width) float32
        From `ridge_height`.
    px_per_mm : float
    margin, loose : float
        A point as high as `margin` is wall; boundaries are looked for from a height of `loose` on,
        and are wall where their mean lies half-way between the two.

    Returns
    -------
    (height, width) bool

    Examples
    --------
    A wall whose middle hardly shows, but which is one as a whole:

    >>> open_mask, height = np.ones((21, 41), bool), np.full((21, 41), -0.2, np.float32)
    >>> height[:, 20] = 0.02
    >>> height[8:13, 20] = -0.01
    >>> len(pieces(open_mask & (height < 0)).pixels) - 1
    1
    >>> len(pieces(apart(open_mask, height, 14.0, 0.0, -0.05)).pixels) - 1
    2
    """
    mask = open_mask & (height < margin)
    seeds = pieces(mask & (height < loose))
    count = len(seeds.pixels)
    # every other pixel belongs to the nearest seed
    large = seeds.pixels >= SEED_MM2 * px_per_mm**2
    own = np.zeros_like(seeds.labels)
    own.ravel()[seeds.place] = np.where(large[seeds.of], seeds.of, 0)
    _, whose = nearest(own)
    pairs, at = [], []
    place = np.arange(mask.size).reshape(mask.shape)
    for one, other in ((np.s_[:, :-1], np.s_[:, 1:]), (np.s_[:-1], np.s_[1:])):
        meet = (whose[one] != whose[other]) & open_mask[one] & open_mask[other]
        a, b = whose[one][meet], whose[other][meet]
        pairs.append(np.minimum(a, b).astype(np.int64) * count + np.maximum(a, b))
        at.append(place[one][meet])
    key, index = np.concatenate(pairs), np.concatenate(at)
    if not len(key):
        return np.asarray(mask)
    _, group, n = np.unique(key, return_inverse=True, return_counts=True)
    mean = np.bincount(group, height.ravel()[index]) / n
    cut = mask.copy()
    cut.ravel()[index[mean[group] > 0.5 * (margin + loose)]] = False
    return cut
