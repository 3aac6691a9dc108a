"""The measure panel without a browser: photos in, guesses, measuring by stand-ins, corrections."""

import html
import io
import os
import re
import sys
import time
import zlib
from dataclasses import dataclass, field
from datetime import date
from threading import Event
from types import SimpleNamespace

import numpy as np
import pytest
from PIL import Image

import kit.photo
from kit import panels
from kit.errors import DataError
from kit.photo import reference
from kit.photo.proof_series import Series, SeriesRow
from kit.photo.value import Value
from kit.workspace import Workspace

DAY = "2026-11-19"


def picture(path, taken=f"{DAY} 10:00:00", size=(320, 240)):
    path.parent.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng(zlib.crc32(path.name.encode()))
    pixels = rng.integers(90, 130, (size[1], size[0], 3), dtype=np.uint8)
    exif = Image.Exif()
    if taken:
        exif.get_ifd(0x8769)[0x9003] = taken.replace("-", ":")
    Image.fromarray(pixels).save(path, exif=exif)
    return path


def words(shown):
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", shown.value)).strip()


def circle(x=160, y=120, r=60, n=200):
    angle = np.linspace(0, 2 * np.pi, n, endpoint=False)
    return np.column_stack([x + r * np.cos(angle), y + r * np.sin(angle)])


@dataclass
class Found:
    """Stands in for a scale."""

    outline: np.ndarray = field(default_factory=lambda: circle(40, 40, 20, 4))
    notes: tuple = ("seen from 8 degrees",)


@dataclass
class Calls:
    """Stands in for the measuring: an outline is as high as it is, in tenths of a millimetre."""

    asked: list = field(default_factory=list)

    def scale(self, photo, kind, **about):
        self.asked.append(("scale", kind, about))
        if about.get("mm") == 13:
            raise DataError("the points lie on one another. Drag them apart.")
        return Found()

    def side(self, photo, scale, **how):
        self.asked.append(("side", how))
        outline = how.get("outline", circle())
        low, high = outline[:, 1].min(), outline[:, 1].max()
        height = (high - low) / 4
        return SimpleNamespace(
            outline=outline, top=tuple(outline[outline[:, 1].argmin()]),
            base=tuple(outline[outline[:, 1].argmax()]), checks=("look whether it is round",),
            height_mm=Value(height, 0.25, "mm"), diameter_mm=Value(90.0, 0.6, "mm"),
            volume_ml=Value(4 * height, 3.0, "ml"),
        )  # fmt: skip

    def crumb(self, photo, scale, **how):
        self.asked.append(("crumb", how))
        threshold = how.get("threshold", 0.38)
        return SimpleNamespace(
            openness=Value(threshold + 0.1, 0.02), cells_per_cm2=Value(30.0, 2.0, "/cm²"),
            median_cell_mm2=Value(0.6, 0.05, "mm²"), threshold=threshold,
            face=how.get("outline", circle()), mask=np.eye(50, 40, dtype=bool),
            transform=np.diag([2.0, 2.0, 1.0]),
        )  # fmt: skip


@pytest.fixture
def calls(monkeypatch):
    stand_in = Calls()
    for name in ("scale", "side", "crumb"):
        monkeypatch.setattr(kit.photo, name, getattr(stand_in, name), raising=False)
    return stand_in


@pytest.fixture
def trial(tmp_path):
    with Workspace(tmp_path / "bakes", who="Ida") as ws:
        made = ws.new_trial("malt", outcome="rise_height_mm", zone="Europe/Berlin")
        dough = made.add_dough(made.add_bake(DAY))
        for _ in range(3):
            made.add_piece(dough)
        yield made


@pytest.fixture
def panel(trial, tmp_path, calls):
    for minute, name in enumerate(("1A1 side.jpg", "1A2 crumb.jpg", "1A rise.jpg")):
        picture(tmp_path / "phone" / name, f"{DAY} 10:{minute:02d}:00")
    made = panels.measure(trial.workspace)
    made.path.value = str(tmp_path / "phone")
    made.take.click()
    return made


def choose(panel, name):
    panel.strip.chosen = next(i["key"] for i in panel.strip.items if i["name"] == name)


def drag(panel, key, x, y):
    """As the browser sends it."""
    marking = panel.one.marking
    marking.send = lambda answer: None
    drag.seq = getattr(drag, "seq", 0) + 1
    message = {"kind": "move", "client": "c", "seq": drag.seq, "grip": key, "x": x, "y": y}
    marking._heard(marking, message, [])


def test_taken_in_with_guesses_and_thumbnails(panel):
    assert words(panel.taken) == "3 photos taken in."
    assert words(panel.counted) == "malt: 3 photos, 3 not measured."
    told = [(i["when"], i["shows"], i["whose"], i["state"]) for i in panel.strip.items]
    assert told == [
        (f"{DAY} 10:00", "a piece from the side", "piece 1A1?", ""),
        (f"{DAY} 10:01", "a cut face", "piece 1A2?", ""),
        (f"{DAY} 10:02", "dough while it proofs", "dough 1A?", ""),
    ]
    assert all(bytes(b).startswith(b"\xff\xd8\xff") for b in panel.strip.thumbs.values())
    assert len(panel.strip.thumbs) == 3
    assert panel.one.marking.alt == "Photo 1A1 side.jpg"
    assert (panel.one.marking.width, panel.one.marking.height) == (320, 240)
    assert panel.one.marking.marks["grips"] == []


def test_us_units_stand_beside_the_metric_ones(panel, trial, monkeypatch):
    monkeypatch.setenv("KIT_UNITS", "us")
    trial.record(trial.piece("1A1"), "rise_height_mm", "30.1")
    panel.one.measure.click()
    assert "Height: 30.00 mm (1.181 in) ± 0.25 mm (0.010 in)" in words(panel.one.values)
    assert "Volume: 120.0 ± 3.0 ml" in words(panel.one.values)  # has no other unit
    panel.one.keep.click()
    told = words(panel.one.kept)
    assert "height 30.0 mm (1.18 in)" in told
    assert "In place of height 30.1 mm (1.19 in), as typed" in told
    choose(panel, "1A2 crumb.jpg")
    choose(panel, "1A1 side.jpg")
    assert "height 30.00 mm (1.181 in) ± 0.25 mm (0.010 in)" in words(panel.one.kept)


