"""Many side views of one dough over time: how many times its first volume it is."""

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from kit.errors import InputError, KitError
from kit.photo.arguments import check_kind
from kit.photo.picture import Photo, read
from kit.photo.proof_ratio import DOUBLE, ratio_of_volumes
from kit.photo.reference import Scale
from kit.photo.reference import scale as find_scale
from kit.photo.side_view import ROUND, Side, check_shape, side
from kit.photo.sides.jar import Jar
from kit.photo.value import Value
from kit.shown import as_html, as_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["Series", "SeriesRow", "series"]

Box = tuple[float, float, float, float]
#: one Scale for all, a way to get one from each photo, or the arguments of `kit.photo.scale`
ScaleOf = Scale | Callable[[Photo], Scale] | Mapping[str, Any]
SCALE_OF = "must be a scale, a function that gives each photo's own, or what kit.photo.scale takes"


@dataclass(frozen=True)
class SeriesRow:
    """One photo of a series.

    Parameters
    ----------
    photo : str
        File name, or "photo 3".
    sha256 : str
    taken : datetime or None
    minutes : float
        Since the first photo that was measured; NaN where the time is not known.
    view : Side or None
        None where the photo could not be measured.
    ratio : Value or None
        Volume over that of the first photo measured.
    notes : tuple of str
        Why it could not be measured, or what to bear in mind.
    """

    photo: str
    sha256: str
    taken: datetime | None
    minutes: float
    view: Side | None
    ratio: Value | None
    notes: tuple[str, ...]


@dataclass(frozen=True)
class Series:
    """Side views in time order.

    Parameters
    ----------
    shape : str
    rows : tuple of SeriesRow
        One a photo.
    shared : bool
        One reference served all: its error cancels in the ratios.
    checks : tuple of str
    """

    shape: str
    rows: tuple[SeriesRow, ...] = field(repr=False)
    shared: bool
    checks: tuple[str, ...]

    @property
    def measured(self) -> tuple[SeriesRow, ...]:
        """The rows that have a view."""
        return tuple(row for row in self.rows if row.view is not None)

    @property
    def headline(self) -> str:
        """How far the dough is."""
        done = self.measured
        if not done:
            return "None of the photos could be measured."
        last = done[-1]
        assert last.ratio is not None
        low, high = last.ratio.interval(0.95)
        when = f" after {last.minutes:.0f} minutes" if math.isfinite(last.minutes) else ""
        return (
            f"{last.ratio.value:.2f} times the first volume{when} ({low:.2f} to {high:.2f}); "
            f"{len(done)} of {len(self.rows)} photos measured."
        )

    def __repr__(self) -> str:
        return f"<Series {self.shape}: {len(self.measured)} of {len(self.rows)} photos measured>"

    def __str__(self) -> str:
        return as_text((self.headline,), self.checks, "")

    def _repr_html_(self) -> str:
        shown = self.to_frame().drop(columns="sha256")
        return as_html(self.headline, (), self.checks, "") + str(
            shown.to_html(index=False, float_format="{:.3g}".format)
        )

    def to_frame(self) -> pd.DataFrame:
        """One row a photo in time order; not measured is NaN, the reason in `notes`."""
        rows = []
        for row in self.rows:
            one: dict[str, Any] = {
                "photo": row.photo, "sha256": row.sha256, "taken": row.taken,
                "minutes": row.minutes,
            }  # fmt: skip
            for name in ("height_mm", "diameter_mm", "volume_ml"):
                value = getattr(row.view, name) if row.view else None
                one[name], one[f"u_{name}"] = _pair(value)
            one["ratio"], one["u_ratio"] = _pair(row.ratio)
            one["corrected"] = row.view.corrected if row.view else False
            one["notes"] = "; ".join(row.notes)
            rows.append(one)
        return pd.DataFrame(rows)

    def plot(self, ax: "Axes | None" = None) -> "Axes":
        """Draw the ratio over time with its standard uncertainty."""
        from kit import charts

        return charts.proof_series(self, ax)


def _pair(value: Value | None) -> tuple[float, float]:
    return (math.nan, math.nan) if value is None else (value.value, value.u)


