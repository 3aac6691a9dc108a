"""Photograph five pieces twice: what differences the baker's photos tell apart."""

from collections.abc import Callable
from html import escape

import ipywidgets as widgets

from kit.analysis.repeatability import PIECES
from kit.errors import KitError
from kit.panels.parts.blocks import folded
from kit.panels.parts.controls import section
from kit.records.photos.measured import no_quarter_turns
from kit.workspace import Trial

__all__ = ["TwiceBlock"]

_ASKS = "How far can your photos be trusted?"
_STEPS = (
    f"Take {PIECES} pieces that differ: tall ones and flat ones.",
    "Photograph each one from the side, the card beside it.",
    "Take piece and card away, then set both up anew and photograph each piece again.",
    "Take the photos in above, say whose each is, measure and keep them, without looking at the "
    "first value.",
)


class TwiceBlock(widgets.VBox):  # type: ignore[misc]
    """Guides through the study of measuring, and shows what came of it.

    Parameters
    ----------
    trial : callable
        Gives the trial that is chosen.
    """

    def __init__(self, trial: Callable[[], Trial | None]) -> None:
        self._trial = trial
        steps = "".join(f"<li>{escape(step)}</li>" for step in _STEPS)
        guide = widgets.HTML(f'<div class="kit-answer">{folded(_ASKS, f"<ol>{steps}</ol>")}</div>')
        self.far = widgets.HTML()
        super().__init__([section("Photograph five pieces twice", guide, self.far)])

    def refresh(self) -> None:
        """Show how far it is, and what the photos tell apart."""
        trial = self._trial()
        if trial is None:
            self.far.value = ""
            return
        rows = no_quarter_turns(trial.photo_readings())
        on = rows[rows["level"] == "piece"].groupby("id")["photo"].nunique()
        count = int((on > 1).sum())
        told = f"{count} of {PIECES} pieces of this trial measured on two photos."
        try:
            found = trial.repeatability()._repr_html_()
        except KitError:
            found = ""  # too few yet: the count says how many
        self.far.value = f'<div class="kit-answer"><p>{told}</p>{found}</div>'
