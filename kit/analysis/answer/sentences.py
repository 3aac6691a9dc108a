"""Every sentence about a comparison, made from the numbers of the same object.

Plain words first; nothing is said here that cannot be checked against `Comparison.to_frame`.
"""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from kit import words
from kit.analysis.answer.fitting import repeats
from kit.analysis.answer.settling import FUTILE, chance_in_words, reach
from kit.analysis.verdict import Answer

if TYPE_CHECKING:
    from kit.analysis.answer.fitting import Difference
    from kit.analysis.checking.checks import FitChecks
    from kit.analysis.comparison import Comparison
    from kit.analysis.dose import DoseResponse
    from kit.analysis.mixed import MixedFit

__all__ = [
    "after_the_notes", "against", "beyond_reach", "bounds", "finding", "fitted", "headline",
    "held_alike", "judged_by", "made_of", "method", "next_step", "outlook", "rests_on",
    "why_not_pieces",
]  # fmt: skip

_DECIDED = {
    "bake": "differed only from bake to bake, so a bake counts once however much it made",
    "mixing": (
        "was decided for all doughs mixed in one go, so such a mixing counts once however many "
        "doughs it made"
    ),
    "dough": "was decided for a whole dough, so a dough counts once however many pieces it made",
    "shaping": (
        "was decided for the pieces of a dough that were shaped for the same proof, so such a "
        "shaping counts once however many pieces it made"
    ),
    "load": "was decided for a whole load, so a load counts once however many pieces it held",
    "piece": "differed between pieces of one dough, so pieces are compared within their dough",
}


def headline(c: "Comparison") -> str:
    """The answer in a few words."""
    if c.answer is Answer.UNCLEAR and c.leading.sure:
        return "A difference, but cannot tell yet whether it matters."
    return words.capital(f"{c.answer.told(c.matters)}.")


def finding(c: "Comparison") -> str:
    """What was found, with the interval and what it means."""
    lead, what, size = c.leading, words.name(c.outcome), c.leading.size(c.outcome)
    if c.kind == "line":
        change = "up" if lead.difference >= 0 else "down"
        found = (
            f"With {words.name(c.by)} from {words.amount(c.by, lead.versus)} to "
            f"{words.amount(c.by, lead.level)}, {what} goes {change} by {size} along a straight "
            "line"
        )
    else:
        found = (
            f"With {words.setting(c.by, lead.level)}, {what} comes out {size} {lead.way} "
            f"than {words.setting(c.by, lead.versus, again=True)}"
        )
    fits = f"the bakes fit anything {bounds(c, lead)}"
    if c.answer is Answer.MATTERS:
        tail = f"all of it beyond {_margin(c)}" if c.matters else "never zero"
        return f"{found}; {fits}, {tail}. {_pairs(c)}".strip()
    link = ", but" if c.answer is Answer.UNCLEAR else ";"
    return " ".join(filter(None, (f"{found}{link} {fits}.", against(c), _pairs(c))))


def against(c: "Comparison | DoseResponse") -> str:
    """What the answer is beside what matters, where it is not that it does; or nothing."""
    if c.answer is Answer.SMALL:
        return f"It is real, but never as much as {_margin(c)}."
    if c.answer is Answer.NONE:
        return f"Whatever it is, it is less than {_margin(c)}."
    if c.answer is Answer.UNCLEAR and c.leading.sure:
        return f"There is a difference; whether it reaches {_margin(c)} is open."
    return ""


def _margin(c: "Comparison | DoseResponse") -> str:
    return f"the {words.amount(c.outcome, c.matters)} that matters"


def made_of(counts: Mapping[str, int], columns: Mapping[str, str | None]) -> str:
    """How many bakes, mixings, doughs and pieces an answer rests on, as far as they count."""
    kinds = [kind for kind in counts if kind != "bake" or columns["bake"]]
    return words.join(words.plural(counts[kind], kind) for kind in kinds)


def rests_on(c: "Comparison") -> str:
    """How much baking stands behind the answer, and what counts as one experiment."""
    return judged_by(c, c.by, c.adjusted)


