"""The compare notebook as a baker uses it, in a real browser.

Screenshots go to the folder named by ``KIT_SCREENSHOTS`` when it is set.
"""

import os
from pathlib import Path

import pytest

pytestmark = pytest.mark.browser


def shoot(page, name):
    if folder := os.environ.get("KIT_SCREENSHOTS"):
        Path(folder).mkdir(parents=True, exist_ok=True)
        page.screenshot(path=f"{folder}/{name}.png")


def open_and_run(page, lab):
    """Open the notebook and run all cells, as the menu does."""
    page.goto(lab[0])
    page.wait_for_function(
        "() => window.jupyterapp?.shell.currentWidget?.sessionContext?.session?.kernel",
        timeout=40_000,
    )
    page.evaluate("window.jupyterapp.commands.execute('notebook:run-all-cells')")
    page.get_by_label("Trial", exact=True).wait_for(timeout=40_000)
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
    page.get_by_text("1.5875 mm that matters").first.wait_for(timeout=10_000)

    # another factor by the keyboard alone
    factor = page.get_by_label("Factor", exact=True)
    factor.focus()
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Tab")
    answer.get_by_text("cold retard at 40 h").first.wait_for(timeout=10_000)
    shoot(page, "compare-retard")

    # the page is written where the bakes are
    page.get_by_role("button", name="Write the page").press("Enter")
    page.get_by_text("Written:").wait_for(timeout=10_000)
    assert "Does more malt" in (lab[1] / "harbour-malt.html").read_text()
    with page.expect_popup() as opened:
        page.get_by_role("link", name="harbour-malt.html").press("Enter")
    opened.value.get_by_role("heading", name="harbour-malt").wait_for(timeout=10_000)
    shoot(opened.value, "page-written")


def test_numbers_in_the_notebook_hold(page, lab):
    """No cell of the shipped notebook ends in an error."""
    open_and_run(page, lab)
    page.get_by_text("No difference that matters.").first.wait_for(timeout=40_000)
    errors = page.evaluate(
        """() => [...window.jupyterapp.shell.currentWidget.content.model.cells]
            .flatMap(c => c.outputs ? c.outputs.toJSON() : [])
            .filter(o => o.output_type === 'error').map(o => o.evalue)"""
    )
    assert errors == []


def test_readable_on_a_phone(page, lab):
    page.set_viewport_size({"width": 400, "height": 800})
    open_and_run(page, lab)
    cut = page.evaluate(
        """() => {
            const place = document.querySelector(".kit-panel").closest(".jp-OutputArea-output");
            const right = place.getBoundingClientRect().right;
            const seen = ["p", "select", "input", "li"].map(tag => ".kit-panel " + tag);
            return [...document.querySelectorAll(seen)]
                .filter(e => !e.closest(".kit-scroll, .kit-picture"))
                .filter(e => e.getBoundingClientRect().right > right + 1)
                .map(e => e.textContent.slice(0, 40));
        }"""
    )
    assert cut == []
    assert page.get_by_label("Factor", exact=True).bounding_box()["height"] < 50
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
    shoot(page, "compare-griddle-map")
    question.select_option("Which dose is best?")
    page.get_by_label("Its factor", exact=True).select_option("Diastatic malt")
    page.get_by_role("button", name="Answer").press("Enter")
    page.locator(".kit-answer").last.get_by_text("Height rises with the first of").first.wait_for(
        timeout=90_000
    )
    shoot(page, "compare-dose")
