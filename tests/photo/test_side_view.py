"""Side views against drawn scenes of known truth, and what is refused.

Chance of false failure: seeds are fixed; another OpenCV may move an edge by a few hundredths of a
pixel, tolerances leave at least a factor 1.5.
"""

import math
import re
from dataclasses import replace

import cv2
import numpy as np
import pytest
import solids

from kit.errors import DataError, InputError
from kit.photo.outlines import outline as edges
from kit.photo.picture import read
from kit.photo.reference import scale
from kit.photo.side_view import GLASS, ON_IT, ROUND, Jar, side


def roughly(box, seed, share=0.06):
    """A box as a hand would draw it."""
    slack = share * (box[2] - box[0]) * np.random.default_rng(seed).uniform(0.3, 1.5, 4)
    return box[0] - slack[0], box[1] - slack[1], box[2] + slack[2], box[3] + slack[3]


def errors(level, seeds, kind, boxed=True, drawn=False):
    """Relative errors and claimed uncertainties of height and volume, in percent, by seed.

    `drawn`: the reference has errors too, drawn from what it claims.
    """
    rows = []
    for seed in seeds:
        picture, scale, truth, kind_drawn = solids.scene(seed, level, kind)
        if drawn:
            scale = solids.as_found(np.random.default_rng([seed, 1]), scale)
        view = side(read(picture), scale, kind_drawn, roughly(truth.box, seed) if boxed else None)
        rows.append(
            [100 * (view.height_mm.value / truth.height_mm - 1),
             100 * (view.volume_ml.value / truth.volume_ml - 1),
             100 * view.height_mm.u / truth.height_mm,
             100 * view.volume_ml.u / truth.volume_ml]
        )  # fmt: skip
    return np.array(rows)


def rms(values):
    return float(np.sqrt(np.mean(np.square(values))))


def covered(rows):
    """Share of the 95 % intervals that hold: of height, of volume."""
    return np.mean(np.abs(rows[:, :2]) < 1.96 * rows[:, 2:], axis=0)


@pytest.mark.parametrize(
    ("level", "height", "volume"), [("easy", 0.3, 0.6), ("realistic", 0.5, 0.8)]
)
def test_balls_are_measured(level, height, volume):
    rows = errors(level, range(300, 305), "ball")
    assert rms(rows[:, 0]) < height
    assert rms(rows[:, 1]) < volume
    assert covered(rows).min() >= 0.9


def test_pieces_are_measured_as_well_as_their_hidden_middle_lets():
    """A superellipse hides its foot's and top's middle: up to some percent of the height."""
    rows = errors("realistic", range(320, 325), "piece")
    assert rms(rows[:, 0]) < 1.5
    assert rms(rows[:, 1]) < 1.2
    assert covered(rows).min() >= 0.8


def test_the_piece_is_found_without_a_box():
    rows = errors("realistic", range(340, 343), "ball", boxed=False)
    assert rms(rows[:, 0]) < 1.0


def test_a_soft_shadow_on_textured_wood_is_not_taken_for_the_piece():
    """Brown on brown stripes: refused or right within what is claimed; with a box mostly right."""
    seen = 0
    for seed in range(60, 66):
        picture, scale, truth = solids.textured_scene(seed)
        for box in (None, roughly(truth.box, seed)):
            try:
                view = side(read(picture), scale, "piece", box)
            except DataError:
                continue
            seen += box is not None
            off = view.height_mm.value - truth.height_mm
            assert abs(off) < 0.06 * truth.height_mm
            assert abs(off) < 2.6 * view.height_mm.u
            assert view.diameter_mm.value == pytest.approx(truth.diameter_mm, rel=0.015)
    assert seen >= 3


