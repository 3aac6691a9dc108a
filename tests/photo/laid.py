"""Cut faces on grounds they hardly stand out from: brown on brown, pale on pale, shade, semolina.

Drawn square-on with other mathematics than `crumbs`: textures by Fourier synthesis, outlines
from superellipses with random waves, crust that is brown above and below and pale at the sides,
a shadow that widens with its length. All of it is invented.
"""

from dataclasses import dataclass

import cv2
import numpy as np

FINE = 12.0  # pixels a millimetre as drawn
PX_PER_MM = 6.0  # as handed over
SIZE_MM = (118.0, 84.0)
KINDS = ("brown on brown", "pale on pale", "side shadow", "semolina", "crumbs near")
#: blur in pixels of the picture, noise in parts of white, quality of the JPEG, fall of the light
LEVELS = {
    "easy": (0.5, 0.004, 95, 0.06),
    "realistic": (0.8, 0.008, 88, 0.2),
    "hard": (1.2, 0.015, 78, 0.35),
}
WOODS = np.array([(0.55, 0.4, 0.24), (0.42, 0.26, 0.13), (0.3, 0.17, 0.08), (0.36, 0.2, 0.1)])
PALE = np.array([(0.8, 0.8, 0.77), (0.74, 0.74, 0.73), (0.66, 0.56, 0.42), (0.72, 0.68, 0.6)])


@dataclass(frozen=True)
class Laid:
    """A picture and what is true of it, in pixels."""

    picture: np.ndarray
    outline: np.ndarray
    box: tuple
    names: tuple


def field(rng, shape, steep, finest=0.0, widest=1e9, stretch=1.0, turn=0.0):
    """Return a random field, standard deviation 1, of power 1/f^steep between two lengths in mm."""
    y, x = np.fft.fftfreq(shape[0], 1 / FINE)[:, None], np.fft.rfftfreq(shape[1], 1 / FINE)[None]
    along, across = (
        (np.cos(turn) * x + np.sin(turn) * y) * stretch,
        np.cos(turn) * y - np.sin(turn) * x,
    )
    f = np.maximum(np.hypot(along, across), 1e-3)
    size = f ** (-steep / 2) * np.exp(-((f * finest) ** 2)) * (1 - np.exp(-((f * widest) ** 2)))
    size[0, 0] = 0
    made = np.fft.irfft2(size * np.exp(2j * np.pi * rng.random(f.shape)), shape)
    return (made / made.std()).astype(np.float32)


def wood(rng, shape, colour):
    """Return linear light of planks: bent rings, fibres, joints."""
    turn = rng.uniform(-0.4, 0.4)
    y, x = np.mgrid[: shape[0], : shape[1]] / FINE
    across = np.cos(turn) * y - np.sin(turn) * x
    rings = np.sin(
        2 * np.pi * (across + 2 * field(rng, shape, 3, 0, 150, 8, turn)) / rng.uniform(2, 7)
    )
    tone = rng.uniform(0.04, 0.15) * rings
    tone += rng.uniform(0.03, 0.08) * field(rng, shape, 1, 0.15, stretch=25, turn=turn)
    plank = across / rng.uniform(28, 60)
    tone += rng.normal(0, 0.1, 99)[np.floor(plank).astype(int) % 99]
    tone -= 0.5 * np.exp(-((np.abs(plank - np.round(plank)) * 40 / 0.5) ** 2))
    return colour * np.exp(tone)[..., None] ** np.array([0.85, 1.0, 1.15])


