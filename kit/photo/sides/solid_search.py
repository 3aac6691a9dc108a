"""The search for the solid whose silhouette is nearest an outline.

Least squares of the outline's distances to the silhouette with bounded influence (Cauchy
weights), what is known of camera, reference and profile entering as beliefs with their standard
deviations: Gauss-Newton steps with Levenberg's damping. Method: Björck 1996, "Numerical Methods
for Least Squares Problems", chapters 4.5 and 9 (from memory).
"""

import math
from collections.abc import Iterator
from copy import copy
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from kit.photo.sides.jar import JarProfile
from kit.photo.sides.solid import Contour, Profile, Stand, contour
from kit.photo.sides.solid_profile import Known, RoundProfile

__all__ = ["PLACE", "SHARED", "TOGETHER", "Beliefs", "Problem", "afresh", "search"]

Array = NDArray[np.float64]
Whole = NDArray[np.intp]

#: names of what is shared by all photos of one camera and reference, in this order
SHARED = ("tilt", "roll", "plane", "lens", "marking")
PLACE = len(SHARED) + 2
#: radians: a tilt less sure than this is tried at so many values (own choice)
HARDLY_KNOWN, TILTS_TRIED = math.radians(2), 11
#: a step that gains less than this share ends the search
GAIN = 1e-4
#: a step that gains nothing is shortened, then damped (Marquardt): dampings and their shares
TRIED = ((0.0, (1.0, 0.5, 0.2, 0.05)), (0.1, (1.0,)), (10.0, (1.0,)))
#: neighbours that err together, while the shape is sought
TOGETHER = 8.0


@dataclass(frozen=True)
class Beliefs:
    """Standard deviations of what the photo's reference says, and what tilt to expect.

    Parameters
    ----------
    tilt, roll : float
        Radians: nodding and leaning of the axis against the reference.
    plane_mm : float
        Of the offset.
    lens : float
        Relative, of the focal length.
    marking_px : float
        A bias all along the outline (blur, a halo, where an edge is said to be).
    expected_tilt : float
        Radians; other than 0 where the reference does not tell how high the camera was.
    across_mm : float
        Of where the foot was said to be, left to right.
    tilt_by_lens : float
        Radians of tilt to the focal length's logarithm; `tilt` is what is left then.
    """

    tilt: float
    roll: float
    plane_mm: float
    lens: float
    marking_px: float
    expected_tilt: float = 0.0
    across_mm: float = math.inf
    tilt_by_lens: float = 0.0

    @property
    def floor_px(self) -> float:
        """Noise is taken no smaller: halo and shading shift an edge along stretches, too."""
        return max(0.05, 0.7 * self.marking_px)


