"""Where a piece meets its worktop, and how sure an outline is.

Rival edges, a worktop's rim behind it, colours against edges.
"""

import math

import numpy as np
from numpy.typing import NDArray

from kit.photo.edge_colour import doubted
from kit.photo.outline import CLEAR, Edge, Looked, inside, jumps_along, noise_of, size_of

__all__ = [
    "at_foot", "crevice", "doubts", "in_shade", "overlap", "share_along",
]  # fmt: skip

#: from where an outline's normals turn down a shadow on the worktop may lie along it
LOWER = 0.3
#: what lies close on either side of a crevice is at least so many times as bright as it (own
#: choice: shadows are less deep, or wider), and so much of the foot has one
CREVICE, MOST_OF_FOOT = 1.8, 0.6
#: blur of a photo and of smoothing, pixels; how sure a foot is by its crevice (traced pieces)
BLUR_PX, CREVICE_U_PX = 1.2, 0.5
#: normals that turn down by more than this are the foot's
FOOT = 0.75
#: shade under a ball moves its edge along the lower rim, and how that rim bends is what height and
#: tilt are told apart by: there, from the first to the second of these turns down, an edge is so
#: many times less sure (of 40 balls of two programs heights were then off by a quarter less; of
#: pieces, whose rims bend more sharply, those of one program by less and of two by more)
SHADED, SHADE_SPREAD = (0.2, 0.6), 3.0

#: of linear light, ITU-R BT.709
LUMINANCE = np.array([0.2126, 0.7152, 0.0722])

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
    size = size_of(jump, noise_of(strip))
    here_px = np.asarray(at[:, window:-window] + seen.corner, np.float64)
    size[inside(seen.keep_out, here_px)] = 0
    if box is not None:  # drawn by hand: what lies beyond it is not the piece's
        size[((here_px < box[:2]) | (here_px > box[2:])).any(2)] = 0
    t = t[window:-window]
    near = np.abs(t) < max(2.5, 0.04 * reach)
    out = []
    for arc in (normals[:, 1] < -0.75, normals[:, 1] > FOOT, normals[:, 0] < -0.8,
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


def at_foot(
    seen: Looked, line: Array, normals: Array, edge: Edge, size: float, last: bool
) -> tuple[Array, Array, float]:
    """Return an edge's offsets and spreads with its foot where the piece meets the worktop.

    And the standard uncertainty of that along the foot. By the crevice where there is one; where
    there is none, in the `last` round, colour says where the edge is unsure. All in working pixels.
    """
    dark = crevice(seen, line, normals, size)
    there = np.isfinite(dark)
    offset, spread = np.where(there, dark, edge.offset), np.where(there, 1.0, edge.spread)
    if not last:
        return offset, spread, CREVICE_U_PX
    doubt, u = doubted(seen, line, normals, offset, spread, max(4.0, 0.03 * size))
    return offset, np.where(there, spread, doubt), CREVICE_U_PX if there.any() else u


def in_shade(normals: Array) -> Array:
    """Return how many times less sure an edge is for the shade under a ball, by normals (n, 2)."""
    turned = (normals[:, 1] - SHADED[0]) / (SHADED[1] - SHADED[0])
    return np.asarray(1 + (SHADE_SPREAD - 1) * np.clip(turned, 0, 1))


def crevice(seen: Looked, line: Array, normals: Array, size: float) -> Array:
    """Return where a piece meets its worktop in a dark crevice, outward from a line near its foot.

    Into the gap between two bodies that touch hardly any light comes, wherever it comes from: both
    darken towards the line where they meet, deeper than any shadow and within a few pixels. So the
    darkest place is that line, whatever the light, the colours and what a worktop mirrors. Blur
    moves it towards the side that darkens more gently: of two slopes s and s' it lies where the
    normal distribution is s / (s + s'), times the blur (own derivation).

    Parameters
    ----------
    line, normals : (n, 2) arrays
        Working pixels.
    size : float
        Smaller side of the outline, pixels.

    Returns
    -------
    (n,) array
        Pixels along the normals; NaN where there is no crevice.
    """
    from scipy.special import ndtri

    out = np.full(len(line), np.nan)
    lower = np.flatnonzero(normals[:, 1] > LOWER)
    foot = normals[lower, 1] > FOOT
    if foot.sum() < 5:
        return out
    # in steps of half a pixel: to either side of the darkest place, inward and outward of the line
    away, inner, outer = (
        math.ceil(2 * max(least, share * size))
        for least, share in ((6, 0.04), (8, 0.12), (5, 0.05))
    )
    t = np.asarray(0.5 * np.arange(-inner - away, outer + away + 1), np.float64)
    light = _light_along(seen, line[lower], normals[lower], t, (2.0, 1.2)) @ LUMINANCE
    lowest = away + light[:, away:-away].argmin(1)
    rows = np.arange(len(lower))
    least = light[rows, lowest]
    sides = np.minimum(light[rows, lowest - away], light[rows, lowest + away])
    found = (sides > CREVICE * least) & (lowest > away) & (lowest < len(t) - 1 - away)
    if found[foot].mean() < MOST_OF_FOOT:
        return out
    within, beyond = (np.maximum(light[rows, lowest + d] - least, 1e-6) for d in (-5, 5))
    place = t[lowest] - BLUR_PX * ndtri(within / (within + beyond))
    out[lower[found]] = place[found]
    return out


def _light_along(
    seen: Looked, line: Array, normals: Array, t: Array, smooth: tuple[float, float]
) -> Array:
    """Linear light (n, len(t), 3) across a line, smoothed along it and across."""
    import cv2
    from scipy.ndimage import gaussian_filter1d

    at = (line[:, None] + normals[:, None] * t[None, :, None] - seen.corner).astype(np.float32)
    light = cv2.remap(seen.linear, at[..., 0], at[..., 1], cv2.INTER_LINEAR,
                      borderMode=cv2.BORDER_REPLICATE)  # fmt: skip
    for axis, sigma in enumerate(smooth):
        light = gaussian_filter1d(light, sigma, axis=axis)
    return np.asarray(light, float)


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
