"""A file that says nothing of its lens, or hardly: wide, main or long, u must cover it.

Focal lengths of phones, 35 mm equivalent (common practice, no source): 13, 24 to 28, 48 to 52,
65 to 120. Seeds are fixed; tolerances leave at least a factor 1.5.
"""

import math
from dataclasses import replace

import numpy as np
import pytest
import solids
from scenes import LEVELS, Disc, Marker, ScenePhoto, look, render

from kit.photo.camera import EXIF_FOCAL_U, USUAL_FOCAL_U, Camera, Pose
from kit.photo.reference import scale
from kit.photo.sides import fit as side_fit
from kit.photo.sides import stand as side_stand
from kit.photo.sides.solid_fit import fit_solid
from kit.photo.sides.solid_profile import RoundProfile

SIZE = (1200, 900)


def standing(lens, tilt_deg, told=None):
    """A marker of 40 mm so far off square-on, by a lens; its scale, 20 mm before the axis."""
    camera = Camera.of(*SIZE, lens)
    pose = look(camera, tilt_deg, 20.0, 5.0, 3.0)
    light = replace(LEVELS["easy"], k1=0.0)
    pixels = render(np.random.default_rng(4), camera, pose, [Marker(5, 40.0)], light, SIZE)
    found = scale(ScenePhoto(pixels, told), "marker", id=5, side_mm=40, offset_mm=20.0)
    return camera, pose, found


@pytest.mark.parametrize("lens", [35.0, 77.0])
def test_perspective_tells_the_lens_where_the_file_does_not(lens):
    camera, _, found = standing(lens, 22.0)
    off = math.log(found.camera.focal_px / camera.focal_px)
    assert abs(off) < 3 * found.camera.u_focal
    assert found.camera.u_focal < 0.12


@pytest.mark.parametrize("lens", [24.0, 50.0])
def test_what_stands_before_a_marker_seen_square_on_is_unsure_by_the_lens(lens):
    camera, pose, found = standing(lens, 0.5)
    assert found.camera.u_focal > 0.3
    assert "tells it only" in str(found)
    middle = camera.project(pose.shift[None])
    true = (pose.shift[2] - 20.0) / camera.focal_px
    off = found.mm_per_px_at(middle)[0] / true - 1
    u = found.u_at(middle)
    assert abs(off) < 1.96 * u.u
    assert u.parts["lens"] > 0.6 * u.u
    # in its own plane the lens hardly matters
    assert found.mm_per_px_at(middle, 0.0)[0] == pytest.approx(0.2, rel=0.003)
    assert found.u_at(middle, 0.0).u < 0.003


def test_a_lens_that_was_told_is_believed():
    _, _, found = standing(26.0, 22.0, told=26.0)
    assert found.camera.u_focal == EXIF_FOCAL_U
    usual = Camera.of(*SIZE)
    assert usual.u_focal == USUAL_FOCAL_U
    assert usual.any_lens.u_focal > 3 * USUAL_FOCAL_U
    assert found.camera.any_lens == found.camera


@pytest.mark.parametrize("size", [(4000, 2250), (3000, 3000), (2250, 4000), (4000, 2667)])
def test_a_picture_cut_from_the_sensor_may_not_say_so(size):
    """Phones' sensors are 4:3; 16:9, square and 3:2 are cut from it, the tag may stay as it was."""
    sensor = Camera.of(4000, 3000, 26.0)
    told = Camera.of(*size, 26.0)
    assert abs(math.log(sensor.focal_px / told.focal_px)) < 1.96 * told.u_focal
    by_width = 26.0 / 36.0 * max(size)  # the other way to compare with 35 mm film
    assert abs(math.log(by_width / told.focal_px)) < 1.96 * told.u_focal


@pytest.mark.parametrize("lens", [16.0, 26.0, 50.0, 77.0])
def test_a_coin_cannot_tell_the_lens_and_says_so(lens):
    camera = Camera.of(*SIZE, lens)
    pose = look(camera, 4.0, 20.0, 5.0, 3.0)
    light = replace(LEVELS["easy"], k1=0.0, ground=0.05)
    coin = Disc(40.0, tone=0.7, rim=0.75, relief=0.03)
    pixels = render(np.random.default_rng(4), camera, pose, [coin], light, SIZE)
    found = scale(ScenePhoto(pixels), "disc", diameter_mm=40, offset_mm=20.0)
    middle = camera.project(pose.shift[None])
    u = found.u_at(middle)
    off = found.mm_per_px_at(middle)[0] / ((pose.shift[2] - 20.0) / camera.focal_px) - 1
    assert abs(off) < 1.96 * u.u
    assert "tells it only to 40 %" in str(found)
    assert "focal_35mm=" in str(found)
    assert u.parts["lens"] > 0.02
    assert found.u_at(middle, 0.0).parts["lens"] < 0.003  # in its own plane it hardly matters


