"""Measuring photos as a baker does, in a real browser: mouse, touch, keyboard.

The photos are drawn (`tests/photo/shots.py`), with known truth; screenshots go to the folder named
by ``KIT_SCREENSHOTS`` when it is set.
"""

import math
import re

import pytest
import shots
from lab_pages import cut_off, errors_in_cells, run_all, shoot
from measure_pages import (
    DAY,
    by_marker,
    drag_by_finger,
    grip,
    height,
    measure,
    new_trial,
    on_screen,
    place,
    say,
    start,
)  # fmt: skip
from playwright.sync_api import expect

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def drawn(tmp_path_factory):
    """Two photos: one with a marker beside the piece, one with a white square of 40 mm."""
    folder = tmp_path_factory.mktemp("phone")
    marker = shots.from_the_side(folder / "1A1 side.jpg", 1, True, f"{DAY} 10:01:00")
    clicks = shots.from_the_side(folder / "1A2 side.jpg", 2, False, f"{DAY} 10:02:00")
    return folder, marker, clicks


@pytest.fixture
def trial(lab, request):
    yield from new_trial(lab[1], request.node.name)


def kept(trial, piece):
    frame = trial.frame().set_index("piece")
    return frame.loc[piece] if "rise_height_mm" in frame else None


def test_marker_photo_by_mouse_and_keyboard(page, lab, trial, drawn):
    folder, marker, _ = drawn
    start(page, lab, trial, folder)
    assert errors_in_cells(page) == []
    buttons = page.locator("ul.kit-strip button")
    expect(buttons).to_have_count(2)
    assert "piece 1A1" in buttons.nth(0).get_attribute("aria-label")
    assert buttons.nth(0).get_attribute("aria-pressed") == "true"
    stops = "list => [...list.querySelectorAll('button')].map(b => b.tabIndex)"
    strip = page.locator("ul.kit-strip")
    assert strip.evaluate(stops) == [0, -1]  # the Tab key stops once
    buttons.nth(0).focus()
    for key, at in (("ArrowRight", 1), ("Home", 0), ("End", 1), ("ArrowLeft", 0)):
        page.keyboard.press(key)
        expect(buttons.nth(at)).to_be_focused()
        assert strip.evaluate(stops)[at] == 0
    assert sorted(strip.evaluate(stops)) == [-1, 0]
    shoot(page, "measure-taken-in", tall=2200)
    by_marker(page)
    focused = page.get_by_label("Its side", exact=True)
    focused.focus()  # where the keyboard is shows, also in Jupyter's own fields
    assert focused.evaluate("e => getComputedStyle(e).outlineStyle") == "solid"
    measure(page)
    found, u = height(page)
    assert abs(found - marker.truth.height_mm) < 3 * u
    page.locator(".kit-marking").scroll_into_view_if_needed()
    shoot(page, "measure-found", tall=2200)
    expect(page.locator("img.kit-mark-over")).to_be_hidden()  # no cells: no broken picture

    # the outline's top is dragged up by mouse: the values follow, and it is said
    point = grip(page, "top")
    point.scroll_into_view_if_needed()
    x, y = place(page, point)
    box = point.bounding_box()
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.mouse.down()
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2 - 8, steps=4)
    expect(page.locator(".kit-mark-loupe")).to_be_visible()
    shoot(page, "measure-loupe")
    page.mouse.up()
    page.get_by_text("Corrected by hand: top.").wait_for(timeout=30_000)
    taller, _ = height(page)
    assert taller > found + 0.5
    assert place(page, grip(page, "top"))[1] < y

    # back, and then by the keys alone
    page.get_by_role("button", name="Back to as found").click()
    expect(page.get_by_text("Corrected by hand")).to_have_count(0, timeout=30_000)
    assert height(page)[0] == found
    point = grip(page, "outline, point 1 of 20")
    point.focus()
    x, y = place(page, point)
    for _ in range(3):
        page.keyboard.press("Shift+ArrowRight")
    page.get_by_text("Corrected by hand: outline.").wait_for(timeout=30_000)
    assert place(page, grip(page, "outline, point 1 of 20"))[0] > x + 20
    focused = page.evaluate("document.activeElement.getAttribute('data-grip')")
    assert focused == "outline-0"
    shoot(page, "measure-corrected", tall=2200)
    page.get_by_role("button", name="Keep these values").press("Enter")
    page.locator(".kit-panel").get_by_text("Kept for piece 1A1").wait_for(timeout=20_000)
    rows = trial.photo_readings()
    assert set(rows["quantity"]) == {"rise_height_mm", "diameter_mm", "volume_ml"}
    assert set(rows["note"]) == {"corrected by hand: outline"}
    assert kept(trial, "1A1")["rise_height_mm"] == pytest.approx(height(page)[0], abs=0.006)
    expect(buttons.nth(0)).to_have_attribute("aria-label", re.compile("kept"))
    assert cut_off(page, ".kit-scroll, .kit-strip, .kit-mark-view") == []

    # another day: the notebook runs anew, and the photo shows the outline that was drawn
    drawn_at, tall = place(page, grip(page, "outline, point 1 of 20")), height(page)[0]
    page.locator(".kit-panel").evaluate("e => e.classList.add('kit-of-yesterday')")
    run_all(page)
    page.locator(".kit-of-yesterday").wait_for(state="detached", timeout=60_000)
    # it opens on the trial that was worked on
    expect(page.get_by_label("Trial", exact=True)).to_have_value(trial.name, timeout=60_000)
    page.get_by_text("Corrected by hand: outline.").wait_for(timeout=60_000)
    expect(page.get_by_label("Its side", exact=True)).to_have_value("32 mm")
    expect(page.get_by_label("Middle in front of it", exact=True)).to_have_value("12 mm")
    assert height(page)[0] == tall
    again = place(page, grip(page, "outline, point 1 of 20"))
    assert again == pytest.approx(drawn_at, abs=1)
    page.locator(".kit-marking").scroll_into_view_if_needed()
    shoot(page, "measure-again", tall=2200)


