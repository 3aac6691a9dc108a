"""How sure an outline is: rival edges, a worktop's rim behind it, colours against edges."""

import math

import numpy as np
from numpy.typing import NDArray

from kit.photo.outline import CLEAR, Edge, Looked, inside, jumps_along, noise_of

__all__ = ["doubts", "overlap", "share_along"]

Array = NDArray[np.float64]
Box = tuple[float, float, float, float]


def doubts(
    seen: Looked, line: Array, normals: Array, reach: float, box: Box | None = None
) -> Array:
    """Return how far off another edge might be that is as well seen: top, foot, left and right.

    An edge's support is what two thirds of an arc show of it at least. A rival of 0.6 of the
    support found counts for nothing, one of the same for half its distance (own choice).

    Parameters
    ----------
    line, normals : (n, 2) arrays
        Of the fitted outline.
    reach : float
        How far to look, pixels.
    box : (x0, y0, x1, y1), optional
        As drawn by hand.

    Returns
    -------
    (4,) array
        Pixels.
    """
    window, many = 3, math.ceil(reach)
    t = np.arange(-many - window, many + window + 1) * 1.0
    at = (line[:, None] + normals[:, None] * t[None, :, None] - seen.corner).astype(np.float32)
    strip, jump = jumps_along(seen.lab, at, window)
    inverse = np.linalg.inv(noise_of(strip))
    size = np.sqrt(np.einsum("ijc,cd,ijd->ij", jump, inverse, jump))
    here_px = np.asarray(at[:, window:-window] + seen.corner, np.float64)
    size[inside(seen.keep_out, here_px)] = 0
    if box is not None:  # drawn by hand: what lies beyond it is not the piece's
        size[((here_px < box[:2]) | (here_px > box[2:])).any(2)] = 0
    t = t[window:-window]
    near = np.abs(t) < max(2.5, 0.04 * reach)
    out = []
    for arc in (normals[:, 1] < -0.75, normals[:, 1] > 0.75, normals[:, 0] < -0.8,
                normals[:, 0] > 0.8):  # fmt: skip
        if arc.sum() < 5:
            out.append(0.0)
            continue
        support = np.quantile(np.minimum(size[arc], 2 * CLEAR), 1 / 3, axis=0)
        here = max(float(support[near].max()), 1e-6)
        away = np.abs(t) > max(5.0, 0.1 * reach)
        worth = np.clip((support / here - 0.6) / 0.4, 0, 1) * np.abs(t) / 2
        out.append(float(worth[away].max()))
    return np.array(out)


def overlap(one: Array, two: Array) -> float:
    """Return the share of two outlines' joint area that lies in both."""
    import cv2

    low = np.minimum(one.min(0), two.min(0))
    k = max(1.0, float(np.max(np.maximum(one.max(0), two.max(0)) - low)) / 300)
    size = np.ceil((np.maximum(one.max(0), two.max(0)) - low) / k).astype(int) + 2
    masks = []
    for line in (one, two):
        mask = np.zeros(size[::-1], np.uint8)
        cv2.fillPoly(mask, [np.round((line - low) / k).astype(np.int32)], 1)
        masks.append(mask > 0)
    return float((masks[0] & masks[1]).sum() / max((masks[0] | masks[1]).sum(), 1))


def share_along(seen: Looked, edge: Edge, normals: Array, within: float) -> float:
    """Return what share of an upper edge lies on a straight edge of the background."""
    upper = edge.points[normals[:, 1] < -0.85]
    if not len(upper) or not len(seen.level):
        return 0.0
    off = upper[:, 1:] - seen.level[:, 0] - upper[:, :1] * seen.level[:, 1]
    return float((np.abs(off) < within).any(1).mean())
