"""Cut faces drawn with known truth: several kinds of cells, light, grounds and cameras.

Everything is drawn in linear light on a plane of `FINE` pixels a millimetre, seen through a
tilted pinhole camera (or a scanner), blurred, made noisy, and packed as JPEG. The truth is counted
on the plane by scikit-image, not by the kit. All of it is invented.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from skimage import measure

from kit.photo.camera import Camera, Pose
from kit.photo.picture import Photo, read
from kit.photo.reference import Scale

FINE = 20.0  # pixels per millimetre of the plane
SIZE_MM = (112.0, 76.0)
SMALLEST_MM2 = 0.10
CELLS = ("discs", "ellipses", "field", "foam", "spheres", "blobs")
LIGHTS = ("flat", "bowl", "pit", "slope")
GROUNDS = ("wood", "slate", "cloth", "white", "pale", "semolina", "check")
#: noise is a standard deviation in parts of white; shade is how much light the shadow takes
LEVELS = {
    "easy": {"blur": 0.6, "noise": 0.004, "tilt": 2, "light": 0.06, "jpeg": 95, "shade": 0.15},
    "realistic": {"blur": 1.0, "noise": 0.010, "tilt": 8, "light": 0.2, "jpeg": 88, "shade": 0.4},
    "hard": {"blur": 1.6, "noise": 0.020, "tilt": 14, "light": 0.35, "jpeg": 75, "shade": 0.6},
}


@dataclass(frozen=True)
class Scene:
    """A drawn photo and what is true of it."""

    photo: Photo
    scale: Scale
    truth: dict
    face_px: np.ndarray  # outline in the photo
    crust_mm: float
    cells: np.ndarray  # on the plane
    crumb: np.ndarray
    names: tuple


def through(matrix, points):
    """Return points (n, 2) moved by a homography."""
    return cv2.perspectiveTransform(np.asarray(points, float).reshape(-1, 1, 2), matrix)[:, 0]


def flat_scale(px_per_mm, u=0.002):
    """Return a scale that looks straight down."""
    half = np.array([-0.5 / px_per_mm, -0.5 / px_per_mm, 0.0])
    return Scale("scanner", None, Pose(np.eye(3), half), 1 / px_per_mm, u)


def noise(rng, shape, scale_px, stretch=1.0):
    """Return a smooth random field, mean 0, standard deviation 1, about `scale_px` wide."""
    k = max(1, int(scale_px / 3))
    small = rng.standard_normal((shape[0] // k + 2, shape[1] // k + 2)).astype(np.float32)
    small = cv2.GaussianBlur(small, (0, 0), scale_px / k * stretch, sigmaY=scale_px / k)
    small = cv2.resize(small, (shape[1], shape[0]), interpolation=cv2.INTER_CUBIC)
    return (small - small.mean()) / small.std()


def thrown(rng, shape, openness, median_mm, sigma, aspect, gap_mm):
    """Return ellipses thrown at random, large ones first; apart by `gap_mm` (may be below 0)."""
    mask = np.zeros(shape, np.uint8)
    radii = np.sort(np.clip(median_mm * np.exp(sigma * rng.standard_normal(6000)), 0.12, 3.5))
    radii = radii[::-1]
    share = np.cumsum(np.pi * radii**2) / (shape[0] * shape[1] / FINE**2)
    take = np.sort(rng.choice(6000, min(6000, int(6000 * openness * 1.25 / share[-1])) or 1, False))
    lean = rng.uniform(0, 180)
    for r in radii[take]:
        a = r * np.sqrt(rng.uniform(1, aspect))
        axes = (a * FINE, r * r / a * FINE)
        turn = lean + rng.normal(0, 25)
        for _ in range(12):
            at = (int(rng.uniform(0, shape[1])), int(rng.uniform(0, shape[0])))
            reach = int(axes[0] + abs(gap_mm) * FINE + 2)
            y, x = max(0, at[1] - reach), max(0, at[0] - reach)
            part = mask[y : at[1] + reach, x : at[0] + reach]
            own = np.zeros_like(part)
            wide = (axes[0] + gap_mm * FINE, axes[1] + gap_mm * FINE)
            own = cv2.ellipse(own, ((at[0] - x, at[1] - y), (2 * max(wide[0], 1),
                              2 * max(wide[1], 1)), turn), 1, -1)  # fmt: skip
            if not (own & part).any():
                cv2.ellipse(part, ((at[0] - x, at[1] - y), (2 * axes[0], 2 * axes[1]), turn), 1, -1)
                break
    return mask > 0


def foam(rng, shape):
    """Return cells with thin walls: the places nearer to one seed than to the next."""
    from scipy.spatial import cKDTree

    k, size = 2, rng.uniform(0.9, 2.0)
    h, w = shape[0] // k, shape[1] // k
    seeds = rng.uniform(0, 1, (int(h * w / (size * FINE / k) ** 2), 2)) * (h, w)
    push = rng.exponential(0.25 * (size * FINE / k) ** 2, len(seeds))  # weights: uneven sizes
    raised = np.column_stack([seeds, np.sqrt(push.max() - push)])
    grid = np.column_stack([*(g.ravel() for g in np.mgrid[:h, :w]), np.zeros(h * w)])
    d, i = cKDTree(raised).query(grid, k=2)
    wall = rng.uniform(0.18, 0.4) * FINE / k
    apart = np.hypot(*(seeds[i[:, 0]] - seeds[i[:, 1]]).T)
    inside = (d[:, 1] ** 2 - d[:, 0] ** 2) / (2 * np.maximum(apart, 1e-6)) > wall / 2
    closed = rng.random(len(seeds)) < rng.uniform(0.1, 0.4)
    mask = (inside & ~closed[i[:, 0]]).reshape(h, w).astype(np.float32)
    mask = cv2.resize(mask, (shape[1], shape[0]), interpolation=cv2.INTER_LINEAR)
    return cv2.GaussianBlur(mask, (0, 0), 0.09 * FINE) > 0.5


def spheres(rng, shape):
    """Return the mask and depth in mm of spheres cut by the plane."""
    depth = np.zeros(shape, np.float32)
    area = shape[0] * shape[1] / FINE**2
    aim, sigma, median = rng.uniform(0.25, 0.6), rng.uniform(0.3, 0.55), rng.uniform(0.4, 0.9)
    covered = 0.0
    while covered < -np.log(1 - aim) * area:
        r = min(median * np.exp(sigma * rng.standard_normal()), 4.0)
        c = rng.uniform(-r, r) * 0.95
        y, x = rng.uniform(0, shape[0]), rng.uniform(0, shape[1])
        cut = np.sqrt(r * r - c * c)
        covered += np.pi * cut**2
        n = int(cut * FINE) + 1
        y0, x0 = max(0, int(y) - n), max(0, int(x) - n)
        part = depth[y0 : int(y) + n + 1, x0 : int(x) + n + 1]
        yy, xx = np.ogrid[y0 : y0 + part.shape[0], x0 : x0 + part.shape[1]]
        rho2 = ((yy - y) ** 2 + (xx - x) ** 2) / FINE**2
        own = np.where(rho2 < cut * cut, c + np.sqrt(np.maximum(r * r - rho2, 0)), 0)
        np.maximum(part, own.astype(np.float32), out=part)
    return depth > 0, depth


def cells_of(kind, rng, shape):
    """Return (mask, depth in mm) of cells all over the plane."""
    if kind == "discs":
        mask = thrown(rng, shape, rng.uniform(0.2, 0.5), rng.uniform(0.35, 0.8), 0.5, 1.0, 0.12)
    elif kind == "ellipses":
        mask = thrown(rng, shape, rng.uniform(0.2, 0.55), rng.uniform(0.35, 0.9), 0.5, 2.8, -0.1)
    elif kind == "field":
        size = rng.uniform(0.25, 0.5) * FINE
        f = noise(rng, shape, size) - 0.5 * noise(rng, shape, 2.2 * size)
        mask = f > np.quantile(f, 1 - rng.uniform(0.25, 0.5))
    elif kind == "foam":
        mask = foam(rng, shape)
    elif kind == "blobs":
        from porespy.generators import blobs

        mask = blobs([s // 2 for s in shape], porosity=rng.uniform(0.25, 0.5),
                     blobiness=rng.uniform(1.2, 2.4), seed=int(rng.integers(2**31)))  # fmt: skip
        mask = cv2.resize(mask.astype(np.float32), shape[::-1]) > 0.5
    else:
        return spheres(rng, shape)
    dt = cv2.distanceTransform(mask.astype(np.uint8), cv2.DIST_L2, 5) / FINE
    return mask, dt * np.float32(rng.uniform(0.7, 1.5))


def lit(kind, rng, mask, depth):
    """Return the light the cells send back, 1 at the walls."""
    take = rng.uniform(0.3, 0.65)
    dt = cv2.distanceTransform(mask.astype(np.uint8), cv2.DIST_L2, 5) / FINE
    if kind == "flat":
        own = 1 - take * (1 + 0.15 * noise(rng, mask.shape, 0.8 * FINE))
    elif kind == "bowl":  # dark at once near the rim, then level
        own = 1 - take * (1 - np.exp(-dt / rng.uniform(0.12, 0.35)))
    elif kind == "pit":  # as deep as it is: less light from the open sky
        own = 1 - take * (0.25 + 0.75 * depth / (depth + rng.uniform(0.3, 0.7)))
    else:  # a lamp from one side: one slope darker than the other
        deep = cv2.GaussianBlur(depth, (0, 0), 0.1 * FINE)
        gy, gx = np.gradient(deep, 1 / FINE)
        turn, strength = rng.uniform(0, 2 * np.pi), rng.uniform(0.08, 0.2)
        slope = np.clip(np.cos(turn) * gx + np.sin(turn) * gy, -1.2, 1.2)
        own = 1 - take * (0.35 + 0.65 * (1 - np.exp(-depth / 0.5))) + strength * slope
    return np.where(mask, np.clip(own, 0.12, 1.05), 1.0).astype(np.float32)


def ground_of(kind, rng, shape):
    """Return linear colours of what the face lies on."""
    fine = noise(rng, shape, 2.0)
    if kind == "wood":
        tone = 0.16 * noise(rng, shape, 10, 12) + 0.05 * fine
        colour = np.array([0.32, 0.19, 0.09]) * rng.uniform(0.6, 1.5)
    elif kind == "slate":
        tone, colour = 0.15 * noise(rng, shape, 30) + 0.1 * fine, np.array([0.045, 0.05, 0.055])
    elif kind in ("cloth", "check"):
        yy, xx = np.mgrid[: shape[0], : shape[1]]
        p = rng.uniform(12, 20)
        tone = 0.15 * np.sin(2 * np.pi * xx / p) * np.sin(2 * np.pi * yy / p) + 0.05 * fine
        colour = rng.uniform(0.08, 0.6, 3)
        if kind == "check":
            tone = tone + 0.35 * np.sign(np.sin(xx / (5 * p)) + np.sin(yy / (5 * p)))
    elif kind == "white":
        tone, colour = 0.01 * fine, np.array([0.82, 0.82, 0.8])
    elif kind == "pale":
        tone, colour = 0.03 * noise(rng, shape, 25) + 0.02 * fine, np.array([0.74, 0.64, 0.48])
    else:  # semolina strewn on a dark board
        tone, colour = 0.08 * fine, np.array([0.2, 0.15, 0.1])
        grains = np.zeros(shape, np.uint8)
        for x, y in rng.uniform(0, 1, (2500, 2)) * shape[::-1]:
            cv2.circle(grains, (int(x), int(y)), int(rng.integers(3, 9)), 1, -1)
        tone = tone + 2.6 * cv2.GaussianBlur(grains.astype(np.float32), (0, 0), 1.5)
    rgb = colour * np.maximum(1 + tone, 0.1)[..., None]
    return np.clip(rgb, 0, 1).astype(np.float32)


def face_outline(rng, kind):
    """Return the outline (720, 2) in mm of a cut face in the middle of the plane."""
    t = np.linspace(0, 2 * np.pi, 720, endpoint=False)
    if kind == "split":  # pulled open like a book: round
        r = rng.uniform(30, 34) * (1 + 0.02 * np.cos(2 * t + 1) + 0.008 * np.cos(5 * t + 2))
        xy = np.column_stack([r * np.cos(t), r * np.sin(t)])
    else:
        a, b, p = rng.uniform(36, 44), rng.uniform(14, 20), rng.uniform(2.4, 4)
        c, s = np.cos(t), np.sin(t)
        xy = np.column_stack(
            [a * np.sign(c) * abs(c) ** (2 / p), b * np.sign(s) * abs(s) ** (2 / p)]
        )
        xy *= (1 + 0.01 * np.cos(3 * t + rng.uniform(0, 6)))[:, None]
    turn = np.radians(rng.uniform(-8, 8))
    spin = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    return xy @ spin.T + np.array(SIZE_MM) / 2 + rng.uniform(-2, 2, 2)


def filled(shape, outline_mm):
    """Return the pixels of the plane inside an outline."""
    mask = np.zeros(shape, np.uint8)
    cv2.fillPoly(mask, [np.round(outline_mm * FINE * 16 - 8).astype(np.int32)], 1, shift=4)
    return mask > 0


def draw(seed, level="realistic", cells=None, light=None, ground=None, shape=None,
         px_per_mm=14.0, scanner=False):  # fmt: skip
    """Draw one photo; what is not given is chosen by the seed."""
    rng = np.random.default_rng(seed)
    cells, light = cells or str(rng.choice(CELLS)), light or str(rng.choice(LIGHTS))
    ground, shape = ground or str(rng.choice(GROUNDS)), shape or str(rng.choice(["cut", "split"]))
    how = LEVELS[level]
    size = (int(SIZE_MM[1] * FINE), int(SIZE_MM[0] * FINE))
    outline = face_outline(rng, shape)
    face = filled(size, outline)
    into = cv2.distanceTransform(face.astype(np.uint8), cv2.DIST_L2, 5) / FINE
    crust_mm = rng.uniform(0.8, 2.2)
    crumb = into > crust_mm
    mask, depth = cells_of(cells, rng, size)
    mask &= crumb
    albedo = np.array([0.78, 0.68, 0.50]) * rng.uniform(0.85, 1.08)
    crust = np.array([0.34, 0.17, 0.06]) * rng.uniform(0.7, 1.5)
    ramp = np.clip((into - crust_mm) / rng.uniform(0.2, 0.7) + 0.5, 0, 1)[..., None]
    skin = 1 + 0.02 * noise(rng, size, 3.0) + 0.02 * noise(rng, size, 12.0)
    inner = (crust + (albedo - crust) * ramp) * (skin * lit(light, rng, mask, depth))[..., None]
    shift = rng.uniform(-3, 3, 2) * FINE
    cast = cv2.warpAffine(face.astype(np.float32), np.array([[1, 0, shift[0]], [0, 1, shift[1]]]),
                          size[::-1])  # fmt: skip
    cast = cv2.GaussianBlur(cast, (0, 0), rng.uniform(0.7, 2.5) * FINE)
    outer = ground_of(ground, rng, size) * (1 - (0 if scanner else how["shade"]) * cast)[..., None]
    edge = cv2.GaussianBlur(face.astype(np.float32), (0, 0), 1.0)[..., None]
    plane = (inner * edge + outer * (1 - edge)).astype(np.float32)
    if scanner:
        scale = flat_scale(px_per_mm)
    else:
        scale = _tilted(rng, px_per_mm, how["tilt"])
    matrix = scale.homography()
    width, height = int(SIZE_MM[0] * px_per_mm), int(SIZE_MM[1] * px_per_mm)
    to_plane = np.array([[1 / FINE, 0, 0.5 / FINE], [0, 1 / FINE, 0.5 / FINE], [0, 0, 1]])
    plane = cv2.GaussianBlur(plane, (0, 0), max(0.3, 0.45 * FINE / px_per_mm))
    seen = cv2.warpPerspective(plane, matrix @ to_plane, (width, height), flags=cv2.INTER_LINEAR,
                               borderMode=cv2.BORDER_REFLECT)  # fmt: skip
    seen = cv2.GaussianBlur(seen, (0, 0), how["blur"])
    yy, xx = np.mgrid[:height, :width] / max(height, width) - 0.35
    turn = rng.uniform(0, 2 * np.pi)
    fall = 1 + (0 if scanner else how["light"]) * (np.cos(turn) * xx + np.sin(turn) * yy)
    fall *= 1 - (0 if scanner else how["light"]) * (xx**2 + yy**2)
    seen *= (fall * rng.uniform(0.85, 1.0))[..., None].astype(np.float32)
    sd = how["noise"] * np.sqrt(0.3 + np.clip(seen, 0, 1))
    seen += (
        sd * cv2.GaussianBlur(rng.standard_normal(seen.shape).astype(np.float32), (0, 0), 0.5) * 2
    )
    rgb = encode(seen)
    coded = cv2.imencode(".jpg", rgb[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, how["jpeg"]])[1]
    rgb = np.ascontiguousarray(cv2.imdecode(coded, cv2.IMREAD_COLOR)[..., ::-1])
    scale = scale._grown(1 + 0.002 * rng.standard_normal())  # as wrong as it says it may be
    return Scene(read(rgb), scale, counted(mask, crumb, face), through(matrix, outline),
                 crust_mm, mask, crumb, (cells, light, ground, shape, level))  # fmt: skip


def encode(linear):
    """Return 8-bit sRGB of linear light (IEC 61966-2-1)."""
    v = np.clip(linear, 0, 1)
    v = np.where(v <= 0.0031308, 12.92 * v, 1.055 * v ** (1 / 2.4) - 0.055)
    return np.round(v * 255).astype(np.uint8)


def _tilted(rng, px_per_mm, tilt_deg):
    """Return the scale of a camera that looks at the plane's middle, tilted at random."""
    centre, far = np.array(SIZE_MM) / 2, 2.2 * SIZE_MM[0]
    tilt, turn = np.radians(tilt_deg) * rng.uniform(0.5, 1), rng.uniform(0, 2 * np.pi)
    r = cv2.Rodrigues(tilt * np.array([np.cos(turn), np.sin(turn), 0.0]))[0]
    camera = Camera(px_per_mm * far, *(centre * px_per_mm - 0.5))
    shift = np.array([0, 0, far]) - r[:, :2] @ centre
    return Scale("marker", camera, Pose(r, shift), 1 / px_per_mm, 0.002)