def test_clicked_photo_by_touch_and_zoom(lab, trial, drawn, tmp_path):
    """A photo without a card on a tablet: two corners 40 mm apart, put there by a finger."""
    from conftest import CHROMIUM, FLAGS
    from playwright.sync_api import sync_playwright

    folder, _, clicks = drawn
    with sync_playwright() as playwright:
        context = playwright.chromium.launch_persistent_context(
            str(tmp_path / "profile"), executable_path=CHROMIUM, headless=True, args=FLAGS,
            viewport={"width": 768, "height": 1024}, has_touch=True,
        )  # fmt: skip
        page = context.new_page()
        start(page, lab, trial, folder)
        page.locator("ul.kit-strip button").nth(1).click()
        page.get_by_text("1A2 side.jpg").wait_for(timeout=20_000)
        page.get_by_label("Scale by", exact=True).select_option("two points a known distance apart")
        say(page, "Distance", "40")
        say(page, "Middle in front of it", "12 mm")
        for n in (1, 2):
            point = grip(page, f"end {n} of the known distance")
            point.wait_for(timeout=10_000)
            page.locator(".kit-mark-view").scroll_into_view_if_needed()
            drag_by_finger(page, point, on_screen(page, *clicks.corners[n - 1]))
            page.get_by_text(f"end {n} of the known distance: moved.").wait_for(timeout=10_000)
            right, down = place(page, point)
            assert math.dist((right, down), clicks.corners[n - 1]) < 4
        page.get_by_role("button", name="Larger").click()
        page.get_by_role("button", name="Larger").click()
        page.get_by_text("2 ×", exact=True).wait_for()
        point = grip(page, "end 2 of the known distance")
        before = place(page, point)
        point.focus()
        page.keyboard.press("ArrowLeft")  # a pixel of the screen is less of the photo now
        page.wait_for_timeout(800)
        assert 0 <= before[0] - place(page, point)[0] <= 2
        shoot(page, "measure-touch-zoomed")
        page.get_by_role("button", name="Whole photo").click()
        # two points do not say where the square is: the outline takes it in, until it is said
        # where the piece is
        page.get_by_role("button", name="Draw a box round it").click()
        left, top, right, bottom = clicks.truth.box
        for n, corner in ((1, (left - 12, top - 40)), (2, (right + 40, bottom + 40))):
            point = grip(page, f"corner {n} of the box")
            point.wait_for(timeout=10_000)
            drag_by_finger(page, point, on_screen(page, *corner))
            page.get_by_text(f"corner {n} of the box: moved.").wait_for(timeout=10_000)
        shoot(page, "measure-touch-box")
        measure(page)
        found, u = height(page)
        assert abs(found - clicks.truth.height_mm) < 2.5
        assert abs(found - clicks.truth.height_mm) < 3 * u
        page.get_by_role("button", name="Keep these values").click()
        page.locator(".kit-panel").get_by_text("Kept for piece 1A2").wait_for(timeout=20_000)
        shoot(page, "measure-touch-768px", tall=2600)
        # what was said of this photo's marks is not said of the next one's
        page.locator(".kit-mark-told", has_text="moved.").wait_for(timeout=10_000)
        page.locator("ul.kit-strip button").nth(0).click()
        expect(page.locator(".kit-mark-told")).to_have_text("")
        assert cut_off(page, ".kit-scroll, .kit-strip, .kit-mark-view") == []
        context.close()
    assert kept(trial, "1A2")["rise_height_mm"] == pytest.approx(found, abs=0.06)


