"""Pictures of blind tastings."""

from typing import TYPE_CHECKING

import numpy as np

from kit.charts.base import calm, legend_above, plain
from kit.charts.colours import BLUE, GREEN, GREY, INK, POINTS, RULE, VERMILION

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from kit.analysis.tasting.choice import Choice
    from kit.analysis.tasting.consistency import Consistency
    from kit.analysis.tasting.needed import Needed
    from kit.analysis.tasting.ranking import Ranking
    from kit.analysis.tasting.scores import Scores

__all__ = ["against_guessing", "rank_sums", "same_and_different", "taster_lines", "tasters_needed"]


def against_guessing(c: "Choice", ax: "Axes | None" = None) -> "Axes":
    """Chance of every count by guessing as bars, and the count that was reached."""
    from matplotlib.ticker import MaxNLocator
    from scipy.stats import binom

    ax = calm(ax, 5.2, 3.0)
    right, answers = c.counted
    count = np.arange(answers + 1)
    enough = count >= (answers + 1 if c.needed is None else c.needed)
    if c.two_sided:
        enough |= enough[::-1]
    chance = binom.pmf(count, answers, c.method.guess)
    for kind, colour, label in (
        (~enough, RULE, "by guessing"),
        (enough, BLUE, "enough to count as telling them apart"),
    ):
        if kind.any():
            ax.bar(count[kind], chance[kind], color=colour, width=0.85, label=label)
    ax.axvline(right, color=VERMILION, lw=2.2, ls="--", label=f"this tasting: {right} of {answers}")
    ax.set_xlabel(plain(f"choices for {c.names[0]}" if c.two_sided else "right answers"))
    ax.xaxis.set_major_locator(MaxNLocator(integer=True))
    ax.set_ylabel("chance when nobody can tell")
    legend_above(ax)
    return ax


def tasters_needed(n: "Needed", ax: "Axes | None" = None) -> "Axes":
    """Chance against the number of tasters, with the number from which it stays."""
    ax = calm(ax, 5.2, 3.2)
    ax.plot(n.table["tasters"], n.table["chance"], color=BLUE, lw=1.2, marker=".", ms=4)
    ax.axhline(n.chance, color=GREEN, lw=1, ls=(0, (5, 3)))
    ax.axvline(n.tasters, color=VERMILION, lw=1.8, ls="--")
    ax.annotate(
        f"{n.tasters} tasters", (n.tasters, 0.04), xytext=(5, 0), textcoords="offset points",
        color=INK, fontsize=POINTS,
    )  # fmt: skip
    ax.set_ylim(0, 1.02)
    ax.set_xlabel("tasters")
    ax.set_ylabel("chance of the answer")
    return ax


def rank_sums(r: "Ranking", ax: "Axes | None" = None) -> "Axes":
    """Rank sums, the first at the top; bars that do not meet are apart."""
    table = r.to_frame()
    ax = calm(ax, 5.2, 1.2 + 0.36 * len(table))
    rows = np.arange(len(table))
    ax.errorbar(
        table["rank_sum"], rows, xerr=table["half_least"], fmt="s", color=BLUE, ms=6, lw=2,
        capsize=3,
    )  # fmt: skip
    ax.set_yticks(rows, [plain(str(name)) for name in table["sample"]])
    ax.set_ylim(len(table) - 0.5, -0.5)
    ax.set_xlabel(plain(f"rank sum (small: {r.meaning}), ± half the least difference"))
    return ax


def taster_lines(s: "Scores", ax: "Axes | None" = None) -> "Axes":
    """Scores of each taster joined by a line, and the means as squares."""
    ax = calm(ax, 3.4 + 0.6 * s.table.shape[1], 3.6)
    at = np.arange(s.table.shape[1])
    for i, (_, own) in enumerate(s.table.iterrows()):
        line = own.to_numpy(dtype=float)
        label = "one taster" if i == 0 else None
        ax.plot(at, line, color=GREY, marker="o", ms=3.5, lw=0.9, label=label)
    ax.plot(at, s.means["mean"], color=BLUE, ls="none", marker="s", ms=8, label="mean")
    ax.set_xticks(at, [plain(str(name)) for name in s.table.columns])
    ax.set_xlim(-0.4, len(at) - 0.6)
    ax.set_ylabel("score")
    legend_above(ax, ncols=2)
    return ax


def same_and_different(c: "Consistency", ax: "Axes | None" = None) -> "Axes":
    """Distances between marks of the same muffin and of different ones, one row a taster."""
    ax = calm(ax, 5.2, 1.3 + 0.34 * len(c.table))
    rows = np.arange(len(c.table))
    ax.hlines(rows, c.table["same"], c.table["different"], color=RULE, lw=2)
    for column, colour, marker, label in (
        ("same", VERMILION, "o", "same muffin twice"),
        ("different", BLUE, "s", "different muffins"),
    ):
        ax.plot(c.table[column], rows, color=colour, ls="none", marker=marker, label=label)
    ax.set_yticks(rows, [plain(str(name)) for name in c.table["taster"]])
    ax.set_ylim(len(rows) - 0.5, -0.5)
    ax.set_xlabel("mean distance between marks")
    legend_above(ax, ncols=2)
    return ax