def judged_by(c: "Comparison | DoseResponse", by: str, held: Sequence[str]) -> str:
    """How much baking stands behind it, what counts as one experiment, what was held alike."""
    worth = c.leading.df + 1
    text = (
        f"It rests on {made_of(c.counts, c.columns)}. {words.capital(words.name(by))} "
        f"{_DECIDED[c.unit]}. The {c.unit}-to-{c.unit} spread it is judged by is known about as "
        f"well as from {worth:.{0 if worth >= 20 else 1}f} {c.unit}s of one recipe."
    )
    if "mixing" in c.fit.groups and c.unit != "mixing":
        text += (
            " Doughs of one mixing (those of one cold retard of a bake) may be more alike than "
            "others; that is allowed for."
        )
    if repeats(c) and c.counts["bake"] > 1:
        text += (
            f" The interval is for these {c.counts['bake']} bakes: that another day does the same "
            "is not in it."
        )
    return text + held_alike(held)


def held_alike(held: Sequence[str]) -> str:
    """What was held alike, to be put behind; nothing where nothing was."""
    alike = words.capital(words.join(map(words.name, held)))
    return f" {alike} {'was' if len(held) == 1 else 'were'} held alike." if held else ""


def next_step(c: "Comparison") -> str:
    """What to do next."""
    if c.answer is Answer.UNCLEAR and c.more is not None:
        step = (
            f"Next: about {_so_many(c, c.more)}, spread evenly over the settings and best over "
            "several bakes, would settle it four times in five if the true difference is near "
            f"{c.leading.size(c.outcome)} and the spread as it was."
        )
    elif c.answer is Answer.UNCLEAR:
        step = beyond_reach(c)
    elif c.answer is Answer.MATTERS:
        noted = c.examined and c.examined.checks
        more = "" if noted else "; more of the same bakes would only sharpen the number"
        step = f"Next: choose the setting you prefer{more}."
    else:
        what = words.name(c.outcome)
        step = f"Next: choose by taste, cost or convenience; for {what} they are alike enough."
    return after_the_notes(step, c.examined)


def after_the_notes(step: str, examined: "FitChecks | None") -> str:
    """A next step, where something was found that may change the answer: that comes first."""
    if examined is None or not examined.checks:
        return step
    then = step.removeprefix("Next: ")
    return f"Next: think about the notes first, for they may change the answer. Then: {then}"


def beyond_reach(c: "Comparison | DoseResponse") -> str:
    """What to do where a home series will not settle it if the difference stays as it is.

    It need not stay: what counts is the chance over all that the true difference may be, as it
    does when the next bake is planned (`kit.plan.next`).
    """
    most, limit = reach(c), "zero" if c.matters is None else _margin(c)
    size = c.leading.size(c.outcome)
    if most.chance < FUTILE:
        return (
            f"Next: think before you go on: {outlook(c)}, so close is the difference to {limit} at "
            f"this {c.unit}-to-{c.unit} spread. Decide on other grounds."
        )
    return (
        f"Next: go on, a bake at a time, if bakes are cheap: {outlook(c)}. Should the difference "
        f"stay near {size}, they would settle it less than four times in five: that is close to "
        f"{limit}."
    )


def outlook(c: "Comparison | DoseResponse") -> str:
    """What more baking would bring, in one clause; for an answer that cannot tell yet."""
    if c.more is not None:
        many, size = _so_many(c, c.more), c.leading.size(c.outcome)
        return f"about {many} would settle it four times in five if it truly is near {size}"
    most = reach(c)
    if most.chance < FUTILE:
        return f"even {_so_many(c, most.units)} would hardly settle it"
    return f"the chance that {_so_many(c, most.units)} settle it is {chance_in_words(most.chance)}"


def _so_many(c: "Comparison | DoseResponse", units: int) -> str:
    """Units to come, and how many bakes they make: a baker bakes bakes, not pieces."""
    text = words.plural(units, f"more {c.unit}")
    if c.unit in ("bake", "dough"):
        return text
    kind = "bake" if c.columns["bake"] else "dough"
    made = max(1, round(units * c.counts[kind] / c.counts[c.unit]))
    return f"{text} (about {words.plural(made, kind)} like these)"


