"""Round things in a photo: found as outlines that are ellipses, followed to a part of a pixel."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kit.errors import InputError

__all__ = ["Ellipse", "follow", "see_ellipses"]

Array = NDArray[np.float64]

#: the picture in which outlines are looked for, its longer side
LOOK_PX = 900
#: share of the outline at which an edge must show
SUPPORT = 0.8
#: of 16 parts of the outline, how many must show a wider rim, and how clearly beside the first
RIM_PARTS, RIM_SHARE, NEAR_SHARE = 14, 0.12, 0.5
#: the step two pixels either way is this share of that six pixels either way where it is soft
SOFT = 0.5
#: what is smaller across, in pixels of the photo, is not looked at
LEAST_PX = 50.0


@dataclass(frozen=True)
class Ellipse:
    """Centre, half axes in pixels, direction of the long one in radians; how sure it is one."""

    centre: tuple[float, float]
    long_px: float
    short_px: float
    turn: float
    support: float = 0.0
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
    """Fit an ellipse to points (n, 2) by algebraic least squares (OpenCV's fitEllipseAMS)."""
    import cv2

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

    pixels, k, corner = _part(photo, box)
    lab = cv2.cvtColor(cv2.GaussianBlur(pixels, (0, 0), 1.2), cv2.COLOR_RGB2LAB)
    seen: list[Ellipse] = []
    for outline in _outlines(lab):
        points = outline[:, 0].astype(float)
        # a bite or a tongue (shadow, crumbs) must not spoil it: what lies off is left out
        e = None
        for _ in range(4):
            e = fitted(points)
            if e is None:
                break
            off = np.abs(_off(e, points))
            near = off < max(1.5, 2.5 * float(np.median(off)))
            if near.all() or near.sum() < 20:
                break
            points = points[near]
        if e is None or e.short_px < 0.35 * e.long_px or e.long_px > 0.6 * max(lab.shape[:2]):
            continue
        if len(points) < 0.6 * len(outline) or len(points) < 3 * e.long_px:
            continue
        if e.long_px * k < 0.5 * LEAST_PX:
            continue
        support, step, sharp = _support(lab, e)
        rough = float(np.sqrt(np.mean(_off(e, points) ** 2)))
        if support > SUPPORT and rough < max(0.7, 0.012 * e.long_px):
            score = support * step * sharp * math.sqrt(e.long_px) / (0.5 + rough)
            seen.append(Ellipse(e.centre, e.long_px, e.short_px, e.turn, support, score))
    # blotches of the ground are weak and soft beside what was laid there
    top = max((e.score for e in seen), default=0.0)
    seen = [e for e in seen if e.score > 0.4 * top]
    best = _outermost(seen)
    full = [
        Ellipse(
            ((e.centre[0] + 0.5) * k - 0.5 + corner[0], (e.centre[1] + 0.5) * k - 0.5 + corner[1]),
            e.long_px * k, e.short_px * k, e.turn, e.support, e.score,
        )
        for e in best
    ]  # fmt: skip
    if at is not None:
        full = [e for e in full if _off(e, np.asarray([at], float))[0] < 0.1 * e.long_px]
    return full


def _part(photo: Any, box: Sequence[float] | None) -> tuple[Any, float, tuple[int, int]]:
    """Pixels to look in, how many of the photo's each is wide, and where they start."""
    import cv2

    if box is None:
        pixels, k = photo.reduced(LOOK_PX)
        return np.ascontiguousarray(pixels), k, (0, 0)
    given = np.asarray(box, float).ravel()
    if given.shape != (4,) or not np.isfinite(given).all():
        raise InputError("box", box, "must be (x0, y0, x1, y1), in pixels")
    x0, y0 = (max(0, int(v)) for v in given[:2])
    x1, y1 = min(photo.width, int(given[2]) + 1), min(photo.height, int(given[3]) + 1)
    if min(x1 - x0, y1 - y0) < 16:
        raise InputError("box", box, "must cover at least 16 pixels of the picture each way")
    part = np.ascontiguousarray(photo.pixels[y0:y1, x0:x1])
    k = max(1.0, max(x1 - x0, y1 - y0) / LOOK_PX)
    size = (round((x1 - x0) / k), round((y1 - y0) / k))
    return (part if k == 1 else cv2.resize(part, size, interpolation=cv2.INTER_AREA)), k, (x0, y0)


def _outlines(lab: Any) -> list[Any]:
    """Outlines, nearly elliptic, of what is brighter, darker or otherwise coloured."""
    import cv2

    out: list[Any] = []
    high, wide = lab.shape[:2]
    for channel in cv2.split(lab):
        low, top = np.quantile(channel, (0.02, 0.98))
        if top - low < 4:
            continue
        levels = np.unique(np.quantile(channel, np.linspace(0.04, 0.96, 12)).astype(int))
        otsu, _ = cv2.threshold(channel, 0, 255, cv2.THRESH_BINARY + cv2.THRESH_OTSU)
        masks = [channel > level for level in sorted({*levels.tolist(), int(otsu)})]
        for window in (10, 30):
            around = cv2.blur(channel, (4 * window + 1,) * 2).astype(np.int16)
            masks += [channel > around + d for d in (-6, 0, 6)]
        for mask in masks:
            shape = mask.astype(np.uint8)
            found, _ = cv2.findContours(shape, cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)
            out += [c for c in found if len(c) > 60 and _elliptic(c, high, wide)]
    return out


def _elliptic(outline: Any, high: int, wide: int) -> bool:
    """A quick look that spares most outlines the fit."""
    import cv2

    _, _, w, h = cv2.boundingRect(outline)
    if min(w, h) < 18 or min(w, h) < 0.3 * max(w, h) or w * h > 0.9 * wide * high:
        return False
    hull = cv2.convexHull(outline)
    area = cv2.contourArea(hull)
    _, (p, q), _ = cv2.minAreaRect(hull)
    filled = area / max(p * q, 1.0)  # of an ellipse π/4
    return bool(cv2.contourArea(outline) > 0.8 * area and 0.72 < filled < 0.85)


def _off(e: Ellipse, points: Array) -> Array:
    """Roughly how far points lie outside an ellipse, in pixels (Sampson's first order)."""
    c, s = math.cos(e.turn), math.sin(e.turn)
    flat = (points - e.centre) @ np.array([[c, -s], [s, c]]) / [e.long_px, e.short_px]
    r = np.linalg.norm(flat, axis=1)
    slope = np.linalg.norm(flat / [e.long_px, e.short_px], axis=1)
    return np.asarray((r - 1) * r / np.maximum(slope, 1e-12))


def _support(lab: Any, e: Ellipse) -> tuple[float, float, float]:
    """Share of the outline at which inside and outside differ the same way; by how much; 0 to 1.

    The last is how sharply: a blotch's level line is as closed and smooth as a coin's rim, but
    its step goes on growing farther out.
    """
    import cv2

    n = 96
    reach = np.array([-6.0, -4.0, -3.0, -2.0, 2.0, 3.0, 4.0, 6.0])
    at = e.outline(n)[:, None] + reach[None, :, None] * e.normals(n)[:, None]
    at = at.astype(np.float32)
    high, wide = lab.shape[:2]
    inside = ((at >= 0) & (at <= [wide - 1, high - 1])).all((1, 2))
    across = cv2.remap(lab, at[..., 0], at[..., 1], cv2.INTER_LINEAR).astype(float)
    step = across[:, 4:7].mean(1) - across[:, 1:4].mean(1)
    near, far = across[:, 4] - across[:, 3], across[:, 7] - across[:, 0]
    shares = []
    for channel in range(3):
        usual = float(np.median(step[:, channel]))
        share = ((step[:, channel] * np.sign(usual) > 2.5) & inside).mean()
        rise = abs(float(np.median(near[:, channel]))), abs(float(np.median(far[:, channel])))
        sharp = (rise[0] / max(rise[1], 1e-9) - SOFT) / 0.3
        shares.append((float(share), abs(usual), float(np.clip(sharp, 0.0, 1.0))))
    return max(shares)


def _outermost(seen: list[Ellipse]) -> list[Ellipse]:
    """One ellipse for each thing: the outermost of rings about one middle."""
    left = sorted(seen, key=lambda e: -e.support)
    out: list[Ellipse] = []
    while left:
        first = left[0]
        same = [
            e for e in left
            if math.dist(e.centre, first.centre) < 0.25 * max(first.short_px, e.short_px)
            and 0.5 < e.long_px / first.long_px < 2.0
        ]  # fmt: skip
        good = [e for e in same if e.support > 0.92 * first.support]
        widest = max(good, key=lambda e: e.long_px)
        near = [e for e in good if abs(e.long_px / widest.long_px - 1) < 0.04]
        out.append(max(near, key=lambda e: e.support))
        left = [e for e in left if e not in same]
    return out


def follow(
    photo: Any, rough: Ellipse, count: int = 240, wider: bool = True
) -> tuple[Ellipse, Array, Array]:
    """Place the edge along its normals at full size; ellipse, points (n, 2), normals (n, 2).

    `wider`: where there is a rim outside of the edge that was found, follow that.
    """
    from kit.photo.edges import linear_patch

    patch = linear_patch(photo, rough.outline(64), 0.35 * rough.long_px + 8, rough.long_px / 10)
    e = rough
    reach = max(3.0, (0.06 if wider else 0.02) * rough.long_px)
    points, normals = e.outline(count), e.normals(count)
    for round_ in range(5):
        half = max(3.0, reach * (0.6**round_))
        n = int(4 * half) + 1
        share = np.linspace(-half, half, n)
        start, normals = e.outline(count), e.normals(count)
        at = start[:, None] + share[None, :, None] * normals[:, None]
        ring = patch.sample(at)
        # neighbours together: less noise, and the edge is the same to a part of a pixel
        light = (ring + np.roll(ring, 1, axis=0) + np.roll(ring, -1, axis=0)) / 3
        slope = np.abs(np.gradient(light, axis=1))
        if round_ < 3:  # prefer what lies near, and the side on which most of the outline rises
            slope *= np.exp(-0.5 * (share / (0.7 * half)) ** 2)
        peak = np.clip(slope.argmax(1), 2, n - 3)
        rows = np.arange(count)
        near = slope[rows[:, None], peak[:, None] + np.arange(-2, 3)]
        # the centre of the slope about its peak: less noise than the peak itself
        shift = (near * np.arange(-2, 3)).sum(1) / np.maximum(near.sum(1), 1e-12)
        place = share[peak] + shift * (share[1] - share[0])
        points = start + place[:, None] * normals
        strong = near.max(1) > 0.25 * np.median(near.max(1))
        use = strong.copy()
        for _ in range(6):
            fresh = fitted(points[use])
            if fresh is None:
                break
            off = np.abs(_off(fresh, points))
            again = strong & (off < max(0.5, 3 * 1.4826 * float(np.median(off[strong]))))
            e = fresh
            if again.sum() < 0.4 * count or (again == use).all():
                break
            use = again
    if wider and (rim := _rim(patch, e, count)) is not None:
        return follow(photo, rim, count, wider=False)
    return e, points[use], normals[use]


def _rim(patch: Any, e: Ellipse, count: int) -> Ellipse | None:
    """The outermost rim about this one: a coin's field often differs more than its edge does."""
    out = np.arange(-2.0, 0.25 * e.long_px, 0.5 * patch.k)
    at = e.outline(count)[:, None] + out[None, :, None] * e.normals(count)[:, None]
    parts = patch.sample(at).reshape(16, count // 16, -1).mean(1)
    wide = max(1, round(patch.k / (out[1] - out[0])))
    slope = np.zeros_like(parts)
    slope[:, wide:-wide] = parts[:, 2 * wide :] - parts[:, : -2 * wide]
    typical = np.median(slope, axis=0)
    agree = (slope * np.sign(typical) > 0.2 * np.abs(typical)).sum(0) >= RIM_PARTS
    size = np.abs(typical)
    first = size[out < 2.0].max(initial=0.0)
    apart = max(2.0 * patch.k, 0.03 * e.long_px)
    for i in range(len(out) - 2, 0, -1):
        peak = size[i] >= size[max(0, i - wide) : i + wide + 1].max()
        # right beside the first edge only a strong one: sharpening leaves a weak one there
        share = RIM_SHARE if out[i] > 3.5 * patch.k else NEAR_SHARE
        if out[i] > apart and peak and agree[i] and size[i] > max(share * first, 0.01):
            by = 1 + out[i] / e.long_px
            return replace(e, long_px=e.long_px * by, short_px=e.short_px + out[i])
    return None
