"""What of a picture is a cut face, roughly: one blob of what is unlike the ground about it.

What has other colours than the picture's border, looked at twice, fine (a thin crust on a pale
board) and blurred (strewn semolina, checks), and is otherwise rough. A cut face has no deep bays:
what has is face and something else, which are told apart by how unlike the ground they are.
"""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from kit.errors import DataError
from kit.photo.faces.colour_table import (
    codes,
    density,
    how_rough,
    hues,
    of_table,
    share_of_roughness,
)
from kit.photo.pixels.pieces import disc_element, pieces

__all__ = ["LEAST_CONVEX", "LEAST_MM2", "NOT_ONE", "rough_blob", "solid"]

Picture = NDArray[Any]

#: Smallest face that is looked for.
LEAST_MM2 = 250.0
#: A cut face has no deep bays: it takes up at least this share of its convex hull.
LEAST_CONVEX = 0.92
#: The same of a rough blob, where there is another one to choose.
LEAST_SOLID = 0.75
NOT_ONE = (
    "what stands out from the ground is not shaped like one cut face: draw a box about the face, "
    "or give its outline by hand; one face a photo, on a plain board, is best."
)
#: The middle of a box that holds the face: this share of its width and height.
_MIDDLE = 0.6
#: How much likelier (log10) a blob is to be face than ground; that shade is thought of counts 0.5.
UNLIKE = 0.6
#: Necks narrower than twice this are cut.
NECK_MM = 2.5
#: What has nothing beside it is as convex as this.
WHOLE = 0.97
#: Both again, where what was found is no face but may hold one: paper beside it, a patch of ground.
_SURER, _WIDER_MM = (UNLIKE, 1.2, 2.0, 2.6), (NECK_MM, 2 * NECK_MM)
#: Another piece is told of where it is at least this much of the one that was chosen.
ANOTHER = 0.4


def rough_blob(
    lab: Picture, px_per_mm: float, out: Picture, box: Any, part: bool
) -> tuple[Picture, bool]:
    """What is unlike the picture's border: one blob without holes; whether there is another.

    Parameters
    ----------
    lab : (height, width, 3) float32
        A small picture, from `face.lab_of` or the like.
    px_per_mm : float
    out : (height, width) bool
        Neither face nor ground.
    box : (x0, y0, x1, y1) or None
    part : bool
        Look for the largest convex one within what is unlike the border, however much more unlike
        it has to be and however wide the necks that are cut.
    """
    import cv2

    height, width = lab.shape[:2]
    inside = np.zeros((height, width), bool)
    if box is None:
        rim = max(2, round(0.05 * min(height, width)))
        inside[rim:-rim, rim:-rim] = True
    else:
        x0, y0, x1, y1 = (round(v) for v in box)
        inside[max(0, y0) : y1 + 1, max(0, x0) : x1 + 1] = True
    border = ~(inside | out)
    inside &= ~out
    blurs = (max(0.6, mm * px_per_mm) for mm in (0.2, 1.3))
    seen = [codes(hues(cv2.GaussianBlur(lab, (0, 0), blur))) for blur in blurs]
    rough = how_rough(lab[..., 0], max(1.0, 0.8 * px_per_mm))
    yy, xx = np.ogrid[:height, :width]
    middle = np.exp(-(((xx / width - 0.5) / 0.42) ** 2)) * np.exp(
        -(((yy / height - 0.5) / 0.42) ** 2)
    )
    own, ground, least = inside & _within(xx, yy, inside), border, 1e-6
    for _ in range(3):
        here, there = np.flatnonzero(own), np.flatnonzero(ground)
        score = share_of_roughness(rough, here, there)
        for c in seen:
            face, other = density(c.ravel()[here]), density(c.ravel()[there], shade=True)
            score += of_table(np.log10(face + least) - np.log10(other + least), c)
        best, another = _chosen(score, inside, px_per_mm, middle, part)
        ground = ~(cv2.dilate(best.view(np.uint8), disc_element(px_per_mm)) > 0) & ~out
        own, least = cv2.erode(best.view(np.uint8), np.ones((3, 3))) > 0, 1e-5
    return best, another and box is None


def _within(xx: Picture, yy: Picture, inside: Picture) -> Picture:
    """The middle of where a face may lie: there it is, however much ground is about it."""
    rows, columns = np.flatnonzero(inside.any(1)), np.flatnonzero(inside.any(0))
    if not len(rows):
        return inside
    x, y = ((c[0] + c[-1]) / 2 for c in (columns, rows))
    wide, tall = (_MIDDLE * (len(c) + 1) / 2 for c in (columns, rows))
    return np.asarray(((xx - x) / wide) ** 2 + ((yy - y) / tall) ** 2 < 1)


def _chosen(
    score: Picture, allowed: Picture, px_per_mm: float, middle: Picture, part: bool
) -> tuple[Picture, bool]:
    """The blob most unlike the ground, holes filled; whether another one could be meant."""
    import cv2

    smooth = cv2.GaussianBlur(np.clip(score, -3, 3), (0, 0), 0.5 * px_per_mm)
    ways = [(u, mm) for u in _SURER for mm in _WIDER_MM] if part else [(UNLIKE, NECK_MM)]
    heaviest, found = 0.0, None
    for unlike, neck_mm in ways:
        mask: Picture = ((smooth > unlike) & allowed).astype(np.uint8)
        mask = cv2.morphologyEx(mask, cv2.MORPH_CLOSE, disc_element(1.2 * px_per_mm))
        # the paper about a marker is no face for having a marker in its hole
        mask = _without_holes(mask) * allowed.view(np.uint8)
        mask = cv2.morphologyEx(mask, cv2.MORPH_OPEN, disc_element(neck_mm * px_per_mm))
        labels, place, of, area = pieces(mask.view(bool))
        weight = np.bincount(of, middle.ravel()[place], minlength=len(area))
        weight[area < LEAST_MM2 * px_per_mm**2] = 0
        least = WHOLE if part else LEAST_SOLID
        bent = [i for i in np.flatnonzero(weight) if solid(labels == i) < least]
        if part or len(bent) < np.count_nonzero(weight):
            weight[bent] = 0
        if weight.max() > heaviest:
            best = int(weight.argmax())
            rival = weight > 0
            rival[best] = False
            another = bool((area[rival] > ANOTHER * area[best]).any())
            heaviest, found = float(weight[best]), (np.asarray(labels == best), another)
    if found:
        return found
    if part:
        raise DataError(NOT_ONE)
    msg = (
        "no cut face stands out from what it lies on: draw a box about it, or lay it on a plain "
        "board of another colour and photograph it again."
    )
    raise DataError(msg)


def solid(blob: Picture) -> float:
    """Return the share of its convex hull that a blob takes up."""
    import cv2

    rings, _ = cv2.findContours(blob.view(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    hull = cv2.convexHull(np.concatenate(rings))
    return int(np.count_nonzero(blob)) / max(1.0, float(cv2.contourArea(hull)))


def _without_holes(mask: Picture) -> Picture:
    """Fill what is enclosed."""
    import cv2

    flood = cv2.copyMakeBorder(mask, 1, 1, 1, 1, cv2.BORDER_CONSTANT, value=0)
    cv2.floodFill(flood, None, (0, 0), 2)
    return np.asarray(flood[1:-1, 1:-1] != 2, np.uint8)
