"""Pictures of a schedule and of a proof time.

Colours are those of Okabe and Ito (*Color Universal Design*, 2008); every kind of bar also has
its own hatching, or its name in it, for print in black and white.
"""

from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np

from kit.charts.base import calm, legend_above, own_axes
from kit.charts.colours import BLUE, GREY, INK, ORANGE, RULE, VERMILION
from kit.plan.timetable import clock
from kit.plan.timetable.clock import say_clock, say_minutes
from kit.plan.timetable.proofing import COLDEST_C, Q10_HIGH, Q10_LOW, WARMEST_C

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from kit.plan.timetable.proofing import Doubling
    from kit.plan.timetable.scheduled import Schedule
    from kit.plan.timetable.steps import Step

__all__ = ["doubling", "timetable"]

_NIGHT = "#ececec"
_POINTS = 8.5
#: what -> colour, hatching, words of the legend
_LOOK = {
    "mix": (BLUE, "", "mix"),
    "rise": ("#f6e8b0", "", "rise before the cold"),
    "retard": ("#cfe6f5", "", "refrigerator"),
    "shape": (ORANGE, "", "take out and shape"),
    "proof": ("#f3d9a0", "..", "warm proof"),
    "wait": ("#ffffff", "////", "ready, waits for its load"),
    "load": (VERMILION, "", "on the griddle"),
    "rest": ("#dddddd", "\\\\\\\\", "on the rack"),
}
#: An idle stretch longer than this (minutes) is drawn as if it lasted `_SHORT`.
_LONG, _SHORT = 100, 75
_BAR = 0.62  # of a row's height
_PAD = 12  # minutes left free on both sides of a stretch
#: A dough's row is at most so much higher for its shapings, and the picture no higher than a page.
_MOST_LANES, _PAGE_IN = 1.6, 9.5


def timetable(s: "Schedule", ax: "Axes | None" = None) -> "Axes":
    """Draw one bar a dough, the griddle and the rack along the time.

    The axis is in hours since the first step. Stretches in which nobody has anything to do are
    drawn short: the scale of the axis is piecewise linear, the numbers on it are true.
    """
    from matplotlib.patches import Patch

    start = s.times.start
    rows = [*(d.name for d in s.bake.doughs), "griddle", "rack"]
    if ax is None:
        parts = max(len(set(t.shapings.values())) for t in s.times.doughs.values())
        row_in = 0.42 * min(max(1.0, 0.7 * parts), _MOST_LANES)
        ax = own_axes(9.2, min(1.9 + row_in * len(rows), _PAGE_IN))
    knots, drawn = _knots(s)
    ax.set_xscale(
        "function",
        functions=(lambda x: _along(x, knots, drawn), lambda x: _along(x, drawn, knots)),
    )
    ax.set_xlim(knots[0], knots[-1])
    for a, b in _asleep(s):
        ax.axvspan((a - start) / 60, (b - start) / 60, color=_NIGHT, lw=0, zorder=0)
    shown = []
    for step in s.steps:
        if step.what not in _LOOK or step.end == step.start:
            continue
        colour, hatch, _ = _LOOK[step.what]
        row = "griddle" if step.what == "load" else "rack" if step.what == "rest" else step.dough
        for beside, height, left in _bars(s, step):
            at = rows.index(row) + beside
            if step.what == "shape":
                _back_in_the_cold(ax, s, step, at, height)
            ax.barh(
                at, (step.end - left) / 60, left=(left - start) / 60, height=height,
                facecolor=colour, hatch=hatch, edgecolor=GREY if hatch else INK, lw=0.6,
                zorder=2 if step.what == "wait" else 3,
            )  # fmt: skip
            _write(ax, s, step, at, height / (len(rows) + 0.15), knots, drawn)
        shown.append(step.what)
    called = {} if "retard" in shown else {"shape": "shape"}  # there is nothing to take out
    handles: list[Any] = [
        Patch(
            facecolor=c, hatch=h, edgecolor=GREY if h else INK, lw=0.6,
            label=called.get(what, text),
        )
        for what, (c, h, text) in _LOOK.items()
        if what in shown
    ]  # fmt: skip
    if s.proof is not None:
        handles.append(_ready(ax, s))
    table = (s.times.table - start) / 60
    ax.axvline(table, color=INK, lw=1.6, zorder=4)
    ax.set_yticks(range(len(rows)), [*(f"dough {r}" for r in rows[:-2]), *rows[-2:]])
    ax.set_ylim(len(rows) - 0.45, -0.6)
    _ticks(ax, s, knots, drawn)
    for side in ("top", "right", "left"):
        ax.spines[side].set_visible(False)
    ax.tick_params(axis="y", length=0, labelsize=_POINTS + 1, colors=INK)
    if _asleep(s):
        handles.append(Patch(facecolor=_NIGHT, label=f"outside {s.limits.awake_words}"))
    legend_above(
        ax, handles=handles, ncols=5, fontsize=_POINTS, columnspacing=1.4, handlelength=1.6
    )
    short = "; stretches without work are drawn short, at the waves" if len(knots) > 2 else ""
    table_at = clock.say_moment(s.times.table, s.zone)
    ax.set_xlabel(f"On the table {table_at} ({s.zone.key}){short}", fontsize=_POINTS, color=INK)
    return ax


