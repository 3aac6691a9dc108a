"""Counting on a mask: against closed forms, scikit-image and porespy."""

import numpy as np
import pytest

from kit.errors import InputError
from kit.photo.crumbs.cells import (
    FRINGE_MM,
    SMALLEST_MM2,
    find_cells,
    seen_share,
    tile_openness,
    wall_chord,
    with_fringe,
)  # fmt: skip
from kit.photo.crumbs.darkness import Rim
from kit.photo.crumbs.figures import DOUBT, values_of
from kit.photo.crumbs.seen_cells import SeenCells
from kit.photo.value import Value

P = 20.0


def grid_of_discs(radius_mm, pitch_mm, count=6, px_per_mm=P):
    """Return the mask of a square grid of discs, each pixel open where its centre is."""
    side = int(count * pitch_mm * px_per_mm)
    y, x = (np.mgrid[:side, :side] + 0.5) / px_per_mm % pitch_mm - pitch_mm / 2
    return x**2 + y**2 < radius_mm**2


@pytest.mark.parametrize("radius", [0.4, 0.8, 1.3])
def test_openness_and_number_of_discs_in_closed_form(radius):
    mask = grid_of_discs(radius, 3.0, px_per_mm=50.0)
    cells = find_cells(mask, np.ones_like(mask), 50.0)
    assert cells.openness == pytest.approx(np.pi * radius**2 / 9.0, rel=0.02)
    assert cells.per_cm2 == pytest.approx(100 / 9.0)
    assert cells.area_at(0.5) == pytest.approx(np.pi * radius**2, rel=0.02)
    assert cells.shape[0] == pytest.approx(1.0, abs=0.01)


def test_chord_of_stripes_in_closed_form():
    # stripes of wall 6 px wide every 15 px: 6 along rows, the whole height along columns; the
    # mean over both kinds of runs is 2·area / (runs along rows + runs along columns)
    wall = np.zeros((150, 300), bool)
    wall[:, np.arange(300) % 15 < 6] = True
    rows, columns = 150 * 20, 20 * 6
    assert wall_chord(wall) == pytest.approx(2 * wall.sum() / (rows + columns))
    assert np.isnan(wall_chord(~np.ones((5, 5), bool)))


def test_ellipse_has_its_aspect_and_direction():
    y, x = (np.mgrid[:200, :200] - 99.5) / P
    for degrees in (0.0, 30.0, 90.0, 150.0):
        t = np.radians(degrees)
        # upright is up: y of a picture points down
        along, across = x * np.cos(t) - y * np.sin(t), x * np.sin(t) + y * np.cos(t)
        mask = (along / 3.0) ** 2 + (across / 1.2) ** 2 < 1
        aspect, direction = find_cells(mask, np.ones_like(mask), P).shape
        assert aspect == pytest.approx(2.5, rel=0.01)
        assert abs((direction - degrees + 90) % 180 - 90) < 0.5


def test_areas_are_those_of_scikit_image_on_random_media():
    from skimage.measure import label, regionprops_table

    rng = np.random.default_rng(4)
    mask = rng.random((160, 220)) < 0.55
    cells = find_cells(mask, np.ones_like(mask), P, smallest_mm2=5 / P**2)
    area = regionprops_table(label(mask, connectivity=1), properties=("area",))["area"]
    assert np.allclose(np.sort(cells.area_mm2 * P**2), np.sort(area[area >= 5]))


def test_sizes_without_blur_are_those_of_numpy():
    rng = np.random.default_rng(6)
    mask = rng.random((160, 220)) < 0.55
    cells = find_cells(mask, np.ones_like(mask), P, smallest_mm2=5 / P**2)
    for share in (0.1, 0.5, 0.9):
        assert cells.area_at(share) == pytest.approx(np.quantile(cells.area_mm2, share))
    assert cells.mean_mm2 == pytest.approx(cells.area_mm2.mean())
    assert cells.per_cm2 == pytest.approx(100 * len(cells.area_mm2) / cells.crumb_mm2)


def test_seen_share_is_what_blur_leaves_in_the_middle_of_a_disc():
    from scipy.ndimage import gaussian_filter

    y, x = (np.mgrid[:201, :201] - 100) / 100.0
    for radius, blur in ((0.18, 0.15), (0.3, 0.2), (0.5, 0.1)):
        disc = (np.hypot(x, y) < radius).astype(float)
        left = gaussian_filter(disc, blur * 100, truncate=6)[100, 100]
        share = seen_share(np.array([np.pi * radius**2]), blur)[0]
        assert share == pytest.approx(left, abs=0.01)


