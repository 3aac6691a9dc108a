"""Every sentence about a dose, made from the numbers of the same object.

Nothing is said here that cannot be checked against `DoseResponse.to_frame`.
"""

import math
from typing import TYPE_CHECKING

import pandas as pd

from kit import words
from kit.analysis.answer.sentences import (
    after_the_notes,
    against,
    beyond_reach,
    bounds,
    fitted,
    judged_by,
    outlook,
)
from kit.analysis.doses.settings import near
from kit.analysis.verdict import Answer

if TYPE_CHECKING:
    from kit.analysis.answer.fitting import Difference
    from kit.analysis.dose import DoseResponse

__all__ = [
    "SHAPES",
    "about_shape",
    "best",
    "finding",
    "headline",
    "method",
    "next_step",
    "rests_on",
]

SHAPES = {
    "straight": "a straight line",
    "curved": "a curve with one bend",
    "plateau": "a line that levels off",
}
#: A shape of the same number of unknowns fits clearly better when −2 log likelihood is this
#: much less (a factor of e² ≈ 7 in likelihood; a rule of thumb, no source).
CLEARLY = 4.0


def headline(d: "DoseResponse") -> str:
    """The answer in a few words."""
    what, dose = words.capital(words.name(d.outcome)), words.name(d.of)
    if d.answer is Answer.NONE or d.answer is Answer.SMALL:
        return f"Between these doses {dose} makes {d.answer.value}."
    if _misfits(d):
        return (
            f"{what} does not follow {SHAPES[d.shape]} along the doses: compare them as settings."
        )
    told = {
        "up": f"The more {dose}, the more {what[0].lower()}{what[1:]}, over all the doses baked.",
        "down": f"The more {dose}, the less {what[0].lower()}{what[1:]}, over all the doses baked.",
        "peak": f"{what} has a peak between the doses baked.",
        "dip": f"{what} has a lowest point between the doses baked.",
        "up first": f"{what} rises with the first of the {dose}; what more of it does is open.",
        "down first": f"{what} falls with the first of the {dose}; what more of it does is open.",
        "up last": f"{what} rises towards the highest dose; lower down it is open.",
        "down last": f"{what} falls towards the highest dose; lower down it is open.",
        "up overall": f"{what} is more at the highest dose than at the lowest.",
        "down overall": f"{what} is less at the highest dose than at the lowest.",
        "up to a plateau": f"{what} rises, and then levels off if the shape is right.",
        "down to a plateau": f"{what} falls, and then levels off if the shape is right.",
        "unclear": f"Cannot tell yet what {dose} does.",
    }[d.trend]
    if d.trend != "unclear" and d.answer is Answer.UNCLEAR and d.matters is not None:
        told += " Whether it matters cannot be told yet."
    return told


def finding(d: "DoseResponse") -> str:
    """What the outcome does along the doses, with intervals."""
    lead, whole = d.leading, d.whole
    start = f"Along {SHAPES[d.shape]}, which does not fit, from" if _misfits(d) else "From"
    parts = [f"{start} {_amounts(d, whole)}, {_goes(d, whole)}."]
    if _misfits(d):
        return parts[0]
    levels_off = d.fitted.break_at is not None and lead.level >= d.fitted.break_at
    if {lead.level, lead.versus} != {whole.level, whole.versus} and not levels_off:
        parts.append(
            f"The largest difference between two doses is from {_amounts(d, lead)}: "
            f"{_goes(d, lead)}, allowing for having looked for it."
        )
    if d.matters is not None and d.answer is Answer.MATTERS:
        margin = words.amount(d.outcome, d.matters)
        parts.append(f"That is surely beyond the {margin} that matters.")
    elif d.matters is not None:
        parts.append(against(d))
    return " ".join(filter(None, parts))


