"""The profile of dough in a jar, told by four numbers: to its line as wide as the jar, then a dome.

The dome is the top of a superellipse, of which the jar lets show the middle: a spherical cap, a
flatter one, or one that is level but for its rim.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kit.photo.solid import Profile
from kit.photo.solid_profile import Known, moves, rings

__all__ = ["JarProfile"]

Array = NDArray[np.float64]

#: what is believed of a dome before looking, mean and standard deviation (own choices): its rise
#: in jar radii, how much wider than the jar the whole superellipse is, its power less one
BELIEVED = ((0.15, 0.3, 1.0), (0.5, 1.0, 0.5))
#: where to begin looking: how much wider than the jar
STARTS = (0.05, 1.0)
#: radii the dome is drawn at, from the wall to the middle
_ACROSS = np.cos(np.radians(np.r_[0:60:4.0, 60:90.1:1.5]))


@dataclass(frozen=True)
class JarProfile:
    """Dough in a jar. Numbers: its line over the jar's inside bottom, the dome's three.

    Parameters
    ----------
    heights_mm, radii_mm : (m,) arrays
        The jar's inside from its bottom up.
    level_mm : float
        About where the dough's line on the wall is, for a start.
    fee, rival, many_dips
        It is of no other kind, and is begun from each start (`RoundProfile`).
    """

    heights_mm: Array
    radii_mm: Array
    level_mm: float
    fee: float = 0.0
    rival: None = None
    many_dips: bool = True

    def starts(self) -> list[Array]:
        """A low dome, nearly upright at the wall or one of a much wider whole."""
        reach = float(np.interp(self.level_mm, self.heights_mm, self.radii_mm))
        return [np.array([self.level_mm, 0.1 * reach, wider, 1.0]) for wider in STARTS]

    def holding(self, own: Array) -> None:
        """There are no dips (`RoundProfile.holding`)."""
        return None

    def points(self, q: Array) -> tuple[Array, Array]:
        """Radii and heights from the jar's bottom to the top, (..., k), for numbers (..., 4)."""
        level, rise, wider, power = (
            np.maximum(x, least)[..., None]
            for x, least in zip(np.moveaxis(q, -1, 0), (0.1, 0, 0, 0), strict=True)
        )
        line = np.interp(level, self.heights_mm, self.radii_mm)
        p = 1 + np.clip(power, 0.15, 25)
        drop = 1 - (1 - np.clip(_ACROSS / (1 + wider), 0, 1) ** p) ** (1 / p)
        dome = level + rise * (1 - drop / np.maximum(drop[..., :1], 1e-9))
        bottom = np.broadcast_to(0.0, level.shape)
        return (
            np.concatenate([bottom + self.radii_mm[0], line * _ACROSS], -1),
            np.concatenate([bottom, dome], -1),
        )

    def at(self, q: Array) -> Profile:
        """The rings for numbers `q`."""
        return rings(*self.points(q))

    def moves(self, q: Array) -> tuple[Array, Array]:
        """How fast each ring's radius and height go with each number, (k, 4) each."""
        return moves(self.points, q, np.array([0.01, 0.01, 1e-4, 1e-4]))

    def known(self, q: Array) -> Known:
        """What is believed, near `q`: nothing of the line."""
        mean, sd = (
            np.array(x) * (self.radii_mm.max(), 1.0, 1.0) for x in BELIEVED
        )  # fmt: skip
        rows = np.hstack([np.zeros((3, 1)), np.diag(1 / sd)])
        return Known(rows, mean / sd)
