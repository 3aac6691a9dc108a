"""A round thing of known diameter, a coin or a lid, as the reference.

Its outline in the photo is an ellipse whose shape gives the tilt but not its sign: a disc tipped
toward the camera looks the same as one tipped away (exactly so: a cone over an ellipse has two
families of circular sections). Whether it lies flat or stands upright tells; where that is not
said the likelier is taken, and that it may be the other is in the uncertainty.
"""

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kit.errors import DataError, InputError
from kit.photo.arguments import above, positive
from kit.photo.camera import Camera, Pose
from kit.photo.reference import Scale
from kit.photo.references.edges import linear_patch
from kit.photo.references.ellipses import Ellipse, follow, see_ellipses
from kit.photo.references.plane_fit import Marks, PlaneFit, fit_plane, on_plane, turned
from kit.photo.references.plane_scale import chosen, plane_scale

__all__ = ["find"]

Array = NDArray[np.float64]

#: of the long axis, in pixels
SMALLEST_PX = 60.0
#: how often the usual way of tipping is not the true one, at least (judged, no source; with less
#: than 0.26 an interval of 95 % would leave the other way out)
GUESS_WRONG = 0.27
#: how far a rounded, shining or shaded rim may shift the edge all round, in pixels (judged on
#: drawn coins, no source)
RIM_PX = 0.3
#: one lying flat shows its side and lies in its own shadow, both of which look like more of it: a
#: coin is a twelfth as thick as wide (common practice, no source); on drawn coins of that kind
#: lengths came out 1 to 5 % too small (share of the diameter, one standard deviation)
SIDE_AND_SHADOW = 0.02
#: where it is so bright that the picture shows white, blur carries its edge outward by about its
#: own width: half of what white is cut off to lies that far out (judged), pixels looked at
WHITE, WHITE_PX = 0.97, 1.0
#: tipped less than this and either way likely, the disc is taken as square-on
SQUARE_ON_DEG = 7.0
#: how far off square-on photos are, one standard deviation (judged, no source)
USUAL_TILT_DEG = 12.0
#: said to lie flat it may still seem tipped the other way by this; and to a side, as the phone is
#: turned in the hand or the disc about its foot (own choice)
U_SIGN_DEG, U_SIDE_DEG = 3.0, 6.0
#: said to stand upright: how far the camera looks down, and one standard deviation (own choice)
USUAL_LOOK_DEG = 10.0, 10.0
#: places along a rim err alike (light from a side, a bevel): as little is told as if each erred so
#: many times more (on drawn coins, for intervals that hold)
ALIKE = 3.0


