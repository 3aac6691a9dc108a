"""Coefficients of a regression with their intervals."""

import re
from typing import TYPE_CHECKING

import numpy as np

from kit import words
from kit.charts.base import arms, calm, in_unit, lines
from kit.charts.colours import BLUE, INK, RULE

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from kit.analysis.mixed import MixedFit

__all__ = ["coefficient_in_words", "coefficients"]


def coefficients(fit: "MixedFit", ax: "Axes | None" = None) -> "Axes":
    """Draw the coefficients with their intervals, the first at the top.

    The constant is left out where there is anything else: it is a height, not a change, and
    would squeeze the changes together.
    """
    table = fit.coefficients
    if len(table) > 1:
        table = table.drop(index="Intercept", errors="ignore")
    ax = calm(ax, 5.0, 1.1 + 0.34 * len(table))
    rows = np.arange(len(table))
    ax.axvline(0, color=INK, lw=0.9, zorder=1)
    ax.errorbar(
        table["estimate"], rows, xerr=arms(table, "estimate"), fmt="s", color=BLUE, ms=5.5, lw=2,
        capsize=3, zorder=3,
    )  # fmt: skip
    ax.set_yticks(rows, [lines(coefficient_in_words(str(name)), 28) for name in table.index])
    ax.set_ylim(len(table) - 0.5, -0.5)
    outcome = fit.formula.split("~")[0].strip()
    label = f"Change in {words.name(outcome)}{in_unit(outcome)}"
    ax.set_xlabel(lines(f"{label}, with {100 * fit.level:.0f} % intervals", 50))
    ax.xaxis.grid(True, color=RULE, lw=0.5)
    return ax


def coefficient_in_words(name: str) -> str:
    """A coefficient's name in words.

    Examples
    --------
    >>> coefficient_in_words("C(malt_percent)[T.0.4]"), coefficient_in_words("waited_minutes")
    ('diastatic malt at 0.4 %', 'waited before the griddle')
    """
    parts = []
    for part in name.split(":"):
        found = re.fullmatch(r"(?:C\()?(\w+?)\)?(?:\[(?:T\.)?(.*)\])?", part)
        if found is None:
            return name
        column, level = found.groups()
        text = words.name(column)
        if level is not None:
            try:
                text = words.setting(column, float(level))
            except ValueError:
                text = words.setting(column, level)
        parts.append(text)
    return " × ".join(parts)
