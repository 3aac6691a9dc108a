"""Hidden duplicates: how well a taster agrees with herself when she gets the same muffin twice."""

from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from kit.analysis import words
from kit.analysis.tasting.read import marks_of
from kit.errors import DataError
from kit.shown import Telling, Told

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["Consistency", "consistency"]


@dataclass(frozen=True)
class Consistency(Told):
    """How far apart one taster's marks of the same muffin lie, and of different ones.

    Parameters
    ----------
    table : DataFrame
        ``taster, same, different, duplicates``: mean distance between marks of the same sample,
        and between marks of different ones.
    checks : tuple of str
    """

    table: pd.DataFrame
    checks: tuple[str, ...]

    @property
    def unsteady(self) -> tuple[str, ...]:
        """Tasters whose marks of one muffin lie as far apart as of different ones."""
        off = self.table["same"] >= self.table["different"]
        return tuple(str(name) for name in self.table.loc[off & (self.table["same"] > 0), "taster"])

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
        if not self.unsteady:
            return "Every taster kept apart what is different more than what is the same."
        one = len(self.unsteady) == 1
        return (
            f"{words.join(self.unsteady)} {'marks' if one else 'mark'} the same muffin as far "
            "apart as different ones: the muffins may be as good as alike to "
            f"{'this taster' if one else 'them'}, or such marks say little; so few duplicates "
            "cannot tell which, and leaving tasters out for it after the tasting would be picking."
        )

    def __repr__(self) -> str:
        return f"<Consistency of {len(self.table)} tasters, {len(self.unsteady)} unsteady>"

    def tells(self) -> Telling:
        """What it says."""
        return Telling(self.headline, (self.sentence,), self.checks)

    def to_frame(self) -> pd.DataFrame:
        """One row a taster: ``taster, same, different, duplicates``."""
        return self.table.copy()

    def plot(self, ax: "Axes | None" = None) -> "Axes":
        """Draw both distances, one row a taster."""
        from kit.analysis.tasting.pictures import steadiness

        return steadiness(self, ax)


def consistency(
    frame: pd.DataFrame, taster: str = "taster", sample: str = "sample", mark: str = "score"
) -> Consistency:
    """Compare a taster's marks of hidden duplicates with her marks of different muffins.

    Parameters
    ----------
    frame : DataFrame
        One row a mark; a sample that a taster had twice stands in two rows.
    taster, sample, mark : str
        Columns.

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
    rows = []
    for name, own in marks_of(frame, taster, sample, mark).groupby(taster, sort=False):
        same: list[float] = []
        different: list[float] = []
        for (a, x), (b, y) in combinations(zip(own[sample], own[mark], strict=True), 2):
            (same if a == b else different).append(abs(x - y))
        if same and different:
            rows.append((name, float(np.mean(same)), float(np.mean(different)), len(same)))
    if not rows:
        msg = "nobody had a sample twice beside another one: serve a hidden duplicate next time."
        raise DataError(msg)
    made = pd.DataFrame(rows, columns=["taster", "same", "different", "duplicates"])
    checks = []
    if made["duplicates"].max() == 1:
        checks.append("one duplicate a taster is a hint, not a verdict on anybody")
    return Consistency(made, tuple(checks))
