"""What is expected of a dough before it is read: the baker's earlier curves, or usual practice.

A curve is Gompertz or logistic, which a few readings do not tell apart (`rise`), with φ = (log
gain, log top speed, log hours to the fastest moment). Doughs vary about a mean: φ ~ N(m, Σ), with
the conjugate normal–inverse-Wishart prior on m and Σ (Gelman et al., *Bayesian Data Analysis*, 3rd
ed., ch. 3.6), so that a new dough's φ follows a multivariate t that holds the errors of both m and
Σ. That each earlier curve is itself known with an error is taken out of the spread by
expectation–maximisation (Dempster, Laird & Rubin 1977).
"""

from dataclasses import dataclass
from functools import partial

import numpy as np
import pandas as pd

from kit.analysis.moments import Floats
from kit.analysis.proofs.curve_fit import fit_curve
from kit.analysis.proofs.models import SHAPES, Shape
from kit.analysis.proofs.readings import read_rise
from kit.errors import DataError

__all__ = ["Earlier", "Expected", "double", "expect", "fit_earlier", "ratio"]

_GOMPERTZ = SHAPES["gompertz"]
#: A curve of usual practice, by its name: gains 1.8 volumes in the end and is fastest at three
#: quarters of the time to double. Own choice, no source.
_GAIN, _SPEED, _FASTEST = 1.8, {"gompertz": 1.78, "logistic": 1.38}, 0.75
#: Spread from dough to dough before any is seen, on the logarithm: of the gain, of the speed and
#: of the fastest moment by themselves, and of the pace, which moves both. Own estimate, no source.
_OWN, _PACE_SD = np.array([0.3, 0.2, 0.3]), 0.35
#: Kitchens of which nothing is known differ more in pace than the doughs of one. Own estimate, no
#: source; with the spread of one kitchen, half of the doughs that double in an hour were earlier
#: than their interval.
_FIRST_PACE_SD = 0.6
PACE = np.array([0.0, -1.0, 1.0])
#: Usual practice counts as half a dough for the mean, and as weakly as can be for the spread.
_WORTH, _DF, _P = 0.5, 5.0, 3
#: Spread of a reading about the curve, and how many readings that guess counts as. Own estimate,
#: no source.
_NOISE, _NOISE_DF = 0.04, 4.0
_LEAST = 4


def ratio(hours: Floats, phi: Floats, shape: Shape = _GOMPERTZ) -> Floats:
    """Proof ratio at φ; `hours` and leading axes of `phi` broadcast together."""
    return shape.ratio(hours, _theta(phi))


def double(phi: Floats, shape: Shape = _GOMPERTZ) -> Floats:
    """Hours to double at φ, infinite where it levels off before."""
    return shape.reach(2.0, _theta(phi))


def _theta(phi: Floats) -> Floats:
    return np.concatenate([phi[..., :2], np.exp(np.minimum(phi[..., 2:], 20.0))], axis=-1)


@dataclass(frozen=True)
class Earlier:
    """Curves of earlier doughs: estimates and how well each is known.

    Parameters
    ----------
    doughs : tuple
        Their names.
    phi : array, shape (doughs, 3)
    precision : array, shape (doughs, 3, 3)
        Of a spread of 1 from reading to reading.
    rss : float
    df : float
        Residual sum of squares of all curves, and its degrees of freedom.
    left_out : tuple
        Doughs with too few readings.
    """

    doughs: tuple[object, ...]
    phi: Floats
    precision: Floats
    rss: float
    df: float
    left_out: tuple[object, ...]


@dataclass(frozen=True)
class Expected:
    """A multivariate t for the φ of a new dough, and a spread of readings.

    Parameters
    ----------
    centre : array, shape (3,)
    scale : array, shape (3, 3)
    df : float
    noise : float
        Spread of a reading about the curve.
    noise_df : float
    shape : Shape
    """

    centre: Floats
    scale: Floats
    df: float
    noise: float
    noise_df: float
    shape: Shape = _GOMPERTZ

    @property
    def log_evidence(self) -> float:
        """Log likelihood of the shape by the earlier curves, their unknowns integrated out.

        Scaled inverse chi-square for the spread; curves count by their degrees of freedom.
        """
        return -self.noise_df * float(np.log(self.noise))


