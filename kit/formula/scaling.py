"""From a formula to weights: for so many pieces, from what is there, to a total; and dough divided.

The dough for N baked pieces is N × piece / ((1 − dough loss) (1 − bake loss)): plain arithmetic,
as in Gisslen, *Professional Baking*. What a bake loss is a share of stands in `kit.formula.losses`.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from html import escape

import pandas as pd

from kit.errors import InputError
from kit.formula.check import Doubt, bake_loss_doubts, doubts
from kit.formula.formula import Formula
from kit.formula.losses import NORMAL_LOSS, Basis, bake_loss_percent, rebase_loss
from kit.formula.numbers import grams, plain, required, whole
from kit.formula.rounding import round_down
from kit.shown import InLines
from kit.words import capital, join

__all__ = ["Batch", "Division", "divide", "scale"]


@dataclass(frozen=True)
class Batch:
    """A formula in grams.

    Parameters
    ----------
    flour_g : float
        All flours together.
    asked : str
        What it was scaled to, in words.
    pieces : int or None
        How many, where pieces were asked for.
    raw_piece_g, baked_piece_g : float or None
        Weight of one before and after baking, where known.
    dough_loss_percent : float
        Of the dough; what stays on bowl and hands.
    left_over : mapping
        What remains of a stock, in grams, where it was scaled to one.
    """

    formula: Formula
    flour_g: float
    asked: str
    pieces: int | None = None
    raw_piece_g: float | None = None
    baked_piece_g: float | None = None
    dough_loss_percent: float = 0.0
    left_over: Mapping[str, float] | None = None

    @property
    def dough_g(self) -> float:
        """All that goes into the bowl."""
        return self.flour_g * self.formula.total_percent / 100

    @property
    def weights_g(self) -> dict[str, float]:
        """Grams of each ingredient, exact; an open one is NaN."""
        return {
            one.name: math.nan if one.percent is None else self.flour_g * one.percent / 100
            for one in self.formula.ingredients
        }

    @property
    def bake_loss_percent(self) -> float | None:
        """Bake loss reckoned with, of the raw piece; None where none was given."""
        if self.raw_piece_g is None or self.baked_piece_g is None:
            return None
        return bake_loss_percent(self.raw_piece_g, self.baked_piece_g)

    @property
    def checks(self) -> tuple[Doubt, ...]:
        """What is unusual about formula and bake loss, each with its source."""
        loss = self.bake_loss_percent
        return (*doubts(self.formula), *(() if loss is None else bake_loss_doubts(loss)))

    def __repr__(self) -> str:
        return (
            f"<Batch {self.formula.name}: {grams(self.flour_g)} flour, {grams(self.dough_g)} dough>"
        )

    def __str__(self) -> str:
        shown = {n: "open" if math.isnan(g) else grams(g) for n, g in self.weights_g.items()}
        width = max(map(len, shown.values())) + 2
        rows = [f"{text:>{width}}  {name}" for name, text in shown.items()]
        return "\n".join([f"{self.formula.name}, {self.asked}", *rows, self.summary])

    @property
    def summary(self) -> str:
        """What comes of it, in a sentence or two."""
        return f"{grams(self.dough_g)} of dough. {self.outcome}".strip()

    @property
    def outcome(self) -> str:
        """Pieces, losses, what is open and what is left over, in words; may be empty."""
        parts = []
        if self.pieces is not None and self.raw_piece_g is not None:
            parts.append(f"{self.pieces} raw pieces of {grams(self.raw_piece_g)}")
        if self.baked_piece_g is not None:
            parts.append(f"{grams(self.baked_piece_g)} each when baked")
        text = capital("; ".join(parts)) + "." if parts else ""
        if self.dough_loss_percent:
            text += (
                f" {plain(self.dough_loss_percent)} % of the dough is allowed for bowl and hands."
            )
        if self.formula.open:
            names = join(one.short for one in self.formula.open)
            text += f" Still to be set, and not counted: {names}."
        rest = {n: g for n, g in (self.left_over or {}).items() if g > 1e-9}
        if rest:
            text += f" Left over: {join(f'{grams(g)} {n}' for n, g in rest.items())}."
        return text.strip()

    def _repr_html_(self) -> str:
        rows = "".join(
            f"<tr><td>{escape(n)}</td><td>{'open' if math.isnan(g) else grams(g)}</td></tr>"
            for n, g in self.weights_g.items()
        )
        return (
            f"<table><caption>{escape(self.formula.name)}, {escape(self.asked)}</caption>"
            f"<tbody>{rows}</tbody></table><p>{escape(self.summary)}</p>"
        )

    def to_frame(self) -> pd.DataFrame:
        """One row an ingredient: name, role, percent, weight_g."""
        frame = self.formula.to_frame()[["name", "role", "percent"]]
        return frame.assign(weight_g=list(self.weights_g.values()))


def scale(
    formula: Formula,
    *,
    flour_g: float | None = None,
    dough_g: float | None = None,
    pieces: int | None = None,
    raw_piece_g: float | None = None,
    baked_piece_g: float | None = None,
    have_g: Mapping[str, float] | None = None,
    dough_loss_percent: float = 0.0,
    bake_loss_percent: float | None = None,
    bake_loss_of: Basis = "dough",
) -> Batch:
    """Turn a formula into weights.

    Parameters
    ----------
    flour_g : float
        All flours together.
    dough_g : float
        The whole dough, all that goes into the bowl.
    pieces : int
        How many, of `raw_piece_g` or of `baked_piece_g`.
    raw_piece_g, baked_piece_g : float
        Weight of one piece when shaped, or when baked. A baked weight needs the bake loss.
    have_g : mapping
        What there is: ingredient → grams. The one that runs out first sets the size.
    dough_loss_percent : float
        Of the dough, for pieces: what stays on bowl and hands.
    bake_loss_percent : float
        Lost between shaping and rack.
    bake_loss_of : {"dough", "baked"}
        What the bake loss is a share of.

    Raises
    ------
    InputError
        Not exactly one of `flour_g`, `dough_g`, `pieces` and `have_g`, or a value that cannot be.
    NotFoundError
        `have_g` names something that is not in the formula.

    Examples
    --------
    >>> plain_dough = Formula.from_lines("Dough", [
    ...     ("flour", "flour", 100), ("water", "liquid", 60), ("salt", "salt", 2)])
    >>> batch = scale(plain_dough, pieces=12, baked_piece_g=60, dough_loss_percent=2,
    ...               bake_loss_percent=11)
    >>> round(batch.raw_piece_g, 2), round(batch.dough_g, 1)
    (67.42, 825.5)
    >>> scale(plain_dough, have_g={"flour": 740, "water": 400})
    <Batch Dough: 666.7 g flour, 1080 g dough>
    """
    ways = {"flour_g": flour_g, "dough_g": dough_g, "pieces": pieces, "have_g": have_g}
    given = [name for name, value in ways.items() if value is not None]
    if len(given) != 1:
        remedy = "Give flour_g, dough_g, have_g, or pieces with raw_piece_g or baked_piece_g."
        raise InputError("size", join(given) or None, "must be given in exactly one way", remedy)
    total = formula.total_percent / 100
    if flour_g is not None:
        flour = required("flour_g", flour_g, above=0, remedy=_GRAMS)
        return Batch(formula, flour, f"{grams(flour)} of flour")
    if dough_g is not None:
        dough = required("dough_g", dough_g, above=0, remedy=_GRAMS)
        return Batch(formula, dough / total, f"{grams(dough)} of dough")
    if have_g is not None:
        return _from_stock(formula, have_g)
    loss = required("dough_loss_percent", dough_loss_percent, low=0, high=50, remedy=_LOSS)
    count = whole("pieces", pieces, remedy="Write 1, 2, 3 …")
    raw, baked = _piece(raw_piece_g, baked_piece_g, bake_loss_percent, bake_loss_of)
    of = f"{grams(baked)}, baked" if raw_piece_g is None and baked else f"{grams(raw)}, raw"
    flour = count * raw / (1 - loss / 100) / total
    return Batch(formula, flour, f"{count} × {of}", count, raw, baked, loss)


def _piece(
    raw_g: float | None, baked_g: float | None, loss: float | None, of: Basis
) -> tuple[float, float | None]:
    """Raw and baked weight of one piece; baked is None where no loss is known."""
    if (raw_g is None) == (baked_g is None):
        raise InputError(
            "piece",
            None if raw_g is None else (raw_g, baked_g),
            "must be given in exactly one way",
            "Give raw_piece_g, the weight when shaped, or baked_piece_g, the weight on the plate.",
        )
    share = None if loss is None else rebase_loss(loss, of, "dough") / 100
    if raw_g is not None:
        raw = required("raw_piece_g", raw_g, above=0, remedy=_GRAMS)
        return raw, None if share is None else raw * (1 - share)
    baked = required("baked_piece_g", baked_g, above=0, remedy=_GRAMS)
    if share is None:
        rule = "must not be empty when a baked weight is wanted"
        remedy = f"{NORMAL_LOSS}; weigh a few pieces before and after to know your own."
        raise InputError("bake_loss_percent", None, rule, remedy)
    return baked / (1 - share), baked


def _from_stock(formula: Formula, have_g: Mapping[str, float]) -> Batch:
    stock = {
        name: required("have_g", g, above=0, remedy=_GRAMS, where=name)
        for name, g in have_g.items()
    }
    needed = {name: formula[name].percent for name in stock}
    flours = {
        name: 100 * stock[name] / share
        for name, share in needed.items()
        if share is not None and share > 0
    }
    if not flours:
        raise InputError(
            "have_g", ", ".join(stock) or None, "sets no size", "Name an ingredient that is used."
        )
    limit = min(flours, key=flours.__getitem__)
    flour = flours[limit]
    left = {name: g - flour * (needed[name] or 0.0) / 100 for name, g in stock.items()}
    left[limit] = 0.0
    asked = f"as far as {grams(stock[limit])} of {limit} goes"
    return Batch(formula, flour, asked, left_over=left)


_GRAMS = "Enter a weight in grams."
_LOSS = "It is what stays on bowl and hands, mostly 1 to 3 %."


@dataclass(frozen=True)
class Division(InLines):
    """A dough cut into equal pieces.

    Parameters
    ----------
    dough_g : float
        What there was.
    raw_piece_g : float
        Weight of one, as the scale can show it.
    over_g : float
        What remains.
    """

    dough_g: float
    pieces: int
    raw_piece_g: float
    over_g: float

    def __str__(self) -> str:
        over = f" with {grams(self.over_g)} over" if self.over_g > 1e-9 else ", nothing over"
        pieces = "1 piece" if self.pieces == 1 else f"{self.pieces} pieces"
        return f"{grams(self.dough_g)} of dough gives {pieces} of {grams(self.raw_piece_g)}{over}."

    def to_frame(self) -> pd.DataFrame:
        """One row: dough_g, pieces, raw_piece_g, over_g."""
        return pd.DataFrame([vars(self)])


def divide(
    dough_g: float,
    *,
    pieces: int | None = None,
    raw_piece_g: float | None = None,
    scale_step_g: float = 1.0,
) -> Division:
    """Cut a dough into a number of pieces, or into pieces of a weight.

    Parameters
    ----------
    dough_g : float
        What is there.
    pieces : int
        How many are wanted; they come as heavy as the scale can show and the dough allows.
    raw_piece_g : float
        Or how heavy one is to be.
    scale_step_g : float
        Smallest step of the scale.

    Raises
    ------
    InputError
        Not exactly one of `pieces` and `raw_piece_g`; too little dough for one.

    Examples
    --------
    >>> print(divide(1051, pieces=12))
    1051 g of dough gives 12 pieces of 87 g with 7 g over.
    >>> print(divide(1051, raw_piece_g=76))
    1051 g of dough gives 13 pieces of 76 g with 63 g over.
    """
    dough = required("dough_g", dough_g, above=0, remedy=_GRAMS)
    if (pieces is None) == (raw_piece_g is None):
        rule = "must be given in exactly one way"
        remedy = "Give pieces, how many, or raw_piece_g, how heavy."
        raise InputError("piece", None if pieces is None else (pieces, raw_piece_g), rule, remedy)
    if pieces is not None:
        count = whole("pieces", pieces, remedy="Write 1, 2, 3 …")
        each = round_down(dough / count, scale_step_g)
        if each <= 0:
            rule = f"{grams(dough)} of dough does not give so many"
            remedy = f"On this scale it gives at most {math.floor(dough / scale_step_g)}."
            raise InputError("pieces", count, rule, remedy)
    else:
        each = required("raw_piece_g", raw_piece_g, above=0, remedy=_GRAMS)
        count = int(round_down(dough / each, 1.0))
        if count < 1:
            rule = f"must be at most {grams(dough)}, all the dough there is"
            raise InputError("raw_piece_g", each, rule, "Make more dough, or smaller pieces.")
    return Division(dough, count, each, max(0.0, round(dough - count * each, 9)))
