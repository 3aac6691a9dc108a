"""The picture of a comparison: pieces, doughs, means with intervals, what matters; and in words."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from kit import quantities, words
from kit.analysis.answer.fitting import dough_means
from kit.charts.base import arms, called, calm, legend_above, lines
from kit.charts.colours import BLUE, GREEN, GREY, INK, POINTS, RULE, SKY

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

    from kit.analysis.comparison import Comparison

__all__ = ["MOST_MARKS", "comparison", "describe", "drawn", "so_far"]

#: More single marks than this hide each other and make the page heavy: then they are left out.
MOST_MARKS = 1000

# A setting's slot is 1 wide: its doughs stand side by side on the left, its mean on the right.
_DOUGHS, _MEAN_AT = (-0.38, 0.20), 0.36


def comparison(c: "Comparison", ax: "Axes | None" = None) -> "Axes":
    """Draw pieces, dough means, means with intervals, and what matters as a band.

    Pieces stand in one thin column a dough, the doughs of a setting side by side in the order
    of their bakes, the setting's mean with its interval to the right of them. A straight line
    is drawn with its interval as a band and everything at its true place along the axis.
    """
    levels = list(c.means["level"])
    ax = calm(ax, 5.0 + 0.6 * max(0, len(levels) - 5) * (c.kind == "settings"), 4.1)
    doughs = c.dough_means()
    if c.kind == "line":
        at, piece_at = doughs["level"], c.points["level"]
        _line(ax, c)
    else:
        at, piece_at = _places(c.points, doughs, levels, _DOUGHS)
        _settings(ax, c, levels)
    label = "mean of a dough" if c.unit != "piece" else "mean of a dough at that setting"
    _marks(ax, c.points, doughs, at, piece_at, threads=c.kind == "settings", label=label)
    if c.matters is not None:
        middle = _mean_at(c, c.leading.versus)
        edges = middle - c.matters, middle + c.matters
        told = f"less than this does not matter ({words.amount(c.outcome, c.matters)})"
        ax.axhspan(*edges, facecolor=GREEN, alpha=0.13, zorder=0, label=told)
        for edge in edges:
            ax.axhline(edge, color=GREEN, lw=0.8, ls=(0, (5, 3)), zorder=0.5)
    ax.set_xlabel(_along(c))
    ax.set_ylabel(called(c.outcome))
    _legend(ax)
    return ax


def so_far(points: "pd.DataFrame", outcome: str, by: str, ax: "Axes | None" = None) -> "Axes":
    """Draw what was measured before anything can be answered: pieces and dough means, no interval.

    Parameters
    ----------
    points : DataFrame
        One row a piece: ``bake, dough, level, value``.
    outcome, by : str
        Names for the axes.
    ax : Axes, optional
        Where to draw; a figure of its own when not given.
    """
    ax = calm(ax, 5.0, 3.4)
    levels, doughs = sorted(points["level"].unique()), dough_means(points)
    _marks(ax, points, doughs, *_places(points, doughs, levels, (-0.35, 0.35)))
    _slots(ax, [_level(level, 16) for level in levels], POINTS)
    ax.set_xlabel(called(by, 56))
    ax.set_ylabel(called(outcome))
    legend_above(ax, ncols=2)
    return ax


def describe(c: "Comparison") -> str:
    """Say in words what the chart shows, for those who do not see it.

    Returns
    -------
    str
        What stands on which axis, every setting's mean with interval and what it rests on,
        the band, and the answer.
    """
    outcome, by = (words.capital(quantities.label(n)) for n in (c.outcome, c.by))
    sure = f"{100 * c.fit.level:.0f} % interval"
    shown, unit = _what_is_drawn(c), words.unit_of(c.outcome)
    told = []
    rows = c.means if c.kind == "settings" else c.means.iloc[[0, -1]]
    counts = _unit_counts(c)
    for level, mean, low, high in rows[["level", "mean", "low", "high"]].itertuples(index=False):
        half = (high - low) / 2
        behind = f", from {words.plural(counts[level], c.unit)}" if c.kind == "settings" else ""
        told.append(
            f"at {words.amount(c.by, level)} {words.number(mean, half, unit)} "
            f"({words.number(low, half)} to {words.number(high, half)}){behind}"
        )
    means = "; ".join(told)
    if c.kind == "line":
        text = (
            f"Chart. Upwards: {outcome}. Along: {by}. {words.capital(shown)}, and a straight "
            f"line with its {sure}: {means}."
        )
    else:
        text = (
            f"Chart. Upwards: {outcome}. Along: {by}, {len(c.means)} settings. "
            f"{words.capital(shown)}, and the mean of each setting with its {sure}: {means}."
        )
    if c.matters is not None:
        text += (
            f" A band marks {words.amount(c.outcome, c.matters)} either side of the mean at "
            f"{words.amount(c.by, c.leading.versus)}: less than that does not matter."
        )
    return f"{text} The answer: {c.headline}"


def _mean_at(c: "Comparison", level: object) -> float:
    return float(c.means.loc[c.means["level"] == level, "mean"].iloc[0])


def _unit_counts(c: "Comparison") -> dict[Any, int]:
    """How many bakes, doughs, loads or pieces (what counts once) each setting has."""
    points = c.points
    if c.unit != "piece":
        points = points.drop_duplicates(["level", *dict.fromkeys(["bake", c.unit])])
    return {level: int((points["level"] == level).sum()) for level in c.means["level"]}


def _along(c: "Comparison") -> str:
    """Label of the axis along; how much stands behind a setting, where it is alike for all."""
    label = words.capital(quantities.label(c.by))
    counts = set(_unit_counts(c).values())
    if c.kind == "settings" and len(counts) == 1:
        label += f" · {words.plural(counts.pop(), c.unit)} at each"
    return lines(label, 56)


def _single(doughs: "pd.DataFrame") -> bool:
    """Whether every dough has one piece at a setting, so that it is its own mean."""
    return bool((doughs["pieces"] == 1).all())


def drawn(c: "Comparison") -> tuple[str, ...]:
    """Which single marks the chart shows: "piece", "dough", both or none."""
    return _drawn(c.points, c.dough_means())


def _drawn(points: "pd.DataFrame", doughs: "pd.DataFrame") -> tuple[str, ...]:
    shown = {
        "piece": len(points) <= MOST_MARKS,
        "dough": len(doughs) <= MOST_MARKS and not _single(doughs),
    }
    return tuple(mark for mark, is_shown in shown.items() if is_shown)


def _what_is_drawn(c: "Comparison") -> str:
    """The marks in words, as many as are drawn."""
    doughs, shown = c.dough_means(), drawn(c)
    parts = []
    if "piece" in shown:
        parts.append(f"{words.plural(len(c.points), 'piece')} as small dots")
    if "dough" in shown:
        number = len(doughs.drop_duplicates(["bake", "dough"]))
        parts.append(f"the means of {words.plural(number, 'dough')} as diamonds")
    return words.join(parts) or f"{c.counts['piece']} pieces, too many to draw one by one"


def _places(
    points: "pd.DataFrame", doughs: "pd.DataFrame", levels: Sequence[object],
    ends: tuple[float, float],
) -> "tuple[pd.Series[float], pd.Series[float]]":  # fmt: skip
    """Where doughs stand, side by side between two ends of their setting's slot, and pieces."""
    slots = doughs["level"].map({level: i for i, level in enumerate(levels)}).astype(float)
    groups = doughs.groupby("level", observed=True)["level"]
    order, count = groups.cumcount(), groups.transform("size").astype(int)
    step = np.minimum(0.14, (ends[1] - ends[0]) / np.maximum(count - 1, 1))
    at: pd.Series[float] = slots + sum(ends) / 2 + (order - (count - 1) / 2) * step
    key = ["bake", "dough", "level"]
    return at, points[key].merge(doughs[key].assign(x=at), on=key, how="left")["x"]


