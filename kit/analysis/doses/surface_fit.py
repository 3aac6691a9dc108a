"""A fitted quadratic surface: rows of contrasts, where it is level, joint tests of its parts."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from kit.analysis.means import with_interval
from kit.analysis.mixed import MixedFit
from kit.analysis.moments import Floats
from kit.analysis.verdict import sign

__all__ = ["Effect", "Quadratic", "Turning", "hull", "square"]

#: Points along each factor of the grid that is drawn and searched.
GRID = 25


@dataclass(frozen=True)
class Turning:
    """Where the fitted surface is level.

    Parameters
    ----------
    at : (float, float)
    kind : {"peak", "dip", "saddle"}
        Of the fitted surface.
    sure : bool
        Whether both curvatures along its axes surely have their sign. The axes lie where the
        surface came out bent most, so that none is sure unless the bends are, tested jointly.
    inside : bool
        Whether it lies among the doses baked.
    value : float
        The fitted outcome there.
    curvatures : (float, float)
        Eigenvalues of the quadratic part with both factors in units of half their range.
    ridge : bool
        Whether one curvature is not told from zero while the other is: it may be a ridge.
    """

    at: tuple[float, float]
    kind: Literal["peak", "dip", "saddle"]
    sure: bool
    inside: bool
    value: float
    curvatures: tuple[float, float]
    ridge: bool


@dataclass(frozen=True)
class Effect:
    """What a factor does from its lowest to its highest dose, at one dose of the other.

    Parameters
    ----------
    factor, other : str
    at : float
        The other factor's dose.
    change, low, high, df : float
    """

    factor: str
    other: str
    at: float
    change: float
    low: float
    high: float
    df: float


def square(name: str) -> str:
    """A factor's square as it stands in a formula."""
    return f"I({name}**2)"


def hull(baked: Floats, at: Floats) -> NDArray[np.bool_]:
    """Which points lie among those baked, or between them."""
    from scipy.spatial import Delaunay

    low, span = baked.min(axis=0), np.ptp(baked, axis=0)
    net = Delaunay((np.unique(baked, axis=0) - low) / span)
    inside: NDArray[np.bool_] = net.find_simplex((at - low) / span, tol=1e-9) >= 0
    return inside


