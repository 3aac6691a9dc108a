"""Crumb of drawn faces against what was drawn; corrections; refusals; speed.

The quick tests take one face of each kind of cells; `-m long` draws fresh seeds, as many as
`KIT_CRUMB_SCENES` says (72 when not given), at the pixels to a millimetre that `KIT_CRUMB_PX`
says for easy, realistic and hard ("14,18,11"; a face that fills a phone's picture has 30), and
prints errors by kind and level.
"""

import os
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction
from math import gamma

import crumbs
import cv2
import numpy as np
import pytest
import relief
import shots

from kit.errors import DataError, InputError
from kit.photo import read, scale
from kit.photo.cut_face import crumb


@pytest.fixture(scope="module")
def plain():
    """Return an easy scene and its crumb."""
    scene = crumbs.draw(11, "easy", cells="discs", light="flat", ground="slate", px_per_mm=12.0)
    return scene, crumb(scene.photo, scene.scale)


#: Largest error allowed here: about three times the RMSE over 72 fresh faces a kind, so that a
#: false failure with these fixed seeds would take another version of a library.
@pytest.mark.parametrize(
    ("cells", "light", "level"),
    [
        ("discs", "flat", "hard"),
        ("ellipses", "pit", "easy"),
        ("field", "bowl", "easy"),
        ("foam", "flat", "realistic"),
        ("spheres", "pit", "easy"),
        ("blobs", "flat", "realistic"),
    ],
)
def test_openness_of_each_kind_of_cell(cells, light, level):
    scene = crumbs.draw(21, level, cells=cells, light=light, px_per_mm=13.0)
    found = crumb(scene.photo, scene.scale)
    assert found.openness.value == pytest.approx(scene.truth["openness"], abs=0.06)
    assert abs(found.openness.value - scene.truth["openness"]) < 3.5 * found.openness.u
    assert found.crumb_mm2.value == pytest.approx(scene.truth["crumb_mm2"], rel=0.03)
    if cells != "blobs":  # a handful of cells: one more or less is a tenth
        assert found.cells_per_cm2.value == pytest.approx(scene.truth["cells_per_cm2"], rel=0.25)


def test_flat_dark_holes_within_two_points(plain):
    scene, found = plain
    assert found.openness.value == pytest.approx(scene.truth["openness"], abs=0.02)
    assert found.cells_per_cm2.value == pytest.approx(scene.truth["cells_per_cm2"], rel=0.08)
    assert found.median_cell_mm2.value == pytest.approx(scene.truth["median_cell_mm2"], rel=0.06)
    assert found.rim.step > 0.7  # flat holes have a step at their edge


def test_what_is_told(plain):
    _, found = plain
    assert repr(found).startswith("<Crumb openness 0.")
    text = str(found)
    assert f"{100 * found.threshold:.1f} % darker than the wall near by" in text
    assert "cells of at least 0.10 mm² joined by edges" in text
    assert "12.0 pixels to a millimetre by marker" in text
    assert "another slice of the same piece would differ" in text
    frame = found.to_frame()
    assert list(frame.columns) == ["name", "value", "u", "unit", "slice_u"]
    assert set(found.openness.parts) == {"threshold", "method", "scale", "crust", "pale"}
    assert found.openness.u == pytest.approx(np.hypot.reduce([*found.openness.parts.values()]))
    assert "<strong>" in found._repr_html_()
    # though it holds pictures, which have no one answer to ==
    assert found == replace(found, mask=found.mask.copy())
    assert found != replace(found, mask=~found.mask)
    ax = found.plot()
    drawn = ax.images[1].get_array()
    assert drawn.count() == found.mask.sum()  # every cell pixel is shown, and no other


def test_mask_lies_where_the_holes_are(plain):
    scene, found = plain
    there = np.array([[crumbs.FINE, 0, -0.5], [0, crumbs.FINE, -0.5], [0, 0, 1]])
    to_plane = there @ np.linalg.inv(scene.scale.homography()) @ found.transform
    size = found.mask.shape[::-1]
    true = cv2.warpPerspective(scene.cells.astype(np.float32), to_plane, size,
                               flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP) > 0.5  # fmt: skip
    both = (true & found.mask).sum() / (true | found.mask).sum()
    assert both > 0.8


