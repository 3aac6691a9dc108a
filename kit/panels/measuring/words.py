"""What was measured on one photo, what is kept of it, what that stands in place of: in words."""

from collections.abc import Collection
from html import escape
from typing import Any

import pandas as pd

from kit import quantities, words
from kit.panels.parts.blocks import items
from kit.records.photos.measured import BY_HAND, Accepted, measured_values
from kit.us_units import also_us, either

__all__ = ["as_kept", "as_measured", "in_place_of"]


def as_measured(result: Any, scale: Any, shows: str, corrected: Collection[str]) -> str:
    """Say what was measured, how sure it is, and what to bear in mind, as HTML.

    Parameters
    ----------
    result : Side, TwoViews, Crumb or Browning
    scale : Scale
    shows : str
        What the photo shows.
    corrected : collection of str
        What a hand corrected.
    """
    found = measured_values(result, shows)
    lines = [
        f"<li><strong>{escape(words.capital(words.name(name)))}:</strong> "
        f"{escape(_amount(name, v.value, v.u, named=False))}</li>"
        for name, v in found.items()
    ]
    notes = [
        *getattr(scale, "notes", ()), *getattr(result, "checks", ()),
        *getattr(result, "notes", ()),
    ]  # fmt: skip
    told = items((f"{words.capital(note).rstrip('.')}." for note in notes), "kit-small")
    by_hand = f"{words.capital(BY_HAND)}: {', '.join(corrected)}."
    hand = f"<p>{escape(by_hand)}</p>" if corrected else ""
    return (
        f'<div class="kit-answer" role="status"><ul>{"".join(lines)}</ul>{hand}'
        '<p class="kit-small">After ± stands the standard uncertainty: the true value lies '
        "within twice as much in about 95 of 100 photos.</p>"
        f"{told}</div>"
    )


def as_kept(rows: pd.DataFrame, of_two: pd.DataFrame) -> str:
    """Say what is kept of a photo, and what two photos say of its piece, as HTML.

    Parameters
    ----------
    rows : DataFrame
        As `Trial.photo_readings` gives them.
    of_two : DataFrame
        What counts in their place, as `mean_of_two` gives it.
    """
    text = f"Kept of this photo: {_amounts(rows)} ({rows.iloc[-1]['note']})."
    if len(of_two):
        text += f" What counts is the mean of two photos: {_amounts(of_two)}."
    return f"<p>{escape(text)}</p>"


def _amounts(rows: pd.DataFrame) -> str:
    values = zip(rows["quantity"], rows["value"], rows["u"], strict=True)
    return words.join([_amount(name, value, u) for name, value, u in values])


def _amount(name: str, value: float, u: float | None, named: bool = True) -> str:
    """A measured value as precisely as its uncertainty allows, each in the reader's units."""
    unit, u = words.unit_of(name), u or 0.0
    if u == 0:
        text = f"{value:g} {unit}"
    elif either(unit) == unit:
        text = f"{words.number(value, u)} ± {words.number(u, u, unit)}"
    else:  # theirs stands behind each
        text = " ± ".join(words.number(number, u, unit) for number in (value, u))
    return f"{words.name(name) if named else ''} {also_us(text)}".strip()


def in_place_of(rows: pd.DataFrame, kept: Accepted) -> list[str]:
    """Say which values that a hand had typed stand behind those of the photo now.

    Parameters
    ----------
    rows : DataFrame
        As `Trial.readings` gave them before.
    kept : Accepted
    """
    rows = rows[(rows["id"] == kept.on.id) & rows["quantity"].isin(kept.values)]
    before = [own.iloc[-1] for _, own in rows.groupby("quantity", sort=False)]
    typed = [
        f"{words.name(row['quantity'])} {quantities.get(row['quantity']).show(row['value'])}"
        for row in before
        if row["how"] == "entered"
    ]
    return [f"In place of {words.join(typed)}, as typed: Undo brings it back."] if typed else []
