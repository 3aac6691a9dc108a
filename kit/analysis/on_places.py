"""Whether each setting kept to places of its own, so that the griddle may be its doing.

A griddle is hotter here than there. Shared out piece by piece, that is chance and in the interval;
where one setting lay on the left and the other on the right in every bake, it is in the
difference, and nothing in the numbers tells. How far settings and places went together is
Cramér's V² (1946, *Mathematical Methods of Statistics*, ch. 21).
"""

from collections.abc import Sequence

import pandas as pd

from kit.analysis import words
from kit.analysis.looks import ALARM, Finding
from kit.analysis.structure import MOST_SETTINGS

__all__ = ["on_places"]

_PLACE = "place"
#: So much of what tells the settings apart goes with the places: half of what a hot corner does
#: would be in the difference (own choice).
_TOGETHER = 0.5


def on_places(used: pd.DataFrame, factors: Sequence[str]) -> list[Finding]:
    """Look at where on the griddle the settings of each factor lay.

    Parameters
    ----------
    used : DataFrame
        One row a piece that counted; places are in a column ``place``.
    factors : sequence of str

    Returns
    -------
    list of Finding
        Empty where places are not known, or the settings did not keep to them.
    """
    from scipy.stats import chi2_contingency

    if _PLACE not in used:
        return []
    found = []
    for factor in factors:
        if factor == _PLACE:
            continue
        lay = pd.crosstab(used[_PLACE], used[factor])
        places, settings = lay.shape
        if not (2 <= settings <= MOST_SETTINGS and places >= 2):
            continue
        test = chi2_contingency(lay, correction=False)
        together = test.statistic / (lay.to_numpy().sum() * (min(lay.shape) - 1))
        if together < _TOGETHER or not test.pvalue < ALARM:
            continue
        found.append(Finding("place", _text(factor, lay, together < 1 - 1e-9), True))
    return found


def _text(factor: str, lay: pd.DataFrame, mostly: bool) -> str:
    home = (lay / lay.sum()).to_numpy().argmax(axis=1)
    told = []
    for i, setting in enumerate(lay.columns):
        own = [f"{p:g}" if isinstance(p, float) else str(p) for p in lay.index[home == i]]
        if own:
            places = f"place{'s' if len(own) > 1 else ''} {words.join(own)}"
            told.append(f"{words.amount(factor, setting)} on {places}")
    return (
        f"the settings {'mostly ' if mostly else ''}kept to places of their own ("
        f"{'; '.join(told)}): what the griddle does there (a hot corner, a cool rim) is in the "
        "difference. Let every setting lie on every place in the next bakes"
    )
