"""Specks on a wall are no cells: among few pieces more is asked of each."""

from dataclasses import replace

import crumbs
import cv2
import numpy as np
import pytest

from kit.photo.crumbs.cells import find_cells
from kit.photo.crumbs.darkness import Rim
from kit.photo.crumbs.seen_cells import DEEP, FEWER, LEAST, MOST, sure_level
from kit.photo.cut_face import crumb

P = 14.0
RIM = Rim(0.08, 0.01, 0.5, 0.1, 0.0, 0.025, 0.4)


def textured(seed, side_mm=40.0):
    """Return a wall's darkness of normal texture about 0.2 mm fine, as light as dark."""
    rng = np.random.default_rng(seed)
    side = int(side_mm * P)
    grain = cv2.GaussianBlur(rng.standard_normal((side, side)).astype(np.float32), (0, 0), 3.0)
    return np.float32(RIM.noise) * (grain - grain.mean()) / grain.std()


def kept(dark, level):
    """Return how many pieces darker than the edge hold a pixel darker than `level`."""
    full = np.ones(dark.shape, bool)
    return len(find_cells(dark > RIM.level, full, P, 0.0, 0.1, sure=dark > level).area_mm2)


def test_texture_alone_makes_no_cells_and_small_shallow_ones_are_kept():
    specks, left, cells = 0, 0, 0
    for seed in range(10):
        dark = textured(seed)
        full = np.ones(dark.shape, bool)
        low = RIM.level + LEAST * RIM.noise
        specks += kept(dark, low)
        left += kept(dark, sure_level(dark, full, RIM.level, RIM, P))
        for y, x in np.mgrid[3:38:5, 3:38:5].reshape(2, -1).T * P:
            cv2.circle(dark, (int(x), int(y)), round(0.25 * P), 0.2, -1)
        cells += kept(dark, sure_level(dark, full, RIM.level, RIM, P))
    assert specks > 20  # there was something to keep out
    assert left < 10
    assert cells == pytest.approx(10 * 49, abs=10)


def test_without_cells_the_most_is_asked_but_no_more_than_the_deepest_have():
    dark = np.zeros((400, 400), np.float32)
    none = np.zeros(dark.shape, bool)
    most = sure_level(dark, none, RIM.level, RIM, P)
    assert most == pytest.approx(RIM.level + MOST * RIM.noise)
    pale = replace(RIM, deep=RIM.level + RIM.noise)
    assert sure_level(dark, none, RIM.level, pale, P) == pytest.approx(RIM.level + DEEP * RIM.noise)


def test_among_few_pieces_more_is_asked_of_each():
    asked = []
    for count in (400, 100, 25, 5):
        dark = np.zeros((400, 400), np.float32)
        cells = dark.reshape(20, 20, 20, 20)[:, 2:14, :, 2:14]
        cells[np.unravel_index(np.arange(count), (20, 20))[0], :,
              np.unravel_index(np.arange(count), (20, 20))[1]] = 0.3  # fmt: skip
        asked.append(sure_level(dark, np.ones(dark.shape, bool), RIM.level, RIM, P))
    steps = (np.array(asked) - RIM.level) / RIM.noise
    # four times fewer: ln 4 more times, up to the most
    assert steps[0] == pytest.approx(LEAST)
    assert np.diff(steps)[:2] == pytest.approx(FEWER * np.log(4), rel=1e-6)
    assert steps[3] == pytest.approx(MOST)


def test_on_a_face_of_few_cells_specks_do_not_make_the_median():
    # of 19 cells it found 20 and six specks more, which took three quarters off the median
    scene = crumbs.draw(6620051, "easy", cells="blobs", light="pit", px_per_mm=14)
    found = crumb(scene.photo, scene.scale, outline=scene.face_px, crust_mm=scene.crust_mm)
    assert found.cells_per_cm2.value == pytest.approx(scene.truth["cells_per_cm2"], rel=0.12)
    assert found.median_cell_mm2.value == pytest.approx(scene.truth["median_cell_mm2"], rel=0.25)