def with_far_rim(picture, outline, above, light):
    """What lies beyond a straight rim, a share of the height above the top, in another light."""
    low, high = outline[:, 1].min(), outline[:, 1].max()
    piece = np.zeros(picture.shape[:2], np.uint8)
    cv2.fillPoly(piece, [np.round(outline).astype(np.int32)], 1)
    far = np.arange(len(picture))[:, None] < low - above * (high - low)
    beyond = np.clip(picture * np.power(light, 1 / 2.2), 0, 255).astype(np.uint8)
    return np.where((far & (piece == 0))[..., None], beyond, picture)


@pytest.mark.parametrize("seed", [9472002, 9472007])
@pytest.mark.parametrize("light", [0.45, 1.7])
def test_the_worktop_s_far_rim_right_behind_its_top_bends_no_outline(seed, light):
    """What lies beyond it is darker, or lighter, than the worktop."""
    picture, scale, truth, kind = solids.scene(seed, "realistic")
    picture = with_far_rim(picture, truth.outline, -0.06, light)
    view = side(read(picture), scale, kind, roughly(truth.box, seed))
    assert view.height_mm.value == pytest.approx(truth.height_mm, rel=0.015)


@pytest.mark.parametrize("seed", [9474006, 9474009, 9474014])
def test_the_worktop_s_far_rim_is_not_taken_for_the_top_of_dough_in_a_jar(seed):
    """A bluish wall begins just above the dough: seen through the glass, it reads 5 to 8 % more."""
    picture, scale, truth, inner_mm = solids.jar_scene(seed, "realistic")
    picture = with_far_rim(picture, truth.outline, 0.05, (0.5, 0.45, 0.9))
    view = side(read(picture), scale, "jar", None, Jar(inner_mm))
    assert view.height_mm.value == pytest.approx(truth.height_mm, rel=0.015)


@pytest.mark.parametrize("seed", [14204004, 14204008, 14204016])
def test_another_of_its_colour_behind_it_is_not_measured_along(seed):
    """It peeps out over its top: 10 % too low, 39 and 7 % too high without a box before."""
    rng = np.random.default_rng([seed, 5])
    picture, scale, truth, kind = solids.scene(seed, "easy")
    line, (wide, tall) = truth.outline, np.ptp(truth.outline, axis=0)
    piece = np.zeros(picture.shape[:2], np.uint8)
    cv2.fillPoly(piece, [np.round(line).astype(np.int32)], 1)
    colour = np.median(picture[piece > 0], 0) * rng.uniform(0.92, 1.08)
    away = rng.choice([-1, 1]) * wide * rng.uniform(0.15, 0.7), -tall * rng.uniform(0.05, 0.3)
    other = (line - line.mean(0)) * rng.uniform(0.75, 0.95) + line.mean(0) + away
    there = np.zeros(picture.shape[:2], np.float32)
    cv2.fillPoly(there, [np.round(other).astype(np.int32)], 1)
    there = cv2.GaussianBlur(there, (0, 0), 1.2)
    there = (there * (1 - cv2.GaussianBlur(piece.astype(np.float32), (0, 0), 1.0)))[..., None]
    shade = 1 - 0.25 * np.linspace(0, 1, len(picture))[:, None, None]
    mixed = picture * (1 - there) + (colour * shade + rng.normal(0, 2, picture.shape)) * there
    photo = read(np.clip(mixed, 0, 255).astype(np.uint8))
    with pytest.raises(DataError, match="draw a box round the piece"):
        side(photo, scale, kind)
    try:  # a box tells which is meant, where colours let it
        boxed = side(photo, scale, kind, roughly(truth.box, seed))
    except DataError:
        return
    assert abs(boxed.height_mm.value - truth.height_mm) < 3 * boxed.height_mm.u


