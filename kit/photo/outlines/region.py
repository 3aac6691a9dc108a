"""Where in a photo a piece is, roughly: what a box or the ground around it says, and GrabCut.

GrabCut is Rother, Kolmogorov and Blake 2004, as OpenCV has it, on a small copy in colours that
shadows change little.
"""

import math

import numpy as np
from numpy.typing import NDArray

from kit.errors import DataError
from kit.photo.outlines.outline import evenly, shadow_proof, spread_round

__all__ = ["SHARES", "below_glass", "find_region"]

Array = NDArray[np.float64]
Pixels = NDArray[np.uint8]
Mask = NDArray[np.uint8]
Box = tuple[float, float, float, float]

#: longer side of the copies a region is looked for in
_COARSE_PX = 220
_REGION_PX = 150
#: how different a piece is from the ground: tried in turn (own choice)
SHARES = (0.4, 0.8)
#: beside the largest thing another may be this share of it (own choice)
_RIVAL = 0.4
RETAKE = "Draw a box round it, or retake the photo before a plain ground that differs in colour"


def _as_bytes(picture: Pixels) -> Pixels:
    """Shadow-proof colours in 8 bit, lightness at half its weight."""
    import cv2

    smooth = cv2.GaussianBlur(picture.astype(np.float32) / 255, (0, 0), 0.8)
    proof = shadow_proof(np.asarray(cv2.cvtColor(smooth, cv2.COLOR_RGB2LAB), np.float32))
    return np.asarray(np.clip(proof * (1.2, 2.4, 2.4) + (0, 128, 128), 0, 255), np.uint8)


def _shrunk(picture: Pixels, longest: int) -> tuple[Pixels, float]:
    import cv2

    k = max(1.0, max(picture.shape[:2]) / longest)
    size = (max(1, round(picture.shape[1] / k)), max(1, round(picture.shape[0] / k)))
    while max(picture.shape[:2]) > 4 * longest:  # halving is many times as fast a pixel
        half = (picture.shape[1] // 2, picture.shape[0] // 2)
        picture = np.asarray(cv2.resize(picture, half, interpolation=cv2.INTER_AREA), np.uint8)
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
        rows = np.flatnonzero(~gone.all(1))
        if not len(rows):
            continue
        # what is hidden is sorted last: the median is the middle one of the rest
        ordered = np.sort(np.where(gone[..., None], np.inf, part)[rows], axis=1)
        half = (~gone).sum(1)[rows] // 2
        middle = ordered[np.arange(len(rows)), half]
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
    small, k = _shrunk(picture[y0:y1, x0:x1], _REGION_PX)
    if min(x1 - x0, y1 - y0) < 12 or min(small.shape[:2]) < 3:
        msg = f"the piece is only {wide:.0f} × {tall:.0f} pixels large. Go nearer, or draw its box."
        raise DataError(msg)
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
    if not np.isin(mask, (cv2.GC_FGD, cv2.GC_PR_FGD)).any():
        msg = f"the reference covers the piece. {RETAKE}."
        raise DataError(msg)
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
    return spread_round(evenly(line, 200), 4.0)


def below_glass(picture: Pixels, line: Array) -> Box | None:
    """Return a box round the dough where the region found is the jar it stands in.

    Down the middle of a region that is dough alone nothing changes as much as at its top. Where
    something does it is the dough's line, and the region's top is the glass.

    Parameters
    ----------
    picture : (h, w, 3) array
    line : (n, 2) array
        The region's outline, in pixels of `picture`.
    """
    import cv2

    low, high = line.min(0), line.max(0)
    wide, tall = high - low
    window = max(3, int(0.03 * tall))
    y0, y1 = max(0, int(low[1] - 0.12 * tall)), min(picture.shape[0], int(high[1] + 0.1 * tall))
    middle = picture[y0:y1, int(low[0] + 0.2 * wide) : int(high[0] - 0.2 * wide)]
    lab = cv2.cvtColor(middle.astype(np.float32) / 255, cv2.COLOR_RGB2LAB)
    rows = np.median(shadow_proof(np.asarray(lab, np.float32)), axis=1)
    mean = np.cumsum(np.vstack([np.zeros((1, 3)), rows]), 0)
    mean = (mean[window:] - mean[:-window]) / window
    jump = np.linalg.norm(mean[window:] - mean[:-window], axis=1)
    share = (np.arange(len(jump)) + window + y0 - low[1]) / tall
    top, within = np.abs(share) < 0.1, (share > 0.1) & (share < 0.8)
    if not within.any() or jump[within].max() <= max(jump[top], default=0.0):
        return None
    at = int(np.flatnonzero(within)[jump[within].argmax()]) + window
    over, under = rows[max(0, int(0.06 * tall + low[1]) - y0) : at - window], rows[at + window :]
    # a band round the jar has the same above it as below
    apart = [np.median(part, 0) for part in (over, under[: -int(0.16 * tall)]) if len(part)]
    if len(apart) < 2 or np.linalg.norm(apart[0] - apart[1]) < jump[within].max() / 2:
        return None
    level = float(share[within][jump[within].argmax()])
    slack = 0.06 * (1 - level) * tall
    return (
        float(low[0]), float(low[1] + level * tall - slack), float(high[0]), float(high[1] + slack)
    )  # fmt: skip
