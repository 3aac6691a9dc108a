"""What the uncertainty of a side view is made of."""

import math
from collections.abc import Mapping

import numpy as np

from kit.photo.reference import Scale
from kit.photo.sides.jar import Jar
from kit.photo.sides.judge import Found
from kit.photo.sides.solid import Solid
from kit.photo.sides.solid_fit import SolidFit

__all__ = ["below_line_ml", "with_scale"]

#: share of what foot and top could hide that is taken as a standard uncertainty (`with_scale`)
UNSEEN = {"ball": 0.06, "piece": 0.1, "jar": 0.1}

#: how thick a jar's wall is, about (own guess; those drawn by two programs are 2 to 3.5 mm)
WALL_MM = 3.0
#: seen from farther off square-on than this a reference lies on the worktop
FLAT_DEG = 62.0


def below_line_ml(fit: SolidFit) -> float:
    """What the fitted solid holds below the dough's line: the cone its sides were taken as."""
    r, h = fit.solid.r[:3], fit.solid.h[:3]
    return Solid(np.r_[r, 0.0], np.r_[h, h[-1]]).volume_ml


def with_scale(
    numbers: Mapping[str, tuple[float, Mapping[str, float]]],
    found: Found,
    scale: Scale,
    shape: str,
    jar: Jar | None,
    foot_by_hand: bool = False,
) -> dict[str, dict[str, float]]:
    """Parts of uncertainty, signed.

    The fit's own, the scale's, what the camera cannot see, an edge that might be the right one; in
    a jar the glass under the dough, unless its foot was put by hand.

    Of foot and top the camera sees only what turns toward it; the rest goes on as the rims round
    them begin. A dome that closed each would rise by half its radius times the slope at which it
    is last seen: a small share of that is taken as standard uncertainty beside the fit's own (own
    choice; the foot of a ball of dough and its dome are surer than the two faces of a piece, of
    which any low dome up to that one would be 0.14; of pieces drawn by three other programs the
    intervals then held nine heights in ten).
    """
    fit = found.fit
    slopes = (_slope(fit, 0.0), _slope(fit, fit.solid.height_mm))
    foot, top = _last_seen(fit.solid, slopes)
    rises = (foot * slopes[0] if jar is None else 0.0, top * slopes[1])
    hidden = UNSEEN[shape] * math.hypot(*rises)
    mm = float(np.linalg.norm(fit.foot)) / fit.stand.camera.focal_px
    tall, wide = (mm * math.hypot(*found.doubts_px[i : i + 2]) for i in (0, 2))
    in_jar = jar is not None  # its width is known: only heights go with the scale
    under = 0.0 if in_jar else hidden * math.pi * max(foot, top) ** 2 / 2 / 1000
    share = math.hypot(tall / fit.solid.height_mm, 2 * wide / fit.solid.diameter_mm)
    # unseen, by another edge, and with what power of the scale it goes
    by = {
        "height_mm": (hidden, tall, 1), "level_mm": (0.0, 0.0, 1),
        "diameter_mm": (0.0, wide, 0 if in_jar else 1),
        "volume_ml": (under, fit.solid.volume_ml * share, 1 if in_jar else 3),
    }  # fmt: skip
    if jar is not None:
        numbers = _hidden_at_most(numbers, fit, jar, slopes[1])
    u_scale = _u_scale(scale, fit)
    out: dict[str, dict[str, float]] = {}
    for name, (number, parts) in numbers.items():
        unseen, edge, power = by[name]
        out[name] = {**parts, "scale": power * number * u_scale, "unseen": unseen, "edge": edge}
    if jar is not None and not foot_by_hand:
        for name, low in _glass(fit, jar).items():
            out[name]["glass"] = low
    return out


def _glass(fit: SolidFit, jar: Jar) -> dict[str, float]:
    """What is added where the foot found may be the glass's, not the dough's.

    Through clear glass both show, the glass's lower by its base, and nearer the camera by its wall.
    Taken as equally likely (of nine jars drawn by another program three were the glass's): the
    standard uncertainty is that distance by the root of 2.
    """
    low = jar.base_thickness_mm + WALL_MM * math.tan(math.radians(max(fit.elevation_deg, 0.0)))
    u = low / math.sqrt(2)
    return {"height_mm": u, "level_mm": u, "volume_ml": u * jar.area_mm2(0.0) / 1000}


def _hidden_at_most(
    numbers: Mapping[str, tuple[float, Mapping[str, float]]], fit: SolidFit, jar: Jar, slope: float
) -> Mapping[str, tuple[float, Mapping[str, float]]]:
    """No dome hides behind the dough's line that would be seen over it.

    Where none is seen the fit says nothing of it; yet one steeper than the line of sight shows.
    Evenly likely up to that.
    """
    radius = float(np.interp(fit.level[0], jar.heights_mm, jar.radii_mm))
    most = radius * slope / math.sqrt(3)
    line = fit.level[1]["fit"]
    out = dict(numbers)
    for name, each in (("height_mm", 1.0), ("volume_ml", math.pi * radius**2 / 2000)):
        value, parts = numbers[name]
        limit = math.hypot(most * each, line * each * (2 if name == "volume_ml" else 1))
        out[name] = (value, {**parts, "fit": min(parts["fit"], limit)})
    return out


def _u_scale(scale: Scale, fit: SolidFit) -> float:
    """Relative standard uncertainty of the piece's lengths from the reference.

    How high a camera was and how it leaned is taken from the outline where the reference does not
    tell it. Left is how the reference's plane is turned about the vertical: by that a piece beside
    it stands nearer or farther.
    """
    if scale.camera is None or not len(scale.outline):
        return scale.u
    if scale.tilt_known:
        return scale.u if scale.tilt_deg < FLAT_DEG else _u_across(scale, fit)
    middle = scale.outline.mean(0, keepdims=True)
    parts = scale.u_at(middle, 0.0).parts
    marked = (u for cause, u in parts.items() if cause not in ("tilt", "plane"))
    there = scale.camera.rays(middle)[0] * scale.pose.shift[2]
    beside = float((fit.foot - there) @ fit.stand.across)
    turned = beside * math.tan(math.radians(scale.u_tilt_deg)) / float(np.linalg.norm(fit.foot))
    return math.hypot(turned, *marked)


def _u_across(scale: Scale, fit: SolidFit) -> float:
    """Of lengths across the picture where the piece stands, by a reference on the worktop.

    Lengths away from the camera are far less sure there, and say nothing of the piece.
    """
    at = fit.stand.camera.project(fit.foot[None])
    base = scale._lengths(at, None)[0, 0]
    moved = ((m._lengths(at, None)[0, 0] / base - 1, weight) for _, m, weight in scale.varied())
    return math.sqrt(sum(weight * change**2 for change, weight in moved))


def _slope(fit: SolidFit, height_mm: float) -> float:
    """How steep a surface must be to be seen edge-on at a height: a degree is left for blur."""
    at = fit.foot + height_mm * fit.stand.up
    looks = math.asin(float(at @ fit.stand.up) / float(np.linalg.norm(at)))
    return math.tan(abs(looks) + math.radians(1))


def _last_seen(solid: Solid, slopes: tuple[float, float]) -> tuple[float, float]:
    """Radii at which the foot and the top turn flatter than their slopes, mm."""
    rise, run = np.abs(np.diff(solid.h)), np.abs(np.diff(solid.r))
    low, high = (np.flatnonzero(rise > slope * run) for slope in slopes)
    widest = float(solid.r.max())
    return (
        float(solid.r[low[0]]) if len(low) else widest,
        float(solid.r[high[-1] + 1]) if len(high) else widest,
    )
