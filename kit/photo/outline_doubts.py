"""How sure an outline is: rival edges, a worktop's rim behind it, colours against edges."""

import math

import numpy as np
from numpy.typing import NDArray

from kit.photo.outline import CLEAR, Edge, Looked, inside, jumps_along, noise_of

__all__ = ["contact", "doubts", "overlap", "share_along"]

#: what lies on both sides of the line where a piece meets the worktop is so many times as bright
#: where that line begins to count, and where it is sure (own choice, from drawn shadows)
DARK_LINE, SURE_LINE = 1.15, 1.4

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


def contact(seen: Looked, points: Array, normals: Array, size: float) -> tuple[Array, float]:
    """Return how far within a found foot edge the piece meets the worktop, and how unsure.

    Light hardly reaches the crevice where they meet: a dark line. Where it lies within the edge
    found, that edge is the end of the shadow on the worktop, not of the piece; the darker the
    line, the surer.

    Parameters
    ----------
    points, normals : (n, 2) arrays
        Of the edge found, working pixels.
    size : float
        Smaller side of the outline, pixels.

    Returns
    -------
    inward : (n,) array
        Pixels along the normals.
    u : float
        Standard uncertainty of that along the foot, pixels.
    """
    import cv2
    from scipy.ndimage import gaussian_filter1d

    none = np.zeros(len(points)), 0.0
    foot = np.flatnonzero(normals[:, 1] > 0.75)
    if len(foot) < 5:
        return none
    reach = max(4.0, 0.03 * size)
    t = np.arange(-2 * reach, reach + 0.1, 0.5)
    at = points[foot, None] + normals[foot, None] * t[None, :, None] - seen.corner
    place = at.astype(np.float32)
    colour = cv2.remap(seen.linear, place[..., 0], place[..., 1], cv2.INTER_LINEAR,
                       borderMode=cv2.BORDER_REPLICATE)  # fmt: skip
    light: Array = colour @ np.array([0.2126, 0.7152, 0.0722])  # ITU-R BT.709
    light = gaussian_filter1d(gaussian_filter1d(light, 2.0, axis=0), 1.2, axis=1)
    lowest = np.where(t > -reach, light, np.inf).argmin(1)
    within = np.median(light[:, t < -reach], axis=1)
    deep = float(np.median(np.minimum(within, light[:, -1])
                           / np.maximum(light[np.arange(len(foot)), lowest], 1e-4)))  # fmt: skip
    inward = -float(np.median(t[lowest]))
    if deep < DARK_LINE or inward <= 0.5:
        return none
    share = min((deep - DARK_LINE) / (SURE_LINE - DARK_LINE), 1.0)
    along = np.clip((normals[:, 1] - 0.6) / 0.25, 0, 1)
    return share * inward * along, 0.4 * inward


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
