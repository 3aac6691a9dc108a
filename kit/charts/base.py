"""What all pictures share: a calm frame, a legend above it, names that fit."""

import textwrap
from typing import TYPE_CHECKING, Any

import numpy as np

from kit import quantities, words
from kit.charts.colours import GREY, INK, POINTS

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes
    from matplotlib.legend import Legend

__all__ = ["arms", "called", "calm", "in_unit", "legend_above", "lines", "own_axes", "plain"]


def own_axes(width_in: float, height_in: float) -> "Axes":
    """Axes of a figure that pyplot does not know and so does not keep."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(width_in, height_in), layout="constrained")
    return figure.subplots()


def calm(ax: "Axes | None", width_in: float = 5.4, height_in: float = 4.1) -> "Axes":
    """Leave only the lines that carry something, of the axes given or of a figure of its own."""
    ax = own_axes(width_in, height_in) if ax is None else ax
    for side in ("top", "right"):
        ax.spines[side].set_visible(False)
    for side in ("left", "bottom"):
        ax.spines[side].set_color(GREY)
    ax.tick_params(colors=INK, labelsize=POINTS, length=3, color=GREY)
    for axis in (ax.xaxis, ax.yaxis):
        axis.label.set(fontsize=POINTS + 0.5, color=INK)
    ax.set_axisbelow(True)
    return ax


def legend_above(ax: "Axes", **more: Any) -> "Legend":
    """Say what the marks mean, above the picture, where nothing is drawn."""
    look: dict[str, Any] = {
        "loc": "lower left", "bbox_to_anchor": (0, 1.01), "borderaxespad": 0, "frameon": False,
        "fontsize": POINTS - 0.5, "labelcolor": INK,
    }  # fmt: skip
    return ax.legend(**look | more)


def called(column: str, width: int = 36) -> str:
    """Return a quantity's label for an axis."""
    return lines(words.capital(quantities.label(column)), width)


def in_unit(column: str) -> str:
    """Return a quantity's unit as it stands behind words: " (mm)"; empty where it has none."""
    unit = words.unit_of(column)
    return f" ({unit})" if unit else ""


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
