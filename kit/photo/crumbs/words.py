"""What a crumb says, in words for a baker."""

from typing import TYPE_CHECKING

from kit.photo.crumbs import pale_cells, side_light
from kit.photo.crumbs.cells import SMALLEST_MM2

if TYPE_CHECKING:
    from kit.photo.crumbs.seen_cells import SeenCells
    from kit.photo.cut_face import Crumb
    from kit.photo.value import Value

__all__ = ["cautions", "headline", "method", "story"]

#: With fewer pixels to a millimetre thin walls are lost.
ENOUGH_PX_PER_MM = 6.0
#: A blur (standard deviation) from which cells run together: on drawn faces their number was off
#: by 10 to 30 % then, and mostly by less than 10 % below.
BLURRED_MM = 0.12
#: Without walls that hardly show, cells are fewer than this share: it is said. On drawn faces of
#: four programs (hard) numbers were off by 17 to 170 % then (RMS), by 5 to 23 % else.
FEWER = 0.5


def cautions(cells: "SeenCells", px_per_mm: float) -> list[str]:
    """What to look at before trusting cells seen at so many pixels of the photo, and what to do."""
    notes = []
    if cells.lean > side_light.TOLD:
        notes.append(side_light.ADVICE)
    if cells.unseen > pale_cells.TOLD:
        notes.append(pale_cells.ADVICE.format(100 * cells.unseen))
    if cells.left_out:
        one = cells.left_out == 1
        patches = "1 pale patch was" if one else f"{cells.left_out} pale patches were"
        notes.append(pale_cells.LEFT_OUT.format(patches, cells.more.per_cm2))
    if px_per_mm < ENOUGH_PX_PER_MM:
        notes.append(f"{px_per_mm:.1f} pixels to a millimetre are few: thin walls are lost")
    if cells.rim.blur_mm > BLURRED_MM:
        notes.append(
            f"the picture shows nothing finer than about {2.35 * cells.rim.blur_mm:.1f} mm and "
            "walls of crumb are a fifth of one: cells run together, so that they may seem fewer "
            "and larger. Photograph the face sharp and from nearer by, so that it fills the picture"
        )
    if cells.whole.per_cm2 < FEWER * cells.found.per_cm2:
        notes.append(
            "most cells are parted by walls that hardly show (without those there would be "
            f"{cells.whole.per_cm2:.2g} to a square centimetre): their number and sizes are "
            "unsure. Photograph the face sharp, from nearer by and in even light"
        )
    return notes


def headline(c: "Crumb") -> str:
    """How open, with the interval of this face."""
    low, high = c.openness.interval(0.95)
    return (
        f"{100 * c.openness.value:.0f} % of the crumb is cells "
        f"({100 * max(low, 0):.0f} to {100 * min(high, 1):.0f} %)."
    )


def story(c: "Crumb") -> str:
    """Number, size and evenness."""
    return (
        f"{_said(c.cells_per_cm2)} cells to a square centimetre, {c.cells} in all; half of them "
        f"are smaller than {_said(c.median_cell_mm2)} mm², the largest is "
        f"{_said(c.largest_cell_mm2)} mm². Walls are {_said(c.wall_chord_mm)} mm across on the "
        "mean. The intervals are those of measuring this face; another slice of the same piece "
        f"would differ by about {100 * c.slice_u['openness']:.1f} points more."
    )


def method(c: "Crumb") -> str:
    """Threshold, scale and smallest cell, which belong to every figure."""
    hand = f" Given by hand: {', '.join(c.by_hand)}." if c.by_hand else ""
    return (
        f"How: a point is open where it is {100 * c.threshold:.1f} % darker than the wall near by "
        "(linear light, found from the mean profile across cell edges; a paler cell is open "
        "where it is half as dark as its middle), "
        f"{c.sheet.seen_px_per_mm:.1f} pixels to a millimetre by {c.sheet.kind} "
        f"(± {100 * c.sheet.u_scale.u:.2g} %), cells of at least "
        f"{SMALLEST_MM2:.2f} mm² joined by edges, {c.crust_mm:.1f} mm of crust taken off. Cells "
        "cut off by the crumb's edge count in area, number and sizes; small ones wholly beside the "
        "crust are made up for by what edges drawn further in cut off. Walls thinner than about "
        "0.2 mm may be missed: a convention, compare only with figures made the same way." + hand
    )


def _said(v: "Value") -> str:
    # by way of a number, or 20 would be written 2e+01
    return f"{float(f'{v.value:.3g}'):g} ± {float(f'{v.u:.1g}'):g}"
