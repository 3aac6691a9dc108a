"""Where the cut face lies: its outline against whatever it was laid on, and where the crust ends.

First a rough blob: what has other colours than the picture's border, looked at twice, fine (a
thin crust on a pale board) and blurred (strewn semolina, checks). Then, in a strip along the
blob's edge, the closed path that is sharp, smooth, and has the ground's colours outside; twice.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kit.errors import DataError
from kit.photo.strip import closed_path, edge_of, normals, resampled, strip_of

__all__ = ["Face", "crust_depth", "disc", "filled", "find_face", "lab_of"]

Array = NDArray[np.float64]
Picture = NDArray[Any]

#: Smallest face that is looked for.
LEAST_MM2 = 250.0
#: A cut face has no deep bays: it takes up at least this share of its convex hull.
LEAST_CONVEX = 0.92
#: An outline nearer than this to the picture's edge may be cut off.
EDGE_MM = 1.0
#: A thinner crust than this somewhere is doubted: the outline may run along its inner edge.
LEAST_CRUST_MM = 0.45
#: Steps of each of the three colour coordinates in the table of colours.
_BINS = 24


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
    """

    outline_px: Array
    u_px: float
    crust_mm: Array
    u_crust_mm: float


def filled(shape: tuple[int, ...], outline_px: Array) -> Picture:
    """Return the pixels inside an outline, (height, width) of bool."""
    import cv2

    mask = np.zeros(shape[:2], np.uint8)
    cv2.fillPoly(mask, [np.round(np.asarray(outline_px) * 16).astype(np.int32)], 1, shift=4)
    return mask.view(bool)


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
    blob = _blob(small, px_per_mm / k, out_small, small_box)
    ring, _ = cv2.findContours(blob.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    path = max(ring, key=cv2.contourArea)[:, 0].astype(float)
    path = (path + 0.5) * k - 0.5
    lab = lab_of(picture)
    for reach_mm, smooth in ((5.0, 14), (2.5, 24), (1.2, 40)):
        path, spread = _refined(lab, resampled(path, smooth), px_per_mm, reach_mm)
    # where a blurred edge lies is told by the light, not by what the eye makes of it
    light = _light_of(picture)
    path, spread = _refined(light, resampled(path), px_per_mm, 0.4)
    path = resampled(path)
    depth, u_depth = crust_depth(lab, px_per_mm, path)
    # a hole at the edge looks like a gap in the crust: what counts is what most neighbours have
    thin = (depth < LEAST_CRUST_MM).astype(np.float32)[:, None]
    bare = cv2.blur(cv2.copyMakeBorder(thin, 9, 9, 0, 0, cv2.BORDER_WRAP), (1, 9))[9:-9, 0] > 0.5
    if bare.mean() > 0.05:
        path = _beyond_crust(lab, light, path, bare, px_per_mm)
        depth, u_depth = crust_depth(lab, px_per_mm, path)
    edge = np.min([path[:, 0].min(), path[:, 1].min(), width - 1 - path[:, 0].max(),
                   height - 1 - path[:, 1].max()])  # fmt: skip
    if edge < EDGE_MM * px_per_mm:
        msg = (
            "the cut face reaches the edge of the picture: photograph it again with a finger's "
            "width of ground all round, or give its outline by hand."
        )
        raise DataError(msg)
    hull = cv2.convexHull(path.astype(np.float32))
    if cv2.contourArea(path.astype(np.float32)) < LEAST_CONVEX * cv2.contourArea(hull):
        msg = (
            "what stands out from the ground is not shaped like one cut face: draw a box about "
            "the face, or give its outline by hand; one face a photo, on a plain board, is best."
        )
        raise DataError(msg)
    return Face(path, spread, depth, u_depth)


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
    along = np.linalg.norm(np.roll(path, -1, 0) - path, axis=1).sum() / px_per_mm / len(path)
    n = max(1, round(2.5 / along)) | 1
    around = cv2.copyMakeBorder(strip, n, n, 0, 0, cv2.BORDER_WRAP)
    bright = np.ascontiguousarray(around[..., 0])
    beside = range(-n // 2, n // 2 + 1, max(1, n // 6))
    wall = np.sort(np.stack([np.roll(bright, s, 0) for s in beside]), 0)
    light = wall[int(0.7 * len(wall))]
    red = cv2.blur(np.ascontiguousarray(around[..., 1]), (1, n))
    score = (light - 1.5 * red)[n:-n]
    score = cv2.GaussianBlur(cv2.copyMakeBorder(score, 6, 6, 0, 0, cv2.BORDER_WRAP), (0, 0),
                             sigmaX=1.5, sigmaY=2.0)[6:-6]  # fmt: skip
    inner = np.median(score[:, depth > 3.5])
    # a step at d: what lies before it is crust, what lies after is crumb
    drop = inner - np.percentile(score[:, depth < 1.0], 25)
    rest = np.clip((inner - score) / max(1e-6, drop), -0.3, 1.3)
    if inner - np.median(score[:, (depth > 0.2) & (depth < 0.8)]) < 6:
        return np.zeros(len(path)), 0.3
    gain = np.cumsum(rest - 0.5, axis=1) * step
    at = closed_path(-gain * 8, 2, 0.25)
    return depth[at] + step / 2, 0.15


def lab_of(picture: Picture) -> Picture:
    """Lightness and colour as float32, a little smoothed; good enough to find edges by."""
    import cv2

    lab = cv2.cvtColor(picture.astype(np.float32) / 255, cv2.COLOR_RGB2LAB)
    return np.asarray(cv2.GaussianBlur(lab, (0, 0), 1.0))


def _light_of(picture: Picture) -> Picture:
    """Linear light of the three colours, 0 to 100, as float32, a little smoothed."""
    import cv2

    v = np.arange(256) / 255
    table = 100 * np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)
    linear = cv2.LUT(picture, table.astype(np.float32))
    return np.asarray(cv2.GaussianBlur(linear, (0, 0), 1.0))


def _blob(small: Picture, px_per_mm: float, out: Picture, box: Any) -> Picture:
    """What has other colours than the border of the picture: one blob without holes."""
    import cv2

    height, width = small.shape[:2]
    border = np.zeros((height, width), bool)
    if box is None:
        rim = max(2, round(0.05 * min(height, width)))
        border[:rim], border[-rim:], border[:, :rim], border[:, -rim:] = True, True, True, True
        inside = ~border
    else:
        x0, y0, x1, y1 = (round(v) for v in box)
        inside = np.zeros((height, width), bool)
        inside[max(0, y0) : y1 + 1, max(0, x0) : x1 + 1] = True
        border = ~inside
    border &= ~out
    lab = cv2.cvtColor(small.astype(np.float32) / 255, cv2.COLOR_RGB2LAB)
    codes = [_codes(cv2.GaussianBlur(lab, (0, 0), max(0.6, s * px_per_mm))) for s in (0.2, 1.3)]
    yy, xx = np.mgrid[:height, :width]
    middle = np.exp(-(((xx / width - 0.5) / 0.42) ** 2) - ((yy / height - 0.5) / 0.42) ** 2)
    ground = [_density(c, border, shade=True) for c in codes]
    everything = [_density(c, inside & ~out) for c in codes]
    score = np.zeros(lab.shape[:2])
    for c, g, e in zip(codes, ground, everything, strict=True):
        score = score + np.log10(e[c] + 1e-6) - np.log10(g[c] + 1e-6)
    best = _chosen(score, inside & ~out, px_per_mm, middle)
    for _ in range(2):
        far = cv2.dilate(best.astype(np.uint8), disc(px_per_mm))
        outside = ~(far > 0) & ~out
        own = cv2.erode(best.astype(np.uint8), np.ones((3, 3))) > 0
        score = np.zeros(lab.shape[:2])
        for c in codes:
            face, other = _density(c, own), _density(c, outside, shade=True)
            score = score + np.log10(face[c] + 1e-5) - np.log10(other[c] + 1e-5)
        best = _chosen(score, inside & ~out, px_per_mm, middle)
    return best


def _codes(lab: Picture) -> Picture:
    """Colours as numbers of a coarse table."""
    low, high = np.array([0, -30, -30]), np.array([100, 60, 70])
    steps = np.clip((lab - low) / (high - low) * _BINS, 0, _BINS - 1).astype(np.int32)
    return np.asarray((steps[..., 0] * _BINS + steps[..., 1]) * _BINS + steps[..., 2])


def _density(codes: Picture, where: Picture, shade: bool = False) -> Picture:
    """How often each colour occurs, smoothed; with `shade`, darker ones of the same hue too."""
    from scipy.ndimage import gaussian_filter

    table = np.bincount(codes[where], minlength=_BINS**3).reshape((_BINS,) * 3).astype(float)
    table /= max(1.0, table.sum())
    if shade:
        dark = np.zeros_like(table)
        for k in (0.9, 0.8, 0.7, 0.6):
            to = np.floor(np.arange(_BINS) * k).astype(int)
            np.add.at(dark, to, 0.08 * table)
        table = table + dark
    return np.asarray(gaussian_filter(table, (0.8, 0.6, 0.6)).ravel())


def _chosen(score: Picture, allowed: Picture, px_per_mm: float, middle: Picture) -> Picture:
    """The blob most unlike the ground, holes filled."""
    import cv2

    smooth = cv2.GaussianBlur(np.clip(score, -3, 3).astype(np.float32), (0, 0), 0.35 * px_per_mm)
    mask: Picture = ((smooth > 0.3) & allowed).astype(np.uint8)
    mask = cv2.morphologyEx(mask, cv2.MORPH_CLOSE, disc(1.2 * px_per_mm))
    mask = _without_holes(mask)
    mask = cv2.morphologyEx(mask, cv2.MORPH_OPEN, disc(2.5 * px_per_mm))
    n, labels, stats, _ = cv2.connectedComponentsWithStats(mask, connectivity=4)
    if n > 1:
        weight = np.bincount(labels.ravel(), (middle * mask).ravel(), minlength=n)
        weight[0] = 0
        weight[stats[:, cv2.CC_STAT_AREA] < LEAST_MM2 * px_per_mm**2] = 0
        if weight.max() > 0:
            return np.asarray(labels == int(weight.argmax()))
    msg = (
        "no cut face stands out from what it lies on: draw a box about it, or lay it on a plain "
        "board of another colour and photograph it again."
    )
    raise DataError(msg)


def _without_holes(mask: Picture) -> Picture:
    """Fill what is enclosed."""
    import cv2

    flood = cv2.copyMakeBorder(mask, 1, 1, 1, 1, cv2.BORDER_CONSTANT, value=0)
    cv2.floodFill(flood, None, (0, 0), 2)
    return np.asarray(flood[1:-1, 1:-1] != 2, np.uint8)


def disc(radius: float) -> Picture:
    """Return a disc as a structuring element."""
    import cv2

    n = 2 * max(1, round(radius)) + 1
    return cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (n, n))