def test_measured_corrected_by_dragging_and_kept(panel, trial, calls):
    one = panel.one
    one.measure.click()
    assert calls.asked == [
        ("scale", "card", {"offset_mm": 0.0, "u_offset_mm": 25.0}), ("side", {"shape": "piece"}),
    ]  # fmt: skip
    assert "Height: 30.00 ± 0.25 mm" in words(one.values)
    assert "Seen from 8 degrees." in words(one.values)
    assert "Look whether it is round." in words(one.values)
    assert one.again.layout.display == "none"
    keys = [grip["key"] for grip in one.marking.marks["grips"]]
    assert keys[-2:] == ["top", "base"]
    assert len(keys) == 22
    assert [line["look"] for line in one.marking.marks["lines"]] == ["outline", "reference"]

    drag(panel, "top", 160, 52)  # 8 pixels up: 2 mm taller
    assert "Height: 32.00 ± 0.25 mm" in words(one.values)
    assert "Corrected by hand: top." in words(one.values)
    outline = calls.asked[-1][1]["outline"]
    assert outline[:, 1].max() == pytest.approx(180)  # the foot stays
    place = next(g for g in one.marking.marks["grips"] if g["key"] == "outline-0")
    drag(panel, "outline-0", place["x"] + 10, place["y"])
    assert "Corrected by hand: top, outline." in words(one.values)
    assert one.marking.at("outline-0") == pytest.approx((place["x"] + 10, place["y"]), abs=0.1)

    one.again.click()
    assert "Height: 30.00 ± 0.25 mm" in words(one.values)
    assert "Corrected" not in words(one.values)
    drag(panel, "base", 160, 184)
    trial.record(trial.piece("1A1"), "rise_height_mm", "29,5")
    one.keep.click()  # six standard uncertainties from what was typed: asked first
    assert words(one.kept).startswith(
        "Not yet: height of piece 1A1 was typed as 29.5 mm, and the photo says 31.00 ± 0.25 mm. "
        "Which is right?"
    )
    assert trial.photo_readings().empty
    one.keep.click()
    assert words(one.kept).startswith("Kept for piece 1A1: height 31.0 mm")
    assert "In place of height 29.5 mm, as typed: Undo brings it back." in words(one.kept)
    assert trial.frame().set_index("piece").loc["1A1", "rise_height_mm"] == 31.0
    assert set(trial.photo_readings()["note"]) == {"corrected by hand: base"}
    assert [i["state"] for i in panel.strip.items] == ["kept", "", ""]
    assert panel.strip.items[0]["whose"] == "piece 1A1"
    choose(panel, "1A2 crumb.jpg")
    choose(panel, "1A1 side.jpg")
    assert "31.00 ± 0.25 mm" in words(one.kept)
    assert "(corrected by hand: base)" in words(one.kept)
    panel.undo.click()
    assert words(panel.taken) == "Undone: malt: photo 1A1 side.jpg measured, piece 1A1."
    assert trial.photo_readings().empty
    assert [i["state"] for i in panel.strip.items] == ["", "", ""]


def test_the_crumbs_threshold_slides(panel, trial, calls):
    choose(panel, "1A2 crumb.jpg")
    one = panel.one
    assert one.threshold.layout.display == "none"
    one.measure.click()
    assert one.threshold.layout.display is None
    assert one.threshold.value == pytest.approx(0.38)
    assert "Crumb openness: 0.480 ± 0.020" in words(one.values)
    laid_over = Image.open(io.BytesIO(one.marking.overlay)).convert("RGBA")
    assert laid_over.size == (320, 240)
    assert laid_over.getpixel((30, 30))[3] == 255  # a cell, twice as large as on the mask
    assert laid_over.getpixel((30, 60))[3] == 0
    one.threshold.value = 0.45
    assert calls.asked[-1] == ("crumb", {"threshold": 0.45})
    assert "Crumb openness: 0.550 ± 0.020" in words(one.values)
    one.keep.click()
    rows = trial.photo_readings()
    assert set(rows["note"]) == {"corrected by hand: threshold"}
    assert set(rows["quantity"]) == {"crumb_openness", "cells_per_cm2", "median_cell_mm2"}


def test_proof_says_what_double_is_and_asks_for_the_jar(panel, trial, calls):
    assert panel.one.double.layout.display == "none"
    choose(panel, "1A rise.jpg")
    one = panel.one
    assert one.double.layout.display is None
    assert "1.26 × in height when the shape stays the same; 2 × in a ring" in words(one.double)
    one.measure.click()
    assert calls.asked[-1] == ("side", {"shape": "ball"})
    assert "Dough volume: 120.0 ± 3.0 ml" in words(one.values)
    one.shape.kind.value = "jar"
    one.measure.click()
    assert "Measure how wide its inside is." in words(one.shape.inner.said)
    assert one.said.value == ""
    one.shape.inner.value, one.shape.base.value = "8,6 cm", "3 mm"
    one.measure.click()
    jar = calls.asked[-1][1]["jar"]
    assert (jar.inner_diameter_mm, jar.base_thickness_mm) == (86.0, 3.0)
    one.keep.click()
    assert "Kept for dough 1A: dough volume 120 ml" in words(one.kept)
    assert set(trial.photo_readings()["quantity"]) == {"dough_volume_ml", "dough_ratio"}


def test_two_points_are_dragged_and_refusals_keep_what_was_done(panel, calls):
    one = panel.one
    one.reference.kind.value = "points"
    assert [g["key"] for g in one.marking.marks["grips"]] == ["end-1", "end-2"]
    one.measure.click()
    distance = words(one.reference.fields["points"]["mm"].said)
    assert "distance" in distance
    assert "must not be empty" in distance
    one.reference.fields["points"]["mm"].value = "4 cm"
    drag(panel, "end-1", 30, 200)
    one.measure.click()  # the other lies where it was drawn: a size by chance
    assert "needs both marks put on the photo" in words(one.said)
    assert calls.asked == []
    drag(panel, "end-2", 310, 220)
    assert calls.asked == []  # nothing is measured before it is asked for
    one.measure.click()
    kind, name, about = calls.asked[0]
    assert (kind, name, about["mm"]) == ("scale", "points", 40.0)
    assert about["points"] == [(30, 200), (310, 220)]
    drag(panel, "end-2", 300, 210)
    assert calls.asked[-2][2]["points"] == [(30, 200), (300, 210)]
    assert "Corrected" not in words(one.values)
    one.reference.fields["points"]["mm"].value = "13 mm"
    assert "the points lie on one another. Drag them apart." in words(one.said)
    assert one.keep.layout.display == "none"
    assert one.marking.at("end-2") == (300, 210)


