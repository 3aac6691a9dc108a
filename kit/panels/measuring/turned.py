"""A second side view of a piece that was turned by a quarter: both taken together, if so said."""

from collections.abc import Callable
from html import escape
from typing import Any

import ipywidgets as widgets

from kit.panels.parts.controls import Form, tick, visible
from kit.panels.parts.fields import tell
from kit.records.photos.store import StoredPhoto
from kit.records.things import Thing
from kit.workspace import Trial

__all__ = ["Turned"]


class Turned(Form):
    """Offers to take a side view together with the one of the same piece that was measured before.

    Parameters
    ----------
    changed : callable
        Called when a hand ticks it or takes the tick out.

    Attributes
    ----------
    both : (StoredPhoto, TwoViews) or None
        The photo it is taken together with, and what both say.
    """

    def __init__(self, changed: Callable[[], None]) -> None:
        self._changed = changed
        self.both: tuple[StoredPhoto, Any] | None = None
        self._offered: StoredPhoto | None = None
        self._pair = ""
        self._view: tuple[StoredPhoto, Any] | None = None
        self.ticked, self.said = tick("Take two photos together"), widgets.HTML()
        super().__init__([self.ticked, self.said])
        self.ticked.observe(lambda _: self._by_hand(), "value")
        visible(self, False)

    def _by_hand(self) -> None:
        if not self._filling:
            self._changed()

    def offer(self, trial: Trial, photo: StoredPhoto, on: Thing | None, shows: str) -> None:
        """Offer the last other side view of the piece."""
        views = [
            one for one in trial.photos()
            if one.on == on and one.shows == shows == "side" and one.measured_by
            and one.id != photo.id
        ]  # fmt: skip
        offered = next(reversed(views), None)
        pair = f"{photo.id} {offered and offered.id}"
        self._offered = offered
        if pair != self._pair:
            self._pair = pair
            with self.filling():
                self.ticked.value = False
        if offered is not None:
            self.ticked.description = (
                f"The piece was turned by a quarter between {offered.name} and this photo: take "
                "both together"
            )
        visible(self, offered)

    def with_other(self, trial: Trial, view: Any) -> Any:
        """Return what both views say, as `kit.photo.two_views` does; the one where not ticked."""
        import kit.photo

        self.both, self.said.value = None, ""

        def together() -> str:
            assert self._offered is not None
            if self._view is None or self._view[0] != self._offered:
                self._view = self._offered, trial.measure(self._offered)
            found = kit.photo.two_views(self._view[1], view)
            self.both = self._offered, found
            return f'<p role="status">{escape(found.sentence)}</p>'

        if self.ticked.value and self._offered is not None:
            tell(self.said, together)
        return view if self.both is None else self.both[1]
