"""The running bake in a real browser: thumbs, keyboard, ticking, a kernel that dies."""

import json
import re
import time
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from lab_pages import cut_off, fill_the_browsers_store, open_notebook, run_all, shoot

pytestmark = pytest.mark.browser

CELL = """from datetime import UTC, datetime, timedelta
from kit import panels
from kit.panels.recording.running import RunningPanel

ws = panels.open_workspace()
trial = ws.trial("{name}")
RunningPanel(ws, trial, trial.bakes()[0])"""


@pytest.fixture
def bench(lab, request):
    """A bake that runs, and a notebook with nothing but the panel."""
    from kit.workspace import Workspace

    name = f"running {request.node.name}"[:60]
    with Workspace(lab[1]) as ws:
        trial = ws.new_trial(name, zone="Europe/Berlin", invented=True)
        bake = trial.add_bake(datetime.now(UTC).date())
        doughs = [trial.add_dough(bake) for _ in range(2)]
        load = trial.add_load(bake)
        for place, (dough, side) in enumerate(zip(doughs, (5, 6), strict=True), start=1):
            trial.record(dough, "retard_hours", 16, how="planned")
            trial.record(trial.add_piece(dough, load, place), "side_minutes", side, how="planned")
        now = datetime.now(UTC)
        trial.stage(doughs[0], "in the fridge", now - timedelta(hours=17, minutes=20))
        trial.stage(doughs[1], "in the fridge", now - timedelta(hours=15, minutes=50))
    cell = {"cell_type": "code", "id": "panel", "metadata": {}, "execution_count": None,
            "outputs": [], "source": CELL.format(name=name)}  # fmt: skip
    book = {
        "nbformat": 4,
        "nbformat_minor": 5,
        "cells": [cell],
        "metadata": {"kernelspec": {"name": "python3", "display_name": "Python 3"}},
    }
    file = re.sub(r"\W+", "-", name) + ".ipynb"
    (lab[1] / file).write_text(json.dumps(book))
    head, _, token = lab[0].partition("?")
    root = head.partition("/doc")[0].partition("/lab")[0].rstrip("/")
    return name, f"{root}/doc/tree/{file}?{token}"


def open_and_run(page, address):
    open_notebook(page, address)
    run_all(page)
    page.locator(".kit-place").first.wait_for(timeout=40_000)


def stages(lab, name):
    from kit.workspace import Workspace

    with Workspace(lab[1]) as ws:
        return ws.trial(name).stages()


def test_one_touch_a_stage(page, lab, bench):
    name, address = bench
    open_and_run(page, address)
    shoot(page, "running-first")
    places = page.locator(".kit-place")
    assert "in the fridge for 17 h 20 min" in places.nth(0).inner_text()
    assert "overdue by 1 h 20 min" in places.nth(0).inner_text()
    # what is next stands on the button; beside it, only when that is
    assert "next: out of the fridge" in places.nth(0).inner_text()
    assert "next:" not in places.filter(has_text="load 1").inner_text()
    assert "in 9 min" in places.nth(1).inner_text() or "in 10 min" in places.nth(1).inner_text()

    # a knuckle finds every button
    sizes = [b.bounding_box() for b in page.locator("button.kit-now").all()]
    assert sizes
    assert min(box["height"] for box in sizes) >= 56
    assert min(box["width"] for box in sizes) >= 56

    # two touches in a row are one
    out = page.get_by_role("button", name="1A: out of the fridge — now")
    out.dblclick()
    page.get_by_role("status").filter(has_text="Noted: dough 1A out of the fridge").wait_for()
    assert stages(lab, name)["stage"].tolist().count("out of the fridge") == 1
    assert "shaped" not in stages(lab, name)["stage"].tolist()

    # the keyboard stays on the button and the cell is not deleted by single keys
    shaped = page.get_by_role("button", name="1A: shaped — now")
    page.wait_for_timeout(1600)
    shaped.focus()
    page.keyboard.press("Enter")
    page.get_by_role("status").filter(has_text="Noted: dough 1A shaped").wait_for()
    assert page.evaluate("document.activeElement.textContent") == "1A: doubled — now"
    page.keyboard.press("d")
    page.keyboard.press("d")
    assert page.locator(".kit-place").count() == 3

    # a time typed later; nonsense is answered and kept
    typed = page.get_by_label("When it was", exact=True).first
    typed.fill("soon")
    page.get_by_role("button", name="1B: out of the fridge — soon").click()
    page.get_by_role("alert").filter(has_text="is not a time").wait_for()
    assert typed.input_value() == "soon"
    shoot(page, "running-nonsense")
    page.wait_for_timeout(1600)
    typed.fill("yesterday 0:01")
    page.get_by_role("button", name="1B: out of the fridge — yesterday 0:01").click()
    page.get_by_role("alert").filter(has_text="is before dough 1B went into the fridge").wait_for()
    typed.fill("")

    # taken back
    page.get_by_role("button", name="Take back the last entry").click()
    page.get_by_text("undone:").wait_for()
    page.get_by_role("button", name="1A: shaped — now").wait_for()
    shoot(page, "running-undone")


