"""Colour as numbers: sRGB and light, L*a*b*, and how different two colours look.

Sources: IEC 61966-2-1:1999 for the sRGB curve (4 constants, from memory; the tests check them
against each other and against published pairs); CIE 1976 L*a*b* under D65 and CIEDE2000 by
scikit-image.
"""

from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["delta_e00", "light_of", "light_of_bytes", "luminance", "srgb_of", "to_lab"]

Array = NDArray[np.float64]

_CUT_SRGB, _CUT_LIGHT, _SLOPE, _A, _GAMMA = 0.04045, 0.0031308, 12.92, 0.055, 2.4


def light_of(srgb: ArrayLike) -> Array:
    """Return light, 0 to 1, from sRGB values, 0 to 1.

    Values outside are carried on: below in a straight line, above by the same power.

    Examples
    --------
    >>> light_of([0.0, 0.5, 1.0]).round(4).tolist()
    [0.0, 0.214, 1.0]
    """
    v = np.asarray(srgb, float)
    high = ((np.maximum(v, 0) + _A) / (1 + _A)) ** _GAMMA
    return np.where(v <= _CUT_SRGB, v / _SLOPE, high)


@cache
def light_of_bytes() -> NDArray[np.float32]:
    """Return the light, 0 to 1, of each of the 256 values a byte of a picture has."""
    table = light_of(np.arange(256) / 255).astype(np.float32)
    table.flags.writeable = False
    return table


def luminance(picture: NDArray[np.uint8]) -> NDArray[np.float64]:
    """Return how bright the pixels (…, 3) of a picture are, linear, 0 to 1 (ITU-R BT.709)."""
    return np.asarray(light_of_bytes()[picture] @ np.array([0.2126, 0.7152, 0.0722]), float)


def srgb_of(light: ArrayLike) -> Array:
    """Return sRGB values, 0 to 1, from light, 0 to 1.

    Examples
    --------
    >>> srgb_of([0.0, 0.214041, 1.0]).round(4).tolist()
    [0.0, 0.5, 1.0]
    """
    v = np.asarray(light, float)
    high = (1 + _A) * np.maximum(v, _CUT_LIGHT) ** (1 / _GAMMA) - _A
    return np.where(v <= _CUT_LIGHT, v * _SLOPE, high)


def to_lab(light: ArrayLike) -> Array:
    """Return L*, a*, b* (…, 3) of reflected light (…, 3), red, green and blue of sRGB, 0 to 1.

    White, which reflects all, has L* = 100.

    Examples
    --------
    >>> float(to_lab([0.184187, 0.184187, 0.184187])[0].round(2))
    50.0
    """
    from skimage.color import rgb2lab

    lab: Array = rgb2lab(srgb_of(light))
    return lab


def delta_e00(one: ArrayLike, other: ArrayLike) -> Array:
    """Return the CIEDE2000 difference of colours (…, 3), L*, a*, b*; about 1 can just be seen.

    Source: Sharma, Wu and Dalal, Color Research and Application 30 (2005) 21; all 34 of their
    pairs are in the tests.

    Examples
    --------
    >>> float(delta_e00([50, 2.5, 0], [73, 25, -18]).round(4))
    27.1492
    """
    from skimage.color import deltaE_ciede2000

    apart = deltaE_ciede2000(  # type: ignore[no-untyped-call]
        np.asarray(one, float), np.asarray(other, float)
    )
    return np.asarray(apart)