def ground_of(rng, kind, shape, crust):
    """Return linear light of what the face lies on."""
    if kind == "brown on brown":
        return wood(rng, shape, crust * rng.uniform(0.8, 1.4) * np.exp(rng.normal(0, 0.06, 3)))
    if kind in ("semolina", "crumbs near"):
        if rng.random() < 0.5:
            return wood(rng, shape, WOODS[rng.integers(4)])
        return (
            np.array([0.06, 0.065, 0.07]) * np.exp(0.2 * field(rng, shape, 1.8, 0.2, 40))[..., None]
        )
    colour = PALE[rng.integers(4)] * rng.uniform(0.9, 1.05)
    crease = np.gradient(field(rng, shape, 3.2, 1.0, 50), axis=1)
    tone = 0.04 * crease / crease.std() + 0.01 * field(rng, shape, 0.5, 0.15)
    vein = np.exp(-np.abs(field(rng, shape, 2.6, 0.4, 60)) / 0.1) * rng.integers(2)
    return colour * np.exp(tone - 0.3 * vein)[..., None]


def outline_of(rng):
    """Return a slab, a domed slice or a round half, (n,) complex millimetres about 0."""
    t = np.linspace(0, 2 * np.pi, 900, endpoint=False)
    a, b, power = [(46, 13, 4.5), (40, 18, 3.0), (33, 32, 2.1)][rng.integers(3)]
    a, b, power = (v * rng.uniform(0.92, 1.08) for v in (a, b, power))
    c, s = np.cos(t), np.sin(t)
    z = a * np.sign(c) * np.abs(c) ** (2 / power) + 1j * b * np.sign(s) * np.abs(s) ** (2 / power)
    k = np.arange(2, 20)[:, None]
    waves = 0.03 * rng.normal(0, 1, k.shape) / k**1.2 * np.cos(k * t + rng.uniform(0, 6.3, k.shape))
    z = z * (1 + waves.sum(0)) * np.exp(1j * rng.normal(0, 0.1))
    closed = np.append(z, z[0])
    length = np.append(0, np.cumsum(np.abs(np.diff(closed))))
    return np.interp(np.linspace(0, length[-1], 900, endpoint=False), length, closed)


def face_of(rng, z, inside, crust, crumb):
    """Return linear light of a face on the whole plane."""
    shape = inside.shape
    into = cv2.distanceTransform(inside, cv2.DIST_L2, 5) / FINE
    along = np.roll(z, -1) - np.roll(z, 1)
    level = np.abs(along.real / np.abs(along))  # 1 above and below, 0 at the sides
    pale = rng.uniform(0.3, 1.0)
    brown = pale + (1 - pale) * np.clip((level - 0.3) / 0.5, 0, 1)
    # which point of the outline is nearest, coarsely
    mark = np.ones(shape, np.uint8)
    at = np.clip((np.column_stack([z.imag, z.real]) * FINE).astype(int), 0, np.array(shape) - 1)
    mark[at[:, 0], at[:, 1]] = 0
    labels = cv2.distanceTransformWithLabels(mark, cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL)[
        1
    ]
    of_label = np.zeros(labels.max() + 1, np.float32)
    of_label[labels[at[:, 0], at[:, 1]]] = brown
    brown = cv2.GaussianBlur(of_label[labels], (0, 0), 1.0 * FINE)
    depth = rng.uniform(0.8, 2.2) * (0.5 + 0.5 * brown) * np.exp(0.2 * field(rng, shape, 2, 1, 30))
    inner = 1 / (1 + np.exp(-(into - depth) / rng.uniform(0.1, 0.3)))[..., None]
    skin = crumb + (crust - crumb) * brown[..., None]
    blotches = 0.1 * field(rng, shape, 1.8, 0.2, 15) - 0.2 * np.exp(-into / 0.4)
    skin = skin * np.exp(blotches)[..., None]
    size = rng.uniform(0.5, 1.1)
    small = field(rng, shape, 0, size, 4 * size) - rng.uniform(0.4, 0.8)
    large = field(rng, shape, 0, 2 * size, 8 * size) - rng.uniform(1.0, 1.6)
    holes = np.maximum(small, large)
    dark = rng.uniform(0.35, 0.7) / (1 + np.exp(-8 * holes)) * np.clip((into - depth) * 3, 0, 1)
    body = crumb * ((1 - dark) * np.exp(0.03 * field(rng, shape, 2, 0.3, 30)))[..., None]
    return skin * (1 - inner) + body * inner


