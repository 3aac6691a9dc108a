"""A measured value with its standard uncertainty, and how parts add up to one.

Source: JCGM 100:2008 (the GUM), first order: independent parts add in squares (5.1.2, equation
10); an interval is value ± k·u with k from the normal distribution, or from Student's t where
the uncertainty itself rests on few degrees of freedom (G.3).
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import pandas as pd

from kit.errors import InputError

__all__ = ["Value", "combined", "tidy"]


@dataclass(frozen=True)
class Value:
    """One value, its unit, its standard uncertainty and where that comes from.

    Parameters
    ----------
    value : float
        In `unit`. NaN where it could not be measured.
    u : float
        Standard uncertainty in the same unit.
    unit : str
        "mm", "ml", "mm²", "/cm²" or "" for a plain number.
    parts : dict of str to float
        What `u` is made of, each a standard uncertainty in `unit`: "marking", "lens", "tilt",
        "plane", "fit", "scale". They add in squares to `u`.
    df : float
        Degrees of freedom `u` rests on; infinite where it is not estimated from few readings.

    Examples
    --------
    >>> height = Value(38.0, 0.5, "mm")
    >>> height
    Value(38.00 ± 0.50 mm)
    >>> low, high = height.interval(0.95)
    >>> round(low, 2), round(high, 2)
    (37.02, 38.98)
    """

    value: float
    u: float
    unit: str = ""
    parts: Mapping[str, float] = field(default_factory=dict)
    df: float = math.inf

    def __repr__(self) -> str:
        return f"Value({self})"

    def __str__(self) -> str:
        """To the second digit of the uncertainty (GUM 7.2.6), and that."""
        if not 0 < self.u < math.inf:
            return f"{self.value:.4g} {self.unit}".strip()
        decimals = max(0, 1 - math.floor(math.log10(self.u)))
        return f"{self.value:.{decimals}f} ± {self.u:.{decimals}f} {self.unit}".strip()

    def __float__(self) -> float:
        return float(self.value)

    def interval(self, level: float = 0.95) -> tuple[float, float]:
        """Return the interval that holds the true value with probability `level`.

        Raises
        ------
        InputError
            `level` is not between 0 and 1.
        """
        if not 0 < level < 1:
            raise InputError("level", level, "must lie between 0 and 1", "For example 0.95.")
        from scipy.stats import norm, t

        p = 0.5 + level / 2
        k = float(norm.ppf(p) if math.isinf(self.df) else t.ppf(p, self.df))
        return self.value - k * self.u, self.value + k * self.u


def combined(value: float, unit: str = "", /, **parts: float) -> Value:
    """Return a value whose uncertainty is the square root of the sum of its parts' squares.

    The parts may be signed.

    Examples
    --------
    >>> combined(10.0, "mm", marking=0.3, lens=0.4)
    Value(10.00 ± 0.50 mm)
    """
    sizes = {cause: abs(part) for cause, part in parts.items()}
    return Value(float(value), math.hypot(*sizes.values()), unit, sizes)


def tidy(values: Mapping[str, Value]) -> pd.DataFrame:
    """One row a value: quantity, value, u, low, high (95 %), unit.

    Examples
    --------
    >>> tidy({"height_mm": Value(38.0, 0.5, "mm")}).round(2).values.tolist()
    [['height_mm', 38.0, 0.5, 37.02, 38.98, 'mm']]
    """
    rows = [(name, v.value, v.u, *v.interval(0.95), v.unit) for name, v in values.items()]
    return pd.DataFrame(rows, columns=["quantity", "value", "u", "low", "high", "unit"])
