"""Pictures of plans and of what they can show; every mark is a number of the result's frames."""

from typing import TYPE_CHECKING

import numpy as np

from kit.analysis import words
from kit.plan.noticed import often

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from kit.plan.looking import Looks
    from kit.plan.plan import Plan
    from kit.plan.power import Power
    from kit.plan.spread import Spread

__all__ = [
    "calm", "doughs_and_pieces", "doughs_of_a_plan", "intervals_over_looks", "own_axes",
    "spread_bars",
]  # fmt: skip

_INK, _GREY, _RULE, _BLUE, _GREEN = "#222222", "#8c8c8c", "#c9c9c9", "#0072b2", "#009e73"
#: Okabe & Ito (2008), the light ones, on which ink can be read.
_PALE = ("#ffffff", "#bfe3f7", "#fbe3a2", "#f4c9a8", "#cdeee2", "#e8d4e2", "#dddddd", "#f7f3b5")
#: From few pieces to many: the bluer, the more.
_BLUES = ("#b9b9b9", "#8fb8d6", "#56b4e9", "#2f8fc4", "#0072b2", "#004a75")

#: The picture shows so many half widths of the usual interval of the last look.
_ROOM = 4.0
#: Along the picture of doughs against pieces.
_COUNTS = (2, 3, 4, 5, 6, 8, 10, 12, 16, 20, 24, 32, 40, 52)