def test_pieces_on_the_griddle_tick_by_the_second(page, lab, bench):
    from kit.workspace import Workspace

    with Workspace(lab[1]) as ws:
        trial = ws.trial(bench[0])
        trial.stage(trial.load(1, "1"), "on the griddle")
    open_and_run(page, bench[1])
    group = page.locator(".kit-place").filter(has_text="5 min a side (1A1)")
    first = group.locator(".kit-length").inner_text()
    assert re.fullmatch(r"for \d+ min \d\d s", first)
    page.wait_for_timeout(2500)
    assert group.locator(".kit-length").inner_text() != first
    # a screen reader is not told every second
    live = page.locator(".kit-board [role=status], .kit-board [aria-live]")
    assert all("min" not in text for text in live.all_inner_texts())
    page.get_by_role("button", name="load 1, 5 min a side (1A1): turned — now").click()
    page.get_by_role("status").filter(has_text="Noted: piece 1A1 turned").wait_for()
    shoot(page, "running-griddle")


def test_the_keyboard_stays_where_a_load_becomes_two_rows(page, lab, bench):
    """Its pieces are turned at different times, so its row gives way to two."""
    open_and_run(page, bench[1])
    load = page.get_by_role("button", name="load 1: on the griddle — now")
    load.focus()
    page.keyboard.press("Enter")
    page.get_by_role("status").filter(has_text="Noted: load 1 of bake 1 on the").wait_for()
    load.wait_for(state="detached")
    held = page.evaluate("document.activeElement.textContent")
    assert held.startswith("load 1, 5 min a side (1A1)")


def test_nothing_pressed_is_lost_when_python_dies(page, lab, bench):
    name, address = bench
    open_and_run(page, address)
    page.evaluate("window.jupyterapp.shell.currentWidget.sessionContext.session.kernel.shutdown()")
    page.wait_for_timeout(500)
    page.get_by_role("button", name="1A: out of the fridge — now").click()
    page.get_by_role("alert").filter(has_text="NOT SAVED yet").wait_for(timeout=10_000)
    shoot(page, "running-not-saved")
    assert "out of the fridge" not in stages(lab, name)["stage"].tolist()
    page.wait_for_timeout(1000)
    open_and_run(page, address)  # the page anew, the cell run again
    page.get_by_role("status").filter(has_text="Noted: dough 1A out of the fridge").wait_for(
        timeout=20_000
    )
    deadline = time.monotonic() + 10
    while "out of the fridge" not in stages(lab, name)["stage"].tolist():
        assert time.monotonic() < deadline
        time.sleep(0.2)
    assert not page.get_by_text("NOT SAVED yet").is_visible()


def test_a_press_counts_where_the_browser_keeps_nothing_more(page, lab, bench):
    name, address = bench
    open_and_run(page, address)
    fill_the_browsers_store(page)
    page.get_by_role("button", name="1A: out of the fridge — now").click()
    page.get_by_role("status").filter(has_text="Noted: dough 1A out of the fridge").wait_for(
        timeout=10_000
    )
    assert stages(lab, name)["stage"].tolist().count("out of the fridge") == 1
    # nor is it lost without Python
    page.evaluate("window.jupyterapp.shell.currentWidget.sessionContext.session.kernel.shutdown()")
    page.wait_for_timeout(1600)
    page.get_by_role("button", name="1B: out of the fridge — now").click()
    told = page.get_by_role("alert").filter(has_text="NOT SAVED yet: dough 1B out of the fridge")
    told.wait_for(timeout=10_000)


def test_of_two_windows_the_one_that_was_pressed_has_the_answer(page, lab, bench):
    open_and_run(page, bench[1])
    page.evaluate("window.jupyterapp.commands.execute('docmanager:save')")
    page.wait_for_timeout(1500)
    other = page.context.new_page()
    open_notebook(other, bench[1])
    other.locator(".kit-place").first.wait_for(timeout=40_000)
    for pressed, still, dough in ((page, other, "1A"), (other, page, "1B")):
        now = datetime.now(ZoneInfo("Europe/Berlin")) - timedelta(minutes=1)
        typed = pressed.get_by_label("When it was", exact=True).first
        typed.fill(f"{now:%Y-%m-%d %H:%M}")
        pressed.get_by_role("button", name=f"{dough}: out of the fridge — {now:%Y}").click()
        noted = f"Noted: dough {dough} out of the fridge"
        pressed.get_by_role("status").filter(has_text=noted).wait_for(timeout=10_000)
        assert typed.input_value() == ""
        assert still.get_by_role("status").filter(has_text=noted).count() == 0
    # nothing is left that a window opened later would send again
    left = page.evaluate(
        "Object.keys(localStorage).filter(k => k.startsWith('kit-running|'))"
        ".map(k => localStorage.getItem(k))"
    )
    assert left == ["[]"]


def test_where_two_buttons_stand_words_say_which_is_next(page, lab, bench):
    from kit.workspace import Workspace

    with Workspace(lab[1]) as ws:
        trial = ws.trial(bench[0])
        trial.stage(trial.add_dough(trial.bakes()[0]), "mixed")
    open_and_run(page, bench[1])
    place = page.locator(".kit-place").filter(has_text="dough 1C")
    assert [b.split(" — ")[0] for b in place.get_by_role("button").all_inner_texts()] == [
        "1C: in the fridge", "1C: shaped"
    ]  # fmt: skip
    assert place.locator(".kit-next").inner_text().strip() == "next: in the fridge"


def test_readable_on_a_phone(page, lab, bench):
    page.set_viewport_size({"width": 400, "height": 800})
    open_and_run(page, bench[1])
    assert cut_off(page) == []
    page.locator(".kit-board").evaluate("e => e.scrollIntoView()")
    shoot(page, "running-400px")
    page.get_by_label("Of what", exact=True).evaluate("e => e.scrollIntoView()")
    shoot(page, "running-400px-end")
