"""What differences a baker's photos tell apart: pieces photographed more than once.

Every photo is set up, taken and measured anew, so the spread between two photos of one piece is
all that measuring adds (repeatability, ISO 5725-1:1994, 3.13): see `kit.analysis.gauge`.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import pandas as pd

from kit import words
from kit.analysis.gauge import FEW, Gauge, gauge
from kit.errors import DataError
from kit.shown import Telling, Told

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["PIECES", "Repeatability", "repeatability"]

#: how many pieces to photograph twice
PIECES = FEW


@dataclass(frozen=True)
class Repeatability(Told):
    """How much measuring from photos adds, quantity by quantity.

    Parameters
    ----------
    gauges : mapping
        Quantity -> `Gauge`.
    pieces : mapping
        Quantity -> how many pieces were photographed more than once.
    checks : tuple of str
    """

    gauges: Mapping[str, Gauge] = field(repr=False)
    pieces: Mapping[str, int]
    checks: tuple[str, ...]

    @property
    def headline(self) -> str:
        """What differences the photos tell apart."""
        told = [
            f"{one.apart(one.repeat)} in {words.name(name)}" for name, one in self.gauges.items()
        ]
        return f"Your photos tell apart differences of about {words.join(told)}."

    @property
    def sentences(self) -> tuple[str, ...]:
        """Share of the spread that is measuring, by quantity."""
        return tuple(
            f"{words.capital(words.name(name))}: measuring is {100 * one.share['share']:.0f} % of "
            f"the spread between these pieces ({100 * one.share['low']:.0f} to "
            f"{100 * one.share['high']:.0f} %; shares are of squares)."
            for name, one in self.gauges.items()
        )

    @property
    def next_step(self) -> str:
        """What to do next."""
        fewest = min(self.pieces.values())
        if fewest < PIECES:
            more = words.plural(PIECES - fewest, "more piece")
            return f"Next: photograph {more} twice, so that this is known better."
        return (
            "Next: a difference smaller than this is not to be seen on one piece; means over "
            "many pieces tell smaller ones apart."
        )

    def __repr__(self) -> str:
        return f"<Repeatability of {words.join(words.name(name) for name in self.gauges)}>"

    def tells(self) -> Telling:
        """What it says."""
        return Telling(self.headline, (*self.sentences, self.next_step), self.checks, self._method)

    @property
    def _method(self) -> str:
        return next(iter(self.gauges.values())).method

    def to_frame(self) -> pd.DataFrame:
        """One row a quantity: sd of a reading, what is told apart, share, with intervals."""
        rows = [
            {
                "quantity": name, "pieces": self.pieces[name],
                "sd": one.repeat["sd"], "sd_low": one.repeat["low"], "sd_high": one.repeat["high"],
                "tells_apart": one.repeat["limit"], "share": one.share["share"],
                "share_low": one.share["low"], "share_high": one.share["high"],
            }
            for name, one in self.gauges.items()
        ]  # fmt: skip
        return pd.DataFrame(rows)

    def plot(self, ax: "Axes | None" = None) -> "Axes":
        """Draw every photo's value of the first quantity, piece by piece."""
        return next(iter(self.gauges.values())).plot(ax)


def repeatability(readings: pd.DataFrame) -> Repeatability:
    """Find out what differences photos tell apart.

    Parameters
    ----------
    readings : DataFrame
        One row a photo and quantity: ``piece``, ``photo``, ``quantity``, ``value``. Pieces with
        one photo are left out.

    Returns
    -------
    Repeatability

    Raises
    ------
    DataError
        Fewer than two pieces were photographed twice.

    Examples
    --------
    >>> twice = pd.DataFrame({"piece": [1, 1, 2, 2, 3, 3, 4, 4, 5, 5], "photo": range(10),
    ...     "quantity": "rise_height_mm",
    ...     "value": [28.1, 28.4, 31.0, 30.7, 29.2, 29.9, 33.1, 32.8, 27.0, 27.1]})
    >>> repeatability(twice).headline
    'Your photos tell apart differences of about 0.77 mm (0.48 to 1.9 mm) in height.'
    """
    gauges: dict[str, Gauge] = {}
    pieces: dict[str, int] = {}
    checks: list[str] = []
    for name, own in readings.dropna(subset="value").groupby("quantity", sort=False):
        again = own[own.groupby("piece")["photo"].transform("nunique") > 1]
        count = again["piece"].nunique()
        if count < 2:
            continue
        column = again.rename(columns={"value": str(name)})
        gauges[str(name)], pieces[str(name)] = gauge(column, str(name)), count
        checks += gauges[str(name)].checks
    if not gauges:
        msg = (
            "no two pieces have been measured on two photos each, so it is not known what your "
            f"photos tell apart. Photograph {PIECES} pieces twice: take the piece and the card "
            "away in between, and measure each photo."
        )
        raise DataError(msg)
    return Repeatability(gauges, pieces, tuple(dict.fromkeys(checks)))
