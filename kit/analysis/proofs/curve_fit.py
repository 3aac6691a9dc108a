"""Least squares of a curve y = f(x, θ) that is not straight in its parameters.

The minimum is sought by `scipy.optimize.least_squares`, the parameters scaled by the columns of
the Jacobian. Derivatives are those given, else by the complex step (Squire & Trapp 1998, SIAM
Review 40:110), exact to rounding, else by differences. Covariance and t intervals are those of
the tangent plane at the minimum (Seber & Wild 1989, *Nonlinear Regression*, ch. 5).
"""

import warnings
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import Any

import numpy as np

from kit.alike import Alike
from kit.analysis.moments import Floats
from kit.errors import DataError, InputError

__all__ = ["Curve", "CurveFit", "fit_curve"]

#: f(x, θ): predictions, shape (n,), for θ of shape (p,)
Curve = Callable[[Any, Any], Any]
_STEP = 1e-30
_TIGHT = 1e-15


@dataclass(frozen=True)
class CurveFit(Alike):
    """A fitted curve and what its parameters are known to.

    A helper of results (`rise`, `forecast`), not one itself: it draws nothing.

    Parameters
    ----------
    names : tuple of str
    theta : array, shape (p,)
    covariance : array, shape (p, p)
        Not finite in parameters that the readings cannot tell.
    rss : float
        Sum of squares of the (weighted) residuals.
    df : float
        Of the t intervals: n − p, or infinite where the stated uncertainties explain the misfit.
    scale : float
        Factor of the variances: the residual variance, or with stated uncertainties
        max(1, rss/(n − p)).
    stated : bool
        Whether uncertainties of the readings were given.
    n : int
    level : float
        Of the intervals.
    checks : tuple of str
    jacobian : callable
        As `fit_curve`'s derivatives, given or found.
    """

    names: tuple[str, ...]
    theta: Floats
    covariance: Floats
    rss: float
    df: float
    scale: float
    stated: bool
    n: int
    level: float
    checks: tuple[str, ...]
    jacobian: Callable[[Any, Floats], Any] = field(repr=False)

    @property
    def se(self) -> Floats:
        """Standard errors, shape (p,)."""
        out: Floats = np.sqrt(np.diag(self.covariance))
        return out

    @property
    def sd(self) -> float:
        """Residual standard deviation (in units of the stated uncertainty where there is one)."""
        return float(np.sqrt(self.rss / (self.n - len(self.theta))))

    def quantile(self) -> float:
        """Two-sided t (or normal) quantile of the intervals."""
        from scipy import special

        chance = (1 + self.level) / 2
        if np.isinf(self.df):
            return float(special.ndtri(chance))
        return float(special.stdtrit(self.df, chance))

    def __repr__(self) -> str:
        parts = ", ".join(f"{k} {v:.4g}" for k, v in zip(self.names, self.theta, strict=True))
        return f"<CurveFit {parts}>"


def fit_curve(
    curve: Curve,
    x: Any,
    y: Any,
    start: Sequence[float] | Sequence[Sequence[float]] | Sequence[Floats] | Floats,
    u: Any = None,
    names: Sequence[str] | None = None,
    bounds: tuple[Any, Any] | None = None,
    derivatives: Callable[[Any, Floats], Any] | None = None,
    level: float = 0.95,
) -> CurveFit:
    """Fit a curve by least squares.

    Parameters
    ----------
    curve : callable
        ``curve(x, theta)`` returns predictions, shape (n,).
    x : array
        Handed to `curve` as it is.
    y : array, shape (n,)
    start : array, shape (p,) or (starts, p)
        Several starts are all tried and the lowest minimum is kept.
    u : float or array, shape (n,), optional
        Standard uncertainty of each y. They are taken as they are unless the residuals are
        larger than they explain; then they are enlarged to fit.
    names : sequence of str, optional
    bounds : (low, high), optional
        Each a number or of shape (p,). A parameter that ends at a bound is held there: it has
        no standard error.
    derivatives : callable, optional
        ``derivatives(x, theta)`` returns the Jacobian, shape (n, p). The complex step when not
        given, where the curve takes complex numbers; differences otherwise.
    level : float
        Of the intervals.

    Returns
    -------
    CurveFit

    Raises
    ------
    DataError
        Fewer readings than parameters and one, or no start from which a minimum is found.
    InputError
        A reading that is not finite, or an uncertainty not above 0.

    Examples
    --------
    >>> t = np.array([0.0, 1.0, 2.0, 3.0])
    >>> fit_curve(lambda x, b: b[0] * np.exp(b[1] * x), t, [1.0, 2.1, 3.9, 8.2], [1, 1])
    <CurveFit b1 0.9793, b2 0.707>
    """
    y = np.asarray(y, dtype=float)
    starts = np.atleast_2d(np.asarray(start, dtype=float))
    p = starts.shape[1]
    if not np.isfinite(y).all():
        at = int(np.flatnonzero(~np.isfinite(y))[0])
        raise InputError("y", float(y[at]), "must be a finite number", where=f"reading {at + 1}")
    if len(y) <= p:
        msg = f"{len(y)} readings cannot tell {p} parameters and their spread: {p + 1} or more can."
        raise DataError(msg)
    known = u is not None
    weight = _weights(u, len(y))
    jacobian: Callable[[Any, Floats], Any] = derivatives or partial(
        _way(curve, x, starts[0]), curve
    )
    best = None
    for one in starts:
        found = _minimum(curve, x, y, weight, one, bounds, jacobian)
        if found is not None and (best is None or found[1] < best[1]):
            best = found
    if best is None:
        msg = "no minimum was found from these starts. Start nearer to the curve that is expected."
        raise DataError(msg)
    theta, rss = best
    free = np.ones(p, dtype=bool)
    labels = tuple(names) if names is not None else tuple(f"b{i + 1}" for i in range(p))
    checks: list[str] = []
    if bounds is not None:
        low, high = (np.broadcast_to(np.asarray(b, dtype=float), (p,)) for b in bounds)
        size = 1e-6 * (1 + np.abs(theta))
        free = (theta > low + size) & (theta < high - size)
        for i in np.flatnonzero(~free):
            checks.append(f"{labels[i]} went to the end of what was allowed and was held there")
    variance = rss / (len(y) - p)
    scale = max(1.0, variance) if known else variance
    covariance = np.zeros((p, p))
    rows = np.asarray(jacobian(x, theta), dtype=float)[:, free] * weight[:, None]
    inverse = _inverse_square(rows)
    # parameters that cannot be told stay so, also where the curve goes through every reading
    covariance[np.ix_(free, free)] = scale * inverse if np.isfinite(inverse).all() else np.inf
    covariance[~free, ~free] = np.nan if (~free).any() else 0.0
    if not np.isfinite(np.diag(covariance)[free]).all():
        checks.append("the readings cannot tell all parameters apart")
    return CurveFit(
        names=labels,
        theta=theta,
        covariance=covariance,
        rss=rss,
        df=np.inf if known and variance <= 1 else float(len(y) - p),
        scale=scale,
        stated=known,
        n=len(y),
        level=level,
        checks=tuple(checks),
        jacobian=jacobian,
    )


