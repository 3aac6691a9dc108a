"""A second drawer of references, to guard against a kit tuned to the first (`scenes`).

Nothing is shared with it: references are pictures drawn by OpenCV itself, put on a table picture,
warped by OpenCV's camera (projectPoints with five lens terms, remap) at twice the size and
shrunk, then treated as a phone treats a picture: noise, smoothing, tone curve, sharpening, JPEG.

    shot = snap(rng, "marker", "realistic")
    shot.photo, shot.about, shot.face_px, shot.mm_per_px
"""

import math
from dataclasses import dataclass

import cv2
import numpy as np

from kit.photo import picture

__all__ = ["LEVELS", "Shot", "fine_picture", "snap"]

#: tilt from and to, radial lens term, blur, noise, how uneven the light, JPEG quality, sharpening
LEVELS = {
    "easy": ((0, 8), 0.004, 0.5, 0.004, 0.1, 95, 0.0),
    "realistic": ((5, 25), 0.010, 0.8, 0.012, 0.4, 88, 0.5),
    "hard": ((15, 40), 0.020, 1.3, 0.030, 0.7, 75, 1.0),
}
PX_PER_MM = 12  # of the drawn references


@dataclass(frozen=True)
class Shot:
    """A photo, what to tell `scale`, and the truth at the face."""

    photo: object
    about: dict
    face_px: np.ndarray
    mm_per_px: float
    offset_mm: float
    tilt_deg: float
    project: object


