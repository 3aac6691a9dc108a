"""Where a piece may stand before the camera, where nothing stands out from its ground alone.

A checked cloth, a shadow and things at the back stand out as well as a piece does. But how large
pieces are, and that they stand on the worktop beside the reference, is known in millimetres: of all
boxes in the photo that could hold one, that is taken whose colours are least those around it and of
all the rest.
"""

import numpy as np
from numpy.typing import NDArray

from kit.photo.outlines.outline import shadow_proof
from kit.photo.sides.solid import Stand

__all__ = ["likely_box"]

Array = NDArray[np.float64]
Pixels = NDArray[np.uint8]
Whole = NDArray[np.int32]
Box = tuple[float, float, float, float]

#: longer side of the copy they are looked for in, and how many colours are told apart in it
SMALL_PX, COLOURS = 260, 16
#: shadows change lightness alone: it counts for less
LIGHTNESS = 0.5
#: how wide pieces are, and how tall against that (own choice)
WIDE_MM, TALL = np.geomspace(42.0, 130.0, 11), np.geomspace(0.22, 1.2, 9)
#: how far below the reference's lower end a piece's lower edge may lie in the photo, and above it;
#: and how far off its middle where it lies on the worktop: millimetres at the piece
BELOW_MM, ABOVE_MM, ABOUT_MM = 90.0, 30.0, 120.0
#: what is within is looked at so far in from the box's sides, what is around from the first to the
#: second so far out of them: shares of the box
INSET, GAP, BAND = 0.12, 0.05, 0.22
#: a band of which less than this is seen counts as so much alike (own choices)
SEEN, UNSEEN = 0.5, 0.6
#: the likeliest is taken where any other (that shares no more than this with it) is so much less
#: likely (of pieces drawn by three programs most are by 0.5; of two pieces neither is)
SHARED, CLEARLY = 0.5, 0.3
#: it is made so much larger: colours within tell little of where exactly a side lies
SLACK = 0.06


def likely_box(picture: Pixels, k: float, stand: Stand, reference: Array) -> Box | None:
    """Return a box round the piece, roughly; None where several could hold it, or none.

    Parameters
    ----------
    picture : (h, w, 3) array
        sRGB, 8 bit: the working picture.
    k : float
        Each of its pixels is so many of the photo's.
    stand : Stand
        Where a piece can stand.
    reference : (m, 2) array
        Outline of what is no piece, in pixels of `picture`.

    Returns
    -------
    (x0, y0, x1, y1) or None
        In pixels of `picture`.
    """
    import cv2

    factor = max(1.0, max(picture.shape[:2]) / SMALL_PX)
    size = (round(picture.shape[1] / factor), round(picture.shape[0] / factor))
    small = np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), np.uint8)
    hull = np.empty((0, 2))
    if len(reference) >= 3:
        around = cv2.convexHull(np.asarray(reference, np.float32))[:, 0]
        hull = (np.asarray(around, float) + 0.5) / factor - 0.5
    boxes = _possible(stand, k * factor, hull, size)
    if not len(boxes):
        return None
    unlike = _unlike(small, hull, boxes)
    best = int(unlike.argmax())
    apart = _shared(boxes[best], boxes) < SHARED
    if apart.any() and unlike[best] - unlike[apart].max() < CLEARLY:
        return None
    x0, y0, x1, y1 = (boxes[best] + 0.5) * factor - 0.5
    x, y = SLACK * (x1 - x0), SLACK * (y1 - y0)
    high, wide = picture.shape[:2]
    return (
        float(max(x0 - x, 0.0)), float(max(y0 - y, 0.0)),
        float(min(x1 + x, wide - 1.0)), float(min(y1 + y, high - 1.0)),
    )  # fmt: skip


def _possible(stand: Stand, k: float, reference: Array, size: tuple[int, int]) -> Array:
    """Boxes (n, 4) that pieces on the stand's plane fill, in pixels `k` times the photo's."""
    wide_px, high_px = size
    upright = abs(float(stand.toward @ stand.up)) < 0.5
    lowest = float(reference[:, 1].max()) if len(reference) else high_px / 2
    middle = float(reference[:, 1].mean()) if len(reference) else high_px / 2
    lefts = np.arange(1.0, wide_px - 2.0, max(1.0, wide_px / 110))
    out = [np.empty((0, 4))]
    for foot in np.arange(4.0, high_px - 2.0, max(1.0, high_px / 90)):
        ray = stand.camera.rays(np.array([[stand.camera.cx, (foot + 0.5) * k - 0.5]]))[0]
        across = float(ray @ stand.toward)
        away = float(stand.origin @ stand.toward) / across if across else -1.0
        if not 50.0 < away < 3000.0:
            continue
        px_per_mm = stand.camera.focal_px / away / k
        below = (foot - lowest) / px_per_mm
        if upright and not -ABOVE_MM < below < BELOW_MM:
            continue
        if not upright and abs(foot - middle) / px_per_mm > ABOUT_MM:
            continue
        wide, tall, left = (
            v.ravel() for v in np.meshgrid(WIDE_MM * px_per_mm, TALL, lefts, indexing="ij")
        )
        tall = wide * tall
        box = np.column_stack([left, foot - tall, left + wide, np.full(len(left), foot)])
        out.append(box[(box[:, 1] > 1) & (box[:, 2] < wide_px - 2) & (wide > 8) & (tall > 4)])
    return np.concatenate(out)


