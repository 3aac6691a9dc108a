"""What of a measuring is kept, and what became of photos that were taken in or accepted."""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from kit import quantities, words
from kit.errors import DataError
from kit.quantities import Checked
from kit.records.journal import Step
from kit.records.photos import store
from kit.records.photos.measured_by import MeasuredBy
from kit.records.photos.store import StoredPhoto
from kit.records.things import Thing
from kit.shown import InLines

if TYPE_CHECKING:
    import pandas as pd

    from kit.photo.proof_series import Series
    from kit.photo.value import Value

__all__ = ["AS_FOUND", "BY_HAND", "NOT_LOOKED_AT", "OF_TWO", "TURNED", "Accepted", "AddedPhotos",
           "against_typed", "keep_series", "mean_of_two", "measured_values", "no_quarter_turns",
           "told_of_photos", "volume_ratios"]  # fmt: skip

#: what a reading's note says of the hand that had a part in it
AS_FOUND, NOT_LOOKED_AT, BY_HAND = "as found", "as found, not looked at", "corrected by hand"
#: and that the piece had been turned since another photo; that the value is the mean of both
TURNED = "turned by a quarter"
OF_TWO = f"two photos {TURNED}"
#: what a photo shows -> the result's value -> the quantity it is kept as
_KEPT_AS = {
    "side": {"height_mm": "rise_height_mm", "diameter_mm": "diameter_mm", "volume_ml": "volume_ml"},
    "rise": {"volume_ml": "dough_volume_ml"},
    "crumb": {"openness": "crumb_openness", "cells_per_cm2": "cells_per_cm2",
              "median_cell_mm2": "median_cell_mm2"},
    "face": {"lightness": "browning_l"},
}  # fmt: skip


@dataclass(frozen=True)
class AddedPhotos(InLines):
    """What became of files that were taken in."""

    new: tuple[StoredPhoto, ...]
    known: int  # how many were there before
    refused: tuple[tuple[str, str], ...]  # name, reason

    @property
    def headline(self) -> str:
        """How many were taken in, and what is missing about them."""
        said = [f"{words.plural(len(self.new), 'photo')} taken in."]
        if self.known:
            said.append(f"{self.known} {'was' if self.known == 1 else 'were'} there before.")
        undated = sum(photo.taken is None for photo in self.new)
        if undated:
            said.append(f"{undated} without a time: say when each was taken.")
        return " ".join(said)

    @property
    def left_out(self) -> tuple[str, ...]:
        """Each file that was refused, with the reason."""
        return tuple(f"{name} is left out: {reason}" for name, reason in self.refused)

    def __str__(self) -> str:
        return "\n".join([self.headline, *self.left_out])


@dataclass(frozen=True)
class Accepted:
    """What was kept of a photo."""

    on: Thing
    values: Mapping[str, Checked]  # quantity -> as stored, with a question where it is unusual
    note: str  # whether a hand corrected it

    @property
    def doubts(self) -> tuple[str, ...]:
        """Questions about what is unusual."""
        return tuple(checked.doubt for checked in self.values.values() if checked.doubt)

    def __str__(self) -> str:
        told = [
            f"{words.name(name)} {quantities.get(name).show(checked.value)}"
            for name, checked in self.values.items()
        ]
        text = f"Kept for {self.on}: {words.join(told)} ({self.note})."
        return " ".join([text, *self.doubts])


def measured_values(result: Any, shows: str) -> dict[str, "Value"]:
    """Return what of a measuring's result is kept, as far as measured: quantity -> value.

    `result` is a Side, Crumb or Browning; `shows` is side, rise, crumb or face.
    """
    found = {}
    for name, quantity in _KEPT_AS[shows].items():
        value = getattr(result, name, None)
        if isinstance(value, tuple):  # of several faces in one photo the first is the thing's
            value = value[0] if value else None
        if value is not None and math.isfinite(value.value):
            found[quantity] = value
    return found


def no_quarter_turns(readings: "pd.DataFrame") -> "pd.DataFrame":
    """Leave out photos of a piece that was turned for them: they are no second measuring."""
    return readings[~readings["note"].fillna("").str.contains(TURNED, regex=False)]


def mean_of_two(readings: "pd.DataFrame", on: Thing | None) -> "pd.DataFrame":
    """Return what counts of a piece and is the mean of two photos; a row a quantity, or none.

    `readings` are as `Trial.readings` gives them.
    """
    last = _counting(readings, on)
    return last[last["note"].fillna("").str.contains(OF_TWO, regex=False)]


