"""A part of a photo as if seen square-on, quickly; and which of it can hold no face."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from kit.errors import DataError, InputError
from kit.photo.pixels.strip import filled
from kit.photo.references.plane_scale import STEEPEST_DEG

__all__ = ["decoded", "in_window", "kept_out", "moved", "region", "square_on", "window_of"]

Array = NDArray[np.float64]
Picture = NDArray[Any]

#: How far within the card's window a face is looked for, and how far its paper may reach in, of
#: its width and height.
_INSET, _PAPER = 0.07, 0.015


def region(photo: Any, box: Any, outline: Array | None) -> tuple[Array, Array]:
    """Two corners of the part of the photo that is looked at."""
    low, high = np.array([-0.5, -0.5]), np.array([photo.width - 0.5, photo.height - 0.5])
    if box is not None:
        corner = np.asarray(box, float).reshape(-1)
        if corner.shape != (4,) or not (corner[2:] - corner[:2] >= 8).all():
            raise InputError("box", box, "must be (x0, y0, x1, y1) with x1 > x0 and y1 > y0")
        room = 0.2 * (corner[2:] - corner[:2])
        low, high = np.maximum(low, corner[:2] - room), np.minimum(high, corner[2:] + room)
    elif outline is not None:
        room = 0.1 * np.ptp(outline, axis=0)
        low, high = np.maximum(low, outline.min(0) - room), np.minimum(high, outline.max(0) + room)
    if not (high - low >= 8).all():
        field_name, value = ("box", box) if box is not None else ("outline", None)
        raise InputError(field_name, value, "must lie in the picture")
    return low, high


def decoded(
    photo: Any, scale: Any, corners: tuple[Array, Array], px_per_mm: float
) -> tuple[Picture, float]:
    """Return the photo with at least `px_per_mm` in the part that is looked at, and its factor.

    Halved, or by four or eight: that much of a JPEG is decoded at a fraction of the time.
    """
    own = 1 / float(np.max(scale.mm_per_px_at(_grid(*corners))))
    k = next((k for k in (8, 4, 2) if own / k >= px_per_mm), 1)
    seen: tuple[Picture, float] = photo.reduced(max(photo.width, photo.height) // k)
    return seen


def _grid(low: Array, high: Array) -> Array:
    return np.stack(np.meshgrid(*np.linspace(low, high, 7).T), -1).reshape(-1, 2)


def square_on(
    seen: tuple[Picture, float], scale: Any, corners: tuple[Array, Array], px_per_mm: float,
    longest: int,
) -> tuple[Picture, Array, float]:  # fmt: skip
    """Return a part of the photo square-on, its map to the photo, its pixels a millimetre.

    Of what `decoded` gives; shrunk by a whole number first, which is several times faster than
    looking at all pixels of the photo.
    """
    import cv2

    pixels, factor = seen
    size = np.array(pixels.shape[1::-1])
    low, high = (np.clip(c, -0.5, size * factor - 0.5) for c in corners)
    grid = _grid(low, high)
    if scale.tilt_deg > STEEPEST_DEG:
        msg = (
            f"the {scale.kind} is seen {scale.tilt_deg:.0f}° off square-on: too flat for a face in "
            "its plane. Photograph the face from above, the reference beside it."
        )
        raise DataError(msg)
    mm = scale.to_mm(grid)
    if not np.isfinite(mm).all():
        msg = "the picture looks past the plane's horizon: photograph the face from above."
        raise DataError(msg)
    start, size = mm.min(0), np.ptp(mm, axis=0)
    fine = min(px_per_mm, longest / float(size.max()))
    width, height = (int(v) for v in np.ceil(size * fine))
    # to a plane from a photo is a homography but for the lens term, which a fit takes up
    to_photo = np.asarray(cv2.findHomography((mm - start) * fine - 0.5, grid, 0)[0], float)
    k = max(1, int(1 / (float(np.median(scale.mm_per_px_at(grid))) * fine * factor) + 0.1))
    low, high = ((c + 0.5) / factor - 0.5 for c in (low, high))
    first = np.clip(np.floor(low).astype(int) - 2, 0, None) // k * k
    last = np.ceil(high).astype(int) + 3
    pixels = pixels[first[1] : last[1], first[0] : last[0]]
    if k > 1:
        pixels = pixels[: pixels.shape[0] // k * k, : pixels.shape[1] // k * k]
        pixels = cv2.resize(pixels, None, fx=1 / k, fy=1 / k, interpolation=cv2.INTER_AREA)
    # a pixel (x, y) of the photo lies at ((x + 0.5) / factor − first) / k − 0.5 of what is left
    shift = (0.5 / factor - first) / k - 0.5
    less = 1 / (factor * k)
    shrink = np.array([[less, 0, shift[0]], [0, less, shift[1]], [0, 0, 1]])
    picture = cv2.warpPerspective(pixels, shrink @ to_photo, (width, height),
                                  flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
                                  borderMode=cv2.BORDER_REPLICATE)  # fmt: skip
    return np.asarray(picture), to_photo, fine


def window_of(scale: Any) -> Array | None:
    """Corners (4, 2) of the window of our own card in the photo, where that is the reference."""
    return scale.reading.window if scale.reading else None


def in_window(scale: Any) -> tuple[float, float, float, float] | None:
    """Box about where a face lies, in pixels: in the window of our own card."""
    window = window_of(scale)
    if window is None:
        return None
    (x0, y0), (x1, y1) = (f(_shrunk(window, _INSET), axis=0) for f in (np.min, np.max))
    return float(x0), float(y0), float(x1), float(y1)


def _shrunk(corners: Array, by: float) -> Array:
    middle = corners.mean(0)
    return np.asarray(middle + (1 - 2 * by) * (corners - middle))


def kept_out(
    photo: Any, scale: Any, box: Any, to_photo: Array, shape: tuple[int, ...]
) -> tuple[Picture, Any]:
    """What of the overview is no face: beyond the photo, the reference; and the box on it.

    Without a box, that within our own card's window: seen square-on it is upright, however the
    card was turned in the photo, and what lies beyond is paper, no ground.
    """
    back = np.asarray(np.linalg.inv(to_photo), float)
    w, h = photo.width - 1, photo.height - 1
    out = ~filled(shape, moved(back, [[0, 0], [w, 0], [w, h], [0, h]]))
    if len(scale.outline) >= 3:
        there = moved(back, scale.outline)
        out |= filled(shape, there + 0.06 * (there - there.mean(0)))
    if box is not None:
        x0, y0, x1, y1 = (float(v) for v in box)
        corners = moved(back, [[x0, y0], [x1, y0], [x1, y1], [x0, y1]])
    elif (window := window_of(scale)) is not None:
        there = moved(back, window)
        out |= ~filled(shape, _shrunk(there, _PAPER))
        corners = _shrunk(there, _INSET)
    else:
        return out, None
    return out, (*corners.min(0), *corners.max(0))


def moved(matrix: Any, points: Any) -> Array:
    """Return points (n, 2) through a plane-to-plane map."""
    import cv2

    flat = np.asarray(points, float).reshape(-1, 1, 2)
    return np.asarray(cv2.perspectiveTransform(flat, matrix)[:, 0], float)
