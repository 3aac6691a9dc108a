"""Scale by every reference kind: truth from drawn scenes, and outside checks named where they are.

Random scenes are seeded from `SEED`; each test states its chance of failing a sound kit.
"""

import math
from dataclasses import replace

import cv2
import numpy as np
import pytest
from scenes import LEVELS as SCENE_LEVELS
from scenes import (
    Board,
    Marker,
    Ruler,
    ScenePhoto,
    draw,
    look,
    render,
    true_mm_per_px,
)

from kit.errors import DataError, InputError
from kit.photo.camera import Camera, Pose
from kit.photo.faces.square_on import moved, square_on
from kit.photo.reference import Scale, scale
from kit.photo.references.plane_fit import Marks, fit_plane, poses_of, turned

SEED = 20261125
SMALL = (900, 675)


def face_error(found, scene):
    """Relative error of lengths about the face, and the standard uncertainty claimed there."""
    spread = np.array([[-12, -12], [12, 12], [-12, 12], [12, -12.0]])
    px = scene.px(scene.face_mm + spread, scene.offset_mm)
    off = float(np.mean(found._lengths(px, None) / true_mm_per_px(scene, px))) - 1
    return off, found.u_at(px).u


# ---- the plane's arithmetic


def by_hand(**of):
    camera = Camera(3005.0, 1999.5, 1499.5, **of)
    pose = Pose(turned(np.array([0.3, 0.2, 0.1])), np.array([-20, -30, 400.0]))
    return Scale("marker", camera, pose, 0.13, 0.003, offset_mm=12.0)


def test_to_px_and_to_mm_are_each_others_inverse_also_through_the_lens():
    points = np.random.default_rng(1).uniform(-60, 60, (30, 2))
    found = by_hand(k1=0.01)
    np.testing.assert_allclose(found.to_mm(found.to_px(points)), points, atol=1e-8)
    np.testing.assert_allclose(found.to_mm(found.to_px(points, 0.0), 0.0), points, atol=1e-8)


def test_homography_is_the_one_opencv_finds_from_projected_points():
    found = by_hand()
    points = np.random.default_rng(2).uniform(-60, 60, (12, 2))
    deep = np.column_stack([points, np.full(len(points), -12.0)])
    turn = cv2.Rodrigues(found.pose.rotation)[0]
    seen, _ = cv2.projectPoints(deep, turn, found.pose.shift, found.camera.matrix, None)
    np.testing.assert_allclose(found.to_px(points), seen[:, 0], atol=1e-6)
    theirs, _ = cv2.findHomography(points, seen[:, 0], 0)
    ours = found.homography()
    np.testing.assert_allclose(ours / ours[2, 2], theirs, rtol=1e-5, atol=1e-6)


def test_beyond_the_horizon_there_is_no_place():
    steep = replace(by_hand(), pose=Pose(turned(np.array([1.2, 0, 0])), np.array([0, 0, 400.0])))
    assert np.isnan(steep.to_mm(np.array([[2000.0, 3500.0]]))).all()


def test_an_offset_of_twelve_of_four_hundred_millimetres_is_three_percent():
    square_on = replace(by_hand(), pose=Pose(np.eye(3), np.array([0, 0, 400.0])))
    middle = np.array([[1999.5, 1499.5]])
    ratio = square_on.mm_per_px_at(middle, 12.0) / square_on.mm_per_px_at(middle, 0.0)
    assert ratio[0] == pytest.approx(388 / 400, rel=1e-9)
    unsure = replace(square_on, u_offset_mm=4.0)
    assert unsure.u_at(middle).parts["plane"] == pytest.approx(4 / 388, rel=1e-6)


def test_a_scale_made_by_hand_carries_its_own_uncertainty():
    # the plane in front grows a little faster than the reference: 400 mm to 388
    u = by_hand().u_at(np.array([[1000.0, 1000.0]])).u
    assert u == pytest.approx(0.003, rel=0.05)


