"""Pictures of plans and of what they can show; every mark is a number of the result's frames."""

from typing import TYPE_CHECKING

import numpy as np

from kit import words
from kit.charts.base import arms, calm, in_unit, own_axes, plain
from kit.charts.colours import BLUE, GREEN, GREY, INK, RULE
from kit.plan.noticing.noticed import often
from kit.us_units import also_us

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from kit.plan.looking import Looks
    from kit.plan.plan import Plan
    from kit.plan.power import Power
    from kit.plan.serving import Serving
    from kit.plan.spread import Spread

__all__ = [
    "alike_in", "doughs_and_pieces", "doughs_of_a_plan", "intervals_over_looks", "plates",
    "spread_bars",
]  # fmt: skip

#: Okabe & Ito (2008), the light ones, on which ink can be read.
_PALE = ("#ffffff", "#bfe3f7", "#fbe3a2", "#f4c9a8", "#cdeee2", "#e8d4e2", "#dddddd", "#f7f3b5")
#: From few pieces to many: the bluer, the more.
_BLUES = ("#b9b9b9", "#8fb8d6", "#56b4e9", "#2f8fc4", "#0072b2", "#004a75")

#: The picture shows so many half widths of the usual interval of the last look.
_ROOM = 4.0
#: Along the picture of doughs against pieces.
_COUNTS = (2, 3, 4, 5, 6, 8, 10, 12, 16, 20, 24, 32, 40, 52)


def doughs_and_pieces(p: "Power", ax: "Axes | None" = None) -> "Axes":
    """Smallest difference against bakes (or doughs), one line for each number of pieces."""
    ax = calm(ax, 5.4, 4.0)
    if p.bakes is not None and not p.inside:
        here = p.bakes
    else:
        here = p.doughs if p.inside else p.doughs // p.settings
    counts = sorted({n for n in _COUNTS if n <= max(12, 1.5 * here)} | {here})
    table = p.doughs_against_pieces(bakes=counts)
    across = table.columns[0]
    each = sorted(table["pieces"].unique())
    shown = table[table["smallest"] <= 3 * max(p.smallest, 1e-12)]
    for n, pieces in enumerate(each):
        line = shown[shown["pieces"] == pieces]
        if not line.empty:
            ax.plot(
                line[across], line["smallest"], color=_BLUES[min(n, len(_BLUES) - 1)],
                marker="osD^v"[n % 5], ms=4.5, lw=1.6,
                label=words.plural(int(pieces), "piece") + " a dough",
            )  # fmt: skip
    if p.matters is not None:
        ax.axhline(p.matters, color=GREEN, lw=1.2, ls=(0, (5, 3)), label="what matters")
    ax.plot([here], [p.smallest], ls="none", marker="*", ms=14, color=INK, label="this plan")
    unit = f" ({p.unit_of_outcome})" if p.unit_of_outcome else ""
    ax.set_ylabel(f"Smallest difference noticed\n{often(p.chance_wanted)}{unit}")
    label = {"bakes": "Bakes, every setting in each", "doughs": "Doughs a setting"}[across]
    ax.set_xlabel("Doughs, all settings in each" if p.inside else label)
    ax.set_ylim(bottom=0)
    ax.set_xticks([n for n in counts if n < 7 or n % 4 == 0])
    ax.grid(axis="y", color=RULE, lw=0.5)
    ax.legend(frameon=False, fontsize=9, labelcolor=INK)
    return ax


def alike_in(plan: "Plan") -> list[str]:
    """Return the quantities that doughs of one colour have alike: what there are colours for."""
    whole = [f.quantity for f in plan.factors if f.level == "dough"]
    for alike in (whole, whole[:1]):
        if len(plan.doughs[alike].drop_duplicates()) <= len(_PALE):
            return alike
    return []


def doughs_of_a_plan(plan: "Plan", ax: "Axes | None" = None) -> "Axes":
    """Bakes as rows, doughs in the order of mixing, coloured by what `alike_in` names."""
    from matplotlib.patches import Rectangle

    table = plan.doughs
    whole = [f.quantity for f in plan.factors if f.level == "dough"]
    bakes = list(dict.fromkeys(table["bake"]))
    longest = int(table["order"].max())
    ax = own_axes(1.2 + 1.1 * longest, 0.9 + 0.62 * len(bakes)) if ax is None else ax
    alike = alike_in(plan)
    kinds = table[alike].drop_duplicates().sort_values(alike) if alike else table[:0]
    colours = dict(zip(kinds.itertuples(index=False, name=None), _PALE, strict=False))
    for row in table.to_dict("records"):
        own = tuple(row[q] for q in alike)
        at = row["order"] - 1, bakes.index(row["bake"])
        corner, colour = (at[0] + 0.04, at[1] + 0.06), colours.get(own, _PALE[0])
        ax.add_patch(Rectangle(corner, 0.92, 0.88, facecolor=colour, edgecolor=GREY, lw=0.8))
        amounts = (also_us(words.amount(q, row[q]), absolute=True) for q in whole)
        said = "\n".join([row["dough"], *(a.replace(" (", "\n(") for a in amounts)])
        ax.text(
            at[0] + 0.5, at[1] + 0.5, said, ha="center", va="center", color=INK,
            fontsize=9 if len(whole) < 2 else 7,
        )  # fmt: skip
    ax.set_xlim(0, longest)
    ax.set_ylim(len(bakes), 0)
    ax.set_xticks(np.arange(longest) + 0.5, [str(i + 1) for i in range(longest)])
    ax.set_yticks(np.arange(len(bakes)) + 0.5, [f"Bake {b}" for b in bakes])
    ax.tick_params(length=0, colors=INK)
    for side in ("top", "right", "left", "bottom"):
        ax.spines[side].set_visible(False)
    # the timetable mixes what stands longer in the fridge earlier, on the day before if need be
    retarded = any(f.decided == "retarding" for f in plan.factors)
    first = "\n(longer retards first, by the timetable)" if retarded else ""
    ax.set_xlabel(f"Order of mixing{first}", color=INK)
    return ax