def counted(mask, crumb, face):
    """Return what is true of cells on the plane, counted by scikit-image."""
    labels = measure.label(mask, connectivity=1)
    area = np.bincount(labels.ravel())[1:] / FINE**2
    keep = area >= SMALLEST_MM2
    big = np.concatenate([[False], keep])[labels]
    cells = area[keep]
    crumb_mm2 = crumb.sum() / FINE**2
    return {
        "openness": cells.sum() / crumb_mm2,
        "cells_per_cm2": 100 * len(cells) / crumb_mm2,
        "median_cell_mm2": np.median(cells),
        "mean_cell_mm2": cells.mean(),
        "area_weighted_cell_mm2": (cells**2).sum() / cells.sum(),
        "cell_10_mm2": np.quantile(cells, 0.1),
        "cell_90_mm2": np.quantile(cells, 0.9),
        "largest_cell_mm2": cells.max(),
        "wall_chord_mm": wall_chord(crumb & ~big) / FINE,
        "face_mm2": face.sum() / FINE**2,
        "crumb_mm2": crumb_mm2,
    }


def wall_chord(wall):
    """Return the mean length in pixels of the runs of wall along rows and columns."""
    runs = sum(
        (np.diff(np.pad(w, ((0, 0), (1, 0))).astype(np.int8)) == 1).sum() for w in (wall, wall.T)
    )
    return 2 * wall.sum() / runs
