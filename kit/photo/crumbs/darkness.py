"""How dark each point of a crumb is beside the wall near by, and where a cell begins.

The light falls off over a picture, so that darkness is told against the wall's brightness in the
neighbourhood. No fixed share of it bounds a cell: the edge of a flat dark hole lies half-way down,
that of a shallow pit where the wall just begins to fall. The mean profile of brightness across
the edges of large cells shows which it is: a step of height h·a and a bowl that deepens
by (1 − h)·a over a depth d, both blurred by the lens. Weighed (`edge_profile`), it gives the
darkness at the edge.
"""

import math
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kit.photo.crumbs.edge_profile import likely_edges
from kit.photo.pixels.colour import light_of_bytes
from kit.photo.pixels.pieces import disc_element
from kit.photo.pixels.ranks import median, quantile
from kit.photo.pixels.strip import strip_of

__all__ = [
    "SMOOTH_MM", "Rim", "blur_at", "darkness", "linear_light", "middle_and_spread", "restored",
    "rim_level",
]  # fmt: skip

Array = NDArray[np.float64]
Picture = NDArray[Any]

#: Smoothing of the picture before anything is told from it: well below a wall's thickness of
#: about 0.22 mm (Lassoued et al. 2007, by tomography).
SMOOTH_MM = 0.05
#: Extra smoothing of the edge along which profiles are averaged, so that noise does not place it.
_STEADY_MM = 0.06
#: Power of noise that the blur is taken back with: the least that leaves the level clear of noise.
RESTORE = (0.03, 0.1, 0.3)
#: The level lies this many of the wall's standard deviations off the wall, or specks count.
CLEAR = 2.5
#: How dark the deepest are is told this far inside: crust and ground fade in at the edge.
_OFF_EDGE_MM = 0.5
#: How far on both sides an outline is looked at for its blur, along how many lines, and how many
#: of them must show it.
_REACH_MM, _MOST_LINES, _ENOUGH_LINES = 0.4, 300, 40
#: Places across an outline, and blurs that are tried.
_ACROSS_MM, _TRIED_MM = np.arange(-0.9, 0.91, 0.02), np.geomspace(0.03, 0.3, 47)
#: A neighbourhood that shows no wall is at most so light beside those within a centimetre.
_IN_A_CELL = 0.85
#: Where the search for edges starts: a share of the darkest 2 %.
_START = 0.35


@dataclass(frozen=True)
class Rim:
    """Where cells begin.

    Parameters
    ----------
    level : float
        Darkness at a cell's edge.
    u : float
        Its standard uncertainty.
    step : float
        Share of a cell's darkness that is a step at its edge: 1 for flat dark holes, 0 for bowls.
    blur_mm : float
    wall, noise : float
        Darkness of the wall by itself and its spread.
    deep : float
        Darkness of the deepest.
    """

    level: float
    u: float
    step: float
    blur_mm: float
    wall: float
    noise: float
    deep: float


def linear_light(picture: Picture) -> Picture:
    """Return the linear light of an sRGB picture as float32 (IEC 61966-2-1)."""
    import cv2

    # red and green: nearly all the light of a crumb, and least noise
    return cv2.transform(
        cv2.LUT(picture, light_of_bytes()), np.array([[0.3, 0.6, 0.1]], np.float32)
    )


def darkness(light: Picture, depth_px: Picture, px_per_mm: float) -> Picture:
    """Return 1 − light over the wall's light near by, as float32; slightly smoothed.

    Parameters
    ----------
    light : (height, width) float32
    depth_px : (height, width) float32
        Distance from the crumb's edge, 0 outside.
    px_per_mm : float
    """
    import cv2

    smooth = cv2.GaussianBlur(light, (0, 0), SMOOTH_MM * px_per_mm)
    wall = _wall_light(smooth, depth_px > 0, px_per_mm)
    share = smooth / np.maximum(wall, 1e-4)
    return 1 - share / _fade(share, depth_px, px_per_mm)


