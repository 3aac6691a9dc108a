"""Where a known flat thing lies before the camera, fitted to its edges and corners.

One estimator serves card, marker and checkerboard: pose, focal length, the radial lens term, how
far bright areas spread over dark ones (printing, blur in encoded light) and how much the print is
stretched one way are fitted together, with what is known beforehand of lens, focal length and print
as further observations. Where the picture
tells nothing of the focal length it stays at what the file says; where it shows perspective, it
is estimated; the covariance follows either way. Maximum a posteriori, Gauss-Newton; covariance
by propagation (GUM 5.2.2; Hartley and Zisserman 2003, chapter 5, from memory).
"""

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from kit.photo.camera import Camera, Pose, Variant

__all__ = ["Marks", "PlaneFit", "fit_plane", "on_plane", "poses_of", "turned"]

Array = NDArray[np.float64]

#: what is left of a phone's radial term after its own correction, standard uncertainty
#: (judged from the usual 1 % or less at the corner of the picture; common practice, no source)
K1_U = 0.015
#: how far a phone's principal point lies off the picture's middle, of its width (judged, no source)
U_CENTRE = 0.004
#: no edge is placed better than this, in pixels, whatever its own scatter says
FLOOR_PX = 0.03
#: and no print lies flatter or truer than this, in millimetres
FLAT_MM = 0.03
#: how much longer a print may be one way than across, relative standard uncertainty: paper is fed
#: by a little more or less than a line is wide (judged, no source). Of a reference seen nearly
#: square-on a stretch of a third of that would else pass for a lens a few percent longer
U_STRETCH = 0.0007
#: keeps the equations regular where the marks leave a move open, as a circle turned in itself or
#: a ruler slid across its ticks: a tenth of the distance, 20° about the axes in the plane; in the
#: units of `_solve` and far below what any square reference tells
_HELD = np.array([0.01, 0.01, 0.01, 0.01 / 0.35, 0.01 / 0.35, 1.0]) ** 2


@dataclass(frozen=True)
class Marks:
    """Places seen in the photo of places known on the plane.

    Parameters
    ----------
    mm : (n, 2) array
        Known places.
    px : (n, 2) array
        Where they are seen; only the component along `normal` counts.
    normal : (n, 2) array
        Unit vectors in the photo: an edge tells where it lies across, not along. A corner is two
        marks.
    spread : (n,) array
        1 where the bright side lies toward the normal, −1 where it lies against it, 0 for a
        corner: a bright area that spreads moves the edge by −`spread` times the same amount.
    lines : bool
        Each is a place on a line of the plane along y, as a ruler's tick: where on it is not
        known, and follows from where it is seen.
    scatter : (n,) array, optional
        How much each scatters, as far as they differ in that; all alike when not given.
    group : (n,) int array, optional
        Of those with the same number above 0 it is not known how far they all lie to one side, as
        of the edge of a ruler's body: only their direction tells.
    """

    mm: Array
    px: Array
    normal: Array
    spread: Array
    lines: bool = False
    scatter: Array | None = None
    group: Array | None = None


@dataclass(frozen=True)
class PlaneFit:
    """The fitted camera and pose, and how sure they are.

    Parameters
    ----------
    camera : Camera
    pose : Pose
    sigma_px : float
        Scatter of the marks about the fit.
    chi2 : float
        What the fit minimised, in units of the marks' variance.
    covariance : (9, 9) array
        Of k1, ln focal, spread, shift (3), rotation (3), in this order.
    kept : (n,) bool array
        Marks that were used; the others lie far off.
    """

    camera: Camera
    pose: Pose
    sigma_px: float
    chi2: float
    covariance: Array
    kept: NDArray[np.bool_]

    def variants(self) -> list[Variant]:
        """Return camera and pose moved by one standard uncertainty in independent directions."""
        low = np.linalg.cholesky(self.covariance + 1e-18 * np.eye(9))
        names = ["lens", "lens", *["marking"] * 7]
        moved = []
        for name, column in zip(names, low.T, strict=True):
            camera, _, pose = _moved(self.camera, self.pose, column)
            moved.append(Variant(name, camera, pose))
        # the principal point off the picture's middle: as if all were turned before the lens
        off = U_CENTRE * 2 * self.camera.cx
        for lens, turn in (
            (replace(self.camera, cx=self.camera.cx + off), (0.0, -1.0, 0.0)),
            (replace(self.camera, cy=self.camera.cy + off), (1.0, 0.0, 0.0)),
        ):
            about = turned(np.array(turn) * off / self.camera.focal_px)
            pose = Pose(about @ self.pose.rotation, about @ self.pose.shift)
            moved.append(Variant("lens", lens, pose))
        return moved

    @property
    def u_tilt_deg(self) -> float:
        """Standard uncertainty of the tilt, in degrees."""
        return math.degrees(math.sqrt(np.trace(self.covariance[6:8, 6:8]) / 2))


