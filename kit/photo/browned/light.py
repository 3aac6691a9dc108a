"""What the camera did with light: its tone curve, and the light's colour and gradient.

A camera writes ``p = curve(G(x, y) · ρ)``: ρ is what a surface reflects, G the light that falls
on it, brighter on one side, warm or cold; and the curve is often not that of sRGB. Patches of
known ρ tell both. Curve and light are found together as the likeliest given the patches and
what cameras and kitchens do (the priors below), and with them how far they may be off, which is
what a measured colour's uncertainty is made of (a Gaussian at the best fit; MacKay, "Information
Theory, Inference, and Learning Algorithms", 2003, chapter 27, from memory).

The curve, in logarithms, is sRGB's with a change of contrast and a smooth deviation: a Gaussian
process held at a few levels. The light is a plane for each colour with some bend (vignetting,
a lamp near by), in linear light.
"""

import itertools
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kit.photo.pixels.colour import light_of

__all__ = ["GroundSeen", "Light", "PatchSeen", "fit_light"]

Array = NDArray[np.float64]

# What is believed before the patches are seen, as standard deviations. No source: how far light
# and cameras in kitchens stray, with room to spare.
_GAIN = 3.0  # of the light in the middle, in ln
_SLOPE, _SLOPE_COLOUR = 0.5, 0.15  # of the light over half a picture; more for one colour
_VIGNETTE = 0.06  # light lost at half the picture's longer side: spread, and twice the mean
_BOW, _BOW_REACH = 0.03, 0.6  # other unevenness, and over what share of half a picture
_CONTRAST = 0.25  # exponent of the curve against sRGB's
_BEND, _BEND_REACH = 0.15, 1.2  # the curve's deviation in ln of light, and over what span of it
_FLOOR = 0.006  # unevenness of a patch and its print, in ln of light
#: What JPEG's whole numbers do to red, green and blue of all even patches alike: up to this much
#: at some qualities (measured on even squares with noise; textured faces are spared)
_JPEG = np.array([0.3, 0.2, 0.4]) / 255
#: Most phones are near sRGB and most light is even, some are far from it: as shares of the above.
#: A lens that was not corrected for, or a lamp near by, loses up to a fifth at the sides.
_STRENGTHS = {"curve": (0.03, 0.3, 1.0), "bow": (0.2, 1.0, 2.0), "mixed light": (0.3, 1.0)}
#: a ground's slope of reflectance over half a picture, least spread of a tile of it, and as how
#: many tiles it counts however many there are: its blotches are larger than a tile
_GROUND_SLOPE, _GROUND_SPREAD, _GROUND_TILES = 0.05, 0.015, 12

#: levels, 0 to 1, at which the curve's deviation is held
_LEVELS = np.array([0.04, 0.09, 0.16, 0.26, 0.38, 0.52, 0.68, 0.84, 1.0])
#: places, in half pictures, at which the light's unevenness is held
_PLACES = np.stack(np.meshgrid(np.linspace(-1, 1, 5), np.linspace(-0.75, 0.75, 4)), -1).reshape(
    -1, 2
)
_DARKEST = 0.25 / 255  # a level of 0 may be anything below half a step

# where each kind of parameter lies in theta
_GAINS = slice(0, 3)
_SLOPES = slice(3, 5)
_COLOURS = slice(5, 11)
_CORNERS = 11
_BOWS = slice(12, 12 + len(_PLACES))
_FIELD = slice(3, _BOWS.stop)
_CURVE = slice(_BOWS.stop, _BOWS.stop + 1 + len(_LEVELS))
_OFFSET = slice(_CURVE.stop, _CURVE.stop + 3)
_M = _OFFSET.stop


@dataclass(frozen=True)
class PatchSeen:
    """One patch as the camera wrote it.

    Parameters
    ----------
    centre : (2,) array
        In pixels.
    level, u_level : (3,) array
        Red, green, blue from 0 to 1 and their standard uncertainties.
    usable : (3,) bool array
        False where the camera's range ended (burnt out or pitch black).
    reflectance : (3,) array
    u_reflectance : float
        Relative standard uncertainty. Patches of one reflectance are prints of one tone: what is
        not known of it is the same in all of them.
    """

    centre: Array
    level: Array
    u_level: Array
    usable: NDArray[np.bool_]
    reflectance: Array
    u_reflectance: float = 0.0


@dataclass(frozen=True)
class GroundSeen:
    """Tiles of one even ground.

    Parameters
    ----------
    centre : (n, 2) array
        In pixels of the full photo.
    level : (n, 3) array
        0 to 1.
    spread : float
        Of one tile about a smooth surface, in ln of light.
    """

    centre: Array
    level: Array
    spread: float


