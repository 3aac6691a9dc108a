"""The colour of one round face: where it ends, its mean, its dark share, how uneven, how surely."""

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kit.errors import InputError
from kit.photo.browned.grey_patch import inside
from kit.photo.browned.light import Light
from kit.photo.pixels.colour import to_lab
from kit.photo.pixels.strip import closed_path
from kit.photo.value import Value, combined

__all__ = ["DARK", "Face", "measure_face"]

Array = NDArray[np.float64]

#: Darker than this L* counts as dark: deep brown to black (our convention, no source).
DARK = 35.0

_SAMPLE = 1200  # pixels of a face on which uncertainties are worked out
_LOCAL = 0.006  # unevenness of light over a face that no plane follows, in ln of light
_U_OUTLINE, _U_MARKED = 0.015, 0.005  # of a face's radius: found, marked by hand
#: Blur and JPEG even out fine spots, which moves the mean of L*, a*, b* a little
_U_TEXTURE = (0.08, 0.1, 0.15)
_U_DARK = 1.5  # L* by which blur and noise move single pixels near the limit of dark
_RIM_PX, _RIM = 2.0, 0.02  # mixed with the ground: pixels, and share of the radius
_TILES = 8  # a face is as many tiles wide for its unevenness
_BURNT = 254
_DOUBTFUL = 0.05  # of the radius

# of the search for the outline
_WORK_PX = 150  # longer side of the picture in which colours are told apart
_DIRECTIONS, _RADII = 96, 120
_JUMP = 1  # steps of radius between neighbouring directions
_TURN = np.linspace(0, 2 * np.pi, _DIRECTIONS, endpoint=False)
_ROUNDS = 5
# shares of the box's half: surely face, likely face, surely ground
_SURE, _LIKELY, _SURELY_OUT = 0.45, 0.9, 1.12
# as shares of the radius: how far off the box's middle, how far from round, how far one end lies
# off, its neighbours with it
_WAVES, _SHIFTED, _OUT_OF_ROUND, _NOISE = 6, 0.1, 0.03, 0.08
_FAR = 0.06  # of the radius: ends further off the round line do not count


@dataclass(frozen=True)
class Face:
    """The colour of one face.

    Parameters
    ----------
    lightness, a, b : Value
        Means of L*, a*, b* over the face: 0 black to 100 white; green to red; blue to yellow.
    dark_fraction : Value
        Share of the face darker than `DARK`.
    unevenness : Value
        Standard deviation of L* between tiles an eighth of the face wide.
    outline : (n, 2) array
        In pixels of the photo.
    notes : tuple of str
    """

    lightness: Value
    a: Value
    b: Value
    dark_fraction: Value
    unevenness: Value
    outline: Array = field(repr=False)
    notes: tuple[str, ...] = ()
    #: how L*, a*, b* move with each standard step of light and curve, which faces share: (r, 3)
    _shift: Array = field(default_factory=lambda: np.zeros((0, 3)), repr=False)

    @property
    def lab(self) -> Array:
        """L*, a*, b*."""
        return np.array([self.lightness.value, self.a.value, self.b.value])