def find(
    photo: Any,
    diameter_mm: float,
    box: Sequence[float] | None = None,
    at: Sequence[float] | None = None,
    lies: str | None = None,
    u_mm: float = 0.0,
) -> Scale:
    """Return the scale by a disc in the plane.

    Parameters
    ----------
    photo : Photo
    diameter_mm : float
    box : (x0, y0, x1, y1), optional
        Around the disc, in pixels: looked for in it only.
    at : (x, y), optional
        Its middle, roughly, where there are several round things.
    lies : "flat" or "upright", optional
        On the table, or standing beside the piece: which side of it is farther away.
    u_mm : float
        Standard uncertainty of the diameter.

    Raises
    ------
    InputError, DataError
    """
    across, u = positive("diameter_mm", diameter_mm, 1000), above("u_mm", u_mm)
    if not (lies is None or (isinstance(lies, str) and lies in ("flat", "upright"))):
        raise InputError("lies", lies, "must be 'flat' or 'upright'")
    seen = see_ellipses(photo, box, at)
    if not seen:
        where = "there" if box is not None or at is not None else "in the picture"
        msg = (
            f"No round thing with a clear edge is to be found {where}. Lay the disc on a ground of "
            "one other colour, whole and in even light (stand it up where the photo is taken from "
            "the side: lying, it looks too flat), and retake; or mark two points instead."
        )
        raise DataError(msg)
    rough = seen[chosen("round thing", np.array([e.centre for e in seen]), at, None)]
    if rough.long_px * 2 < SMALLEST_PX:
        msg = (
            f"The disc is only {2 * rough.long_px:.0f} pixels across, and {SMALLEST_PX:.0f} are "
            "needed. Retake from nearer, or use a larger disc."
        )
        raise DataError(msg)
    if (edge := follow(photo, rough)) is None:
        msg = (
            "The edge of the round thing cannot be followed: blurred, covered, or lost in the "
            "pattern of its ground. Lay it on a ground of one other colour, and retake."
        )
        raise DataError(msg)
    ellipse, points, normals = edge
    _check_whole(photo, ellipse)
    camera = photo.camera
    fits = [
        _fitted(camera, start, points, normals, across / 2)
        for start in _starts(camera, ellipse, across / 2)
    ]
    if _same_way(fits[0][0], fits[1][0]):  # nearly round: both slid to one side
        fits[1] = (_mirrored(fits[0][0]), fits[0][1])
    fits.sort(key=lambda f: _unlikely(f[0].pose, lies))
    (fit, marks), other = fits[0], fits[1][0]
    tilt = fit.pose.tilt_deg
    worse = _unlikely(other.pose, lies) - _unlikely(fit.pose, lies)
    wrong = 1 / (1 + math.exp(min(worse, 50.0)))
    if lies is None:
        wrong = max(wrong, GUESS_WRONG)
    notes = []
    flat = SIDE_AND_SHADOW if lies != "upright" else 0.0
    if lies == "flat":
        notes.append(
            "a thick round thing lying flat shows its side and its shadow as well, and lengths "
            f"come out too small by up to {200 * flat:.0f} %. A marker or the card has no side"
        )
    white = _white(photo, ellipse)
    if white > 0.2:
        notes.append(
            "the round thing is so bright that the picture shows white: its edge looks farther "
            "out than it is. Retake in softer light, or turn it until it does not shine"
        )
    if wrong > 0.02:
        remedy = "Say whether it lies flat or stands upright (lies=), or use" if not lies else "Use"
        notes.append(
            f"a disc seen {tilt:.0f}° off square-on does not tell which side of it is farther: "
            f"what is usual was taken, and it may be wrong. {remedy} a marker"
        )
    others = [(other, wrong)]
    if tilt < SQUARE_ON_DEG and wrong > 0.42:
        others = [(fit, 0.5), (other, 0.5)]
        fit = _halfway(fit, other)
    way = np.linspace(0, 2 * np.pi, 72, endpoint=False)
    outline = across / 2 * np.column_stack([np.cos(way), np.sin(way)])
    return plane_scale(
        "disc", photo, fit, marks, outline, notes=notes, others=others,
        u_size=math.hypot(u / across, math.hypot(RIM_PX, white * WHITE_PX) / ellipse.long_px, flat),
    )  # fmt: skip


def _check_whole(photo: Any, e: Ellipse) -> None:
    reach = np.abs(e.outline(64) - e.centre).max(0)
    low, high = np.array(e.centre) - reach, np.array(e.centre) + reach
    if (low < 1).any() or (high > [photo.width - 2, photo.height - 2]).any():
        msg = (
            "The disc is cut off by the edge of the picture. Retake with all of it in the picture."
        )
        raise DataError(msg)


def _white(photo: Any, e: Ellipse) -> float:
    """The share of the rim just inside which the picture is white."""
    patch = linear_patch(photo, e.outline(64), 4, e.long_px / 10)
    inside = e.outline(128)[:, None] - np.array([2.0, 3.0, 4.0])[:, None] * (
        patch.k * e.normals(128)[:, None]
    )
    return float((patch.sample(inside).max(1) > WHITE).mean())


