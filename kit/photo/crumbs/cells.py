"""Cells on a mask: areas, walls, shape, and how even they lie. Counting only, no photo.

A cell is a set of open pixels joined by their edges (4-connectivity) of at least `SMALLEST_MM2`;
what is smaller belongs to the wall. Small cells are lost in blur: those that are found count for
the others of their size. Blur also shows small ones larger, which about evens out where cells are
ranked by size: there each one found counts once. Pieces that lie wholly beside the crust cannot be
told from it: edges drawn further in say how many there are.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kit.errors import InputError
from kit.photo.pixels.pieces import disc_element, pieces

__all__ = [
    "FRINGE_MM", "SMALLEST_MM2", "TILE_MM", "Cells", "find_cells", "seen_share",
    "tile_openness", "wall_chord", "with_fringe",
]  # fmt: skip

Mask = NDArray[np.bool_]
Array = NDArray[np.float64]
Picture = NDArray[Any]

SMALLEST_MM2 = 0.10
#: Open pixels that lie wholly within this of the crust may belong to it: its inner edge is ragged.
FRINGE_MM = 0.6
#: A narrower passage may be an unseen wall; a part is a cell if edges half as far in leave so much.
NECK_MM, LEAST_PART_MM2 = 0.3, 0.02
TILE_MM = 10.0
TILE_LEAST = 0.7


@dataclass(frozen=True)
class Cells:
    """Cells of one face.

    Parameters
    ----------
    mask : (height, width) bool
        Pixels of cells.
    area_mm2 : (n,) array
    crumb_mm2 : float
    px_per_mm : float
    labels : (height, width) int
    label_of : (n,) int
    weight : (n,) array
        How many cells of its size each one stands for: 1 where nothing is lost in blur.
    fringe_mm2 : (m,) array
        Areas of pieces that edges further in would leave of cells, as the crust's edge does.
    fringe_weight : float
        How many pieces left out at the edge each of these stands for.
    """

    mask: Mask
    area_mm2: Array
    crumb_mm2: float
    px_per_mm: float
    labels: NDArray[Any]
    label_of: NDArray[Any]
    weight: Array
    fringe_mm2: Array = field(default_factory=lambda: np.empty(0))
    fringe_weight: float = 0.0

    @property
    def openness(self) -> float:
        """Share of the crumb that is cells, what is left out at its edge made up for."""
        fringe = self.fringe_weight * self.fringe_mm2.sum() if len(self.area_mm2) else 0.0
        return float((self.area_mm2.sum() + fringe) / self.crumb_mm2)

    @property
    def per_cm2(self) -> float:
        """Cells per square centimetre of crumb."""
        return 100 * float(self._all[1].sum()) / self.crumb_mm2

    @property
    def _all(self) -> tuple[Array, Array]:
        """Areas, and how many cells each one stands for; none where none were found."""
        fringe = self.fringe_mm2 if len(self.area_mm2) else self.fringe_mm2[:0]
        own = np.full(len(fringe), self.fringe_weight)
        return np.concatenate([self.area_mm2, fringe]), np.concatenate([self.weight, own])

    def area_at(self, share: float, made_up: bool = False) -> float:
        """Area in mm² that `share` of the cells stay below; NaN without cells.

        Of the cells as found; of what each one stands for with `made_up`.
        """
        if not len(self.area_mm2):
            return np.nan
        area, w = self._all
        if not made_up:
            w = np.where(np.arange(len(w)) < len(self.weight), 1.0, w)
        order = np.argsort(area)
        area, w = area[order], w[order]
        below = np.cumsum(w) - 0.5 * w
        below -= below[0]
        if len(w) > 1:
            below /= below[-1]
        return float(np.interp(share, below, area))

    @property
    def mean_mm2(self) -> float:
        """Mean area."""
        if not len(self.area_mm2):
            return np.nan
        area, weight = self._all
        return float(np.average(area, weights=weight))

    @property
    def area_weighted_mm2(self) -> float:
        """Mean area of the cell a random open point lies in."""
        total = self.area_mm2.sum()
        return float((self.area_mm2**2).sum() / total) if total else np.nan

    @property
    def largest_mm2(self) -> float:
        """Area of the largest."""
        return float(self.area_mm2.max()) if len(self.area_mm2) else np.nan

    @property
    def shape(self) -> tuple[float, float]:
        """Aspect (long over short axis of the like ellipse) and direction, weighted by area.

        The direction is in degrees from across, turning towards upright, 0 to 180; the mean is
        that of doubled angles (Mardia and Jupp 2000, "Directional Statistics", section 1.2,
        from memory), each cell weighted by its area and by how far from round it is.
        """
        if not len(self.area_mm2):
            return np.nan, np.nan
        xx, yy, xy = self._moments().T
        half, turn = (xx + yy) / 2, np.hypot((xx - yy) / 2, xy)
        aspect = np.sqrt((half + turn) / np.maximum(half - turn, 1e-9))
        weight = self.area_mm2 / self.area_mm2.sum()
        # y points down in a picture: upright angles turn the other way
        double = np.arctan2(-2 * xy, xx - yy)
        flat = weight * turn / np.maximum(half, 1e-9)
        mean = np.arctan2((flat * np.sin(double)).sum(), (flat * np.cos(double)).sum()) / 2
        return float((weight * aspect).sum()), float(np.degrees(mean) % 180)

    def _moments(self) -> Array:
        """Second moments xx, yy, xy in px² of each cell; a pixel is a square, not a point."""
        own = np.full(int(self.labels.max()) + 1, -1)
        own[self.label_of] = np.arange(len(self.label_of))
        height, width = self.mask.shape
        place = np.flatnonzero(self.mask)
        y = np.repeat(np.arange(height), np.count_nonzero(self.mask, axis=1))
        of, x = own[self.labels.ravel()[place]], place - y * width
        n = np.bincount(of)
        dx, dy = (v - (np.bincount(of, v) / n)[of] for v in (x, y))
        xx, yy, xy = (np.bincount(of, w) / n for w in (dx * dx, dy * dy, dx * dy))
        return np.column_stack([xx + 1 / 12, yy + 1 / 12, xy])

    def at_necks(self) -> "Cells":
        """Return these cells as they were if passages narrower than `NECK_MM` were walls.

        For their sizes and their number: the mask is the same.
        """
        import cv2

        narrow = disc_element(NECK_MM / 2 * self.px_per_mm)
        parts = pieces(cv2.erode(self.mask.view(np.uint8), narrow).view(bool))
        label = np.zeros(len(parts.pixels), self.labels.dtype)
        label[parts.of] = self.labels.ravel()[parts.place]
        large = parts.pixels >= LEAST_PART_MM2 * self.px_per_mm**2
        of, pixels = np.searchsorted(self.label_of, label[large]), parts.pixels[large]
        of_all = np.bincount(of, pixels, len(self.area_mm2))
        # what is narrow all through stays as it is
        narrow = np.flatnonzero(of_all == 0)
        share = np.concatenate([pixels / of_all[of], np.ones(len(narrow))])
        of = np.concatenate([of, narrow])
        return replace(
            self, area_mm2=share * self.area_mm2[of], label_of=self.label_of[of],
            weight=self.weight[of],
        )  # fmt: skip


def find_cells(
    open_mask: Mask, crumb: Mask, px_per_mm: float, blur_mm: float = 0.0,
    smallest_mm2: float = SMALLEST_MM2, sure: Mask | None = None,
) -> Cells:  # fmt: skip
    """Find the cells among open pixels.

    Parameters
    ----------
    open_mask : (height, width) bool
        Pixels that are not wall; outside the crumb they are left out.
    crumb : (height, width) bool
    px_per_mm : float
    blur_mm : float
        Standard deviation of the blur the mask was seen through.
    smallest_mm2 : float
    sure : (height, width) bool, optional
        A cell must hold one of these pixels: clearly dark ones off the crust. What is dark beside
        the crust only is crust, however far in it fades. Without it, any pixel will do.

    Returns
    -------
    Cells

    Raises
    ------
    InputError
        The crumb is empty or the sizes differ.

    Examples
    --------
    >>> crumb = np.ones((40, 40), bool)
    >>> hole = np.zeros((40, 40), bool)
    >>> hole[10:20, 10:20] = True
    >>> cells = find_cells(hole, crumb, px_per_mm=10)
    >>> cells.area_mm2, cells.openness
    (array([1.]), 0.0625)
    """
    if open_mask.shape != crumb.shape:
        raise InputError("crumb", crumb.shape, f"must be as large as the mask, {open_mask.shape}")
    pixels = int(np.count_nonzero(crumb))
    if not pixels:
        raise InputError("crumb", 0, "must hold at least one pixel")
    found = pieces(open_mask & crumb)
    keep = found.pixels >= smallest_mm2 * px_per_mm**2 * (1 - 1e-9)
    keep[0] = False
    if sure is not None:
        keep &= found.hold(sure)
    mask = found.mask(keep)
    area_mm2 = found.pixels[keep] / px_per_mm**2
    return Cells(
        mask=mask,
        area_mm2=area_mm2,
        crumb_mm2=pixels / px_per_mm**2,
        px_per_mm=px_per_mm,
        labels=found.labels,
        label_of=np.nonzero(keep)[0],
        weight=1 / seen_share(area_mm2, blur_mm),
    )


def with_fringe(counts: Sequence[Cells], depth_px: Picture) -> list[Cells]:
    """Return counts of a crumb with what was left out along its edge made up for.

    Edges drawn further in, alongside the crumb's, cut cells as it does: as many pieces as lie
    wholly within the fringe of those edges lie, by length, within its own; fewer where its own
    fringe is less open than theirs, as where crumb beside the crust is dense.

    Parameters
    ----------
    counts : sequence of Cells
        The first tells what was left out of all.
    depth_px : (height, width) float32
        Distance from the crumb's edge.
    """
    cells = counts[0]
    wide = FRINGE_MM * cells.px_per_mm
    import cv2

    # of every eighth of a pixel of depth: 1 within a fringe, 2 just past it, 0 elsewhere
    step = 2 * wide + 3
    past = np.arange(int(8 * float(depth_px.max())) + 2) / 8
    own = past <= wide
    inner_own = own & (past > wide / 2)
    # the first pixel of the crumb lies half a pixel past its edge and has a depth of 1
    past = np.where(past >= step, past % step, np.inf) + 0.5
    table = np.where(past <= wide, 1, np.where(past <= wide + 1.5, 2, 0)).astype(np.uint8)
    inner = (past > wide / 2) & (past <= wide)
    eighths = (8 * depth_px).astype(np.uint16)
    many = cv2.calcHist([eighths], [0], None, [len(table)], [0, len(table)]).ravel()
    many[0] = 0
    drawn = int(many[table == 1].sum())
    place = np.flatnonzero(cells.mask)
    deep, kept = eighths.ravel()[place], np.zeros_like(cells.mask)
    kept.ravel()[place] = table[deep] > 0
    beside = pieces(kept)
    own_deep, through = eighths.ravel()[beside.place], np.zeros(len(beside.pixels), bool)
    through[beside.of[table[own_deep] == 2]] = True
    within = (beside.pixels >= SMALLEST_MM2 * cells.px_per_mm**2) & ~through
    within[0] = False
    area_mm2 = beside.pixels[within] / cells.px_per_mm**2
    stands = int(many[own].sum()) / drawn if drawn else 0.0
    # how open both are beside what is cut off
    here = np.count_nonzero(inner_own[deep]) / max(1, int(many[inner_own].sum()))
    cut_off = np.count_nonzero(through[beside.of] & inner[own_deep])
    there = cut_off / max(1, int(many[inner].sum()))
    stands *= min(1.0, here / there) if there else 1.0
    return [replace(c, fringe_mm2=area_mm2, fringe_weight=stands) for c in counts]


def seen_share(area_mm2: Array, blur_mm: float) -> Array:
    """Return the share of cells of an area that is found through a blur.

    Taken to be what stays of the darkness in the middle of a round cell, 1 − exp(−area / 2π·blur²)
    (in closed form for a normal blur): on drawn faces cells are lost about so. Each cell found
    then stands for 1 / share (Horvitz and Thompson 1952, from memory).

    Examples
    --------
    >>> seen_share(np.array([0.1, 0.3, 1.0]), blur_mm=0.15).round(2)
    array([0.51, 0.88, 1.  ])
    >>> seen_share(np.array([0.1]), blur_mm=0.0)
    array([1.])
    """
    if not blur_mm:
        return np.ones(len(area_mm2))
    return np.asarray(-np.expm1(-area_mm2 / (2 * np.pi * blur_mm**2)))


def wall_chord(wall: Mask) -> float:
    """Return the mean length in pixels of the runs of wall along all rows and columns.

    Examples
    --------
    >>> stripes = np.zeros((30, 30), bool)
    >>> stripes[:, ::3] = True                     # 1 px along rows, 30 px along columns
    >>> round(wall_chord(stripes), 3)
    1.935
    """
    if not wall.any():
        return np.nan
    across = np.count_nonzero(wall[:, 1:] & ~wall[:, :-1]) + np.count_nonzero(wall[:, 0])
    down = np.count_nonzero(wall[1:] & ~wall[:-1]) + np.count_nonzero(wall[0])
    return float(2 * np.count_nonzero(wall) / (across + down))


def tile_openness(cells: Mask, crumb: Mask, px_per_mm: float, tile_mm: float = TILE_MM) -> Array:
    """Return the openness of square tiles that are at least 70 % crumb.

    The tiles start at the crumb's left and upper edge.
    """
    import cv2

    y, x = np.nonzero(crumb.any(1))[0], np.nonzero(crumb.any(0))[0]
    if not len(y):
        return np.empty(0)
    side = tile_mm * px_per_mm
    height, width = y[-1] + 1 - y[0], x[-1] + 1 - x[0]
    part = (slice(y[0], y[-1] + 1), slice(x[0], x[-1] + 1))
    starts = [np.unique(np.round(np.arange(0, n, side)).astype(int)) for n in (height, width)]
    cuts = [at[at < n] for at, n in zip(starts, (height, width), strict=True)]

    down, across = (np.append(at, n) for at, n in zip(cuts, (height, width), strict=True))

    def sums(mask: Mask) -> Array:
        total = cv2.integral(mask[part].view(np.uint8))[np.ix_(down, across)]
        return np.asarray(np.diff(np.diff(total, axis=0), axis=1))

    whole = sums(crumb)
    full = whole >= TILE_LEAST * side**2
    return np.asarray(sums(cells & crumb)[full] / whole[full])
