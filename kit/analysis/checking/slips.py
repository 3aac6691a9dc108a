"""Slips of the pen that the readings show: a dough written down twice, a decimal point astray."""

import math

import numpy as np
import pandas as pd

from kit import words
from kit.analysis.answer.fit_checks import Finding
from kit.analysis.checking.looks import ALARM
from kit.analysis.moments import Floats

__all__ = ["copied", "slipped"]

#: So many times what is usual is no reading but a slip, where all others lie near it (own choice).
SLIPPED = 5.0


def copied(values: pd.Series, doughs: pd.Series, names: pd.Series) -> list[Finding]:
    """Whether a dough's readings are another's, one for one, as chance hardly ever makes them.

    Two pieces are taken to read the same as often as two of one dough do, or as two at the same
    place in the order of two doughs, whichever is oftener: a place may be a setting or a spot on
    the griddle, alike from dough to dough. Of every piece its reading, its dough's number and name
    are given, in the order written down.

    Examples
    --------
    >>> doughs = pd.Series(np.repeat(range(4), 4))
    >>> read = [31.2, 30.4, 32.9, 30.1, 29.8, 31.0, 33.5, 28.7, 30.9, 29.5, 31.7, 32.2]
    >>> copied(pd.Series(read + read[:4]), doughs, doughs)[0].text[:47]
    'the 4 readings of dough 3 are those of dough 0,'
    """
    own = values.groupby(doughs.to_numpy())
    sizes = own.size()
    same = _pairs(values.groupby([doughs.to_numpy(), values.to_numpy()]).size())
    once = (same + 1) / (_pairs(sizes) + 1)
    name = names.groupby(doughs.to_numpy()).first()
    found: list[Finding] = []
    for _, group in sizes.groupby(sizes):
        table = pd.DataFrame([own.get_group(dough).to_numpy() for dough in group.index])
        called = list(name[group.index])
        twice = _pairs(table.value_counts())  # these say nothing of how often chance does it
        others = _pairs(len(table)) - twice
        places = [
            max(once, (_pairs(table[k].value_counts()) - twice + 1) / (others + 1)) for k in table
        ]
        if not _pairs(len(table)) * math.prod(places) < ALARM:
            continue
        first = table.groupby(list(table)).ngroup()
        first = first.map(dict(zip(first[::-1], first.index[::-1], strict=True)))
        found += [
            Finding(
                "copy",
                f"the {table.shape[1]} readings of dough {called[i]} are those of dough "
                f"{called[before]}, one for one: if they were written down twice, take the copy "
                "out, for it counts as another dough",
                True,
            )
            for i, before in enumerate(first)
            if i != before
        ]
    return found


def _pairs(counts: "pd.Series | int") -> float:
    """Number of pairs within groups of such sizes."""
    n = np.asarray(counts, dtype=float)
    return float((n * (n - 1)).sum() / 2)


def slipped(
    values: pd.Series, doughs: pd.Series, names: pd.Series, settings: pd.DataFrame, outcome: str
) -> list[Finding]:
    """Readings many times too large or too small beside all others, dough by dough.

    What is left of such a one is shared out over its bake and setting, so that in a small trial it
    stands out in the readings themselves only. Where half the readings of a setting are so, the
    setting does it; and a score or a count has no decimal point to slip. `settings` has the level
    of each factor, a row a piece.
    """
    read = values.to_numpy(dtype=float)
    known = words.known(outcome)
    if len(read) < 4 or not read.min() > 0 or (known and known.whole):
        return []
    middle = float(np.median(read))
    odd = np.abs(np.log(read / middle)) > math.log(SLIPPED)
    rest = read[~odd]
    if not odd.any() or not middle / 2 < rest.min() <= rest.max() < 2 * middle:
        return []
    if any(pd.Series(odd).groupby(settings[f].to_numpy()).mean().max() >= 0.5 for f in settings):
        return []
    number, called = doughs.to_numpy(), names.to_numpy()
    found = []
    for dough in pd.unique(number[odd]):
        here = number == dough
        wrong, pieces = read[here & odd], int(here.sum())
        whose = f"of dough {called[here][0]} {'reads' if len(wrong) == 1 else 'read'}"
        many = "a piece" if len(wrong) == 1 else f"{len(wrong)} pieces"
        if len(wrong) == pieces > 1:
            many = f"all {many}"
        text = (
            f"{many} {whose} {_span(wrong, outcome)}, where all others read "
            f"{_span(rest, outcome)}: did the decimal point slip, or was it another unit? If so, "
            "correct it first and then look again, for it hides what else may be amiss"
        )
        found.append(Finding("far off", text, True))
    return found


def _span(read: Floats, outcome: str) -> str:
    low, high = (words.amount(outcome, float(end)) for end in (read.min(), read.max()))
    return low if low == high else f"{low} to {high}"
