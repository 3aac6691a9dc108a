"""Photos of one piece as a baker takes them, for the panel: files with a time and a reference.

Made from `solids` and `crumbs`; everything is invented. The reference beside the piece is a white
square of 40 mm, its corners where `corners` says, or a marker of 32 mm printed on that square.
"""

from dataclasses import dataclass
from pathlib import Path

import crumbs
import cv2
import numpy as np
import solids
from PIL import Image

from kit.photo.camera import Camera

#: the white square's side, and that of the marker on it
SQUARE_MM, MARKER_MM = 40.0, 32.0
#: how far the piece's axis lies in front of the square
OFFSET_MM = 12.0


@dataclass(frozen=True)
class Shot:
    """A photo in a file and what is true of it."""

    path: Path
    corners: np.ndarray  # of the square, in pixels: two neighbours lie 40 mm apart
    truth: solids.Truth


def from_the_side(
    path, seed, marker=False, taken=None, level="easy", kind="piece", size=(1600, 1200)
):
    """Draw a piece (or ball) from the side beside the square, and save it as JPEG."""
    pixels, scale, truth = solids.scene(seed, level, kind, *size)[:3]
    corners = scale.outline
    if marker:
        pixels = _printed(pixels, corners)
    _save(path, pixels, taken)
    return Shot(path, corners, truth)


def scanned(path, seed=3, px_per_mm=14.0, taken=None, cells="discs"):
    """Draw a cut face on a scanner, save it as JPEG; return the scene and the dots to the inch."""
    scene = crumbs.draw(
        seed, "easy", cells, "flat", "slate", "cut", px_per_mm=px_per_mm, scanner=True
    )
    _save(path, scene.photo.pixels, taken)
    return scene, px_per_mm * 25.4


def on_card(path, inside, taken=None, tilt_deg=8.0, size=(1600, 1200)):
    """Photograph the kit's own card from above with something in its window, and save it as JPEG.

    Parameters
    ----------
    path : Path
    inside : (1040, 1120, 3) array
        What lies in the window, linear light, ten pixels to the millimetre.
    """
    from kit.photo import card

    fine = 10.0
    plane = np.repeat(card.picture(fine * 25.4)[..., None], 3, axis=2)
    x0, y0, x1, y1 = (round(v * fine) for v in card.WINDOW_MM)
    plane[y0:y1, x0:x1] = inside
    camera = Camera.of(*size, 26.0)
    turn = np.radians(tilt_deg)
    tilt = np.array([[1, 0, 0], [0, np.cos(turn), -np.sin(turn)], [0, np.sin(turn), np.cos(turn)]])
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


def _printed(pixels, corners):
    """Print a marker on the square, a white margin of 4 mm round it."""
    fine = 20
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    side = int(SQUARE_MM * fine)
    square = np.full((side, side), 215, np.uint8)
    inner = int(MARKER_MM * fine)
    edge = (side - inner) // 2
    drawn = cv2.aruco.generateImageMarker(dictionary, 5, inner)
    square[edge : edge + inner, edge : edge + inner] = np.where(drawn > 127, 215, 25)
    flat = np.array([[0, 0], [side, 0], [side, side], [0, side]], np.float32) - 0.5
    onto = cv2.getPerspectiveTransform(flat, corners.astype(np.float32))
    shape = pixels.shape[1::-1]
    seen = cv2.warpPerspective(square, onto, shape, flags=cv2.INTER_AREA)
    there = cv2.warpPerspective(np.full_like(square, 255), onto, shape)[..., None] / 255
    return (pixels * (1 - there) + seen[..., None] * there).round().astype(np.uint8)


def _save(path, pixels, taken):
    exif = Image.Exif()
    if taken:
        exif.get_ifd(0x8769)[0x9003] = taken.replace("-", ":")  # DateTimeOriginal
    exif.get_ifd(0x8769)[0xA405] = 26  # FocalLengthIn35mmFilm
    path.parent.mkdir(parents=True, exist_ok=True)
    Image.fromarray(np.ascontiguousarray(pixels)).save(path, quality=93, exif=exif)