@pytest.mark.parametrize("lens", [24.0, 50.0, 77.0])
def test_a_piece_is_measured_by_a_reference_of_which_the_lens_is_not_known(lens):
    """The reference as any lens would show it; the axis 20 mm behind it."""
    at = solids.setting(np.random.default_rng(6), *SIZE, 6.0, 300.0 * lens / 26.0, lens)
    shape = solids.rounded(44, 32, 8, 9)
    right = solids.scale_of(at, offset_mm=-20.0, u_offset_mm=0.2)
    camera = replace(Camera.of(*SIZE), u_focal=0.4)
    shorter = camera.focal_px / right.camera.focal_px
    pose = Pose(right.pose.rotation, right.pose.shift * (1, 1, shorter))
    stand, beliefs, _ = side_stand.stand_of(replace(right, camera=camera, pose=pose), True)
    line = at.outline(shape)
    points = line[np.linspace(0, len(line) - 1, 240).astype(int)]
    start, mm = side_fit._foot(stand, np.array([points[:, 0].mean(), points[:, 1].max()]))
    radius = np.ptp(points[:, 0]) / 2 * mm
    fit = fit_solid(points, stand, RoundProfile(radius, 30.0, False), beliefs, start=start)
    for (value, parts), true in ((fit.height, 32.0), (fit.diameter, 88.0)):
        u = math.hypot(*parts.values())
        assert abs(value - true) < 3 * u
        assert u < 0.05 * true
        assert value == pytest.approx(true, rel=0.015)


def test_the_tilt_goes_with_the_lens_where_perspective_tells_it():
    """Of a marker nearly square-on; where it is seen well askew its foreshortening tells more."""
    by = []
    for tilt in (4.0, 30.0):
        _, _, found = standing(26.0, tilt)
        stand, beliefs, _ = side_stand.stand_of(found, True)
        assert beliefs.tilt <= math.radians(math.hypot(found.u_tilt_deg, side_stand.PLUMB_DEG))
        by.append(abs(side_stand._nods_with_lens(found, stand.nod)) / math.radians(tilt))
    assert by[0] > 0.5
    assert by[1] < by[0]


def drawn_at(texels, camera, pose, number=5):
    """A marker of 40 mm drawn by OpenCV at so many pixels, then seen."""
    import cv2

    words = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    margin = texels // 4
    print_ = np.pad(
        cv2.aruco.generateImageMarker(words, number, texels), margin, constant_values=255
    )
    k = max(1, 1600 // texels)
    fine = np.kron(print_, np.ones((k, k), np.uint8)).astype(np.float32) / 255 * 0.75 + 0.05
    step = 40.0 / (texels * k)
    first = (0.5 - margin * k) * step - 20.0
    to_mm = np.array([[step, 0, first], [0, step, first], [0, 0, 1.0]])
    onto = camera.matrix @ np.column_stack([pose.rotation[:, :2], pose.shift]) @ to_mm
    finer = np.array([[4.0, 0, 1.5], [0, 4.0, 1.5], [0, 0, 1.0]])
    size = (4 * SIZE[0], 4 * SIZE[1])
    seen = cv2.warpPerspective(fine, finer @ onto, size, flags=cv2.INTER_AREA, borderValue=0.3)
    seen = cv2.GaussianBlur(cv2.resize(seen, SIZE, interpolation=cv2.INTER_AREA), (0, 0), 1.0)
    tone = np.where(seen <= 0.0031308, 12.92 * seen, 1.055 * seen ** (1 / 2.4) - 0.055)
    return np.round(255 * np.repeat(tone[..., None], 3, 2)).astype(np.uint8)


@pytest.mark.parametrize("texels", [200, 100])
def test_a_marker_whose_drawing_its_cells_do_not_divide_is_not_tipped(texels):
    """OpenCV's generateImageMarker then puts inner lines up to a third of a texel to one side.

    Taken as exact they tip the plane by 0.7° at 200 texels, by 1.6° at 100.
    """
    camera = Camera.of(*SIZE, 26.0)
    for tilt, toward in ((4.0, 30.0), (9.0, 200.0), (14.0, 100.0)):
        pose = look(camera, tilt, toward, 4.5, 2.0)
        photo = ScenePhoto(drawn_at(texels, camera, pose), 26.0)
        found = scale(photo, "marker", id=5, side_mm=40)
        lean = math.degrees(math.acos(min(1.0, found.pose.rotation[:, 2] @ pose.rotation[:, 2])))
        assert lean < 0.3
        assert lean < 2.5 * found.u_tilt_deg
