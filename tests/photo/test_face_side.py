"""The side of a raised piece, seen below its cut edge, against a drawn scene of known outline."""

import cv2
import numpy as np
import pytest

from kit.photo import read
from kit.photo.camera import Camera, Pose
from kit.photo.cut_face import crumb
from kit.photo.faces.cut_side import LEFT_OUT, side_mm
from kit.photo.pixels.strip import normals
from kit.photo.reference import Scale

SIZE = (1600, 1200)
BROWN, CRUMB = np.array([150.0, 100, 60]), np.array([226.0, 206, 170])


def seen_from(tilt_deg, height_mm):
    """Return the scale of a plane so far above a board, seen from a slant."""
    turned = cv2.Rodrigues(np.array([np.radians(tilt_deg), 0.0, 0.0]))[0]
    camera = Camera.of(*SIZE, 26)
    return Scale("marker", camera, Pose(turned, np.array([0.0, 0.0, 170.0])),
                 170 / camera.focal_px, 0.002, offset_mm=height_mm)  # fmt: skip


def oblong(inset_mm=0.0):
    t = np.linspace(0, 2 * np.pi, 400, endpoint=False)
    c, s = np.cos(t), np.sin(t)
    return np.column_stack(
        [(38 - inset_mm) * np.sign(c) * abs(c) ** 0.7, (16 - inset_mm) * np.sign(s) * abs(s) ** 0.7]
    )


def photo_of(scale):
    """Draw a slice whose brown side reaches down to a grey board; and its outline in the photo."""
    picture = np.full((SIZE[1], SIZE[0], 3), (70.0, 80, 85))

    def fill(points, colour):
        # fillPoly takes in the pixels an outline runs through: half a pixel too many all round
        rounded = np.round((points - 0.5 * normals(points)) * 16).astype(np.int32)
        cv2.fillPoly(picture, [rounded], [float(v) for v in colour], cv2.LINE_AA, 4)

    for z in np.linspace(0, scale.offset_mm, 60)[:-1]:
        fill(scale.to_px(oblong(), z), BROWN * (0.6 + 0.2 * z / 14))
    fill(scale.to_px(oblong()), BROWN)
    fill(scale.to_px(oblong(1.2)), CRUMB)
    rng = np.random.default_rng(4)
    for x in np.arange(-33, 34, 3.0):
        for y in np.arange(-12, 13, 3.0):
            middle = np.array([x, y]) + rng.uniform(-0.5, 0.5, 2)
            t = np.linspace(0, 2 * np.pi, 40)
            ring = middle + rng.uniform(0.5, 1.0) * np.column_stack([np.cos(t), np.sin(t)])
            fill(scale.to_px(ring), 0.6 * CRUMB)
    picture = cv2.GaussianBlur(picture, (0, 0), 0.8) + 2 * rng.standard_normal(picture.shape)
    return read(np.clip(picture, 0, 255).astype(np.uint8), focal_35mm=26), scale.to_px(oblong())


def test_a_side_shows_as_wide_as_it_is_seen():
    scale = seen_from(15, 14.0)
    outline = scale.to_px(oblong())
    wide = side_mm(scale, outline)
    foot = scale.to_mm(scale.to_px(oblong(), 0.0))
    # along the short way, where the outline runs across
    nearest = oblong()[:, 1].argmin() if wide[oblong()[:, 1].argmin()] else oblong()[:, 1].argmax()
    assert wide[nearest] == pytest.approx(abs(foot - oblong())[nearest, 1], rel=0.02)
    assert (wide > 0.4).mean() > 0.2
    assert (wide < 0.15).mean() > 0.2
    assert not side_mm(seen_from(15, 0.0), outline).any()


@pytest.mark.parametrize("tilt_deg", [10, 15])
def test_the_side_of_a_raised_slice_is_no_part_of_its_face(tilt_deg):
    scale = seen_from(tilt_deg, 14.0)
    photo, outline = photo_of(scale)
    found = crumb(photo, scale)
    true = cv2.contourArea(scale.to_mm(outline).astype(np.float32))
    assert np.sqrt(found.face_mm2.value / true) == pytest.approx(1, abs=0.006)
    low, high = found.face_mm2.interval(0.95)
    assert low < true < high
    assert LEFT_OUT in found.checks


def test_where_no_side_shows_the_outline_stays_and_nothing_is_said():
    scale = seen_from(0, 14.0)
    photo, outline = photo_of(scale)
    found = crumb(photo, scale)
    true = cv2.contourArea(scale.to_mm(outline).astype(np.float32))
    assert np.sqrt(found.face_mm2.value / true) == pytest.approx(1, abs=0.006)
    assert LEFT_OUT not in found.checks


def test_no_side_is_sought_where_crust_is_as_deep_all_round():
    # said to lie 14 mm up, and lying on the board: no side is seen where one would show
    scale, flat = seen_from(15, 14.0), seen_from(15, 0.0)
    photo, outline = photo_of(flat)
    found = crumb(photo, scale)
    true = cv2.contourArea(outline.astype(np.float32))
    seen = cv2.contourArea(found.face.astype(np.float32))
    assert np.sqrt(seen / true) == pytest.approx(1, abs=0.006)
    assert LEFT_OUT not in found.checks
