"""Profiles with few beliefs and many free edges: balls and pieces, and dough in a jar.

A profile is a chain of short straight edges whose outward normals turn from straight down (the
flat foot) to straight up (a flat top, if any); only the edges' lengths are free, and they cannot
be negative. So every profile that nowhere caves in can be told: cap, ellipsoid, muffin, cylinder.
What the outline does not decide is decided by beliefs, all of them weak and written here.
"""

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from kit.photo.solid import Profile

__all__ = ["JarProfile", "Known", "RoundProfile", "unseen_edges"]

Array = NDArray[np.float64]

#: degrees the profile turns from one edge to the next; a chain of 3° lies within 0.04 % of
#: its radius of curvature of the smooth curve (1 − cos 1.5°)
STEP_DEG = 3.0
#: how alike neighbouring edges are: scale of their difference, as a share of an edge of a sphere
#: as wide (own choice; a sphere has 0, corners and flats go past it)
WALK = 1.0
#: the same for the upper half of a ball of dough: its skin has no rims
DOME_WALK = 0.3
#: how far an underside rises, in radii, before it turns steeper than 45°: mean of an exponential
#: belief (own choice; what lies under its own weight is flat, and the camera sees little of it)
UNDERSIDE = 0.05
#: how far in from its widest, in radii, an underside that is not flat begins: mean of an
#: exponential belief (own choice, as above)
SAGGING = 0.1
#: how alike the two rims of a piece are that was griddled on both faces: scale of the difference
#: of their edges, as a share of an edge of a sphere as wide (own choice)
ALIKE = 0.5


@dataclass(frozen=True)
class Known:
    """What is known of a profile beforehand: ½|rows·q − aims|² + dear·q in minus log likelihood.

    Parameters
    ----------
    rows : (k, q) array
    aims : (k,) array
    dear : (q,) array
        What a millimetre of each free number costs.
    """

    rows: Array
    aims: Array
    dear: Array

    def cost(self, q: Array) -> float:
        """Twice the minus log likelihood of `q`."""
        off = self.rows @ q - self.aims
        return float(off @ off + 2 * self.dear @ q)


@dataclass(frozen=True)
class RoundProfile:
    """A ball or a piece: flat foot, rounded sides, domed or flat top. Free: the edges' lengths.

    Parameters
    ----------
    radius_mm, height_mm : float
        About how large, for a start.
    domed : bool
        The top closes as a dome (a ball of dough); else it may be flat (a griddled piece).
    """

    radius_mm: float
    height_mm: float
    domed: bool

    @cached_property
    def theta(self) -> Array:
        """Angles of the edges' normals, the flat top left out (it closes the chain)."""
        return np.asarray(np.radians(np.arange(-90.0, 89.9, STEP_DEG)))

    def start(self) -> Array:
        """An ellipsoid widened by a flat foot and top half as wide as the whole."""
        a, b, angle = self.radius_mm / 2, self.height_mm / 2, self.theta
        support = np.sqrt((a * np.cos(angle)) ** 2 + (b * np.sin(angle)) ** 2)
        edges = a * a * b * b / support**3 * math.radians(STEP_DEG)
        edges[0] = a + edges[0] / 2
        return np.asarray(edges)

    @cached_property
    def _moves(self) -> tuple[Array, Array]:
        below = np.tri(len(self.theta))
        return below * -np.sin(self.theta), below * np.cos(self.theta)

    def at(self, q: Array) -> Profile:
        """The rings for edge lengths `q`."""
        angle, (by_r, by_h) = self.theta, self._moves
        return Profile(
            by_r @ q, by_h @ q, angle, np.r_[angle[1:], math.pi / 2], by_r, by_h
        )  # fmt: skip

    def known(self, q: Array, seen: tuple[float, float]) -> Known:
        """What is known beforehand, near `q`; `seen` are the lowest and highest normals seen.

        Neighbouring edges are alike, with a corner or a flat now and then. An underside lies flat
        more than it is rounded; a piece, griddled on both faces, has two rims alike. What the
        camera does not see goes on as what it sees near it does (`unseen_edges`). A top may be
        flat, but not a hole.
        """
        n, angle, profile = len(q), self.theta, self.at(q)
        usual = self.radius_mm * math.radians(STEP_DEG)
        smooth = np.where(self.domed & (angle[1:-1] > 0), DOME_WALK, WALK)
        walk = _alike(q, usual * smooth, 1)
        costs = np.cos(angle) / UNDERSIDE - np.sin(angle) / SAGGING
        dear = np.where((angle > -1.55) & (angle < -0.78), costs, 0.0)
        over, under = angle > seen[1], (angle < seen[0]) & (angle > -1.55)
        aims = np.zeros(n)
        aims[over] = unseen_edges(angle[over], profile.r, angle, seen[1], self.domed)
        aims[under] = unseen_edges(-angle[under], profile.r, -angle, -seen[0], False)
        hidden = np.flatnonzero(over | under)
        width = 0.3 * aims[hidden] + 0.02 * usual
        walk = walk[~np.isin(np.arange(1, n - 1), np.r_[hidden, hidden - 1])]
        held = np.eye(n)[hidden] / width[:, None]
        if not self.domed:
            walk = np.vstack([walk, _both_faces(q, angle, ALIKE * usual)])
        rim = _rim(profile, q, 0.04 * self.radius_mm if self.domed and not over.any() else None)
        rows = np.vstack([walk, rim, np.eye(n) / (30 * usual), held])
        return Known(
            rows, np.r_[np.zeros(len(rows) - len(held)), aims[hidden] / width],
            dear * ~under / self.radius_mm,
        )  # fmt: skip


