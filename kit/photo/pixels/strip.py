"""Closed paths, the strip of a picture along one, and the best path through it.

The path is found by dynamic programming over the strip (as in Amini, Weymouth and Jain 1990,
"Using dynamic programming for solving variational problems in vision", from memory).
"""

from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "POINTS", "closed_path", "edge_of", "filled", "lengths", "normals", "perimeter", "resampled",
    "squares", "strip_of",
]  # fmt: skip

Array = NDArray[np.float64]
Picture = NDArray[Any]

#: Points of an outline.
POINTS = 360


def resampled(path: Array, waves: int = 60) -> Array:
    """Return `POINTS` equally spaced points of a closed path, only its lowest waves kept."""
    closed = np.vstack([path, path[:1]])
    length = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(closed, axis=0), axis=1))])
    at = np.linspace(0, length[-1], POINTS, endpoint=False)
    z = np.interp(at, length, closed[:, 0]) + 1j * np.interp(at, length, closed[:, 1])
    f = np.fft.fft(z)
    order = np.abs(np.fft.fftfreq(POINTS, 1 / POINTS))
    z = np.fft.ifft(f * np.exp(-0.5 * (order / waves) ** 2))
    return np.column_stack([z.real, z.imag])


def normals(path: Array) -> Array:
    """Unit normals that point outwards."""
    along = np.roll(path, -1, 0) - np.roll(path, 1, 0)
    normal = np.column_stack([along[:, 1], -along[:, 0]])
    normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-9)
    turn = np.sum(path[:, 0] * np.roll(path[:, 1], -1) - np.roll(path[:, 0], -1) * path[:, 1])
    return normal if turn > 0 else -normal


def perimeter(path: Array) -> float:
    """Length of a closed path."""
    return float(np.linalg.norm(np.roll(path, -1, 0) - path, axis=1).sum())


def filled(shape: tuple[int, ...], path: Array) -> NDArray[np.bool_]:
    """Return the pixels inside a closed path, and those it runs through, (height, width)."""
    import cv2

    mask = np.zeros(shape[:2], np.uint8)
    cv2.fillPoly(mask, [np.round(path * 16).astype(np.int32)], 1, shift=4)
    return mask.view(bool)


def strip_of(picture: Picture, path: Array, normal: Array, offsets_px: Array) -> Picture:
    """Return the picture along lines across a path, (points, offsets, channels)."""
    import cv2

    x, y = ((path[:, i, None] + np.outer(normal[:, i], offsets_px)).astype(np.float32)
            for i in (0, 1))  # fmt: skip
    return np.asarray(cv2.remap(picture, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE))


def edge_of(around: Picture, step_mm: float) -> Picture:
    """How much the colour changes across a quarter of a millimetre.

    Across more, the edge of a crust that browns outwards would be seen too far out.
    """
    half = max(1, round(0.12 / step_mm))
    change = np.zeros_like(around)
    change[:, half:-half] = around[:, 2 * half :] - around[:, : -2 * half]
    return lengths(change)


def lengths(change: Picture) -> Picture:
    """Return the length of the vector of three at each pixel."""
    return np.asarray(np.sqrt(squares(change)))


def squares(change: Picture) -> Picture:
    """Return the squared length of the vector of three at each pixel, float32."""
    import cv2

    # along rows of three numbers NumPy takes five times as long
    return np.asarray(cv2.transform(change * change, np.ones((1, 3), np.float32)))


def closed_path(cost: Array, reach: int, bend: float, power: float = 1.0) -> NDArray[np.int64]:
    """Return the column of each row of the cheapest path round a strip that closes on itself.

    A step of s columns between rows costs (`bend`·|s|)^`power`, more than `reach` is not allowed.
    Run on by an eighth at both ends, so that the ends meet. From both ends at once to the middle:
    NumPy is called half as often.
    """
    rows, columns = cost.shape
    more = rows // 8
    longer = np.concatenate([cost[-more:], cost, cost[: more + rows % 2]]).astype(np.float32)
    half, room = len(longer) // 2, 2 * reach
    total = np.full((half, 2 * (columns + room)), np.float32(1e9), np.float32)
    both = np.full((half, 2 * columns + room), np.float32(1e9), np.float32)
    both[:, :columns], both[:, -columns:] = longer[:half], longer[: half - 1 : -1]
    best = total[:, reach:-reach]
    best[0] = both[0]
    steps = np.array([(bend * abs(k - reach)) ** power for k in range(room + 1)], np.float32)
    options = np.lib.stride_tricks.sliding_window_view(total, both.shape[1], axis=1)
    costs, tried = steps[:, None], np.empty((len(steps), both.shape[1]), np.float32)
    for before, own, here in zip(options[:-1], both[1:], best[1:], strict=True):
        np.add(before, costs, out=tried)
        np.minimum.reduce(tried, axis=0, out=here)
        np.add(here, own, out=here)
    up, down = total[:, : columns + room], total[:, -columns - room :]
    meet = np.lib.stride_tricks.sliding_window_view(down[-1], len(steps)) + steps
    at = int((up[-1, reach:-reach] + meet.min(1)).argmin())

    def back(lane: Array, at: int, end: int) -> list[int]:
        """Columns from the middle to a row."""
        found = [at]
        for before in lane[-2 : -end - 1 : -1]:
            at += int((before[at : at + len(steps)] + steps).argmin()) - reach
            found.append(at)
        return found

    start = back(up, at, half - more)
    rest = back(down, at + int(meet[at].argmin()) - reach, rows - len(start))
    return np.array(start[::-1] + rest)