def _unlike(small: Pixels, reference: Array, boxes: Array) -> Array:
    """How unlike the colours in each box are those on its four sides and all beyond."""
    import cv2

    lab = cv2.cvtColor(small.astype(np.float32) / 255, cv2.COLOR_RGB2LAB)
    proof = shadow_proof(np.asarray(lab, np.float32))
    proof[..., 0] *= LIGHTNESS
    cv2.setRNGSeed(1)  # it starts from random colours: the same photo, the same answer
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 12, 0.5)
    found = cv2.kmeans(proof.reshape(-1, 3), COLOURS, np.empty(0), stop, 1, cv2.KMEANS_PP_CENTERS)
    colour = found[1].reshape(small.shape[:2])
    taken = np.zeros(small.shape[:2], np.uint8)
    if len(reference):
        cv2.fillPoly(taken, [np.round(reference).astype(np.int32)], 1)
    each = [cv2.integral(((colour == i) & (taken == 0)).astype(np.uint8)) for i in range(COLOURS)]
    counts, covered = np.array(each), np.array([cv2.integral(taken)])
    x0, y0, x1, y1 = boxes.T
    x, y = x1 - x0, y1 - y0
    within = _sums(counts, x0 + INSET * x, y0 + INSET * y, x1 - INSET * x, y1 - INSET * y)
    within /= np.maximum(within.sum(0), 1.0)
    high, low = y0 + 0.2 * y, y1 - 0.1 * y  # shadows lie low, rims are round
    left, right = x0 + 0.15 * x, x1 - 0.15 * x
    alike = np.array([
        _alike(within, counts, x0 - BAND * x, high, x0 - GAP * x, low),
        _alike(within, counts, x1 + GAP * x, high, x1 + BAND * x, low),
        _alike(within, counts, left, y0 - BAND * y, right, y0 - GAP * y),
        _alike(within, counts, left, y1 + GAP * y, right, y1 + BAND * y),
    ])  # fmt: skip
    # a check of a cloth and a tile differ from what is beside them, but not from all the others
    beyond = _sums(counts, x0 - GAP * x, y0 - GAP * y, x1 + GAP * x, y1 + GAP * y)
    rest = counts[:, -1, -1][:, None] - beyond
    elsewhere = np.sqrt(within * rest / np.maximum(rest.sum(0), 1.0)).sum(0)
    covered_by = _sums(covered, *boxes.T)[0] / (x * y)
    return np.asarray(-alike.mean(0) - alike.max(0) - 2 * elsewhere - 2 * covered_by)


def _alike(within: Array, counts: Whole, x0: Array, y0: Array, x1: Array, y1: Array) -> Array:
    """How alike colours are to those of a band: 0 to 1 (Bhattacharyya's coefficient)."""
    band = _sums(counts, x0, y0, x1, y1)
    seen = band.sum(0)
    alike = np.sqrt(within * band / np.maximum(seen, 1.0)).sum(0)
    # what the reference hides, or lies outside the photo, tells nothing
    return np.where(seen < SEEN * (x1 - x0) * (y1 - y0), UNSEEN, alike)


def _sums(counts: Whole, x0: Array, y0: Array, x1: Array, y1: Array) -> Array:
    """Sums (c, n) over boxes, from summed-area tables (c, h + 1, w + 1)."""
    a, c = (np.clip(np.round(v).astype(int), 0, counts.shape[2] - 1) for v in (x0, x1))
    b, d = (np.clip(np.round(v).astype(int), 0, counts.shape[1] - 1) for v in (y0, y1))
    return np.asarray(counts[:, d, c] - counts[:, b, c] - counts[:, d, a] + counts[:, b, a], float)


def _shared(one: Array, boxes: Array) -> Array:
    """The share of the smaller of two boxes that lies in the other: of one and each of (n, 4)."""
    sides = np.minimum(one[2:], boxes[:, 2:]) - np.maximum(one[:2], boxes[:, :2])
    areas = np.prod(boxes[:, 2:] - boxes[:, :2], axis=1)
    least = np.minimum(areas, np.prod(one[2:] - one[:2]))
    return np.asarray(np.prod(np.maximum(sides, 0.0), axis=1) / least)
