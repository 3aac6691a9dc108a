"""Every sentence about where the spread comes from, made from the numbers of the result.

What to do next is common practice, no source.
"""

from collections.abc import Mapping
from typing import TYPE_CHECKING

from kit.analysis import words

if TYPE_CHECKING:
    from kit.analysis.steadiness import Steadiness

__all__ = ["FROM", "baked", "finding", "headline", "method", "next_step", "rests_on"]

FROM = {
    "bake": "from bake to bake",
    "mixing": "from mixing to mixing (doughs mixed in one go)",
    "dough": "from dough to dough",
    "load": "from load to load",
    "place": "from place to place on the griddle",
    "piece": "from piece to piece of one dough",
    "measuring": "from measuring",
}
#: From this chance on it is said without "seems".
SURE = 0.95
_NEXT = {
    "bake": (
        "compare settings within one bake, all of them on every bake, so that the day cannot "
        "favour one; note the room's temperature and the lots of flour and yeast, and look at "
        "whether the bakes follow them"
    ),
    "mixing": (
        "keep the hour of mixing, the dough's temperature and the way into the refrigerator alike; "
        "for what differs between mixings, bake on more days rather than more doughs of each"
    ),
    "dough": (
        "weigh to the gram, and keep the dough's temperature, mixing and times alike; in a trial "
        "mix more doughs rather than more pieces of each, which cannot make up for it"
    ),
    "load": (
        "measure the griddle before each load (with a probe: it burns) and write down how long "
        "the pieces waited; in a trial put every setting on every load"
    ),
    "place": (
        "map the griddle to see which places differ, and in a trial let every setting lie on "
        "every place"
    ),
    "piece": (
        "divide by weight, shape alike and proof together; in a trial a few more pieces a dough "
        "help a little"
    ),
    "measuring": (
        "measure each piece twice, apart, and take the mean, or find a surer way to measure: the "
        "baking is steadier than the readings"
    ),
}


def headline(s: "Steadiness") -> str:
    """The largest source, as surely as it is known."""
    share = float(s.of(s.largest)["share"])
    how_much = "Most" if share >= 0.5 else "The largest part"
    verb = "is" if s.sure >= SURE else "seems to be"
    return f"{how_much} of the spread in {words.name(s.outcome)} {verb} {FROM[s.largest]}."


def finding(s: "Steadiness") -> str:
    """Every source with its standard deviation, interval and share."""
    table = s.components.sort_values("share", ascending=False, kind="stable")
    unit = words.unit_of(s.outcome)
    told = []
    for row in table.to_dict("records"):
        width = (row["high"] - row["low"]) / 2
        if row["sd"] == 0:
            most = words.number(row["high"], width, unit)
            told.append(f"{FROM[row['component']]} none was seen (it may be up to {most})")
            continue
        span = f"({words.number(row['low'], width)} to {words.number(row['high'], width)})"
        if width == 0:
            span = "(as stated)"
        told.append(
            f"{FROM[row['component']]} {words.number(row['sd'], width, unit)} {span}, "
            f"{100 * row['share']:.0f} % of it"
        )
    half = (s.total["high"] - s.total["low"]) / 2
    text = "; ".join(told)
    total = words.number(s.total["sd"], half, unit)
    text = f"Typical differences from the mean: {text}. All together: {total}."
    if s.sure < SURE:
        text += (
            f" That the largest source is {FROM[s.largest]} is not sure yet "
            f"(about {10 * s.sure:.0f} in 10)."
        )
    return text


def baked(counts: Mapping[str, int]) -> str:
    """How many bakes, doughs and pieces it rests on."""
    kinds = [k for k in ("bake", "dough", "piece") if counts[k]]
    return f"It rests on {words.join(words.plural(counts[k], k) for k in kinds)}."


def rests_on(s: "Steadiness") -> str:
    """How much baking stands behind it."""
    if not s.factors:
        return baked(s.counts)
    return (
        f"{baked(s.counts)} What {words.join(map(words.name, s.factors))} did was taken out first."
    )


def next_step(s: "Steadiness") -> str:
    """What to do about the largest source."""
    text = f"Next: {_NEXT[s.largest]}."
    if s.sure < SURE:
        text += " A few more bakes of the same recipe would show whether that is the place to work."
    return text


def method(s: "Steadiness") -> str:
    """Model and intervals, for a statistician."""
    fit = s.fit
    random = f"random {words.join(fit.groups)}" if fit.groups else "no random groups"
    text = (
        f"For the statistician: {fit.formula}, {random} ({fit.structure}) by REML, components "
        "may end below zero and are shown as zero; sizes are standard deviations, shares are of "
        f"variance; {100 * s.level:.0f} % intervals by surrogate values for mean squares "
        "(Weerahandi 1993; Chiang 2001)"
    )
    if "place" in set(s.components["component"]):
        text += "; places fixed, their interval from the noncentral F distribution"
    return f"{text}."
