"""What the taste panel shows: what a few tasters can tell, and the answer when it is opened."""

from html import escape
from typing import Any

from kit import charts
from kit.analysis import words
from kit.analysis.tasting import consistency
from kit.analysis.tasting.exact import needed_right
from kit.analysis.tasting.methods import METHODS
from kit.analysis.tasting.needed import Needed
from kit.workspace import Trial

__all__ = ["answer_page", "few_tasters"]


def few_tasters(need: Needed, count: int) -> str:
    """What so many tasters do; nothing where they are enough."""
    if count >= need.first:
        return ""
    alpha = need.alpha / 2 if need.two_sided else need.alpha
    if needed_right(count, METHODS[need.method].guess, alpha) is None:
        return "can never show it, whatever they answer"
    return "may well miss it"


def answer_page(trial: Trial, answer: Any, told: Any, number: int, matters: float | None) -> str:
    """The answer as HTML; whatever people typed is escaped."""
    chart = charts.svg(answer.plot(), answer.headline, answer.sentence)
    texts = (answer.sentence, answer.could_miss, answer.next_step)
    notes = "".join(f"<li>{escape(words.capital(check))}.</li>" for check in answer.checks)
    steady = ""
    if told["method"].iloc[0] == "scores" and told.duplicated(["taster", "sample"]).any():
        found = consistency(told, mark="mark")
        steady = f"<p>{escape(found.headline)} {escape(found.sentence)}</p>"
    banner = (
        '<p class="kit-banner"><strong>Invented data</strong>, made up to show how this works.</p>'
    )
    with_matters = "" if matters is None else f", matters={matters:g}"
    return (
        f'<section class="kit-answer">{banner if trial.invented else ""}'
        f'<div role="status"><p class="kit-lead">{escape(answer.headline)}</p>'
        + "".join(f"<p>{escape(text)}</p>" for text in texts)
        + (f"<ul>{notes}</ul>" if notes else "")
        + f'</div><figure><div class="kit-picture" role="region" tabindex="0" '
        f'aria-label="{escape(answer.headline)}">{chart}</div></figure>{steady}'
        "<details><summary>For the statistician</summary>"
        f"<p>{escape(answer.statistics)}</p></details>"
        "<details><summary>The same from Python</summary>"
        f"<pre>trial = ws.trial({escape(repr(trial.name))})\n"
        f"print(trial.tasting_answer({number}{with_matters}))</pre></details></section>"
    )