def measure_face(
    pixels: Any, k: float, region: Array, boxed: bool, light: Light, name: str
) -> Face:
    """Measure one face.

    Parameters
    ----------
    pixels : (h, w, 3) uint8
        The photo, reduced `k` times.
    k : float
    region : (n, 2) array
        Corners of a box or an outline, in pixels of the full photo.
    boxed : bool
        Whether the face has still to be found in the region.
    light : Light
    name : str
        What errors call it.

    Raises
    ------
    InputError
        The region holds too little of the photo.
    """
    notes, u_outline = [], _U_MARKED
    polygon = (region + 0.5) / k - 0.5
    _filled(polygon, pixels, region, name)
    if boxed:
        box = np.concatenate([polygon.min(0), polygon.max(0)])
        polygon, doubt = _outline(pixels, box)
        u_outline = max(_U_OUTLINE, doubt)
        if doubt > _DOUBTFUL:
            notes.append("its edge hardly differs from the ground: look at the outline")
    rows, columns = _filled(polygon, pixels, region, name)
    own = pixels[rows, columns]
    burnt = float((own >= _BURNT).any(1).mean())
    if burnt > 0.02:
        notes.append(f"{100 * burnt:.0f} % of it shines or is burnt out: it reads too light there")
    level: Array = np.asarray(own / 255.0, float)
    xy: Array = np.asarray((np.stack([columns, rows], 1) + 0.5) * k - 0.5, float)
    weight, ring = _without_rim(rows, columns)
    lab = to_lab(light.reflectance(level, xy))
    mean = np.average(lab, axis=0, weights=weight)
    edge = np.abs(lab[ring].mean(0) - mean) * 2 * u_outline
    some = slice(None, None, max(1, len(level) // _SAMPLE))
    shift, local = _shifts(light, level[some], xy[some], weight[some])
    values = [
        combined(
            mean[c],
            light=float(np.linalg.norm(shift[:, c])),
            unevenness=local[c],
            outline=edge[c],
            texture=_U_TEXTURE[c],
        )
        for c in range(3)
    ]
    return Face(
        lightness=values[0],
        a=values[1],
        b=values[2],
        dark_fraction=_dark(lab[:, 0], weight, values[0].u),
        unevenness=_uneven(lab[:, 0], rows, columns),
        outline=(polygon + 0.5) * k - 0.5,
        notes=tuple(notes),
        _shift=shift,
    )


def _filled(polygon: Array, pixels: Any, region: Array, name: str) -> Any:
    """Rows and columns of the pixels in a polygon, which must hold some."""
    rows, columns = inside(polygon, *pixels.shape[1::-1])
    if len(rows) < 100:
        rule = "must lie in the photo and hold at least 100 pixels"
        raise InputError(name, np.round(region).tolist(), rule, "Mark it again.")
    return rows, columns


def _without_rim(
    rows: NDArray[np.intp], columns: NDArray[np.intp]
) -> tuple[Array, NDArray[np.bool_]]:
    """Weights of a face's pixels, and which are the ring inside its rim.

    At the rim the lens mixes face and ground: those pixels are left out, and the ring inside
    them, which looks most like them, counts for them.
    """
    import cv2

    mask = np.zeros((int(np.ptp(rows)) + 3, int(np.ptp(columns)) + 3), np.uint8)
    mask[rows - rows.min() + 1, columns - columns.min() + 1] = 1
    depth = cv2.distanceTransform(mask, cv2.DIST_L2, 5)
    deep = np.asarray(depth[rows - rows.min() + 1, columns - columns.min() + 1])
    rim = max(_RIM_PX, _RIM * float(deep.max()))
    ring = (deep > rim) & (deep <= 2.5 * rim)
    weight = (deep > rim).astype(float)
    weight[ring] += (deep <= rim).sum() / max(1, int(ring.sum()))
    return weight, ring


def _shifts(light: Light, level: Array, xy: Array, weight: Array) -> tuple[Array, Array]:
    """How the mean colour moves with light and curve, and with light uneven over the face.

    The first (r, 3) for each standard step of light and curve, the second (3,).
    """
    reflected = light.reflector(level, xy)

    def mean(theta: Array, more: float = 1.0) -> Array:
        lab = to_lab(more * reflected(theta))
        return np.asarray(np.average(lab, axis=0, weights=weight))

    steps = [mean(light.theta + d) - mean(light.theta - d) for d in light.directions.T]
    local = np.abs(mean(light.theta, np.exp(_LOCAL)) - mean(light.theta))
    return np.array(steps) / 2, local


def _dark(lightness: Array, weight: Array, u: float) -> Value:
    def moved(by: float) -> float:
        return float(np.average(lightness < DARK + by, weights=weight))

    parts = {"light": u, "texture": _U_DARK}
    changes = {name: (moved(by) - moved(-by)) / 2 for name, by in parts.items()}
    return combined(moved(0.0), "", step=0.002, **changes)


def _uneven(lightness: Array, rows: NDArray[np.intp], columns: NDArray[np.intp]) -> Value:
    """Spread of L* between tiles; single pixels' noise averages out."""
    tile_px = max(np.ptp(rows), np.ptp(columns)) / _TILES + 1e-9
    tile = ((rows - rows.min()) // tile_px * 100 + (columns - columns.min()) // tile_px).astype(int)
    count = np.bincount(tile)
    means = np.bincount(tile, lightness)[count > 0] / count[count > 0]
    full = count[count > 0] > 0.5 * count.max()
    if full.sum() < 3:
        return Value(float("nan"), float("nan"))
    spread = float(means[full].std(ddof=1))
    return combined(spread, "", tiles=spread / np.sqrt(2 * (full.sum() - 1)))


def _outline(pixels: NDArray[np.uint8], box: Array) -> tuple[Array, float]:
    """Outline (n, 2) of the face that fills most of a box, and how far its radius may be off.

    Colour tells face from ground (GrabCut: Rother, Kolmogorov and Blake 2004), and one closed line
    around the middle, which may not jump, settles where: the best such line by dynamic programming
    over directions. Its radius may be off by the share by which colour and roundness disagree.
    """
    import cv2

    x0, y0, x1, y1 = box
    margin = 0.12 * max(x1 - x0, y1 - y0)
    height, width = pixels.shape[:2]
    left, top = max(0, int(x0 - margin)), max(0, int(y0 - margin))
    right, bottom = min(width, int(x1 + margin) + 2), min(height, int(y1 + margin) + 2)
    crop = pixels[top:bottom, left:right]
    k = max(crop.shape[:2]) / _WORK_PX
    size = (max(8, round(crop.shape[1] / k)), max(8, round(crop.shape[0] / k)))
    how = cv2.INTER_AREA if k > 1 else cv2.INTER_LINEAR
    small = np.asarray(cv2.resize(crop, size, interpolation=how), np.uint8)
    factor = np.array([crop.shape[1] / size[0], crop.shape[0] / size[1]])
    low = (np.array([x0, y0]) - (left, top) + 0.5) / factor - 0.5
    high = (np.array([x1, y1]) - (left, top) + 0.5) / factor - 0.5
    mid, half = (low + high) / 2, (high - low) / 2
    y, x = np.mgrid[: size[1], : size[0]]
    across, down = (x - mid[0]) / half[0], (y - mid[1]) / half[1]
    boxed = (np.abs(across) <= 1) & (np.abs(down) <= 1)
    ends, doubt = _around(_by_colour(small, np.hypot(across, down), boxed), mid, half)
    outline = mid + ends[:, None] * np.stack([np.cos(_TURN), np.sin(_TURN)], 1) * half
    return (outline + 0.5) * factor - 0.5 + (left, top), doubt


def _by_colour(small: NDArray[np.uint8], out: Array, boxed: NDArray[np.bool_]) -> Array:
    """1 where a pixel's colour is more the face's than the ground's, softly.

    `out` is the distance from the middle of the box, in halves of it.
    """
    import cv2

    mask = np.full(small.shape[:2], cv2.GC_PR_FGD, np.uint8)
    mask[out > _LIKELY] = cv2.GC_PR_BGD
    mask[~boxed | (out > _SURELY_OUT)] = cv2.GC_BGD
    mask[out < _SURE] = cv2.GC_FGD
    if not (mask == cv2.GC_BGD).any():
        return np.asarray(out < 1, float)
    cv2.setRNGSeed(1)  # its k-means starts at random
    ground, face = np.zeros((1, 65)), np.zeros((1, 65))
    whole = (0, 0, 1, 1)  # not looked at where a mask is given
    cv2.grabCut(small, mask, whole, ground, face, _ROUNDS, cv2.GC_INIT_WITH_MASK)
    own = np.isin(mask, (cv2.GC_FGD, cv2.GC_PR_FGD)).astype(np.float32)
    return np.asarray(cv2.GaussianBlur(own, (0, 0), 1.0), float)


def _around(face: Array, mid: Array, half: Array) -> tuple[Array, float]:
    """The closed line around `mid` that has most face inside and most ground outside.

    Its radius in each direction, in half boxes, and how far the radius may be off.
    """
    from scipy.ndimage import map_coordinates

    radius = (np.arange(_RADII) + 0.5) / _RADII * 1.2
    across = np.stack([np.cos(_TURN), np.sin(_TURN)], 1) * half
    at = mid + radius[None, :, None] * across[:, None, :]  # (directions, radii, 2)
    seen = map_coordinates(face, [at[..., 1], at[..., 0]], order=1, mode="nearest")
    gain = np.cumsum((2 * seen - 1) * radius, axis=1)  # of ending the face at a radius
    ends = (closed_path(-gain, _JUMP, 0.0) + 1) / _RADII * 1.2
    smooth = _rounded(ends)
    doubt = float(np.sqrt(np.mean((ends - smooth) ** 2)))
    return smooth, doubt


def _rounded(ends: Array) -> Array:
    """A round line through most of the ends: bites of ground-coloured face are outvoted."""
    waves = np.arange(1, _WAVES + 1)[:, None] * _TURN
    terms = np.concatenate([np.ones((1, _DIRECTIONS)), np.cos(waves), np.sin(waves)]).T
    weight = np.ones(_DIRECTIONS)
    order = np.arange(1, _WAVES + 1)
    size = np.where(order == 1, _SHIFTED, _OUT_OF_ROUND / order)  # of each wave, expected
    held = np.diag(np.concatenate([[0.0], size**-2.0, size**-2.0])) * _NOISE**2
    for _ in range(20):
        heavy = weight[:, None] * terms
        fit = np.linalg.solve(heavy.T @ terms + held, heavy.T @ ends)
        away = ends - terms @ fit
        weight = np.maximum(1 - (away / _FAR) ** 2, 0) ** 2 + 1e-3  # Tukey's biweight
    return np.asarray(terms @ fit)