@dataclass(frozen=True)
class Quadratic:
    """A fitted surface, and rows of contrasts on its coefficients."""

    fit: MixedFit
    x: str
    z: str
    box: Floats

    @cached_property
    def _unit(self) -> dict[str, Floats]:
        """Coefficient, as `square` writes it, to its row of the unit matrix, shape (p,)."""
        names = [str(n).replace(" ", "") for n in self.fit.coefficients.index]
        return dict(zip(names, np.eye(len(names)), strict=True))

    @property
    def _cross(self) -> str:
        return f"{self.x}:{self.z}"

    def rows(self, at: Floats) -> Floats:
        """Rows whose product with the coefficients is the mean at each (x, z), shape (r, p)."""
        rows = np.repeat(self.fit.design.middle, len(at), axis=0)
        x, z = at.T
        own = {
            self.x: x, self.z: z, self._cross: x * z, square(self.x): x**2, square(self.z): z**2,
        }  # fmt: skip
        for name, values in own.items():
            if name in self._unit:
                rows[:, self._unit[name] == 1] = values[:, None]
        return rows

    def mean(self, at: Floats) -> Floats:
        """Fitted outcome, shape (r,)."""
        found: Floats = self.fit.linear(self.rows(at))["estimate"].to_numpy(dtype=float)
        return found

    def grid(self) -> Floats:
        """All pairs of doses, shape (GRID², 2)."""
        sides = [np.linspace(low, high, GRID) for low, high in self.box]
        return np.array([(a, b) for a in sides[0] for b in sides[1]])

    def _corner(self, i: int, own: float, other: float) -> Floats:
        pair = (own, other) if i == 0 else (other, own)
        row: Floats = self.rows(np.array([pair]))[0]
        return row

    def effect(self, i: int, end: int, of: tuple[str, str]) -> Effect:
        """The change over factor i at the other one's lowest (0) or highest (1) dose."""
        at = float(self.box[1 - i, end])
        row = self._corner(i, self.box[i, 1], at) - self._corner(i, self.box[i, 0], at)
        return self._effect(row, of[i], of[1 - i], at)

    def together(self, of: tuple[str, str]) -> Effect:
        """How much more the first does at the second's highest dose than at its lowest."""
        rows = [
            self._corner(0, self.box[0, 1], at) - self._corner(0, self.box[0, 0], at)
            for at in self.box[1]
        ]
        return self._effect(rows[1] - rows[0], of[0], of[1], float(self.box[1, 1]))

    def _effect(self, row: Floats, factor: str, other: str, at: float) -> Effect:
        told = with_interval(self.fit.linear(row[None, :]), self.fit.level).iloc[0]
        numbers = (float(told[name]) for name in ("mean", "low", "high", "df"))
        return Effect(factor, other, at, *numbers)

    def turning(self) -> Turning | None:
        """Where the surface is level, and what it is there; None when it is nowhere."""
        b = self.fit.coefficients["estimate"].to_numpy(dtype=float)
        slopes = np.array([b @ self._unit[self.x], b @ self._unit[self.z]])
        xx, zz = (b @ self._unit[square(f)] for f in (self.x, self.z))
        xz = b @ self._unit[self._cross] / 2
        half = (self.box[:, 1] - self.box[:, 0]) / 2
        middle = self.box.mean(axis=1)
        quadratic = np.array([[xx, xz], [xz, zz]]) * np.outer(half, half)
        slope = slopes * half + 2 * quadratic @ (middle / half)
        if abs(np.linalg.det(quadratic)) <= 1e-12 * np.abs(quadratic).max() ** 2:
            return None
        coded = -np.linalg.solve(quadratic, slope) / 2
        at = middle + coded * half
        curvatures, axes = np.linalg.eigh(quadratic)
        bent = self._bent()
        known = [bent and self._sure_curvature(axis, half) for axis in axes.T]
        kind: Literal["peak", "dip", "saddle"] = "saddle"
        if (curvatures < 0).all() or (curvatures > 0).all():
            kind = "peak" if curvatures[0] < 0 else "dip"
        return Turning(
            at=(float(at[0]), float(at[1])),
            kind=kind,
            sure=all(known),
            inside=bool((np.abs(coded) <= 1).all()),
            value=float(self.mean(at[None, :])[0]),
            curvatures=(float(curvatures[0]), float(curvatures[1])),
            ridge=sum(known) == 1,
        )

    def _bent(self) -> bool:
        """Whether it surely bends at all: squares and product together.

        Closed testing (Marcus, Peritz & Gabriel 1976, Biometrika 63:655).
        """
        terms = (square(self.x), square(self.z), self._cross)
        rows = np.array([self._unit[term] for term in terms])
        return bool(self.fit.test(rows)["p"] <= 1 - self.fit.level)

    def _sure_curvature(self, axis: Floats, half: Floats) -> bool:
        """Whether the curvature along an axis surely has its sign (axis taken as given)."""
        unit, (p, q) = self._unit, axis * half
        row = p**2 * unit[square(self.x)] + q**2 * unit[square(self.z)] + p * q * unit[self._cross]
        told = with_interval(self.fit.linear(row[None, :]), self.fit.level).iloc[0]
        return sign(told["low"], told["high"]) != 0

    def tests(self, bends: Sequence[str]) -> pd.DataFrame:
        """Joint tests of the parts; linear terms at the middle of the doses."""
        unit, middle = self._unit, self.box.mean(axis=1)
        linear = np.array([unit[self.x], unit[self.z]])
        linear += np.outer(middle[::-1], unit[self._cross])
        squares = []
        for i, f in enumerate((self.x, self.z)):
            if f in bends:
                linear[i] += 2 * middle[i] * unit[square(f)]
                squares.append(unit[square(f)])
        parts = {"tilt": linear, "working together": unit[self._cross][None]}
        if squares:
            parts["bends"] = np.array(squares)
        return pd.DataFrame({k: self.fit.test(v) for k, v in parts.items()}).T