def test_two_points_are_put_on_every_photo_anew(panel, calls):
    """The camera may have moved: where the marks lay before is shown, and not measured by."""
    one = panel.one
    one.reference.kind.value = "points"
    one.reference.fields["points"]["mm"].value = "40 mm"
    assert one.lie_right.layout.display == "none"
    drag(panel, "end-1", 30, 200)
    drag(panel, "end-2", 310, 220)
    assert one.marking.marks["lines"][0]["look"] == "reference"
    choose(panel, "1A2 crumb.jpg")
    assert one.marking.at("end-1") == (30, 200)
    assert one.marking.marks["lines"][0]["look"] == "helper"
    assert "the camera may have moved" in words(one.said)
    one.measure.click()
    assert "needs both marks put on the photo" in words(one.said)
    assert calls.asked == []
    drag(panel, "end-2", 300, 210)
    one.measure.click()  # the other lies where it lay on the photo before
    assert calls.asked == []
    assert one.lie_right.layout.display is None
    one.lie_right.click()
    assert calls.asked[0][2]["points"] == [(30, 200), (300, 210)]
    assert one.lie_right.layout.display == "none"
    one.keep.click()
    choose(panel, "1A1 side.jpg")
    choose(panel, "1A2 crumb.jpg")  # what was kept was put there
    assert one.lie_right.layout.display == "none"
    assert calls.asked[-2][2]["points"] == [(30, 200), (300, 210)]


def test_a_disc_s_mark_is_not_one_of_two_points_to_confirm(panel):
    one = panel.one
    one.reference.kind.value = "disc"
    drag(panel, "end-disc", 40, 200)
    choose(panel, "1A2 crumb.jpg")
    one.reference.kind.value = "points"
    assert one.lie_right.layout.display == "none"


def test_how_the_camera_was_held_is_said_for_two_points(panel, calls):
    one = panel.one
    one.reference.kind.value = "points"
    one.reference.fields["points"]["mm"].value = "40 mm"
    drag(panel, "end-1", 30, 200)
    drag(panel, "end-2", 300, 210)
    held = one.reference.choices["points"]
    assert held in one.reference.children
    one.measure.click()
    assert calls.asked[0][2]["tilt_deg"] == 40
    held.value = 10.0
    assert calls.asked[-2][2]["tilt_deg"] == 10  # measured anew
    assert "two points do not tell the tilt" in words(one.reference.told)


def test_a_disc_is_asked_how_it_lies_and_pointed_at_only_when_dragged(panel, calls):
    one = panel.one
    one.reference.kind.value = "disc"
    one.reference.fields["disc"]["diameter_mm"].value = "25 mm"
    one.measure.click()
    assert "the round thing" in words(one.said)
    assert "must be said: flat or upright" in words(one.said)
    assert calls.asked == []
    one.reference.choices["disc"].value = "flat"
    one.measure.click()
    assert calls.asked[0] == (
        "scale", "disc",
        {"diameter_mm": 25.0, "offset_mm": 0.0, "u_offset_mm": 25.0, "lies": "flat"},
    )  # fmt: skip
    drag(panel, "end-disc", 60, 80)
    assert calls.asked[-2][2]["at"] == (60, 80)
    assert "Corrected" not in words(one.values)
    how = one.how("side")
    assert how["about"]["lies"] == "flat"  # many are measured by it too
    assert "at" not in how["about"]


def test_what_the_measuring_refuses_is_said_of_the_field_not_of_the_argument(panel, monkeypatch):
    monkeypatch.setattr(kit.photo, "scale", reference.scale)
    one, plain = panel.one, lambda shown: html.unescape(words(shown))
    bar, depth = one.reference.fields["card"]["printed_scale"], one.reference.front
    depth.value = "3 m"
    one.measure.click()
    says = "middle in front of it is '3 m': must lie between -500 and 500 mm."
    assert plain(depth.said) == f"Not yet: {says}"
    assert one.said.value == ""  # read out twice otherwise
    depth.value, bar.value = "20 mm", "18"
    one.measure.click()
    assert plain(depth.said) == ""
    assert one.said.value == ""
    assert plain(bar.said).startswith("Not yet: its long bar, measured is '18': must be the length")
    assert bar.value == "18"
    choose(panel, "1A rise.jpg")
    bar.value, one.shape.kind.value = "", "jar"
    one.shape.inner.value, one.shape.base.value = "80 mm", "-3"
    one.measure.click()
    assert plain(one.shape.base.said) == "Not yet: its base is thick is '-3': must be 0 or more."


def test_where_nothing_is_found_the_outline_is_drawn_by_hand(panel, calls, monkeypatch):
    def refuses(photo, scale, **how):
        if "outline" not in how:
            raise DataError("no piece was found. Draw a box round it, or draw the outline.")
        return calls.side(photo, scale, **how)

    monkeypatch.setattr(kit.photo, "side", refuses)
    one = panel.one
    assert one.trace.layout.display == "none"  # it may be found by itself
    one.measure.click()
    assert one.trace.layout.display is None  # as the refusal says, with or without a box
    one.place.value = True
    assert one.place.description == "Draw a box round it"
    assert one.trace.layout.display is None
    drag(panel, "box-1", 60, 40)
    drag(panel, "box-2", 260, 200)
    one.measure.click()
    assert "draw the outline" in words(one.said)
    one.trace.click()
    assert "Drag its points onto the edge" in words(one.said)
    points = [g for g in one.marking.marks["grips"] if g["key"].startswith("outline-")]
    assert len(points) == 20
    assert min(g["x"] for g in points) == pytest.approx(60, abs=2)
    assert max(g["y"] for g in points) == pytest.approx(200, abs=2)
    drag(panel, "outline-0", 250, 125)
    assert one.result is None  # a guess, half dragged, is no measurement
    one.measure.click()
    assert "Corrected by hand: place, outline." in words(one.values)
    drawn = one.hand.said["outline"]
    one.measure.click()  # what a hand drew is not lost by pressing it again
    assert one.hand.said["outline"] is drawn
    assert "Corrected by hand: place, outline." in words(one.values)


def test_how_far_a_piece_stands_is_not_taken_for_a_cut_face(panel, calls):
    one, form = panel.one, panel.one.reference
    shown = lambda: [f.layout.display != "none" for f in (form.front, form.above)]  # noqa: E731
    assert shown() == [True, False]
    one.measure.click()
    assert calls.asked[0] == ("scale", "card", {"offset_mm": 0.0, "u_offset_mm": 25.0})
    assert "How far its middle stands in front of the reference was not said." in words(one.values)
    form.front.value = "55 mm"  # measured anew at once
    assert calls.asked[-2][2] == {"offset_mm": 55.0, "u_offset_mm": 1.0}
    assert "was not said" not in words(one.values)
    choose(panel, "1A2 crumb.jpg")
    assert shown() == [False, True]
    one.measure.click()
    assert calls.asked[-2][2] == {"offset_mm": 0.0, "u_offset_mm": 12.0}
    assert "How far the cut face lies above the reference was not said." in words(one.values)
    assert one.how("side")["about"] == {"offset_mm": 55.0}  # many are measured by what fits each
    assert one.how("crumb")["about"] == one.how("face")["about"] == {}
    form.above.value = "a bit"
    assert "face above it" in words(form.above.said)
    assert form.above.value == "a bit"
    form.kind.value = "scanner"
    assert shown() == [False, False]