def _starts(camera: Camera, e: Ellipse, radius: float) -> list[Pose]:
    """The two poses a weak perspective gives: tipped about the long axis, either way."""
    ray = camera.rays(np.array([e.centre]))[0]
    away = camera.focal_px * radius / e.long_px
    angle = math.acos(min(1.0, e.short_px / e.long_px))
    axis = np.array([math.cos(e.turn), math.sin(e.turn), 0.0])
    # off the middle of the picture one looks aslant: the ellipse tips about the line of sight
    sight = ray / np.linalg.norm(ray)
    swing = np.cross([0.0, 0.0, 1.0], sight)
    to_sight = turned(swing / max(np.linalg.norm(swing), 1e-12) * math.acos(float(sight[2])))
    return [Pose(to_sight @ turned(axis * sign * max(angle, 0.02)), ray * away) for sign in (1, -1)]


def _fitted(
    camera: Camera, pose: Pose, points: Array, normals: Array, radius: float
) -> tuple[PlaneFit, Marks]:
    """Fit the circle to its edge: each point of it tells only where it lies across the edge."""
    lens = camera
    for _ in range(4):
        flat = on_plane(lens, pose, points)
        flat *= radius / np.linalg.norm(flat, axis=1, keepdims=True)
        marks = Marks(flat, points, normals, np.zeros(len(flat)))
        fit = fit_plane(lens, pose, marks, prior=camera)
        lens, pose = fit.camera, fit.pose
    unsure = fit_plane(lens, pose, marks, prior=camera, sigma_px=ALIKE * fit.sigma_px)
    return replace(fit, covariance=unsure.covariance), marks


def _unlikely(pose: Pose, lies: str | None) -> float:
    """How unusual a pose is: minus the logarithm of a rough prior, to choose between two.

    Photographers try to be square-on, to the plane rather than to the disc at its side; a plane
    that is tipped mostly lies on the table, its far side toward the top of the picture.
    """
    normal = pose.rotation[:, 2] * np.sign(pose.rotation[2, 2])
    tipped = math.degrees(math.acos(min(1.0, float(normal[2]))))
    cost = 0.5 * (tipped / USUAL_TILT_DEG) ** 2
    far_side_up = float(normal[1])  # a plane's depth grows against its normal's lean
    if lies is None:
        return cost - 0.8 * float(np.clip(far_side_up / 0.17, -1, 1)) / 2
    aside = math.degrees(math.asin(float(normal[0]))) / U_SIDE_DEG
    if lies == "upright":
        looks_down = -math.degrees(math.asin(far_side_up))
        return 0.5 * (((looks_down - USUAL_LOOK_DEG[0]) / USUAL_LOOK_DEG[1]) ** 2 + aside**2)
    back = math.degrees(math.asin(max(0.0, -far_side_up))) / U_SIGN_DEG
    return 0.3 * cost + 0.5 * (back**2 + aside**2)


def _same_way(one: PlaneFit, two: PlaneFit) -> bool:
    """Whether two fits are tipped alike."""
    apart = np.cross(one.pose.rotation[:, 2], two.pose.rotation[:, 2])
    return bool(np.linalg.norm(apart) < math.radians(1.0))


def _mirrored(fit: PlaneFit) -> PlaneFit:
    """Tipped the other way about the line of sight: looks the same but for the perspective."""
    sight = fit.pose.shift / np.linalg.norm(fit.pose.shift)
    normal = fit.pose.rotation[:, 2]
    normal = normal * np.sign(normal @ sight)
    across = np.cross(normal, sight)
    size = float(np.linalg.norm(across))
    if size < 1e-9:
        return fit
    back = turned(across / size * 2 * math.asin(min(1.0, size)))
    return replace(fit, pose=Pose(back @ fit.pose.rotation, fit.pose.shift))


def _halfway(fit: PlaneFit, other: PlaneFit) -> PlaneFit:
    """Between the two poses: square-on to the line of sight."""
    import cv2

    turn = np.asarray(cv2.Rodrigues(fit.pose.rotation.T @ other.pose.rotation)[0]).ravel()
    # the circle may be turned in itself: only the tipping counts
    turn = np.array([turn[0], turn[1], 0.0])
    shift = (fit.pose.shift + other.pose.shift) / 2
    return replace(fit, pose=Pose(fit.pose.rotation @ turned(turn / 2), shift))
