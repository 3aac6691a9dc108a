"""Trace pictures of cut faces beside the kit's card, with known truth.

A general-purpose renderer follows the light (Blender's Cycles as a Python module, which is not
among the test dependencies: ``pip install bpy scikit-image pandas opencv-contrib-python-headless``
in an environment of its own, the kit on PYTHONPATH, then ``python make_crumbs.py OUT SEED SEED
...``). The cells are real hollows with overhangs: a foam of ellipsoids cut flat or pulled apart.
Models and textures are our own inventions. Seeds 0, 3, 6 ... are easy, 1, 4, 7 ... realistic,
2, 5, 8 ... hard; the light changes every third seed, the kind of foam with both. Crumb of odd
seeds lets some light through (0, 1 and 2 were traced before that was so: with 10 samples a pixel,
all of them translucent).
"""

import csv
import math
import sys
from pathlib import Path

import bpy
import cv2
import numpy as np
from PIL import Image
from skimage.measure import label, marching_cubes

from kit.photo.references import card

sys.path.insert(0, str(Path(__file__).parents[1]))
from printed import printed

LEVELS = ("easy", "realistic", "hard")
LIGHTS = ("overcast", "window", "lamp", "two")
FOAMS = ("overlapping", "walled", "mixed")
BOARDS = {
    "easy": ("grey", "dark"),
    "realistic": ("wood", "grey", "dark"),
    "hard": ("brown", "wood"),
}
FIELDS = ("file", "level", "light", "foam", "board", "cut", "offset_mm", "u_offset_mm", "openness",
          "cells_per_cm2", "median_cell_mm2", "mean_cell_mm2", "face_mm2", "crumb_mm2",
          "outline")  # fmt: skip
#: pixels a millimetre, tilt in degrees, blur in pixels, noise, JPEG quality
HOW = {"easy": (11.0, 2.0, 0.6, 0.004, 94), "realistic": (11.5, 5.0, 0.9, 0.009, 88),
       "hard": (10.5, 8.0, 1.2, 0.018, 78)}  # fmt: skip
#: side of the foam's grid, and its layers below the cut, in mm
STEP = 0.085
LAYERS = np.array([0.004, 0, -0.1, -0.2, -0.32, -0.45, -0.6, -0.78, -1.0, -1.25, -1.55, -1.9, -2.3,
                   -2.8, -3.4, -4.1, -4.11])  # fmt: skip
#: what of the card the camera sees, in mm from its corner
VIEW = (-5.0, -3.0, 189.0, 130.0)
SMALLEST_MM2 = 0.10


def noise(rng, shape, sd):
    """Smooth noise of mean 0 and standard deviation 1; `sd` along x, along y, in pixels."""
    sx, sy = np.broadcast_to(sd, 2)
    k = max(1, int(min(sx, sy) / 3))
    small = rng.standard_normal((shape[0] // k + 2, shape[1] // k + 2)).astype(np.float32)
    small = cv2.GaussianBlur(small, (0, 0), sx / k, sigmaY=sy / k)
    out = cv2.resize(small, shape[::-1], interpolation=cv2.INTER_CUBIC)
    return (out - out.mean()) / out.std()


def outline_of(rng, cut):
    """Outline (720, 2) of the face about its middle in mm."""
    t = np.linspace(0, 2 * np.pi, 720, endpoint=False)
    c, s = np.cos(t), np.sin(t)
    if cut == "split":
        r = rng.uniform(34, 38) * (1 + 0.02 * np.cos(2 * t + 1) + 0.007 * np.cos(5 * t + 2))
        return np.column_stack([r * c, r * s])
    a, b, p = rng.uniform(40, 45), rng.uniform(14, 19), rng.uniform(2.6, 4.2)
    xy = np.column_stack([a * np.sign(c) * abs(c) ** (2 / p), b * np.sign(s) * abs(s) ** (2 / p)])
    xy *= (1 + 0.008 * np.cos(3 * t + rng.uniform(0, 6)))[:, None]
    turn = np.radians(rng.uniform(-8, 8))
    return xy @ np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])


