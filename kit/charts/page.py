"""A chart as SVG that stands inside a page."""

import re
import warnings
from collections.abc import Callable
from functools import partial
from hashlib import sha256
from html import escape
from io import StringIO
from operator import mul
from typing import TYPE_CHECKING, Any

from kit.charts.colours import GREY, INK, POINTS
from kit.units import convert
from kit.us_units import also_us, us_wanted

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure, SubFigure

__all__ = ["svg"]


def svg(drawing: "Axes | Figure | SubFigure", title: str, description: str) -> str:
    """Write a chart as SVG to stand inside a page.

    The same chart, drawn afresh, gives the same bytes; nothing is fetched, and letters stay
    letters, in the reader's own sans-serif.

    Parameters
    ----------
    drawing : Axes or Figure
    title, description : str
        What is read aloud in place of the picture: name and alternative text.

    Returns
    -------
    str
        One ``<svg>`` element as wide as its place, within limits that keep its letters
        readable; let a narrow place scroll.
    """
    import matplotlib as mpl

    figure = drawing.get_figure(root=True)
    assert figure is not None
    if us_wanted():
        _also_us(figure)
    file = StringIO()
    with mpl.rc_context({"svg.hashsalt": "bake-trial-kit", "svg.fonttype": "none"}):
        with warnings.catch_warnings():
            # A letter missing from the font used for measuring is there in the reader's.
            warnings.filterwarnings("ignore", message="Glyph .* missing from font")
            metadata = dict.fromkeys(("Creator", "Date", "Format", "Type"))
            figure.savefig(file, format="svg", transparent=True, metadata=metadata)
    text = file.getvalue()
    box = re.search(r'viewBox="([^"]*)"', text)
    assert box is not None
    width = float(box[1].split()[2])
    body = text[text.index(">", text.index("<svg")) + 1 :]
    body = re.sub(r"<metadata>.*?</metadata>\s*", "", body, flags=re.DOTALL)
    body = body.replace("xlink:href", "href").replace(' xmlns="http://www.w3.org/2000/svg"', "")
    body = re.sub(r"font-family: [^;\"]*", "font-family: Helvetica, Arial, sans-serif", body)
    body = re.sub(r"^ +", "", body, flags=re.MULTILINE)
    # all charts of a page call their parts alike: only what is pointed at keeps its name
    used = set(re.findall(r"#([\w.-]+)", body))
    body = re.sub(r' id="([\w.-]+)"', lambda one: one[0] if one[1] in used else "", body)
    name = f"chart-{sha256((title + description).encode()).hexdigest()[:8]}"
    return (
        f'<svg viewBox="{box[1]}" role="img" aria-labelledby="{name}" '
        f'aria-describedby="{name}-text" '
        f'style="display: block; width: 100%; min-width: {0.85 * width:.0f}px; '
        f'max-width: {1.5 * width:.0f}px; height: auto">\n'
        f'<title id="{name}">{escape(title)}</title>\n'
        f'<desc id="{name}-text">{escape(description)}</desc>\n{body.strip()}\n'
    )


def _also_us(figure: "Figure") -> None:
    """Put inches and ounces on the other side of axes in mm and g, and into what is written."""
    for ax in figure.axes:
        legend = ax.get_legend()
        for text in legend.get_texts() if legend else ():
            text.set_text(also_us(text.get_text()))
        if not ax.child_axes:  # not drawn before
            _beside(ax.get_ylabel(), ax.secondary_yaxis, "y", "right")
            _beside(ax.get_xlabel(), ax.secondary_xaxis, "x", "top")


def _beside(label: str, add: Callable[..., Any], name: str, side: str) -> None:
    """Draw the same axis in the other unit; both begin at zero, as lengths and weights do."""
    found = re.search(r"\((mm|g)\)$", label)
    if found is None:
        return
    us = {"mm": "in", "g": "oz"}[found[1]]
    one = convert(1, found[1], us)
    other = add(side, functions=(partial(mul, one), partial(mul, 1 / one)))
    other.set(**{f"{name}label": f"({us})"})
    other.spines[side].set_visible(False)
    other.tick_params(colors=INK, labelsize=POINTS, length=3, color=GREY)
    getattr(other, f"{name}axis").label.set(fontsize=POINTS + 0.5, color=INK)
