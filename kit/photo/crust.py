"""How brown: the colour of faces in one photo, by patches of known brightness beside them.

Light and tone curve come from the patches (`kit.photo.browned.light`), so that L*, a*, b* are
those of the face in daylight (D65), whatever lamp and phone took the picture. A phone's own
colours differ from the eye's in ways grey patches cannot show: compare faces taken with one phone.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from kit.errors import DataError, InputError
from kit.photo.browned.face_colour import DARK, Face, measure_face
from kit.photo.browned.grey_patch import as_polygon, read_patches, see_ground
from kit.photo.browned.light import GroundSeen, Light, PatchSeen, fit_light
from kit.photo.picture import Photo
from kit.photo.pixels.colour import delta_e00
from kit.photo.value import Value, combined
from kit.shown import Telling, Told

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from kit.photo.reference import Scale

__all__ = ["DARK", "Browning", "Face", "browning"]

Array = NDArray[np.float64]

_FACE_PX, _PATCH_PX = 240, 24  # shorter sides wanted of what is measured
_WRONG = 60.0  # mean square misfit of patches that were mixed up


@dataclass(frozen=True)
class Browning(Told):
    """The colours of the faces in one photo.

    Parameters
    ----------
    faces : tuple of Face
        In the order they were given.
    misfit : float
        Mean square of the patches' disagreement in standard deviations: 1 or below is well.
    notes : tuple of str
    """

    faces: tuple[Face, ...]
    misfit: float
    notes: tuple[str, ...] = ()

    @property
    def dark_below(self) -> float:
        """L* below which a pixel counts as dark."""
        return DARK

    @property
    def lab(self) -> Array:
        """Mean L*, a*, b* of each face, (faces, 3)."""
        return np.array([f.lab for f in self.faces])

    @property
    def lightness(self) -> tuple[Value, ...]:
        """L* of each face with its uncertainty."""
        return tuple(f.lightness for f in self.faces)

    @property
    def dark_fraction(self) -> tuple[Value, ...]:
        """Share of each face darker than `DARK`."""
        return tuple(f.dark_fraction for f in self.faces)

    @property
    def delta_e00(self) -> Array:
        """CIEDE2000 differences between the faces' mean colours, (faces, faces)."""
        lab = self.lab
        return delta_e00(lab[:, None, :], lab[None, :, :])

    def difference(self, i: int, j: int) -> Value:
        """Return the CIEDE2000 difference of two faces with its uncertainty.

        What light and curve do to both faces alike cancels.
        """
        one, two = self.faces[i], self.faces[j]
        middle = float(delta_e00(one.lab, two.lab))
        if i == j:
            return Value(0.0, 0.0)
        moved = delta_e00(one.lab + one._shift, two.lab + two._shift) - middle
        own = []
        for face, other in ((one, two), (two, one)):
            for axis, value in enumerate((face.lightness, face.a, face.b)):
                step = np.zeros(3)
                step[axis] = np.hypot(value.parts["outline"], value.parts["unevenness"])
                own.append(float(delta_e00(face.lab + step, other.lab)) - middle)
        return combined(middle, light=float(np.linalg.norm(moved)), face=float(np.linalg.norm(own)))

    @property
    def headline(self) -> str:
        """Lightness of every face."""
        told = ", ".join(f"{f.lightness.value:.0f}" for f in self.faces)
        return f"L* {told} (0 black, 100 white)."

    @property
    def sentence(self) -> str:
        """How dark and how uneven, and how different the faces are."""
        texts = []
        for i, f in enumerate(self.faces, 1):
            texts.append(
                f"Face {i}: L* {f.lightness}, a* {f.a}, b* {f.b}; "
                f"{100 * f.dark_fraction.value:.0f} % darker than L* {DARK:.0f}; "
                f"L* differs by {f.unevenness.value:.1f} over the face."
            )
        if len(self.faces) == 2:
            d = self.difference(0, 1)
            texts.append(f"The two differ by ΔE00 {d} (about 1 can just be seen).")
        return " ".join(texts)

    @property
    def checks(self) -> tuple[str, ...]:
        """What to know before trusting it."""
        own = [f"face {i}: {note}" for i, f in enumerate(self.faces, 1) for note in f.notes]
        return (*self.notes, *own)

    @property
    def method(self) -> str:
        """Method and sources, for a statistician."""
        return (
            "For the statistician: mean CIE 1976 L*a*b* (D65) over each face's pixels; tone curve "
            "and light by penalised least squares on the patches in linear light; first-order "
            "uncertainties; differences by CIEDE2000 (Sharma, Wu and Dalal 2005)."
        )

    def __repr__(self) -> str:
        told = ", ".join(f"{f.lightness.value:.1f} ± {f.lightness.u:.1f}" for f in self.faces)
        return f"<Browning of {len(self.faces)} faces: L* {told}>"

    def tells(self) -> Telling:
        """What it says."""
        return Telling(self.headline, (self.sentence,), self.checks, self.method)

    def to_frame(self) -> pd.DataFrame:
        """One row a face and quantity: ``face, name, value, u, low, high``."""
        rows = []
        for i, f in enumerate(self.faces, 1):
            for name in ("lightness", "a", "b", "dark_fraction", "unevenness"):
                value: Value = getattr(f, name)
                rows.append((i, name, value.value, value.u, *value.interval(0.95)))
        return pd.DataFrame(rows, columns=["face", "name", "value", "u", "low", "high"])

    def plot(self, ax: "Axes | None" = None) -> "Axes":
        """Draw L* of every face with its interval, in the face's own colour."""
        from kit import charts

        return charts.browning(self, ax)


