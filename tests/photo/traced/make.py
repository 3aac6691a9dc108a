"""Trace pictures of griddled pieces and balls of dough beside the kit's card, with known truth.

A general-purpose renderer follows the light (Mitsuba 3, which is not among the test dependencies:
``pip install mitsuba`` beside the kit, then ``python make.py OUT SEED SEED ...``): soft windows,
lamps, a low sun, bounce light, crevices and mirroring worktops are what physics makes of them, not
what anyone drew. Models and textures are our own inventions. Seeds 0, 3, 6 ... are easy, 1, 4, 7
... realistic, 2, 5, 8 ... hard; every sixth group of three is a ball of dough. ORIGIN.md says more.
"""

import argparse
import csv
import math
import sys
from pathlib import Path

import cv2
import numpy as np
from PIL import Image

from kit.photo.pixels.colour import srgb_of
from kit.photo.references.card import SIZE_MM, WINDOW_MM
from kit.photo.references.card_sheet import PAPERS, TOP_MM, sheet

LEVELS = ("easy", "realistic", "hard")
FIELDS = (
    *("file", "level", "shape", "kind", "worktop", "light", "height_mm", "diameter_mm"),
    *("volume_ml", "offset_mm", "elevation_deg", "focal_35mm", "x0", "y0", "x1", "y1"),
)
SIZE = (1600, 1200)
#: of the JPEGs: small enough to keep
QUALITY = 74
#: a full frame's diagonal over the picture's, millimetres (what EXIF counts focal lengths by)
FRAME_MM = math.hypot(36, 24)


def noise(rng, shape, sigma, wrap=True):
    """Smooth noise of mean 0 and standard deviation 1, closed from left to right."""
    pad = int(4 * max(np.atleast_1d(sigma))) if wrap else 0
    plain = rng.normal(size=shape)
    if pad:
        plain = np.concatenate([plain[:, -pad:], plain, plain[:, :pad]], 1)
    sx, sy = np.broadcast_to(sigma, 2)
    out = cv2.GaussianBlur(plain, (0, 0), sigmaX=float(sx), sigmaY=float(sy))
    out = out[:, pad : pad + shape[1]]
    return (out - out.mean()) / out.std()


def profile(rng, shape, kind):
    """A half outline (r, z) from the foot's middle to the top's, 0.1 mm apart, mm."""
    if shape == "ball":  # an ellipsoid that has settled: its foot spread, its top a little flat
        radius, tall = rng.uniform(30, 40), rng.uniform(38, 50)
        turn = np.linspace(0, math.pi, 900)
        sag = rng.uniform(0.5, 0.75)
        z = -np.cos(turn)
        r = radius * np.sin(turn) ** rng.uniform(0.82, 0.95)
        z = tall * np.where(z < 0, sag * z, z)
        z = np.maximum(z, -tall * sag * rng.uniform(0.75, 0.9)) * rng.uniform(0.62, 0.7)
        line = np.column_stack([r, z])
        line = np.vstack([[0, line[0, 1]], line, [0, line[-1, 1]]])
    else:
        radius, tall = rng.uniform(38, 48), rng.uniform(22, 36)
        dome = rng.uniform(1.5, 6) if kind == "domed" else rng.uniform(0, 0.8)
        side = tall - dome
        if kind == "barrel":
            foot, top = rng.uniform(0.80, 0.92, 2) * radius
            share = np.linspace(0, 1, 300)
            power = rng.uniform(2, 2.6)
            wide = np.where(share < 0.5, foot, top)
            r = wide + (radius - wide) * (1 - np.abs(2 * share - 1) ** power)
            line = np.column_stack([r, side * share])
        else:
            low, high = rng.uniform(0.2, 0.5, 2) * side
            a, b = rng.uniform(0.7, 1.5, 2) * (low, high)
            turn = np.linspace(0, math.pi / 2, 200)
            line = np.vstack([
                np.column_stack([radius - a + a * np.sin(turn), low - low * np.cos(turn)]),
                np.column_stack([radius - b + b * np.cos(turn), side - high + high * np.sin(turn)]),
            ])  # fmt: skip
        inner = line[-1, 0] * np.linspace(1, 0, 200)
        over = side + dome * (1 - (inner / line[-1, 0]) ** rng.uniform(2, 3))
        line = np.vstack([[0, 0], line, np.column_stack([inner, over])])
    along = np.r_[0, np.cumsum(np.hypot(*np.diff(line, axis=0).T))]
    at = np.arange(0, along[-1], 0.1)
    even = np.column_stack([np.interp(at, along, c) for c in line.T])
    soft = round(rng.uniform(0.6, 1.4) * 10)  # no edge of dough is sharp
    full = np.vstack([even[::-1] * (-1, 1), even, even[::-1] * (-1, 1)])
    r, z = (cv2.GaussianBlur(c[:, None], (1, 0), sigmaX=0.1, sigmaY=soft)[:, 0] for c in full.T)
    mid = slice(len(even), 2 * len(even))
    return np.maximum(r[mid], 0), z[mid] - z[mid].min()


