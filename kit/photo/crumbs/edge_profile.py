"""What the mean brightness across the edges of cells says of where a cell begins.

The edge of a flat dark hole lies half-way down a blurred step, that of a shallow pit where the
wall just begins to fall. One profile often fits both ways nearly alike: so all of a grid of steps,
bowls, blurs and edges are weighed by how well they fit (Bayes' rule), and none is picked.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Edges", "likely_edges"]

Array = NDArray[np.float64]

#: What is tried: edge and depth of the bowl in mm, blur over the known one, share that is a step.
_EDGE_MM = np.linspace(-0.22, 0.22, 23)
_BLUR = np.exp(np.linspace(-0.2, 0.2, 5))
_DEPTH_MM = np.array([0.08, 0.13, 0.2, 0.32, 0.5, 0.8])
_STEP = np.linspace(0, 1, 6)
#: How well blur (as a logarithm), depth (so too) and the wall's darkness are known beforehand.
_BLUR_SD, _USUAL_DEPTH_MM, _DEPTH_SD, _WALL_SD = 0.07, 0.3, 0.6, 0.03
#: A profile strays from the model by this share of its height, like so many independent points
#: (by trials on two sets of drawn faces that share no code).
_STRAY, _POINTS = 0.025, 12


@dataclass(frozen=True)
class Edges:
    """Where the edge may lie on a mean profile.

    Parameters
    ----------
    at_mm, share : (n,) array
        Places and how likely each is; the shares add up to 1.
    step : float
        Mean share of a cell's darkness that is a step at its edge.
    blur_mm : float
        Mean blur.
    """

    at_mm: Array
    share: Array
    step: float
    blur_mm: float

    def level(self, x_mm: Array, y: Array) -> tuple[float, float]:
        """Mean and standard deviation of what a profile is at the edge."""
        there = np.interp(self.at_mm, x_mm, y)
        mean = float(self.share @ there)
        return mean, float(np.sqrt(self.share @ np.square(there - mean)))


def likely_edges(x_mm: Array, dark: Array, count: Array, blur_mm: float) -> Edges:
    """Weigh where the edge lies, given a mean profile across edges.

    Parameters
    ----------
    x_mm : (n,) array
        Distance from where the edge was first taken to be, into the cell.
    dark : (n,) array
        Mean darkness there.
    count : (n,) array
        Points in each mean.
    blur_mm : float
        Standard deviation of the blur as far as it is known.

    Returns
    -------
    Edges

    Examples
    --------
    A step at 0.05 mm, blurred by 0.1 mm; half-way down is 0.3:

    >>> from scipy.special import erf
    >>> x = np.linspace(-0.4, 0.4, 30)
    >>> dark = 0.3 * (1 + erf((x - 0.05) / (0.1 * np.sqrt(2))))
    >>> edges = likely_edges(x, dark, np.full(30, 900), 0.1)
    >>> mean, u = edges.level(x, dark)
    >>> abs(mean - 0.3) < 2 * u, edges.step > 0.7
    (True, True)
    """
    grids = np.meshgrid(_EDGE_MM, _BLUR, _DEPTH_MM, indexing="ij")
    edge, wider, depth = (g.ravel()[:, None] for g in grids)
    sd = wider * blur_mm
    step, rest = _blurred(x_mm - edge, sd, depth)
    stray = _STRAY * max(float(np.ptp(dark)), 0.02) * np.sqrt(len(x_mm) / _POINTS)
    weight = np.square(np.minimum(1, np.sqrt(count / count.max()) + 0.2) / stray)
    before = (np.log(wider) / _BLUR_SD) ** 2 + (np.log(depth / _USUAL_DEPTH_MM) / _DEPTH_SD) ** 2
    # height and wall are linear: their best values in closed form
    w, wy, wyy = weight.sum() + _WALL_SD**-2, weight @ dark, weight @ np.square(dark)
    misfit = np.empty((len(_STEP), len(edge)))
    for k, share in enumerate(_STEP):
        shape = step - (1 - share) * rest
        ws, wss, wsy = shape @ weight, np.square(shape) @ weight, shape @ (weight * dark)
        height = (w * wsy - ws * wy) / (w * wss - ws * ws)
        wall = (wy - height * ws) / w
        misfit[k] = np.where(height > 0, wyy - height * wsy - wall * wy + before[:, 0], np.inf)
    share = np.exp(-0.5 * (misfit - misfit.min()))
    share /= share.sum()
    each = share.sum(0)
    return Edges(
        at_mm=edge[:, 0], share=each, step=float(_STEP @ share.sum(1)),
        blur_mm=float(each @ sd[:, 0]),
    )  # fmt: skip


def _blurred(z: Array, sd: Array, depth: Array) -> tuple[Array, Array]:
    """A step at 0, and what an exponential bowl lacks of it, both blurred (in closed form)."""
    from scipy.special import erf, erfcx

    q = z / (sd * np.sqrt(2))
    arg = (sd / depth - z / sd) / np.sqrt(2)
    rest = 0.5 * np.exp(-q * q) * erfcx(np.maximum(arg, -5))
    # far inside erfcx would overflow and the edge is no longer felt
    far = np.exp(np.clip(0.5 * (sd / depth) ** 2 - z / depth, -50, 50))
    return 0.5 * (1 + erf(q)), np.where(arg < -5, far, rest)
