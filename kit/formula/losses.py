"""Bake loss and what it is a share of.

A bake loss belongs to a basis: 50 g lost for every 500 g baked is 10 % of the baked weight, but 9.1
% of the dough (Gisslen, *Professional Baking*, gives the one and calls it the other). So the basis
is always stated.
"""

from typing import Literal, get_args

from kit.errors import InputError
from kit.formula.numbers import required

__all__ = ["NORMAL_LOSS", "Basis", "bake_loss_percent", "rebase_loss"]

Basis = Literal["dough", "baked"]
NORMAL_LOSS = "Mostly 9.8 to 11.5 % of the raw piece is lost (bakers' dictionary, Baking Business)"


def bake_loss_percent(raw_g: float, baked_g: float, of: Basis = "dough") -> float:
    """Weight lost from raw to baked, as a share of one of the two.

    Parameters
    ----------
    raw_g, baked_g : float
        One piece, or all of them.
    of : {"dough", "baked"}
        The basis.

    Returns
    -------
    float
        Per cent.

    Raises
    ------
    InputError
        A weight that is not above 0, or a basis that is none.

    Examples
    --------
    >>> bake_loss_percent(550, 500, of="baked"), round(bake_loss_percent(550, 500), 2)
    (10.0, 9.09)
    """
    required("raw_g", raw_g, above=0, remedy="Enter a weight in grams.")
    required("baked_g", baked_g, above=0, remedy="Enter a weight in grams.")
    return 100 * (raw_g - baked_g) / (raw_g if _basis(of) == "dough" else baked_g)


def rebase_loss(percent: float, of: Basis, to: Basis) -> float:
    """State a bake loss on the other basis.

    Parameters
    ----------
    percent : float
        Bake loss, as a share of `of`.
    of, to : {"dough", "baked"}
        Basis it has, and basis wanted.

    Returns
    -------
    float
        Per cent of `to`.

    Examples
    --------
    >>> round(rebase_loss(10, "baked", "dough"), 2), round(rebase_loss(13, "baked", "dough"), 2)
    (9.09, 11.5)
    """
    if _basis(of) == "dough":
        required("bake_loss_percent", percent, low=0, high=99.9, remedy=NORMAL_LOSS + ".")
        return percent if _basis(to) == "dough" else 100 * percent / (100 - percent)
    required("bake_loss_percent", percent, low=0, high=99900, remedy=NORMAL_LOSS + ".")
    return percent if _basis(to) == "baked" else 100 * percent / (100 + percent)


def _basis(of: Basis) -> Basis:
    if of not in get_args(Basis):
        remedy = "Say what the loss is a share of: the dough's weight or the baked weight."
        raise InputError("bake_loss_of", of, "must be 'dough' or 'baked'", remedy)
    return of