def method(c: "Comparison") -> str:
    """Model, degrees of freedom, p values and sources, for a statistician."""
    lead, looked = c.leading, len(c.differences)
    if looked == 1:
        rule = ""
    elif c.control is None:
        rule = f" by Tukey–Kramer over {looked} pairs (Kramer 1956)"
    else:
        rule = f" by Dunnett (1955), {looked} settings against {words.amount(c.by, c.control)}"
    few = ": F cannot be told, so few are its degrees of freedom"
    whole = f"Whole factor{' ' + words.f_test(c.test) if c.test['F'] >= 0 else few}"
    return (
        f"For the statistician: {fitted(c.fit)}. {whole}. This difference "
        f"{words.number(lead.difference, lead.se)}, {words.number(lead.se, lead.se)}, "
        f"t({lead.df:.1f}) = {words.minus(f'{lead.t:.2f}')}, "
        f"p = {lead.p:.2g}{rule}; {100 * c.fit.level:.0f} % interval."
    )


def fitted(fit: "MixedFit") -> str:
    """The formula, what was random, and how it was fitted."""
    if not fit.groups:
        return f"{fit.formula}, least squares, no random groups"
    free = "may go below zero" if fit.variance_rule == "free" else "held at zero or above"
    return (
        f"{fit.formula}, random {words.join(fit.groups)} by REML, components {free}; "
        "Kenward–Roger (1997) standard errors and degrees of freedom"
    )


def why_not_pieces(c: "Comparison") -> str:
    """Why counting every piece as an experiment would be wrong; empty where it is right."""
    units = c.counts[c.unit]
    each = c.counts["piece"] / units
    if c.unit == "piece" or each < 1.5 or not c.naive_p < c.test["p"]:
        return ""
    return (
        f"Had each of the {c.counts['piece']} pieces been counted as an experiment of its own, "
        f"p would read {c.naive_p:.1g} instead of {c.test['p']:.2g}. That would be wrong: the "
        f"pieces of one {c.unit} share its luck, so {each:.0f} of them are not {each:.0f} "
        f"separate answers. What was varied was varied between {c.unit}s, and there "
        f"are {words.plural(units, c.unit)}."
    )


def _pairs(c: "Comparison") -> str:
    """Where several differences were looked at, how the others came out."""
    total = len(c.differences)
    alike = int((c.differences["answer"] == c.answer.value).sum())
    if total == 1:
        return ""
    if c.answer in (Answer.SMALL, Answer.NONE):
        return f"It is the largest of the {total} differences looked at."
    if c.answer is Answer.MATTERS:
        if alike == 1:
            sure = "matters" if c.matters else "is not zero"
            return f"It is the only one of the {total} differences looked at that surely {sure}."
        sure = "matter" if c.matters else "are not zero"
        return f"{alike} of the {total} differences looked at surely {sure}."
    if alike == total:
        return f"All {total} differences looked at are still open."
    return f"Of the {total} differences looked at, {alike} {'is' if alike == 1 else 'are'} open."


def bounds(c: "Comparison | DoseResponse", one: "Difference") -> str:
    """The interval of a difference in words: "from 0.9 mm less to 4.2 mm more"."""
    unit = words.unit_of(c.outcome)

    def end(bound: float, unit: str = unit) -> str:
        return words.number(bound, _fine_enough(bound, one.half_width, c.matters), unit)

    if one.sure:
        near, far = sorted((abs(one.low), abs(one.high)))
        return f"from {end(near, '')} to {end(far)} {'more' if one.low > 0 else 'less'}"
    return f"from {end(-one.low)} less to {end(one.high)} more"


def _fine_enough(bound: float, half_width: float, matters: float | None) -> float:
    """An uncertainty by which the bound is not rounded onto the limit that it lies beside."""
    for half in (half_width / finer for finer in (1, 10, 100)):
        if abs(round(bound, words.decimals_for(half))) not in (0.0, matters):
            break
    return half
