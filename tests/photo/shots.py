"""Photos of one piece as a baker takes them, for the panel: files with a time and a reference.

Made from `solids` and `crumbs`; everything is invented. The reference beside the piece is a white
square of 40 mm, its corners where `corners` says; or a marker of 32 mm printed on that square, a
coin stuck on it, or a ruler that stands in its place.
"""

from dataclasses import dataclass
from pathlib import Path

import crumbs
import cv2
import numpy as np
import solids
from PIL import Image
from printed import printed

from kit.photo.camera import Camera

#: the white square's side, and that of the marker on it
SQUARE_MM, MARKER_MM = 40.0, 32.0
COIN_MM, RULER_MM = 30.0, 60.0
#: how far the piece's axis lies in front of the square
OFFSET_MM = 12.0


@dataclass(frozen=True)
class Shot:
    """A photo in a file and what is true of it."""

    path: Path
    corners: np.ndarray  # of the square, in pixels: two neighbours lie 40 mm apart
    truth: solids.Truth


def from_the_side(
    path, seed, marker=False, taken=None, level="easy", kind="piece", size=(1600, 1200), beside=None
):
    """Draw a piece (or ball) from the side beside a reference, and save it by the path's suffix.

    `beside`: the white square when not given, "marker" (as `marker`), "coin" or "ruler"; of a
    ruler `corners` are its two end ticks.
    """
    pixels, scale, truth = solids.scene(seed, level, kind, *size)[:3]
    pixels, corners = _with(pixels, scale.outline, "marker" if marker else beside)
    _save(path, pixels, taken)
    return Shot(path, corners, truth)


def proofing(folder, ratios=(1.0, 1.6, 2.2), jar=False, size=(1600, 1200), seed=4):
    """Draw a dough that proofs before one camera with a marker beside it, 30 minutes apart.

    Returns the files' paths, the true volumes in ml and, of a jar, how wide it is inside.
    """
    rng = np.random.default_rng(seed)
    at = solids.setting(rng, *size, rng.uniform(3, 7), 300.0 if jar else 280.0)
    paths, volumes = [], []
    for i, ratio in enumerate(ratios):
        radius = 43.0 if jar else 33 * ratio**0.36
        shape = (
            solids.in_jar(radius, 26 * ratio, 6.0)
            if jar
            else solids.cap(radius, radius * (1.25 - 0.12 * (ratio - 1)))
        )
        pixels = solids.draw(
            np.random.default_rng(seed + i), shape, at, *size, "easy",
            (radius + 2.5, 110.0) if jar else None,
        )[0]  # fmt: skip
        pixels, _ = _with(pixels, solids.scale_of(at).outline, "marker")
        paths.append(folder / f"1A rise {i + 1}.jpg")
        _save(paths[-1], pixels, f"2026-11-19 0{8 + i // 2}:{30 * (i % 2):02d}:00")
        volumes.append(shape.volume_ml)
    return paths, np.array(volumes), 86.0 if jar else None


def scanned(path, seed=3, px_per_mm=14.0, taken=None, cells="discs"):
    """Draw a cut face on a scanner, save it as JPEG; return the scene and the dots to the inch."""
    scene = crumbs.draw(
        seed, "easy", cells, "flat", "slate", "cut", px_per_mm=px_per_mm, scanner=True
    )
    _save(path, scene.photo.pixels, taken)
    return scene, px_per_mm * 25.4


def on_card(path, inside, taken=None, tilt_deg=8.0, size=(1600, 1200), turned_deg=0.0):
    """Photograph the kit's own card from above with something in its window, and save it as JPEG.

    Parameters
    ----------
    path : Path
    inside : (1040, 1120, 3) array
        What lies in the window, linear light, ten pixels to the millimetre.
    """
    from kit.photo.references import card

    fine = 10.0
    plane = np.repeat(printed(fine * 25.4)[..., None], 3, axis=2)
    x0, y0, x1, y1 = (round(v * fine) for v in card.WINDOW_MM)
    plane[y0:y1, x0:x1] = inside
    camera = Camera.of(*size, 26.0)
    turn = np.radians(tilt_deg)
    tilt = np.array([[1, 0, 0], [0, np.cos(turn), -np.sin(turn)], [0, np.sin(turn), np.cos(turn)]])
    tilt = tilt @ cv2.Rodrigues(np.radians([0, 0, turned_deg]))[0]
    middle = np.array([*card.SIZE_MM, 0]) / 2
    shift = np.array([0, 0, 250.0]) - tilt @ middle
    onto = camera.matrix @ np.column_stack([tilt[:, 0], tilt[:, 1], shift])
    to_mm = np.array([[1 / fine, 0, 0.5 / fine], [0, 1 / fine, 0.5 / fine], [0, 0, 1]])
    coarse = cv2.GaussianBlur(plane.astype(np.float32), (0, 0), 0.7)
    seen = cv2.warpPerspective(coarse, onto @ to_mm, size, borderValue=(0.1, 0.1, 0.12))
    light = np.linspace(0.95, 0.8, size[0])[None, :, None]  # a window to the left
    rng = np.random.default_rng(1)
    noisy = cv2.GaussianBlur(seen, (0, 0), 0.7) * light + rng.normal(0, 0.002, seen.shape)
    _save(path, crumbs.encode(noisy), taken)


