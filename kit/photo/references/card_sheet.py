"""The kit's card as a sheet to print: PDF by matplotlib, nothing from outside."""

import io
from textwrap import wrap
from typing import TYPE_CHECKING, Any

from kit.errors import InputError
from kit.photo.pixels.colour import srgb_of
from kit.photo.references.card import (
    BAR_MM,
    BLACK,
    MARKERS,
    PATCHES,
    SIZE_MM,
    WHITE,
    WINDOW_MM,
    rectangles,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["PAPERS", "card_pdf", "sheet"]

#: paper -> width and height in millimetres (ISO 216; ANSI/ASME Y14.1 for Letter)
PAPERS = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
#: from the top of the sheet to the card
TOP_MM = 10.0

_STEPS = (
    ("Print", "at actual size (100 %, not “fit to page”), on matt white paper."),
    ("Check", f"the bar above with a real ruler: it should be {BAR_MM:.0f} mm. Tell the "
     "kit how long it is."),
    ("Cut", "along the outer line and cut out the window. Keep it flat: glue it on card, not on "
     "anything glossy."),
    ("From above", "(crumb, browning): lay the piece in the window. Tell how far its face lies "
     "above the paper."),
    ("From the side", "(height): stand the card truly upright, taped flat to a box, beside the "
     "piece, with a gap between them in the photo. Tell how far the piece's middle stands in front "
     "of the card."),
    ("Photo", "from 30 to 60 cm, at least two markers whole and sharp, even light, no glare, no "
     "flash."),
    ("Care", "The paper is not food-safe: beside food, never under it. Keep it off the hot "
     "griddle. A card touched by raw dough is thrown away."),
)  # fmt: skip


def card_pdf(paper: str = "a4") -> bytes:
    """Return the sheet as a PDF.

    Parameters
    ----------
    paper : str
        "a4" or "letter".

    Raises
    ------
    InputError
        Another paper.
    """
    figure = sheet(paper)
    file = io.BytesIO()
    told: dict[str, Any] = {"Title": "Measuring card", "CreationDate": None, "ModDate": None}
    figure.savefig(file, format="pdf", metadata=told)
    return file.getvalue()


def sheet(paper: str) -> "Figure":
    """Return the sheet as a figure of the paper's size; see `card_pdf`."""
    from matplotlib.backends.backend_pdf import FigureCanvasPdf
    from matplotlib.figure import Figure

    size = PAPERS.get(str(paper).lower())
    if size is None:
        raise InputError("paper", paper, f"must be one of {', '.join(PAPERS)}")
    wide, tall = size
    figure = Figure(figsize=(wide / 25.4, tall / 25.4))
    FigureCanvasPdf(figure)
    ax = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    left = (wide - SIZE_MM[0]) / 2
    # the axes are in the card's millimetres, y down, so that nothing is placed twice
    ax.set(xlim=(-left, wide - left), ylim=(tall - TOP_MM, -TOP_MM))
    ax.set_axis_off()
    _card(ax)
    _below(ax, SIZE_MM[1])
    return figure


def _card(ax: "Axes") -> None:
    from matplotlib.patches import Rectangle as Box

    for part in rectangles():
        x0, y0, x1, y1 = part.box
        # markers and ticks as dark as the printer can, patches as the tone they are named for
        tone = 0.0 if part.reflectance == BLACK else float(srgb_of(part.reflectance / WHITE))
        ax.add_patch(Box((x0, y0), x1 - x0, y1 - y0, fc=str(tone), ec="none", lw=0, aa=False))
    for box in ((0.0, 0.0, *SIZE_MM), WINDOW_MM):
        x0, y0, x1, y1 = box
        ax.add_patch(Box((x0, y0), x1 - x0, y1 - y0, fc="none", ec="0.6", lw=0.5, ls=(0, (4, 3))))
    middle = (WINDOW_MM[0] + WINDOW_MM[2]) / 2
    for i in range(0, 111, 10):
        _text(ax, middle - 55 + i, WINDOW_MM[1] - 9, str(i), 7, ha="center", va="bottom")
    _text(ax, middle, 18, "millimetres", 7, ha="center")
    for i in range(5):
        _text(ax, middle + 25.4 * (i - 2), WINDOW_MM[3] + 9, str(i), 7, ha="center", va="top")
    _text(ax, middle, WINDOW_MM[3] + 19, "inches", 7, ha="center")
    _text(ax, middle, 9, "Measuring card", 10, ha="center", weight="bold")
    _text(ax, middle, 90, "cut out:\nthe piece lies here,\nbeside the paper, not on it", 9,
          ha="center", va="center", color="0.5")  # fmt: skip
    for name, (x0, _, x1, y1), _ in PATCHES:
        _text(ax, (x0 + x1) / 2, y1 + 0.6, name, 6, ha="center", va="top")
    lowest = max(y for _, y in MARKERS.values())
    care = "not food-safe: beside food, never under it; keep off the griddle"
    _text(ax, middle, lowest + 22, care, 7, ha="center", va="bottom")


def _below(ax: "Axes", top: float) -> None:
    """The bar to check the print, and how to use the card."""
    from matplotlib.patches import Rectangle as Box

    start = (SIZE_MM[0] - BAR_MM) / 2
    ax.add_patch(Box((start, top + 6), BAR_MM, 3, fc="0", ec="none", lw=0, aa=False))
    said = f"this bar is {BAR_MM:.0f} mm from end to end, when printed at actual size"
    _text(ax, SIZE_MM[0] / 2, top + 10, said, 8, ha="center", va="top")
    y = top + 17
    for name, words in _STEPS:
        _text(ax, 2, y, name, 9, va="top", weight="bold")
        for line in wrap(words, 88):
            _text(ax, 32, y, line, 9, va="top")
            y += 4.4
        y += 1.6


def _text(ax: "Axes", x: float, y: float, words: str, points: float, **how: Any) -> None:
    ax.text(x, y, words, fontsize=points, **how)
