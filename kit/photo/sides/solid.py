"""A solid of revolution with a rounded profile, and its silhouette through a camera.

The profile is a chain of short straight edges that nowhere caves in, so the solid lies on one
side of each of its tangent planes. A tangent plane with outward normal n at the point P is seen
edge-on where n·P = 0 (P from the lens); on a ring of radius r at height h that gives the place ψ
around the axis in closed form:

    cos ψ = −(r + (h + b) tan θ) / D,   n = (cos θ · e(ψ), sin θ)

with D and b how far the lens is from the axis and below the foot of the solid. The silhouette is
where these planes meet the picture, and a point of the picture is outside by the largest
distance to any of their lines. Elementary geometry of convex bodies; own derivation.
"""

import math
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from kit.photo.camera import Camera
from kit.photo.references.plane_fit import turned

__all__ = ["Contour", "Profile", "Solid", "Stand", "contour"]

Array = NDArray[np.float64]
Whole = NDArray[np.intp]

#: how far apart silhouette points lie on one ring, degrees around the axis
AROUND_DEG = 3.0


@dataclass(frozen=True)
class Solid:
    """A solid of revolution as a chain of cone frustums.

    Parameters
    ----------
    r, h : (k,) arrays
        Radius and height above the foot, in millimetres, from the foot up.

    Examples
    --------
    A cylinder 80 mm wide and 40 mm high holds 201 ml.

    >>> can = Solid(np.array([0.0, 40, 40, 0]), np.array([0.0, 0, 40, 40]))
    >>> can.height_mm, can.diameter_mm, round(can.volume_ml, 2)
    (40.0, 80.0, 201.06)
    """

    r: Array
    h: Array

    @property
    def height_mm(self) -> float:
        """From the foot to the top."""
        return float(self.h[-1])

    @property
    def diameter_mm(self) -> float:
        """Where it is widest."""
        return float(2 * self.r.max())

    @property
    def volume_ml(self) -> float:
        """Sum of the frustums."""
        a, b = self.r[:-1], self.r[1:]
        return float(math.pi / 3 * np.sum(np.diff(self.h) * (a * a + a * b + b * b)) / 1000)

    def volume_slopes(self) -> tuple[Array, Array]:
        """How fast the volume (ml) grows with each radius and each height (mm)."""
        a, b, step = self.r[:-1], self.r[1:], np.diff(self.h)
        area = a * a + a * b + b * b
        by_r, by_h = np.zeros_like(self.r), np.zeros_like(self.h)
        by_r[:-1] += step * (2 * a + b)
        by_r[1:] += step * (a + 2 * b)
        by_h[1:] += area
        by_h[:-1] -= area
        return by_r * math.pi / 3000, by_h * math.pi / 3000


@dataclass(frozen=True)
class Stand:
    """Where a solid may stand before the camera: its foot in a plane, its axis upright.

    Parameters
    ----------
    camera : Camera
    origin : (3,) array
        A point of the plane the foot lies in, in camera millimetres.
    across, along : (3,) arrays
        Unit directions of that plane: left to right, and the other one.
    toward : (3,) array
        Unit normal of the plane, the way `offset_mm` counts.
    up : (3,) array
        Unit direction of the axis.
    pivot : (3,) array
        The point the plane is turned about when its tilt is changed (the reference's origin).
    """

    camera: Camera
    origin: Array
    across: Array
    along: Array
    toward: Array
    up: Array
    pivot: Array

    @cached_property
    def sight(self) -> Array:
        """Unit line of sight to the pivot: what the stand leans about."""
        return np.asarray(self.pivot / np.linalg.norm(self.pivot))

    @cached_property
    def nod(self) -> Array:
        """Unit vector across the line of sight, level: what the stand nods about."""
        level = np.cross(self.up, self.sight)
        return np.asarray(level / np.linalg.norm(level))

    def foot(self, a: float, b: float) -> Array:
        """The point of the plane at `a`, `b` millimetres, in camera millimetres."""
        return self.origin + a * self.across + b * self.along

    def turned(self, tilt: float, roll: float, offset_mm: float, focal: float) -> "Stand":
        """Return the stand with its plane tipped, rolled (radians), moved and the lens changed.

        `focal` is a change of the focal length's logarithm; the reference keeps its place and size
        in the picture, so that only distances along the line of sight change.
        """
        longer = math.exp(focal)
        turn = turned(self.nod * tilt) @ turned(self.sight * roll)
        camera = replace(self.camera, focal_px=self.camera.focal_px * longer)
        stretch = np.array([1.0, 1.0, longer])
        toward = turn @ self.toward
        origin = turn @ (self.origin - self.pivot) + self.pivot * stretch
        return Stand(
            camera, origin + offset_mm * toward, turn @ self.across, turn @ self.along, toward,
            turn @ self.up, self.pivot * stretch,
        )  # fmt: skip


