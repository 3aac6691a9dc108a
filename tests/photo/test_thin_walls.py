"""A wall thinner than the blur parts two cells, a passage between them does not."""

import math

import cv2
import numpy as np
import pytest

from kit.photo.crumbs.cells import find_cells
from kit.photo.crumbs.darkness import Rim, restored
from kit.photo.crumbs.thin_walls import RESTORE, apart, left_blur_mm, parted, ridge_height

P, BLUR, DEEP = 11.0, 0.15, 0.5
SHARE = math.erf(0.06 / (2 * math.sqrt(2) * BLUR))


def seen(open_mask, noise=0.0):
    """Return the darkness of a mask drawn four times finer, blurred, on pixels of 1/P mm."""
    fine = cv2.GaussianBlur(open_mask.astype(np.float32) * DEEP, (0, 0), BLUR * P * 4)
    dark = cv2.resize(fine, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA)
    rng = np.random.default_rng(5)
    return dark + np.float32(noise) * rng.standard_normal(dark.shape).astype(np.float32)


def cells_of(dark):
    """Return how many cells are counted at a level that the blurred wall lies above."""
    height = ridge_height(dark, P, SHARE)
    parted = apart(dark > 0.15, height, P, 0.01 * DEEP, -0.05 * DEEP)
    return len(find_cells(parted, np.ones(dark.shape, bool), P).area_mm2)


def plane():
    """Return coordinates in mm of a plane of 8 × 8 mm."""
    return (np.mgrid[: int(8 * P * 4), : int(8 * P * 4)] + 0.5) / (P * 4) - 4


@pytest.mark.parametrize("degrees", [0, 20, 45, 70, 90, 135])
def test_a_wall_thinner_than_the_blur_parts_a_disc(degrees):
    y, x = plane()
    across = x * math.cos(math.radians(degrees)) + y * math.sin(math.radians(degrees))
    dark = seen((np.hypot(x, y) < 2.5) & (abs(across) > 0.25 / 2), noise=0.01)
    # in closed form a line of width w rises to erf(w / (2√2·blur)): here still above the level
    middle = DEEP * (1 - math.erf(0.25 / (2 * math.sqrt(2) * BLUR)))
    assert np.median(dark[43:45, 43:45]) == pytest.approx(middle, abs=0.03)
    assert middle > 0.15
    assert len(find_cells(dark > 0.15, np.ones(dark.shape, bool), P).area_mm2) == 1
    assert cells_of(dark) == 2


@pytest.mark.parametrize("wide", [0.6, 1.0])
def test_a_passage_parts_nothing(wide):
    y, x = plane()
    two = (np.hypot(x - 1.6, y) < 1.4) | (np.hypot(x + 1.6, y) < 1.4)
    assert cells_of(seen(two | ((abs(x) < 1) & (abs(y) < wide / 2)), noise=0.01)) == 1


def test_a_floor_that_rises_parts_nothing_once_blur_is_taken_back():
    # a rise of a third, about as wide as a wall seen through the blur
    y, x = plane()
    floor = 1 - 0.33 * np.exp(-0.5 * (x / 0.22) ** 2)
    inside = (np.hypot(x, y) < 2.5).astype(np.float32)
    dark = DEEP * cv2.GaussianBlur((inside * floor).astype(np.float32), (0, 0), BLUR * P * 4)
    dark = cv2.resize(dark, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA)
    wall = seen((np.hypot(x, y) < 2.5) & (abs(x) > 0.2 / 2))

    def parts(picture):
        clearer = restored(picture, P, BLUR, RESTORE)
        share = math.erf(0.06 / (2 * math.sqrt(2) * left_blur_mm(BLUR)))
        height = ridge_height(clearer, P, share)
        parted = apart(picture > 0.15, height, P, 0.01 * DEEP, -0.05 * DEEP)
        return len(find_cells(parted, np.ones(parted.shape, bool), P).area_mm2)

    assert parts(dark) == 1
    assert parts(wall) == 2


def test_noise_on_a_flat_cell_parts_nothing():
    y, x = plane()
    assert cells_of(seen(np.hypot(x, y) < 3, noise=0.02)) == 1


@pytest.mark.parametrize("degrees", [0, 30, 45, 90])
def test_a_narrow_passage_parts_nothing_where_a_wall_does(degrees):
    # a passage of 0.28 mm: a line laid across it ends in wall, as light as can be
    y, x = plane()
    turn = math.radians(degrees)
    along, across = (
        x * math.cos(turn) + y * math.sin(turn), y * math.cos(turn) - x * math.sin(turn)
    )  # fmt: skip
    two = (np.hypot(along - 1.6, across) < 1.5) | (np.hypot(along + 1.6, across) < 1.5)
    joined = two | ((abs(along) < 1) & (abs(across) < 0.28 / 2))
    walled = (np.hypot(x, y) < 2.5) & (abs(along) > 0.1 / 2)
    blur = 0.08

    def parts(open_mask):
        fine = cv2.GaussianBlur(open_mask.astype(np.float32) * DEEP, (0, 0), blur * P * 4)
        dark = cv2.resize(fine, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA)
        rim = Rim(0.15, 0.02, 1.0, blur, 0.0, 0.0, DEEP)
        full = np.ones(dark.shape, bool)
        return len(find_cells(parted(dark > 0.15, dark, full, rim, P, P), full, P).area_mm2)

    assert parts(joined) == 1
    assert parts(walled) == 2
