"""What all pictures share: colours, a calm frame, names that fit.

Colours are those of Okabe and Ito (*Color Universal Design*, 2008), which the colour-blind tell
apart; each also has a shape of its own and a lightness of its own, for print in black and white.
"""

import textwrap
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

__all__ = [
    "BLUE",
    "GREEN",
    "GREY",
    "INK",
    "ORANGE",
    "POINTS",
    "RULE",
    "SKY",
    "VERMILION",
    "arms",
    "calm",
    "lines",
    "own_axes",
    "plain",
]

INK, GREY, RULE = "#222222", "#8c8c8c", "#c9c9c9"
SKY, BLUE, GREEN = "#56b4e9", "#0072b2", "#009e73"
ORANGE, VERMILION = "#e69f00", "#d55e00"
#: Size of letters.
POINTS = 9.5


def own_axes(width_in: float, height_in: float) -> "Axes":
    """Axes of a figure that pyplot does not know and so does not keep."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(width_in, height_in), layout="constrained")
    return figure.subplots()


def calm(ax: "Axes") -> None:
    """Leave only the lines that carry something."""
    for side in ("top", "right"):
        ax.spines[side].set_visible(False)
    for side in ("left", "bottom"):
        ax.spines[side].set_color(GREY)
    ax.tick_params(colors=INK, labelsize=POINTS, length=3, color=GREY)
    for axis in (ax.xaxis, ax.yaxis):
        axis.label.set(fontsize=POINTS + 0.5, color=INK)
    ax.set_axisbelow(True)


def plain(text: str) -> str:
    """Keep matplotlib from reading dollar signs as mathematics."""
    return text.replace("$", r"\$")


def lines(text: str, width: int, most: int = 3) -> str:
    """Break what is too long, at words where there are any."""
    return plain("\n".join(textwrap.wrap(text, max(width, 4), max_lines=most, placeholder=" …")))


def arms(table: "pd.DataFrame", middle: str) -> np.ndarray[Any, Any]:
    """Lower and upper arms of the error bars, shape (2, n)."""
    arms: np.ndarray[Any, Any] = np.array(
        [table[middle] - table["low"], table["high"] - table[middle]], dtype=float
    )
    return arms
