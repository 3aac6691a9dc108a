"""The taste notebook as a baker uses it, in a real browser: planned, answered blind, opened."""

import re

import pytest
from lab_pages import cut_off, errors_in_cells, open_notebook, run_all, shoot

pytestmark = pytest.mark.browser


def open_and_run(page, lab, all_cells=False):
    """Open the notebook; it makes its panels by itself."""
    open_notebook(page, lab[0], "taste")
    if all_cells:
        run_all(page)
    page.get_by_role("button", name="Plan it and write the sheets").wait_for(timeout=60_000)
    # it opens on the baker's own newest trial, which another test may have made
    page.get_by_label("Trial", exact=True).select_option(label="harbour-malt")


def test_from_the_plan_to_the_opened_tasting(page, lab):
    open_and_run(page, lab, all_cells=True)
    page.get_by_text("40 tasters reach it too").first.wait_for(timeout=60_000)
    assert errors_in_cells(page) == []
    shoot(page, "taste-first", tall=1500)

    tasters = page.get_by_label("Tasters", exact=True)
    tasters.fill("Ida, Jon, Kim, Lou, Mia, Noa")
    tasters.press("Tab")
    page.get_by_role("button", name="Plan it and write the sheets").press("Enter")
    page.get_by_text("6 plates of 3 muffins for 6 tasters.").wait_for(timeout=20_000)

    # the page for the tasters gives nothing away; the key is a page of its own
    with page.expect_popup() as opened:
        page.get_by_role("link", name=re.compile("sheets.html$")).press("Enter")
    opened.value.get_by_role("heading", name="Tasting 1").first.wait_for(timeout=20_000)
    assert "malt at" not in opened.value.locator("body").inner_text()
    shoot(opened.value, "taste-sheet")
    key = next(lab[1].glob("harbour-malt-tasting-1-key.html")).read_text()
    odd = {}
    for name, row in re.findall(r'<th scope="row">(\w+)</th>(.*?)</tr>', key, re.S):
        cups = re.findall(r"<td><b>(\d{3})</b>([^<]+)</td>", row)
        samples = [sample for _, sample in cups]
        odd[name] = next(code for code, sample in cups if samples.count(sample) == 1)

    # nothing ticked is said, and nothing is stored
    page.get_by_role("button", name="Save this answer").press("Enter")
    page.get_by_role("alert").filter(has_text="Tick a code.").wait_for(timeout=20_000)
    for name, code in odd.items():
        page.get_by_role("button", name=code, exact=True).press("Enter")
        page.get_by_role("button", name="Save this answer").press("Enter")
        page.get_by_text(f"Saved: {name} answered {code}.").wait_for(timeout=20_000)
    page.get_by_text("6 of 6 answers are in.").wait_for(timeout=20_000)
    assert page.locator(".kit-lead").count() == 0
    page.get_by_role("button", name="Open the tasting").press("Enter")
    page.locator(".kit-lead").filter(has_text="The tasters told them apart.").wait_for(
        timeout=20_000
    )
    # the keyboard stays where it was
    assert page.evaluate("document.activeElement.textContent.trim()") == "Open the tasting"
    answer = page.locator(".kit-answer").first.inner_text()
    assert "6 of 6 right where guessing gives about 2; 5 are enough." in answer
    assert "would likely be missed" in answer
    assert "Invented data" in answer
    shoot(page, "taste-opened", tall=2100)


def test_readable_on_a_phone(page, lab):
    page.set_viewport_size({"width": 400, "height": 800})
    open_and_run(page, lab)
    assert cut_off(page) == []
    shoot(page, "taste-400px", tall=2600)