def test_corrections_count_again(plain):
    scene, found = plain
    higher = found.again(threshold=1.5 * found.threshold)
    assert higher.openness.value < found.openness.value
    assert higher.by_hand == ("threshold",)
    assert "Given by hand: threshold." in higher.method
    thick = higher.again(crust_mm=4.0)
    assert thick.crumb_mm2.value < found.crumb_mm2.value
    assert thick.threshold == higher.threshold  # what was given stays
    assert thick.by_hand == ("threshold", "crust")
    moved = found.again(outline=scene.face_px)
    assert moved.face_mm2.value == pytest.approx(scene.truth["face_mm2"], rel=0.005)
    same = crumb(scene.photo, scene.scale, outline=scene.face_px)
    assert same.openness.value == pytest.approx(moved.openness.value, abs=0.01)


@pytest.mark.parametrize("kind", [Decimal, Fraction, np.float32, np.array])
def test_numbers_of_any_kind_are_taken_as_plain_ones(plain, kind):
    given = plain[1].again(threshold=kind(0.25), crust_mm=kind(1.5))
    assert given.threshold == 0.25
    assert type(given.threshold) is float
    assert given.openness == plain[1].again(threshold=0.25, crust_mm=1.5).openness


def test_box_finds_the_same_face(plain):
    scene, found = plain
    low, high = scene.face_px.min(0) - 30, scene.face_px.max(0) + 30
    boxed = crumb(scene.photo, scene.scale, box=(*low, *high))
    assert boxed.face_mm2.value == pytest.approx(found.face_mm2.value, rel=0.01)


def test_a_slice_in_the_window_of_a_turned_card_is_found(tmp_path):
    # upright about the window of a turned card lies paper, which is no ground to tell it from
    face, scene = shots.cut_face()
    small = cv2.resize(face, None, fx=0.6, fy=0.6, interpolation=cv2.INTER_AREA)
    inside = np.ones_like(face) * small[:5].mean((0, 1))
    inside[208 : 208 + len(small), 224 : 224 + small.shape[1]] = small
    shots.on_card(tmp_path / "turned.jpg", inside, size=(2000, 1500), turned_deg=14.0)
    photo = read(tmp_path / "turned.jpg")
    found = crumb(photo, scale(photo, "card"))
    assert found.face_mm2.value == pytest.approx(0.36 * scene.truth["face_mm2"], rel=0.02)


def test_a_scan_needs_no_camera():
    scene = crumbs.draw(31, "easy", cells="field", light="pit", scanner=True, px_per_mm=12.0)
    found = crumb(scene.photo, scene.scale)
    assert found.sheet.kind == "scanner"
    assert found.openness.value == pytest.approx(scene.truth["openness"], abs=0.03)


def test_discs_drawn_by_hand_in_closed_form():
    # 8 × 5 discs of 0.9 mm radius on a 3 mm grid, flat and dark, on a face of known area
    px, side = 14.0, (52.0, 40.0)
    height, width = int(side[1] * px), int(side[0] * px)
    y, x = (np.mgrid[:height, :width] + 0.5) / px
    picture = np.full((height, width, 3), 25, np.uint8)
    face = ((x - 26) / 17) ** 4 + ((y - 20) / 11.5) ** 4 < 1
    picture[face] = (222, 205, 170)
    inside = (abs(x - 26) < 12) & (abs(y - 20) < 7.5)
    hole = inside & (np.hypot((x - 26) % 3 - 1.5, (y - 20 - 7.5) % 3 - 1.5) < 0.9)
    picture[hole] = (95, 85, 70)
    found = crumb(read(picture), crumbs.flat_scale(px), crust_mm=0.0)
    area = 17 * 11.5 * 4 * gamma(1.25) ** 2 / gamma(1.5)  # of a superellipse of power 4
    openness = 40 * np.pi * 0.9**2 / area
    assert found.cells == 40
    assert found.openness.value == pytest.approx(openness, abs=0.006)
    assert found.median_cell_mm2.value == pytest.approx(np.pi * 0.9**2, rel=0.04)
    assert found.face_mm2.value == pytest.approx(area, rel=0.01)


