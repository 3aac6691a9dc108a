"""Whether the light on a cut face comes from one side.

Light from all round darkens a cell alike on every side. A lamp at one side leaves the rim next to
it in shadow and lights the slope opposite, up to the wall's own light or beyond: seen along the
lamp's direction the light falls steeply at every rim and rises gently within every cell. So the
steep slopes of the picture all lean one way, whatever the cells look like.
"""

from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["ADVICE", "TOLD", "side_light", "smaller", "sums_of_tiles"]

Picture = NDArray[Any]

#: A pixel of the picture that slopes are told from, and how far off the crust.
FINE_MM, _OFF_EDGE_MM = 0.14, 0.5
#: Tiles that stand for so many independent looks at the light.
TILE_MM = 5.0
#: Seen where it is so many times its standard uncertainty. On drawn faces of three programs that
#: share no code, lit evenly, it was above 2.4 times nowhere; under a lamp mostly above 5 times.
SEEN = 3.5
#: What leans less does not matter; from the second on it is said what to do.
LEAST, TOLD = 0.05, 0.1
ADVICE = (
    "the light comes from one side: slopes that face it look like wall, and walls beside them are "
    "not seen, so that the crumb may seem less open by some 5 to 10 points than it is, and its "
    "cells fewer. Photograph it in light from all round: flash and lamp off, near a large window, "
    "with something white standing on the dark side. Or scan it"
)


def side_light(dark: Picture, crumb: Picture, px_per_mm: float) -> float:
    """Return how far slopes lean one way: 0 in even light, 0.1 to 0.5 under a lamp at one side.

    The length of the mean of g·|g|² over the picture's gradients g, over the mean of |g|² to the
    power 3/2: an odd moment, which any light that is alike from opposite sides leaves at 0. Its
    uncertainty is told by tiles of the crumb; 0 where it is small or not clear of that.

    Parameters
    ----------
    dark : (height, width) float32
        From `darkness.darkness`.
    crumb : (height, width) bool
    px_per_mm : float

    Examples
    --------
    >>> y, x = np.mgrid[:420, :420] / 14.0 % 3 - 1.5
    >>> pit = np.maximum(0.8 - np.hypot(x, y), 0).astype(np.float32)
    >>> full = np.ones(pit.shape, bool)
    >>> side_light(pit, full, 14.0)
    0.0
    >>> slope = np.where(pit > 0, 0.4 - 0.5 * x, 0).astype(np.float32)
    >>> side_light(slope, full, 14.0) > 0.2
    True
    """
    light, inner, k = smaller(dark, crumb, px_per_mm)
    inner = inner[1:-1, 1:-1]
    across = (light[1:-1, :-2] - light[1:-1, 2:]) * inner
    down = (light[:-2, 1:-1] - light[2:, 1:-1]) * inner
    square = across * across + down * down
    n = max(2, round(TILE_MM * px_per_mm / k))
    sums = [sums_of_tiles(v, n) for v in (square, square * across, square * down, inner)]
    own, many = sums[0], float(sums[3].sum())
    total = float(own.sum())
    if not total:
        return 0.0
    leans = np.array(sums[1:3]) / (many * (total / many) ** 1.5)
    lean = leans.sum((1, 2))
    apart = leans - lean[:, None, None] * own / total
    tiles = int(np.count_nonzero(own))
    u = float(np.sqrt(np.square(apart).sum() * tiles / max(1, tiles - 1) / 2))
    strength = float(np.hypot(*lean))
    return strength if strength > max(LEAST, SEEN * u) else 0.0


def smaller(dark: Picture, crumb: Picture, px_per_mm: float) -> tuple[Picture, Picture, int]:
    """Return darkness, and the crumb clear of its edge, on pixels so many times larger."""
    import cv2

    k = max(1, round(FINE_MM * px_per_mm))
    height, width = (n // k for n in dark.shape)
    part = np.s_[: height * k, : width * k]
    light = cv2.GaussianBlur(
        cv2.resize(dark[part], (width, height), interpolation=cv2.INTER_AREA), (0, 0), 0.7
    )
    wide = 2 * round(_OFF_EDGE_MM * px_per_mm / k) + 1
    inner = cv2.erode(
        crumb[part].view(np.uint8)[::k, ::k].copy(), np.ones((wide, wide), np.uint8), borderValue=0
    )
    return light, inner, k


def sums_of_tiles(values: Picture, n: int) -> NDArray[np.float64]:
    """Return the sums over square tiles of n pixels."""
    rows = np.add.reduceat(values, np.arange(0, values.shape[0], n), axis=0, dtype=np.float64)
    return np.asarray(np.add.reduceat(rows, np.arange(0, values.shape[1], n), axis=1))
