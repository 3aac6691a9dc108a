"""The plan notebook as a baker uses it, in a real browser: from the question to printed sheets."""

import os
import re

import pytest
from lab_pages import cut_off, errors_in_cells, open_notebook, run_all, shoot

pytestmark = pytest.mark.browser


def open_and_run(page, lab):
    """Open the notebook; it makes its panels by itself."""
    open_notebook(page, lab[0], "plan")
    page.locator(".kit-answer svg").first.wait_for(timeout=60_000)


def field(page, label):
    return page.get_by_label(label, exact=True)


def type_in(page, label, text):
    field(page, label).fill(text)
    field(page, label).press("Tab")


def hint_contrast(empty):
    """Contrast of a field's hint with the field's ground, by WCAG's relative luminance."""
    hint, opacity, ground = empty.evaluate(
        """e => { const h = getComputedStyle(e, "::placeholder");
            return [h.color, h.opacity, getComputedStyle(e).backgroundColor]; }"""
    )
    (*ink, alpha), paper = (
        [*map(float, re.findall(r"[\d.]+", c)), 1.0][:4] for c in (hint, ground)
    )
    alpha *= float(opacity)
    low, high = sorted(
        sum(
            w * (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4)
            for w, c in zip((0.2126, 0.7152, 0.0722), rgb, strict=True)
        )
        for rgb in (
            [(alpha * i + (1 - alpha) * p) / 255 for i, p in zip(ink, paper[:3], strict=True)],
            [p / 255 for p in paper[:3]],
        )
    )
    return (high + 0.05) / (low + 0.05)


def test_from_the_question_to_the_sheets(page, lab):
    open_and_run(page, lab)
    lead = page.locator(".kit-lead")
    assert re.match(r"With 5 bakes .*you will notice a difference of \d", lead.inner_text())
    shoot(page, "plan-first", tall=2400)

    # nonsense is answered beside its field; what was typed stays, and nothing can be kept
    keep = page.get_by_role("button", name="Keep this plan")
    for label, typed, said in (
        ("Settings (%)", "0 to 130", "must lie between 0 and 20"),
        ("Places on the griddle", "-6", "must be a whole number from 1"),
        ("Raw piece", "0", "must lie between 1 and 2000 g"),
        ("Ingredients, % of flour", "bread flour 0\nwater 60", "must add up to 100"),
        ("On the table at", "late", "is not a time of day"),
    ):
        before = field(page, label).input_value()
        type_in(page, label, typed)
        page.get_by_role("alert").filter(has_text=said).first.wait_for(timeout=15_000)
        assert field(page, label).input_value() == typed
        assert keep.is_disabled()
        if label == "Settings (%)":
            shoot(page, "plan-nonsense", tall=1400)
        type_in(page, label, before)
        lead.wait_for(timeout=15_000)

    # a button that stays pressed says so, and hints are read: WCAG 2.2, 1.4.3, 4.5 to 1
    more = page.get_by_role("button", name="More about your kitchen")
    assert more.get_attribute("aria-pressed") == "false"
    more.press("Enter")
    page.locator("button[aria-pressed=true]").filter(has_text="More about").wait_for()
    assert hint_contrast(page.get_by_placeholder("0.1 g, or empty")) >= 4.5
    more.press("Enter")

    # the slider turns the question round: how many bakes notice what matters
    noticed = lead.inner_text()
    slider = page.get_by_role("slider", name="Bakes")
    slider.focus()
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    page.get_by_text("With 7 bakes").first.wait_for(timeout=15_000)
    assert lead.inner_text() != noticed

    # what does not fit into the day is moved as little as possible, and said
    type_in(page, "First bake on", "2026-12-03")
    type_in(page, "On the table at", "7:00")
    page.get_by_text("Changed so that it fits").first.wait_for(timeout=15_000)
    page.get_by_role("button", name="More about your kitchen").press("Enter")
    type_in(page, "Awake to", "6:30")
    page.get_by_text("No plan near this one fits").first.wait_for(timeout=15_000)
    shoot(page, "plan-misses", tall=2600)
    type_in(page, "Awake to", "10 pm")
    type_in(page, "On the table at", "11.30 am")
    page.get_by_text("on the table at 11:30").first.wait_for(timeout=15_000)
    keep.press("Enter")
    page.get_by_text("Kept in").wait_for(timeout=30_000)
    shoot(page, "plan-kept")
    with page.expect_popup() as opened:
        page.get_by_role("link", name="bench sheet").first.press("Enter")
    sheet = opened.value
    sheet.get_by_role("heading", name="malt").first.wait_for(timeout=15_000)
    assert "What to weigh" in sheet.content()
    assert "do not taste" in sheet.content()
    if folder := os.environ.get("KIT_SCREENSHOTS"):
        sheet.emulate_media(media="print")
        sheet.pdf(path=f"{folder}/plan-sheet.pdf", prefer_css_page_size=True)
    assert (lab[1] / "malt-bake-7.ics").read_text().startswith("BEGIN:VCALENDAR")


def test_no_cell_ends_in_an_error(page, lab):
    open_and_run(page, lab)
    run_all(page)
    page.get_by_text("the same dough recipe repeated").first.wait_for(timeout=60_000)
    page.wait_for_timeout(1500)
    assert errors_in_cells(page) == []


def test_readable_on_a_phone(page, lab):
    page.set_viewport_size({"width": 400, "height": 800})
    open_and_run(page, lab)
    assert cut_off(page) == []
    times = page.get_by_role("region", name="Timetable").locator("tbody th[scope=row]")
    assert times.count() > 3
    lines = times.evaluate_all(
        """all => all.map(e => {
            const text = document.createRange();
            text.selectNodeContents(e);
            return text.getClientRects().length;
        })"""
    )
    assert set(lines) == {1}  # 06:56 is not broken anywhere
    for name, place in (("top", ".kit-panel"), ("answer", ".kit-lead"), ("end", ".kit-scroll")):
        page.locator(place).first.evaluate("e => e.scrollIntoView()")
        shoot(page, f"plan-400px-{name}")
