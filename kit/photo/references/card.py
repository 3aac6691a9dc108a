"""The kit's own card: where everything on it lies, and how it is found in a photo.

A frame of paper with a window for the piece: a marker in each corner, a ruler along the window's
upper edge, inches along its lower one, and on either side a white, a grey and a black patch. So the
face lies between the markers (its scale is not carried sideways) and between two sets of patches
(the light's gradient shows). All places are in millimetres from the card's upper left corner, x
right, y down. `kit.photo.references.card_sheet` prints it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from itertools import combinations
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kit.errors import DataError, InputError
from kit.given import as_number
from kit.photo.reference import Scale
from kit.photo.references import squeezed
from kit.photo.references.edges import Edges, linear_patch
from kit.photo.references.marker import WIDEST_BLUR, cells_of, see_markers
from kit.photo.references.plane_fit import poses_of
from kit.photo.references.plane_scale import (
    STEEPEST_DEG,
    check_sharp,
    plane_scale,
    projector,
    refined,
)

__all__ = [
    "BAR_MM", "DICTIONARY", "MARKERS", "PATCHES", "SIDE_MM", "SIZE_MM", "WINDOW_MM", "Reading",
    "Rectangle", "find", "rectangles",
]  # fmt: skip

Array = NDArray[np.float64]

#: width and height of the card
SIZE_MM = (184.0, 176.0)
#: x0, y0, x1, y1 of the window
WINDOW_MM = (36.0, 36.0, 148.0, 140.0)
DICTIONARY = "DICT_4X4_50"
SIDE_MM = 24.0
#: number of each marker -> its upper left corner; numbers at the end of the dictionary, so that
#: markers a baker prints besides are seldom among them
MARKERS = {46: (6.0, 6.0), 47: (154.0, 6.0), 48: (154.0, 146.0), 49: (6.0, 146.0)}
#: lying flat on the worktop it is measured while a marker's cell is no lower than this, pixels (on
#: drawn cards of strong blur and noise at 70 to 81 degrees lower ones were now and then 3 % off)
LEAST_CELL_PX = 7.0
#: what paper and print of an ordinary office printer reflect
#: (judged, no source: papers lie between 0.80 and 0.90, toner between 0.03 and 0.07, ink a little
#: above; grey is the least sure).
WHITE, GREY, BLACK = 0.85, 0.18, 0.05
#: name, box, nominal reflectance
PATCHES = (
    ("white", (6.0, 37.0, 30.0, 67.0), WHITE),
    ("grey", (6.0, 73.0, 30.0, 103.0), GREY),
    ("black", (6.0, 109.0, 30.0, 139.0), BLACK),
    ("black", (154.0, 37.0, 178.0, 67.0), BLACK),
    ("grey", (154.0, 73.0, 178.0, 103.0), GREY),
    ("white", (154.0, 109.0, 178.0, 139.0), WHITE),
)
#: how far these may be off, relative standard uncertainty
U_NOMINAL = {"white": 0.04, "grey": 0.2, "black": 0.3}
#: of the bar beside the card on the sheet, which is laid against a real ruler
BAR_MM = 180.0
#: relative standard uncertainty of a print that was not checked, and of one that was
#: (the bar read to a quarter of a millimetre, and paper that gives; judged, no source)
U_UNCHECKED, U_CHECKED = 0.003, 0.001
#: a marker's side in the photo below which nothing is measured with it, in pixels
SMALLEST_PX = 30.0


@dataclass(frozen=True)
class Rectangle:
    """A printed rectangle: x0, y0, x1, y1 in millimetres, and what it reflects (paper: white)."""

    box: tuple[float, float, float, float]
    reflectance: float


@dataclass(frozen=True)
class Reading:
    """What a card in a photo gives besides the scale.

    Parameters
    ----------
    patches : list of ((4, 2) array, float, float)
        Corners in pixels, a little inside the print; reflectance; its relative standard
        uncertainty.
    window : (4, 2) array
        Corners of its window in pixels, in order from the upper left as it is read: the face is
        looked for here.
    """

    patches: list[tuple[Array, float, float]]
    window: Array


@cache
def rectangles() -> tuple[Rectangle, ...]:
    """Return everything printed on the card that is a rectangle, words and cut lines left out."""
    out: list[Rectangle] = []
    for number, (x, y) in MARKERS.items():
        dark = cells_of(DICTIONARY, number)
        cell = SIDE_MM / len(dark)
        out.append(Rectangle((x, y, x + SIDE_MM, y + SIDE_MM), BLACK))
        for i, row in enumerate(dark):  # white runs on the black square: no seams between cells
            turns = np.flatnonzero(np.diff(np.concatenate([[True], row, [True]]).astype(int)))
            for j, k in turns.reshape(-1, 2):
                box = (x + j * cell, y + i * cell, x + k * cell, y + (i + 1) * cell)
                out.append(Rectangle(box, WHITE))
    out += [Rectangle(box, tone) for name, box, tone in PATCHES if name != "white"]
    for _, (x0, y0, x1, y1), _ in (p for p in PATCHES if p[0] == "white"):
        for box in (  # a thin line says where bare paper is the patch
            (x0, y0, x1, y0 + 0.2), (x0, y1 - 0.2, x1, y1),
            (x0, y0 + 0.2, x0 + 0.2, y1 - 0.2), (x1 - 0.2, y0 + 0.2, x1, y1 - 0.2),
        ):  # fmt: skip
            out.append(Rectangle(box, 0.3))
    middle = (WINDOW_MM[0] + WINDOW_MM[2]) / 2
    for i in range(111):
        x = middle - 55 + i
        long = 8.0 if i % 10 == 0 else 6.0 if i % 5 == 0 else 4.0
        out.append(Rectangle((x - 0.1, WINDOW_MM[1] - long, x + 0.1, WINDOW_MM[1]), BLACK))
    for i in range(65):  # sixteenths of an inch of 25.4 mm, four inches
        x = middle + (i / 16 - 2) * 25.4
        long = next(size for n, size in ((16, 8.0), (8, 6.5), (4, 5.0), (2, 4.0), (1, 3.0))
                    if i % n == 0)  # fmt: skip
        out.append(Rectangle((x - 0.1, WINDOW_MM[3], x + 0.1, WINDOW_MM[3] + long), BLACK))
    return tuple(out)


def find(photo: Any, printed_scale: float | None = None) -> Scale:
    """Return the scale by the kit's card, and in `.reading` its patches and corners.

    Parameters
    ----------
    photo : Photo
    printed_scale : float, optional
        Length in millimetres, by a real ruler, of the bar that is printed as 180 mm.

    Raises
    ------
    InputError, DataError
        Fewer than two markers show, two cards, too small, too steep, blurred.
    """
    grown = _grown(printed_scale)
    seen = _agreeing(see_markers(photo, DICTIONARY, list(MARKERS), enough=2))
    corners = np.concatenate([c for _, c in seen])
    known = np.concatenate([_corners_of(i) for i, _ in seen]) * grown
    sides = [np.linalg.norm(c - np.roll(c, 1, axis=0), axis=1) for _, c in seen]
    wide = min(float(side.mean()) for side in sides)
    fine = min(float(side.min()) for side in sides) >= 6 * LEAST_CELL_PX
    if wide < SMALLEST_PX:
        msg = (
            f"The card's markers are only {wide:.0f} pixels wide in the photo, and "
            f"{SMALLEST_PX:.0f} are needed. Retake from nearer."
        )
        raise DataError(msg)
    camera = photo.camera.any_lens
    starts = poses_of(camera, known, corners)
    card = np.array([[0, 0], [1, 0], [1, 1], [0, 1.0]]) * SIZE_MM * grown
    reach = projector(camera, starts[0])(card)
    reach = np.concatenate([corners, reach[np.isfinite(reach).all(1)]])
    reach = np.clip(reach, -50, [photo.width + 50, photo.height + 50])
    patch = linear_patch(photo, reach, 12, wide / 6)
    fit, marks, _, width = refined(camera, starts, patch, _edges(grown), camera)
    check_sharp("card", width, WIDEST_BLUR * wide / 6)
    project = projector(fit.camera, fit.pose)
    window = _box(WINDOW_MM) * grown
    reading = Reading(
        [(project(_box(box, 3.0) * grown), tone, U_NOMINAL[name]) for name, box, tone in PATCHES],
        project(window),
    )  # fmt: skip
    notes = []
    if printed_scale is None:
        notes.append(
            f"the card's print was not checked: measure its long bar ({BAR_MM:.0f} mm as printed) "
            "and say how long it is"
        )
    # one line around the paper, in through a seam and back around the window
    around = np.concatenate([card, card[:1], window[:1], window[::-1]])
    return plane_scale(
        "card", photo, fit, marks, around, notes=notes, reading=reading,
        expected=len(_edges(grown).start) * len(seen) // len(MARKERS),
        u_size=U_UNCHECKED if printed_scale is None else U_CHECKED,
        steepest_deg=squeezed.STEEPEST_DEG if fine else STEEPEST_DEG,
    )  # fmt: skip


def _grown(printed: Any) -> float:
    if printed is None:
        return 1.0
    number = as_number(printed)
    if number is None or not 0.85 * BAR_MM <= number <= 1.15 * BAR_MM:
        raise InputError(
            "printed_scale", printed,
            f"must be the length in mm of the bar printed as {BAR_MM:.0f} mm, near that",
            "Lay a real ruler along it.",
        )  # fmt: skip
    return number / BAR_MM


def _box(box: Sequence[float], inset: float = 0.0) -> Array:
    x0, y0, x1, y1 = box
    x0, y0, x1, y1 = x0 + inset, y0 + inset, x1 - inset, y1 - inset
    return np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])


def _corners_of(number: int) -> Array:
    x, y = MARKERS[number]
    return _box((x, y, x + SIDE_MM, y + SIDE_MM))


def _edges(grown: float) -> Edges:
    """Edges of all four markers, each with the paper around it."""
    parts = []
    for number, (x, y) in MARKERS.items():
        cells = np.pad(cells_of(DICTIONARY, number), 1)
        cell = SIDE_MM / (len(cells) - 2) * grown
        parts.append(Edges.of_cells(cells, cell, np.array([x, y]) * grown - cell))
    return Edges(*map(np.concatenate, zip(*parts, strict=True)))


def _agreeing(seen: list[tuple[int, Array]]) -> list[tuple[int, Array]]:
    """Return the markers that lie to one another as on the card.

    Raises
    ------
    DataError
        Fewer than two do, or a number shows twice.
    """
    import cv2

    numbers = [i for i, _ in seen]
    if len(set(numbers)) < len(numbers):
        msg = (
            "There are two of the kit's cards in the picture. Cover one and retake, or cut the "
            "picture so that one is left."
        )
        raise DataError(msg)
    best: list[tuple[int, Array]] = []
    for pair in combinations(seen, 2):
        known = np.concatenate([_corners_of(i) for i, _ in pair])
        px = np.concatenate([c for _, c in pair])
        fit, _ = cv2.findHomography(known, px, 0)
        if fit is None:
            continue
        near = []
        for number, corners in seen:
            there = cv2.perspectiveTransform(_corners_of(number)[None], fit)[0]
            side = float(np.linalg.norm(corners[1] - corners[0]))
            if float(np.abs(there - corners).max()) < 0.15 * side + 2:
                near.append((number, corners))
        if len(near) > len(best) and len(near) >= 2:
            best = near
    if not best:
        count = (
            "no marker" if not seen else "only one marker" if len(seen) == 1 else "no two markers"
        )
        msg = (
            f"Of the kit's card {count} can be read, and two are needed. Retake with the card in "
            "the picture, flat, sharp and without glare; or mark two points instead."
        )
        raise DataError(msg)
    return best
