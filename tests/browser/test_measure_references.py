"""Every kind of reference through the panel, in a real browser, on drawn photos of known truth.

A coin, a ruler, a scan, an iPhone's HEIC, dough that proofs in a jar; nonsense is typed on the way.
Screenshots go to the folder named by ``KIT_SCREENSHOTS`` when it is set.
"""

import math
import re

import pytest
import shots
from lab_pages import cut_off, shoot
from measure_pages import (
    DAY,
    by_marker,
    drag_by_mouse,
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


@pytest.fixture
def trial(lab, request):
    yield from new_trial(lab[1], request.node.name)


def choose(page, label, option):
    page.get_by_label(label, exact=True).select_option(option)


def refused(page, words):
    page.get_by_role("button", name="Measure", exact=True).click()
    page.locator(".kit-trouble", has_text=words).first.wait_for(timeout=20_000)


def near_truth(page, shot):
    found, u = height(page)
    assert abs(found - shot.truth.height_mm) < 3 * u
    assert u < 0.04 * found
    return found, u


def test_a_coin_is_asked_how_it_lies(page, lab, trial, tmp_path):
    shot = shots.from_the_side(
        tmp_path / "1A1 side.jpg", 10, beside="coin", taken=f"{DAY} 10:00:00"
    )
    start(page, lab, trial, shot.path, "1 photo")
    choose(page, "Scale by", "something round, such as a coin")
    say(page, "Middle in front of it", "12 mm")
    refused(page, "diameter")
    say(page, "Its diameter", "a euro")
    refused(page, "a euro")
    say(page, "Its diameter", "3 cm")
    refused(page, "must be said: flat or upright")
    shoot(page, "measure-coin-asked", tall=2200)
    choose(page, "The round thing", "stands upright")
    measure(page)
    near_truth(page, shot)
    shoot(page, "measure-coin", tall=2400)
    # the mark is dragged where there is nothing round, then onto the coin
    point = grip(page, "the round thing, where there are several")
    page.locator(".kit-mark-view").scroll_into_view_if_needed()
    drag_by_mouse(page, point, on_screen(page, 800, 60))
    page.locator(".kit-trouble", has_text="No round thing").first.wait_for(timeout=20_000)
    page.locator(".kit-mark-view").scroll_into_view_if_needed()
    drag_by_mouse(page, point, on_screen(page, *shot.corners.mean(0)))
    page.get_by_text("Height:", exact=False).first.wait_for(timeout=60_000)
    near_truth(page, shot)
    assert cut_off(page, ".kit-scroll, .kit-strip, .kit-mark-view") == []


def test_a_ruler_by_two_of_its_lines_and_two_points_square_on(page, lab, trial, tmp_path):
    shot = shots.from_the_side(
        tmp_path / "1A2 side.jpg", 11, beside="ruler", taken=f"{DAY} 10:00:00"
    )
    start(page, lab, trial, shot.path, "1 photo")
    choose(page, "Scale by", "a ruler")
    page.get_by_text("Put the two marks on the ruler").wait_for(timeout=10_000)
    say(page, "Middle in front of it", "12 mm")
    say(page, "Distance on the ruler", "60 mm")
    say(page, "From line to line", "1 mm")
    refused(page, "needs both marks put on the photo")
    shoot(page, "measure-ruler-refused", tall=2200)
    for n in (1, 2):
        point = grip(page, f"end {n} of the known distance")
        page.locator(".kit-mark-view").scroll_into_view_if_needed()
        drag_by_mouse(page, point, on_screen(page, *shot.corners[n - 1]))
        page.get_by_text(f"end {n} of the known distance: moved.").wait_for(timeout=10_000)
        assert math.dist(place(page, point), shot.corners[n - 1]) < 3
    measure(page)
    near_truth(page, shot)
    shoot(page, "measure-ruler", tall=2400)
    # the same two marks without the ticks between: that the ruler is none of the piece is not known
    # now, so it is said where the piece is; and how the camera was held
    page.get_by_role("button", name="Draw a box round it").click()
    left, top, right, bottom = shot.truth.box
    for n, corner in ((1, (left - 10, top - 40)), (2, (right + 40, bottom + 40))):
        point = grip(page, f"corner {n} of the box")
        point.wait_for(timeout=10_000)
        page.locator(".kit-mark-view").scroll_into_view_if_needed()
        drag_by_mouse(page, point, on_screen(page, *corner))
        page.get_by_text(f"corner {n} of the box: moved.").wait_for(timeout=10_000)
    choose(page, "Scale by", "two points a known distance apart")
    say(page, "Distance", "60 mm")
    page.get_by_text("square-on within 40°", exact=False).first.wait_for(timeout=30_000)
    found, any_way = height(page)
    assert abs(found - shot.truth.height_mm) < 3 * any_way
    choose(page, "Camera was held", "square on with care (within 10°)")
    page.get_by_text("square-on within 10°", exact=False).first.wait_for(timeout=30_000)
    assert height(page)[1] < 0.6 * any_way
    shoot(page, "measure-points", tall=2400)


def test_a_scan_by_its_dots_to_the_inch(page, lab, trial, tmp_path):
    scene, dpi = shots.scanned(tmp_path / "1A3 crumb.jpg", taken=f"{DAY} 10:00:00")
    start(page, lab, trial, tmp_path / "1A3 crumb.jpg", "1 photo")
    choose(page, "Scale by", "nothing: it is a flat-bed scan")
    refused(page, "It stands in the scanner's settings, such as 600.")
    say(page, "Dots to the inch", "3")
    refused(page, "between 50 and 9600")
    say(page, "Dots to the inch", f"{dpi:.1f}")
    page.get_by_role("button", name="Measure", exact=True).click()
    line = page.locator(".kit-answer li", has_text="Crumb openness:").first
    line.wait_for(timeout=60_000)
    found, u = map(float, re.search(r"([\d.]+) ± ([\d.]+)", line.inner_text()).groups())
    assert abs(found - scene.truth["openness"]) < max(0.06, 3 * u)
    shoot(page, "measure-scan", tall=2400)
    choose(page, "It shows", "a piece from the side")
    refused(page, "must come from a camera for a side view")


def test_heic_is_shown_and_measured(page, lab, trial, tmp_path):
    pytest.importorskip("pillow_heif", reason="HEIC needs pillow-heif, the extra [heic]")
    shot = shots.from_the_side(tmp_path / "1A1 side.heic", 12, True, f"{DAY} 10:00:00")
    start(page, lab, trial, shot.path, "1 photo")
    shown = page.locator("img.kit-mark-picture")
    assert shown.evaluate("e => e.naturalWidth") == 1600
    by_marker(page)
    measure(page)
    near_truth(page, shot)
    shoot(page, "measure-heic", tall=2200)


def test_dough_in_a_jar_measured_together(page, lab, trial, tmp_path):
    """Ratios of photos from one place are surer than of photos one by one."""
    paths, volumes, inside = shots.proofing(tmp_path / "jar", jar=True)
    start(page, lab, trial, paths[0].parent, "3 photos")
    page.get_by_text("Double is double the volume", exact=False).first.wait_for(timeout=20_000)
    by_marker(page)
    choose(page, "The dough is", "in a jar or a straight container")
    refused(page, "Measure how wide its inside is.")
    say(page, "Its inside is wide", "minus 8 cm")
    refused(page, "minus 8 cm")
    say(page, "Its inside is wide", f"{inside:g} mm")
    page.get_by_role("button", name="Measure", exact=True).click()
    page.locator(".kit-answer li", has_text="Dough volume:").first.wait_for(timeout=60_000)
    shoot(page, "measure-jar", tall=2600)
    page.get_by_role("button", name="Measure them together").click()
    page.locator(".kit-answer", has_text="Times the first volume").wait_for(timeout=90_000)
    shoot(page, "measure-jar-together", tall=3000)
    page.get_by_role("button", name="Keep these ratios").press("Enter")
    page.locator(".kit-panel").get_by_text("Kept for dough 1A: 3 photos.").wait_for(timeout=20_000)
    assert cut_off(page, ".kit-scroll, .kit-strip, .kit-mark-view") == []
    rows = trial.photo_readings()
    ratios = rows[rows["quantity"] == "dough_ratio"].sort_values("at")
    assert list(ratios["value"]) == pytest.approx(list(volumes / volumes[0]), rel=0.01)
    single = rows[rows["quantity"] == "dough_volume_ml"].sort_values("at")
    last = ratios.iloc[-1]
    apart = last["value"] * math.hypot(*(single["u"] / single["value"]).iloc[[0, -1]])
    assert last["u"] < 0.5 * apart
    expect(page.locator("ul.kit-strip button").nth(2)).to_have_attribute(
        "aria-label", re.compile("kept")
    )