def test_a_piece_before_its_reference_is_refused_with_what_to_do(ball):
    photo, scale, truth = ball
    x0, y0, x1, y1 = truth.box
    card = np.array(
        [(x0 - 60, y0 - 60), (x1 + 60, y0 - 60), (x1 + 60, y1 + 60), (x0 - 60, y1 + 60)]
    )
    behind = replace(scale, outline=card)
    with pytest.raises(DataError, match="beside the piece and a gap between them"):
        side(photo, behind, "ball", truth.box)
    with pytest.raises(DataError, match="set the piece beside it"):
        side(read(np.full_like(photo.pixels, 120)), behind, "ball")
    by_hand = side(photo, behind, "ball", outline=edges.evenly(truth.outline, 40))
    assert by_hand.height_mm.value == pytest.approx(truth.height_mm, rel=0.02)


def test_several_things_without_a_box_ask_for_one(ball):
    photo, scale, truth = ball
    twice = np.array(photo.pixels)
    x0, y0, x1, y1 = (int(v) for v in truth.box)
    left = 960 - (x1 - x0)
    twice[y0:y1, left : left + x1 - x0] = twice[y0:y1, x0:x1]
    with pytest.raises(DataError, match=r"several things stand out.*Draw a box"):
        side(read(twice), scale, "ball")
    boxed = side(read(twice), scale, "ball", truth.box)
    assert boxed.height_mm.value == pytest.approx(truth.height_mm, rel=0.02)


def test_a_jar_s_glass_bottom_lifts_the_dough():
    """The card lies on the worktop 4 mm below: without the glass all is seen 4 mm too far down."""
    rng = np.random.default_rng(8)
    at = solids.setting(rng, 1000, 750, 14.0, 320.0)
    shape = solids.in_jar(42.0, 45.0, 6.0)
    picture, truth = solids.draw(rng, shape, at, 1000, 750, "easy", (44.5, 110.0))
    lying = solids.scale_of(replace(at, foot=at.foot - 4 * at.up), lying=True)
    lying = replace(lying, outline=np.empty((0, 2)))
    off = [
        abs(side(read(picture), lying, "jar", truth.box, Jar(84, thick)).height_mm.value - 51)
        for thick in (4.0, 0.0)
    ]
    assert off[0] < 0.02 * 51
    assert off[0] < off[1]


@pytest.mark.long
@pytest.mark.parametrize("level", solids.LEVELS)
def test_accuracy_and_coverage_on_many_scenes(level):
    """40 balls and 40 pieces a level, with a reference that is right and one as sure as it says.

    Coverage: a true 93 % gives under 85 % once in 500 runs.
    """
    limits = {"easy": (0.15, 0.4), "realistic": (0.25, 0.8), "hard": (0.9, 1.5)}[level]
    for kind, limit in zip(("ball", "piece"), limits, strict=True):
        right, found = [], []
        for seed in range(1000, 1040):
            try:
                right += list(errors(level, [seed], kind))
                found += list(errors(level, [seed], kind, drawn=True))
            except DataError:
                assert level == "hard"  # refused, not guessed
        right, found = np.array(right), np.array(found)
        print(
            f"{level} {kind}: {len(right)} of 40 measured; RMSE height {rms(right[:, 0]):.2f} %, "
            f"volume {rms(right[:, 1]):.2f} %; with a reference as sure as it says "
            f"{rms(found[:, 0]):.2f} and {rms(found[:, 1]):.2f} %, 95 % intervals hold "
            "{:.2f} and {:.2f}".format(*covered(found))
        )
        assert len(right) >= 34
        assert rms(right[:, 0]) < limit
        assert covered(found).min() >= 0.85


@pytest.mark.long
@pytest.mark.parametrize("level", ["easy", "realistic"])
def test_accuracy_in_jars(level):
    """20 jars a level: the dome's top, the line on the glass, the volume."""
    rows = []
    for seed in range(100, 120):
        picture, scale, truth, inner_mm = solids.jar_scene(seed, level)
        view = side(read(picture), scale, "jar", roughly(truth.box, seed), Jar(inner_mm))
        rows.append([view.height_mm.value / truth.height_mm, view.level_mm.value / truth.level_mm,
                     view.volume_ml.value / truth.volume_ml])  # fmt: skip
    off = 100 * np.sqrt(np.mean((np.array(rows) - 1) ** 2, axis=0))
    print(f"{level} jar: RMSE top {off[0]:.2f} %, line {off[1]:.2f} %, volume {off[2]:.2f} %")
    assert (off < 0.5).all()


