"""A checkerboard or the card lying on the worktop, seen from as low as for every side view.

Seeds are fixed; tolerances leave at least a factor 1.5 of what was measured.
"""

import math
from dataclasses import replace

import numpy as np
import pytest
from printed import printed
from scenes import LEVELS, Board, Picture, ScenePhoto, look, render

from kit.errors import DataError
from kit.photo.camera import Camera
from kit.photo.reference import Scale, scale

SIZE = (1600, 1200)


def lying(tilt_deg, level="easy", seed=3):
    """A board of 8 × 6 squares of 8 mm seen so far off square-on: camera, pose, photo."""
    camera = Camera.of(*SIZE, 26.0)
    pose = look(camera, tilt_deg, 6.0, 9.0, 3.0)
    light = replace(LEVELS[level], k1=0.0)
    board = Board((7, 5), 8.0)
    pixels = render(np.random.default_rng(seed), camera, pose, [board], light, SIZE)
    return camera, pose, ScenePhoto(pixels, 26.0)


@pytest.mark.parametrize("level", ["easy", "realistic"])
@pytest.mark.parametrize("tilt", [66.0, 71.0, 76.0])
def test_a_board_lying_on_the_worktop_is_measured(tilt, level):
    camera, pose, photo = lying(tilt, level)
    found = scale(photo, "checkerboard", inner_corners=(7, 5), square_mm=8)
    lean = math.degrees(math.acos(min(1.0, abs(found.pose.rotation[:, 2] @ pose.rotation[:, 2]))))
    assert lean < 0.2
    # lengths across the picture, where a piece would stand beside it
    beside = camera.project(pose.to_camera(np.array([[50.0, 0, 0]])))
    true = Scale("checkerboard", camera, pose, 1.0, 0.0)._lengths(beside, 0.0)[0, 0]
    here = found._lengths(beside, 0.0)[0, 0]
    moved = [w * (m._lengths(beside, 0.0)[0, 0] / here - 1) ** 2 for _, m, w in found.varied()]
    assert abs(here / true - 1) < 3 * math.sqrt(sum(moved))
    assert math.sqrt(sum(moved)) < 0.01


def test_a_board_seen_edge_on_is_refused():
    _, _, photo = lying(87.0)
    with pytest.raises(DataError, match=r"No checkerboard|too flat|pixels"):
        scale(photo, "checkerboard", inner_corners=(7, 5), square_mm=8)


@pytest.mark.parametrize(("tilt", "px_per_mm"), [(66.0, 7.0), (68.0, 7.3), (76.0, 5.0)])
def test_the_card_lying_on_the_worktop_is_measured_or_refused(tilt, px_per_mm):
    """Refused where a cell of its markers, 4 mm, is lower than 7 pixels (at the far side)."""
    camera = Camera.of(*SIZE, 26.0)
    pose = look(camera, tilt, 6.0, px_per_mm, 2.0)
    level = replace(LEVELS["realistic"], k1=0.0)
    drawn = [Picture(printed(200), 200 / 25.4)]
    photo = ScenePhoto(render(np.random.default_rng(5), camera, pose, drawn, level, SIZE), 26.0)
    if tilt > 70:
        with pytest.raises(DataError, match="too flat to measure"):
            scale(photo, "card", printed_scale=180)
        return
    found = scale(photo, "card", printed_scale=180)
    lean = math.degrees(math.acos(min(1.0, abs(found.pose.rotation[:, 2] @ pose.rotation[:, 2]))))
    assert lean < 0.1
    middle = camera.project(pose.to_camera(np.zeros((1, 3))))
    true = Scale("card", camera, pose, 1.0, 0.0)._lengths(middle, 0.0)[0, 0]
    assert found._lengths(middle, 0.0)[0, 0] == pytest.approx(true, rel=0.003)
