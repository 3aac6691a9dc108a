"""The side of a raised piece, seen below its cut edge, is no part of its cut face.

A face that lies above the board is seen nearer than what it stands on. From a slant, or beside the
picture's middle, its side shows on the side towards the lens: as brown as the crust, it is outlined
with the face. How wide it shows follows from where the camera stands. Where the crust is deeper
there by as much as that, the side was taken in: the cut edge is the edge about that far inside.
"""

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kit.photo.faces.face import Face, crust_depth, lab_of, light_of
from kit.photo.pixels.strip import closed_path, edge_of, normals, resampled, strip_of

__all__ = ["side_mm", "without_side"]

Array = NDArray[np.float64]
Picture = NDArray[Any]

#: A side is looked for where it shows this wide, and over this share of the outline; where none
#: shows it is at most so wide.
LEAST_MM, LEAST_SHARE, NONE_MM = 0.4, 0.05, 0.15
#: It was taken in where crust is deeper by at least this share of its width, and by this.
TAKEN_IN, DEEPER_MM = 0.5, 0.4
#: The cut edge lies within this share of its width of where the side's ends, and no farther in
#: than this: sides bulge and lean.
LEANS, ROOM_MM = 0.5, 0.3
#: Of the side's mean width, what may be wrong (standard uncertainty) where it was left out.
UNSURE = 0.15
_STEP_MM = 0.05
LEFT_OUT = (
    "the face lies above the board and its side shows below the cut edge: it was left out. Look "
    "whether the outline follows the cut edge, or photograph it from straight above"
)


def side_mm(scale: Any, outline_px: Array) -> Array:
    """How wide, in mm of the face's plane, an upright side shows below each point of an outline.

    Parameters
    ----------
    scale : Scale
        Of the plane of the face; what it stands on is the plane of the reference.
    outline_px : (n, 2) array
        In pixels of the photo.

    Returns
    -------
    (n,) array
        0 where none shows, and all along where the camera's place is not known.
    """
    if scale.camera is None or not scale.tilt_known or scale.offset_mm <= 0:
        return np.zeros(len(outline_px))
    edge = scale.to_mm(outline_px)
    foot = scale.to_mm(scale.to_px(edge, 0.0))
    return np.asarray(np.maximum(0.0, ((foot - edge) * normals(edge)).sum(1)))


def without_side(picture: Picture, px_per_mm: float, face: Face, wide_mm: Array) -> Face:
    """Return the face without its side, where that was outlined with it.

    Parameters
    ----------
    picture : (height, width, 3) uint8
        Rectified, as for `face.find_face`.
    px_per_mm : float
    face : Face
    wide_mm : (n,) array
        From `side_mm`, at each point of the outline.
    """
    shows, hidden = wide_mm > LEAST_MM, wide_mm < NONE_MM
    if min(shows.mean(), hidden.mean()) < LEAST_SHARE:
        return face
    deeper = float(np.median(face.crust_mm[shows]) - np.median(face.crust_mm[hidden]))
    if deeper < max(DEEPER_MM, TAKEN_IN * float(np.median(wide_mm[shows]))):
        return face
    path, normal = face.outline_px, normals(face.outline_px)
    inwards = np.arange(-0.5, float(wide_mm.max()) + ROOM_MM + 0.5, _STEP_MM)
    edge = edge_of(strip_of(light_of(picture), path, normal, -inwards * px_per_mm), _STEP_MM)
    off = (inwards - wide_mm[:, None]) / (LEANS * wide_mm[:, None] + 0.1)
    gain = np.tanh(edge / max(1e-6, 2 * float(np.median(edge)))) - 0.5 * off**2
    gain[(inwards < -1e-9) | (inwards > wide_mm[:, None] + ROOM_MM)] = -9.0
    at = inwards[closed_path(-gain, 2, 0.06)]
    at = np.where(hidden, 0.0, at)
    path = resampled(path - normal * (at * px_per_mm)[:, None])
    depth, u_depth = crust_depth(lab_of(picture), px_per_mm, path)
    u_px = float(np.hypot(face.u_px, UNSURE * float(wide_mm.mean()) * px_per_mm))
    return replace(
        face, outline_px=path, u_px=u_px, crust_mm=depth, u_crust_mm=u_depth,
        notes=(*face.notes, LEFT_OUT),
    )  # fmt: skip
