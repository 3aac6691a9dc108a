"""A ruler's ticks between two marked points: scale, and the tilt from how their spacing changes.

Along the ruler the far end's ticks stand nearer together; and where the ticks are looked at higher
up, away from the ruler's edge, a plane tipped away shows all of them nearer together. Both follow
from one pose, fitted to places on many ticks, each of which tells where it lies across the tick
only. Where ticks of 1 mm run together, those of 5 and 10 mm, which are longer, are used. The ends
of the ruler's body, square to its edge, lean with the tilt too, and are fitted with the ticks.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kit.errors import DataError
from kit.photo.arguments import above, positive
from kit.photo.camera import Camera, Pose
from kit.photo.reference import Scale
from kit.photo.references.edges import Patch, linear_patch
from kit.photo.references.plane_fit import FLAT_MM, FLOOR_PX, Marks, PlaneFit, fit_plane, on_plane
from kit.photo.references.plane_scale import plane_scale
from kit.photo.references.points import marked
from kit.photo.references.ruler_body import body_ends, off_line

__all__ = ["find"]

Array = NDArray[np.float64]

#: ticks nearer together than this cannot be told apart, in pixels: tried first, and then
CLOSEST_PX = 3.0, 5.0
#: ticks that must be found
FEWEST = 8
#: of the finest ticks' spacing: what they may scatter; and the share of them that must agree
ROUGHEST, FEWEST_KEPT = 0.1, 0.85
#: places on one tick err alike (its print, its neighbours' shade), so that they tell as little as
#: if each erred so many times more: for the fit, and for how sure it is (on drawn rulers of three
#: kinds, for intervals that hold)
ALIKE = 2.0, 3.0
#: how wide rulers are, and how far they go on beyond the last tick (common ones, from memory)
BODY_MM, END_MM = 25.0, 5.0
#: share of their distance by which the marked points may miss what the ticks say, set by hand
MARKS_OFF = 0.08
#: each strip of the ruler in which ticks are followed, in millimetres
STRIP_MM = 0.7
#: how far off square-on photos of rulers are, a direction, where the ticks do not tell (judged, no
#: source)
U_TILT_DEG = 20.0
#: how far beside the marked line they are looked for
REACH_MM = 11.0

#: how many times more the marks may scatter where an end of the body is to be square to the ticks:
#: one end; two, which bear each other out (own choice)
GIVE_WAY = 1.5, 2.0

_NONE = (
    "The ticks of the ruler cannot be followed between the two points. Mark two ticks at the "
    "ticked edge, in a sharp photo; or measure by two points, at the same two ticks."
)
_MIXED = (
    "The ruler's lines do not lie as those of a straight ruler: blurred, or mixed up with other "
    "lines. Retake: tap on the ruler to focus, nearer by; or measure by two points."
)


@dataclass(frozen=True)
class Ticks:
    """Ticks in one strip: number, pixels along the line, how far beside the line in pixels."""

    number: Array
    along_px: Array
    beside_px: float


def find(
    photo: Any,
    points: Sequence[Sequence[float]],
    mm: float,
    tick_mm: float = 1.0,
    u_mm: float = 0.0,
) -> Scale:
    """Return the scale by the ticks of a ruler between two points marked on its ticked edge.

    Parameters
    ----------
    photo : Photo
    points : ((x, y), (x, y))
        On two ticks at the edge, in pixels; the ticks are then found to a part of a pixel.
    mm : float
        Between the two ticks.
    tick_mm : float
        From one tick to the next.
    u_mm : float
        Standard uncertainty of `mm` as the ruler has it.

    Raises
    ------
    InputError, DataError
    """
    ends, length = marked(photo, points), positive("mm", mm, 2000)
    tick = positive("tick_mm", tick_mm, length / 4)
    px = float(np.linalg.norm(ends[1] - ends[0]))
    patch = linear_patch(photo, ends, REACH_MM * px / length + 12, tick * px / length)
    found = False
    for closest in CLOSEST_PX:
        if strips := _strips(patch, ends, length, tick, closest):
            fit, marks = _fitted(photo.camera.any_lens, strips, ends, tick)
            fit, marks = _with_body(photo, fit, marks, strips, ends, length)
            found = True
            even = fit.sigma_px < ROUGHEST * tick * px / length and fit.kept.mean() > FEWEST_KEPT
            if even and abs(_between(fit, ends) / length - 1) < MARKS_OFF:
                break
    else:
        raise DataError(_MIXED if found else _NONE)
    number = np.concatenate([t.number for t in strips])
    low, high = number.min() * tick, number.max() * tick
    # its body, on the side of the ticks, is no piece: it is kept out of what is looked for
    body = math.copysign(BODY_MM, sum(t.beside_px for t in strips))
    low, high = low - END_MM, high + END_MM
    outline = np.array([[low, 0.0], [high, 0.0], [high, body], [low, body]])
    notes = []
    if math.degrees(math.sqrt(float(fit.covariance[6, 6]))) > 3:
        notes.append(
            "the ruler hardly tells its tilt across: the photo is taken as nearly square-on"
        )
    return plane_scale(
        "ruler", photo, fit, marks, outline, u_size=above("u_mm", u_mm) / length, notes=notes
    )


def _between(fit: PlaneFit, ends: Array) -> float:
    """How far apart the marked points are on the fitted plane, in millimetres."""
    return float(np.linalg.norm(np.diff(on_plane(fit.camera, fit.pose, ends), axis=0)))


def _strips(patch: Patch, ends: Array, length: float, tick: float, closest: float) -> list[Ticks]:
    """Follow the ticks in strips beside the line, all numbered from the same tick."""
    import cv2

    px = float(np.linalg.norm(ends[1] - ends[0]))
    along = (ends[1] - ends[0]) / px
    across = np.array([-along[1], along[0]])
    fine = 0.25
    s = np.arange(-0.02 * px, 1.02 * px, fine)
    deep = max(2.0, STRIP_MM * px / length)
    rows = np.linspace(-0.4, 0.4, 5) * deep
    found: list[tuple[int, Ticks]] = []
    for beside in np.arange(-REACH_MM * px / length, REACH_MM * px / length + deep, deep):
        at = ends[0] + s[None, :, None] * along
        light = patch.sample(at + (beside + rows)[:, None, None] * across).mean(0)
        for times in (1, 5, 10):
            period = times * tick * px / length
            if period < closest or px / period < FEWEST:
                continue
            window = max(3, int(period / fine) * 2 + 1)
            around = cv2.blur(light[None], (window, 1), borderType=cv2.BORDER_REFLECT)[0]
            flat = np.asarray(light / np.maximum(around, 1e-4) - 1, float)
            chain = _followed(flat, s, period, period / times, px)
            if chain is not None:
                found.append((times, Ticks(chain[0], chain[1], float(beside))))
                break
    return _numbered(_whole(found), tick * px / length)


def _whole(found: list[tuple[int, Ticks]]) -> list[tuple[int, Ticks]]:
    """Leave out the strips in which ticks begin or end: they show less than a strip's height.

    Their middle is not that of what they show, which leans with the tilt. Where finer ticks end
    the longer ones go on: that strip is whole again.
    """
    out = []
    for before, own, after in zip([None, *found], found, [*found[1:], None], strict=False):
        sides = [other for other in (before, after) if other is None or other[0] > own[0]]
        if not sides:
            out.append(own)
    return out if sum(len(t.number) for _, t in out) >= 3 * FEWEST else found


def _numbered(found: list[tuple[int, Ticks]], period: float) -> list[Ticks]:
    """Give the ticks of all strips the numbers of the strip with most of them."""
    if not found:
        return []
    found = sorted(found, key=lambda f: f[1].beside_px)
    first = max(range(len(found)), key=lambda i: (len(found[i][1].number), -found[i][0]))
    out = [replace(found[first][1], number=found[first][1].number * found[first][0])]
    for way in (1, -1):
        last, lean = out[0], 0.0
        i = first + way
        while 0 <= i < len(found):
            times, ticks = found[i]
            apart = ticks.beside_px - last.beside_px
            if abs(apart) > 3 * STRIP_MM * period:
                break
            line = np.polyfit(last.along_px, last.number, 2)
            guess = np.polyval(line, ticks.along_px - lean * apart)
            number = times * ticks.number
            shift = np.median(guess - number)
            number = number + round(float(shift))
            if np.median(np.abs(guess - number)) > 0.35:
                break  # ticks of another row, such as inches
            slide = ticks.along_px - np.polyval(np.polyfit(last.number, last.along_px, 2), number)
            lean = float(np.median(slide)) / apart if apart else lean
            last = replace(ticks, number=number)
            out.append(last)
            i += way
    return out


def _fitted(
    camera: Camera, strips: list[Ticks], ends: Array, tick: float
) -> tuple[PlaneFit, Marks]:
    """Fit camera and pose to the ticks."""
    along = (ends[1] - ends[0]) / float(np.linalg.norm(ends[1] - ends[0]))
    across = np.array([-along[1], along[0]])
    px = np.concatenate(
        [ends[0] + t.along_px[:, None] * along + t.beside_px * across for t in strips]
    )
    number = np.concatenate([t.number for t in strips])
    normals = np.tile(along, (len(px), 1))  # the place was found along the line
    spacing = np.polyfit(number, (px - ends[0]) @ along, 1)
    rays = camera.rays(np.array([ends[0] + spacing[1] * along]))
    away = tick * camera.focal_px / spacing[0]
    turn = np.eye(3)
    turn[:2, :2] = np.column_stack([along, across])
    mm = np.column_stack([number * tick, np.zeros(len(px))])
    marks = Marks(mm, px, normals, np.zeros(len(px)), lines=True, scatter=_scatters(strips))
    return _fit_ticks(camera, camera, Pose(turn, rays[0] * away), marks), marks


def _fit_ticks(known: Camera, lens: Camera, pose: Pose, marks: Marks) -> PlaneFit:
    """Fit marks that err alike along one tick or edge, starting from a lens and a pose."""
    fit_marks = partial(
        fit_plane, marks=marks, prior=known, u_square_on_deg=U_TILT_DEG, flat_mm=FLAT_MM / 3
    )
    rough = fit_marks(lens, pose)
    fit = fit_marks(rough.camera, rough.pose, sigma_px=ALIKE[0] * rough.sigma_px)
    unsure = fit_marks(fit.camera, fit.pose, sigma_px=ALIKE[1] * rough.sigma_px)
    return replace(fit, sigma_px=rough.sigma_px, covariance=unsure.covariance)


def _with_body(
    photo: Any, fit: PlaneFit, marks: Marks, strips: list[Ticks], ends: Array, length: float
) -> tuple[PlaneFit, Marks]:  # fmt: skip
    """Fit also the short ends of the ruler's body, which are square to it: a longer lever."""
    side = math.copysign(1.0, sum(t.beside_px for t in strips))
    edges = body_ends(photo, ends, length, side)
    if not edges:
        return fit, marks
    count = [len(marks.px), *map(len, edges)]
    scatter = [_scatters(strips), *(np.full(len(e), off_line(e, ends)) for e in edges)]
    px = np.concatenate([marks.px, *edges])
    middle = np.concatenate([np.full((len(e), 2), e.mean(0)) for e in edges])
    more = replace(
        marks, px=px, mm=np.concatenate([marks.mm, on_plane(fit.camera, fit.pose, middle)]),
        normal=np.repeat(marks.normal[:1], len(px), axis=0), spread=np.zeros(len(px)),
        scatter=np.concatenate(scatter),
        group=np.repeat(np.arange(len(count)), count),
    )  # fmt: skip
    again = _fit_ticks(photo.camera.any_lens, fit.camera, fit.pose, more)
    # not square, rounded, or no end of a ruler at all: the ticks would have to give way
    ticks = np.arange(len(px)) < count[0]
    square = again.kept[~ticks].mean() > FEWEST_KEPT and again.kept[ticks].mean() > FEWEST_KEPT
    gives_way = again.sigma_px > GIVE_WAY[len(edges) - 1] * fit.sigma_px
    return (again, more) if square and not gives_way else (fit, marks)


