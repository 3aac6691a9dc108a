"""Shallow cells, paler than the level of the dark ones: found, counted once, and told of."""

from dataclasses import replace

import cv2
import numpy as np
import pytest
from scipy.ndimage import center_of_mass

from kit.photo.crumbs.figures import DOUBT, values_of
from kit.photo.crumbs.pale_cells import TOLD, pale_cells
from kit.photo.crumbs.seen_cells import see_cells
from kit.photo.crumbs.words import cautions
from kit.photo.pixels.pieces import pieces
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
    y, x = np.array(center_of_mass(seen.found.mask, seen.found.labels, seen.found.label_of)).T / P
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


def test_where_all_cells_are_dark_nothing_is_added_and_nothing_told():
    seen = see_cells(*face(np.full((8, 14), 0.5)), P, P, 0.12)
    assert len(seen.found.area_mm2) == 112
    assert seen.unseen == 0


@pytest.mark.parametrize(("pale", "counted"), [(5, 107), (9, 112)])
def test_a_few_pale_patches_among_dark_cells_may_be_mottling(pale, counted):
    dark = np.full(112, 0.6)
    dark[np.random.default_rng(4).permutation(112)[:pale]] = 0.08
    light, crumb = face(dark.reshape(8, 14))
    seen = see_cells(light, crumb, P, P, 0.12)
    assert len(seen.found.area_mm2) == counted
    assert seen.left_out == 112 - counted
    assert seen.unseen > 0
    # cells or not: the intervals hold both
    values = values_of(seen, crumb, crumb, Value(0.0, 0.002, ""))
    low, high = values["cells_per_cm2"].interval(0.95)
    assert low < 107 / seen.found.crumb_mm2 * 100 < 112 / seen.found.crumb_mm2 * 100 < high
    low, high = values["openness"].interval(0.95)
    assert low < seen.clear.openness <= seen.more.openness < high
    said = [note for note in cautions(seen, P) if "pale patches were not counted" in note]
    assert len(said) == (counted < 112)
    assert all(note.startswith(f"{pale} ") for note in said)
    one = cautions(replace(seen, left_out=1), P)
    assert any(note.startswith("1 pale patch was not counted") for note in one)


def test_what_is_left_out_is_in_the_uncertainty_in_full():
    dark = np.full(112, 0.6)
    dark[np.random.default_rng(4).permutation(112)[:5]] = 0.08
    light, crumb = face(dark.reshape(8, 14))
    seen = see_cells(light, crumb, P, P, 0.12)
    left, none = (
        values_of(cells, crumb, crumb, Value(0.0, 0.002, ""))["cells_per_cm2"]
        for cells in (seen, replace(seen, left_out=0))
    )
    assert np.sqrt(left.u**2 - none.u**2) == pytest.approx(5 / 107 * left.value)


@pytest.mark.parametrize(("radius_mm", "pale"), [(0.25, 0.08), (0.25, 0.12), (0.4, 0.1)])
def test_many_small_pale_cells_count_however_little_they_take_up(radius_mm, pale):
    # 61 of 112, in all a twenty-fifth to a tenth as large as the others
    small = np.random.default_rng(9530011).permutation(112).reshape(8, 14) < 61
    radius, dark = np.where(small, radius_mm, 1.35), np.where(small, pale, 0.6)
    light, crumb = face(dark, radius_mm=radius)
    seen = see_cells(light, crumb, P, P, 0.12)
    assert seen.left_out == 0
    values = values_of(seen, crumb, crumb, Value(0.0, 0.002, ""))
    for name, true in (
        ("cells_per_cm2", 112 / seen.found.crumb_mm2 * 100),
        ("median_cell_mm2", np.pi * radius_mm**2),
    ):
        low, high = values[name].interval(0.95)
        assert low < true < high
        assert values[name].value == pytest.approx(true, rel=0.15)


def test_sizes_of_pale_and_dark_cells_alike_are_in_their_intervals():
    # one level for both begins too far inside the pale ones and outside the dark ones
    dark = np.where(np.random.default_rng(5).random((8, 14)) < 0.5, 0.35, 0.6)
    light, crumb = face(dark, radius_mm=np.full((8, 14), 0.7))
    seen = see_cells(light, crumb, P, P, 0.12)
    assert len(seen.found.area_mm2) == 112
    values = values_of(seen, crumb, crumb, Value(0.0, 0.002, ""))
    for name in ("median_cell_mm2", "mean_cell_mm2", "cell_10_mm2", "cell_90_mm2"):
        low, high = values[name].interval(0.95)
        assert low < np.pi * 0.7**2 < high


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
    pale, _ = pale_cells(dark, found, full, full, P, 0.25)
    pixels = pieces(found | pale).pixels[1:]
    assert np.count_nonzero(pixels > 20) == 15  # 5 dark with a shelf, 5 dark, 5 pale


def test_what_may_be_unseen_is_in_the_uncertainty():
    light, crumb = face(np.full((8, 14), 0.5))
    cells = see_cells(light, crumb, P, P, 0.12)
    plain, doubted = (
        values_of(replace(cells, unseen=unseen), crumb, crumb, Value(0.0, 0.002, ""))
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
    without, with_them = (
        values_of(replace(cells, clear=clear), crumb, crumb, Value(0.0, 0.002, ""))
        for clear in (cells.found, cells.clear)
    )
    was, now = without["cells_per_cm2"], with_them["cells_per_cm2"]
    share = np.count_nonzero(dark == 0.08) / dark.size
    assert now.value == was.value
    assert np.sqrt(now.u**2 - was.u**2) == pytest.approx(DOUBT["pale"] * share * now.value)
