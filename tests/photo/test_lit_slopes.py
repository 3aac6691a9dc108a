"""Slopes that a lamp lights up belong to cells; bright specks in even light do not."""

import cv2
import numpy as np
import pytest
from test_side_light import P, noisy, pits

from kit.photo.crumbs.side_light import lit_slopes, toward_light


def lamp(height, turn, up=0.6, share=0.6):
    """Return the darkness of pits whose slopes send back what the lamp at `turn` and `up` gives."""
    gy, gx = np.gradient(cv2.GaussianBlur(height, (0, 0), 1.0), 1 / P)
    facing = np.sin(up) - np.cos(up) * (np.cos(turn) * gx + np.sin(turn) * gy)
    light = np.maximum(facing, 0) / np.sqrt(1 + gx**2 + gy**2) / np.sin(up)
    return (1 - (1 - share) * np.exp(0.5 * height) - share * light).astype(np.float32)


@pytest.mark.parametrize("turn", np.radians([0, 70, 200, 290]))
def test_dark_parts_lie_toward_the_lamp(turn):
    height = pits(3, 0.3)
    full = np.ones(height.shape, bool)
    side = toward_light(noisy(lamp(height, turn), 1), full, P)
    length = np.hypot(*side)
    assert length > 0.3
    # pits: the side next to the lamp faces away from it
    assert side @ (np.cos(turn), np.sin(turn)) > 0.95 * length


@pytest.mark.parametrize("seed", range(6))
def test_even_light_and_specks_have_no_side(seed):
    height = pits(seed)
    full = np.ones(height.shape, bool)
    rng = np.random.default_rng(seed)
    specks = cv2.GaussianBlur(rng.standard_normal(height.shape).astype(np.float32), (0, 0), 3.0)
    even = 1 - np.exp(1.2 * height) - 0.05 * specks / specks.std()
    assert not toward_light(noisy(even.astype(np.float32), seed), full, P).any()


def test_a_lit_slope_and_its_dark_part_are_one_cell_and_the_wall_behind_stays():
    height = pits(4, 0.3)
    full, true = np.ones(height.shape, bool), height < 0
    dark = noisy(lamp(height, 0.5), 2, 0.01)
    found = dark > 0.15
    side = toward_light(dark, full, P)
    slopes, back = (lit_slopes(dark, found, full, full, P, way) & ~found for way in (side, -side))
    right, wrong = ((part & true).sum() / part.sum() for part in (slopes, back))
    assert (slopes & true).sum() > 0.3 * (true & ~found).sum()  # much of what was missed
    assert right > 0.8  # and hardly any wall
    assert right > wrong + 0.05  # the wrong way, walls are taken


def test_a_bright_patch_without_a_dark_part_before_it_is_wall():
    height = pits(4, 0.3)
    full = np.ones(height.shape, bool)
    dark = noisy(lamp(height, 0.5), 2, 0.01)
    away = cv2.distanceTransform((height >= 0).astype(np.uint8), cv2.DIST_L2, 5)
    y, x = np.unravel_index(away.argmax(), away.shape)
    flour = np.hypot(*np.ogrid[-y : len(dark) - y, -x : dark.shape[1] - x]) < 0.25 * P
    dark[flour] = -0.15
    slopes = lit_slopes(dark, dark > 0.15, full, full, P, toward_light(dark, full, P))
    assert not slopes[flour].any()
