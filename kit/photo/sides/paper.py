"""The paper a square reference is printed on, and its pale margin: no part of a piece."""

import math

import numpy as np
from numpy.typing import NDArray

from kit.photo.outlines.outline import shadow_proof

__all__ = ["margined", "paper"]

Array = NDArray[np.float64]

#: in sides of the reference: how far its paper is followed, in which steps
_FARTHEST, _STEP = 1.5, 0.02
#: the square's own edge is blurred over so much, pixels
_BLUR_PX = 4.0
#: colours that jump by this much within `_WINDOW` steps are no longer one plain paper's (own
#: choice; L*a*b* units, lightness at half its weight)
_JUMP, _WINDOW = 4.0, 3
#: a paper's rim is straight: of the lines across it so many meet it within this much of another
_ALIKE, _WITHIN = 0.6, 0.05
#: so much more: the rim itself is no edge of a piece
_SLACK = 0.05


def paper(picture: NDArray[np.uint8], corners: Array) -> Array:
    """Return the corners (4, 2) of the paper round a square, in pixels of `picture`.

    From each side outward along the plane to the first jump in colour, where that is a straight
    line. Where it is not, the ground is as pale as the paper: that side is left as it is.

    Parameters
    ----------
    picture : (h, w, 3) array
        sRGB, 8 bit.
    corners : (4, 2) array
        Of the square, in order once round.
    """
    import cv2

    unit = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], np.float32)
    place = cv2.getPerspectiveTransform(unit, corners.astype(np.float32))
    margin = (_FARTHEST + 0.5) * np.ptp(corners, axis=0)
    low = np.maximum((corners.min(0) - margin).astype(int), 0)
    high = (corners.max(0) + margin).astype(int) + 2
    part = np.ascontiguousarray(picture[low[1] : high[1], low[0] : high[0]])
    part = np.asarray(cv2.GaussianBlur(part, (0, 0), 0.8), np.uint8)
    # the blurred edge of the square itself is past
    wide = float(np.linalg.norm(corners - np.roll(corners, 1, axis=0), axis=1).mean())
    out = np.arange(max(0.5 * _STEP, _BLUR_PX / wide), _FARTHEST, _STEP)
    across = np.linspace(0.06, 0.94, 12)
    reach = []
    for side in range(4):
        far, along = np.meshgrid(out, across)
        u, v = ((along, -far), (1 + far, along), (along, 1 + far), (-far, along))[side]
        at = cv2.perspectiveTransform(
            np.stack([u, v], -1).reshape(1, -1, 2).astype(np.float32), place
        ).reshape(*u.shape, 2)
        x, y = np.moveaxis((at - low).astype(np.float32), -1, 0)
        seen = np.asarray(cv2.remap(part, x, y, cv2.INTER_LINEAR), np.float32) / 255
        lab = np.asarray(cv2.cvtColor(seen, cv2.COLOR_RGB2LAB), np.float32)
        colour = shadow_proof(lab) * np.array([0.5, 1, 1], np.float32)
        mean = np.lib.stride_tricks.sliding_window_view(colour, _WINDOW, axis=1).mean(-1)
        jump = np.sqrt(((mean[:, _WINDOW:] - mean[:, :-_WINDOW]) ** 2).sum(-1)) > _JUMP
        # the step lies in the middle of the first stretch that jumps
        first = np.where(jump.any(1), out[np.minimum(jump.argmax(1) + _WINDOW + 1, len(out) - 1)],
                         math.inf)  # fmt: skip
        middle = float(np.median(first))
        straight = np.mean(np.abs(first - middle) < _WITHIN) if math.isfinite(middle) else 0.0
        reach.append(middle + _SLACK if straight >= _ALIKE else 0.0)
    top, right, bottom, left = reach
    grown = np.array([[-left, -top], [1 + right, -top], [1 + right, 1 + bottom],
                      [-left, 1 + bottom]], np.float32)  # fmt: skip
    return np.asarray(cv2.perspectiveTransform(grown[None], place)[0], np.float64)


def margined(polygon: Array, grow: float) -> Array:
    """Return a reference with the pale margin round it: at least a sixth of a marker's side."""
    import cv2

    if len(polygon) < 3:
        return np.empty((0, 2))
    hull = cv2.convexHull(polygon.astype(np.float32))[:, 0].astype(float)
    middle = hull.mean(0)
    return np.asarray(middle + grow * (hull - middle))
