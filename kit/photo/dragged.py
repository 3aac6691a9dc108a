"""An outline corrected by hand: a few places to take hold of it, and how it follows.

What is dragged takes its neighbourhood along, up to the next places to take hold of, so that the
rest of an outline that was found well stays as it was found.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["bent", "grips", "lengthened", "stretched"]

Array = NDArray[np.float64]


def grips(outline: ArrayLike, count: int = 20) -> list[int]:
    """Return the indices of points of a closed outline that lie about evenly along it.

    Parameters
    ----------
    outline : (n, 2) array
        In pixels, closed: the last point joins the first.
    count : int
        How many; fewer where the outline has fewer points.

    Examples
    --------
    >>> square = [[0, 0], [2, 0], [4, 0], [4, 2], [4, 4], [2, 4], [0, 4], [0, 2]]
    >>> grips(square, 4)
    [0, 2, 4, 6]
    """
    points = np.asarray(outline, float)
    along, whole = _along(points)
    wanted = np.arange(count) * whole / count
    return sorted({int(np.argmin(np.abs(along - place))) for place in wanted})


def bent(outline: ArrayLike, held: list[int], which: int, to: tuple[float, float]) -> Array:
    """Return a closed outline with one of its places to take hold of moved.

    Parameters
    ----------
    outline : (n, 2) array
        In pixels.
    held : list of int
        From `grips`: between two of them nothing else moves.
    which : int
        Index into `held`.
    to : (float, float)
        Where that point is put.

    Returns
    -------
    (n, 2) array
        The points in between follow by a raised cosine of their way along the outline: whole at
        the point that is dragged, nothing at its neighbours.

    Examples
    --------
    >>> bent([[0, 0], [1, 0], [2, 0], [3, 0], [4, 0], [2, 9]], [0, 2, 4], 1, (2, 1))[:5, 1].tolist()
    [0.0, 0.5, 1.0, 0.5, 0.0]
    """
    points = np.asarray(outline, float)
    along, whole = _along(points)
    here = along[held[which]]
    before = (here - along[held[which - 1]]) % whole or whole
    after = (along[held[(which + 1) % len(held)]] - here) % whole or whole
    way = (along - here + whole / 2) % whole - whole / 2 if len(held) > 1 else np.zeros(len(along))
    part = np.where(way < 0, -way / before, way / after)
    weight = np.where(part < 1, (1 + np.cos(np.pi * np.minimum(part, 1))) / 2, 0.0)
    moved: Array = points + weight[:, None] * (np.asarray(to, float) - points[held[which]])
    return moved


def stretched(outline: ArrayLike, still_y: float, from_y: float, to_y: float) -> Array:
    """Return an outline whose top (or foot) was moved up or down, the rest in proportion.

    Parameters
    ----------
    outline : (n, 2) array
        In pixels.
    still_y : float
        Where nothing moves: the foot when the top is dragged.
    from_y, to_y : float
        Where the end that is dragged was and where it is put, in pixels.

    Returns
    -------
    (n, 2) array

    Examples
    --------
    >>> stretched([[0, 10], [0, 5], [0, 0], [0, 12]], 10, 0, -4)[:, 1].tolist()
    [10.0, 3.0, -4.0, 12.0]
    """
    points = np.array(outline, float)
    share = np.clip((points[:, 1] - still_y) / (from_y - still_y), 0, 1)
    points[:, 1] += share * (to_y - from_y)
    return points


def lengthened(outline: ArrayLike, up_px: float, down_px: float) -> Array:
    """Return an outline of a piece as if it were higher: its upper or lower half moved as a whole.

    The halves part where it is widest, so that both rims keep their form: a piece as round as
    before, its wall longer.

    Parameters
    ----------
    outline : (n, 2) array
        In pixels.
    up_px, down_px : float
        How far its top goes up and its foot goes down.

    Returns
    -------
    (n, 2) array

    Examples
    --------
    >>> lengthened([[0, 4], [2, 2], [4, 4], [2, 6]], 1, 3).tolist()
    [[0.0, 4.0], [2.0, 1.0], [4.0, 4.0], [2.0, 9.0]]
    """
    points = np.array(outline, float)
    from_widest = points[:, 1] - points[[points[:, 0].argmin(), points[:, 0].argmax()], 1].mean()
    points[:, 1] += np.where(from_widest > 0, down_px, 0.0) - np.where(from_widest < 0, up_px, 0.0)
    return points


def _along(points: Array) -> tuple[Array, float]:
    """Return how far along the outline each point lies, and its whole length."""
    steps = np.hypot(*(np.roll(points, -1, axis=0) - points).T)
    return np.concatenate([[0.0], np.cumsum(steps)[:-1]]), float(steps.sum())