@pytest.mark.parametrize("seed", [0, 1])
def test_dough_in_a_jar(seed):
    picture, scale, truth, inner_mm = solids.jar_scene(seed, "realistic")
    view = side(read(picture), scale, "jar", roughly(truth.box, seed), Jar(inner_mm))
    assert view.height_mm.value == pytest.approx(truth.height_mm, rel=0.01)
    assert view.level_mm.value == pytest.approx(truth.level_mm, rel=0.01)
    assert view.volume_ml.value == pytest.approx(truth.volume_ml, rel=0.01)
    assert view.level_mm.value < view.height_mm.value
    assert view.diameter_mm.value == pytest.approx(inner_mm)
    assert "line on the glass" in str(view)


@pytest.mark.parametrize("seed", [2101, 2104, 2107])
def test_an_empty_part_of_a_jar_is_not_taken_for_dough(seed):
    """Glass that shows as clearly as the dough: found without a box, the dough's line is inside."""
    import cv2

    picture, scale, truth, inner_mm = solids.jar_scene(seed, "realistic")
    x0, y0, x1, y1 = (int(v) for v in truth.box)
    glass = np.zeros(picture.shape[:2], np.uint8)
    glass[int(y0 - 0.5 * (x1 - x0)) : (y0 + y1) // 2, x0:x1] = 1
    cv2.fillPoly(glass, [np.round(truth.outline).astype(np.int32)], 0)
    picture[glass > 0] = 0.3 * picture[glass > 0] + 0.7 * np.array([70, 95, 100])
    view = side(read(picture), scale, "jar", None, Jar(inner_mm))
    assert view.height_mm.value == pytest.approx(truth.height_mm, rel=0.04)


@pytest.mark.parametrize("seed", [2302, 2305])
def test_a_label_down_to_a_jar_s_foot_is_not_measured(seed):
    """The glass's rim or the label would be taken for the dough; drawn by hand it is measured."""
    picture, scale, truth, inner_mm = solids.jar_scene(seed, "realistic")
    x0, y0, x1, y1 = (int(v) for v in truth.box)
    picture[y1 - int(85 * (y1 - y0) / truth.height_mm) : y1, x0 + 60 : x1 - 60] = (60, 70, 90)
    with pytest.raises(DataError, match="what was found in the jar does not tell how high"):
        side(read(picture), scale, "jar", None, Jar(inner_mm))
    drawn = side(read(picture), scale, "jar", outline=truth.outline, jar=Jar(inner_mm))
    assert drawn.height_mm.value == pytest.approx(truth.height_mm, rel=0.01)


def test_a_jar_whose_outline_leaves_its_height_open_is_not_measured():
    """The dough's line was lost: 20 % too low at u 8 %, though no edge is far off the solid."""
    rng = np.random.default_rng(9551101)
    at = solids.setting(rng, 1000, 750, rng.uniform(2, 14), rng.uniform(260, 420), 26.0, 0.5)
    radius = rng.uniform(34, 52)
    shape = solids.in_jar(radius, rng.uniform(35, 80), rng.uniform(2, 14))
    picture, truth = solids.draw(rng, shape, at, 1000, 750, "hard", (radius + 2.5, 120.0))
    seen = (read(picture), solids.scale_of(at), "jar")
    with pytest.raises(DataError) as told:
        side(*seen, jar=Jar(2 * radius))
    assert str(told.value) == (
        "what was found in the jar does not tell how high the dough is: the glass's rim, a label "
        "or a shadow may have been taken for it. Turn the label away and retake the photo, or draw "
        "the dough's outline."
    )
    drawn = side(*seen, outline=truth.outline, jar=Jar(2 * radius))
    assert drawn.height_mm.value == pytest.approx(truth.height_mm, rel=0.02)


def test_the_glass_s_own_foot_may_be_the_one_found_in_a_jar():
    """Three of nine jars of another program were 3.6 to 4.1 mm too high so, at u 0.2 to 0.4 mm."""
    rng = np.random.default_rng(8)
    at = solids.setting(rng, 1000, 750, 12.0, 320.0)
    shape = solids.in_jar(42.0, 45.0, 6.0)
    picture, truth = solids.draw(rng, shape, at, 1000, 750, "easy", (44.5, 110.0))
    scale, base = solids.scale_of(at), 4.0
    glass = solids.Shape(np.full(60, 44.5), np.linspace(-base, 0, 60))
    both = at.outline(solids.Shape(np.r_[glass.r, shape.r], np.r_[glass.h, shape.h + 1e-6]))
    view = side(read(picture), scale, "jar", outline=both, jar=Jar(84, base))
    assert "glass" not in view.height_mm.parts
    assert view.height_mm.value - truth.height_mm > 3
    found = side(read(picture), scale, "jar", truth.box, Jar(84, base))
    assert GLASS in found.checks
    assert GLASS not in view.checks
    for name in ("height_mm", "level_mm"):
        assert getattr(found, name).u > 0.5 * base
    assert view.height_mm.value - truth.height_mm < 1.96 * found.height_mm.u
    dragged = side(read(picture), scale, "jar", truth.box, Jar(84, base), base=found.base)
    assert dragged.height_mm.u < found.height_mm.u / 2


def test_an_outline_that_tells_no_height_gives_way_to_another():
    """Of this jar the first outline found without a box is its foot: nothing tells the rest."""
    picture, scale, truth, inner_mm = solids.jar_scene(2304, "realistic")
    view = side(read(picture), scale, "jar", None, Jar(inner_mm))
    assert view.height_mm.value == pytest.approx(truth.height_mm, rel=0.01)


@pytest.mark.parametrize("seed", [2301, 2303])
def test_a_band_round_a_jar_is_not_the_doughs_line(seed):
    """Bakers mark the start so."""
    import cv2

    picture, scale, truth, inner_mm = solids.jar_scene(seed, "realistic")
    _, y0, _, y1 = (int(v) for v in truth.box)
    jar = np.zeros(picture.shape[:2], np.uint8)
    cv2.fillPoly(jar, [np.round(truth.outline).astype(np.int32)], 1)
    jar[: (y0 + y1) // 2] = jar[int(0.44 * y0 + 0.56 * y1) :] = 0
    picture[jar > 0] = (150, 40, 40)
    view = side(read(picture), scale, "jar", None, Jar(inner_mm))
    assert view.height_mm.value == pytest.approx(truth.height_mm, rel=0.02)


def test_a_card_lying_on_the_worktop_serves_as_well():
    """Its plane gives the distance too: no offset is needed."""
    rng = np.random.default_rng(5)
    at = solids.setting(rng, 1000, 750, 14.0, 260.0)
    shape = solids.cap(45, 42)
    picture, truth = solids.draw(rng, shape, at, 1000, 750, "easy")
    scale = solids.scale_of(at, lying=True)
    view = side(read(picture), replace(scale, outline=np.empty((0, 2))), "ball", truth.box)
    assert view.height_mm.value == pytest.approx(42, rel=0.015)
    assert view.elevation_deg == pytest.approx(14, abs=1)


@pytest.fixture(scope="module")
def ball():
    picture, scale, truth, _ = solids.scene(310, "easy", "ball")
    return read(picture), scale, truth


@pytest.fixture(scope="module")
def view(ball):
    photo, scale, truth = ball
    return side(photo, scale, "ball", truth.box)


def test_result_has_the_usual_faces(view):
    assert repr(view).startswith("<Side ball: ")
    assert "\n" not in repr(view)
    text = str(view)
    assert " high, " in text
    assert ROUND in text
    assert "<strong>" in view._repr_html_()
    frame = view.to_frame()
    assert list(frame["quantity"]) == ["height_mm", "diameter_mm", "volume_ml"]
    row = frame.set_index("quantity").loc["height_mm"]
    assert row["low"] < row["value"] < row["high"]
    assert len(view.plot().lines) == 3
    # parts add up in squares
    for value in (view.height_mm, view.volume_ml):
        assert math.hypot(*value.parts.values()) == pytest.approx(value.u)
    assert view.base[1] > view.top[1]
    assert not view.corrected


def test_scale_error_goes_once_into_lengths_and_thrice_into_volume(ball):
    photo, scale, truth = ball
    view = side(photo, replace(scale, u=0.01), "ball", truth.box)
    assert view.height_mm.parts["scale"] == pytest.approx(0.01 * view.height_mm.value)
    assert view.volume_ml.parts["scale"] == pytest.approx(0.03 * view.volume_ml.value)


def test_an_outline_drawn_by_hand_is_used(ball):
    photo, scale, truth = ball
    drawn = edges.evenly(truth.outline, 40)
    view = side(photo, scale, "ball", outline=drawn)
    assert view.corrected
    assert view.height_mm.value == pytest.approx(truth.height_mm, rel=0.015)
    assert "corrected by hand" in str(view)


@pytest.mark.parametrize(("elevation_deg", "told"), [(6.0, False), (18.0, True)])
def test_a_camera_held_too_high_for_a_piece_is_told(elevation_deg, told):
    rng = np.random.default_rng(8)
    at = solids.setting(rng, 1000, 750, elevation_deg, 240.0)
    picture, truth = solids.draw(rng, solids.rounded(43, 31, 9, 9), at, 1000, 750, "easy")
    view = side(read(picture), solids.scale_of(at), "piece", roughly(truth.box, 8))
    assert any("Put the phone lower" in check for check in view.checks) == told
    assert abs(view.height_mm.value - truth.height_mm) < 2.5 * view.height_mm.u


@pytest.mark.parametrize("far_px", [-8.0, 4.0, 8.0])
@pytest.mark.parametrize(("seed", "kind"), [(310, "ball"), (62, "piece"), (64, "piece")])
def test_a_dragged_top_or_base_moves_the_height_by_as_much(seed, kind, far_px):
    """The foot is seen at its front, nearer than the axis, where a millimetre is larger.

    Not tried on flat pieces from over 10°: their unseen faces move too, by up to half as much.
    """
    picture, scale, truth, _ = solids.scene(seed, "easy", kind)
    photo = read(picture)
    view = side(photo, scale, kind, truth.box)
    away = float(np.linalg.norm(view.fit.foot))
    mm = far_px * away / scale.camera.focal_px
    front = 1 - view.fit.solid.diameter_mm / 2 / away
    for end, down, near in (("top", -1, 1.0), ("base", 1, front)):
        x, y = getattr(view, end)
        moved = side(photo, scale, kind, truth.box, **{end: (x, y + down * far_px)})
        assert moved.corrected
        assert getattr(moved, end)[1] - y == pytest.approx(down * far_px, abs=0.2 * abs(far_px))
        gained = moved.height_mm.value - view.height_mm.value
        assert gained == pytest.approx(near * mm, rel=0.25)


@pytest.mark.parametrize("seed", [310, 311, 314, 317])
def test_unknown_camera_height_is_said_and_taken_from_the_outline(seed):
    """From 3° to 12°: the ten numbers and the camera's height are told by one outline."""
    picture, scale, truth, kind = solids.scene(seed, "easy", "ball" if seed % 2 == 0 else "piece")
    known = side(read(picture), scale, kind, truth.box)
    blind = side(read(picture), replace(scale, tilt_known=False), kind, truth.box)
    assert any("how high the camera was" in c for c in blind.checks)
    assert blind.height_mm.u > 0.95 * known.height_mm.u
    assert blind.elevation_deg == pytest.approx(known.elevation_deg, abs=0.5)
    low, high = blind.height_mm.interval(0.99)
    assert low < truth.height_mm < high


def test_what_cannot_be_measured_is_refused_with_what_to_do(ball):
    photo, scale, truth = ball
    plain = read(np.full((300, 400, 3), 120, np.uint8))
    with pytest.raises(DataError, match=r"stands out from the ground\. Draw a box"):
        side(plain, scale)
    grey = np.random.default_rng(0).normal(120, 4, (750, 1000, 3)).clip(0, 255).astype(np.uint8)
    with pytest.raises(DataError, match=r"retake the photo|Draw a box"):
        side(read(grey), scale, box=truth.box)
    x0, y0, x1, y1 = truth.box
    cut = read(np.ascontiguousarray(photo.pixels[: int((y0 + y1) / 2)]))
    with pytest.raises(DataError, match="runs out of the photo"):
        side(cut, scale, box=(x0 - 5, y0 - 5, x1 + 5, (y0 + y1) / 2))
    square = np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)], float)
    star = edges.evenly(square, 80)
    middle = star.mean(0)
    star = middle + (star - middle) * np.where(np.arange(80) % 8 < 4, 1.0, 0.5)[:, None]
    with pytest.raises(DataError, match="no round solid fits"):
        side(photo, scale, outline=star)


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ({"shape": "cube"}, "shape is 'cube': must be one of ball, piece, jar."),
        ({"shape": "jar"}, 'jar is None: must be given for shape "jar", and only then. For '
         "example Jar(inner_diameter_mm=86)."),
        ({"box": (5, 5, 3, 9)}, "box is (5.0, 5.0, 3.0, 9.0): must be (left, top, right, bottom) "
         "in pixels. y counts downward."),
        ({"outline": [(1, 1), (2, 2)]}, "outline is '2 points': must be at least 8 points (x, y). "
         "Draw them once round."),
    ],
)  # fmt: skip
def test_wrong_arguments_say_which_and_what_would_be_right(ball, given, message):
    photo, scale, _ = ball
    with pytest.raises(InputError) as caught:
        side(photo, scale, **given)
    assert str(caught.value) == message