def test_a_part_seen_square_on_is_the_plane():
    rng = np.random.default_rng(SEED)
    camera = Camera(900.0, 449.5, 337.0, k1=0.02)
    pose = look(camera, 30, 40, 4.0)
    level = replace(SCENE_LEVELS["easy"], k1=0.02)
    pixels = render(rng, camera, pose, [Board((7, 5), 6.0)], level, SMALL)
    found = Scale("checkerboard", camera, pose, 0.25, 0.0)
    corners = found.to_px(np.array([[-24, -18], [24, -18], [24, 18], [-24, 18.0]]))
    flat, to_photo, fine = square_on(
        (pixels, 1.0), found, (corners.min(0), corners.max(0)), 3.0, 900
    )
    assert fine == 3.0
    # every square of the board lies where it should
    middles = np.stack(np.meshgrid(np.arange(8) * 6 - 21.0, np.arange(6) * 6 - 15.0), -1)
    at = moved(np.linalg.inv(to_photo), found.to_px(middles.reshape(-1, 2)))
    tones = flat.mean(2)[tuple(np.round(at.T[::-1]).astype(int))].reshape(6, 8)
    dark = tones < np.median(tones)
    np.testing.assert_array_equal(dark, np.add.outer(np.arange(6), np.arange(8)) % 2 == 0)
    # and lies as far from the next one as it should
    assert np.diff(at.reshape(6, 8, 2), axis=1) == pytest.approx(
        np.broadcast_to([18.0, 0.0], (6, 7, 2)), abs=0.3
    )


def test_shrinking_averages_areas():
    pixels = np.zeros((200, 300, 3), np.uint8)
    pixels[:, ::2] = 200  # stripes finer than the result can show
    found = Scale("scanner", None, Pose(np.eye(3), np.zeros(3)), 0.1, 0.0)
    flat, _, _ = square_on(
        (pixels, 1.0), found, (np.array([20.0, 20.0]), np.array([280.0, 180.0])), 2.5, 900
    )
    assert np.abs(flat[2:-2, 2:-2].astype(float) - 100).max() < 4


# ---- the fit


def marks_of(mm, px):
    """Two marks for each corner."""
    normal = np.repeat(np.eye(2), len(mm), axis=0)
    return Marks(np.tile(mm, (2, 1)), np.tile(px, (2, 1)), normal, np.zeros(2 * len(mm)))


def test_pose_of_exact_corners_is_that_of_opencv_and_of_the_truth():
    camera = Camera(3000.0, 2000.0, 1500.0)
    true = Pose(turned(np.array([0.5, -0.2, 0.7])), np.array([30, -20, 350.0]))
    mm = np.array([[0, 0], [40, 0], [40, 40], [0, 40], [20, 13.0]])
    px = camera.project(true.to_camera(np.column_stack([mm, np.zeros(5)])))
    start = poses_of(camera, mm, px)[0]
    sure = replace(camera, u_focal=1e-6)
    fit = fit_plane(camera, start, marks_of(mm, px), prior=sure, sigma_px=0.01, flat_mm=0.0)
    np.testing.assert_allclose(fit.pose.rotation, true.rotation, atol=1e-5)
    np.testing.assert_allclose(fit.pose.shift, true.shift, atol=1e-2)
    ok, turn, _ = cv2.solvePnP(
        np.column_stack([mm, np.zeros(5)]), px, camera.matrix, None, flags=cv2.SOLVEPNP_ITERATIVE
    )
    assert ok
    np.testing.assert_allclose(fit.pose.rotation, cv2.Rodrigues(turn)[0], atol=1e-4)


@pytest.mark.parametrize("tilt_deg", [2.0, 8.0])
def test_a_print_stretched_by_a_printer_does_not_pass_for_another_lens(tilt_deg):
    # 0.1 %: of the lens 11 % and 4 % otherwise, and of a length 30 mm before it 0.8 and 0.3 %
    camera = Camera(3005.0, 1999.5, 1499.5, u_focal=0.025)
    true = Pose(turned(np.radians([-tilt_deg, 3.0, 0])), np.array([-90.0, -60, 450]))
    mm = np.mgrid[0:184:24.0, 0:176:24.0].reshape(2, -1).T
    stretched = np.column_stack([mm * (1.0005, 0.9995), np.zeros(len(mm))])
    px = camera.project(true.to_camera(stretched))
    px += np.random.default_rng(8840001).normal(0, 0.03, px.shape)
    fit = fit_plane(camera, poses_of(camera, mm, px)[0], marks_of(mm, px))
    off = math.log(fit.camera.focal_px / camera.focal_px)
    assert abs(off) < 2.5 * math.sqrt(fit.covariance[1, 1]) < 0.05
    middle = np.array([[92.0, 88.0, -30.0]])
    nearer = fit.pose.to_camera(middle)[0, 2] / fit.camera.focal_px
    assert nearer == pytest.approx(true.to_camera(middle)[0, 2] / camera.focal_px, rel=0.0015)


