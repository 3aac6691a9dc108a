"""The profile of a ball of dough or a griddled piece, told by eleven numbers.

Few enough that what the camera sees decides what it cannot see: from above the worktop the middle
of foot and top lie out of sight, and go on as the rims round them begin. Wide enough for caps,
ellipsoids, superellipses, discs with rounded rims and barrels; what none of these is, shows as
misfit and widens the uncertainty. The outline of the sum of convex bodies is the sum of their
outlines, point by point of the same normal (Minkowski; Schneider 2014, "Convex Bodies", chapter
1.7, from memory): so flat, wall and rims are added.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from kit.photo.sides.solid import Profile

__all__ = ["Known", "RoundProfile", "moves", "rings"]

Array = NDArray[np.float64]

#: The eleven numbers, none negative, in radii (R), heights (H) or plain. Half the width; the wall
#: between the rims and how far it bulges; per rim its flat middle, its rise, and its power less
#: one: 1 an ellipse, 3 a superellipse of power 4 (the lower rim's rise: a share of the upper's,
#: less `LEAST_RISE`); how the wall leans, radii growing by the taper less 1 for each millimetre up;
#: and how much of the lower rim's rise the worktop cuts off, more than 1 where it is wider than
#: anything above.
NUMBERS = ("radius", "wall", "bulge", "top_flat", "top_rise", "top_power",
           "foot_flat", "foot_rise", "foot_power", "taper", "cut")  # fmt: skip
_PER = "RHHRH1R1111"
#: what is believed before looking, mean and standard deviation (own choices): a ball of dough is
#: nearly an ellipsoid, cut off by the worktop or slumped flat on it; a piece was griddled on both
#: faces and is cut off by nothing, its wall within about 1° of upright
BELIEVED = {
    "ball": ((1.0, 0.0, 0.0, 0.0, 0.6, 1.0, 0.1, 0.6, 1.0, 1.0, 0.2),
             (3.0, 0.05, 0.003, 0.03, 3.0, 0.4, 0.4, 0.3, 0.4, 0.003, 0.5)),
    "piece": ((1.0, 0.0, 0.0, 0.0, 0.45, 1.3, 0.0, 0.6, 1.3, 1.0, 0.0),
              (3.0, 0.5, 0.07, 0.5, 1.0, 1.5, 0.5, 1.0, 1.5, 0.02, 0.01)),
}  # fmt: skip
#: where to begin looking: what differs from the mean believed
STARTS: dict[str, tuple[dict[str, float], ...]] = {
    "ball": ({"cut": 0.2}, {"cut": 0.7}, {"cut": 1.2}, {"cut": 1.5}),
    "piece": ({"top_flat": 0.1, "foot_flat": 0.1}, {"top_flat": 0.6, "foot_flat": 0.6}),
}
#: how near its start the cut of a low cap is held at first: seen from above, cut and rise together
#: make a valley with dips
HELD = 0.03
#: how alike the two faces of a piece are, flats in R and powers; seldom not (Cauchy)
ALIKE = (0.1, 0.25)
#: what is measured as a piece is seldom cut off by the worktop as a ball of dough is (a bun, a
#: scone): it is taken for one where that tells what is seen so much better, in minus twice the
#: log likelihood: odds of three to one against it (own choice)
SELDOM_CUT = 2.2
LEAST_RISE = 0.4
#: none of the numbers is taken smaller
LEAST = (1, 1e-3, 0, 0, 0.2, 0, 0, 0, 0, 0.5, 0)
#: radians a wall's normal turns at most
MOST_BULGED = 0.6
#: angles of the normals the profile is drawn at, from level to upright: closer where a rim ends
_ANGLES = np.radians(
    np.r_[0:4:1.0, 4:60:4.0, 60:84:2.0, 84:90.1:0.75]
)  # fmt: skip
_LOG_TAN = np.r_[-np.inf, np.log(np.tan(_ANGLES[1:]))]


@dataclass(frozen=True)
class Known:
    """What is known of a profile beforehand: ½|rows·q − aims|² in minus log likelihood.

    Parameters
    ----------
    rows : (k, q) array
    aims : (k,) array
    """

    rows: Array
    aims: Array

    def cost(self, q: Array) -> float:
        """Twice the minus log likelihood of `q`."""
        off = self.rows @ q - self.aims
        return float(off @ off)


@dataclass(frozen=True)
class RoundProfile:
    """A ball or a piece: flat foot, two rims, a wall between, a flat or domed top.

    Parameters
    ----------
    radius_mm, height_mm : float
        About how large; the beliefs go by them.
    domed : bool
        A ball of dough; else a griddled piece.
    fee : float
        How seldom it is of this kind, in minus twice the log likelihood.
    held : float, optional
        The cut is held near this (`holding`).
    """

    radius_mm: float
    height_mm: float
    domed: bool
    fee: float = 0.0
    held: float | None = None

    @property
    def rival(self) -> "RoundProfile | None":
        """What else a piece may be, to be tried where this one does not fit."""
        if self.domed and not self.fee:
            return None  # a ball
        return replace(self, domed=not self.domed, fee=SELDOM_CUT - self.fee)

    @property
    def many_dips(self) -> bool:
        """Whether a search may end as near the outline elsewhere."""
        return self.domed

    @property
    def _kind(self) -> str:
        return "ball" if self.domed else "piece"

    @cached_property
    def _size(self) -> Array:
        size = {"R": self.radius_mm, "H": self.height_mm, "1": 1.0}
        return np.array([size[per] for per in _PER])

    def starts(self) -> list[Array]:
        """Where to begin looking: the shapes that are easily taken for one another."""
        mean = dict(zip(NUMBERS, BELIEVED[self._kind][0], strict=True))
        mean |= {"wall": 0.1, "bulge": 0.01, "cut": 0.02}
        out = [np.array(list((mean | own).values())) * self._size for own in STARTS[self._kind]]
        for q in out if self.domed else []:  # as high as it is seen to be, however cut
            q[NUMBERS.index("top_rise")] = max(self.height_mm / (2 - q[-1]), 0.3 * self.radius_mm)
        return out

    def holding(self, own: Array) -> "RoundProfile | None":
        """The same with the cut held near that of a start, where that is a low cap."""
        return replace(self, held=float(own[-1])) if own[-1] > 1 else None

    def points(self, q: Array) -> tuple[Array, Array]:
        """Radii and heights from foot to top, (..., k), for numbers `q` (..., 11)."""
        radius, wall, bulge, flat, rise, power, foot_flat, share, foot_power, taper, cut = (
            np.moveaxis(np.maximum(q, LEAST)[..., None], -2, 0)
        )
        drop = (LEAST_RISE + share) * rise
        width = np.maximum(radius - np.stack([flat, foot_flat]), 0.02 * radius)
        top, foot = np.moveaxis(
            _rim(width, np.stack([rise, drop]), np.stack([power, foot_power])), 1, 0
        )
        # an arc as high as the wall that bulges by so much spans the normals up to this angle
        curved = np.clip(2 * np.arctan(2 * bulge / wall), 1e-6, MOST_BULGED)
        turn = np.minimum(_ANGLES, curved)
        arc = wall / 2 / np.sin(curved)
        out, up = arc * (np.cos(turn) - 1), arc * np.sin(turn)
        low = (radius - width[1] + foot[0] + out)[..., ::-1]
        high = radius - width[0] + top[0] + out
        r = np.concatenate([low, high], -1)
        h = np.concatenate([(wall / 2 - up - foot[1])[..., ::-1], wall / 2 + up + top[1]], -1)
        r = r * (1 + (taper - 1) * (h - wall / 2) / self.radius_mm)
        worktop = np.where(
            cut <= 1, -drop * (1 - cut), wall + rise * np.minimum(cut - 1, 0.95)
        )  # fmt: skip
        return _cut_off(r, h, worktop)

    def at(self, q: Array) -> Profile:
        """The rings for numbers `q`."""
        return rings(*self.points(q))

    def moves(self, q: Array) -> tuple[Array, Array]:
        """How fast each ring's radius and height go with each number, (k, 11) each."""
        return moves(self.points, q, 1e-4 * self._size)

    def known(self, q: Array) -> Known:
        """What is believed, near `q`: the size of each number; a piece's two faces alike."""
        mean, sd = np.array(BELIEVED[self._kind]) * self._size
        if self.held is not None:
            mean[-1], sd[-1] = self.held, HELD
        rows, aims = np.diag(1 / sd), mean / sd
        if not self.domed:
            alike = np.zeros((2, len(NUMBERS)))
            for row, (name, width) in zip(
                alike, (("flat", ALIKE[0] * self.radius_mm), ("power", ALIKE[1])), strict=True
            ):
                row[NUMBERS.index(f"top_{name}")] = 1 / width
                row[NUMBERS.index(f"foot_{name}")] = -1 / width
            alike /= np.sqrt(1 + (alike @ q) ** 2)[:, None]
            rows, aims = np.vstack([rows, alike]), np.r_[aims, 0.0, 0.0]
        return Known(rows, aims)