def fit_earlier(frame: pd.DataFrame, shape: Shape = _GOMPERTZ) -> Earlier:
    """Fit the curve of every earlier dough.

    Parameters
    ----------
    frame : DataFrame
        ``dough, hours, proof_ratio``, one row a reading.
    shape : Shape
    """
    names, phis, precisions, left_out = [], [], [], []
    rss, df = 0.0, 0.0
    for name, rows in frame.groupby("dough", sort=False, observed=True):
        found = None
        try:
            t, r, _ = read_rise(rows["hours"], rows["proof_ratio"]).rising()
            if len(t) >= _LEAST:
                found = _fit_one(t, r, shape)
        except DataError:  # nothing after the start, or no curve: said by the caller
            found = None
        if found is None:
            left_out.append(name)
            continue
        phi, precision, one, more = found
        names.append(name)
        phis.append(phi)
        precisions.append(precision)
        rss, df = rss + one, df + more
    return Earlier(
        tuple(names),
        np.array(phis).reshape(-1, _P),
        np.array(precisions).reshape(-1, _P, _P),
        rss,
        df,
        tuple(left_out),
    )


def _fit_one(t: Floats, r: Floats, shape: Shape) -> tuple[Floats, Floats, float, float]:
    """φ, its information matrix, residual sum of squares and degrees of freedom."""
    span = float(t.max())
    gain = max(float(r.max()) - 1, 0.05)
    low = np.array([np.log(0.02), np.log(1e-3 / span), np.log(1e-2 * span)])
    high = np.array([np.log(6.0), np.log(100 / span), np.log(3 * span)])
    starts = [
        np.clip(np.log([gain * more, gain / span * 1.5, span * at]), low + 1e-6, high - 1e-6)
        for more, at in ((1.2, 0.5), (2.0, 0.9))
    ]
    curve = partial(ratio, shape=shape)
    fit = fit_curve(curve, t, r, starts, bounds=(low, high))
    rows = fit.jacobian(t, fit.theta)
    return fit.theta, rows.T @ rows, fit.rss, float(len(t) - _P)


def expect(
    usual_hours: float,
    earlier: Earlier | None = None,
    moved: float = 0.0,
    shape: Shape = _GOMPERTZ,
) -> Expected:
    """Return what is expected of a new dough.

    Parameters
    ----------
    usual_hours : float
        Time to double by usual practice, on the clock of the curves.
    earlier : Earlier, optional
    moved : float
        Standard uncertainty of the logarithm of the pace, for having moved it by temperature.
    shape : Shape
        That of `earlier`, where there are such.
    """
    usual = np.log([_GAIN, _SPEED[shape.name] / usual_hours, _FASTEST * usual_hours])
    count = 0 if earlier is None else len(earlier.phi)
    pace = _PACE_SD if count else _FIRST_PACE_SD
    spread = np.diag(_OWN**2) + pace**2 * np.outer(PACE, PACE)
    noise_df = _NOISE_DF + (0.0 if earlier is None else earlier.df)
    noise = _NOISE**2 * _NOISE_DF + (0.0 if earlier is None else earlier.rss)
    noise /= noise_df
    centre: Floats = usual
    scatter: Floats = spread
    if earlier is not None and count:
        centre, scatter = _population(earlier, usual, spread, noise)
    df = _DF + count - _P + 1
    scale = scatter * (1 + 1 / (_WORTH + count)) / df + moved**2 * np.outer(PACE, PACE)
    return Expected(centre, scale, df, float(np.sqrt(noise)), noise_df, shape)


def _population(
    earlier: Earlier, usual: Floats, spread: Floats, noise: float
) -> tuple[Floats, Floats]:
    """Mean and sum of squares between doughs, the error of each curve taken out."""
    count = len(earlier.phi)
    information = earlier.precision / noise
    each = np.broadcast_to(spread / 4, (count, _P, _P))
    phi: Floats = earlier.phi
    centre: Floats = usual
    scatter: Floats = spread
    for _ in range(200):
        centre = (_WORTH * usual + phi.sum(axis=0)) / (_WORTH + count)
        off = phi - centre
        away = centre - usual
        scatter = spread + off.T @ off + each.sum(axis=0) + _WORTH * np.outer(away, away)
        between = np.linalg.inv(scatter / (_DF + count + _P + 2))
        each = np.linalg.inv(information + between)
        pulled = np.einsum("jab,jb->ja", information, earlier.phi) + between @ centre
        new = np.einsum("jab,jb->ja", each, pulled)
        if np.abs(new - phi).max() < 1e-8:
            break
        phi = new
    return centre, scatter