def foam(rng, kind, size_mm):
    """How far in mm each point of a grid lies inside a cell (x, y, layers); below 0 in walls."""
    zs = LAYERS[1:-1]
    shape = (int(size_mm[0] / STEP) + 1, int(size_mm[1] / STEP) + 1, len(zs))
    one = np.full(shape, -9.0, np.float32)
    other = one.copy()
    whose = np.zeros(shape, np.int16)
    deep = -zs[-1] + 0.3
    median, sigma = rng.uniform(0.32, 0.75), rng.uniform(0.3, 0.5)
    aim = rng.uniform(0.3, 0.75) if kind != "walled" else rng.uniform(0.8, 1.3)
    r = np.clip(median * np.exp(sigma * rng.standard_normal(150000)), 0.12, 3.5)
    if kind == "mixed":  # fine crumb with some large holes
        r = np.where(rng.random(len(r)) < 0.02, rng.uniform(1.2, 2.8, len(r)), r)
    room = size_mm[0] * size_mm[1] * (deep + 2 * r.max())
    r = r[: np.searchsorted(np.cumsum(4 / 3 * np.pi * r**3), aim * room)]
    at = rng.uniform(0, 1, (len(r), 3)) * (*size_mm, deep + 2 * r.max()) - (0, 0, deep + r.max())
    near = (at[:, 2] - 1.6 * r < 0.05) & (at[:, 2] + 1.6 * r > zs[-1])
    at, r = at[near], r[near]
    group = rng.integers(1, 30000 if kind == "walled" else 2, len(r))
    if kind == "walled":  # some bubbles have run together with whatever they touch
        merged = rng.random(len(r)) < rng.uniform(0.1, 0.35)
        group[merged] = 0
    elif kind == "mixed":
        group = rng.integers(1, 30000, len(r))
        group[rng.random(len(r)) < 0.6] = 0
    flat = rng.uniform(1.0, 1.35)
    for c, radius, own in zip(at, r, group, strict=True):
        stretch = np.exp(rng.normal(0, 0.16, 3)) * (flat**0.5, flat**0.5, 1 / flat)
        turn = rng.uniform(0, np.pi)
        half = radius * stretch
        reach = half.max() * 1.05 + 0.15
        lo = np.maximum(((c[:2] - reach) / STEP).astype(int), 0)
        hi = np.minimum(((c[:2] + reach) / STEP).astype(int) + 2, shape[:2])
        k = np.flatnonzero(np.abs(zs - c[2]) < reach)
        if not len(k) or (hi <= lo).any():
            continue
        x = (np.arange(lo[0], hi[0]) * STEP - c[0])[:, None, None].astype(np.float32)
        y = (np.arange(lo[1], hi[1]) * STEP - c[1])[None, :, None].astype(np.float32)
        z = (zs[k] - c[2])[None, None].astype(np.float32)
        u, v = x * np.cos(turn) + y * np.sin(turn), y * np.cos(turn) - x * np.sin(turn)
        q = np.sqrt((u / half[0]) ** 2 + (v / half[1]) ** 2 + (z / half[2]) ** 2)
        inside = (1 - q) * np.float32(radius)
        part = np.s_[lo[0] : hi[0], lo[1] : hi[1], k[0] : k[-1] + 1]
        a, b, w = one[part], other[part], whose[part]
        first = inside > a
        # what was first is second now, unless it is of the same group
        b[:] = np.where(
            first, np.where(w == own, b, a), np.where(w == own, b, np.maximum(b, inside))
        )
        a[:] = np.where(first, inside, a)
        w[first] = own
    if kind != "overlapping":
        wall = rng.uniform(0.08, 0.2)
        one = np.minimum(one, np.where(other > -wall, (one - other) / 2 - wall / 2, one))
    rough = np.stack([noise(rng, shape[:2], 2.2) for _ in range(3)], 2)
    return one + 0.02 * rough[..., np.arange(len(zs)) * 3 // len(zs)]


def piece(rng, kind, cut):
    """The half muffin: vertices, triangles, colours, and what is true of its face."""
    outline = outline_of(rng, cut)
    low = outline.min(0) - 2.0
    size = np.ptp(outline, axis=0) + 4.0
    inside = foam(rng, kind, size)
    nx, ny = inside.shape[:2]
    mask = np.zeros((nx, ny), np.uint8)
    fine = np.round((outline - low) / STEP * 256).astype(np.int32)
    cv2.fillPoly(mask, [fine[:, ::-1]], 1, shift=8)
    signed = cv2.distanceTransform(mask, cv2.DIST_L2, 5) - cv2.distanceTransform(
        1 - mask, cv2.DIST_L2, 5
    )
    into = cv2.GaussianBlur((signed - 0.5 * np.sign(signed)) * STEP, (0, 0), 1.0)
    # crust: thick above and below, thinner at the sides, or even all round
    yy = np.abs(np.arange(ny) * STEP + low[1])[None] / max(1e-6, np.abs(outline[:, 1]).max())
    thick = rng.uniform(1.0, 2.2) * (1 + 0.12 * noise(rng, (nx, ny), 60))
    if cut == "cut":
        thick = thick * (0.7 + 0.3 * np.clip(yy, 0, 1) ** 2)
    depth = into - thick
    inside = np.minimum(inside, (depth - 0.05)[..., None])
    # the piece narrows below its face
    body = into[..., None] + 0.25 * LAYERS[1:-1]
    solid = np.minimum(np.maximum(-inside, -3), body)
    out = np.full((nx, ny, 1), -0.1, np.float32)
    under = np.maximum(solid[..., -1:], -0.1)  # floors of the deepest cells
    under = np.where(body[..., -1:] > 0, 0.1, -0.1).astype(np.float32)
    volume = np.concatenate([out, solid[..., :], under, under, out], 2).astype(np.float32)
    z_of = np.concatenate([[0.004], LAYERS[1:-1], [-4.3, -9.5, -9.6]])
    v, t, _, _ = marching_cubes(volume, 0.0, step_size=1)
    xy = v[:, :2] * STEP + low
    # colours by place: crust browns outwards
    i, j = np.clip(v[:, :2].astype(int), 0, (nx - 1, ny - 1)).T
    soft = rng.uniform(0.2, 0.6)
    ramp = np.clip(depth[i, j] / soft + 0.5, 0, 1)
    z = np.interp(v[:, 2], np.arange(len(z_of)), z_of)
    ramp = np.where(into[i, j] + 0.25 * z < 0.35, np.minimum(ramp, 0.0), ramp)
    albedo = np.array([0.80, 0.70, 0.50]) * rng.uniform(0.85, 1.06) * (1, 1, rng.uniform(0.85, 1.1))
    crust = np.array([0.33, 0.165, 0.06]) * rng.uniform(0.7, 1.5)
    speck = 1 + 0.03 * noise(rng, (nx, ny), 4) + 0.03 * noise(rng, (nx, ny), 40)
    tone = 1 + 0.12 * noise(rng, (nx, ny), 30)
    colour = (albedo * speck[i, j, None]) * ramp[:, None] + (crust * tone[i, j, None]) * (1 - ramp)[
        :, None
    ]
    if cut == "split":  # pulled apart: the face rises and falls
        bumps = 0.25 * noise(rng, (nx, ny), 50) + 0.05 * noise(rng, (nx, ny), 7)
        z = z + bumps[i, j] * np.clip(1 + z / 4, 0, 1)
    # the truth, on a grid twice as fine, of the surface as it was traced
    k = 3
    face_in = cv2.resize(inside[..., 0], None, fx=k, fy=k, interpolation=cv2.INTER_LINEAR)
    deep = cv2.resize(depth, None, fx=k, fy=k, interpolation=cv2.INTER_LINEAR)
    whole = cv2.resize(into, None, fx=k, fy=k, interpolation=cv2.INTER_LINEAR)
    px = (k / STEP) ** 2
    crumb = deep > 0
    labels = label(face_in > 0, connectivity=1)
    area = np.bincount(labels[crumb].ravel(), minlength=labels.max() + 1)[1:] / px
    keep = area >= SMALLEST_MM2
    cells = area[keep]
    found, _ = cv2.findContours(
        (whole > 0).astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE
    )
    path = max(found, key=cv2.contourArea)[:, 0, ::-1].astype(float)
    path = (path + 0.5) / k - 0.5  # in steps of the grid
    truth = {
        "openness": cells.sum() / (crumb.sum() / px),
        "cells_per_cm2": 100 * len(cells) / (crumb.sum() / px),
        "median_cell_mm2": float(np.median(cells)), "mean_cell_mm2": float(cells.mean()),
        "face_mm2": (whole > 0).sum() / px, "crumb_mm2": crumb.sum() / px,
    }  # fmt: skip
    opened = np.concatenate([[False], keep])[labels] & crumb
    place = (
        opened,
        crumb,
        np.array(
            [
                [STEP / k, 0, low[0] + (0.5 / k - 0.5) * STEP],
                [0, STEP / k, low[1] + (0.5 / k - 0.5) * STEP],
                [0, 0, 1],
            ]
        ),
    )
    return (np.column_stack([xy, z]), t, colour), truth, path * STEP + low, place


def added(name, vertices, faces, material, uv=None, colours=None):
    """Put a mesh into the scene. Vertices in mm: x right, y down, z up."""
    v = np.asarray(vertices, np.float32) * (1, -1, 1)
    faces = np.asarray(faces, np.int32)[:, ::-1]
    mesh = bpy.data.meshes.new(name)
    mesh.vertices.add(len(v))
    mesh.vertices.foreach_set("co", v.astype(np.float32).ravel())
    n = faces.shape[1]
    mesh.loops.add(faces.size)
    mesh.loops.foreach_set("vertex_index", np.ascontiguousarray(faces).ravel())
    mesh.polygons.add(len(faces))
    mesh.polygons.foreach_set("loop_start", np.arange(0, faces.size, n, dtype=np.int32))
    mesh.update(calc_edges=True)
    if uv is not None:
        layer = mesh.uv_layers.new(name="uv")
        layer.data.foreach_set("uv", np.asarray(uv, np.float32)[faces.ravel()].ravel())
    if colours is not None:
        layer = mesh.color_attributes.new("tone", "FLOAT_COLOR", "POINT")
        layer.data.foreach_set(
            "color", np.column_stack([colours, np.ones(len(v))]).astype(np.float32).ravel()
        )
    mesh.materials.append(material)
    made = bpy.data.objects.new(name, mesh)
    bpy.context.scene.collection.objects.link(made)
    return made


def textured(name, picture, rough):
    """A material of linear reflectances (rows, columns, 3)."""
    image = bpy.data.images.new(
        name, picture.shape[1], picture.shape[0], float_buffer=True, is_data=True
    )
    rgba = np.dstack([picture[::-1], np.ones(picture.shape[:2])]).astype(np.float32)
    image.pixels.foreach_set(rgba.ravel())
    material = bpy.data.materials.new(name)
    material.use_nodes = True
    nodes, links = material.node_tree.nodes, material.node_tree.links
    texture = nodes.new("ShaderNodeTexImage")
    texture.image, texture.interpolation = image, "Linear"
    shader = nodes["Principled BSDF"]
    shader.inputs["Roughness"].default_value = rough
    shader.inputs["Specular IOR Level"].default_value = 0.15
    links.new(texture.outputs["Color"], shader.inputs["Base Color"])
    return material


def crumb_material(translucent):
    """Pale crumb that lets a little light through."""
    material = bpy.data.materials.new("crumb")
    material.use_nodes = True
    nodes, links = material.node_tree.nodes, material.node_tree.links
    tone = nodes.new("ShaderNodeAttribute")
    tone.attribute_name = "tone"
    shader = nodes["Principled BSDF"]
    shader.inputs["Roughness"].default_value = 0.7
    shader.inputs["Specular IOR Level"].default_value = 0.2
    shader.inputs["Subsurface Weight"].default_value = translucent
    shader.inputs["Subsurface Radius"].default_value = (1.0, 0.7, 0.4)
    shader.inputs["Subsurface Scale"].default_value = 0.25
    links.new(tone.outputs["Color"], shader.inputs["Base Color"])
    return material


def board_of(rng, kind):
    """Reflectances of the board, 5 pixels a millimetre, 240 by 200 mm."""
    shape = (1000, 1200)
    fine = noise(rng, shape, 1.0)
    if kind == "grey":
        tone, colour = 0.03 * fine + 0.02 * noise(rng, shape, 40), np.array([0.22, 0.22, 0.21])
    elif kind == "dark":
        tone, colour = 0.1 * fine + 0.1 * noise(rng, shape, 30), np.array([0.05, 0.052, 0.055])
    else:
        grain = noise(rng, shape, (60, 2.5)) + 0.8 * noise(rng, shape, (120, 9))
        tone = 0.16 * grain + 0.04 * fine
        colour = np.array([0.46, 0.30, 0.16]) if kind == "wood" else np.array([0.27, 0.145, 0.065])
        colour = colour * rng.uniform(0.8, 1.2)
    return np.clip(colour * np.maximum(1 + tone, 0.2)[..., None], 0.005, 0.9)


def lamp(at, size, power, toward=(0, 0, 0)):
    """A square light at a place (x right, y down, z up), in mm."""
    from mathutils import Vector

    data = bpy.data.lights.new("lamp", "AREA")
    data.size, data.energy = size, power
    thing = bpy.data.objects.new("lamp", data)
    thing.location = (at[0], -at[1], at[2])
    aim = Vector((toward[0], -toward[1], toward[2])) - thing.location
    thing.rotation_euler = aim.to_track_quat("-Z", "Y").to_euler()
    bpy.context.scene.collection.objects.link(thing)


def lit(rng, kind):
    """Set the light: sky all round and what comes from the sides. About 1 on the face in all."""
    turn = rng.uniform(0, 2 * np.pi)

    def side(turn, up, far, size, share):
        up = np.radians(up)
        at = far * np.array([np.cos(up) * np.cos(turn), np.cos(up) * np.sin(turn), np.sin(up)])
        # E = power cos(incidence) / (π far²) near enough; divided by π it is the radiance back
        lamp(at, size, share * np.pi * far**2 * np.pi / np.sin(up), (0, 0, 0))

    sky = {"overcast": 1.0, "window": rng.uniform(0.35, 0.55), "lamp": rng.uniform(0.15, 0.4),
           "two": rng.uniform(0.15, 0.35)}[kind]  # fmt: skip
    if kind == "window":
        side(turn, rng.uniform(35, 60), 900, 900, 1 - sky)
    elif kind == "lamp":
        side(turn, rng.uniform(25, 45), 500, 80, 1 - sky)
    elif kind == "two":
        left = rng.uniform(0.4, 0.6)
        side(turn, rng.uniform(30, 55), 500, 100, left * (1 - sky))
        side(
            turn + np.pi * rng.uniform(0.8, 1.2),
            rng.uniform(30, 55),
            500,
            100,
            (1 - left) * (1 - sky),
        )
    world = bpy.data.worlds.new("sky")
    bpy.context.scene.world = world
    world.use_nodes = True
    world.node_tree.nodes["Background"].inputs["Color"].default_value = (1, 1, 1, 1)
    world.node_tree.nodes["Background"].inputs["Strength"].default_value = sky


def camera(rng, fine, tilt_deg, focal_35mm, height):
    """Set the camera; return (width, height) and its 3 × 4 matrix from mm (right, down, up)."""
    from mathutils import Matrix

    wide, tall = VIEW[2] - VIEW[0], VIEW[3] - VIEW[1]
    size = (round(wide * fine / 2) * 2, round(tall * fine / 2) * 2)
    focal = focal_35mm / math.hypot(36, 24) * math.hypot(*size)
    far = focal / fine
    tilt, turn, roll = np.radians(tilt_deg) * rng.uniform(0.4, 1), *rng.uniform(0, 2 * np.pi, 2)
    roll = np.radians(rng.uniform(-2, 2))
    # camera axes in the world of mm: x right, y down, looking along −z of the world
    spin = (
        cv2.Rodrigues(np.array([0, 0, roll]))[0]
        @ cv2.Rodrigues(tilt * np.array([np.cos(turn), np.sin(turn), 0.0]))[0]
    )
    flip = np.diag([1.0, 1.0, -1.0])  # world z up, camera z forward (down): a mirrored frame
    r = spin @ flip
    middle = np.array([(VIEW[0] + VIEW[2]) / 2, (VIEW[1] + VIEW[3]) / 2, height])
    t = np.array([0, 0, far]) - r @ middle
    k = np.array([[focal, 0, size[0] / 2 - 0.5], [0, focal, size[1] / 2 - 0.5], [0, 0, 1]])
    place = -r.T @ t
    data = bpy.data.cameras.new("camera")
    data.sensor_fit, data.sensor_width = "HORIZONTAL", 36.0
    data.lens = 36.0 * focal / size[0]
    data.clip_end = 5000
    thing = bpy.data.objects.new("camera", data)
    # rows of r: camera's right, down, forward in (x, y down, z up); Blender: right, up, backward
    to_blender = np.diag([1.0, -1.0, 1.0])
    right, down, ahead = (to_blender @ row for row in r)
    m = np.eye(4)
    m[:3, 0], m[:3, 1], m[:3, 2], m[:3, 3] = right, -down, -ahead, to_blender @ place
    thing.matrix_world = Matrix(m.tolist())
    bpy.context.scene.collection.objects.link(thing)
    bpy.context.scene.camera = thing
    return size, k @ np.column_stack([r, t])


def traced(size, samples, file):
    """The linear light of the scene (height, width, 3)."""
    scene = bpy.context.scene
    scene.render.engine = "CYCLES"
    scene.render.threads_mode, scene.render.threads = "FIXED", 1
    c = scene.cycles
    c.samples, c.use_adaptive_sampling = samples, False
    c.max_bounces, c.diffuse_bounces, c.use_denoising = 4, 3, True
    c.denoiser, c.denoising_input_passes = "OPENIMAGEDENOISE", "RGB_ALBEDO_NORMAL"
    c.caustics_reflective = c.caustics_refractive = False
    scene.render.resolution_x, scene.render.resolution_y = size
    scene.render.resolution_percentage = 100
    scene.render.image_settings.file_format = "OPEN_EXR"
    scene.render.image_settings.color_depth = "32"
    scene.view_settings.view_transform = "Raw"
    scene.render.filepath = str(file)
    bpy.ops.render.render(write_still=True)
    image = bpy.data.images.load(str(file))
    image.colorspace_settings.name = "Non-Color"
    flat = np.empty(size[0] * size[1] * 4, np.float32)
    image.pixels.foreach_get(flat)
    file.unlink()
    return flat.reshape(size[1], size[0], 4)[::-1, :, :3].copy()


def trace(seed, out, samples=5):
    """Trace one picture; return its row of the table."""
    rng = np.random.default_rng([seed, 606])
    level, light = LEVELS[seed % 3], LIGHTS[seed // 3 % 4]
    kind = FOAMS[(seed // 12 + seed // 3 + seed) % 3]
    cut = "split" if rng.random() < 0.3 else "cut"
    board = str(rng.choice(BOARDS[level]))
    fine, tilt, blur, grain, quality = HOW[level]
    bpy.ops.wm.read_factory_settings(use_empty=True)
    (v, t, colours), truth, path, place = piece(rng, kind, cut)
    middle = np.array([92.0, 88.0 if cut == "split" else 84.0]) + rng.uniform(-3, 3, 2)
    v[:, :2] += middle
    added("piece", v, t, crumb_material(rng.uniform(0.2, 0.7) * (seed % 2)), colours=colours)
    below = -9.5
    raised = level == "easy" or rng.random() < 0.3  # the card lies as high as the face
    high = 0.0 if raised else below + 0.3
    offset = 0.0 - high
    x0, y0, x1, y1 = card.WINDOW_MM
    w, h = card.SIZE_MM
    frame = [(0, 0), (w, 0), (w, h), (0, h), (x0, y0), (x1, y0), (x1, y1), (x0, y1)]
    quads = [(0, 1, 5, 4), (1, 2, 6, 5), (2, 3, 7, 6), (3, 0, 4, 7)]
    uv = [(x / w, 1 - y / h) for x, y in frame]
    paper = printed(330)
    added(
        "card",
        [(x, y, high) for x, y in frame],
        quads,
        textured("card", np.repeat(paper[..., None], 3, 2) * (1, 0.995, 0.97), 0.9),
        uv,
    )
    corners = [(-28, -12), (212, -12), (212, 188), (-28, 188)]
    added(
        "board",
        [(x, y, below) for x, y in corners],
        [(0, 1, 2, 3)],
        textured("board", board_of(rng, board), 0.5),
        [(0, 1), (1, 1), (1, 0), (0, 0)],
    )
    far = 3000
    added(
        "table",
        [(x * far, y * far, below - 1) for x, y in ((-1, -1), (1, -1), (1, 1), (-1, 1))],
        [(0, 1, 2, 3)],
        textured("table", np.full((4, 4, 3), 0.25), 0.9),
        [(0, 1), (1, 1), (1, 0), (0, 0)],
    )
    if level != "easy":
        for _ in range(50):  # crumbs strewn about
            r = rng.uniform(0.25, 0.8)
            at = (*(rng.uniform(0, 1, 2) * (100, 92) + (42, 42)), below + 0.6 * r)
            box = (
                np.array([(1, 0, 0), (-1, 0, 0), (0, 1, 0), (0, -1, 0), (0, 0, 1), (0, 0, -1)]) * r
            )
            box = box * rng.uniform(0.6, 1.2, (6, 1)) + at
            tri = [
                (0, 2, 4),
                (2, 1, 4),
                (1, 3, 4),
                (3, 0, 4),
                (2, 0, 5),
                (1, 2, 5),
                (3, 1, 5),
                (0, 3, 5),
            ]
            added(
                "bit",
                box,
                tri,
                bpy.data.materials["crumb"],
                colours=np.tile([0.6, 0.45, 0.25], (6, 1)),
            )
    lit(rng, light)
    focal = int(rng.integers(52, 85))
    size, to_px = camera(rng, fine, tilt, focal, 0.0)
    linear = traced(size, samples, out / f"{seed}.exr")
    # exposure by the brightest of the card or face
    linear *= rng.uniform(0.72, 0.9) / np.quantile(linear[..., 1], 0.985)
    yy, xx = (
        np.mgrid[: size[1], : size[0]] / max(size)
        - np.array(size[::-1])[:, None, None] / max(size) / 2
    )
    linear *= (1 - rng.uniform(0.1, 0.5) * (xx**2 + yy**2))[..., None].astype(np.float32)
    linear = cv2.GaussianBlur(linear, (0, 0), blur)
    linear += (
        grain
        * np.sqrt(0.15 + np.clip(linear, 0, 1))
        * rng.standard_normal(linear.shape).astype(np.float32)
    )
    s = np.clip(linear, 0, 1)
    s = np.where(s <= 0.0031308, 12.92 * s, 1.055 * s ** (1 / 2.4) - 0.055)
    picture = Image.fromarray(np.round(s * 255).astype(np.uint8))
    exif = picture.getexif()
    exif.get_ifd(0x8769)[0xA405] = focal
    name = f"crumb_{seed:02d}.jpg"
    picture.save(out / name, quality=quality, exif=exif)
    plane = to_px[:, [0, 1, 3]]
    outline = (path + middle)[:: max(1, len(path) // 60)]
    seen = cv2.perspectiveTransform(outline.reshape(-1, 1, 2), plane)[:, 0]
    opened, crumb, to_mm = place
    to_mm = np.array([[1, 0, middle[0]], [0, 1, middle[1]], [0, 0, 1]]) @ to_mm
    # of the grid's pixels (row: x, column: y) to those of the photo
    swap = np.array([[0, 1, 0], [1, 0, 0], [0, 0, 1.0]])
    whole = cv2.perspectiveTransform((path + middle).reshape(-1, 1, 2), plane)[:, 0]
    np.savez_compressed(
        out / f"crumb_{seed:02d}.npz",
        opened=opened,
        crumb=crumb,
        to_photo=plane @ to_mm @ swap,
        outline=whole,
        plane=plane,
    )
    told = offset if raised else round(offset + rng.normal(0, 0.5), 1)
    return {"file": name, "level": level, "light": light, "foam": kind, "board": board, "cut": cut,
            "offset_mm": told, "u_offset_mm": 0.3 if raised else 0.6,
            **{k: round(float(x), 5) for k, x in truth.items()},
            "outline": " ".join(f"{x:.1f},{y:.1f}" for x, y in seen)}  # fmt: skip


if __name__ == "__main__":
    folder = Path(sys.argv[1])
    folder.mkdir(exist_ok=True)
    table = folder / "crumbs.csv"
    fresh = not table.exists()
    with table.open("a", newline="") as file:
        rows = csv.DictWriter(file, FIELDS)
        if fresh:
            rows.writeheader()
        for number in sys.argv[2:]:
            rows.writerow(trace(int(number), folder))
            file.flush()
