"""The kit's card: its layout, its sheet, and what is found of it in drawn scenes of known truth."""

import re
import zlib
from dataclasses import replace

import cv2
import numpy as np
import pytest
from printed import printed
from scenes import LEVELS, Picture, Scene, ScenePhoto, look, render, true_mm_per_px
from typer.testing import CliRunner

from kit.errors import DataError
from kit.photo.camera import Camera
from kit.photo.reference import scale
from kit.photo.references import card, card_sheet

SIZE = (900, 675)


def page(dpi=110.0, margin_mm=12.0):
    """The card as a flat-bed scan gives it, 8 bit sRGB."""
    light = printed(dpi, margin_mm)
    coded = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    return np.dstack([np.round(255 * coded).astype(np.uint8)] * 3)


def scene(seed, difficulty, tilt, offset_mm=0.0, centre_px=None, px_per_mm=2.9):
    rng = np.random.default_rng([20261125, seed])
    camera = Camera.of(*SIZE, 26.0)
    camera = replace(camera, focal_px=camera.focal_px * rng.normal(1, 0.01))
    pose = look(camera, tilt, rng.uniform(0, 360), px_per_mm, rng.uniform(-15, 15), centre_px)
    on_paper = Picture(printed(150), 150 / 25.4)
    pixels = render(rng, camera, pose, [on_paper], LEVELS[difficulty], SIZE)
    return Scene(ScenePhoto(pixels, 26.0), camera, pose, np.zeros(2), offset_mm)


# ---- layout


def test_opencv_reads_its_own_markers_off_the_card():
    detector = cv2.aruco.ArucoDetector(
        cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50), cv2.aruco.DetectorParameters()
    )
    corners, numbers, _ = detector.detectMarkers(page()[..., 0])
    assert sorted(numbers.ravel()) == sorted(card.MARKERS)
    fine = 110 / 25.4
    for number, found in zip(numbers.ravel(), corners, strict=True):
        x, y = card.MARKERS[int(number)]
        mm = (found[0] + 0.5) / fine - 12.0
        np.testing.assert_allclose(mm[0], (x, y), atol=0.3)
        np.testing.assert_allclose(mm[2], (x + card.SIDE_MM, y + card.SIDE_MM), atol=0.3)


def test_the_printed_area_of_every_rectangle_is_what_it_should_be():
    # sum of ink = sum over rectangles of (paper − tone) × area, at a resolution that fits nothing
    fine = 73 / 25.4
    ink = (card.WHITE - printed(73)).sum() / fine**2
    by_hand = 0.0
    for part in card.rectangles():
        x0, y0, x1, y1 = part.box
        under = card.BLACK if part.reflectance == card.WHITE else card.WHITE
        by_hand += (under - part.reflectance) * (x1 - x0) * (y1 - y0)
    assert ink == pytest.approx(by_hand, rel=1e-6)


def test_white_grey_and_black_stand_on_both_sides_of_the_window():
    left = {name for name, box, _ in card.PATCHES if box[2] <= card.WINDOW_MM[0]}
    right = {name for name, box, _ in card.PATCHES if box[0] >= card.WINDOW_MM[2]}
    assert left == right == {"white", "grey", "black"}


def test_the_rulers_are_in_millimetres_and_inches():
    ticks = [p.box for p in card.rectangles() if abs(p.box[2] - p.box[0] - 0.2) < 1e-9]
    upper = sorted((b[0] + b[2]) / 2 for b in ticks if abs(b[3] - card.WINDOW_MM[1]) < 1e-9)
    lower = sorted((b[0] + b[2]) / 2 for b in ticks if abs(b[1] - card.WINDOW_MM[3]) < 1e-9)
    np.testing.assert_allclose(np.diff(upper), 1.0, atol=1e-9)
    np.testing.assert_allclose(np.diff(lower), 25.4 / 16, atol=1e-9)
    assert upper[-1] - upper[0] == pytest.approx(110.0)
    assert lower[-1] - lower[0] == pytest.approx(4 * 25.4)