@pytest.mark.parametrize("px", [8.0, 11.0])
def test_thin_walls_part_cells_however_few_pixels_there_are(px):
    # 10 × 6 square cells of 2 mm with walls of 0.2 mm between, drawn six times finer
    fine, side = 6, (46.0, 30.0)
    y, x = (np.mgrid[: int(side[1] * px * fine), : int(side[0] * px * fine)] + 0.5) / (px * fine)
    picture = np.full((*x.shape, 3), 25.0, np.float32)
    picture[((x - 23) / 19) ** 6 + ((y - 15) / 12) ** 6 < 1] = (222, 205, 170)
    inside = (abs(x - 23) < 10) & (abs(y - 15) < 6)
    cell = inside & (abs((x - 23) % 2 - 1) < 0.9) & (abs((y - 15) % 2 - 1) < 0.9)
    picture[cell] = (130, 115, 90)
    picture = cv2.GaussianBlur(picture, (0, 0), 0.13 * px * fine)
    picture = cv2.resize(picture, None, fx=1 / fine, fy=1 / fine, interpolation=cv2.INTER_AREA)
    picture += 3 * np.random.default_rng(6).standard_normal(picture.shape)
    found = crumb(read(np.clip(picture, 0, 255).astype(np.uint8)), crumbs.flat_scale(px),
                  crust_mm=0.0)  # fmt: skip
    assert found.cells == 60
    assert f"{px:.1f} pixels to a millimetre" in found.method  # of the photo, not of the masks
    (told,) = (c for c in found.checks if "hardly show" in c)
    assert "without those there would be 0." in told  # one cell of 240 mm²


def test_refusals_say_what_to_do(plain):
    scene, _ = plain
    coarse = crumbs.flat_scale(2.0)
    with pytest.raises(DataError, match=r"2\.0 pixels to a millimetre .* from nearer by"):
        crumb(read(np.asarray(scene.photo.pixels)[::6, ::6].copy()), coarse)
    with pytest.raises(DataError, match="no cut face stands out"):
        crumb(read(np.full((400, 500, 3), 200, np.uint8)), crumbs.flat_scale(8.0))
    flat = np.full((480, 640, 3), 30, np.uint8)
    flat[100:380, 120:520] = (220, 200, 160)
    with pytest.raises(DataError, match="light and dark hardly differ"):
        crumb(read(flat), crumbs.flat_scale(12.0), crust_mm=0.0)
    drawn = [[60, 60], [580, 60], [580, 420], [60, 420]]
    with pytest.raises(DataError, match="light and dark hardly differ"):
        crumb(read(np.zeros((480, 640, 3), np.uint8)), crumbs.flat_scale(12.0), outline=drawn)


@pytest.mark.parametrize(
    ("wrong", "message"),
    [
        ({"threshold": 1.5}, r"threshold is 1\.5: must lie between 0 and 1\. For example 0\.12\."),
        ({"threshold": "0.2"}, r"threshold is '0\.2': must lie between 0 and 1"),
        ({"crust_mm": "1,5"}, r"crust_mm is '1,5': must lie between 0 and 20 mm\."),
        ({"crust_mm": -1}, r"crust_mm is -1: must lie between 0 and 20 mm\."),
        ({"box": (5, 5, 5, 9)}, r"box is \(5, 5, 5, 9\): must be \(x0, y0, x1, y1\)"),
        ({"box": (9000, 9000, 9900, 9900)}, "must lie in the picture"),
        ({"outline": [(1, 2), (3, 4)]}, "must be at least three points"),
    ],
)
def test_what_cannot_be_is_refused(plain, wrong, message):
    scene, _ = plain
    with pytest.raises(InputError, match=message):
        crumb(scene.photo, scene.scale, **wrong)


def test_a_blurred_picture_says_what_it_hides_and_what_to_do(plain):
    _, sharp = plain
    assert not any("run together" in check for check in sharp.checks)
    assert not any("hardly show" in check for check in sharp.checks)
    scene = crumbs.draw(12, "hard", cells="discs", light="flat", ground="slate", px_per_mm=11.0)
    (told,) = (c for c in crumb(scene.photo, scene.scale).checks if "run together" in c)
    assert "nothing finer than about 0.4 mm" in told
    assert told.endswith("from nearer by, so that it fills the picture")


#: Openness in points, cells/cm² and median cell in %, by level.
LIMITS = {"easy": (3.5, 9.0, 20.0), "realistic": (3.5, 10.0, 20.0), "hard": (6.5, 24.0, 30.0)}
UNDER_A_LAMP = {
    "easy": (7.5, 24.0, 16.0),
    "realistic": (4.5, 34.0, 18.0),
    "hard": (6.5, 36.0, 26.0),
}
NAMES = ("openness", "cells_per_cm2", "median_cell_mm2")


