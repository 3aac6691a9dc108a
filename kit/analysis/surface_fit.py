"""A fitted quadratic surface: rows of contrasts, where it is level, joint tests of its parts."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from kit.analysis.dose_set import critical
from kit.analysis.mixed import MixedFit
from kit.analysis.moments import Floats

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

    def rows(self, at: Floats) -> Floats:
        """Rows whose product with the coefficients is the mean at each (x, z), shape (r, p)."""
        names = [str(n) for n in self.fit.coefficients.index]
        rows = np.repeat(self.fit.design.estimable(self.fit.design.grid([])[1]), len(at), axis=0)
        own = {
            self.x: at[:, 0],
            self.z: at[:, 1],
            f"{self.x}:{self.z}": at[:, 0] * at[:, 1],
        }
        for i, f in enumerate((self.x, self.z)):
            found = [n for n in names if n.replace(" ", "") == square(f)]
            own |= {n: at[:, i] ** 2 for n in found}
        for name, column in own.items():
            rows[:, names.index(name)] = column
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
        told = self.fit.linear(row[None, :]).iloc[0]
        change, df = float(told["estimate"]), float(told["df"])
        half = critical(df, self.fit.level) * float(told["se"])
        return Effect(factor, other, at, change, change - half, change + half, df)

    def turning(self) -> Turning | None:
        """Where the surface is level, and what it is there; None when it is nowhere."""
        b = self.fit.coefficients["estimate"]
        half = (self.box[:, 1] - self.box[:, 0]) / 2
        middle = self.box.mean(axis=1)
        quadratic = np.array([
            [b[self._find(self.x)], b[f"{self.x}:{self.z}"] / 2],
            [b[f"{self.x}:{self.z}"] / 2, b[self._find(self.z)]],
        ]) * np.outer(half, half)  # fmt: skip
        slope = np.array([b[self.x], b[self.z]]) * half + 2 * quadratic @ (middle / half)
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
        names = [str(n) for n in self.fit.coefficients.index]
        terms = [self._find(self.x), self._find(self.z), f"{self.x}:{self.z}"]
        rows = np.eye(len(names))[[names.index(term) for term in terms]]
        return bool(self.fit.test(rows)["p"] <= 1 - self.fit.level)

    def _sure_curvature(self, axis: Floats, half: Floats) -> bool:
        """Whether the curvature along an axis surely has its sign (axis taken as given)."""
        names = [str(n) for n in self.fit.coefficients.index]
        row, (p, q) = np.zeros(len(names)), axis * half
        row[names.index(self._find(self.x))] = p**2
        row[names.index(self._find(self.z))] = q**2
        row[names.index(f"{self.x}:{self.z}")] = p * q
        told = self.fit.linear(row[None, :]).iloc[0]
        return bool(
            abs(told["estimate"]) > critical(float(told["df"]), self.fit.level) * told["se"]
        )

    def _find(self, factor: str) -> str:
        """The coefficient of a factor's square."""
        names = [str(n) for n in self.fit.coefficients.index]
        return next(n for n in names if n.replace(" ", "") == square(factor))

    def tests(self, bends: Sequence[str]) -> pd.DataFrame:
        """Joint tests of the parts; linear terms at the middle of the doses."""
        names = [str(n) for n in self.fit.coefficients.index]
        eye = np.eye(len(names))
        middle = self.box.mean(axis=1)
        cross = eye[names.index(f"{self.x}:{self.z}")]
        linear = np.array([eye[names.index(self.x)], eye[names.index(self.z)]])
        linear += np.outer(middle[::-1], cross)
        squares = []
        for i, f in enumerate((self.x, self.z)):
            if f in bends:
                square = eye[names.index(self._find(f))]
                linear[i] += 2 * middle[i] * square
                squares.append(square)
        parts = {"tilt": linear, "working together": cross[None, :]}
        if squares:
            parts["bends"] = np.array(squares)
        return pd.DataFrame({k: self.fit.test(v) for k, v in parts.items()}).T
