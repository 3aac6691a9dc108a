"""Who gets which muffin when, under which code, so that neither order nor name can sway a taster.

Orders of several muffins are Williams's (1949, Aust J Sci Res A 2:149): every muffin stands in
every place equally often, and comes right after every other one equally often, so that what the
one before leaves on the tongue falls on all alike. It takes as many tasters as samples, or twice
as many where their number is odd, to come out even. Triangles take the six orders, duo-trios the
four and pairs the two that there are.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import permutations
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from kit import words
from kit.analysis.moments import Integers
from kit.errors import DataError, InputError, NotFoundError
from kit.given import as_number, as_whole
from kit.shown import Telling, Told

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["METHODS", "REFERENCE", "Serving", "codes_for", "serve", "williams"]

#: Stands in place of a code on the reference of a duo-trio.
REFERENCE = "R"
#: Kind of tasting -> most muffins on one plate that a tongue bears (common practice, no source).
METHODS = {"triangle": 3, "duo-trio": 3, "pair": 2, "ranking": 6, "scores": 6}

#: Orders on the plate: 0 and 1 are the two muffins compared.
_ORDERS: dict[str, tuple[tuple[int, ...], ...]] = {
    "triangle": ((0, 0, 1), (0, 1, 0), (1, 0, 0), (1, 1, 0), (1, 0, 1), (0, 1, 1)),
    "duo-trio": ((0, 0, 1), (0, 1, 0), (1, 0, 1), (1, 1, 0)),  # the first is the reference
    "pair": ((0, 1), (1, 0)),
}


@dataclass(frozen=True)
class Serving(Told):
    """A blind serving.

    Parameters
    ----------
    samples : tuple of str
        What is compared. The key to the codes: not for tasters.
    table : DataFrame
        One row a muffin on a plate: ``taster, set, position, code, sample``. `set` counts a
        taster's plates from 1. A hidden duplicate is a second row of the same sample.
    duplicate : str or None
        The sample that every taster gets twice.
    """

    method: str
    samples: tuple[str, ...]
    table: pd.DataFrame
    duplicate: str | None
    seed: int
    checks: tuple[str, ...]

    @property
    def tasters(self) -> tuple[str, ...]:
        """Who tastes."""
        return tuple(dict.fromkeys(self.table["taster"]))

    @property
    def headline(self) -> str:
        """How many plates, without giving anything away."""
        plates = self.table.groupby(["taster", "set"]).ngroups
        each = len(self.table) // plates
        return (
            f"{words.plural(plates, 'plate')} of {words.plural(each, 'muffin')} for "
            f"{words.plural(len(self.tasters), 'taster')}."
        )

    def plates(self) -> pd.DataFrame:
        """Return what a taster may see: ``taster, set, position, code``."""
        return self.table[["taster", "set", "position", "code"]].copy()

    def right(self, taster: str, plate: int = 1) -> str:
        """Return the code that is right in a triangle or duo-trio."""
        rows = self.table[(self.table["taster"] == taster) & (self.table["set"] == plate)]
        if self.method == "duo-trio":
            told = rows[rows["code"] == REFERENCE]["sample"].iloc[0]
            rest = rows[rows["code"] != REFERENCE]
            return str(rest[rest["sample"] == told]["code"].iloc[0])
        if self.method != "triangle":
            raise InputError("method", self.method, "has no right answer")
        often = rows["sample"].map(rows["sample"].value_counts())
        return str(rows[often == 1]["code"].iloc[0])

    def __repr__(self) -> str:
        return f"<Serving {self.method}: {self.headline[:-1]}>"

    def tells(self) -> Telling:
        """What a taster may see."""
        return Telling(self.headline, (), self.checks)

    def to_frame(self) -> pd.DataFrame:
        """Return the key: ``taster, set, position, code, sample``. Not for tasters."""
        return self.table.copy()

    def plot(self, ax: "Axes | None" = None) -> "Axes":
        """Draw the plates as codes: rows are tasters, columns places. Gives nothing away."""
        from kit import charts

        return charts.plates(self, ax)


def williams(samples: int) -> Integers:
    """Orders balanced for place and for what came right before.

    Parameters
    ----------
    samples : int
        t, at least 2.

    Returns
    -------
    int array, shape (t or 2 t, t)
        Samples as 0 … t − 1. Even t: t orders, each ordered pair of neighbours once. Odd t: 2 t
        orders, each twice.

    Examples
    --------
    >>> (williams(4) + 1).tolist()
    [[1, 2, 4, 3], [2, 3, 1, 4], [3, 4, 2, 1], [4, 1, 3, 2]]
    """
    if samples < 2:
        raise InputError("samples", samples, "must be at least 2")
    first = [0]
    for step in range(1, samples):
        first.append((step + 1) // 2 if step % 2 else samples - step // 2)
    orders = (np.array(first) + np.arange(samples)[:, None]) % samples
    if samples % 2:
        orders = np.vstack([orders, orders[:, ::-1]])
    return orders.astype(np.int64)


def codes_for(
    plates: Sequence[int], rng: np.random.Generator, taken: Iterable[str] = ()
) -> list[list[str]]:
    """Three-digit codes, drawn at random, none twice in a tasting.

    No code begins with 0 or has a digit twice (111, 474); none can be read upside down as another
    one (689); on one plate no two differ in one digit only or hold the same three digits. Common
    practice in tasting, no source.

    Parameters
    ----------
    plates : sequence of int
        How many codes each plate needs.
    taken : iterable of str
        Codes not to be used.

    Raises
    ------
    DataError
        More muffins than codes.
    """
    kept = set(taken)
    pool = [
        code
        for code in map("".join, permutations("0123456789", 3))
        if code[0] != "0" and not set(code) <= set("01689") and code not in kept
    ]
    if sum(plates) > len(pool):
        msg = (
            f"{sum(plates)} muffins need more codes than the {len(pool)} there are: split it into "
            "two tastings."
        )
        raise DataError(msg)
    pool = [pool[i] for i in rng.permutation(len(pool))]
    given = []
    for count in plates:
        own: list[str] = []
        for code in pool:
            if len(own) == count:
                break
            if not any(_alike(code, other) for other in own):
                own.append(code)
        if len(own) < count:  # the last few of the pool may all be alike
            own += [code for code in pool if code not in own][: count - len(own)]
        pool = [code for code in pool if code not in own]
        given.append(own)
    return given


def _alike(one: str, other: str) -> bool:
    differ = sum(a != b for a, b in zip(one, other, strict=True))
    return differ < 2 or set(one) == set(other)


def serve(
    method: str, samples: Sequence[str], tasters: Sequence[str] | int, seed: int = 1,
    tries: int = 1, duplicate: str | bool = False, taken: Iterable[str] = (),
) -> Serving:  # fmt: skip
    """Plan a blind serving.

    Parameters
    ----------
    method : str
        ``"triangle"``, ``"duo-trio"``, ``"pair"``, ``"ranking"`` or ``"scores"``.
    samples : sequence of str
        What is compared: two for the first three.
    tasters : sequence of str, or int
        Who tastes, or how many.
    seed : int
        The same seed gives the same serving.
    tries : int
        Plates a taster; repeats are not more people.
    duplicate : str or bool
        Of scores only: the sample that everybody gets twice, unknowingly (True: the first), which
        shows how well a taster agrees with herself.
    taken : iterable of str
        Codes not to be used.

    Raises
    ------
    InputError, NotFoundError, DataError
        A method nobody knows, samples or tasters that repeat, too many muffins for one plate.

    Examples
    --------
    >>> plan = serve("triangle", ["long retard", "short retard"], ["Ida", "Jon"], seed=3)
    >>> plan.headline
    '2 plates of 3 muffins for 2 tasters.'
    >>> plan.plates()["code"].is_unique
    True
    """
    if method not in METHODS:
        raise NotFoundError("kind of tasting", str(method), METHODS)
    names = [str(s).strip() for s in samples]
    people = _people(tasters)
    plates_each = as_whole(tries)
    if plates_each is None or plates_each < 1:
        raise InputError("tries", tries, "must be a whole number from 1")
    if len(set(names)) != len(names) or "" in names:
        raise InputError("samples", names, "must each have a name of its own")
    wanted = 2 if method in _ORDERS else None
    if wanted and len(names) != wanted:
        raise InputError("samples", names, f"must be two for a {method}", "Rank or score more.")
    if len(names) < 2:
        raise InputError("samples", names, "must be at least two")
    twice = _twice(method, names, duplicate)
    on_plate = [*names, twice] if twice is not None else names
    if wanted is None and len(on_plate) > METHODS[method]:
        rule = f"must be at most {METHODS[method]} on one plate"
        remedy = "The tongue tires: split it into two tastings."
        raise InputError("samples", len(on_plate), rule, remedy)
    rng = np.random.default_rng(seed)
    orders = np.array(_ORDERS[method]) if wanted else williams(len(on_plate))
    plates = [(person, plate) for plate in range(1, plates_each + 1) for person in people]
    turns = np.concatenate(
        [rng.permutation(len(orders)) for _ in range(math.ceil(len(plates) / len(orders)))]
    )
    relabel = rng.permutation(len(on_plate))  # which muffin is which in the orders, by chance
    coded = METHODS[method] - (method == "duo-trio") if wanted else len(on_plate)
    given = codes_for([coded] * len(plates), rng, taken)
    rows: list[dict[str, Any]] = []
    for (person, plate), turn, codes in zip(plates, turns, given, strict=False):
        order = [on_plate[relabel[k]] for k in orders[turn]]
        own = [REFERENCE, *codes] if method == "duo-trio" else codes
        for position, (sample, code) in enumerate(zip(order, own, strict=True), start=1):
            rows.append(
                {"taster": person, "set": plate, "position": position, "code": code,
                 "sample": sample}
            )  # fmt: skip
    table = pd.DataFrame(rows)
    checks = _checks(len(plates), len(orders), plates_each, len(people))
    return Serving(method, tuple(names), table, twice, seed, checks)


def _people(tasters: Sequence[str] | int) -> list[str]:
    if as_number(tasters) is not None or isinstance(tasters, bool):
        number = as_whole(tasters)
        if number is None or not 1 <= number <= 200:
            raise InputError("tasters", tasters, "must be a whole number from 1 to 200")
        return [f"taster {k}" for k in range(1, number + 1)]
    named: Any = [tasters] if isinstance(tasters, str) else tasters
    people = [str(name).strip() for name in named]
    if not people or "" in people or len(set(people)) != len(people):
        remedy = "Two of one name: add an initial."
        raise InputError("tasters", people, "must each have a name of their own", remedy)
    return people


def _twice(method: str, names: Sequence[str], duplicate: str | bool) -> str | None:
    if duplicate is False:
        return None
    if method != "scores":
        raise InputError("duplicate", duplicate, "is for scores only", "Leave it out.")
    if duplicate is True:
        return names[0]
    if duplicate not in names:
        raise NotFoundError("sample", duplicate, names)
    return duplicate


def _checks(plates: int, orders: int, tries: int, people: int) -> tuple[str, ...]:
    said = []
    if plates % orders:
        up = math.ceil(plates / orders) * orders
        said.append(
            f"orders come out even with {up} plates; with {plates} some come once more than others"
        )
    if tries > 1:
        said.append(
            f"{tries} plates each: one person's repeats are not more people, so this is still "
            f"{words.plural(people, 'taster')}"
        )
    return tuple(said)