def turned(w: Array) -> Array:
    """Return the rotation matrix of a rotation vector (Rodrigues)."""
    angle = float(np.linalg.norm(w))
    cross = np.array([[0, -w[2], w[1]], [w[2], 0, -w[0]], [-w[1], w[0], 0.0]])
    if angle < 1e-9:
        return np.asarray(np.eye(3) + cross)
    return np.asarray(
        np.eye(3)
        + math.sin(angle) / angle * cross
        + (1 - math.cos(angle)) / angle**2 * cross @ cross
    )


def _moved(camera: Camera, pose: Pose, step: Array) -> tuple[Camera, float, Pose]:
    """Camera, spread and pose after a step of the parameters; turned about the plane.

    A longer lens sees the plane from farther away, as large as before: only what perspective
    shows goes with the focal length.
    """
    longer = math.exp(step[1])
    lens = replace(camera, k1=camera.k1 + step[0], focal_px=camera.focal_px * longer)
    shift = pose.shift * (1.0, 1.0, longer) + step[3:6]
    return lens, float(step[2]), Pose(pose.rotation @ turned(step[6:9]), shift)


def poses_of(camera: Camera, mm: Array, px: Array) -> list[Pose]:
    """Return the one or two poses that four or more points of a plane allow, the better first.

    Seen from far away a plane tipped toward the camera looks like one tipped away from it
    (Collins and Bartoli 2014, "Infinitesimal plane-based pose estimation"; OpenCV's IPPE).
    """
    import cv2

    mm, px = np.asarray(mm, float), np.asarray(px, float)
    rays = np.ascontiguousarray(camera.rays(px)[:, :2])
    middle = mm.mean(0)
    deep = np.column_stack([mm - middle, np.zeros(len(mm))])
    count, turns, shifts, _ = cv2.solvePnPGeneric(
        deep, rays, np.eye(3), None, flags=cv2.SOLVEPNP_IPPE
    )
    poses = []
    for turn, shift in zip(turns[:count], shifts[:count], strict=False):
        rotation = np.asarray(cv2.Rodrigues(turn)[0], float)
        origin = shift.ravel() - rotation[:, :2] @ middle
        if np.isfinite(origin).all() and shift.ravel()[2] > 0:
            poses.append(Pose(rotation, origin))
    return poses


def fit_plane(
    camera: Camera,
    pose: Pose,
    marks: Marks,
    *,
    sigma_px: float | None = None,
    flat_mm: float = FLAT_MM,
    prior: Camera | None = None,
    u_square_on_deg: float | None = None,
) -> PlaneFit:
    """Fit camera and pose to marks, starting from a pose.

    Parameters
    ----------
    camera : Camera
        To start from.
    pose : Pose
        To start from.
    marks : Marks
    sigma_px : float, optional
        Scatter of the marks where it is known; from the fit's own residuals when not given.
    flat_mm : float
        How far the plane's points may lie from where they should.
    prior : Camera, optional
        What is known of the lens beforehand; `camera` when not given.
    u_square_on_deg : float, optional
        How far off square-on, a direction, the plane is believed to be before its marks are
        looked at, for marks that hardly tell it; nothing is believed when not given.
    """
    level = math.inf if u_square_on_deg is None else math.sin(math.radians(u_square_on_deg))
    known = camera if prior is None else prior
    rough = np.ones(len(marks.px)) if marks.scatter is None else marks.scatter
    rough = rough / float(np.median(rough))
    away = np.linalg.norm(pose.to_camera(_deep(marks.mm)), axis=1)
    floor = math.hypot(FLOOR_PX, flat_mm * camera.focal_px / float(np.median(away)))
    sigma = max(floor, 0.3) if sigma_px is None else math.hypot(sigma_px, floor)
    printed = np.zeros(2)
    kept = np.ones(len(marks.mm), bool)
    for round_ in range(3):
        camera, printed, pose, cov, res = _solve(
            camera, printed, pose, marks, kept, sigma * rough, known, level
        )
        res = res / rough
        if sigma_px is None:
            wide = 1.4826 * float(np.median(np.abs(res[kept])))
            sigma = max(floor, wide)
        if round_ < 2:
            kept = np.abs(res) < max(4 * sigma, 0.1)
            if kept.sum() < 8:
                kept = np.ones(len(marks.mm), bool)
    chi2 = float((np.minimum(np.abs(res) / sigma, 4.0) ** 2).sum())
    longer = math.log(camera.focal_px / known.focal_px) / known.u_focal
    chi2 += longer**2 + ((camera.k1 - known.k1) / K1_U) ** 2 + float(printed[1] / U_STRETCH) ** 2
    return PlaneFit(camera, pose, sigma, chi2, cov[:9, :9], kept)


