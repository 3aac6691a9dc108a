"""Two marked points a known distance apart: the least that gives a scale.

They do not tell how the camera was tilted, which moves lengths beside them far more than marking
does: at 25° those a fifth of the distance away by a tenth. So the tilt is a belief, said by whoever
held the camera, and carried as uncertainty.
"""

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kit.errors import DataError, InputError
from kit.given import as_number
from kit.photo.arguments import above, floats, positive
from kit.photo.camera import EITHER, Camera, Pose, Variant
from kit.photo.reference import Scale
from kit.photo.references.plane_fit import K1_U, turned
from kit.photo.references.plane_scale import grid_u

__all__ = ["find", "marked"]

Array = NDArray[np.float64]

#: standard uncertainty of a point set by hand with a loupe, of the picture's longer side
#: (a pixel of a picture shown 1000 wide; judged, no source)
MARK_SHARE = 0.0006
#: how far off square-on a camera is held where nothing is said: anything up to this, evenly, to
#: any side (judged: steeper, the photo shows it at a glance; no source)
MOST_TILT_DEG = 40.0
SMALLEST_PX = 60.0


def find(
    photo: Any,
    points: Sequence[Sequence[float]],
    mm: float,
    tilt_deg: float = MOST_TILT_DEG,
    u_px: float | None = None,
    u_mm: float = 0.0,
) -> Scale:
    """Return the scale by two points, the camera taken as square-on to the measured plane.

    Best near the middle between the points, and with the camera held square on: then say so by
    `tilt_deg`.

    Parameters
    ----------
    photo : Photo
    points : ((x, y), (x, y))
        In pixels of the photo.
    mm : float
        Between them.
    tilt_deg : float
        How far off square-on the camera may have been: up to this, any angle as likely. About 10
        where it was laid square on with care; 40 when not said.
    u_px : float, optional
        Standard uncertainty of each point in each direction; 1 pixel of a picture of 1700.
    u_mm : float
        Standard uncertainty of `mm`.

    Raises
    ------
    InputError, DataError
    """
    ends, length = marked(photo, points), positive("mm", mm, 2000)
    sure = (
        MARK_SHARE * max(photo.width, photo.height)
        if u_px is None
        else above("u_px", u_px, "pixels")
    )
    size = above("u_mm", u_mm) / length
    most = _tilt(tilt_deg)
    note = (
        f"two points do not tell the tilt: the photo is taken as square-on within {most:g}°. Lay "
        "the camera square on and say so, or use a card: lengths are surer then"
    )
    px = float(np.linalg.norm(ends[1] - ends[0]))
    marking = math.sqrt(2) * sure / px
    made = _square_on(photo, ends, length, marking, most)
    # depth changes by so much of itself that far from them; lengths along there by twice that
    lean = math.tan(math.radians(most / math.sqrt(6))) * length / float(made.pose.shift[2])
    where = (
        "mark the points on the piece or right beside it, in the plane that is measured: as far "
        f"from them as they lie apart the tilt alone makes lengths unsure by {150 * lean:.2g} %"
    )
    said = [note, where] if most else [note]
    if photo.focal_35mm is None:
        said.append(
            "the file does not give the focal length, which two points do not tell: what stands "
            "before or behind them is as unsure of its size as ± says. The original photo, or "
            "focal_35mm= when it is read, makes it surer"
        )
    made = replace(made, u_size=size, notes=tuple(said))
    return replace(made, u=grid_u(made, photo))


def _tilt(given: Any) -> float:
    number = as_number(given)
    if number is None or not 0 <= number <= 60:
        rule = "must lie between 0 and 60 degrees"
        raise InputError("tilt_deg", given, rule, "How far off square-on the camera was at most.")
    return number


def marked(photo: Any, points: Any) -> Array:
    """Return two points (2, 2) inside the photo, far enough apart.

    Raises
    ------
    InputError, DataError
    """
    ends = floats(points)
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


def _square_on(photo: Any, ends: Array, length: float, marking: float, most_deg: float) -> Scale:
    """The scale of a plane seen square-on: origin at the first point, x as the picture's.

    `marking` is the relative standard uncertainty of the points' distance in pixels, `most_deg`
    how far the plane may be tipped to any side.
    """
    camera: Camera = photo.camera.any_lens
    px = float(np.linalg.norm(ends[1] - ends[0]))
    rays = camera.rays(ends)
    away = length / float(np.linalg.norm(rays[1] - rays[0]))
    pose = Pose(np.eye(3), rays[0] * away)
    variants = [Variant("marking", camera, Pose(pose.rotation, pose.shift * (1 + marking)))]
    along = (rays[1] - rays[0])[:2] / np.linalg.norm((rays[1] - rays[0])[:2])
    # four ways round, at the root of the mean squared tilt: the spread of an even belief in any
    # tilt to any side, and what is not in proportion to the tilt is in it too
    tip = math.radians(most_deg) / math.sqrt(3)
    for x, y in (along, -along, (-along[1], along[0]), (along[1], -along[0])):
        tipped = _tipped(camera, pose, np.array([x, y, 0.0]) * tip, ends, length)
        variants.append(Variant("tilt", camera, tipped, 0.25))
    lenses = [(replace(camera, k1=camera.k1 + K1_U), 1.0)]
    lenses += [(lens, EITHER) for lens in camera.either_lens]
    for lens, weight in lenses:
        bent = lens.rays(ends)
        far = length / float(np.linalg.norm(bent[1] - bent[0]))
        variants.append(Variant("lens", lens, Pose(np.eye(3), bent[0] * far), weight))
    return Scale(
        "points", camera, pose, length / px, marking, tilt_known=False,
        u_tilt_deg=most_deg / math.sqrt(6), outline=ends, variants=tuple(variants),
    )  # fmt: skip


def _tipped(camera: Camera, pose: Pose, turn: Array, ends: Array, length: float) -> Pose:
    """The plane tipped about the middle of the two points, set so that they stay `length` apart."""
    rotation = turned(turn) @ pose.rotation
    normal = rotation[:, 2]
    rays = camera.rays(ends)
    centre = rays.mean(0) * pose.shift[2]
    hit = rays * ((centre @ normal) / (rays @ normal))[:, None]
    by = length / float(np.linalg.norm(hit[1] - hit[0]))
    return Pose(rotation, hit[0] * by)
