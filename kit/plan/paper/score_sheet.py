"""The score sheet: one page a taster, with codes and boxes to tick; and the key, kept apart.

Both are HTML pages without scripts or anything from outside, made to be printed. No setting, and
no name of a sample, stands on a score sheet.
"""

from typing import TYPE_CHECKING, Any

from kit import words
from kit.errors import InputError
from kit.plan.paper.template import check_paper, fill
from kit.plan.serving import REFERENCE, Serving

if TYPE_CHECKING:
    from kit.formula.formula import Formula

__all__ = ["ALLERGENS", "key_sheet", "score_sheet"]

#: What a muffin of this kind may hold, where no formula says it more exactly.
ALLERGENS = "May contain wheat, barley malt (gluten), milk and egg."
#: Between samples (common practice, no source).
_CLEANSER = "Before each one: a sip of water and a bite of plain cracker or apple, then wait."
#: Ends and middle of a nine-point scale of liking.
_LIKING = {1: "dislike extremely", 5: "neither", 9: "like extremely"}

_TASKS = {
    "triangle": "Two of the three are alike, one is odd. Taste from left to right and tick the odd "
    "one. You must choose: guess if you are not sure.",
    "duo-trio": "Taste R first: it is the reference. One of the other two is the same as R. Tick "
    "that one. You must choose: guess if you are not sure.",
    "pair": "Taste from left to right. {question} Tick one. You must choose: guess if you are not "
    "sure.",
    "ranking": "Taste from left to right, as often as you like. {question} Write 1 under the "
    "first, 2 under the next, and so on; the same number for those you cannot tell.",
    "scores": "Taste from left to right. {question} Tick one box in each row.",
}
_QUESTIONS = {
    "pair": "Which one do you prefer?",
    "ranking": "Put them in order, the one you like most first.",
    "scores": "How much do you like it?",
}


def score_sheet(
    serving: Serving, title: str = "Tasting", question: str = "", paper: str = "A4",
    formula: "Formula | None" = None,
) -> str:  # fmt: skip
    """Write the score sheets, one page a taster and plate.

    Parameters
    ----------
    title : str
        What stands on top. It must not name a setting.
    question : str
        What is asked of pairs, ranks and scores; liking when empty.
    paper : str
        ``"A4"`` or ``"Letter"``.
    formula : Formula, optional
        Tells the allergens; else wheat, barley malt, milk and egg are named.

    Returns
    -------
    str
        HTML, complete in itself.

    Raises
    ------
    InputError
        An unknown paper, or a title or question that names a sample.
    """
    check_paper(paper)
    for field, text in (("title", title), ("question", question)):
        named = next((s for s in serving.samples if len(s) > 1 and s.lower() in text.lower()), None)
        if named is not None:
            raise InputError(
                field, text, f"names {named}, which tasters must not know", "Say it otherwise."
            )
    asked = question or _QUESTIONS.get(serving.method, "")
    return fill(
        "score_sheet.html.j2",
        title=title, paper=paper, method=serving.method, reference=REFERENCE,
        task=_TASKS[serving.method].format(question=asked), cleanser=_CLEANSER,
        allergens=_allergens(formula), plates=_plates(serving), boxes=list(range(1, 10)),
        words={1: "least", 9: "most"} if question else _LIKING,
    )  # fmt: skip


def key_sheet(serving: Serving, title: str = "Tasting", paper: str = "A4") -> str:
    """Write the key: which code is which, for who serves and does not taste.

    Parameters
    ----------
    paper : str
        ``"A4"`` or ``"Letter"``.

    Returns
    -------
    str
        HTML, complete in itself.
    """
    check_paper(paper)
    rows: list[dict[str, Any]] = [
        {
            "taster": taster,
            "plate": plate,
            "cups": [(c.code, c.sample) for c in cups.itertuples()],
        }
        for (taster, plate), cups in serving.table.groupby(["taster", "set"], sort=False)
    ]
    return fill(
        "serving_key.html.j2",
        title=title, paper=paper, rows=rows, method=serving.method,
        several=len({r["plate"] for r in rows}) > 1,
        places=max(len(r["cups"]) for r in rows),
        checks=[f"{words.capital(check)}." for check in serving.checks],
    )  # fmt: skip


def _plates(serving: Serving) -> list[dict[str, Any]]:
    """Codes in the order of tasting; nothing else about them."""
    several = serving.table["set"].nunique() > 1
    return [
        {"taster": taster, "plate": plate if several else 0, "codes": list(cups["code"])}
        for (taster, plate), cups in serving.plates().groupby(["taster", "set"], sort=False)
    ]


def _allergens(formula: "Formula | None") -> str:
    """Names of what it contains; in which ingredient might tell what is compared."""
    if formula is None:
        return ALLERGENS
    from kit.formula.allergens import contained

    found = contained((one.name, one.role) for one in formula.ingredients if one.percent != 0)
    return f"Contains {found}." if found else "Ask who serves what it contains."
