"""Plane scenes of known truth: references on textured ground under a phone's camera.

Own rendering, for tests: every ray of every pixel is followed to the plane (several a pixel), what
lies there is evaluated exactly, and light, lens, noise and JPEG follow in the order of a camera:
linear light, vignetting, shadow and gradient, blur, noise, tone curve, compression.

    scene = draw(rng, [Marker(5, 40.0)], "realistic", face_mm=(70, 10), offset_mm=12)
    scene.photo, scene.camera, scene.pose

A reference is anything with `at` (its centre on the plane), `turn` (degrees) and
`reflectance(mm) -> (n,) values, NaN where it does not cover` in its own millimetres, all of it
within `reach_mm` of its centre.
"""

import io
import math
from dataclasses import dataclass, field, replace

import cv2
import numpy as np
from PIL import Image
from scipy.ndimage import fourier_gaussian

from kit.photo.camera import FRAME_DIAGONAL_MM, Camera, Pose

__all__ = [
    "LEVELS", "Board", "Disc", "Level", "Marker", "Picture", "Plain", "Ruler", "Scene",
    "ScenePhoto", "draw", "look", "render", "true_mm_per_px",
]  # fmt: skip


@dataclass(frozen=True)
class Level:
    """How hard a scene is; ranges are drawn from evenly."""

    tilt: tuple[float, float]
    k1: float
    blur: tuple[float, float]  # pixels of a 12 MP picture's half: of the picture drawn
    noise: float
    light: float  # how much it falls across the picture
    shadow: float
    quality: int
    ground: float  # contrast of the ground's texture
    focal_told: float  # chance that the file gives the focal length


LEVELS = {
    "easy": Level((0, 8), 0.0, (0.4, 0.8), 0.004, 0.1, 0.0, 95, 0.05, 1.0),
    "realistic": Level((4, 25), 0.01, (0.6, 1.3), 0.012, 0.35, 0.3, 88, 0.2, 0.8),
    "hard": Level((12, 40), 0.02, (1.0, 2.0), 0.03, 0.6, 0.55, 75, 0.45, 0.5),
}


@dataclass(frozen=True)
class Marker:
    """A square marker of an OpenCV dictionary with a white margin."""

    number: int
    side_mm: float
    dictionary: str = "DICT_4X4_50"
    at: tuple[float, float] = (0.0, 0.0)
    turn: float = 0.0
    white: float = 0.8
    black: float = 0.05

    @property
    def reach_mm(self):
        return 1.2 * self.side_mm

    def reflectance(self, mm):
        words = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, self.dictionary))
        n = words.markerSize + 2
        drawn = cv2.aruco.generateImageMarker(words, self.number, n) > 0
        cells = np.pad(drawn, 1, constant_values=True)
        k = np.floor((mm / self.side_mm + 0.5) * n).astype(int) + 1
        inside = ((k >= 0) & (k < n + 2)).all(-1)
        k = np.clip(k, 0, n + 1)
        return np.where(inside, np.where(cells[k[:, 1], k[:, 0]], self.white, self.black), np.nan)


@dataclass(frozen=True)
class Board:
    """A checkerboard with a white margin of one square."""

    inner: tuple[int, int]
    square_mm: float
    at: tuple[float, float] = (0.0, 0.0)
    turn: float = 0.0

    @property
    def reach_mm(self):
        return 0.8 * (sum(self.inner) + 4) * self.square_mm

    def reflectance(self, mm):
        nx, ny = self.inner[0] + 1, self.inner[1] + 1
        k = np.floor(mm / self.square_mm + np.array([nx, ny]) / 2).astype(int)
        inside = ((k >= 0) & (k < [nx, ny])).all(-1)
        near = ((k >= -1) & (k < [nx + 1, ny + 1])).all(-1)
        value = np.where(inside & (k.sum(-1) % 2 == 0), 0.05, 0.8)
        return np.where(near, value, np.nan)


