"""Fit a solid of revolution, through a calibrated camera, to its outline in a photo.

Least squares of the outline's distances to the silhouette with bounded influence (Cauchy
weights), what is known of camera, reference and profile entering as beliefs with their standard
deviations: Gauss-Newton steps with Levenberg's damping. The covariance is the curvature's inverse
at the end (first order), with noise taken as large and as long as the residuals are along the
outline. Method: Björck 1996, "Numerical Methods for Least Squares Problems", chapters 4.5 and 9
(from memory).
"""

import math
from collections.abc import Iterator, Mapping
from copy import copy
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from kit.errors import DataError
from kit.photo.jar_profile import JarProfile
from kit.photo.misfit import (
    TOGETHER,
    cost_of,
    jitter_of,
    near_rms,
    no_surer,
    noise_of,
    run_length,
    weights_of,
)  # fmt: skip
from kit.photo.solid import Contour, Profile, Solid, Stand, contour
from kit.photo.solid_profile import Known, RoundProfile

__all__ = ["Beliefs", "SolidFit", "fit_solid"]

Array = NDArray[np.float64]
Whole = NDArray[np.intp]

#: names of what is shared by all photos of one camera and reference, in this order
SHARED = ("tilt", "roll", "plane", "lens", "marking")
_PLACE = len(SHARED) + 2
#: radians: a tilt less sure than this is tried at so many values (own choice)
HARDLY_KNOWN, TILTS_TRIED = math.radians(2), 11
#: a step that gains nothing is shortened, then damped (Marquardt): dampings and their shares
TRIED = ((0.0, (1.0, 0.5, 0.2, 0.05)), (0.1, (1.0,)), (10.0, (1.0,)))


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


@dataclass(frozen=True)
class SolidFit:
    """A fitted solid, where it stands, and how sure all of it is.

    Parameters
    ----------
    solid : Solid
    stand : Stand
        As fitted.
    foot : (3,) array
        Centre of the foot, camera millimetres.
    elevation_deg : float
        How far the line of sight to the foot looks down.
    residual_px : (n,) array
        Of the outline points, outward positive.
    weight : (n,) array
        Between 0 and 1: how much each point counted.
    noise_px : float
        Standard deviation of a point along its normal, from the residuals.
    length : float
        How many neighbouring points err together.
    drawn : (m, 2) array
        The silhouette in pixels, once round.
    height, diameter, volume, level : tuple of float and mapping
        Value and what its standard uncertainty is made of (signed), in mm, mm, ml, mm: shared
        parts by name and "fit". Level: the dough's line on a jar's wall (NaN otherwise).
    shape : RoundProfile or JarProfile
        The kind of solid that fitted.
    found : (q,) array
        Foot, camera's changes and the profile's free numbers, to go on from.
    """

    solid: Solid
    stand: Stand
    foot: Array
    elevation_deg: float
    residual_px: Array
    weight: Array
    noise_px: float
    length: float
    drawn: Array
    height: tuple[float, Mapping[str, float]]
    diameter: tuple[float, Mapping[str, float]]
    volume: tuple[float, Mapping[str, float]]
    level: tuple[float, Mapping[str, float]]
    shape: RoundProfile | JarProfile
    found: Array

    @property
    def misfit_px(self) -> float:
        """Root mean square of the residuals, the farthest tenth left out."""
        return near_rms(self.residual_px)


class _Problem:
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

    def at_tilts(self) -> "list[_Problem]":
        """The same at tilts held near one another, where the tilt is hardly known.

        Shape and tilt together make a narrow valley with many dips; shape alone does not.
        """
        if self.sd[2] < HARDLY_KNOWN:
            return [self]
        tilts = self.mean[2] + self.sd[2] * np.linspace(-2, 2, TILTS_TRIED)
        out = []
        for tilt in tilts:
            held = copy(self)
            held.mean, held.sd = self.mean.copy(), self.sd.copy()
            held.mean[2], held.sd[2] = tilt, HARDLY_KNOWN / 10
            out.append(held)
        return out

    def seen(self, x: Array, profile: Profile) -> tuple[Contour, Stand, Array]:
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
        out[:, 2] = per * (normal * np.cross(self.stand.nod, arm)).sum(1)
        out[:, 3] = per * (normal * np.cross(self.stand.sight, arm)).sum(1)
        out[:, 4] = per * (normal @ stand.toward)
        out[:, 5] = normal[:, 2] * (stand.camera.focal_px + per * stand.pivot[2])
        out[:, 6] = -1.0
        ring, theta = around.ring[nearest], around.theta[nearest]
        flat = np.hypot(around.normals[nearest, 0], around.normals[nearest, 1])
        by_r, by_h = self.shape.moves(x[_PLACE:])
        out[:, _PLACE:] = (per / flat * np.cos(theta))[:, None] * by_r[ring]
        out[:, _PLACE:] += (per / flat * np.sin(theta))[:, None] * by_h[ring]
        return out

    def known(self, x: Array) -> Known:
        """Beliefs about everything, near `x`."""
        own = self.shape.known(x[_PLACE:])
        rows = np.zeros((_PLACE + len(own.rows), len(x)))
        rows[:_PLACE, :_PLACE] = np.diag(1 / self.sd)
        rows[2, 5] = -self.tilt_by_lens / self.sd[2]
        rows[_PLACE:, _PLACE:] = own.rows
        return Known(rows, np.r_[self.mean / self.sd, own.aims])

    def noise(self, x: Array) -> float:
        """How far off the outline's points are at `x`, in pixels."""
        return noise_of(self.distance(x, self.shape.at(x[_PLACE:]))[0], self.spread, self.floor)

    def cost(self, x: Array) -> float:
        """Twice the minus log likelihood of `x`, with the least noise there may be."""
        res = self.distance(x, self.shape.at(x[_PLACE:]))[0]
        return cost_of(res, self.spread, self.floor) + self.known(x).cost(x) + self.shape.fee

    def told(self, x: Array) -> bool:
        """Whether `x` is as near the points as edges are taken to err."""
        return self.cost(x) < len(self.rays) / TOGETHER