@dataclass(frozen=True)
class Light:
    """Tone curve and light as fitted.

    Parameters
    ----------
    theta : (m,) array
        Parameters in standard deviations of what was believed (the gains in ln of light).
    cov : (m, m) array
    middle : (2,) array
        Of the picture, in pixels.
    half_px : float
        Half the picture's longer side.
    misfit : float
        Mean square of what the patches say against the fit, in standard deviations: near 1 or
        below when all is well.
    """

    theta: Array
    cov: Array
    middle: Array
    half_px: float
    misfit: float = 1.0

    def reflectance(self, level: Array, xy: Array) -> Array:
        """Return what surfaces reflect (n, 3), from levels (n, 3) of 0 to 1 at pixels (n, 2)."""
        return self.reflector(level, xy)(self.theta)

    def reflector(self, level: Array, xy: Array) -> Callable[[Array], Array]:
        """Return what gives the reflectances for any parameters like `theta`."""
        field = _field((np.asarray(xy, float) - self.middle) / self.half_px)
        grid = np.linspace(0.0, 1.0, 256)  # the levels of 8 bits
        log_light, curve = _log_of(grid), _curve(grid)

        def of(theta: Array) -> Array:
            seen = np.interp(level, grid, log_light + curve @ theta[_CURVE])
            return np.asarray(np.exp(seen - theta[_GAINS]) / _relative(field, theta))

        return of

    @property
    def directions(self) -> Array:
        """Columns (m, r) with ``cov = directions @ directions.T``: one standard step each."""
        values, vectors = np.linalg.eigh(self.cov)
        own = values > 1e-9 * values.max()
        return np.asarray(vectors[:, own] * np.sqrt(values[own]))

    @property
    def rises(self) -> bool:
        """Whether brighter pixels mean more light all along the curve, as they must."""
        level = np.linspace(0.05, 1, 96)
        return bool((np.diff(_log_of(level) + _curve(level) @ self.theta[_CURVE]) > 0).all())


def _log_of(level: Array) -> Array:
    return np.asarray(np.log(light_of(np.maximum(level, _DARKEST))))


def _whitened(points: Array, knots: Array, reach: float) -> Array:
    """A Gaussian process held at knots (k, d), at points (n, d): one standard step each, (n, k)."""

    def near(a: Array, b: Array) -> Array:
        apart = ((a[:, None, :] - b[None, :, :]) ** 2).sum(-1)
        return np.asarray(np.exp(-0.5 * apart / reach**2))

    root = np.linalg.cholesky(near(knots, knots) + 1e-6 * np.eye(len(knots)))
    return np.asarray(np.linalg.solve(root, near(knots, points)).T)


def _curve(level: Array) -> Array:
    """What one standard step of each curve parameter adds to ln of light: (…, parameters)."""
    log_light = _log_of(level)
    points, knots = log_light.reshape(-1, 1), _log_of(_LEVELS)[:, None]
    bends = _BEND * _whitened(points, knots, _BEND_REACH)
    steps = np.concatenate([_CONTRAST * points, bends], 1)
    return steps.reshape(*log_light.shape, -1)


def _field(at: Array) -> Array:
    """What each light parameter adds to the light, places (n, 2): (n, 3 colours, parameters)."""
    n = len(at)
    steps = np.zeros((n, 3, _FIELD.stop))
    steps[:, :, _SLOPES] = _SLOPE * at[:, None, :]
    for colour in range(3):
        first = _COLOURS.start + 2 * colour
        steps[:, colour, first : first + 2] = _SLOPE_COLOUR * at
    steps[:, :, _CORNERS] = _VIGNETTE * (at**2).sum(1, keepdims=True)
    steps[:, :, _BOWS] = _BOW * _whitened(at, _PLACES, _BOW_REACH)[:, None, :]
    return steps[:, :, _FIELD.start :]


def _relative(field: Array, theta: Array) -> Array:
    return np.asarray(np.maximum(1 + field @ theta[_FIELD], 0.05))


class _Seen:
    """Levels at places, in ln of light: their distance from what the model says, and its slope."""

    def __init__(self, level: Array, at: Array, known: Array, jpeg: bool) -> None:
        self._log, self._curve, self._field = _log_of(level), _curve(level), _field(at)
        self._known = known
        #: change of ln of light with level
        self.steps = (_log_of(level + 1e-4) - _log_of(level - 1e-4)) / 2e-4
        self._offset = self.steps * _JPEG if jpeg else np.zeros_like(level)

    def away(self, theta: Array) -> Array:
        light = theta[_GAINS] + np.log(_relative(self._field, theta))
        moved = self._offset * theta[_OFFSET]
        return np.asarray(self._log + self._curve @ theta[_CURVE] + moved - self._known - light)

    def slope(self, theta: Array) -> Array:
        jac = np.zeros((*self._log.shape, _M))
        jac[..., _GAINS] = -np.eye(3)
        jac[..., _FIELD] = -self._field / _relative(self._field, theta)[..., None]
        jac[..., _CURVE] = self._curve
        jac[..., _OFFSET] = self._offset[..., None] * np.eye(3)
        return jac