def lathe(rng, level, shape, kind, n=720):
    """A mesh: positions, faces, texture places; profile normals; truth (height, diameter, ml).

    The height is that of the profile, its roughness averaged once round.
    """
    r, z = (c[::4] for c in profile(rng, shape, kind))
    rough = {"easy": 0.03, "realistic": 0.06, "hard": 0.12}[level]
    wide = {"easy": 0.001, "realistic": 0.004, "hard": 0.010}[level]
    phi = np.linspace(0, 2 * math.pi, n + 1)
    tangent = np.gradient(np.column_stack([r, z]), axis=0)
    tangent /= np.linalg.norm(tangent, axis=1)[:, None] + 1e-12
    out = np.column_stack([tangent[:, 1], -tangent[:, 0]])
    bump = sum(noise(rng, (len(r), n), s) * a for s, a in ((3, 0.6), (12, 1.0)))
    bump = rough * np.c_[bump, bump[:, :1]] * np.clip(r / 8, 0, 1)[:, None]
    oval = 1 + wide * np.cos(2 * (phi - rng.uniform(0, math.pi)))
    around = r[:, None] * oval + bump * out[:, :1]
    tall = np.maximum(z[:, None] + bump * out[:, 1:], 0.0)
    places = np.stack([around * np.cos(phi), around * np.sin(phi), tall], -1).reshape(-1, 3)
    i, j = np.meshgrid(np.arange(len(r) - 1), np.arange(n), indexing="ij")
    a = (i * (n + 1) + j).ravel()
    faces = np.vstack([np.c_[a, a + 1, a + n + 2], np.c_[a, a + n + 2, a + n + 1]])
    uv = np.stack(np.broadcast_arrays(phi / (2 * math.pi), np.linspace(0, 1, len(r))[:, None]), -1)
    p, q, s = (places[faces[:, k]] for k in range(3))
    volume = abs(float(np.einsum("ij,ij->i", p, np.cross(q, s)).sum())) / 6000
    truth = float(tall.mean(1).max()), float(2 * around.max(0).mean()), volume
    return places, faces, uv.reshape(-1, 2), (out[:, 1], z / z.max()), truth


def skin(rng, shape, turned, level):
    """What the piece reflects (512, 2048, 3): browned faces, a pale waist, semolina."""
    size = (512, 2048)
    mottle = noise(rng, size, 14) + 0.6 * noise(rng, size, 4)
    pale = np.array([0.70, 0.56, 0.36]) * rng.uniform(0.85, 1.12)
    albedo = pale * (1 + 0.035 * mottle[..., None])
    if shape == "piece":
        up = np.interp(np.linspace(0, 1, 512), np.linspace(0, 1, len(turned[0])), np.abs(turned[0]))
        brown = 1 / (1 + np.exp(-(up[:, None] - rng.uniform(0.72, 0.9) + 0.05 * mottle) / 0.05))
        dark = np.array([0.34, 0.17, 0.065]) * rng.uniform(0.7, 1.4)
        albedo += brown[..., None] * (dark * (1 + 0.12 * mottle[..., None]) - albedo)
    dust = rng.uniform(0.0, 1.0) * {"easy": 0.3, "realistic": 0.7, "hard": 1.0}[level]
    grains = cv2.GaussianBlur((rng.random(size) < 0.03 * dust).astype(float), (0, 0), 0.9) * 4
    grains = np.clip(grains, 0, 1)[..., None]
    return np.clip(albedo + grains * (np.array([0.82, 0.68, 0.36]) - albedo), 0.02, 0.9)


