"""A flat-bed scan: the scale is what the scanner was set to."""

from typing import Any

import numpy as np

from kit.errors import InputError
from kit.given import as_number
from kit.photo.arguments import above
from kit.photo.camera import Pose
from kit.photo.reference import Scale

__all__ = ["find"]

#: makers do not state it; a ruler on the glass shows it (common practice, no source)
U_SCANNER = 0.002


def find(photo: Any, dpi: float, u_mm: float | None = None) -> Scale:
    """Return the scale of a scan of `dpi` dots to the inch (25.4 mm exactly).

    Parameters
    ----------
    photo : Photo
    dpi : float
    u_mm : float, optional
        Standard uncertainty of 100 mm on the glass; 0.2 mm when not given.
    """
    dots = as_number(dpi)
    if dots is None or not 50 <= dots <= 9600:
        rule = "must lie between 50 and 9600 dots to the inch"
        raise InputError("dpi", dpi, rule, "It stands in the scanner's settings.")
    u = U_SCANNER if u_mm is None else above("u_mm", u_mm) / 100
    mm = 25.4 / dots
    note = "a scanner's own scale: lay a ruler on the glass once to check it"
    pose = Pose(np.eye(3), np.zeros(3))
    return Scale("scanner", None, pose, mm, u, notes=(note,), u_size=u)