def _fade(share: Picture, depth: Picture, px_per_mm: float) -> Picture:
    """How the wall darkens towards the crust, which fades in over half a millimetre or so."""
    bin_px = max(1.0, 0.07 * px_per_mm)
    bins = int(1.5 * px_per_mm / bin_px)
    near = (depth > 0) & (depth < bins * bin_px)
    at, values = (depth[near] / bin_px).astype(np.uint8), share[near]
    order = np.argsort(at, kind="stable")  # of 8 bits: a radix sort
    parts = np.split(values[order], np.cumsum(np.bincount(at, minlength=bins))[:-1])
    top = np.array([quantile(v, 0.85) if len(v) > 50 else np.nan for v in parts])
    level = np.nanmedian(top[bins // 2 :])
    if not level > 0:  # none near the crust, or no light at all
        return np.ones_like(share)
    top = np.where(np.isfinite(top), top, level) / level
    # towards the edge it only darkens
    top = np.minimum(np.minimum.accumulate(top[::-1])[::-1], 1.0)
    centre = (np.arange(bins) + 0.5) * bin_px
    table = np.interp(np.arange(int(centre[-1]) * 8 + 9) / 8, centre, top).astype(np.float32)
    table = np.maximum(table, np.float32(0.2))
    return np.take(table, (depth * 8).astype(np.intp), mode="clip")


def _wall_light(smooth: Picture, crumb: Picture, px_per_mm: float) -> Picture:
    """The upper tenth of the light in windows of 4.5 mm, as a smooth surface."""
    import cv2

    height, width = smooth.shape
    k = max(1, round(px_per_mm / 5))
    rows, columns = smooth[::k, ::k], crumb[::k, ::k]
    side = max(6, round(4.5 * px_per_mm / k))
    hop = max(2, side // 3)
    pad = side
    values: Picture = np.where(columns, rows, -1.0).astype(np.float32)
    values = cv2.copyMakeBorder(values, pad, pad, pad, pad, cv2.BORDER_CONSTANT, value=-1.0)
    view = np.lib.stride_tricks.sliding_window_view(values, (side, side))[::hop, ::hop]
    flat = np.sort(view.reshape(*view.shape[:2], -1), axis=2)
    held = (flat >= 0).sum(2)
    at = side * side - 1 - np.round(0.1 * held).astype(int)
    top = np.take_along_axis(flat, np.clip(at, 0, side * side - 1)[..., None], 2)[..., 0]
    weight = np.where(held > 0.3 * side * side, held, 0).astype(np.float32)
    top = np.maximum(top, 0)
    for _ in range(3):  # what is much darker than the walls around lies wholly in a large cell
        around = cv2.GaussianBlur(weight * top, (0, 0), 4.0)
        dim = top * cv2.GaussianBlur(weight, (0, 0), 4.0) < _IN_A_CELL * around
        weight[dim] *= 0.01
    spread = cv2.GaussianBlur(weight, (0, 0), 1.5) + 1e-9
    grid = cv2.GaussianBlur(weight * top, (0, 0), 1.5) / spread
    # node (i, j) stands for the window centred at i·hop + (side − 1)/2 − pad
    shift, less = (pad - (side - 1) / 2) / hop, 1 / (k * hop)
    return cv2.warpAffine(grid, np.array([[less, 0, shift], [0, less, shift]]), (width, height),
                          flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
                          borderMode=cv2.BORDER_REPLICATE)  # fmt: skip


def blur_at(light: Picture, outline_px: Array, normal: Array, px_per_mm: float) -> float:
    """Return the blur in mm (standard deviation) of a sharp outline, NaN where it is not clear.

    A blurred step is fitted to the light along each line across the outline, its place, height
    and ground free; all lines share the blur. Lines that look least like a step (beside a grain,
    a thread) are left out: of those with a clear step, the best quarter counts.
    """
    some = slice(None, None, max(1, len(outline_px) // _MOST_LINES))
    outline_px, normal = outline_px[some], normal[some]
    lines = strip_of(light, outline_px, normal, _ACROSS_MM * px_per_mm)
    lines -= lines.mean(1, keepdims=True)
    near, steps, spread = _blurred_steps()
    mean = lines @ near.T
    square = np.square(lines) @ near.T - np.square(mean)
    both = (lines @ steps.reshape(-1, lines.shape[1]).T).reshape(len(lines), *spread.shape)
    rest = square[:, None] - np.square(both) / spread
    at = rest.argmin(2)[..., None]
    misfit = np.take_along_axis(rest, at, 2)[..., 0].T
    height = np.abs(np.take_along_axis(both / spread, at, 2)[..., 0].T)
    best = misfit.argmin(0), np.arange(len(lines))
    clear = height[best] > max(0.02, 0.6 * median(height[best]))
    unlike = misfit[best] / np.maximum(np.square(height[best]), 1e-9)
    if clear.sum() < _ENOUGH_LINES:
        return float("nan")
    first = max(_ENOUGH_LINES, int(clear.sum()) // 4)
    use = clear & (unlike <= np.sort(unlike[clear])[first - 1])
    shared = (misfit[:, use] / np.square(height[best][use])).mean(1)
    return float(_TRIED_MM[int(shared.argmin())])


@cache
def _blurred_steps() -> tuple[Picture, Picture, Picture]:
    """Steps at each place near `_ACROSS_MM`, to be multiplied with lines.

    What gives the mean over those that count for a step there (places, across); the covariance with
    a step (blurs, places, across); and each step's variance (blurs, places).
    """
    from scipy.special import erf

    away = _ACROSS_MM - np.arange(-0.3, 0.31, 0.02)[:, None]
    near = (np.abs(away) <= _REACH_MM).astype(float)
    near /= near.sum(1, keepdims=True)
    steps = 0.5 * (1 - erf(away / (_TRIED_MM[:, None, None] * np.sqrt(2))))
    steps -= (steps * near).sum(2, keepdims=True)
    spread = (np.square(steps) * near).sum(2)
    near, steps, spread = (v.astype(np.float32) for v in (near, steps * near, spread))
    return near, steps, spread


def restored(dark: Picture, px_per_mm: float, blur_mm: float, noise: float) -> Picture:
    """Return the picture with most of a normal blur taken back, so that thin walls come out.

    By the filter of least mean square error (Wiener 1949, from memory): blur / (blur² + noise).

    Parameters
    ----------
    dark : (height, width) float32
    px_per_mm : float
    blur_mm : float
        Standard deviation.
    noise : float
        Power of the noise over that of the picture: the more, the less is taken back.

    Examples
    --------
    >>> wall = np.repeat([[1.0, 1.0, 1.0, 0.4, 1.0, 1.0, 1.0]], 7, axis=0).astype(np.float32)
    >>> bool(restored(wall, 1.0, 1.0, 0.03)[3, 3] < 0.2)
    True
    """
    import cv2

    sd = blur_mm * px_per_mm
    n = 2 * math.ceil(5 * sd) + 1
    squared = np.square(np.fft.fftfreq(n))
    passed = np.exp(-2 * (np.pi * sd) ** 2 * (squared[:, None] + squared))
    kernel = np.fft.fftshift(np.fft.ifft2(passed / (passed**2 + noise)).real)
    # all waves at once take a third of the time of OpenCV's filter, which goes by tiles
    (height, width), about = dark.shape, n // 2
    tall, wide = (cv2.getOptimalDFTSize(side + n - 1) for side in dark.shape)
    room = (about, tall - height - about, about, wide - width - about)
    own = np.zeros((tall, wide), np.float32)
    own[:n, :n] = kernel / kernel.sum()
    waves = cv2.dft(cv2.copyMakeBorder(dark, *room, cv2.BORDER_REFLECT))
    sharp = cv2.idft(cv2.mulSpectrums(waves, cv2.dft(own), 0), flags=cv2.DFT_SCALE)
    return np.ascontiguousarray(sharp[n - 1 : n - 1 + height, n - 1 : n - 1 + width])


def rim_level(
    dark: Picture, depth_px: Picture, px_per_mm: float, blur_mm: float
) -> tuple[Rim, Picture]:
    """Find the darkness at which cells begin, and the picture it is a level of.

    The edge is found on `dark`; its level is told of the picture restored as far as the wall's
    noise stays well below that level.

    Parameters
    ----------
    dark : (height, width) float32
        From `darkness`.
    depth_px : (height, width) float32
        Distance from the crumb's edge, 0 outside.
    px_per_mm : float
    blur_mm : float
        What is known of the blur, the smoothing of `darkness` included.

    Returns
    -------
    Rim
    sharp : (height, width) float32
    """
    import cv2

    crumb, inner = depth_px > 0, depth_px > _OFF_EDGE_MM * px_per_mm
    deep = quantile(dark[inner if inner.any() else crumb][::7], 0.98)
    steady = cv2.GaussianBlur(dark, (0, 0), _STEADY_MM * px_per_mm)
    mask = (steady > _START * deep) & crumb
    at, use, x, n, wall = _across(mask, crumb, px_per_mm)
    y = _means(dark, at, use, n)
    ok = n > 20
    if ok.sum() < 8 or deep < 0.02:
        rim = Rim(_START * deep, 0.12 * deep, np.nan, blur_mm, 0.0, 0.0, deep)
        return rim, dark
    edges = likely_edges(x[ok], y[ok], n[ok], blur_mm)
    for power in (*RESTORE, None):
        sharp = dark if power is None else restored(dark, px_per_mm, blur_mm, power)
        z = _means(sharp, at, use, n)[ok]
        found, u = edges.level(x[ok], z)
        on_wall = sharp.ravel()[wall]
        middle, noise = middle_and_spread(on_wall)
        if found > middle + CLEAR * noise:
            break
    raised = min(middle + CLEAR * noise, 1.6 * found)
    level = min(max(found, raised, 0.06 * deep), 0.75 * deep)
    u += 0.5 * (level - found)
    return Rim(level, u, edges.step, edges.blur_mm, middle, noise, deep), sharp


def middle_and_spread(values: Picture) -> tuple[float, float]:
    """Median, and the standard deviation that the median deviation from it stands for; 0, 0."""
    if not len(values):
        return 0.0, 0.0
    middle = median(values)
    return middle, 1.48 * median(np.abs(values - middle))


def _across(mask: Picture, crumb: Picture, px_per_mm: float) -> tuple[Any, ...]:
    """Sort pixels by distance from the edge of cells that are wide, beside walls that are.

    Returns
    -------
    at, use : bin of each pixel that counts, and where those are, counted along the rows
    x, n : mean distance in mm and number, a bin
    wall : where pixels well inside walls are, every third of them
    """
    import cv2

    step = 0.5 / px_per_mm
    lo, hi = int(-0.45 / step), int(0.4 / step)
    bins = hi - lo + 1
    inward = cv2.distanceTransform(mask.view(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_5)
    outward = cv2.distanceTransform((~mask & crumb).view(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_5)
    # one of both is 0; what lies further off than the first and the last bin does not count
    inside = crumb & (inward < hi / 2 + 1) & (outward <= (1 - lo) / 2)
    for wide_in, wide_out in ((0.3, 0.25), (0.2, 0.15), (0.12, 0.1)):
        near_in, near_out = _near(inward, wide_in * px_per_mm), _near(outward, wide_out * px_per_mm)
        used = np.flatnonzero(inside & ((mask & near_in) | (~mask & near_out)))
        if len(used) > 3000:
            break
    signed = 2 * (inward.ravel()[used] - outward.ravel()[used])
    signed += np.where(mask.ravel()[used], np.float32(-1), np.float32(1))
    at_used = np.floor(signed).astype(np.intp) - lo
    n = np.bincount(at_used, minlength=bins).astype(float)
    x = np.bincount(at_used, signed, bins) / np.maximum(n, 1) * step
    wall = np.flatnonzero(outward > (wide_out + 0.1) * px_per_mm)[::3]
    return at_used, used, x, n, wall


def _means(picture: Picture, at: Any, use: Any, many: Array) -> Array:
    return np.bincount(at, picture.ravel()[use], len(many)) / np.maximum(many, 1)


def _near(distance: Picture, wide: float) -> Picture:
    """Pixels within reach of the middle of what is wide enough."""
    import cv2

    return cv2.dilate((distance > wide).astype(np.uint8), disc_element(wide + 1)) > 0
