"""US units beside the metric ones, where a reader wants them: 3.1 mm (0.12 in).

Everything is kept and reckoned in metric units; this is the outermost edge, for texts that are
about to be shown. Wanted when the environment says ``KIT_UNITS=us``, as `kit start --us` does.
"""

import os
import re

from kit.units import convert

__all__ = ["WANTED", "also_us", "either", "us_paper", "us_wanted"]

#: the environment variable, and what it says
WANTED = ("KIT_UNITS", "us")

_ONE = r"[+−-]?\d+(?:\.\d+)?"
#: one number or two with a metric unit behind them, not converted yet. A temperature counts only
#: after "at" and the like: a difference of 2 °C is not one of 36 °F
_METRIC = re.compile(
    rf"(?<![\w.,/])(?P<low>{_ONE})?(?P<word> to | and |, | ± )?"
    rf"(?P<value>(?<![\w.,/]){_ONE})[ \u00a0](?P<unit>mm|g|kg|°C)(?![\w²³/])"
    rf"(?! \(|, {_ONE} (?:(?:to|±) {_ONE} )?(?:in|oz|lb|°F))"
)
_ABSOLUTE = re.compile(r"\b(?:at|of about|than at|room of|dough of) $")
_US = {"mm": "in", "g": "oz", "kg": "lb", "°C": "F"}


def us_wanted() -> bool:
    """Whether the reader wants inches, ounces and °F as well."""
    return os.environ.get(WANTED[0], "").strip().lower() == WANTED[1]


def us_paper() -> str:
    """The paper that lies in the reader's printer."""
    return "Letter" if us_wanted() else "A4"


def either(unit: str) -> str:
    """Return a unit that is asked for, and the one that is read as well where wanted: mm or in."""
    other = {**_US, "°C": "°F"}.get(unit)
    return f"{unit} or {other}" if other and us_wanted() else unit


def also_us(text: str, absolute: bool = False) -> str:
    """Return a text with inches, ounces, pounds and °F behind its metric numbers, where wanted.

    Parameters
    ----------
    absolute : bool
        Whether every temperature in it is one, and no difference of two.

    Examples
    --------
    >>> import os; os.environ["KIT_UNITS"] = "us"
    >>> also_us("3.1 mm taller (0.5 to 5.7 mm), 76 g each, on a griddle at 190 °C")
    '3.1 mm (0.12 in) taller (0.5 to 5.7 mm, 0.02 to 0.22 in), 76 g (2.7 oz) each, on a griddle \
at 190 °C (374 °F)'
    >>> del os.environ["KIT_UNITS"]; also_us("3.1 mm")
    '3.1 mm'
    """
    if not us_wanted():
        return text
    return _METRIC.sub(lambda found: _both(found, absolute), text)


def _both(found: re.Match[str], absolute: bool) -> str:
    unit = found["unit"]
    if unit == "°C" and not absolute and not _ABSOLUTE.search(found.string[: found.start("value")]):
        return found[0]
    uncertain = found.string[: found.start("value")].endswith("± ")
    value = _in_us(found["value"], unit, difference=uncertain)
    if found["low"] is not None and found["word"] in (" to ", " ± "):
        value = f"{_in_us(found['low'], unit)}{found['word']}{value}"
    value += " °F" if unit == "°C" else f" {_US[unit]}"
    before = found.string[: found.start()]
    inside = before.count("(") > before.count(")")
    return f"{found[0]}, {value}" if inside else f"{found[0]} ({value})"


def _in_us(number: str, unit: str, difference: bool = False) -> str:
    """Convert to about the same fineness: a tenth of a millimetre is shown as 0.01 in.

    A `difference` of 1 °C is one of 1.8 °F, not 33.8 °F.
    """
    metric = float(number.replace("−", "-"))
    kept = (1000 * metric, "g") if unit == "kg" else (metric, unit)
    value = convert(*kept, _US[unit]) - (convert(0.0, kept[1], _US[unit]) if difference else 0.0)
    given = len(number.partition(".")[2])
    decimals = {"mm": max(2, given + 1), "g": given + 1, "kg": given + 1, "°C": 0}[unit]
    return f"{value:.{decimals}f}".replace("-", "−")
