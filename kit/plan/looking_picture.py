"""The picture of looks at an answer; every mark is a number of `Looks.to_frame`."""

from typing import TYPE_CHECKING

import numpy as np

from kit.analysis import words
from kit.plan.pictures import own_axes

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from kit.plan.looking import Looks

__all__ = ["intervals_over_looks"]

_INK, _GREY, _BLUE, _GREEN = "#222222", "#8c8c8c", "#0072b2", "#009e73"
#: The picture shows so many half widths of the usual interval of the last look.
_ROOM = 4.0


def intervals_over_looks(found: "Looks", ax: "Axes | None" = None) -> "Axes":
    """After each bake the usual interval (thick) and the one that holds (thin, with ends)."""
    ax = own_axes(5.4, 3.8) if ax is None else ax
    for side in ("top", "right"):
        ax.spines[side].set_visible(False)
    c, table = found.comparison, found.table[found.table["difference"].notna()]
    at = table["bakes"].to_numpy(dtype=float)
    middle = table["difference"].to_numpy()
    ax.axhline(0.0, color=_INK, lw=0.9)
    if c.matters is not None:
        ax.axhspan(
            -c.matters, c.matters, color=_GREEN, alpha=0.12, lw=0, label="too small to matter"
        )
    for name, color, width, cap, label in (
        ("wide_", _BLUE, 1.3, 5.0, "looked at after every bake"),
        ("", _GREY, 4.0, 0.0, "looked at once"),
    ):
        ends = table[[f"{name}low", f"{name}high"]].to_numpy(dtype=float)
        ax.errorbar(
            at, middle, np.abs(ends.T - middle), fmt="none", ecolor=color, elinewidth=width,
            capsize=cap, label=label,
        )  # fmt: skip
    ax.plot(at, middle, "o", color=_INK, ms=5)
    last = table.iloc[-1]
    half = (last["high"] - last["low"]) / 2
    reach = max(_ROOM * half, 1.3 * (c.matters or 0.0), 1.2 * float(np.abs(middle).max()))
    ax.set_ylim(-reach, reach)  # the first intervals run off the picture
    ax.set_xlim(0.5, found.planned + 0.5)
    ax.set_xticks(range(1, found.planned + 1))
    unit = words.unit_of(c.outcome)
    ax.set_xlabel(f"Looked at after bake … of {found.planned}", color=_INK)
    ax.set_ylabel(
        f"{words.capital(words.name(c.outcome))}: {words.amount(c.by, c.leading.level)} minus "
        f"{words.amount(c.by, c.leading.versus)}{f' ({unit})' if unit else ''}",
        color=_INK,
    )
    ax.legend(  # above, where no interval runs
        frameon=False, fontsize=9, loc="lower center", bbox_to_anchor=(0.5, 1.0), ncols=3,
        columnspacing=1.2, handletextpad=0.5, labelcolor=_INK,
    )  # fmt: skip
    return ax