# ---- every kind on scenes of known truth


KINDS = {
    "marker": (lambda r: [Marker(5, 40.0, turn=r.uniform(-180, 180))],
               {"id": 5, "side_mm": 40}, None),
    "checkerboard": (lambda r: [Board((7, 5), 6.0, turn=r.uniform(-180, 180))],
                     {"inner_corners": (7, 5), "square_mm": 6}, None),
    "ruler": (lambda r: [Ruler(100.0, at=(-50, -10))], {"mm": 100, "tick_mm": 1}, 6.0),
}  # fmt: skip


def one(kind, i, difficulty, size=SMALL):
    """Error at the face, claimed uncertainty and error in units of it, of one fresh scene."""
    rng = np.random.default_rng([SEED, i, len(kind)])
    things, about, fine = KINDS[kind]
    where = rng.uniform(0, 2 * math.pi)
    scene = draw(
        rng, things(rng), difficulty, face_mm=(50 * math.cos(where), 50 * math.sin(where)),
        offset_mm=rng.uniform(8, 14), size=size, samples=3, px_per_mm=fine,
    )  # fmt: skip
    asked = dict(about)
    if kind == "ruler":
        asked["points"] = scene.px([[-50, -10], [50, -10]]) + rng.normal(0, 1.2, (2, 2))
    found = scale(scene.photo, kind, offset_mm=scene.offset_mm, **asked)
    return (*face_error(found, scene), found)


@pytest.mark.parametrize("kind", ["marker", "checkerboard"])
def test_scale_at_the_face_is_right_within_what_it_claims(kind):
    # 3 scenes: beyond 4 u with chance 2e-4 if u is right; 1.5 % would be five times the aim
    for i in range(3):
        off, u, found = one(kind, i, ("easy", "realistic", "hard")[i])
        assert abs(off) < 4 * u, found
        assert abs(off) < 0.015, found
        assert u < 0.01, found


def test_ruler_scale_comes_from_its_ticks():
    off, u, found = one("ruler", 0, "easy", size=(1200, 900))
    assert abs(off) < max(4 * u, 0.004), found
    assert u < 0.05
    assert found.tilt_known


@pytest.mark.long
@pytest.mark.parametrize("kind", sorted(KINDS))
@pytest.mark.parametrize("difficulty", ["easy", "realistic", "hard"])
def test_rmse_and_coverage_by_difficulty(kind, difficulty):
    # The aim is 0.3 %. Where the file has no focal length (one in five realistic scenes, half of
    # the hard) 8 to 14 mm of offset carry its 12 %: up to 0.6 % then, and `u` says so.
    # 20 scenes: below 75 % of a true 95 % with chance 3e-4.
    if kind == "ruler" and difficulty == "hard":
        pytest.skip("1 mm ticks, 6 pixels apart, are blurred away in the hard scenes of this size")
    rows = [one(kind, i, difficulty, (1200, 900))[:2] for i in range(20)]
    off, u = np.array(rows).T
    print(f"{kind} {difficulty}: RMSE {100 * np.sqrt(np.mean(off**2)):.2f} %, "
          f"covered {np.mean(np.abs(off) < 1.96 * u):.2f}")  # fmt: skip
    assert np.sqrt(np.mean(off**2)) < {"easy": 0.003}.get(difficulty, 0.006)
    assert np.mean(np.abs(off) < 1.96 * u) > 0.75


def test_markers_edge_is_not_moved_by_blur_in_encoded_light():
    # OpenCV's own drawing of the marker, blurred as sRGB values: the white grows by about a pixel
    drawn = cv2.aruco.generateImageMarker(
        cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50), 5, 240
    )
    page = np.full((500, 700), 235, np.uint8)
    page[130:370, 230:470] = drawn
    errors = []
    for blur in (0.7, 2.5):
        soft = cv2.GaussianBlur(page, (0, 0), blur)
        found = scale(ScenePhoto(np.dstack([soft] * 3), 26.0), "marker", id=5, side_mm=40)
        errors.append(found.mm_per_px / (40 / 240) - 1)
        np.testing.assert_allclose(
            np.sort(found.outline, axis=0), np.sort([[229.5, 129.5], [469.5, 129.5],
            [469.5, 369.5], [229.5, 369.5]], axis=0), atol=0.15,
        )  # fmt: skip
    assert np.abs(errors).max() < 0.001


