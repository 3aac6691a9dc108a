"""Where the solid of a side view can stand before the camera, by the reference."""

import math

import numpy as np
from numpy.typing import NDArray

from kit.errors import DataError, InputError
from kit.photo.reference import Scale
from kit.photo.sides.judge import MOST_ELEVATION_DEG, TOO_STEEP
from kit.photo.sides.solid import Stand
from kit.photo.sides.solid_search import Beliefs

__all__ = ["stand_of"]

Array = NDArray[np.float64]

#: a card leaning on something, a worktop not quite level (own guess), degrees
PLUMB_DEG = 0.3
#: a ruler that tells its tilt no better (degrees) was taken as square-on and may lie flat (own
#: choice: those that stood told it to 1, of those that lay one in three was found, 3 to 10)
UNTOLD_TILT_DEG = 3.0
#: camera height where the reference does not tell it: looking down by this much, give or take
#: (own guess for a phone held beside a worktop), degrees
USUAL_LOOK_DEG, USUAL_LOOK_U_DEG = 5.0, 4.0
#: a phone is held level to within this (own guess), degrees
HELD_ROLL_DEG = 1.5
#: no card or ruler lying on the worktop is so thick
MOST_HEIGHT_MM = 20.0


def stand_of(scale: Scale, standing: bool | None) -> tuple[Stand, Beliefs, tuple[str, ...]]:
    """Where a solid can stand before the camera, by the reference.

    Raises
    ------
    InputError
        A flat-bed scan has no side view.
    DataError
        The reference is seen from too high for a side view, or a ruler tells neither that it stands
        nor that it lies.
    """
    if scale.camera is None:
        rule = "must come from a camera for a side view"
        raise InputError("scale", scale.kind, rule, "Photograph the piece from the side.")
    if standing is None and scale.kind == "ruler" and scale.u_tilt_deg > UNTOLD_TILT_DEG:
        msg = (
            "the ruler's lines are too short or too blurred to tell whether it stands or lies on "
            "the worktop, which changes every length. Stand it upright beside the piece, its face "
            "to the camera and both ends in the picture, and tap on it to focus; or use a card or "
            "marker."
        )
        raise DataError(msg)
    rotation, origin = scale.pose.rotation, scale.pose.shift
    upright = scale.pose.tilt_deg < 45 if standing is None else standing
    checks: list[str] = []
    offset = scale.offset_mm
    if not upright and abs(offset) > MOST_HEIGHT_MM:
        offset = 0.0
        checks.append(
            f"the reference lies on the worktop, so its {scale.offset_mm:.0f} mm were not taken "
            "for how far the worktop lies over it: the piece's place there is seen"
        )
    if upright and offset < 0:
        checks.append(
            f"the piece was taken to stand {-offset:.0f} mm behind the reference, farther from the "
            "camera: a number above 0 says how far it stands before it"
        )
    start = origin - offset * rotation[:, 2]
    if upright:
        up, across, toward = -rotation[:, 1], rotation[:, 0], -rotation[:, 2]
        along = rotation[:, 1]
        # a reference lying on its side is read turned: the picture says which way is up
        if abs(up[1]) < 0.7:
            x, y = rotation[:, 0], rotation[:, 1]
            up = max((x, -x, y, -y), key=lambda v: -v[1])
            across, along = np.cross(up, toward), -up
        elif up[1] > 0:
            up, across, along = -up, -across, -along
    else:
        up = toward = -rotation[:, 2]
        across = np.array([1.0, 0, 0]) - up[0] * up
        across /= np.linalg.norm(across)
        along = np.cross(up, across)
    sight = start / np.linalg.norm(start)
    looks = math.degrees(math.asin(float(np.clip(-up @ sight, -1, 1))))
    if looks > MOST_ELEVATION_DEG + 10:
        raise DataError(TOO_STEEP.format(looks))
    tilt, expected, roll = PLUMB_DEG, 0.0, PLUMB_DEG
    if not scale.tilt_known:
        tilt, expected, roll = USUAL_LOOK_U_DEG, -USUAL_LOOK_DEG, HELD_ROLL_DEG
        checks.append(
            "the reference does not say how high the camera was: that was taken from the piece's "
            "own outline. A card or marker beside the piece makes it surer"
        )
    stand = Stand(scale.camera, start, across, along, toward, up, origin)
    nods = _nods_with_lens(scale, stand.nod)
    own = max(math.radians(scale.u_tilt_deg) ** 2 - (nods * scale.camera.u_focal) ** 2, 0.0)
    if scale.tilt_known:
        tilt = math.hypot(PLUMB_DEG, math.degrees(math.sqrt(own)))
    beliefs = Beliefs(
        math.radians(tilt), math.radians(roll), max(scale.u_offset_mm, 0.01),
        scale.camera.u_focal, 0.0, math.radians(expected), tilt_by_lens=nods,
    )  # fmt: skip
    return stand, beliefs, tuple(checks)


def _nods_with_lens(scale: Scale, nod: Array) -> float:
    """How far (radians) the reference's plane nods where the focal length's logarithm grows by 1.

    Of a reference seen nearly square-on perspective tells the tilt: a longer lens shows as much
    of it from farther away only where the plane is tipped by more.
    """
    assert scale.camera is not None
    both = square = 0.0
    for v in scale.variants:
        if v.camera is not None:
            longer = math.log(v.camera.focal_px / scale.camera.focal_px)
            turn = v.pose.rotation @ scale.pose.rotation.T
            vector = np.array([turn[2, 1], turn[0, 2], turn[1, 0]])
            vector = (vector - [turn[1, 2], turn[2, 0], turn[0, 1]]) / 2
            both += v.weight * longer * float(vector @ nod)
            square += v.weight * longer**2
    return both / square if square else 0.0
