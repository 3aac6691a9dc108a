"""What counts as one experiment: bakes, mixings, doughs, shapings, loads; what a factor is of.

Works on a table with a number for each grouping, unique over all bakes; `structure` makes it
from the records.
"""

from collections.abc import Iterable, Mapping, Sequence
from typing import Literal

import numpy as np
import pandas as pd

from kit import words
from kit.analysis.mixed import Structure
from kit.analysis.moments import Floats, Integers
from kit.errors import DesignError

__all__ = [
    "SLIPS", "Unit", "constant", "held", "mixings", "number", "numbered", "odd_ones",
    "random_groups", "refuse_inseparable", "shared", "spare", "spare_beside", "unit_of",
    "with_mixing", "with_shaping",
]  # fmt: skip

#: Groups of more than one setting are slips up to this share of them.
SLIPS = 0.25

#: What is done to make such a unit, and what has to be made anew for another.
_MADE = {"dough": ("mix", "mixed", "dough"), "shaping": ("shape", "shaped", "dough"),
         "load": ("bake", "baked", "load")}  # fmt: skip

Unit = Literal["bake", "mixing", "dough", "shaping", "load", "piece"]


def number(rows: pd.DataFrame, keys: Sequence[str]) -> pd.Series:
    """Number the combinations of the key columns; −1 where the last one is missing."""
    if not keys:
        return pd.Series(0, index=rows.index)
    codes: Integers = np.zeros(len(rows), dtype=np.int64)
    last = codes
    for key in keys:
        last = pd.factorize(rows[key])[0]
        codes = pd.factorize(codes * (int(last.max()) + 2) + last + 1)[0]
    return pd.Series(np.where(last < 0, -1, codes), index=rows.index)


def numbered(rows: pd.DataFrame, columns: Mapping[str, str | None]) -> pd.DataFrame:
    """Numbers ``bake, dough, mixing, load``, unique over all bakes; load −1 where not known.

    `columns` says which is which, ``trial`` too, or None; without ``dough`` each row is one.
    """
    day = [c for kind in ("trial", "bake") if (c := columns.get(kind))]
    own = {k: number(rows, [*day, c]) for k, c in columns.items() if c and k not in day}
    table = pd.DataFrame({"bake": number(rows, day)}, index=rows.index)
    table["dough"] = own.get("dough", range(len(rows)))
    table["mixing"] = mixings(own.get("mixing"), table["dough"], table["bake"])
    table["load"] = own.get("load", -1)
    return table


