"""Text fields that say beside them what is wrong with what was typed, and keep it."""

from collections.abc import Callable
from typing import Any, TypeVar

import ipywidgets as widgets

from kit.errors import KitError
from kit.panels.style import trouble

__all__ = ["LABELS", "Typed", "section"]

_T = TypeVar("_T")
#: room for a field's label
LABELS = {"description_width": "11rem"}


class Typed(widgets.VBox):  # type: ignore[misc]
    """One line of text (or several) with its label and, below it, what is wrong with it.

    Parameters
    ----------
    label : str
        Also what a screen reader says.
    value : str
        Typed already.
    hint : str
        Shown while the field is empty.
    rows : int
        More than one makes a field of several lines.
    """

    def __init__(self, label: str, value: str = "", hint: str = "", rows: int = 1) -> None:
        layout = widgets.Layout(width="auto", max_width="34rem")
        kind: Any = widgets.Text if rows == 1 else widgets.Textarea
        more = {} if rows == 1 else {"rows": rows}
        self.text = kind(
            value=value, description=label, placeholder=hint, style=LABELS, layout=layout,
            continuous_update=False, **more,
        )  # fmt: skip
        self.said = widgets.HTML()
        super().__init__([self.text, self.said])

    @property
    def value(self) -> str:
        """What is typed."""
        return str(self.text.value)

    @value.setter
    def value(self, text: str) -> None:
        self.text.value = text

    def observe_text(self, then: Callable[[], None]) -> None:
        """Call when something else was typed and left with Enter or Tab."""
        self.text.observe(lambda _: then(), "value")

    def read(self, reader: Callable[[str], _T]) -> _T:
        """Return what `reader` makes of the text; its error is shown here and raised again."""
        self.said.value = ""
        try:
            return reader(self.value)
        except KitError as exc:
            self.said.value = trouble(str(exc))
            raise


def section(title: str, *children: widgets.Widget) -> widgets.VBox:
    """Return fields under a heading; sections stand beside one another where there is room."""
    heading = widgets.HTML(f'<div class="kit-section" role="heading" aria-level="3">{title}</div>')
    return widgets.VBox([heading, *children], layout=widgets.Layout(flex="1 1 24rem"))
