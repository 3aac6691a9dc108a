"""The rises of several doughs, side by side and as a table with the dough as the unit."""

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import pandas as pd

from kit import words
from kit.analysis.asked import need_columns
from kit.analysis.proofs.rise_words import DOUBLE_IS, clock, told
from kit.analysis.rise import Asked, RiseCurve, rise
from kit.errors import DataError
from kit.shown import Telling, Told

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["Rises", "rise_all"]


@dataclass(frozen=True)
class Rises(Told):
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
        if len(self.curves) == 1:
            return f"Dough {self.doughs['dough'].iloc[0]}: {self.curves[0].headline}"
        times = self.to_frame()["double_hours"].dropna()
        count = words.plural(len(self.curves), "dough")
        if times.empty:
            return f"None of {count} can be said to have doubled."
        if len(times) == 1:
            return f"One of {count} has a time to double: {clock(float(times.iloc[0]))}."
        first, last = clock(float(times.min())), clock(float(times.max()))
        return f"{len(times)} of {count} have a time to double: {first} to {last}."

    @property
    def sentence(self) -> str:
        """Lag, speed and plateau, where it is one dough."""
        return self.curves[0].sentence if len(self.curves) == 1 else ""

    @property
    def next_step(self) -> str:
        """What to do next."""
        if len(self.curves) == 1:
            return self.curves[0].next_step
        if self.by is None:
            return ""
        setting = words.name(self.by)
        return (
            f"Next: whether {setting} changes it is for a comparison to say, in which each dough "
            "counts once, however often it was read: keep the times to double, then compare them."
        )

    def __repr__(self) -> str:
        by = f" by {self.by}" if self.by else ""
        return f"<Rises of {words.plural(len(self.curves), 'dough')}{by}>"

    def tells(self) -> Telling:
        """What it says."""
        return Telling(self.headline, (self.sentence, DOUBLE_IS, self.next_step), self.checks)

    def _repr_html_(self) -> str:
        return super()._repr_html_() + self.in_words().to_html(index=False)

    def in_words(self) -> pd.DataFrame:
        """One row a dough, as a baker reads it: lag, top speed and time to double."""
        rows = []
        for curve, (_, own) in zip(self.curves, self.doughs.iterrows(), strict=True):
            lag, speed, double = (
                curve.of(name) for name in ("lag_hours", "speed_per_hour", "double_hours")
            )
            row = {"Dough": str(own["dough"])}
            if self.by is not None:
                row[words.capital(words.name(self.by))] = words.amount(self.by, own[self.by])
            row |= {
                "Double after": told(double, clock),
                "Got going after": told(lag, clock),
                "At best, volumes an hour": told(speed, "{:.2f}".format),
                "Readings": str(int((curve.readings["hours"] > 0).sum())),
            }
            rows.append(row)
        return pd.DataFrame(rows)

    def to_frame(self) -> pd.DataFrame:
        """One row a dough, ready for `kit.compare` with the dough as the unit.

        Columns of the dough, then ``shape``, ``readings``, ``lag_hours, speed_per_hour,
        plateau_ratio, double_hours`` (NaN where not known) and the intervals ``lag_low, lag_high,
        speed_low, speed_high, double_low, double_high``.
        """
        rows: list[dict[str, Any]] = []
        for curve in self.curves:
            numbers = curve.numbers.set_index("name")
            row: dict[str, Any] = {"shape": curve.shape, "readings": len(curve.readings)}
            row |= {str(name): float(v) for name, v in numbers["estimate"].items()}
            for name in ("lag", "speed", "double"):
                own = curve.of("speed_per_hour" if name == "speed" else f"{name}_hours")
                row |= {f"{name}_low": float(own["low"]), f"{name}_high": float(own["high"])}
            rows.append(row)
        return pd.concat([self.doughs, pd.DataFrame(rows)], axis=1)

    def plot(self, ax: "Axes | None" = None) -> "Axes":
        """Draw all curves in one picture, one colour a setting."""
        from kit import charts

        return charts.rises(self, ax)


def rise_all(
    frame: pd.DataFrame,
    by: str | None = None,
    bake: str | None = None,
    u: str | None = None,
    shape: Asked = "auto",
    level: float = 0.95,
    photo: str | None = None,
    u_start: str | None = None,
) -> Rises:
    """Describe the rise of every dough in a table of readings.

    Parameters
    ----------
    frame : DataFrame
        One row a reading: ``dough, hours, proof_ratio``. Doughs of different bakes must have
        different names, unless `bake` is given.
    by : str, optional
        Column of the setting that the doughs differ in; the same for all readings of a dough.
    bake : str, optional
        Column kept beside the dough.
    u : str, optional
        Column of the standard uncertainty of a ratio; a dough with a reading without one is
        described by the spread about its curve.
    shape, level
        As in `kit.analysis.rise.rise`.
    photo : str, optional
        Column with the file a reading was measured on: drawn small at its reading.
    u_start : str, optional
        Column with the relative standard uncertainty of the volume at a dough's start; see
        `kit.rise`.

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
    used = [c for c in ("dough", "hours", "proof_ratio", by, bake, u, photo, u_start) if c]
    need_columns(frame, used)
    keys = [c for c in (bake, "dough") if c]
    curves, rows, checks = [], [], []
    for key, part in frame.groupby(keys, sort=False, observed=True):
        names = dict(zip(keys, key if isinstance(key, tuple) else (key,), strict=True))
        if by is not None:
            settings = part[by].dropna().unique()
            if len(settings) != 1:
                what = "no value" if not len(settings) else f"{len(settings)} values"
                msg = (
                    f"dough {names['dough']!r} has {what} of {by}: a dough is mixed with one. Give "
                    "each dough a name of its own, or name the bakes."
                )
                raise DataError(msg)
            names[by] = settings[0]
        after = part["hours"].gt(0) & part["proof_ratio"].notna()
        spread = None
        if u is not None and (part.loc[after, u] > 0).all():
            spread = part[u].fillna(1.0).to_numpy(dtype=float)
        if not after.any():
            checks.append(f"dough {names['dough']} has no reading after the start and was left out")
            continue
        times, ratios = (part[c].to_numpy(dtype=float) for c in ("hours", "proof_ratio"))
        first = 0.0
        if u_start is not None and spread is not None:
            first = float(part[u_start].fillna(0.0).max())
        curve = rise(times, ratios, spread, shape, level=level, u_start=first)
        if photo is not None:
            shown = part[after & part[photo].notna()]
            columns = {"hours": "hours", "proof_ratio": "ratio", photo: "photo"}
            seen = shown[list(columns)].rename(columns=columns).reset_index(drop=True)
            curve = replace(curve, photos=seen)
        curves.append(curve)
        rows.append(names)
    if not curves:
        msg = "no dough has a reading after the start: nothing can be said of their rise."
        raise DataError(msg)
    few = [str(r["dough"]) for r, c in zip(rows, curves, strict=True) if c.shape == "between"]
    if few:
        checks.append(
            f"too few readings for a curve: {words.join(few)}; times there are between readings"
        )
    if len(curves) == 1:
        checks += curves[0].checks
    return Rises(tuple(curves), pd.DataFrame(rows), by, level, tuple(checks))
