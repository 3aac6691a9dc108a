"""From light to cells: what a passage that looks shut does to the number of cells and its u."""

import cv2
import numpy as np
import pytest

from kit.errors import DataError
from kit.photo.crumbs.figures import values_of
from kit.photo.crumbs.seen_cells import see_cells
from kit.photo.value import Value

P, BLUR_MM = 14.0, 0.08
#: Lighter than the darkness at a cell's edge, darker than the wall's noise.
SHADE = 0.07


def pairs_of_chambers(shade, wide_mm=0.2):
    """Return light and crumb: 14 × 6 bowls of 1.8 mm, passages as dark as `shade` between pairs."""
    rng = np.random.default_rng(8)
    y, x = (np.mgrid[: int(24 * P), : int(46 * P)] + 0.5) / P
    crumb = (abs(x - 23) < 21.6) & (abs(y - 12) < 10.5)
    across, down = (x - 2) % 3 - 1.5, (y - 1.5) % 3.5 - 1.75
    bowl = crumb & (np.hypot(across, down) < 0.9)
    passage = ~bowl & (x > 3.5) & (x < 42.5) & (abs(down) < wide_mm / 2) & ((x - 3.5) % 6 < 3)
    depth = cv2.distanceTransform(bowl.astype(np.uint8), cv2.DIST_L2, 5) / P
    light = 0.6 * (1 - 0.5 * (1 - np.exp(-depth / 0.3)) - shade * passage)
    light = cv2.GaussianBlur(light.astype(np.float32), (0, 0), BLUR_MM * P)
    light += (0.006 * rng.standard_normal(light.shape)).astype(np.float32)
    return light, crumb


def counted(shade, wide_mm=0.2):
    light, crumb = pairs_of_chambers(shade, wide_mm)
    cells = see_cells(light, crumb, P, P, float("nan"))
    values = values_of(cells, crumb, crumb, Value(0.0, 0.002, ""))
    return cells, values["cells_per_cm2"]


def test_cells_clear_of_the_edge_are_as_many_as_there_are():
    # no piece lies beside the edge: nothing is made up for, though edges drawn further in cut some
    cells, number = counted(0.0)
    assert len(cells.found.area_mm2) == 84
    assert number.value == pytest.approx(100 * 84 / cells.found.crumb_mm2)
    assert number.parts["walls"] == 0


def test_crust_that_fades_into_the_crumb_is_no_cell():
    light, crumb = pairs_of_chambers(0.0)
    depth = cv2.distanceTransform(crumb.astype(np.uint8), cv2.DIST_L2, 5) / P
    y, x = (np.mgrid[: len(light), : light.shape[1]] + 0.5) / P
    # dark at the edge only, but for a millimetre open: between the first row of bowls and the edge
    tongue = (depth < 1.0) & (y < 4) & (abs((x - 2) % 3) < 0.5)
    fades = 0.3 * np.exp(-depth / 0.12) + 0.088
    light = np.where(tongue, 0.6 * (1 - fades), light).astype(np.float32)
    cells = see_cells(light, crumb, P, P, float("nan"))
    assert len(cells.found.area_mm2) == 84


def test_passages_that_look_shut_are_in_the_uncertainty():
    cells, number = counted(SHADE)
    true = 100 * 42 / cells.found.crumb_mm2
    assert len(cells.found.area_mm2) == 81  # narrow passages: 39 of 42 look shut
    assert len(cells.whole.area_mm2) == 43  # and 1 does by the lower threshold
    assert cells.level - cells.rim.u < SHADE < cells.level
    low, high = number.interval(0.95)
    assert low < true < high


def test_a_passage_as_wide_as_a_cell_is_seen_however_pale():
    cells, _ = counted(SHADE, 0.5)
    assert len(cells.found.area_mm2) == 42


def test_no_cells_at_all_are_refused():
    light, crumb = pairs_of_chambers(0.0)
    with pytest.raises(DataError, match=r"light and dark hardly differ .* photograph it sharp"):
        see_cells(np.full_like(light, 0.6), crumb, P, P, float("nan"))
