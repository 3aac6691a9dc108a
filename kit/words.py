"""Numbers and settings in words: one rounding rule, used by every sentence, table and chart.

The rule: a number is shown to the decimal place of the second significant digit of its
uncertainty (GUM, JCGM 100:2008, 7.2.6: at most two significant digits).
"""

import math
from collections.abc import Iterable
from decimal import Decimal
from typing import TYPE_CHECKING

from kit import quantities

if TYPE_CHECKING:
    import pandas as pd

__all__ = [
    "amount", "capital", "decimals_for", "f_test", "join", "known", "minus", "name", "number",
    "plural", "rounded", "setting", "unit_of",
]  # fmt: skip


#: From here on a number has no decimals to be rounded to.
_NO_DIGITS_LEFT = 1e15


def decimals_for(uncertainty: float) -> int:
    """Decimal places that show two significant digits of `uncertainty`.

    Examples
    --------
    >>> decimals_for(1.73), decimals_for(0.025), decimals_for(140.0)
    (1, 3, 0)
    """
    if not math.isfinite(uncertainty) or uncertainty <= 0:
        return 2
    return min(max(0, 1 - math.floor(math.log10(uncertainty))), 15)


def number(value: float, uncertainty: float, unit: str = "") -> str:
    """Write a value as precisely as its uncertainty allows, with a real minus sign.

    Examples
    --------
    >>> number(-3.8412, 1.71, "mm")
    '−3.8 mm'
    """
    if not math.isfinite(value):
        return "unknown" if math.isnan(value) else "without limit"
    text = f"{value:.{decimals_for(uncertainty)}f}"
    if float(text) == 0:
        text = text.lstrip("-")
    return f"{minus(text)} {unit}".strip()


def minus(text: str) -> str:
    """A number's text with a real minus sign."""
    return text.replace("-", "−")


def known(column: str) -> quantities.Quantity | None:
    """The quantity of this name, those read again and again included; None where there is none."""
    try:
        return quantities.get(column)
    except LookupError:
        return None


def unit_of(column: str) -> str:
    """Unit of a column: the quantity's, else nothing."""
    quantity = known(column)
    return quantity.unit if quantity else ""


def name(column: str) -> str:
    """A column as it stands in the middle of a sentence.

    Examples
    --------
    >>> name("rise_height_mm"), name("browning_l"), name("angle_deg")
    ('height', 'browning L*', 'angle deg')
    """
    quantity = known(column)
    if quantity is None:
        return column.replace("_", " ")
    return quantity.label[0].lower() + quantity.label[1:]


def capital(text: str) -> str:
    """The text with a capital in front."""
    return text[:1].upper() + text[1:]


def amount(column: str, level: object) -> str:
    """A value with its unit, as it was given: a setting, or what matters.

    Only what comes of turning units (1/16 in is 1.5875 mm) is shortened, to four digits that
    count, and never below one decimal more than the quantity is written with.

    Examples
    --------
    >>> amount("malt_percent", 0.8), amount("recipe", "B"), amount("rise_height_mm", 1.5875)
    ('0.8 %', 'B', '1.588 mm')
    >>> amount("ball_weight_g", 0.02), amount("ball_weight_g", 100.02), amount("other", 1.5875)
    ('0.02 g', '100.02 g', '1.5875')
    >>> amount("rise_height_mm", 1e30), amount("rise_height_mm", math.inf)
    ('1e+30 mm', 'inf mm')
    """
    if isinstance(level, bool) or not isinstance(level, (int, float)):
        return f"{level} {unit_of(column)}".strip()
    return f"{_short(column, level):g} {unit_of(column)}".strip()


def _short(column: str, level: float) -> float:
    quantity = known(column)
    if level == 0 or not abs(level) < _NO_DIGITS_LEFT or quantity is None:
        return level
    places = max(quantity.decimals + 1, 3 - math.floor(math.log10(abs(level))))
    return float(round(Decimal(str(level)), places))  # as it is written, not as it is stored


def rounded(column: str, level: float) -> float:
    """A setting to one decimal more than its quantity is usually written with.

    Examples
    --------
    >>> rounded("retard_hours", 48 + 1 / 3), rounded("angle_deg", 48 + 1 / 3)
    (48.33, 48.333333333333336)
    """
    quantity = known(column)
    return round(level, quantity.decimals + 1) if quantity else level


def setting(column: str, level: object, again: bool = False) -> str:
    """A setting as a baker says it, after "with" and, the second time, after "than".

    Examples
    --------
    >>> setting("malt_percent", 0.8), setting("malt_percent", 0.0, again=True)
    ('diastatic malt at 0.8 %', 'at 0 %')
    >>> setting("recipe", "B"), setting("recipe", "A", again=True)
    ('recipe B', 'with recipe A')
    """
    if isinstance(level, (int, float)) and not isinstance(level, bool):
        at = f"at {amount(column, level)}"
        return at if again else f"{name(column)} {at}"
    text = f"{name(column)} {level}"
    return f"with {text}" if again else text


def f_test(test: "pd.Series[float]") -> str:
    """An F test from ``num_df, den_df, F, p``.

    Examples
    --------
    >>> import pandas as pd
    >>> f_test(pd.Series({"num_df": 2, "den_df": 9.84, "F": 5.123, "p": 0.0297}))
    'F(2, 9.8) = 5.12, p = 0.03'
    """
    df = f"{test['num_df']:.0f}, {test['den_df']:.1f}"
    return f"F({df}) = {test['F']:.2f}, p = {test['p']:.2g}"


def join(parts: Iterable[str]) -> str:
    """List words the way they are spoken: "a, b and c"."""
    listed = list(parts)
    return ", ".join(listed[:-1]) + " and " + listed[-1] if len(listed) > 1 else "".join(listed)


def plural(count: int, word: str) -> str:
    """Count with its noun: "1 dough", "12 doughs"."""
    return f"{count} {word}" if count == 1 else f"{count} {word}s"
