"""A jar or other round container, from its inside."""

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kit.errors import InputError

__all__ = ["Jar"]


@dataclass(frozen=True)
class Jar:
    """A round container: straight, or with a profile.

    Parameters
    ----------
    inner_diameter_mm : float
        Of a straight one, or at the bottom of one with a profile.
    base_thickness_mm : float
        Of the glass under the inside bottom: so much higher than the worktop the dough stands
        (it matters where the reference lies on the worktop).
    height_mm : float or None
        Of the inside; None: as high as needed.
    profile : sequence of (float, float)
        Inside diameters by height over the inside bottom, in millimetres, from the bottom up
        (height, diameter); straight between and beyond. Empty for a straight jar.

    Raises
    ------
    InputError
        A length that is not above 0, or a profile that does not go upwards.

    Examples
    --------
    >>> round(Jar(80).volume_ml(50), 1)
    251.3
    >>> round(Jar(60, profile=[(0, 60), (100, 80)]).volume_ml(100), 1)
    387.5
    """

    inner_diameter_mm: float
    base_thickness_mm: float = 3.0
    height_mm: float | None = None
    profile: Sequence[tuple[float, float]] = ()

    def __post_init__(self) -> None:
        if not self.inner_diameter_mm > 0:
            raise InputError("inner_diameter_mm", self.inner_diameter_mm, "must be above 0")
        if not self.base_thickness_mm >= 0:
            raise InputError("base_thickness_mm", self.base_thickness_mm, "must be 0 or more")
        if self.height_mm is not None and not self.height_mm > 0:
            raise InputError("height_mm", self.height_mm, "must be above 0")
        heights = [h for h, _ in self.profile]
        if any(b <= a for a, b in itertools.pairwise(heights)) or any(
            not d > 0 for _, d in self.profile
        ):
            rule = "must be (height, diameter) pairs from the bottom up, diameters above 0"
            raise InputError("profile", list(self.profile), rule)

    @property
    def heights_mm(self) -> NDArray[np.float64]:
        """Heights of the profile's points."""
        top = self.height_mm or 1e4
        inside = [float(h) for h, _ in self.profile if 0 < h < top]
        return np.array([0.0, *inside, top])

    @property
    def radii_mm(self) -> NDArray[np.float64]:
        """Inside radii at these heights."""
        if not self.profile:
            return np.full(2, self.inner_diameter_mm / 2)
        h, d = np.array(self.profile, float).T
        return np.asarray(np.interp(self.heights_mm, h, d / 2))

    def volume_ml(self, level_mm: float) -> float:
        """What it holds up to a level.

        Raises
        ------
        InputError
            The level is below the bottom or above the rim.
        """
        top = self.heights_mm[-1]
        if not 0 <= level_mm <= top:
            rule = f"must be from 0 to the jar's inside height, {top:g} mm"
            raise InputError("level_mm", float(level_mm), rule, "Measure from the inside bottom.")
        h = np.unique(np.r_[self.heights_mm[self.heights_mm < level_mm], level_mm])
        r = np.interp(h, self.heights_mm, self.radii_mm)
        frustums = np.diff(h) * (r[:-1] ** 2 + r[:-1] * r[1:] + r[1:] ** 2)
        return float(math.pi / 3000 * frustums.sum())

    def area_mm2(self, level_mm: float) -> float:
        """Of its inside at a level: how fast the volume grows with it."""
        return math.pi * float(np.interp(level_mm, self.heights_mm, self.radii_mm)) ** 2