# ---- the sheet


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_the_pdf_has_the_papers_size_and_the_bar_its_length(paper):
    content = card_sheet.card_pdf(paper)
    box = re.search(rb"/MediaBox \[ ?([\d.]+) ([\d.]+) ([\d.]+) ([\d.]+)", content)
    wide, tall = (float(v) / 72 * 25.4 for v in box.groups()[2:])
    assert (wide, tall) == pytest.approx(card_sheet.PAPERS[paper], abs=0.1)
    streams = re.findall(rb"stream\r?\n(.*?)\r?\nendstream", content, re.S)
    text = b"".join(_inflated(s) for s in streams)
    # every filled box: "x y m x y l x y l ... h"; the bar is the widest black one
    widths = []
    for path in re.findall(rb"([\d.]+) [\d.]+ m\s+([\d.]+) [\d.]+ l\s+([\d.]+) [\d.]+ l", text):
        xs = [float(v) for v in path]
        widths.append((max(xs) - min(xs)) / 72 * 25.4)
    assert min(abs(w - card.BAR_MM) for w in widths) < 0.01
    assert min(abs(w - card.SIZE_MM[0]) for w in widths) < 0.01


def _inflated(stream):
    try:
        return zlib.decompress(stream)
    except zlib.error:  # a font or a picture: not what is looked for
        return b""


@pytest.mark.parametrize("paper", sorted(card_sheet.PAPERS))
def test_no_words_run_off_the_sheet_or_into_the_markers(paper):
    figure = card_sheet.sheet(paper)
    figure.canvas.draw()
    renderer = figure.canvas.get_renderer() if hasattr(figure.canvas, "get_renderer") else None
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    renderer = FigureCanvasAgg(figure).get_renderer() if renderer is None else renderer
    ax = figure.axes[0]
    wide, tall = figure.bbox.width, figure.bbox.height
    back = ax.transData.inverted()
    for words in ax.texts:
        box = words.get_window_extent(renderer)
        margin = 5 / 25.4 * figure.dpi
        assert margin < box.x0 < box.x1 < wide - margin, words.get_text()
        assert margin < box.y0 < box.y1 < tall - margin, words.get_text()
        (x0, y1), (x1, y0) = back.transform(box.get_points())
        for x, y in card.MARKERS.values():
            apart = (
                x1 < x - 2 or x0 > x + card.SIDE_MM + 2 or y1 < y - 2 or y0 > y + card.SIDE_MM + 2
            )
            assert apart, words.get_text()


def test_the_sheet_says_what_to_beware_of():
    said = " ".join(t.get_text() for t in card_sheet.sheet("a4").axes[0].texts)
    for words in (
        "not food-safe",
        "griddle",
        "100 %",
        "180 mm",
        "Tell the kit how long it is",
        "how far the piece's middle stands in front of the card",
        "beside the piece, with a gap",  # of a piece before the card the outline is not found
    ):
        assert words in said
    assert "_mm" not in said


def test_the_command_writes_it(tmp_path):
    from kit.cli import app

    out = tmp_path / "card.pdf"
    told = CliRunner().invoke(app, ["card", "--paper", "letter", "--out", str(out)])
    assert told.exit_code == 0
    assert out.read_bytes().startswith(b"%PDF")
    assert "actual size" in told.output
    picture = CliRunner().invoke(app, ["card", "--out", str(tmp_path / "card.png")])
    assert picture.exit_code == 2
    assert "must end in .pdf" in picture.output
    assert not (tmp_path / "card.png").exists()
    wrong = CliRunner().invoke(app, ["card", "--paper", "a5"])
    assert wrong.exit_code == 2
    assert "paper is 'a5': must be one of a4, letter." in wrong.output


# ---- found in a photo


@pytest.mark.parametrize(("seed", "difficulty", "tilt"), [(1, "easy", 4), (2, "realistic", 22)])
def test_card_gives_scale_within_what_it_claims_and_its_patches(seed, difficulty, tilt):
    # off by more than 4 u with chance 6e-5 a scene
    drawn = scene(seed, difficulty, tilt, offset_mm=12.0)
    found = scale(drawn.photo, "card", offset_mm=12.0, printed_scale=180)
    face = drawn.px([[-20, -20], [20, 20], [-20, 20], [20, -20]], 12.0)
    off = float(np.mean(found._lengths(face, None) / true_mm_per_px(drawn, face))) - 1
    assert abs(off) < 4 * found.u_at(face).u
    assert found.u_at(face).u < 0.004
    assert found.tilt_deg == pytest.approx(tilt, abs=1.5)
    across = found.pose.rotation[:, 2] @ drawn.pose.rotation[:, 2]
    assert np.degrees(np.arccos(min(across, 1.0))) < 1.0
    half = np.array(card.SIZE_MM) / 2
    corners = np.array([[0, 0], [1, 0], [1, 1], [0, 1]]) * card.SIZE_MM - half
    np.testing.assert_allclose(found.outline[:4], drawn.px(corners), atol=1.0)
    assert len(found.reading.patches) == 6
    for (_, box, tone), (polygon, told, u) in zip(card.PATCHES, found.reading.patches, strict=True):
        middle = [[(box[0] + box[2]) / 2 - half[0], (box[1] + box[3]) / 2 - half[1]]]
        np.testing.assert_allclose(polygon.mean(0), drawn.px(middle)[0], atol=1.5)
        assert told == tone
        assert u > 0


