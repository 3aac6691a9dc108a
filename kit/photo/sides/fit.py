"""A side view step by step: the outline, the fit."""

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from kit.errors import DataError
from kit.photo.dragged import lengthened
from kit.photo.outlines import doubts as doubtful
from kit.photo.outlines import outline as edges
from kit.photo.outlines.region import SHARES, below_glass, find_region
from kit.photo.picture import Photo
from kit.photo.pixels.strip import normals
from kit.photo.reference import Scale
from kit.photo.sides.jar import Jar, JarProfile
from kit.photo.sides.judge import NOTED_DOUBT, NOTED_MISFIT, WELL_AGREED, Found
from kit.photo.sides.likely_box import likely_box
from kit.photo.sides.paper import margined, paper
from kit.photo.sides.solid import Stand
from kit.photo.sides.solid_fit import UNTOLD, Beliefs, SolidFit, fit_solid
from kit.photo.sides.solid_profile import RoundProfile

__all__ = ["likely", "measure"]

Array = NDArray[np.float64]
Box = tuple[float, float, float, float]
Point = tuple[float, float]

#: longer side of the picture edges are looked for in: a phone's 12 MP at half size
WORK_PX = 2000
#: smaller side of a piece, working pixels: an edge's surroundings must be seen too (own choice)
LEAST_PX = 30.0
#: an edge is where the picture says to within about this, working pixels (blur, halo); one put by
#: hand is good to about a pixel and a half of a phone's screen copy
MARKING_PX, BY_HAND_PX = 0.15, 0.5
FAINT = (
    "the edge is faint against the ground: look whether the outline drawn is right, or retake the "
    "photo before a ground of another colour"
)
#: a box covered by the reference by more than this holds a piece that stands before it
LEAST_COVERED = 0.1
#: and one that its paper seems to cover by more than this shows a ground as pale as the paper
MOST_PAPER = 0.25
#: a reference that fills more of the photo than this may have the piece before it
LEAST_FILLED = 0.05
BESIDE = "What stands before the reference cannot be told from it: set the piece beside it."
IN_FRONT = (
    "the piece stands before the reference and cannot be told from it. Retake with the reference "
    "beside the piece and a gap between them, or draw the outline."
)
UNEVEN = (
    "the edge found is not as smooth as a round piece's: look whether the outline drawn is right; "
    "drag its top or base, or retake the photo before a plain ground of another colour"
)
DOUBTFUL = (
    "another edge is nearly as clear as the one taken: look whether the outline drawn is right; "
    "drag its top or base, or draw a box round the piece"
)


def measure(
    photo: Photo, scale: Scale, stand: Stand, beliefs: Beliefs, shape: str, box: Box | None,
    jar: Jar | None, drawn: Array | None, top: Point | None, base: Point | None,
    before: SolidFit | None = None,
) -> Found:  # fmt: skip
    """Find the outline (unless it was drawn) and fit the solid to it.

    Raises
    ------
    DataError
        No piece found, or no solid fits.
    """
    if jar is not None and stand.toward is stand.up:
        # the reference lies on the worktop: the dough stands higher by the jar's glass bottom
        stand = replace(stand, origin=stand.origin + jar.base_thickness_mm * stand.up)
    if drawn is not None:
        beliefs = replace(beliefs, marking_px=BY_HAND_PX * max(photo.width, photo.height) / WORK_PX)
        evenly = np.ones(len(drawn))
        fit, used = _fitted(drawn, evenly, stand, beliefs, shape, jar)
        if top is not None or base is not None:
            drawn = _dragged(drawn, fit, top, base)
            fit, used = _fitted(drawn, evenly, stand, beliefs, shape, jar, fit, thorough=True)
        return Found(drawn[used], fit, math.inf, float(min(np.ptp(drawn, axis=0))))
    work, k = photo.reduced(WORK_PX)
    given: Box | None = None
    if box is not None:
        x0, y0, x1, y1 = map(float, _shrink(np.reshape(box, (2, 2)), k).ravel())
        given = (x0, y0, x1, y1)
    keep_out = _reference(work, scale, k, given)
    best: Found | None = None
    refused: DataError | None = None
    for share in SHARES:
        try:
            line = find_region(work, given, keep_out, share)
            dough = given
            if jar is not None and given is None and (dough := below_glass(work, line)):
                line = find_region(work, dough, keep_out)
            found = _traced(
                work, k, line, keep_out, dough, stand, beliefs, shape, jar, top, base, before
            )
        except DataError as reason:
            refused = refused or reason
        else:
            # the larger one first: it is left only for a much clearer edge
            if best is None or found.strength > 1.3 * best.strength:
                best = found
        if box is not None or (best is not None and best.strength > edges.CLEAR / 2):
            break
    if best is None:
        assert refused is not None
        if given is not None and _covered(given, keep_out) > LEAST_COVERED:
            raise DataError(IN_FRONT) from refused
        whole = (0.0, 0.0, float(work.shape[1]), float(work.shape[0]))
        if given is None and _covered(whole, keep_out) > LEAST_FILLED:
            msg = f"{refused} {BESIDE}"
            raise DataError(msg) from refused
        raise refused
    if box is None and best.strength < edges.CLEAR:
        return replace(best, notes=tuple(dict.fromkeys((FAINT, *best.notes))))
    return best