class Problem:
    """Residuals and slopes at a point x = (a, b, tilt, roll, plane, lens, marking, profile…)."""

    def __init__(
        self,
        points_px: Array,
        spread: Array,
        stand: Stand,
        shape: RoundProfile | JarProfile,
        beliefs: Beliefs,
        start: tuple[float, float] = (0.0, 0.0),
    ) -> None:
        self.rays = stand.camera.rays(points_px)
        self.spread, self.stand, self.shape = spread, stand, shape
        self.floor, self.tilt_by_lens = beliefs.floor_px, beliefs.tilt_by_lens
        shared = (beliefs.tilt, beliefs.roll, beliefs.plane_mm, beliefs.lens, beliefs.marking_px)
        self.sd = np.maximum((beliefs.across_mm, math.inf, *shared), 1e-9)
        self.mean = np.array([*start, beliefs.expected_tilt, 0.0, 0.0, 0.0, 0.0])

    def at_tilts(self) -> "list[Problem]":
        """The same at tilts held near one another, where the tilt is hardly known.

        Shape and tilt together make a narrow valley with many dips; shape alone does not.
        """
        if self.sd[2] < HARDLY_KNOWN:
            return [self]
        out = []
        for tilt in self.mean[2] + self.sd[2] * np.linspace(-2, 2, TILTS_TRIED):
            held = copy(self)
            held.mean, held.sd = self.mean.copy(), self.sd.copy()
            held.mean[2], held.sd[2] = tilt, HARDLY_KNOWN / 10
            out.append(held)
        return out

    def holding(self, x: Array) -> "Problem | None":
        """The same with what of the profile makes dips held near a start, if anything does."""
        shape = self.shape.holding(x[PLACE:])
        if shape is None:
            return None
        held = copy(self)
        held.shape = shape
        return held

    def seen(self, x: Array, profile: Profile) -> tuple[Contour, Stand, Array]:
        """The silhouette, the stand as turned and the foot."""
        stand = self.stand.turned(*x[2:6])
        foot = stand.foot(x[0], x[1])
        return contour(profile, stand, foot), stand, foot

    def distance(self, x: Array, profile: Profile) -> tuple[Array, Contour, Whole, Stand]:
        """How far outside the silhouette each point is, in pixels, and which line says so."""
        around, stand, _ = self.seen(x, profile)
        if not len(around.points):  # wandered off to where no line of sight touches it
            return np.full(len(self.rays), np.inf), around, np.zeros(len(self.rays), int), stand
        longer = math.exp(x[5])
        off = (self.rays / (longer, longer, 1.0)) @ around.lines().T
        return off.max(1) * stand.camera.focal_px - x[6], around, off.argmax(1), stand

    def slopes(self, x: Array, now: tuple[Array, Contour, Whole, Stand]) -> Array:
        """Of the distances, in closed form."""
        res, around, nearest, stand = now
        normal, point = around.normals[nearest], around.points[nearest]
        normal = normal / np.hypot(normal[:, 0], normal[:, 1])[:, None]
        # the touching plane goes with its point: a point moved by v moves it by n·v
        per = -stand.camera.focal_px / point[:, 2]
        arm = point - stand.pivot
        out = np.empty((len(res), len(x)))
        out[:, 0] = per * (normal @ stand.across)
        out[:, 1] = per * (normal @ stand.along)
        turn = np.cross(arm, normal)  # n·(axis × arm) is the axis along this
        out[:, 2] = per * (turn @ self.stand.nod)
        out[:, 3] = per * (turn @ self.stand.sight)
        out[:, 4] = per * (normal @ stand.toward)
        out[:, 5] = normal[:, 2] * (stand.camera.focal_px + per * stand.pivot[2])
        out[:, 6] = -1.0
        ring, theta = around.ring[nearest], around.theta[nearest]
        flat = np.hypot(around.normals[nearest, 0], around.normals[nearest, 1])
        by_r, by_h = self.shape.moves(x[PLACE:])
        out[:, PLACE:] = (per / flat * np.cos(theta))[:, None] * by_r[ring]
        out[:, PLACE:] += (per / flat * np.sin(theta))[:, None] * by_h[ring]
        return out

    def known(self, x: Array) -> Known:
        """Beliefs about everything, near `x`."""
        own = self.shape.known(x[PLACE:])
        rows = np.zeros((PLACE + len(own.rows), len(x)))
        rows[:PLACE, :PLACE] = np.diag(1 / self.sd)
        rows[2, 5] = -self.tilt_by_lens / self.sd[2]
        rows[PLACE:, PLACE:] = own.rows
        return Known(rows, np.r_[self.mean / self.sd, own.aims])

    def noise(self, x: Array) -> float:
        """How far off the outline's points are at `x`, in pixels."""
        return _noise_of(self.distance(x, self.shape.at(x[PLACE:]))[0], self.spread, self.floor)

    def weights(self, res: Array, noise: float) -> Array:
        """Cauchy's; 2.385 gives 95 % efficiency on normal noise (Holland and Welsch 1977)."""
        return np.asarray(1 / (1 + (res / (2.385 * noise * self.spread)) ** 2))

    def looks_down_deg(self, x: Array) -> float:
        """How far the line of sight to the foot looks down."""
        stand = self.stand.turned(*x[2:6])
        foot = stand.foot(x[0], x[1])
        return math.degrees(math.asin(-float(foot @ stand.up / np.linalg.norm(foot))))

    def cost(self, x: Array, noise: float | None = None) -> float:
        """Twice the minus log likelihood of `x`, with the least noise there may be or `noise`."""
        res = self.distance(x, self.shape.at(x[PLACE:]))[0]
        each = _cost_of(res, self.spread, noise or self.floor)
        return each + self.known(x).cost(x) + self.shape.fee

    def told(self, x: Array) -> bool:
        """Whether `x` is as near the points as edges are taken to err."""
        return self.cost(x) < len(self.rays) / TOGETHER


