"""A marker or board seen so flat that its cells are a few pixels high: the whole pattern at once.

Lying on the worktop beside a piece it is seen 65 to 85 degrees off square-on. Single edges
then run into one another; the pattern as a whole is still placed to a part of a pixel, by the
plane-to-picture map under which it is most like the photo (Evangelidis and Psarakis 2008,
enhanced correlation coefficient; OpenCV's).
"""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from kit.errors import DataError
from kit.photo.camera import Camera, Pose
from kit.photo.pixels.colour import luminance
from kit.photo.references.edges import linear_patch
from kit.photo.references.plane_fit import Marks, PlaneFit, fit_plane, poses_of

__all__ = ["SQUEEZED_DEG", "STEEPEST_DEG", "fit_squeezed", "off_square_on"]

Array = NDArray[np.float64]

#: beyond this angle off square-on a pattern is placed as a whole
SQUEEZED_DEG = 62.0
#: and not at all beyond this
STEEPEST_DEG = 84.0
#: how well its four sides are placed so, pixels (on drawn markers, at 65 to 83 degrees)
PLACED_PX = 0.1
#: less alike than this it is not the pattern, or not seen
LEAST_ALIKE = 0.9
#: pixels of the pattern a cell, and how far it is smoothed, of a cell
_CELL_PX, _SOFT = 24, 0.12


def fit_squeezed(
    photo: Any, kind: str, bright: NDArray[np.bool_], cell_mm: float, corners: Array
) -> tuple[PlaneFit, Marks]:
    """Fit a pattern's pose to all of it; what the fit rests on beside it.

    Parameters
    ----------
    photo : Photo
    kind : str
        What it is called.
    bright : (rows + 2, columns + 2) bool array
        Its cells, and one more all round as it lies beside them.
    cell_mm : float
    corners : (4, 2) array
        Rough places of the corners of its own cells, pixels of the photo, in order from the first.

    Raises
    ------
    DataError
        Too few pixels are left of it.
    """
    found = _aligned(photo, bright, corners)
    if found is None:
        msg = (
            f"The {kind} is seen too flat: too few pixels are left of it. Retake from nearer or a "
            "little higher, or stand it upright beside the piece."
        )
        raise DataError(msg)
    cells = np.array(bright.shape[::-1]) - 2.0
    square = np.array([[0, 0], [1, 0], [1, 1], [0, 1.0]]) * cells * cell_mm
    share = np.array([0.1, 0.5, 0.9])[:, None]
    mm, px, normal = [], [], []
    for i in range(4):
        a, b = found[i], found[(i + 1) % 4]
        mm.append(square[i] + share * (square[(i + 1) % 4] - square[i]))
        px.append(_between(square, found, mm[-1]))
        out = np.array([b[1] - a[1], a[0] - b[0]]) / np.linalg.norm(b - a)
        away = np.sign(float(out @ ((a + b) / 2 - found.mean(0))))
        normal.append(np.repeat(out[None] * away, len(share), 0))
    # bright and dark lie on both sides within the pattern: how far one spreads shifts none
    marks = Marks(np.concatenate(mm), np.concatenate(px), np.concatenate(normal), np.zeros(12))
    camera: Camera = photo.camera.any_lens
    fits = [
        fit_plane(camera, pose, marks, sigma_px=PLACED_PX, prior=camera)
        for pose in poses_of(camera, square, found)
    ]
    return min(fits, key=lambda fit: fit.chi2), marks


def off_square_on(pose: Pose, corners_mm: Array) -> float:
    """Return how far off square-on the middle of a pattern is seen, in degrees."""
    middle = pose.to_camera(np.array([[*corners_mm.mean(0), 0.0]]))[0]
    return Pose(pose.rotation, middle).tilt_deg


def _between(square: Array, corners: Array, mm: Array) -> Array:
    import cv2

    place = cv2.getPerspectiveTransform(square.astype(np.float32), corners.astype(np.float32))
    return np.asarray(cv2.perspectiveTransform(mm[None].astype(np.float64), place)[0], float)


def _aligned(photo: Any, bright: NDArray[np.bool_], corners: Array) -> Array | None:
    """The corners under the map that makes pattern and photo most alike."""
    import cv2

    rows, columns = bright.shape
    wide = float(np.linalg.norm(corners - np.roll(corners, 1, axis=0), axis=1).max())
    patch = linear_patch(photo, corners, 0.4 * wide + 12, wide / (max(rows, columns) - 2))
    light = luminance(patch.pixels)
    # half a cell of what lies beside it shows where the pattern ends
    print_ = np.kron(bright, np.ones((_CELL_PX, _CELL_PX))).astype(np.float32)
    soft = np.asarray(cv2.GaussianBlur(print_, (0, 0), _SOFT * _CELL_PX), np.float32)
    cut = _CELL_PX // 2
    soft = np.ascontiguousarray(soft[cut:-cut, cut:-cut])
    low = cut - 0.5
    right, lower = low + (columns - 2) * _CELL_PX, low + (rows - 2) * _CELL_PX
    own = np.array([[low, low], [right, low], [right, lower], [low, lower]], np.float32)
    start = cv2.getPerspectiveTransform(own, patch.own(corners).astype(np.float32))
    try:
        alike, found = cv2.findTransformECC(
            soft, light.astype(np.float32), start.astype(np.float32), cv2.MOTION_HOMOGRAPHY,
            (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 80, 1e-6),
            np.full(light.shape, 255, np.uint8), 5,
        )  # fmt: skip
    except cv2.error:  # it does not come to rest
        return None
    if not alike > LEAST_ALIKE:
        return None
    at = cv2.perspectiveTransform(own[None].astype(np.float64), found.astype(np.float64))[0]
    return np.asarray((at + patch.corner + 0.5) * patch.k - 0.5, float)