def likely(photo: Photo, scale: Scale, stand: Stand) -> Box | None:
    """Return a box (photo's pixels) that holds the piece where what stands out was none."""
    work, k = photo.reduced(WORK_PX)
    box = likely_box(work, k, stand, _reference(work, scale, k, None))
    return None if box is None else tuple(map(float, _grow(np.array(box), k)))  # type: ignore[return-value]


def _covered(box: Box, polygon: Array) -> float:
    """The share of a box that a polygon covers, both in the same pixels."""
    import cv2

    if len(polygon) < 3:
        return 0.0
    x0, y0, x1, y1 = box
    corners = np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)], np.float32)
    hull = cv2.convexHull(polygon.astype(np.float32))
    shared = float(cv2.intersectConvexConvex(corners, hull)[0])
    return shared / max((x1 - x0) * (y1 - y0), 1.0)


def _traced(
    work: NDArray[np.uint8], k: float, line: Array, keep_out: Array, box: Box | None,
    stand: Stand, beliefs: Beliefs, shape: str, jar: Jar | None,
    top: Point | None, base: Point | None, before: SolidFit | None,
) -> Found:  # fmt: skip
    """From a rough outline to the edge and the solid: near it first, then near the solid."""
    beliefs = replace(beliefs, marking_px=MARKING_PX * k)
    low, high = line.min(0), line.max(0)
    region = line
    seen = edges.look(work, (*low, *high), 0.25, keep_out)
    size = float(min(high - low))
    if size < LEAST_PX:
        msg = f"what stands out is only {k * size:.0f} pixels large. Go nearer, or draw a box."
        raise DataError(msg)
    unsure = 0.0
    line = edges.evenly(line, 140)
    edge = edges.find_edge(seen, line, normals(line), max(5.0, 0.2 * size), either=True)
    fit, used = _fitted(_grow(edge.points, k), edge.spread, stand, beliefs, shape, jar, before,
                        9 if before is None else 5)  # fmt: skip
    for reach, many, steps, last in (
        (max(4.0, 0.03 * size), 160, 3, False), (max(3.0, 0.012 * size), 240, 12, True),
    ):  # fmt: skip
        if jar is None:
            line = edges.evenly(_shrink(fit.drawn, k), many)
        else:
            line = edges.evenly(edge.points, many)
        edge = edges.find_edge(seen, line, normals(line), reach)
        # a faint edge may be another one: its bias grows as it fades
        faint = float(np.clip(edges.CLEAR / max(float(np.median(edge.strength)), 1e-3), 1.0, 4.0))
        beliefs = replace(beliefs, marking_px=MARKING_PX * k * faint)
        offset, spread = edge.offset, edge.spread
        if jar is None:
            offset, spread, unsure = doubtful.at_foot(seen, line, normals(line), edge, size, last)
        if shape == "ball":
            spread = spread * doubtful.in_shade(normals(line))
        points = _grow(line + offset[:, None] * normals(line), k)
        fit, used = _fitted(points, spread, stand, beliefs, shape, jar, fit, steps, last)
    strength = float(np.median(edge.strength[used]))
    notes = (FAINT,) * (strength < edges.CLEAR / 2)
    if top is not None or base is not None:
        beliefs = replace(beliefs, marking_px=max(beliefs.marking_px, BY_HAND_PX * k))
        points = _dragged(points, fit, top, base)
        fit, used = _fitted(points, spread, stand, beliefs, shape, jar, fit, thorough=True)
    final = edges.evenly(_shrink(fit.drawn, k), 160)
    doubts, agreed = np.zeros(4), 1.0
    if jar is None:
        doubts = k * doubtful.doubts(seen, final, normals(final), 0.22 * size, box)
        doubts[1] = math.hypot(doubts[1], k * unsure)
        doubts[:2] *= np.array([top is None, base is None])  # a hand has decided
        agreed = doubtful.overlap(region, final) if top is None and base is None else 1.0
        if agreed < WELL_AGREED or doubts.max() > NOTED_DOUBT * size * k:
            notes = (*notes, DOUBTFUL)
        elif fit.misfit_px > NOTED_MISFIT * size * k and not notes:
            notes = (UNEVEN,)
    return Found(
        points[used], fit, strength, size * k, notes, tuple(map(float, doubts)), agreed,
    )  # fmt: skip