def unseen_edges(wanted: Array, radii: Array, angle: Array, last: float, domed: bool) -> Array:
    """Return the lengths of edges the camera cannot see, going on as those it can do.

    From its widest to its middle a profile is taken as a superellipse, (r/R)^p + (z/b)^p = 1: an
    ellipsoid with p = 2, flatter ones above, a flat top with a sharp rim without end. p follows
    from how slope and radius go together over the last 12° that are seen, b from the slope.

    Parameters
    ----------
    wanted : (k,) array
        Angles of the edges' normals, radians, beyond `last`.
    radii, angle : (n,) arrays
        Of all rings, and of the edges below each.
    last : float
        Steepest normal that is seen.
    domed : bool
        The top is a dome: p is at most 2.5.
    """
    half = math.radians(STEP_DEG) / 2
    order = np.argsort(angle)
    seen = np.array([last, last - math.radians(12)])
    x = np.interp(seen, angle[order] + half, radii[order]) / max(radii.max(), 1e-6)
    # hardly any change of radius over 12°: a sharp rim, and nothing rounded beyond it
    rounded = float(np.clip(((x[1] - x[0]) - 0.004) / 0.012, 0, 1))
    x = np.clip(x, 1e-4, 1 - 1e-4)
    grown = math.log(math.tan(math.pi / 2 - seen[1]) / max(math.tan(math.pi / 2 - seen[0]), 1e-6))
    powers = np.geomspace(1.3, 2.5 if domed else 60.0, 60)
    slopes = _log_slope(x[:, None], powers)
    p = powers[np.abs(slopes[1] - slopes[0] - grown).argmin()]
    inner = x[0] * np.linspace(0, 1, 80)[1:]
    steep = np.exp(_log_slope(inner, p) - _log_slope(x[:1], p)) / math.tan(last)
    ends = np.tan(np.clip(math.pi / 2 - wanted[:, None] + (half, -half), 0, None))
    reach = np.interp(ends, np.r_[0.0, steep], np.r_[0.0, inner]) * radii.max()
    return np.asarray(rounded * (reach[:, 0] - reach[:, 1]) / np.sin(wanted))


def _log_slope(x: Array, p: "Array | float") -> Array:
    """Log slope of a superellipse of radius and height 1 at radius x."""
    return np.asarray((p - 1) * np.log(x) + (1 / p - 1) * np.log(-np.expm1(p * np.log(x))))


