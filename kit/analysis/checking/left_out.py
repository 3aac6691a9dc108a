"""Doughs and pieces that do not count, by setting: those left may flatter it.

What was given up because it did not rise, or burnt, tore or collapsed, is no chance loss where the
setting did it (missing not at random: Rubin 1976, Biometrika 63:581): no average of those left says
so.
"""

from collections.abc import Iterable, Sequence

import numpy as np
import pandas as pd

from kit import words
from kit.analysis.answer.fit_checks import Finding
from kit.analysis.grouping.structure import MOST_SETTINGS

__all__ = ["flatters", "left_out_by_setting", "missing", "missing_table"]

#: Difference between settings in the share left out that is worth a word, where chance makes one
#: as large in about one trial in ten (own choice: what is missing is seldom much). Of two tests,
#: which mostly say the same, each may speak at 7 in 100 for that (by simulation).
_UNEVEN, _RARE, _EITHER = 0.1, 0.1, 0.07
_FLATTERED = "those left flatter it"
#: Outcomes that are missing because they are large: what was waited for and had not come yet.
_WAITED_FOR = ("double_minutes",)


def left_out_by_setting(
    settings: Iterable[object], gone: Iterable[bool], by: str, unit: str, why: str
) -> str:
    """Say how many doughs or pieces (`unit`) do not count, and where settings differ in it.

    Of each its setting and whether it is gone; `why` is said of them: "have no height", "left out
    because of: burnt". Empty where none is gone.

    Examples
    --------
    >>> left_out_by_setting([0.3] * 4 + [1.0] * 4, [True] * 2 + [False] * 6, "yeast_percent",
    ...                     "dough", "have no height")[:72]
    '2 doughs have no height (2 of 4 with yeast at 0.3 %, none of 4 at 1 %): '
    """
    lost = pd.Series(list(gone))
    count, table = int(lost.sum()), _by_setting(lost, pd.Series(list(settings)))
    if not count:
        return ""
    text = f"{words.plural(count, unit)} {why if count > 1 else why.replace('have', 'has', 1)}"
    if not 2 <= len(table) <= MOST_SETTINGS or not _uneven(table):
        return text
    return (
        f"{text} ({', '.join(_each(table, by))}): if the setting did it (it did not rise, it "
        f"burnt), {_FLATTERED}, and the answer is about those left only"
    )


def flatters(told: str) -> bool:
    """Whether what `left_out_by_setting` said is that those left may flatter their setting."""
    return _FLATTERED in told


def missing_table(
    frame: pd.DataFrame, outcome: str, by: str, once: Sequence[str] = ()
) -> pd.DataFrame:
    """Pieces, and pieces without a reading, by setting: ``level, pieces, missing``.

    With `once`, the columns that tell doughs apart, a dough of one setting of which no piece was
    read counts as one: what became of it (a bake given up half-way) became of it once, however
    many pieces it had.
    """
    known = frame[frame[by].notna()]
    gone = pd.to_numeric(known[outcome], errors="coerce").isna()
    if once:
        doughs = [known[c] for c in once]
        whole = gone.groupby(doughs, dropna=False).transform("all")
        whole &= known[by].groupby(doughs, dropna=False).transform("nunique") == 1
        keep = ~(whole & known.duplicated([*once]))
        known, gone = known[keep], gone[keep]
    return _by_setting(gone, known[by])


def missing(
    table: pd.DataFrame, outcome: str, by: str, chances: pd.DataFrame | None = None
) -> Finding:
    """Whether readings are missing more at one setting than at another, of a `missing_table`.

    `chances` is the table with doughs counted once, by which chance is judged.
    """
    chances = table if chances is None else chances
    total = int(table["missing"].sum())
    what = words.name(outcome)
    if total == 0:
        return Finding("missing", f"{what} was read for every piece")
    if len(table) > MOST_SETTINGS:
        return Finding("missing", f"{what} is missing for {words.plural(total, 'piece')}")
    text = f"{what} is missing for {words.join(_each(table[table['missing'] > 0], by))}"
    if outcome in _WAITED_FOR:
        text += (
            ": where it was not reached by the last look, it takes longer than that, and leaving "
            "it out makes its setting look faster than it is and differences smaller. Look until "
            "all are there"
        )
        return Finding("missing", text, True)
    alarm = _uneven(table) and _hardly_chance(chances)
    if alarm:
        text += f": if the setting did it (burnt, torn, collapsed), {_FLATTERED}"
    return Finding("missing", text, alarm)


def _by_setting(gone: pd.Series, settings: pd.Series) -> pd.DataFrame:
    table = gone.groupby(settings, observed=True).agg(pieces="size", missing="sum")
    return table.rename_axis("level").reset_index()


def _each(table: pd.DataFrame, by: str) -> list[str]:
    """How many of each setting: "2 of 4 with yeast at 0.3 %", "none of 4 at 1 %"."""
    each = zip(table["level"], table["missing"], table["pieces"], strict=True)
    return [
        f"{gone or 'none'} of {all_} {'' if i else 'with '}{words.setting(by, level, again=i > 0)}"
        for i, (level, gone, all_) in enumerate(each)
    ]


def _uneven(table: pd.DataFrame) -> bool:
    share = table["missing"] / table["pieces"]
    return bool(share.max() - share.min() >= _UNEVEN)


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
