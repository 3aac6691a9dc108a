"""From a flat reference's rough corners to a `Scale`: fit, the second pose, uncertainty, words."""

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kit.errors import DataError
from kit.photo.arguments import numbers
from kit.photo.camera import EITHER, USUAL_FOCAL_U, Camera, Pose, Variant
from kit.photo.reference import Scale
from kit.photo.references.edges import Edges, Patch, place_edges
from kit.photo.references.plane_fit import Marks, PlaneFit, fit_plane, poses_of
from kit.photo.references.squeezed import off_square_on

__all__ = [
    "STEEPEST_DEG", "check_sharp", "chosen", "grid_u", "plane_scale", "projector", "refined",
]  # fmt: skip

Array = NDArray[np.float64]

#: steeper than this the far side of a reference is squeezed to nothing
STEEPEST_DEG = 65.0
#: kinds whose every edge is known
PRINTED = ("card", "marker", "checkerboard")
#: of the reference's size in the photo: its edges scatter more where it is not flat
UNFLAT = 0.0015
#: of the edges that should show
FEWEST_EDGES = 0.5
#: a second pose is worth a word while its chi-squared is not this much worse
AMBIGUOUS_CHI2 = 12.0
#: where the lens was not told, a short one tipped one way passes for a long one tipped the other:
#: looked for by a wide and a long one, too (to the main one)
OTHER_LENSES = (0.6, 2.5)


def chosen(
    what: str, centres: Array, at: Sequence[float] | None, box: Sequence[float] | None
) -> int:
    """Return which of several candidates is meant; never guesses.

    Raises
    ------
    DataError
        None lies where it was said to, or there are several and nothing was said.
    """
    centres = np.asarray(centres, float).reshape(-1, 2)
    pick = np.arange(len(centres))
    if box is not None:
        x0, y0, x1, y1 = numbers("box", box, 4)
        inside = (centres >= [x0, y0]) & (centres <= [x1, y1])
        pick = pick[inside.all(1)]
    if at is not None and len(pick):
        away = np.linalg.norm(centres[pick] - numbers("at", at, 2), axis=1)
        pick = pick[[int(np.argmin(away))]]
    if not len(pick):
        msg = f"There is no {what} where you pointed. Point at the middle of it."
        raise DataError(msg)
    if len(pick) > 1:
        where = " and ".join(f"({x:.0f}, {y:.0f})" for x, y in centres[pick][:4])
        msg = (
            f"There are {len(pick)} {what}s in the picture, at {where}. Say which is meant: point "
            "at its middle (at=) or draw a box round it (box=)."
        )
        raise DataError(msg)
    return int(pick[0])


def refined(
    camera: Camera, starts: Sequence[Pose], patch: Patch, edges: Edges, prior: Camera,
    taken: Callable[[Marks], Marks] | None = None,
) -> tuple[PlaneFit, Marks, Array, Array]:  # fmt: skip
    """Fit a pose to the edges it predicts, from each start; the best with what it rests on.

    An edge that is not where a pose says it is counts as one that is four sigma off. `taken` says
    what of the marks is believed; all when not given.
    """

    def again(lens: Camera, pose: Pose) -> tuple[float, PlaneFit, Marks, Array, Array] | None:
        marks, contrast, width = place_edges(patch, edges, projector(lens, pose))
        if len(marks.mm) < 8:
            return None
        marks = marks if taken is None else taken(marks)
        fit = fit_plane(lens, pose, marks, prior=prior)
        missed = len(edges.start) - len(marks.mm)
        return fit.chi2 + 16.0 * missed, fit, marks, contrast, width

    begun = [(camera, start) for start in starts]
    if prior.u_focal > USUAL_FOCAL_U:
        begun += _by_other_lenses(camera, starts[0], edges.start)
    tried = [found for one in begun if (found := again(*one)) is not None]
    for _ in range(2):
        least = min((t[0] for t in tried), default=0.0)
        # a pose that fits far worse is not followed further
        near = [t for t in tried if t[0] <= 2 * least + 20]
        tried = [again(t[1].camera, t[1].pose) or t for t in near]
    if not tried:
        msg = (
            "The edges of the reference cannot be followed: blurred or in shadow. "
            "Retake: tap on it to focus, in even light."
        )
        raise DataError(msg)
    return min(tried, key=lambda t: t[0])[1:]


