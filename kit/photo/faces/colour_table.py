"""How often each colour occurs in a part of a picture, in coordinates that shade leaves alone.

Light times a factor multiplies L* + 16, a* and b* of CIE 1976 by its cube root (above L* 8), so
that a* and b* over L* + 16 say the same of a thing in sun and in shade.
"""

from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "STEP_VOLUME", "UNKNOWN", "codes", "density", "how_rough", "hues", "of_table",
    "share_of_roughness",
]  # fmt: skip

Array = NDArray[np.float64]
Picture = NDArray[Any]

#: Steps of each of the three coordinates in the table, and where it ends: bread and what it is
#: laid on lie well within, stronger colours count as the strongest.
_BINS = 24
_LOW = np.array([0, -12, -24], np.float32)
_HIGH = np.array([100, 36, 60], np.float32)
#: How much of L*, a*, b* (from `hues`) a step takes up.
STEP_VOLUME = float(np.prod((_HIGH - _LOW) / _BINS))
#: Density of a colour of which nothing is known: any of those that baked things have.
UNKNOWN = 1 / 1500
#: What is left of the light in shade, and how much of a ground lies in it.
_SHADE = ((0.85, 0.3), (0.7, 0.2), (0.55, 0.15), (0.4, 0.1), (0.28, 0.05))
_ROUGH_BINS = 32


def hues(lab: Picture) -> Picture:
    """Return L*, and a* and b* as they would be at L* 50."""
    import cv2

    by = (66 / (lab[..., 0] + 16)).astype(lab.dtype)
    # three planes of their own: along rows of three numbers NumPy takes five times as long
    return np.asarray(lab * cv2.merge([np.ones_like(by), by, by]))


def codes(hue: Picture) -> Picture:
    """Return colours (from `hues`) as numbers of the table."""
    of = _BINS / (_HIGH - _LOW)
    one, two, three = (
        np.clip((hue[..., i] - _LOW[i]) * of[i], 0, _BINS - 1).astype(np.int32) for i in range(3)
    )
    return np.asarray((one * _BINS + two) * _BINS + three)


def density(seen: Picture, shade: bool = False) -> Array:
    """Return how often each colour of the table occurs among `seen`, smoothed.

    With `shade`, darker ones of the same hue too.
    """
    table = np.bincount(seen.ravel(), minlength=_BINS**3).reshape((_BINS,) * 3).astype(float)
    table /= max(1.0, table.sum())
    first, others = _smoothing(0.8), _smoothing(0.6)
    if shade:
        first = first @ _shaded()
    table = (first @ table.reshape(_BINS, -1)).reshape(table.shape)
    return np.asarray((others @ table @ others.T).ravel())


def of_table(table: Array, seen: Picture) -> Picture:
    """Return what a table holds for each pixel, float32."""
    return np.asarray(np.take(table.astype(np.float32), seen))


@cache
def _shaded() -> Array:
    """The matrix that spreads each lightness of the table over those it has in shade."""
    lightness = (np.arange(_BINS) + 0.5) * 100 / _BINS
    spread = np.eye(_BINS)
    for left, share in _SHADE:
        there = (lightness + 16) * left ** (1 / 3) - 16
        at = np.clip(there / 100 * _BINS, 0, None).astype(int)
        spread[at, np.arange(_BINS)] += share
    return spread / (1 + sum(share for _, share in _SHADE))


@cache
def _smoothing(sd: float) -> Array:
    """The matrix that smooths along one axis of the table."""
    from scipy.ndimage import gaussian_filter1d

    return np.asarray(gaussian_filter1d(np.eye(_BINS), sd, axis=0))


def how_rough(lightness: Picture, px: float) -> Picture:
    """Return steps of how much lightness differs within about `px` pixels: holes, grain, weave."""
    import cv2

    fine = lightness - cv2.GaussianBlur(lightness, (0, 0), px)
    spread = np.sqrt(np.maximum(cv2.GaussianBlur(fine * fine, (0, 0), px), 0))
    steps = np.clip(np.log2(spread + 0.5) * 4 + 4, 0, _ROUGH_BINS - 1)
    return np.asarray(steps.astype(np.int32))


def share_of_roughness(rough: Picture, here: Picture, there: Picture) -> Picture:
    """Return log10 of how much more often each point's roughness occurs here than there, float32.

    Here and there: where pixels are, counted along the rows.
    """
    from scipy.ndimage import gaussian_filter1d

    one, other = (
        gaussian_filter1d(np.bincount(rough.ravel()[at], minlength=_ROUGH_BINS).astype(float), 1.2)
        for at in (here, there)
    )
    ratio = np.log10(one / (one.sum() + 1e-9) + 0.01) - np.log10(
        other / (other.sum() + 1e-9) + 0.01
    )
    return of_table(np.clip(ratio, -1, 1), rough)
