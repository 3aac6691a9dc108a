"""Kenward–Roger: an honest covariance of the coefficients, and degrees of freedom.

Kenward & Roger (1997), Biometrics 53:983, in the form of Halekoh & Højsgaard (2014), J Stat Softw
59(9), section 6 (adjusted covariance, F scaling and degrees of freedom).
"""

from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kit.analysis.model.blocks import Blocks
from kit.analysis.model.likelihood import Point, information_of
from kit.analysis.moments import Floats
from kit.errors import DesignError, KitError

__all__ = ["Estimate", "each_df", "f_test", "finish", "single_df"]

#: With a grouping's variance so many times the pieces', these fit by chance and say nothing.
_MOST = 1e8


@dataclass(frozen=True)
class Estimate:
    """Variance components, coefficients and what Kenward–Roger needs; trials first if many.

    Parameters
    ----------
    variance : float array, shape (K + 1,)
        Groupings in order, residual last. May be negative with ``variance="free"``.
    beta : float array, shape (p,)
    phi, phi_adjusted : float arrays, shape (p, p)
        Model covariance of beta, and with the Kenward–Roger adjustment.
    p_matrices, w : float arrays, shapes (K + 1, p, p), (K + 1, K + 1)
        P_i of the paper; covariance of the variance estimates (twice the inverse expected
        information).
    criterion : float
        −2 log restricted likelihood without log|X'X|-type constants of the coding.
    """

    variance: Floats
    beta: Floats
    phi: Floats
    phi_adjusted: Floats
    p_matrices: Floats
    w: Floats
    criterion: Floats

    def __getitem__(self, trial: Any) -> "Estimate":
        """Of one trial, or of some."""
        return Estimate(*(getattr(self, f.name)[trial] for f in fields(self)))


def finish(
    blocks: Blocks, at: Point, inverse: Floats | None = None
) -> tuple[Estimate, dict[int, KitError]]:
    """Variances, and the covariance adjusted; trials whose components cannot be told apart."""
    p, s2 = blocks.rank, at.sigma2[:, None, None]
    phi = s2 * at.a_inverse
    sizes = np.linalg.eigvalsh(phi)
    blurred = sizes[:, 0] <= 1e-15 * sizes[:, -1]  # next to no spread is left within the groups
    blurred |= (at.ratio > _MOST).any(axis=1)
    if inverse is None:
        inverse, bad = _inverse_information(information_of(blocks, at))
        blurred |= bad
    msg = (
        f"too few pieces for so many groupings: the spread of {', '.join(blocks.names)} and piece "
        "cannot be told apart. Leave a grouping out, or bake more."
    )
    problems: dict[int, KitError] = {int(i): DesignError(msg) for i in np.flatnonzero(blurred)}
    p_matrices = -at.g[:, :, :p, :p] / s2[..., None] ** 2
    q_matrices = at.q[..., :p, :p] / s2[..., None, None] ** 3
    w = 2 * s2**2 * inverse
    # Σ w_ij (Q_ij − P_i Φ P_j): the second sum as Σ_i P_i Φ (Σ_j w_ij P_j)
    weighted = np.einsum("tij,tjkl->tikl", w, p_matrices)
    inner = np.einsum("tij,tijkl->tkl", w, q_matrices)
    inner = inner - (p_matrices @ phi[:, None] @ weighted).sum(axis=1)
    # the adjustment is never negative; where it is zero (balanced data) rounding may say so
    root = np.linalg.cholesky(np.where(blurred[:, None, None], np.eye(p), phi))
    turned = np.swapaxes(root, 1, 2) @ (inner + np.swapaxes(inner, 1, 2)) @ root
    size, axes = np.linalg.eigh(turned)
    side = root @ axes
    more = (side * np.maximum(size, 0.0)[:, None]) @ np.swapaxes(side, 1, 2)
    variance = np.concatenate([at.ratio, np.ones((len(at.ratio), 1))], axis=1)
    variance = variance * at.sigma2[:, None]
    return Estimate(variance, at.beta, phi, phi + more, p_matrices, w, at.criterion), problems