def browning(
    photo: Photo,
    faces: Sequence[Any],
    patches: Sequence[Sequence[Any]] = (),
    scale: "Scale | None" = None,
) -> Browning:
    """Measure the colour of faces in a photo.

    Parameters
    ----------
    photo : Photo
    faces : sequence of boxes (x0, y0, x1, y1) or polygons (n, 2)
        In pixels. In a box the face is found; a polygon is taken as it is.
    patches : sequence of (box or polygon, reflectance) or (…, reflectance, u)
        Grey patches beside the faces: reflectance from 0 to 1 (or three for red, green and
        blue) and its relative standard uncertainty (0 when not said). White, grey and black on
        both sides are best; burnt-out ones are left out with a word.
    scale : Scale, optional
        Of our own card: its patches are used too.

    Returns
    -------
    Browning

    Raises
    ------
    InputError
        A face or patch that cannot be.
    DataError
        No patches, none usable, or patches that contradict one another.
    """
    if not len(faces):
        raise InputError("faces", list(faces), "must name at least one face", "Draw a box.")
    known = [*patches, *(scale.reading.patches if scale is not None and scale.reading else ())]
    if not known:
        msg = (
            f"{photo.name} shows no patch of known brightness: lamp and phone change L* by 5 and "
            "more, so that the colour cannot be told. Retake it with the card beside the muffin."
        )
        raise DataError(msg)
    regions = [as_polygon(f, f"face {i}") for i, f in enumerate(faces, 1)]
    marked = [as_polygon(p[0], f"patch {i}") for i, p in enumerate(known, 1)]
    pixels, k = _enough(photo, regions, marked)
    seen, notes = read_patches(pixels, k, known)
    around = see_ground(pixels, k, [*regions, *marked])
    light = _light(photo, seen, around, notes)
    found = [
        measure_face(pixels, k, region, np.ndim(face) == 1, light, f"face {i}")
        for i, (face, region) in enumerate(zip(faces, regions, strict=True), 1)
    ]
    return Browning(tuple(found), light.misfit, tuple(notes))


def _enough(photo: Photo, faces: list[Array], patches: list[Array]) -> tuple[Any, float]:
    """The photo, decoded no larger than its faces and patches need."""
    k = min(
        min(float(np.ptp(region, axis=0).min()) for region in kind) / wanted
        for kind, wanted in ((faces, _FACE_PX), (patches, _PATCH_PX))
    )
    longest = max(photo.width, photo.height)
    return photo.reduced(longest if k < 1.3 else round(longest / k))


def _light(
    photo: Photo, seen: list[PatchSeen], around: GroundSeen | None, notes: list[str]
) -> Light:
    if not any(p.usable.all() for p in seen):
        msg = (
            f"every patch in {photo.name} is burnt out or black. Retake it with less light on the "
            "card, or tap on the card to let the phone set its exposure there."
        )
        raise DataError(msg)
    light = fit_light(seen, photo.width, photo.height, around)
    if light.misfit > _WRONG or not light.rises:
        msg = (
            f"the patches in {photo.name} contradict one another: brighter ones should reflect "
            "more. See whether the reflectances belong to the right boxes and nothing shines or "
            "throws a shadow on one of them, or retake it."
        )
        raise DataError(msg)
    if light.misfit > 3:
        notes.append("the patches agree badly: uneven light, a shadow or a reflection on one?")
    if len({tuple(np.round(p.reflectance, 3)) for p in seen}) < 3:
        notes.append("fewer than three kinds of patches: the phone's tone curve is hardly known")
    return light
