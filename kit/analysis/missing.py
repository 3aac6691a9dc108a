"""Whether readings are missing for a reason that the setting may have caused.

What burnt, tore or collapsed has no height, and those left flatter the setting that did it (missing
not at random: Rubin 1976, Biometrika 63:581).
"""

import numpy as np
import pandas as pd

from kit.analysis import words
from kit.analysis.looks import Finding
from kit.analysis.structure import MOST_SETTINGS

__all__ = ["missing", "missing_beside", "missing_table"]

#: Difference between settings in the share of missing pieces that is worth a word, where chance
#: makes one as large in about one trial in ten (own choice: what is missing is seldom much). Of two
#: tests, which mostly say the same, each may speak at 7 in 100 for that (by simulation).
UNEVEN, _RARE, _EITHER = 0.1, 0.1, 0.07
#: Outcomes that are missing because they are large: what was waited for and had not come yet.
WAITED_FOR = ("double_minutes",)


def missing_table(frame: pd.DataFrame, outcome: str, by: str) -> pd.DataFrame:
    """Pieces, and pieces without a reading, by setting."""
    known = frame[frame[by].notna()]
    absent = pd.to_numeric(known[outcome], errors="coerce").isna()
    table = absent.groupby(known[by], observed=True).agg(pieces="size", missing="sum")
    return table.rename_axis("level").reset_index()


def missing(table: pd.DataFrame, outcome: str, by: str) -> list[Finding]:
    """Whether readings are missing more at one setting than at another."""
    total = int(table["missing"].sum())
    what = words.name(outcome)
    if total == 0:
        return [Finding("missing", f"{what} was read for every piece")]
    if len(table) > MOST_SETTINGS:
        return [Finding("missing", f"{what} is missing for {words.plural(total, 'piece')}")]
    some = table[table["missing"] > 0]
    counts = [f"{m} of {n}" for n, m in zip(some["pieces"], some["missing"], strict=True)]
    where = [words.setting(by, level, again=i > 0) for i, level in enumerate(some["level"])]
    where[0] = f"with {where[0]}"
    told = words.join(f"{c} {w}" for c, w in zip(counts, where, strict=True))
    share = table["missing"] / table["pieces"]
    text = f"{what} is missing for {told}"
    if outcome in WAITED_FOR:
        text += (
            ": where it was not reached by the last look, it takes longer than that, and leaving "
            "it out makes its setting look faster than it is and differences smaller. Look until "
            "all are there"
        )
        return [Finding("missing", text, True)]
    if share.max() - share.min() >= UNEVEN and _hardly_chance(table):
        text += (
            ": if they are missing because of the setting (burnt, torn, collapsed), those left "
            "flatter it"
        )
        return [Finding("missing", text, True)]
    return [Finding("missing", text)]


def _hardly_chance(table: pd.DataFrame) -> bool:
    """Whether the settings differ in what is missing more than chance has it.

    Looked at all ways (chi-square), and where they are doses also whether it grows along their
    order (Cochran 1954, Biometrics 10:417; Armitage 1955, Biometrics 11:375).
    """
    from scipy import stats

    gone, pieces = (table[c].to_numpy(dtype=float) for c in ("missing", "pieces"))
    share = gone.sum() / pieces.sum()
    if share == 1:
        return False
    p = stats.chi2_contingency([gone, pieces - gone], correction=False).pvalue
    if len(table) < 3 or not pd.api.types.is_numeric_dtype(table["level"]):
        return bool(p < _RARE)
    order = np.arange(len(table)) - np.average(np.arange(len(table)), weights=pieces)
    spread = np.sqrt(share * (1 - share) * (pieces @ order**2))
    trend = 2 * stats.norm.sf(abs(gone @ order) / spread)
    return bool(min(p, trend) < _EITHER)


def missing_beside(frame: pd.DataFrame, outcome: str, by: str) -> list[Finding]:
    """The same for a further factor, where there is something to think about."""
    return [f for f in missing(missing_table(frame, outcome, by), outcome, by) if f.alarm]
