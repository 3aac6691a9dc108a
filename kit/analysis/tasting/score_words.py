"""Every sentence about scores, made from the numbers of the same object."""

import math
from typing import TYPE_CHECKING

import pandas as pd

from kit.analysis import words
from kit.analysis.tasting.ordinal import FAR, Fit
from kit.analysis.verdict import Answer
from kit.shown import percent, span

if TYPE_CHECKING:
    from kit.analysis.tasting.scores import Scores

__all__ = ["checks", "could_miss", "finding", "headline", "next_step", "statistics"]


def headline(s: "Scores") -> str:
    """The answer in a few words."""
    if s.answer is Answer.NONE:
        return "No difference that matters."
    if s.answer is Answer.UNCLEAR:
        if s.told and s.matters is not None:
            return "The tasters scored them apart, but cannot tell yet whether enough to matter."
        if s.told:
            one = "it may be small" if len(s.pairs) == 1 else "no two of them surely"
            return f"The tasters scored them apart, but {one}."
        return "Cannot tell yet."
    tail = ", but too little to matter" if s.answer is Answer.SMALL else ""
    return f"The tasters scored {s.leading['higher']} higher{tail}."


def finding(s: "Scores") -> str:
    """What was found about the two furthest apart."""
    lead, mean = s.leading, s.means.set_index("sample")["mean"]
    fits = span(lead["chance_low"], lead["chance_high"])
    text = (
        f"Mean score {mean[lead['higher']]:.1f} for {lead['higher']}, {mean[lead['lower']]:.1f} "
        f"for {lead['lower']}. By these, a taster scores {lead['higher']} above {lead['lower']} "
        f"{percent(lead['chance'])} of the time (50 % is no difference); the scores fit {fits}"
    )
    if s.matters is not None:
        text += f", and {percent(s.matters)} is what matters"
    rest = len(s.pairs) - 1
    if rest:
        apart = int(s.pairs["answer"].isin([Answer.MATTERS.value, Answer.SMALL.value]).sum())
        return f"{text}. Of {rest + 1} pairs looked at, {apart} surely differ."
    return f"{text}."


def could_miss(s: "Scores") -> str:
    """What a panel like this would likely have missed."""
    people = words.plural(s.tasters, "taster" if s.by_taster else "person").replace(
        "persons", "people"
    )
    if not s.reachable:
        return f"With {people} no scores could have been enough."
    if math.isnan(s.missed) or s.missed > 0.995:
        return f"With {people} all but the plainest difference would likely be missed."
    return (
        f"With {people} a difference would likely be missed unless a taster scores one above the "
        f"other more than {percent(s.missed)} of the time."
    )


def next_step(s: "Scores") -> str:
    """What to do next."""
    if s.answer is Answer.MATTERS:
        return f"Next: {s.leading['higher']} it is, unless cost or effort says otherwise."
    if s.answer in (Answer.SMALL, Answer.NONE):
        return "Next: choose by cost or convenience; for the taste they are alike."
    return "Next: ask more people; or put fewer muffins before them, best two as a pair."


def checks(
    frame: pd.DataFrame, wide: pd.DataFrame, known: pd.DataFrame, people: str, sample: str,
    by_taster: bool, matters: float | None, model: Fit, pairs: pd.DataFrame,
) -> tuple[str, ...]:  # fmt: skip
    """What to know before trusting it."""
    said = []
    if by_taster and frame.dropna().duplicated([people, sample]).any():
        said.append(
            "one person's repeats are not more people: a taster's scores of one sample were "
            "averaged"
        )
    left = known[people].nunique() - len(wide)
    if left:
        said.append(
            f"{words.plural(left, 'taster')} scored fewer than two samples and do not count"
        )
    lost = [str(s) for s in known.dropna()[sample].unique() if s not in wide.columns]
    if lost:
        said.append(f"{words.join(lost)} left out: scored by such tasters only")
    if by_taster and wide.isna().any(axis=None):
        said.append("not every taster scored every sample; what is missing was left out, not 0")
    if len(wide) < 6:
        said.append(f"{len(wide)} tasters are very few: the interval leans on the model")
    far = pairs["log_odds"].abs().max() >= FAR - 1e-6 or not pairs["high"].map(math.isfinite).all()
    if far:
        said.append(
            "the scores of some samples hardly overlap, so that the far end of their interval is "
            "without limit"
        )
    if model.sd >= 8 - 1e-6:
        said.append("tasters use the scale so differently that only their own order counts")
    return tuple(said)


def statistics(s: "Scores") -> str:
    """Model, test and sources, for a statistician."""
    lead = s.leading
    how = "all orders counted" if s.exact else "19 999 orders drawn"
    whose = "within tasters" if s.by_taster else "over all people"
    part = f"random taster, sd {s.model.sd:.2f}" if s.by_taster else "no random part"
    far = "without limit" if math.isinf(lead["high"]) else words.minus(f"{lead['high']:.2f}")
    near = "without limit" if math.isinf(lead["low"]) else words.minus(f"{lead['low']:.2f}")
    many = f", Bonferroni over {len(s.pairs)} pairs" if len(s.pairs) > 1 else ""
    return (
        f"For the statistician: randomisation test {whose}, {how}, p = {s.p:.2g}. Cumulative logit "
        f"(McCullagh 1980), {part}, adaptive Gauss–Hermite: log odds {lead['log_odds']:.2f} "
        f"({near} to {far}), profile likelihood at {percent(s.level)}{many}."
    )