def fit_solid(
    points_px: Array,
    stand: Stand,
    shape: RoundProfile | JarProfile,
    beliefs: Beliefs,
    *,
    spread: Array | None = None,
    start: tuple[float, float] = (0.0, 0.0),
    before: "SolidFit | None" = None,
    steps: int = 25,
    thorough: bool = False,
) -> SolidFit:
    """Fit the solid to outline points.

    Parameters
    ----------
    points_px : (n, 2) array
        Outline points in order, full picture.
    stand : Stand
    shape : RoundProfile or JarProfile
    beliefs : Beliefs
    spread : (n,) array, optional
        Relative standard deviation of each point (1 for all).
    start : (float, float)
        About where the foot is: across and along the stand's plane, mm.
    before : SolidFit, optional
        An earlier fit of the same shape on the same stand, to go on from.
    steps : int
        At most so many.
    thorough : bool
        Begin anew as well where going on from `before` ends worse than edges err.

    Raises
    ------
    DataError
        The search wandered off: the outline is not that of such a solid before such a camera.
    """
    points = np.asarray(points_px, float)
    spread = np.ones(len(points)) if spread is None else np.asarray(spread, float)
    if before is not None and isinstance(shape, RoundProfile):
        # of the kind it was found to be; its size is believed as it is seen now
        kind = before.shape
        assert isinstance(kind, RoundProfile)
        shape = replace(shape, domed=kind.domed, fee=kind.fee)
    problem = _Problem(points, spread, stand, shape, beliefs, start)
    tried: list[tuple[_Problem, Array]] = []
    if before is not None:
        tried = [(problem, _search(problem, before.found.copy(), steps, 1))]
    if before is None or (thorough and problem.noise(tried[0][1]) > 2 * problem.floor):
        tried.append((problem, _afresh(problem, steps)))
    if (before is None or thorough) and shape.rival and not any(p.told(x) for p, x in tried):
        other = _Problem(points, spread, stand, shape.rival, beliefs, start)
        tried.append((other, _afresh(other, steps)))
    return _result(*min(tried, key=lambda one: one[0].cost(one[1])))


def _afresh(problem: _Problem, steps: int) -> Array:
    """From each start a few steps; from the best of them on."""
    near = [
        _search(at_tilt, np.r_[at_tilt.mean, own], 8)
        for at_tilt in problem.at_tilts() for own in problem.shape.starts()
    ]  # fmt: skip
    return _search(problem, min(near, key=problem.cost), steps, 1)


def _search(problem: _Problem, x: Array, steps: int, least: int = 5) -> Array:
    """Go on from `x`, downhill, between `least` and `steps` steps."""
    shape, spread, floor = problem.shape, problem.spread, problem.floor
    now = problem.distance(x, shape.at(x[_PLACE:]))
    for i in range(steps if np.isfinite(now[0]).all() else 0):
        # far off at first: the outline's whole misfit; then only its jitter, or a wrong shape
        # would pass for noise
        noise = max(jitter_of(now[0], spread, floor), 0.5**i * noise_of(now[0], spread, floor))
        weight = weights_of(now[0], spread, noise) / (noise * spread) ** 2 / TOGETHER
        known, slopes = problem.known(x), problem.slopes(x, now)
        old = cost_of(now[0], spread, noise) + known.cost(x)
        for after in _steps(slopes, weight, now[0], known, x):
            new = problem.distance(after, shape.at(after[_PLACE:]))
            gained = old - cost_of(new[0], spread, noise) - known.cost(after)
            if gained > 0:
                break
        else:
            break
        x, now = after, new
        if gained < 1e-4 * old and i >= least:
            break
    return x


