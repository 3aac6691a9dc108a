"""What browser tests of the measure notebook do alike: take photos in, say, drag, read off."""

import re

from lab_pages import open_notebook, run_all

import kit

__all__ = [
    "DAY", "by_marker", "drag_by_finger", "drag_by_mouse", "grip", "height", "measure",
    "new_trial", "on_screen", "place", "say", "start",
]  # fmt: skip

DAY = "2026-11-19"


def new_trial(folder, test):
    """Yield a trial of its own for a test, with one dough and three pieces of one bake."""
    with kit.Workspace(folder) as ws:
        name = re.sub(r"\W+", " ", test.removeprefix("test_"))
        made = ws.new_trial(name, outcome="rise_height_mm", zone="Europe/Berlin", invented=True)
        dough = made.add_dough(made.add_bake(DAY))
        for _ in range(3):
            made.add_piece(dough)
        yield made


def start(page, lab, trial, folder, photos="2 photos"):
    """Open the notebook, choose the trial, take the folder in."""
    open_notebook(page, lab[0], "measure")
    # what another test left in the notebook is no panel to click on
    page.evaluate("window.jupyterapp.commands.execute('notebook:clear-all-cell-outputs')")
    run_all(page)
    page.get_by_label("Trial", exact=True).wait_for(timeout=60_000)
    page.get_by_label("Trial", exact=True).select_option(trial.name)
    # the demo has a piece 1A1 too: Python must have heard which trial is meant
    page.get_by_text(f"{trial.name}: no photo yet.").wait_for(timeout=20_000)
    page.get_by_label("or its path", exact=True).fill(str(folder))
    page.get_by_label("or its path", exact=True).press("Enter")
    page.get_by_role("button", name="Take in its photos").click()
    page.locator(".kit-panel").get_by_text(f"{photos} taken in.").wait_for(timeout=30_000)
    page.locator("img.kit-mark-picture").wait_for(timeout=20_000)


def say(page, label, text):
    page.get_by_label(label, exact=True).fill(text)
    page.get_by_label(label, exact=True).press("Tab")


def by_marker(page):
    page.get_by_label("Scale by", exact=True).select_option("a square marker")
    say(page, "Its side", "32 mm")
    say(page, "Middle in front of it", "12 mm")


def measure(page):
    page.get_by_role("button", name="Measure", exact=True).click()
    page.get_by_text("Height:", exact=False).first.wait_for(timeout=60_000)


def height(page):
    """The height that is shown, in mm, and its standard uncertainty."""
    text = page.locator(".kit-answer li", has_text="Height:").first.inner_text()
    value, u = re.search(r"([\d.]+) ± ([\d.]+) mm", text).groups()
    return float(value), float(u)


def grip(page, label):
    return page.get_by_role("button", name=re.compile(f"^{label}, "))


def place(page, locator):
    """Where a grip says it is, in pixels of the photo."""
    right, down = re.search(
        r"(\d+) right, (\d+) down", locator.get_attribute("aria-label")
    ).groups()
    return float(right), float(down)


def on_screen(page, x, y):
    """A pixel of the photo on the screen."""
    box = page.locator(".kit-mark-stage").bounding_box()
    size = page.locator(".kit-mark-lines").get_attribute("viewBox").split()[2:]
    return (box["x"] + (x + 0.5) / float(size[0]) * box["width"],
            box["y"] + (y + 0.5) / float(size[1]) * box["height"])  # fmt: skip


def drag_by_mouse(page, point, to):
    """A grip taken by the mouse and let go elsewhere on the screen."""
    point.scroll_into_view_if_needed()
    box = point.bounding_box()
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.mouse.down()
    page.mouse.move(*to, steps=5)
    page.mouse.up()


def drag_by_finger(page, point, to):
    """One finger on a grip, moved and lifted, as the browser's own touch input."""
    box = point.bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    touch = page.context.new_cdp_session(page)
    send = lambda kind, points: touch.send(  # noqa: E731
        "Input.dispatchTouchEvent", {"type": kind, "touchPoints": points}
    )
    send("touchStart", [{"x": x, "y": y}])
    for step in range(1, 6):
        way = step / 5
        send("touchMove", [{"x": x + way * (to[0] - x), "y": y + way * (to[1] - y)}])
    send("touchEnd", [])
    touch.detach()
