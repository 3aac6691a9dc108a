"""Pictures of a rise: one dough, several, and what is to come.

A reading measured on a photo carries that photo, small, beside its point. What the thumbnails show
is said in words by `photos_in_words`, for whoever does not see them.
"""

from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from kit import quantities, words
from kit.analysis.proofs.rise_words import clock
from kit.charts.base import calm, legend_above, lines, plain
from kit.charts.colours import BLUE, GREEN, GREY, INK, ORANGE, RULE, SKY, VERMILION
from kit.errors import KitError

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from kit.analysis.forecast import Forecast
    from kit.analysis.rise import RiseCurve
    from kit.analysis.rise_all import Rises

__all__ = ["photos_in_words", "rise_curve", "rise_forecast", "rises"]

_COLOURS = (BLUE, VERMILION, GREEN, ORANGE, SKY, INK)
_MARKS, _LINES = "osD^vP", ("-", "--", "-.", ":", (0, (6, 1)), (0, (3, 1, 1, 1)))
_RATIO = "Volume, times the start (2 is double)"
#: no more thumbnails in one picture, and their longer side in dots
_MOST_PHOTOS, _SMALL = 8, 96
#: where a thumbnail's middle may be from its reading, in points: what is free first
_BESIDE = ((30, -32), (-30, 32), (36, -74), (-36, 74), (70, -32))


def rise_curve(c: "RiseCurve", ax: "Axes | None" = None) -> "Axes":
    """Readings, the curve with its band, and along the line of double the interval of its time."""
    ax = _frame(ax)
    _band(ax, c.curve["hours"], c.curve["low"], c.curve["high"], c.level)
    ax.plot(c.curve["hours"], c.curve["ratio"], color=BLUE, lw=2.2, zorder=3, label=_NAMES[c.shape])
    used = c.readings["used"]
    for own, face, label in ((used, BLUE, "reading"), (~used, "none", "after it fell: not used")):
        if own.any():
            rows = c.readings[own]
            ax.errorbar(
                rows["hours"], rows["ratio"], yerr=rows["u"].fillna(0.0), fmt="o", ms=5, mfc=face,
                mec=INK, mew=0.8, ecolor=INK, elinewidth=1, zorder=4, label=label,
            )  # fmt: skip
    _double(ax, c.double_hours, float(c.of("double_hours")["low"]),
            float(c.of("double_hours")["high"]), c.level)  # fmt: skip
    ax = _finish(ax)
    _thumbnails(ax, [c])
    return ax


def rise_forecast(f: "Forecast", ax: "Axes | None" = None) -> "Axes":
    """Readings so far, what to expect with its band, the time of double and the next look."""
    ax = _frame(ax)
    _band(ax, f.curve["hours"], f.curve["low"], f.curve["high"], f.level)
    ax.plot(f.curve["hours"], f.curve["ratio"], color=BLUE, lw=2.2, ls="--", zorder=3,
            label="to expect")  # fmt: skip
    ax.plot(f.readings["hours"], f.readings["ratio"], ls="none", marker="o", ms=5, mfc=BLUE,
            mec=INK, mew=0.8, zorder=4, label="reading")  # fmt: skip
    _double(ax, f.hours, f.low, f.high, f.level)
    if np.isfinite(f.look_hours):
        when = f.at(f.look_hours)
        at = "" if when is None else f" at {when.hour}:{when.minute:02d}"
        ax.axvline(f.look_hours, color=GREY, lw=1.1, ls=(0, (2, 2)), label=f"look again{at}")
    return _finish(ax)


def rises(r: "Rises", ax: "Axes | None" = None) -> "Axes":
    """All curves, one colour, line and mark a setting (or a dough, where there are few)."""
    ax = _frame(ax)
    column = r.by or next(c for c in reversed(r.doughs.columns))
    kinds = list(dict.fromkeys(r.doughs[column]))
    try:
        kinds.sort()
    except TypeError:  # settings of mixed kinds keep the order they came in
        kinds = list(dict.fromkeys(r.doughs[column]))
    told = r.by is not None or len(kinds) <= len(_COLOURS)
    seen = set()
    for curve, kind in zip(r.curves, r.doughs[column], strict=True):
        i = kinds.index(kind) % len(_COLOURS)
        label = None
        if told and kind not in seen:
            label = plain(words.amount(column, kind) if r.by else f"{words.name(column)} {kind}")
        seen.add(kind)
        ax.plot(curve.curve["hours"], curve.curve["ratio"], color=_COLOURS[i], lw=1.6,
                ls=_LINES[i], zorder=3)  # fmt: skip
        ax.plot(curve.readings["hours"], curve.readings["ratio"], ls="none", marker=_MARKS[i],
                ms=4.5, color=_COLOURS[i], zorder=4, label=label)  # fmt: skip
    ax.axhline(2, color=INK, lw=0.8, zorder=1)
    ax = _finish(ax)
    _thumbnails(ax, r.curves)
    legend = ax.get_legend()
    if r.by and legend is not None:
        legend.set_title(plain(words.capital(quantities.label(r.by))))
    return ax