def test_a_scan_has_no_side_view(ball):
    photo, scale, _ = ball
    with pytest.raises(InputError, match="must come from a camera"):
        side(photo, replace(scale, kind="scanner", camera=None))


def test_jar_holds_what_a_frustum_holds():
    """Frustum, π h (R² + R r + r²)/3: 100 mm high, 60 to 80 mm wide."""
    cone = Jar(60, profile=[(0, 60), (100, 80)])
    assert cone.volume_ml(100) == pytest.approx(math.pi * 100 * (900 + 1200 + 1600) / 3 / 1000)
    assert cone.area_mm2(50) == pytest.approx(math.pi * 35**2)
    with pytest.raises(InputError, match="from 0 to the jar's inside height, 90 mm"):
        Jar(80, height_mm=90).volume_ml(91)
    with pytest.raises(InputError, match="pairs from the bottom up"):
        Jar(80, profile=[(10, 80), (5, 80)])


def test_a_piece_of_a_few_pixels_is_refused(ball):
    tiny = np.full((300, 400, 3), 40, np.uint8)
    yy, xx = np.mgrid[:300, :400]
    tiny[((xx - 200) / 16) ** 2 + ((yy - 150) / 11) ** 2 < 1] = 210
    with pytest.raises(DataError, match=r"only \d+ pixels large\. Go nearer"):
        side(read(tiny), replace(ball[1], outline=np.empty((0, 2))), "ball")