def afresh(problem: Problem, steps: int, first: int | None = None) -> Array:
    """From each start (or the `first` of them) a few steps; from the best of them on.

    Where none ends as near as edges err, also from the starts that are held at first. A piece
    whose tilt is known is not begun again once one does.
    """
    starts = [
        (at_tilt, np.r_[at_tilt.mean, own])
        for at_tilt, own in product(problem.at_tilts(), problem.shape.starts()[:first])
    ]
    enough = problem.sd[2] < HARDLY_KNOWN and not problem.shape.many_dips
    near, told = [], False
    for at_tilt, x in starts:
        if not (told and enough):
            near.append(search(at_tilt, x, 8))
            told = told or problem.told(near[-1])
    if not told:
        near += [search(held, x, 8) for one, x in starts if (held := one.holding(x)) is not None]
    return search(problem, min(near, key=problem.cost), steps, 1)


def search(problem: Problem, x: Array, steps: int, least: int = 5) -> Array:
    """Go on from `x`, downhill, between `least` and `steps` steps."""
    shape, spread, floor = problem.shape, problem.spread, problem.floor
    now = problem.distance(x, shape.at(x[PLACE:]))
    for i in range(steps if np.isfinite(now[0]).all() else 0):
        # far off at first: the outline's whole misfit; then only its jitter, or a wrong shape
        # would pass for noise
        jitter = _jitter_of(now[0], spread, floor)
        noise = max(jitter, 0.5**i * _noise_of(now[0], spread, floor))
        weight = problem.weights(now[0], noise) / (noise * spread) ** 2 / TOGETHER
        known, slopes = problem.known(x), problem.slopes(x, now)
        old = _cost_of(now[0], spread, noise) + known.cost(x)
        # nothing to be gained any more is not tried
        least_gain = GAIN * old if noise == jitter else 0.0
        for after in _steps(slopes, weight, now[0], known, x, least_gain):
            new = problem.distance(after, shape.at(after[PLACE:]))
            gained = old - _cost_of(new[0], spread, noise) - known.cost(after)
            if gained > 0:
                break
        else:
            break
        x, now = after, new
        if gained < GAIN * old and i >= least:
            break
    return x


def _steps(
    slopes: Array, weight: Array, res: Array, known: Known, x: Array, least_gain: float
) -> Iterator[Array]:
    """Where to go from `x`: the bolder first; nowhere if that should gain less than so much."""
    bend = (slopes.T * weight) @ slopes + known.rows.T @ known.rows
    pull = slopes.T @ (weight * (slopes @ x - res)) + known.rows.T @ known.aims
    for damping, shares in TRIED:
        stay = damping * np.diag(bend)
        aim = _least(bend + np.diag(stay), pull + stay * x)
        if not damping and (aim - x) @ (2 * pull - bend @ (aim + x)) < least_gain:
            return
        for share in shares:
            yield x + share * (aim - x)


def _least(bend: Array, pull: Array) -> Array:
    """The least-squares point with no negative profile number (Lawson and Hanson's NNLS)."""
    from scipy.optimize import nnls

    # place and camera may be negative: shifted so far that they never touch zero
    shift = np.r_[np.full(PLACE, 1e4), np.zeros(len(pull) - PLACE)]
    told = np.diag(bend)
    size = 1 / np.sqrt(np.where(told > 0, told, 1.0))  # of a number nothing tells of, none
    lower = np.linalg.cholesky(bend * np.outer(size, size) + 1e-10 * np.eye(len(pull)))
    aim = lower.T @ (shift / size) + np.linalg.solve(lower, pull * size)
    return np.asarray(nnls(lower.T, aim, maxiter=20 * len(pull))[0] * size - shift)


def _noise_of(res: Array, spread: Array, floor: float) -> float:
    """From the residuals' size, 1.4826 times their median (normal noise)."""
    return max(float(np.median(np.abs(res / spread))) * 1.4826, floor)


def _jitter_of(res: Array, spread: Array, floor: float) -> float:
    """From how much neighbours differ: says the noise before the shape is found."""
    apart = np.abs(np.diff(res / spread))
    return max(float(np.median(apart)) * 1.4826 / math.sqrt(2), floor)


def _cost_of(res: Array, spread: Array, noise: float) -> float:
    """Twice the minus log likelihood of residuals with Cauchy's heavy tails."""
    scaled = (res / (2.385 * noise * spread)) ** 2
    return float(2.385**2 * np.log1p(scaled).sum() / TOGETHER)
