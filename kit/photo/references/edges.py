"""Straight edges between bright and dark, placed to a small part of a pixel.

An edge is looked for where a first pose says it lies: profiles across it, in linear light,
averaged along it; its place is where the area under the mean profile puts a sharp step. That
is right for any blur that is the same on both sides, and for sharpening with equal over- and
undershoot.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from kit.photo.pixels.colour import luminance
from kit.photo.references.plane_fit import Marks

__all__ = ["Edges", "Patch", "halved", "linear_patch", "place_edges"]

Array = NDArray[np.float64]


class Edges(NamedTuple):
    """Straight edges known on a plane.

    Parameters
    ----------
    start, end : (n, 2) array
        In millimetres.
    bright : (n, 2) array
        Unit vectors toward the bright side, in the plane.
    room_mm : (n,) array
        How far on either side nothing else lies.
    """

    start: Array
    end: Array
    bright: Array
    room_mm: Array

    @classmethod
    def of_cells(cls, dark: NDArray[np.bool_], cell_mm: float, corner: Array) -> "Edges":
        """Return the edges between dark and bright cells of a grid, each one cell long.

        Parameters
        ----------
        dark : (rows, columns) bool array
        cell_mm : float
        corner : (2,) array
            Of the first cell, in millimetres.
        """
        parts = []
        for axis in (0, 1):
            cells = dark if axis == 0 else dark.T
            for i, j in zip(*np.nonzero(cells[1:] != cells[:-1]), strict=True):
                # the edge between rows i and i + 1, over column j
                toward = -1.0 if cells[i + 1, j] else 1.0
                row = [j, i + 1.0, j + 1.0, i + 1.0, 0.0, toward]
                parts.append(row if axis == 0 else [row[k] for k in (1, 0, 3, 2, 5, 4)])
        table = np.asarray(parts, float).reshape(-1, 6)
        start, end = table[:, :2] * cell_mm + corner, table[:, 2:4] * cell_mm + corner
        return cls(start, end, table[:, 4:], np.full(len(table), cell_mm))


@dataclass(frozen=True)
class Patch:
    """A part of the photo to sample in linear light.

    Parameters
    ----------
    pixels : (h, w, 3) uint8 array
    k : float
        Each is so many pixels of the photo wide.
    corner : (int, int)
        Of the part, in its own pixels.
    """

    pixels: NDArray[np.uint8]
    k: float
    corner: tuple[int, int]

    def own(self, px: Array) -> Array:
        """Return places of the photo in pixels of this part."""
        return np.asarray((np.asarray(px) + 0.5) / self.k - 0.5 - self.corner)

    def sample(self, px: Array) -> Array:
        """Return linear luminance, 0 to 1, at places (..., 2) of the photo."""
        import cv2

        at = self.own(px).astype(np.float32)
        flat = at.reshape(-1, at.shape[-2], 2)
        rgb = np.concatenate(  # OpenCV takes no more than 32767 rows at once
            [
                cv2.remap(self.pixels, part[..., 0], part[..., 1], cv2.INTER_LINEAR)
                for part in np.split(flat, range(30_000, len(flat), 30_000))
            ]
        )
        return luminance(rgb).reshape(at.shape[:-1])


#: what is this wide is placed as well as finer pixels would: edges are placed to a part of one
ENOUGH_PX = 14.0
#: how far on both sides an edge is looked at, at the most, in pixels
WIDEST_PX = 10.0
#: the picture in which references are looked for is at least so long, in pixels
LOOK_PX = 1600


def halved(photo: Any, least_px: float = LOOK_PX) -> int:
    """Return the photo's longer side halved as often as it stays this long: JPEG halves cheaply."""
    size = float(max(photo.width, photo.height))
    while size / 2 >= least_px:
        size /= 2
    return round(size)


def linear_patch(photo: Any, around: Array, margin_px: float, finest_px: float) -> Patch:
    """Return the part of a photo around points, no finer than needed.

    Parameters
    ----------
    photo : Photo
    around : (n, 2) array
        In pixels.
    margin_px : float
    finest_px : float
        Width of the smallest thing to be followed.
    """
    longest = max(photo.width, photo.height)
    size = halved(photo, max(LOOK_PX, longest * ENOUGH_PX / max(finest_px, 1e-9)))
    pixels, k = photo.reduced(size)
    low = np.floor((np.asarray(around).min(0) - margin_px) / k).astype(int)
    high = np.ceil((np.asarray(around).max(0) + margin_px) / k).astype(int) + 1
    x0, y0 = (max(0, int(v)) for v in low)
    return Patch(np.ascontiguousarray(pixels[y0 : high[1], x0 : high[0]]), k, (x0, y0))


def place_edges(
    patch: Patch, edges: Edges, project: Callable[[Array], Array]
) -> tuple[Marks, Array, Array]:
    """Find every edge near where `project` (millimetres to pixels) says it lies.

    Returns
    -------
    marks : Marks
        One for each edge that shows, at its middle.
    contrast : (m,) array
        Bright less dark, linear light, of those edges.
    width_px : (m,) array
        How wide each is blurred: standard deviation of the profile's slope.
    """
    ends = np.stack([project(edges.start), project(edges.end)])
    middle = (edges.start + edges.end) / 2
    tip = project(middle + edges.bright * edges.room_mm[:, None] * 0.25)
    along = ends[1] - ends[0]
    length = np.linalg.norm(along, axis=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        normal = np.column_stack([along[:, 1], -along[:, 0]]) / length[:, None]
    toward = ((tip - project(middle)) * normal).sum(1)
    room = 4 * np.abs(toward)
    normal = normal * np.sign(toward)[:, None]  # points to the bright side
    half = np.clip(0.42 * room, 2.0 * patch.k, WIDEST_PX * patch.k)
    high, wide = patch.pixels.shape[:2]
    lower = patch.own(np.minimum(ends[0], ends[1]) - half[:, None])
    upper = patch.own(np.maximum(ends[0], ends[1]) + half[:, None])
    shows = np.isfinite(ends).all((0, 2)) & (length > 2) & (lower > 0).all(1)
    shows &= (upper < [wide - 1, high - 1]).all(1)
    k, n = 16, 41
    share = np.linspace(-1, 1, n)
    step = np.linspace(0.14, 0.86, k)
    at = (
        ends[0][:, None, None]
        + step[None, :, None, None] * along[:, None, None]
        + share[None, None, :, None] * (half[:, None] * normal)[:, None, None]
    )
    profile = patch.sample(np.where(shows[:, None, None, None], at, 0.0)).mean(1)
    m = 7  # of 41 samples: the levels on both sides
    dark, bright = profile[:, :m].mean(1), profile[:, -m:].mean(1)
    contrast = bright - dark
    safe = np.where(np.abs(contrast) > 1e-4, contrast, 1.0)
    rise = (profile - dark[:, None]) / safe[:, None]
    slope = np.diff(rise, axis=1)
    centre = (share[1:] + share[:-1]) / 2
    place = (slope * centre).sum(1)
    width = np.sqrt(np.maximum((slope * (centre - place[:, None]) ** 2).sum(1), 0.0)) * half
    shows &= (contrast > 0.04) & (np.abs(place) < 0.6)
    px = project(middle) + normal * (place * half)[:, None]
    marks = Marks(middle[shows], px[shows], normal[shows], np.ones(int(shows.sum())))
    return marks, contrast[shows], width[shows]
