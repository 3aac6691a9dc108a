"""A disc as the reference: drawn scenes of known truth, and scikit-image's coins."""

import math
from dataclasses import replace

import cv2
import numpy as np
import pytest
from scenes import LEVELS, Disc, Plain, Scene, ScenePhoto, look, render, true_mm_per_px

from kit.errors import DataError
from kit.photo.camera import Camera
from kit.photo.ellipses import follow, see_ellipses
from kit.photo.reference import scale

SEED = 20261125
SMALL = (900, 675)


def face_error(found, scene):
    """Relative error of lengths about the face."""
    px = scene.px(scene.face_mm + np.array([[-12, -12], [12, 12], [-12, 12], [12, -12.0]]))
    return float(np.mean(found._lengths(px, None) / true_mm_per_px(scene, px))) - 1


def test_disc_takes_the_tilt_from_its_ellipse():
    rng = np.random.default_rng([SEED, 3])
    camera = Camera.of(*SMALL, 26.0)
    pose = look(camera, 32, 0, 4.5)  # tipped about the picture's x axis: the upper side is farther
    if pose.rotation[1, 2] < 0:
        pose = look(camera, -32, 0, 4.5)
    level = replace(LEVELS["easy"], ground=0.03)
    pixels = render(rng, camera, pose, [Disc(25.0, tone=0.7, rim=0.75, relief=0.03)], level, SMALL)
    scene = Scene(ScenePhoto(pixels, 26.0), camera, pose, np.array([40.0, 0.0]), 0.0)
    found = scale(scene.photo, "disc", diameter_mm=25, lies="flat")
    assert found.pose.tilt_deg == pytest.approx(32, abs=2)
    assert abs(face_error(found, scene)) < 0.01
    stands = scale(scene.photo, "disc", diameter_mm=25, lies="upright")
    assert stands.pose.rotation[1, 2] * found.pose.rotation[1, 2] < 0
    said = scale(scene.photo, "disc", diameter_mm=25)
    assert "does not tell which side of it is farther" in " ".join(said.notes)


def coins(times=4):
    data = pytest.importorskip("skimage.data")
    picture = cv2.resize(data.coins(), None, fx=times, fy=times, interpolation=cv2.INTER_CUBIC)
    return ScenePhoto(np.dstack([picture] * 3))


def test_coins_of_scikit_image_have_the_size_segmentation_gives_them():
    # scikit-image's `coins` (Greek coins from Pompeii, ships with the wheel), enlarged four times;
    # outside: its threshold_otsu about each coin and regionprops' equivalent diameter
    from scipy.ndimage import binary_fill_holes
    from skimage.filters import threshold_otsu
    from skimage.measure import label, regionprops

    photo = coins()
    found = see_ellipses(photo)
    assert len(found) >= 18  # of 24; the others are chipped
    ratios = []
    for e in found:
        ellipse, points, _ = follow(photo, e)
        assert len(points) > 80
        x, y, r = *(round(v) for v in e.centre), round(1.35 * e.long_px)
        part = photo.pixels[max(0, y - r) : y + r, max(0, x - r) : x + r, 0]
        mask = binary_fill_holes(part > threshold_otsu(part))
        largest = max(regionprops(label(mask)), key=lambda region: region.area)
        own = 2 * math.sqrt(ellipse.long_px * ellipse.short_px)
        ratios.append(own / largest.equivalent_diameter_area)
    assert np.median(np.abs(np.array(ratios) - 1)) < 0.02
    assert abs(np.median(ratios) - 1) < 0.015


def test_among_many_coins_it_asks_which():
    photo = coins()
    with pytest.raises(DataError, match=r"There are \d+ round things .* Say which is meant: point"):
        scale(photo, "disc", diameter_mm=22)
    chosen = scale(photo, "disc", diameter_mm=22, at=(1340, 174))
    assert np.linalg.norm(chosen.outline.mean(0) - [1340, 174]) < 30


def test_two_discs_are_not_chosen_between():
    camera = Camera.of(*SMALL, 26.0)
    level = replace(LEVELS["easy"], ground=0.02)
    things = [Disc(25.0, at=(-30, 0), relief=0.02), Disc(25.0, at=(30, 0), relief=0.02)]
    things.append(Plain((60, 52), at=(0, 60), bumps=0.04))
    pixels = render(np.random.default_rng(5), camera, look(camera, 3, 0, 4.0), things, level, SMALL)
    with pytest.raises(DataError, match=r"There are 2 round things in the picture"):
        scale(ScenePhoto(pixels, 26.0), "disc", diameter_mm=25)
