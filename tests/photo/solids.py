"""Pictures of balls, pieces and dough in jars with known truth: our own small renderer.

The outline is the hull of many dense rings put through the camera (nothing of the kit's closed
form is used), drawn four times finer and averaged; inside it, light falls on the surface found by
stepping along coarse rays. Grounds, light, shadows, noise, blur and JPEG vary by difficulty:

easy: plain dark wall and worktop, soft light; realistic: a horizon, shadow, gradient, uneven or
textured ground, noise, blur, JPEG; hard: pale on pale, semolina, busy ground, strong noise.

Everything is made up; nothing here stands for a real photo.
"""

import math
from dataclasses import dataclass, field, replace

import numpy as np

from kit.photo.camera import Camera, Pose
from kit.photo.reference import Scale

LEVELS = ("easy", "realistic", "hard")


@dataclass(frozen=True)
class Truth:
    """What was drawn."""

    height_mm: float
    diameter_mm: float
    volume_ml: float
    level_mm: float
    outline: np.ndarray = field(repr=False)
    box: tuple[float, float, float, float] = (0, 0, 0, 0)


@dataclass(frozen=True)
class Shape:
    """A profile r(h) as arrays, foot to top."""

    r: np.ndarray
    h: np.ndarray

    @property
    def volume_ml(self):
        return math.pi * float(np.trapezoid(self.r**2, self.h)) / 1000


def cap(radius_mm, height_mm, n=1500):
    """A sphere cut off by the worktop."""
    h = _close(height_mm, n)
    return Shape(np.sqrt(np.maximum(radius_mm**2 - (h - height_mm + radius_mm) ** 2, 0)), h)


def ellipsoid(half_width_mm, half_height_mm, cut, n=1500):
    """An ellipsoid of revolution; `cut` of its height (0 to 0.5) lies below the worktop."""
    full = _close(2 * half_height_mm * (1 - cut), n)
    z = full + 2 * half_height_mm * cut - half_height_mm
    return Shape(half_width_mm * np.sqrt(np.maximum(1 - (z / half_height_mm) ** 2, 0)), full)


def superellipse(half_width_mm, half_height_mm, power, n=1500):
    """Flat foot and top with rounded sides: |r/a|^p + |z/b|^p = 1."""
    h = _close(2 * half_height_mm, n)
    z = np.abs(h / half_height_mm - 1)
    return Shape(half_width_mm * np.maximum(1 - z**power, 0) ** (1 / power), h)


def rounded(radius_mm, height_mm, bottom_mm, top_mm, n=1500):
    """A disc with a quarter circle at the bottom rim and one at the top rim."""
    h = _close(height_mm, n)
    low, high = np.clip(bottom_mm - h, 0, None), np.clip(h - height_mm + top_mm, 0, None)
    cut = bottom_mm - np.sqrt(np.maximum(bottom_mm**2 - low**2, 0))
    cut = cut + top_mm - np.sqrt(np.maximum(top_mm**2 - high**2, 0))
    return Shape(radius_mm - cut, h)


def in_jar(radius_mm, level_mm, dome_mm, n=800):
    """Dough in a straight jar: a cylinder with a shallow cap."""
    if dome_mm < 0.05:
        h = np.linspace(0, level_mm, n)
        return Shape(np.full(n, radius_mm), h)
    sphere = (radius_mm**2 + dome_mm**2) / (2 * dome_mm)
    z = _close(dome_mm, n)
    r = np.sqrt(np.maximum(sphere**2 - (z + sphere - dome_mm) ** 2, 0))
    return Shape(np.r_[np.full(200, radius_mm), r], np.r_[np.linspace(0, level_mm, 200),
                                                          level_mm + z])  # fmt: skip


def _close(height, n):
    """Heights, closer together towards foot and top."""
    return height * (1 - np.cos(np.linspace(0, math.pi, n))) / 2