def _refined(lab: Picture, path: Array, px_per_mm: float, reach_mm: float) -> tuple[Array, float]:
    """Move a path to the outermost sharp edge beyond which the ground begins."""
    import cv2

    normal = normals(path)
    step = max(reach_mm / 40, 0.03)
    offsets = np.arange(-reach_mm, reach_mm + 4.0, step)
    strip = strip_of(lab, path, normal, offsets * px_per_mm)
    pad = 24
    around = cv2.copyMakeBorder(strip, pad, pad, 0, 0, cv2.BORDER_WRAP)
    around = cv2.GaussianBlur(around, (0, 0), sigmaX=max(0.3, 0.12 / step), sigmaY=2.5)
    edge = edge_of(around, step)[pad:-pad]
    # the ground near by: colours beyond the edge, with room for shade
    inside = around[pad:-pad]
    far = offsets > reach_mm + 0.5
    ground = np.median(inside[:, far], axis=1)
    ground = cv2.GaussianBlur(np.concatenate([ground] * 3)[:, None].astype(np.float32), (0, 0),
                              sigmaX=0.1, sigmaY=8)[len(path) : 2 * len(path), 0]  # fmt: skip
    spread = 1.5 * np.median(np.abs(inside[:, far] - ground[:, None]), axis=(0, 1))
    spread = spread + np.array([2.0, 1.0, 1.5])
    apart = (inside - ground[:, None]) / spread
    dark = apart[..., 0] < 0
    apart[..., 0] = np.where(dark, apart[..., 0] * 0.5, apart[..., 0])
    unlike = np.clip(np.linalg.norm(apart, axis=2) / 4, 0, 1) - 0.5
    noise = np.median(edge[:, far]) + 1.0
    sharp = np.sqrt(edge / noise) / 2  # the top of a strong edge still counts most
    gain = sharp + (0.6 if reach_mm > 2 else 0.0) * np.cumsum(unlike, axis=1) * step
    gain[:, offsets > reach_mm] = -9
    at = closed_path(-gain, 2, 0.06 * 40 * step / reach_mm)
    moved = offsets[at].astype(float)
    # between samples: the top of the edge
    i, j = np.arange(len(path)), np.clip(at, 1, len(offsets) - 2)
    a, b, c = edge[i, j - 1], edge[i, j], edge[i, j + 1]
    bend = a - 2 * b + c
    top = bend < -1e-6
    shift = np.where(top, np.clip(0.5 * (a - c) / np.where(top, bend, -1), -1, 1), 0)
    moved += shift * step
    rough = np.std(np.diff(moved)) / np.sqrt(2)
    return path + normal * (moved * px_per_mm)[:, None], float(rough + 0.05) * px_per_mm


