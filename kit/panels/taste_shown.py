"""What the taste panel shows: what a few tasters can tell, and the answer when it is opened."""

from html import escape
from typing import Any

from kit import charts
from kit.analysis import words
from kit.analysis.tasting import consistency
from kit.analysis.tasting.exact import needed_right
from kit.analysis.tasting.methods import METHODS
from kit.analysis.tasting.needed import Needed
from kit.panels.blocks import folded, from_python, if_invented, items, picture
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
    notes = items(f"{words.capital(check)}." for check in answer.checks)
    steady = ""
    if told["method"].iloc[0] == "scores" and told.duplicated(["taster", "sample"]).any():
        found = consistency(told, mark="mark")
        steady = f"<p>{escape(found.headline)} {escape(found.sentence)}</p>"
    more = "" if matters is None else f", matters={matters:g}"
    call = f"trial = ws.trial({trial.name!r})", f"print(trial.tasting_answer({number}{more}))"
    return (
        f'<section class="kit-answer">{if_invented(trial)}'
        f'<div role="status"><p class="kit-lead">{escape(answer.headline)}</p>'
        + "".join(f"<p>{escape(text)}</p>" for text in texts)
        + f"{notes}</div>{picture(chart, answer.headline)}{steady}"
        + folded("For the statistician", f"<p>{escape(answer.statistics)}</p>")
        + f"{from_python(*call)}</section>"
    )