@pytest.mark.parametrize(
    ("kind", "field", "typed", "words_"),
    [
        ("points", "mm", "1e99", "distance is '1e99': must be at most 2000 mm."),
        ("scanner", "dpi", "six hundred", "dots to the inch is 'six hundred': must be a number. It "
         "stands in the scanner's settings, such as 600."),
        ("marker", "id", "7x", "its number is '7x': must be a whole number. Leave it empty for "
         "any."),
        ("checkerboard", "inner_corners", "7", "inner corners is '7': must be two whole numbers. "
         "Write for example 7 x 5."),
        ("points", "mm", "-4 cm", "distance is '-4 cm': must be above 0."),
    ],
)  # fmt: skip
def test_nonsense_is_said_beside_its_field(panel, calls, kind, field, typed, words_):
    one = panel.one
    one.reference.kind.value = kind
    if "side_mm" in one.reference.fields[kind]:
        one.reference.fields[kind]["side_mm"].value = "40"
    if "square_mm" in one.reference.fields[kind]:
        one.reference.fields[kind]["square_mm"].value = "6"
    one.reference.fields[kind][field].value = typed
    one.measure.click()
    beside = html.unescape(words(one.reference.fields[kind][field].said))
    assert beside == f"Not yet: {words_}"
    assert one.said.value == ""  # read out twice otherwise
    assert calls.asked == []
    assert one.reference.fields[kind][field].value == typed  # what was typed stays


@pytest.mark.parametrize(
    ("kind", "field", "typed"),
    [("checkerboard", "inner_corners", "9 x " + "9" * 10_000), ("marker", "id", "9" * 10_000),
     ("scanner", "dpi", "9" * 10_000), ("scanner", "dpi", "nan")],
)  # fmt: skip
def test_a_number_without_end_is_refused_beside_its_field(panel, calls, kind, field, typed):
    asked = panel.one.reference.fields[kind]
    panel.one.reference.kind.value = kind
    for name in ("side_mm", "square_mm"):
        if name in asked:
            asked[name].value = "40"
    asked[field].value = typed
    panel.one.measure.click()
    assert re.search("must be (two|a) (whole )?number", words(asked[field].said))
    assert calls.asked == []


def test_no_outline_is_drawn_on_a_photo_that_cannot_be_read(panel, trial):
    os.remove(trial.workspace.folder / trial.photos()[0].path)
    choose(panel, "1A2 crumb.jpg")
    choose(panel, "1A1 side.jpg")
    panel.one.place.value = True
    panel.one._trace()  # what the button does
    assert "outline" not in panel.one.hand.said


def risen(photos, ratios=(1.0, 1.5), u=0.01):
    """What `kit.photo.series` gives for these photos, the last one not measured."""
    rows = [
        SeriesRow(
            photo.name, photo.sha256, photo.taken, 30.0 * i,
            SimpleNamespace(volume_ml=Value(120.0 * ratio, 6.0, "ml"), height_mm=Value(50.0, 1.0),
                            diameter_mm=Value(70.0, 1.0)),
            Value(ratio, u if i else 0.0), (),
        )
        for i, (photo, ratio) in enumerate(zip(photos, ratios, strict=False))
    ]  # fmt: skip
    rows += [SeriesRow(p.name, p.sha256, p.taken, 90.0, None, None, ("no dough was found",))
             for p in photos[len(ratios) :]]  # fmt: skip
    return Series("ball", tuple(rows), True, ("double is double",))


def test_photos_of_one_dough_are_measured_together(panel, trial, calls, tmp_path, monkeypatch):
    def series(photos, scale, **how):
        calls.asked.append(("series", scale.outline.shape, how))
        how["progress"](1, 3)
        return risen(photos)

    monkeypatch.setattr(kit.photo, "series", series, raising=False)
    one = panel.one
    choose(panel, "1A rise.jpg")
    assert one.together.layout.display == "none"  # one photo is no series
    for minute in (30, 50):
        picture(tmp_path / "phone" / f"1A rise {minute}.jpg", f"{DAY} 10:{minute}:00")
    panel.take.click()
    assert one.together.layout.display is None
    assert words(one.together._title) == "Dough 1A: 3 photos."
    one.measure.click()
    drag(panel, "outline-0", 225, 120)
    one.together.measure.click()
    assert words(one.together.said) == ""
    name, _, how = calls.asked[-1]
    assert (name, how["shape"], list(how["outlines"])) == ("series", "ball", [0])
    told = words(one.together.table)
    assert "How far its middle stands in front of the reference was not said." in told
    assert "1.50 times the first volume after 30 minutes" in told
    assert "1, by definition" in told
    assert "1.500 ± 0.010" in told
    assert "no dough was found" in told
    one.together.keep.click()
    assert words(one.together.kept) == "Kept for dough 1A: 2 photos."
    rows = trial.photo_readings().set_index(["photo", "quantity"])
    first, second, third = (p.id for p in trial.photos() if "rise" in p.name)
    assert rows.loc[(second, "dough_ratio"), ["value", "u"]].tolist() == [1.5, 0.01]
    assert rows.loc[(first, "dough_ratio"), "value"] == 1
    assert np.isnan(rows.loc[(first, "dough_ratio"), "u"])
    assert rows.loc[(second, "dough_volume_ml"), ["value", "u"]].tolist() == [180.0, 6.0]
    assert set(rows["note"]) == {"corrected by hand: outline"}
    assert third not in rows.index.get_level_values("photo")
    panel.undo.click()
    assert trial.photo_readings().empty


def test_a_series_says_what_is_missing(panel, trial, calls, tmp_path):
    picture(tmp_path / "phone" / "1A rise 2.jpg", f"{DAY} 10:30:00")
    panel.take.click()
    choose(panel, "1A rise.jpg")
    one = panel.one
    one.shape.kind.value = "jar"
    one.together.measure.click()
    assert "Measure how wide its inside is." in words(one.together.said)
    assert one.together.keep.layout.display == "none"
    one.together.keep.click()
    assert trial.photo_readings().empty
    choose(panel, "1A1 side.jpg")
    assert one.together.layout.display == "none"


def test_where_it_is_can_be_said(panel, calls, trial):
    one = panel.one
    one.place.value = True
    assert [g["key"] for g in one.marking.marks["grips"]] == ["box-1", "box-2"]
    drag(panel, "box-1", 100, 60)
    drag(panel, "box-2", 20, 200)  # any two corners
    one.measure.click()
    assert calls.asked[-1][1]["box"] == (20, 60, 100, 200)
    one.again.click()
    assert calls.asked[-1][1]["box"] == (20, 60, 100, 200)
    one.keep.click()
    assert set(trial.photo_readings()["note"]) == {"corrected by hand: place"}


