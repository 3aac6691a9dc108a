"""Fresh, active dry and instant yeast: how much of one does the work of another.

No two tables agree, so the factor is a setting, and the published spread stands beside it.

Sources, by mass: fresh to active dry 0.40 and to instant 0.33 (a bread book's factors); 7 g of
either dry yeast for 0.6 to 2/3 oz of fresh, 0.37 to 0.41 (Red Star's conversion table); 0.5 for
active dry (forum practice). For instant to active dry the ends are the maker's one for one and
0.5 / 0.33.
"""

import re
from dataclasses import dataclass, replace

import pandas as pd

from kit.errors import InputError, NotFoundError
from kit.formula.formula import Formula
from kit.formula.numbers import plain, required, span
from kit.shown import InLines

__all__ = ["KINDS", "YeastAmount", "convert_yeast", "kind_of", "swap_yeast"]

#: the kinds there are
KINDS = ("fresh", "active dry", "instant")

_OZ_G = 28.349523125
#: grams of dry yeast for one gram of fresh: Red Star's 7 g for 2/3 oz and for 0.6 oz
_MAKER = (7 / (_OZ_G * 2 / 3), 7 / (_OZ_G * 0.6))
#: (from, to) -> factor: usual, least and greatest published
_PUBLISHED = {
    ("fresh", "active dry"): (0.40, _MAKER[0], 0.50),
    ("fresh", "instant"): (0.33, 0.33, _MAKER[1]),
    ("instant", "active dry"): (0.40 / 0.33, 1.0, 0.50 / 0.33),
}
_TABLES = "a bread book's factors and Red Star's conversion table"
_FORUM = f"{_TABLES}; the most is forum practice"
_SOURCE = {
    ("fresh", "active dry"): _FORUM,
    ("fresh", "instant"): _TABLES,
    ("instant", "active dry"): _FORUM,
}
_OWN = "your own factor"


@dataclass(frozen=True)
class YeastAmount(InLines):
    """An amount of one kind of yeast, and of another that does its work.

    Parameters
    ----------
    amount : float
        Of the kind there was, in g, % or any unit.
    kind, to : str
        Kinds, of `KINDS`.
    factor : float
        By mass.
    equals, low, high : float
        Amount of the other kind, and the published spread of it.
    source : str
        Where the factor stands.
    """

    amount: float
    kind: str
    to: str
    factor: float
    equals: float
    low: float
    high: float
    source: str

    def __str__(self) -> str:
        text = f"For {plain(self.amount)} {self.kind} yeast take {plain(self.equals)} {self.to}"
        if self.low < self.high:
            return f"{text}; published factors give {span(self.low, self.high)} ({self.source})."
        return f"{text} ({self.source})."

    def to_frame(self) -> pd.DataFrame:
        """One row: amount, kind, to, factor, equals, low, high, source."""
        return pd.DataFrame([vars(self)])


def convert_yeast(amount: float, kind: str, to: str, *, factor: float | None = None) -> YeastAmount:
    """Say how much of one kind of yeast does the work of another.

    Parameters
    ----------
    amount : float
        Of `kind`; grams give grams, per cent give per cent.
    kind, to : {"fresh", "active dry", "instant"}
        What there is, and what is wanted.
    factor : float, optional
        Grams of `to` for one gram of `kind`. Your own beats any table.

    Raises
    ------
    InputError, NotFoundError
        A kind that is none, an amount below 0, a factor that is not above 0.

    Examples
    --------
    >>> print(convert_yeast(10, "fresh", "instant"))
    For 10 fresh yeast take 3.3 instant; published factors give 3.3 to 4.12 (a bread book's \
factors and Red Star's conversion table).
    >>> convert_yeast(10, "fresh", "active dry", factor=0.45).equals
    4.5
    """
    for one in (kind, to):
        if one not in KINDS:
            raise NotFoundError("kind of yeast", str(one), KINDS)
    had = required("yeast", amount, low=0, remedy="Enter its weight, or its % of the flour.")
    if factor is not None:
        own = required(
            "factor", factor, above=0, high=20, remedy="It is about 0.33 from fresh to instant."
        )
        return YeastAmount(had, kind, to, own, had * own, had * own, had * own, _OWN)
    if kind == to:
        return YeastAmount(had, kind, to, 1.0, had, had, had, "the same yeast")
    if (kind, to) in _PUBLISHED:
        usual, low, high = _PUBLISHED[kind, to]
        source = _SOURCE[kind, to]
    else:
        back, least, most = _PUBLISHED[to, kind]
        usual, low, high = 1 / back, 1 / most, 1 / least
        source = _SOURCE[to, kind].replace("the most", "the least")
    return YeastAmount(had, kind, to, usual, had * usual, had * low, had * high, source)


def kind_of(name: str) -> str | None:
    """Kind of yeast that an ingredient's name says, None where it does not.

    Examples
    --------
    >>> kind_of("instant dry yeast"), kind_of("compressed yeast"), kind_of("yeast")
    ('instant', 'fresh', None)
    """
    low = name.lower()
    if re.search(r"\b(fresh|compressed|cake)\b", low):
        return "fresh"
    if re.search(r"\b(instant|rapid|quick|fast|idy)\b", low):
        return "instant"
    return "active dry" if re.search(r"\b(active|dry|dried|ady)\b", low) else None


def swap_yeast(
    formula: Formula, to: str, *, kind: str | None = None, factor: float | None = None
) -> Formula:
    """Return the formula with its yeast replaced by another kind.

    Parameters
    ----------
    formula : Formula
        With one ingredient of the role yeast.
    to : {"fresh", "active dry", "instant"}
    kind : str, optional
        What it is now, where its name does not say.
    factor : float, optional
        As in `convert_yeast`.

    Raises
    ------
    InputError, NotFoundError
        Not one yeast, its percentage open, or a kind not known.
    """
    lines = formula.of_role("yeast")
    if len(lines) != 1 or lines[0].percent is None:
        rule = "must be one ingredient with a percentage"
        remedy = "Only one yeast can be swapped for another."
        raise InputError("yeast", ", ".join(one.name for one in lines) or None, rule, remedy)
    old = lines[0]
    known = kind or kind_of(old.name)
    if known is None:
        remedy = "Give kind: 'fresh', 'active dry' or 'instant'."
        raise InputError("yeast", old.name, "does not say its kind", remedy)
    amount = convert_yeast(lines[0].percent, known, to, factor=factor)
    name = {"fresh": "fresh yeast", "active dry": "active dry yeast", "instant": "instant yeast"}
    new = replace(old, name=name[to], percent=amount.equals)
    return replace(
        formula, ingredients=tuple(new if one is old else one for one in formula.ingredients)
    )
