"""The pieces of a mask, pixels that share an edge; and which of them is nearest."""

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

__all__ = ["Pieces", "disc_element", "nearest", "pieces"]

Picture = NDArray[Any]


class Pieces(NamedTuple):
    """The pieces of a mask.

    Parameters
    ----------
    labels : (height, width) int32
        Number of the piece each pixel is of, from 1; 0 for none.
    place : (n,) int
        Where the mask's pixels are, counted along the rows: most are elsewhere.
    of : (n,) int32
        Number of the piece of each of those.
    pixels : (pieces + 1,) int
        How many pixels each number has; none has 0.
    """

    labels: Picture
    place: NDArray[np.intp]
    of: Picture
    pixels: Picture

    def hold(self, mask: Picture) -> NDArray[np.bool_]:
        """Which pieces hold one of a mask's pixels, by number."""
        held = np.zeros(len(self.pixels), bool)
        held[self.of[mask.ravel()[self.place]]] = True
        return held

    def mask(self, keep: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """Pixels of some of the pieces; which is told by number."""
        kept = np.zeros(self.labels.shape, bool)
        kept.ravel()[self.place] = keep[self.of]
        return kept


def pieces(mask: NDArray[np.bool_]) -> Pieces:
    """Find the pieces of a mask.

    Parameters
    ----------
    mask : (height, width) bool

    Examples
    --------
    >>> found = pieces(np.array([[1, 0, 1], [0, 1, 1]], bool))
    >>> found.pixels.tolist()
    [0, 1, 3]
    >>> found.mask(found.pixels > 2).astype(int).tolist()
    [[0, 0, 1], [0, 1, 1]]
    """
    import cv2

    mask = np.ascontiguousarray(mask)
    # OpenCV's own statistics take four times as long
    count, labels = cv2.connectedComponents(mask.view(np.uint8), connectivity=4)
    place = np.flatnonzero(mask)
    of = labels.ravel()[place]
    return Pieces(labels, place, of, np.bincount(of, minlength=count))


def nearest(labels: Picture) -> tuple[Picture, Picture]:
    """Return how far off, in pixels, the nearest piece is, float32, and its number.

    Parameters
    ----------
    labels : (height, width) int32
        Number of the piece each pixel is of; 0 for none.

    Examples
    --------
    >>> away, whose = nearest(np.array([[7, 0, 0, 0, 0, 0, 0, 2]], np.int32))
    >>> whose.tolist()
    [[7, 7, 7, 7, 2, 2, 2, 2]]
    """
    import cv2

    away, near = cv2.distanceTransformWithLabels(
        (labels == 0).view(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_5, labelType=cv2.DIST_LABEL_PIXEL
    )
    place = np.flatnonzero(labels > 0)
    number = np.zeros(int(near.max()) + 1, np.int32)
    number[near.ravel()[place]] = labels.ravel()[place]
    return away, np.asarray(np.take(number, near))


def disc_element(radius: float) -> Picture:
    """Return a disc of so many pixels' radius, to widen or narrow a mask by (OpenCV)."""
    import cv2

    n = 2 * max(1, round(radius)) + 1
    return cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (n, n))
