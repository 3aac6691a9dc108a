"""Measuring from photos: read, find the scale, then the side view, the crumb or the browning."""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from kit.photo.crust import Browning, browning
    from kit.photo.cut_face import Crumb, crumb
    from kit.photo.picture import Photo, read
    from kit.photo.proof_series import Series, series
    from kit.photo.quarter_turn import TwoViews, two_views
    from kit.photo.reference import Scale, scale
    from kit.photo.side_view import Jar, Side, side
    from kit.photo.value import Value

__all__ = [
    "Browning", "Crumb", "Jar", "Photo", "Scale", "Series", "Side", "TwoViews", "Value", "browning",
    "crumb", "read", "scale", "series", "side", "two_views",
]  # fmt: skip

# No module bears the name of a call: importing it would put the module in the call's place.
_HOME = {
    "Browning": "crust", "browning": "crust", "Crumb": "cut_face", "crumb": "cut_face",
    "Jar": "side_view", "Side": "side_view", "side": "side_view", "Photo": "picture",
    "read": "picture", "Scale": "reference", "scale": "reference", "Series": "proof_series",
    "series": "proof_series", "TwoViews": "quarter_turn", "two_views": "quarter_turn",
    "Value": "value",
}  # fmt: skip


def __getattr__(name: str) -> Any:
    """Load a call when it is first asked for: OpenCV and scikit-image take their time."""
    if name in _HOME:
        return getattr(import_module(f"kit.photo.{_HOME[name]}"), name)
    msg = f"module 'kit.photo' has no attribute {name!r}"
    raise AttributeError(msg)