def test_what_is_said_of_a_photo_is_stored(panel, trial):
    one = panel.one
    one.about.whose.value = trial.piece("1A3").id
    assert str(trial.photos()[0].on) == "piece 1A3"
    assert panel.strip.items[0]["whose"] == "piece 1A3"
    assert words(one.about.guessed) == ""
    one.about.shows.value = "crumb"
    assert trial.photos()[0].shows == "crumb"
    one.about.shows.value = "rise"
    names = [name for name, _ in one.about.whose.options]
    assert names == ["say whose …", "dough 1A"]
    assert str(trial.photos()[0].on) == "dough 1A"
    one.about.taken.value = "yesterday"
    assert "is not a time" in words(one.about.taken.said)
    one.about.taken.value = f"{DAY} 9:05"
    assert f"{trial.photos()[0].taken:%H:%M}" == "09:05"
    assert panel.strip.items[0]["when"] == f"{DAY} 09:05"
    one.about.out.click()
    assert len(trial.photos()) == 2
    trial.workspace.undo()
    assert len(trial.photos()) == 3


def test_taken_out_says_what_stays(panel, trial):
    one = panel.one
    one.about.out.click()
    assert words(one.about.said) == "1A1 side.jpg is out. Undo brings it back."
    panel.undo.click()
    choose(panel, "1A1 side.jpg")
    one.measure.click()
    one.keep.click()
    one.about.out.click()
    stays = "What was measured on it still counts for piece 1A1."
    assert words(one.about.said) == f"1A1 side.jpg is out. {stays} Undo brings it back."
    assert trial.frame()["rise_height_mm"].notna().sum() == 1
    choose(panel, "1A rise.jpg")
    assert words(one.about.said) == ""


def test_only_folders_with_photos_are_offered(trial, tmp_path):
    home = trial.workspace.folder
    (home / "copies").mkdir(exist_ok=True)
    picture(home / "phone" / "x.jpg")
    offered = [name for name, _ in panels.measure(trial.workspace).folder.options]
    assert "phone" in offered
    assert "copies" not in offered


def test_a_missing_time_is_asked_for(panel, trial, tmp_path):
    picture(tmp_path / "more" / "1A3.png", None)
    panel.path.value = str(tmp_path / "more")
    panel.take.click()
    assert "1 without a time: say when each was taken." in words(panel.taken)
    choose(panel, "1A3.png")
    assert "It is not known when this photo was taken" in words(panel.one.about.taken.said)
    panel.one.about.taken.value = f"{DAY} 12:00"
    assert words(panel.one.about.taken.said) == ""


def test_nothing_is_kept_for_nobody(panel, trial, tmp_path):
    trial.add_photos(picture(tmp_path / "dog.jpg"))
    panel.refresh()
    choose(panel, "dog.jpg")
    panel.one.about.shows.value = "side"
    panel.one.measure.click()
    panel.one.keep.click()
    assert "must be known" in words(panel.one.kept)
    assert trial.photo_readings().empty


def test_a_folder_that_is_not_there_and_a_broken_file(panel, tmp_path):
    panel.path.value = str(tmp_path / "gone")
    panel.take.click()
    assert "Not yet:" in words(panel.taken)
    (tmp_path / "bad").mkdir()
    (tmp_path / "bad" / "x.jpg").write_bytes(b"\xff\xd8\xff\xe0")
    panel.path.value = str(tmp_path / "bad")
    panel.take.click()
    assert words(panel.taken).startswith("0 photos taken in. x.jpg is left out:")


def test_a_file_that_went_missing_is_said_and_the_others_go_on(panel, trial):
    choose(panel, "1A2 crumb.jpg")
    os.remove(trial.workspace.folder / trial.photos()[0].path)
    choose(panel, "1A1 side.jpg")
    assert "Not yet:" in words(panel.one.said)
    assert panel.one.marking.picture == b""
    choose(panel, "1A2 crumb.jpg")
    assert words(panel.one.said) == ""


def test_all_are_measured_stopped_and_gone_on_with(panel, trial, calls, monkeypatch):
    # the thread is held at the second photo until it was told to stop
    side = calls.side

    def slowly(photo, scale, **how):
        panel.work.stop.click()
        return side(photo, scale, **how)

    monkeypatch.setattr(kit.photo, "side", slowly, raising=False)
    panel.work.stop.click()
    assert words(panel.work.said) == "Nothing is being measured."
    lost = []  # a button that is disabled while it works loses the keyboard
    for one in (panel.all, panel.work.stop):
        one.observe(lambda change: lost.append(change["owner"].description), "disabled")
    panel.all.click()
    panel.work.thread.join(30)
    assert words(panel.work.said).startswith("Stopped. 1 photo measured; look at each")
    assert lost == []
    assert [i["word"] for i in panel.strip.items] == [
        "look at it", "not measured", "not measured",
    ]  # fmt: skip
    monkeypatch.setattr(kit.photo, "side", side, raising=False)
    panel.all.click()
    panel.work.thread.join(30)
    assert words(panel.work.said) == "2 photos measured; look at each before you rely on it."
    assert panel.work.done == (2, 2)
    assert words(panel.counted) == "malt: 3 photos, 3 to look at."
    assert set(trial.photo_readings()["note"]) == {"as found, not looked at"}
    panel.one.measure.click()
    panel.one.keep.click()
    assert words(panel.counted) == "malt: 3 photos, 2 to look at, 1 kept."
    asked = len(calls.asked)
    choose(panel, "1A2 crumb.jpg")  # to be looked at: shown as it is measured, not the bare photo
    assert [call[0] for call in calls.asked[asked:]] == ["scale", "crumb"]
    assert len(panel.one.marking.marks["grips"]) == 20
    assert words(panel.one.kept).startswith("Kept of this photo: ")
    panel.one.keep.click()
    choose(panel, "1A1 side.jpg")
    asked = len(calls.asked)
    choose(panel, "1A2 crumb.jpg")  # looked at and kept: shown as it was kept
    assert [call[0] for call in calls.asked[asked:]] == ["scale", "crumb"]
    trial.add_photos(picture(trial.workspace.folder / "new" / "x.jpg", None))
    panel.refresh()
    panel.all.click()
    panel.work.thread.join(30)
    left = "1 photo was left out: say of each what it shows and whose it is."
    assert words(panel.work.said).endswith(left)