def shade_of(rng, inside, deep):
    """Return what is left of the light: a shadow to one side, softer with its length."""
    small = cv2.resize(
        inside.astype(np.float32), None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA
    )
    turn, far = rng.uniform(0, 2 * np.pi), rng.uniform(3, 9) * FINE / 4
    shadow = np.zeros_like(small)
    for part in np.linspace(0, 1, 6):
        move = part * far * np.array([np.cos(turn), np.sin(turn)])
        cast = cv2.warpAffine(small, np.column_stack([np.eye(2), move]), small.shape[::-1])
        shadow = np.maximum(shadow, cv2.GaussianBlur(cast, (0, 0), 0.6 + 0.18 * part * far))
    apart = cv2.distanceTransform(1 - inside, cv2.DIST_L2, 5) / FINE
    left = 1 - deep * cv2.resize(shadow, inside.shape[::-1])
    return (left * (1 - 0.5 * deep * np.exp(-apart / rng.uniform(0.5, 2.5))))[..., None]


def strewn(rng, z, shape, sizes_mm, count):
    """Return where grains lie, most of them near the outline."""
    grains = np.zeros(shape, np.uint8)
    near = z[rng.integers(0, len(z), count)]
    near = near + rng.exponential(8, count) * np.exp(1j * rng.uniform(0, 6.3, count))
    for at, mm in zip(near, rng.uniform(*sizes_mm, count), strict=True):
        axes = (mm * FINE, mm * FINE * rng.uniform(0.6, 1))
        cv2.ellipse(grains, ((at.real * FINE, at.imag * FINE), axes, rng.uniform(0, 180)), 1, -1)
    return cv2.GaussianBlur(grains.astype(np.float32), (0, 0), 1.0)[..., None]