def check_sharp(kind: str, width_px: Array, limit_px: float, too_much: str = "") -> None:
    """Refuse a reference whose edges are blurred wider than this on the median."""
    blur = float(np.median(width_px))
    if blur > limit_px:
        msg = (
            f"The {kind} is blurred over {2 * blur:.0f} pixels{too_much}. Retake: tap on it to "
            "focus and hold still, or go nearer."
        )
        raise DataError(msg)


def _by_other_lenses(camera: Camera, pose: Pose, mm: Array) -> list[tuple[Camera, Pose]]:
    """Poses by a wide and a long lens that show about the same of a plane."""
    px = projector(camera, pose)(mm)
    lenses = [replace(camera, focal_px=camera.focal_px * by) for by in OTHER_LENSES]
    return [(lens, start) for lens in lenses for start in poses_of(lens, mm, px)]


def projector(camera: Camera, pose: Pose) -> Callable[[Array], Array]:
    """Return the map from plane millimetres (n, 2) to pixels."""

    def project(mm: Array) -> Array:
        mm = np.asarray(mm, float)
        seen = pose.to_camera(np.column_stack([mm, np.zeros(len(mm))]))
        return camera.project(np.where(seen[:, 2:] > 1e-6, seen, np.nan))

    return project


def plane_scale(
    kind: str,
    photo: Any,
    fit: PlaneFit,
    marks: Marks,
    outline_mm: Array,
    *,
    u_size: float = 0.0,
    notes: Sequence[str] = (),
    reading: Any = None,
    others: Sequence[tuple[PlaneFit, float]] = (),
    expected: int = 0,
    steepest_deg: float = STEEPEST_DEG,
) -> Scale:
    """Return the scale of a fitted plane; the pose tipped the other way is tried and said.

    Parameters
    ----------
    kind : str
    photo : Photo
    fit : PlaneFit
    marks : Marks
        What `fit` was fitted to.
    outline_mm : (n, 2) array
        Of the reference, in its plane.
    u_size : float
        Relative standard uncertainty of the reference's size.
    notes : sequence of str
    reading : Any
    others : sequence of (PlaneFit, float)
        How it might be tipped instead and how likely, where that is known already; looked for
        when not given.
    expected : int
        How many edges should have been found.
    steepest_deg : float
        Refused beyond this.

    Raises
    ------
    DataError
        Too steep, or not flat.
    """
    said = list(notes)
    centre = outline_mm.mean(0)
    project = projector(fit.camera, fit.pose)
    tilt = off_square_on(fit.pose, outline_mm)
    if tilt > steepest_deg:
        msg = (
            f"The {kind} is seen {tilt:.0f}° off square-on; beyond {steepest_deg:.0f}° it is too "
            "flat to measure. Retake more from the front, or from above."
        )
        raise DataError(msg)
    extent = float(np.ptp(project(outline_mm), axis=0).max())
    lost = expected > 0 and fit.kept.sum() < FEWEST_EDGES * expected
    if lost or (kind in PRINTED and fit.sigma_px > max(1.0, UNFLAT * extent)):
        msg = (
            f"The {kind}'s edges do not lie where those of a flat one would. Is it bent, in part "
            "covered, or the picture cut or warped by a program? Lay it flat and retake."
        )
        raise DataError(msg)
    variants = fit.variants()
    variants += [Variant("tilt", fit.camera, o.pose, weight) for o, weight in others]
    # a ruler shows nothing but perspective: it cannot be tipped the other way
    if (
        not (others or marks.lines)
        and tilt > 0.5
        and (other := _tipped_back(fit, marks, outline_mm)) is not None
    ):
        worse = other.chi2 - fit.chi2
        if worse < AMBIGUOUS_CHI2:
            weight = 1 / (1 + math.exp(max(worse, 0.0) / 2))
            variants.append(Variant("tilt", fit.camera, other.pose, weight))
            said.append(
                f"the {kind} is so small in the picture that it could be tipped the other way: "
                "a larger one, or a photo from nearer, would tell"
            )
    known = photo.focal_35mm is not None
    off = math.sqrt(float(fit.covariance[1, 1]))
    camera = fit.camera
    if not known and fit.camera.u_focal <= USUAL_FOCAL_U:  # it cannot tell one from another
        off = camera.any_lens.u_focal
        for lens in camera.any_lens.either_lens:
            farther = fit.pose.shift * (1.0, 1.0, lens.focal_px / camera.focal_px)
            variants.append(Variant("lens", lens, Pose(fit.pose.rotation, farther), EITHER))
    if not known:
        camera = replace(camera, u_focal=off)
        said.append(_lens_note(kind, off))
    step = 1e-3 * max(float(np.ptp(outline_mm)), 1.0)
    square = centre + step * np.array([[-0.5, 0], [0.5, 0], [0, -0.5], [0, 0.5]])
    px = project(square) / step
    area = abs(float(np.linalg.det(np.stack([px[1] - px[0], px[3] - px[2]]))))
    made = Scale(
        kind, camera, fit.pose, 1 / math.sqrt(area), 0.0,
        u_tilt_deg=fit.u_tilt_deg, outline=project(outline_mm), reading=reading,
        notes=tuple(said), variants=tuple(variants), u_size=u_size,
    )  # fmt: skip
    return replace(made, u=grid_u(made, photo))