def tops(rng, level):
    """A worktop: its name and the renderer's material; textures are 1.2 m wide."""
    kinds = {"easy": ("dark", "slate", "blue", "white"),
             "realistic": ("wood", "laminate", "stone", "board"),
             "hard": ("steel", "polished", "dusted", "wood")}[level]  # fmt: skip
    name = kinds[int(rng.integers(len(kinds)))]
    plain = {
        "dark": (0.05, 0.05, 0.055),
        "slate": (0.13, 0.14, 0.15),
        "blue": (0.08, 0.14, 0.24),
        "white": (0.75, 0.75, 0.73),
        "laminate": (0.45, 0.44, 0.42),
        "stone": (0.38, 0.37, 0.36),
        "board": (0.55, 0.45, 0.30),
        "dusted": (0.66, 0.62, 0.54),
        "polished": (0.12, 0.12, 0.13),
        "wood": (0.42, 0.26, 0.13),
        "steel": (0.5, 0.5, 0.5),
    }
    size = (1500, 1500)
    albedo = np.array(plain[name]) * rng.uniform(0.8, 1.2) * np.ones((*size, 1))
    if name in ("wood", "board"):
        grain = noise(rng, size, (90, 1.5)) + 0.7 * noise(rng, size, (300, 6))
        albedo = albedo * (1 + 0.13 * grain[..., None] * np.array([0.8, 1.0, 1.2]))
    elif name in ("stone", "polished"):
        spots = noise(rng, size, 2) + noise(rng, size, 6)
        albedo = albedo * (1 + 0.16 * spots[..., None])
    elif name == "dusted":
        albedo = albedo * (1 + 0.07 * noise(rng, size, 12)[..., None])
    texture = bitmap(np.clip(albedo, 0.01, 0.9))
    if name == "steel":
        return name, {"type": "roughconductor", "material": "Cr", "distribution": "ggx",
                      "alpha": float(rng.uniform(0.06, 0.2))}  # fmt: skip
    if name in ("laminate", "stone", "polished", "board", "white"):
        alpha = {"polished": rng.uniform(0.02, 0.08)}.get(name, rng.uniform(0.12, 0.35))
        return name, {"type": "roughplastic", "diffuse_reflectance": texture, "alpha": float(alpha)}
    return name, {"type": "diffuse", "reflectance": texture}


def bitmap(values, wrap="repeat"):
    """A texture of linear values (h, w, 3)."""
    import mitsuba as mi

    return {"type": "bitmap", "bitmap": mi.Bitmap(np.ascontiguousarray(values, np.float32)),
            "raw": True, "wrap_mode": wrap, "filter_type": "bilinear"}  # fmt: skip