def best(d: "DoseResponse") -> str:
    """Which dose is best, where it may lie, and what is enough."""
    b, low, high = d.best, d.fitted.low, d.fitted.high
    if _misfits(d):
        return "Which dose is best cannot be read off a shape that does not fit."
    if d.answer in (Answer.NONE, Answer.SMALL):
        return "No dose is better by as much as matters: choose by taste, cost or convenience."
    what, most = words.name(d.outcome), "highest" if b.want == "high" else "lowest"
    may = b.may_be.in_words(d.of, low, high)
    every = (low, high) in b.may_be.pieces
    at = words.amount(d.of, near(b.dose, high - low))
    mean = words.number(b.mean, b.high - b.mean, words.unit_of(d.outcome))
    span = f"{words.number(b.low, b.high - b.mean)} to {words.number(b.high, b.high - b.mean)}"
    if b.place == "plateau":
        text = f"As a line that levels off, {what} is {most} from {at} on ({mean}, {span})"
        text += (
            "; where it levels off cannot be told."
            if every
            else f"; it may level off {_break_in_words(d)}."
        )
    elif every:
        text = (
            f"Which dose is best cannot be told: any from {low:g} to {words.amount(d.of, high)} "
            f"may be where {what} is {most}."
        )
    else:
        end = {"highest": "the highest dose baked, ", "lowest": "the lowest dose baked, "}
        text = f"Along {SHAPES[d.shape]}, {what} is {most} at {end.get(b.place, '')}{at} "
        text += f"({mean}, {span})"
        if b.may_be.pieces == ((b.dose, b.dose),):
            text += ", and no other dose baked fits as the best."
        else:
            verb = "lie anywhere" if may.startswith("from") else "be"
            text += f"; the best dose may {verb} {may}."
    if b.place in ("highest", "lowest") and not every:
        text += " No best dose was found inside the doses baked; beyond them nothing is known."
    elif high in b.may_be and b.place == "inside" and not every:
        text += " That the best lies beyond the doses baked is not ruled out."
    return " ".join([text, _enough(d)]).strip()


def rests_on(d: "DoseResponse") -> str:
    """How much baking stands behind the answer, and what counts as one experiment."""
    return judged_by(d, d.of, [*d.adjusted, *d.covariates])


def next_step(d: "DoseResponse") -> str:
    """What to do next."""
    return after_the_notes(_step(d), d.examined)


def _step(d: "DoseResponse") -> str:
    b = d.best
    if _misfits(d):
        return "Next: look at the doses as settings with `compare`, or try another shape."
    if d.answer in (Answer.SMALL, Answer.NONE):
        return "Next: settled as far as these doses go; ask about another factor."
    if d.answer is Answer.UNCLEAR and d.more is not None:
        return f"Next: {outlook(d)}; spread them evenly over the doses and best over several bakes."
    if d.answer is Answer.UNCLEAR:
        return f"{beyond_reach(d)} A wider range of doses may settle it sooner."
    if b.place == "highest":
        return "Next: bake a higher dose too, if it is safe and sensible, to see where it ends."
    if b.place == "lowest":
        return "Next: bake doses between the lowest and the next one to see how it begins."
    if len(b.may_be.pieces) == 1 and b.may_be.bounded:
        first, last = b.may_be.pieces[0]
        if last - first > (d.fitted.high - d.fitted.low) / 4:
            where = b.may_be.in_words(d.of, d.fitted.low, d.fitted.high)
            return f"Next: to narrow the best dose, bake more doughs {_between(where)}."
    return "Next: use it, and bake it once more beside your usual dose to see it hold."


def method(d: "DoseResponse") -> str:
    """Model, tests and sources, for a statistician."""
    lead, parts = d.leading, [f"For the statistician: {fitted(d.fit)}."]
    if d.bend is not None:
        parts.append(f"Bend p = {d.bend:.2g}.")
    if d.lack_of_fit is not None:
        parts.append(f"Lack of fit against the doses as settings {words.f_test(d.lack_of_fit)}.")
    size = words.number(lead.difference, lead.se)
    parts.append(
        f"Largest difference {size}, SE {words.number(lead.se, lead.se)}, {lead.df:.1f} df, "
        f"p = {lead.p:.2g}"
        + (" by Scheffé (1953)" if d.fitted.freedom > 1 else "")
        + f"; {100 * d.fit.level:.0f} % intervals."
    )
    turns = d.best.turning_set
    if turns is not None and d.best.turning is not None:
        where = " and ".join(_stretch(a, b) for a, b in turns.pieces)
        parts.append(
            f"The fitted curve turns ({d.best.turning_kind}) at {d.best.turning:.3g}; Fieller "
            f"(1954) set {where}."
        )
    if d.fitted.break_at is not None:
        parts.append("The uncertainty of the break point is Fieller's, interval by interval.")
    return words.minus(" ".join(parts)).replace("Kenward−", "Kenward–")


