"""Pictures of steadiness: sources of spread, the griddle, bakes in order of time, readings."""

from typing import TYPE_CHECKING

import numpy as np

from kit import words
from kit.analysis.moments import Integers
from kit.charts.base import arms, called, calm, in_unit, legend_above, lines, own_axes, plain
from kit.charts.colours import BLUE, GREY, INK, POINTS, RULE, SKY, VERMILION

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

    from kit.analysis.control_chart import ControlChart
    from kit.analysis.gauge import Gauge
    from kit.analysis.griddle_map import GriddleMap
    from kit.analysis.steadiness import Steadiness

__all__ = ["control_chart", "gauge", "griddle_map", "steadiness"]

#: At most so many bakes are named along the axis.
_NAMED = 24


def steadiness(s: "Steadiness", ax: "Axes | None" = None) -> "Axes":
    """Standard deviation of every source as a bar with its interval, outermost at the top."""
    table = s.components
    ax = calm(ax, 5.2, 1.3 + 0.42 * len(table))
    rows = np.arange(len(table))
    ax.barh(rows, table["sd"], height=0.62, color=SKY, zorder=2)
    ax.errorbar(
        table["sd"], rows, xerr=arms(table, "sd"), fmt="none", ecolor=INK, elinewidth=1.6,
        capsize=4, zorder=3,
    )  # fmt: skip
    ax.set_yticks(
        rows,
        [
            f"{name} · {100 * share:.0f} %"
            for name, share in zip(table["component"], table["share"], strict=True)
        ],
    )
    ax.set_ylim(len(table) - 0.5, -0.5)
    ax.set_xlim(left=0)
    unit = words.unit_of(s.outcome)
    label = f"Spread of {words.name(s.outcome)} from each source"
    label += f" (standard deviation{f', {unit}' if unit else ''}), with {100 * s.level:.0f} % "
    ax.set_xlabel(lines(f"{label}intervals; % is its share of the squared spread", 56))
    ax.xaxis.grid(True, color=RULE, lw=0.5)
    return ax


def griddle_map(m: "GriddleMap", ax: "Axes | None" = None) -> "Axes":
    """Difference of every place from the mean of all, where it lies, seen from above.

    Blue is less than the mean, orange-red more, the stronger the further; a place that surely
    differs has a thick frame and its number in bold.
    """
    from matplotlib.colors import LinearSegmentedColormap
    from matplotlib.patches import Rectangle

    table = m.places
    wide, deep = int(table["column"].max()), int(table["row"].max())
    ax = own_axes(max(3.4, 1.1 * wide + 0.8), max(2.2, 0.95 * deep + 1.1)) if ax is None else ax
    shades = LinearSegmentedColormap.from_list("below-above", [BLUE, "#ffffff", VERMILION])
    most = float(table["difference"].abs().max()) or 1.0
    sure = set(m.apart["place"])
    for row in table.to_dict("records"):
        x, y = row["column"] - 1, row["row"] - 1
        apart = row["place"] in sure
        ax.add_patch(
            Rectangle(
                (x + 0.04, y + 0.04), 0.92, 0.92,
                facecolor=shades(0.5 + 0.35 * row["difference"] / most),
                edgecolor=INK if apart else RULE, linewidth=2.4 if apart else 0.8,
            )
        )  # fmt: skip
        half = (row["high"] - row["low"]) / 2
        sign = "+" if row["difference"] > 0 else ""
        ax.text(
            x + 0.5, y + 0.5, f"{sign}{words.number(row['difference'], half)}", ha="center",
            va="center", fontsize=POINTS + 3, color=INK, fontweight="bold" if apart else "normal",
        )  # fmt: skip
        ax.text(
            x + 0.5, y + 0.84, f"± {words.number(half, half)}", ha="center", va="center",
            fontsize=POINTS - 1.5, color=INK,
        )  # fmt: skip
        ax.text(
            x + 0.1, y + 0.2, plain(str(row["place"])), fontsize=POINTS - 1.5, color=INK,
            va="center",
        )  # fmt: skip
    ax.set_xlim(0, wide)
    ax.set_ylim(deep, 0)
    ax.set_aspect("equal")
    ax.set_xticks([])
    ax.set_yticks([])
    for side in ax.spines.values():
        side.set_visible(False)
    what = words.capital(words.name(m.outcome))
    label = f"{what}{in_unit(m.outcome)}: difference from the mean of all places, with "
    label += f"joint {100 * m.level:.0f} % intervals"
    ax.set_xlabel(lines(f"{label}; thick frame: differs surely", 44), fontsize=POINTS, color=INK)
    return ax


