"""The tables of the page: means, differences, where the spread comes from, any frame as text."""

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from kit import words
from kit.analysis.steady.components import Surrogates, interval
from kit.writeup.blocks import Table

if TYPE_CHECKING:
    from kit.analysis.comparison import Comparison

__all__ = ["MOST_ROWS", "differences", "listed", "means", "spread", "table"]

#: A table of more rows than this is cut, and says so.
MOST_ROWS = 120


def means(c: "Comparison") -> Table:
    """The settings' means with their intervals."""
    rows = [
        (words.amount(c.by, level), _number_and_span(mean, low, high))
        for level, mean, low, high in c.means[["level", "mean", "low", "high"]].to_numpy(object)
    ]
    what = "Height of the line" if c.kind == "line" else "Means of the settings"
    if c.adjusted:
        what += f", {listed(c.adjusted)} held alike"
    head = (words.capital(words.name(c.by)), _head(c, f"Mean {words.name(c.outcome)}"))
    return Table(what, head, tuple(rows), (False, True))


def differences(c: "Comparison") -> Table:
    """Every difference with its interval, its answer and p value."""
    rows = [
        (
            f"{words.amount(c.by, row['level'])} against {words.amount(c.by, row['versus'])}",
            str(row["answer"]),
            _number_and_span(row["difference"], row["low"], row["high"]),
            words.number(row["se"], row["se"]),
            words.number(row["df"], 10),
            _p(row["p"]),
        )
        for row in c.differences.to_dict("records")
    ]
    head = (words.capital(words.name(c.by)), "Answer", _head(c, "Difference"), "SE", "df", "p")
    caption = (
        f"Differences in {words.name(c.outcome)} by {words.name(c.by)}: the first less the second"
    )
    return Table(caption, head, tuple(rows), (False, False, True, True, True, True))


def _head(c: "Comparison", what: str) -> str:
    unit = words.unit_of(c.outcome)
    return f"{what}{f' in {unit}' if unit else ''} ({100 * c.fit.level:.0f} % interval)"


def _number_and_span(value: float, low: float, high: float) -> str:
    return f"{words.number(value, (high - low) / 2)} ({_span(low, high)})"


def spread(c: "Comparison") -> Table:
    """How much doughs, loads and pieces differ by themselves."""
    inner = "dough" if c.counts["piece"] == c.counts["dough"] else "piece"
    within = " within a bake" if c.counts["bake"] > 1 else ""
    called = {
        "bake": "From bake to bake",
        "mixing": f"From mixing to mixing{within} (doughs mixed in one go)",
        "dough": f"From dough to dough{within}",
        "load": f"From load to load{within}",
        "residual": f"From {inner} to {inner}, and the measuring",
    }
    rows = []
    drawn = Surrogates(c.fit)
    for component, sd, share in c.fit.variance[["sd", "share"]].itertuples():
        name = str(component)
        values = drawn.values[:, drawn.names.index(name)]
        low, high = (math.sqrt(max(v, 0.0)) for v in interval(values, c.fit.level))
        size = f"{words.number(sd, sd) if sd else 'none seen'} ({_span(low, high)})"
        rows.append((called.get(name, name), size, f"{100 * share:.0f} %"))
    return Table(
        "Where the spread comes from, the settings apart",
        ("Spread", _head(c, "Standard deviation"), "Share of the variance"),
        tuple(rows),
        (False, True, True),
    )


def listed(columns: Sequence[str]) -> str:
    """Name columns as they stand in a sentence."""
    return words.join(words.name(column) for column in columns)


def _span(low: float, high: float) -> str:
    """Both ends, always on one line: a phone breaks a cell at its spaces."""
    half = (high - low) / 2
    ends = f"{words.number(low, half)} to {words.number(high, half)}"
    return ends.replace(" ", "\N{NO-BREAK SPACE}")


def _p(value: float) -> str:
    if np.isnan(value):
        return "unknown"
    return "below 0.0001" if value < 1e-4 else f"{value:.2g}"


def table(frame: pd.DataFrame, caption: str, missing: str = "–") -> Table:
    """A frame's first rows as text, each column of numbers with the decimals it needs.

    A number among words is what somebody typed: it stands with all its digits.
    """
    frame = frame.head(MOST_ROWS)
    columns = [[_cell(v, missing, _decimals(frame[n])) for v in frame[n]] for n in frame]
    numeric = tuple(
        pd.api.types.is_numeric_dtype(frame[n]) and not pd.api.types.is_bool_dtype(frame[n])
        for n in frame
    )
    return Table(caption, tuple(map(str, frame)), tuple(zip(*columns, strict=True)), numeric)


def _decimals(column: "pd.Series[Any]") -> int | None:
    if not pd.api.types.is_float_dtype(column):
        return None
    shown = [f"{v:.6g}" for v in column.dropna()]
    return max((len(s.partition(".")[2]) for s in shown if "e" not in s), default=0)


def _cell(value: Any, missing: str, decimals: int | None) -> str:
    if pd.isna(value):
        return missing
    if isinstance(value, (float, np.floating)):
        return words.minus(f"{value:.12g}" if decimals is None else f"{value:.{decimals}f}")
    if isinstance(value, pd.Timestamp):
        return value.date().isoformat()
    return str(value)
