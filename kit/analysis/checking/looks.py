"""Each thing that is looked at about one fit: one function, one or more findings.

Sources: far-off values by Grubbs (1950, Ann Math Stat 21:27), spread of pieces by Levene's idea
(1960) with doughs as the units, of doughs by Bartlett (1937, Proc R Soc A 160:268).
"""

import math
from collections.abc import Callable, Sequence

import numpy as np
import pandas as pd

from kit import words
from kit.analysis.answer.fit_checks import Finding
from kit.analysis.grouping.structure import MOST_SETTINGS, safe_name
from kit.analysis.mixed import MixedFit
from kit.analysis.moments import Floats, Integers
from kit.errors import KitError

__all__ = [
    "NO_ANSWER", "Ask", "at_limit", "dough_spread", "events", "far_off", "grubbs",
    "residuals", "spread",
]  # fmt: skip

#: A check alarms when chance alone would do as much in fewer than one trial in a hundred:
#: several checks are made of every answer.
ALARM = 0.01
#: Share of values at the end of their scale from which on it is worth a word.
CROWDED = 0.2
#: So many far-off ones are looked for, of so many values at least (from 15 on Rosner's test keeps
#: its level).
_MOST_FAR, _MANY = 3, 15
#: Robust sd from the median within which the bulk lies, and the chance of a lean that counts (own).
_BULK, _LEANS = 4.0, 0.1

NO_ANSWER = "no answer at all"

Ask = Callable[[pd.DataFrame], tuple[str, float]]