def _alike(q: Array, width: Array, first: int) -> Array:
    """Rows that hold neighbours together from number `first` on, a large step now and then.

    Cauchy weights by the steps of `q`.
    """
    rows = (np.eye(len(q), k=1) - np.eye(len(q)))[first:-1] / width[:, None]
    steps = rows @ q
    return np.asarray(rows / np.sqrt(1 + steps**2)[:, None])


def _both_faces(q: Array, angle: Array, width: float) -> Array:
    """Rows that hold the lower rim to be rounded as the upper one is; seldom not (Cauchy)."""
    low = np.flatnonzero((angle > -1.55) & (angle < -0.5))
    rows = np.zeros((len(low), len(q)))
    rows[np.arange(len(low)), low] = 1 / width
    rows[np.arange(len(low)), len(q) - low] = -1 / width
    steps = rows @ q
    return np.asarray(rows / np.sqrt(1 + steps**2)[:, None])


def _rim(profile: Profile, q: Array, width: float | None) -> Array:
    """The row of the closing edge: half the last edge where the top is a dome.

    `width` None: it may be longer (a flat top), but not shorter.
    """
    row = profile.by_r[-1].copy()
    row[-1] -= 0.5
    if width is None:
        short = profile.r[-1] - q[-1] / 2 < 0
        return np.asarray(row[None] * (100.0 if short else 0.0))
    return np.asarray(row[None] / width)


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

    def start(self) -> Array:
        """A low dome."""
        reach = float(np.interp(self.level_mm, self.heights_mm, self.radii_mm))
        edges = np.where(self.theta > 1.1, 1.0, 0.02)
        edges *= 0.9 * reach / np.sum(edges * np.sin(self.theta))
        return np.asarray(np.r_[self.level_mm, edges])

    def at(self, q: Array) -> Profile:
        """The rings for free numbers `q`: the jar's bottom, the line, the dome."""
        level, edges, angle = max(float(q[0]), 0.1), q[1:], self.theta
        foot = float(self.radii_mm[0])
        line = float(np.interp(level, self.heights_mm, self.radii_mm))
        steep = (float(np.interp(level + 0.5, self.heights_mm, self.radii_mm)) - line) / 0.5
        n = len(edges)
        by_r, by_h = np.zeros((n + 2, n + 1)), np.zeros((n + 2, n + 1))
        by_r[1:, 0], by_h[1:, 0] = steep, 1.0
        by_r[2:, 1:] = np.tri(n) * -np.sin(angle)
        by_h[2:, 1:] = np.tri(n) * np.cos(angle)
        r = np.r_[foot, line, line + by_r[2:, 1:] @ edges]
        h = np.r_[0.0, level, level + by_h[2:, 1:] @ edges]
        wall = math.atan2(foot - line, level)
        low = np.r_[-math.pi / 2, wall, angle]
        high = np.r_[wall, max(angle[0], wall), angle[1:], math.pi / 2]
        return Profile(r, h, low, high, by_r, by_h)

    def known(self, q: Array, seen: tuple[float, float]) -> Known:
        """As for a round profile, by what each edge turns; the top may be level but not a hole."""
        n, profile = len(q), self.at(q)
        turns = np.r_[1.0, np.gradient(self.theta)]
        reach = float(profile.r[1])
        width = WALK * reach * np.sqrt(np.diff(self.theta) / math.radians(STEP_DEG))
        walk = _alike(q / turns, width, 1) / turns
        rim = _rim(profile, q, None)
        offset = rim[0] @ q - (profile.r[-1] - q[-1] / 2) * 100.0 if rim.any() else 0.0
        loose = np.eye(n)[1:] / (30 * reach * turns[1:, None])
        rows = np.vstack([walk, rim, loose])
        aims = np.zeros(len(rows))
        aims[len(walk)] = offset
        return Known(rows, aims, np.zeros(n))