def held(groups: pd.Series, column: pd.Series) -> Integers:
    """How many different values each group holds, by the group's number."""
    values, found = pd.factorize(column)
    pairs = np.unique(groups.to_numpy() * len(found) + values)
    return np.bincount(pairs // len(found))


def constant(table: pd.DataFrame, factor: str, group: str) -> bool:
    """Whether the factor does not change within such groups, `SLIPS` apart."""
    return bool((held(table[group], table[factor]) > 1).mean() <= SLIPS)


def unit_of(table: pd.DataFrame, factor: str) -> Unit:
    """The largest thing within which the factor does not change, a few slips apart."""
    if table["bake"].max() > 0 and held(table["bake"], table[factor]).max() == 1:
        return "bake"
    if shared(table) and held(table["mixing"], table[factor]).max() == 1:
        return "mixing"
    shapings = table["shaping"]
    unit: Unit = "piece"
    if constant(table, factor, "dough"):
        unit = "dough"
    elif shapings.nunique() < len(table) and held(shapings, table[factor]).max() == 1:
        unit = "shaping"
    loads = table["load"].min() >= 0 and constant(table, factor, "load")
    return "load" if loads and (unit == "piece" or _whole(table, unit)) else unit


def mixings(numbers: pd.Series | None, doughs: pd.Series, bakes: pd.Series) -> pd.Series:
    """Which doughs were mixed in one go; each by itself where that is not known.

    Nor are they known where every bake was mixed in one go: the bake says it all.
    """
    if numbers is None or held(doughs, numbers).max() > 1 or held(bakes, numbers).max() == 1:
        return doughs
    return numbers


def shared(table: pd.DataFrame) -> bool:
    """Whether several doughs were mixed in one go."""
    return bool(table["mixing"].nunique() < table["dough"].nunique())


def with_mixing(
    table: pd.DataFrame, groups: tuple[str, ...], structure: Structure
) -> tuple[tuple[str, ...], Structure]:
    """Add the mixings where they hold several doughs."""
    if not shared(table):
        return groups, structure
    head = groups[:1] if groups[:1] == ("bake",) else ()
    if structure == "nested" and "load" in groups:  # loads need not lie inside mixings
        structure = "within-first" if head else "crossed"
    return (*head, "mixing", *groups[len(head) :]), structure


def with_shaping(table: pd.DataFrame, groups: tuple[str, ...]) -> tuple[str, ...]:
    """Add the shapings where a dough has several, and they hold several pieces."""
    # where the spread is asked about, no shapings are told apart
    if "shaping" not in table:
        return groups
    if not table["dough"].nunique() < table["shaping"].nunique() < len(table):
        return groups
    at = groups.index("dough") + 1
    return (*groups[:at], "shaping", *groups[at:])


def _whole(table: pd.DataFrame, group: str) -> bool:
    """Whether loads hold whole doughs (shapings), several of them."""
    groups, loads = table[group].nunique(), table["load"].nunique()
    return bool(loads < groups and held(table[group], table["load"]).max() == 1)


def odd_ones(table: pd.DataFrame, factor: str, unit: Unit) -> int:
    """How many units hold more than one setting although the factor belongs to the unit."""
    if unit == "piece":
        return 0
    return int((held(table[unit], table[factor]) > 1).sum())


def spare(x: Floats, groups: Sequence[Integers]) -> int:
    """Degrees of freedom that the last grouping leaves beside settings x (n, p) and the others.

    Examples
    --------
    >>> bakes, doughs = np.array([1, 1, 2, 2]), np.array([1, 2, 3, 4])
    >>> spare(np.array([[1.0, 0], [1, 1], [1, 0], [1, 1]]), [bakes, doughs])
    1
    """
    rows = np.unique(np.column_stack([x, *groups]), axis=0)
    parts = [rows[:, : x.shape[1]]]
    for column in rows[:, x.shape[1] :].T:
        parts.append((column[:, None] == np.unique(column)).astype(float))
    whole, rest = (int(np.linalg.matrix_rank(np.hstack(p))) for p in (parts, parts[:-1]))
    return whole - rest


def spare_beside(x: Floats, cells: pd.DataFrame, groups: Iterable[str], unit: str) -> float:
    """What such units leave over beside the settings and the `groups` around them."""
    around = ["bake", "mixing", "dough", "shaping"]
    around = around[: around.index(unit)] if unit in around else ["bake"]
    kinds = [*(kind for kind in around if kind in groups), unit]
    return float(spare(x, [cells[kind].to_numpy() for kind in kinds]))


def refuse_inseparable(table: pd.DataFrame, factor: str, by: str, unit: Unit) -> None:
    """Refuse when each setting was made once: the setting and the making are then one."""
    if unit == "piece":
        return
    units = held(pd.Series(pd.factorize(table[factor])[0]), table[unit])
    if units.max() > 1:
        return
    name = words.name(by)
    if unit == "bake":
        msg = (
            f"{name} and bake cannot be told apart: each setting was baked on one bake only, so "
            "a difference may come from the day as well. Bake each setting on at least two "
            "bakes, best all settings on every bake."
        )
    elif unit == "mixing":
        msg = (
            f"all doughs of one {name} were mixed in one go, each setting once ({len(units)} "
            "mixings): no number of doughs can tell the setting from the mixing. Bake each "
            "setting again on another bake."
        )
    else:
        do, done, inside = _MADE[unit]
        msg = (
            f"each setting of {name} was {done} once ({len(units)} {unit}s): no number of pieces "
            f"can tell the setting from the {unit}. {words.capital(do)} each setting in at least "
            f"one more {inside}, best on another bake."
        )
    raise DesignError(msg)


def random_groups(
    table: pd.DataFrame, trials: int, unit: Unit = "dough"
) -> tuple[tuple[str, ...], Structure, list[str]]:
    """Random groupings that the rows can tell apart, outermost first; how they lie; notes.

    `unit` is what the factor was decided for.
    """
    notes: list[str] = []
    bakes, doughs, loads = (table[kind].nunique() for kind in ("bake", "dough", "load"))
    groups: tuple[str, ...] = ()
    if trials < bakes < doughs:  # with one bake a trial, the trial says it all
        groups = ("bake",)
    elif trials < bakes:
        notes.append(
            "each bake had one dough, so a dough's own spread and the day's cannot be told "
            f"apart; together they are called {'bake' if unit == 'bake' else 'dough'} here"
        )
    inside: tuple[str, ...] = ("dough",) if doughs < len(table) else ()
    structure: Structure = "nested"
    if table["load"].min() >= 0 and bakes < loads < len(table):
        one = _of_one_load(table)
        if one:
            notes.append(
                f"each load held pieces of one {one} only, so what the load does cannot be told "
                f"from the {one}"
            )
        elif _whole(table, "dough"):
            inside = ("load", *inside)
        else:
            structure = "within-first" if groups else "crossed"
            inside = (*inside, "load")
    groups, structure = with_mixing(table, (*groups, *inside), structure)
    return with_shaping(table, groups), structure, notes


def _of_one_load(table: pd.DataFrame) -> str | None:
    """What each load held one of only, so that the two are one."""
    for kind in ("dough", "shaping"):
        same = kind in table and table["load"].nunique() == table[kind].nunique()
        if same and held(table["load"], table[kind]).max() == 1:
            return kind
    return None
