"""Pictures of doses: the curve, the surface of two doses, the checks and the overview."""

from typing import TYPE_CHECKING, Literal

import numpy as np

from kit import words
from kit.analysis.doses.response import SHAPES
from kit.charts.base import arms, called, calm, in_unit, legend_above, lines
from kit.charts.colours import BLUE, GREEN, GREY, INK, ORANGE, POINTS, RULE, SKY, VERMILION
from kit.charts.compared import MOST_MARKS

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from kit.analysis.answer.fit_checks import FitChecks
    from kit.analysis.doses.response import DoseResponse
    from kit.analysis.doses.response_surface import Surface
    from kit.analysis.overview import Overview

__all__ = ["dose_response", "fit_checks", "outcomes_by_setting", "overview", "surface"]


def dose_response(d: "DoseResponse", ax: "Axes | None" = None) -> "Axes":
    """Draw pieces, dough means, means of the doses, the shape, and where the best may lie.

    The stretch of doses that may be best is a green bar along the bottom.
    """
    ax = calm(ax)
    x = d.curve["dose"].to_numpy(dtype=float)
    sure = f"{100 * d.fit.level:.0f} % interval"
    if len(d.points) <= MOST_MARKS:
        ax.plot(d.points["level"], d.points["value"], ls="none", marker="o", ms=3.4, mfc=GREY,
                mec="none", alpha=0.7, zorder=2, label="one piece")  # fmt: skip
    doughs = d.dough_means()
    if (doughs["pieces"] > 1).any() and len(doughs) <= MOST_MARKS:
        ax.plot(doughs["level"], doughs["value"], ls="none", marker="D", ms=6, mfc=SKY, mec=INK,
                mew=0.7, zorder=3, label="mean of a dough")  # fmt: skip
    ax.fill_between(x, d.curve["low"].to_numpy(dtype=float), d.curve["high"].to_numpy(dtype=float),
                    color=BLUE, alpha=0.2, lw=0, zorder=1.5, label=f"its {sure}")  # fmt: skip
    ax.plot(x, d.curve["mean"], color=BLUE, lw=2.4, zorder=4, label=SHAPES[d.shape])
    if d.settings is not None:
        ax.errorbar(d.settings["level"], d.settings["mean"], yerr=arms(d.settings, "mean"),
                    fmt="s", color=ORANGE, mec=INK, mew=0.5, ms=6, lw=1.4, capsize=3, zorder=5,
                    label=f"a dose by itself, with its {sure}")  # fmt: skip
    foot = ax.get_xaxis_transform()
    for i, (low, high) in enumerate(d.best.may_be.pieces):
        told = "it may level off here" if d.best.place == "plateau" else "the best dose may be here"
        label = told if i == 0 else None
        ax.plot([low, high], [0.02, 0.02], transform=foot, color=GREEN, lw=5, zorder=6,
                marker="|", solid_capstyle="butt", label=label)  # fmt: skip
    ax.set_xlabel(called(d.of, 56))
    ax.set_ylabel(called(d.outcome))
    _legend(ax)
    return ax


def surface(s: "Surface", ax: "Axes | None" = None) -> "Axes":
    """Draw contours of the outcome over two doses, the combinations baked, and where it turns."""
    ax = calm(ax, 5.4, 4.4)
    first, second = s.of
    grid = s.grid.pivot(index=second, columns=first, values="mean")
    x, y = (a.to_numpy(dtype=float) for a in (grid.columns, grid.index))
    drawn = ax.contour(x, y, grid.to_numpy(dtype=float), levels=8, colors=BLUE, linewidths=1.2)
    ax.clabel(drawn, fontsize=POINTS - 1, fmt="%g")
    ax.plot(s.points[first], s.points[second], ls="none", marker="D", ms=6, mfc=SKY, mec=INK,
            mew=0.7, label="baked", zorder=3, clip_on=False)  # fmt: skip
    turning = s.turning
    if turning is not None and turning.inside:
        ax.plot([turning.at[0]], [turning.at[1]], ls="none", marker="*", ms=13, mfc=VERMILION,
                mec=INK, zorder=4, label=f"fitted {turning.kind}")  # fmt: skip
    ax.plot([s.best[0]], [s.best[1]], ls="none", marker="s", ms=8, mfc=GREEN, mec=INK, zorder=4,
            clip_on=False, label="best inside what was baked")  # fmt: skip
    ax.set_xlabel(called(first, 56))
    ax.set_ylabel(called(second, 40))
    ax.set_title(called(s.outcome, 56), fontsize=POINTS + 0.5,
                 color=INK, pad=30)  # fmt: skip
    _legend(ax)
    return ax


