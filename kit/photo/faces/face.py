"""Where the cut face lies: its outline against whatever it was laid on, and where the crust ends.

First a rough blob (`blob`), then its edge (`edge`).
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kit.errors import DataError
from kit.photo.faces import edge as face_edge
from kit.photo.faces.blob import LEAST_CONVEX, LEAST_MM2, NOT_ONE, rough_blob, solid
from kit.photo.faces.colour_table import codes, density, hues
from kit.photo.pixels.colour import light_of_bytes
from kit.photo.pixels.ranks import median, quantile
from kit.photo.pixels.strip import closed_path, filled, normals, perimeter, resampled, strip_of

__all__ = ["LEAST_MM2", "Face", "crust_depth", "find_face", "lab_of", "light_of"]

Array = NDArray[np.float64]
Picture = NDArray[Any]

#: An outline nearer than this to the picture's edge may be cut off.
EDGE_MM = 1.0
#: A thinner crust than this somewhere is doubted: the outline may run along its inner edge.
LEAST_CRUST_MM = 0.45
#: As shares of a crust's usual depth: what is crust for sure, and from where large cells beside it
#: are told from it by their colour.
CRUSTY, DEEPER = 0.7, 1.25
#: Standard uncertainty of a clear edge, and of one that is not.
CLEAR_MM, UNSURE_MM = 0.1, 0.8
#: The same where the ground is as brown as crust and hardly any crust is seen.
HIDDEN_MM = 0.5
#: A crust deeper than this is seen, one that is half as deep is not.
_SEEN_MM = 0.8
#: From this depth on there is no crust.
_INNER_MM = 3.5
#: Share of a colour that was not seen.
_RARE = 1e-5
#: An outline is doubted where more of it than this is unsure.
MOST_UNSURE = 0.1
#: More of it, and there is no outline to speak of.
NO_OUTLINE = 0.97
#: A hidden crust is told of from this share on.
MOST_HIDDEN = 0.2
#: Lengths over which cells and patches are told, in mm (standard deviation of the blur).
_CELLS_MM, _PATCHES_MM = 0.7, 2.0
#: Crumb's lightness differs by at least this much (standard deviation of L*) within cells.
_ROUGH = 1.0
#: It differs so many times as much within cells as between patches; and where what lies just
#: inside the outline is no darker than the inside, as crust is, so many times. Drawn faces with
#: the largest cells: from 0.42 on, others from 1.7; drawn prints and browned tops: to 0.3; cards,
#: whose rim is pale: to 0.6 (November 2026).
_EVEN, _EVEN_BARE = 0.35, 1.0
#: How much darker crust is (L*), and between which depths it is looked at, in mm.
_DARKER, _CRUST_MM = 5.0, (0.2, 1.0)
#: With fewer pixels to a millimetre no cells are seen.
_LEAST_PX_PER_MM = 2.0
#: What is looked at: deeper inside than this share of the deepest point.
_INSIDE = 0.5


@dataclass(frozen=True)
class Face:
    """A face's outline on the rectified picture.

    Parameters
    ----------
    outline_px : (n, 2) array
        On the picture given, x then y.
    u_px : float
        Standard uncertainty of where the edge lies, all along it.
    crust_mm, u_crust_mm : (n,) array, float
        How deep the crust goes at each of its points.
    unsure : (n,) array of bool
        Where the edge hardly stands out from the ground.
    notes : tuple of str
        What to look at before trusting it.
    """

    outline_px: Array
    u_px: float
    crust_mm: Array
    u_crust_mm: float
    unsure: NDArray[np.bool_]
    notes: tuple[str, ...] = ()


def find_face(
    picture: Picture, px_per_mm: float, keep_out: Picture | None = None, box: Any = None
) -> Face:
    """Find the outline of the cut face.

    Parameters
    ----------
    picture : (height, width, 3) uint8
        Rectified, sRGB; some 4 to 8 pixels a millimetre are enough.
    px_per_mm : float
    keep_out : (height, width) bool, optional
        Pixels that are no part of it: the reference, or outside the photo.
    box : (x0, y0, x1, y1), optional
        In pixels, about the face; what lies outside is ground.

    Returns
    -------
    Face

    Raises
    ------
    DataError
        No face stands out from the ground, or it leaves the picture.
    """
    import cv2

    height, width = picture.shape[:2]
    out = np.zeros((height, width), bool) if keep_out is None else keep_out
    k = max(1.0, max(height, width) / 420)
    size = (round(width / k), round(height / k))
    small = cv2.resize(picture, size, interpolation=cv2.INTER_AREA)
    out_small = cv2.resize(out.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST) > 0
    small_box = None if box is None else [v / k for v in box]
    lab = lab_of(picture)
    hue, light = hues(lab), light_of(picture)
    for part in (False, True):
        blob, another = rough_blob(_lab(small), px_per_mm / k, out_small, small_box, part)
        ring, _ = cv2.findContours(blob.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
        path = max(ring, key=cv2.contourArea)[:, 0].astype(float)
        path = (path + 0.5) * k - 0.5
        # from its deepest half, however much of the ground was taken for face
        apart = cv2.distanceTransform(blob.view(np.uint8), cv2.DIST_L2, 5)
        core = cv2.resize(hue, size, interpolation=cv2.INTER_NEAREST)[apart > 0.5 * apart.max()]
        deep_mm = float(apart.max()) * k / px_per_mm
        path, brown, unsure = face_edge.outlined(
            hue, resampled(path, 14), px_per_mm, out, core, deep_mm
        )
        path, rough = face_edge.settled(light, resampled(path), brown, px_per_mm)
        path = resampled(path)
        edge = min(path.min(), *((width - 1, height - 1) - path.max(0)))
        convex = solid(filled(picture.shape, path)) >= LEAST_CONVEX
        if convex and edge >= EDGE_MM * px_per_mm:
            break
    if edge < EDGE_MM * px_per_mm:
        msg = (
            "the cut face reaches the edge of the picture: photograph it again with a finger's "
            "width of ground all round, or give its outline by hand."
        )
        raise DataError(msg)
    if not convex:
        raise DataError(NOT_ONE)
    depth, u_depth = crust_depth(lab, px_per_mm, path)
    notes = []
    unlike, other = _unlike_crumb(lab[..., 0], filled(picture.shape, path), px_per_mm)
    if other and box is None:
        msg = (
            f"what stands out from the ground {unlike}: if it is a cut face, draw a box about it "
            "or give its outline by hand; if not, lay a cut face on a plain board."
        )
        raise DataError(msg)
    if unlike:
        notes.append(f"what was outlined {unlike}: look whether it is a cut face")
    if another:
        notes.append(
            "another piece stands out as well: draw a box about the one that is meant, if it is "
            "not the one outlined"
        )
    share = float(unsure.mean())
    if share > NO_OUTLINE:
        msg = (
            "nearly all round, the edge of the cut face hardly stands out from what it lies on: "
            "give its outline by hand, or lay it on a plain board of another colour, away from "
            "crumbs and shade, and photograph it again."
        )
        raise DataError(msg)
    if share > MOST_UNSURE:
        notes.append(
            f"over {100 * share:.0f} % of its length the outline hardly stands out from what the "
            "face lies on: look at it and correct it, or lay the face on a plain board of another "
            "colour, away from crumbs and shade"
        )
    hidden = float((brown * np.clip(2 - 2 * depth / _SEEN_MM, 0, 1)).mean())
    if hidden > MOST_HIDDEN:
        notes.append(
            "hardly any crust is seen, and the ground is as brown as one: the outline may run "
            "along its inner edge. Look at it and correct it, or lay the face on a plain board of "
            "another colour"
        )
    u_mm = float(np.linalg.norm([CLEAR_MM, rough, UNSURE_MM * share, HIDDEN_MM * hidden]))
    return Face(path, u_mm * px_per_mm, depth, u_depth, unsure, tuple(notes))


def _unlike_crumb(lightness: Picture, face: Picture, px_per_mm: float) -> tuple[str, bool]:
    """Return why the inside of an outline does not look like crumb, and whether it cannot be.

    Crumb is rough by its cells and, beyond them, the same all over. A plate is smooth, a print or a
    card has large patches, the browned top of a whole muffin is smooth and patchy. The first is
    empty where it does look so; what is smooth may be crumb in poor light.
    """
    import cv2

    rows, columns = np.flatnonzero(face.any(1)), np.flatnonzero(face.any(0))
    if not len(rows) or px_per_mm < _LEAST_PX_PER_MM:
        return "", False
    part = np.s_[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
    seen = lightness[part]
    deep = cv2.distanceTransform(np.pad(face[part], 1).view(np.uint8), cv2.DIST_L2, 3)[1:-1, 1:-1]
    inside: NDArray[np.bool_] = deep > _INSIDE * deep.max()
    own = inside.astype(np.float32)

    def blurred(mm: float, k: int) -> Picture:
        """Of every k-th row and column."""
        sd, weight = mm * px_per_mm / k, own[::k, ::k]
        return np.asarray(cv2.GaussianBlur(seen[::k, ::k] * weight, (0, 0), sd)
                          / np.maximum(cv2.GaussianBlur(weight, (0, 0), sd), 1e-3))  # fmt: skip

    rough = float((seen[::2, ::2] - blurred(_CELLS_MM, 2))[inside[::2, ::2]].std())
    # of a picture smooth enough for every fourth pixel to tell
    few = inside[::4, ::4]
    y, x = np.nonzero(few)
    x, y = (x - x.mean()) / few.shape[1], (y - y.mean()) / few.shape[0]
    # light falls unevenly: what a bent surface follows is no patch
    bent = np.stack([np.ones(len(x)), x, y, x * x, x * y, y * y], axis=1)
    patches = blurred(_PATCHES_MM, 4)[few].astype(float)
    patchy = float((patches - bent @ np.linalg.lstsq(bent, patches, rcond=None)[0]).std())
    rim = (deep > _CRUST_MM[0] * px_per_mm) & (deep < _CRUST_MM[1] * px_per_mm)
    darker = median(seen[inside]) - median(seen[rim])
    if patchy > max(_ROUGH, rough / (_EVEN if darker > _DARKER else _EVEN_BARE)):
        return "has larger patches inside than crumb has cells", True
    return ("is smoother inside than crumb", False) if rough < _ROUGH else ("", False)


def crust_depth(lab: Picture, px_per_mm: float, outline_px: Array) -> tuple[Array, float]:
    """Find how deep the crust goes in at each point of an outline.

    The crust is darker and browner than the crumb: along each inward line the step in a* and
    lightness that is smooth around the face. Holes in the crumb are dark too, so that lines
    are compared over some millimetres of their neighbours.

    Returns
    -------
    depth_mm : (n,) array
        Zero all along where no crust is seen.
    u_mm : float
    """
    import cv2

    deepest, step = 6.0, 0.12
    path, normal = outline_px, normals(outline_px)
    depth = np.arange(0.0, deepest, step)
    strip = strip_of(lab, path, normal, -depth * px_per_mm)
    along = perimeter(path) / px_per_mm / len(path)
    n = max(1, round(2.5 / along)) | 1
    beside = range(-n // 2, n // 2 + 1, max(1, n // 6))
    wall = np.sort(np.stack([np.roll(strip[..., 0], s, 0) for s in beside]), 0)
    score = wall[int(0.7 * len(wall))] - 1.5 * _over_lines(strip[..., 1], n)
    score = cv2.GaussianBlur(cv2.copyMakeBorder(score, 6, 6, 0, 0, cv2.BORDER_WRAP), (0, 0),
                             sigmaX=1.5, sigmaY=2.0)[6:-6]  # fmt: skip
    inner = median(score[:, depth > _INNER_MM])
    # a step at d: what lies before it is crust, what lies after is crumb
    drop = inner - quantile(score[:, depth < 1.0], 0.25)
    rest = np.clip((inner - score) / max(1e-6, drop), -0.3, 1.3)
    if inner - median(score[:, (depth > 0.2) & (depth < 0.8)]) < 6:
        return np.zeros(len(path)), 0.3
    found = depth[_step_at(rest, step)] + step / 2
    # deeper than over most of the face, what has the crumb's own colours is a cell, however dark
    usual = median(found)
    colour = codes(hues(strip))
    crust = density(colour[:, depth < CRUSTY * usual]) + _RARE
    crumb = density(colour[:, depth > max(_INNER_MM, 2 * usual)]) + _RARE
    alike = _over_lines(np.log(crust / crumb)[colour], max(1, round(1.0 / along)) | 1) < 0
    cell = alike & (depth > DEEPER * usual) & (rest > 0.4)
    if not cell.any():
        return found, 0.15
    rest[cell] = 0.4
    return depth[_step_at(rest, step)] + step / 2, 0.15


def _over_lines(strip: Picture, n: int) -> Picture:
    """Mean over `n` lines."""
    import cv2

    around = cv2.copyMakeBorder(strip.astype(np.float32), n, n, 0, 0, cv2.BORDER_WRAP)
    return np.asarray(cv2.blur(around, (1, n))[n:-n])


def _step_at(rest: Picture, step: float) -> NDArray[np.int64]:
    """Column of each line up to which there is more crust (1) than crumb (0), smooth all round."""
    return closed_path(-8 * step * np.cumsum(rest - 0.5, axis=1), 2, 0.25)


def lab_of(picture: Picture) -> Picture:
    """Lightness and colour as float32, a little smoothed; good enough to find edges by."""
    import cv2

    return np.asarray(cv2.GaussianBlur(_lab(picture), (0, 0), 1.0))


def _lab(picture: Picture) -> Picture:
    """L*, a*, b* of 8-bit sRGB as float32 (OpenCV's, off by up to 0.2)."""
    import cv2

    shares = np.arange(256, dtype=np.float32) / 255
    return np.asarray(cv2.cvtColor(cv2.LUT(picture, shares), cv2.COLOR_RGB2LAB))


def light_of(picture: Picture) -> Picture:
    """Return the linear light of the three colours, 0 to 100, as float32, a little smoothed."""
    import cv2

    linear = cv2.LUT(picture, 100 * light_of_bytes())
    return np.asarray(cv2.GaussianBlur(linear, (0, 0), 1.0))
