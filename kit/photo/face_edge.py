"""Where a cut face ends, along a strip that follows its rough outline.

First where the crumb ends, which is nearly always plain to see. The outline lies a crust's depth
further out. Along each line across it, a point is the better end the sharper the edge there
(the edge of a shadow is soft), the more what lies inside has colours of crumb and crust and what
lies outside those of the ground in any shade, and the likelier the depth of crust. One closed
path goes through all lines. A crust as brown as the ground has no colour of its own: there the
edge alone decides, and where that hardly differs from the ground's own edges, it is said.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kit.photo.colour_table import UNKNOWN, codes, density
from kit.photo.strip import closed_path, edge_of, normals, resampled, strip_of

__all__ = ["outlined", "settled"]

Array = NDArray[np.float64]
Picture = NDArray[Any]

#: Rows that the strip is run on by, so that smoothing meets itself.
_PAD = 24
#: How much a millimetre of likelihood (in natural logarithms) counts; one pixel never more than
#: `_MOST`, one that can only be ground up to `_LEAST`.
_PER_MM, _MOST, _LEAST = 0.5, 2.5, -5.0
#: Ground in between outweighs grains strewn on it: mean of exp(−`_SOFT`·likelihood).
_SOFT = 0.5
#: However much looks like ground, crust of its colour stays as possible as this.
_FLOOR = -1.0
#: An edge counts up to `_SHARPEST`, most of that at `_CLEAR` times the ground's own edges.
_SHARPEST, _CLEAR = 2.0, 5.0
#: Cost of a step between neighbouring lines, per 0.15 mm.
_BEND = 0.06
#: Shares of crumb and crust in what a face is made of, and of colours not seen before.
_CRUMB, _CRUST, _NEW = 0.4, 0.4, 0.2
#: Usual depth of crust in mm, how far it strays (in logarithms), and what counts as none.
_DEPTH_MM, _STRAYS, _BARE_MM = 1.2, 0.5, 0.4
#: How unlikely no crust is; and how much more where the ground itself is as brown as crust.
_NO_CRUST, _NO_BROWN = -0.5, -3.0
#: A crust's colours are this many times as frequent in it as in a ground that is not brown.
_ITS_OWN = 2.0
#: The edge where the crumb ends reaches this far out.
_CRUMB_EDGE_MM = 0.7
#: Lines are unsure whose edge is no clearer than this many of the ground's own, or whose colours
#: do not tell inside from outside by as much.
_FAINT, _ALIKE = 2.5, 1.0


@dataclass(frozen=True)
class _Strip:
    """Lines across a path: rows along it, columns `offsets` in mm, outwards positive."""

    path: Array
    normal: Array
    offsets: Array
    edge: Picture
    codes: Picture
    gone: Picture
    px_per_mm: float

    @property
    def step(self) -> float:
        return float(self.offsets[1] - self.offsets[0])

    def of(self, picture: Picture) -> Picture:
        return strip_of(picture, self.path, self.normal, self.offsets * self.px_per_mm)

    def seen(self, low: float, high: float) -> Picture:
        """Codes of all pixels between two offsets."""
        part = (self.offsets > low) & (self.offsets < high)
        return np.asarray(self.codes[:, part][~self.gone[:, part]])

    def edge_over(self, beyond: float) -> Array:
        """Edges in units of the ground's own."""
        return np.asarray(self.edge / (np.median(self.edge[:, self.offsets > beyond]) + 1))

    def moved(self, at: NDArray[np.int64]) -> Array:
        return self.path + self.normal * (self.offsets[at] * self.px_per_mm)[:, None]


