"""How many millimetres a pixel is: the result every reference kind gives.

The kinds of reference lie in `references/` (`card`, `marker`, `checkerboard`, `disc`, `ruler`,
`points`, `scanner`); `scale` chooses one and returns a `Scale`.
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from importlib import import_module
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kit.errors import InputError
from kit.given import as_number
from kit.photo.arguments import check_photo, one_of
from kit.photo.camera import Camera, Pose, Variant
from kit.photo.value import Value

__all__ = ["KINDS", "Scale", "checked", "scale"]

Array = NDArray[np.float64]

#: each is the module whose `find` measures it
KINDS = ("card", "marker", "checkerboard", "disc", "ruler", "points", "scanner")


@dataclass(frozen=True)
class Scale:
    """A reference found in a photo: its plane, the camera, and how sure both are.

    Parameters
    ----------
    kind : str
        "card", "marker", "checkerboard", "disc", "ruler", "points" or "scanner".
    camera : Camera or None
        None for a flat-bed scanner, which looks straight down everywhere.
    pose : Pose
        Where the reference's plane lies. For a scanner: x, y in millimetres, no perspective.
    offset_mm : float
        How far the measured plane or axis lies in front of (above) the reference.
    u_offset_mm : float
        Standard uncertainty of that.
    u : float
        Relative standard uncertainty of a length in the reference's plane, near the middle of
        the picture. `u_at` gives it for a place.
    tilt_known : bool
        False where the picture had to be taken as square-on (two points).
    u_tilt_deg : float
        Standard uncertainty of the plane's tilt.
    mm_per_px : float
        At the reference, in its plane.
    outline : (n, 2) array
        The reference in the photo, in pixels, to be shown and kept out of the measuring.
    reading : Any
        What else a card gives: its patches, for colour; None otherwise.
    notes : tuple of str
        Words for the baker: what was assumed, what would be better.
    variants : tuple of Variant
        Camera and pose moved by one standard uncertainty along each independent direction, or as
        they might be instead with what likelihood. To measure with each (`varied`) and add the
        changes in squares, each times its weight, is the uncertainty of anything measured (GUM,
        5.1.3).
    u_size : float
        Relative standard uncertainty of the reference's own size.
    """

    kind: str
    camera: Camera | None
    pose: Pose
    mm_per_px: float
    u: float
    offset_mm: float = 0.0
    u_offset_mm: float = 0.0
    tilt_known: bool = True
    u_tilt_deg: float = 0.0
    outline: Array = field(default_factory=lambda: np.empty((0, 2)))
    reading: Any = None
    notes: tuple[str, ...] = ()
    variants: tuple[Variant, ...] = ()
    u_size: float = 0.0

    def __repr__(self) -> str:
        return f"Scale({self.kind}, {1 / self.mm_per_px:.4g} px/mm ± {100 * self.u:.2g} %)"

    def __str__(self) -> str:
        said = [
            f"{1 / self.mm_per_px:.3g} pixels to a millimetre at the {self.kind}, "
            f"sure to {100 * self.u:.2g} %."
        ]
        if self.camera is not None and self.tilt_known:
            said.append(f"It is seen {self.tilt_deg:.0f}° off square-on.")
        if self.offset_mm:
            side = "in front of or above" if self.offset_mm > 0 else "behind or below"
            said.append(f"Measured {abs(self.offset_mm):.3g} mm {side} it.")
        return " ".join([*said, *(f"{note[0].upper()}{note[1:]}." for note in self.notes)])

    @property
    def tilt_deg(self) -> float:
        """Angle between the plane's normal and the line of sight to the reference's middle.

        NaN where it is not known, 0 for a scanner.
        """
        if self.camera is None or not self.tilt_known:
            return 0.0 if self.camera is None else np.nan
        if not len(self.outline):
            return self.pose.tilt_deg
        ray = self.camera.rays(self.outline.mean(0, keepdims=True))[0]
        return Pose(self.pose.rotation, ray).tilt_deg

    def to_px(self, points_mm: Array, offset_mm: float | None = None) -> Array:
        """Return pixels (n, 2) of points (n, 2), in millimetres, of the measured plane."""
        flat = np.asarray(points_mm, float)
        height = self.offset_mm if offset_mm is None else offset_mm
        deep = np.concatenate([flat, np.full((*flat.shape[:-1], 1), -height)], -1)
        seen = self.pose.to_camera(deep)
        return seen[..., :2] / self.mm_per_px if self.camera is None else self.camera.project(seen)

    def to_mm(self, points_px: Array, offset_mm: float | None = None) -> Array:
        """Return points (n, 2) of the measured plane, in millimetres, seen at pixels (n, 2).

        NaN for pixels that look past the plane's horizon.
        """
        px = np.asarray(points_px, float)
        if self.camera is None:
            rays = np.concatenate([px * self.mm_per_px, np.ones((*px.shape[:-1], 1))], -1)
        else:
            rays = self.camera.rays(px)
        found = rays @ np.linalg.inv(self._columns(offset_mm)).T
        ahead = found[..., 2:] > 0
        return np.where(ahead, found[..., :2] / np.where(ahead, found[..., 2:], 1.0), np.nan)

    def homography(self, offset_mm: float | None = None) -> Array:
        """Return the 3×3 matrix from millimetres of the measured plane to pixels (no lens term)."""
        if self.camera is None:
            return np.diag([1.0, 1.0, self.mm_per_px]) @ self._columns(offset_mm)
        return self.camera.matrix @ self._columns(offset_mm)

    def _columns(self, offset_mm: float | None) -> Array:
        """From plane millimetres to directions from the lens (a scanner's: to millimetres)."""
        height = self.offset_mm if offset_mm is None else offset_mm
        turned = self.pose.rotation
        columns = np.column_stack(
            [turned[:, 0], turned[:, 1], self.pose.shift - height * turned[:, 2]]
        )
        if self.camera is None:
            columns[2] = (0.0, 0.0, 1.0)
        return columns

    def mm_per_px_at(self, points_px: Array, offset_mm: float | None = None) -> Array:
        """Return millimetres a pixel (n,) at places (n, 2), the mean over all directions.

        The square root of the area in mm² that one pixel covers of the measured plane.
        """
        right, down = np.moveaxis(self._steps(points_px, offset_mm), 1, 0)
        area = np.abs(right[:, 0] * down[:, 1] - right[:, 1] * down[:, 0])
        return np.asarray(np.sqrt(area))

    def _steps(self, points_px: Array, offset_mm: float | None = None) -> Array:
        """Millimetres (n, 2, 2) that one pixel to the right and one pixel down go."""
        px = np.asarray(points_px, float).reshape(-1, 2)
        return np.stack(
            [self.to_mm(px + d, offset_mm) - self.to_mm(px - d, offset_mm)
             for d in ((0.5, 0.0), (0.0, 0.5))], 1,
        )  # fmt: skip

    def varied(self) -> "list[tuple[str, Scale, float]]":
        """Return this scale with each independent cause moved, its name, and its weight.

        Measure with every one of them; the changes of the result in squares, each times its
        weight, add up to the squared standard uncertainty from the scale. The names are
        "marking", "lens", "tilt", "size" and "plane" (the offset).
        """
        moved = [
            (v.why, replace(self, camera=v.camera, pose=v.pose), v.weight) for v in self.variants
        ]
        if self.u_size:
            moved.append(("size", self._grown(1 + self.u_size), 1.0))
        elif not self.variants and self.u:  # made by hand: all that is known is `u`
            moved.append(("scale", self._grown(1 + self.u), 1.0))
        if self.u_offset_mm:
            raised = replace(self, offset_mm=self.offset_mm + self.u_offset_mm)
            moved.append(("plane", raised, 1.0))
        return moved

    def _grown(self, by: float) -> "Scale":
        """The same picture of a reference `by` times as large."""
        pose = Pose(self.pose.rotation, self.pose.shift * by)
        return replace(self, pose=pose, mm_per_px=self.mm_per_px * by)

    def u_at(self, points_px: Array, offset_mm: float | None = None) -> Value:
        """Return the relative standard uncertainty of lengths at a place, and what it is made of.

        Parameters
        ----------
        points_px : (n, 2) array
            Where in the photo, such as the corners of a face; the mean over them counts.
        offset_mm : float, optional
            Of the measured plane; the scale's own when not given.

        Returns
        -------
        Value
            1 ± u without a unit; `.parts` names the causes. Grows away from the reference when
            its tilt is not well known.
        """
        base = self._lengths(points_px, offset_mm)
        parts: dict[str, float] = {}
        for why, moved, weight in self.varied():
            shifted = offset_mm
            if offset_mm is not None and why == "plane":
                shifted = offset_mm + self.u_offset_mm
            change = float(np.nanmean(moved._lengths(points_px, shifted) / base)) - 1
            parts[why] = float(np.hypot(parts.get(why, 0.0), math.sqrt(weight) * change))
        return Value(1.0, float(np.hypot.reduce([*parts.values(), 0.0])), "", parts)

    def _lengths(self, points_px: Array, offset_mm: float | None) -> Array:
        """Millimetres of one pixel to the right and one down, (n, 2)."""
        return np.asarray(np.linalg.norm(self._steps(points_px, offset_mm), axis=-1))

    def to_frame(self) -> Any:
        """Return one row: kind, pixels a millimetre, its uncertainty, tilt, offset, notes."""
        import pandas as pd

        return pd.DataFrame(
            {
                "kind": [self.kind],
                "px_per_mm": [1 / self.mm_per_px],
                "u_percent": [100 * self.u],
                "tilt_deg": [self.tilt_deg],
                "u_tilt_deg": [self.u_tilt_deg],
                "offset_mm": [self.offset_mm],
                "notes": ["; ".join(self.notes)],
            }
        )

    def _repr_html_(self) -> str:
        from html import escape

        return f"<p>{escape(str(self))}</p>"


def scale(
    photo: Any, kind: str, *, offset_mm: float = 0.0, u_offset_mm: float = 0.0, **of: Any
) -> Scale:
    """Find the reference in a photo.

    Parameters
    ----------
    photo : Photo
        From `kit.photo.read`.
    kind : str
        "card" (the kit's own, ``python -m kit card``), "marker" (dictionary="DICT_4X4_50", id=5,
        side_mm=40), "checkerboard" (inner_corners=(7, 5), square_mm=6), "disc" (diameter_mm=25,
        and box= or at= where there are several), "ruler" (points=[(x, y), (x, y)], mm=100,
        tick_mm=1), "points" (points=[(x, y), (x, y)], mm=40) or "scanner" (dpi=600).
    offset_mm, u_offset_mm : float
        How far the measured plane or axis lies in front of (above) the reference, and the
        standard uncertainty of that.
    **of
        What the kind needs, as above; `u_mm` for the standard uncertainty of its size.

    Raises
    ------
    InputError
        An argument is missing, unknown or impossible.
    DataError
        The reference is not found, cut off, too small, too steep or blurred: with what to do.
    """
    check_photo(photo)
    one_of("kind", kind, KINDS)
    _check_offset(offset_mm, u_offset_mm)
    found: Scale = _finder(kind)(photo, **checked(kind, of))
    return replace(found, offset_mm=float(offset_mm), u_offset_mm=float(u_offset_mm))


def _check_offset(offset_mm: float, u_offset_mm: float) -> None:
    for name, given, least in (("offset_mm", offset_mm, -500), ("u_offset_mm", u_offset_mm, 0)):
        number = as_number(given)
        if number is None or not least <= number <= 500:
            raise InputError(name, given, f"must lie between {least} and 500 mm")


def _finder(kind: str) -> Callable[..., Scale]:
    found: Callable[..., Scale] = import_module(f"kit.photo.references.{kind}").find
    return found


def checked(kind: str, of: Mapping[str, Any]) -> dict[str, Any]:
    """Return what a kind of reference takes, or say what is missing or unknown.

    Parameters
    ----------
    kind : str
        One of `KINDS`.
    of : mapping
        As for `scale`, the offset left out.

    Raises
    ------
    InputError
    """
    import inspect

    known = inspect.signature(_finder(kind)).parameters
    takes = [name for name in known if name != "photo"]
    for name in of:
        if name not in takes:
            rule = f"is no argument of the kind {kind!r}, which takes {', '.join(takes)}"
            raise InputError(name, of[name], rule)
    for name in takes:
        if known[name].default is inspect.Parameter.empty and of.get(name) is None:
            raise InputError(name, None, f"must be given for the kind {kind!r}")
    return dict(of)