def _weights(u: Any, n: int) -> Floats:
    if u is None:
        return np.ones(n)
    spread = np.broadcast_to(np.asarray(u, dtype=float), (n,))
    if not (np.isfinite(spread) & (spread > 0)).all():
        bad = float(spread[~(np.isfinite(spread) & (spread > 0))][0])
        raise InputError("u", bad, "must be above 0", "Give the standard uncertainty of a reading.")
    return 1 / spread


def _way(curve: Curve, x: Any, theta: Floats) -> Callable[[Curve, Any, Floats], Floats]:
    """How derivatives are had of a curve that comes without."""
    # a curve that cannot take complex numbers gives none back, refuses, or drops a part
    with warnings.catch_warnings():
        warnings.simplefilter("error", np.exceptions.ComplexWarning)
        try:
            takes = np.iscomplexobj(curve(x, theta + 0j))
        except (TypeError, ValueError, np.exceptions.ComplexWarning):
            takes = False
    return _complex_step if takes else _differences


def _complex_step(curve: Curve, x: Any, theta: Floats) -> Floats:
    moved = theta + 1j * _STEP * np.eye(len(theta))
    return np.column_stack([np.imag(curve(x, row)) / _STEP for row in moved])


def _differences(curve: Curve, x: Any, theta: Floats) -> Floats:
    step = np.cbrt(np.finfo(float).eps) * np.maximum(np.abs(theta), 1e-8)
    return np.column_stack(
        [
            (np.asarray(curve(x, theta + h)) - np.asarray(curve(x, theta - h))) / (2 * h[i])
            for i, h in enumerate(np.diag(step))
        ]
    )


def _minimum(
    curve: Curve,
    x: Any,
    y: Floats,
    weight: Floats,
    start: Floats,
    bounds: Any,
    jacobian: Callable[[Any, Floats], Any],
) -> tuple[Floats, float] | None:
    """θ and residual sum of squares from one start; None where the curve is not finite."""
    from scipy.optimize import least_squares

    def residuals(theta: Floats) -> Floats:
        out: Floats = (np.asarray(curve(x, theta), dtype=float) - y) * weight
        # far off but finite: the search turns back instead of ending
        return np.nan_to_num(out, nan=1e100, posinf=1e100, neginf=-1e100)

    def slopes(theta: Floats) -> Floats:
        rows: Floats = np.asarray(jacobian(x, theta), dtype=float) * weight[:, None]
        return np.nan_to_num(rows, posinf=1e100, neginf=-1e100)

    options: dict[str, Any] = {"jac": slopes, "x_scale": "jac", "max_nfev": 4000}
    with np.errstate(all="ignore"):
        if bounds is None:
            found = least_squares(
                residuals, start, method="lm", ftol=_TIGHT, xtol=_TIGHT, gtol=_TIGHT, **options
            )
        else:
            found = least_squares(
                residuals, start, bounds=bounds, ftol=1e-14, xtol=1e-12, gtol=1e-12, **options
            )
        rss = float(found.fun @ found.fun)
    return (found.x, rss) if np.isfinite(rss) and rss < 1e100 else None


def _inverse_square(rows: Floats) -> Floats:
    """(JᵀJ)⁻¹ by QR of the scaled columns; infinite where columns are alike."""
    if not rows.shape[1]:  # every parameter is held at an end
        return np.empty((0, 0))
    size = np.linalg.norm(rows, axis=0)
    if not (np.isfinite(size) & (size > 0)).all():
        return np.full((rows.shape[1],) * 2, np.inf)
    r = np.linalg.qr(rows / size, mode="r")
    if np.abs(np.diag(r)).min() < 1e-14:
        return np.full((rows.shape[1],) * 2, np.inf)
    half = np.linalg.inv(r) / size[:, None]
    out: Floats = half @ half.T
    return out
