"""Photos of browned faces of known colour: our own scenes, nothing photographed.

A scene is what surfaces reflect (linear light), lit unevenly and in colour, vignetted, shadowed,
noised, written through a phone's tone curve, blurred and compressed. True colours are taken from
what the surfaces reflect, before any of that.
"""

import io
from dataclasses import dataclass

import cv2
import numpy as np
from PIL import Image
from skimage.color import lab2rgb, rgb2lab

WIDTH, HEIGHT = 900, 675
#: from pale dough over brown to black: L*, a*, b* (invented, in the range of baked wheat dough)
BROWNING = np.array(
    [(86, 1, 18), (74, 6, 30), (60, 13, 34), (46, 16, 29), (33, 13, 18), (20, 7, 8), (10, 2, 2)]
)
GROUNDS = ("wood", "slate", "paper", "parchment", "cloth", "steel")


@dataclass(frozen=True)
class Hardness:
    gradient: float  # of the light over half a picture
    colour: float  # sd of the light's colour, in ln
    colour_gradient: float
    vignette: float  # light lost at a corner
    curve: float  # strength of the tone curve's difference from sRGB
    noise: float  # in levels, 0 to 1
    blur_px: float
    quality: int
    shadow: float  # deepest soft shadow
    exposure: float  # sd, in ln


LEVELS = {
    "easy": Hardness(0.06, 0.03, 0.0, 0.02, 0.0, 0.003, 0.6, 95, 0.0, 0.05),
    "realistic": Hardness(0.18, 0.12, 0.03, 0.07, 0.5, 0.008, 1.1, 88, 0.04, 0.15),
    "hard": Hardness(0.35, 0.25, 0.08, 0.14, 1.0, 0.018, 2.0, 75, 0.10, 0.2),
}


@dataclass(frozen=True)
class Scene:
    jpeg: bytes
    faces: list  # boxes
    outlines: list  # polygons
    patches: list  # (box, reflectance)
    lab: np.ndarray  # true means, (faces, 3)
    dark: np.ndarray  # true shares below L* 35


def light_from(srgb):
    """The sRGB curve once more, so that the kit's own is not used to check itself."""
    return np.where(srgb <= 0.04045, srgb / 12.92, ((srgb + 0.055) / 1.055) ** 2.4)


def srgb_from(light):
    high = 1.055 * np.maximum(light, 0.0031308) ** (1 / 2.4) - 0.055
    return np.where(light <= 0.0031308, 12.92 * light, high)


