"""The compare notebook as a baker uses it, in a real browser."""

import pytest
from lab_pages import cut_off, errors_in_cells, open_notebook, run_all, shoot

pytestmark = pytest.mark.browser


def open_and_run(page, lab):
    """Open the notebook; it makes its panels by itself."""
    open_notebook(page, lab[0], "compare")
    trial = page.get_by_label("Trial", exact=True)
    trial.wait_for(timeout=40_000)
    # it opens on the baker's own newest trial, which another test may have made
    trial.select_option(label="harbour-malt")
    page.locator(".kit-answer svg").first.wait_for(timeout=40_000)


def test_baker_asks_and_gets_the_page(page, lab):
    open_and_run(page, lab)
    answer = page.locator(".kit-answer")
    assert "A difference that matters." in answer.inner_text()
    assert "Invented data" in answer.inner_text()
    shoot(page, "compare-first")

    # nonsense is answered beside the field, and what was typed stays
    matters = page.get_by_label("What matters (mm)", exact=True)
    for typed, said in (("a lot", "is not a number"), ("-3", "must be above 0")):
        matters.fill(typed)
        matters.press("Enter")
        page.get_by_role("alert").filter(has_text=said).wait_for(timeout=10_000)
        assert matters.input_value() == typed
        shoot(page, f"compare-{'words' if said.startswith('is') else 'negative'}")
    matters.fill("1/16 in")
    matters.press("Enter")
    page.get_by_text("1.588 mm that matters").first.wait_for(timeout=10_000)

    # another factor by the keyboard alone
    factor = page.get_by_label("I changed", exact=True)
    factor.focus()
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Tab")
    answer.get_by_text("cold retard at 40 h").first.wait_for(timeout=10_000)
    shoot(page, "compare-retard")

    # the page is written where the bakes are
    page.get_by_role("button", name="Write the page").press("Enter")
    page.get_by_text("Written:").wait_for(timeout=40_000)  # it answers every factor
    written = (lab[1] / "harbour-malt.html").read_text()
    assert "Does cold retard change height?" in written
    assert "And diastatic malt?" in written
    with page.expect_popup() as opened:
        page.get_by_role("link", name="harbour-malt.html").press("Enter")
    opened.value.get_by_role("heading", name="harbour-malt").wait_for(timeout=10_000)
    shoot(opened.value, "page-written")


def test_numbers_in_the_notebook_hold(page, lab):
    """No cell of the shipped notebook ends in an error."""
    open_and_run(page, lab)
    run_all(page)
    page.get_by_text("No difference that matters.").first.wait_for(timeout=40_000)
    assert errors_in_cells(page) == []


def test_readable_on_a_phone(page, lab):
    page.set_viewport_size({"width": 400, "height": 800})
    open_and_run(page, lab)
    assert cut_off(page) == []
    assert page.get_by_label("I changed", exact=True).bounding_box()["height"] < 50
    # an interval does not break inside, and its table needs no swipe
    broken = page.locator(".kit-answer > .kit-scroll td.kit-n").evaluate_all(
        """cells => cells.filter((cell) => {
            const range = document.createRange();
            range.setStart(cell.firstChild, cell.textContent.indexOf("("));
            range.setEnd(cell.firstChild, cell.textContent.length);
            return range.getClientRects().length !== 1;
        }).length + cells.filter(c => c.textContent.includes("(")).length * 1000"""
    )
    assert broken == 6000  # all six differences are there, none is broken
    wide = page.locator(".kit-answer > .kit-scroll").first
    assert wide.evaluate("e => e.scrollWidth <= e.clientWidth")
    for name, place in (("top", ".kit-panel"), ("answer", ".kit-lead"), ("end", ".kit-scroll")):
        page.locator(place).first.evaluate("e => e.scrollIntoView()")
        shoot(page, f"compare-400px-{name}")


def test_a_deeper_question_is_answered(page, lab):
    page.set_viewport_size({"width": 1100, "height": 2000})
    open_and_run(page, lab)
    question = page.get_by_label("Question", exact=True)
    question.scroll_into_view_if_needed()
    question.select_option("Are all places of the griddle alike?")
    page.get_by_role("button", name="Answer").press("Enter")
    page.get_by_text("No place differs surely from the others").first.wait_for(timeout=60_000)
    # who works by keyboard still stands on the button
    assert page.evaluate("document.activeElement.innerText.trim()") == "Answer"
    shoot(page, "compare-griddle-map")
    question.select_option("Which dose is best?")
    page.get_by_label("Changed", exact=True).select_option("Diastatic malt")
    page.get_by_role("button", name="Answer").press("Enter")
    page.locator(".kit-answer").last.get_by_text("Height rises with the first of").first.wait_for(
        timeout=90_000
    )
    shoot(page, "compare-dose")


def test_the_data_are_packed_and_a_file_that_is_none_is_refused(page, lab):
    open_and_run(page, lab)
    pack = page.get_by_role("button", name="Pack it into one file")
    pack.wait_for(timeout=40_000)
    pack.press("Enter")
    page.get_by_role("link", name="harbour-malt.zip").wait_for(timeout=40_000)
    assert (lab[1] / "harbour-malt.zip").stat().st_size > 10_000
    source = page.get_by_label("The file", exact=True)
    source.fill("nowhere.zip")
    source.press("Enter")
    page.get_by_role("button", name="Bring it in").press("Enter")
    page.get_by_role("alert").filter(has_text="is not there").wait_for(timeout=10_000)
    source.fill("harbour-malt.zip")
    source.press("Enter")
    page.get_by_role("button", name="Bring it in").press("Enter")
    page.get_by_text("is already here, the very same").wait_for(timeout=40_000)
    shoot(page, "compare-share")
    page.set_viewport_size({"width": 400, "height": 800})
    pack.scroll_into_view_if_needed()
    assert cut_off(page) == []
    shoot(page, "compare-share-400px")


def test_two_batches_are_set_side_by_side(page, lab):
    open_and_run(page, lab)
    kind = page.get_by_label("Two of its", exact=True)
    kind.scroll_into_view_if_needed()
    page.get_by_label("Of the trial", exact=True).select_option(label="harbour-malt")
    page.get_by_text("What dough 8A and dough 8B differ in").wait_for(timeout=40_000)
    shoot(page, "compare-side-by-side")
    kind.select_option("bakes")
    page.get_by_text("What bake 7 and bake 8 differ in").wait_for(timeout=40_000)
    page.get_by_label("One", exact=True).select_option(label="bake 8")
    page.get_by_text("Both are bake 8: pick another.").wait_for(timeout=40_000)
    page.set_viewport_size({"width": 400, "height": 800})
    kind.scroll_into_view_if_needed()
    assert cut_off(page) == []


def test_words_are_whole_where_it_is_narrow(page, lab):
    """What a box to tick says is not cut off, and what is printed breaks between words."""
    page.set_viewport_size({"width": 1024, "height": 768})
    open_and_run(page, lab)
    run_all(page)
    photos = page.locator("label", has_text="With its photos, place and serial")
    photos.wait_for(timeout=40_000)
    assert photos.evaluate("e => e.scrollWidth <= e.clientWidth")
    printed = page.locator(".jp-OutputArea-output pre", has_text="A difference that matters.")
    assert printed.first.evaluate("e => getComputedStyle(e).wordBreak") == "normal"