def _reference(work: NDArray[np.uint8], scale: Scale, k: float, box: Box | None) -> Array:
    """The reference with its paper, working pixels: no part of a piece."""
    import cv2

    outline = _shrink(scale.outline, k)
    least = margined(outline, 1.45 if scale.kind == "marker" else 1.06)
    if scale.kind not in ("marker", "checkerboard"):
        return least
    both = np.vstack([least, paper(work, outline)]).astype(np.float32)
    whole = np.asarray(cv2.convexHull(both)[:, 0], float)
    # a ground as pale as the paper may have been taken for it
    return least if box is not None and _covered(box, whole) > MOST_PAPER else whole


def _shrink(points: Array, k: float) -> Array:
    return (np.asarray(points, float) + 0.5) / k - 0.5


def _grow(points: Array, k: float) -> Array:
    return (points + 0.5) * k - 0.5


def _dragged(points: Array, fit: SolidFit, top: Point | None, base: Point | None) -> Array:
    """Outline points as they would be with the fitted outline's top and foot put by hand."""
    high, low = fit.drawn[:, 1].min(), fit.drawn[:, 1].max()
    up = 0.0 if top is None else high - top[1]
    return lengthened(points, up, 0.0 if base is None else base[1] - low)


def _fitted(
    points: Array, spread: Array, stand: Stand, beliefs: Beliefs, shape: str, jar: Jar | None,
    before: SolidFit | None = None, steps: int = 25, thorough: bool = False,
) -> tuple[SolidFit, NDArray[np.intp]]:  # fmt: skip
    """Fit; which of the points counted."""
    low, high = points.min(0), points.max(0)
    start, mm_per_px = _foot(stand, np.array([(low[0] + high[0]) / 2, high[1]]))
    sight = stand.foot(*start) / np.linalg.norm(stand.foot(*start))
    down = max(0.0, -float(sight @ stand.up))
    used = np.arange(len(points))
    solid: RoundProfile | JarProfile
    if jar is None:
        radius = (high[0] - low[0]) / 2 * mm_per_px
        height = max((high[1] - low[1]) * mm_per_px - 1.4 * radius * down, 0.3 * radius)
        solid = RoundProfile(radius, height, shape == "ball")
    else:
        normal = normals(points)
        used = np.flatnonzero(np.abs(normal[:, 1]) > 0.4)
        spread = np.where(normal[:, 1] > 0, 2.0, 1.0) * spread  # the glass's foot bends the view
        radius = float(jar.radii_mm[0])
        height = max((high[1] - low[1]) * mm_per_px - 2 * radius * down, 0.2 * radius)
        solid = JarProfile(jar.heights_mm, jar.radii_mm, height)
        beliefs = replace(beliefs, across_mm=0.01 * radius)
    try:
        fit = fit_solid(
            points[used], stand, solid, beliefs, spread=spread[used], start=start, before=before,
            steps=steps, thorough=thorough,
        )  # fmt: skip
    except np.linalg.LinAlgError as exc:  # a jar a thousandth of a millimetre wide, points in a row
        raise DataError(UNTOLD) from exc
    return fit, used


def _foot(stand: Stand, px: Array) -> tuple[tuple[float, float], float]:
    """Where the line of sight through a pixel meets the stand's plane, and millimetres a pixel.

    Raises
    ------
    DataError
        It does not meet it before the camera.
    """
    ray = stand.camera.rays(px[None])[0]
    across = float(ray @ stand.toward)
    far = float(stand.origin @ stand.toward) / across if across else -1.0
    if not 1.0 < far < 1e5:
        msg = (
            "the lower edge of the piece lies above the horizon of the worktop. Look whether the "
            "outline is right and whether the reference stands or lies as it was said to."
        )
        raise DataError(msg)
    away = ray * far - stand.origin
    return (float(away @ stand.across), float(away @ stand.along)), far / stand.camera.focal_px
