"""How results of photos are written: a value with its uncertainty, one form of text and of HTML.

The pure parts of the kit stand side by side and import nothing of one another, so this is a small
neighbour of `kit.shown`.
"""

import math
from collections.abc import Sequence
from html import escape

from kit.photo.value import Value

__all__ = ["as_html", "as_text", "shown"]


def shown(value: Value) -> str:
    """A value to the second digit of its uncertainty, and that.

    Examples
    --------
    >>> shown(Value(45.0382, 0.283, "mm"))
    '45.04 ± 0.28 mm'
    >>> shown(Value(1649.2, 140.0, "ml"))
    '1649 ± 140 ml'
    """
    if not value.u > 0 or not math.isfinite(value.u):
        return f"{value.value:.4g} {value.unit}".strip()
    decimals = max(0, 1 - math.floor(math.log10(value.u)))
    return f"{value.value:.{decimals}f} ± {value.u:.{decimals}f} {value.unit}".strip()


def as_text(texts: Sequence[str], checks: Sequence[str], method: str = "") -> str:
    """Sentences, notes and the line for the statistician, one below the other."""
    lines = [*texts, *(f"Note: {check}." for check in checks), *([method] if method else [])]
    return "\n".join(lines)


def as_html(headline: str, texts: Sequence[str], checks: Sequence[str], method: str = "") -> str:
    """The same as a piece of HTML; everything is escaped."""
    notes = "".join(f"<li>{escape(check)}.</li>" for check in checks)
    return (
        f"<p><strong>{escape(headline)}</strong> {escape(' '.join(texts))}</p>"
        + (f"<ul>{notes}</ul>" if notes else "")
        + (f"<p><small>{escape(method)}</small></p>" if method else "")
    )
