"""Set-ups other people choose: a marker lying flat, paper of any size, domes called a piece.

Drawn scenes of known truth. Chance of false failure: seeds are fixed; another OpenCV may move an
edge by a few hundredths of a pixel, tolerances leave at least a factor 1.5.
"""

import math
from dataclasses import replace

import numpy as np
import pytest
import scenes
import solids
from scenes import LEVELS, Marker, ScenePhoto, look, render

from kit.errors import DataError
from kit.photo.camera import Camera
from kit.photo.outlines.doubts import contact
from kit.photo.picture import read
from kit.photo.reference import Scale, scale
from kit.photo.side_view import side
from kit.photo.sides import fit as side_fit
from kit.photo.sides import stand as side_stand
from kit.photo.sides.judge import judge
from kit.photo.sides.paper import paper
from kit.photo.sides.solid_fit import Beliefs, fit_solid
from kit.photo.sides.solid_profile import RoundProfile
from kit.photo.sides.solid_search import Problem

SIZE = (1600, 1200)
SURE = Beliefs(math.radians(0.3), math.radians(0.3), 0.5, 0.01, 0.1)


def lying(tilt_deg, level="easy", seed=3):
    """A marker seen so far off square-on, its pose, and its photo."""
    camera = Camera.of(*SIZE, 26.0)
    pose = look(camera, tilt_deg, 6.0, 5.0, 3.0)
    light = replace(LEVELS[level], k1=0.0)
    pixels = render(np.random.default_rng(seed), camera, pose, [Marker(5, 40.0)], light, SIZE)
    return camera, pose, ScenePhoto(pixels, 26.0)


@pytest.mark.parametrize("level", ["easy", "realistic"])
@pytest.mark.parametrize("tilt", [68.0, 76.0, 81.0])
def test_a_marker_lying_on_the_worktop_is_measured_from_a_low_camera(tilt, level):
    """A camera that looks down by 9 to 22 degrees, as for every side view."""
    camera, pose, photo = lying(tilt, level)
    found = scale(photo, "marker", id=5, side_mm=40)
    assert found.tilt_deg == pytest.approx(tilt, abs=0.5)
    lean = math.degrees(math.acos(min(1.0, found.pose.rotation[:, 2] @ pose.rotation[:, 2])))
    assert lean < 0.2
    # lengths across the picture, where a piece would stand beside it
    beside = camera.project(pose.to_camera(np.array([[50.0, 0, 0]])))
    true = Scale("marker", camera, pose, 1.0, 0.0)._lengths(beside, 0.0)[0, 0]
    off = found._lengths(beside, 0.0)[0, 0] / true - 1
    u = math.sqrt(
        sum(w * (m._lengths(beside, 0.0)[0, 0] / found._lengths(beside, 0.0)[0, 0] - 1) ** 2
            for _, m, w in found.varied())
    )  # fmt: skip
    assert abs(off) < 3 * u
    assert u < 0.02


def test_a_marker_seen_edge_on_is_refused():
    _, _, photo = lying(86.5)
    with pytest.raises(DataError, match=r"too flat|no marker"):
        scale(photo, "marker", id=5, side_mm=40)


def test_a_face_is_not_measured_in_a_plane_seen_edge_on():
    """The marker lies on the worktop, the face stands: its plane is another one."""
    from kit.photo.faces.square_on import square_on

    _, _, photo = lying(76.0)
    found = scale(photo, "marker", id=5, side_mm=40)
    with pytest.raises(DataError, match="from above"):
        square_on((photo.pixels, 1.0), found, (np.zeros(2), np.array([900.0, 900.0])), 4.0, 900)


@pytest.mark.parametrize("elevation", [1.0, 6.0, 12.0])
@pytest.mark.parametrize(
    "shape", [solids.cap(50, 45), solids.cap(60, 30), solids.ellipsoid(42, 18, 0.12)]
)
def test_a_dome_said_to_be_a_piece_is_found_all_the_same(shape, elevation):
    """A bun, a scone: cut off by the worktop. As a griddled piece it was up to 35 % too high."""
    at = solids.setting(np.random.default_rng(2), 1200, 900, elevation, 330.0)
    stand, beliefs, _ = side_stand.stand_of(solids.scale_of(at), None)
    line = at.outline(shape)
    step = np.r_[0, np.cumsum(np.hypot(*np.diff(np.vstack([line, line[:1]]), axis=0).T))]
    along = np.linspace(0, step[-1], 240, endpoint=False)
    closed = np.vstack([line, line[:1]])
    points = np.column_stack([np.interp(along, step, closed[:, i]) for i in (0, 1)])
    start, mm = side_fit._foot(stand, np.array([points[:, 0].mean(), points[:, 1].max()]))
    radius = np.ptp(points[:, 0]) / 2 * mm
    fit = fit_solid(
        points, stand, RoundProfile(radius, 0.9 * shape.h[-1], False), beliefs, start=start
    )
    assert fit.height[0] == pytest.approx(shape.h[-1], rel=0.01)
    assert fit.volume[0] == pytest.approx(shape.volume_ml, rel=0.012)


def test_a_search_that_wanders_off_is_a_refusal():
    """With the lens within the solid no line of sight touches it: no distance can be told."""
    at = solids.setting(np.random.default_rng(2), 1200, 900, 5.0, 330.0)
    stand, beliefs, _ = side_stand.stand_of(solids.scale_of(at), None)
    shape = RoundProfile(40, 30, True)
    problem = Problem(np.array([[600.0, 400.0]] * 9), np.ones(9), stand, shape, beliefs)
    cone = shape.starts()[0]
    below = np.r_[problem.mean, cone]
    problem.stand = replace(stand, origin=-10.0 * stand.up + 1e-3 * stand.across)
    off = problem.distance(below, shape.at(cone))[0]
    assert np.isinf(off).all()
    assert math.isinf(problem.cost(below))


