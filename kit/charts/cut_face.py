"""Picture of a crumb: the face, its outline, and the cells that were counted."""

from typing import TYPE_CHECKING

import numpy as np

from kit.charts.base import BLUE, ORANGE, POINTS, own_axes

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from kit.photo.cut_face import Crumb

__all__ = ["crumb"]


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