def _beyond_crust(
    lab: Picture, light: Picture, path: Array, bare: Picture, px_per_mm: float
) -> Array:
    """Look for a second edge outside: a crust as brown as the ground hides behind its first.

    Only where the path is `bare` of crust inside; elsewhere it stays. The second edge counts
    when it is clearly sharper there than the best path through the ground further out.
    """
    import cv2

    normal, step, pad = normals(path), 0.08, 24
    offsets = np.arange(0.0, 8.5, step)
    strip = strip_of(lab, path, normal, offsets * px_per_mm)
    around = cv2.copyMakeBorder(strip, pad, pad, 0, 0, cv2.BORDER_WRAP)
    around = cv2.GaussianBlur(around, (0, 0), sigmaX=1.5, sigmaY=4.0)
    edge = edge_of(around, step)[pad:-pad]
    # the first edge's own flank is no second one: what counts is how it rises again
    flank = np.where(offsets > 0.2, edge, np.inf)
    rise = edge - np.minimum(np.minimum.accumulate(flank, axis=1), edge)
    gain = np.where((offsets < 0.5) | (offsets > 3.7), 0.0, rise)
    gain[~bare] = np.where(offsets < 0.2, rise.max(), 0.0)
    at = closed_path(-gain, 2, 0.2)
    ground = (offsets >= 4.8) & (offsets <= 7.85)
    other = closed_path(-edge[:, ground], 2, 0.2)
    rows = np.arange(len(path))
    found = float(np.median(gain[rows, at][bare]))
    control = float(np.median(edge[:, ground][rows, other][bare]))
    if found < 1.2 * control + 0.8:
        return path
    moved = path + normal * (offsets[at] * px_per_mm)[:, None]
    return resampled(_refined(light, resampled(moved), px_per_mm, 0.35)[0])