def about_shape(
    shape: str, of: str, different: int, shapes: pd.DataFrame, bend: float | None, once: bool
) -> list[str]:
    """What is known about the shape, and what cannot be."""
    dose, notes = words.name(of), []
    if different == 2:
        notes.append(
            f"only two doses of {dose} were baked: whether there is a peak between or beyond "
            "them cannot be seen"
        )
    elif different == 3 and shape != "straight":
        notes.append(
            f"with three doses {SHAPES[shape]} always meets all of them: whether it is the right "
            "shape cannot be tested; a fourth dose would"
        )
    if once:
        notes.append(
            "each dose was mixed once: how doughs differ is judged from how they lie about "
            f"{SHAPES[shape]}, so if that shape is wrong the answer is too. Mix each dose again"
        )
    table = shapes.set_index("shape")
    mine = table.loc[shape]
    if mine["p"] < 0.05:
        notes.append(
            f"the doses do not lie on {SHAPES[shape]} (p = {mine['p']:.2g}): read the doses as "
            "settings with `compare` beside it"
        )
    elif shape == "straight" and bend is not None and bend < 0.05:
        notes.append(f"there is a bend along the doses (p = {bend:.2g}): a curve says more")
    rivals = table.drop(index=["straight", shape], errors="ignore")["misfit"]
    if shape != "straight" and len(rivals) and different > 3:
        name, gain = str(rivals.idxmin()), float(mine["misfit"] - rivals.min())
        if gain >= CLEARLY:
            notes.append(f"{SHAPES[name]} fits these doses better than {SHAPES[shape]}")
        elif shape == "plateau" or gain > 0:
            notes.append(
                f"{SHAPES[name]} fits these doses about as well: which of the two it is cannot "
                "be told"
            )
    return notes


def _misfits(d: "DoseResponse") -> bool:
    """Whether the doses surely do not lie on the shape."""
    return d.lack_of_fit is not None and float(d.lack_of_fit["p"]) < 0.05


def _amounts(d: "DoseResponse", x: "Difference") -> str:
    """Both doses and the factor: 0 % to 1.2 % diastatic malt."""
    span = d.fitted.high - d.fitted.low
    first, last = (near(float(v), span) for v in (x.versus, x.level))
    return f"{words.amount(d.of, first)} to {words.amount(d.of, last)} {words.name(d.of)}"


def _goes(d: "DoseResponse", x: "Difference") -> str:
    """How the outcome changes, with its interval in words."""
    change = "up" if x.difference >= 0 else "down"
    size = words.number(abs(x.difference), x.half_width, words.unit_of(d.outcome))
    fits = f"the bakes fit anything {bounds(d, x)}"
    return f"{words.name(d.outcome)} goes {change} by {size} ({fits})"


def _enough(d: "DoseResponse") -> str:
    """The lowest dose that comes within `matters` of the best."""
    b, low = d.best, d.fitted.low
    if d.matters is None or b.enough is None or d.answer is not Answer.MATTERS:
        return ""
    if b.enough <= low:
        return ""
    span = d.fitted.high - low
    margin = words.amount(d.outcome, d.matters)
    text = f"From about {words.amount(d.of, near(b.enough, span))} on you are within {margin} of it"
    if b.enough_surely is not None:
        text += f" (surely so from {words.amount(d.of, near(b.enough_surely, span))} on)"
    else:
        text += " (of no dose is that sure yet)"
    levels = d.points["level"].drop_duplicates()
    short = levels[levels < (low if b.enough_from is None else b.enough_from)]
    if len(short):
        less = " and less" if len(short) > 1 else ""
        text += f"; with {words.amount(d.of, short.max())}{less} surely not"
    return f"{text}."


def _break_in_words(d: "DoseResponse") -> str:
    """Where the plateau may begin."""
    pieces = d.best.may_be.pieces
    second = float(d.points["level"].drop_duplicates().nsmallest(2).iloc[-1])
    high, span = d.fitted.high, d.fitted.high - d.fitted.low
    told = []
    for a, b in pieces:
        first, last = (words.amount(d.of, near(x, span)) for x in (a, b))
        if b >= high and a <= second:
            told.append("anywhere, or not at all")
        elif b >= high:
            told.append(f"from {first} on, or not at all inside the doses baked")
        elif a <= second:
            told.append(f"anywhere up to {last}")
        else:
            told.append(f"between {first} and {last}")
    return ", or ".join(told)


def _between(where: str) -> str:
    return where if where.startswith("from") else f"at {where}"


def _stretch(low: float, high: float) -> str:
    """From where to where, either end perhaps open."""
    if math.isinf(low) and math.isinf(high):
        return "every dose"
    if math.isinf(low):
        return f"up to {high:.4g}"
    return f"from {low:.4g} on" if math.isinf(high) else f"{low:.4g} to {high:.4g}"
