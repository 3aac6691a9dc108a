"""Fit a solid of revolution, through a calibrated camera, to its outline in a photo.

`solid_search` finds it. The covariance is the curvature's inverse at the end (first order), with
noise taken as large and as long as the residuals are along the outline.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from kit.errors import DataError
from kit.photo.sides.jar import JarProfile
from kit.photo.sides.solid import Solid, Stand
from kit.photo.sides.solid_profile import RoundProfile
from kit.photo.sides.solid_search import PLACE, SHARED, TOGETHER, Beliefs, Problem, afresh, search

__all__ = ["UNTOLD", "Beliefs", "SolidFit", "fit_solid"]

Array = NDArray[np.float64]

#: seen from lower than this, degrees, what fits is not taken for another kind (own choice: of
#: drawn pieces of two kinds the heights then differed by less than 3 %)
ONE_KIND_DEG = 5.0
#: an outline, whose edges err together, tells the lens to no less than this share of what was known
#: (own choice: of drawn pieces with shadow and noise nine heights in ten then lay within 95 %)
LEARNT = 0.3
UNTOLD = (
    "the outline found does not tell how high the piece or the dough is. Draw a box round it, or "
    "the outline itself"
)


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
    drawn : (m, 2) array
        The silhouette in pixels, once round.
    height, diameter, volume, level : tuple of float and mapping
        Value and what its standard uncertainty is made of (signed), in mm, mm, ml, mm: shared
        parts by name, "kind" (that it may be of another) and "fit". Level: the dough's line on a
        jar's wall (NaN otherwise).
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
        return _near_rms(self.residual_px)


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
    problem = Problem(points, spread, stand, shape, beliefs, start)
    tried: list[tuple[Problem, Array]] = []
    if before is not None:
        tried = [(problem, search(problem, before.found.copy(), steps, 1))]
    if before is None or (thorough and problem.noise(tried[0][1]) > 2 * problem.floor):
        tried.append((problem, afresh(problem, steps)))
    told = any(p.told(x) for p, x in tried)
    if (before is None or thorough) and shape.rival:
        if not told or problem.looks_down_deg(tried[0][1]) > ONE_KIND_DEG:
            other = Problem(points, spread, stand, shape.rival, beliefs, start)
            # what fits a piece well is no low cap
            tried.append((other, afresh(other, steps, 1 if told else None)))
    each = [p.noise(x) for p, x in tried]
    noise = min(filter(math.isfinite, each), default=problem.floor)
    best, *others = sorted(tried, key=lambda one: one[0].cost(one[1], noise))
    kinds = [one for one in others if one[0].shape.fee != best[0].shape.fee]
    return _result(*best, _may_be(best, kinds[0], noise) if kinds else np.zeros(3))


def _may_be(best: tuple[Problem, Array], other: tuple[Problem, Array], noise: float) -> Array:
    """What another kind, as likely as it is, adds to the uncertainty of height, width, volume."""
    (p, x), (q, y) = best, other
    less = min(q.cost(y, noise) - p.cost(x, noise), 200.0)
    share = math.sqrt(1 / (1 + math.exp(less / 2)))
    one, two = (f.shape.at(at[PLACE:]).solid for f, at in (best, other))
    return share * np.array(
        [two.height_mm - one.height_mm, two.diameter_mm - one.diameter_mm,
         two.volume_ml - one.volume_ml]
    )  # fmt: skip


def _result(problem: Problem, x: Array, kind: Array) -> SolidFit:
    """Covariance and what each quantity's uncertainty is made of."""
    shape = problem.shape
    profile = shape.at(x[PLACE:])
    around, stand, foot = problem.seen(x, profile)
    seen = len(around.points) > 0 and (around.points[:, 2] > 0).all()
    if not (np.isfinite(x).all() and foot[2] > 0 and seen):
        msg = (
            "the outline is not that of a round piece standing upright before this camera. "
            "Look whether the outline is right, and which way up the reference is"
        )
        raise DataError(msg)
    res, *_ = now = problem.distance(x, profile)
    slopes = problem.slopes(x, now)
    known = problem.known(x).rows
    noise = problem.noise(x)
    length = max(_run_length(res), TOGETHER)
    weight = problem.weights(res, noise)
    # of normal noise the nearest nine tenths spread 0.79 of its standard deviation: more than that
    # tells of stretches where another edge was taken, and of those nearer ones one cannot see
    wide = max(noise, _near_rms(res / problem.spread) / 0.79)
    sure = weight / (wide * problem.spread) ** 2 / length
    bend = (slopes.T * sure) @ slopes + known.T @ known
    if not np.diag(bend).all():
        raise DataError(UNTOLD)
    # also of the numbers that ended at zero: a top found round may yet be flat
    cov = _no_surer(np.linalg.inv(bend).astype(np.float64), 5, float(problem.sd[5]))
    solid = profile.solid
    widest = int(profile.r.argmax())
    (by_r, by_h), (rings_r, rings_h) = solid.volume_slopes(), shape.moves(x[PLACE:])
    volume = by_r[1:-1] @ rings_r + by_h[1:-1] @ rings_h + by_h[-1] * rings_h[-1]
    parts = [
        {**_parts(cov, slope), "kind": float(differs)}
        for slope, differs in zip((rings_h[-1], 2 * rings_r[widest], volume), kind, strict=True)
    ]
    level: tuple[float, Mapping[str, float]] = (math.nan, {})
    if isinstance(shape, JarProfile):
        level = (float(x[PLACE]), _parts(cov, np.eye(len(x) - PLACE)[0]))
    return SolidFit(
        solid, stand, foot, problem.looks_down_deg(x), res, stand.camera.project(around.points),
        (solid.height_mm, parts[0]), (solid.diameter_mm, parts[1]), (solid.volume_ml, parts[2]),
        level, shape, x,
    )  # fmt: skip