def _marker():
    words = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    side = 40 * PX_PER_MM
    drawn = cv2.aruco.generateImageMarker(words, 5, side)
    return cv2.copyMakeBorder(drawn, *[side // 5] * 4, cv2.BORDER_CONSTANT, value=255)


def _checkerboard():
    square = 6 * PX_PER_MM
    cells = np.indices((6, 8)).sum(0) % 2 * 255
    drawn = np.kron(cells, np.ones((square, square))).astype(np.uint8)
    return cv2.copyMakeBorder(drawn, *[square] * 4, cv2.BORDER_CONSTANT, value=255)


def _disc(rng):
    """A coin of 25 mm: rim, relief and a figure; `_table` cuts it out."""
    r = 25 * PX_PER_MM // 2
    out = np.full((2 * r + 9, 2 * r + 9), 190, np.uint8)
    c = (r + 4, r + 4)
    cv2.circle(out, c, round(0.9 * r), int(rng.integers(140, 180)), -1, cv2.LINE_AA)
    cv2.putText(out, "2", (c[0] - 60, c[1] + 70), cv2.FONT_HERSHEY_DUPLEX, 6, 215, 14, cv2.LINE_AA)
    return out


def _ruler():
    drawn = np.full((25 * PX_PER_MM, 116 * PX_PER_MM), 225, np.uint8)
    for i in range(101):
        x, long = (8 + i) * PX_PER_MM, 8 if i % 10 == 0 else 6 if i % 5 == 0 else 4
        drawn[-long * PX_PER_MM :, x - 1 : x + 1] = 30
    return drawn


def fine_picture(kind, rng):
    """Return the drawn reference, 8 bit, and its size in millimetres."""
    made = {"marker": _marker, "checkerboard": _checkerboard, "ruler": _ruler}
    drawn = _disc(rng) if kind == "disc" else made[kind]()
    return drawn, np.array(drawn.shape[::-1]) / PX_PER_MM


ABOUT = {
    "marker": {"id": 5, "side_mm": 40},
    "checkerboard": {"inner_corners": (7, 5), "square_mm": 6},
    "disc": {"diameter_mm": 25},
    "ruler": {"mm": 100, "tick_mm": 1},
    "points": {"mm": 40},
}


def snap(
    rng, kind, difficulty="realistic", *, size=(1600, 1200), upright=False, drawn=None, tilt=None,
    told=None, away_mm=None, offset_mm=None,
):  # fmt: skip
    """Take a photo of one reference, the face 45 to 75 mm from its middle and 10 to 20 mm before.

    `upright`: the plane stands, seen from a little above (its upper side is nearer the lens than
    its lower one by the tilt), instead of lying at any turn. `drawn`: own picture of the reference
    (8 bit, or reflectances; PX_PER_MM), the face in its middle.
    """
    (low, high), k1, blur, noise, uneven, quality, sharp = LEVELS[difficulty]
    w, h = size
    diagonal = math.hypot(w, h) / math.hypot(36, 24)
    focal = rng.uniform(23, 29)
    f = focal * diagonal * (1 + 0.01 * rng.standard_normal())
    cx, cy = (w - 1) / 2 + 0.003 * w * rng.standard_normal(), (h - 1) / 2
    cy += 0.003 * w * rng.standard_normal()
    matrix = np.array([[f, 0, cx], [0, f, cy], [0, 0, 1.0]])
    lens = np.array([k1 * rng.standard_normal(), 0.3 * k1 * rng.standard_normal(), 0, 0, 0])
    if drawn is None:
        drawn, across = fine_picture("marker" if kind == "points" else kind, rng)
        far, way = rng.uniform(45, 75), rng.uniform(0, 2 * np.pi)
        face = np.array([math.cos(way), math.sin(way)]) * far
    else:
        across, face = np.array(drawn.shape[::-1]) / PX_PER_MM, np.zeros(2)
    offset = rng.uniform(10, 20) if offset_mm is None else offset_mm
    tip = math.radians(rng.uniform(low, high) if tilt is None else tilt)
    toward = 0.0 if upright else rng.uniform(0, 2 * np.pi)
    turn = rng.uniform(-0.1, 0.1) if upright else rng.uniform(-np.pi, np.pi)
    # an upright plane seen from above: its upper side comes toward the lens
    axis = np.array([math.cos(toward), math.sin(toward), 0]) * tip
    pose = cv2.Rodrigues(axis)[0] @ cv2.Rodrigues(np.array([0, 0, turn]))[0]
    middle = face / 2
    away = rng.uniform(200, 350) if away_mm is None else away_mm
    shift = np.array([0, 0, away]) - pose[:, :2] @ middle

    def project(mm, height=0.0):
        mm = np.atleast_2d(np.asarray(mm, float))
        deep = np.column_stack([mm, np.full(len(mm), -height)])
        return cv2.projectPoints(deep, cv2.Rodrigues(pose)[0], shift, matrix, lens)[0][:, 0]

    radius = 12.5 if kind == "disc" else None
    light = _table(rng, difficulty, drawn, across, pose, shift, matrix, lens, size, radius)
    pixels = _phone(rng, light, blur, noise, uneven, quality, sharp)
    step = 0.5
    around = face + step * np.array([[1, 0], [-1, 0], [0, 1], [0, -1.0]])
    seen = project(around, offset)
    area = abs(np.linalg.det(np.stack([seen[0] - seen[1], seen[2] - seen[3]])))
    about = dict(ABOUT.get(kind, {}))
    if kind == "points":  # across the marker's diagonal side, marked by hand to a pixel
        about["points"] = project([[-20, 0], [20, 0]]) + rng.normal(0, 1, (2, 2))
    if kind == "ruler":
        about["points"] = project([[-50, 12.5], [50, 12.5]]) + rng.normal(0, 1, (2, 2))
    given = round(focal) if told or (told is None and rng.random() < 0.8) else None
    return Shot(
        picture.read(pixels, focal_35mm=given), about, project(face, offset)[0],
        2 * step / math.sqrt(area), offset, math.degrees(tip), project,
    )  # fmt: skip


def _table(rng, difficulty, drawn, across, pose, shift, matrix, lens, size, radius=None):
    """Linear light of the table with the reference on it, as the lens throws it.

    `radius`: of a round reference, in millimetres, cut out to a part of a pixel.
    """
    w, h = size
    fine = 2
    # directions by OpenCV's own inverse of the lens on a coarse grid, a cell more on every side,
    # and between by resize, exact but for the lens's bend within a cell: 0.01 px (OpenCV's cubic
    # does not keep straight lines straight, and remap's weights go in steps of 1/32)
    cell = w // 40
    nx, ny = w // cell + 2, h // cell + 2
    gx, gy = np.meshgrid((np.arange(nx) - 0.5) * cell - 0.5, (np.arange(ny) - 0.5) * cell - 0.5)
    grid = np.stack([gx, gy], -1).reshape(-1, 1, 2)
    flat = cv2.undistortPoints(grid, matrix, lens, criteria=(cv2.TERM_CRITERIA_COUNT, 40, 1e-12))
    plane = np.linalg.inv(np.column_stack([pose[:, :2], shift]))
    there = np.column_stack([flat[:, 0], np.ones(len(flat))]) @ plane.T
    there = there.reshape(ny, nx, 3).astype(np.float32)
    there = cv2.resize(there, None, fx=cell * fine, fy=cell * fine, interpolation=cv2.INTER_LINEAR)
    edge = cell * fine
    there = there[edge : edge + h * fine, edge : edge + w * fine]
    mm = there[..., :2] / there[..., 2:]
    at = (mm + across.astype(np.float32) / 2) * PX_PER_MM - 0.5
    tone = rng.uniform(0.15, 0.5)
    rough = {"easy": 0.05, "realistic": 0.15, "hard": 0.3}[difficulty]
    grain = cv2.GaussianBlur(rng.standard_normal((600, 600), np.float32), (0, 0), 3)
    grain += 3 * cv2.GaussianBlur(rng.standard_normal((600, 600), np.float32), (0, 0), 20)
    grain = np.clip(tone * (1 + rough * grain / grain.std()), 0.03, 0.9)
    table = cv2.remap(grain, mm[..., 0] * 2, mm[..., 1] * 2, cv2.INTER_LINEAR,
                      borderMode=cv2.BORDER_WRAP)  # fmt: skip
    own = drawn.dtype != np.uint8  # reflectances already
    ink = (drawn if own else 0.04 + 0.76 * drawn / 255.0).astype(np.float32)
    cover = np.pad(np.ones(drawn.shape, np.float32), 1)
    ink = np.pad(ink, 1, mode="edge")
    there = cv2.remap(cover, at[..., 0] + 1, at[..., 1] + 1, cv2.INTER_LINEAR)
    if radius is not None:
        inside = (radius**2 - (mm.astype(float) ** 2).sum(-1)) / (2 * radius)
        steep = np.hypot(*np.gradient(inside))  # millimetres a pixel, across the edge
        there = np.clip(inside / steep + 0.5, 0, 1).astype(np.float32)
    seen = cv2.remap(ink, at[..., 0] + 1, at[..., 1] + 1, cv2.INTER_LINEAR,
                     borderMode=cv2.BORDER_REPLICATE)  # fmt: skip
    return cv2.resize(there * seen + (1 - there) * table, size, interpolation=cv2.INTER_AREA)


def _phone(rng, light, blur, noise, uneven, quality, sharp):
    """From linear light to the JPEG a phone would store, decoded."""
    h, w = light.shape
    side = [np.linspace(-1, 1, n, dtype=np.float32) for n in (w, h)]
    x, y = np.meshgrid(*side)
    way = rng.uniform(0, 2 * np.pi)
    fall = 1 - 0.25 * (x**2 + y**2) / 2 - uneven * 0.3 * (1 + x * np.cos(way) + y * np.sin(way))
    if uneven > 0.3:  # the photographer's own soft shadow
        fall *= 1 - 0.4 * uneven * (np.tanh((x * np.sin(way) + y - rng.uniform(-1, 1)) * 6) + 1) / 2
    light = cv2.GaussianBlur(light * np.clip(fall, 0.05, None), (0, 0), blur)
    light = light * rng.uniform(0.75, 0.95) / np.quantile(light, 0.999)
    rgb = light[..., None] * np.array([1, rng.uniform(0.9, 1), rng.uniform(0.75, 1)], np.float32)
    rgb = rgb + noise * np.sqrt(np.clip(rgb, 0.01, None)) * rng.standard_normal(
        rgb.shape, np.float32
    )
    coded = np.clip(rgb, 0, 1) ** (1 / 2.2) * 255
    if sharp:  # phones smooth the noise away, then sharpen
        coded = cv2.GaussianBlur(coded, (0, 0), 0.7)
        coded = coded + sharp * (coded - cv2.GaussianBlur(coded, (0, 0), 1.5))
    bgr = np.clip(np.round(coded), 0, 255).astype(np.uint8)[..., ::-1]
    _, file = cv2.imencode(".jpg", bgr, [cv2.IMWRITE_JPEG_QUALITY, quality])
    return cv2.imdecode(file, cv2.IMREAD_COLOR)[..., ::-1]
