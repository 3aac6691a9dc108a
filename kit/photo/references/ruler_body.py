"""The short ends of a ruler's body: square to its long edge, far apart and longer than ticks.

How they lean in the photo tells the tilt across the ruler, which short ticks hardly do. How far
beyond the last tick they lie differs from ruler to ruler and is not used.
"""

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kit.photo.references.edges import linear_patch
from kit.photo.references.plane_fit import FLOOR_PX

__all__ = ["body_ends", "off_line"]

Array = NDArray[np.float64]

#: where an end is looked for, in millimetres: rows up from the ticked edge, and along the ruler
#: from the end mark, most of it outward (common rulers, from memory)
ROWS_MM, FROM_MM, TO_MM = np.arange(2.0, 30.0), -6.0, 24.0
#: rows that must show it; the first of them are where the narrowest ruler has its body
FEWEST_ROWS = 12
#: how far an end may lean in the photo, a pixel a pixel up
MOST_LEAN = 0.6
#: least step of an end, of the root of light; of the usual step, in a row
LEAST_STEP, STEP_SHARE = 0.01, 0.3
#: how far places on an end may scatter, of a millimetre
ROUGHEST = 0.15


def body_ends(photo: Any, marks: Array, mm: float, side: float) -> list[Array]:
    """Return places (n, 2) along those short ends that show as straight edges, in pixels.

    Parameters
    ----------
    photo : Photo
    marks : (2, 2) array
        The two marked ticks, in pixels.
    mm : float
        Between them.
    side : float
        1 where the body lies to the right as one looks from the first mark to the second, else −1.
    """
    px_per_mm = float(np.linalg.norm(marks[1] - marks[0])) / mm
    along = (marks[1] - marks[0]) / (mm * px_per_mm)
    up = side * np.array([-along[1], along[0]])
    found = []
    for start, out in ((marks[0], -along), (marks[1], along)):
        spots = _end(photo, start, out, up, px_per_mm)
        if spots is not None:
            found.append(start + spots[:, 1:] * out + spots[:, :1] * up)
    return found


def off_line(places: Array, marks: Array) -> float:
    """Return how far, in pixels along the ruler, places on an end lie off a straight line."""
    along = (marks[1] - marks[0]) / float(np.linalg.norm(marks[1] - marks[0]))
    up, out = places @ np.array([-along[1], along[0]]), places @ along
    return math.hypot(float(np.std(out - np.polyval(np.polyfit(up, out, 1), up))), FLOOR_PX)


def _end(photo: Any, start: Array, out: Array, up: Array, px_per_mm: float) -> Array | None:
    """Pixels up and outward (n, 2) of the clearest straight edge beyond one mark."""
    import cv2

    rows = ROWS_MM * px_per_mm
    s = np.arange(FROM_MM * px_per_mm, TO_MM * px_per_mm, 0.5)
    at = start + s[None, :, None] * out + rows[:, None, None] * up
    inside = ((at > 1) & (at < [photo.width - 2, photo.height - 2])).all(2)
    corners = np.clip(at.reshape(-1, 2), 0, [photo.width - 1, photo.height - 1])
    light = np.sqrt(linear_patch(photo, corners, 4, px_per_mm).sample(at))
    light = cv2.blur(light, (1, 3))  # three rows together
    wide = max(1.0, 0.24 * px_per_mm)
    rise = np.asarray(np.gradient(light, axis=1), np.float64)
    slope = np.asarray(cv2.GaussianBlur(rise, (0, 0), wide, sigmaY=0.1) * inside, np.float64)
    lean, place = _steepest(s, rows[:FEWEST_ROWS], slope[:FEWEST_ROWS], px_per_mm)
    spots, steps = [], []
    for row, step_here in zip(rows, np.abs(slope), strict=True):
        near = np.flatnonzero(np.abs(s - place - lean * row) < max(3.0, 0.6 * px_per_mm))
        if len(near) < 5:
            continue
        peak = near[step_here[near].argmax()]
        around = np.abs(s - s[peak]) < 2.0
        middle = (step_here * s)[around].sum() / max(float(step_here[around].sum()), 1e-9)
        spots.append((row, float(middle)))
        steps.append(float(step_here[peak]))
    if len(spots) < FEWEST_ROWS:
        return None
    found, step = np.array(spots), np.array(steps)
    shows = step > STEP_SHARE * np.median(step[:FEWEST_ROWS])
    use, off = shows, np.zeros(len(found))
    for _ in range(5):
        if use.sum() < FEWEST_ROWS:
            return None
        line = np.polyfit(found[use, 0], found[use, 1], 1)
        off = np.abs(found[:, 1] - np.polyval(line, found[:, 0]))
        use = shows & (off < max(0.3, 3 * 1.4826 * float(np.median(off[use]))))
    rough = float(np.median(off[use])) if use.any() else math.inf
    clear = use.sum() >= FEWEST_ROWS and float(np.median(step[use])) > LEAST_STEP
    return found[use] if clear and rough < ROUGHEST * px_per_mm else None


def _steepest(s: Array, rows: Array, slope: Array, px_per_mm: float) -> tuple[float, float]:
    """Lean and place, at the marked edge, of the line along which light changes most."""
    best, lean, place = 0.0, 0.0, 0.0
    for tried in np.linspace(-MOST_LEAN, MOST_LEAN, 121):
        upright = [
            np.interp(s + tried * row, s, rise, left=0, right=0)
            for row, rise in zip(rows, slope, strict=True)
        ]
        size = np.abs(np.mean(upright, axis=0))
        size[s < px_per_mm] = 0.0  # the end mark's own tick
        i = int(size.argmax())
        if size[i] > best:
            best, lean, place = float(size[i]), float(tried), float(s[i])
    return lean, place