def fit_checks(
    c: "FitChecks",
    ax: "Axes | None" = None,
    what: Literal["residuals", "quantiles", "left out", "missing"] = "residuals",
) -> "Axes":
    """Draw one of the pictures behind the checks."""
    ax = calm(ax, 5.0, 3.8)
    of_unit = in_unit(c.outcome)
    if what == "residuals":
        ax.axhline(0, color=RULE, lw=1)
        ax.plot(c.pieces["fitted"], c.pieces["residual"], ls="none", marker="o", ms=3.6, mfc=GREY,
                mec="none", label="one piece, about its dough")  # fmt: skip
        if len(c.doughs):
            ax.plot(c.doughs["fitted"], c.doughs["residual"], ls="none", marker="D", ms=6, mfc=SKY,
                    mec=INK, label="a dough, about its setting")  # fmt: skip
        ax.set_xlabel(f"What the settings give{of_unit}")
        ax.set_ylabel(f"What is left{of_unit}")
    elif what == "quantiles":
        _quantiles(ax, c, of_unit)
    elif what == "left out":
        rows = np.arange(len(c.left_out))
        ax.axvline(c.estimate, color=RULE, lw=1)
        ax.plot(c.left_out["estimate"], rows, ls="none", marker="D", ms=6, mfc=SKY, mec=INK,
                label="the difference without this dough")  # fmt: skip
        ax.set_yticks(rows, list(c.left_out["dough"]), fontsize=POINTS - 1.5)
        ax.set_xlabel(f"Difference{of_unit}")
    else:
        share = 100 * c.missing["missing"] / c.missing["pieces"]
        ax.bar(range(len(share)), share, color=ORANGE, edgecolor=INK, label="pieces not read")
        ax.set_xticks(range(len(share)), [words.amount(c.by, x) for x in c.missing["level"]])
        ax.set_ylabel("Share missing (%)")
    _legend(ax)
    return ax


def _quantiles(ax: "Axes", c: "FitChecks", of_unit: str) -> None:
    """Sorted residuals against where a bell curve would put them."""
    from scipy import stats

    tables = [("one piece", c.pieces, "o", GREY), ("a dough", c.doughs, "D", SKY)]
    for name, table, mark, colour in tables:
        if not len(table):
            continue
        left = np.sort(table["residual"].to_numpy(dtype=float))
        n = len(left)
        at = stats.norm.ppf((np.arange(1, n + 1) - 0.375) / (n + 0.25))
        ax.plot(at, left, ls="none", marker=mark, ms=5, mfc=colour, mec="none", label=name)
        ax.axline((0.0, 0.0), slope=float(np.std(left)) or 1e-12, color=colour, lw=1)
    ax.set_xlabel("Where a bell curve would put it (standard deviations)")
    ax.set_ylabel(f"What is left{of_unit}")


def overview(o: "Overview", ax: "Axes | None" = None) -> "Axes":
    """Draw every factor's largest difference in every outcome, in units of what matters.

    Where nothing was said to matter, in units of the outcome's own interval half-width.
    """
    table = o.table.dropna(subset=["low", "high"]).reset_index(drop=True)
    ax = calm(ax, 6.0, 1.4 + 0.3 * max(1, len(table)))
    scale = table["matters"].where(table["matters"].notna(), (table["high"] - table["low"]) / 2)
    scaled = table[["difference", "low", "high"]].div(scale, axis=0)
    rows = np.arange(len(table))
    ax.axvline(0, color=INK, lw=0.9)
    margin = table["matters"].notna().to_numpy()
    if margin.any():
        ax.barh(rows[margin], 2, left=-1, height=0.9, color=GREEN, alpha=0.15,
                label="less than this does not matter")  # fmt: skip
    looks = {
        "matters": ("s", VERMILION), "a difference": ("D", ORANGE),
        "does not": ("o", GREEN), "cannot tell": ("X", GREY),
    }  # fmt: skip
    for verdict, (mark, colour) in looks.items():
        mine = (table["verdict"] == verdict).to_numpy()
        if mine.any():
            own = scaled[mine]
            ax.errorbar(own["difference"], rows[mine], xerr=arms(own, "difference"), fmt=mark,
                        color=colour, mec=INK, mew=0.5, capsize=3, label=verdict)  # fmt: skip
    names = [
        lines(f"{words.name(f)} → {words.name(y)}", 34)
        for f, y in table[["factor", "outcome"]].itertuples(index=False)
    ]
    ax.set_yticks(rows, names, fontsize=POINTS - 1)
    ax.set_ylim(len(table) - 0.5, -0.5)
    ax.set_xlabel(
        lines("Largest difference, in units of what matters; without that, of its uncertainty", 50)
    )
    _legend(ax)
    return ax


def outcomes_by_setting(o: "Overview", factor: str, ax: "Axes | None" = None) -> "Axes":
    """Draw every outcome at every setting of a factor, in standard deviations between pieces."""
    table = o.settings[o.settings["factor"] == factor]
    ax = calm(ax)
    ax.axhline(0, color=RULE, lw=1)
    levels = list(dict.fromkeys(table["level"]))
    marks, colours = "osD^vP*X", (BLUE, VERMILION, GREEN, ORANGE, SKY, INK, GREY)
    for i, (outcome, rows) in enumerate(table.groupby("outcome", sort=False)):
        at = [levels.index(level) for level in rows["level"]]
        ax.plot(at, rows["scaled"], marker=marks[i % 8], color=colours[i % 7], lw=1.4, ms=6,
                label=words.name(str(outcome)))  # fmt: skip
    ax.set_xticks(range(len(levels)), [words.amount(factor, level) for level in levels])
    ax.set_xlabel(called(factor, 56))
    ax.set_ylabel(lines("Above or below the middle, in standard deviations between pieces", 40))
    _legend(ax)
    return ax


def _legend(ax: "Axes") -> None:
    legend_above(ax, fontsize=POINTS - 1, labelspacing=0.3, ncols=2)
