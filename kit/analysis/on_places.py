"""Whether each setting kept to places of its own, so that the griddle may be its doing.

A griddle is hotter here than there. Shared out piece by piece, that is chance and in the interval;
where one setting lay on the left and the other on the right in every bake, it is in the
difference, and nothing in the numbers tells. How far settings and places went together is
Cramér's V² (1946, *Mathematical Methods of Statistics*, ch. 21). Pieces of a dough mostly lie side
by side; so it is doughs that are shared out anew to say how often lots would keep them so apart.
"""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from kit.analysis import words
from kit.analysis.looks import Finding
from kit.analysis.moments import Floats
from kit.analysis.structure import MOST_SETTINGS
from kit.analysis.turns import BY_LOT, KEPT

__all__ = ["on_places"]

_PLACE = "place"
#: So much of what tells the settings apart goes with the places: half of what a hot corner does
#: would be in the difference (own choice).
_TOGETHER = 0.5
#: So many ways to share out are drawn; a chance of 1 in 4 or 8 may come out this much larger then.
_WAYS, _NEARLY = 8000, 1.1


def on_places(used: pd.DataFrame, factors: Sequence[str], units: pd.DataFrame) -> list[Finding]:
    """Look at where on the griddle the settings of each factor lay.

    Parameters
    ----------
    used : DataFrame
        One row a piece that counted; places are in a column ``place``.
    factors : sequence of str
    units : DataFrame
        Row by row of `used`, numbers ``bake, dough``.

    Returns
    -------
    list of Finding
        Empty where places are not known, or the settings did not keep to them.
    """
    if _PLACE not in used:
        return []
    found = []
    for factor in factors:
        known = used[[_PLACE, factor]].notna().all(axis=1)
        lay = pd.crosstab(used[_PLACE], used[factor])
        places, settings = lay.shape
        if factor == _PLACE or not (2 <= settings <= MOST_SETTINGS and places >= 2):
            continue
        together = float(_going_together(lay.to_numpy(dtype=float)[None])[0])
        if together < _TOGETHER:
            continue
        chance = _by_lot(used.loc[known], factor, units.loc[known], together)
        if chance > _NEARLY * BY_LOT:
            continue
        text, alarm = _text(factor, lay, together < 1 - 1e-9), chance < _NEARLY * KEPT
        if not alarm:
            text += f"; lots would have it 1 time in {round(1 / chance)}"
        found.append(Finding("place", text, alarm))
    return found


def _going_together(tables: Floats) -> Floats:
    """Cramér's V² of counts, shape (tables, places, settings)."""
    total = tables.sum(axis=(1, 2), keepdims=True)
    even = tables.sum(axis=2, keepdims=True) * tables.sum(axis=1, keepdims=True) / total
    chi2 = ((tables - even) ** 2 / even).sum(axis=(1, 2))
    v: Floats = chi2 / (total[:, 0, 0] * (min(tables.shape[1:]) - 1))
    return v


def _by_lot(used: pd.DataFrame, factor: str, units: pd.DataFrame, together: float) -> float:
    """Chance to keep so far apart when the settings of a bake go to its doughs by lot.

    Pieces are what is shared out, each within its dough, where the factor differs inside doughs.
    """
    setting = pd.factorize(used[factor])[0]
    whole = pd.Series(setting).groupby(units["dough"].to_numpy()).nunique().max() == 1
    own, inside = ("dough", "bake") if whole else ("piece", "dough")
    unit = pd.factorize(units[own])[0] if whole else np.arange(len(units))
    first = np.unique(unit, return_index=True)[1]
    lies = pd.crosstab(unit, used[_PLACE].to_numpy()).to_numpy(dtype=float)
    rng, drawn = np.random.default_rng(1946), np.tile(setting[first], (_WAYS, 1))
    for block in pd.get_dummies(units[inside].iloc[first]).to_numpy(dtype=bool).T:
        drawn[:, block] = rng.permuted(drawn[:, block], axis=1)
    tables = np.einsum("up,wuk->wpk", lies, drawn[:, :, None] == np.arange(setting.max() + 1))
    return float((_going_together(tables) > together - 1e-9).mean())


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