def card(block):
    """The kit's card as printed, 12 pixels to the millimetre; the block shows in its window."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    figure = sheet("a4")
    figure.set_dpi(12 * 25.4)
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    grey = np.asarray(canvas.buffer_rgba())[..., 0] / 255.0
    x, y = (PAPERS["a4"][0] - SIZE_MM[0]) / 2, TOP_MM
    part = grey[round(12 * y) : round(12 * (y + SIZE_MM[1])),
                round(12 * x) : round(12 * (x + SIZE_MM[0]))]  # fmt: skip
    linear = np.where(part <= 0.04045, part / 12.92, ((part + 0.055) / 1.055) ** 2.4)
    out = np.repeat((0.04 + 0.81 * linear)[..., None], 3, 2)
    x0, y0, x1, y1 = (round(12 * v) for v in WINDOW_MM)
    out[y0:y1, x0:x1] = block
    return out


def lights(rng, level, side):
    """How light falls: its name and the renderer's emitters; `side` is +1 from the right."""
    import mitsuba as mi

    T = mi.ScalarTransform4f
    kinds = {"easy": ("window", "even"), "realistic": ("window", "lamp", "low window"),
             "hard": ("sun", "lamp", "low window")}[level]  # fmt: skip
    name = kinds[int(rng.integers(len(kinds)))]
    cool, warm = np.array([0.92, 0.98, 1.1]), np.array([1.15, 1.0, 0.78])
    around = {"even": 1.0, "window": 0.3, "lamp": 0.3, "low window": 0.2, "sun": 0.3}[name]
    out = {"sky": {"type": "constant", "radiance": rgb(around * np.array([1, 1, 1.02]))}}

    def panel(at, wide, tall, radiance):
        return {"type": "rectangle", "to_world": T().look_at(at, [0, -30, 20], [0, 0, 1])
                @ T().scale([wide / 2, tall / 2, 1]),
                "emitter": {"type": "area", "radiance": rgb(radiance)}}  # fmt: skip

    if "window" in name:
        high = rng.uniform(150, 400) if name == "low window" else rng.uniform(700, 1200)
        at = [side * rng.uniform(900, 1300), rng.uniform(-900, -100), high]
        out["window"] = panel(at, 800, 700, rng.uniform(5, 8) * cool)
    elif name == "lamp":
        at = [side * rng.uniform(100, 500), rng.uniform(-400, 100), rng.uniform(600, 900)]
        out["lamp"] = panel(at, 90, 90, rng.uniform(130, 180) * warm)
    elif name == "sun":
        high = math.radians(rng.uniform(14, 38))
        way = np.array([-side * math.cos(high), rng.uniform(-0.1, 0.5), -math.sin(high)])
        way /= np.linalg.norm(way)
        out["sun"] = panel(list(-3000 * way), 60, 60, rng.uniform(3500, 5000) * warm)
    return name, out


def rgb(values):
    return {"type": "rgb", "value": [float(v) for v in np.broadcast_to(values, 3)]}