def _deep(mm: Array) -> Array:
    return np.column_stack([mm, np.zeros(len(mm))])


def _solve(
    camera: Camera, printed: Array, pose: Pose, marks: Marks, kept: NDArray[np.bool_],
    sigma: Array, known: Camera, level: float,
) -> tuple[Camera, Array, Pose, Array, Array]:  # fmt: skip
    """Gauss-Newton, damped: camera, print, pose, covariance, residuals of all marks.

    Of the print how far bright spreads over dark, and how much longer it is along x than along y.
    """
    seen = (marks.px * marks.normal).sum(1)
    size = float(np.linalg.norm(pose.shift))
    unit = np.array([K1_U, 0.05, 1.0, *[size / 1000] * 3, *[0.01] * 3, U_STRETCH])
    # a spread that no mark tells of must not make the equations singular
    sure = np.array([K1_U, known.u_focal, 2.0, U_STRETCH, level, level])
    group = np.zeros(len(seen)) if marks.group is None else marks.group
    groups = [(group == number) & kept for number in np.unique(group[kept & (group > 0)])]

    def gathered(off: Array) -> Array:
        for one in groups:
            off[one] -= off[one].mean(0)
        return off

    def residual(lens: Camera, wide: Array, at: Pose) -> Array:
        there = lens.project(at.to_camera(_places(lens, wide, at, marks)))
        return gathered((there * marks.normal).sum(1) - marks.spread * wide[0] - seen)

    def believed(lens: Camera, wide: Array, at: Pose) -> Array:
        lean = at.rotation[2, :2]  # 0 where the plane is square-on
        bent = lens.k1 - known.k1, math.log(lens.focal_px / known.focal_px)
        return np.asarray(np.array([*bent, *wide, *lean]) / sure)

    def cost(res: Array, own: Array) -> float:
        if not np.isfinite(res).all():
            return math.inf
        return float(((res / sigma)[kept] ** 2).sum() + (own**2).sum())

    def stepped(step: Array) -> tuple[Camera, Array, Pose]:
        lens, wide, at = _moved(camera, pose, step)
        return lens, printed + np.array([wide, step[9]]), at

    damp = 1e-4
    res, own = residual(camera, printed, pose), believed(camera, printed, pose)
    best = cost(res, own)
    normal = np.eye(10)
    for _ in range(30):
        slope = gathered(_slopes(camera, printed, pose, marks)) * unit
        lean = np.zeros((len(own), 10))
        lean[[0, 1, 2, 3], [0, 1, 2, 9]] = 1.0
        a, b, c = pose.rotation[2]
        lean[4:, 6:9] = (0, -c, b), (c, 0, -a)
        lean *= unit / sure[:, None]
        weight = kept / sigma**2
        normal = (slope * weight[:, None]).T @ slope + lean.T @ lean
        normal[[3, 4, 5, 6, 7, 8], [3, 4, 5, 6, 7, 8]] += _HELD
        right = -(slope * weight[:, None]).T @ res - lean.T @ own
        gained = 0.0
        while damp < 1e6:
            step = np.linalg.solve(normal + damp * np.diag(np.diag(normal)), right) * unit
            tried = stepped(step)
            moved, moved_own = residual(*tried), believed(*tried)
            new = cost(moved, moved_own)
            if new < best:
                gained = best - new
                (camera, printed, pose), best = tried, new
                res, own = moved, moved_own
                damp = max(damp / 10, 1e-9)
                break
            damp *= 10
        if gained < 1e-4 + 1e-7 * best:  # a hundredth of a sigma
            break
    cov = np.linalg.inv(normal) * np.outer(unit, unit)
    return camera, printed, pose, (cov + cov.T) / 2, res