def rings(r: Array, h: Array) -> Profile:
    """The profile through rings at radii `r` and heights `h`, from the foot up, not caving in."""
    across, along = np.diff(r), np.diff(h)
    turned = np.where(np.hypot(across, along) > 1e-9, np.arctan2(-across, along), -np.pi / 2)
    turned = np.clip(np.maximum.accumulate(turned), -np.pi / 2, np.pi / 2)
    return Profile(r, h, np.r_[-np.pi / 2, turned], np.r_[turned, np.pi / 2])


def moves(
    points: Callable[[Array], tuple[Array, Array]], q: Array, step: Array
) -> tuple[Array, Array]:
    """How fast rings' radii and heights go with each number, (k, q) each, by small steps."""
    r, h = points(np.vstack([q, q + np.diag(step)]))
    return ((r[1:] - r[0]) / step[:, None]).T, ((h[1:] - h[0]) / step[:, None]).T


def _rim(width: Array, rise: Array, power: Array) -> Array:
    """A quarter of a superellipse, (x/width)^p + (z/rise)^p = 1, at the normals `_ANGLES`.

    Its x and z, (2, ...). By logarithms, which take the fewest powers.
    """
    p = 1 + np.clip(power, 0.15, 25)
    steep = p / (p - 1) * (_LOG_TAN + np.log(rise / width))
    both = np.logaddexp(0.0, steep)
    return np.stack([width * np.exp(-both / p), rise * np.exp((steep - both) / p)])


def _cut_off(r: Array, h: Array, worktop: Array) -> tuple[Array, Array]:
    """What lies below the worktop is put where the profile meets it; heights count from there."""
    below = h < worktop
    first = np.clip((~below).argmax(-1), 1, h.shape[-1] - 1)[..., None]
    h0, h1 = (np.take_along_axis(h, first - i, -1) for i in (1, 0))
    r0, r1 = (np.take_along_axis(r, first - i, -1) for i in (1, 0))
    met = r0 + (r1 - r0) * (worktop - h0) / np.maximum(h1 - h0, 1e-9)
    return np.where(below, met, r), np.where(below, worktop, h) - worktop
