"""What of a photo tells the light: patches of known brightness, and the even ground around them.

Patches stand beside the faces; whether the light bows up between them (vignetting, a lamp near
by) only what lies between can tell. A board or cloth is not as even as a patch, so it is given
a slope of its own, little weight however large it is, and none where it is made of many things.
"""

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kit.errors import InputError
from kit.photo.browned.light import GroundSeen, PatchSeen
from kit.photo.pixels.colour import light_of

__all__ = ["as_polygon", "inside", "read_patches", "see_ground"]

Array = NDArray[np.float64]

_KEEP = 0.7  # of a patch's width and height: its edges are blurred
_BURNT, _BLACK = 254, 2  # levels at which the camera's range may have ended
_SHARE = 0.03  # of a patch's pixels that may lie there
_NEAR_END = 249 / 255  # a mean above: noise was cut off and smoothed by JPEG
#: what whole levels of brightness and colour leave of an even patch's mean: JPEG rounds
#: 0.299 R + 0.587 G + 0.114 B and two colour differences (ITU-R BT.601)
_STEP = np.array([0.5, 0.4, 0.65]) / 255
_UNEVEN = 0.025  # spread within a patch that makes one look again

# of the ground
_TILES = 20  # along the picture's longer side
_KEEP_OUT = 0.3  # around a face or patch, of its size: shadows, the card itself
_LEAST = 40  # tiles
_MOST_OF = 0.6  # of the ground must be one thing
_ALIKE = 0.35  # ln of light: what differs more is another thing
_EVEN = 0.025  # ln of light: spread of a ground that helps


def as_polygon(region: Any, field: str) -> Array:
    """Return a box (x0, y0, x1, y1) or a polygon (n, 2) as a polygon.

    Raises
    ------
    InputError
        Neither, or without an area.
    """
    try:
        points = np.asarray(region, float)
    except (TypeError, ValueError) as exc:
        raise InputError(field, region, "must be a box or a polygon in pixels") from exc
    if points.shape == (4,):
        x0, y0, x1, y1 = points
        if not (x1 > x0 and y1 > y0):
            rule = "must be a box (left, top, right, bottom) in pixels with left < right"
            raise InputError(field, points.tolist(), f"{rule} and top < bottom")
        points = np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])
    if points.ndim != 2 or points.shape[1] != 2 or len(points) < 3:
        rule = "must be a box (left, top, right, bottom) or a polygon of 3 or more points"
        raise InputError(field, np.shape(region), rule)
    if not np.isfinite(points).all():
        raise InputError(field, points.tolist(), "must be of finite numbers")
    return points


