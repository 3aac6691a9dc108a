"""What is told of every answer: what it rests on, its bounds, and what more baking would bring.

Plain words first; nothing is said here that cannot be checked against the answer's `to_frame`.
"""

from collections.abc import Mapping, Sequence

from kit import words
from kit.analysis.answer.fitting import Difference
from kit.analysis.answer.found import Found
from kit.analysis.answer.settling import FUTILE, chance_in_words
from kit.analysis.mixed import MixedFit
from kit.analysis.verdict import Answer

__all__ = [
    "after_the_notes", "against", "beyond_reach", "bounds", "fitted", "held_alike", "judged_by",
    "made_of", "margin", "outlook", "so_many", "spread_over",
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


def against(c: Found) -> str:
    """What the answer is beside what matters, where it is not that it does; or nothing."""
    if c.answer is Answer.SMALL:
        return f"It is real, but never as much as {margin(c)}."
    if c.answer is Answer.NONE:
        return f"Whatever it is, it is less than {margin(c)}."
    if c.answer is Answer.UNCLEAR and c.leading.sure:
        return f"There is a difference; whether it reaches {margin(c)} is open."
    return ""


def margin(c: Found) -> str:
    """What matters, in words: "the 2 mm that matters"."""
    return f"the {words.amount(c.outcome, c.matters)} that matters"


def made_of(counts: Mapping[str, int], columns: Mapping[str, str | None]) -> str:
    """How many bakes, mixings, doughs and pieces an answer rests on, as far as they count."""
    kinds = [kind for kind in counts if kind != "bake" or columns["bake"]]
    return words.join(words.plural(counts[kind], kind) for kind in kinds)


def judged_by(c: Found, by: str, held: Sequence[str]) -> str:
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
    if c.repeats and c.counts["bake"] > 1:
        text += (
            f" The interval is for these {c.counts['bake']} bakes: that another day does the same "
            "is not in it."
        )
    return text + held_alike(held)


def held_alike(held: Sequence[str]) -> str:
    """What was held alike, to be put behind; nothing where nothing was."""
    alike = words.capital(words.join(map(words.name, held)))
    return f" {alike} {'was' if len(held) == 1 else 'were'} held alike." if held else ""


def after_the_notes(step: str, noted: bool) -> str:
    """A next step, where something was found that may change the answer: that comes first."""
    if not noted:
        return step
    then = step.removeprefix("Next: ")
    return f"Next: think about the notes first, for they may change the answer. Then: {then}"


def beyond_reach(c: Found) -> str:
    """What to do where a home series will not settle it if the difference stays as it is.

    It need not stay: what counts is the chance over all that the true difference may be, as it
    does when the next bake is planned (`kit.plan.next`).
    """
    limit, size = "zero" if c.matters is None else margin(c), c.leading.size(c.outcome)
    if c.reach()[1] < FUTILE:
        return (
            f"Next: think before you go on: {outlook(c)}, so close is the difference to {limit} at "
            f"this {c.unit}-to-{c.unit} spread. Decide on other grounds."
        )
    return (
        f"Next: go on, a bake at a time, if bakes are cheap: {outlook(c)}. Should the difference "
        f"stay near {size}, they would settle it less than four times in five: that is close to "
        f"{limit}."
    )


def outlook(c: Found) -> str:
    """What more baking would bring, in one clause; for an answer that cannot tell yet."""
    if c.more is not None:
        many, size = so_many(c, c.more), c.leading.size(c.outcome)
        return f"about {many} would settle it four times in five if it truly is near {size}"
    units, chance = c.reach()
    if chance < FUTILE:
        return f"even {so_many(c, units)} would hardly settle it"
    return f"the chance that {so_many(c, units)} settle it is {chance_in_words(chance)}"


def so_many(c: Found, units: int) -> str:
    """Units to come, and how many bakes they make: a baker bakes bakes, not pieces."""
    text = words.plural(units, f"more {c.unit}")
    if c.unit in ("bake", "dough"):
        return text
    kind = "bake" if c.columns["bake"] else "dough"
    return f"{text} (about {words.plural(_made(c, units, kind), kind)} like these)"


def spread_over(c: Found, what: str) -> str:
    """How the units to come are best spread: over more than one bake where they make several."""
    several = c.unit != "bake" and c.columns["bake"] and _made(c, c.more or 0, "bake") > 1
    return f"spread evenly over the {what}{' and best over several bakes' * bool(several)}"


def _made(c: Found, units: int, kind: str) -> int:
    """How many bakes (doughs) so many units make, at the rate so far."""
    return max(1, round(units * c.counts[kind] / c.counts[c.unit]))


def fitted(fit: MixedFit) -> str:
    """The formula, what was random, and how it was fitted."""
    if not fit.groups:
        return f"{fit.formula}, least squares, no random groups"
    free = "may go below zero" if fit.variance_rule == "free" else "held at zero or above"
    return (
        f"{fit.formula}, random {words.join(fit.groups)} by REML, components {free}; "
        "Kenward–Roger (1997) standard errors and degrees of freedom"
    )


def bounds(c: Found, one: Difference) -> str:
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
