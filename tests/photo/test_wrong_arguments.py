"""What calls with photos are given by mistake, or by a program: refused by name, never guessed.

No seed decides here. All of it came out as a TypeError, ValueError or a warning of NumPy's before.
"""

import math
from dataclasses import replace
from decimal import Decimal

import cv2
import numpy as np
import pytest
import solids

from kit.errors import DataError, InputError, KitError
from kit.photo import Jar, read, scale, series, side, two_views
from kit.photo.many import Asked, photos_in
from kit.photo.one_photo import measure, scale_for
from kit.photo.proof_ratio import ratio_from_level, ratio_from_marks

NAN = math.nan


@pytest.fixture(scope="module")
def ball():
    picture, reference, truth, _ = solids.scene(310, "easy", "ball")
    return read(picture), reference, truth


def refused(field, call, *given, **named):
    """The refusal names the field and keeps what was given."""
    with pytest.raises(InputError) as told:
        call(*given, **named)
    assert told.value.field == field
    assert told.value.rule
    return told.value


@pytest.mark.parametrize("source", [None, 5, 1.5, ["a.jpg"], {}, object()])
def test_what_is_no_picture_is_not_read(source):
    refused("photo", read, source)


@pytest.mark.parametrize(
    ("name", "value"),
    [("focal_35mm", "26"), ("focal_35mm", [26]), ("focal_35mm", NAN), ("focal_35mm", True),
     ("taken", "2026-03-05"), ("taken", 5)],
)  # fmt: skip
def test_what_is_said_of_a_photo_is_looked_at(ball, name, value):
    refused(name, read, ball[0].pixels, **{name: value})


@pytest.mark.parametrize("longest", [None, "9", NAN, [1], 0])
def test_a_size_that_is_none(ball, longest):
    refused("longest_px", ball[0].reduced, longest)


@pytest.mark.parametrize(
    "box",
    [5, "abcd", (1, 2, 3), (1, 2, 3, 4, 5), [[1, 2], [3]], {1, 2, 3, 4}, (1j, 0, 5, 5), (None,) * 4,
     (NAN,) * 4, (-math.inf, 0, 100, math.inf), (0, 0, 1e300, 1e300), (-1e9, -1e9, 1e9, 1e9),
     (-50, -50, -10, -10), (5000, 5000, 6000, 6000), (300, 300, 100, 100), (10, 10, 10, 10)],
)  # fmt: skip
def test_a_box_that_is_none_or_lies_elsewhere(ball, box):
    photo, reference, _ = ball
    refused("box", side, photo, reference, "ball", box)


@pytest.mark.parametrize(
    "outline",
    [5, "outline", {}, [(1, 2, 3)] * 10, [(1, 2), (3,)], [("a", "b")] * 10, [None] * 10,
     [(NAN, NAN)] * 10, [(1j, 2)] * 10, [(1e300, 1e300)] * 10, [(300, y) for y in range(20)],
     [(5, 5)] * 20],
)  # fmt: skip
def test_an_outline_that_is_none(ball, outline):
    photo, reference, _ = ball
    refused("outline", side, photo, reference, "ball", outline=outline)


@pytest.mark.parametrize("at", [5, "ab", (500,), (1, 2, 3), [], {}, (None, None), (NAN, 5),
                                (math.inf, -math.inf), (500, 1e9)])  # fmt: skip
@pytest.mark.parametrize("end", ["top", "base"])
def test_a_top_or_base_that_is_none(ball, end, at):
    photo, reference, truth = ball
    refused(end, side, photo, reference, "ball", truth.box, **{end: at})


def test_things_of_another_kind(ball):
    photo, reference, truth = ball
    for thing in (None, 5, "x", np.zeros((40, 40, 3), np.uint8)):
        refused("photo", side, thing, reference)
        refused("photo", scale, thing, "card")
        refused("scale", side, photo, thing)
        refused("a", two_views, thing, thing)
    for thing in (5, "x", photo):
        refused("before", side, photo, reference, "ball", before=thing)
    for thing in (86, "86", {"inner_diameter_mm": 86}):
        refused("jar", side, photo, reference, "jar", jar=thing)
        refused("jar", ratio_from_level, thing, 40, 50)
    for kind in (5, ["card"], np.array(["card", "disc"])):
        refused("kind", scale, photo, kind)
        refused("shape", side, photo, reference, kind)
    refused("lies", scale, photo, "disc", diameter_mm=25, lies=np.array([1.0, 2.0]))
    refused("mm", scale, photo, "points", points=[(100, 100), (300, 100)], mm=1e-300)
    view = side(photo, reference, "ball", truth.box)
    refused("before", side, photo, reference, "piece", before=view)


