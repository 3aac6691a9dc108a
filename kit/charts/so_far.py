"""What was measured, before anything can be answered: pieces and dough means, no interval."""

from typing import TYPE_CHECKING

from kit.charts.base import GREY, INK, RULE, SKY, called, calm, legend_above, lines

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

__all__ = ["so_far"]

#: how far apart the doughs of a setting stand, whose slot is 1 wide
_STEP, _REACH = 0.16, 0.7


def so_far(points: "pd.DataFrame", outcome: str, by: str, ax: "Axes | None" = None) -> "Axes":
    """Draw the pieces and the means of their doughs at every setting, and nothing more.

    Parameters
    ----------
    points : DataFrame
        One row a piece: ``bake, dough, level, value``.
    outcome, by : str
        Names for the axes.
    ax : Axes, optional
        Where to draw; a figure of its own when not given.

    Returns
    -------
    Axes
    """
    ax = calm(ax, 5.0, 3.4)
    levels = sorted(points["level"].unique())
    for slot, level in enumerate(levels):
        doughs = points[points["level"] == level].groupby(["bake", "dough"], sort=False)["value"]
        step = min(_STEP, _REACH / doughs.ngroups)
        for i, (_, values) in enumerate(doughs):
            x = slot + (i - (doughs.ngroups - 1) / 2) * step
            first = slot == i == 0
            ax.vlines(x, values.min(), values.max(), color=RULE, lw=0.8, zorder=1)
            ax.plot([x] * len(values), values, "o", ms=4, mfc=GREY, mec="none", alpha=0.75,
                    zorder=2, label="one piece" if first else None)  # fmt: skip
            ax.plot([x], [values.mean()], "D", ms=6, mfc=SKY, mec=INK, mew=0.7, zorder=3,
                    label="mean of a dough" if first else None)  # fmt: skip
    names = [f"{x:g}" if isinstance(x, (int, float)) else lines(str(x), 16) for x in levels]
    ax.set_xticks(range(len(levels)), names)
    ax.set_xlim(-0.55, len(levels) - 0.45)
    ax.set_xlabel(called(by, 56))
    ax.set_ylabel(called(outcome))
    legend_above(ax, ncols=2)
    return ax
