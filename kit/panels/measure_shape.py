"""What shape rising dough has, and the jar it is in."""

from collections.abc import Callable, Mapping
from typing import Any

import ipywidgets as widgets

from kit.errors import InputError
from kit.panels.controls import pick, visible
from kit.panels.fields import Typed, beside_of
from kit.units import parse

__all__ = ["ShapeForm"]

_SHAPES = {"a ball standing free": "ball", "a piece with a flat top": "piece",
           "in a jar or a straight container": "jar"}  # fmt: skip


class ShapeForm(widgets.VBox):  # type: ignore[misc]
    """Asks for the shape; what is typed stays from photo to photo.

    Parameters
    ----------
    changed : callable
        Called when another shape is chosen.
    """

    def __init__(self, changed: Callable[[], None]) -> None:
        self.kind = pick("The dough is", _SHAPES.items())
        self.inner = Typed("Its inside is wide", hint="such as 86 mm")
        self.base = Typed("Its base is thick", hint="0 mm")
        super().__init__([self.kind, self.inner, self.base])
        self.kind.observe(lambda _: self._show(), "value")
        self.kind.observe(lambda _: changed(), "value")
        self._show()

    def _show(self) -> None:
        for field in (self.inner, self.base):
            visible(field, self.kind.value == "jar")

    @property
    def said(self) -> tuple[str, ...]:
        """Everything that is chosen and typed, to be put back with `say`."""
        return self.kind.value, self.inner.value, self.base.value

    def say(self, said: tuple[str, ...]) -> None:
        """Put back what `said` gave."""
        self.kind.value, self.inner.value, self.base.value = said

    def fill(self, how: Mapping[str, Any]) -> None:
        """Fill in what `read` gave; what it does not say stays as it is."""
        self.kind.value = how.get("shape", self.kind.value)
        if (jar := how.get("jar")) is not None:
            self.inner.value = f"{jar.inner_diameter_mm:.10g} mm"
            self.base.value = f"{jar.base_thickness_mm:.10g} mm"

    def read(self) -> dict[str, Any]:
        """Return the shape, and its jar, as `kit.photo.side` takes them.

        Raises
        ------
        InputError
            Something is missing or cannot be; said beside its field, too.
        """
        if self.kind.value != "jar":
            return {"shape": self.kind.value}
        from kit.photo.jar import Jar

        inner = self.inner.read(_inside)
        base = self.base.read(lambda text: parse(text, "mm", "base"))
        with beside_of({"inner_diameter_mm": self.inner, "base_thickness_mm": self.base}):
            return {"shape": "jar", "jar": Jar(inner, base or 0.0)}


def _inside(text: str) -> float:
    value = parse(text, "mm", "inside")
    if value is None:
        raise InputError("inside", "", "must not be empty", "Measure how wide its inside is.")
    return value