@pytest.mark.parametrize("seed", [2, 3, 5, 8, 312, 314])
def test_two_points_beside_it_do(seed):
    """Nothing is told of the camera's height and lean: both are taken from the outline.

    How the marks' plane is turned is not told either: said to be square on, lengths are surer.
    """
    picture, card, truth, kind = solids.scene(
        seed, "easy", "ball" if seed in (312, 314) else "piece"
    )
    ends = card.camera.project(card.pose.to_camera(np.array([[-20.0, 0, 0], [20, 0, 0]])))
    photo = replace(read(picture), focal_35mm=26.0)
    said = {"points": ends, "mm": 40, "offset_mm": 12}
    view = side(photo, scale(photo, "points", tilt_deg=10, **said), kind, truth.box)
    assert view.height_mm.value == pytest.approx(truth.height_mm, rel=0.05)
    assert view.height_mm.u < 0.05 * truth.height_mm
    assert abs(view.height_mm.value - truth.height_mm) < 3 * view.height_mm.u
    any_way = side(photo, scale(photo, "points", **said), kind, truth.box)
    assert any_way.height_mm.value == pytest.approx(view.height_mm.value, rel=1e-6)
    assert view.height_mm.u < 0.6 * any_way.height_mm.u


def test_points_that_lie_on_what_was_measured_are_told():
    """Marked on a strip of paper beside it, the paper was taken for the piece: 50 % too low."""
    import cv2

    picture, card, truth, kind = solids.scene(5, "easy", "piece")
    hull = cv2.convexHull(card.outline.astype(np.float32))
    picture = cv2.fillPoly(picture, [np.round(hull).astype(np.int32)], picture[5, 5].tolist())
    photo = replace(read(picture), focal_35mm=26.0)
    x0, y0, x1, y1 = truth.box
    y = (y0 + y1) / 2
    for ends in ([(x0 + 20, y), (x1 - 20, y)], [(x0 - 90, y), (x0 - 20, y)]):
        by = scale(photo, "points", points=ends, mm=70, offset_mm=0)
        on_it = ends[0][0] > x0
        assert (ON_IT in side(photo, by, kind).checks) == on_it
        assert ON_IT not in side(photo, by, kind, truth.box).checks


