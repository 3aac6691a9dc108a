"""What a crumb says, in words for a baker."""

from html import escape
from typing import TYPE_CHECKING

from kit.photo.cells import SMALLEST_MM2

if TYPE_CHECKING:
    from kit.photo.cut_face import Crumb
    from kit.photo.value import Value

__all__ = ["headline", "html", "method", "story", "text"]


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
        "(linear light, found from the mean profile across cell edges; less for a cell paler than "
        "others of its size, more for a darker one), "
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


def text(c: "Crumb") -> str:
    """All of it as lines."""
    notes = [f"Note: {check}." for check in c.checks]
    return "\n".join([headline(c), story(c), *notes, method(c)])


def html(c: "Crumb") -> str:
    """All of it as a piece of HTML."""
    notes = "".join(f"<li>{escape(check)}.</li>" for check in c.checks)
    return (
        f"<p><strong>{escape(headline(c))}</strong> {escape(story(c))}</p>"
        + (f"<ul>{notes}</ul>" if notes else "")
        + f"<p><small>{escape(method(c))}</small></p>"
    )
