"""How panels look, how they say that something cannot be used, and how they show a file."""

import os
import re
from collections.abc import Iterable
from html import escape, unescape
from pathlib import Path

from kit.writeup.plain_words import in_words

__all__ = ["FAULT", "STYLE", "holds", "link", "notebook", "trouble"]

#: what is said of a fault of ours, before it is let out
FAULT = "this should not happen; the log says more."

#: CSS of every panel; its classes begin with kit-
STYLE = """<style>
.kit-panel, .kit-panel > *, .kit-panel .widget-html-content {box-sizing: border-box;
  min-width: 0; max-width: 100%}
/* ipywidgets sets what is said as far apart as its fields are high */
.kit-panel .widget-html > .widget-html-content {line-height: 1.5}
.kit-answer {font-size: 1rem; line-height: 1.5; overflow-wrap: anywhere}
.kit-question {font-size: 1.1rem; font-style: italic}
.kit-lead {font-size: 1.25rem; font-weight: 600; margin-bottom: .3em}
.kit-small, .kit-answer figcaption {font-size: .85rem}
.kit-answer figure {margin: .8em 0}
/* a picture is drawn dark on white, whatever colours the desktop forces upon the rest */
.kit-picture {background: #fff; color: #222; forced-color-adjust: none; overflow-x: auto}
.kit-scroll {overflow-x: auto}
.kit-answer > *, .kit-answer > details > * {max-width: 46rem}
.kit-answer > details, .kit-answer .kit-scroll {max-width: 100%}
.kit-scroll table {border-collapse: collapse; margin: .4em 0; font-variant-numeric: tabular-nums}
.kit-scroll caption {text-align: left; font-weight: 600; max-width: 68vw}
.kit-scroll th, .kit-scroll td {padding: .15em .9em .15em 0; text-align: left;
  font-weight: normal; white-space: nowrap; overflow-wrap: normal;
  border-bottom: 1px solid #d5d2cc}
.kit-scroll table .kit-n {text-align: right}
.kit-answer summary {cursor: pointer}
.kit-panel a {color: var(--jp-content-link-color, #0b57d0); text-decoration: underline}
.kit-answer pre {white-space: pre-wrap}
/* JupyterLab breaks what is printed anywhere, inside words, too */
.jp-OutputArea-output pre {overflow-wrap: anywhere; word-break: normal !important}
/* a box to tick says all of it, on as many lines as it takes */
.kit-panel .widget-checkbox, .kit-panel .widget-checkbox .widget-label-basic {height: auto;
  min-height: 28px; white-space: normal; overflow: visible}
/* JupyterLab's own is too pale to show where a field is */
.kit-panel {--jp-widgets-input-border-color: #767676}
/* a hint must not look like what was typed, and be read, in a dark theme either */
.kit-panel ::placeholder {color: var(--jp-ui-font-color1, #1d1d1d) !important;
  font-style: italic; opacity: .7}
/* the browser's own arrow has the colour of the text; JupyterLab's is black in a dark theme */
.kit-panel .widget-dropdown > select {appearance: auto; background-image: none !important}
/* what stays pressed is told by more than a shade */
.kit-panel .widget-toggle-button.mod-active {box-shadow: inset 0 0 0 3px currentColor}
.kit-panel :is(a, select, input, textarea, .jupyter-button, summary, [tabindex]):focus-visible {
  outline: 3px solid #cc7000 !important; outline-offset: -1px}
.kit-panel .jupyter-button {font-size: 1rem; white-space: normal; max-width: calc(100% - 4px)}
.kit-look {font-size: 2rem; font-weight: 700; line-height: 1.2; margin: .2em 0}
.kit-last {margin: .7rem .6rem; overflow-wrap: anywhere}
.kit-section {font-size: 1.05rem; font-weight: 600; margin: .9em 0 .3em}
.kit-scroll td.kit-wrap {white-space: normal; padding-right: 0}
.kit-weights :is(th, td) {white-space: normal; vertical-align: top}
.kit-weights thead th {vertical-align: bottom; min-width: 5rem}
.kit-banner {border-left: .3rem solid #b35900; padding: .2em .7em}
.kit-trouble {border-left: .3rem solid #d9402f; padding: .2em .7em; line-height: 1.4;
  overflow-wrap: anywhere}
/* forced colours take shades and shadows away: frames say what is a button and what is pressed */
@media (forced-colors: active) {
  .kit-panel .jupyter-button {border: 1px solid ButtonText}
  .kit-panel .widget-toggle-button.mod-active {border: 4px solid Highlight}
}
@media (max-width: 35rem) {
  .kit-scroll :is(th, td):not(.kit-n), .kit-scroll :is(.kit-long, thead th) {white-space: normal}
  .kit-scroll :is(th, td):last-child {padding-right: 0}
  .kit-panel .widget-inline-hbox {flex-flow: column; height: auto; align-items: stretch}
  .kit-panel .widget-inline-hbox > * {flex: none; width: auto !important; text-align: left}
}
@media (pointer: coarse), (max-width: 35rem) {
  .kit-panel .widget-inline-hbox {height: auto}
  .kit-panel select, .kit-panel .widget-text input[type="text"] {
    min-height: 44px; height: 44px; font-size: 1rem}
  .kit-panel .widget-inline-hbox > label {line-height: 2}
  .kit-panel .jupyter-button {height: auto; min-height: 44px}
  .kit-panel .widget-checkbox .widget-label-basic {display: flex; align-items: center;
    min-height: 44px}
  .kit-panel .widget-checkbox input {flex: none; width: 1.5rem; height: 1.5rem}
  .kit-panel summary {padding: .7rem 0}
}
</style>"""


def trouble(text: str) -> str:
    """Say as HTML why something does not work yet; read out at once."""
    said = escape(in_words(text))
    return f'<p class="kit-trouble" role="alert"><strong>Not yet:</strong> {said}</p>'


def link(path: Path, label: str = "") -> str:
    """Show a written file as HTML: a link where it can be opened from the notebook, else its path.

    Parameters
    ----------
    path : Path
    label : str
        What the link says; the file's name when not given.
    """
    if os.environ.get("KIT_FOLDER") == str(path.parent.resolve()):
        # `kit start` serves this folder, and its notebooks stand at /doc/tree/NAME
        shown = escape(label or path.name)
        return f'<a href="../../files/{escape(path.name)}" target="_blank">{shown}</a>'
    return f"{escape(label)} <code>{escape(str(path))}</code>".strip()


def notebook(name: str) -> str:
    """Show another notebook of the kit as HTML: a link to it where `kit start` serves them."""
    if os.environ.get("KIT_FOLDER"):  # its notebooks stand beside one another
        return f'<a href="{name}.ipynb" target="_blank">{name}.ipynb</a>'
    return f"<em>{name}.ipynb</em>"


def holds(page: Path, words: Iterable[str]) -> bool:
    """Whether a written page is there and holds all of these words, each by itself.

    A page of the same name may be of something else: of a trial whose name differs by a sign, or
    of what was taken back.
    """
    if not page.is_file():
        return False
    text = unescape(page.read_text(encoding="utf-8", errors="replace"))
    return all(re.search(rf"(?<!\w){re.escape(word)}(?!\w)", text) for word in words)
