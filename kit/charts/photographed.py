"""Pictures of what photos told: a side view, a proof in photos, a crumb, browned faces."""

import math
from typing import TYPE_CHECKING

import numpy as np

from kit.charts.base import calm, own_axes
from kit.charts.colours import BLUE, GREY, INK, ORANGE, POINTS, VERMILION

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from kit.photo.crust import Browning
    from kit.photo.cut_face import Crumb
    from kit.photo.proof_series import Series
    from kit.photo.side_view import Side

__all__ = ["browning", "crumb", "proof_series", "side_view"]


def side_view(s: "Side", ax: "Axes | None" = None) -> "Axes":
    """The outline found and the fitted solid's, in pixels; over the photo when `ax` shows it."""
    over = ax is not None
    ax = own_axes(5.4, 4.1) if ax is None else ax
    closed = np.vstack([s.drawn, s.drawn[:1]])
    ax.plot(*closed.T, color=BLUE, lw=1.5, label="fitted round solid")
    ax.plot(*s.outline.T, ".", ms=2, color=VERMILION, label="outline")
    ax.plot(*np.array([s.base, s.top]).T, "_", ms=14, color=BLUE, label="base and top")
    if not over:
        ax.set_aspect("equal")
        ax.invert_yaxis()
        ax.set_xlabel("pixels")
        ax.set_ylabel("pixels")
        ax.legend(frameon=False)
        calm(ax)
    return ax


def proof_series(s: "Series", ax: "Axes | None" = None) -> "Axes":
    """Volume over the first photo's, by time, with its standard uncertainty."""
    ax = calm(ax)
    rows = [r for r in s.measured if r.ratio is not None and math.isfinite(r.minutes)]
    if rows:
        ax.errorbar(
            [r.minutes for r in rows], [r.ratio.value for r in rows if r.ratio],
            yerr=[r.ratio.u for r in rows if r.ratio], fmt="o", color=BLUE, ecolor=INK, ms=5,
        )  # fmt: skip
    ax.axhline(2.0, color=INK, lw=0.8, ls=":")
    ax.set_xlabel("Minutes since the first photo")
    ax.set_ylabel("Volume, times the start (2 is double)")
    return ax


def crumb(c: "Crumb", ax: "Axes | None" = None) -> "Axes":
    """Cells in colour over the light of the face, axes in millimetres."""
    from matplotlib.colors import ListedColormap

    ax = own_axes(6.0, 4.6) if ax is None else ax
    height, width = c.mask.shape
    extent = (0.0, width / c.px_per_mm, height / c.px_per_mm, 0.0)
    light = np.sqrt(np.clip(c.sheet.light, 0, 1))
    ax.imshow(light, cmap="gray", extent=extent, interpolation="nearest")
    shown = np.ma.masked_where(~c.mask, c.mask)
    ax.imshow(shown, cmap=ListedColormap([ORANGE]), alpha=0.55, extent=extent,
              interpolation="nearest")  # fmt: skip
    back = np.linalg.inv(c.transform)
    there = np.column_stack([c.face, np.ones(len(c.face))]) @ back.T
    there = (there[:, :2] / there[:, 2:] + 0.5) / c.px_per_mm
    ax.plot(*np.vstack([there, there[:1]]).T, color=BLUE, lw=1.4, label="face")
    ax.set_xlabel("mm", size=POINTS)
    ax.set_ylabel("mm", size=POINTS)
    ax.set_title(f"{100 * c.openness.value:.0f} % cells (coloured)", size=POINTS + 1)
    return ax


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