@dataclass(frozen=True)
class Setting:
    """Camera and how the solid stands before it; `longer`: across the picture than away from it."""

    camera: Camera
    up: np.ndarray
    across: np.ndarray
    foot: np.ndarray
    longer: float = 1.0

    @property
    def away(self):
        away = np.cross(self.up, self.across)
        return away if away[2] > 0 else -away

    def ring_points(self, shape, every=0.5):
        phi = np.radians(np.arange(0, 360, every))
        way = math.sqrt(self.longer)  # the same area however long
        ring = way * np.cos(phi)[:, None] * self.across + np.sin(phi)[:, None] / way * self.away
        keep = np.unique(np.r_[0, np.arange(0, len(shape.r), 4), len(shape.r) - 1])
        points = self.foot + shape.h[keep, None, None] * self.up
        return points + shape.r[keep, None, None] * ring

    def outline(self, shape):
        """The hull of the rings in the picture (for solids that do not cave in)."""
        import cv2

        px = self.camera.project(self.ring_points(shape).reshape(-1, 3)).astype(np.float32)
        return cv2.convexHull(px)[:, 0].astype(float)


def setting(rng, width, height, elevation_deg, distance_mm, focal_35mm=26.0, roll_deg=0.0):
    """A camera looking down by the elevation at a foot somewhat off the picture's middle."""
    camera = Camera.of(width, height, focal_35mm)
    e = math.radians(elevation_deg)
    roll = math.radians(roll_deg)
    turn = np.array(
        [[math.cos(roll), -math.sin(roll), 0], [math.sin(roll), math.cos(roll), 0], [0, 0, 1]]
    )
    x, y = rng.uniform(-0.06, 0.12), rng.uniform(0.08, 0.16)
    foot = distance_mm * np.array([x, y, 1.0]) / math.hypot(x, y, 1)
    # the line of sight to the foot looks down by e: tip the vertical against it
    own = math.asin(foot[1] / distance_mm)
    nod = e - own
    up = turn @ np.array([0, -math.cos(nod), -math.sin(nod)])
    across = turn @ np.array([1.0, 0, 0])
    return Setting(camera, up, across, foot)


def scale_of(at, *, lying=False, u=0.002, u_tilt_deg=0.2, u_offset_mm=0.5, offset_mm=12.0):
    """The reference a baker would have put beside the piece, as found without error."""
    if lying:
        rotation = np.column_stack([at.across, -np.cross(at.up, at.across), -at.up])
        rotation[:, 1] = np.cross(rotation[:, 2], rotation[:, 0])
        origin = at.foot - 75 * at.across
        offset_mm = 0.0
    else:
        rotation = np.column_stack([at.across, -at.up, at.away])
        origin = at.foot - 75 * at.across + 30 * at.up + offset_mm * at.away
    depth = float(np.linalg.norm(origin))
    outline = np.array([[-20, -20, 0], [20, -20, 0], [20, 20, 0], [-20, 20, 0]], float)
    pose = Pose(rotation, origin)
    return Scale(
        kind="card", camera=at.camera, pose=pose, mm_per_px=depth / at.camera.focal_px, u=u,
        offset_mm=offset_mm, u_offset_mm=u_offset_mm, tilt_known=True, u_tilt_deg=u_tilt_deg,
        outline=at.camera.project(pose.to_camera(outline)),
    )  # fmt: skip


def as_found(rng, scale, plumb_deg=0.3):
    """The same reference with errors drawn from what it claims: size, tilt, place, lens.

    And not quite plumb, as cards lean and worktops slope.
    """
    size, tilt, lens = rng.normal(size=3) * (
        scale.u, math.radians(math.hypot(scale.u_tilt_deg, plumb_deg)), scale.camera.u_focal
    )  # fmt: skip
    lean = rng.normal() * math.radians(plumb_deg)
    nod = np.array(
        [[1, 0, 0], [0, math.cos(tilt), -math.sin(tilt)], [0, math.sin(tilt), math.cos(tilt)]]
    )
    roll = np.array(
        [[math.cos(lean), -math.sin(lean), 0], [math.sin(lean), math.cos(lean), 0], [0, 0, 1]]
    )
    camera = replace(scale.camera, focal_px=scale.camera.focal_px * (1 + lens))
    # the reference keeps its place and size in the picture
    shift = scale.pose.shift * (1 + size) * (1, 1, 1 + lens)
    return replace(
        scale, camera=camera, pose=Pose(roll @ nod @ scale.pose.rotation, shift),
        mm_per_px=scale.mm_per_px * (1 + size),
        offset_mm=scale.offset_mm + rng.normal() * scale.u_offset_mm,
    )  # fmt: skip