def test_two_markers_are_enough_and_one_is_not():
    photo = page(80)
    half = photo.copy()
    half[photo.shape[0] // 2 :] = 120
    found = scale(ScenePhoto(half, 26.0), "card")
    assert found.mm_per_px == pytest.approx(25.4 / 80, rel=0.003)
    half[:, photo.shape[1] // 2 :] = 120
    with pytest.raises(DataError, match="only one marker can be read, and two are needed"):
        scale(ScenePhoto(half, 26.0), "card")


def test_a_card_printed_smaller_is_told_by_its_bar():
    photo = ScenePhoto(page(80), 26.0)
    as_told = scale(photo, "card", printed_scale=171)
    as_meant = scale(photo, "card", printed_scale=180)
    assert as_told.mm_per_px / as_meant.mm_per_px == pytest.approx(171 / 180, rel=1e-4)
    unchecked = scale(photo, "card")
    assert unchecked.u_size > as_meant.u_size
    assert "print was not checked" in " ".join(unchecked.notes)
    assert not any("print was not checked" in note for note in as_meant.notes)


def test_the_window_is_not_kept_out_of_the_measuring():
    found = scale(ScenePhoto(page(80), 26.0), "card")
    mask = np.zeros(page(80).shape[:2], np.uint8)
    cv2.fillPoly(mask, [np.round(found.outline).astype(np.int32)], 1)
    middle = found.reading.window.mean(0).round().astype(int)
    assert mask[middle[1], middle[0]] == 0
    patch = found.reading.patches[1][0].mean(0).round().astype(int)
    assert mask[patch[1], patch[0]] == 1


def test_two_cards_are_not_chosen_between():
    one = page(60, 8.0)
    with pytest.raises(DataError, match="two of the kit's cards"):
        scale(ScenePhoto(np.hstack([one, one])), "card")


@pytest.mark.parametrize(("x_px", "y_px", "waves"), [(20, 0, 2.5), (12, 12, 3.0), (25, 0, 1.0)])
def test_a_wavy_card_is_refused_or_measured_within_what_it_claims(x_px, y_px, waves):
    # 25 pixels are 6 mm: no printed card lies worse
    photo = page(110)
    rows, columns = photo.shape[:2]
    y, x = np.mgrid[:rows, :columns].astype(np.float32)
    at_x = x + x_px * np.sin(waves * np.pi * y / rows)
    at_y = y + y_px * np.sin(waves * np.pi * x / columns)
    warped = cv2.remap(
        photo, at_x.astype(np.float32), at_y.astype(np.float32), cv2.INTER_LINEAR,
        borderValue=(150, 150, 150),
    )  # fmt: skip
    refused = ""
    try:
        found = scale(ScenePhoto(warped, 26.0), "card")
    except DataError as exc:
        refused = str(exc)
    good = not refused and abs(found.mm_per_px / (25.4 / 110) - 1) < 4 * found.u
    assert good or "Is it bent" in refused


def test_a_picture_that_no_camera_could_take_is_refused():
    # three corners of the paper pulled apart: no flat rectangle is ever seen so
    photo = page(110)
    rows, columns = photo.shape[:2]
    corners = np.array([[0, 0], [columns, 0], [columns, rows], [0, rows]], np.float32)
    pulled = np.array([[90, 60], [800, 200], [700, 620], [20, 760]], np.float32)
    warp = cv2.getPerspectiveTransform(corners, pulled)
    warped = cv2.warpPerspective(photo, warp, (900, 800), borderValue=(150, 150, 150))
    with pytest.raises(DataError, match="Is it bent, in part covered, or the picture"):
        scale(ScenePhoto(warped, 26.0), "card")