def doubling(d: "Doubling", ax: "Axes | None" = None) -> "Axes":
    """Draw the time to double against the room's temperature, moved from this guess."""
    ax = calm(ax, 5.0, 3.4)
    at = np.linspace(COLDEST_C, WARMEST_C, 81)
    ends = [d.minutes * q ** (-(at - d.room_temp_c) / 10) for q in (Q10_LOW, Q10_HIGH)]
    low, high = np.minimum(*ends) * d.low / d.minutes, np.maximum(*ends) * d.high / d.minutes
    ax.fill_between(at, low, high, color=BLUE, alpha=0.2, lw=0, label="mostly within")
    ax.plot(at, np.sqrt(ends[0] * ends[1]), color=BLUE, lw=2, label="guess")
    ax.errorbar(
        [d.room_temp_c], [d.minutes], yerr=[[d.minutes - d.low], [d.high - d.minutes]], fmt="s",
        color=INK, capsize=4, label=f"{d.room_temp_c:.1f} °C: {say_minutes(round(d.minutes))}",
    )  # fmt: skip
    ax.set_xlabel("Room temperature (°C)")
    ax.set_ylabel("Minutes to double")
    ax.set_ylim(bottom=0)
    ax.legend(frameon=False)
    return ax


def _ready(ax: "Axes", s: "Schedule") -> Any:
    """Draw when a dough may really be ready, as a line with ends below the middle of its bar."""
    start = clock.utc(s.times.start)
    table = s.doughs
    early, late = (
        [(t - start).total_seconds() / 3600 for t in table[c]]
        for c in ("ready_early", "ready_late")
    )
    middle = [(a + b) / 2 for a, b in zip(early, late, strict=True)]
    arms = [(b - a) / 2 for a, b in zip(early, late, strict=True)]
    return ax.errorbar(
        middle, [i + 0.38 for i in range(len(table))], xerr=arms, fmt="none", ecolor=INK,
        elinewidth=1.1, capsize=2.5, zorder=4, label="may be ready between",
    )  # fmt: skip


def _knots(s: "Schedule") -> tuple[np.ndarray[Any, Any], np.ndarray[Any, Any]]:
    """True hours since the first step, and where on paper they stand."""
    active = sorted(
        (step.start, step.end)
        for step in s.steps
        if step.hands_on or step.what in ("proof", "wait", "rest", "rise")
    )
    merged: list[list[int]] = []
    for a, b in active:
        if merged and a - merged[-1][1] <= _LONG:
            merged[-1][1] = max(merged[-1][1], b)
        else:
            merged.append([a, b])
    true, paper, at = [], [], 0.0
    for i, (a, b) in enumerate(merged):
        a, b = a - _PAD, b + _PAD
        at += _SHORT if i else 0
        true += [a, b]
        paper += [at, at + b - a]
        at += b - a
    return (np.array(true) - s.times.start) / 60, np.array(paper) / 60


def _along(x: Any, source: np.ndarray[Any, Any], target: np.ndarray[Any, Any]) -> Any:
    """Piecewise linear between the knots, at the scale of the true hours outside them."""
    x = np.asarray(x, dtype=float)
    inside = np.interp(x, source, target)
    beyond = np.where(x < source[0], x - source[0], np.where(x > source[-1], x - source[-1], 0.0))
    return inside + beyond


def _asleep(s: "Schedule") -> list[tuple[int, int]]:
    """Stretches in which nobody is up, within the schedule and a little around it."""
    span = (s.times.start - 60, s.times.table + 60)
    awake = clock.awake_spans(span, *s.limits.awake, s.zone)
    return [(b, c) for (_, b), (c, _) in pairwise(awake) if c > span[0] and b < span[1]]