@dataclass(frozen=True)
class Disc:
    """A round thing of two tones with a rim, as a coin or a lid has."""

    diameter_mm: float
    at: tuple[float, float] = (0.0, 0.0)
    turn: float = 0.0
    tone: float = 0.6
    rim: float = 0.75
    relief: float = 0.1

    @property
    def reach_mm(self):
        return 0.6 * self.diameter_mm

    def reflectance(self, mm):
        r = np.hypot(mm[:, 0], mm[:, 1]) / (self.diameter_mm / 2)
        told = self.tone + self.relief * np.sin(1.3 * mm[:, 0]) * np.sin(0.9 * mm[:, 1] + 0.4)
        return np.where(r <= 1, np.where(r > 0.9, self.rim, told), np.nan)


@dataclass(frozen=True)
class Ruler:
    """A ruler with ticks every `tick_mm` up from its lower edge; (0, 0) is the zero there."""

    mm: float
    tick_mm: float = 1.0
    at: tuple[float, float] = (0.0, 0.0)
    turn: float = 0.0
    line_mm: float = 0.2

    @property
    def reach_mm(self):
        return self.mm + 30.0

    def reflectance(self, mm):
        x, y = mm[:, 0], mm[:, 1]
        inside = (x > -6) & (x < self.mm + 6) & (y < 0) & (y > -25)
        k = np.round(x / self.tick_mm)
        on = (np.abs(x - k * self.tick_mm) < self.line_mm / 2) & (k >= 0)
        on &= k * self.tick_mm <= self.mm + 1e-9
        long = np.where(k % 10 == 0, 8.0, np.where(k % 5 == 0, 6.0, 4.0))
        return np.where(inside, np.where(on & (y > -long), 0.08, 0.78), np.nan)


@dataclass(frozen=True)
class Picture:
    """Any printed picture: `grey` (rows, columns) of reflectances, `px_per_mm` fine."""

    grey: np.ndarray
    px_per_mm: float
    at: tuple[float, float] = (0.0, 0.0)
    turn: float = 0.0

    @property
    def reach_mm(self):
        return 0.6 * sum(self.grey.shape) / self.px_per_mm

    def reflectance(self, mm):
        rows, columns = self.grey.shape
        k = np.floor(mm * self.px_per_mm + np.array([columns, rows]) / 2).astype(int)
        inside = ((k >= 0) & (k < [columns, rows])).all(-1)
        k = np.clip(k, 0, [columns - 1, rows - 1])
        return np.where(inside, self.grey[k[:, 1], k[:, 0]], np.nan)


@dataclass(frozen=True)
class Plain:
    """An ellipse of one tone: a stand-in for a face or a plate, not quite round."""

    across_mm: tuple[float, float]
    at: tuple[float, float] = (0.0, 0.0)
    turn: float = 0.0
    tone: float = 0.35
    bumps: float = 0.02

    @property
    def reach_mm(self):
        return 0.7 * max(self.across_mm)

    def reflectance(self, mm):
        angle = np.arctan2(mm[:, 1], mm[:, 0])
        edge = 1 + self.bumps * (np.sin(3 * angle + 1) + 0.7 * np.sin(5 * angle))
        r = np.hypot(*(2 * mm / self.across_mm).T) / edge
        return np.where(r <= 1, self.tone * (1 + 0.2 * np.sin(2.1 * mm[:, 0]) ** 2), np.nan)


@dataclass(frozen=True)
class ScenePhoto:
    """What `kit.photo.read` gives, as far as finding a scale needs it."""

    pixels: np.ndarray
    focal_35mm: float | None = None
    notes: tuple = ()

    @property
    def width(self):
        return self.pixels.shape[1]

    @property
    def height(self):
        return self.pixels.shape[0]

    @property
    def camera(self):
        return Camera.of(self.width, self.height, self.focal_35mm)

    def reduced(self, longest_px):
        k = max(self.width, self.height) / longest_px
        if k <= 1:
            return self.pixels, 1.0
        size = (round(self.width / k), round(self.height / k))
        return cv2.resize(self.pixels, size, interpolation=cv2.INTER_AREA), k