def residuals(
    rows: pd.DataFrame, labels: pd.DataFrame, fit: MixedFit, outcome: str, by: str
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """What the settings leave of each piece and of each dough's mean."""
    x = fit.design.rows_of(rows)
    fitted = pd.Series(x @ fit.coefficients["estimate"].to_numpy(dtype=float), rows.index)
    left = rows[safe_name(outcome)] - fitted
    table = labels[["bake", "dough"]].assign(
        level=rows[safe_name(by)], fitted=fitted, residual=left
    )
    if "dough" not in fit.groups:
        if "bake" in fit.groups:
            table["residual"] = left - left.groupby(rows["bake"]).transform("mean")
        return table.reset_index(drop=True), pd.DataFrame()
    mean = left.groupby(rows["dough"]).transform("mean")
    table["residual"] = left - mean
    doughs = table.assign(residual=mean).groupby(rows["dough"], sort=False)
    means = doughs.agg(bake=("bake", "first"), dough=("dough", "first"), fitted=("fitted", "mean"),
                       residual=("residual", "first"), pieces=("level", "size"))  # fmt: skip
    if "bake" in fit.groups:
        bakes = rows.groupby("dough", sort=False)["bake"].first()
        means["residual"] -= means["residual"].groupby(bakes).transform("mean")
    return table.reset_index(drop=True), means.reset_index(drop=True)


def grubbs(values: Floats) -> float:
    """Chance that the most extreme of n normal values lies as far out as here (an upper bound).

    Examples
    --------
    The n = 8 example of the NIST/SEMATECH e-Handbook, 1.3.5.17.1 (G = 2.4687, critical 2.032).

    >>> round(grubbs(np.array([199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18,
    ...                        245.57])), 6) < 0.05
    True
    """
    from scipy import stats

    n, sd = len(values), float(np.std(values, ddof=1))
    if n < 4 or sd == 0:
        return 1.0
    g = float(np.max(np.abs(values - values.mean()))) / sd
    room = (n - 1) ** 2 - n * g**2
    if room <= 0:
        return 0.0
    t = math.sqrt(n * (n - 2) * g**2 / room)
    return min(1.0, float(2 * n * stats.t.sf(t, n - 2)))


def far_off(pieces: pd.DataFrame, doughs: pd.DataFrame, outcome: str) -> list[Finding]:
    """Pieces or doughs that lie oddly far from the rest."""
    found = []
    for table in (pieces, doughs):
        if len(table) < 4:
            continue
        left, group = table["residual"].to_numpy(dtype=float), _together(table)
        odd = _odd_ones(left, group)
        if not odd:
            continue
        sd, mates = float(np.std(left, ddof=1)), np.flatnonzero(group == group[odd[0]])
        row, far = table.iloc[odd[0]], float(left[odd[0]])
        each = table.columns.intersection(["bake", "dough"])
        whole = not table.duplicated(each).any()  # of one piece each, a piece is its dough
        if len(mates) == 2:  # what one lies above, the other lies below
            size = words.number(float(np.ptp(left[mates])), sd, words.unit_of(outcome))
            whose = f"the two pieces of dough {row['dough']}"
            if whole:
                whose = words.join(f"dough {dough}" for dough in table["dough"].iloc[mates])
            text = (
                f"{whose} lie {size} further apart than "
                f"{'their settings' if whole else 'one setting'} would give, more than "
                "chance usually has it; which of the two is odd cannot be told"
            )
        else:
            size = words.number(abs(far), sd, words.unit_of(outcome))
            whose = "" if whole else "one piece of "
            text = (
                f"{whose}dough {row['dough']} lies {size} {'above' if far > 0 else 'below'} what "
                f"its setting{'' if whole else ' and dough'} would give, further than "
                f"chance usually puts one of {len(table)}"
            )
        if len(odd) > 1:
            more = len(odd) - 1
            text += f", and {'one more is' if more == 1 else f'{more} more are'} as odd"
        rest = np.delete(np.arange(len(left)), odd)
        # several pull the means of their groups, which evens out the bulk
        bulk = left[rest] if len(odd) == 1 else _set_apart(left[rest], group[rest])[0]
        alone = not _lopsided(bulk, far)
        text += (
            ": look for a slip in weighing, measuring or writing down"
            if alone
            else f", but it is not alone: {words.name(outcome)} is lopsided, as shares near 0 or "
            "1, ratios and counts often are"
        )
        found.append(Finding("far off", text, alone))
    if not found:
        kinds = "piece or dough" if len(doughs) else "piece"
        found.append(Finding("far off", f"no {kinds} lies oddly far from the rest"))
    return found


def _together(table: pd.DataFrame) -> Integers:
    """Whose mean was taken off: the dough's of pieces, the bake's of doughs, or that of all."""
    for keys in (["bake", "dough"], ["dough"], ["bake"]):
        if set(keys) <= set(table):
            own = table.groupby(keys, sort=False, dropna=False)
            left = own["residual"].sum().abs()
            if (left <= 1e-9 * table["residual"].abs().sum()).all():
                return own.ngroup().to_numpy()
    return np.zeros(len(table), dtype=int)


def _odd_ones(left: Floats, group: Integers) -> list[int]:
    """Those of the most extreme that lie further out than chance puts them, three at most.

    Two or three hide each other, being in the spread that each is set against: so those further out
    are left away before the next is looked at (Rosner 1983, Technometrics 25:165), and its group
    takes its mean without it, or one far above would leave its mates below.
    """
    here, found, sure = np.arange(len(left)), list[int](), 0
    for i in range(_MOST_FAR):
        apart, at = _set_apart(left[here], group[here])
        if len(apart) < (_MANY - i if i else 4):
            break
        if grubbs(apart) < ALARM:
            sure = i + 1
        found.append(int(here[at[np.abs(apart - apart.mean()).argmax()]]))
        here = here[here != found[-1]]
    return found[:sure]


def _set_apart(left: Floats, group: Integers) -> tuple[Floats, Integers]:
    """What is left about the mean of each group, of one spread, and which ones these are.

    Of two that have a mean in common one only, for the other is its mirror image; of one none.
    """
    codes = np.unique(group, return_inverse=True)[1]
    size = np.bincount(codes)[codes]
    first = np.isin(np.arange(len(left)), np.unique(codes, return_index=True)[1])
    at = np.flatnonzero((size > 2) | ((size == 2) & first))
    mean = np.bincount(codes, left)[codes] / size
    return ((left - mean) * np.sqrt(size / np.maximum(size - 1, 1)))[at], at


def _lopsided(left: Floats, far: float) -> bool:
    """Whether the bulk of the rest, too, reaches further to the side where one lies far off.

    However many gross slips there are, they leave the bulk as even as chance has it (skewness,
    asked of that one side: D'Agostino 1970, Biometrika 57:679); a lopsided outcome does not.
    """
    from scipy import stats

    away = np.abs(left - np.median(left))
    near = away <= _BULK * np.median(away) / stats.norm.ppf(0.75)
    if near.sum() < 8 or np.ptp(left[near]) == 0:
        return False
    side = "greater" if far > 0 else "less"
    return bool(stats.skewtest(left[near], alternative=side).pvalue < _LEANS)


def spread(pieces: pd.DataFrame, outcome: str, by: str) -> list[Finding]:
    """Whether the pieces of a dough scatter more at one setting than at another."""
    from scipy import stats

    if pieces["level"].nunique() > MOST_SETTINGS or not len(pieces):
        return []
    # a piece lies nearer to the mean of its dough the fewer they are; alone it is that mean
    each = pieces.groupby(["bake", "dough"])["residual"].transform("size")
    if (each > 1).any():
        pieces, each = pieces[each > 1], each[each > 1]
        size = (pieces["residual"] * np.sqrt(each / (each - 1))).abs()
        doughs = size.groupby([pieces["bake"], pieces["dough"], pieces["level"]]).mean()
        fewest = 2
    else:  # one piece a dough: the pieces are the units, and two lie alike about their mean
        doughs, fewest = pieces.set_index("level")["residual"].abs(), 3
    groups = {k: g.to_numpy() for k, g in doughs.groupby(level="level") if len(g) >= fewest}
    if len(groups) < 2 or all(np.ptp(g) == 0 for g in groups.values()):
        return [Finding("spread", "too few doughs a setting to compare how their pieces scatter")]
    p = float(stats.f_oneway(*groups.values()).pvalue)
    mean = {k: float(g.mean()) for k, g in groups.items()}
    most, least = max(mean, key=lambda k: mean[k]), min(mean, key=lambda k: mean[k])
    if not p < ALARM:
        return [Finding("spread", "the pieces scatter about alike at every setting")]
    ratio = f"about {mean[most] / mean[least]:.1f} times as much" if mean[least] > 0 else "more"
    text = (
        f"the pieces scatter {ratio} with {words.setting(by, most)} "
        f"{'as' if mean[least] > 0 else 'than'} {words.setting(by, least, again=True)}: the "
        "interval is a little too narrow for the one and too wide for the other, and evenness may "
        "be an answer of its own"
    )
    return [Finding("spread", text, True)]


def dough_spread(rows: pd.DataFrame, doughs: pd.DataFrame, by: str) -> list[Finding]:
    """Whether whole doughs scatter more at one setting than at another, where that is to be said.

    `doughs` holds what is left of each dough's mean, from `residuals`, in the order of the rows.
    """
    from scipy import stats

    settings = rows.groupby("dough", sort=False)[safe_name(by)].agg(["first", "nunique"])
    if not len(doughs) or settings["nunique"].max() > 1:
        return []
    if settings["first"].nunique() > MOST_SETTINGS:
        return []
    left = doughs["residual"].groupby(settings["first"].to_numpy())
    each = {level: own.to_numpy() for level, own in left if len(own) >= 3 and np.ptp(own) > 0}
    if len(each) < 2 or not stats.bartlett(*each.values()).pvalue < ALARM:  # or it is none at all
        return []
    sd = {level: float(np.std(own, ddof=1)) for level, own in each.items()}
    most, least = max(sd, key=lambda k: sd[k]), min(sd, key=lambda k: sd[k])
    text = (
        f"the doughs scatter about {sd[most] / sd[least]:.1f} times as much with "
        f"{words.setting(by, most)} as {words.setting(by, least, again=True)}, where the interval "
        "takes them to scatter alike"
    )
    if len(each[most]) < len(each[least]):
        text += ": with fewer doughs of what scatters more it is too narrow; bake more of it"
    return [Finding("spread", text, True)]


def at_limit(values: pd.Series, outcome: str) -> list[Finding]:
    """Whether many readings stand at the end of their scale."""
    known = words.known(outcome)
    # what is never below 0 ends there, whatever it is
    low = 0.0 if (values >= 0).all() else -math.inf
    ends: Sequence[float] = known.possible if known else (low, math.inf)
    found = []
    for end, word in zip(ends, ("lowest", "highest"), strict=True):
        count = int((values == end).sum())
        if count >= CROWDED * len(values):
            text = (
                f"{count} of {len(values)} pieces stand at {words.amount(outcome, float(end))}, "
                f"the {word} {words.name(outcome)} can be: differences are squeezed there and "
                "the intervals are rough"
            )
            found.append(Finding("limit", text, True))
    if not found and known and any(map(math.isfinite, ends)):
        text = f"{words.name(outcome)} keeps clear of the ends of its scale"
        return [Finding("limit", text)]
    return found


def events(used: pd.DataFrame, frame: pd.DataFrame, ask: Ask, now: str) -> list[Finding]:
    """Ask again without the pieces that each kind of event happened to."""
    if "events" not in frame.columns:
        return []
    happened = frame["events"].fillna("").astype(str).str.split("; ")
    kinds = dict.fromkeys(k for row in happened.loc[used.index] for k in row if k)
    findings = []
    for kind in kinds:
        hit = happened.map(lambda row, kind=kind: kind in row)
        count = int(hit.loc[used.index].sum())
        try:
            answer, _ = ask(frame[~hit])
        except KitError:
            answer = NO_ANSWER
        gone = f"without the {words.plural(count, 'piece')} of “{kind}”"
        if answer == now:
            findings.append(Finding("events", f"{gone} the answer stays: {answer}"))
        else:
            text = f"{gone} the answer would be: {answer} (with them: {now})"
            findings.append(Finding("events", text, True))
    return findings