def _marks(
    ax: "Axes", points: "pd.DataFrame", doughs: "pd.DataFrame", at: "pd.Series[Any]",
    piece_at: "pd.Series[Any]", threads: bool = True, label: str = "mean of a dough",
) -> None:  # fmt: skip
    """Draw pieces, the threads that tie those of a dough together, and dough means."""
    single, shown = _single(doughs), _drawn(points, doughs)
    if "piece" in shown:
        if threads and not single:
            spread = points.groupby(["bake", "dough", "level"], sort=False, observed=True)
            ends = spread["value"].agg(["min", "max"])
            ax.vlines(at, ends["min"], ends["max"], color=RULE, lw=0.8, zorder=1)
        ax.plot(
            np.asarray(piece_at, dtype=float), points["value"], ls="none", marker="o",
            ms=_size(len(points), 4.6 if single else 3.6), mfc=GREY, mec="none", alpha=0.75,
            zorder=2, label="one piece",
        )  # fmt: skip
    if "dough" in shown:
        ax.plot(
            np.asarray(at, dtype=float), doughs["value"], ls="none", marker="D",
            ms=_size(len(doughs), 6.0), mfc=SKY, mec=INK, mew=0.7, zorder=3, label=label,
        )  # fmt: skip


def _size(count: int, few: float) -> float:
    """Size of a mark: smaller where there are many."""
    return few * float(np.clip((90 / max(count, 1)) ** 0.3, 0.55, 1.0))