@dataclass(frozen=True)
class Scene:
    """A picture and its truth."""

    photo: ScenePhoto
    camera: Camera
    pose: Pose
    face_mm: np.ndarray
    offset_mm: float
    references: tuple = ()
    extra: dict = field(default_factory=dict)

    def px(self, mm, offset_mm=0.0):
        """Where points of the plane are seen."""
        mm = np.atleast_2d(np.asarray(mm, float))
        deep = np.column_stack([mm, np.full(len(mm), -offset_mm)])
        return self.camera.project(self.pose.to_camera(deep))


def look(camera, tilt_deg, toward_deg, px_per_mm, roll_deg=0.0, centre_px=None):
    """A pose: `tilt_deg` off square-on about the axis at `toward_deg`, as far as px_per_mm says."""
    away = camera.focal_px / px_per_mm
    axis = np.array([math.cos(math.radians(toward_deg)), math.sin(math.radians(toward_deg)), 0])
    tip = cv2.Rodrigues(axis * math.radians(tilt_deg))[0]
    spin = cv2.Rodrigues(np.array([0, 0, math.radians(roll_deg)]))[0]
    at = (camera.cx, camera.cy) if centre_px is None else centre_px
    ray = np.array(
        [(at[0] - camera.cx) / camera.focal_px, (at[1] - camera.cy) / camera.focal_px, 1]
    )
    return Pose(tip @ spin, ray * away)


def texture(rng, contrast, size=512):
    """A ground that repeats: grains, weave and blotches."""
    out = np.zeros((size, size))
    for scale, share in ((2, 0.4), (8, 0.6), (40, 1.0)):
        noise = rng.normal(size=(size, size))
        smooth = np.fft.ifft2(fourier_gaussian(np.fft.fft2(noise), scale)).real
        out += share * smooth / smooth.std()
    x = np.arange(size)
    out += rng.uniform(0, 1.5) * np.sin(2 * np.pi * x * rng.integers(4, 30) / size)[None]
    base = rng.uniform(0.15, 0.65)
    return np.clip(base * (1 + contrast * out / out.std()), 0.02, 0.95)


def render(rng, camera, pose, references, level, size, samples=3):
    """The 8-bit sRGB picture (rows, columns, 3) of references on a textured plane."""
    width, height = size
    ground = texture(rng, level.ground).astype(np.float32)
    inverse = np.linalg.inv(np.column_stack([pose.rotation[:, :2], pose.shift]))

    def plane_of(px):
        there = camera.rays(px) @ inverse.T
        ahead = there[:, 2] > 1e-6
        return there[:, :2] / np.where(ahead, there[:, 2], np.nan)[:, None]

    gx, gy = np.meshgrid(np.arange(width), np.arange(height))
    grid = np.stack([gx.ravel(), gy.ravel()], -1).astype(float)
    mm = plane_of(grid)
    k = np.floor(np.nan_to_num(mm) * 4).astype(int) % ground.shape[0]
    light = np.where(np.isnan(mm[:, 0]), 0.9, ground[k[:, 1], k[:, 0]]).astype(np.float32)
    steps = (np.arange(samples) + 0.5) / samples - 0.5
    for thing in references:  # the ground blurs anyhow; what is measured is sampled finely
        near = np.flatnonzero(np.hypot(*(mm - thing.at).T) < thing.reach_mm)
        a = math.radians(thing.turn)
        turn = np.array([[math.cos(a), -math.sin(a)], [math.sin(a), math.cos(a)]])
        under = light[near].copy()
        total = np.zeros(len(near))
        for step in np.stack(np.meshgrid(steps, steps), -1).reshape(-1, 2):
            tone = thing.reflectance((plane_of(grid[near] + step) - thing.at) @ turn)
            total += np.where(np.isfinite(tone), tone, under)
        light[near] = total / samples**2
    light = light.reshape(height, width)
    light *= _falling(rng, camera, level, gx, gy)
    light = cv2.GaussianBlur(light, (0, 0), rng.uniform(*level.blur))
    light *= 0.9 / light.max()
    tint = np.array([1.0, rng.uniform(0.92, 1.0), rng.uniform(0.8, 1.0)])
    rgb = light[..., None] * tint
    rgb = rgb + rng.normal(size=rgb.shape) * level.noise * np.sqrt(np.maximum(rgb, 0) + 0.02)
    rgb = np.clip(rgb, 0, 1)
    coded = np.where(rgb <= 0.0031308, 12.92 * rgb, 1.055 * rgb ** (1 / 2.4) - 0.055)
    return np.asarray(np.round(255 * coded), np.uint8)


