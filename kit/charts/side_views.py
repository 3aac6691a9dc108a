"""Pictures of side views: the fitted outline, and a dough's volume over time."""

import math
from typing import TYPE_CHECKING

import numpy as np

from kit.charts.base import BLUE, INK, VERMILION, calm, own_axes

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from kit.photo.proof_series import Series
    from kit.photo.side_view import Side

__all__ = ["proof_series", "side_view"]


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
