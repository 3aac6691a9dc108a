"""Thumbnails of photos in time order, one of them chosen; the browser's part is photo_strip.js."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import anywidget
import traitlets

from kit.panels.parts.scripts import script

__all__ = ["Item", "PhotoStrip"]


@dataclass(frozen=True)
class Item:
    """One photo in the strip.

    Parameters
    ----------
    key : str
        Unlike any other's.
    name : str
        The file's name.
    when, shows, whose : str
        As shown; empty is asked for.
    state : str
        "", "measured" or "kept": shown as a word and a sign, not by colour alone.
    word : str
        What the state is, in words.
    """

    key: str
    name: str
    when: str = ""
    shows: str = ""
    whose: str = ""
    state: str = ""
    word: str = ""


class PhotoStrip(anywidget.AnyWidget):
    """Thumbnails to choose from.

    Attributes
    ----------
    chosen : str
        Key of the photo that is chosen; empty for none.
    """

    _esm = script(__file__)
    _css = Path(__file__).with_name("photo_strip.css")
    items: Any = traitlets.List().tag(sync=True)
    thumbs = traitlets.Dict().tag(sync=True)
    chosen = traitlets.Unicode().tag(sync=True)

    def show(self, items: Sequence[Item], thumbs: Mapping[str, bytes]) -> None:
        """Show other photos; the chosen one stays chosen while it is there.

        Parameters
        ----------
        items : sequence of Item
        thumbs : mapping
            Key -> JPEG, of those that can be shown.
        """
        with self.hold_sync():
            if dict(thumbs) != self.thumbs:
                self.thumbs = dict(thumbs)
            self.items = [asdict(item) for item in items]
        if self.chosen not in {item.key for item in items}:
            self.chosen = items[0].key if items else ""