def own_axes(width: float, height: float) -> "Axes":
    """Axes of a figure of its own, outside pyplot, so that nothing stays open."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(width, height), layout="constrained")
    FigureCanvasAgg(figure)
    return figure.subplots()


def calm(ax: "Axes") -> None:
    """Leave the axes two thin grey lines and small numbers."""
    for side in ("top", "right"):
        ax.spines[side].set_visible(False)
    for side in ("left", "bottom"):
        ax.spines[side].set_color(_GREY)
    ax.tick_params(colors=_INK, labelsize=9.5)


def doughs_and_pieces(p: "Power", ax: "Axes | None" = None) -> "Axes":
    """Smallest difference against bakes (or doughs), one line for each number of pieces."""
    ax = own_axes(5.4, 4.0) if ax is None else ax
    calm(ax)
    if p.unit != "piece" and p.bakes is not None:
        here = p.bakes
    else:
        here = p.doughs if p.unit == "piece" else p.doughs // p.settings
    counts = sorted({n for n in _COUNTS if n <= max(12, 1.5 * here)} | {here})
    table = p.doughs_against_pieces(bakes=counts)
    across = table.columns[0]
    each = sorted(table["pieces"].unique())
    shown = table[table["smallest"] <= 3 * max(p.smallest, 1e-12)]
    for n, pieces in enumerate(each):
        line = shown[shown["pieces"] == pieces]
        if line.empty:
            continue
        ax.plot(
            line[across],
            line["smallest"],
            color=_BLUES[min(n, len(_BLUES) - 1)],
            marker="osD^v"[n % 5],
            ms=4.5,
            lw=1.6,
            label=words.plural(int(pieces), "piece") + " a dough",
        )
    if p.matters is not None:
        ax.axhline(p.matters, color=_GREEN, lw=1.2, ls=(0, (5, 3)), label="what matters")
    ax.plot([here], [p.smallest], ls="none", marker="*", ms=14, color=_INK, label="this plan")
    unit = f" ({p.unit_of_outcome})" if p.unit_of_outcome else ""
    ax.set_ylabel(f"Smallest difference noticed\n{often(p.chance_wanted)}{unit}", color=_INK)
    label = {"bakes": "Bakes, every setting in each", "doughs": "Doughs a setting"}[across]
    ax.set_xlabel("Doughs, all settings in each" if p.unit == "piece" else label, color=_INK)
    ax.set_ylim(bottom=0)
    ax.set_xticks([n for n in counts if n < 7 or n % 4 == 0])
    ax.grid(axis="y", color=_RULE, lw=0.5)
    ax.legend(frameon=False, fontsize=9, labelcolor=_INK)
    return ax


def doughs_of_a_plan(plan: "Plan", ax: "Axes | None" = None) -> "Axes":
    """Bakes as rows, doughs in the order of mixing, one colour and one text a recipe."""
    from matplotlib.patches import Rectangle

    table = plan.doughs
    whole = [f.quantity for f in plan.factors if f.level == "dough"]
    bakes = list(dict.fromkeys(table["bake"]))
    longest = int(table["order"].max())
    if ax is None:
        ax = own_axes(1.2 + 1.1 * longest, 0.9 + 0.62 * len(bakes))
    recipes = (
        list(table[whole].drop_duplicates().sort_values(whole).itertuples(index=False))
        if whole
        else []
    )
    colours = {tuple(r): _PALE[i % len(_PALE)] for i, r in enumerate(recipes)}
    for row in table.to_dict("records"):
        own = tuple(row[q] for q in whole)
        at = row["order"] - 1, bakes.index(row["bake"])
        ax.add_patch(
            Rectangle(
                (at[0] + 0.04, at[1] + 0.06),
                0.92,
                0.88,
                facecolor=colours.get(own, _PALE[0]),
                edgecolor=_GREY,
                lw=0.8,
            )
        )
        said = "\n".join([row["dough"], *(words.amount(q, row[q]) for q in whole)])
        ax.text(
            at[0] + 0.5, at[1] + 0.5, said, ha="center", va="center", color=_INK,
            fontsize=9 if len(whole) < 2 else 7,
        )  # fmt: skip
    ax.set_xlim(0, longest)
    ax.set_ylim(len(bakes), 0)
    ax.set_xticks(np.arange(longest) + 0.5, [str(i + 1) for i in range(longest)])
    ax.set_yticks(np.arange(len(bakes)) + 0.5, [f"Bake {b}" for b in bakes])
    ax.tick_params(length=0, colors=_INK)
    for side in ("top", "right", "left", "bottom"):
        ax.spines[side].set_visible(False)
    # the timetable mixes what stands longer in the fridge earlier, on the day before if need be
    retarded = any(f.decided == "retarding" for f in plan.factors)
    first = "\n(longer retards first, by the timetable)" if retarded else ""
    ax.set_xlabel(f"Order of mixing{first}", color=_INK)
    return ax


def spread_bars(spread: "Spread", ax: "Axes | None" = None) -> "Axes":
    """Standard deviations from bake to bake, dough to dough and piece to piece."""
    ax = own_axes(4.4, 2.2) if ax is None else ax
    calm(ax)
    table = spread.to_frame()
    rows = np.arange(len(table))
    ax.barh(rows, table["sd"], color=_BLUES[2], height=0.55, edgecolor=_INK, lw=0.6)
    known = table["low"].notna() & spread.known
    if known.any():
        some = table[known]
        ax.errorbar(
            some["sd"],
            rows[known],
            xerr=[some["sd"] - some["low"], some["high"] - some["sd"]],
            fmt="none",
            color=_INK,
            lw=1.6,
            capsize=4,
        )
    ax.set_yticks(rows, [f"{name} to {name}" for name in table["component"]])
    ax.invert_yaxis()
    # one long range, hardly known at all, must not hide the others: it runs off the picture
    ax.set_xlim(0, 3.2 * float(table["sd"].max()))
    unit = words.unit_of(spread.outcome)
    ax.set_xlabel(f"Standard deviation{f' ({unit})' if unit else ''}", color=_INK)
    return ax


def intervals_over_looks(found: "Looks", ax: "Axes | None" = None) -> "Axes":
    """After each bake the usual interval (thick) and the one that holds (thin, with ends)."""
    ax = own_axes(5.4, 3.8) if ax is None else ax
    calm(ax)
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
