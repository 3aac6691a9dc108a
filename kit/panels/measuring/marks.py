"""What was measured, as marks on the photo; and what a hand dragged, as what to measure by."""

from collections.abc import Mapping
from typing import Any

import numpy as np

from kit.panels.measuring.marking import Grip, Line, Marking, outline_with_grips
from kit.photo.dragged import stretched

__all__ = [
    "box_marks", "called", "dragged", "first_box", "marks_of", "outline_in", "reference_lines",
]  # fmt: skip

#: marks that correct what was found: the two ends of a known distance are always put by hand
_CORRECTED = ("outline", "top", "base", "threshold", "box")
_BOX = ("box-1", "box-2")

Marks = tuple[list[Grip], list[Line]]


def outline_in(box: tuple[float, float, float, float]) -> Any:
    """Return a rounded outline in a box, (n, 2), for a hand to drag right: |x|³ + |y|³ = 1."""
    x0, y0, x1, y1 = box
    angle = np.linspace(0, 2 * np.pi, 200, endpoint=False)
    across, down = (np.cbrt(f(angle)) ** 2 * np.sign(f(angle)) for f in (np.cos, np.sin))
    middle, half = np.array([x0 + x1, y0 + y1]) / 2, np.array([x1 - x0, y1 - y0]) / 2
    return middle + half * np.column_stack([across, down])


def marks_of(result: Any, hand: Mapping[str, Any]) -> Marks:
    """Return the grips and lines of a measuring's result, where a hand left them or as found.

    Parameters
    ----------
    result : Side, Crumb, Browning or None
    hand : mapping
        What a hand said.
    """
    grips: list[Grip] = []
    lines: list[Line] = []
    drawn = getattr(result, "drawn", None)
    if drawn is not None and len(drawn):
        lines.append(Line("drawn", np.round(drawn, 2).tolist(), look="helper"))
    outline = hand.get("outline", _outline(result))
    if outline is not None and len(outline) > 2:
        line, grips = outline_with_grips("outline", "outline", outline)
        lines.append(line)
    for key, sign in (("top", "up"), ("base", "down")):
        place = getattr(result, key, None)
        if place is not None and np.all(np.isfinite(place)):
            grips.append(Grip(key, key, float(place[0]), float(place[1]), sign))
    return grips, lines


def _outline(result: Any) -> Any:
    """The outline that can be corrected: of a piece, of a cut face, of the first browned face."""
    if getattr(result, "outline", None) is not None:
        return result.outline
    faces = getattr(result, "faces", None)
    return faces[0].outline if faces else getattr(result, "face", None)


def first_box(width: int, height: int) -> tuple[float, float, float, float]:
    """Where the box is before a hand drew it."""
    return width * 0.2, height * 0.2, width * 0.8, height * 0.8


def box_marks(width: int, height: int, box: tuple[float, float, float, float] | None) -> Marks:
    """Return two corners that say roughly where to look, where they were left or, at first, wide.

    Parameters
    ----------
    width, height : int
        Of the photo, in pixels.
    box : (x0, y0, x1, y1) or None
    """
    x0, y0, x1, y1 = box or first_box(width, height)
    grips = [
        Grip(key, f"corner {n} of the box", x, y, "corner")
        for n, (key, x, y) in enumerate(((_BOX[0], x0, y0), (_BOX[1], x1, y1)), 1)
    ]
    return grips, [Line("box", joins=_BOX, look="helper", box=True)]


def reference_lines(scale: Any) -> list[Line]:
    """Return what was found of the reference: our own card with its window, or an outline."""
    reading = getattr(scale, "reading", None)
    found = [getattr(reading, name, None) for name in ("corners", "window")]
    if any(line is None for line in found):
        found = [getattr(scale, "outline", None)]
    return [
        Line(f"reference-{n}", np.round(line, 2).tolist(), look="reference")
        for n, line in enumerate(found)
        if line is not None and len(line) > 2
    ]


def dragged(marking: Marking, key: str, result: Any, hand: Mapping[str, Any]) -> dict[str, Any]:
    """Return what a hand said by dragging one mark, as an argument of the measuring.

    Parameters
    ----------
    marking : Marking
        As it is now.
    key : str
        Of the grip.
    result : Side, Crumb, Browning or None
        What the mark was drawn by.
    hand : mapping
        What was said before.
    """
    if key.startswith("outline-"):
        return {"outline": np.array(marking.points("outline"))}
    if key in _BOX:
        (xa, ya), (xb, yb) = map(marking.at, _BOX)
        return {"box": (min(xa, xb), min(ya, yb), max(xa, xb), max(ya, yb))}
    if key in ("top", "base") and result is not None:
        still = result.base if key == "top" else result.top
        outline = hand.get("outline", _outline(result))
        moved = getattr(result, key)[1], marking.at(key)[1]
        return {"outline": stretched(outline, still[1], *moved)}
    return {}


def called(key: str) -> str | None:
    """Return what a note calls a mark when a hand dragged it; None for what is no correction."""
    name = key.partition("-")[0]
    return {"box": "place"}.get(name, name) if name in _CORRECTED else None