def _noise(rng, shape, grain):
    """Smooth random texture of about unit size, `grain` pixels fine."""
    import cv2

    small = rng.normal(size=(max(2, int(shape[0] / grain)), max(2, int(shape[1] / grain))))
    big = cv2.resize(small, (shape[1], shape[0]), interpolation=cv2.INTER_CUBIC)
    return big / big.std()


def _light(shape, at, size, rng):
    """Brightness of the surface (h, w), from coarse rays; 0 where a ray misses."""
    import cv2

    step = 6
    xs, ys = np.meshgrid(np.arange(0, size[1], step), np.arange(0, size[0], step))
    rays = at.camera.rays(np.column_stack([xs.ravel(), ys.ravel()]).astype(float))
    reach = float(shape.r.max() + shape.h[-1])
    depth = np.linspace(at.foot[2] - 1.2 * reach, at.foot[2] + 1.2 * reach, 90)
    axes = np.array([at.across, at.up, at.away])
    own_rays, own_foot = rays @ axes.T, axes @ at.foot
    local = own_rays[:, None] * depth[None, :, None] - own_foot
    out, h = np.hypot(local[..., 0], local[..., 2]), local[..., 1]
    inside = (h >= 0) & (h <= shape.h[-1]) & (out <= np.interp(h, shape.h, shape.r))
    first = inside.argmax(1)
    hit = inside.any(1)
    p = local[np.arange(len(first)), first]
    hh = np.clip(p[:, 1], 0, shape.h[-1])
    d = 0.02 * shape.h[-1]
    slope = (np.interp(hh + d, shape.h, shape.r) - np.interp(hh - d, shape.h, shape.r)) / (2 * d)
    radial = np.maximum(np.hypot(p[:, 0], p[:, 2]), 1e-6)
    n = np.column_stack([p[:, 0] / radial, -slope, p[:, 2] / radial])
    n /= np.linalg.norm(n, axis=1)[:, None]
    lamp = np.array([rng.uniform(-0.7, 0.7), rng.uniform(0.6, 1.0), -rng.uniform(0.4, 1.0)])
    lit = 0.45 + 0.55 * np.clip(n @ lamp / np.linalg.norm(lamp), 0, 1)
    lit *= 0.75 + 0.25 * np.clip(hh / (0.35 * shape.h[-1]), 0, 1)  # darker near the worktop
    field = np.where(hit, lit, np.nan).reshape(xs.shape).astype(np.float32)
    fill = np.where(np.isnan(field), 0, field)
    mass = cv2.GaussianBlur((~np.isnan(field)).astype(np.float32), (0, 0), 1.5)
    field = np.where(np.isnan(field), cv2.GaussianBlur(fill, (0, 0), 1.5) / (mass + 1e-3), field)
    out = np.zeros(size, np.float32)
    grown = cv2.resize(field, None, fx=step, fy=step, interpolation=cv2.INTER_LINEAR)
    return grown[: size[0], : size[1]] if grown.shape >= size else np.maximum(out, 1)


