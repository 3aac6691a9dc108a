"""Hidden duplicates: how well a taster agrees with herself when she gets the same muffin twice."""

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from kit import words
from kit.analysis.tasting.read import marks_of
from kit.errors import DataError
from kit.shown import Telling, Told, percent

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["Consistency", "consistency"]

#: Orders of a taster's own marks: a chance is then within 0.01.
_ORDERS = 10_000


@dataclass(frozen=True)
class Consistency(Told):
    """How far apart one taster's marks of the same muffin lie, and of different ones.

    Parameters
    ----------
    table : DataFrame
        ``taster, same, different, duplicates, luck``: mean distance between marks of the same
        sample, and between marks of different ones; share of the orders of a taster's own marks in
        which `same` is the smaller one (0 where all marks are alike).
    checks : tuple of str
    """

    table: pd.DataFrame
    checks: tuple[str, ...]

    @property
    def all_alike(self) -> tuple[str, ...]:
        """Tasters who marked every muffin alike."""
        return self._who(self.table[["same", "different"]].max(axis=1) == 0)

    @property
    def unsteady(self) -> tuple[str, ...]:
        """Other tasters whose marks of one muffin lie as far apart as of different ones."""
        apart = self.table[["same", "different"]].max(axis=1) > 0
        return self._who(apart & (self.table["same"] >= self.table["different"]))

    @property
    def luck(self) -> float:
        """Chance that nobody comes out unsteady, were each taster's own marks shuffled.

        Of those who did not mark all alike; NaN without any.
        """
        known = self.table["luck"].to_numpy()
        return float(known[known > 0].prod()) if known.any() else math.nan

    def _who(self, chosen: pd.Series) -> tuple[str, ...]:
        return tuple(map(str, self.table.loc[chosen, "taster"]))

    @property
    def headline(self) -> str:
        """The answer in a few words."""
        same, different = self.table["same"].mean(), self.table["different"].mean()
        return (
            f"The same muffin, tasted twice, was marked {same:.1f} apart on average; different "
            f"muffins {different:.1f} apart."
        )

    @property
    def sentence(self) -> str:
        """Who did not keep them apart."""
        told = []
        if self.unsteady:
            one = len(self.unsteady) == 1
            told.append(
                f"{words.join(self.unsteady)} {'marks' if one else 'mark'} the same muffin as far "
                "apart as different ones: the muffins may be as good as alike to "
                f"{'this taster' if one else 'them'}, or such marks say little; so few duplicates "
                "cannot tell which, and leaving tasters out for it after the tasting would be "
                "picking."
            )
        elif len(self.all_alike) < len(self.table):
            told.append(
                f"Every {'other ' if self.all_alike else ''}taster marked the same muffin less far "
                "apart than different ones; with their marks dealt out by luck, "
                f"{percent(self.luck)} of such tastings come out so."
            )
        if self.all_alike:
            who = words.join(self.all_alike)
            told.insert(0, f"{who} marked all muffins alike, which says nothing.")
        return " ".join(told)

    def __repr__(self) -> str:
        return f"<Consistency of {len(self.table)} tasters, {len(self.unsteady)} unsteady>"

    def tells(self) -> Telling:
        """What it says."""
        return Telling(self.headline, (self.sentence,), self.checks)

    def to_frame(self) -> pd.DataFrame:
        """One row a taster: ``taster, same, different, duplicates, luck``."""
        return self.table.copy()

    def plot(self, ax: "Axes | None" = None) -> "Axes":
        """Draw both distances, one row a taster."""
        from kit import charts

        return charts.same_and_different(self, ax)


def consistency(frame: pd.DataFrame, mark: str = "score") -> Consistency:
    """Compare a taster's marks of hidden duplicates with her marks of different muffins.

    Parameters
    ----------
    frame : DataFrame
        One row a mark of a ``taster`` for a ``sample``; one had twice stands in two rows.
    mark : str
        Column of the marks.

    Raises
    ------
    DataError, NotFoundError, InputError
        Nobody had a sample twice beside another one, a column that is not there, a mark that is
        no number.

    Examples
    --------
    >>> marks = pd.DataFrame({"taster": list("IIIJJJ"), "sample": list("AAB" * 2),
    ...                       "score": [6, 7, 3, 2, 8, 5]})
    >>> consistency(marks).unsteady
    ('J',)
    """
    rng, rows = np.random.default_rng(1), []
    for name, own in marks_of(frame, mark).groupby("taster", sort=False):
        sample, marks = own["sample"].to_numpy(), own[mark].to_numpy()
        i, j = np.triu_indices(len(own), 1)
        again = sample[i] == sample[j]
        if again.any() and not again.all():
            apart = np.abs(marks[i] - marks[j])
            same, different = (float(apart[of].mean().round(9)) for of in (again, ~again))
            # the order found is counted in, so that the chance is never none
            orders = np.tile(marks, (_ORDERS, 1))
            orders[1:] = rng.permuted(orders[1:], axis=1)
            dealt = np.abs(orders[:, i[again]] - orders[:, j[again]]).mean(axis=1)
            # the smaller of the two is below the mean of all pairs, which no order changes
            luck = float((dealt < apart.mean() - 1e-9).mean())
            rows.append((name, same, different, int(again.sum()), luck))
    if not rows:
        msg = "nobody had a sample twice beside another one: serve a hidden duplicate next time."
        raise DataError(msg)
    made = pd.DataFrame(rows, columns=["taster", "same", "different", "duplicates", "luck"])
    checks = []
    if made["duplicates"].max() == 1:
        checks.append("one duplicate a taster is a hint, not a verdict on anybody")
    return Consistency(made, tuple(checks))