def test_axes_run_right_and_down_as_the_marker_is_read():
    drawn = cv2.aruco.generateImageMarker(
        cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_100), 17, 140
    )
    page = np.full((400, 600), 230, np.uint8)
    page[120:260, 200:340] = drawn
    found = scale(
        ScenePhoto(np.dstack([page] * 3)), "marker", dictionary="DICT_5X5_100", side_mm=35
    )
    np.testing.assert_allclose(found.to_px(np.zeros((1, 2))), [[199.5, 119.5]], atol=0.2)
    np.testing.assert_allclose(found.to_px(np.array([[35.0, 0.0]])), [[339.5, 119.5]], atol=0.2)
    nearer = found.to_px(np.array([[0.0, 0.0]]), 50.0)
    assert np.linalg.norm(nearer - [299.5, 199.5]) > np.linalg.norm([100, 80])  # grows toward us


def test_focal_length_is_found_where_the_file_has_none_and_the_board_shows_perspective():
    rng = np.random.default_rng([SEED, 7])
    scene = draw(rng, [Board((7, 5), 14.0)], "easy", face_mm=(0, 0), size=SMALL, tilt=(28, 32),
                 focal_told=0.0, px_per_mm=4.0)  # fmt: skip
    found = scale(scene.photo, "checkerboard", inner_corners=(5, 7), square_mm=14)
    assert found.camera.u_focal < 0.01
    assert found.camera.focal_px == pytest.approx(scene.camera.focal_px, rel=0.03)
    assert "found from the checkerboard's perspective" in " ".join(found.notes)


# ---- two points, scanner


def test_two_points_say_that_the_tilt_is_not_known():
    photo = ScenePhoto(np.zeros((900, 1200, 3), np.uint8), 26.0)
    found = scale(photo, "points", points=[(100, 400), (1100, 400)], mm=200)
    assert found.mm_per_px == pytest.approx(0.2)
    middle = np.array([[600.0, 400.0]])
    assert found.mm_per_px_at(middle)[0] == pytest.approx(0.2, rel=1e-6)
    assert not found.tilt_known
    assert "square-on" in str(found)
    sloppy = scale(photo, "points", points=[(100, 400), (1100, 400)], mm=200, u_px=10)
    assert sloppy.u_at(middle).parts["marking"] == pytest.approx(math.sqrt(2) * 10 / 1000, rel=0.01)


def test_scanner_is_25_4_mm_to_the_inch_whatever_the_offset():
    photo = ScenePhoto(np.zeros((900, 1200, 3), np.uint8))
    found = scale(photo, "scanner", dpi=600, offset_mm=3.0)
    assert found.to_mm(np.array([[600.0, 300.0]]))[0] == pytest.approx([25.4, 12.7])
    assert found.camera is None
    assert found.u_at(np.array([[10.0, 10.0]])).u == pytest.approx(0.002)


# ---- refusals: the reason and what to do


def plain(size=(900, 675), tone=150):
    return ScenePhoto(np.full((size[1], size[0], 3), tone, np.uint8))


def marker_page(side, number=5, blur=0.0):
    drawn = cv2.aruco.generateImageMarker(
        cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50), number, side
    )
    page = np.full((600, 800), 230, np.uint8)
    page[200 : 200 + side, 300 : 300 + side] = drawn
    if blur:
        page = cv2.GaussianBlur(page, (0, 0), blur)
    return ScenePhoto(np.dstack([page] * 3))


@pytest.mark.parametrize(
    ("kind", "about", "words"),
    [
        ("marker", {"id": 5, "side_mm": 40}, "There is no marker 5 of DICT_4X4_50 to be found"),
        ("checkerboard", {"inner_corners": (7, 5), "square_mm": 6},
         "No checkerboard with 7 × 5 inner corners is to be found"),
        ("disc", {"diameter_mm": 25}, "No round thing with a clear edge is to be found"),
        ("ruler", {"points": [(100, 100), (800, 100)], "mm": 100}, "ticks of the ruler cannot"),
        ("card", {}, "Of the kit's card no marker can be read"),
    ],
)  # fmt: skip
def test_an_empty_picture_is_refused_with_what_to_do(kind, about, words):
    with pytest.raises(DataError, match=words) as caught:
        scale(plain(), kind, **about)
    assert (
        "etake" in str(caught.value) or "Mark" in str(caught.value) or "Count" in str(caught.value)
    )