def misses(scene, found):
    """Return the errors in percent (openness in points) and which intervals hold the truth."""
    off = np.array([found.values[n].value - scene.truth[n] for n in NAMES])
    held = np.abs(off) < 1.96 * np.array([found.values[n].u for n in NAMES])
    return 100 * off / [1.0, *(scene.truth[n] for n in NAMES[1:])], held


def told(rows):
    """Print errors and coverage by group of (groups, errors, held); return the RMSE of each."""
    rmse = {}
    for group in dict.fromkeys(g for groups in zip(*(r[0] for r in rows), strict=True)
                               for g in groups):  # fmt: skip
        offs = np.array([off for groups, off, _ in rows if group in groups])
        rmse[group] = np.sqrt(np.square(offs).mean(0))
        held = np.mean([held for groups, _, held in rows if group in groups], axis=0)
        print(f"{group:10} RMSE of openness {rmse[group][0]:.1f} points, cells/cm² "
              f"{rmse[group][1]:.0f} %, median {rmse[group][2]:.0f} %; half of the errors below "
              f"{np.median(np.abs(offs), 0).round(1)}; bias {offs.mean(0).round(1)}; 95 % "
              f"intervals hold {held.round(2)}")  # fmt: skip
    return rmse


@pytest.mark.long
def test_errors_and_coverage_on_fresh_seeds():
    """Print errors by level, kind and light; fail beyond about 1.5 × what was found.

    Found in November 2026, easy, realistic and hard, on seeds from 1340000: openness 2.0, 1.8 and
    2.6 points, cells/cm² 5, 4 and 17 %, median cell 11, 7 and 12 %, all outlines within 1 %. What
    is far off in cells is mostly labyrinths and spheres that touch, in medians blobs: some ten
    large cells a face, where one cell more moves the median.
    With 24 faces a level an RMSE strays by a seventh (1 in √48) where errors are normal; a few
    faces carry it here, so that fresh seeds may fail now and then.
    """
    count = int(os.environ.get("KIT_CRUMB_SCENES", "72"))
    start = int(os.environ.get("KIT_CRUMB_SEED", "500000"))
    px = [float(p) for p in os.environ.get("KIT_CRUMB_PX", "14,18,11").split(",")]
    rows, faces = [], []
    for i in range(count):
        level = list(crumbs.LEVELS)[i % 3]
        kind = crumbs.CELLS[i // 3 % 6]
        light = crumbs.LIGHTS[i // 18 % 4]
        scene = crumbs.draw(start + i, level, cells=kind, light=light, px_per_mm=px[i % 3])
        try:
            found = crumb(scene.photo, scene.scale)
        except DataError as exc:
            print(f"refused: seed {start + i}, {scene.names}: {exc}")
            faces.append(np.inf)
            continue
        rows.append(((level, kind, light), *misses(scene, found)))
        faces.append(np.sqrt(found.face_mm2.value / scene.truth["face_mm2"]) - 1)
    rmse = told(rows)
    print(f"face within 1 %: {np.mean(np.abs(faces) < 0.01):.2f}")
    for level, limits in LIMITS.items():
        assert (rmse[level] < limits).all(), (level, rmse[level])
    assert (np.mean([held for *_, held in rows], axis=0) > 0.9).all()
    assert np.mean(np.abs(faces) < 0.01) > 0.85


@pytest.mark.long
def test_errors_and_coverage_under_a_lamp():
    """Print errors on bubbles in space, lit in relief (`relief`); outline and crust are given.

    Found on seeds from 1340000 (November 2026), easy, realistic and hard: openness 5.6, 2.6 and
    3.1 points, cells/cm² 14, 13 and 18 %, median cell 11, 12 and 15 %: lit slopes look like wall,
    walls between a lit and a dark slope are not seen, and shallow cells are lost. Where the light
    leans, it is said, and the intervals are wider (`side_light`).
    """
    start = int(os.environ.get("KIT_CRUMB_SEED", "500000"))
    rows = []
    for i in range(int(os.environ.get("KIT_CRUMB_SCENES", "72")) // 3):
        level = list(relief.LEVELS)[i % 3]
        scene = relief.draw(start + i, level)
        found = crumb(scene.photo, scene.scale, outline=scene.face_px, crust_mm=scene.crust_mm)
        rows.append(((level,), *misses(scene, found)))
    rmse = told(rows)
    for level, limits in UNDER_A_LAMP.items():
        assert (rmse[level] < limits).all(), (level, rmse[level])
    assert (np.mean([held for *_, held in rows], axis=0) > 0.85).all()
