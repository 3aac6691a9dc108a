"""The pinhole camera: from millimetres before the lens to pixels, and back onto a plane.

Camera coordinates: x right, y down, z away from the photographer, in millimetres, the lens at
the origin. Pixel coordinates: after EXIF orientation, (0, 0) is the centre of the first pixel,
x right, y down. One radial lens term `k1` (Brown 1966): r → r(1 + k1 r²), r in focal lengths.

Source of the pinhole model and of plane-to-picture homographies: Hartley and Zisserman,
"Multiple View Geometry in Computer Vision", 2nd edition, 2003, chapters 2, 6 and 8 (from
memory).
"""

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

__all__ = ["Camera", "Pose", "Variant"]

Array = NDArray[np.float64]

#: diagonal of a 36 mm × 24 mm frame: EXIF's "35 mm equivalent" compares picture diagonals
#: (CIPA DC-008, FocalLengthIn35mmFilm; the diagonal is common practice)
FRAME_DIAGONAL_MM = math.hypot(36.0, 24.0)
#: what a phone's main camera has where the file does not say (common practice, no source)
USUAL_FOCAL_35MM = 26.0
USUAL_FOCAL_U = 0.12
#: relative spread of all the lenses phones have, 13 to about 80 mm, for a reference whose
#: perspective shows which one it was (common practice, no source)
ANY_FOCAL_U = 0.4
#: EXIF rounds to whole millimetres, phones crop a little, and some makers compare widths, which
#: at 4:3 gives 4 % less than diagonals (one in seven, judged): relative standard uncertainty
EXIF_FOCAL_U = 0.025
#: a picture of another shape may be cut from a 4:3 sensor without the file's focal length saying
#: so (one in two, judged; at 16:9 the lens is then 9 % longer than told, square 18 %)
SENSOR_SHAPE, UNSAID_CROP = 4 / 3, 0.5
#: what each of the two lenses of `Camera.either_lens` counts
EITHER = 1 / 6


@dataclass(frozen=True)
class Camera:
    """A pinhole camera with square pixels.

    Parameters
    ----------
    focal_px : float
        Focal length in pixels.
    cx, cy : float
        Principal point in pixels.
    u_focal : float
        Relative standard uncertainty of the focal length.
    k1 : float
        Radial lens term; 0 for none.
    """

    focal_px: float
    cx: float
    cy: float
    u_focal: float = EXIF_FOCAL_U
    k1: float = 0.0

    @classmethod
    def of(cls, width: int, height: int, focal_35mm: float | None = None) -> "Camera":
        """Return the camera of a picture from its size and 35 mm-equivalent focal length.

        Examples
        --------
        >>> round(Camera.of(4000, 3000, 26.0).focal_px)
        3005
        >>> [round(Camera.of(*size, 26.0).u_focal, 3) for size in ((4000, 3000), (4000, 2250))]
        [0.025, 0.066]
        """
        diagonal = math.hypot(width, height)
        focal, u = USUAL_FOCAL_35MM, USUAL_FOCAL_U
        if focal_35mm:
            longer = math.log(_sensor_diagonal(width, height) / diagonal)
            focal, u = focal_35mm, math.hypot(EXIF_FOCAL_U, math.sqrt(UNSAID_CROP) * longer)
        px = focal * diagonal / FRAME_DIAGONAL_MM
        return cls(px, (width - 1) / 2, (height - 1) / 2, u)

    @property
    def any_lens(self) -> "Camera":
        """The same, where its focal length was not told: any of a phone's lenses."""
        told = self.u_focal < USUAL_FOCAL_U
        return self if told else replace(self, u_focal=ANY_FOCAL_U)

    @property
    def either_lens(self) -> "tuple[Camera, Camera]":
        """A longer and a shorter lens that stand for all it may be; each counts `EITHER`.

        A lens shorter by as much changes more than one longer: these two and the middle have
        mean, spread and bend of the whole belief (the three-point rule of Gauss and Hermite).
        """
        by = math.exp(math.sqrt(3) * self.u_focal)
        longer = replace(self, focal_px=self.focal_px * by)
        return longer, replace(self, focal_px=self.focal_px / by)

    @property
    def matrix(self) -> Array:
        """The 3×3 matrix from camera millimetres to homogeneous pixels."""
        return np.array([[self.focal_px, 0, self.cx], [0, self.focal_px, self.cy], [0, 0, 1.0]])

    def project(self, points_mm: Array) -> Array:
        """Return the pixels (n, 2) of points (n, 3) in camera millimetres."""
        points = np.asarray(points_mm, float)
        flat = points[..., :2] / points[..., 2:]
        if self.k1:
            flat = flat * (1 + self.k1 * (flat**2).sum(-1, keepdims=True))
        return np.asarray(flat * self.focal_px + (self.cx, self.cy))

    def rays(self, points_px: Array) -> Array:
        """Return the directions (n, 3), z = 1, in which pixels (n, 2) look; the lens undone."""
        seen = (np.asarray(points_px, float) - (self.cx, self.cy)) / self.focal_px
        flat = seen.copy()
        if self.k1:
            for _ in range(8):  # r(1 + k1 r²) = seen, a contraction for any phone's lens
                flat = seen / (1 + self.k1 * (flat**2).sum(-1, keepdims=True))
        return np.concatenate([flat, np.ones((*flat.shape[:-1], 1))], -1)


def _sensor_diagonal(width: int, height: int) -> float:
    """Diagonal of the 4:3 sensor that a picture would be cut from, in its pixels."""
    long, short = max(width, height), min(width, height)
    return max(long * math.hypot(1, 1 / SENSOR_SHAPE), short * math.hypot(1, SENSOR_SHAPE))


@dataclass(frozen=True)
class Pose:
    """Where a reference plane lies before the camera.

    Plane coordinates: x and y in the plane in millimetres (x right and y down as it is read),
    z behind it. A point p of the plane's frame lies at ``rotation @ p + shift`` in camera
    millimetres; a point `offset` millimetres in front of (above) the plane has z = −offset.

    Parameters
    ----------
    rotation : (3, 3) array
    shift : (3,) array
        The plane's origin in camera millimetres.
    """

    rotation: Array
    shift: Array

    def to_camera(self, points_mm: Array) -> Array:
        """Return camera millimetres (n, 3) of points (n, 3) in the plane's frame."""
        return np.asarray(points_mm, float) @ self.rotation.T + self.shift

    @property
    def tilt_deg(self) -> float:
        """Angle between the plane's normal and the line of sight to its origin, in degrees."""
        sight = self.shift / np.linalg.norm(self.shift)
        return math.degrees(math.acos(min(1.0, abs(float(self.rotation[:, 2] @ sight)))))


@dataclass(frozen=True)
class Variant:
    """Camera and pose as they might be instead, and how much that counts.

    Parameters
    ----------
    why : str
        What moved: "marking", "lens" or "tilt".
    camera : Camera or None
    pose : Pose
    weight : float
        1 for a step of one standard uncertainty, taken one way; several that stand for one
        belief (tipped this way or that) share it: each counts with how likely it is.
    """

    why: str
    camera: Camera | None
    pose: Pose
    weight: float = 1.0