def _steps(slopes: Array, weight: Array, res: Array, known: Known, x: Array) -> Iterator[Array]:
    """Where to go from `x`: the bolder first."""
    bend = (slopes.T * weight) @ slopes + known.rows.T @ known.rows
    pull = slopes.T @ (weight * (slopes @ x - res)) + known.rows.T @ known.aims
    for damping, shares in TRIED:
        stay = damping * np.diag(bend)
        aim = _least(bend + np.diag(stay), pull + stay * x)
        for share in shares:
            yield x + share * (aim - x)


def _least(bend: Array, pull: Array) -> Array:
    """The least-squares point with no negative profile number (Lawson and Hanson's NNLS)."""
    from scipy.linalg import solve_triangular
    from scipy.optimize import nnls

    # place and camera may be negative: shifted so far that they never touch zero
    shift = np.r_[np.full(_PLACE, 1e4), np.zeros(len(pull) - _PLACE)]
    size = 1 / np.sqrt(np.diag(bend))
    lower = np.linalg.cholesky(bend * np.outer(size, size) + 1e-10 * np.eye(len(pull)))
    aim = lower.T @ (shift / size) + solve_triangular(lower, pull * size, lower=True)
    return np.asarray(nnls(lower.T, aim, maxiter=20 * len(pull))[0] * size - shift)


def _result(problem: _Problem, x: Array) -> SolidFit:
    """Covariance and what each quantity's uncertainty is made of."""
    shape = problem.shape
    profile = shape.at(x[_PLACE:])
    around, stand, foot = problem.seen(x, profile)
    depth = foot @ np.array([0.0, 0.0, 1.0])
    seen = len(around.points) > 0 and (around.points[:, 2] > 0).all()
    if not (np.isfinite(x).all() and depth > 0 and seen):
        msg = (
            "the outline is not that of a round piece standing upright before this camera. "
            "Look whether the outline is right, and which way up the reference is"
        )
        raise DataError(msg)
    res, *_ = now = problem.distance(x, profile)
    slopes = problem.slopes(x, now)
    known = problem.known(x).rows
    noise = noise_of(res, problem.spread, problem.floor)
    length = max(run_length(res), TOGETHER)
    weight = weights_of(res, problem.spread, noise)
    # of normal noise the nearest nine tenths spread 0.79 of its standard deviation: more than that
    # tells of stretches where another edge was taken, and of those nearer ones one cannot see
    wide = max(noise, near_rms(res / problem.spread) / 0.79)
    sure = weight / (wide * problem.spread) ** 2 / length
    bend = (slopes.T * sure) @ slopes + known.T @ known
    # also of the numbers that ended at zero: a top found round may yet be flat
    cov = no_surer(np.linalg.inv(bend).astype(np.float64), 5, float(problem.sd[5]))
    solid = profile.solid
    widest = int(profile.r.argmax())
    (by_r, by_h), (rings_r, rings_h) = solid.volume_slopes(), shape.moves(x[_PLACE:])
    volume = by_r[1:-1] @ rings_r + by_h[1:-1] @ rings_h + by_h[-1] * rings_h[-1]
    none: Mapping[str, float] = {}
    parts = [_parts(cov, g) for g in (rings_h[-1], 2 * rings_r[widest], volume)]
    level: tuple[float, Mapping[str, float]] = (math.nan, none)
    if isinstance(shape, JarProfile):
        level = (float(x[_PLACE]), _parts(cov, np.eye(len(x) - _PLACE)[0]))
    sight = foot / np.linalg.norm(foot)
    return SolidFit(
        solid, stand, foot, math.degrees(math.asin(-float(sight @ stand.up))), res, weight,
        noise, length, stand.camera.project(around.points), (solid.height_mm, parts[0]),
        (solid.diameter_mm, parts[1]), (solid.volume_ml, parts[2]), level, shape, x,
    )  # fmt: skip


def _parts(cov: Array, slope: Array) -> dict[str, float]:
    """Split a quantity's uncertainty: what goes with each shared number in turn, then the rest.

    The last row of a Cholesky factor: its squares add up to the quantity's variance.
    """
    full = np.r_[np.zeros(_PLACE), slope]
    shared = cov[2:_PLACE, 2:_PLACE]
    with_shared = cov[2:_PLACE] @ full
    variance = float(full @ cov @ full)
    scale = np.sqrt(np.diag(shared))
    lower = np.linalg.cholesky(shared / np.outer(scale, scale) + 1e-12 * np.eye(len(SHARED)))
    row = np.linalg.solve(lower, with_shared / scale)
    rest = math.sqrt(max(variance - float(row @ row), 0.0))
    return {**dict(zip(SHARED, map(float, row), strict=True)), "fit": rest}
