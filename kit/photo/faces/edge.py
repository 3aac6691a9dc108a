"""Where a cut face ends, along a strip that follows its rough outline.

First where the crumb ends, which is nearly always plain to see. The outline lies a crust's depth
further out. Along each line across it, a point is the better end the sharper the edge there
(the edge of a shadow is soft), the more what lies inside has colours of crumb and crust and what
lies outside those of the ground just there, in any shade, or of what is strewn on it, and the
likelier the depth of crust. One closed path goes through all lines. A crust as brown as the
ground has no colour of its own: there the edge alone decides, and where that hardly differs from
the ground's own edges, it is said.
"""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kit.photo.faces.colour_table import STEP_VOLUME, UNKNOWN, codes, density, of_table
from kit.photo.pixels.ranks import median, quantile
from kit.photo.pixels.strip import (
    closed_path,
    edge_of,
    filled,
    lengths,
    normals,
    perimeter,
    resampled,
    squares,
    strip_of,
)

__all__ = ["outlined", "settled"]

Array = NDArray[np.float64]
Picture = NDArray[Any]

#: How much a millimetre of likelihood (in natural logarithms) counts; one pixel never more than
#: `_MOST`, one that can only be ground up to `_LEAST`.
_PER_MM, _MOST, _LEAST = 0.5, 2.5, -5.0
#: Colours are compared as they are over this length along the path, about what is usual over a
#: longer one; a ground's are looked at this far out.
_ALONG_MM, _NEARBY_MM, _GROUND_MM = 0.7, 3.0, 5.0
#: Least spread of L*, a*, b* (as in `hues`) of a ground and of a crust, and how many times wider
#: than seen both are taken to be: what lies further on differs more than what was looked at.
_GROUND_SD, _CRUST_SD, _WIDER = (1.0, 0.5, 0.7), (2.0, 1.0, 2.0), 1.6
#: Spread of L* where a ground lies in shade.
_SHADE_SD = 14.0
#: So much darker, and a hue is half as sure.
_DEEP_SHADE = 15.0
#: Colours whose squared distance from the ground's (in its spreads) is larger are strewn on it:
#: 1 in 140 of a ground without (chi-squared, 3 degrees of freedom).
_STREWN = 12.0
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
#: The crumb's end is looked for this far inside a rough outline, as a share of its depth.
_DEEPEST = 0.7
#: The edge where the crumb ends reaches this far out.
_CRUMB_EDGE_MM = 0.7
#: Baking makes no crumb bluer: what is less yellow (b* as in `hues`) by more than this is hardly
#: crust, and over what range that is told.
_LESS_YELLOW, _YELLOW_SD = 5.0, 1.5
#: In the light, the edge lies within this of where the colours put it.
_SETTLES_MM = 0.4
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
    hue: Picture
    gone: Picture
    px_per_mm: float

    @property
    def step(self) -> float:
        return float(self.offsets[1] - self.offsets[0])

    def of(self, picture: Picture) -> Picture:
        return strip_of(picture, self.path, self.normal, self.offsets * self.px_per_mm)

    def between(self, low: float, high: float) -> NDArray[np.bool_]:
        """Columns between two offsets."""
        return np.asarray((self.offsets > low) & (self.offsets < high))

    def edge_over(self, beyond: float) -> Array:
        """Edges in units of the ground's own."""
        return np.asarray(self.edge / (median(self.edge[:, self.offsets > beyond]) + 1))

    def moved(self, at: NDArray[np.int64]) -> Array:
        return self.path + self.normal * (self.offsets[at] * self.px_per_mm)[:, None]


