"""One piece on two photos, turned by a quarter between them: how far from round it is."""

import math
from dataclasses import dataclass

import pandas as pd

from kit.errors import InputError
from kit.photo.arguments import check_kind
from kit.photo.proof_ratio import ALIKE, ratio_of_volumes
from kit.photo.side_view import ROUND, THREE, Side
from kit.photo.value import Value, combined, tidy
from kit.shown import Telling, Told

__all__ = ["TwoViews", "two_views"]

#: hardly a piece is longer one way than the other by more (own guess)
MOST_LONGER = 1.25


@dataclass(frozen=True)
class TwoViews(Told):
    """What two side views of one piece say together.

    Parameters
    ----------
    shape : str
        "ball" or "piece".
    height_mm, diameter_mm, volume_ml : Value
        Worktop to top; across a round piece of as large a face; what it holds.
    longer : Value
        Its wider view over its narrower: 1 where it is round.
    views : (Side, Side)
    checks : tuple of str
        What to bear in mind.
    """

    shape: str
    height_mm: Value
    diameter_mm: Value
    volume_ml: Value
    longer: Value
    views: tuple[Side, Side]
    checks: tuple[str, ...]

    @property
    def headline(self) -> str:
        """The three numbers."""
        return f"{self.height_mm} high, {self.diameter_mm} wide, {self.volume_ml}."

    @property
    def sentence(self) -> str:
        """How far from round it is."""
        one, two = (view.diameter_mm for view in self.views)
        by, u = 100 * (self.longer.value - 1), 100 * self.longer.u
        told = f"It is {one} wide one way and {two} the other, "
        if by < 2 * u:
            told += "alike as far as photos tell: round, unless it is longer cornerwise."
        else:
            told += (
                f"{by:.1f} ± {u:.1f} % longer: either photo alone would have put its volume wrong "
                "by about as much."
            )
        return told

    @property
    def method(self) -> str:
        """For a statistician."""
        return (
            "For the statistician: geometric means of two solids of revolution, as an ellipse's "
            "area goes with the product of its two widths; what the photos err by alike is taken "
            "as wholly alike, and never as cancelling."
        )

    def __repr__(self) -> str:
        return f"<TwoViews {self.shape}: {self.headline.rstrip('.')}>"

    def tells(self) -> Telling:
        """What it says."""
        told = f"{self.sentence} After ± stands the standard uncertainty."
        return Telling(self.headline, (told,), self.checks, self.method)

    def to_frame(self) -> pd.DataFrame:
        """One tidy row a quantity: quantity, value, u, low, high (95 %), unit."""
        return tidy({name: getattr(self, name) for name in THREE})


def two_views(a: Side, b: Side) -> TwoViews:
    """Bring together two side views of one piece that was turned by a quarter between them.

    A piece longer one way looks wide from one side and narrow from the next: of an ellipse the
    product of both widths is its area, to 0.2 % also where neither view lies along it and it is
    6 % longer. Heights are each a little off, one up, one down, where the camera looked down.

    Parameters
    ----------
    a, b : Side
        Of two photos of one piece.

    Returns
    -------
    TwoViews
        Where the two heights differ, each uncertainty is no smaller than that difference says.

    Raises
    ------
    InputError
        Dough in a jar, which is as wide as was said; two shapes; or twice the same photo.
    """
    for name, view in (("a", a), ("b", b)):
        check_kind(name, view, Side, "must be what kit.photo.side gave")
    if a.shape == "jar":
        raise InputError("a", a.shape, "must be a ball or a piece", "A jar's width is known.")
    if a.shape != b.shape:
        rule = f"must be a {a.shape}, as on the other photo"
        raise InputError("what this photo shows", b.shape, rule, "Say the same of both.")
    if a == b:
        rule = "must be of another photo than a"
        raise InputError("b", repr(b), rule, "Turn the piece by a quarter and photograph it again.")
    taller, longer = (_differ(a, b, name) for name in ("height_mm", "diameter_mm"))
    values = {name: _mean(a, b, name) for name in THREE}
    height = values["height_mm"]
    # half of what two readings differ by is their mean's uncertainty as they themselves tell it
    apart = (taller.value - 1) / 2
    more = math.sqrt(max(apart**2 - (height.u / height.value) ** 2, 0.0))
    for name in ("height_mm", "volume_ml"):
        mean = values[name]
        values[name] = combined(mean.value, mean.unit, **mean.parts, apart=more * mean.value)
    told = []
    if taller.value - 1 > 2 * taller.u:
        told.append(
            f"one photo says {a.height_mm} high and the other {b.height_mm}, which is more than "
            "both may err: look whether both show this piece, and whether the outline and the "
            "reference lie right on each"
        )
    if longer.value > MOST_LONGER:
        told.append(
            "hardly a piece is so much longer one way than the other: look whether both photos "
            "show this piece, and whether the outline and the reference lie right on each"
        )
    kept = (check for check in dict.fromkeys((*a.checks, *b.checks)) if check != ROUND)
    return TwoViews(a.shape, **values, longer=longer, views=(a, b), checks=(*told, *kept))


def _mean(a: Side, b: Side, name: str) -> Value:
    """The geometric mean of what both say: what they err by alike does not become less."""
    one, two = getattr(a, name), getattr(b, name)
    mean = math.sqrt(one.value * two.value)
    parts = {}
    for cause in {**a.signed[name], **b.signed[name]}:
        x, y = (view.signed[name].get(cause, 0.0) / v.value for view, v in ((a, one), (b, two)))
        # that what is alike lessens the other is not counted on: a camera held anew is another
        alike = max(2 * ALIKE.get(cause, 1.0) * x * y, 0.0)
        parts[cause] = mean * math.sqrt(x * x + y * y + alike) / 2
    return combined(mean, one.unit, **parts)


def _differ(a: Side, b: Side, name: str) -> Value:
    """How many times the smaller the larger is, both as unsure as two photos can be."""
    low, high = sorted((a, b), key=lambda view: float(getattr(view, name).value))
    return ratio_of_volumes(
        getattr(low, name).value, getattr(high, name).value, low.signed[name], high.signed[name],
        shared=False,
    )  # fmt: skip
