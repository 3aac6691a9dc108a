"""The outline of a piece in a photo: a region first, then its edge to a fraction of a pixel.

The region comes from GrabCut (Rother, Kolmogorov and Blake 2004, as OpenCV has it) on a small
copy, from a box or from what differs from the ground left and right of it. The edge is then looked
for along normals of a line near it: where colours change from those within to those without, one
smooth path once round (dynamic programming), and its place refined by the parabola through the
best three steps.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kit.errors import DataError

__all__ = ["CLEAR", "SHARES", "Edge", "doubts", "Looked", "evenly", "find_edge", "find_region", "look", "normals_of", "overlap",
           "share_along"]  # fmt: skip

Array = NDArray[np.float64]
Pixels = NDArray[np.uint8]
Mask = NDArray[np.uint8]
Box = tuple[float, float, float, float]

#: longer side of the copies a region is looked for in
_COARSE_PX = 220
#: an edge this many times its noise is clear; under a quarter of it there is none (own choice)
CLEAR = 12.0
#: how different a piece is from the ground: tried in turn (own choice)
SHARES = (0.4, 0.8)
#: beside the largest thing another may be this share of it (own choice)
_RIVAL = 0.4
_REGION_PX = 150
#: weight of how colours belong against how clear an edge is: pixels near one another err alike
_INSIDE = 0.4
#: colours jump by this much where a worktop ends (own choice, L*a*b* units)
_LEVEL_STEP = 8.0
RETAKE = "Draw a box round it, or retake the photo before a plain ground that differs in colour"


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


def look(picture: Pixels, box: Box, margin: float, keep_out: Array) -> Looked:
    """Return the part of a picture round a box, in L*a*b*."""
    import cv2

    height, width = picture.shape[:2]
    grow = margin * max(box[2] - box[0], box[3] - box[1])
    x0, y0 = max(0, int(box[0] - grow)), max(0, int(box[1] - grow))
    x1, y1 = min(width, int(box[2] + grow) + 2), min(height, int(box[3] + grow) + 2)
    part = np.ascontiguousarray(picture[y0:y1, x0:x1])
    coded = np.arange(256) / 255  # IEC 61966-2-1
    light = np.where(coded <= 0.04045, coded / 12.92, ((coded + 0.055) / 1.055) ** 2.4)
    lab = cv2.cvtColor(part.astype(np.float32) / 255, cv2.COLOR_RGB2LAB)
    proof = _shadow_proof(np.asarray(lab, np.float32))
    corner = (float(x0), float(y0))
    level = _level_edges(proof, box[0] - x0, box[2] - x0)
    level[:, 0] += y0 - level[:, 1] * x0
    return Looked(proof, light.astype(np.float32)[part], corner, keep_out, level)


def _shadow_proof(lab: NDArray[np.float32]) -> NDArray[np.float32]:
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
            x = np.linspace(a, b, 24, dtype=np.float32)[None]
            at_y = (y + slope * (x - (left + right) / 2)).astype(np.float32)
            seen = cv2.remap(part, np.broadcast_to(x, at_y.shape).copy(), at_y, cv2.INTER_LINEAR,
                             borderMode=cv2.BORDER_REPLICATE)  # fmt: skip
            line = cv2.blur(np.median(seen, 1), (1, 3))
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


def _as_bytes(picture: Pixels) -> Pixels:
    """Shadow-proof colours in 8 bit, lightness at half its weight."""
    import cv2

    smooth = cv2.GaussianBlur(picture.astype(np.float32) / 255, (0, 0), 0.8)
    proof = _shadow_proof(np.asarray(cv2.cvtColor(smooth, cv2.COLOR_RGB2LAB), np.float32))
    return np.asarray(np.clip(proof * (1.2, 2.4, 2.4) + (0, 128, 128), 0, 255), np.uint8)


def _shrunk(picture: Pixels, longest: int) -> tuple[Pixels, float]:
    import cv2

    k = max(1.0, max(picture.shape[:2]) / longest)
    size = (max(1, round(picture.shape[1] / k)), max(1, round(picture.shape[0] / k)))
    return np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), np.uint8), k


def _filled(polygon: Array, shape: tuple[int, ...], k: float, grow: int) -> Mask:
    """The inside of a polygon, given in pixels k times finer, made `grow` pixels larger."""
    import cv2

    mask = np.zeros(shape[:2], np.uint8)
    if len(polygon) >= 3:
        at = np.round((polygon + 0.5) / k - 0.5).astype(np.int32)
        cv2.fillPoly(mask, [at], 1)
        mask = np.asarray(
            cv2.dilate(mask, np.ones((2 * grow + 1, 2 * grow + 1), np.uint8)), np.uint8
        )
    return mask


def _standing_out(picture: Pixels, keep_out: Array, share: float) -> tuple[Mask, float]:
    """What differs from the ground left and right of it: a mask of a small copy, and its factor.

    Raises
    ------
    DataError
        Nothing does, or only something that runs out of the picture.
    """
    import cv2

    small, k = _shrunk(picture, _COARSE_PX)
    lab = cv2.cvtColor(small.astype(np.float32) / 255, cv2.COLOR_RGB2LAB)
    lab = cv2.GaussianBlur(lab, (0, 0), 1.2)
    height, width = lab.shape[:2]
    out = _filled(keep_out, lab.shape, k, 4).astype(bool)
    rim = max(3, width // 16)
    sides = []
    for part, gone in ((lab[:, :rim], out[:, :rim]), (lab[:, -rim:], out[:, -rim:])):
        shown = np.where(gone[..., None], np.nan, part)
        rows = np.flatnonzero(~np.isnan(shown).all((1, 2)))
        if not len(rows):
            continue
        middle = np.nanmedian(shown[rows], axis=1)
        sides.append(
            np.column_stack([np.interp(np.arange(height), rows, c) for c in middle.T])
        )  # fmt: skip
    if not sides:
        msg = f"the reference fills the photo. {RETAKE}."
        raise DataError(msg)
    along = np.linspace(0, 1, width)[None, :, None]
    ground = sides[0][:, None] * (1 - along) + sides[-1][:, None] * along
    # shadows change lightness alone: it counts for less
    apart = np.sqrt((((lab - ground) * (0.6, 1, 1)) ** 2).sum(-1))
    apart[out] = 0
    noise = float(np.median(np.c_[apart[:, :rim], apart[:, -rim:]]))
    scaled = np.clip(apart / max(apart.max(), 1e-6) * 255, 0, 255).astype(np.uint8)
    cut, _ = cv2.threshold(scaled[~out].reshape(-1, 1), 0, 255, cv2.THRESH_OTSU)
    mask = (apart > max(share * cut / 255 * apart.max(), 5 * noise, 2.0)).astype(np.uint8)
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (5, 5))
    mask = cv2.morphologyEx(cv2.morphologyEx(mask, cv2.MORPH_OPEN, kernel), cv2.MORPH_CLOSE, kernel)
    count, label, stats, centre = cv2.connectedComponentsWithStats(mask)
    best, scores = 0, [0.0]
    for i in range(1, count):
        x, y, w, h, area = (int(v) for v in stats[i])
        touched = (x == 0) + (y == 0) + (x + w == width) + (y + h == height)
        if area < 0.003 * mask.size or touched > 1:
            continue
        away = np.hypot(*(centre[i] - (width / 2, height / 2))) / math.hypot(width, height)
        score = area * float(apart[label == i].mean()) * (1 - away) * (0.3 if touched else 1)
        if score > max(scores):
            best = i
        scores.append(score)
    if not best:
        msg = f"no piece was found that stands out from the ground. {RETAKE}."
        raise DataError(msg)
    if sorted(scores)[-2] > _RIVAL * max(scores):
        msg = f"several things stand out from the ground. {RETAKE}."
        raise DataError(msg)
    return (label == best).astype(np.uint8), k


def find_region(
    picture: Pixels, box: Box | None, keep_out: Array, share: float = SHARES[0]
) -> Array:
    """Return the rough outline of the piece (n, 2), in pixels of `picture`.

    Parameters
    ----------
    picture : (h, w, 3) array
        sRGB, 8 bit.
    box : (x0, y0, x1, y1), optional
        Round the piece, roughly; found where absent.
    keep_out : (m, 2) array
        The reference's outline: never part of the piece.
    share : float
        Without a box: how different from the ground the piece is, as a share of what parts all
        differences best.

    Raises
    ------
    DataError
        No piece was found, or it runs out of the photo.
    """
    import cv2

    guess: Mask | None = None
    factor = 1.0
    if box is None:
        guess, factor = _standing_out(picture, keep_out, share)
        ys, xs = np.nonzero(guess)
        box = tuple(
            (v + 0.5) * factor - 0.5 for v in (xs.min() - 1, ys.min() - 1, xs.max() + 1,
                                               ys.max() + 1)
        )  # fmt: skip
    assert box is not None
    height, width = picture.shape[:2]
    wide, tall = box[2] - box[0], box[3] - box[1]
    # a box that was drawn holds the piece; one that was found may hold part of it
    slack, margin = (0.12, 0.2) if guess is None else (0.5, 0.35)
    x0, y0 = (max(0, int(v - margin * max(wide, tall))) for v in box[:2])
    x1 = min(width, int(box[2] + margin * max(wide, tall)) + 1)
    y1 = min(height, int(box[3] + margin * max(wide, tall)) + 1)
    if x1 - x0 < 12 or y1 - y0 < 12:
        msg = f"the piece is only {wide:.0f} × {tall:.0f} pixels large. Go nearer, or draw its box."
        raise DataError(msg)
    small, k = _shrunk(picture[y0:y1, x0:x1], _REGION_PX)
    left, top, right, bottom = (
        ((v - o) + 0.5) / k - 0.5 for v, o in zip(box, (x0, y0, x0, y0), strict=True)
    )  # fmt: skip
    yy, xx = np.mgrid[: small.shape[0], : small.shape[1]]
    across = (xx - (left + right) / 2) / max((right - left) / 2, 1)
    down = (yy - (top + bottom) / 2) / max((bottom - top) / 2, 1)
    reach = np.maximum(np.abs(across), np.abs(down))
    mask = np.full(small.shape[:2], cv2.GC_BGD, np.uint8)
    mask[reach < 1 + slack] = cv2.GC_PR_BGD
    if guess is None:
        mask[(np.abs(across) ** 3 + np.abs(down) ** 3) < 1] = cv2.GC_PR_FGD
    else:
        at = cv2.resize(guess, None, fx=factor, fy=factor, interpolation=cv2.INTER_NEAREST)
        at = np.pad(at, ((0, max(0, y1 - at.shape[0])), (0, max(0, x1 - at.shape[1]))))
        part = cv2.resize(at[y0:y1, x0:x1], small.shape[1::-1], interpolation=cv2.INTER_NEAREST)
        mask[part > 0] = cv2.GC_PR_FGD
    mask[reach < 0.35] = cv2.GC_FGD
    mask[_filled(keep_out - (x0, y0), small.shape, k, 1) > 0] = cv2.GC_BGD
    if not (mask == cv2.GC_BGD).any():
        mask[[0, -1]], mask[:, [0, -1]] = cv2.GC_BGD, cv2.GC_BGD
    state = np.zeros((1, 65)), np.zeros((1, 65))
    cv2.setRNGSeed(1)  # GrabCut starts from random centres: the same photo, the same answer
    cut = cv2.grabCut(_as_bytes(small), mask, (0, 0, 1, 1), *state, 3, cv2.GC_INIT_WITH_MASK)
    region = np.isin(cut[0], (cv2.GC_FGD, cv2.GC_PR_FGD)).astype(np.uint8)
    size = max(3, int(0.06 * min(right - left, bottom - top)) | 1)
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size))
    opened = cv2.morphologyEx(region, cv2.MORPH_OPEN, kernel)
    found, _ = cv2.findContours(opened, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    if not found:
        msg = f"the piece could not be told from the ground. {RETAKE}."
        raise DataError(msg)
    line = max(found, key=cv2.contourArea)[:, 0].astype(float)
    if len(line) < 20:
        msg = f"the piece could not be told from the ground. {RETAKE}."
        raise DataError(msg)
    line = (line + 0.5) * k - 0.5 + (x0, y0)
    edge = max(1.5 * k, 2.0)
    lost = (line < edge).any() or (line > (width - 1 - edge, height - 1 - edge)).any()
    if lost:
        msg = "the piece runs out of the photo. Retake it with the whole piece in the picture."
        raise DataError(msg)
    return _rounded(line, 0.02)


def _rounded(line: Array, share: float) -> Array:
    """A closed line smoothed over a share of its length."""
    import cv2

    even = evenly(line, 200)
    reach = int(600 * share) + 1
    wrapped = np.vstack([even[-reach:], even, even[:reach]])
    smooth = cv2.GaussianBlur(wrapped, (1, 0), sigmaX=0.1, sigmaY=200 * share)
    return np.asarray(smooth[reach:-reach])


def evenly(line: Array, n: int) -> Array:
    """Return `n` points evenly along a closed line (m, 2)."""
    closed = np.vstack([line, line[:1]])
    along = np.r_[0, np.cumsum(np.hypot(*np.diff(closed, axis=0).T))]
    at = np.linspace(0, along[-1], n, endpoint=False)
    return np.column_stack([np.interp(at, along, closed[:, 0]), np.interp(at, along, closed[:, 1])])


def normals_of(line: Array) -> Array:
    """Outward unit normals (n, 2) of a closed line of even points."""
    ahead = np.roll(line, -1, 0) - np.roll(line, 1, 0)
    x, y = line.T
    turn = float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)))
    normal = np.column_stack([ahead[:, 1], -ahead[:, 0]]) * (1 if turn > 0 else -1)
    return np.asarray(normal / np.maximum(np.hypot(*normal.T), 1e-9)[:, None])


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
    strip, jump = _jumps(seen.lab, at, window)
    t = t[window:-window]
    toward = _spread_round(strip[:, :window].mean(1) - strip[:, -window:].mean(1), max(2, n // 20))
    noise = _noise_of(strip)
    weight = np.linalg.solve(noise, toward.T).T
    weight /= np.sqrt(np.maximum((weight * toward).sum(1), 1e-9))[:, None]
    score = np.einsum("ijc,ic->ij", jump, weight)
    if either:
        size = np.sqrt(np.einsum("ijc,cd,ijd->ij", jump, np.linalg.inv(noise), jump))
        score = np.maximum(score, 0.8 * size)
    gain = np.minimum(score, CLEAR) - 0.5 * (t / (0.6 * reach)) ** 2
    for start, slope in seen.level:
        y = at[:, window:-window, 1] + seen.corner[1]
        off = np.abs(y - start - slope * (at[:, window:-window, 0] + seen.corner[0]))
        gain -= np.minimum(score, CLEAR) * ((off < 3.5) & (normals[:, 1:] < -0.8))
    gain += _INSIDE * _belongs(strip, window, n)
    gain[_inside(seen.keep_out, (at[:, window:-window] + seen.corner))] -= 50.0
    spacing = float(np.median(np.hypot(*(line - np.roll(line, 1, 0)).T)))
    path = _smooth_path(gain, step / (0.35 * spacing))
    rows, inner = np.arange(n), np.clip(path, 3, len(t) - 4)
    strength = np.maximum(score[rows, inner], 0.0)
    strip, jump = _jumps(seen.linear, at, window)
    toward = _spread_round(strip[:, :window].mean(1) - strip[:, -window:].mean(1), max(2, n // 20))
    near = np.einsum("ijc,ic->ij", jump[rows[:, None], inner[:, None] + np.arange(-3, 4)], toward)
    best = np.clip(near[:, 1:-1].argmax(1) + 1, 1, 5)
    a, b, c = (near[rows, best + d] for d in (-1, 0, 1))
    bend = a - 2 * b + c
    shift = np.where(bend < -1e-12, 0.5 * (a - c) / np.where(bend < -1e-12, bend, 1), 0)
    offset = t[inner + best - 3] + np.clip(shift, -0.7, 0.7) * step
    return Edge(line + offset[:, None] * normals, offset, strength)


def doubts(seen: Looked, line: Array, normals: Array, reach: float) -> Array:
    """Return how far off another edge might be that is as well seen: top, foot, left and right.

    An edge's support is what two thirds of an arc show of it at least. A rival of 0.6 of the
    support found counts for nothing, one of the same for half its distance (own choice).

    Parameters
    ----------
    line, normals : (n, 2) arrays
        Of the fitted outline.
    reach : float
        How far to look, pixels.

    Returns
    -------
    (4,) array
        Pixels.
    """
    window, many = 3, math.ceil(reach)
    t = np.arange(-many - window, many + window + 1) * 1.0
    at = (line[:, None] + normals[:, None] * t[None, :, None] - seen.corner).astype(np.float32)
    strip, jump = _jumps(seen.lab, at, window)
    inverse = np.linalg.inv(_noise_of(strip))
    size = np.sqrt(np.einsum("ijc,cd,ijd->ij", jump, inverse, jump))
    size[_inside(seen.keep_out, at[:, window:-window] + seen.corner)] = 0
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


def _noise_of(strip: Array) -> Array:
    """Covariance of a jump that is noise alone, from second differences along the normals."""
    fine = np.diff(strip, 2, axis=1)[:, ::2].reshape(-1, 3)
    fine = np.clip(fine, *np.quantile(fine, [0.05, 0.95], axis=0))
    return np.asarray(fine.T @ fine / len(fine) / 6 + np.diag([0.6, 0.3, 0.3]))


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


def _jumps(
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
        mean = _spread_round(part.mean(1), n // 20)
        square = np.einsum("ijc,ijd->icd", part, part) / part.shape[1]
        square = _spread_round(square, n // 20) - mean[:, :, None] * mean[:, None]
        square = square + np.diag([loose**2, 1.0, 1.0])
        off = strip - mean[:, None]
        far = np.einsum("ijc,icd,ijd->ij", off, np.linalg.inv(square), off)
        ends.append(-0.5 * far - 0.5 * np.log(np.linalg.det(square))[:, None])
    ratio = np.clip(ends[0] - ends[1], -3.0, 3.0)
    total = np.cumsum(ratio, 1)
    return np.asarray(total[:, window - 1 : -window - 1])


def _inside(polygon: Array, at: Array) -> NDArray[np.bool_]:
    """Which points (n, m, 2) lie in a polygon that nowhere caves in."""
    if len(polygon) < 3:
        return np.zeros(at.shape[:2], bool)
    ahead = np.roll(polygon, -1, 0) - polygon
    x, y = polygon.T
    turn = 1 if float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1))) > 0 else -1
    out = np.ones(at.shape[:2], bool)
    for corner, edge in zip(polygon, ahead, strict=True):
        away = at - corner
        out &= turn * (edge[0] * away[..., 1] - edge[1] * away[..., 0]) > 0
    return out


def _spread_round(values: Array, sigma: float) -> Array:
    """Closed rows smoothed along the outline."""
    from scipy.ndimage import gaussian_filter1d

    return np.asarray(gaussian_filter1d(values, sigma, axis=0, mode="wrap"))


def _smooth_path(gain: Array, cost: float) -> NDArray[np.intp]:
    """The column in each row that gains most, a step of d columns costing (cost·d)²; closed."""
    n, width = gain.shape
    extra = min(n, max(10, n // 8))
    rows = np.r_[np.arange(n - extra, n), np.arange(n), np.arange(extra)]
    steps = np.arange(-3, 4)
    fee = (cost * steps) ** 2
    best = gain[rows[0]].copy()
    came = np.zeros((len(rows), width), np.int8)
    padded = np.full(width + 6, -np.inf)
    window = np.lib.stride_tricks.sliding_window_view(padded, width)
    for i, row in enumerate(rows[1:], 1):
        padded[3:-3] = best
        options = window - fee[:, None]
        came[i] = options.argmax(0)
        best = options.max(0) + gain[row]
    path = np.empty(len(rows), np.intp)
    path[-1] = best.argmax()
    for i in range(len(rows) - 1, 0, -1):
        path[i - 1] = path[i] + steps[came[i, path[i]]]
    return path[extra : extra + n]