def test_what_a_photo_was_measured_by_is_there_again_after_a_new_start(panel, trial, calls):
    one = panel.one
    choose(panel, "1A1 side.jpg")
    one.reference.kind.value = "disc"
    one.reference.fields["disc"]["diameter_mm"].value = "1 in"
    one.reference.choices["disc"].value = "upright"
    one.reference.front.value = "20 mm"
    one.measure.click()
    drag(panel, "top", 160, 44)
    one.keep.click()
    choose(panel, "1A2 crumb.jpg")  # the reference goes on, the hand's outline does not
    assert one.reference.kind.value == "disc"
    assert (one.hand.said, one.hand.corrected) == ({}, {})
    one.measure.click()
    one.threshold.value = 0.5
    one.keep.click()

    again = panels.MeasurePanel(trial.workspace).one  # as in a new kernel; the first photo is shown
    by = trial.photos()[0].measured_by
    assert (by.reference, by.corrected) == ("disc", ("top",))
    assert by.about == {"diameter_mm": 25.4, "lies": "upright", "offset_mm": 20.0}
    assert again.reference.fields["disc"]["diameter_mm"].value == "25.4 mm"
    assert again.reference.choices["disc"].value == "upright"
    assert again.reference.front.value == "20 mm"
    assert again.reference.above.value == ""
    assert list(again.hand.corrected) == ["top"]
    assert calls.asked[-1][0] == "side"
    assert calls.asked[-1][1]["outline"][:, 1].min() == 44
    assert words(again.values).startswith("Height: 34.00 ± 0.25 mm")


def test_a_photo_that_was_measured_does_not_change_what_is_typed_for_the_others(panel, trial):
    one = panel.one
    choose(panel, "1A1 side.jpg")
    one.reference.front.value = "20 mm"
    one.measure.click()
    one.keep.click()
    choose(panel, "1A rise.jpg")
    one.shape.kind.value, one.shape.inner.value, one.reference.front.value = "jar", "86 mm", "35 mm"
    choose(panel, "1A1 side.jpg")
    assert one.reference.front.value == "20 mm"
    choose(panel, "1A2 crumb.jpg")
    choose(panel, "1A rise.jpg")
    assert (one.shape.kind.value, one.shape.inner.value) == ("jar", "86 mm")
    assert one.reference.front.value == "35 mm"
    one.measure.click()
    one.keep.click()
    again = panels.measure(trial.workspace)
    choose(again, "1A rise.jpg")
    assert (again.one.shape.kind.value, again.one.shape.inner.value) == ("jar", "86 mm")


def test_after_a_new_start_a_new_photo_begins_with_what_its_like_was_measured_by(panel, trial):
    choose(panel, "1A2 crumb.jpg")
    panel.one.reference.above.value = "14 mm"
    panel.one.measure.click()
    panel.one.keep.click()
    again = panels.MeasurePanel(trial.workspace)  # shows the first, which is not measured
    assert again.one.photo.name == "1A1 side.jpg"
    assert again.one.reference.front.value == ""  # 14 mm was said of a cut face


def test_why_many_cannot_be_measured_stands_until_the_reference_is_another(panel):
    one = panel.one
    one.reference.kind.value = "marker"
    panel.all.click()
    assert words(panel.work.said) == "Not yet: see beside “Its side” above what can be used."
    again = panels.MeasurePanel(panel.workspace)
    again.stand_for(panel)
    assert again.work.said.value == ""  # nothing is said beside its fields
    assert "must not be empty" in words(one.reference.fields["marker"]["side_mm"].said)
    one.reference.fields["marker"]["side_mm"].value = "40 mm"
    assert panel.work.said.value == ""


def test_points_cannot_measure_many(panel):
    panel.one.reference.kind.value = "points"
    panel.all.click()
    assert "Measure these photos one by one." in words(panel.work.said)


def test_a_watched_folder_takes_in_what_has_arrived_whole(panel, trial, tmp_path):
    folder = tmp_path / "phone"
    panel.look_again(trial, str(folder))
    panel.look_again(trial, str(folder))
    assert len(trial.photos()) == 3
    new = picture(folder / "1A3.jpg", f"{DAY} 11:00:00")
    whole = new.read_bytes()
    new.write_bytes(whole[:300])  # half of it is there
    panel.look_again(trial, str(folder))
    assert len(trial.photos()) == 3
    new.write_bytes(whole)
    panel.look_again(trial, str(folder))
    assert len(trial.photos()) == 3
    panel.look_again(trial, str(folder))
    assert [photo.name for photo in trial.photos()][-1] == "1A3.jpg"
    assert len(panel.strip.items) == 4


def test_watching_goes_on_after_a_card_was_pulled_out(panel, monkeypatch):
    said = []

    def look_again(*_):
        said.append(words(panel.taken))
        raise OSError(5, "Input/output error")

    monkeypatch.setattr(sys.modules["kit.panels.measure"], "_WATCH_S", 0.01)
    monkeypatch.setattr(panel, "look_again", look_again)
    panel.watch.value = True
    deadline = time.monotonic() + 10
    while len(said) < 2 and time.monotonic() < deadline:
        time.sleep(0.01)
    panel.watch.value = False
    panel.watching.join(10)
    assert "the disk reports an error. Check the disk" in said[1]


def test_watching_begins_and_ends(panel, monkeypatch):
    seen = []
    monkeypatch.setattr(sys.modules["kit.panels.measure"], "_WATCH_S", 0.01)
    monkeypatch.setattr(panel, "look_again", lambda *how: seen.append(how))
    panel.watch.value = True
    deadline = time.monotonic() + 10
    while not seen and time.monotonic() < deadline:
        time.sleep(0.01)
    assert seen
    panel.watch.value = False
    panel.watching.join(10)
    assert not panel.watching.is_alive()
    assert words(panel.taken) == "Not watched any more."
    panel.path.value = ""
    panel.watch.value = True
    assert not panel.watch.value
    assert "Choose a folder" in words(panel.taken)


def test_twice_guides_and_tells(panel, trial, calls, tmp_path):
    guide = panel.twice.children[0].children[1]
    assert "<details><summary>How far can your photos be trusted?</summary>" in guide.value
    assert "0 of 5 pieces of this trial measured on two photos." in words(panel.twice.far)
    rng = np.random.default_rng(4)
    for piece, height in (("1A1", 28.0), ("1A2", 31.0), ("1A3", 35.0)):
        for n in (1, 2):
            (photo,) = trial.add_photos(picture(tmp_path / f"twice/{piece} {n}.jpg")).new
            value = Value(height + rng.normal(0, 0.3), 0.3, "mm")
            trial.accept(photo, SimpleNamespace(height_mm=value), piece, shows="side")
    panel.refresh()
    told = words(panel.twice.far)
    assert "3 of 5 pieces" in told
    assert "Your photos tell apart differences of about" in told
    assert "photograph 2 more pieces twice" in told


