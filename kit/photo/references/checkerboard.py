"""A checkerboard as the reference: many edges, bright and dark on either side."""

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kit.errors import DataError, InputError
from kit.photo.arguments import above, positive
from kit.photo.reference import Scale
from kit.photo.references.edges import Edges, halved, linear_patch
from kit.photo.references.plane_fit import poses_of
from kit.photo.references.plane_scale import check_sharp, plane_scale, projector, refined
from kit.photo.references.squeezed import SQUEEZED_DEG, STEEPEST_DEG, fit_squeezed, off_square_on

__all__ = ["find"]

Array = NDArray[np.float64]

#: of a square in the photo, in pixels: nothing is measured with less
SMALLEST_PX = 8.0
#: and where it lies so flat that it is placed as a whole
LOWEST_PX = 4.0
WIDEST_BLUR = 0.4


def find(photo: Any, inner_corners: Sequence[int], square_mm: float, u_mm: float = 0.0) -> Scale:
    """Return the scale by a checkerboard in the plane.

    Parameters
    ----------
    photo : Photo
    inner_corners : (int, int)
        Corners inside the board along both sides: one less than squares.
    square_mm : float
        Side of one square.
    u_mm : float
        Standard uncertainty of that.

    Raises
    ------
    InputError, DataError
    """
    square, u = positive("square_mm", square_mm, 200), above("u_mm", u_mm)
    nx, ny = _counts(inner_corners)
    seen = _see(photo, nx, ny)
    if seen is None:
        msg = (
            f"No checkerboard with {nx} × {ny} inner corners is to be found. Count the corners "
            "where four squares meet; the whole board must show, with its white margin, sharp and "
            "without glare."
        )
        raise DataError(msg)
    corners = _upright(seen)
    ny, nx = corners.shape[:2]
    x, y = np.meshgrid(np.arange(nx), np.arange(ny))
    mm = np.stack([x, y], -1).reshape(-1, 2).astype(np.float64) * square
    px = corners.reshape(-1, 2)
    wide = min(_least(corners, 0), _least(corners, 1))
    camera = photo.camera.any_lens
    starts = poses_of(camera, mm, px)
    flat = min(off_square_on(pose, mm) for pose in starts) > SQUEEZED_DEG
    if wide < (LOWEST_PX if flat else SMALLEST_PX):
        msg = (
            f"A square of the checkerboard is only {wide:.0f} pixels, and {SMALLEST_PX:.0f} "
            "are needed. Retake from nearer, or print larger squares."
        )
        raise DataError(msg)
    patch = linear_patch(photo, px, 2 * wide + 12, wide)
    dark = _parity(patch, projector(camera, starts[0]), nx, ny, square)
    board = np.array([[-1, -1], [nx, -1], [nx, ny], [-1, ny]]) * square
    if flat:
        ends = corners[[0, 0, -1, -1], [0, -1, -1, 0]]
        fit, marks = fit_squeezed(photo, "checkerboard", ~dark, square, ends)
        return plane_scale(
            "checkerboard", photo, fit, marks, board, u_size=u / square, steepest_deg=STEEPEST_DEG
        )
    edges = Edges.of_cells(dark, square, np.array([-square, -square]))
    fit, marks, _, width = refined(camera, starts, patch, edges, camera)
    check_sharp("checkerboard", width, WIDEST_BLUR * wide, ", too much for its squares")
    return plane_scale(
        "checkerboard", photo, fit, marks, board, u_size=u / square, expected=len(edges.start)
    )


def _counts(given: Any) -> tuple[int, int]:
    rule = "must be two whole numbers from 3 to 60, such as (7, 5)"
    try:
        first, second = given
    except (TypeError, ValueError) as exc:
        raise InputError("inner_corners", given, rule) from exc
    whole = all(isinstance(n, int | np.integer) and 3 <= n <= 60 for n in (first, second))
    if not whole:
        raise InputError("inner_corners", given, rule, "Count where four squares meet.")
    return int(first), int(second)


def _see(photo: Any, nx: int, ny: int) -> Array | None:
    """Corners (ny, nx, 2) in pixels of the photo, looked for in a reduced picture first."""
    import cv2

    flags = cv2.CALIB_CB_NORMALIZE_IMAGE
    pixels, whole = photo.reduced(halved(photo))
    fine = cv2.cvtColor(np.ascontiguousarray(pixels), cv2.COLOR_RGB2GRAY)
    # seen flat, its squares are low: half as wide they are squares again
    for across, down, more in ((2, 2, 0), (1, 1, 0), (2, 1, 0), (1, 1, cv2.CALIB_CB_EXHAUSTIVE)):
        high, wide = fine.shape[0] // down, fine.shape[1] // across
        part = fine[: high * down, : wide * across]
        grey = cv2.resize(part, (wide, high), interpolation=cv2.INTER_AREA)
        k = whole * np.array([across, down])
        there, corners = cv2.findChessboardCornersSB(grey, (nx, ny), flags=flags | more)
        if there:
            found = np.asarray(corners, float).reshape(ny, nx, 2)
            return np.asarray((found + 0.5) * k - 0.5)
    return None


def _upright(corners: Array) -> Array:
    """Turn the grid so that its columns run right and its rows down, never mirrored."""
    along = corners[:, -1].mean(0) - corners[:, 0].mean(0)
    down = corners[-1].mean(0) - corners[0].mean(0)
    if along[0] * down[1] - along[1] * down[0] < 0:
        corners = corners[:, ::-1]
    turns = [np.rot90(corners, k) for k in range(4)]

    def rightward(grid: Array) -> float:
        step = grid[:, -1].mean(0) - grid[:, 0].mean(0)
        return float(step[0] / np.linalg.norm(step))

    return np.ascontiguousarray(max(turns, key=rightward))


def _least(corners: Array, axis: int) -> float:
    return float(np.linalg.norm(np.diff(corners, axis=axis), axis=-1).min())


def _parity(patch: Any, project: Any, nx: int, ny: int, square: float) -> NDArray[np.bool_]:
    """Which squares are dark, the outer ring of squares included."""
    x, y = np.meshgrid(np.arange(nx - 1), np.arange(ny - 1))
    middle = (np.stack([x, y], -1).reshape(-1, 2) + 0.5) * square
    light = patch.sample(project(middle))
    odd = (x + y).ravel() % 2 == 1
    odd_is_dark = light[odd].mean() < light[~odd].mean()
    x, y = np.meshgrid(np.arange(nx + 1), np.arange(ny + 1))
    # the ring's squares are bounded from outside by margin of either kind: only the edges
    # between squares are used, and of those nothing beyond the ring
    return np.asarray(((x + y) % 2 == 1) == odd_is_dark)