def draw(rng, shape, at, width, height, level, jar=None):
    """Return the picture (height, width, 3) 8-bit sRGB and what was drawn."""
    import cv2

    hard, easy = level == "hard", level == "easy"
    size = (height, width)
    dough = np.array([0.78, 0.68, 0.50]) * rng.uniform(0.85, 1.1)
    wall, top = _grounds(rng, dough, level)
    yy, xx = np.mgrid[:height, :width].astype(np.float32)
    back = at.camera.project((at.foot + rng.uniform(60, 200) * at.away)[None])[0]
    roll = math.atan2(at.across[1], at.across[0])
    horizon = back[1] + (xx - back[0]) * math.tan(roll)
    on_top = np.clip((yy - horizon) / 3 + 0.5, 0, 1)[..., None]
    scene = wall * (1 - on_top) + top * on_top
    if not easy:
        busy = rng.uniform(0.01, 0.05) * (1.5 if hard else 1.0)
        scene = scene * (1 + busy * _noise(rng, size, rng.uniform(2, 25))[..., None])
        if rng.random() < 0.4:  # wood: stripes
            stripe = _noise(rng, (1, width), rng.uniform(8, 40))
            scene = scene * (1 + 0.04 * stripe[..., None] * on_top)
    if hard and rng.random() < 0.6:  # semolina on the worktop
        count = int(rng.uniform(200, 1500))
        grains = np.zeros(size, np.float32)
        gx, gy = rng.uniform(0, width, count), rng.uniform(horizon.min(), height, count)
        for x, y, s in zip(gx, gy, rng.uniform(0.8, 2.2, count), strict=True):
            cv2.circle(grains, (int(16 * x), int(16 * y)), int(16 * s), 1.0, -1, cv2.LINE_AA, 4)
        scene = scene * (1 - grains[..., None]) + np.array([0.8, 0.7, 0.42]) * grains[..., None]
    # contact shadow and cast shadow
    outline = at.outline(shape)
    foot_ring = at.foot + np.concatenate(
        [shape.r.max() * 1.02 * (np.cos(p) * at.across + np.sin(p) * at.away)[None]
         for p in np.radians(np.arange(0, 360, 5))])  # fmt: skip
    for shift, blur, dark in (
        (0.0, 0.03, rng.uniform(0.2, 0.5)),
        (rng.uniform(-0.5, 0.5), 0.12, rng.uniform(0.05, 0.15 if easy else 0.35)),
    ):
        moved = foot_ring + shift * shape.r.max() * at.across
        mask = np.zeros(size, np.float32)
        cv2.fillPoly(mask, [np.round(at.camera.project(moved)).astype(np.int32)], 1.0)
        mask = cv2.GaussianBlur(mask, (0, 0), max(1.0, blur * np.ptp(outline[:, 0])))
        scene = scene * (1 - dark * mask[..., None])
    cover = _cover(outline, size)
    skin = dough * _light(shape, at, size, rng)[..., None]
    skin = skin * (1 + rng.uniform(0.005, 0.03) * _noise(rng, size, rng.uniform(4, 30))[..., None])
    if jar is not None:
        scene = _glass(rng, scene, at, jar, size)
    scene = scene * (1 - cover) + skin * cover
    card = scale_of(at).outline
    scene[_cover(card, size)[..., 0] > 0.5] = 0.85
    # lamp gradient, vignette, blur, noise, tone
    tilt = rng.uniform(-0.2, 0.2, 2) * (0.5 if easy else 1)
    scene = scene * (1 + tilt[0] * (xx / width - 0.5) + tilt[1] * (yy / height - 0.5))[..., None]
    r2 = ((xx - width / 2) ** 2 + (yy - height / 2) ** 2) / (width / 2) ** 2
    scene = scene * (1 - rng.uniform(0, 0.12 if easy else 0.25) * r2)[..., None]
    blur = {"easy": 0.6, "realistic": 1.0, "hard": 1.5}[level] * rng.uniform(0.7, 1.3)
    scene = cv2.GaussianBlur(np.clip(scene, 0, 1).astype(np.float32), (0, 0), blur)
    noise = {"easy": 0.004, "realistic": 0.012, "hard": 0.025}[level]
    scene = scene + noise * np.sqrt(scene + 0.05) * rng.normal(size=scene.shape)
    scene = np.clip(scene, 0, 1)
    tone = np.where(scene <= 0.0031308, 12.92 * scene, 1.055 * scene ** (1 / 2.4) - 0.055)
    picture = np.round(255 * tone).astype(np.uint8)
    quality = {"easy": 95, "realistic": 88, "hard": 75}[level]
    done, coded = cv2.imencode(
        ".jpg", picture[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality]
    )  # fmt: skip
    assert done
    low, high = outline.min(0), outline.max(0)
    truth = Truth(
        float(shape.h[-1]), float(2 * shape.r.max()), shape.volume_ml, math.nan, outline,
        (*low, *high),
    )  # fmt: skip
    return cv2.imdecode(coded, cv2.IMREAD_COLOR)[..., ::-1].copy(), truth


