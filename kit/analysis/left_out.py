"""Doughs and pieces that do not count, told by setting: those left may flatter it.

What was given up because it did not rise, or left out because it burnt, is no chance loss where the
setting did it (missing not at random: Rubin 1976, Biometrika 63:581): no average of those left says
so.
"""

from collections.abc import Iterable

import pandas as pd

from kit.analysis import words
from kit.analysis.structure import MOST_SETTINGS

__all__ = ["flatters", "left_out_by_setting"]

#: Difference between settings in the share left out that is worth a word (own choice).
_UNEVEN = 0.1
_FLATTERED = "those left flatter it"


def left_out_by_setting(
    settings: Iterable[object], gone: Iterable[bool], by: str, unit: str, why: str
) -> str:
    """Say how many were left out, and of which settings where they differ in it.

    Parameters
    ----------
    settings : iterable
        The setting of each dough or piece.
    gone : iterable of bool
        Which do not count.
    by : str
    unit : {"dough", "piece"}
    why : str
        What is said of them: "have no height", "left out because of: burnt".

    Returns
    -------
    str
        Empty where none is gone.

    Examples
    --------
    >>> left_out_by_setting([0.3] * 4 + [1.0] * 4, [True] * 2 + [False] * 6, "yeast_percent",
    ...                     "dough", "have no height")[:72]
    '2 doughs have no height (2 of 4 with yeast at 0.3 %, none of 4 at 1 %): '
    """
    table = pd.DataFrame({"setting": list(settings), "gone": list(gone)})
    count = int(table["gone"].sum())
    if not count:
        return ""
    verb = why if count > 1 else why.replace("have", "has", 1)
    text = f"{words.plural(count, unit)} {verb}"
    each = table.groupby("setting")["gone"].agg(["sum", "size"])
    share = each["sum"] / each["size"]
    if not 2 <= len(each) <= MOST_SETTINGS or share.max() - share.min() < _UNEVEN:
        return text
    parts = [
        f"{row['sum'] or 'none'} of {row['size']} {'' if i else 'with '}"
        f"{words.setting(by, setting, again=i > 0)}"
        for i, (setting, row) in enumerate(each.iterrows())
    ]
    return (
        f"{text} ({', '.join(parts)}): if the setting did it (it did not rise, it burnt), "
        f"{_FLATTERED}, and the answer is about those left only"
    )


def flatters(told: str) -> bool:
    """Whether what `left_out_by_setting` said is that those left may flatter their setting."""
    return _FLATTERED in told
