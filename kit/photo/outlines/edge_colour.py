"""Where a piece's colour ends, however light and shade fall on it and on its ground.

Along each normal of a line near the edge the light is taken for the piece's colour times any
smooth brightness up to the edge, and for the ground's colour times any other one beyond it, the
step blurred: so shade, a dark crevice under the foot and a side turned from the lamp are no edges,
and where both sides are as bright as one another the colour still tells. All places are weighed by
how well they fit (Bayes' rule, least squares in closed form), neighbours together.

It is less sharp than the step itself, but errs elsewhere: where the two differ neither is sure.
"""

import numpy as np
from numpy.typing import NDArray

from kit.photo.outlines.outline import Looked
from kit.photo.pixels.strip import strip_of

__all__ = ["colour_edge", "doubted"]

Array = NDArray[np.float64]

#: brightness on either side is a parabola over the reach and this much more, pixels (own choice)
MORE_PX = 6.0
#: colours are taken from so far off the line, and along so many neighbours
OFF_PX, ALONG = 2.0, 6.0
#: standard deviations of a blurred edge that are tried, pixels
BLURS_PX = (0.6, 0.9, 1.3, 1.8, 2.5)
#: so many samples err together (texture, JPEG), and so many neighbours are weighed together
TOGETHER, NEIGHBOURS = 6.0, 3.0
#: a place is at most so much less likely than the best one, as a logarithm (outliers); and how far
#: from the line the edge is expected, in reaches
LEAST_LOG, EXPECTED = 12.0, 1.1
#: step and colour may differ by so much without a doubt, pixels (drawn pieces of four kinds)
APART_PX = 0.3
#: and make a place no more unsure than so many times: what is left without its edge is guessed from
#: the rest of the shape, and that errs as well (four drawers)
MOST_DOUBT = 2.5
#: of how far apart they are at the foot: how unsure it is as a whole (the same pieces)
SHARE_APART = 0.5


def doubted(
    seen: Looked, line: Array, normals: Array, offset: Array, spread: Array, reach: float
) -> tuple[Array, float]:
    """Return how unsure an edge is where the piece's colour ends elsewhere.

    Parameters
    ----------
    seen : Looked
    line, normals : (n, 2) arrays
        What the edge was looked for along, working pixels.
    offset, spread : (n,) arrays
        Of the edge found: outward, pixels; relative standard deviation.
    reach : float
        How far to look on either side, pixels.

    Returns
    -------
    spread : (n,) array
        Relative standard deviation of each place, larger where the two differ.
    u : float
        Standard uncertainty of all of the foot by that, pixels.
    """
    ends, u = colour_edge(seen, line, normals, reach)
    apart = offset - ends
    spread = spread * np.minimum(np.hypot(1, apart / np.hypot(APART_PX, u)), MOST_DOUBT)
    foot = apart[normals[:, 1] > 0.75]
    return spread, SHARE_APART * abs(float(np.median(foot))) if len(foot) else 0.0


def colour_edge(seen: Looked, line: Array, normals: Array, reach: float) -> tuple[Array, Array]:
    """Return how far out along the normals the colour changes, and how unsure that is.

    Both (n,), pixels: mean and standard deviation of all places within the reach, (n, 2) lines and
    normals in working pixels as in `doubted`.
    """
    from scipy.ndimage import gaussian_filter1d

    step = 1.0 if reach > 4 else 0.5
    many = round(reach / step)
    wide = round((reach + MORE_PX) / step)
    t = np.asarray(np.arange(-wide, wide + 1) * step, np.float64)
    light = _white_light(seen, line, normals, t)
    colours = []
    for part in (t <= -OFF_PX, t >= OFF_PX):
        mean = gaussian_filter1d(light[:, part].mean(1), ALONG, axis=0, mode="wrap")
        # of black nothing is seen, and it has no colour
        colours.append(mean / np.maximum(np.linalg.norm(mean, axis=1), 1e-12)[:, None])
    places = np.asarray(np.arange(-many, many + 1) * step, np.float64)
    some, few = [c[::6] for c in colours], np.asarray(places[::2], float)
    tried = [_misfit(light[::6], some, t, few, blur).min(1) for blur in BLURS_PX]
    blur = BLURS_PX[int(np.median(tried, axis=1).argmin())]
    misfit = _misfit(light, colours, t, places, blur)
    # what the model cannot follow (texture) counts as noise, there and all along
    usual = gaussian_filter1d(misfit.min(1), ALONG, mode="wrap")
    noise = np.maximum(np.maximum(usual, 0.3 * np.median(usual)), 1e-12) / (3 * len(t))
    log = gaussian_filter1d(
        -0.5 * misfit / noise[:, None] / TOGETHER, NEIGHBOURS, axis=0, mode="wrap"
    )
    log = np.maximum(log - log.max(1, keepdims=True), -LEAST_LOG)
    log -= 0.5 * (places / (EXPECTED * reach)) ** 2
    share = np.exp(log - log.max(1, keepdims=True))
    share /= share.sum(1, keepdims=True)
    mean = share @ places
    return mean, np.sqrt(np.maximum(share @ places**2 - mean**2, 1e-4))


def _white_light(seen: Looked, line: Array, normals: Array, t: Array) -> Array:
    """Linear light along normals (n, len(t), 3), turned such that its noise is alike all ways."""
    light = np.asarray(strip_of(seen.linear, line - seen.corner, normals, t), np.float64)
    fine = np.diff(light, 2, axis=1)[:, ::2].reshape(-1, 3)
    fine = np.clip(fine, *np.quantile(fine, [0.05, 0.95], axis=0))
    noise = fine.T @ fine / len(fine) / 5
    noise += 0.02 * np.diag(np.diag(noise)) + 1e-7 * np.eye(3)
    return np.asarray(light @ np.linalg.cholesky(np.linalg.inv(noise)))


def _misfit(light: Array, colours: list[Array], t: Array, places: Array, blur: float) -> Array:
    """What is left of the light in squares, (n, places), with the edge at each place.

    Two colours in two brightnesses of three numbers each, apart but for the blur: in the principal
    directions of both (Björck and Golub 1973) six equations fall into three times two.
    """
    from scipy.special import ndtr

    piece, ground = colours
    alike = (piece * ground).sum(1)[:, None]
    of_piece, of_ground = ((light @ c[..., None])[..., 0] for c in colours)
    left = np.repeat((light**2).sum((1, 2))[:, None], len(places), 1)
    for j, place in enumerate(places):
        beyond = ndtr((t - place) / blur)[:, None]
        bends = (t - place)[:, None] ** np.arange(3)
        within, _ = np.linalg.qr((1 - beyond) * bends)
        without, _ = np.linalg.qr(beyond * bends)
        turn, shared, back = np.linalg.svd(within.T @ without)
        one, two = of_piece @ within @ turn, of_ground @ without @ back.T
        shared = alike * shared
        left[:, j] -= ((one**2 + two**2 - 2 * shared * one * two) / (1 - shared**2)).sum(1)
    return left
