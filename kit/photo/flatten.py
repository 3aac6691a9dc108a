"""A part of a photo as if seen square-on: perspective and lens undone, area averaged."""

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from kit.errors import InputError

if TYPE_CHECKING:
    from kit.photo.reference import Scale

__all__ = ["flattened"]

Array = NDArray[np.float64]
#: no more pixels along a side of the result
LIMIT_PX = 8000


def flattened(
    scale: "Scale", photo: Any, where: Sequence[float] | Array, px_per_mm: float | None = None
) -> tuple[NDArray[np.uint8], float, Array]:
    """Return pixels, pixels a millimetre and the map to the photo: see `Scale.rectify`."""
    import cv2

    corners = _corners(where, photo)
    seen = scale.to_mm(corners)
    if not np.isfinite(seen).all():
        rule = "reaches past the horizon of the measured plane"
        raise InputError("where", _said(corners), rule, "Choose a smaller part.")
    own = 1 / float(np.min(scale.mm_per_px_at(corners)))
    fine = own if px_per_mm is None else float(px_per_mm)
    if not (math.isfinite(fine) and fine > 0):
        raise InputError("px_per_mm", px_per_mm, "must be above 0")
    low, high = seen.min(0), seen.max(0)
    wide, tall = (max(1, math.ceil(side * fine - 1e-3)) for side in (high - low))
    if max(wide, tall) > LIMIT_PX:
        rule = f"would make a picture of {wide}×{tall} pixels, and {LIMIT_PX} are the limit"
        raise InputError("px_per_mm", fine, rule, "Choose a smaller part or fewer pixels.")
    # each pixel of the result is the mean over m × m samples, so that shrinking blurs as an
    # area does and fine foam does not turn into a moiré
    m = max(1, math.ceil(own / fine - 0.25))
    step = 1 / (fine * m)

    def mm_of(x: Array, y: Array) -> Array:
        return np.stack([low[0] + (x + 0.5) * step, low[1] + (y + 0.5) * step], -1)

    # plane to photo is a homography but for the lens term, which a fit takes up over a part
    gx, gy = (g.ravel() for g in np.meshgrid(*(np.linspace(0, n * m, 9) for n in (wide, tall))))
    there = scale.to_px(mm_of(gx, gy))
    fit, _ = cv2.findHomography(np.stack([gx, gy], -1), there, 0)
    pixels, corner = _needed(photo, there)
    fit = np.asarray(fit, float)
    drop = np.array([[1, 0, -corner[0]], [0, 1, -corner[1]], [0, 0, 1.0]])
    size = (wide * m, tall * m)
    back = cv2.perspectiveTransform(np.stack([gx, gy], -1)[None], fit)[0]
    if float(np.abs(back - there).max()) < 0.1:
        flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        out = cv2.warpPerspective(
            pixels, drop @ fit, size, flags=flags, borderMode=cv2.BORDER_REPLICATE
        )
    else:
        out = _through_lens(scale, pixels, corner, mm_of, size)
    if m > 1:
        out = cv2.resize(out, (wide, tall), interpolation=cv2.INTER_AREA)
    coarse = np.array([[m, 0, (m - 1) / 2], [0, m, (m - 1) / 2], [0, 0, 1.0]])
    transform = fit @ coarse
    return np.asarray(out, np.uint8), fine, transform / transform[2, 2]


def _corners(where: Sequence[float] | Array, photo: Any) -> Array:
    """The corners asked for, as (n, 2), inside the photo."""
    given = np.asarray(where, float)
    if given.shape == (4,):
        x0, y0, x1, y1 = given
        given = np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])
    if given.ndim != 2 or given.shape[1] != 2 or len(given) < 3 or not np.isfinite(given).all():
        rule = "must be a box (x0, y0, x1, y1) or at least three corners (x, y), in pixels"
        raise InputError("where", where, rule)
    inside = np.clip(given, -0.5, [photo.width - 0.5, photo.height - 0.5])
    if np.ptp(inside, axis=0).min() < 2:
        rule = f"must cover a part of the picture, {photo.width}×{photo.height} pixels"
        raise InputError("where", _said(given), rule)
    return np.asarray(inside)


def _needed(photo: Any, there: Array) -> tuple[NDArray[np.uint8], tuple[int, int]]:
    """The part of the photo that holds the places asked for, and its corner."""
    pixels = photo.pixels
    low = np.clip(np.floor(there.min(0)).astype(int) - 2, 0, [photo.width - 2, photo.height - 2])
    high = np.ceil(there.max(0)).astype(int) + 3
    part = pixels[low[1] : max(high[1], low[1] + 2), low[0] : max(high[0], low[0] + 2)]
    return part, (int(low[0]), int(low[1]))


def _through_lens(
    scale: "Scale", pixels: Any, corner: tuple[int, int], mm_of: Any, size: tuple[int, int]
) -> Any:
    """Sample where each pixel lies, lens term and all, worked out on a coarse grid."""
    import cv2

    every = 16
    nx, ny = (-(-n // every) + 1 for n in size)
    gx, gy = np.meshgrid(np.arange(nx) * every, np.arange(ny) * every)
    coarse = (scale.to_px(mm_of(gx, gy)) - corner).astype(np.float32)
    x, y = np.meshgrid(
        np.arange(size[0], dtype=np.float32) / every, np.arange(size[1], dtype=np.float32) / every
    )
    at = cv2.remap(coarse, x, y, cv2.INTER_LINEAR)
    return cv2.remap(
        pixels, at[..., 0], at[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )


def _said(points: Array) -> list[list[float]]:
    return [[round(float(v), 1) for v in row] for row in points]
