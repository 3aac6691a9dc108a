"""A lamp at one side is seen, whatever the cells look like; even light is not taken for one."""

import math

import crumbs
import cv2
import numpy as np
import pytest
import relief

from kit.photo.crumbs.side_light import ADVICE, side_light
from kit.photo.cut_face import crumb

P = 14.0


def pits(seed, share=0.35):
    """Return heights in mm, 0 on the wall, of round pits strewn about 50 × 40 mm."""
    rng = np.random.default_rng(seed)
    height = np.zeros((int(40 * P), int(50 * P)), np.float32)
    y, x = (np.mgrid[: height.shape[0], : height.shape[1]] + 0.5) / P
    while (height < 0).mean() < share:
        r, across, down = rng.uniform(0.4, 1.6), rng.uniform(0, 50), rng.uniform(0, 40)
        bowl = np.hypot(x - across, y - down) / r
        height = np.minimum(height, 0.7 * r * np.minimum(bowl**2 - 1, 0).astype(np.float32))
    return height


def lambert(height, turn, up, share):
    """Return the darkness under a lamp at `turn` and `up` (Lambert's cosine) and an even sky."""
    gy, gx = np.gradient(height, 1 / P)
    facing = np.sin(up) - np.cos(up) * (np.cos(turn) * gx + np.sin(turn) * gy)
    lamp = np.maximum(facing, 0) / np.sqrt(1 + gx**2 + gy**2) / np.sin(up)
    return (1 - (1 - share) * np.exp(1.2 * height) - share * lamp).astype(np.float32)


def noisy(dark, seed, sd=0.02):
    """Return it blurred by 1 px, with noise."""
    grain = np.random.default_rng(seed).standard_normal(dark.shape).astype(np.float32)
    return cv2.GaussianBlur(dark, (0, 0), 1.0) + np.float32(sd) * grain


def test_a_lamp_is_seen_from_wherever_it_shines():
    height = pits(1)
    full = np.ones(height.shape, bool)
    turns = np.radians(np.arange(0, 360, 45))
    found = [side_light(noisy(lambert(height, t, 0.7, 0.5), 2), full, P) for t in turns]
    assert min(found) > 0.1
    assert max(found) < 1.3 * min(found)
    # less light from it, less lean; as much of it whatever the contrast
    dark = lambert(height, 1.0, 0.7, 0.5)
    assert side_light(lambert(height, 1.0, 0.7, 0.25), full, P) < side_light(dark, full, P)
    assert side_light(0.3 * dark, full, P) == pytest.approx(side_light(dark, full, P), rel=1e-4)


@pytest.mark.parametrize("seed", range(8))
def test_even_light_leans_nowhere(seed):
    height = pits(seed)
    full = np.ones(height.shape, bool)
    for dark in (
        1 - np.exp(1.2 * height),
        0.4 * (height < 0),
        lambert(height, 0.0, math.pi / 2, 1),
    ):
        assert side_light(noisy(dark.astype(np.float32), seed), full, P) == 0


def test_a_wall_alone_and_a_speck_of_crumb():
    full = np.ones((300, 300), bool)
    assert side_light(noisy(np.zeros(full.shape, np.float32), 1), full, P) == 0
    few = np.zeros(full.shape, bool)
    few[:4, :4] = True
    assert side_light(np.zeros(full.shape, np.float32), few, P) == 0


def test_it_is_said_and_the_intervals_know_it():
    scene = relief.draw(6620007, "realistic")
    found = crumb(scene.photo, scene.scale, outline=scene.face_px, crust_mm=scene.crust_mm)
    assert ADVICE in found.checks
    assert ADVICE in str(found)
    for name in ("openness", "cells_per_cm2", "median_cell_mm2"):
        value = found.values[name]
        assert value.parts["light"] > 0
        assert abs(value.value - scene.truth[name]) < 1.96 * value.u
    even = crumbs.draw(11, "easy", cells="spheres", light="pit", px_per_mm=12.0)
    found = crumb(even.photo, even.scale, outline=even.face_px, crust_mm=even.crust_mm)
    assert ADVICE not in found.checks
    assert "light" not in found.openness.parts