def draw(seed, kind, level="realistic"):
    """Draw one face on a difficult ground."""
    rng = np.random.default_rng(seed)
    blur, noise, quality, fall = LEVELS[level]
    shape = (int(SIZE_MM[1] * FINE), int(SIZE_MM[0] * FINE))
    dark = rng.uniform(0, 1)
    crust = np.array([0.5, 0.29, 0.12]) * (1 - dark) + np.array([0.18, 0.08, 0.03]) * dark
    crumb = np.array([0.76, 0.66, 0.47]) * rng.uniform(0.85, 1.1)
    z = outline_of(rng) + complex(*(np.array(SIZE_MM) / 2 + rng.normal(0, 1, 2)))
    inside = np.zeros(shape, np.uint8)
    # fillPoly takes in the pixels an outline runs through: half a pixel too many all round
    inward = (np.roll(z, -1) - np.roll(z, 1)) * 1j
    drawn = z + 0.5 / FINE * inward / np.abs(inward)
    corners = np.column_stack([drawn.real, drawn.imag]) * FINE - 0.5
    cv2.fillPoly(inside, [np.round(corners * 16).astype(np.int32)], 1, shift=4)
    face = face_of(rng, z, inside, crust, crumb)
    ground = ground_of(rng, kind, shape, crust)
    left = shade_of(rng, inside, rng.uniform(0.35, 0.6) if kind == "side shadow" else 0.25)
    ground = ground * left
    if kind in ("semolina", "crumbs near"):
        count, sizes = (
            (rng.integers(400, 2000), (0.3, 0.8)) if kind == "semolina" else (60, (0.6, 3))
        )
        grains = strewn(rng, z, shape, sizes, count)
        own = np.array([0.72, 0.55, 0.25]) if kind == "semolina" else 0.8 * crumb + 0.2 * crust
        ground = ground * (1 - grains) + own * left * grains
    edge = cv2.GaussianBlur(inside.astype(np.float32), (0, 0), 1.0)[..., None]
    seen = (face * edge + ground * (1 - edge)).astype(np.float32)
    seen = cv2.resize(seen, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    seen = cv2.GaussianBlur(seen, (0, 0), blur)
    y, x = (
        np.mgrid[: seen.shape[0], : seen.shape[1]] / max(seen.shape)
        - np.array([0.35, 0.5])[:, None, None]
    )
    turn = rng.uniform(0, 6.3)
    lit = np.exp(fall * (np.cos(turn) * x + np.sin(turn) * y)) * (1 - fall * (x * x + y * y))
    warm = np.exp(rng.normal(0, 0.1) * np.array([1, 0.1, -1.2]))
    seen = seen * lit[..., None] * warm * rng.uniform(0.8, 1.0)
    seen = seen + noise * np.sqrt(0.1 + np.clip(seen, 0, 1)) * rng.standard_normal(seen.shape)
    light = np.clip(seen, 0, 1)
    srgb = np.where(
        light <= 0.0031308, 12.92 * light, 1.055 * np.maximum(light, 1e-6) ** (1 / 2.4) - 0.055
    )
    coded = cv2.imencode(".jpg", np.round(255 * srgb).astype(np.uint8)[..., ::-1],
                         [cv2.IMWRITE_JPEG_QUALITY, quality])[1]  # fmt: skip
    picture = np.ascontiguousarray(cv2.imdecode(coded, cv2.IMREAD_COLOR)[..., ::-1])
    outline = np.column_stack([z.real, z.imag]) * PX_PER_MM - 0.5
    slack = rng.uniform(1, 4, 4) * PX_PER_MM
    box = (*(outline.min(0) - slack[:2]), *(outline.max(0) + slack[2:]))
    return Laid(picture, outline, box, (kind, level))


def draw_on_towel(seed, colour):
    """Draw a face on a checked tea towel of white and a colour (linear), a lamp to one side."""
    rng = np.random.default_rng(seed)
    shape = (int(SIZE_MM[1] * FINE), int(SIZE_MM[0] * FINE))
    z = outline_of(rng) + complex(*(np.array(SIZE_MM) / 2))
    inside = np.zeros(shape, np.uint8)
    corners = np.column_stack([z.real, z.imag]) * FINE - 0.5
    cv2.fillPoly(inside, [np.round(corners * 16).astype(np.int32)], 1, shift=4)
    crumb = np.array([0.76, 0.66, 0.47])
    face = face_of(rng, z, inside, 0.6 * crumb + 0.4 * np.array([0.5, 0.29, 0.12]), crumb)
    y, x = np.mgrid[: shape[0], : shape[1]] / FINE
    turn, wide = rng.uniform(-0.4, 0.4), rng.uniform(8, 14)
    u, v = x * np.cos(turn) + y * np.sin(turn), y * np.cos(turn) - x * np.sin(turn)
    woven = ((u / wide % 2 < 1) * 0.5 + (v / wide % 2 < 1) * 0.5)[..., None]
    ground = np.array([0.75, 0.77, 0.8]) * (1 - woven) + np.array(colour) * woven
    ground = ground * np.exp(0.03 * field(rng, shape, 0.5, 0.2))[..., None]
    ground = ground * shade_of(rng, inside, 0.45)
    edge = cv2.GaussianBlur(inside.astype(np.float32), (0, 0), 1.0)[..., None]
    seen = (face * edge + ground * (1 - edge)).astype(np.float32)
    seen = cv2.resize(seen, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    seen = cv2.GaussianBlur(seen, (0, 0), 0.8) + 0.004 * rng.standard_normal(seen.shape)
    picture = np.round(255 * np.clip(seen, 0, 1) ** (1 / 2.2)).astype(np.uint8)
    outline = np.column_stack([z.real, z.imag]) * PX_PER_MM - 0.5
    box = (*(outline.min(0) - 15), *(outline.max(0) + 15))
    return Laid(picture, outline, box, ("towel", "easy"))
