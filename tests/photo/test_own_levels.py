"""Pale cells and dark ones side by side: each as large as it was drawn."""

import cv2
import numpy as np
import pytest
from scipy.ndimage import center_of_mass

from kit.photo.crumbs.darkness import Rim
from kit.photo.crumbs.own_levels import FEWEST, REACH_MM, own_levels
from kit.photo.crumbs.seen_cells import see_cells
from kit.photo.pixels.pieces import pieces

P = 14.0
RIM = Rim(0.15, 0.02, 0.9, 0.1, 0.0, 0.01, 0.5)


def discs(radii_mm, dark, blur_mm=0.1):
    """Return darkness of flat discs on a 3 mm grid, 8 × 14, drawn four times finer and blurred."""
    fine = 4
    y, x = (np.mgrid[: int(26 * P) * fine, : int(44 * P) * fine] + 0.5) / (P * fine)
    row, column = (np.clip((v - 1) // 3, 0, n - 1).astype(int) for v, n in ((y, 8), (x, 14)))
    away = np.hypot((x - 1) % 3 - 1.5, (y - 1) % 3 - 1.5)
    inside = (away < radii_mm[row, column]) & (abs(x - 22) < 21) & (abs(y - 13) < 12)
    picture = (inside * dark[row, column]).astype(np.float32)
    picture = cv2.GaussianBlur(picture, (0, 0), blur_mm * P * fine)
    return cv2.resize(picture, None, fx=1 / fine, fy=1 / fine, interpolation=cv2.INTER_AREA)


def test_pale_cells_are_as_large_as_dark_ones():
    rng = np.random.default_rng(5)
    dark = np.where(rng.random((8, 14)) < 0.5, 0.35, 0.6)
    picture = discs(np.full((8, 14), 0.7), dark)
    picture += 0.008 * rng.standard_normal(picture.shape).astype(np.float32)
    crumb = np.zeros(picture.shape, bool)
    crumb[5:-5, 5:-5] = True
    found = see_cells((0.6 * (1 - picture)).astype(np.float32), crumb, P, P, 0.12).found
    y, x = np.array(center_of_mass(found.mask, found.labels, found.label_of)).T / P
    own = dark[((y - 1) // 3).astype(int), ((x - 1) // 3).astype(int)]
    assert len(own) == 112
    true = np.pi * 0.7**2
    assert found.area_mm2[own == 0.35].mean() == pytest.approx(true, rel=0.02)
    assert found.area_mm2[own == 0.6].mean() == pytest.approx(true, rel=0.02)


def test_small_cells_that_the_blur_makes_paler_are_not_enlarged():
    rng = np.random.default_rng(6)
    radii = rng.choice([0.25, 0.4, 0.9], (8, 14))
    sharp = discs(radii, np.full((8, 14), 0.4))
    opened = sharp > 0.2  # half-way down: where a flat cell's edge is
    after = sharp > own_levels(opened, sharp, sharp >= 0, RIM, 0.2, P)
    assert after.sum() == pytest.approx(opened.sum(), rel=0.01)


def test_walls_and_borders_between_cells_stay():
    # 5 × 9 squares of 2 mm beside each other, every other one pale; walls one pixel wide
    sharp = np.zeros((180, 280), np.float32)
    side = round(2 * P)
    for i in range(5):
        for j in range(9):
            own = np.s_[20 + i * side : 19 + (i + 1) * side, 14 + j * side : 13 + (j + 1) * side]
            sharp[own] = 0.2 if (i + j) % 2 else 0.5
    wall = sharp == 0
    sharp = cv2.GaussianBlur(sharp, (0, 0), 1.5)
    opened = (sharp > 0.15) & ~wall
    count = len(pieces(opened).pixels)
    after = sharp > own_levels(opened, sharp, sharp >= 0, RIM, 0.15, P)
    assert len(pieces(after).pixels) == count == 46
    assert not (after & wall & (sharp > 0.15)).any()


def test_few_cells_and_pieces_too_small_keep_the_level():
    sharp = np.zeros((200, 420), np.float32)
    for i in range(FEWEST - 1):
        sharp[30:60, 20 + 44 * i : 50 + 44 * i] = 0.2 + 0.05 * i
    sharp[100:103, 100:103] = 0.3
    levels = own_levels(sharp > 0.15, sharp, sharp >= 0, RIM, 0.15, P)
    finite = np.isfinite(levels)
    assert set(levels[finite]) == {np.float32(0.15)}
    far = cv2.distanceTransform((sharp <= 0.15).astype(np.uint8), cv2.DIST_L2, 5) > REACH_MM * P + 1
    assert np.isposinf(levels[far]).all()
    assert np.isneginf(levels[45, 35])  # well inside
