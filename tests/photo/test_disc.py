"""A disc as the reference: drawn scenes of known truth, and scikit-image's coins."""

import math
from dataclasses import replace

import cv2
import numpy as np
import pytest
import shots
from scenes import LEVELS, Disc, Plain, Scene, ScenePhoto, look, render, true_mm_per_px

from kit.errors import DataError, InputError
from kit.photo.camera import Camera
from kit.photo.picture import read
from kit.photo.reference import scale
from kit.photo.references.ellipses import follow, see_ellipses
from kit.photo.side_view import side

SEED = 20261125
SMALL = (900, 675)


def face_error(found, scene):
    """Relative error of lengths about the face."""
    px = scene.px(scene.face_mm + np.array([[-12, -12], [12, 12], [-12, 12], [12, -12.0]]))
    return float(np.mean(found._lengths(px, None) / true_mm_per_px(scene, px))) - 1


@pytest.mark.parametrize("seed", [10, 13, 15])
def test_a_coin_standing_beside_a_piece(tmp_path, seed):
    """Near the rim of what is looked at some lines show no edge at all."""
    shot = shots.from_the_side(tmp_path / "coin.jpg", seed, beside="coin")
    photo = read(shot.path)
    found = scale(photo, "disc", diameter_mm=30, lies="upright", offset_mm=shots.OFFSET_MM)
    view = side(photo, found, "piece")
    assert abs(view.height_mm.value - shot.truth.height_mm) < 2.5 * view.height_mm.u
    assert view.height_mm.u < 0.03 * shot.truth.height_mm


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
    found = [e for e in see_ellipses(photo) if follow(photo, e) is not None]
    assert len(found) >= 22  # of 24; the others are chipped
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


def on_a_check(rim, tone, blur, tilt=15):
    """A coin on squares brighter and darker than it, its rim about as bright as their mean."""
    rng = np.random.default_rng([SEED, round(100 * rim), round(100 * tone)])
    fine, middle = 16, np.array([22.0, 20.0])
    y, x = (np.mgrid[: 40 * fine, : 44 * fine] + 0.5) / fine
    squares = np.where(np.floor(x / 7.3) % 2 == np.floor(y / 7.3) % 2, 0.62, 0.3)
    away = np.hypot(x - middle[0], y - middle[1])
    flat = np.where(away < 12.5, np.where(away > 11.25, rim, tone), squares).astype(np.float32)
    camera = Camera.of(*SMALL, 26.0)
    turn, shift = np.array([-math.radians(tilt), 0, 0]), np.array([0, 0, 90.0])

    def seen(mm):
        deep = np.column_stack([np.asarray(mm, float) - middle, np.zeros(len(mm))])
        return cv2.projectPoints(deep, turn, shift, camera.matrix, None)[0][:, 0]

    corners = np.array([[0, 0], [44, 0], [44, 40], [0, 40.0]])
    map_ = np.array([[2, 0, 0.5], [0, 2, 0.5], [0, 0, 1.0]])
    map_ = map_ @ cv2.findHomography(corners * fine - 0.5, seen(corners))[0]
    light = cv2.warpPerspective(flat, map_, (2 * SMALL[0], 2 * SMALL[1]), borderValue=0.3)
    light = cv2.GaussianBlur(cv2.resize(light, SMALL, interpolation=cv2.INTER_AREA), (0, 0), blur)
    light = np.clip(light + rng.normal(0, 0.01, SMALL[::-1]), 0, 1)
    pixels = np.round(255 * light ** (1 / 2.2)).astype(np.uint8)
    right, left, down, up = seen(middle + 0.5 * np.array([[1, 0], [-1, 0], [0, 1], [0, -1]]))
    true = 1 / math.sqrt(abs(np.linalg.det(np.stack([right - left, down - up]))))
    return ScenePhoto(np.dstack([pixels] * 3), 26.0), seen([middle]), true


@pytest.mark.parametrize(("rim", "tone"), [(0.48, 0.25), (0.45, 0.38), (0.7, 0.2), (0.2, 0.7)])
@pytest.mark.parametrize("blur", [0.7, 1.4])
def test_a_coin_brighter_than_its_ground_here_and_darker_there_is_followed_at_its_rim(
    rim, tone, blur
):
    # its inner ring, a tenth smaller, shows more clearly than its edge; measured 0.02 to 0.3 %
    photo, at, true = on_a_check(rim, tone, blur)
    found = scale(photo, "disc", diameter_mm=25, at=tuple(at[0]), lies="flat")
    assert found.mm_per_px_at(at)[0] == pytest.approx(true, rel=0.008)