def _settings(ax: "Axes", c: "Comparison", levels: Sequence[object]) -> None:
    ax.errorbar(
        np.arange(len(levels)) + _MEAN_AT, c.means["mean"], yerr=arms(c.means, "mean"), fmt="s",
        color=BLUE, mec="white", mew=0.6, ms=6.5, lw=2.4, capsize=5.5, capthick=1.8, zorder=4,
        label=f"mean of a setting, with its {100 * c.fit.level:.0f} % interval",
    )  # fmt: skip
    points = POINTS if len(levels) <= 5 else POINTS - 1
    letters = int(0.94 * 72 * _width_in(ax) / len(levels) / (0.57 * points))
    names = [_level(level, letters) for level in levels]
    counts = _unit_counts(c)
    if len(set(counts.values())) > 1:  # else it is told once, below
        behind = [words.plural(counts[level], c.unit) for level in levels]
        short = all(len(text) <= letters for text in behind)
        names = [
            f"{name}\n{text if short else text.replace(' ', chr(10))}"
            for name, text in zip(names, behind, strict=True)
        ]
    _slots(ax, names, points)


def _level(level: object, letters: int) -> str:
    return lines(f"{level:g}" if isinstance(level, (int, float)) else str(level), letters, 4)


def _slots(ax: "Axes", names: Sequence[str], points: float) -> None:
    """Name the settings along the picture, and part them."""
    ax.set_xticks(range(len(names)), names, fontsize=points)
    ax.set_xlim(-0.55, len(names) - 0.45)
    ax.tick_params(axis="x", length=0)
    for i in range(1, len(names)):
        ax.axvline(i - 0.5, color=RULE, lw=0.5, zorder=0)


def _width_in(ax: "Axes") -> float:
    """Width of the axes in inches, before the layout has run: a fair guess."""
    figure = ax.get_figure(root=True)
    width: float = figure.get_size_inches()[0] if figure is not None else 5.0
    return width * min(0.88, ax.get_position().width * 1.12)


def _line(ax: "Axes", c: "Comparison") -> None:
    means = c.means
    x = means["level"].to_numpy(dtype=float)
    low, high = (means[end].to_numpy(dtype=float) for end in ("low", "high"))
    sure = f"its {100 * c.fit.level:.0f} % interval"
    ax.fill_between(x, low, high, color=BLUE, alpha=0.22, lw=0, zorder=3.4, label=sure)
    ax.plot(x, means["mean"], color=BLUE, lw=2.4, zorder=4, label="the straight line")


def _legend(ax: "Axes") -> None:
    """Say what the marks mean, above the picture, from the smallest mark to the largest."""
    wanted = ("one piece", "mean of a dough", "mean of a setting", "the str", "its", "less")
    handles, labels = ax.get_legend_handles_labels()
    pairs = sorted(
        zip(handles, labels, strict=True),
        key=lambda pair: next(i for i, w in enumerate(wanted) if pair[1].startswith(w)),
    )
    told = {"handles": [one for one, _ in pairs], "labels": [label for _, label in pairs]}
    legend_above(ax, **told, handlelength=1.8, labelspacing=0.35)