@pytest.mark.parametrize(("seed", "rounded"), [(6606, True), (6609, True), (6607, False)])
def test_what_a_leaning_reference_does_is_told_where_it_matters(seed, rounded):
    """The number that is told against what a plane that leans by a degree either way changes."""
    picture, scale, truth, kind = solids.scene(seed, "easy", "piece", 1000, 750)
    photo = read(picture)

    def leaning(degrees):
        a = math.radians(-degrees)  # its top away from the camera
        turn = np.array([[1, 0, 0], [0, math.cos(a), -math.sin(a)], [0, math.sin(a), math.cos(a)]])
        pose = replace(scale.pose, rotation=scale.pose.rotation @ turn)
        return side(photo, replace(scale, pose=pose), kind, truth.box)

    per_degree = (leaning(1).height_mm.value - leaning(-1).height_mm.value) / 2
    told = [check for check in leaning(0).checks if "truly upright" in check]
    if rounded:
        found = re.search(r"leans back the height is ([\d.]+) mm too tall", told[0])
        assert float(found[1]) == pytest.approx(per_degree, rel=0.3)
    else:  # its sharp edges show how high the camera was
        assert told == []
        assert abs(per_degree) < 0.01 * truth.height_mm


def test_a_piece_said_to_stand_behind_its_reference_is_told(ball):
    """A minus is easily typed, and makes the piece larger."""
    photo, scale, truth = ball
    behind = side(photo, replace(scale, offset_mm=-abs(scale.offset_mm) - 1), "ball", truth.box)
    assert any("mm behind the reference" in check for check in behind.checks)
    before = side(photo, replace(scale, offset_mm=abs(scale.offset_mm)), "ball", truth.box)
    assert not any("behind the reference" in check for check in before.checks)