def outlined(
    hue: Picture, rough: Array, px_per_mm: float, out: Picture, core: Picture
) -> tuple[Array, Array, NDArray[np.bool_]]:
    """Find the outline near a rough one, and where it is unsure.

    Parameters
    ----------
    hue : (height, width, 3) float32
        From `colour_table.hues`.
    rough : (n, 2) array
    px_per_mm : float
    out : (height, width) bool
        No part of the face, nor of the ground.
    core : (m, 3) float32
        Hues from well inside the face.

    Returns
    -------
    outline : (n, 2) array
    brown : (n,) array
        How much the ground there looks like crust, 0 to 1.
    unsure : (n,) bool
    """
    crumb = density(codes(core))
    path = _crumb_end(_across(hue, rough, px_per_mm, out, (-6.0, 9.0, 0.15), 3.0), crumb)
    beyond = _beyond(hue.shape, path, px_per_mm)
    usual, none, brown = _DEPTH_MM, np.full((len(path), 1), _NO_CRUST), np.zeros(len(path))
    for near in (False, True):
        high = 1.5 if near else 5.0
        reach = (-4.0, high + 4.0, 0.06 if near else 0.13)
        strip = _across(hue, path, px_per_mm, out, reach, 5.0)
        # far: what lies just outside the crumb may be crust; near: inside of what was found
        crust_at, ground_at = ((-1.5, -0.15), 0.6) if near else ((0.15, 0.9), 4.5)
        if not near:
            brown = _as_brown(strip, hue, core, ground_at)
            none = none + _NO_BROWN * brown[:, None]
        ground = density(strip.seen(ground_at, np.inf), shade=True)
        crust = density(strip.seen(*crust_at))
        # colours of a ground that is not brown are no crust's, however near they lie
        crust[crust < _ITS_OWN * (1 - brown.mean()) * ground] = 0.0
        face = _CRUMB * crumb + _CRUST * crust + _NEW * UNKNOWN
        likely = _softened(np.log(face) - np.log(ground + 1e-5), strip)
        depth = strip.of(beyond)
        told = strip.edge_over(high)
        # where crust looks like the ground, the edge at the crumb's end is no outline
        counts = 1 - brown[:, None] * (1 - np.clip(depth / _CRUMB_EDGE_MM, 0, 1))
        gain = _SHARPEST * np.tanh(told / _CLEAR) * counts + _summed(likely, depth, strip.step)
        gain = gain + 0.5 * _crust_prior(depth, usual, none)
        gain[:, (strip.offsets > high) | (strip.offsets < -1.5)] = -99.0
        at = closed_path(-gain, 2, _BEND * strip.step / 0.15)
        found = depth[np.arange(len(at)), at]
        crusty = found > _BARE_MM
        if crusty.mean() > 0.2:
            usual = float(np.clip(np.median(found[crusty]), 0.5, 3.5))
        path = strip.moved(at) if near else resampled(strip.moved(at), 40)
    return path, brown, _unsure(told, likely, at, strip.step)


def settled(
    light: Picture, path: Array, brown: Array, px_per_mm: float, reach_mm: float = 0.4
) -> tuple[Array, float]:
    """Move a path to the nearest top of the edge in linear light.

    Where a blurred edge lies is told by the light, not by what the eye makes of it.

    Returns
    -------
    path : (n, 2) array
    rough_mm : float
        How much neighbouring points disagree.
    """
    import cv2

    step, normal = 0.03, normals(path)
    offsets = np.arange(-reach_mm - 0.75, reach_mm + 0.76, step)
    around = _wrapped(strip_of(light, path, normal, offsets * px_per_mm))
    around = cv2.GaussianBlur(around, (0, 0), sigmaX=0.12 / step, sigmaY=1.5)
    edge = edge_of(around, step)[_PAD:-_PAD]
    near = np.abs(offsets) <= reach_mm
    gain = edge / np.maximum(edge[:, near].max(1, keepdims=True), 1e-6)
    # the bright crumb's edge draws it in, most where the outline itself hardly shows
    gain = gain - (0.4 + brown[:, None]) * (offsets / reach_mm) ** 2
    gain[:, ~near] = -9.0
    at = closed_path(-gain, 2, _BEND)
    # between samples: the top of a parabola
    rows = np.arange(len(path))
    a, b, c = edge[rows, at - 1], edge[rows, at], edge[rows, at + 1]
    bend = a - 2 * b + c
    top = bend < -1e-6
    shift = np.where(top, np.clip(0.5 * (a - c) / np.where(top, bend, -1), -1, 1), 0)
    moved = offsets[at] + shift * step
    rough = float(np.std(np.diff(moved)) / np.sqrt(2))
    return path + normal * (moved * px_per_mm)[:, None], rough


def _wrapped(strip: Picture) -> Picture:
    import cv2

    return np.asarray(cv2.copyMakeBorder(strip, _PAD, _PAD, 0, 0, cv2.BORDER_WRAP))


def _across(
    hue: Picture, path: Array, px_per_mm: float, out: Picture,
    reach: tuple[float, float, float], along: float,
) -> _Strip:  # fmt: skip
    """Lines across a path, from and to and by so many mm; edges alike `along` so many lines."""
    import cv2

    offsets, normal = np.arange(*reach), normals(path)
    step = reach[2]
    around = _wrapped(strip_of(hue, path, normal, offsets * px_per_mm))
    soft = cv2.GaussianBlur(around, (0, 0), sigmaX=max(0.3, 0.12 / step), sigmaY=2.5)
    fine = cv2.GaussianBlur(around, (0, 0), sigmaX=max(0.3, 0.1 / step), sigmaY=0.8)
    gone = strip_of(out.view(np.uint8), path, normal, offsets * px_per_mm) > 0
    edge = _sharp(soft, step, along)[_PAD:-_PAD]
    return _Strip(path, normal, offsets, edge, codes(fine[_PAD:-_PAD]), gone, px_per_mm)