def _parts(cov: Array, slope: Array) -> dict[str, float]:
    """Split a quantity's uncertainty: what goes with each shared number in turn, then the rest.

    The last row of a Cholesky factor: its squares add up to the quantity's variance.
    """
    full = np.r_[np.zeros(PLACE), slope]
    shared = cov[2:PLACE, 2:PLACE]
    with_shared = cov[2:PLACE] @ full
    variance = float(full @ cov @ full)
    scale = np.sqrt(np.diag(shared))
    lower = np.linalg.cholesky(shared / np.outer(scale, scale) + 1e-12 * np.eye(len(SHARED)))
    row = np.linalg.solve(lower, with_shared / scale)
    rest = math.sqrt(max(variance - float(row @ row), 0.0))
    return {**dict(zip(SHARED, map(float, row), strict=True)), "fit": rest}


def _near_rms(res: Array) -> float:
    """Root mean square of the nearest nine tenths."""
    kept = np.sort(np.abs(res))[: max(1, int(0.9 * len(res)))]
    return float(np.sqrt(np.mean(kept**2)))


def _run_length(res: Array) -> float:
    """How many neighbours err together: 1 + 2 Σ autocorrelation until it first falls below 0.1."""
    centred = np.clip(res - np.median(res), *np.quantile(res, [0.05, 0.95]))
    power = float(centred @ centred)
    if power == 0 or len(res) < 12:
        return 1.0
    total = 1.0
    for lag in range(1, len(res) // 6):
        r = float(centred[:-lag] @ centred[lag:]) / power
        if r < 0.1:
            break
        total += 2 * r
    return total


def _no_surer(cov: Array, at: int, known: float) -> Array:
    """A covariance with number `at` told to no less than a share of what was `known` of it.

    What goes with it is as much less sure.
    """
    goes = cov[:, at] / cov[at, at]
    more = max((LEARNT * known) ** 2 - float(cov[at, at]), 0.0)
    return np.asarray(cov + more * np.outer(goes, goes))