def _grounds(rng, dough, level):
    """Colours of wall and worktop, linear light."""
    if level == "easy":
        wall = rng.uniform(0.03, 0.12) * np.array([1, 1, 1.1])
        return wall, wall * rng.uniform(0.8, 1.6)
    if level == "hard":
        pale = [dough * rng.uniform(0.8, 1.2) + rng.uniform(-0.06, 0.06, 3) for _ in range(2)]
        white = rng.uniform(0.7, 0.85) * np.array([1, 0.99, 0.97])
        choice = rng.integers(3)
        return (white, pale[0]) if choice == 0 else (pale[0], white) if choice == 1 else pale
    kinds = [
        np.array([0.30, 0.18, 0.10]), np.array([0.20, 0.22, 0.26]), np.array([0.10, 0.2, 0.14]),
        np.array([0.25, 0.10, 0.08]), np.array([0.45, 0.45, 0.47]), np.array([0.08, 0.10, 0.25]),
    ]  # fmt: skip
    pick = rng.permutation(len(kinds))[:2]
    return tuple(kinds[i] * rng.uniform(0.7, 1.4) for i in pick)


def _cover(outline, size):
    """How much of each pixel the outline covers (h, w, 1)."""
    import cv2

    fine = 4
    # OpenCV fills the pixels its line touches too: half a fine pixel too far out
    middle = (outline.max(0) + outline.min(0)) / 2
    reach = np.maximum(outline.max(0) - middle, 1)
    outline = middle + (outline - middle) * (1 - 0.5 / fine / reach)
    mask = np.zeros((size[0] * fine, size[1] * fine), np.uint8)
    # pixel centres are whole numbers: pixel 0 covers −0.5 to 0.5
    at = (outline + 0.5) * fine - 0.5
    cv2.fillPoly(mask, [np.round(at * 256).astype(np.int32)], 255, cv2.LINE_8, 8)
    small = cv2.resize(mask, (size[1], size[0]), interpolation=cv2.INTER_AREA)
    return (small.astype(np.float32) / 255)[..., None]


def _glass(rng, scene, at, jar, size):
    """A jar: its wall a little brighter and darker at the edges, see-through."""
    radius, height = jar
    h = np.linspace(-5, height, 60)
    body = at.outline(Shape(np.full(60, radius), h))
    cover = _cover(body, size)
    inner = _cover(at.outline(Shape(np.full(60, radius - 2.5), h)), size)
    tint = rng.uniform(0.9, 1.0) * np.array([0.97, 1.0, 0.98])
    scene = scene * (1 - cover) + scene * tint * cover + 0.03 * cover
    return scene + (cover - inner) * rng.uniform(-0.05, 0.12)


def scene(seed, level, kind=None, width=1000, height=750):
    """A whole picture by chance: kind "ball", "piece" or any; the picture, its scale, the truth."""
    rng = np.random.default_rng(seed)
    kind = kind or ("ball", "piece")[int(rng.integers(2))]
    at = setting(
        rng, width, height, rng.uniform(1, 12), rng.uniform(180, 300), 26.0, rng.uniform(-1.5, 1.5)
    )
    shape = random_ball(rng) if kind == "ball" else random_piece(rng)
    picture, truth = draw(rng, shape, at, width, height, level)
    return picture, scale_of(at), truth, kind


def random_ball(rng):
    """A proofing ball: cap, cut ellipsoid."""
    if rng.random() < 0.5:
        radius = rng.uniform(38, 55)
        return cap(radius, radius * rng.uniform(0.7, 1.4))
    half = rng.uniform(38, 50)
    return ellipsoid(half, half * rng.uniform(0.5, 0.8), rng.uniform(0.08, 0.3))