def traced(seed, spp, folder):
    """Render one picture; its linear light (h, w, 3) and what is true of it."""
    import mitsuba as mi

    T = mi.ScalarTransform4f
    level = LEVELS[seed % 3]
    rng = np.random.default_rng([619, seed])
    shape = "ball" if (seed // 3) % 6 == 5 else "piece"
    kind = ("flat", "domed", "barrel")[int(rng.integers(3))] if shape == "piece" else "ball"
    places, faces, uv, turned, truth = lathe(rng, level, shape, kind)
    side = int(rng.choice([-1, 1]))  # of the card the piece stands on
    offset = float(rng.uniform(5, 40))
    foot = np.array([side * (SIZE_MM[0] / 2 + rng.uniform(15, 40) + truth[1] / 2), -offset, 0.0])
    focal = float(rng.choice([24, 26, 28, 50], p=[0.25, 0.35, 0.2, 0.2]))
    pixels = focal * math.hypot(*SIZE) / FRAME_MM * rng.uniform(0.995, 1.005)
    far = float(rng.uniform(300, 360)) * focal / 26
    high = math.radians(rng.uniform(1.2, 9))
    middle = np.array([0.62 * foot[0], 0.0, rng.uniform(45, 75)])
    lens = np.array([middle[0] + rng.uniform(-40, 40), -far, far * math.tan(high)])
    lens[2] = max(lens[2], 8.0)
    roll = math.radians(rng.uniform(-2, 2))
    upright = [math.sin(roll), 0, math.cos(roll)]
    name_top, top = tops(rng, level)
    name_light, emitters = lights(rng, level, int(rng.choice([-1, 1])))
    mesh = mi.Mesh("piece", len(places), len(faces), has_vertex_normals=True,
                   has_vertex_texcoords=True)  # fmt: skip
    known = mi.traverse(mesh)
    known["vertex_positions"] = (places + foot).astype(np.float32).ravel()
    known["faces"] = faces.astype(np.uint32).ravel()
    known["vertex_texcoords"] = uv.astype(np.float32).ravel()
    known.update()
    mesh.recompute_vertex_normals()
    mesh.write_ply(str(folder / "piece.ply"))
    albedo = bitmap(skin(rng, shape, turned, level))
    block = rng.choice([0.2, 0.5, 0.8]) * np.array([1.0, 0.95, 0.85])
    wall = {"easy": (0.5, 0.5, 0.48), "realistic": (0.6, 0.62, 0.58), "hard": (0.62, 0.52, 0.4)}
    rim = float(rng.uniform(110, 350))
    scene = {
        "type": "scene", "integrator": {"type": "path", "max_depth": 6}, **emitters,
        "sensor": {
            "type": "thinlens",
            "aperture_radius": {"easy": 0.3, "realistic": 0.7, "hard": 1.0}[level],
            "focus_distance": float(far - offset), "near_clip": 5.0,
            "fov": math.degrees(2 * math.atan(SIZE[0] / 2 / pixels)), "fov_axis": "x",
            "to_world": T().look_at(lens.tolist(), middle.tolist(), upright),
            "film": {"type": "hdrfilm", "width": SIZE[0], "height": SIZE[1], "pixel_format": "rgb",
                     "rfilter": {"type": "gaussian"}},
            "sampler": {"type": "independent", "sample_count": spp},
        },
        "top": {"type": "rectangle", "bsdf": {"type": "twosided", "m": top},
                "to_world": T().translate([0, rim - 600, 0])
                @ T().rotate([0, 0, 1], float(rng.uniform(-2, 2))) @ T().scale([600, 600, 1])},
        "front": {"type": "rectangle", "bsdf": {"type": "diffuse", "reflectance": rgb(0.3)},
                  "to_world": T().translate([0, 0, -700]) @ T().scale([4000, 4000, 1])},
        "wall": {"type": "rectangle", "bsdf": {"type": "diffuse", "reflectance": rgb(
                    np.array(wall[level]) * rng.uniform(0.15, 1.2))},
                 "to_world": T().translate([0, rim + rng.uniform(50, 600), 0])
                 @ T().rotate([1, 0, 0], 90) @ T().scale([3000, 3000, 1])},
        "block": {"type": "cube", "bsdf": {"type": "diffuse", "reflectance": rgb(block)},
                  "to_world": T().translate([0, 30.3, 86]) @ T().scale([88, 30, 86])},
        "card": {"type": "rectangle", "bsdf": {"type": "twosided", "m": {
                    "type": "diffuse", "reflectance": bitmap(card(block)[::-1], "clamp")}},
                 "to_world": T().translate([0, 0, SIZE_MM[1] / 2 + 1]) @ T().rotate([1, 0, 0], 90)
                 @ T().scale([SIZE_MM[0] / 2, SIZE_MM[1] / 2, 1])},
        "piece": {"type": "ply", "filename": str(folder / "piece.ply"),
                  "bsdf": {"type": "twosided", "m": {"type": "diffuse", "reflectance": albedo}}},
    }  # fmt: skip
    if level == "hard":  # a kitchen behind
        for i in range(6):
            half = rng.uniform(15, 60, 3)
            at = [rng.uniform(-300, 300), rim - half[1] - rng.uniform(0, 30), half[2]]
            if at[1] - half[1] < 70:
                continue
            colour = {"type": "diffuse", "reflectance": rgb(rng.uniform(0.05, 0.7, 3))}
            place = T().translate(at) @ T().scale(half.tolist())
            scene[f"thing{i}"] = {"type": "cube", "bsdf": colour, "to_world": place}
    loaded = mi.load_dict(scene)
    light = np.array(mi.render(loaded, spp=spp, seed=seed), float)
    # where it is, for a box as a hand would draw one
    ahead = (middle - lens) / np.linalg.norm(middle - lens)
    right = np.cross(ahead, upright)
    right /= np.linalg.norm(right)
    down = -np.cross(right, ahead)
    seen = (places + foot - lens) @ np.stack([right, down, ahead], 1)
    seen = seen[:, :2] / seen[:, 2:] * pixels + (SIZE[0] / 2 - 0.5, SIZE[1] / 2 - 0.5)
    slack = 0.06 * np.ptp(seen[:, 0]) * rng.uniform(0.3, 1.5, 4)
    box = np.r_[seen.min(0) - slack[:2], seen.max(0) + slack[2:]]
    looks = math.degrees(math.atan2(lens[2], np.hypot(*(lens - foot)[:2])))
    true = dict(zip(FIELDS[:12], (f"side_{level}_{seed:02d}.jpg", level, shape, kind, name_top,
                    name_light, *(round(t, 4) for t in truth), round(offset, 3), round(looks, 2),
                    focal), strict=True))  # fmt: skip
    true |= dict(zip(FIELDS[12:], np.round(box, 1), strict=True))
    return light, true, rng


def shot(light, level, rng):
    """What a phone makes of the light: 8-bit sRGB."""
    k1 = rng.uniform(-1, 1) * {"easy": 0.0, "realistic": 0.002, "hard": 0.005}[level]
    y, x = np.mgrid[: SIZE[1], : SIZE[0]].astype(np.float32)
    u, v = (x - SIZE[0] / 2 + 0.5) / 1000, (y - SIZE[1] / 2 + 0.5) / 1000
    r2 = u**2 + v**2
    light = np.minimum(light, 8 * np.median(light))
    if k1:
        grow = 1 + k1 * r2
        light = cv2.remap(light.astype(np.float32), (u * grow) * 1000 + SIZE[0] / 2 - 0.5,
                          (v * grow) * 1000 + SIZE[1] / 2 - 0.5, cv2.INTER_CUBIC,
                          borderMode=cv2.BORDER_REPLICATE)  # fmt: skip
    light = light * (1 - {"easy": 0.08, "realistic": 0.2, "hard": 0.3}[level] * r2)[..., None]
    light = light * rng.uniform(0.75, 0.95) / np.quantile(light, 0.985)
    light = light * (1 + rng.uniform(-0.06, 0.06, 3) * (level != "easy"))
    blur = rng.uniform(*{"easy": (0.5, 0.7), "realistic": (0.6, 1.0), "hard": (0.8, 1.3)}[level])
    light = np.maximum(cv2.GaussianBlur(light, (0, 0), blur), 0)
    grain = {"easy": 0.004, "realistic": 0.010, "hard": 0.018}[level]
    light = light + rng.normal(size=light.shape) * grain * np.sqrt(0.02 + np.maximum(light, 0))
    light = cv2.GaussianBlur(light, (0, 0), 0.5)
    crisp = rng.uniform(0.0, 0.5)  # a phone's sharpening
    light = light + crisp * (light - cv2.GaussianBlur(light, (0, 0), 1.3))
    light = np.clip(light, 0, 1)
    if level == "hard":
        light = light ** rng.uniform(0.9, 1.12)
    return np.round(srgb_of(light) * 255).astype(np.uint8)


def main(argv):
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("out", type=Path)
    ask.add_argument("seeds", type=int, nargs="+")
    ask.add_argument("--samples", type=int, default=24, help="rays a pixel")
    ask.add_argument("--variant", default="llvm_ad_rgb", help="or scalar_rgb, which is slower")
    ask.add_argument("--threads", type=int, default=1)
    ask.add_argument("--table", default="sides.csv")
    asked = ask.parse_args(argv)
    import drjit as dr
    import mitsuba as mi

    mi.set_variant(asked.variant)
    dr.set_thread_count(asked.threads)
    asked.out.mkdir(parents=True, exist_ok=True)
    for seed in asked.seeds:
        light, true, rng = traced(seed, asked.samples, asked.out)
        pixels = shot(light, true["level"], rng)
        exif = Image.Exif()
        exif.get_ifd(0x8769)[0xA405] = int(true["focal_35mm"])
        path = asked.out / true["file"]
        Image.fromarray(pixels).save(
            path, quality=QUALITY, exif=exif, progressive=True, optimize=True
        )
        table = asked.out / asked.table
        fresh = not table.exists()
        with table.open("a", newline="") as file:
            rows = csv.DictWriter(file, FIELDS, lineterminator="\n")
            if fresh:
                rows.writeheader()
            rows.writerow(true)
        print(path, true, flush=True)
    (asked.out / "piece.ply").unlink(missing_ok=True)


if __name__ == "__main__":
    main(sys.argv[1:])
