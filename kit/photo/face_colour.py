"""The colour of one face: its mean L*, a*, b*, its dark share, how uneven it is, how surely."""

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kit.errors import InputError
from kit.photo.colour import to_lab
from kit.photo.face_outline import find_face
from kit.photo.grey_patch import inside
from kit.photo.light import Light
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
        polygon, doubt = find_face(pixels, box)
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
