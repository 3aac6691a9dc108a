"""A chart as SVG that stands inside a page."""

import re
import warnings
from hashlib import sha256
from html import escape
from io import StringIO
from typing import TYPE_CHECKING

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
    if figure is None:
        msg = "the chart is in no figure"
        raise ValueError(msg)
    file = StringIO()
    with mpl.rc_context({"svg.hashsalt": "bake-trial-kit", "svg.fonttype": "none"}):
        with warnings.catch_warnings():
            # A letter missing from the font used for measuring is there in the reader's.
            warnings.filterwarnings("ignore", message="Glyph .* missing from font")
            metadata = dict.fromkeys(("Creator", "Date", "Format", "Type"))
            figure.savefig(file, format="svg", transparent=True, metadata=metadata)
    text = file.getvalue()
    box = re.search(r'viewBox="([^"]*)"', text)
    if box is None:  # pragma: no cover - matplotlib has always written one
        msg = "matplotlib wrote an SVG without a viewBox"
        raise ValueError(msg)
    width = float(box[1].split()[2])
    body = text[text.index(">", text.index("<svg")) + 1 :]
    body = re.sub(r"<metadata>.*?</metadata>\s*", "", body, flags=re.DOTALL)
    body = body.replace("xlink:href", "href").replace(' xmlns="http://www.w3.org/2000/svg"', "")
    body = re.sub(r"font-family: [^;\"]*", "font-family: Helvetica, Arial, sans-serif", body)
    body = re.sub(r"^ +", "", body, flags=re.MULTILINE)
    name = f"chart-{sha256((title + description).encode()).hexdigest()[:8]}"
    return (
        f'<svg viewBox="{box[1]}" role="img" aria-labelledby="{name}" '
        f'aria-describedby="{name}-text" '
        f'style="display: block; width: 100%; min-width: {0.85 * width:.0f}px; '
        f'max-width: {1.5 * width:.0f}px; height: auto">\n'
        f'<title id="{name}">{escape(title)}</title>\n'
        f'<desc id="{name}-text">{escape(description)}</desc>\n{body.strip()}\n'
    )
