"""The edge of a piece in a photo, to a fraction of a pixel.

It is looked for along normals of a line near it: where colours change from those within to those
without and suit the piece up to there and the ground beyond, one smooth path once round (dynamic
programming), its place refined by the parabola through the best three steps. Colours are taken
such that a shadow changes one of the three alone.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kit.photo.pixels.colour import light_of_bytes
from kit.photo.pixels.strip import closed_path

__all__ = [
    "CLEAR", "Edge", "Looked", "evenly", "find_edge", "inside", "jumps_along", "look",
    "noise_of", "shadow_proof", "size_of", "spread_round",
]  # fmt: skip

Array = NDArray[np.float64]
Pixels = NDArray[np.uint8]
Box = tuple[float, float, float, float]

#: an edge this many times its noise is clear; under a quarter of it there is none (own choice)
CLEAR = 12.0
#: weight of how colours belong against how clear an edge is: pixels near one another err alike
_BELONGING = 0.4
#: colours jump by this much where a worktop ends (own choice, L*a*b* units)
_LEVEL_STEP = 8.0


@dataclass(frozen=True)
class Looked:
    """A part of a working picture, ready for finding edges.

    Parameters
    ----------
    lab : (h, w, 3) array
        CIE L*a*b*, float32: where an edge is looked for.
    linear : (h, w, 3) array
        Linear light: where half of a blurred edge lies (a lens blurs light, not its coding).
    corner : (float, float)
        Where its first pixel lies in the working picture.
    keep_out : (m, 2) array
        The reference with its margin, in order once round: no edge of the piece is in there.
    level : (m, 2) array
        Edges that run on straight left and right of the piece (a worktop's far rim): height of
        the line at x = 0 and its slope, working pixels.
    """

    lab: NDArray[np.float32]
    linear: NDArray[np.float32]
    corner: tuple[float, float]
    keep_out: Array
    level: Array


@dataclass(frozen=True)
class Edge:
    """An edge found along normals.

    Parameters
    ----------
    points : (n, 2) array
        In order, working pixels.
    offset : (n,) array
        From the line it was looked for along, outward positive.
    strength : (n,) array
        How clear it is: step in colour over the noise of it.
    """

    points: Array
    offset: Array
    strength: Array

    @property
    def spread(self) -> Array:
        """Faint places count for less: noise goes with one over the step's clearness."""
        usual = max(float(np.median(self.strength)), 1e-6)
        return np.asarray(np.clip(usual / np.maximum(self.strength, 1e-6), 0.7, 10.0))


def look(picture: Pixels, box: Box, margin: float, keep_out: Array) -> Looked:
    """Return the part of a picture round a box, in L*a*b*."""
    import cv2

    height, width = picture.shape[:2]
    grow = margin * max(box[2] - box[0], box[3] - box[1])
    x0, y0 = max(0, int(box[0] - grow)), max(0, int(box[1] - grow))
    x1, y1 = min(width, int(box[2] + grow) + 2), min(height, int(box[3] + grow) + 2)
    part = np.ascontiguousarray(picture[y0:y1, x0:x1])
    coded = part.astype(np.float32)
    coded /= 255
    proof = shadow_proof(np.asarray(cv2.cvtColor(coded, cv2.COLOR_RGB2LAB), np.float32))
    corner = (float(x0), float(y0))
    # a straight edge across the whole picture is found as well in one of half the size
    half = cv2.resize(proof, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    level = _level_edges(np.asarray(half, np.float32), (box[0] - x0) / 2, (box[2] - x0) / 2)
    level[:, 0] = 2 * level[:, 0] + 0.5 + y0 - level[:, 1] * x0
    linear = np.asarray(cv2.LUT(part, light_of_bytes()), np.float32)
    return Looked(proof, linear, corner, keep_out, level)


def shadow_proof(lab: NDArray[np.float32]) -> NDArray[np.float32]:
    """L*, and a* and b* over L* + 16: a shadow changes the first alone (CIE 15: cube roots).

    The factor keeps their size where it is usual (L* near 50).
    """
    out = np.array(lab, np.float32)
    out[..., 1:] *= 66 / (np.maximum(out[..., :1], 4.0) + 16)
    return out


def _level_edges(part: NDArray[np.float32], left: float, right: float) -> Array:
    """Edges that go straight on from left of the piece to right of it: (height at x = 0, slope).

    Colours are averaged along lines of each slope, in a stretch on either side of it; an edge is
    where both jump alike.
    """
    import cv2

    height, width = part.shape[:2]
    gap = 0.06 * (right - left)
    stretches = ((0.0, left - gap), (right + gap, width - 1.0))
    if any(b - a < 0.1 * (right - left) for a, b in stretches) or height < 20:
        return np.empty((0, 2))
    y = np.arange(height, dtype=np.float32)[:, None]
    best: list[tuple[float, float, float]] = []
    for slope in np.tan(np.radians(np.arange(-4.0, 4.1, 0.5))):
        jumps = []
        for a, b in stretches:
            x = np.linspace(a, b, 25, dtype=np.float32)[None]
            at_y = (y + slope * (x - (left + right) / 2)).astype(np.float32)
            seen = cv2.remap(part, np.broadcast_to(x, at_y.shape).copy(), at_y, cv2.INTER_LINEAR,
                             borderMode=cv2.BORDER_REPLICATE)  # fmt: skip
            line = cv2.blur(np.partition(seen, 12, axis=1)[:, 12], (1, 3))  # the middle one
            jumps.append(line[6:] - line[:-6])
        one, two = (np.sqrt((j**2).sum(1)) for j in jumps)
        alike = (jumps[0] * jumps[1]).sum(1) > 0.5 * one * two
        clear = np.minimum(one, two) * alike
        row = int(clear.argmax())
        best.append((float(clear[row]), row + 3.0, float(slope)))
    clear_most, row_best, slope_best = max(best)
    if clear_most < _LEVEL_STEP:
        return np.empty((0, 2))
    return np.array([[row_best - slope_best * (left + right) / 2, slope_best]])


def evenly(line: Array, n: int) -> Array:
    """Return `n` points evenly along a closed line (m, 2)."""
    closed = np.vstack([line, line[:1]])
    along = np.r_[0, np.cumsum(np.hypot(*np.diff(closed, axis=0).T))]
    at = np.linspace(0, along[-1], n, endpoint=False)
    return np.column_stack([np.interp(at, along, closed[:, 0]), np.interp(at, along, closed[:, 1])])


def find_edge(
    seen: Looked, line: Array, normals: Array, reach: float, either: bool = False
) -> Edge:
    """Return the edge near a closed line of even points.

    Parameters
    ----------
    seen : Looked
    line, normals : (n, 2) arrays
        Working pixels.
    reach : float
        How far to look on either side, pixels.
    either : bool
        Also edges that change colour another way than most: the line is a rough one.
    """
    n = len(line)
    step = 1.0 if reach > 4 else 0.5
    window = max(2, min(5, round(reach / 4)))  # steps of one side that are averaged
    many = math.ceil(reach / step)
    t = np.arange(-many - window, many + window + 1) * step
    at = (line[:, None] + normals[:, None] * t[None, :, None] - seen.corner).astype(np.float32)
    strip, jump = jumps_along(seen.lab, at, window)
    t = t[window:-window]
    toward = spread_round(strip[:, :window].mean(1) - strip[:, -window:].mean(1), max(2, n // 20))
    noise = noise_of(strip)
    weight = np.linalg.solve(noise, toward.T).T
    weight /= np.sqrt(np.maximum((weight * toward).sum(1), 1e-9))[:, None]
    score = (jump @ weight[..., None])[..., 0]
    if either:
        score = np.maximum(score, 0.8 * size_of(jump, noise))
    gain = np.minimum(score, CLEAR) - 0.5 * (t / (0.6 * reach)) ** 2
    for start, slope in seen.level:
        y = at[:, window:-window, 1] + seen.corner[1]
        off = np.abs(y - start - slope * (at[:, window:-window, 0] + seen.corner[0]))
        gain -= np.minimum(score, CLEAR) * ((off < 3.5) & (normals[:, 1:] < -0.8))
    gain += _BELONGING * _belongs(strip, window, n)
    gain[inside(seen.keep_out, np.asarray(at[:, window:-window] + seen.corner, float))] -= 50.0
    spacing = float(np.median(np.hypot(*(line - np.roll(line, 1, 0)).T)))
    path = closed_path(-gain, 3, step / (0.35 * spacing), 2)
    rows, inner = np.arange(n), np.clip(path, 3, len(t) - 4)
    strength = np.maximum(score[rows, inner], 0.0)
    strip, jump = jumps_along(seen.linear, at, window)
    toward = spread_round(strip[:, :window].mean(1) - strip[:, -window:].mean(1), max(2, n // 20))
    near = (jump[rows[:, None], inner[:, None] + np.arange(-3, 4)] @ toward[..., None])[..., 0]
    best = np.clip(near[:, 1:-1].argmax(1) + 1, 1, 5)
    a, b, c = (near[rows, best + d] for d in (-1, 0, 1))
    bend = a - 2 * b + c
    shift = np.where(bend < -1e-12, 0.5 * (a - c) / np.where(bend < -1e-12, bend, 1), 0)
    offset = t[inner + best - 3] + np.clip(shift, -0.7, 0.7) * step
    return Edge(line + offset[:, None] * normals, offset, strength)


def noise_of(strip: Array) -> Array:
    """Covariance of a jump that is noise alone, from second differences along the normals."""
    fine = np.diff(strip, 2, axis=1)[:, ::2].reshape(-1, 3)
    fine = np.clip(fine, *np.quantile(fine, [0.05, 0.95], axis=0))
    return np.asarray(fine.T @ fine / len(fine) / 6 + np.diag([0.6, 0.3, 0.3]))


def size_of(jump: Array, noise: Array) -> Array:
    """How large jumps (..., 3) are, any way, over their noise."""
    return np.asarray(np.sqrt((jump @ np.linalg.inv(noise) * jump).sum(-1)))


def jumps_along(
    picture: NDArray[np.float32], at: NDArray[np.float32], window: int
) -> tuple[Array, Array]:
    """Colours along normals, and how they jump from the mean of a window within to one without."""
    import cv2

    raw = cv2.remap(picture, at[..., 0], at[..., 1], cv2.INTER_LINEAR,
                      borderMode=cv2.BORDER_REPLICATE)  # fmt: skip
    wrapped = np.concatenate([raw[-4:], raw, raw[:4]])
    strip: Array = np.asarray(cv2.blur(wrapped, (1, 3))[4:-4], np.float64)
    total = np.cumsum(np.concatenate([np.zeros((len(at), 1, 3)), strip], 1), 1)
    mean = (total[:, window:] - total[:, :-window]) / window
    # at step j the windows end half a step before and begin half a step after
    jump: Array = mean[:, : -window - 1] - mean[:, window + 1 :]
    return strip, jump


def _belongs(strip: Array, window: int, n: int) -> Array:
    """How much better the colours up to each step suit the piece, and those beyond the ground.

    Log likelihood ratios of normal colours, learnt along the outline at both ends of the
    normals, summed outward; a busy ground has wide ones, so its own edges say little. Lightness
    of the ground is let vary: shadows.
    """
    quarter = max(window, strip.shape[1] // 4)
    ends = []
    for part, loose in ((strip[:, :quarter], 6.0), (strip[:, -quarter:], 10.0)):
        mean = spread_round(part.mean(1), n // 20)
        square = np.swapaxes(part, 1, 2) @ part / part.shape[1]
        square = spread_round(square, n // 20) - mean[:, :, None] * mean[:, None]
        square = square + np.diag([loose**2, 1.0, 1.0])
        off = strip - mean[:, None]
        far = (off @ np.linalg.inv(square) * off).sum(-1)
        ends.append(-0.5 * far - 0.5 * np.log(np.linalg.det(square))[:, None])
    ratio = np.clip(ends[0] - ends[1], -3.0, 3.0)
    total = np.cumsum(ratio, 1)
    return np.asarray(total[:, window - 1 : -window - 1])


def inside(polygon: Array, at: Array) -> NDArray[np.bool_]:
    """Which points (n, m, 2) lie in a polygon that nowhere caves in."""
    from scipy.spatial import ConvexHull

    if len(polygon) < 3:
        return np.zeros(at.shape[:2], bool)
    sides = ConvexHull(polygon).equations
    return np.asarray((at @ sides[:, :2].T < -sides[:, 2]).all(-1))


def spread_round(values: Array, sigma: float) -> Array:
    """Return closed rows smoothed along the outline, by so many of them."""
    from scipy.ndimage import gaussian_filter1d

    return np.asarray(gaussian_filter1d(values, sigma, axis=0, mode="wrap"))