def spread_bars(spread: "Spread", ax: "Axes | None" = None) -> "Axes":
    """Standard deviations from bake to bake, dough to dough and piece to piece."""
    ax = calm(ax, 4.4, 2.2)
    table = spread.to_frame()
    rows = np.arange(len(table))
    ax.barh(rows, table["sd"], color=_BLUES[2], height=0.55, edgecolor=INK, lw=0.6)
    known = table["low"].notna() & spread.known
    if known.any():
        some = table[known]
        ax.errorbar(
            some["sd"], rows[known], xerr=arms(some, "sd"), fmt="none", color=INK, lw=1.6, capsize=4
        )
    ax.set_yticks(rows, [f"{name} to {name}" for name in table["component"]])
    ax.invert_yaxis()
    # one long range, hardly known at all, must not hide the others: it runs off the picture
    ax.set_xlim(0, 3.2 * float(table["sd"].max()))
    ax.set_xlabel(f"Standard deviation{in_unit(spread.outcome)}")
    return ax


def intervals_over_looks(found: "Looks", ax: "Axes | None" = None) -> "Axes":
    """After each bake the usual interval (thick) and the one that holds (thin, with ends)."""
    ax = calm(ax, 5.4, 3.8)
    c, table = found.comparison, found.table[found.table["difference"].notna()]
    at = table["bakes"].to_numpy(dtype=float)
    middle = table["difference"].to_numpy()
    ax.axhline(0.0, color=INK, lw=0.9)
    if c.matters is not None:
        ax.axhspan(
            -c.matters, c.matters, color=GREEN, alpha=0.12, lw=0, label="too small to matter"
        )
    for name, color, width, cap, label in (
        ("wide_", BLUE, 1.3, 5.0, "looked at after every bake"),
        ("", GREY, 4.0, 0.0, "looked at once"),
    ):
        ends = table[[f"{name}low", f"{name}high"]].to_numpy(dtype=float)
        ax.errorbar(
            at, middle, np.abs(ends.T - middle), fmt="none", ecolor=color, elinewidth=width,
            capsize=cap, label=label,
        )  # fmt: skip
    ax.plot(at, middle, "o", color=INK, ms=5)
    last = table.iloc[-1]
    half = (last["high"] - last["low"]) / 2
    reach = max(_ROOM * half, 1.3 * (c.matters or 0.0), 1.2 * float(np.abs(middle).max()))
    ax.set_ylim(-reach, reach)  # the first intervals run off the picture
    ax.set_xlim(0.5, found.planned + 0.5)
    ax.set_xticks(range(1, found.planned + 1))
    ax.set_xlabel(f"Looked at after bake … of {found.planned}")
    ax.set_ylabel(
        f"{words.capital(words.name(c.outcome))}: {words.amount(c.by, c.leading.level)} minus "
        f"{words.amount(c.by, c.leading.versus)}{in_unit(c.outcome)}"
    )
    ax.legend(  # above, where no interval runs
        frameon=False, fontsize=9, loc="lower center", bbox_to_anchor=(0.5, 1.0), ncols=3,
        columnspacing=1.2, handletextpad=0.5, labelcolor=INK,
    )  # fmt: skip
    return ax


def plates(s: "Serving", ax: "Axes | None" = None) -> "Axes":
    """Codes alone: rows are tasters and their sets, columns places on the plate."""
    table = s.table.assign(row=s.table["taster"] + " " + s.table["set"].astype(str))
    rows = list(dict.fromkeys(table["row"]))
    most = int(table["position"].max())
    ax = own_axes(1.6 + 0.8 * most, 0.9 + 0.28 * len(rows)) if ax is None else ax
    for at, row, code in zip(table["position"], table["row"], table["code"], strict=True):
        ax.text(int(at), rows.index(row), str(code), ha="center", va="center")
    ax.set_xlim(0.5, most + 0.5)
    ax.set_ylim(len(rows) - 0.5, -0.5)
    ax.set_xticks(range(1, most + 1))
    ax.set_yticks(range(len(rows)), list(map(plain, rows)))
    ax.set_xlabel("place on the plate")
    return ax