def _inverse_information(information: Floats) -> tuple[Floats, NDArray[np.bool_]]:
    """Inverse of the expected information, scaled first, and where there is none."""
    diagonal = np.diagonal(information, axis1=1, axis2=2)
    bad: NDArray[np.bool_] = np.any(diagonal <= 0, axis=1)
    root = 1 / np.sqrt(np.where(bad[:, None], 1.0, diagonal))
    scale = root[:, :, None] * root[:, None]
    size, axes = np.linalg.eigh((information + np.swapaxes(information, 1, 2)) / 2 * scale)
    bad |= size[:, 0] <= 1e-13
    size = np.where(bad[:, None], 1.0, size)
    return scale * ((axes / size[:, None]) @ np.swapaxes(axes, 1, 2)), bad


def _traces(fit: Estimate, theta: Floats) -> tuple[Floats, Floats]:
    """A₁ and A₂ of Kenward & Roger for Θ = Lᵀ(LΦLᵀ)⁻¹L."""
    phi = fit.phi[..., None, :, :]
    tp = theta[..., None, :, :] @ phi @ fit.p_matrices @ phi  # (…, K + 1, p, p)
    single = np.trace(tp, axis1=-2, axis2=-1)
    a1 = np.einsum("...i,...ij,...j->...", single, fit.w, single)
    pairs = np.einsum("...ikl,...jlk->...ij", tp, tp)
    return a1, (fit.w * pairs).sum(axis=(-2, -1))


def single_df(fit: Estimate, contrast: Floats) -> Any:
    """Degrees of freedom of one contrast: 2/A₂ (the scale is then exactly 1); one a trial."""
    side = fit.phi @ contrast
    variance = side @ contrast
    each = np.einsum("...i,...kij,...j->...k", side, fit.p_matrices, side)
    a2 = np.einsum("...i,...ij,...j->...", each, fit.w, each) / variance**2
    return 2.0 / a2


def each_df(fit: Estimate, contrasts: Floats) -> Floats:
    """Degrees of freedom of each of several contrasts (rows) of one trial; see `single_df`."""
    side = contrasts @ fit.phi
    variance = (side * contrasts).sum(axis=1)
    each = ((side @ fit.p_matrices) * side).sum(axis=2).T  # (rows, K + 1)
    df: Floats = 2.0 * variance**2 / ((each @ fit.w) * each).sum(axis=1)
    return df


def f_test(fit: Estimate, beta: Floats, contrasts: Floats) -> tuple[int, Any, Any]:
    """Kenward–Roger F test that ``contrasts @ beta`` is zero, of one trial or of many.

    Parameters
    ----------
    beta : float array, shape (p,) or (T, p)
        The coefficients (those of `fit` when it was given the outcome as it is).
    contrasts : float array, shape (r, p)

    Returns
    -------
    num_df, den_df, F
        F is scaled.
    """
    _, singular, vt = np.linalg.svd(np.atleast_2d(contrasts))
    q = int((singular > 1e-9 * singular[0]).sum())
    basis = vt[:q]
    value = beta @ basis.T
    solved = np.linalg.solve(basis @ fit.phi_adjusted @ basis.T, value[..., None])[..., 0]
    statistic = (value * solved).sum(axis=-1) / q
    if q == 1:
        return 1, single_df(fit, basis[0]), statistic
    theta = basis.T @ np.linalg.inv(basis @ fit.phi @ basis.T) @ basis
    a1, a2 = _traces(fit, theta)
    b = (a1 + 6 * a2) / (2 * q)
    g = ((q + 1) * a1 - (q + 4) * a2) / ((q + 2) * a2)
    base = 3 * q + 2 * (1 - g)
    c1, c2, c3 = g / base, (q - g) / base, (q + 2 - g) / base
    v0, v1, v2 = 1 + c1 * b, 1 - c2 * b, 1 - c3 * b
    # written with 1/(q·rho), which is finite where F has no variance (4 df: v2 = 0)
    shrink = 1 - a2 / q
    flat = np.abs(shrink) <= 1e-10
    part = np.where(flat, 1.0, v1 / np.where(flat, 1.0, shrink))
    inverse = part**2 * v2 / v0
    den = 4 + (q + 2) * inverse / (1 - inverse)
    unscaled = np.abs(den - 2) < 1e-2
    scale = np.where(unscaled, 1.0, den * shrink / np.where(unscaled, 1.0, den - 2))
    return q, den, scale * statistic
