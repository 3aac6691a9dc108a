"""The ground around faces and patches: even enough, it shows how the light runs in between.

Patches stand beside the faces; whether the light bows up between them (vignetting, a lamp near
by) only what lies between can tell. A board or cloth is not as even as a patch, so it is given
a slope of its own, little weight however large it is, and none where it is made of many things.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kit.photo.colour import light_of

__all__ = ["GroundSeen", "see_ground"]

Array = NDArray[np.float64]

_TILES = 20  # along the picture's longer side
_KEEP_OUT = 0.3  # around a face or patch, of its size: shadows, the card itself
_LEAST = 40  # tiles
_MOST_OF = 0.6  # of the ground must be one thing
_ALIKE = 0.35  # ln of light: what differs more is another thing
_EVEN = 0.025  # ln of light: spread of a ground that helps


@dataclass(frozen=True)
class GroundSeen:
    """Tiles of one even ground.

    Parameters
    ----------
    centre : (n, 2) array
        In pixels of the full photo.
    level : (n, 3) array
        0 to 1.
    spread : float
        Of one tile about a smooth surface, in ln of light.
    """

    centre: Array
    level: Array
    spread: float


def see_ground(pixels: NDArray[np.uint8], k: float, keep_out: Sequence[Array]) -> GroundSeen | None:
    """Find an even ground in a photo reduced `k` times; None where there is none.

    Parameters
    ----------
    pixels : (h, w, 3) uint8
    k : float
    keep_out : sequence of (n, 2) arrays
        Faces and patches, in pixels of the full photo.
    """
    height, width = pixels.shape[:2]
    side = max(4, max(height, width) // _TILES)
    rows, columns = height // side, width // side
    cut = pixels[: rows * side, : columns * side]
    tiles = cut.reshape(rows, side, columns, side, 3).swapaxes(1, 2).reshape(-1, side * side, 3)
    y, x = np.divmod(np.arange(rows * columns), columns)
    centre = (np.stack([x, y], 1) * side + side / 2) * k - 0.5
    middle = np.sort(tiles, axis=1)[:, side * side // 4 : 3 * side * side // 4]
    level = middle.mean(1) / 255.0
    keep = (level < 0.97).all(1) & (level > 0.02).all(1)
    for polygon in keep_out:
        low, high = polygon.min(0), polygon.max(0)
        margin = _KEEP_OUT * (high - low) + side * k / 2
        keep &= ((centre < low - margin) | (centre > high + margin)).any(1)
    if keep.sum() < _LEAST:
        return None
    all_there = int(keep.sum())
    log_light = np.log(light_of(np.maximum(level, 1 / 255)))
    keep &= (np.abs(log_light - np.median(log_light[keep], axis=0)) < _ALIKE * 2).all(1)
    at = (centre / k - (width / 2, height / 2)) / (max(width, height) / 2)
    a, b = at.T
    terms = np.stack([np.ones(len(at)), a, b, a * a, a * b, b * b], 1)
    for _ in range(4):
        if keep.sum() < _LEAST:
            return None
        fitted, *_ = np.linalg.lstsq(terms[keep], log_light[keep], rcond=None)
        away = np.abs(log_light - terms @ fitted).max(1)
        spread = float(np.median(away[keep])) / 1.1  # largest of three: about 1.1 sd in the middle
        keep &= away < min(_ALIKE, max(3.5 * spread, 0.03))
    if spread > _EVEN or keep.sum() < max(_LEAST, _MOST_OF * all_there):
        return None
    return GroundSeen(centre[keep], level[keep], spread)