def _sharp(around: Picture, step: float, along: float) -> Picture:
    """How much the colour changes within half a millimetre, less what a slow change would."""
    import cv2

    def change(mm: float) -> Picture:
        half = max(1, round(mm / 2 / step))
        by = np.zeros_like(around)
        by[:, half:-half] = around[:, 2 * half :] - around[:, : -2 * half]
        return np.asarray(np.linalg.norm(cv2.GaussianBlur(by, (0, 0), sigmaX=0.1, sigmaY=along),
                                         axis=2))  # fmt: skip

    # a slow change is three times as large across three times the width, a sharp one as large
    return np.asarray(np.maximum((3 * change(0.5) - change(1.5)) / 2, 0.0))


def _crumb_end(strip: _Strip, crumb: Array) -> Array:
    """Where colours of the crumb end: crust, ground, anything else."""
    import cv2

    ground = density(strip.seen(4.0, np.inf), shade=True)
    likely = np.log(0.9 * crumb + 0.1 * UNKNOWN) - np.log(0.5 * ground + 0.5 * UNKNOWN)
    told = np.clip(likely[strip.codes], _LEAST, _MOST).astype(np.float32)
    told[strip.gone] = -_MOST
    told = cv2.GaussianBlur(_wrapped(told), (0, 0), sigmaX=0.1, sigmaY=2.5)[_PAD:-_PAD]
    gain = np.sqrt(strip.edge_over(4.5)) / 4 + _PER_MM * np.cumsum(told, axis=1) * strip.step
    gain[:, strip.offsets > 0] = -99.0  # the rough outline takes in too much rather
    return resampled(strip.moved(closed_path(-gain, 2, _BEND)), 30)


def _beyond(shape: tuple[int, ...], path: Array, px_per_mm: float) -> Picture:
    """How far each pixel lies outside a path, in mm; inside below 0."""
    import cv2

    inside = np.zeros(shape[:2], np.uint8)
    cv2.fillPoly(inside, [np.round(path * 16).astype(np.int32)], 1, shift=4)
    apart = cv2.distanceTransform(1 - inside, cv2.DIST_L2, 5)
    return np.asarray((apart - cv2.distanceTransform(inside, cv2.DIST_L2, 5)) / px_per_mm)


def _as_brown(strip: _Strip, hue: Picture, core: Picture, beyond: float) -> Array:
    """How far the ground, line by line, is redder and darker than crumb, as crust is; 0 to 1."""
    import cv2

    far = strip_of(hue, strip.path, strip.normal,
                   strip.offsets[strip.offsets > beyond] * strip.px_per_mm)  # fmt: skip
    ground = np.concatenate([np.median(far, axis=1)] * 3)[:, None]
    ground = cv2.GaussianBlur(ground, (0, 0), sigmaX=0.1, sigmaY=8)[len(far) : 2 * len(far), 0]
    own = np.median(core, axis=0)
    redder = 1 / (1 + np.exp(-(ground[:, 1] - own[1] - 2) / 1.5))
    return np.asarray(redder / (1 + np.exp(-(own[0] - ground[:, 0] - 6) / 3)))


def _softened(likely: Array, strip: _Strip) -> Picture:
    """Each pixel's likelihood with its neighbours' along the path, ground weighing more."""
    import cv2

    told = np.clip(likely, _LEAST, _MOST)[strip.codes]
    told[strip.gone] = _LEAST
    mean = cv2.GaussianBlur(_wrapped(np.exp(-_SOFT * told)), (0, 0), sigmaX=0.1, sigmaY=2.5)
    return np.asarray(-np.log(mean[_PAD:-_PAD]) / _SOFT)


def _summed(likely: Picture, depth: Picture, step: float) -> Picture:
    """Likelihood summed from the crumb's end outwards, never below `_FLOOR` there."""
    total = _PER_MM * np.cumsum(likely, axis=1) * step
    start = np.argmax(depth > 0, axis=1)
    total = total - total[np.arange(len(total)), start][:, None]
    outer = np.where(depth > 0, total, 0.0)
    raised = np.maximum(0, np.maximum.accumulate(_FLOOR - outer, axis=1))
    return np.asarray(np.where(depth > 0, outer + raised, total))


def _crust_prior(depth: Picture, usual: float, none: Array) -> Picture:
    some = -0.5 * (np.log(np.maximum(depth, _BARE_MM) / usual) / _STRAYS) ** 2
    bare = none - (np.minimum(depth, 0) / 0.7) ** 2
    return np.asarray(np.maximum(np.where(depth <= _BARE_MM, bare, some), -4.0))


def _unsure(
    told: Array, likely: Picture, at: NDArray[np.int64], step: float
) -> NDArray[np.bool_]:  # fmt: skip
    """Lines where the edge is faint, or colours do not tell inside from outside."""
    wide, rows = round(0.8 / step), np.arange(len(at))
    total = np.cumsum(likely, axis=1)
    inside = (total[rows, at] - total[rows, at - wide]) / wide
    outside = (total[rows, np.minimum(at + wide, total.shape[1] - 1)] - total[rows, at]) / wide
    return np.asarray((told[rows, at] < _FAINT) | (inside < 0) | (inside - outside < _ALIKE))
