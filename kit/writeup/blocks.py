"""The blocks a page is made of, the same for HTML, Markdown and the notebooks."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["Block", "Code", "Items", "Picture", "Section", "Table", "Text"]


@dataclass(frozen=True)
class Text:
    """A paragraph; `style` is "", "lead" (the answer), "intro" (to a list) or "small"."""

    text: str
    style: str = ""
    kind: ClassVar[str] = "text"


@dataclass(frozen=True)
class Items:
    """A list; the first part of an item, when there are two, is set off."""

    items: tuple[tuple[str, ...], ...]
    kind: ClassVar[str] = "items"


@dataclass(frozen=True)
class Table:
    """A table of text; `numeric` says which columns are numbers."""

    caption: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    numeric: tuple[bool, ...]
    kind: ClassVar[str] = "table"


@dataclass(frozen=True)
class Picture:
    """A chart: what it is called, shows (read aloud in its place) and means, and what draws it."""

    title: str
    description: str
    caption: str
    draw: "Callable[[], Axes]"
    kind: ClassVar[str] = "picture"


@dataclass(frozen=True)
class Code:
    """Something to type."""

    text: str
    kind: ClassVar[str] = "code"


Block = Text | Items | Table | Picture | Code


@dataclass(frozen=True)
class Section:
    """A heading and what stands below it."""

    name: str
    heading: str
    blocks: tuple[Block, ...]