def against_typed(
    readings: "pd.DataFrame", on: Thing, values: Mapping[str, "Value"], of_two: bool = False
) -> list[str]:
    """Say which measured values are not what a hand typed before, by more than both may err.

    One sentence a quantity whose value that counts was typed and lies farther off than three
    standard uncertainties, or is the mean of two photos: of one photo alone none is as sure. Of
    two (`of_two`) it may be the new mean. `readings` are as `Trial.readings` gives them.
    """
    own = {str(row.quantity): row for row in _counting(readings, on).itertuples()}
    means = () if of_two else mean_of_two(readings, on)["quantity"].tolist()
    told = []
    for name, now in values.items():
        if name not in own:
            continue
        before: Any = own[name]
        quantity, stated = quantities.get(name), 0.0 if math.isnan(before.u) else before.u
        # what was read to a place may be off by as much
        enough = 3 * math.hypot(now.u, stated, 10.0**-quantity.decimals)
        was = quantity.show(before.value)
        if name in means:
            was = f"kept as {was} of two photos, and this one alone says"
        elif before.how == "entered" and abs(now.value - before.value) > enough:
            was = f"typed as {was}, and the photo says"
        else:
            continue
        shown = f"{words.number(now.value, now.u)} ± {words.number(now.u, now.u, quantity.unit)}"
        told.append(f"{words.name(name)} of {on} was {was} {shown}")
    return told


def _counting(readings: "pd.DataFrame", on: Thing | None) -> "pd.DataFrame":
    """What counts of a thing and is not planned, a row a quantity."""
    own = readings[(readings["id"] == (on and on.id)) & (readings["how"] != "planned")]
    return own.drop_duplicates("quantity", keep="last")


def keep_series(
    step: Step, trial_id: str, photos: Iterable[StoredPhoto], dough: Thing, series: "Series",
    note: str, by: MeasuredBy | None = None,
) -> int:  # fmt: skip
    """Record volume and ratio of a series' photos, those that were measured; return how many.

    A photo without a time has no ratio: which one was the first is not known.

    Raises DataError: none was measured.
    """
    known = {photo.sha256: photo for photo in photos}
    count = 0
    for row in series.measured:
        photo, view, ratio = known.get(row.sha256), row.view, row.ratio
        if photo is None or view is None or ratio is None:
            continue
        store.say(step, trial_id, photo, "rise", dough, by)
        volume = view.volume_ml
        store.record(step, trial_id, photo, dough, "dough_volume_ml", volume.value, volume.u, note)
        if photo.taken is not None:
            store.record(step, trial_id, photo, dough, "dough_ratio", ratio.value, ratio.u, note)
        count += 1
    if not count:
        msg = f"nothing was measured on the photos of {dough}. Take them again."
        raise DataError(msg)
    return count


def volume_ratios(volumes: Iterable[float], u: Iterable[float]) -> list[tuple[float, float | None]]:
    """Return each volume over the first, with its standard uncertainty; in time order, in any unit.

    What the photos have in common (the card's size, the lens) is counted as if it were not, so the
    uncertainty is rather too large. The first is 1 by definition and has none.

    >>> volume_ratios([100.0, 150.0, 200.0], [3.0, 4.5, 6.0])[2]
    (2.0, 0.0848528137423857)
    """
    ratios: list[tuple[float, float | None]] = []
    first: tuple[float, float] | None = None
    for value, own in zip(volumes, u, strict=True):
        if first is None:
            first = value, own
            ratios.append((1.0, None))
            continue
        ratio = value / first[0]
        ratios.append((ratio, ratio * math.hypot(own / value, first[1] / first[0])))
    return ratios


def told_of_photos(readings: "pd.DataFrame", quantity: str) -> str:
    """Say how many of a quantity's values came from photos, how sure they are, and whose eye saw.

    Empty where none did. `readings` is every one, oldest first, as `Trial.readings` gives them.
    """
    last = readings[readings["quantity"] == quantity].drop_duplicates("id", keep="last")
    last = last.dropna(subset="value")
    seen = last[last["how"] == "photo"]
    if seen.empty:
        return ""
    of = words.plural(len(last), str(last["level"].iloc[0]))
    told = [f"{words.capital(words.name(quantity))} was measured on photos for {len(seen)} of {of}"]
    half = 2 * seen["u"].dropna()
    if len(half):
        low, middle, high = half.min(), half.median(), half.max()
        told[0] += f", each give or take about {words.number(middle, middle)}"
        told[0] += f" {words.unit_of(quantity)}".rstrip() + " (95 in 100"
        if high > 1.2 * low:
            told[0] += f"; {words.number(low, middle)} to {words.number(high, middle)}"
        told[0] += ")"
    notes = seen["note"].fillna("")
    for count, what in (
        (int(notes.str.startswith(BY_HAND).sum()), "corrected by hand"),
        (int((notes == NOT_LOOKED_AT).sum()), "taken as found without a look"),
    ):
        if count:
            told.append(f"{count} {'was' if count == 1 else 'were'} {what}")
    return "; ".join(told) + "."
