"""A square marker of one of OpenCV's open dictionaries, as the reference."""

from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kit.errors import DataError, InputError
from kit.photo.arguments import above, positive
from kit.photo.camera import Camera
from kit.photo.reference import Scale
from kit.photo.references.edges import Edges, halved, linear_patch
from kit.photo.references.plane_fit import Marks, PlaneFit, fit_plane, poses_of
from kit.photo.references.plane_scale import check_sharp, chosen, plane_scale, refined
from kit.photo.references.squeezed import SQUEEZED_DEG, STEEPEST_DEG, fit_squeezed, off_square_on

__all__ = ["cells_of", "find", "see_markers"]

Array = NDArray[np.float64]

#: a marker's side in the photo below which nothing is measured with it, in pixels
SMALLEST_PX = 60.0
#: of a cell: wider than this the edges run into one another
WIDEST_BLUR = 0.45
#: so much worse, in chi-squared, a fit with inner lines where they should be shows that they are
#: not: ten that are make it worse by at most about ten (own choice)
SHIFTED_CHI2 = 12.0


def find(
    photo: Any,
    side_mm: float,
    id: int | None = None,
    dictionary: str = "DICT_4X4_50",
    at: Sequence[float] | None = None,
    box: Sequence[float] | None = None,
    u_mm: float = 0.0,
) -> Scale:
    """Return the scale by a square marker lying or standing in the plane.

    Parameters
    ----------
    photo : Photo
    side_mm : float
        Side of the black square.
    id : int, optional
        The marker's number; the only one in the picture when not given.
    dictionary : str
        OpenCV's name of the dictionary.
    at, box : sequence of float, optional
        Where it is, when there are several.
    u_mm : float
        Standard uncertainty of the side.

    Raises
    ------
    InputError, DataError
    """
    side, u = positive("side_mm", side_mm, 1000), above("u_mm", u_mm)
    dark = cells_of(dictionary, 0 if id is None else id)
    seen = see_markers(photo, dictionary, None if id is None else [id])
    if not seen:
        raise _not_found(photo, dictionary, id)
    which = chosen("marker", np.array([c.mean(0) for _, c in seen]), at, box)
    number, corners = seen[which]
    dark = cells_of(dictionary, number)
    n = len(dark)
    wide = float(np.linalg.norm(corners - np.roll(corners, 1, axis=0), axis=1).mean())
    if wide < SMALLEST_PX:
        msg = (
            f"The marker is only {wide:.0f} pixels wide in the photo, and {SMALLEST_PX:.0f} are "
            "needed. Retake from nearer, or use a larger marker."
        )
        raise DataError(msg)
    patch = linear_patch(photo, corners, 0.6 * wide / n + 12, wide / n)
    square = np.array([[0, 0], [1, 0], [1, 1], [0, 1.0]]) * side
    ground = np.pad(dark, 1)  # the white margin is bright ground around the black border
    edges = Edges.of_cells(ground, side / n, np.full(2, -side / n))
    camera = photo.camera.any_lens
    starts = poses_of(camera, square, corners)
    if min(off_square_on(pose, square) for pose in starts) > SQUEEZED_DEG:
        fit, marks = fit_squeezed(photo, "marker", ~ground, side / n, corners)
        return plane_scale(
            "marker", photo, fit, marks, square, u_size=u / side, steepest_deg=STEEPEST_DEG
        )
    fit, marks, _, width = refined(camera, starts, patch, edges, camera)
    by_line = partial(_by_line, cell=side / n, n=n)
    if _shifted(fit, marks, by_line(marks), camera):
        fit, marks, _, width = refined(camera, starts, patch, edges, camera, by_line)
    check_sharp("marker", width, WIDEST_BLUR * wide / n, ", too much for its size")
    return plane_scale(
        "marker", photo, fit, marks, square, u_size=u / side, expected=len(edges.start)
    )


def _by_line(marks: Marks, cell: float, n: int) -> Marks:
    """The same marks, of each line between cells only its direction and how bright spreads."""
    at = marks.mm / cell
    along = np.abs(at - np.rint(at)).argmin(1)
    number = np.rint(at[np.arange(len(at)), along])
    group = np.where((number > 0) & (number < n), number + n * along, 0)
    # all normals of one direction one way, so that a line's shift has one sign
    sign = np.ones(len(at))
    for axis in (0, 1):
        if (here := along == axis).any():
            sign[here] = np.sign(marks.normal[here] @ marks.normal[here][0])
    return replace(
        marks, normal=marks.normal * sign[:, None], spread=marks.spread * sign, group=group
    )