def _places(camera: Camera, printed: Array, pose: Pose, marks: Marks) -> Array:
    """Where each mark lies in the plane's frame (n, 3); on a line, where on it it is seen."""
    deep = _deep(marks.mm * (1 + printed[1] / 2, 1 - printed[1] / 2))
    if marks.lines:
        deep[:, 1] = on_plane(camera, pose, marks.px)[:, 1]
    return deep


def on_plane(camera: Camera, pose: Pose, px: Array) -> Array:
    """Return the places (n, 2) of a plane, in millimetres, that are seen at pixels (n, 2)."""
    seen = camera.rays(px) @ np.linalg.inv(_columns(pose)).T
    return np.asarray(seen[:, :2] / seen[:, 2:])


def _columns(pose: Pose) -> Array:
    """From places (x, y, 1) of the plane to camera millimetres."""
    return np.column_stack([pose.rotation[:, :2], pose.shift])


def _slopes(camera: Camera, printed: Array, pose: Pose, marks: Marks) -> Array:
    """How fast residuals grow with each of the ten numbers (`_moved`, then the stretch): (n, 10).

    The groups' means are still in them.
    """
    deep = _places(camera, printed, pose, marks)
    goes = _goes(pose, deep)
    if marks.lines:
        goes[9] = marks.mm[:, :1] / 2 * pose.rotation[:, 0]
        goes += _slid(camera, pose, marks)[..., None] * pose.rotation[:, 1]
    else:
        goes[9] = _deep(marks.mm * (0.5, -0.5)) @ pose.rotation.T
    at = pose.to_camera(deep)
    flat = at[:, :2] / at[:, 2:]
    square = (flat**2).sum(1, keepdims=True)
    flatly = (goes[..., :2] - flat * goes[..., 2:]) / at[:, 2:]
    bent = 1 + camera.k1 * square
    px = bent * flatly + 2 * camera.k1 * flat * (flat * flatly).sum(-1, keepdims=True)
    px[0] += flat * square
    px[1] += flat * bent
    slopes = (camera.focal_px * px * marks.normal).sum(-1).T
    slopes[:, 2] = -marks.spread
    return np.asarray(slopes)


def _goes(pose: Pose, deep: Array) -> Array:
    """How fast places (n, 3) of the plane's frame move in camera millimetres, (10, n, 3)."""
    goes = np.zeros((10, *deep.shape))
    goes[1, :, 2] = pose.shift[2]
    goes[3:6] = np.eye(3)[:, None]
    (x, y), (right, down, back) = deep.T[:2, :, None], pose.rotation.T
    goes[6], goes[7], goes[8] = y * back, -x * back, x * down - y * right
    return goes


def _slid(camera: Camera, pose: Pose, marks: Marks) -> Array:
    """How fast the place on its line that a mark's pixel shows slides along it, (10, n)."""
    rays, columns = camera.rays(marks.px), np.linalg.inv(_columns(pose)).T
    seen = rays @ columns
    by = seen[:, 2:]
    at = seen / by
    flat = rays[:, :2]
    square = (flat**2).sum(1, keepdims=True)
    less = -by * _goes(pose, at * (1.0, 1.0, 0.0))
    less[0, :, :2] -= flat * square / (1 + 3 * camera.k1 * square)
    less[1, :, :2] -= flat * (1 + camera.k1 * square) / (1 + 3 * camera.k1 * square)
    turned_by = less @ columns
    return np.asarray((turned_by[..., 1] - at[:, 1] * turned_by[..., 2]) / seen[:, 2])
