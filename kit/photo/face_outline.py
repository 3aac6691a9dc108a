"""Where a muffin's round face ends and the ground begins, in a box drawn around it.

Colour tells face from ground (GrabCut: Rother, Kolmogorov and Blake 2004), and one closed line
around the middle, which may not jump, settles where: the best such line by dynamic programming
over directions.
"""

import numpy as np
from numpy.typing import NDArray

from kit.photo.strip import closed_path

__all__ = ["find_face"]

Array = NDArray[np.float64]
Pixels = NDArray[np.uint8]

_WORK_PX = 150  # longer side of the picture in which colours are told apart
_DIRECTIONS, _RADII = 96, 120
_JUMP = 1  # steps of radius between neighbouring directions
_TURN = np.linspace(0, 2 * np.pi, _DIRECTIONS, endpoint=False)
_ROUNDS = 5
# shares of the box's half: surely face, likely face, surely ground
_SURE, _LIKELY, _SURELY_OUT = 0.45, 0.9, 1.12
# as shares of the radius: how far off the box's middle, how far from round, how far one end lies
# off, its neighbours with it
_WAVES, _SHIFTED, _OUT_OF_ROUND, _NOISE = 6, 0.1, 0.03, 0.08
_FAR = 0.06  # of the radius: ends further off the round line do not count


def find_face(pixels: Pixels, box: Array) -> tuple[Array, float]:
    """Find the outline of a face.

    Parameters
    ----------
    pixels : (h, w, 3) uint8
        The picture, or a reduced one.
    box : (4,) array
        x0, y0, x1, y1 in its pixels; the face fills most of it.

    Returns
    -------
    outline : (n, 2) array
        In pixels of `pixels`.
    doubt : float
        Standard uncertainty of its radius, as a share: how far colour and roundness disagree.
    """
    import cv2

    x0, y0, x1, y1 = box
    margin = 0.12 * max(x1 - x0, y1 - y0)
    height, width = pixels.shape[:2]
    left, top = max(0, int(x0 - margin)), max(0, int(y0 - margin))
    right, bottom = min(width, int(x1 + margin) + 2), min(height, int(y1 + margin) + 2)
    crop = pixels[top:bottom, left:right]
    k = max(crop.shape[:2]) / _WORK_PX
    size = (max(8, round(crop.shape[1] / k)), max(8, round(crop.shape[0] / k)))
    how = cv2.INTER_AREA if k > 1 else cv2.INTER_LINEAR
    small = np.asarray(cv2.resize(crop, size, interpolation=how), np.uint8)
    factor = np.array([crop.shape[1] / size[0], crop.shape[0] / size[1]])
    low = (np.array([x0, y0]) - (left, top) + 0.5) / factor - 0.5
    high = (np.array([x1, y1]) - (left, top) + 0.5) / factor - 0.5
    mid, half = (low + high) / 2, (high - low) / 2
    y, x = np.mgrid[: size[1], : size[0]]
    across, down = (x - mid[0]) / half[0], (y - mid[1]) / half[1]
    boxed = (np.abs(across) <= 1) & (np.abs(down) <= 1)
    ends, doubt = _around(_by_colour(small, np.hypot(across, down), boxed), mid, half)
    outline = mid + ends[:, None] * np.stack([np.cos(_TURN), np.sin(_TURN)], 1) * half
    return (outline + 0.5) * factor - 0.5 + (left, top), doubt


def _by_colour(small: Pixels, out: Array, boxed: NDArray[np.bool_]) -> Array:
    """1 where a pixel's colour is more the face's than the ground's, softly.

    `out` is the distance from the middle of the box, in halves of it.
    """
    import cv2

    mask = np.full(small.shape[:2], cv2.GC_PR_FGD, np.uint8)
    mask[out > _LIKELY] = cv2.GC_PR_BGD
    mask[~boxed | (out > _SURELY_OUT)] = cv2.GC_BGD
    mask[out < _SURE] = cv2.GC_FGD
    if not (mask == cv2.GC_BGD).any():
        return np.asarray(out < 1, float)
    cv2.setRNGSeed(1)  # its k-means starts at random
    ground, face = np.zeros((1, 65)), np.zeros((1, 65))
    whole = (0, 0, 1, 1)  # not looked at where a mask is given
    cv2.grabCut(small, mask, whole, ground, face, _ROUNDS, cv2.GC_INIT_WITH_MASK)
    own = np.isin(mask, (cv2.GC_FGD, cv2.GC_PR_FGD)).astype(np.float32)
    return np.asarray(cv2.GaussianBlur(own, (0, 0), 1.0), float)


def _around(face: Array, mid: Array, half: Array) -> tuple[Array, float]:
    """The closed line around `mid` that has most face inside and most ground outside.

    Its radius in each direction, in half boxes, and how far the radius may be off.
    """
    from scipy.ndimage import map_coordinates

    radius = (np.arange(_RADII) + 0.5) / _RADII * 1.2
    across = np.stack([np.cos(_TURN), np.sin(_TURN)], 1) * half
    at = mid + radius[None, :, None] * across[:, None, :]  # (directions, radii, 2)
    seen = map_coordinates(face, [at[..., 1], at[..., 0]], order=1, mode="nearest")
    gain = np.cumsum((2 * seen - 1) * radius, axis=1)  # of ending the face at a radius
    ends = (closed_path(-gain, _JUMP, 0.0) + 1) / _RADII * 1.2
    smooth = _rounded(ends)
    doubt = float(np.sqrt(np.mean((ends - smooth) ** 2)))
    return smooth, doubt


def _rounded(ends: Array) -> Array:
    """A round line through most of the ends: bites of ground-coloured face are outvoted."""
    waves = np.arange(1, _WAVES + 1)[:, None] * _TURN
    terms = np.concatenate([np.ones((1, _DIRECTIONS)), np.cos(waves), np.sin(waves)]).T
    weight = np.ones(_DIRECTIONS)
    order = np.arange(1, _WAVES + 1)
    size = np.where(order == 1, _SHIFTED, _OUT_OF_ROUND / order)  # of each wave, expected
    held = np.diag(np.concatenate([[0.0], size**-2.0, size**-2.0])) * _NOISE**2
    for _ in range(20):
        heavy = weight[:, None] * terms
        fit = np.linalg.solve(heavy.T @ terms + held, heavy.T @ ends)
        away = ends - terms @ fit
        weight = np.maximum(1 - (away / _FAR) ** 2, 0) ** 2 + 1e-3  # Tukey's biweight
    return np.asarray(terms @ fit)
