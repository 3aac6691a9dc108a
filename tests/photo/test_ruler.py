"""A ruler's ticks and the ends of its body: drawn flat, then warped by OpenCV's own camera."""

import cv2
import numpy as np
import pytest
from scenes import ScenePhoto

from kit.errors import DataError
from kit.photo.camera import Camera
from kit.photo.reference import scale

SEED = 20261128
SIZE = (1600, 1200)
FINE = 16  # pixels a millimetre of the drawing
LEFT, HIGH = 8, 25  # millimetres before the first tick, and of the body


def drawn(skew_mm=0.0):
    """A ruler of 116 × 25 mm, ticks 3 to 6 mm up from its lower edge, NaN beside it.

    `skew_mm`: how far both ends lean over the height of the body.
    """
    out = np.full((HIGH * FINE, 116 * FINE), 0.75, np.float32)
    for i in range(101):
        x, up = (LEFT + i) * FINE, 6 if i % 10 == 0 else 4.5 if i % 5 == 0 else 3
        out[-int(up * FINE) :, x - 1 : x + 1] = 0.06
    across = np.arange(out.shape[1])[None] - np.linspace(skew_mm, 0, len(out))[:, None] * FINE
    return np.where((across > 2) & (across < 112 * FINE), out, np.nan)


def shot(tip_deg, skew_mm=0.0, blur=1.0):
    """Photo, marked ticks, a place 50 mm below the edge, and millimetres a pixel there.

    Tipped about the ruler's own direction, so that ticks shorten and lean and hardly close up.
    """
    rng = np.random.default_rng([SEED, round(10 * tip_deg) + 900, round(10 * skew_mm)])
    camera = Camera.of(*SIZE, 26.0)
    turn = cv2.Rodrigues(np.array([np.radians(tip_deg), 0, 0]))[0]
    shift = np.array([0, 0, 260.0])

    def seen(mm):
        deep = np.column_stack([np.asarray(mm, float), np.zeros(len(mm))])
        return cv2.projectPoints(deep, cv2.Rodrigues(turn)[0], shift, camera.matrix, None)[0][:, 0]

    flat = drawn(skew_mm)
    corners = np.array([[0, 0], [116, 0], [116, HIGH], [0, HIGH]], float)
    map_ = cv2.findHomography(corners * FINE - 0.5, seen(corners - [LEFT + 50, HIGH]))[0]
    twice = np.array([[2, 0, 0.5], [0, 2, 0.5], [0, 0, 1.0]]) @ map_
    big = (2 * SIZE[0], 2 * SIZE[1])
    there = cv2.warpPerspective(np.isfinite(flat).astype(np.float32), twice, big)
    ink = cv2.warpPerspective(np.nan_to_num(flat, nan=0.75), twice, big)
    light = cv2.resize(there * ink + (1 - there) * 0.3, SIZE, interpolation=cv2.INTER_AREA)
    light = cv2.GaussianBlur(light, (0, 0), blur) + rng.normal(0, 0.006, SIZE[::-1])
    pixels = np.round(255 * np.clip(light, 0, 1) ** (1 / 2.2)).astype(np.uint8)
    face = np.array([[0.0, 50.0]])
    step = 0.5 * np.array([[1, 0], [-1, 0], [0, 1], [0, -1.0]])
    right, left, down, up = seen(face + step)
    true = 1 / np.sqrt(abs(np.linalg.det(np.stack([right - left, down - up]))))
    ends = seen([[-50, 0], [50, 0]]) + rng.normal(0, 1, (2, 2))
    return ScenePhoto(np.dstack([pixels] * 3), 26.0), ends, seen(face), true


@pytest.mark.parametrize("tip_deg", [-25, 0, 18])
def test_the_bodys_ends_tell_the_tilt_across_which_short_ticks_hardly_do(tip_deg, monkeypatch):
    # 50 mm beside the ruler; measured with the ends 0.1 to 0.3 %
    photo, ends, face, true = shot(tip_deg)
    found = scale(photo, "ruler", points=ends, mm=100)
    off = found.mm_per_px_at(face)[0] / true - 1
    u = found.u_at(face).u
    assert abs(off) < 0.006
    assert abs(off) < 4 * u
    monkeypatch.setattr("kit.photo.references.ruler.body_ends", lambda *_: [])
    alone = scale(photo, "ruler", points=ends, mm=100)
    assert alone.u_at(face).u > 1.3 * u


def test_ends_that_are_not_square_are_left_out():
    # 3 mm over 25 mm is 7°: taken for square it would be a tilt of 15° and more
    photo, ends, face, true = shot(10, skew_mm=3.0)
    found = scale(photo, "ruler", points=ends, mm=100)
    off = found.mm_per_px_at(face)[0] / true - 1
    assert abs(off) < max(0.01, 3 * found.u_at(face).u)
    assert abs(off) < 0.03


def test_ticks_that_disagree_with_the_marked_points_are_no_ruler():
    for seed in range(4):
        pixels = np.random.default_rng([SEED, seed]).integers(0, 255, (900, 1200, 3))
        noise = ScenePhoto(pixels.astype(np.uint8), 26.0)
        with pytest.raises(DataError, match="ruler"):
            scale(noise, "ruler", points=[(100, 100), (800, 400)], mm=100)


def test_upside_down_or_marked_from_the_far_end_is_the_same_ruler():
    photo, ends, face, true = shot(12)
    size = np.array(SIZE) - 1.0
    turned = ScenePhoto(np.ascontiguousarray(photo.pixels[::-1, ::-1]), 26.0)
    for seen, marks, at in ((photo, ends[::-1], face), (turned, size - ends, size - face)):
        found = scale(seen, "ruler", points=marks, mm=100)
        assert found.mm_per_px_at(at)[0] == pytest.approx(true, rel=0.006)
