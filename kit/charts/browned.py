"""Picture of browning: how light each face is, in its own colour."""

from typing import TYPE_CHECKING

import numpy as np

from kit.charts.base import GREY, INK, calm

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from kit.photo.crust import Browning

__all__ = ["browning"]


def browning(b: "Browning", ax: "Axes | None" = None) -> "Axes":
    """L* of every face with its 95 % interval, filled with the face's mean colour."""
    from skimage.color import lab2rgb

    ax = calm(ax, 1.6 + 0.8 * len(b.faces), 3.6)
    for i, face in enumerate(b.faces):
        low, high = face.lightness.interval(0.95)
        colour = np.clip(lab2rgb(face.lab[None, None, :])[0, 0], 0, 1)
        ax.plot([i, i], [low, high], color=INK, lw=1.6, zorder=2)
        ax.plot([i], [face.lightness.value], "o", ms=17, mfc=colour, mec=INK, mew=0.8, zorder=3)
    ax.set_xticks(range(len(b.faces)), [f"face {i}" for i in range(1, len(b.faces) + 1)])
    ax.set_xlim(-0.6, len(b.faces) - 0.4)
    ax.set_ylim(0, 100)
    ax.axhline(b.dark_below, color=GREY, lw=0.9, ls=(0, (3, 2)), zorder=1)
    ax.set_ylabel("Lightness L* (0 black, 100 white)")
    return ax
