"""What every panel is made of: its frame, menus, boxes to tick, buttons, and where they stand."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from types import MappingProxyType
from typing import Any, Self

import ipywidgets as widgets

from kit.errors import NotFoundError
from kit.panels.parts.again import Name, fill_in, held, left
from kit.panels.parts.keys import OwnKeys
from kit.panels.parts.style import STYLE, trouble
from kit.workspace import Workspace

__all__ = [
    "LABELS", "Form", "Panel", "button", "columns", "offer", "pick", "row", "section", "tick",
    "toggle", "visible", "wide",
]  # fmt: skip

#: room for a field's label
LABELS = {"description_width": "11rem"}
_TALL = {"width": "auto", "height": "auto", "min_height": "44px", "align_self": "flex-start"}


class _GoneError(NotFoundError):
    """The trial that is picked was taken away elsewhere: no fault, so it has no traceback."""

    def _render_traceback_(self) -> list[str]:  # what IPython shows of an error
        return [self.told]

    @property
    def told(self) -> str:
        """What became of it, and what to do."""
        return f"the trial {self.name} was taken back or renamed elsewhere. Reload the page."


class Form(widgets.VBox):  # type: ignore[misc]
    """Fields that a program fills in as well, which must not be taken for a hand's doing."""

    _filling = False

    @contextmanager
    def filling(self) -> Iterator[None]:
        """Fill in fields: what listens to them finds `_filling` set and lets it pass."""
        before, self._filling = self._filling, True
        try:
            yield
        finally:
            self._filling = before


class Panel(Form):
    """Widgets one below the other, that look like a panel and keep JupyterLab's keys away.

    Each kind of panel is made for the `Workspace` that it works on.

    Parameters
    ----------
    inside : widgets
    kind : str
        Class in CSS, besides ``kit-panel``.
    """

    def __init__(self, *inside: widgets.Widget, kind: str = "") -> None:
        self.gone = widgets.HTML()
        super().__init__([OwnKeys(), widgets.HTML(STYLE), self.gone, *inside])
        for name in filter(None, ("kit-panel", kind)):
            self.add_class(name)

    #: what it works on, and the menu of its trials
    workspace: Workspace
    trial: widgets.Dropdown

    @property
    def chosen(self) -> Any:
        """The `Trial` that is picked; None where there is none.

        Raises
        ------
        NotFoundError
            Another window took it away; said above all fields, whatever was asked of it.
        """
        self.gone.value, name = "", self.trial.value
        try:
            return self.workspace.trial(name) if name else None
        except NotFoundError as exc:
            gone = _GoneError("trial", name, exc.known)
            self.gone.value = trouble(gone.told)
            raise gone from exc

    #: while what stood here before comes back; what takes its time waits for the last of it
    _returning = False
    #: what the fields held when nobody had touched them
    _untouched: Mapping[Name, Any] = MappingProxyType({})

    def stand_for(self, before: Self | None, afresh: bool = False) -> None:
        """Show what was chosen and typed in the panel that stood here before.

        What nobody chose is offered anew: it follows the records, which may be others now. Nothing
        that stores or agrees to anything is among it (`_asks`).

        Parameters
        ----------
        before : Panel or None
            Of the same kind; None where there was none.
        afresh : bool
            Nothing comes back; what still runs there is seen to.
        """
        self._untouched = held(self._asks())
        if before is not None:
            self._relieve(before)
        if before is not None and not afresh:
            self._returning = True
            try:
                self._come_back(before)
            finally:
                self._returning = False
            if held(self._asks()) != self._untouched:
                self._returned()

    def _asks(self) -> Sequence[widgets.Widget]:
        return [self]

    def _relieve(self, before: Self) -> None:
        """Take on, or end, what still runs in the panel that stood here before, of any day."""

    def _come_back(self, before: Self) -> None:
        fill_in(self._asks(), left(before._asks(), before._untouched))

    def _returned(self) -> None:
        """Do what waited."""


def wide() -> widgets.Layout:
    """Return the layout of a field; each has its own: one that is hidden must not hide others."""
    return widgets.Layout(width="auto", max_width="34rem")


def pick(label: str, options: Iterable[Any] = (), **more: Any) -> widgets.Dropdown:
    """Return a menu."""
    return widgets.Dropdown(
        **{"description": label, "options": list(options), "style": LABELS, "layout": wide()} | more
    )


def offer(menu: widgets.Dropdown, options: Iterable[Any], *wanted: Any) -> None:
    """Offer other things in a menu, the first wanted one that is among them picked, or the first.

    Parameters
    ----------
    menu : Dropdown
    options : iterable
        Values, or (label, value).
    wanted : values
    """
    menu.options = list(options)
    values = [one[1] if isinstance(one, tuple) else one for one in menu.options]
    menu.value = next((one for one in (*wanted, *values) if one in values), None)


def tick(label: str, value: bool = False) -> widgets.Checkbox:
    """Return a box to tick, its words behind it."""
    layout = widgets.Layout(width="auto")
    return widgets.Checkbox(value=value, description=label, indent=False, layout=layout)


def button(text: str, press: Callable[[], None], icon: str = "") -> widgets.Button:
    """Return a button that floury fingers can press."""
    made = widgets.Button(description=text, icon=icon, layout=widgets.Layout(**_TALL))
    made.on_click(lambda _: press())
    return made


def toggle(text: str) -> widgets.ToggleButton:
    """Return such a button that stays pressed."""
    return widgets.ToggleButton(description=text, layout=widgets.Layout(**_TALL))


def section(title: str, *inside: widgets.Widget) -> widgets.VBox:
    """Return fields under a heading, as high as they are."""
    heading = widgets.HTML(f'<div class="kit-section" role="heading" aria-level="2">{title}</div>')
    return widgets.VBox([heading, *inside], layout=widgets.Layout(flex="none"))


def columns(*sections: widgets.Widget) -> widgets.Box:
    """Return sections beside one another, or below where it is narrow."""
    for one in sections:
        one.layout.flex = "1 1 28rem"
    return row(*sections, gap="0 2rem")


def row(*controls: widgets.Widget, gap: str = ".3rem .6rem", **layout: str) -> widgets.Box:
    """Return controls beside one another, on as many lines as it takes."""
    flow = widgets.Layout(display="flex", flex_flow="row wrap", grid_gap=gap, **layout)
    return widgets.Box(controls, layout=flow)


def visible(widget: widgets.Widget, shown: object) -> None:
    """Show a widget or hide it; a hidden one keeps what was typed."""
    widget.layout.display = None if shown else "none"