def fit_light(
    patches: Sequence[PatchSeen], width: int, height: int, ground: GroundSeen | None = None
) -> Light:
    """Find tone curve and light from patches.

    Parameters
    ----------
    patches : sequence of PatchSeen
        At least one usable; white, grey and black on both sides of what is measured are best.
    width, height : int
        Of the picture, in pixels.
    ground : GroundSeen, optional
        What lies around: helps to see how the light bows between the patches.
    """
    from scipy.optimize import least_squares

    middle = np.array([(width - 1) / 2, (height - 1) / 2])
    half = max(width, height) / 2
    known = np.log(np.array([p.reflectance for p in patches]))
    usable = np.array([p.usable for p in patches])
    at = (np.array([p.centre for p in patches]) - middle) / half
    seen = _Seen(np.array([p.level for p in patches]), at, known, jpeg=True)
    u = np.hypot(seen.steps * [p.u_level for p in patches], _FLOOR)
    # what tells the light, which of it does, and what makes it independent in each colour
    tells = [(seen, usable, [_patch_weight(patches, u[:, c], c) for c in range(3)])]
    if ground is not None:
        at = (ground.centre - middle) / half
        around = _Seen(ground.level, at, np.zeros((len(at), 3)), jpeg=False)
        tells.append((around, np.ones((len(at), 3), bool), [_ground_weight(at, ground.spread)] * 3))

    def weighed(of: Callable[[_Seen], Array]) -> list[Array]:
        return [
            weight @ of(one)[use[:, c], c]
            for one, use, weights in tells
            for c, weight in enumerate(weights)
        ]

    start = np.zeros(_M)
    first = seen.away(start)
    start[_GAINS] = [first[usable[:, c], c].mean() if usable[:, c].any() else 0 for c in range(3)]
    told, fits = int(usable.sum()), []
    for strength in itertools.product(*_STRENGTHS.values()):
        sd, mean = _belief(dict(zip(_STRENGTHS, strength, strict=True)))

        def away(theta: Array, sd: Array = sd, mean: Array = mean) -> Array:
            return np.concatenate([(theta - mean) / sd, *weighed(lambda one: one.away(theta))])

        def slope(theta: Array, sd: Array = sd) -> Array:
            return np.concatenate([np.diag(1 / sd), *weighed(lambda one: one.slope(theta))])

        fit = least_squares(away, start + mean, jac=slope, method="lm")
        precision = fit.jac.T @ fit.jac
        evidence = -fit.cost - 0.5 * np.linalg.slogdet(precision)[1] - np.log(sd).sum()
        misfit = float((fit.fun[: told + _M] ** 2).sum()) / max(1, told)
        fits.append((evidence, fit.x, np.linalg.inv(precision), misfit))
    return _mixed(fits, middle, half)


def _patch_weight(patches: Sequence[PatchSeen], own: Array, colour: int) -> Array:
    """What makes usable patches independent in one colour (GUM 5.2.2: correlated inputs).

    Two prints of one tone share the error of its reflectance, u_i · u_j, whatever else each errs.
    """
    used = [(p, u) for p, u in zip(patches, own, strict=True) if p.usable[colour]]
    tone = np.array([p.reflectance[colour] for p, _ in used])
    u_print = np.array([p.u_reflectance for p, _ in used])
    shared = np.equal.outer(tone, tone) * np.outer(u_print, u_print)
    return np.asarray(np.linalg.inv(np.linalg.cholesky(shared + np.diag([u**2 for _, u in used]))))


def _ground_weight(at: Array, spread: float) -> Array:
    """What makes tiles of a ground independent: it has a level (free) and a slope (little)."""
    n = len(at)
    own = _GROUND_SLOPE**2 * (at @ at.T) + 1e4
    tile = max(2 * spread, _GROUND_SPREAD) * np.sqrt(max(1.0, n / _GROUND_TILES))
    return np.asarray(np.linalg.inv(np.linalg.cholesky(own + tile**2 * np.eye(n))))


def _belief(strength: Mapping[str, float]) -> tuple[Array, Array]:
    """Standard deviations and means of the parameters before the patches are seen."""
    sd, mean = np.ones(_M), np.zeros(_M)
    sd[_GAINS] = _GAIN
    sd[_COLOURS] = strength["mixed light"]
    sd[_BOWS] = sd[_CORNERS] = strength["bow"]
    mean[_CORNERS] = -0.5 * min(strength["bow"], 1.0)
    sd[_CURVE] = strength["curve"]
    return sd, mean


def _mixed(fits: Sequence[tuple[float, Array, Array, float]], middle: Array, half: float) -> Light:
    """All fits as one, weighed by how well each foresaw the patches."""
    weight = np.exp(np.array([f[0] for f in fits]) - max(f[0] for f in fits))
    weight /= weight.sum()
    theta = np.asarray(sum(w * f[1] for w, f in zip(weight, fits, strict=True)))
    cov = np.zeros((_M, _M))
    for w, (_, own, spread, misfit) in zip(weight, fits, strict=True):
        apart = own - theta
        cov += w * (spread * max(1.0, misfit) + np.outer(apart, apart))
    misfit = float(sum(w * f[3] for w, f in zip(weight, fits, strict=True)))
    return Light(theta, cov, middle, half, misfit)
