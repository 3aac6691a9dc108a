"""Bake trials: plan them, record them, compare them honestly, share the page.

Examples
--------
>>> import pandas as pd
>>> import kit
>>> bakes = pd.DataFrame({
...     "day": [1] * 4 + [2] * 4,
...     "dough": list("aabbccdd"),
...     "malt_percent": [0, 0, 1, 1] * 2,
...     "rise_height_mm": [28.1, 28.9, 31.2, 32.0, 27.2, 28.4, 30.9, 31.3],
... })
>>> answer = kit.compare(bakes, outcome="rise_height_mm", by="malt_percent",
...                      dough="dough", bake="day", matters=2.0)
>>> answer.headline
'A difference, but cannot tell yet whether it matters.'
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from kit import errors, formula, photo, quantities, units
    from kit.analysis.compare import compare
    from kit.analysis.comparison import Comparison
    from kit.analysis.mixed import MixedFit, mixed
    from kit.analysis.rise import rise
    from kit.analysis.tasting import triangle
    from kit.plan.design import design
    from kit.plan.factors import Factor
    from kit.plan.kitchen import Kitchen
    from kit.plan.power import power
    from kit.plan.spread import Spread
    from kit.workspace import Trial, Workspace

__all__ = [
    "Comparison", "Factor", "Kitchen", "MixedFit", "Spread", "Trial", "Workspace", "compare",
    "design", "errors", "formula", "mixed", "photo", "power", "quantities", "rise", "triangle",
    "units",
]  # fmt: skip
__version__ = "0.1.0"

#: parts with calls of their own: kit.photo.read, kit.formula.scale
_PARTS = frozenset({"errors", "formula", "photo", "quantities", "units"})
_HOME = {
    "Comparison": "kit.analysis.comparison",
    "Factor": "kit.plan.factors",
    "Kitchen": "kit.plan.kitchen",
    "MixedFit": "kit.analysis.mixed",
    "Spread": "kit.plan.spread",
    "Trial": "kit.workspace",
    "Workspace": "kit.workspace",
    "compare": "kit.analysis.compare",
    "design": "kit.plan.design",
    "mixed": "kit.analysis.mixed",
    "power": "kit.plan.power",
    "rise": "kit.analysis.rise",
    "triangle": "kit.analysis.tasting",
}


def __getattr__(name: str) -> Any:
    """Load a public name when it is first asked for, so that ``import kit`` stays light."""
    if name in _PARTS:
        return import_module(f"kit.{name}")
    if name in _HOME:
        return getattr(import_module(_HOME[name]), name)
    msg = f"module 'kit' has no attribute {name!r}"
    raise AttributeError(msg)


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
