"""Every sentence about a test of choosing, made from the numbers of the same object."""

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from kit import words
from kit.analysis.tasting import exact
from kit.analysis.tasting.answered import NOT_LIKING
from kit.analysis.tasting.methods import Method
from kit.analysis.tasting.needed import tasters_needed
from kit.analysis.verdict import Answer
from kit.errors import DataError
from kit.shown import percent, span

if TYPE_CHECKING:
    from kit.analysis.tasting.choice import Choice

__all__ = ["checks", "could_miss", "finding", "headline", "next_step", "statistics"]


def _who(c: "Choice") -> str:
    return "This one taster" if c.tasters == 1 else "The tasters"


def _winner(c: "Choice") -> str:
    right, answers = c.counted
    return c.names[0] if 2 * right >= answers else c.names[1]


def headline(c: "Choice") -> str:
    """The answer in a few words."""
    if c.answer is Answer.NONE:
        if c.two_sided:
            return f"No {_what(c)} that matters."
        return "No difference that matters."
    if not c.told:
        return "Cannot tell yet."
    found = (
        f"{'chose' if c.question else 'preferred'} {_winner(c)}"
        if c.two_sided
        else "told them apart"
    )
    tail = {
        Answer.SMALL: ", but too few to matter",
        Answer.UNCLEAR: "; cannot tell yet whether enough to matter",
    }.get(c.answer, "")
    return f"{_who(c)} {found}{tail}."


def _what(c: "Choice") -> str:
    return "difference" if c.question else "preference"


def finding(c: "Choice") -> str:
    """What was counted, and what it means for people."""
    right, answers = c.counted
    if c.two_sided:
        most = max(right, answers - right)
        of = "majorities" if answers != c.answers else "choices"
        enough = "none would be enough" if c.needed is None else f"{c.needed} are enough"
        text = (
            f"{most} of {answers} {of} for {_winner(c)} where no {_what(c)} gives about "
            f"{answers / 2:g}; {enough}."
        )
        return f"{text} {_preferring(c)}"
    enough = "not even all would be enough" if c.needed is None else f"{c.needed} are enough"
    chance = float(f"{answers * c.method.guess:.2g}")
    text = f"{right} of {answers} right where guessing gives about {chance:g}; {enough}."
    return f"{text} {_able(c)}"


def _preferring(c: "Choice") -> str:
    near = span(c.share.low, c.share.high)
    if c.tasters == 1:
        return f"This taster may choose {c.names[0]} {near} of the time."
    return f"Of people like these, {near} may choose {c.names[0]}."


def _able(c: "Choice") -> str:
    near = span(c.noticing.low, c.noticing.high)
    if c.told and c.noticing.low < 0.005:  # that nobody can is what the test speaks against
        near = f"up to {percent(c.noticing.high)}"
    text = f"The answers fit {near} of people like these able to tell"
    if c.tasters == 1:
        text = f"This taster may be able to tell {near} of the time"
    if c.matters is None:
        return f"{text}."
    share = percent(c.matters)
    if c.answer is Answer.MATTERS:
        return f"{text}, more than the {share} that matters."
    if c.answer in (Answer.SMALL, Answer.NONE):
        return f"{text}, fewer than the {share} that matters."
    return f"{text}; {share} is what matters."


def could_miss(c: "Choice") -> str:
    """What a panel of this size would likely have missed; said whatever came out."""
    people = words.plural(c.tasters, "taster")
    if c.needed is None:
        return f"With {people} no result could have shown a difference."
    again = f" and {c.answers} answers" if c.answers > c.tasters else ""
    if c.tasters == 1:
        return (
            f"With {c.answers} answers a difference that this taster notices less than "
            f"{percent(c.missed)} of the time would likely be missed."
        )
    if c.two_sided:
        return (
            f"With {people}{again} a {_what(c)} that fewer than {percent((1 + c.missed) / 2)} of "
            "people share would likely be missed."
        )
    return (
        f"With {people}{again} a difference that fewer than {percent(c.missed)} of people can "
        "tell would likely be missed."
    )