def _bars(s: "Schedule", step: "Step") -> list[tuple[float, float, int]]:
    """How far from the middle of its row a step is drawn, how high, and from when.

    Every shaping of a dough has a lane of its own, and what comes of it goes on in that lane.
    """
    if step.what not in ("shape", "proof", "wait"):
        return [(0.0, _BAR, step.start)]
    t = s.times.doughs[step.dough]
    spans = sorted(set(t.shapings.values()))
    from_when = {span: step.start for span in spans if span[step.what == "proof"] == step.start}
    if step.what == "wait":
        own = [p for p in s.bake.pieces if (p.dough, p.load) == (step.dough, step.load)]
        from_when = {t.shapings[p.name]: t.ready(p) for p in own}
    one, thin = _BAR / len(spans), 0.5 if step.what == "wait" else 1.0
    return [
        (one * (spans.index(span) + 0.5) - _BAR / 2, one * thin, left)
        for span, left in from_when.items()
    ]


def _back_in_the_cold(ax: "Axes", s: "Schedule", step: "Step", at: float, height: float) -> None:
    """Draw what stands cold again until it is shaped."""
    t = s.times.doughs[step.dough]
    if t.cold < t.out < step.start:
        ax.barh(
            at, (step.start - t.out) / 60, left=(t.out - s.times.start) / 60, height=height,
            facecolor=_LOOK["retard"][0], edgecolor=INK, lw=0.6, zorder=3,
        )  # fmt: skip


def _write(
    ax: "Axes", s: "Schedule", step: "Step", at: float, share: float,
    knots: np.ndarray[Any, Any], drawn: np.ndarray[Any, Any],
) -> None:  # fmt: skip
    """Write into a bar, which has a share of the picture's height, what it is, if there is room."""
    # proofs that begin together share a lane: the longest tells of them all
    ends = sorted(
        one.end for one in s.steps
        if (one.what, one.dough, one.start) == (step.what, step.dough, step.start)
    )  # fmt: skip
    if step.what not in ("retard", "proof", "load") or step.end < ends[-1]:
        return
    lengths = list(dict.fromkeys(say_minutes(end - step.start) for end in (ends[0], step.end)))
    text = step.load if step.what == "load" else " to ".join(lengths)
    bar = np.array([step.start, step.end], dtype=float)
    a, b = _along((bar - s.times.start) / 60, knots, drawn)
    figure = ax.get_figure(root=True)
    width_in, height_in = (6.0, 4.0) if figure is None else figure.get_size_inches()
    room_points = (b - a) / (drawn[-1] - drawn[0]) * 72 * 0.88 * width_in
    if room_points < 0.6 * _POINTS * len(text) or share * (height_in - 1.5) * 72 < _POINTS:
        return
    middle = float(_along((a + b) / 2, drawn, knots))
    colour = "white" if step.what == "load" else INK
    box = {"boxstyle": "round,pad=0.12", "fc": _LOOK[step.what][0], "ec": "none"}
    ax.text(
        middle, at, text, ha="center", va="center", fontsize=_POINTS, color=colour, zorder=5,
        bbox=box, weight="bold" if step.what == "load" else "normal",
    )  # fmt: skip


def _ticks(
    ax: "Axes", s: "Schedule", knots: np.ndarray[Any, Any], drawn: np.ndarray[Any, Any]
) -> None:
    """Name the hours within the stretches drawn true, the day where it begins, and the gaps."""
    whole = float(drawn[-1] - drawn[0])
    apart = max(0.35, whole / 16)
    step = next((m for m in (30, 60, 120, 240) if m / 60 >= apart), 480)
    at: list[float] = []
    labels: list[str] = []
    day = ""
    for a, b in zip(knots[::2], knots[1::2], strict=True):
        first = s.times.start + round(a * 60)
        last = s.times.start + round(b * 60)
        shift = clock.local(first, s.zone)
        moment = first + (-(shift.hour * 60 + shift.minute)) % step
        inside = list(range(moment, last + 1, step)) or [first + _PAD]
        for m in inside:
            today = clock.say_day(m, s.zone)
            short = today.split()
            name = f"\n{short[0][:3]} {short[1]} {short[2][:3]}" if today != day else ""
            day = today
            at.append((m - s.times.start) / 60)
            labels.append(say_clock(m, s.zone) + name)
    ax.set_xticks(at, labels, fontsize=_POINTS)
    ax.set_xticks([], minor=True)
    ax.tick_params(axis="x", colors=INK, color=GREY)
    ax.xaxis.grid(True, color=RULE, lw=0.5)
    ax.set_axisbelow(True)
    for b, a in zip(knots[1:-1:2], knots[2::2], strict=True):
        middle = float(_along(np.mean(_along(np.array([a, b]), knots, drawn)), drawn, knots))
        ax.text(
            middle, 0, "∿∿", transform=ax.get_xaxis_transform(), ha="center", va="center",
            fontsize=_POINTS + 3, color=INK, clip_on=False,
            bbox={"fc": "white", "ec": "none", "pad": 0.5},
        )  # fmt: skip