def test_card_photo_of_crumb_by_threshold_and_mouse(page, lab, trial, tmp_path):
    """The kit's card is found without a click; then the threshold by keys, the outline by mouse."""
    inside, scene = shots.cut_face()
    photo = tmp_path / "1A3 crumb.jpg"
    shots.on_card(photo, inside, f"{DAY} 10:03:00", size=(2400, 1800))
    start(page, lab, trial, photo, "1 photo")
    page.get_by_role("button", name="Measure", exact=True).click()
    line = page.locator(".kit-answer li", has_text="Crumb openness:").first
    line.wait_for(timeout=60_000)
    shown = lambda: float(re.search(r"([\d.]+) ±", line.inner_text())[1])  # noqa: E731
    found = shown()
    assert abs(found - scene.truth["openness"]) < 0.06
    expect(page.locator("img.kit-mark-over")).to_be_visible()
    shoot(page, "measure-crumb", tall=2300)
    page.locator(".kit-mark-view").scroll_into_view_if_needed()
    page.get_by_role("button", name="Larger").click(click_count=3)
    shoot(page, "measure-crumb-near")
    page.get_by_role("button", name="Hide the marks").click()
    expect(page.locator("img.kit-mark-over")).to_be_hidden()
    page.get_by_role("button", name="Show the marks").click()

    # a lower threshold by the keys: more of it counts as cells
    slider = page.get_by_role("slider", name="Threshold")
    slider.focus()
    for _ in range(4):
        page.keyboard.press("ArrowLeft")
    page.get_by_text("Corrected by hand: threshold.").wait_for(timeout=30_000)
    page.wait_for_timeout(1500)
    assert shown() > found
    page.get_by_role("button", name="Whole photo").click()
    point = grip(page, "outline, point 6 of 20")
    point.scroll_into_view_if_needed()
    box = point.bounding_box()
    middle = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(*middle)
    page.mouse.down()
    page.mouse.move(middle[0] + 6, middle[1] - 6, steps=3)
    page.mouse.up()
    page.get_by_text("Corrected by hand: threshold, outline.").wait_for(timeout=30_000)
    shoot(page, "measure-crumb-corrected", tall=2300)
    page.get_by_role("button", name="Keep these values").click()
    page.locator(".kit-panel").get_by_text("Kept for piece 1A3").wait_for(timeout=20_000)
    rows = trial.photo_readings()
    assert set(rows["note"]) == {"corrected by hand: threshold, outline"}
    kept = rows.set_index("quantity").loc["crumb_openness", "value"]
    assert kept == pytest.approx(shown(), abs=0.006)