def _lens_note(kind: str, off: float) -> str:
    """What is known, to `off`, of a lens the file says nothing of."""
    if off < 0.5 * USUAL_FOCAL_U:
        return (
            f"the file does not give the focal length: found from the {kind}'s perspective, to "
            f"{100 * off:.1g} %"
        )
    return (
        f"the file does not give the focal length and the {kind}'s perspective tells it only to "
        f"{100 * off:.2g} %: what stands before or behind the {kind} is as unsure of its size as "
        "± says. The original photo, or focal_35mm= when it is read, makes it surer"
    )


def _tipped_back(fit: PlaneFit, marks: Marks, outline_mm: Array) -> PlaneFit | None:
    """The same marks fitted from the other pose that the reference's corners allow."""
    grid = np.concatenate([outline_mm, outline_mm.mean(0, keepdims=True)])
    px = projector(fit.camera, fit.pose)(grid)
    normal = fit.pose.rotation[:, 2]
    others = [p for p in poses_of(fit.camera, grid, px) if _apart(p.rotation[:, 2], normal) > 0.5]
    if not others:
        return None
    again = fit_plane(fit.camera, others[0], marks, sigma_px=fit.sigma_px, prior=fit.camera)
    if _apart(again.pose.rotation[:, 2], normal) < 0.3:
        return None  # it came back: there is one pose only
    own = fit_plane(fit.camera, fit.pose, marks, sigma_px=fit.sigma_px, prior=fit.camera)
    return replace(again, chi2=fit.chi2 + again.chi2 - own.chi2)


def _apart(a: Array, b: Array) -> float:
    """Angle between two unit vectors, in degrees."""
    return math.degrees(math.atan2(float(np.linalg.norm(np.cross(a, b))), float(a @ b)))


def grid_u(made: Scale, photo: Any) -> float:
    """Return the relative standard uncertainty of a length near the middle of the picture.

    Root mean square over nine places within the middle half of the picture, where pieces lie, as
    far as they are on the plane, and over both directions.
    """
    if made.camera is None:
        return made.u_size
    w, h = photo.width, photo.height
    at = np.array([[w * x, h * y] for x in (0.3, 0.5, 0.7) for y in (0.3, 0.5, 0.7)])
    here = made.outline.mean(0) if len(made.outline) else np.array([w / 2, h / 2])
    size = made.mm_per_px_at(at, 0.0)
    # near the horizon a pixel is a metre long: nobody measures there
    seen = np.isfinite(size) & (size < 2 * made.mm_per_px) & (size > 0.5 * made.mm_per_px)
    places = at[seen] if seen.any() else here[None]
    base = made._lengths(places, 0.0)
    total = np.zeros_like(base)
    for _, moved, weight in made.varied():
        total += weight * (moved._lengths(places, 0.0) / base - 1) ** 2
    return float(np.sqrt(np.nanmean(total)))
