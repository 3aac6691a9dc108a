"""Two marked points a known distance apart: the least that gives a scale."""

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kit.errors import DataError, InputError
from kit.photo.camera import Camera, Pose
from kit.photo.plane_fit import turned
from kit.photo.plane_scale import above, grid_u, positive
from kit.photo.reference import Scale

__all__ = ["find", "marked", "square_on"]

Array = NDArray[np.float64]

#: standard uncertainty of a point set by hand with a loupe, of the picture's longer side
#: (a pixel of a picture shown 1000 wide; judged, no source)
MARK_SHARE = 0.0006
#: how far off square-on phones are held, standard uncertainty a direction: 16° all told
#: (judged from practice, no source)
U_TILT_DEG = 11.0
SMALLEST_PX = 60.0


def find(
    photo: Any,
    points: Sequence[Sequence[float]],
    mm: float,
    u_px: float | None = None,
    u_mm: float = 0.0,
) -> Scale:
    """Return the scale by two points, the camera taken as square-on to the measured plane.

    Parameters
    ----------
    photo : Photo
    points : ((x, y), (x, y))
        In pixels of the photo.
    mm : float
        Between them.
    u_px : float, optional
        Standard uncertainty of each point in each direction; 1 pixel of a picture of 1700.
    u_mm : float
        Standard uncertainty of `mm`.

    Raises
    ------
    InputError, DataError
    """
    ends, length = marked(photo, points), positive("mm", mm, 2000)
    sure = MARK_SHARE * max(photo.width, photo.height) if u_px is None else above("u_px", u_px)
    size = above("u_mm", u_mm) / length
    note = (
        "two points do not tell the tilt: the photo is taken as square-on. A marker or the card "
        "in the picture would tell"
    )
    px = float(np.linalg.norm(ends[1] - ends[0]))
    marking = math.sqrt(2) * sure / px
    made = square_on("points", photo, ends, length, marking)
    return _finished(replace(made, u_size=size, notes=(note, *made.notes)), photo)


def marked(photo: Any, points: Any) -> Array:
    """Return two points (2, 2) inside the photo, far enough apart.

    Raises
    ------
    InputError, DataError
    """
    try:
        ends = np.asarray(points, float)
    except (TypeError, ValueError):
        ends = np.empty(0)
    if ends.shape != (2, 2) or not np.isfinite(ends).all():
        raise InputError("points", points, "must be two points [(x, y), (x, y)], in pixels")
    if (ends < -0.5).any() or (ends > [photo.width - 0.5, photo.height - 0.5]).any():
        rule = f"must lie in the picture of {photo.width}×{photo.height} pixels"
        raise InputError("points", points, rule)
    apart = float(np.linalg.norm(ends[1] - ends[0]))
    if apart < SMALLEST_PX:
        msg = (
            f"The two points are only {apart:.0f} pixels apart, and {SMALLEST_PX:.0f} are needed. "
            "Mark points farther apart, or retake from nearer."
        )
        raise DataError(msg)
    return ends


def square_on(kind: str, photo: Any, ends: Array, length: float, marking: float) -> Scale:
    """Return the scale of a plane seen square-on: origin at the first point, x as the picture's.

    Parameters
    ----------
    kind : str
    photo : Photo
    ends : (2, 2) array
        The two points, in pixels.
    length : float
        Between them, in millimetres.
    marking : float
        Relative standard uncertainty of their distance in pixels.
    """
    camera: Camera = photo.camera
    px = float(np.linalg.norm(ends[1] - ends[0]))
    rays = camera.rays(ends)
    away = length / float(np.linalg.norm(rays[1] - rays[0]))
    pose = Pose(np.eye(3), rays[0] * away)
    middle = rays.mean(0) * away - pose.shift
    variants: list[tuple[str, Camera | None, Pose]] = [
        ("marking", camera, Pose(pose.rotation, pose.shift * (1 + marking)))
    ]
    along = (rays[1] - rays[0])[:2] / np.linalg.norm((rays[1] - rays[0])[:2])
    for axis in (along, np.array([-along[1], along[0]])):
        variants.append(("tilt", camera, _tipped(camera, pose, axis, middle, ends, length)))
    for lens in (replace(camera, k1=camera.k1 + 0.015), _longer(camera)):
        bent = lens.rays(ends)
        far = length / float(np.linalg.norm(bent[1] - bent[0]))
        variants.append(("lens", lens, Pose(np.eye(3), bent[0] * far)))
    return Scale(
        kind, camera, pose, length / px, marking, tilt_known=False, u_tilt_deg=U_TILT_DEG,
        outline=ends, variants=tuple(variants),
    )  # fmt: skip


def _longer(camera: Camera) -> Camera:
    return replace(camera, focal_px=camera.focal_px * (1 + camera.u_focal))


def _tipped(
    camera: Camera, pose: Pose, axis: Array, middle: Array, ends: Array, length: float
) -> Pose:
    """The plane tipped about the middle of the two points, set so that they stay `length` apart."""
    tip = turned(np.array([*axis, 0.0]) * math.radians(U_TILT_DEG))
    rotation = tip @ pose.rotation
    normal = rotation[:, 2]
    centre = pose.shift + middle
    rays = camera.rays(ends)
    hit = rays * ((centre @ normal) / (rays @ normal))[:, None]
    by = length / float(np.linalg.norm(hit[1] - hit[0]))
    return Pose(rotation, hit[0] * by)


def _finished(made: Scale, photo: Any) -> Scale:
    return replace(made, u=grid_u(made, photo))