def control_chart(c: "ControlChart", ax: "Axes | None" = None) -> "Axes":
    """Values with centre and limits; in a figure of its own, the moving ranges below."""
    below = None
    if ax is None:
        from matplotlib.figure import Figure

        width = float(np.clip(2.6 + 0.26 * len(c.points), 5.0, 11.0))
        figure = Figure(figsize=(width, 4.6), layout="constrained")
        ax, below = figure.subplots(2, sharex=True, height_ratios=(2, 1))
    at = np.arange(len(c.points))
    _series(ax, at, c.points["value"], c.centre, (c.lower, c.upper))
    for one, two in ((c.centre - k * c.sd, c.centre + k * c.sd) for k in (1, 2)):
        for level in (one, two):
            ax.axhline(level, color=RULE, lw=0.6, zorder=0)
    signs = sorted({run.last for run in c.runs})
    if signs:
        ax.plot(
            at[signs], c.points["value"].iloc[signs], ls="none", marker="s", ms=10, mfc="none",
            mec=VERMILION, mew=1.8, zorder=4, label="sign of a change",
        )  # fmt: skip
        legend_above(ax)
    ax.set_ylabel(called(c.outcome, 30))
    last = ax
    if below is not None:
        _series(below, at, c.points["moving_range"], c.mean_range, (c.upper_range,))
        jumps = list(c.jumps)
        below.plot(
            at[jumps], c.points["moving_range"].iloc[jumps], ls="none", marker="s", ms=10,
            mfc="none", mec=VERMILION, mew=1.8, zorder=4,
        )  # fmt: skip
        below.set_ylim(bottom=0)
        below.set_ylabel(lines("Change from the one before", 16))
        last = below
    step = -(-len(at) // _NAMED)
    last.set_xticks(at[::step], [plain(str(name)) for name in c.points["name"][::step]])
    last.set_xlabel("Bakes, in order of time")
    return ax


def _series(
    ax: "Axes", at: Integers, values: "pd.Series[float]", centre: float, limits: tuple[float, ...]
) -> None:
    """One row of values with its centre and limits."""
    calm(ax)
    ax.plot(at, values, color=BLUE, marker="o", ms=4.5, lw=1.2, zorder=3)
    ax.axhline(centre, color=INK, lw=1.1, zorder=1)
    for limit in limits:
        ax.axhline(limit, color=INK, lw=1.1, ls=(0, (5, 3)), zorder=1)


def gauge(g: "Gauge", ax: "Axes | None" = None) -> "Axes":
    """Every reading, piece by piece; a bar shows how far two readings of one may lie apart."""
    points, parts = g.points, list(dict.fromkeys(g.points[g.part]))
    ax = calm(ax, float(np.clip(1.6 + 0.36 * len(parts), 4.6, 11.0)), 3.8)
    place = points[g.part].map({name: i for i, name in enumerate(parts)}).to_numpy(dtype=float)
    readers = list(dict.fromkeys(points[g.by])) if g.by is not None else [None]
    crossed = len(readers) <= 6
    for i, reader in enumerate(readers if crossed else [None]):
        own = (points[g.by] == reader).to_numpy() if reader is not None else np.full(len(place), 1)
        own = own.astype(bool)
        step = 0.16 * (i - (len(readers) - 1) / 2) if crossed else 0.0
        ax.plot(
            place[own] + step, points[g.reading][own], ls="none", marker="osD^vP"[i], ms=4.5,
            color=(BLUE, VERMILION, GREY, SKY, INK, "#009e73")[i], alpha=0.85,
            label=None if reader is None else plain(f"{words.name(str(g.by))} {reader}"),
        )  # fmt: skip
    middle = float(points[g.reading].min())
    limit = float(g.repeat["limit"])
    ax.errorbar(
        [len(parts) - 0.35], [middle + limit / 2], yerr=[limit / 2], fmt="none", ecolor=INK,
        elinewidth=1.8, capsize=4, label="two readings of one piece: no further apart, mostly",
    )  # fmt: skip
    ax.set_xticks(range(len(parts)), [plain(str(name)) for name in parts])
    ax.set_xlim(-0.6, len(parts) - 0.1)
    ax.set_xlabel(plain(words.capital(words.name(g.part))))
    ax.set_ylabel(called(g.reading, 30))
    legend_above(ax)
    return ax
