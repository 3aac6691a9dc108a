"""The blur of an outline against the blur a step was given (a normal one, by OpenCV)."""

import cv2
import numpy as np
import pytest

from kit.photo.crumbs.darkness import blur_at, darkness, restored

PX = 12.0


def outline(radius_mm=14.0, centre_mm=18.0):
    """Return a circle in pixels and its outward normals."""
    turn = np.linspace(0, 2 * np.pi, 500, endpoint=False)
    out = np.column_stack([np.cos(turn), np.sin(turn)])
    return (centre_mm + radius_mm * out) * PX - 0.5, out


def seen(blur_mm, grains=0, noise=0.0, seed=5):
    """Return the light of a pale disc on a dark board, with grains strewn about, blurred."""
    rng = np.random.default_rng(seed)
    fine = 4
    y, x = (np.mgrid[: 36 * PX * fine, : 36 * PX * fine] + 0.5) / (PX * fine)
    light = np.full(x.shape, 0.1, np.float32)
    for at in rng.uniform(0, 36 * PX * fine, (grains, 2)).astype(int):
        cv2.circle(light, tuple(int(v) for v in at), int(rng.integers(8, 24)), 0.6, -1)
    light[np.hypot(x - 18, y - 18) < 14] = 0.5
    light = cv2.GaussianBlur(light, (0, 0), blur_mm * PX * fine)
    light = cv2.resize(light, None, fx=1 / fine, fy=1 / fine, interpolation=cv2.INTER_AREA)
    return light + noise * rng.standard_normal(light.shape).astype(np.float32)


@pytest.mark.parametrize("blur_mm", [0.07, 0.12, 0.2])
@pytest.mark.parametrize(("grains", "noise"), [(0, 0.0), (0, 0.02), (2500, 0.005)])
def test_the_blur_of_a_step_comes_back(blur_mm, grains, noise):
    path, out = outline()
    # a pixel is a mean over its square: its own blur is 1/√12 of it
    known = np.hypot(blur_mm, 1 / (PX * np.sqrt(12)))
    assert blur_at(seen(blur_mm, grains, noise), path, out, PX) == pytest.approx(known, rel=0.15)


def test_no_outline_no_blur():
    path, out = outline()
    assert np.isnan(blur_at(np.full((432, 432), 0.4, np.float32), path, out, PX))


@pytest.mark.parametrize("wave_mm", [2.0, 0.8, 0.4])
def test_a_blurred_wave_is_restored_as_far_as_noise_allows(wave_mm):
    # of a wave of frequency f a normal blur passes h = exp(−2π²s²f²), and the filter h / (h² + n)
    blur, noise = 0.12, 0.03
    x = (np.arange(480) + 0.5) / PX
    true = np.tile(np.cos(2 * np.pi * x / wave_mm), (60, 1)).astype(np.float32)
    h = np.exp(-2 * (np.pi * blur / wave_mm) ** 2)
    found = restored(true * np.float32(h), PX, blur, noise)[20:40, 100:-100]
    left = h * h / (h * h + noise) * (1 + noise)  # what is flat stays as it is
    assert np.abs(found - left * true[20:40, 100:-100]).max() < 0.02


def test_within_a_large_cell_darkness_is_told_against_the_wall_around_it():
    # a cell 12 mm across in light that falls off by a fifth: no wall within 4.5 mm of its middle
    y, x = (np.mgrid[: 40 * PX, : 50 * PX] + 0.5) / PX
    cell = np.hypot(x - 25, y - 20) < 6
    light = np.where(cell, 0.3, 0.6) * (1.1 - 0.2 * x / 50)
    crumb = (abs(x - 25) < 24) & (abs(y - 20) < 19)
    depth_px = cv2.distanceTransform(crumb.astype(np.uint8), cv2.DIST_L2, 5)
    dark = darkness(light.astype(np.float32), depth_px, PX)
    assert dark[np.hypot(x - 25, y - 20) < 1].mean() == pytest.approx(0.5, abs=0.05)
    assert abs(dark[crumb & (np.hypot(x - 25, y - 20) > 8)].mean()) < 0.03
