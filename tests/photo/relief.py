"""Cut faces as a relief under a lamp and a sky: bubbles in space with walls between, cut flat.

Other mathematics than `crumbs`: the cells are a power diagram of spheres in three dimensions, the
light is reckoned from the depths (sky seen from each point, a lamp from one side with cast shadows,
light sent on from wall to wall and through them), the lens blurs by a disc, the phone sharpens.
All of it is invented.
"""

import crumbs
import cv2
import numpy as np
from crumbs import FINE, SIZE_MM
from scipy.spatial import cKDTree

from kit.photo.picture import read

#: share of light from the lamp, radius of the lens's blur in pixels, noise, pixels a millimetre
LEVELS = {
    "easy": {"lamp": 0.12, "blur": 1.1, "noise": 0.004, "tilt": 3, "jpeg": 95, "px": 15.0},
    "realistic": {"lamp": 0.35, "blur": 1.8, "noise": 0.010, "tilt": 9, "jpeg": 88, "px": 16.0},
    "hard": {"lamp": 0.55, "blur": 2.8, "noise": 0.020, "tilt": 14, "jpeg": 76, "px": 12.0},
}


def bubbles(rng, shape):
    """Return the mask and depth in mm of bubbles, each in its own cell of a power diagram."""
    thick = 3.5
    r = np.clip(rng.uniform(0.5, 0.9) * np.exp(rng.uniform(0.25, 0.5) * rng.standard_normal(60000)),
                0.12, 3)  # fmt: skip
    volume = np.prod(SIZE_MM) * 2 * thick
    r = r[: np.searchsorted(np.cumsum(4 / 3 * np.pi * r**3), rng.uniform(0.7, 1.3) * volume)]
    c = rng.uniform(0, 1, (len(r), 3)) * (*SIZE_MM, 2 * thick) - (0, 0, thick)
    near = abs(c[:, 2]) < r + 1
    c, r = c[near], r[near]
    top = (r**2).max()
    tree = cKDTree(np.column_stack([c, np.sqrt(top - r**2)]))
    k, wall = 2, rng.uniform(0.16, 0.3)  # walls of crumb: about 0.22 mm (Lassoued et al. 2007)
    y, x = ((g.ravel() + 0.5) / FINE for g in np.mgrid[: shape[0] : k, : shape[1] : k])
    d, i = tree.query(np.column_stack([x, y, 0 * x, 0 * x]), k=3)
    power, own = d**2 - top, i[:, 0]
    off2 = (x - c[own, 0]) ** 2 + (y - c[own, 1]) ** 2
    room = r[own] - np.sqrt(off2 + c[own, 2] ** 2)
    down = np.sqrt(np.maximum(r[own] ** 2 - off2, 0)) - c[own, 2]
    for j in (1, 2):
        apart = np.maximum(np.linalg.norm(c[own] - c[i[:, j]], axis=1), 1e-6)
        half = (power[:, j] - power[:, 0]) / (2 * apart) - wall / 2
        room = np.minimum(room, half)
        tilt = (c[own, 2] - c[i[:, j], 2]) / apart  # a wall that leans in below
        down = np.where(tilt > 0.05, np.minimum(down, half / np.maximum(tilt, 0.05)), down)
    size = (len(range(0, shape[0], k)), len(range(0, shape[1], k)))
    room, down = (cv2.resize(v.reshape(size).astype(np.float32), shape[::-1]) for v in (room, down))
    mask = cv2.GaussianBlur(room, (0, 0), 0.03 * FINE) > 0
    return mask, np.where(mask, np.clip(down, 0.05, 4), 0).astype(np.float32)


def lit(rng, depth, lamp):
    """Return the light that comes back, 1 from a flat wall."""
    k = 2
    high = -cv2.resize(depth, None, fx=1 / k, fy=1 / k, interpolation=cv2.INTER_AREA)
    fine = FINE / k

    def horizon(turn, steps):
        rise = np.zeros_like(high)
        for s in steps:
            move = np.float32([[1, 0, s * np.cos(turn)], [0, 1, s * np.sin(turn)]])
            there = cv2.warpAffine(high, move, high.shape[::-1], borderMode=cv2.BORDER_REPLICATE,
                                   flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP)  # fmt: skip
            rise = np.maximum(rise, (there - high) / (s / fine))
        return rise

    turns = np.arange(8) * np.pi / 4
    sky = np.mean([1 / (1 + horizon(t, (1, 2, 4, 7, 12, 20)) ** 2) for t in turns], axis=0)
    turn, up = rng.uniform(0, 2 * np.pi), np.radians(rng.uniform(25, 60))
    shade = horizon(turn, (1, 1.5, 2, 3, 4, 6, 8, 11, 15, 20, 27))
    bright = 1 / (1 + np.exp((np.arctan(shade) - up) / 0.06))
    gy, gx = np.gradient(high, 1 / fine)
    faced = np.sin(up) - np.cos(up) * (np.cos(turn) * gx + np.sin(turn) * gy)
    faced = np.maximum(faced, 0) / np.sqrt(1 + gx**2 + gy**2) / np.sin(up)
    light = (1 - lamp) * sky + lamp * np.minimum(faced, 1.6) * bright
    light += rng.uniform(0.15, 0.5) * (1 - sky) * cv2.GaussianBlur(light, (0, 0), 0.5 * fine)
    light = cv2.resize(light.astype(np.float32), depth.shape[::-1])
    through = rng.uniform(0.1, 0.3)
    return (1 - through) * light + through * cv2.GaussianBlur(light, (0, 0), 0.25 * FINE)


