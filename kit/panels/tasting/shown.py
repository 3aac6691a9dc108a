"""What the taste panel shows: what a few tasters can tell, and the answer when it is opened."""

from html import escape
from pathlib import Path
from typing import Any

from kit import charts, words
from kit.analysis.tasting import consistency
from kit.analysis.tasting.exact import needed_right
from kit.analysis.tasting.methods import METHODS
from kit.analysis.tasting.needed import Needed
from kit.panels.parts.blocks import folded, from_python, if_invented, items, picture, show
from kit.panels.parts.style import link
from kit.workspace import Trial
from kit.writeup.tables import table

__all__ = ["answer_page", "few_tasters", "to_print"]

_RIGHT = {True: "right", False: "wrong"}


def few_tasters(need: Needed, count: int) -> str:
    """What so many tasters do; nothing where they are enough."""
    if count >= need.first:
        return ""
    alpha = need.alpha / 2 if need.two_sided else need.alpha
    if needed_right(count, METHODS[need.method].guess, alpha) is None:
        return "can never show it, whatever they answer"
    return "may well miss it"


def to_print(sheets: Path, key: Path) -> str:
    """Link what is written for a tasting, and say for whom."""
    return (
        f"<p>Print {link(sheets)} for the tasters, and {link(key)} for who serves and does not "
        "taste.</p>"
    )


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
        + folded("Who answered what", show([table(_answers(told), "Each answer", missing="")]))
        + folded("For the statistician", f"<p>{escape(answer.statistics)}</p>")
        + f"{from_python(*call)}</section>"
    )


def _answers(told: Any) -> Any:
    """Each mark of an open tasting, or the code that was ticked, with what it was.

    Examples
    --------
    >>> import pandas as pd
    >>> plate = {"method": "triangle", "taster": "Ida", "plate": 1, "code": ["412", "236", "587"]}
    >>> told = pd.DataFrame({**plate, "mark": [0, 1, 0], "sample": ["16 h", "40 h", "16 h"]})
    >>> _answers(told).to_dict("records")
    [{'Taster': 'Ida', 'Ticked': '236', 'It was': '40 h', '': 'right'}]
    """
    method, plate = told["method"].iloc[0], ["taster", "plate"]
    # of a triangle the odd one is alone, of a duo-trio the right one has the reference beside it
    alike = told.groupby([*plate, "sample"])["code"].transform("size")
    told = told.assign(right=(alike == (1 if method == "triangle" else 2)))
    names = {"taster": "Taster", "plate": "Plate", "code": "Code", "sample": "It was"}
    if method in ("triangle", "duo-trio", "pair"):
        told = told[told["mark"] == 1].assign(right=lambda t: t["right"].map(_RIGHT))
        names |= {"code": "Ticked"} | ({} if method == "pair" else {"right": ""})
    else:
        told = told[told["mark"].notna()]
        names["mark"] = "Rank" if method == "ranking" else "Score"
    if told["plate"].nunique() == 1:
        del names["plate"]
    return told[list(names)].rename(columns=names)