def face_of(lab, radius_mm=42.0):
    """Return what to put on the card: a round face of one colour (L*, a*, b*) on dark slate."""
    from skimage.color import lab2rgb

    srgb = lab2rgb(np.asarray(lab, float).reshape(1, 1, 3)).reshape(3)
    linear = np.where(srgb <= 0.04045, srgb / 12.92, ((srgb + 0.055) / 1.055) ** 2.4)
    y, x = np.mgrid[:1040, :1120]
    there = np.hypot(x - 559.5, y - 519.5) < radius_mm * 10
    return np.where(there[..., None], linear, np.array([0.05, 0.055, 0.06]))


def cut_face(seed=3):
    """Return what to put on the card, a cut face 112 mm by 76 mm with ground, and its scene."""
    scene = crumbs.draw(seed, "easy", "discs", "flat", "slate", "cut", px_per_mm=10, scanner=True)
    srgb = scene.photo.pixels / 255
    linear = np.where(srgb <= 0.04045, srgb / 12.92, ((srgb + 0.055) / 1.055) ** 2.4)
    edge = 1040 - linear.shape[0]
    sides = ((edge // 2, edge - edge // 2), (0, 1120 - linear.shape[1]), (0, 0))
    return np.pad(linear, sides, mode="reflect"), scene


def _with(pixels, corners, beside):
    """Put a reference in the square's place; the picture and the reference's corners."""
    grey = np.full((800, 800), 215, np.uint8)  # 20 pixels to the millimetre
    box = (0.0, 0.0, SQUARE_MM, SQUARE_MM)
    if beside == "marker":
        dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
        drawn = cv2.aruco.generateImageMarker(dictionary, 5, int(20 * MARKER_MM))
        grey[80:720, 80:720] = np.where(drawn > 127, 215, 25)
    elif beside == "coin":
        cv2.circle(grey, (6392, 6392), int(160 * COIN_MM), 95, -1, cv2.LINE_AA, 4)
        cv2.circle(grey, (6392, 6392), int(140 * COIN_MM), 120, -1, cv2.LINE_AA, 4)
    elif beside == "ruler":
        # 60 mm upright, its foot where the square's is; ticks on the right edge
        grey = np.full((int(20 * (RULER_MM + 8)), 480), 220, np.uint8)
        for i in range(int(RULER_MM) + 1):
            y, long = 20 * (4 + i), 8 if i % 10 == 0 else 6 if i % 5 == 0 else 4
            grey[y - 2 : y + 2, -20 * long :] = 30
        box = (8.0, SQUARE_MM - RULER_MM - 8, 32.0, SQUARE_MM)
        ends = np.array([[32.0, SQUARE_MM - 4 - RULER_MM], [32.0, SQUARE_MM - 4]])
    else:
        return pixels, corners
    square = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], np.float32) * np.float32(SQUARE_MM)
    to_px = cv2.getPerspectiveTransform(square, corners.astype(np.float32))
    x0, y0, x1, y1 = box
    place = np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]], np.float32)
    high, wide = grey.shape
    flat = np.array([[0, 0], [wide, 0], [wide, high], [0, high]], np.float32) - 0.5
    there = cv2.perspectiveTransform(place[None], to_px)[0]
    fine = cv2.getPerspectiveTransform(flat, (there + 0.5) * 4 - 0.5)
    shape = pixels.shape[1::-1]
    low, high_ = np.floor(there.min(0)).astype(int) - 2, np.ceil(there.max(0)).astype(int) + 3
    low, high_ = np.maximum(low, 0), np.minimum(high_, shape)
    part = np.eye(3)  # the part about it, drawn four times as fine, then averaged
    part[:2, 2] = -4 * low
    size = tuple(int(v) for v in 4 * (high_ - low))
    shrink = (size[0] // 4, size[1] // 4)
    seen = cv2.warpPerspective(grey, part @ fine, size, borderMode=cv2.BORDER_REPLICATE)
    cover = cv2.warpPerspective(np.full_like(grey, 255), part @ fine, size)
    seen = cv2.resize(seen, shrink, interpolation=cv2.INTER_AREA)[..., None].astype(float)
    cover = cv2.resize(cover, shrink, interpolation=cv2.INTER_AREA)[..., None] / 255.0
    out = pixels.copy()
    spot = out[low[1] : high_[1], low[0] : high_[0]]
    spot[:] = np.round(spot * (1 - cover) + seen * cover)
    if beside == "ruler":
        corners = cv2.perspectiveTransform(ends[None].astype(np.float32), to_px)[0]
    return out, np.asarray(corners, float)


def _save(path, pixels, taken):
    exif = Image.Exif()
    if taken:
        exif.get_ifd(0x8769)[0x9003] = taken.replace("-", ":")  # DateTimeOriginal
    exif.get_ifd(0x8769)[0xA405] = 26  # FocalLengthIn35mmFilm
    path.parent.mkdir(parents=True, exist_ok=True)
    if path.suffix.lower() == ".heic":
        import pillow_heif

        pillow_heif.register_heif_opener()
        Image.fromarray(np.ascontiguousarray(pixels)).save(path, "HEIF", quality=93, exif=exif)
        return
    Image.fromarray(np.ascontiguousarray(pixels)).save(path, quality=93, exif=exif)
