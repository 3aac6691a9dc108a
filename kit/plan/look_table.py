"""What each look at the answer said, by the usual interval and by the one that holds for all."""

import math
from collections.abc import Sequence
from typing import Any

import pandas as pd

from kit.analysis.compare import Comparison
from kit.analysis.fitting import overall
from kit.analysis.spending import levels
from kit.analysis.verdict import Answer, decide_each
from kit.plan.exact import critical

__all__ = ["look_table"]

_COLUMNS = ["bake", "bakes", "units", "level", "difference", "se", "df"]
_SPANS = ["low", "high", "answer", "wide_low", "wide_high", "wide_answer"]


def look_table(
    final: Comparison,
    names: Sequence[Any],
    answers: Sequence[Comparison | None],
    planned: int,
    alpha: float,
) -> pd.DataFrame:
    """One row a look; the level of each spends what may be spent by then.

    `names` are those of the bakes in the order they were made, `answers` the comparisons after
    each, None where there was nothing to compare yet; the columns are those of
    `kit.plan.looking.Looks`.
    """
    unit, points = final.unit, final.points
    rows: list[dict[str, Any]] = []
    for n, (name, answer) in enumerate(zip(names, answers, strict=True), 1):
        so_far = points[points["bake"].isin(names[:n])]
        keys = ["bake"] if unit == "bake" else ["bake", unit]
        units = len(so_far) if unit == "piece" else len(so_far.drop_duplicates(keys))
        row: dict[str, Any] = dict.fromkeys([*_COLUMNS, *_SPANS], math.nan)
        row |= {"bake": name, "bakes": n, "units": units}
        row["answer"] = row["wide_answer"] = Answer.UNCLEAR.value
        if answer is not None:
            row |= _numbers(answer, final)
        rows.append(row)
    seen = [(row, a) for row, a in zip(rows, answers, strict=True) if not math.isnan(row["df"])]
    settings = 2 if final.kind == "line" else len(final.means)
    allowed = levels(
        [row["bakes"] / planned for row, _ in seen], [row["df"] for row, _ in seen],
        [row["units"] for row, _ in seen], settings, alpha,
    )  # fmt: skip
    for (row, answer), p in zip(seen, allowed, strict=True):
        assert answer is not None
        wide = _widened(answer, float(p))
        row |= {"level": 1 - p, "wide_answer": overall(wide)[0].value}
        found = _of_pair(wide, final)
        if found:
            row |= {"wide_low": found["low"], "wide_high": found["high"]}
    return pd.DataFrame(rows, columns=[*_COLUMNS, *_SPANS])


def _numbers(answer: Comparison, final: Comparison) -> dict[str, Any]:
    """The two settings in question at one look, and the answer to the whole question."""
    row = _of_pair(answer.differences, final)
    return {"df": answer.leading.df, **row, "answer": answer.answer.value}


def _of_pair(differences: pd.DataFrame, final: Comparison) -> dict[str, float]:
    """The difference now in question, at this look; empty where it was not there yet."""
    lead = final.leading
    for row in differences.to_dict("records"):
        if {row["level"], row["versus"]} != {lead.level, lead.versus}:
            continue
        sign = 1.0 if row["level"] == lead.level else -1.0
        low, high = sorted((sign * float(row["low"]), sign * float(row["high"])))
        found = {"difference": sign * float(row["difference"]), "low": low, "high": high}
        return {**found, "se": float(row["se"]), "df": float(row["df"])}
    return {}


def _widened(answer: Comparison, p: float) -> pd.DataFrame:
    """All differences with intervals of level 1 − p, and what each then says."""
    wide = answer.differences.copy()
    settings = 2 if answer.kind == "line" else len(answer.means)
    half = [
        critical(1 - p, float(df), settings) * float(se)
        for df, se in zip(wide["df"], wide["se"], strict=True)
    ]
    wide["low"], wide["high"] = wide["difference"] - half, wide["difference"] + half
    ends = wide["low"].to_numpy(), wide["high"].to_numpy()
    wide["answer"] = [each.value for each in decide_each(*ends, answer.matters)]
    return wide