@pytest.mark.parametrize(
    ("about", "message"),
    [
        ({"box": "here"}, "box is 'here': must be 4 numbers, in pixels."),
        ({"at": (1, 2, 3)}, r"at is \(1, 2, 3\): must be 2 numbers, in pixels."),
        ({"at": (np.nan, 2)}, r"at is \(nan, 2\): must be 2 numbers, in pixels."),
    ],
)
def test_a_place_that_is_none_is_said(about, message):
    with pytest.raises(InputError, match=message):
        scale(ScenePhoto(np.full((600, 800, 3), 128, np.uint8)), "disc", diameter_mm=25, **about)


def test_two_discs_are_not_chosen_between():
    camera = Camera.of(*SMALL, 26.0)
    level = replace(LEVELS["easy"], ground=0.02)
    things = [Disc(25.0, at=(-30, 0), relief=0.02), Disc(25.0, at=(30, 0), relief=0.02)]
    things.append(Plain((60, 52), at=(0, 60), bumps=0.04))
    pixels = render(np.random.default_rng(5), camera, look(camera, 3, 0, 4.0), things, level, SMALL)
    with pytest.raises(DataError, match=r"There are 2 round things in the picture"):
        scale(ScenePhoto(pixels, 26.0), "disc", diameter_mm=25)


def square_on(radius_px, tone, side_px=0.0, blur=1.2):
    """A disc, its side seen below and its shadow at the right; the picture and its px a mm."""
    fine, size, ground = 8, 240, 0.35
    y, x = (np.mgrid[: size * fine, : size * fine] + 0.5) / fine - 0.5 - size / 2
    side = np.hypot(x, np.clip(y, 0, None) - np.clip(y, 0, side_px)) < radius_px
    side &= (np.abs(x) < radius_px) & (y > 0)
    shadow = np.hypot(x - side_px, y - side_px) < radius_px
    light = np.where(side & (side_px > 0), 0.8 * tone, np.where(shadow, 0.4 * ground, ground))
    light = np.where(np.hypot(x, y) < radius_px, tone, light)
    light = light.reshape(size, fine, size, fine).mean((1, 3))
    light = cv2.GaussianBlur(light, (0, 0), blur)
    light = np.clip(light + np.random.default_rng(SEED).normal(0, 0.005, light.shape), 0, 1)
    pixels = np.round(255 * light ** (1 / 2.2)).astype(np.uint8)
    return ScenePhoto(np.dstack([pixels] * 3), 26.0), radius_px / 12.5


@pytest.mark.parametrize("side_px", [0.0, 2.0, 4.0])
def test_the_side_of_a_coin_lying_flat_is_in_its_uncertainty(side_px):
    # 25 mm wide, 2 mm thick, 60 pixels to its rim: seen from 0, 12 and 25 degrees off square-on
    # the side shows 0, 2 and 4 px, and the outline is up to half of that longer one way
    photo, per_mm = square_on(60.0, 0.65, side_px)
    found = scale(photo, "disc", diameter_mm=25, lies="flat")
    off = found.mm_per_px * per_mm - 1
    assert 0.02 <= found.u_size < 0.025
    assert abs(off) < 2 * found.u
    assert "its side and its shadow" in " ".join(found.notes)
    stands = scale(photo, "disc", diameter_mm=25, lies="upright")
    assert stands.u_size < 0.01
    assert side_px < 3 or off < -0.01  # without the share for the side more than its u_size


@pytest.mark.parametrize(("tone", "told"), [(0.7, False), (3.0, True)])
def test_a_coin_so_bright_that_it_shows_white_is_told(tone, told):
    # half of the white lies where the blurred light is a sixth of the coin's: 0.9 of its blur out
    photo, per_mm = square_on(45.0, tone, blur=1.4)
    found = scale(photo, "disc", diameter_mm=25, lies="upright")
    off = found.mm_per_px * per_mm - 1
    assert ("shows white" in " ".join(found.notes)) == told
    assert (off < -0.01) == told
    assert abs(off) < 2 * found.u_size
