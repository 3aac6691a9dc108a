"""A jar or other round container, from its inside; and dough in it."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kit.errors import InputError
from kit.given import as_number
from kit.photo.arguments import above_0, floats
from kit.photo.sides.solid import Profile, Solid
from kit.photo.sides.solid_profile import Known, moves, rings

__all__ = ["JAR", "Jar", "JarProfile"]

Array = NDArray[np.float64]

#: what an argument that is to be a jar must be
JAR = "must be a jar, for example Jar(inner_diameter_mm=86)"
#: what is believed of a dome before looking, mean and standard deviation (own choices): its rise
#: in jar radii, how much wider than the jar the whole superellipse is, its power less one
BELIEVED = ((0.15, 0.3, 1.0), (0.5, 1.0, 0.5))
#: where to begin looking: how much wider than the jar
STARTS = (0.05, 1.0)
#: radii the dome is drawn at, from the wall to the middle
_ACROSS = np.cos(np.radians(np.r_[0:60:4.0, 60:90.1:1.5]))


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
        for name in ("inner_diameter_mm", "base_thickness_mm", "height_mm"):
            given = getattr(self, name)
            if given is None and name == "height_mm":
                continue
            number = above_0(name, given, least=name == "base_thickness_mm")
            if not isinstance(given, int | float):  # Decimal and the like mix with no others
                object.__setattr__(self, name, number)
        if isinstance(self.profile, Sequence) and not self.profile:
            return
        pairs = floats(self.profile)
        whole = pairs.ndim == 2 and pairs.shape[1] == 2 and np.isfinite(pairs).all()
        if not (whole and (np.diff(pairs[:, 0]) > 0).all() and (pairs[:, 1] > 0).all()):
            rule = (
                "must say its inside diameter by height: pairs from the bottom up, such as "
                "[(0, 60), (100, 80)], diameters above 0"
            )
            raise InputError("profile", self.profile, rule)

    @property
    def heights_mm(self) -> Array:
        """Heights of the profile's points."""
        top = self.height_mm or 1e4
        inside = [float(h) for h, _ in self.profile if 0 < h < top]
        return np.array([0.0, *inside, top])

    @property
    def radii_mm(self) -> Array:
        """Inside radii at these heights."""
        if not len(self.profile):
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
        level = as_number(level_mm)
        if level is None or not 0 <= level <= top:
            rule = f"must be from 0 to the jar's inside height, {top:g} mm"
            given = level_mm if level is None else level
            raise InputError("level_mm", given, rule, "Measure from the inside bottom.")
        h = np.unique(np.r_[self.heights_mm[self.heights_mm < level], level])
        r = np.interp(h, self.heights_mm, self.radii_mm)
        return Solid(r, h).volume_ml

    def area_mm2(self, level_mm: float) -> float:
        """Of its inside at a level: how fast the volume grows with it."""
        return math.pi * float(np.interp(level_mm, self.heights_mm, self.radii_mm)) ** 2


@dataclass(frozen=True)
class JarProfile:
    """Dough in a jar: to its line as wide as that, then a dome. Told by four numbers.

    Its line over the jar's inside bottom, and three of the dome, the top of a superellipse of which
    the jar lets show the middle: a cap, a flatter one, or one that is level but for its rim.

    Parameters
    ----------
    heights_mm, radii_mm : (m,) arrays
        The jar's inside from its bottom up.
    level_mm : float
        About where the dough's line on the wall is, for a start.
    fee, rival, many_dips
        It is of no other kind, and is begun from each start (`RoundProfile`).
    """

    heights_mm: Array
    radii_mm: Array
    level_mm: float
    fee: float = 0.0
    rival: None = None
    many_dips: bool = True

    def starts(self) -> list[Array]:
        """A low dome, nearly upright at the wall or one of a much wider whole."""
        reach = float(np.interp(self.level_mm, self.heights_mm, self.radii_mm))
        return [np.array([self.level_mm, 0.1 * reach, wider, 1.0]) for wider in STARTS]

    def holding(self, own: Array) -> None:
        """There are no dips (`RoundProfile.holding`)."""
        return None

    def points(self, q: Array) -> tuple[Array, Array]:
        """Radii and heights from the jar's bottom to the top, (..., k), for numbers (..., 4)."""
        level, rise, wider, power = (
            np.maximum(x, least)[..., None]
            for x, least in zip(np.moveaxis(q, -1, 0), (0.1, 0, 0, 0), strict=True)
        )
        line = np.interp(level, self.heights_mm, self.radii_mm)
        p = 1 + np.clip(power, 0.15, 25)
        drop = 1 - (1 - np.clip(_ACROSS / (1 + wider), 0, 1) ** p) ** (1 / p)
        dome = level + rise * (1 - drop / np.maximum(drop[..., :1], 1e-9))
        bottom = np.broadcast_to(0.0, level.shape)
        return (
            np.concatenate([bottom + self.radii_mm[0], line * _ACROSS], -1),
            np.concatenate([bottom, dome], -1),
        )

    def at(self, q: Array) -> Profile:
        """The rings for numbers `q`."""
        return rings(*self.points(q))

    def moves(self, q: Array) -> tuple[Array, Array]:
        """How fast each ring's radius and height go with each number, (k, 4) each."""
        return moves(self.points, q, np.array([0.01, 0.01, 1e-4, 1e-4]))

    def known(self, q: Array) -> Known:
        """What is believed, near `q`: nothing of the line."""
        mean, sd = np.array(BELIEVED) * (self.radii_mm.max(), 1.0, 1.0)
        rows = np.hstack([np.zeros((3, 1)), np.diag(1 / sd)])
        return Known(rows, mean / sd)