def _scatters(strips: list[Ticks]) -> Array:
    return np.concatenate([np.full(len(t.number), _scatter(t)) for t in strips])


def _scatter(ticks: Ticks) -> float:
    """How far, in pixels, a strip's ticks lie off an even scale seen in perspective."""
    off = ticks.along_px - _line(ticks.number, ticks.along_px)(ticks.number)
    return math.hypot(1.4826 * float(np.median(np.abs(off))), FLOOR_PX)


def _followed(
    profile: Array, s: Array, period: float, finest: float, px: float
) -> tuple[Array, Array] | None:
    """Find tick by tick outward from the middle, each near where those before say it is."""
    fine = s[1] - s[0]
    dark = np.maximum(np.median(profile) - profile, 0.0)
    kernel = np.exp(-0.5 * (np.arange(-12, 13) * fine / max(0.12 * finest, 0.7)) ** 2)
    dark = np.convolve(dark, kernel / kernel.sum(), mode="same")
    # phase of the period over the middle third starts the chain
    third = np.abs(s - px / 2) < max(px / 6, 2.5 * period)
    wave = np.exp(-2j * np.pi * s[third] / period)
    phase = float(np.angle((dark[third] * wave).sum()))
    start = px / 2 + ((-phase / (2 * math.pi) * period - px / 2 + period / 2) % period - period / 2)
    found: dict[int, float] = {}
    for way in (1, -1):
        place, gap, tick, missed = start, period, 0 if way == 1 else -1, 0
        if way == -1:
            place = start - gap
        while -0.3 * period < place < px + 0.3 * period and missed < 3:
            near = np.abs(s - place) < 0.36 * gap
            if near.sum() < 3:
                break
            part = dark[near]
            peak = int(part.argmax())
            spot = float(s[near][peak])
            around = np.abs(s - spot) < max(0.4 * finest, 2.0)
            weight = np.maximum(dark[around] - dark[around].min(), 0)
            edge = peak in (0, len(part) - 1)
            if edge or part.max() - part.min() < 0.02 or weight.sum() <= 0:
                missed += 1
                place += way * gap
            else:
                missed = 0
                spot = float((weight * s[around]).sum() / weight.sum())
                found[tick] = spot
                gap += 0.15 * (float(np.clip(way * (spot - place), -0.1 * gap, 0.1 * gap)))
                place = place + 0.6 * (spot - place) + way * gap
            tick += way
    if len(found) < FEWEST:
        return None
    number = np.array(sorted(found), float)
    where = np.array([found[int(i)] for i in number])
    use = np.ones(len(number), bool)
    off = np.zeros(len(number))
    for _ in range(4):
        off = where - _line(number[use], where[use])(number)
        sigma = max(1.4826 * float(np.median(np.abs(off[use]))), 0.02)
        use = np.abs(off) < max(4 * sigma, 0.12 * period * 0.5)
        if use.sum() < FEWEST:
            return None
    spanned = np.ptp(where[use]) / px
    if use.mean() < 0.7 or spanned < 0.6 or sigma > 0.15 * period:
        return None
    return number[use], where[use]


def _line(number: Array, where: Array) -> Any:
    """The projective map of a line fitted to ticks: number to pixels along."""
    middle, half = float(number.mean()), max(float(np.ptp(number)) / 2, 1.0)
    i = (number - middle) / half
    c = 0.0
    for _ in range(5):
        weight = 1 / (1 + c * i)
        design = np.column_stack([np.ones_like(i), i, -i * where]) * weight[:, None]
        (a, b, c), *_ = np.linalg.lstsq(design, where * weight, rcond=None)
    return lambda n: (a + b * (n - middle) / half) / (1 + c * (n - middle) / half)
