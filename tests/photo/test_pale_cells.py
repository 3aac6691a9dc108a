"""Shallow cells, paler than the level of the dark ones: found, counted once, and told of."""

import cv2
import numpy as np
import pytest

from kit.photo.crumb_figures import DOUBT, values_of
from kit.photo.pale_cells import TOLD, pale_cells
from kit.photo.pieces import pieces
from kit.photo.seen_cells import see_cells
from kit.photo.value import Value

P = 14.0


def face(dark_of, noise=0.008, seed=5, radius_mm=None):
    """Return light and crumb of flat round cells on a 3 mm grid, 8 × 14, each of its darkness."""
    fine, radius_mm = 4, np.full((8, 14), 0.6) if radius_mm is None else radius_mm
    y, x = (np.mgrid[: int(26 * P) * fine, : int(44 * P) * fine] + 0.5) / (P * fine)
    row, column = (np.clip((v - 1) // 3, 0, n - 1).astype(int) for v, n in ((y, 8), (x, 14)))
    away = np.hypot((x - 1) % 3 - 1.5, (y - 1) % 3 - 1.5)
    inside = (away < radius_mm[row, column]) & (abs(x - 22) < 21) & (abs(y - 13) < 12)
    picture = cv2.GaussianBlur(
        (inside * dark_of[row, column]).astype(np.float32), (0, 0), 0.1 * P * fine
    )
    picture = cv2.resize(picture, None, fx=1 / fine, fy=1 / fine, interpolation=cv2.INTER_AREA)
    picture += noise * np.random.default_rng(seed).standard_normal(picture.shape).astype(np.float32)
    crumb = np.zeros(picture.shape, bool)
    crumb[5:-5, 5:-5] = True
    return (0.6 * (1 - picture)).astype(np.float32), crumb


def test_pale_cells_among_dark_ones_are_found_as_large_as_they_are():
    dark = np.where(np.random.default_rng(3).random((8, 14)) < 0.5, 0.08, 0.6)
    seen = see_cells(*face(dark), P, P, 0.12)
    assert seen.level > 0.1  # of the dark ones: one level for all misses every pale cell
    x, y = seen.found.centre_px.T / P
    own = dark[((y - 1) // 3).astype(int), ((x - 1) // 3).astype(int)]
    assert len(own) == 112
    assert seen.found.area_mm2[own == 0.08].mean() == pytest.approx(np.pi * 0.6**2, rel=0.06)
    assert 0 < seen.unseen < 0.02


@pytest.mark.parametrize(("area_mm2", "counts"), [(0.05, False), (0.13, True)])
def test_holes_too_small_to_count_are_no_pale_cells_for_being_blurred(area_mm2, counts):
    # every other one is a small dark hole, seen 0.13 to 0.16 mm² large and pale through the blur
    radius, dark = np.full((8, 14), 0.6), np.full((8, 14), 0.6)
    radius[:, ::2], dark[:, ::2] = np.sqrt(area_mm2 / np.pi), 0.4
    seen = see_cells(*face(dark, radius_mm=radius), P, P, 0.12)
    assert len(seen.found.area_mm2) == (112 if counts else 56)
    assert seen.small == (0 if counts else 56)


def test_pieces_left_out_as_too_small_are_in_the_uncertainty_of_the_number():
    cells = see_cells(*face(np.full((8, 14), 0.5)), P, P, 0.12)
    crumb, scale = face(np.full((8, 14), 0.5))[1], Value(0.0, 0.002, "")

    def number(small):
        return values_of(
            cells.found, cells.less, cells.whole, crumb, crumb, scale, 0.1, small=small
        )["cells_per_cm2"]

    plain, doubted = number(0), number(28)
    assert doubted.value == plain.value
    assert doubted.u == pytest.approx(np.hypot(plain.u, DOUBT["blur"] * 0.25 * plain.value))


def test_where_all_cells_are_dark_nothing_is_added_and_nothing_told():
    seen = see_cells(*face(np.full((8, 14), 0.5)), P, P, 0.12)
    assert len(seen.found.area_mm2) == 112
    assert seen.unseen == 0


def test_mottling_is_no_cell():
    # patches of a millimetre, as many light as dark, as deep as the pale cells above
    light, crumb = face(np.full((8, 14), 0.6))
    rng = np.random.default_rng(9)
    patches = cv2.GaussianBlur(rng.standard_normal(light.shape).astype(np.float32), (0, 0), 0.4 * P)
    seen = see_cells(light * (1 + 0.05 * patches / patches.std()), crumb, P, P, 0.12)
    assert len(seen.found.area_mm2) == pytest.approx(112, abs=3)
    assert seen.unseen < TOLD


def test_a_pale_shelf_of_a_dark_cell_is_that_cell_and_a_walled_off_one_is_not():
    dark = np.zeros((280, 280), np.float32)
    for i in range(5):
        y = 28 + 50 * i
        dark[y : y + 25, 40:65] = dark[y : y + 25, 160:185] = 0.5
        dark[y : y + 25, 65:100] = 0.12  # a shelf beside it
        dark[y : y + 25, 191:226] = 0.12  # a cell behind a wall of 0.4 mm
    dark = cv2.GaussianBlur(dark, (0, 0), 1.2)
    dark += 0.008 * np.random.default_rng(2).standard_normal(dark.shape).astype(np.float32)
    found, full = dark > 0.25, np.ones(dark.shape, bool)
    pale = pale_cells(dark, found, full, full, P, 0.25)
    pixels = pieces(found | pale.mask).pixels[1:]
    assert np.count_nonzero(pixels > 20) == 15  # 5 dark with a shelf, 5 dark, 5 pale


def test_what_may_be_unseen_is_in_the_uncertainty():
    cells = see_cells(*face(np.full((8, 14), 0.5)), P, P, 0.12)
    crumb, scale = face(np.full((8, 14), 0.5))[1], Value(0.0, 0.002, "")

    plain, doubted = (
        values_of(cells.found, cells.less, cells.whole, crumb, crumb, scale, 0.1, 0.0, unseen)
        for unseen in (0.0, 0.06)
    )
    # pale rims would make each cell larger, and the crumb more open, by as much
    for name in ("openness", "mean_cell_mm2", "median_cell_mm2"):
        was, now = plain[name], doubted[name]
        more = 0.06 * was.value / plain["openness"].value
        assert now.value == was.value
        assert now.u == pytest.approx(np.hypot(was.u, more))


def test_what_pale_cells_change_is_in_the_uncertainty():
    """On faces of few large cells, mottling was counted: intervals of the number held 33 %."""
    dark = np.where(np.random.default_rng(3).random((8, 14)) < 0.5, 0.08, 0.6)
    light, crumb = face(dark)
    cells = see_cells(light, crumb, P, P, 0.12)
    assert len(cells.clear.area_mm2) == np.count_nonzero(dark == 0.6)
    asked = cells.found, cells.less, cells.whole, crumb, crumb, Value(0.0, 0.002, ""), 0.1
    without, with_them = (values_of(*asked, clear=clear) for clear in (None, cells.clear))
    was, now = without["cells_per_cm2"], with_them["cells_per_cm2"]
    share = np.count_nonzero(dark == 0.08) / dark.size
    assert now.value == was.value
    assert np.sqrt(now.u**2 - was.u**2) == pytest.approx(DOUBT["pale"] * share * now.value)
