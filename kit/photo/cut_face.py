"""The crumb of a cut face: how open it is, how many cells, how large, how even.

Rectify, outline the face (`face`), take the crust off, tell darkness against the wall near by and
find where cells begin (`darkness`), count (`cells`). What was found can be corrected and counted
again without looking for everything anew (`Crumb.again`).
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from kit.errors import DataError, InputError
from kit.given import as_number
from kit.photo.crumbs import darkness
from kit.photo.crumbs import figures as crumb_figures
from kit.photo.crumbs import words as crumb_words
from kit.photo.crumbs.seen_cells import see_cells
from kit.photo.faces import cut_side, square_on
from kit.photo.faces import face as faces
from kit.photo.pixels.pieces import disc_element
from kit.photo.pixels.strip import filled, normals, perimeter, resampled
from kit.photo.value import Value, combined
from kit.shown import Telling, Told

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

__all__ = ["Crumb", "crumb"]

Array = NDArray[np.float64]
Picture = NDArray[Any]

#: Resolution of the rectified picture: more pixels show no thinner walls on a phone's photo, with
#: fewer the sides of a wall, told in pixels, lie too near to it.
FINE_PX_PER_MM = 14.0
#: Decoded at least as fine as this.
DECODED_PX_PER_MM = 12.5
#: Resolution the face is looked for at.
COARSE_PX_PER_MM = 6.0
LEAST_PX_PER_MM = 3.0
#: How far off an outline may be (standard uncertainty) where a crust was not seen, and by hand.
UNSEEN_MM, MARKED_MM = 0.8, 0.1
#: Cells are looked for on the crumb and so much about it.
ROOM_MM = 1.0


@dataclass(frozen=True)
class _Sheet:
    """What stays when a threshold, an outline or a crust is corrected."""

    light: Picture
    overview: Picture
    px_per_mm: float
    seen_px_per_mm: float  # of the photo, as far as they tell more
    coarse_px_per_mm: float
    transform: Array  # from pixels of `light` to pixels of the photo
    coarse: Array  # from pixels of `overview` to pixels of the photo
    u_scale: Value
    kind: str
    by_hand: tuple[str, ...] = ()
    found: faces.Face | None = None  # its outline in pixels of `overview`


@dataclass(frozen=True)
class Crumb(Told):
    """The crumb of one cut face. Each `Value` with the uncertainty of measuring *this* face.

    How far another slice of the same piece would differ is `slice_u`.

    Parameters
    ----------
    openness : Value
        Share of the crumb's area that is cells of 0.10 mm² or more; pieces too near the crust to
        be told from it are made up for (`cells.with_fringe`).
    cells_per_cm2 : Value
        Small cells count for those of their size that the blur hides (`cells.seen_share`), and
        pieces too near the crust are made up for here as well.
    median_cell_mm2, mean_cell_mm2, area_weighted_cell_mm2 : Value
        Area of cells; area-weighted: of the cell that a random open point lies in.
    cell_10_mm2, cell_90_mm2, largest_cell_mm2 : Value
        A tenth, nine tenths of the cells are smaller; the largest.
    wall_chord_mm : Value
        Mean length of wall along rows and columns.
    aspect, direction : Value
        Long over short axis; degrees from across towards upright. Weighted by area.
    tile_cv : Value
        Standard deviation over mean of the openness of 10 mm tiles at least 70 % crumb.
    face_mm2, crumb_mm2 : Value
    mask : (height, width) bool
        Cells on the rectified picture.
    crumb_mask : (height, width) bool
    transform : (3, 3) array
        From pixels of the masks to pixels of the photo.
    face : (n, 2) array
        Outline in pixels of the photo.
    crust_mm : float
        Mean depth taken off.
    threshold : float
        A point counts as open where it is darker than the wall near by by more than this share
        of the wall's light; less for cells paler than others of their size, more for darker ones
        (`own_levels`).
    px_per_mm : float
        Of the masks.
    cells : int
        As many as were found.
    slice_u : dict of str to float
        Standard uncertainty that comes on top when the figure is to speak for the whole piece.
    checks : tuple of str
    by_hand : tuple of str
        What was given: "outline", "threshold", "crust".
    """

    openness: Value
    cells_per_cm2: Value
    median_cell_mm2: Value
    mean_cell_mm2: Value
    area_weighted_cell_mm2: Value
    cell_10_mm2: Value
    cell_90_mm2: Value
    largest_cell_mm2: Value
    wall_chord_mm: Value
    aspect: Value
    direction: Value
    tile_cv: Value
    face_mm2: Value
    crumb_mm2: Value
    mask: Picture = field(repr=False)
    crumb_mask: Picture = field(repr=False)
    transform: Array = field(repr=False)
    face: Array = field(repr=False)
    crust_mm: float
    threshold: float
    px_per_mm: float
    cells: int
    slice_u: Mapping[str, float]
    rim: darkness.Rim = field(repr=False)
    checks: tuple[str, ...]
    by_hand: tuple[str, ...]
    sheet: _Sheet = field(repr=False)

    @property
    def values(self) -> dict[str, Value]:
        """All values by name."""
        return {k: v for k, v in vars(self).items() if isinstance(v, Value)}

    @property
    def headline(self) -> str:
        """How open, in a sentence."""
        return crumb_words.headline(self)

    @property
    def sentence(self) -> str:
        """Number and size of cells, and how even."""
        return crumb_words.story(self)

    @property
    def method(self) -> str:
        """How cells were told from walls: threshold, scale, smallest cell."""
        return crumb_words.method(self)

    def again(
        self, *, outline: Any = None, threshold: float | None = None, crust_mm: float | None = None
    ) -> "Crumb":
        """Count again with a corrected outline (pixels of the photo), threshold or crust.

        Raises
        ------
        InputError
            An outline of fewer than three points, a threshold outside 0 to 1, a crust below 0.
        """
        given = {"outline": outline, "threshold": threshold, "crust": crust_mm}
        fresh = tuple(k for k, v in given.items() if v is not None)
        sheet = replace(
            self.sheet,
            by_hand=tuple(dict.fromkeys((*self.by_hand, *fresh))),
            found=self.sheet.found if outline is None else None,
        )
        path = self.face if outline is None else _checked_outline(outline)
        if threshold is None and "threshold" in self.by_hand:
            threshold = self.threshold
        if crust_mm is None and "crust" in self.by_hand:
            crust_mm = self.crust_mm
        return _counted(sheet, path, _checked_threshold(threshold), _checked_crust(crust_mm))

    def __repr__(self) -> str:
        return (
            f"<Crumb openness {self.openness}, {self.cells_per_cm2.value:.3g} cells/cm², "
            f"median {self.median_cell_mm2.value:.3g} mm²>"
        )

    def tells(self) -> Telling:
        """What it says."""
        return Telling(self.headline, (self.sentence,), self.checks, self.method)

    def to_frame(self) -> "pd.DataFrame":
        """One row a value: ``name, value, u, unit, slice_u``."""
        import pandas as pd

        rows = [
            (k, v.value, v.u, v.unit, self.slice_u.get(k, np.nan)) for k, v in self.values.items()
        ]
        return pd.DataFrame(rows, columns=["name", "value", "u", "unit", "slice_u"])

    def plot(self, ax: "Axes | None" = None) -> "Axes":
        """Draw the cells over the cut face, with its outline."""
        from kit import charts

        return charts.crumb(self, ax)


def crumb(
    photo: Any,
    scale: Any,
    box: Any = None,
    crust_mm: float | None = None,
    outline: Any = None,
    threshold: float | None = None,
) -> Crumb:
    """Measure the crumb of a cut face.

    Parameters
    ----------
    photo : Photo
    scale : Scale
        Of the plane the cut face lies in (its `offset_mm` says how far above the reference).
    box : (x0, y0, x1, y1), optional
        About the face, in pixels of the photo, with some ground all round.
    crust_mm : float, optional
        To take off all round; found where it is not given.
    outline : (n, 2) array, optional
        Of the face, in pixels of the photo; found where it is not given.
    threshold : float, optional
        Share of the wall's light by which a cell is darker, 0 to 1; found where it is not given.

    Returns
    -------
    Crumb

    Raises
    ------
    DataError
        No face, a face cut off by the picture, too few pixels, or hardly any light and dark.
    InputError
        A box, outline, crust or threshold that cannot be.
    """
    given = {"outline": outline, "threshold": threshold, "crust": crust_mm}
    crust_mm, threshold = _checked_crust(crust_mm), _checked_threshold(threshold)
    path = None if outline is None else _checked_outline(outline)
    window = square_on.in_window(scale) if path is None else None
    region = square_on.region(photo, window if box is None else box, path)
    seen = square_on.decoded(photo, scale, region, DECODED_PX_PER_MM)
    view, coarse, fine = square_on.square_on(seen, scale, region, COARSE_PX_PER_MM, 900)
    found: faces.Face | None = None
    if path is None:
        found = faces.find_face(
            view, fine, *square_on.kept_out(photo, scale, box, coarse, view.shape)
        )
        side = cut_side.side_mm(scale, square_on.moved(coarse, found.outline_px))
        found = cut_side.without_side(view, fine, found, side)
        path = square_on.moved(coarse, found.outline_px)
    own = 1 / float(np.mean(scale.mm_per_px_at(path)))
    if own < LEAST_PX_PER_MM:
        msg = (
            f"the cut face has {own:.1f} pixels to a millimetre and walls of crumb are a fifth of "
            "one: photograph it from nearer by, so that it fills the picture, or scan it."
        )
        raise DataError(msg)
    around = path + 0.04 * (path - path.mean(0))
    corners = (around.min(0), around.max(0))
    pixels, transform, px_per_mm = square_on.square_on(seen, scale, corners, FINE_PX_PER_MM, 4000)
    sheet = _Sheet(
        light=darkness.linear_light(pixels), overview=view, px_per_mm=px_per_mm,
        seen_px_per_mm=min(px_per_mm, own / seen[1]), coarse_px_per_mm=fine, coarse=coarse,
        transform=transform, u_scale=scale.u_at(path[::20]), kind=scale.kind, found=found,
        by_hand=tuple(k for k, v in given.items() if v is not None),
    )  # fmt: skip
    return _counted(sheet, path, threshold, crust_mm)


def _counted(sheet: _Sheet, path: Array, threshold: float | None, crust_mm: float | None) -> Crumb:
    """Take the crust off, find the level, count, and see how much each cause moves the count."""
    import cv2

    p, seen = sheet.px_per_mm, sheet.seen_px_per_mm
    on_sheet = square_on.moved(np.linalg.inv(sheet.transform), path)
    out = normals(on_sheet)
    # filling takes in the pixels an outline runs through: half a pixel too many all round
    face = filled(sheet.light.shape, on_sheet - 0.5 * out)
    face_px = int(np.count_nonzero(face))
    if face_px < faces.LEAST_MM2 * p**2 * 0.2:
        raise InputError("outline", len(path), "must hold at least 50 mm² of the picture")
    own = sheet.found
    checks = list(own.notes) if own else []
    u_edge = own.u_px / sheet.coarse_px_per_mm if own else MARKED_MM
    if crust_mm is None:
        ring = square_on.moved(np.linalg.inv(sheet.coarse), path)
        depth, u_crust = (
            (own.crust_mm, own.u_crust_mm)
            if own
            else faces.crust_depth(faces.lab_of(sheet.overview), sheet.coarse_px_per_mm, ring)
        )
        if np.mean(depth < faces.LEAST_CRUST_MM) > 0.5:
            u_edge = max(u_edge, UNSEEN_MM)
            checks.append(
                "hardly any crust was seen: if there is one, the outline may run along its inner "
                "edge. Correct the outline, or lay the face on a board of another colour"
            )
    else:
        depth, u_crust = np.full(len(path), crust_mm), 0.1
    inner = on_sheet - out * (depth * p)[:, None]
    crumb_mask = filled(face.shape, inner - 0.5 * out) & face
    if np.count_nonzero(crumb_mask) < 0.2 * face_px:
        raise InputError("crust_mm", float(depth.mean()), "must leave some crumb")
    edge = darkness.blur_at(sheet.light, on_sheet, out, p)
    part = _about(crumb_mask, round(ROOM_MM * p))
    own_crumb = crumb_mask[part]
    cells = see_cells(sheet.light[part], own_crumb, p, seen, edge, threshold)
    found, rim = cells.found, cells.rim
    checks += crumb_words.cautions(cells, seen)
    band = cv2.erode(own_crumb.view(np.uint8), disc_element(max(1.0, u_crust * p))) > 0
    values = crumb_figures.values_of(cells, own_crumb, band, sheet.u_scale)
    x, y = on_sheet.T
    face_mm2 = 0.5 * abs(float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1)))) / p**2
    area = combined(face_mm2, "mm²", scale=2 * sheet.u_scale.u * face_mm2,
                    outline=perimeter(on_sheet) / p * u_edge)  # fmt: skip
    crumb_area = combined(found.crumb_mm2, "mm²", scale=2 * sheet.u_scale.u * found.crumb_mm2,
                          crust=perimeter(inner) / p * u_crust)  # fmt: skip
    mask = np.zeros_like(crumb_mask)
    mask[part] = found.mask
    return Crumb(
        **values, face_mm2=area, crumb_mm2=crumb_area, mask=mask, crumb_mask=crumb_mask,
        transform=sheet.transform, face=path, crust_mm=float(depth.mean()), threshold=cells.level,
        px_per_mm=p, cells=len(found.area_mm2), rim=rim,
        slice_u=crumb_figures.slice_u(found, own_crumb), checks=tuple(checks),
        by_hand=sheet.by_hand, sheet=sheet,
    )  # fmt: skip


def _about(mask: Picture, room: int) -> tuple[slice, slice]:
    """The part of a picture that a mask takes up, and so much about it."""
    rows, columns = np.flatnonzero(mask.any(1)), np.flatnonzero(mask.any(0))
    down, across = (slice(max(0, at[0] - room), at[-1] + 1 + room) for at in (rows, columns))
    return down, across


def _checked_outline(outline: Any) -> Array:
    path = np.asarray(outline, float)
    if path.ndim != 2 or path.shape[1] != 2 or len(path) < 3 or not np.isfinite(path).all():
        raise InputError("outline", np.shape(outline), "must be at least three points (x, y)")
    return resampled(path)


def _checked_threshold(threshold: float | None) -> float | None:
    if threshold is None:
        return None
    number = as_number(threshold)
    if number is None or not 0 < number < 1:
        raise InputError("threshold", threshold, "must lie between 0 and 1", "For example 0.12.")
    return number


def _checked_crust(crust_mm: float | None) -> float | None:
    if crust_mm is None:
        return None
    number = as_number(crust_mm)
    if number is None or not 0 <= number < 20:
        raise InputError("crust_mm", crust_mm, "must lie between 0 and 20 mm")
    return number