def test_two_side_views_a_quarter_turn_apart_are_taken_together(
    panel, trial, calls, tmp_path, monkeypatch
):
    one = panel.one

    def both(a, b):
        height = (a.height_mm.value + b.height_mm.value) / 2
        return SimpleNamespace(
            height_mm=Value(height, 0.2, "mm"), diameter_mm=Value(88.0, 0.4, "mm"), checks=(),
            volume_ml=Value(121.0, 2.0, "ml"), sentence="It is 90 mm wide and 86.",
        )  # fmt: skip

    monkeypatch.setattr(kit.photo, "two_views", both, raising=False)
    one.measure.click()
    assert one.turned.layout.display == "none"  # it has no other side view yet
    one.keep.click()
    picture(tmp_path / "phone" / "1A1 side turned.jpg", f"{DAY} 10:20:00")
    panel.take.click()
    choose(panel, "1A1 side turned.jpg")
    assert one.turned.layout.display == "none"
    one.measure.click()
    assert one.turned.layout.display is None
    assert one.turned.ticked.description == (
        "The piece was turned by a quarter between 1A1 side.jpg and this photo: take both together"
    )
    assert not one.turned.ticked.value  # nobody said so yet: it may be the same side once more
    drag(panel, "top", 160, 52)
    assert "Height: 32.00 ± 0.25 mm" in words(one.values)
    one.turned.ticked.value = True
    assert "Height: 31.00 ± 0.20 mm" in words(one.values)
    assert words(one.turned.said) == "It is 90 mm wide and 86."
    one.keep.click()
    assert words(one.kept).startswith("Kept for piece 1A1: height 31.0 mm")
    first = next(p for p in trial.photos() if p.name == "1A1 side.jpg")
    assert f"(corrected by hand: top; two photos turned by a quarter: {first.sha256[:12]}, " in (
        words(one.kept)
    )
    assert trial.frame().set_index("piece").loc["1A1", "rise_height_mm"] == 31.0
    # the mean of two photos is no second measuring of the piece
    assert "0 of 5 pieces of this trial measured on two photos." in words(panel.twice.far)

    # chosen again each photo shows what it says alone, and what both say is not lost by it
    for name, alone in (("1A1 side.jpg", "30.00"), ("1A1 side turned.jpg", "32.00")):
        choose(panel, name)
        assert not one.turned.ticked.value
        assert f"Height: {alone} ± 0.25 mm" in words(one.values)
        assert f"Kept of this photo: height {alone} ± 0.25 mm" in words(one.kept)
        assert "What counts is the mean of two photos: height 31.00 ± 0.20 mm" in words(one.kept)
        one.keep.click()
        assert words(one.kept).startswith(
            "Not yet: height of piece 1A1 was kept as 31.0 mm of two photos, and this one alone "
            f"says {alone} ± 0.25 mm"
        )
        assert trial.frame().set_index("piece").loc["1A1", "rise_height_mm"] == 31.0
    one.turned.ticked.value = True  # a new mean in place of the mean is no question
    drag(panel, "top", 160, 44)
    one.keep.click()
    assert words(one.kept).startswith("Kept for piece 1A1: height 32.0 mm")

    # said to be of another piece, or taken out, a photo does not take the mean along
    one.about.whose.value = trial.piece("1A2").id
    stays = "The mean of this photo and another still counts for piece 1A1. If that is wrong, "
    assert words(one.about.said).startswith(stays)
    assert one.turned.layout.display == "none"
    assert "Height: 34.00 ± 0.25 mm" in words(one.values)
    height = trial.frame().set_index("piece")["rise_height_mm"]
    assert (height["1A1"], height["1A2"]) == (32.0, 34.0)
    choose(panel, "1A1 side.jpg")
    one.about.out.click()
    assert words(one.about.said).startswith(f"1A1 side.jpg is out. {stays}")
    assert trial.frame().set_index("piece").loc["1A1", "rise_height_mm"] == 32.0


def test_what_was_typed_is_named_where_two_photos_stand_in_its_place(
    panel, trial, calls, monkeypatch
):
    both = lambda a, b: SimpleNamespace(height_mm=a.height_mm, sentence="", checks=())  # noqa: E731
    monkeypatch.setattr(kit.photo, "two_views", both, raising=False)
    one = panel.one
    one.measure.click()
    one.keep.click()
    trial.record(trial.piece("1A1"), "rise_height_mm", "30.1")
    choose(panel, "1A2 crumb.jpg")
    one.about.shows.value = "side"
    one.about.whose.value = trial.piece("1A1").id
    one.measure.click()
    one.turned.ticked.value = True
    one.keep.click()
    assert "In place of height 30.1 mm, as typed: Undo brings it back." in words(one.kept)


def test_after_a_failed_measuring_the_tick_shows_nothing_from_before(
    panel, trial, calls, monkeypatch
):
    def lost(*a, **k):
        raise DataError("nothing stands out.")

    one = panel.one
    one.measure.click()
    one.keep.click()
    choose(panel, "1A2 crumb.jpg")
    one.about.shows.value = "side"
    one.about.whose.value = trial.piece("1A1").id
    one.measure.click()
    assert one.turned.layout.display is None
    monkeypatch.setattr(kit.photo, "side", lost, raising=False)
    drag(panel, "top", 160, 50)
    assert one.values.value == ""
    assert one.turned.layout.display == "none"


def test_what_two_views_refuse_is_said_and_the_one_is_shown(panel, trial, calls, monkeypatch):
    def both(a, b):
        raise DataError("these two are not of one piece.")

    monkeypatch.setattr(kit.photo, "two_views", both, raising=False)
    one = panel.one
    one.measure.click()
    one.keep.click()
    choose(panel, "1A2 crumb.jpg")
    one.about.shows.value = "side"
    one.about.whose.value = trial.piece("1A1").id
    one.measure.click()
    one.turned.ticked.value = True
    assert words(one.turned.said) == "Not yet: these two are not of one piece."
    assert "Height: 30.00 ± 0.25 mm" in words(one.values)
    one.keep.click()
    assert "two photos" not in words(one.kept)


def test_no_trial_yet(tmp_path):
    with Workspace(tmp_path / "empty") as ws:
        panel = panels.measure(ws)
        assert "There is no trial yet." in words(panel.counted)
        panel.take.click()
        panel.all.click()
        assert panel.one.layout.display == "none"


