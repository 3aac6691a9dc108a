"""The rises of several doughs, side by side and as a table with the dough as the unit."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import pandas as pd

from kit.analysis import words
from kit.analysis.rise import Asked, RiseCurve, rise
from kit.analysis.rise_words import DOUBLE_IS, clock
from kit.analysis.shown import as_html, as_text
from kit.errors import DataError, NotFoundError

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["Rises", "rise_all"]


@dataclass(frozen=True)
class Rises:
    """Curves of several doughs.

    Parameters
    ----------
    curves : tuple of RiseCurve
    doughs : DataFrame
        One row a dough, in the order of the curves: its name and what was kept of it.
    by : str or None
        Column of the setting the doughs are told apart by.
    level : float
        Of the intervals.
    checks : tuple of str
    """

    curves: tuple[RiseCurve, ...]
    doughs: pd.DataFrame
    by: str | None
    level: float
    checks: tuple[str, ...]

    @property
    def headline(self) -> str:
        """How many doubled, and from when to when."""
        times = self.to_frame()["double_hours"].dropna()
        count = words.plural(len(self.curves), "dough")
        if times.empty:
            return f"None of {count} can be said to have doubled."
        if len(times) == 1:
            return f"One of {count} has a time to double: {clock(float(times.iloc[0]))}."
        first, last = clock(float(times.min())), clock(float(times.max()))
        return f"{len(times)} of {count} have a time to double: {first} to {last}."

    @property
    def next_step(self) -> str:
        """What to do next."""
        if self.by is None:
            return ""
        setting = words.name(self.by)
        return (
            f"Next: whether {setting} changes it is for a comparison to say, in which each dough "
            "counts once, however often it was read (compare to_frame()'s double_hours)."
        )

    def __repr__(self) -> str:
        by = f" by {self.by}" if self.by else ""
        return f"<Rises of {words.plural(len(self.curves), 'dough')}{by}>"

    def __str__(self) -> str:
        return as_text((self.headline, DOUBLE_IS, self.next_step), self.checks, "")

    def _repr_html_(self) -> str:
        head = as_html(self.headline, (DOUBLE_IS, self.next_step), self.checks, "")
        return head + self.to_frame().to_html(float_format="{:.3g}".format, index=False)

    def to_frame(self) -> pd.DataFrame:
        """One row a dough, ready for `kit.compare` with the dough as the unit.

        Columns of the dough, then ``shape``, ``readings``, ``lag_hours, speed_per_hour,
        plateau_ratio, double_hours`` (NaN where not known) and ``double_low, double_high``.
        """
        rows: list[dict[str, Any]] = []
        for curve in self.curves:
            numbers = curve.numbers.set_index("name")
            row: dict[str, Any] = {"shape": curve.shape, "readings": len(curve.readings)}
            row |= {str(name): float(v) for name, v in numbers["estimate"].items()}
            double = numbers.loc["double_hours"]
            rows.append({**row, "double_low": double["low"], "double_high": double["high"]})
        return pd.concat([self.doughs, pd.DataFrame(rows)], axis=1)

    def plot(self, ax: "Axes | None" = None) -> "Axes":
        """Draw all curves in one picture, one colour a setting."""
        from kit import charts

        return charts.rises(self, ax)


def rise_all(
    frame: pd.DataFrame,
    by: str | None = None,
    hours: str = "hours",
    ratio: str = "proof_ratio",
    dough: str = "dough",
    bake: str | None = None,
    u: str | float | None = None,
    shape: Asked = "auto",
    level: float = 0.95,
) -> Rises:
    """Describe the rise of every dough in a table of readings.

    Parameters
    ----------
    frame : DataFrame
        One row a reading.
    by : str, optional
        Column of the setting that the doughs differ in; the same for all readings of a dough.
    hours, ratio, dough : str
        Columns. Doughs of different bakes must have different names, unless `bake` is given.
    bake : str, optional
        Column kept beside the dough.
    u : str or float, optional
        Standard uncertainty of a ratio, or the column that holds it.
    shape, level
        As in `kit.analysis.rise.rise`.

    Returns
    -------
    Rises

    Raises
    ------
    NotFoundError
        A column that is not there.
    DataError
        A dough with two settings, or no dough with a reading after the start.

    Examples
    --------
    >>> readings = pd.DataFrame({
    ...     "dough": ["a"] * 4 + ["b"] * 4, "hours": [0.5, 1, 1.5, 2] * 2,
    ...     "proof_ratio": [1.1, 1.45, 1.9, 2.2, 1.05, 1.2, 1.5, 1.9],
    ... })
    >>> rise_all(readings)
    <Rises of 2 doughs>
    """
    used = [c for c in (dough, hours, ratio, by, bake, u) if isinstance(c, str)]
    for column in used:
        if column not in frame.columns:
            raise NotFoundError("column", column, map(str, frame.columns))
    keys = [c for c in (bake, dough) if c is not None]
    curves, rows, checks = [], [], []
    for key, part in frame.groupby(keys, sort=False, observed=True):
        names = dict(zip(keys, key if isinstance(key, tuple) else (key,), strict=True))
        if by is not None:
            settings = part[by].dropna().unique()
            if len(settings) != 1:
                what = "no value" if not len(settings) else f"{len(settings)} values"
                msg = (
                    f"dough {names[dough]!r} has {what} of {by}: a dough is mixed with one. Give "
                    "each dough a name of its own, or name the bakes."
                )
                raise DataError(msg)
            names[by] = settings[0]
        spread = part[u].to_numpy(dtype=float) if isinstance(u, str) else u
        after = part[hours].gt(0) & part[ratio].notna()
        if not after.any():
            checks.append(f"dough {names[dough]} has no reading after the start and was left out")
            continue
        times, ratios = (part[c].to_numpy(dtype=float) for c in (hours, ratio))
        curve = rise(times, ratios, spread, shape, level=level)
        curves.append(curve)
        rows.append(names)
    if not curves:
        msg = "no dough has a reading after the start: nothing can be said of their rise."
        raise DataError(msg)
    few = [str(r[dough]) for r, c in zip(rows, curves, strict=True) if c.shape == "between"]
    if few:
        checks.append(
            f"too few readings for a curve: {words.join(few)}; times there are between readings"
        )
    return Rises(tuple(curves), pd.DataFrame(rows), by, level, tuple(checks))
