"""A panel that is made again, as a page is reloaded, shows what was chosen and typed before."""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

import ipywidgets as widgets

from kit.panels.parts.slide import Slide

__all__ = ["Name", "fill_in", "held", "left"]

_MENUS = (widgets.Dropdown, widgets.ToggleButtons)
_FIELDS = (
    *_MENUS, widgets.Text, widgets.Textarea, widgets.Checkbox, widgets.ToggleButton, Slide,
)  # fmt: skip

#: a field's label, the unit it is read in included; how many alike stand above it
Name = tuple[str, int]


def held(asks: Iterable[widgets.Widget]) -> dict[Name, Any]:
    """Return what fields hold, from top to bottom.

    Parameters
    ----------
    asks : iterable of Widget
        Fields, or what holds them.

    Examples
    --------
    >>> held([widgets.Text("26", description="Room (°C)")])
    {('Room (°C)', 0): '26'}
    """
    return {name: field.value for name, field in _named(asks)}


def left(asks: Iterable[widgets.Widget], untouched: Mapping[Name, Any]) -> dict[Name, Any]:
    """Return what somebody left in fields, and every menu above it, which says what it is of.

    Parameters
    ----------
    asks : iterable of Widget
        As for `held`.
    untouched : mapping
        As from `held`, before anybody touched them.
    """
    own, menus = dict[Name, Any](), dict[Name, Any]()
    for name, field in _named(asks):
        if isinstance(field, _MENUS):
            menus[name] = field.value
        if untouched.get(name) != field.value and not _locked(field):
            own = {**menus, **own, name: field.value}
    return own


def fill_in(asks: Iterable[widgets.Widget], values: Mapping[Name, Any]) -> None:
    """Give each field its value, from top to bottom.

    A field decides what those below it offer, so they are looked for one after the other. Where
    something is not offered any more, all that stands below it is left as it is: it would be said
    of something else.

    Parameters
    ----------
    asks : iterable of Widget
        As for `held`.
    values : mapping
        As from `left`.
    """
    asks, done = list(asks), set()
    while rest := [(name, field) for name, field in _named(asks) if name not in done]:
        name, field = rest[0]
        done.add(name)
        if name not in values or values[name] == field.value or _locked(field):
            continue
        if isinstance(field, _MENUS) and values[name] not in _offered(field):
            return
        field.value = values[name]


def _named(asks: Iterable[widgets.Widget]) -> Iterator[tuple[Name, Any]]:
    above: Counter[str] = Counter()
    waiting = list(asks)[::-1]
    while waiting:
        one = waiting.pop()
        if not isinstance(one, _FIELDS):
            waiting += getattr(one, "children", ())[::-1]
            continue
        label = one.label if isinstance(one, Slide) else one.description
        yield (label, above[label]), one
        above[label] += 1


def _locked(field: Any) -> bool:
    return bool(getattr(field, "disabled", False))


def _offered(menu: Any) -> list[Any]:
    return [one[1] if isinstance(one, tuple) else one for one in menu.options]
