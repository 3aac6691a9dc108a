"""What else was set: an answer holds it alike, or says that it did not.

What is held alike must not be moved by the factor itself (Cochran 1957, Biometrics 13:261): how far
a dough had risen when the eye said "done" is part of what the malt did, not something beside it.
"""

import re
from collections.abc import Container, Mapping, Sequence

import pandas as pd

from kit import quantities, words
from kit.analysis.answer.fit_checks import Finding
from kit.analysis.asked import has_numbers
from kit.analysis.checking.looks import ALARM
from kit.analysis.comparison import compared
from kit.analysis.grouping.structure import MOST_SETTINGS, safe_name
from kit.analysis.mixed import MixedFit
from kit.errors import KitError

__all__ = ["beside", "moved_along", "set_beside"]

#: What a baker decides, of the quantities the kit knows; others happen, or come of these.
_SET = (
    "malt_percent", "malt_lintner", "hydration_percent", "salt_percent", "yeast_percent",
    "retard_hours", "side_minutes",
)  # fmt: skip

#: Each bag differs by itself, from bake to bake or with a setting.
_LOTS = ("flour_lot", "yeast_lot")
#: Of so many pieces the lot must be known before anything is said of it (own choice).
_NOTED = 0.8
#: Closer than this share of the largest, settings are one: so well is a thing set (own choice).
_ALIKE = 0.03


def set_beside(
    frame: pd.DataFrame, held: Container[str], bakes: Sequence[str] = ()
) -> dict[str, str]:
    """Quantities set differently within a bake and not held alike, with their settings in words.

    What differs from bake to bake only is no worry: bakes are told apart anyhow, by the columns
    `bakes`. The frame has one row a piece; `held` are the factor and what is held alike.

    Examples
    --------
    >>> rows = pd.DataFrame({"bake": [1, 1, 2], "retard_hours": [16, 40.0, 40.5]})
    >>> set_beside(rows, {"malt_percent"}, ["bake"])
    {'retard_hours': '16 to 40.5 h'}
    >>> set_beside(rows[1:], {"malt_percent"}, ["bake"])
    {}
    """
    found = {}
    for column in (c for c in _SET if c in frame and c not in held):
        values = pd.to_numeric(frame[column], errors="coerce")
        apart = values.max() - values.min()
        if bakes:
            each = values.groupby([frame[b].astype(str) for b in bakes])
            apart = (each.max() - each.min()).max()
        if apart > _ALIKE * values.abs().max():
            low, high = (words.rounded(column, float(v)) for v in (values.min(), values.max()))
            two = " and " if values.nunique() == 2 else " to "
            found[column] = f"{low:g}{two}{words.amount(column, high)}"
    return found


def beside(
    used: pd.DataFrame, factors: Sequence[str], fit: MixedFit, columns: Mapping[str, str | None]
) -> list[Finding]:
    """What was set differently too, or came from another bag, and is not in the fit."""
    bakes = [c for c in (columns["trial"], columns["bake"]) if c is not None]
    held = set(re.findall(r"\w+", fit.formula))
    lots = [lot for lot in _LOTS if lot in used and lot not in held]
    changed = [text for factor in factors for lot in lots if (text := _changed(used, factor, lot))]
    found = set_beside(used, held, bakes)
    return [Finding("beside", text, True) for text in changed] + [
        Finding(
            "beside",
            f"{words.name(column)} was set differently too ({settings}) and was not held alike: "
            "part of a difference may be its doing. Hold it alike: a tick in the panel, or "
            f'adjust=["{column}"]',
            True,
        )
        for column, settings in found.items()
    ]


def _changed(used: pd.DataFrame, factor: str, lot: str) -> str:
    """That every setting was baked from one lot, and not all from the same; else nothing."""
    kind = lot.removesuffix("_lot")
    if kind in factor.lower() and quantities.find(factor) is None:
        return ""  # another flour is another bag
    if used[lot].notna().mean() < _NOTED:
        return ""
    each = used.dropna(subset=[factor, lot]).groupby(factor, observed=True)[lot].unique()
    if not 2 <= len(each) <= MOST_SETTINGS or max(map(len, each)) > 1:
        return ""
    lots = each.map(lambda own: own[0])
    if lots.nunique() < 2:
        return ""
    told = words.join(f"{own} with {words.amount(factor, level)}" for level, own in lots.items())
    return (
        f"{words.name(lot)} changed together with {words.name(factor)} ({told}): what the other "
        "lot does is in the difference, and nothing in the numbers tells. Bake all settings from "
        "one lot, or each from several"
    )


def moved_along(
    used: pd.DataFrame, factors: Sequence[str], fit: MixedFit, columns: Mapping[str, str | None]
) -> list[Finding]:
    """Compare every measured number that is held alike between the settings of the factors.

    `used` has one row a piece that counted, as it was given; the fit's formula says what is held.
    """
    numbers = re.sub(r"C\(\w+\)", "", fit.formula)
    outcome, *inside = re.findall(r"\w+", numbers)
    own = {outcome, *map(safe_name, factors)}
    found = []
    for column in map(str, used.columns):
        name = safe_name(column)
        if name not in inside or name in own or column in _SET or not has_numbers(used[column]):
            continue
        for factor in factors:
            try:
                lead = compared(used, column, factor, columns).leading
            except KitError:
                continue  # alike at every setting, or nothing to judge it by
            if not lead.p < ALARM:
                continue
            text = (
                f"{words.name(column)} is held alike but went along with {words.name(factor)} "
                f"itself ({lead.size(column)} {lead.way} with "
                f"{words.amount(factor, lead.level)} than with {words.amount(factor, lead.versus)})"
                f": if {words.name(factor)} caused that, what it does by way of it is taken out of "
                "the answer; ask without holding it alike, too. If it was set so, keep it: then "
                "the settings were not alike in it"
            )
            found.append(Finding("beside", text, True))
    return found