def series(
    photos: "Sequence[Photo | str | Path]",
    scale_of: ScaleOf,
    shape: str = "ball",
    *,
    box: Box | None = None,
    jar: Jar | None = None,
    outlines: "Mapping[int, NDArray[np.float64]] | None" = None,
    progress: "Callable[[int, int], None] | None" = None,
) -> Series:
    """Measure a dough in photo after photo.

    Parameters
    ----------
    photos : sequence of Photo or path
    scale_of : Scale, callable or mapping
        One `Scale` when neither camera nor reference moved (the surest ratios); a function that
        gives each photo's own; or arguments of `kit.photo.scale`, for each photo anew.
    shape, box, jar
        As for `side`; a box holds for all photos.
    outlines : mapping of int to (n, 2) array, optional
        Outlines corrected by hand, by place in `photos`.
    progress : callable, optional
        Called with how many are done and how many there are.

    Returns
    -------
    Series
        One row a photo, in time order where times are known. A photo that cannot be measured is a
        row with its reason.

    Raises
    ------
    InputError
        No photos, a shape that does not exist, a jar missing or too much.
    """
    if isinstance(photos, str | Path | Photo) or not isinstance(photos, Iterable):
        raise InputError("photos", photos, "must be a list of photos or paths")
    photos = list(photos)
    if not photos:
        raise InputError("photos", [], "must hold at least one photo")
    check_kind("scale_of", scale_of, Scale | Callable | Mapping, SCALE_OF)
    check_kind("outlines", outlines, Mapping | None, "must be outlines by their photo's place")
    check_kind("progress", progress, Callable | None, "must be something to call")
    check_shape(shape, jar)
    shared = isinstance(scale_of, Scale)
    found: list[SeriesRow] = []
    before: Side | None = None
    for i, one in enumerate(photos):
        outline = None if outlines is None else outlines.get(i)
        found.append(_measured(i, one, scale_of, shape, box, jar, outline, before))
        before = found[-1].view if shared else None
        if progress is not None:
            progress(i + 1, len(photos))
    sure = next((row.view for row in found if row.view is not None), None)
    if shared and box is None and sure is not None:
        # one place: where the dough stands in one photo it stands in those it was not found in
        for i, row in enumerate(found):
            if row.view is None and row.sha256:
                again = _measured(i, photos[i], scale_of, shape, None, jar, None, sure)
                found[i] = again if again.view is not None else row
    timed = all(row.taken is not None for row in found if row.view is not None)
    # photos without a time keep the place they were given in
    if timed:
        found.sort(key=lambda row: row.taken.timestamp() if row.taken else math.inf)
    checks = [] if timed else ["some photos do not say when they were taken: enter their times"]
    rows = _rows(found, shared)
    missed = len(rows) - sum(row.view is not None for row in rows)
    if missed:
        checks.append(f"{missed} of {len(rows)} photos could not be measured: see their notes")
    if rows[0].view is None and missed < len(rows):
        checks.append(
            "the first photo could not be measured: ratios are to the first that could. Draw its "
            "box or outline"
        )
    checks += [ROUND] * (shape != "jar") + [DOUBLE]
    return Series(shape, rows, shared, tuple(checks))


def _measured(
    i: int, one: "Photo | str | Path", scale_of: ScaleOf, shape: str, box: Box | None,
    jar: Jar | None, outline: "NDArray[np.float64] | None", before: Side | None,
) -> SeriesRow:  # fmt: skip
    """One photo's view, or why there is none. A path's pixels go as soon as they are measured."""
    name, sha256, taken = f"photo {i + 1}", "", None
    try:
        photo = one if isinstance(one, Photo) else read(one)
        name = photo.path.name if photo.path else name
        sha256, taken = photo.sha256, photo.taken
        near = _box_after(before, photo) if box is None and before is not None else box
        view = side(photo, _scale(photo, scale_of), shape, near, jar, outline, before=before)
    except (KitError, OSError) as refused:
        name = Path(one).name if isinstance(one, str | Path) else name
        return SeriesRow(name, sha256, taken, math.nan, None, None, (str(refused),))
    notes = tuple(c for c in view.checks if c != ROUND)
    return SeriesRow(name, sha256, taken, math.nan, view, None, notes)


def _box_after(before: Side, photo: Photo) -> Box:
    """Where a dough is in the next photo from one place: where it was, with room to rise."""
    low, high = before.drawn.min(0), before.drawn.max(0)
    wide, tall = high - low
    return (
        max(0.0, float(low[0] - 0.12 * wide)), max(0.0, float(low[1] - 0.3 * tall)),
        min(photo.width - 1.0, float(high[0] + 0.12 * wide)),
        min(photo.height - 1.0, float(high[1] + 0.08 * tall)),
    )  # fmt: skip


def _scale(photo: Photo, scale_of: ScaleOf) -> Scale:
    if isinstance(scale_of, Scale):
        return scale_of
    if isinstance(scale_of, Mapping):
        said = {"kind": None, **{str(name): what for name, what in scale_of.items()}}
        return find_scale(photo, **said)
    return scale_of(photo)


def _rows(found: list[SeriesRow], shared: bool) -> tuple[SeriesRow, ...]:
    """The rows with their minutes and ratios to the first one measured."""
    first = next((row for row in found if row.view is not None), None)
    if first is None or first.view is None:
        return tuple(found)
    rows = []
    for row in found:
        ratio, minutes = None, math.nan
        if row.taken is not None and first.taken is not None:
            minutes = (row.taken - first.taken).total_seconds() / 60
        if row is first:
            ratio = Value(1.0, 0.0)
        elif row.view is not None:
            ratio = ratio_of_volumes(
                first.view.volume_ml.value, row.view.volume_ml.value,
                first.view.signed["volume_ml"], row.view.signed["volume_ml"], shared,
            )  # fmt: skip
        rows.append(replace(row, minutes=minutes, ratio=ratio))
    return tuple(rows)