def test_two_photos_of_a_turned_piece_are_taken_together(page, lab, trial, tmp_path):
    """A tick by the keyboard; what is kept is of both photos, and is told beside each."""
    for name, minute, size in (("side", 1, (1600, 1200)), ("side turned", 2, (1800, 1350))):
        shot = shots.from_the_side(
            tmp_path / f"1A1 {name}.jpg", 1, True, f"{DAY} 10:0{minute}:00", size=size
        )
    start(page, lab, trial, tmp_path)
    by_marker(page)
    measure(page)
    both = page.get_by_label(re.compile("turned by a quarter between 1A1 side.jpg and this photo"))
    expect(both).to_have_count(0)
    page.get_by_role("button", name="Keep these values").click()
    page.locator(".kit-panel").get_by_text("Kept for piece 1A1").wait_for(timeout=20_000)
    page.locator("ul.kit-strip button").nth(1).click()
    page.locator(".kit-panel").get_by_text("1A1 side turned.jpg", exact=True).wait_for()
    measure(page)
    both.wait_for(timeout=20_000)
    both.focus()
    page.keyboard.press("Space")
    page.get_by_text("alike as far as photos tell: round").wait_for(timeout=30_000)
    found, u = height(page)
    assert abs(found - shot.truth.height_mm) < 3 * u
    shoot(page, "measure-turned", tall=2400)
    page.get_by_role("button", name="Keep these values").click()
    page.get_by_text("two photos turned by a quarter: ").wait_for(timeout=20_000)
    assert kept(trial, "1A1")["rise_height_mm"] == pytest.approx(found, abs=0.06)
    page.locator("ul.kit-strip button").nth(0).click()
    expect(both).to_have_count(0)
    page.locator("ul.kit-strip button").nth(1).click()
    both.wait_for(timeout=30_000)
    page.get_by_text("What counts is the mean of two photos").wait_for(timeout=20_000)
    page.get_by_role("button", name="Keep these values").click()
    page.get_by_text("of two photos, and this one alone says").first.wait_for(timeout=20_000)
    assert kept(trial, "1A1")["rise_height_mm"] == pytest.approx(found, abs=0.06)
    assert cut_off(page, ".kit-scroll, .kit-strip, .kit-mark-view") == []


def test_a_dead_kernel_is_said_and_keys_delete_nothing(page, lab, trial, drawn):
    """Two times d on a grip would delete the cell in JupyterLab; a move nobody hears is told."""
    folder, *_ = drawn
    start(page, lab, trial, folder)
    by_marker(page)
    measure(page)
    point = grip(page, "base")
    point.scroll_into_view_if_needed()
    point.focus()
    page.keyboard.press("d")
    page.keyboard.press("d")
    page.locator("ul.kit-strip button").first.focus()
    page.keyboard.press("d")
    page.keyboard.press("d")
    expect(page.locator(".kit-mark-view")).to_have_count(1)
    page.evaluate("window.jupyterapp.shell.currentWidget.sessionContext.session.kernel.shutdown()")
    point.focus()
    page.keyboard.press("ArrowUp")
    page.get_by_text("NOT TAKEN: base.").wait_for(timeout=15_000)
    shoot(page, "measure-not-taken")


def test_narrow_screen(page, lab, trial, drawn):
    folder, *_ = drawn
    page.set_viewport_size({"width": 400, "height": 800})
    start(page, lab, trial, folder)
    by_marker(page)
    measure(page)
    # so small, all twenty would hide the piece: from nearer by they are all there
    bends = page.locator("button.kit-mark-bend:visible")
    assert 4 <= bends.count() < 15
    shoot(page, "measure-400px", tall=3000)
    for _ in range(4):
        page.get_by_role("button", name="Larger").click()
    expect(bends).to_have_count(20)
    page.get_by_role("button", name="Whole photo").click()
    assert cut_off(page, ".kit-scroll, .kit-strip, .kit-mark-view") == []