def photos_in_words(curves: "Iterable[RiseCurve]") -> str:
    """Say in words which photos are drawn, as alternative text; empty where there is none."""
    told = [
        f"after {clock(float(row.hours))}, at {float(row.ratio):.2f} times"
        for row in _drawn_photos(curves)
    ]
    return f"Small photos of the dough: {'; '.join(told)}." if told else ""


def _drawn_photos(curves: "Iterable[RiseCurve]") -> list[Any]:
    """The readings whose photo can be shown, evenly thinned to `_MOST_PHOTOS`."""
    rows = [
        row
        for curve in curves
        for row in curve.photos.itertuples()
        if Path(str(row.photo)).is_file()
    ]
    keep = np.linspace(0, len(rows) - 1, min(len(rows), _MOST_PHOTOS)).round().astype(int)
    return [rows[i] for i in keep]


def _thumbnails(ax: "Axes", curves: "Iterable[RiseCurve]") -> None:
    """Draw each photo small, right below its reading where the curve leaves room, else above.

    Where neither is free of other photos and inside the frame, it goes below all the same.
    """
    from matplotlib.offsetbox import AnnotationBbox, OffsetImage

    points = ax.figure.dpi / 72
    (left, bottom), (right, top) = ax.transAxes.transform([(0, 0), (1, 1)]) / points
    taken: list[tuple[float, float]] = []

    def free(x: float, y: float) -> bool:
        inside = left + 25 < x < right + 20 and bottom + 20 < y < top - 10
        return inside and all(abs(x - a) > 50 or abs(y - b) > 40 for a, b in taken)

    for row in _drawn_photos(curves):
        picture = _small(Path(str(row.photo)))
        if picture is None:
            continue
        x, y = ax.transData.transform((float(row.hours), float(row.ratio))) / points
        beside = next((at for at in _BESIDE if free(x + at[0], y + at[1])), _BESIDE[0])
        taken.append((x + beside[0], y + beside[1]))
        box = AnnotationBbox(
            OffsetImage(picture, zoom=0.5), (float(row.hours), float(row.ratio)),
            xybox=beside, boxcoords="offset points", pad=0.1,
            arrowprops={"arrowstyle": "-", "color": GREY, "lw": 0.7},
            bboxprops={"edgecolor": GREY, "lw": 0.7}, annotation_clip=False,
        )  # fmt: skip
        box.set_zorder(2)
        box.set_gid(f"photo after {clock(float(row.hours))}, {float(row.ratio):.2f} times")
        ax.add_artist(box)


def _small(file: Path) -> Any:
    """A photo (of a phone, too: HEIC) as a small picture; None where it is no picture any more."""
    from kit.photo.picture import read

    try:
        return read(file).reduced(_SMALL)[0]
    except KitError:
        return None


_NAMES = {
    "gompertz": "Gompertz curve",
    "logistic": "logistic curve",
    "smooth": "smooth curve",
    "between": "straight between readings",
}


def _frame(ax: "Axes | None") -> "Axes":
    ax = calm(ax, 5.4, 4.0)
    ax.set_xlabel("Hours since the start")
    ax.set_ylabel(lines(_RATIO, 40))
    return ax


def _band(ax: "Axes", x: object, low: object, high: object, level: float) -> None:
    x, low, high = (np.asarray(one, dtype=float) for one in (x, low, high))
    if np.isfinite(low).any():
        ax.fill_between(x, low, high, color=BLUE, alpha=0.2, lw=0, zorder=1.5,
                        label=f"its {100 * level:.0f} % interval")  # fmt: skip


def _double(ax: "Axes", hours: float, low: float, high: float, level: float) -> None:
    """The line of double and on it the time, with its interval as a thick bar."""
    ax.axhline(2, color=RULE, lw=0.9, zorder=1)
    if np.isnan(hours) or np.isinf(hours):
        return
    if np.isfinite(high):
        ax.plot([low, high], [2, 2], color=GREEN, lw=5, solid_capstyle="butt", zorder=5,
                label=f"double, {100 * level:.0f} % interval")  # fmt: skip
    ax.plot([hours], [2], ls="none", marker="D", ms=7, mfc=GREEN, mec=INK, zorder=6)


def _finish(ax: "Axes") -> "Axes":
    ax.set_xlim(left=0)
    if ax.get_legend_handles_labels()[1]:
        legend_above(ax, ncols=2)
    return ax