def seen(found, blur_mm):
    """Cells of which threshold, walls and pale ones leave no doubt."""
    rim = Rim(0.2, 0.01, 0.5, blur_mm, 0.0, 0.01, 0.5)
    return SeenCells(found, found, found, rim, 0.2, 0.0, 0.0, found, found, 0)


@pytest.mark.parametrize(("passage_mm", "more"), [(0.0, 0), (0.2, 8), (0.6, 0)])
def test_cells_joined_by_narrow_passages_may_be_more_and_the_number_says_so(passage_mm, more):
    mask, full = np.zeros((320, 400), bool), np.ones((320, 400), bool)
    for y in range(20, 320, 80):
        for x in range(20, 400, 80):
            mask[y : y + 30, x : x + 30] = True
        wide = round(passage_mm * P)
        for x in (20, 180):  # two pairs in each row
            mask[y + 15 - wide // 2 : y + 15 - wide // 2 + wide, x + 30 : x + 80] = True
    found = find_cells(mask, full, P)
    assert len(found.area_mm2) == (20 if not passage_mm else 12)
    parted = found.at_necks()
    assert len(parted.area_mm2) == len(found.area_mm2) + more
    assert parted.area_mm2.sum() == pytest.approx(found.area_mm2.sum())
    values = values_of(seen(found, 0.1), full, full, Value(0.0, 0.002, ""))
    number, largest = values["cells_per_cm2"], values["largest_cell_mm2"]
    assert number.parts["necks"] == pytest.approx(0.5 * more / 12 * number.value)
    # a pair and its passage are two halves
    halved = largest.value / 2 if more else 0.0
    assert largest.parts["necks"] == pytest.approx(halved, rel=0.01)


def test_cells_that_stay_stand_for_those_that_are_lost():
    # squares of 0.09 to 1 mm², of which each is kept as likely as it is seen
    rng = np.random.default_rng(8)
    mask = np.zeros((1000, 1000), bool)
    sides = rng.integers(7, 20, (40, 40))
    area = sides**2 / P**2
    kept = rng.random(area.shape) < seen_share(area.ravel(), 0.15).reshape(area.shape)
    for i, j in np.argwhere(kept):
        mask[25 * i : 25 * i + sides[i, j], 25 * j : 25 * j + sides[i, j]] = True
    full, known = np.ones_like(mask), area[area >= SMALLEST_MM2]
    plain, made_up = (find_cells(mask, full, P, blur) for blur in (0.0, 0.15))
    true = 100 * len(known) / plain.crumb_mm2
    # of 1600 cells about a sixth are lost: the sum of weights strays by some 1.5 %
    assert plain.per_cm2 < 0.9 * true
    assert made_up.per_cm2 == pytest.approx(true, rel=0.05)
    assert made_up.mean_mm2 == pytest.approx(known.mean(), rel=0.05)
    assert abs(made_up.area_at(0.3, made_up=True) - np.quantile(known, 0.3)) < 0.03
    assert plain.area_at(0.3) - np.quantile(known, 0.3) > 0.03
    assert made_up.openness == plain.openness  # what is open was seen or was not
    # ranked by size each cell found counts once, and what that may hide is in the uncertainty
    assert made_up.area_at(0.5) == np.median(plain.area_mm2)
    values = values_of(seen(made_up, 0.15), full, full, Value(0.0, 0.002, ""))
    median, other = values["median_cell_mm2"], made_up.area_at(0.5, made_up=True)
    assert median.value == np.median(plain.area_mm2)
    assert median.parts["blur"] == pytest.approx(DOUBT["blur"] * (median.value - other))
    assert median.parts["blur"] > 0


def test_openness_of_slices_is_the_porosity_of_porespys_medium():
    # Delesse: on the mean, the share of area in slices is the share of volume
    from porespy.generators import blobs

    medium = blobs([30, 90, 90], porosity=0.42, blobiness=1.0, seed=3)
    full = np.ones((90, 90), bool)
    slices = [find_cells(s, full, P, smallest_mm2=0.0).openness for s in medium]
    assert np.mean(slices) == pytest.approx(medium.mean(), abs=1e-12)
    assert np.std(slices) > 0.01  # one slice is not the piece


def test_chords_are_those_of_porespy():
    # porespy lays chords on every second line; over 400 lines the mean is that of all lines
    from porespy.filters import apply_chords
    from scipy.ndimage import label

    wall = np.asarray(medium_of(400, 0.5), bool)
    lengths = []
    for axis, joined in ((0, [[0, 1, 0]] * 3), (1, [[0, 0, 0], [1, 1, 1], [0, 0, 0]])):
        chords = apply_chords(wall, spacing=1, axis=axis, trim_edges=False)
        own, count = label(chords, structure=joined)
        lengths.append(np.bincount(own.ravel())[1 : count + 1])
    assert wall_chord(wall) == pytest.approx(np.concatenate(lengths).mean(), rel=0.02)


def medium_of(side, porosity):
    """Return a random medium of porespy."""
    from porespy.generators import blobs

    return blobs([side, side], porosity=porosity, blobiness=2.0, seed=1)


def test_a_corner_joins_nothing_and_what_is_small_is_wall():
    mask = np.zeros((60, 60), bool)
    mask[10:20, 10:20] = mask[20:30, 20:30] = True
    mask[50:52, 50:52] = True  # 0.01 mm²
    cells = find_cells(mask, np.ones_like(mask), P)
    assert len(cells.area_mm2) == 2
    assert cells.mask.sum() == 200
    assert (cells.area_mm2 >= SMALLEST_MM2).all()


def test_cells_at_the_edge_count():
    crumb = np.zeros((80, 80), bool)
    crumb[20:60, 20:60] = True
    mask = np.zeros_like(crumb)
    mask[10:30, 30:40] = True  # half of it outside
    mask[45:55, 45:55] = True
    cells = find_cells(mask, crumb, P)
    assert cells.area_mm2.tolist() == [100 / P**2, 100 / P**2]
    assert cells.openness == pytest.approx(200 / 1600)


def test_specks_and_fringes_hold_nothing_sure():
    crumb = np.ones((60, 60), bool)
    mask = np.zeros_like(crumb)
    mask[20:40, 20:40] = True
    mask[:4, 10:50] = True
    core = np.zeros_like(crumb)
    core[8:-8, 8:-8] = True
    assert len(find_cells(mask, crumb, P).area_mm2) == 2
    assert len(find_cells(mask, crumb, P, sure=core).area_mm2) == 1
    assert len(find_cells(mask, crumb, P, sure=~core).area_mm2) == 1


def test_pieces_left_out_at_the_edge_are_made_up_for():
    # discs strewn on 24 crumbs of 40 × 30 mm, cut by its edge: all against those that
    # reach further in and what edges drawn inside say of the others
    import cv2

    crumb = np.ones((600, 800), bool)
    depth = cv2.distanceTransform(np.pad(crumb, 1).view(np.uint8), cv2.DIST_L2, 5)[1:-1, 1:-1]
    lost, made_up = np.zeros((2, 24)), np.zeros((2, 24))  # number, and area in mm²
    for seed in range(24):
        rng = np.random.default_rng(seed)
        mask = np.zeros(crumb.shape, np.uint8)
        for at in rng.uniform(-0.05, 1.05, (500, 2)) * (800, 600):
            cv2.circle(mask, tuple(int(v) for v in at), int(rng.uniform(5, 16)), 1, -1)
        every = find_cells(mask > 0, crumb, P)
        found = find_cells(mask > 0, crumb, P, sure=depth > FRINGE_MM * P)
        (found,) = with_fringe([found], depth)
        number, area = len(found.area_mm2), found.area_mm2.sum()
        lost[:, seed] = len(every.area_mm2) - number, every.area_mm2.sum() - area
        made_up[:, seed] = 12 * found.per_cm2 - number, found.openness * found.crumb_mm2 - area
    assert lost[0].sum() > 100
    # some 140 pieces by chance, so that their number strays by a twelfth
    assert made_up.sum(1) == pytest.approx(lost.sum(1), rel=0.25)


def test_tiles_need_seven_tenths_of_crumb():
    crumb = np.zeros((45, 45), bool)
    crumb[:, :33] = True  # at 2 px/mm: 10 mm tiles of 20 px, the second column 65 % full
    cells = np.zeros_like(crumb)
    cells[:20, :10] = True
    tiles = tile_openness(cells, crumb, 2.0)
    assert tiles.tolist() == [0.5, 0.0]


def test_tiles_that_end_with_the_crumb():
    # the start of a last, empty tile, rounded, falls on the end
    crumb = np.ones((30, 652), bool)
    tiles = tile_openness(~crumb, crumb, 1.0, tile_mm=651.8)
    assert tiles.tolist() == []
    assert set(tile_openness(crumb, crumb, 1.0, tile_mm=29.8)) == {1.0}


def test_nothing_open_and_nothing_at_all():
    full = np.ones((30, 30), bool)
    empty = find_cells(~full, full, P)
    assert empty.openness == 0
    assert empty.per_cm2 == 0
    assert np.isnan(empty.area_at(0.5))
    assert np.isnan(empty.shape[0])
    with pytest.raises(InputError, match="must hold at least one pixel"):
        find_cells(full, ~full, P)
    with pytest.raises(InputError, match=r"must be as large as the mask, \(30, 30\)"):
        find_cells(full, full[:10], P)
