"""Round things in a photo: found as outlines that are ellipses, followed to a part of a pixel."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kit.errors import InputError
from kit.photo.arguments import numbers
from kit.photo.references.edges import linear_patch

__all__ = ["Ellipse", "follow", "see_ellipses"]

Array = NDArray[np.float64]

#: the picture in which outlines are looked for, its longer side
LOOK_PX = 900
#: slopes at which chains of edge pixels end, grey levels a pixel (OpenCV's EdgeDrawing)
LEAST_SLOPES = 8, 20
#: parts of the outline that are looked at, places in each, and how far from it, in pixels
PARTS, PLACES, REACH_PX = 32, 6, 8
#: share of the parts in which an edge must stand out, and how far, from what lies beside it
SUPPORT, STANDS_OUT = 0.75, 1.6
#: no round thing is as faint as this beside its ground; and the faintest beside the clearest
FAINTEST, SHARE_OF_BEST = 9.0, 0.5
#: a rim about the first ring found shows so clearly beside it, farther out and close by; has its
#: middle and shape, of its length; stands out in this share of the parts by this; and so much of
#: it lies on an ellipse
RIM_SHARE, NEAR_SHARE = 0.12, 0.5
CONCENTRIC, RIM_STANDS, RIM_STANDS_OUT, RIM_KEPT = 0.012, 0.5, 2.5, 0.7
#: a clean edge scatters less about its ellipse than this, in pixels; what is half one ring and half
#: another scatters more, as an old coin does: that stands out in more of its parts than this
ROUGHEST, OUT_OF_ROUND = 0.45, 0.7
#: followed unheld it must still lie so cleanly on an ellipse, of how cleanly it did
CLEANER = 0.8
#: places along the outline, and neighbours that are taken together
COUNT, ALONG = 256, 7
#: what is smaller across, in pixels of the photo, is not looked at
LEAST_PX = 50.0


@dataclass(frozen=True)
class Ellipse:
    """Centre, half axes in pixels, direction of the long one in radians; how clear its edge is."""

    centre: tuple[float, float]
    long_px: float
    short_px: float
    turn: float
    score: float = 0.0

    def outline(self, count: int) -> Array:
        """Return points (count, 2) along it."""
        t = np.linspace(0, 2 * np.pi, count, endpoint=False)
        c, s = math.cos(self.turn), math.sin(self.turn)
        flat = np.column_stack([self.long_px * np.cos(t), self.short_px * np.sin(t)])
        return np.asarray(flat @ np.array([[c, s], [-s, c]]) + self.centre)

    def normals(self, count: int) -> Array:
        """Return unit vectors (count, 2) pointing out at those points."""
        t = np.linspace(0, 2 * np.pi, count, endpoint=False)
        c, s = math.cos(self.turn), math.sin(self.turn)
        flat = np.column_stack([np.cos(t) / self.long_px, np.sin(t) / self.short_px])
        out = flat @ np.array([[c, s], [-s, c]])
        return np.asarray(out / np.linalg.norm(out, axis=1, keepdims=True))


def fitted(points: Array) -> Ellipse | None:
    """Fit an ellipse to points (n, 2) by algebraic least squares (OpenCV's fitEllipseAMS).

    None where they lie on none, or are fewer than the five that one takes.
    """
    import cv2

    if len(points) < 5:
        return None
    middle = points.mean(0)
    (x, y), (w, h), degrees = cv2.fitEllipseAMS((points - middle).astype(np.float32))
    if not (np.isfinite([x, y, w, h]).all() and min(w, h) > 2):
        return None
    turn = math.radians(degrees) + (0 if w >= h else math.pi / 2)
    return Ellipse((x + middle[0], y + middle[1]), max(w, h) / 2, min(w, h) / 2, turn)


def see_ellipses(
    photo: Any, box: Sequence[float] | None = None, at: Sequence[float] | None = None
) -> list[Ellipse]:
    """Return the round things of a photo, those with the clearest edges first.

    Of rings about one middle (a coin's rim, a plate's) only the outermost is returned.

    Parameters
    ----------
    photo : Photo
    box : (x0, y0, x1, y1), optional
        Look in this part only, in pixels.
    at : (x, y), optional
        Only what holds this place.
    """
    import cv2

    middle = None if at is None else numbers("at", at, 2)
    pixels, k, corner = _part(photo, box)
    lab = cv2.cvtColor(cv2.GaussianBlur(pixels, (0, 0), 1.0), cv2.COLOR_RGB2LAB)
    seen: list[Ellipse] = []
    for e in _drawn(lab[..., 0].copy()):
        flat = e.short_px < 0.35 * e.long_px or e.long_px > 0.3 * max(lab.shape[:2])
        if not flat and e.long_px * k > 0.5 * LEAST_PX:
            support, clear = _support(lab, e)
            if support > SUPPORT and clear > FAINTEST:
                seen.append(replace(e, score=clear))
    # blotches of the ground are faint beside what was laid there
    top = max((e.score for e in seen), default=0.0)
    seen = [e for e in seen if e.score > SHARE_OF_BEST * top]
    full = []
    for e in _outermost(seen):
        x, y = ((v + 0.5) * k - 0.5 + first for v, first in zip(e.centre, corner, strict=True))
        full.append(replace(e, centre=(x, y), long_px=e.long_px * k, short_px=e.short_px * k))
    if middle is not None:
        full = [e for e in full if _off(e, middle[None])[0] < 0.1 * e.long_px]
    return full


def _part(photo: Any, box: Sequence[float] | None) -> tuple[Any, float, tuple[int, int]]:
    """Pixels to look in, how many of the photo's each is wide, and where they start."""
    import cv2

    if box is None:
        pixels, k = photo.reduced(LOOK_PX)
        return np.ascontiguousarray(pixels), k, (0, 0)
    given = numbers("box", box, 4)
    x0, y0 = (max(0, int(v)) for v in given[:2])
    x1, y1 = min(photo.width, int(given[2]) + 1), min(photo.height, int(given[3]) + 1)
    if min(x1 - x0, y1 - y0) < 16:
        raise InputError("box", box, "must cover at least 16 pixels of the picture each way")
    part = np.ascontiguousarray(photo.pixels[y0:y1, x0:x1])
    k = max(1.0, max(x1 - x0, y1 - y0) / LOOK_PX)
    size = (round((x1 - x0) / k), round((y1 - y0) / k))
    return (part if k == 1 else cv2.resize(part, size, interpolation=cv2.INTER_AREA)), k, (x0, y0)


def _drawn(grey: Any) -> list[Ellipse]:
    """Ellipses of which arcs are seen, whichever side of them is brighter (OpenCV)."""
    import cv2

    out: list[Ellipse] = []
    for slope in LEAST_SLOPES:
        drawing = cv2.ximgproc.createEdgeDrawing()
        how = cv2.ximgproc.EdgeDrawing.Params()
        how.EdgeDetectionOperator = cv2.ximgproc.EDGE_DRAWING_SOBEL
        how.GradientThresholdValue, how.AnchorThresholdValue = slope, 2
        how.MinPathLength, how.NFAValidation = 20, False
        drawing.setParams(how)
        drawing.detectEdges(grey)
        found = drawing.detectEllipses()
        for x, y, round_, p, q, degrees in [] if found is None else found.reshape(-1, 6):
            a, b = (round_, round_) if round_ > 0 else (p, q)
            turn = math.radians(degrees) + (0 if a >= b else math.pi / 2)
            out.append(Ellipse((x, y), max(a, b), min(a, b), turn))
    return out


def _off(e: Ellipse, points: Array) -> Array:
    """Roughly how far points lie outside an ellipse, in pixels (Sampson's first order)."""
    c, s = math.cos(e.turn), math.sin(e.turn)
    flat = (points - e.centre) @ np.array([[c, -s], [s, c]]) / [e.long_px, e.short_px]
    r = np.linalg.norm(flat, axis=1)
    slope = np.linalg.norm(flat / [e.long_px, e.short_px], axis=1)
    return np.asarray((r - 1) * r / np.maximum(slope, 1e-12))


def _support(lab: Any, e: Ellipse) -> tuple[float, float]:
    """Share of the outline along which an edge stands out, and how clear it is.

    A coin on cloth is brighter than its ground here and darker there: only that there is an edge
    counts. Along parts of the outline a texture's edges even out, the coin's do not.
    """
    import cv2

    count = PARTS * PLACES
    out = np.arange(-REACH_PX, REACH_PX + 1.0)
    at = e.outline(count)[:, None] + out[None, :, None] * e.normals(count)[:, None]
    high, wide = lab.shape[:2]
    at = at.astype(np.float32)
    if not ((at >= -1) & (at <= [wide, high])).all():
        return 0.0, 0.0
    across = cv2.remap(lab, at[..., 0], at[..., 1], cv2.INTER_LINEAR).astype(float)
    parts = across.reshape(PARTS, PLACES, len(out), 3).mean(1)
    step = np.linalg.norm(parts[:, 2:] - parts[:, :-2], axis=2)
    away = np.abs(out[1:-1])
    edge, beside = step[:, away <= 1].max(1), float(np.median(step[:, away >= 4]))
    support = float((edge > max(2.0, STANDS_OUT * beside)).mean())
    return support, support * math.sqrt(e.long_px) * float(np.median(edge)) / (1 + beside)


def _outermost(seen: list[Ellipse]) -> list[Ellipse]:
    """One ellipse for each thing: the outermost of rings about one middle."""
    left = sorted(seen, key=lambda e: -e.score)
    out: list[Ellipse] = []
    while left:
        first = left[0]
        same = [
            e for e in left
            if math.dist(e.centre, first.centre) < 0.25 * max(first.short_px, e.short_px)
            and 0.5 < e.long_px / first.long_px < 2.0
        ]  # fmt: skip
        widest = max(same, key=lambda e: e.long_px)
        near = [e for e in same if abs(e.long_px / widest.long_px - 1) < 0.04]
        out.append(max(near, key=lambda e: e.score))
        left = [e for e in left if e not in same]
    return out


def follow(photo: Any, rough: Ellipse) -> tuple[Ellipse, Array, Array] | None:
    """Place the edge along its normals at full size; ellipse, points (n, 2), normals (n, 2).

    Of the rings about what was found (a coin's field often differs more than its edge does) the
    outermost that shows is followed. None where no edge lies on an ellipse.
    """
    patch = linear_patch(photo, rough.outline(64), 0.35 * rough.long_px + 8, rough.long_px / 10)
    far = max(3.0, 0.02 * rough.long_px)
    near = np.arange(-0.1 * rough.long_px, 0.15 * rough.long_px, far / 2)
    first = max(_rings(patch, rough, near, far), key=_Ring.clear, default=None)
    if first is None or (first.rough > ROUGHEST * patch.k and first.stands < OUT_OF_ROUND):
        return None
    wider = np.arange(2.0 * patch.k, 0.25 * rough.long_px, patch.k)
    found = _rings(patch, first.ellipse, wider, 2.0 * patch.k)
    rims = [r for r in found if _is_rim(r, first, patch.k)]
    widest = max((r.ellipse.short_px for r in rims), default=0.0)
    rims = [r for r in rims if r.ellipse.short_px > widest - 3.0 * patch.k]
    ring = max(rims, key=_Ring.clear, default=first)
    # once more, unheld, as a soft edge would stay where it was looked for; among blotches it must
    unheld = _followed(patch, ring.ellipse, 2.5 * patch.k, pull=3.0)
    if unheld is not None and unheld.kept / unheld.rough > CLEANER * ring.kept / ring.rough:
        ring = unheld
    return ring.ellipse, ring.points, ring.normals


@dataclass(frozen=True)
class _Ring:
    """An edge all round: places, share that stands out and is kept, step, scatter in pixels."""

    ellipse: Ellipse
    points: Array
    normals: Array
    stands: float
    kept: float
    edge: float
    rough: float

    def clear(self) -> float:
        return self.edge * self.kept / self.rough


def _rings(patch: Any, about: Ellipse, away: Array, reach: float) -> list[_Ring]:
    """The edges near ellipses that lie so far from one, each once."""
    rings: list[_Ring] = []
    for out in away:
        start = replace(about, long_px=about.long_px + out, short_px=about.short_px + out)
        ring = _followed(patch, start, reach)
        if ring is not None and not any(_same(ring, other) for other in rings):
            rings.append(ring)
    return rings


def _same(one: _Ring, two: _Ring) -> bool:
    a, b = one.ellipse, two.ellipse
    apart = (
        math.dist(a.centre, b.centre) + abs(a.long_px - b.long_px) + abs(a.short_px - b.short_px)
    )
    return apart < 0.5


def _is_rim(ring: _Ring, first: _Ring, k: float) -> bool:
    """Whether a ring is a rim about the first: round the same middle and as round, and shows."""
    a, b = first.ellipse, ring.ellipse
    out = b.short_px - a.short_px
    # right beside the first edge only a strong one: sharpening leaves a weak one there
    share = RIM_SHARE if out > 3.5 * k else NEAR_SHARE
    round_ = abs(b.short_px / b.long_px - a.short_px / a.long_px)
    return (
        out > max(2.0 * k, 0.03 * a.long_px)
        and math.dist(a.centre, b.centre) < CONCENTRIC * b.long_px
        and round_ < CONCENTRIC
        and ring.stands > RIM_STANDS
        and ring.kept > RIM_KEPT
        and ring.rough < ROUGHEST * k
        and ring.edge > max(share * first.edge, 0.008)
    )


def _followed(patch: Any, e: Ellipse, half: float, pull: float = 0.7) -> _Ring | None:
    """Place the edge nearest to an ellipse, and fit it anew, until it stays."""
    from scipy.ndimage import uniform_filter1d

    fine = 0.5
    share = np.arange(-half, half + fine / 2, fine)
    for round_ in range(8):
        start, normals = e.outline(COUNT), e.normals(COUNT)
        at = start[:, None] + share[None, :, None] * normals[:, None]
        # neighbours together: less noise, and the edge is the same to a part of a pixel
        light = uniform_filter1d(patch.sample(at), ALONG, axis=0, mode="wrap")
        slope = np.abs(np.gradient(light, axis=1))
        slope *= np.exp(-0.5 * (share / (pull * half)) ** 2)  # prefer what lies near
        n = len(share)
        peak = np.clip(slope.argmax(1), 2, n - 3)
        near = slope[np.arange(COUNT)[:, None], peak[:, None] + np.arange(-2, 3)]
        # the centre of the slope about its peak: less noise than the peak itself
        shift = (near * np.arange(-2, 3)).sum(1) / np.maximum(near.sum(1), 1e-12)
        points = start + (share[peak] + shift * (share[1] - share[0]))[:, None] * normals
        strong = near.max(1) > 0.25 * np.median(near.max(1))
        use, before = strong.copy(), e
        for _ in range(6):
            fresh = fitted(points[use])
            if fresh is None or fresh.short_px < 0.3 * fresh.long_px:
                return None
            off = np.abs(_off(fresh, points))
            again = strong & (off < max(0.5, 3 * 1.4826 * float(np.median(off[strong]))))
            e = fresh
            if again.sum() < 0.4 * COUNT or (again == use).all():
                break
            use = again
        moved = math.dist(e.centre, before.centre) + abs(e.long_px - before.long_px)
        if round_ and moved + abs(e.short_px - before.short_px) < 0.05:
            break
    stands, edge = _stands(patch, e)
    rough = float(np.std(_off(e, points[use])))
    return _Ring(e, points[use], normals[use], stands, float(use.mean()), edge, max(rough, 0.05))


def _stands(patch: Any, e: Ellipse) -> tuple[float, float]:
    """Share of the parts of a ring in which its edge stands out from what lies outside; its step.

    In roots of linear light, nearly as the eye sees it.
    """
    out = patch.k * np.arange(-1.0, 10.01, 0.5)
    at = e.outline(COUNT)[:, None] + out[None, :, None] * e.normals(COUNT)[:, None]
    parts = np.sqrt(patch.sample(at)).reshape(PARTS, COUNT // PARTS, -1).mean(1)
    step, away = np.abs(parts[:, 4:] - parts[:, :-4]), out[2:-2] / patch.k
    edge = step[:, np.abs(away) < 0.8].max(1)
    beyond = max(float(np.median(step[:, away >= 3])), 0.002)
    return float((edge > RIM_STANDS_OUT * beyond).mean()), float(np.median(edge))
