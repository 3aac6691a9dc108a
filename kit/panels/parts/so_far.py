"""What doughs came to, shown beside the reason why they cannot answer yet."""

from collections.abc import Collection
from html import escape

import pandas as pd

from kit import charts, quantities, words
from kit.analysis.answer.fitting import dough_means
from kit.analysis.grouping.meant import as_meant
from kit.errors import DesignError, KitError
from kit.panels.parts.blocks import picture, show
from kit.workspace import Trial
from kit.writeup.blocks import Table

__all__ = ["beside_refusal"]

#: more doughs than this are told in a table
_MOST_IN_WORDS = 6
_NO_INTERVAL = (
    "There is no interval, because nothing tells yet how far two doughs of one setting lie apart."
)
_AGAIN = (
    "Next: bake the same settings again on another day, and do that at least twice. Before that "
    "nothing can be told apart."
)


def beside_refusal(
    trial: Trial, outcome: str | None, by: str | None, why: KitError,
    leave_out: Collection[str] = (),
) -> str:  # fmt: skip
    """Return as HTML the dough means, their picture and what to bake next; empty if out of place.

    Parameters
    ----------
    trial : Trial
    outcome, by : str or None
        What was asked for; the trial's own when None.
    why : KitError
        Only where the bakes as made cannot answer is there more to show than the reason.
    leave_out : collection of str
        Events whose pieces were left out.
    """
    outcome, by = outcome or trial.outcome, by or next(iter(trial.factors), None)
    if not isinstance(why, DesignError) or outcome is None or by is None:
        return ""
    frame, _ = as_meant(trial.frame(), trial.factors)
    happened = frame["events"].fillna("").str.split("; ")
    points = _points(frame[~happened.map(set(leave_out).intersection).astype(bool)], outcome, by)
    if points.empty:
        return ""
    told = _means(points, outcome, by)
    title = f"{words.capital(words.name(outcome))} by {words.name(by)}, so far"
    chart = charts.svg(charts.so_far(points, outcome, by), title, f"Chart. {told}")
    return (
        f'<section class="kit-answer"><p>{escape(_AGAIN)}</p>'
        f"<p>{escape(told)} That is what these doughs came to; it does not say what the setting "
        "did, because a dough differs from the next by itself.</p>"
        f"{picture(chart, title, _NO_INTERVAL)}{_table(points, outcome, by)}</section>"
    )


def _points(frame: pd.DataFrame, outcome: str, by: str) -> pd.DataFrame:
    """Pieces with both values: ``bake, dough, level, value``."""
    if outcome not in frame or by not in frame:
        return pd.DataFrame()
    rows = frame[["bake", "dough", by, outcome]].dropna(subset=[by, outcome])
    return rows.set_axis(["bake", "dough", "level", "value"], axis=1)


def _doughs(points: pd.DataFrame) -> list[tuple[object, str, str, int, float]]:
    """Setting, bake, dough, number of pieces and their mean, a dough and setting at a time."""
    found = dough_means(points).sort_values(["level", "bake", "dough"])
    rows = found[["level", "bake", "dough", "pieces", "value"]]
    return [tuple(row) for row in rows.to_numpy(dtype=object)]


def _shown(outcome: str, value: float) -> str:
    try:
        return quantities.get(outcome).show(value)
    except LookupError:
        return f"{value:.3g}"


def _means(points: pd.DataFrame, outcome: str, by: str) -> str:
    doughs = _doughs(points)
    if len(doughs) > _MOST_IN_WORDS:
        return f"So far {words.name(outcome)} was measured for {len(doughs)} doughs."
    parts = [
        f"{_shown(outcome, mean)} with {words.setting(by, level)} (dough {dough}, "
        f"{words.plural(pieces, 'piece')})"
        for level, _, dough, pieces, mean in doughs
    ]
    return f"So far mean {words.name(outcome)} came to {words.join(parts)}."


def _table(points: pd.DataFrame, outcome: str, by: str) -> str:
    rows = tuple(
        (words.amount(by, level), str(bake), str(dough), str(pieces), _shown(outcome, mean))
        for level, bake, dough, pieces, mean in _doughs(points)
    )
    head = (words.capital(words.name(by)), "Bake", "Dough", "Pieces", "Mean")
    return show([Table("Means of the doughs", head, rows, (False, False, False, True, True))])