@pytest.mark.parametrize(
    "number", [None, "5", [5], {}, 1j, True, NAN, math.inf, -1, Decimal("NaN")]
)
def test_a_number_that_is_none(number):
    if number is not None:
        refused("height_mm", Jar, 86, height_mm=number)
    refused("inner_diameter_mm", Jar, number)
    refused("base_thickness_mm", Jar, 86, number)
    refused("level_mm", Jar(86, height_mm=90).volume_ml, number)
    refused("level_mm_first", ratio_from_level, Jar(86), number, 50)
    refused("u_level_mm", ratio_from_level, Jar(86), 40, 50, number)
    refused("first_mm", ratio_from_marks, number, 50)
    refused("now_mm", ratio_from_marks, 1e-300, 50)
    refused("now_mm", ratio_from_marks, 50, 1e300)
    refused("u_now_mm", ratio_from_marks, 40, 50, 0.5, number)


def test_a_jar_s_numbers_may_be_of_any_kind():
    jar = Jar(Decimal("80"), np.float32(3), profile=np.array([[0, 80.0], [100, 80]]))
    assert jar.volume_ml(Decimal("50")) == pytest.approx(Jar(80).volume_ml(50))
    for profile in (5, None, "ab", [1, 2], [(1, 2, 3)], [("a", "b")], [(0, NAN), (5, 3)]):
        refused("profile", Jar, 80, profile=profile)


def test_a_series_of_what_are_no_photos(ball):
    photo, reference, _ = ball
    for photos in (None, 5, "x.jpg", photo):
        refused("photos", series, photos, reference)
    for thing in (None, 5, "card", [reference]):
        refused("scale_of", series, [photo], thing)
    for thing in (5, [photo]):
        refused("outlines", series, [photo], reference, outlines=thing)
    refused("progress", series, [photo], reference, progress=5)
    one = series([None], reference).rows[0]
    assert one.view is None
    assert one.notes == ("photo is None: must be a file's path, its bytes or an array of pixels.",)
    assert "kind is None" in series([photo], {"mm": 40}).rows[0].notes[0]


def test_what_is_asked_of_many_photos(ball):
    photo, reference, _ = ball
    for about in (5, "x", [1]):
        refused("about", Asked, "side", about=about)
        refused("about", scale_for, photo, "side", "points", about)
    for jar in (5, {}, {"foo": 1}, {"inner_diameter_mm": 86, "foo": 1}):
        refused("jar", Asked, "rise", shape="jar", jar=jar)
    refused("inner_diameter_mm", Asked, "rise", shape="jar", jar={"inner_diameter_mm": "x"})
    for shows in (None, 5, ["side"]):
        refused("shows", measure, photo, shows, reference)
    for folder in (None, 5):
        refused("folder", photos_in, folder)


def test_a_black_ground_has_no_colour_and_bends_no_edge(ball):
    """A piece in the light before a ground that is nought in all three: NaN, and no edge at all."""
    photo, reference, truth = ball
    picture = np.zeros_like(photo.pixels)
    corners = [np.round(truth.outline * 16).astype(np.int32)]
    cv2.fillPoly(picture, corners, (230, 200, 160), cv2.LINE_AA, 4)
    view = side(read(picture), replace(reference, outline=np.empty((0, 2))), "ball")
    assert view.height_mm.value == pytest.approx(truth.height_mm, rel=0.01)


@pytest.mark.parametrize("size", [(16, 2000), (2000, 16)])
def test_a_strip_of_a_picture_is_refused_in_words(ball, size):
    strip = read(np.full((*size, 3), 90, np.uint8))
    whole = (2, 2, size[1] - 3, size[0] - 3)
    with pytest.raises(DataError, match=r"pixels large\. Go nearer"):
        side(strip, ball[1], "ball", whole)


def test_a_jar_a_millionth_of_a_millimetre_wide(ball):
    photo, reference, truth = ball
    with pytest.raises(KitError):
        side(photo, reference, "jar", truth.box, Jar(1e-9))