def draw(seed, level):
    """Draw one photo on a dark board; the scene's truth is counted as in `crumbs`."""
    rng, how = np.random.default_rng([seed, 77]), LEVELS[level]
    shape = (int(SIZE_MM[1] * FINE), int(SIZE_MM[0] * FINE))
    outline = crumbs.face_outline(rng, "cut")
    face = crumbs.filled(shape, outline)
    into = cv2.distanceTransform(face.astype(np.uint8), cv2.DIST_L2, 5) / FINE
    crust_mm = rng.uniform(0.8, 1.8)
    crumb = into > crust_mm
    mask, depth = bubbles(rng, shape)
    mask &= crumb
    light = np.clip(lit(rng, np.where(mask, depth, 0), how["lamp"]), 0.03, 2)
    skin = 1 + 0.02 * crumbs.noise(rng, shape, 3.0) + 0.02 * crumbs.noise(rng, shape, 16.0)
    inside = np.clip((into - crust_mm) / 0.3 + 0.5, 0, 1)[..., None]
    colour = np.array([0.36, 0.2, 0.08]) * (1 - inside) + np.array([0.76, 0.66, 0.47]) * inside
    board = np.array([0.08, 0.07, 0.06]) * (1 + 0.15 * crumbs.noise(rng, shape, 3.0))[..., None]
    edge = cv2.GaussianBlur(face.astype(np.float32), (0, 0), 1.0)[..., None]
    plane = colour * (light * skin)[..., None] * edge + np.maximum(board, 0.005) * (1 - edge)
    p = how["px"]
    scale = crumbs._tilted(rng, p, how["tilt"])
    plane = cv2.GaussianBlur(plane.astype(np.float32), (0, 0), 0.4 * FINE / p)
    to_plane = np.array([[1 / FINE, 0, 0.5 / FINE], [0, 1 / FINE, 0.5 / FINE], [0, 0, 1]])
    size = (int(SIZE_MM[0] * p), int(SIZE_MM[1] * p))
    seen = cv2.warpPerspective(plane, scale.homography() @ to_plane, size,
                               flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT)  # fmt: skip
    # a disc, each pixel of it the mean of 8 × 8 points
    half = int(how["blur"]) + 2
    at = (np.arange((2 * half + 1) * 8) + 0.5) / 8 - half - 0.5
    disc = np.hypot(at[:, None], at) < how["blur"]
    disc = disc.reshape(2 * half + 1, 8, 2 * half + 1, 8).mean((1, 3)).astype(np.float32)
    seen = cv2.filter2D(seen, -1, disc / disc.sum())
    grain = rng.standard_normal(seen.shape).astype(np.float32)
    seen += how["noise"] * np.sqrt(0.2 + np.clip(seen, 0, 1)) * grain
    rgb = crumbs.encode(seen).astype(np.float32)
    if rng.random() < 0.5:
        rgb += rng.uniform(0.2, 0.7) * (rgb - cv2.GaussianBlur(rgb, (0, 0), 1.2))
    rgb = np.clip(np.round(rgb), 0, 255).astype(np.uint8)
    coded = cv2.imencode(".jpg", rgb[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, how["jpeg"]])[1]
    rgb = np.ascontiguousarray(cv2.imdecode(coded, cv2.IMREAD_COLOR)[..., ::-1])
    return crumbs.Scene(
        read(rgb), scale._grown(1 + 0.002 * rng.standard_normal()),
        crumbs.counted(mask, crumb, face), crumbs.through(scale.homography(), outline), crust_mm,
        mask, crumb, ("bubbles", "lamp", "board", "cut", level),
    )  # fmt: skip