def test_a_reload_goes_on_with_the_photo_and_its_marks(panel, trial, calls):
    choose(panel, "1A2 crumb.jpg")
    choose(panel, "1A1 side.jpg")
    panel.one.measure.click()
    drag(panel, "top", 160, 52)
    choose(panel, "1A2 crumb.jpg")
    panel.one.reference.kind.value = "points"
    panel.one.reference.fields["points"]["mm"].value = "40 mm"
    drag(panel, "end-1", 30, 200)
    drag(panel, "end-2", 310, 220)
    panel.one.measure.click()
    before = panel.one
    again = panels.measure(trial.workspace).one
    assert again.photo.name == "1A2 crumb.jpg"
    assert again.reference.said == before.reference.said
    assert again.marking.at("end-2") == (310, 220)
    assert again.values.value == before.values.value != ""
    again.keep.click()
    assert "Kept for piece 1A2" in words(again.kept)
    assert "Kept of this photo" in words(panels.measure(trial.workspace).one.kept)
    trial.workspace.undo()
    assert panels.measure(trial.workspace).one.kept.value == ""


def test_what_was_dragged_and_not_kept_is_there_after_a_reload(panel, trial, calls):
    panel.one.measure.click()
    drag(panel, "top", 160, 52)
    again = panels.measure(trial.workspace).one
    assert "Height: 32.00 ± 0.25 mm" in words(again.values)
    assert "Corrected by hand: top." in words(again.values)
    assert again.hand is not panel.one.hand
    assert trial.photo_readings().empty  # shown, not stored


def test_what_is_typed_for_new_photos_outlives_a_reload_at_one_that_is_kept(panel, trial):
    one = panel.one
    one.reference.kind.value = "disc"
    one.reference.fields["disc"]["diameter_mm"].value = "25 mm"
    one.reference.choices["disc"].value = "upright"
    one.measure.click()
    one.keep.click()
    choose(panel, "1A2 crumb.jpg")
    one.reference.kind.value = "card"
    one.reference.fields["card"]["printed_scale"].value = "178 mm"
    choose(panel, "1A1 side.jpg")
    again = panels.measure(trial.workspace)
    reference = again.one.reference
    assert (again.one.photo.name, reference.kind.value) == ("1A1 side.jpg", "disc")
    choose(again, "1A2 crumb.jpg")
    assert reference.kind.value == "card"
    assert reference.fields["card"]["printed_scale"].value == "178 mm"


def test_what_a_hand_drew_is_let_go_where_the_photo_shows_something_else_now(panel, trial, calls):
    panel.one.measure.click()
    drag(panel, "top", 160, 52)
    trial.change_photo(panel.one.photo, shows="crumb")  # as in another notebook
    again = panels.measure(trial.workspace).one
    assert (again.about.shows.value, again.hand.said) == ("crumb", {})
    again.measure.click()
    assert calls.asked[-1] == ("crumb", {})


def test_a_threshold_set_by_hand_stands_on_its_slider_after_a_reload(panel, trial):
    choose(panel, "1A2 crumb.jpg")
    panel.one.measure.click()
    panel.one.threshold.value = 0.45
    again = panels.measure(trial.workspace).one
    assert again.threshold.value == again.result.threshold == pytest.approx(0.45)


@pytest.mark.parametrize("later", [False, True])
def test_measuring_all_goes_on_after_a_reload_and_is_stopped_there(
    panel, trial, monkeypatch, later
):
    going, begun, side = Event(), Event(), kit.photo.side

    def slowly(photo, scale, **how):
        begun.set()
        going.wait(20)
        return side(photo, scale, **how)

    monkeypatch.setattr(kit.photo, "side", slowly, raising=False)
    panel.all.click()
    assert begun.wait(20)
    if later:
        monkeypatch.setattr(panels, "date", SimpleNamespace(today=lambda: date(2031, 1, 2)))
    again = panels.measure(trial.workspace)
    again.all.click()  # is on already
    assert again.work.thread is panel.work.thread
    again.work.stop.click()
    going.set()
    again.work.thread.join(30)
    told = words(again.work.said)
    assert told.startswith("Stopped. 1 photo measured; look at each")
    assert [i["word"] for i in again.strip.items].count("look at it") == 1
    again.work.stop.click()
    assert words(again.work.said) == told  # what came of it is still there to be read


def test_trouble_in_a_field_that_is_hidden_hides_no_other(panel, calls, monkeypatch):
    one = panel.one
    one.reference.front.value = "abc"
    one.measure.click()
    one.reference.kind.value = "scanner"
    one.reference.fields["scanner"]["dpi"].value = "600"

    def not_found(photo, scale, **how):
        raise DataError("no muffin was found. Draw a box round it.")

    monkeypatch.setattr(kit.photo, "side", not_found, raising=False)
    one.measure.click()
    assert words(one.said) == "Not yet: no muffin was found. Draw a box round it."


@pytest.mark.parametrize("later", [False, True])
def test_a_reload_ends_the_watching_and_says_so(panel, trial, monkeypatch, later):
    panel.watch.value = True
    if later:
        monkeypatch.setattr(panels, "date", SimpleNamespace(today=lambda: date(2031, 1, 2)))
    again = panels.measure(trial.workspace)
    panel.watching.join(10)
    assert not panel.watching.is_alive()
    assert not panel.watch.value  # another window may show it still
    assert not again.watch.value
    assert words(again.taken) == "The folder is not watched any more: the page is a new one."


def test_what_needs_photos_waits_for_one(tmp_path):
    """Before the first photo the page asked about many of them, and counted 0 of 5 pieces."""
    with Workspace(tmp_path / "bakes") as ws:
        trial = ws.new_trial("rye", outcome="rise_height_mm", invented=True)
        trial.add_piece(trial.add_dough(trial.add_bake(DAY)))
        panel = panels.measure(ws)
        panel.trial.value = "rye"
        assert {panel.many.layout.display, panel.twice.layout.display} == {"none"}
        picture(tmp_path / "more" / "1A1.png")
        panel.path.value = str(tmp_path / "more")
        panel.take.click()
        assert {panel.many.layout.display, panel.twice.layout.display} == {None}
        panel.undo.click()
        assert {panel.many.layout.display, panel.twice.layout.display} == {"none"}


def test_a_piece_is_measured_without_a_time(panel, trial, tmp_path):
    """Its red "Not yet" stopped bakers who needed no time; rising dough has one or no curve."""
    for name in ("1A3.png", "x.png"):
        picture(tmp_path / "more" / name, None)
    panel.path.value = str(tmp_path / "more")
    panel.take.click()
    choose(panel, "1A3.png")
    said = panel.one.about.taken.said
    assert "Its values will count from when you keep them." in words(said)
    assert "alert" not in said.value
    choose(panel, "x.png")  # whose it is could be guessed by its time
    assert "write it, please" in words(said)
    assert "alert" in said.value
    choose(panel, "1A3.png")
    panel.one.about.shows.value = "rise"
    assert "alert" in said.value