def _falling(rng, camera, level, gx, gy):
    """Vignetting (cos⁴), a gradient across and a soft shadow, as one factor."""
    x, y = (gx - camera.cx) / camera.focal_px, (gy - camera.cy) / camera.focal_px
    factor = (1 + x**2 + y**2) ** -2
    angle = rng.uniform(0, 2 * np.pi)
    factor = factor * (1 - level.light * (0.5 + 0.7 * (x * np.cos(angle) + y * np.sin(angle))))
    if level.shadow:
        angle = rng.uniform(0, 2 * np.pi)
        far = x * np.cos(angle) + y * np.sin(angle) - rng.uniform(-0.2, 0.3)
        factor = factor * (1 - level.shadow / (1 + np.exp(-far / rng.uniform(0.01, 0.08))))
    return np.clip(factor, 0.02, None).astype(np.float32)


def draw(
    rng, references, difficulty="realistic", *, face_mm=(60.0, 0.0), offset_mm=0.0,
    size=(1200, 900), px_per_mm=None, samples=3, centre_mm=None, **changes,
):  # fmt: skip
    """A scene of the given difficulty; `changes` replaces fields of its `Level`."""
    level = replace(LEVELS[difficulty], **changes)
    focal = rng.uniform(23, 30)
    camera = Camera(
        focal * math.hypot(*size) / FRAME_DIAGONAL_MM * rng.normal(1, 0.01),
        (size[0] - 1) / 2 + rng.normal(0, 0.003 * size[0]),
        (size[1] - 1) / 2 + rng.normal(0, 0.003 * size[0]),
        k1=rng.normal(0, 1) * level.k1,
    )
    fine = rng.uniform(4.5, 7.0) * size[0] / 1600 if px_per_mm is None else px_per_mm
    pose = look(camera, rng.uniform(*level.tilt), rng.uniform(0, 360), fine, rng.uniform(-20, 20))
    middle = np.asarray(face_mm, float) / 2 if centre_mm is None else np.asarray(centre_mm, float)
    pose = Pose(pose.rotation, pose.shift - pose.rotation[:, :2] @ middle)
    pixels = render(rng, camera, pose, references, level, size, samples)
    file = io.BytesIO()
    Image.fromarray(pixels).save(file, "JPEG", quality=level.quality)
    pixels = np.asarray(Image.open(file).convert("RGB"))
    told = float(round(focal)) if rng.random() < level.focal_told else None
    photo = ScenePhoto(pixels, told)
    return Scene(photo, camera, pose, np.asarray(face_mm, float), offset_mm, tuple(references))


def true_mm_per_px(scene, px):
    """Millimetres of one pixel to the right and one down at places (n, 2), of the true plane."""
    from kit.photo.reference import Scale

    truth = Scale("truth", scene.camera, scene.pose, 1.0, 0.0, offset_mm=scene.offset_mm)
    return truth._lengths(np.atleast_2d(px), None)