def next_step(c: "Choice") -> str:
    """What to do next."""
    if c.two_sided and c.question and c.answer is not Answer.UNCLEAR:
        return NOT_LIKING
    if c.answer is Answer.MATTERS:
        if c.two_sided:
            return f"Next: {_winner(c)} it is, unless cost or effort says otherwise."
        return "Next: they are not the same; ask in a new tasting which one is liked better."
    if c.answer in (Answer.SMALL, Answer.NONE):
        return "Next: choose by cost or convenience; for the taste they are alike."
    if c.told and c.matters is not None:  # to notice it once more would settle nothing
        more = f"{'choose' if c.question else 'prefer'} {_winner(c)}" if c.two_sided else "can tell"
        return (
            "Next: take it that they are not the same; whether more than "
            f"{percent(c.matters)} of people {more} takes a new and larger tasting of different "
            "people."
        )
    share = c.matters if c.matters is not None else 0.5
    if c.two_sided:
        share = 2 * (c.matters or 0.75) - 1
    try:
        need = tasters_needed(c.method.name, share, two_sided=c.two_sided, alpha=c.alpha)
    except DataError:
        return "Next: so small a difference needs more tasters than a home panel has."
    if c.two_sided:
        seen = f"a {_what(c)} that {percent((1 + share) / 2)} of people share"
    else:
        seen = f"a difference that {percent(share)} of people can tell"
    text = f"Next: to notice {seen}, ask {need.tasters} different people in a new tasting"
    if c.matters is not None and not c.two_sided:
        try:
            alike = tasters_needed(c.method.name, share, aim="alike", alpha=c.alpha)
        except DataError:
            return f"{text}."
        text += f"; to show that fewer can, {alike.tasters}"
    return f"{text}."


def checks(
    test: Method, rights: Sequence[int], tries: Sequence[int], units: Sequence[int],
    needed: int | None, alpha: float, matters: float | None, two_sided: bool, right: int,
) -> tuple[str, ...]:  # fmt: skip
    """What to know before trusting it."""
    said = []
    people, answers = len(tries), sum(tries)
    if people == 1:
        said.append("all answers are one taster's, so they say something about that taster only")
    elif answers > people:
        if test.name == "pair":
            tied = people - len(units)
            left = f"; {words.plural(tied, 'taster')} without a majority left out" if tied else ""
            said.append(
                "one person's repeats are not more people: the test counts each taster's "
                f"majority{left}"
            )
        else:
            said.append(
                "one person's repeats are not more people: all answers together test whether "
                "anybody can tell, and what they say about people is judged by the spread from "
                "taster to taster"
            )
    if matters is not None and answers > people and not two_sided:
        said.append("that they are alike cannot be shown with repeats: it takes as many people")
    total = sum(units)
    if needed is None and total:
        once = test.guess**total * (2 if two_sided else 1)
        said.append(
            f"even {total} of {total} happens by guessing {once:.0%} of the time".replace("%", " %")
            + ": more tasters are needed for any answer"
        )
    if not two_sided and total and exact.at_most(right, total, test.guess) < 0.01:
        said.append(
            "this is far fewer right than guessing gives: look whether codes or answers were "
            "swapped"
        )
    return tuple(said)


def statistics(c: "Choice") -> str:
    """Test, p value, d′ and sources, for a statistician."""
    right, answers = c.counted
    sides = "two-sided" if c.two_sided else "one-sided"
    text = (
        f"For the statistician: {c.method.standard}, exact binomial, {right} of {answers} against "
        f"{c.method.guess:.3g}, {sides} p = {c.p:.2g}"
    )
    if not math.isnan(c.p_alike):
        text += f"; against {percent(c.matters or 0)} able to tell, p = {c.p_alike:.2g}"
    if c.two_sided:
        return f"{text}; {percent(1 - c.alpha)} interval by {_interval(c)}."
    d = c.d

    def shown(x: float) -> str:
        return "without limit" if math.isinf(x) else f"{x:.2f}"

    text += (
        f"; share able to tell {c.noticing.value:.2f} ({c.noticing.low:.2f} to "
        f"{c.noticing.high:.2f}), d′ {shown(d.value)} ({shown(d.low)} to {shown(d.high)})"
    )
    return f"{text}; {percent(1 - 2 * c.alpha)} intervals by {_interval(c)}."


def _interval(c: "Choice") -> str:
    if c.answers > c.tasters > 1:
        return "Clopper–Pearson for the answers' worth in people (Korn & Graubard 1998)"
    return "Clopper–Pearson (1934)"