@dataclass(frozen=True)
class Profile:
    """Rings of a profile: where they are, and how the surface turns at each.

    Parameters
    ----------
    r, h : (k,) arrays
        Of the rings, from the foot up; the last is the rim of a flat top, if any.
    low, high : (k,) arrays
        Between these angles (radians) the surface's normal turns at each ring.
    """

    r: Array
    h: Array
    low: Array
    high: Array

    @property
    def solid(self) -> Solid:
        """The solid, closed at foot and top."""
        return Solid(np.r_[0.0, self.r, 0.0], np.r_[0.0, self.h, self.h[-1]])


@dataclass(frozen=True)
class Contour:
    """Where the camera's line of sight just touches a solid, once round.

    Parameters
    ----------
    points : (m, 3) array
        In camera millimetres.
    normals : (m, 3) array
        Outward unit normals; each is square to its point's line of sight.
    ring : (m,) array
        Which ring of the profile.
    theta : (m,) array
        Angle of the normal over the horizontal, radians.
    """

    points: Array
    normals: Array
    ring: Whole
    theta: Array

    def lines(self) -> Array:
        """Lines (m, 3) in the picture, in focal lengths: n·(x, y, 1) is how far outside."""
        flat = np.hypot(self.normals[:, 0], self.normals[:, 1])
        return np.asarray(self.normals / flat[:, None])


def contour(profile: Profile, stand: Stand, foot: Array) -> Contour:
    """Return the contour of a solid standing at `foot` (camera millimetres).

    The points run from the front of the foot up the right side to the back of the top, then
    down the left side.
    """
    up = stand.up
    below = float(foot @ up)
    away = foot - below * up
    distance = float(np.linalg.norm(away))
    away = away / distance
    side = np.cross(up, away)
    if side @ stand.across < 0:
        side = -side
    tall = profile.h + below
    with np.errstate(over="ignore"):
        first = -(profile.r + tall * np.tan(np.maximum(profile.low, -1.5707))) / distance
        last = -(profile.r + tall * np.tan(np.minimum(profile.high, 1.5707))) / distance
    start, end = np.arccos(np.clip(first, -1, 1)), np.arccos(np.clip(last, -1, 1))
    many = 2 + np.ceil(np.abs(end - start) / math.radians(AROUND_DEG)).astype(int)
    many[(start == end) & ((start == 0) | (start == math.pi))] = 0
    ring = np.repeat(np.arange(len(many)), many)
    place = np.arange(len(ring)) - np.repeat(np.cumsum(many) - many, many)
    psi = start[ring] + (end - start)[ring] * place / (many[ring] - 1)
    lift = tall[ring]
    lift = np.where(np.abs(lift) < 1e-9, 1e-9, lift)
    theta = np.arctan(-(distance * np.cos(psi) + profile.r[ring]) / lift)
    # where the ring is level with the lens the angle is not told by ψ: take it from the edges
    theta = np.clip(theta, profile.low[ring], profile.high[ring])
    ring, theta = np.r_[ring, ring[::-1]], np.r_[theta, theta[::-1]]
    psi = np.r_[psi, -psi[::-1]]
    c, s, r, flat = np.cos(psi), np.sin(psi), profile.r[ring], np.cos(theta)
    axes = np.stack([away, side, up])
    points = foot + np.column_stack([r * c, r * s, profile.h[ring]]) @ axes
    normals = np.column_stack([flat * c, flat * s, np.sin(theta)]) @ axes
    return Contour(points, normals, ring, theta)