def blotches(rng, shape, size):
    # large blotches are drawn small: as smooth, and much faster
    small = max(1, int(size // 3))
    field = rng.normal(size=(shape[0] // small + 2, shape[1] // small + 2)).astype(np.float32)
    field = cv2.GaussianBlur(field, (0, 0), size / small)
    field = cv2.resize(field, shape[::-1], interpolation=cv2.INTER_CUBIC)
    return (field / field.std()).astype(float)


def make_scene(seed, level, faces=None, grounds=GROUNDS):
    """One scene; `level` names a row of LEVELS."""
    rng, how = np.random.default_rng(seed), LEVELS[level]
    y, x = np.mgrid[:HEIGHT, :WIDTH].astype(np.float32)
    albedo = _ground(rng, rng.choice(grounds), x, y)
    count = int(rng.integers(1, 4)) if faces is None else faces
    boxes, outlines, labs, darks = [], [], [], []
    across = 600 / count
    for i in range(count):
        radius = min(0.4 * across, 145) * rng.uniform(0.8, 1.0)
        middle = (150 + across * (i + 0.5) + rng.normal(0, 3), HEIGHT / 2 + rng.normal(0, 45))
        left, top = (int(m - 1.25 * radius) for m in middle)
        part = np.s_[top : top + int(2.5 * radius), left : left + int(2.5 * radius)]
        box, outline, lab, dark = _face(rng, albedo[part], x[part], y[part], middle, radius)
        boxes.append(box), outlines.append(outline), labs.append(lab), darks.append(dark)
    patches = _patches(rng, albedo)
    seen = _light(rng, how, x, y) * albedo
    written = _tone(rng, how, seen)
    written = cv2.GaussianBlur(written, (0, 0), how.blur_px)
    noise = how.noise * np.sqrt(0.3 + written)
    written = written + rng.standard_normal(written.shape, dtype=np.float32) * noise
    file = io.BytesIO()
    pixels = np.rint(255 * np.clip(written, 0, 1)).astype(np.uint8)
    Image.fromarray(pixels).save(file, "JPEG", quality=how.quality)
    return Scene(file.getvalue(), boxes, outlines, patches, np.array(labs), np.array(darks))


def _ground(rng, kind, x, y):
    fine, coarse = (blotches(rng, x.shape, s) for s in (1.5, 40))
    if kind == "wood":
        grain = np.sin(y / rng.uniform(6, 14) + 2 * coarse) + 0.3 * fine
        lab = np.stack([60 + 5 * grain, 9 + grain, 26 + 2 * grain], -1)
    elif kind == "slate":
        lab = np.stack([30 + 3 * fine + 2 * coarse, 0 * x, -2 + 0 * x], -1)
    elif kind == "paper":
        lab = np.stack([93 + 0.6 * fine, 0 * x, 2 + 0 * x], -1)
    elif kind == "parchment":
        lab = np.stack([80 + 2 * fine + coarse, 3 + 0 * x, 14 + coarse], -1)
    elif kind == "cloth":
        stripes = np.sign(np.sin(x / rng.uniform(8, 20)))
        lab = np.stack([66 + 12 * stripes + 2 * fine, -2 + 0 * x, -8 - 6 * stripes], -1)
    else:
        lab = np.stack(
            [62 + 20 * cv2.GaussianBlur(fine, (61, 1), 30, sigmaY=0.1), 0 * x, -1 + 0 * x], -1
        )
    return light_from(lab2rgb(lab))


def _face(rng, albedo, x, y, middle, radius):
    turn = np.arctan2(y - middle[1], x - middle[0])
    waves = [(k, rng.normal(0, 0.02 / k), rng.uniform(0, 6.28)) for k in range(2, 7)]

    def edge(angle):
        return radius * (1 + sum(a * np.cos(k * angle + p) for k, a, p in waves))

    away = np.hypot(x - middle[0], y - middle[1]) / edge(turn)
    own = away < 1
    brown = rng.uniform(0.8, 4.0) + rng.uniform(0.2, 0.9) * blotches(rng, x.shape, radius / 5)
    brown += 0.35 * blotches(rng, x.shape, 3) - rng.uniform(0, 2) * away**4
    brown += rng.uniform(-1, 1) * (x - middle[0]) / radius * 0.5
    steps = np.arange(len(BROWNING))
    lab = np.stack([np.interp(brown, steps, BROWNING[:, c]) for c in range(3)], -1)
    light = light_from(lab2rgb(lab))
    albedo[own] = light[own]
    true = rgb2lab(srgb_from(light[own]))
    angles = np.linspace(0, 2 * np.pi, 72, endpoint=False)
    reach = edge(angles)[:, None]
    outline = np.array(middle) + reach * np.stack([np.cos(angles), np.sin(angles)], 1)
    slack = rng.uniform(-0.02, 0.12, 4) * radius  # as a hand draws a box
    low, high = outline.min(0) - slack[:2], outline.max(0) + slack[2:]
    return [*low, *high], outline, true.mean(0), (true[:, 0] < 35).mean()


def _patches(rng, albedo):
    found, top = [], rng.uniform(130, 250)
    kinds = [rng.uniform(0.85, 0.92), rng.uniform(0.17, 0.26), rng.uniform(0.035, 0.06)]
    for left in (35, WIDTH - 35 - 60):
        order = rng.permutation(3)
        for row, kind in enumerate(order):
            y0 = int(top + 90 * row)
            albedo[y0 - 9 : y0 + 77, left - 9 : left + 69] = 0.8
            albedo[y0 : y0 + 68, left : left + 60] = kinds[kind]
            found.append(((left, y0, left + 59, y0 + 67), kinds[kind]))
    return found


def _light(rng, how, x, y):
    u, v = (x - WIDTH / 2) / (WIDTH / 2), (y - HEIGHT / 2) / (WIDTH / 2)
    angle = rng.uniform(0, 2 * np.pi)
    slope = how.gradient * rng.uniform(0.3, 1.0)
    light = 1 + slope * (u * np.cos(angle) + v * np.sin(angle))
    colour = np.exp(rng.normal(0, how.colour, 3) * (1, 0.3, 1))
    shift = rng.normal(0, how.colour_gradient, 3) * (1, 0.3, 1)
    whole = light[..., None] * colour * (1 + u[..., None] * shift)
    corner = np.hypot(1, HEIGHT / WIDTH)
    whole *= 1 - how.vignette * rng.uniform(0.3, 1) * ((u**2 + v**2) / corner**2)[..., None]
    if how.shadow:
        turn, where = rng.uniform(0, 2 * np.pi), rng.uniform(-0.8, 0.8)
        side = (u * np.cos(turn) + v * np.sin(turn) - where) / rng.uniform(0.1, 0.4)
        whole *= 1 - (how.shadow * rng.uniform(0, 1) / (1 + np.exp(-side)))[..., None]
    return whole * np.exp(rng.normal(0, how.exposure)) * 0.85 / colour.max()


def _tone(rng, how, light):
    """Linear light to what the file holds; beyond 1 it is cut off."""
    light = np.clip(light, 0, 1)
    if not how.curve:
        return srgb_from(light)
    kind = rng.integers(3)
    if kind == 0:  # another exponent
        return light ** (1 / (2.2 + how.curve * rng.uniform(-0.35, 0.35)))
    written = srgb_from(light)
    if kind == 1:  # more contrast in the middle
        bend = how.curve * rng.uniform(0.1, 0.5)
        return (1 - bend) * written + bend * written**2 * (3 - 2 * written)
    lift, shoulder = how.curve * rng.uniform(0, 0.04), how.curve * rng.uniform(0, 0.25)
    return lift + (1 - lift) * written * (1 + shoulder * (1 - written))
