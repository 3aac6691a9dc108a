"""A photo with marks on it that are dragged: points, a box, an outline.

Positions are pixels of the photo as it was taken, upright; (0, 0) is the middle of the first one.
Each move from the browser has a number and is answered; what is not answered is said. The
browser's part is ``marking.js``.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import anywidget
import numpy as np
import traitlets

from kit.panels.parts.once import Once
from kit.panels.parts.scripts import script
from kit.photo.dragged import bent, grips

__all__ = ["Grip", "Line", "Marking", "outline_with_grips"]


@dataclass(frozen=True)
class Grip:
    """A place to take hold of.

    Parameters
    ----------
    key : str
        Unlike any other grip's.
    label : str
        What a screen reader says: "top", "end 1 of the distance".
    x, y : float
        Pixels of the photo.
    sign : str
        How it looks: "cross", "corner", "up", "down" or "bend".
    """

    key: str
    label: str
    x: float
    y: float
    sign: str = "cross"


@dataclass(frozen=True)
class Line:
    """Something drawn on the photo.

    Parameters
    ----------
    key : str
    points : sequence of (x, y)
        Pixels of the photo; empty for one that runs from grip to grip.
    joins : sequence of str
        Grips it runs through: the two ends of a line, two corners of a box, or the points at the
        indices `at` of an outline that bends with them.
    at : sequence of int
    look : str
        "outline", "reference" or "helper".
    closed : bool
    box : bool
        The two grips it joins are opposite corners.
    """

    key: str
    points: Sequence[Sequence[float]] = ()
    joins: Sequence[str] = ()
    at: Sequence[int] = ()
    look: str = "outline"
    closed: bool = True
    box: bool = False


def outline_with_grips(
    key: str, label: str, points: Any, count: int = 20
) -> tuple[Line, list[Grip]]:
    """Return an outline that can be dragged, and the grips it is dragged by.

    Parameters
    ----------
    key, label : str
        Of the outline; its grips are called "label, point 1 of 20".
    points : (n, 2) array
        In pixels.
    count : int
        How many grips.
    """
    outline = np.asarray(points, float)
    at = grips(outline, count)
    made = [
        Grip(f"{key}-{i}", f"{label}, point {i + 1} of {len(at)}", float(x), float(y), "bend")
        for i, (x, y) in enumerate(outline[at])
    ]
    line = Line(key, np.round(outline, 2).tolist(), [grip.key for grip in made], at)
    return line, made


class Marking(anywidget.AnyWidget):
    """A photo, what is drawn on it, and the grips by which a hand corrects that.

    Attributes
    ----------
    moved : callable
        Called with a grip's key after it was moved and the browser was answered.
    """

    _esm = script(__file__, "sent")
    _css = Path(__file__).with_name("marking.css")
    picture = traitlets.Bytes().tag(sync=True)
    width = traitlets.Int().tag(sync=True)
    height = traitlets.Int().tag(sync=True)
    alt = traitlets.Unicode().tag(sync=True)
    marks = traitlets.Dict().tag(sync=True)
    overlay = traitlets.Bytes().tag(sync=True)

    def __init__(self) -> None:
        super().__init__()
        self.moved: Callable[[str], None] = lambda _: None
        self._once: Once[dict[str, Any]] = Once()
        self.mark()
        self.on_msg(self._heard)

    def show(self, picture: bytes, width: int, height: int, alt: str) -> None:
        """Show another photo, without marks.

        Parameters
        ----------
        picture : bytes
            JPEG or PNG, upright, of any size.
        width, height : int
            Of the photo as it was taken, in pixels: those of the marks.
        alt : str
            What is to be seen.
        """
        with self.hold_sync():
            self.picture, self.width, self.height, self.alt = picture, width, height, alt
            self.mark()

    def mark(
        self, grips: Sequence[Grip] = (), lines: Sequence[Line] = (), overlay: bytes = b""
    ) -> None:
        """Draw other marks on the same photo.

        Parameters
        ----------
        grips : sequence of Grip
        lines : sequence of Line
        overlay : bytes
            PNG with transparency, laid over the whole photo.
        """
        with self.hold_sync():
            self.overlay = overlay
            self.marks = {
                "grips": [asdict(grip) for grip in grips],
                "lines": [asdict(line) for line in lines],
            }

    def at(self, key: str) -> tuple[float, float]:
        """Return where a grip is, in pixels of the photo."""
        grip = next(grip for grip in self.marks["grips"] if grip["key"] == key)
        return float(grip["x"]), float(grip["y"])

    def points(self, key: str) -> list[list[float]]:
        """Return the points of a line that is drawn."""
        line = next(line for line in self.marks["lines"] if line["key"] == key)
        return [list(map(float, point)) for point in line["points"]]

    def _heard(self, _widget: object, content: Mapping[str, Any], _buffers: object) -> None:
        """Take a move from the browser; each one is answered, and done once."""
        if content.get("kind") != "move":
            return
        number, key = (str(content["client"]), int(content["seq"])), str(content["grip"])
        told, new = self._once.answer(
            number, lambda: self._move(key, float(content["x"]), float(content["y"]))
        )
        self.send({"kind": "answer", "client": number[0], "seq": number[1], **told})
        if new and told["state"] == "taken":
            self.moved(key)

    def _move(self, key: str, x: float, y: float) -> dict[str, Any]:
        before = self.marks
        label = next((grip["label"] for grip in before["grips"] if grip["key"] == key), None)
        if label is None:
            return {"state": "refused", "says": "This mark is no longer on the photo."}
        if not (0 <= x <= self.width - 1 and 0 <= y <= self.height - 1):
            return {"state": "refused", "says": f"{label}: that is outside the photo."}
        self.marks = {
            "grips": [{**g, "x": x, "y": y} if g["key"] == key else g for g in before["grips"]],
            "lines": [_followed(line, key, (x, y)) for line in before["lines"]],
        }
        return {"state": "taken", "says": f"{label}: moved."}


def _followed(line: Mapping[str, Any], key: str, to: tuple[float, float]) -> Mapping[str, Any]:
    """Return a line after one of its grips was moved."""
    if key not in line["joins"] or not line["at"]:
        return line
    outline = bent(line["points"], list(line["at"]), list(line["joins"]).index(key), to)
    return {**line, "points": np.round(outline, 2).tolist()}