def outlined(
    hue: Picture, rough: Array, px_per_mm: float, out: Picture, core: Picture, deep_mm: float
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
    deep_mm : float
        How far the point deepest inside lies from the rough outline.

    Returns
    -------
    outline : (n, 2) array
    brown : (n,) array
        How much the ground there looks like crust, 0 to 1.
    unsure : (n,) bool
    """
    crumb, yellow = density(codes(core)), median(core[:, 2])
    path = _crumb_end(
        _across(hue, rough, px_per_mm, out, (-_DEEPEST * deep_mm, 9.0, 0.15), 3.0), crumb
    )
    beyond = _beyond(hue.shape, path, px_per_mm)
    usual, none, brown = _DEPTH_MM, np.full((len(path), 1), _NO_CRUST), np.zeros(len(path))
    for near in (False, True):
        high = 1.5 if near else 5.0
        reach = (-4.0, high + 4.0, 0.06 if near else 0.13)
        strip = _across(hue, path, px_per_mm, out, reach, 5.0)
        depth, ground_at = strip.of(beyond), 0.6 if near else 4.5
        # far: what lies just outside the crumb may be crust; near: all up to what was found
        ends = strip.offsets < 0.15 if near else depth < 0.9
        if not near:
            brown = _as_brown(strip, hue, core, ground_at)
            none = none + _NO_BROWN * brown[:, None]
        likely = _likelihood(strip, crumb, yellow, (depth > 0.15) & ends, ground_at)
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


def settled(light: Picture, path: Array, brown: Array, px_per_mm: float) -> tuple[Array, float]:
    """Move a path to the nearest top of the edge in linear light.

    Where a blurred edge lies is told by the light, not by what the eye makes of it.

    Returns
    -------
    path : (n, 2) array
    rough_mm : float
        How much neighbouring points disagree.
    """
    step, normal = 0.03, normals(path)
    offsets = np.arange(-_SETTLES_MM - 0.75, _SETTLES_MM + 0.76, step)
    edge = edge_of(_blurred(strip_of(light, path, normal, offsets * px_per_mm), 0.12 / step, 3.4),
                   step)  # fmt: skip
    near = np.abs(offsets) <= _SETTLES_MM
    gain = edge / np.maximum(edge[:, near].max(1, keepdims=True), 1e-6)
    # the bright crumb's edge draws it in, most where the outline itself hardly shows
    gain = gain - (0.4 + 3 * brown[:, None]) * (offsets / _SETTLES_MM) ** 2
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


def _blurred(strip: Picture, across: float, along: float) -> Picture:
    """A strip smoothed by so many columns and rows; it meets itself."""
    import cv2

    pad = min(len(strip), int(4 * along) + 1)
    around = cv2.copyMakeBorder(strip, pad, pad, 0, 0, cv2.BORDER_WRAP)
    around = cv2.GaussianBlur(around, (0, 0), sigmaX=across, sigmaY=along)
    return np.asarray(around[pad:-pad].reshape(strip.shape))


def _across(
    hue: Picture, path: Array, px_per_mm: float, out: Picture,
    reach: tuple[float, float, float], along: float,
) -> _Strip:  # fmt: skip
    """Lines across a path, from and to and by so many mm; edges alike `along` so many lines."""
    offsets, normal = np.arange(*reach), normals(path)
    step = reach[2]
    seen = strip_of(hue, path, normal, offsets * px_per_mm)
    gone = strip_of(out.view(np.uint8), path, normal, offsets * px_per_mm) > 0
    edge = _sharp(_blurred(seen, max(0.3, 0.12 / step), 2.5), step, along)
    return _Strip(path, normal, offsets, edge, seen, gone, px_per_mm)


def _sharp(strip: Picture, step: float, along: float) -> Picture:
    """How much the colour changes within half a millimetre, less what a slow change would."""

    def change(mm: float) -> Picture:
        half = max(1, round(mm / 2 / step))
        by = np.zeros_like(strip)
        by[:, half:-half] = strip[:, 2 * half :] - strip[:, : -2 * half]
        return lengths(_blurred(by, 0.1, along))

    # a slow change is three times as large across three times the width, a sharp one as large
    return np.asarray(np.maximum((3 * change(0.5) - change(1.5)) / 2, 0.0))


def _crumb_end(strip: _Strip, crumb: Array) -> Array:
    """Where colours of the crumb end: crust, ground, anything else."""
    far = strip.between(4.0, np.inf)
    seen = codes(_blurred(strip.hue, max(0.3, 0.1 / strip.step), 0.8))
    ground = density(seen[:, far][~strip.gone[:, far]], shade=True)
    likely = np.log(0.9 * crumb + 0.1 * UNKNOWN) - np.log(0.5 * ground + 0.5 * UNKNOWN)
    told = np.clip(of_table(likely, seen), _LEAST, _MOST)
    told[strip.gone] = -_MOST
    told = _blurred(told, 0.1, 2.5)
    gain = np.sqrt(strip.edge_over(4.5)) / 4 + _PER_MM * np.cumsum(told, axis=1) * strip.step
    gain[:, strip.offsets > 0] = -99.0  # the rough outline takes in too much rather
    return resampled(strip.moved(closed_path(-gain, 2, _BEND)), 16)


def _beyond(shape: tuple[int, ...], path: Array, px_per_mm: float) -> Picture:
    """How far each pixel lies outside a path, in mm; inside below 0."""
    import cv2

    inside = filled(shape, path).view(np.uint8)
    apart = cv2.distanceTransform(1 - inside, cv2.DIST_L2, 5)
    return np.asarray((apart - cv2.distanceTransform(inside, cv2.DIST_L2, 5)) / px_per_mm)


def _as_brown(strip: _Strip, hue: Picture, core: Picture, beyond: float) -> Array:
    """How far the ground, line by line, is redder, as yellow and darker than crumb; 0 to 1."""
    far = strip_of(hue, strip.path, strip.normal,
                   strip.offsets[strip.offsets > beyond] * strip.px_per_mm)  # fmt: skip
    ground = _blurred(np.median(far, axis=1)[:, None], 0.1, 8.0)[:, 0]
    light, red, yellow = (ground - np.median(core, axis=0)).T
    redder = 1 / (1 + np.exp(-(red - 2) / 1.5)) / (1 + np.exp(-(yellow + 3) / 2))
    return np.asarray(redder / (1 + np.exp((light + 6) / 3)))


def _likelihood(
    strip: _Strip, crumb: Array, yellow: float, crust_at: NDArray[np.bool_], beyond: float
) -> Picture:
    """How much likelier each colour is in a face than on the ground just there (logarithm)."""
    # points to a millimetre
    mm = len(strip.path) * strip.px_per_mm / perimeter(strip.path)
    soft = _blurred(strip.hue, max(0.3, 0.12 / strip.step), _ALONG_MM * mm)
    far = np.broadcast_to(strip.between(beyond, beyond + _GROUND_MM), crust_at.shape)
    ground, apart = _alike(soft, far, strip.gone, _NEARBY_MM * mm, _GROUND_SD, shade=True)
    crust, _ = _alike(soft, crust_at, strip.gone, _NEARBY_MM * mm, _CRUST_SD)
    crust = crust - np.log1p(np.exp((yellow - _LESS_YELLOW - soft[..., 2]) / _YELLOW_SD))
    seen, far = codes(soft), strip.between(beyond, np.inf) & ~strip.gone
    strewn = far & (apart > _STREWN)
    share = int(strewn.sum()) / max(1, int(far.sum()))
    face = of_table(np.log(_CRUMB * crumb + _NEW * UNKNOWN), seen)
    face = np.logaddexp(face, crust + math.log(_CRUST))
    colours = density(seen[strewn], shade=True)
    other = of_table(np.log((share + 0.01) * (colours + 1e-5)), seen)
    other = np.logaddexp(other, ground + math.log(1.0 - share + 1e-9))
    told = np.clip(face - other, _LEAST, _MOST)
    told[strip.gone] = _LEAST
    return np.asarray(told)


def _alike(
    soft: Picture, part: NDArray[np.bool_], gone: Picture, nearby: float,
    least: tuple[float, ...], shade: bool = False,
) -> tuple[Array, Array]:  # fmt: skip
    """How likely each colour is (logarithm, a step of the table) about that of a part nearby.

    The second is its squared distance, in spreads. With `shade`, darker ones are likely too.
    """
    import cv2

    middle = _blurred(_medians(soft, part), 0.1, nearby)
    off: Picture = soft - np.repeat(middle, soft.shape[1], axis=1)
    shown = part & ~gone
    # hardly anything to see there but what is left out
    part = shown if shown.sum() >= len(part) else part
    far = squares(off)
    usual = np.flatnonzero(part & (far <= quantile(far[part], 0.9)))
    own = np.take(off.reshape(-1, 3), usual, axis=0)
    mean = np.full(len(own), np.float32(1 / max(1, len(own)))) @ own
    within = own.T @ own - len(own) * np.outer(mean, mean)
    spread = _WIDER / max(1, len(own) - 1) * within + np.diag(np.square(least))
    likely, apart = _normal(off, spread)
    if shade:
        darker = off[..., 0] < 0
        deep = 1 + np.abs(off[..., 0]) / _DEEP_SHADE
        off /= cv2.merge([np.ones_like(deep), deep, deep])
        dim, less = _normal(off, spread + np.diag([_SHADE_SD**2, 0, 0]))
        likely = np.where(darker, np.logaddexp(likely, dim) - math.log(2), likely)
        apart = np.where(darker, np.minimum(apart, less), apart)
    return np.maximum(likely + math.log(STEP_VOLUME), -20.0), apart


def _medians(soft: Picture, part: NDArray[np.bool_]) -> Picture:
    """Median of each line over a part of it; of the part of all lines where one has none."""
    if not part.any():
        part = np.ones_like(part)
    some, used = part.any(1), np.flatnonzero(part.any(0))
    within = np.s_[:, used[0] : used[-1] + 1]
    seen = np.where(part[some][within][..., None], soft[some][within], np.nan)
    # sorted, what is no part stands last: the middle is that of the others (faster than nanmedian)
    seen, count = np.sort(seen.transpose(0, 2, 1), axis=-1), part[some].sum(1)
    rows = np.arange(len(seen))
    out = np.empty((len(soft), 1, soft.shape[2]), soft.dtype)
    out[some, 0] = (seen[rows, :, (count - 1) // 2] + seen[rows, :, count // 2]) / 2
    if not some.all():
        out[~some] = np.median(soft[part], axis=0)
    return out


def _normal(off: Picture, spread: Array) -> tuple[Array, Array]:
    """Logarithm of the normal density, and the squared distance in spreads."""
    import cv2

    apart = squares(cv2.transform(off, np.linalg.cholesky(np.linalg.inv(spread)).T))
    return -0.5 * (apart + float(np.linalg.slogdet(2 * np.pi * spread)[1])), apart


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