def inside(polygon: Array, width: int, height: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return rows and columns of the pixels whose centres lie in a polygon and in the picture."""
    from skimage.measure import points_in_poly

    low = np.maximum(np.floor(polygon.min(0)), 0).astype(int)
    high = np.minimum(np.ceil(polygon.max(0)), (width - 1, height - 1)).astype(int)
    if (high < low).any():
        none = np.empty(0, dtype=np.intp)
        return none, none
    y, x = np.mgrid[low[1] : high[1] + 1, low[0] : high[0] + 1]
    own = np.asarray(points_in_poly(np.stack([x.ravel(), y.ravel()], 1), polygon))  # type: ignore[no-untyped-call]
    return y.ravel()[own], x.ravel()[own]


def read_patches(
    pixels: NDArray[np.uint8], k: float, patches: Iterable[Sequence[Any]]
) -> tuple[list[PatchSeen], list[str]]:
    """Read patches off a photo.

    Parameters
    ----------
    pixels : (h, w, 3) uint8
        The photo, reduced `k` times.
    k : float
    patches : iterable of (region, reflectance) or (region, reflectance, u)
        Region: box or polygon in pixels of the full photo. Reflectance: 0 to 1, or three of
        them for red, green, blue. u: its relative standard uncertainty, 0 if not said.

    Returns
    -------
    seen : list of PatchSeen
    notes : list of str

    Raises
    ------
    InputError
        A region or reflectance that cannot be.
    """
    seen, notes = [], []
    for i, patch in enumerate(patches, 1):
        field = f"patch {i}"
        if not 2 <= len(patch) <= 3:
            raise InputError(field, patch, "must be (box, reflectance)")
        polygon = (as_polygon(patch[0], field) + 0.5) / k - 0.5
        reflectance = _reflectance(patch[1], field)
        centre = polygon.mean(0)
        rows, columns = inside(centre + _KEEP * (polygon - centre), *pixels.shape[1::-1])
        if len(rows) < 9:
            rule = "must lie in the photo and hold at least 9 pixels"
            raise InputError(field, np.round(polygon * k).tolist(), rule, "Mark it again.")
        own = pixels[rows, columns]
        ended = np.maximum((own >= _BURNT).mean(0), (own <= _BLACK).mean(0)) > _SHARE
        middle = np.sort(own / 255.0, axis=0)[len(own) // 8 : len(own) - len(own) // 8]
        ended |= middle.mean(0) > _NEAR_END
        spread = middle.std(0)
        if ended.any():
            end = "too bright" if own.mean() > 127 else "too dark"
            notes.append(f"{field} is {end} for the camera and was not used in full")
        elif spread.max() > _UNEVEN:
            notes.append(f"{field} is uneven: a shadow, a reflection or a mark beside it?")
        doubt = np.maximum(0.0, spread - _UNEVEN)
        step = _STEP / (1 + (255 * spread) ** 2)  # what is not flat is rounded both ways
        u = np.sqrt(step**2 + spread**2 / max(1.0, len(own) / 20) + doubt**2)
        where = (np.array([columns.mean(), rows.mean()]) + 0.5) * k - 0.5
        u_print = float(patch[2]) if len(patch) == 3 else 0.0
        if not 0 <= u_print < 1:
            rule = "must lie from 0 to 1: a share of the reflectance"
            named = f"u of {field}"
            raise InputError(named, u_print, rule)
        seen.append(PatchSeen(where, middle.mean(0), u, ~ended, reflectance, u_print))
    return seen, notes


def _reflectance(value: Any, field: str) -> Array:
    try:
        three = np.broadcast_to(np.asarray(value, float), 3)
    except (TypeError, ValueError):
        three = np.full(3, np.nan)
    if not ((three > 0) & (three <= 1.2)).all():
        rule = "must be the share of light it reflects, above 0 and up to 1"
        field = f"reflectance of {field}"
        raise InputError(field, value, rule, "White paper reflects about 0.9.")
    return three


def see_ground(pixels: NDArray[np.uint8], k: float, keep_out: Sequence[Array]) -> GroundSeen | None:
    """Find an even ground in a photo reduced `k` times; None where there is none.

    Parameters
    ----------
    pixels : (h, w, 3) uint8
    k : float
    keep_out : sequence of (n, 2) arrays
        Faces and patches, in pixels of the full photo.
    """
    height, width = pixels.shape[:2]
    side = max(4, max(height, width) // _TILES)
    rows, columns = height // side, width // side
    cut = pixels[: rows * side, : columns * side]
    tiles = cut.reshape(rows, side, columns, side, 3).swapaxes(1, 2).reshape(-1, side * side, 3)
    y, x = np.divmod(np.arange(rows * columns), columns)
    centre = (np.stack([x, y], 1) * side + side / 2) * k - 0.5
    middle = np.sort(tiles, axis=1)[:, side * side // 4 : 3 * side * side // 4]
    level = middle.mean(1) / 255.0
    keep = (level < 0.97).all(1) & (level > 0.02).all(1)
    for polygon in keep_out:
        low, high = polygon.min(0), polygon.max(0)
        margin = _KEEP_OUT * (high - low) + side * k / 2
        keep &= ((centre < low - margin) | (centre > high + margin)).any(1)
    if keep.sum() < _LEAST:
        return None
    all_there = int(keep.sum())
    log_light = np.log(light_of(np.maximum(level, 1 / 255)))
    keep &= (np.abs(log_light - np.median(log_light[keep], axis=0)) < _ALIKE * 2).all(1)
    at = (centre / k - (width / 2, height / 2)) / (max(width, height) / 2)
    a, b = at.T
    terms = np.stack([np.ones(len(at)), a, b, a * a, a * b, b * b], 1)
    for _ in range(4):
        if keep.sum() < _LEAST:
            return None
        fitted, *_ = np.linalg.lstsq(terms[keep], log_light[keep], rcond=None)
        away = np.abs(log_light - terms @ fitted).max(1)
        spread = float(np.median(away[keep])) / 1.1  # largest of three: about 1.1 sd in the middle
        keep &= away < min(_ALIKE, max(3.5 * spread, 0.03))
    if spread > _EVEN or keep.sum() < max(_LEAST, _MOST_OF * all_there):
        return None
    return GroundSeen(centre[keep], level[keep], spread)
