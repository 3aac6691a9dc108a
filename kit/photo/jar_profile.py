"""The profile of dough in a jar: as wide as the jar up to its line on the wall, a dome above.

The dome is a chain of short straight edges whose outward normals turn from the wall to straight
up; only the edges' lengths are free, and they cannot be negative. What the outline does not decide
is decided by beliefs, all of them weak and written here.
"""

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from kit.photo.solid import Profile
from kit.photo.solid_profile import Known

__all__ = ["JarProfile"]

Array = NDArray[np.float64]

#: how alike neighbouring edges are: scale of their difference, as a share of an edge of a sphere
#: as wide (own choice; a sphere has 0)
WALK = 1.0
#: degrees that share is for
STEP_DEG = 3.0


@dataclass(frozen=True)
class JarProfile:
    """Dough in a jar: as wide as the jar up to the line on its wall, a dome above.

    Free: the line's height over the jar's inside bottom, then the lengths of the dome's edges.

    Parameters
    ----------
    heights_mm, radii_mm : (m,) arrays
        The jar's inside from its bottom up.
    level_mm : float
        About where the dough's line on the wall is, for a start.
    """

    heights_mm: Array
    radii_mm: Array
    level_mm: float

    @cached_property
    def theta(self) -> Array:
        """Finer where a dome is nearly level."""
        return np.asarray(np.radians(np.r_[np.arange(6.0, 72, 6), np.arange(72.0, 90, 1.5)]))

    def starts(self) -> list[Array]:
        """A low dome."""
        reach = float(np.interp(self.level_mm, self.heights_mm, self.radii_mm))
        edges = np.where(self.theta > 1.1, 1.0, 0.02)
        edges *= 0.9 * reach / np.sum(edges * np.sin(self.theta))
        return [np.r_[self.level_mm, edges]]

    def at(self, q: Array) -> Profile:
        """The rings for free numbers `q`: the jar's bottom, the line, the dome."""
        level, edges, angle = max(float(q[0]), 0.1), q[1:], self.theta
        foot = float(self.radii_mm[0])
        line = self._inside(level)
        r = np.r_[foot, line, line - np.cumsum(edges * np.sin(angle))]
        h = np.r_[0.0, level, level + np.cumsum(edges * np.cos(angle))]
        wall = math.atan2(foot - line, level)
        low = np.r_[-math.pi / 2, wall, angle]
        return Profile(r, h, low, np.r_[wall, max(angle[0], wall), angle[1:], math.pi / 2])

    def moves(self, q: Array) -> tuple[Array, Array]:
        """How fast each ring's radius and height go with each number."""
        level, angle, n = max(float(q[0]), 0.1), self.theta, len(q)
        by_r, by_h = np.zeros((n + 1, n)), np.zeros((n + 1, n))
        by_r[1:, 0], by_h[1:, 0] = (self._inside(level + 0.5) - self._inside(level)) / 0.5, 1.0
        by_r[2:, 1:] = np.tri(n - 1) * -np.sin(angle)
        by_h[2:, 1:] = np.tri(n - 1) * np.cos(angle)
        return by_r, by_h

    def _inside(self, level: float) -> float:
        """The jar's radius at a height, mm."""
        return float(np.interp(level, self.heights_mm, self.radii_mm))

    def known(self, q: Array) -> Known:
        """Neighbouring edges are alike by what each turns; the top may be level but not a hole."""
        n, profile = len(q), self.at(q)
        turns = np.r_[1.0, np.gradient(self.theta)]
        reach = float(profile.r[1])
        width = WALK * reach * np.sqrt(np.diff(self.theta) / math.radians(STEP_DEG))
        walk = _alike(q / turns, width, 1) / turns
        rim = self._not_a_hole(profile, q)
        offset = rim[0] @ q - (profile.r[-1] - q[-1] / 2) * 100.0 if rim.any() else 0.0
        loose = np.eye(n)[1:] / (30 * reach * turns[1:, None])
        rows = np.vstack([walk, rim, loose])
        aims = np.zeros(len(rows))
        aims[len(walk)] = offset
        return Known(rows, aims)

    def _not_a_hole(self, profile: Profile, q: Array) -> Array:
        """The row of the closing edge: it may be longer than half the last one, not shorter."""
        row = self.moves(q)[0][-1]
        row[-1] -= 0.5
        short = profile.r[-1] - q[-1] / 2 < 0
        return np.asarray(row[None] * (100.0 if short else 0.0))


def _alike(q: Array, width: Array, first: int) -> Array:
    """Rows that hold neighbours together from number `first` on, a large step now and then.

    Cauchy weights by the steps of `q`.
    """
    rows = (np.eye(len(q), k=1) - np.eye(len(q)))[first:-1] / width[:, None]
    steps = rows @ q
    return np.asarray(rows / np.sqrt(1 + steps**2)[:, None])
