"""Colours of frames and focus rings: seen in JupyterLab's light and in its dark theme."""

import re
from pathlib import Path

import pytest

from kit import panels

FILES = sorted(
    path for path in Path(panels.__file__).parent.rglob("*.*") if path.suffix in (".css", ".py")
)
#: what fields lie on in either theme, from memory of JupyterLab's --jp-layout-color0 and -color1
GROUNDS = ("#ffffff", "#212121", "#111111")
#: for what is no text, WCAG 2.2, success criteria 1.4.11 and 2.4.13
LEAST = 3.0


def luminance(colour):
    """Relative luminance as WCAG 2.2 defines it."""
    parts = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return sum(w * c for w, c in zip((0.2126, 0.7152, 0.0722), linear, strict=True))


def contrast(one, other):
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_contrast_of_known_pairs():
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.005)  # WebAIM's checker


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.name)
def test_frames_and_focus_rings_are_seen_in_both_themes(path):
    css = path.read_text(encoding="utf-8")
    told = re.findall(
        r"(?:--(?:kit-(?:bad|ask)|jp-\S*-color):|outline:[^;}]*|border-left:[^;}]*)\s*(#\w{6})",
        css,
    )
    for colour in told:
        for ground in GROUNDS:
            assert contrast(colour, ground) >= LEAST, (colour, ground)


def test_the_rule_above_is_about_something():
    everything = "".join(path.read_text(encoding="utf-8") for path in FILES)
    assert len(re.findall(r"outline:[^;}]*#\w{6}", everything)) > 5
    assert "--jp-widgets-input-border-color: #" in everything  # JupyterLab's own is too pale