def test_another_marker_is_named():
    with pytest.raises(
        DataError, match=r"no marker 5 of DICT_4X4_50 in the picture, but there is 9"
    ):
        scale(marker_page(180, 9), "marker", id=5, side_mm=40)


def test_too_small_and_too_blurred_are_refused():
    with pytest.raises(DataError, match=r"only 4[0-9] pixels wide in the photo, and 60 are needed"):
        scale(marker_page(48), "marker", id=5, side_mm=40)
    with pytest.raises(DataError, match=r"blurred|no marker"):
        scale(marker_page(90, blur=9.0), "marker", id=5, side_mm=40)
    with pytest.raises(DataError, match="only 30 pixels apart"):
        scale(plain(), "points", points=[(10, 10), (40, 10)], mm=100)


@pytest.mark.parametrize("tilt", [70, 86])
def test_a_checkerboard_is_measured_lying_flat_and_refused_seen_from_its_edge(tilt):
    """At 70° it was, until November 2026; what lies on a worktop is seen so (`test_flat`)."""
    camera = Camera.of(*SMALL, 26.0)
    level = replace(SCENE_LEVELS["easy"], ground=0.02)
    pose = look(camera, tilt, 0, 7.0)
    pixels = render(np.random.default_rng(4), camera, pose, [Board((7, 5), 10.0)], level, SMALL)
    about = {"inner_corners": (7, 5), "square_mm": 10}
    if tilt == 70:
        found = scale(ScenePhoto(pixels, 26.0), "checkerboard", **about)
        assert abs(found.pose.rotation[:, 2] @ pose.rotation[:, 2]) > np.cos(np.radians(0.15))
        return
    with pytest.raises(DataError, match=r"(off square-on; beyond 84°|No checkerboard|too flat)"):
        scale(ScenePhoto(pixels, 26.0), "checkerboard", **about)


@pytest.mark.parametrize(
    ("kind", "about", "message"),
    [
        ("thumb", {}, "kind is 'thumb': must be one of card, marker, checkerboard, disc, ruler, "
         "points, scanner."),
        ("marker", {}, "side_mm is None: must be given for the kind 'marker'."),
        ("marker", {"side_mm": -4}, "side_mm is -4: must be above 0 and at most 1000 mm."),
        ("marker", {"side_mm": 40, "id": 80}, "id is 80: must be a whole number from 0 to 49."),
        ("marker", {"side_mm": 40, "size": 3}, "size is 3: is no argument of the kind 'marker', "
         "which takes side_mm, id, dictionary, at, box, u_mm."),
        ("marker", {"side_mm": 40, "dictionary": "QR"}, "dictionary is 'QR': is no dictionary of "
         "OpenCV's: such as DICT_4X4_50, DICT_5X5_100 or DICT_APRILTAG_36h11."),
        ("scanner", {"dpi": 5}, "dpi is 5: must lie between 50 and 9600 dots to the inch. It "
         "stands in the scanner's settings."),
        ("scanner", {"dpi": 600, "u_mm": "2,5"}, "u_mm is '2,5': must be 0 or above, in mm."),
        ("scanner", {"dpi": 600, "u_mm": -1}, "u_mm is -1: must be 0 or above, in mm."),
        ("points", {"points": [(1, 2)], "mm": 5}, "points is [(1, 2)]: must be two points "
         "[(x, y), (x, y)], in pixels."),
        ("disc", {"diameter_mm": 25, "lies": "up"}, "lies is 'up': must be 'flat' or 'upright'."),
        ("card", {"printed_scale": 1.0}, "printed_scale is 1: must be the length in mm of the bar "
         "printed as 180 mm, near that. Lay a real ruler along it."),
        ("scanner", {"dpi": 600, "offset_mm": "high"}, "offset_mm is 'high': must lie between "
         "-500 and 500 mm."),
    ],
)  # fmt: skip
def test_wrong_arguments_are_named(kind, about, message):
    with pytest.raises(InputError) as caught:
        scale(plain(), kind, **about)
    assert str(caught.value) == message


def test_faces_of_a_scale():
    found = scale(marker_page(180), "marker", id=5, side_mm=40)
    assert repr(found).startswith("Scale(marker, 4.5 px/mm ± ")
    assert "4.5 pixels to a millimetre at the marker" in str(found)
    assert "<p>" in found._repr_html_()
    assert list(found.to_frame().columns)[:3] == ["kind", "px_per_mm", "u_percent"]