def random_piece(rng):
    """A griddled piece: disc with rounded rims, superellipse."""
    radius, height = rng.uniform(38, 50), rng.uniform(20, 40)
    if rng.random() < 0.5:
        return rounded(radius, height, rng.uniform(0.15, 0.5) * height,
                       rng.uniform(0.15, 0.5) * height)  # fmt: skip
    return superellipse(radius, height / 2, rng.uniform(2.2, 4.0))


def jar_scene(seed, level, width=1000, height=750):
    """Dough in a straight jar: the picture, its scale, the truth, the inside diameter."""
    rng = np.random.default_rng(seed)
    at = setting(rng, width, height, rng.uniform(2, 9), rng.uniform(260, 340), 26.0, 0.5)
    radius = rng.uniform(38, 48)
    shape = in_jar(radius, rng.uniform(35, 60), rng.uniform(2, 14))
    picture, truth = draw(rng, shape, at, width, height, level, (radius + 2.5, 110.0))
    line = float(shape.h[199])
    return picture, scale_of(at), replace(truth, level_mm=line), 2 * radius


def textured_scene(seed, width=1000, height=750, cloth=False):
    """A brown piece on striped wood before a pale wall, a soft shadow all round its foot.

    The ground is drawn in its own plane, stripes and shadow as the camera sees them; or it is a
    cloth of blue and white checks.
    """
    import cv2

    rng = np.random.default_rng(seed)
    at = setting(rng, width, height, rng.uniform(5, 11), rng.uniform(230, 280))
    radius, tall = rng.uniform(40, 48), rng.uniform(26, 36)
    shape = rounded(radius, tall, rng.uniform(0.15, 0.3) * tall, rng.uniform(0.2, 0.4) * tall)
    yy, xx = np.mgrid[:height, :width].astype(float)
    rays = at.camera.rays(np.column_stack([xx.ravel(), yy.ravel()]))
    down = np.minimum(rays @ at.up, -1e-6)
    met = rays * ((at.foot @ at.up) / down)[:, None] - at.foot
    x, z = met @ at.across, met @ at.away
    ground = (rays @ at.up < -1e-4) & (z < 260)
    bend = _noise(rng, (40, 40), 4)
    grain = bend[(z / 30).astype(int) % 40, (x / 30).astype(int) % 40]
    wood = np.array([0.36, 0.24, 0.14]) * (1 + 0.3 * np.sin(z / 3 + grain))[:, None]
    if cloth:
        side = rng.uniform(18, 32)
        blue = ((x // side) % 2 + (z // side) % 2)[:, None] / 2
        wood = (1 - blue) * [0.72, 0.71, 0.68] + blue * [0.08, 0.14, 0.32]
    fade = np.clip((1.5 * radius - np.hypot(x + 4, z)) / (0.5 * radius), 0, 1)
    wood *= (1 - rng.uniform(0.4, 0.6) * fade)[:, None]
    scene = np.where(ground[:, None], wood, [0.66, 0.65, 0.62]).reshape(height, width, 3)
    cover = _cover(outline := at.outline(shape), (height, width))
    skin = np.array([0.70, 0.50, 0.29]) * _light(shape, at, (height, width), rng)[..., None]
    scene = scene * (1 - cover) + skin * cover
    card = scale_of(at)
    scene[_cover(card.outline, (height, width))[..., 0] > 0.5] = 0.85
    scene = cv2.GaussianBlur(scene, (0, 0), 1.1)
    scene = np.clip(scene + 0.01 * rng.normal(size=scene.shape), 0, 1)
    tone = np.where(scene <= 0.0031308, 12.92 * scene, 1.055 * scene ** (1 / 2.4) - 0.055)
    truth = Truth(tall, float(2 * shape.r.max()), shape.volume_ml, math.nan, outline,
                  (*outline.min(0), *outline.max(0)))  # fmt: skip
    return np.round(255 * tone).astype(np.uint8), card, truth
