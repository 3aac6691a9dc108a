"""Where a piece meets its worktop, and how sure an outline is.

Rival edges, colours against edges.
"""

import math

import numpy as np
from numpy.typing import NDArray

from kit.photo.outlines.edge_colour import doubted
from kit.photo.outlines.outline import CLEAR, Edge, Looked, inside, jumps_along, noise_of, size_of
from kit.photo.pixels.strip import strip_of

__all__ = ["at_foot", "contact", "crevice", "doubts", "in_shade", "overlap"]

#: what lies on both sides of the line where a piece meets the worktop is so many times as bright
#: where that line begins to count, and where it is sure (own choice, from drawn shadows)
DARK_LINE, SURE_LINE = 1.15, 1.4
#: from where an outline's normals turn down a shadow on the worktop may lie along it
LOWER = 0.3
#: where a piece's colour ends is told where so much of its light is not the ground's colour, so
#: many times the noise of that (own choices, from drawn pieces of two kinds)
UNLIKE, COLOUR_CLEAR = 0.06, 20.0
#: an edge that far from it is the same one, pixels; and how sure it is (drawn pieces; JPEG keeps
#: colour at half the size)
SAME_PX, COLOUR_U_PX = 0.6, 0.4
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

    And the standard uncertainty of that along the foot. By the crevice where there is one. Where
    there is none, in the `last` round, by `contact`; colour then says where the edge is unsure.
    All in working pixels.
    """
    dark = crevice(seen, line, normals, size)
    there = np.isfinite(dark)
    offset, spread = np.where(there, dark, edge.offset), np.where(there, 1.0, edge.spread)
    if not last:
        return offset, spread, CREVICE_U_PX
    u = 0.0
    if not there.any():
        inward, u = contact(seen, line, normals, offset, size)
        offset = offset - inward
    doubt, also = doubted(seen, line, normals, offset, spread, max(4.0, 0.03 * size))
    u = CREVICE_U_PX if there.any() else math.hypot(u, also)
    return offset, np.where(there, spread, doubt), u


def in_shade(normals: Array) -> Array:
    """Return how many times less sure an edge is for the shade under a ball, by normals (n, 2)."""
    turned = (normals[:, 1] - SHADED[0]) / (SHADED[1] - SHADED[0])
    return np.asarray(1 + (SHADE_SPREAD - 1) * np.clip(turned, 0, 1))


def contact(
    seen: Looked, line: Array, normals: Array, offset: Array, size: float
) -> tuple[Array, float]:
    """Return how far within a found foot edge the piece meets the worktop, and how unsure.

    Where little light reaches the crevice between them, the edge found may be the end of the
    shadow on the worktop. A shadow is less light of the same colour: where piece and worktop
    differ in colour the piece ends where its colour does. Where they do not, a dark line within
    the edge tells of it; the darker, the surer.

    Parameters
    ----------
    line, normals : (n, 2) arrays
        What the edge was looked for along, working pixels.
    offset : (n,) array
        Of the edge found, outward.
    size : float
        Smaller side of the outline, pixels.

    Returns
    -------
    inward : (n,) array
        Pixels along the normals.
    u : float
        Standard uncertainty of that along the foot, pixels.
    """
    lower = np.flatnonzero(normals[:, 1] > LOWER)
    if len(lower) < 12:
        return np.zeros(len(line)), 0.0
    ends = _colour_ends(seen, line[lower], normals[lower], max(6.0, 0.05 * size))
    if ends is None:
        return _dark_line(seen, line + offset[:, None] * normals, normals, size)
    inward = np.zeros(len(line))
    apart = offset[lower] - ends
    inward[lower] = np.clip(apart / SAME_PX - 1, 0, 1) * apart
    foot = inward[normals[:, 1] > FOOT]
    return inward, float(np.mean(np.where(foot > 0, COLOUR_U_PX + 0.1 * foot, 0.0)))


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


def _colour_ends(seen: Looked, line: Array, normals: Array, reach: float) -> Array | None:
    """Where the colour of a piece ends along normals of its foot; nothing where it is not clear.

    Light of the piece less what has the ground's colour is the piece's alone, however shaded the
    ground: it ends where half of what is seen 3 pixels further in is left.
    """
    from scipy.ndimage import gaussian_filter1d, median_filter

    t = np.arange(-1.5 * reach, reach + 0.1, 0.5)
    light = _light_along(seen, line, normals, t, (3.0, 1.0))
    end = max(6, len(t) // 6)
    piece, ground = (
        gaussian_filter1d(part.mean(1), 8.0, axis=0) for part in (light[:, :end], light[:, -end:])
    )
    of_ground = (piece * ground).sum(1) / np.maximum((ground**2).sum(1), 1e-9)
    own = piece - of_ground[:, None] * ground
    unlike = np.linalg.norm(own, axis=1) / np.maximum(np.linalg.norm(piece, axis=1), 1e-9)
    left = (light @ own[..., None])[..., 0] / np.maximum(np.linalg.norm(own, axis=1), 1e-9)[:, None]
    noise = float(np.median(left[:, -end:].std(1)))
    within = np.median(left[:, :end], axis=1)
    if np.median(unlike) < UNLIKE or np.median(within) < COLOUR_CLEAR * noise:
        return None
    before, now = left[:, :-6], left[:, 6:]
    ended = (before > np.maximum(4 * noise, 0.3 * within[:, None])) & (now < 0.5 * before)
    if ended.any(1).mean() < 0.8:
        return None
    ends = np.where(ended.any(1), t[6:][ended.argmax(1)], np.nan)
    ends = np.interp(np.arange(len(ends)), np.flatnonzero(ended.any(1)), ends[ended.any(1)])
    return np.asarray(median_filter(ends, 9, mode="nearest"), float)


def _dark_line(seen: Looked, points: Array, normals: Array, size: float) -> tuple[Array, float]:
    """`contact` by the dark line alone."""
    none = np.zeros(len(points)), 0.0
    foot = np.flatnonzero(normals[:, 1] > FOOT)
    if len(foot) < 5:
        return none
    reach = max(4.0, 0.03 * size)
    t = np.arange(-2 * reach, reach + 0.1, 0.5)
    colour = _light_along(seen, points[foot], normals[foot], t, (2.0, 1.2))
    light = colour @ LUMINANCE
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


def _light_along(
    seen: Looked, line: Array, normals: Array, t: Array, smooth: tuple[float, float]
) -> Array:
    """Linear light (n, len(t), 3) across a line, smoothed along it and across."""
    from scipy.ndimage import gaussian_filter1d

    light = strip_of(seen.linear, line - seen.corner, normals, t)
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