def printed(ground, margin):
    """A black square on white paper on a ground, a little askew; the paper's true corners."""
    import cv2

    pixels = np.full((400, 500, 3), ground, np.uint8)
    square = np.array([[200, 150], [280, 156], [276, 234], [197, 230]], float)
    middle = square.mean(0)
    rim = middle + (1 + 2 * margin) * (square - middle)
    cv2.fillPoly(pixels, [np.round(rim * 16).astype(np.int32)], (235, 235, 230), cv2.LINE_AA, 4)
    cv2.fillPoly(pixels, [np.round(square * 16).astype(np.int32)], (20, 20, 20), cv2.LINE_AA, 4)
    return pixels, square, rim


@pytest.mark.parametrize("margin", [0.15, 0.5])
def test_the_paper_round_a_marker_is_no_part_of_a_piece(margin):
    pixels, square, rim = printed((120, 90, 60), margin)
    found = paper(pixels, square)
    side_px = np.linalg.norm(square[1] - square[0])
    off = np.linalg.norm(found - rim, axis=1) / side_px
    assert off.max() < 0.12
    # outward, never less than the paper
    middle = square.mean(0)
    assert (np.linalg.norm(found - middle, axis=1) > np.linalg.norm(rim - middle, axis=1)).all()


def test_on_a_ground_as_pale_as_the_paper_nothing_is_taken_for_its_rim():
    pixels, square, _ = printed((236, 234, 229), 0.2)
    assert paper(pixels, square) == pytest.approx(square, abs=1e-3)


def foot(dark):
    """Light across a foot: piece, a dark line 3 pixels within the edge found, worktop."""
    from kit.photo.outlines.outline import Looked

    y = np.arange(120.0)
    light = np.where(y < 60, 0.30, 0.45)
    light = light * (1 - dark * np.exp(-((y - 57) ** 2) / (2 * 1.5**2)))
    linear = np.repeat(np.repeat(light[:, None], 200, 1)[..., None], 3, 2).astype(np.float32)
    seen = Looked(linear, linear, (0.0, 0.0), np.empty((0, 2)), np.empty((0, 2)))
    points = np.column_stack([np.linspace(40, 160, 40), np.full(40, 60.0)])
    return contact(seen, points, np.tile([0.0, 1.0], (40, 1)), np.zeros(40), 100.0)


def test_the_end_of_a_contact_shadow_is_not_the_foot():
    inward, u = foot(0.5)
    assert inward == pytest.approx(3.0, abs=0.7)
    assert u > 0.8
    inward, u = foot(0.0)
    assert not inward.any()
    assert u == 0


def test_a_hard_shadow_does_not_refuse_a_piece_whose_edge_is_clear():
    picture, at, truth, kind = solids.scene(310, "easy", "ball")
    stand, beliefs, _ = side_stand.stand_of(at, None)
    found = side_fit.measure(
        read(picture), at, stand, beliefs, kind, truth.box, None, None, None, None
    )
    shadowed = replace(found, agreed=0.8)
    judge(shadowed)
    with pytest.raises(DataError, match="colours and edges"):
        judge(replace(shadowed, strength=5.0))
    with pytest.raises(DataError, match="colours and edges"):
        judge(replace(shadowed, doubts_px=(0.0, 0.03 * found.size_px, 0.0, 0.0)))


def test_a_ruler_that_tells_neither_that_it_stands_nor_that_it_lies_is_refused():
    """Taken as square-on it was 18 and 26 % wrong where it lay, by 2 % claimed."""
    at = solids.setting(np.random.default_rng(7), 1000, 750, 8.0, 260.0)
    told = replace(solids.scale_of(at), kind="ruler")
    untold = replace(told, u_tilt_deg=9.7)
    assert side_stand.stand_of(told, None)
    assert side_stand.stand_of(untold, True)  # whoever says so knows
    with pytest.raises(DataError, match=r"whether it stands or lies.*Stand it upright"):
        side_stand.stand_of(untold, None)


def test_how_far_the_piece_stands_from_what_lies_flat_is_no_height():
    """A ruler lying 60 mm before the piece: its axis is 60 mm behind it, not under it."""
    rng = np.random.default_rng(5)
    at = solids.setting(rng, 1000, 750, 14.0, 260.0)
    picture, truth = solids.draw(rng, solids.cap(45, 42), at, 1000, 750, "easy")
    flat = replace(solids.scale_of(at, lying=True), outline=np.empty((0, 2)))
    view = side(read(picture), replace(flat, offset_mm=-60.0), "ball", truth.box)
    assert view.height_mm.value == pytest.approx(42, rel=0.015)
    assert any("lies on the worktop" in check for check in view.checks)


def test_drawn_scenes_are_the_ones_meant():
    """The renderer of `scenes` and the camera of the kit agree on where a marker is."""
    camera, pose, photo = lying(70.0)
    found = scale(photo, "marker", id=5, side_mm=40).outline
    true = camera.project(pose.to_camera(np.array([[-20, -20, 0], [20, 20, 0.0]])))
    for corner in true:
        assert np.linalg.norm(found - corner, axis=1).min() < 1.0
    assert scenes.Marker(5, 40.0).side_mm == 40
