"""Where a desktop forces its own colours upon a page: pictures stay seen, links look like links."""

import pytest

from kit import panels
from kit.panels.parts.style import STYLE, link

pytestmark = pytest.mark.browser

#: what is behind a picture's letters, and their colour
LETTERS = """() => [...document.querySelectorAll("svg")].map(svg => {
  let ground = svg;
  while (getComputedStyle(ground).backgroundColor === "rgba(0, 0, 0, 0)") {
    ground = ground.parentElement;
  }
  return [getComputedStyle(ground).backgroundColor,
          getComputedStyle(svg.querySelector("text")).fill];
})"""


@pytest.fixture
def forced(page):
    page.emulate_media(forced_colors="active", color_scheme="dark")
    assert page.evaluate("matchMedia('(forced-colors: active)').matches")
    return page


@pytest.fixture
def ws(tmp_path):
    with panels.open_workspace(tmp_path / "bakes") as opened:
        yield opened


def in_panel(inside):
    """A panel as JupyterLab shows it, which takes colour and line from links."""
    theirs = "<style>a {color: unset; text-decoration: unset} button {border: 0}</style>"
    return f'{theirs}{STYLE}<div class="kit-panel">{inside}</div>'


def assert_seen(letters):
    assert letters
    for ground, ink in letters:
        assert ground == "rgb(255, 255, 255)"
        assert max(int(part) for part in ink.strip("rgb()").split(",")) < 0x80


def test_pictures_are_seen_in_panels(forced, ws):
    forced.set_content(in_panel(panels.compare(ws).shown.value))
    assert_seen(forced.evaluate(LETTERS))


def test_pictures_are_seen_on_the_page_and_on_the_bench_sheet(forced, ws, tmp_path):
    trial = ws.trial("harbour-malt")
    sheet = trial.bench_sheet(trial.bakes()[0], tmp_path / "sheet.html")
    for written in (trial.writeup(tmp_path / "page.html"), sheet):
        forced.goto(written.as_uri())
        assert_seen(forced.evaluate(LETTERS))


def test_buttons_have_frames_and_a_pressed_one_another(forced):
    kinds = ("jupyter-button", "jupyter-button widget-toggle-button mod-active")
    forced.set_content(in_panel("".join(f'<button class="{kind}">x</button>' for kind in kinds)))
    widths = "() => [...document.querySelectorAll('button')].map(b => getComputedStyle(b).border)"
    plain, pressed = forced.evaluate(widths)
    assert plain.startswith("1px solid")
    assert pressed.startswith("4px solid")


def test_links_look_like_links_and_show_the_focus(page, tmp_path, monkeypatch):
    monkeypatch.setenv("KIT_FOLDER", str(tmp_path))
    page.set_content(in_panel(f"<p>Print {link(tmp_path / 'x.html', 'bench sheet')}.</p>"))
    style = "e => (({color, textDecorationLine: line, outlineWidth: ring}) => [color, line, ring])"
    style += "(getComputedStyle(e))"
    found = page.get_by_role("link", name="bench sheet")
    assert found.evaluate(style)[:2] == ["rgb(11, 87, 208)", "underline"]
    page.keyboard.press("Tab")
    assert found.evaluate(style)[2] == "3px"