def _shifted(fit: PlaneFit, marks: Marks, by_line: Marks, prior: Camera) -> bool:
    """Whether the lines between cells are not where they should be, by the outer square.

    Drawn at a size that its cells do not divide, a marker's inner lines lie up to a third of a
    pixel of the drawing off, each to one side, and tip the plane: then only their direction counts.
    """
    free = fit_plane(fit.camera, fit.pose, by_line, prior=prior)
    held = fit_plane(fit.camera, fit.pose, marks, sigma_px=free.sigma_px, prior=prior)
    return held.chi2 > free.chi2 + SHIFTED_CHI2


def cells_of(dictionary: str, number: int) -> NDArray[np.bool_]:
    """Return which cells of a marker are black, its border included, row by row.

    Raises
    ------
    InputError
        No such dictionary, or no such marker in it.
    """
    import cv2

    words = _dictionary(dictionary)
    count = len(words.bytesList)
    if not isinstance(number, int | np.integer) or not 0 <= number < count:
        raise InputError("id", number, f"must be a whole number from 0 to {count - 1}")
    n = words.markerSize + 2
    drawn = cv2.aruco.generateImageMarker(words, int(number), n)
    return np.asarray(np.asarray(drawn) == 0)


def _dictionary(name: str) -> Any:
    import cv2

    code = getattr(cv2.aruco, name, None) if isinstance(name, str) else None
    if not str(name).startswith("DICT_") or not isinstance(code, int):
        rule = (
            "is no dictionary of OpenCV's: such as DICT_4X4_50, DICT_5X5_100 or DICT_APRILTAG_36h11"
        )
        raise InputError("dictionary", name, rule)
    return cv2.aruco.getPredefinedDictionary(code)


def see_markers(
    photo: Any, dictionary: str, wanted: Sequence[int] | None = None, enough: int = 1
) -> list[tuple[int, Array]]:
    """Return number and corners (4, 2) in pixels of the markers in a photo.

    Looked for in a reduced picture first, in finer ones only while fewer than `enough` show.

    Parameters
    ----------
    photo : Photo
    dictionary : str
    wanted : sequence of int, optional
        Only these numbers.
    enough : int
    """
    import cv2

    asked = cv2.aruco.DetectorParameters()
    asked.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    asked.minMarkerPerimeterRate = 0.02
    asked.adaptiveThreshWinSizeStep = 14
    detector = cv2.aruco.ArucoDetector(_dictionary(dictionary), asked)
    longest = max(photo.width, photo.height)
    best: list[tuple[int, Array]] = []
    # half as fine shows most of them; full size only for what is small in the picture
    half = halved(photo)
    looks = ((half, 2), (half, 1)) if half == longest else ((half, 2), (half, 1), (longest, 1))
    for size, shrunk in looks:
        pixels, k = photo.reduced(size)
        grey = cv2.cvtColor(np.ascontiguousarray(pixels), cv2.COLOR_RGB2GRAY)
        if shrunk > 1:
            high, wide = (n // shrunk for n in grey.shape)
            part = grey[: high * shrunk, : wide * shrunk]
            grey = cv2.resize(part, (wide, high), interpolation=cv2.INTER_AREA)
            k *= shrunk
        corners, numbers, _ = detector.detectMarkers(grey)
        found = [] if numbers is None else list(zip(np.ravel(numbers), corners, strict=True))
        seen = [
            (int(i), (np.asarray(c, float).reshape(4, 2) + 0.5) * k - 0.5)
            for i, c in found
            if wanted is None or int(i) in wanted
        ]
        if len(seen) > len(best):
            best = seen
        if len(best) >= enough:
            break
    return best


def _not_found(photo: Any, dictionary: str, number: int | None) -> DataError:
    """Say what was seen instead of the marker, and what to do."""
    others = sorted({i for i, _ in see_markers(photo, dictionary)}) if number is not None else []
    name = "marker" if number is None else f"marker {number}"
    if others:
        listed = ", ".join(str(i) for i in others)
        return DataError(
            f"There is no {name} of {dictionary} in the picture, but there is {listed}. "
            "Give the number that was printed."
        )
    return DataError(
        f"There is no {name} of {dictionary} to be found in the picture. It must be whole, with "
        "its white margin, sharp and without glare: retake so, or mark two points instead."
    )
