"""A plan's rows read as doughs to mix and loads to bake."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import groupby
from typing import Any

import pandas as pd

from kit import quantities, words
from kit.errors import DataError, InputError, NotFoundError
from kit.plan.timetable.limits import Limits
from kit.plan.timetable.proofing import Doubling

__all__ = ["Bake", "PlannedDough", "PlannedLoad", "PlannedPiece", "as_text", "blind_code",
           "piece_names", "read_runs", "to_five"]  # fmt: skip


@dataclass(frozen=True)
class PlannedPiece:
    """One muffin as planned.

    Parameters
    ----------
    place : int
        On the griddle, from 1.
    blind : str
        Code to go by when measuring; empty when there is none.
    proof_minutes : int
        From the end of shaping until it is ready for the griddle.
    """

    name: str
    dough: str
    load: str
    place: int
    blind: str
    side_minutes: float
    proof_minutes: int


@dataclass(frozen=True)
class PlannedDough:
    """One batch as planned.

    Parameters
    ----------
    retard_minutes : int
        How long it stands cold, 0 for not at all.
    """

    name: str
    retard_minutes: int


@dataclass(frozen=True)
class PlannedLoad:
    """One fill of the griddle; it lasts as long as its longest piece.

    `griddle_temp_c` is None where the plan says nothing of it.
    """

    name: str
    pieces: tuple[PlannedPiece, ...]
    griddle_temp_c: float | None = None

    def minutes(self, limits: Limits) -> int:
        """Time on the griddle in whole minutes, the third turn allowed for."""
        both_sides = 2 * max(p.side_minutes for p in self.pieces)
        return math.ceil(round(both_sides + limits.third_turn_minutes, 6))


@dataclass(frozen=True)
class Bake:
    """One session at the griddle as planned: doughs and loads in plan order.

    `drawn` is whether the plan gave each dough its turn in mixing.
    """

    name: str
    doughs: tuple[PlannedDough, ...]
    loads: tuple[PlannedLoad, ...]
    notes: tuple[str, ...] = ()
    drawn: bool = False

    @property
    def pieces(self) -> list[PlannedPiece]:
        """All pieces, load by load."""
        return [piece for load in self.loads for piece in load.pieces]

    @property
    def proof_varies(self) -> bool:
        """Whether pieces proof for different times."""
        return len({piece.proof_minutes for piece in self.pieces}) > 1

    def without(self, doughs: Sequence[str]) -> "Bake":
        """The same bake with some doughs left out."""
        loads = [
            replace(load, pieces=tuple(p for p in load.pieces if p.dough not in doughs))
            for load in self.loads
        ]
        return replace(
            self,
            doughs=tuple(d for d in self.doughs if d.name not in doughs),
            loads=tuple(load for load in loads if load.pieces),
        )

    def filled(self, places: int) -> "Bake":
        """The same pieces in the same order and as hot, in loads of at most `places`."""
        loads: list[PlannedLoad] = []
        for heat, alike in groupby(self.loads, key=lambda load: load.griddle_temp_c):
            pieces = [piece for load in alike for piece in load.pieces]
            for i in range(0, len(pieces), places):
                name, some = str(len(loads) + 1), pieces[i : i + places]
                placed = (replace(p, load=name, place=at) for at, p in enumerate(some, start=1))
                loads.append(PlannedLoad(name, tuple(placed), heat))
        return replace(self, loads=tuple(loads))

    def overfull(self, places: int) -> list[PlannedLoad]:
        """Loads that do not fit on the griddle."""
        return [load for load in self.loads if max(p.place for p in load.pieces) > places]


def read_runs(
    runs: pd.DataFrame,
    limits: Limits,
    doubling_at: Callable[[float | None], Doubling],
    retard_hours: float | None = None,
) -> Bake:
    """Read one bake's rows of a plan.

    Parameters
    ----------
    runs : DataFrame
        One row a piece: ``dough``, and where there are such ``bake, load, place, piece, blind
        (or code), order`` (turn in mixing) and ``retard_hours, side_minutes, proof_minutes,
        proof_ratio, proof_temp_c, griddle_temp_c``.
    doubling_at : callable
        Gives the `Doubling` at an air temperature, or at the room's when given None.
    retard_hours : float, optional
        Where the plan says nothing.

    Raises
    ------
    DataError, InputError, NotFoundError
        Rows that contradict each other, or a value that cannot be.
    """
    if "dough" not in runs.columns:
        raise NotFoundError("column", "dough", (str(c) for c in runs.columns))
    if runs.empty:
        msg = "the plan has no pieces: give one row for each piece."
        raise DataError(msg)
    rows: list[dict[str, Any]] = [
        {str(k): v for k, v in r.items()} for r in runs.to_dict("records")
    ]
    homeless = sum(as_text(row["dough"]) == "" for row in rows)
    if homeless:
        msg = f"the plan has {words.plural(homeless, 'piece')} of no dough: name its dough."
        raise DataError(msg)
    turns = [_number(row, "order", f"dough {as_text(row['dough'])}") for row in rows]
    last = math.inf
    by_turn = sorted(zip(turns, rows, strict=True), key=lambda x: last if x[0] is None else x[0])
    mixed = list(dict.fromkeys(as_text(row["dough"]) for _, row in by_turn))
    bake, names = _one_bake(rows), piece_names(rows)
    notes: list[str] = []
    loads = _loads(rows, limits, notes)
    if "side_minutes" not in runs.columns:
        side = words.amount("side_minutes", float(limits.side_minutes))
        notes.append(f"the plan gives no time a side: {side} taken")
    doughs: dict[str, int] = {}
    pieces: dict[str, list[PlannedPiece]] = {}
    heats: dict[str, float | None] = {}
    for row, name, load in zip(rows, names, loads, strict=True):
        dough, where = as_text(row["dough"]), f"piece {name}"
        minutes = _retard(row, dough, retard_hours)
        if doughs.setdefault(dough, minutes) != minutes:
            msg = (
                f"dough {dough} has two retards, {doughs[dough] / 60:g} h and {minutes / 60:g} h: "
                "a dough goes into the refrigerator as one. Make them two doughs."
            )
            raise DataError(msg)
        place, code, turned = _place(row, where), blind_code(row), _side(row, where, limits)
        proof = _proof(row, where, doubling_at)
        piece = PlannedPiece(name, dough, load, place, code, turned, proof)
        pieces.setdefault(load, []).append(piece)
        heat = _number(row, "griddle_temp_c", where)
        if heats.setdefault(load, heat) != heat:
            msg = f"load {load} has two griddle temperatures: all of a load lie on one griddle. "
            raise DataError(msg + "Make them two loads.")
    found = tuple(PlannedLoad(n, _placed(n, pieces[n]), heats[n]) for n in _in_order(pieces))
    if any(minutes == 0 for minutes in doughs.values()):
        warm = words.join(name for name, minutes in doughs.items() if minutes == 0)
        notes.append(
            f"a dough that is not chilled ({warm}) is warm when it is shaped and proofs faster "
            "than a cold one, for which the times here are: look at it early"
            + ("" if limits.rise_minutes else ", and mix it earlier where it is to rise first")
        )
    planned = tuple(PlannedDough(name, doughs[name]) for name in mixed)
    return Bake(bake, planned, found, tuple(notes), drawn=None not in turns)


def to_five(minutes: float) -> int:
    """A time that is known roughly, to the next five minutes; at least five.

    Examples
    --------
    >>> to_five(121.7), to_five(1)
    (120, 5)
    """
    return max(5, 5 * round(minutes / 5))


def as_text(value: Any) -> str:
    """A name as text: 3.0 is 3, missing is empty."""
    if value is None or pd.isna(value):
        return ""
    if isinstance(value, float) and math.isfinite(value) and value == int(value):
        value = int(value)
    return str(value).strip()


def blind_code(row: dict[str, Any]) -> str:
    """What a piece is called when it is measured (column ``blind`` or ``code``); may be empty."""
    return as_text(row.get("blind")) or as_text(row.get("code"))


def _one_bake(rows: list[dict[str, Any]]) -> str:
    """The name of the bake all rows belong to."""
    bakes = list(dict.fromkeys(as_text(row.get("bake")) for row in rows))
    if len(bakes) > 1:
        msg = (
            f"the plan holds {len(bakes)} bakes ({words.join(bakes[:6])}), and each has times of "
            f"its own. Give the rows of one, for example runs[runs['bake'] == {rows[0]['bake']!r}]."
        )
        raise DataError(msg)
    return bakes[0]


def piece_names(rows: list[dict[str, Any]]) -> list[str]:
    """Names of the pieces, made up from dough and number where the plan has none."""
    made: list[str] = []
    count: dict[str, int] = {}
    for row in rows:
        dough = as_text(row["dough"])
        count[dough] = count.get(dough, 0) + 1
        made.append(as_text(row.get("piece")) or f"{dough}-{count[dough]}")
    twice = sorted({name for name in made if made.count(name) > 1})
    inside = [f"{as_text(r['dough'])}-{n}" for n, r in zip(made, rows, strict=True)]
    if twice and len(set(inside)) == len(inside):  # numbered anew in every dough
        return inside
    if twice:
        msg = f"piece {twice[0]} is in the plan more than once: give every piece its own name."
        raise DataError(msg)
    return made


def _loads(rows: list[dict[str, Any]], limits: Limits, notes: list[str]) -> list[str]:
    """The load of each row; filled in plan order where the plan has none."""
    given = [as_text(row.get("load")) for row in rows]
    missing = given.count("")
    if missing == len(given):
        notes.append(
            f"the plan has no loads: filled in its order, {limits.griddle_places} pieces at a time"
        )
        return [str(i // limits.griddle_places + 1) for i in range(len(rows))]
    if missing:
        has = "has" if missing == 1 else "have"
        msg = (
            f"{words.plural(missing, 'piece')} of the plan {has} no load while others have one: "
            "give every piece a load, or none."
        )
        raise DataError(msg)
    return given


def _in_order(loads: dict[str, list[PlannedPiece]]) -> list[str]:
    """Numbers by size, other names as they come."""
    names = list(loads)
    try:
        return sorted(names, key=float)
    except ValueError:
        return names


def _retard(row: dict[str, Any], dough: str, otherwise: float | None) -> int:
    """Minutes in the refrigerator."""
    hours = _number(row, "retard_hours", f"dough {dough}")
    hours = otherwise if hours is None else hours
    if hours is None:
        remedy = "Give retard_hours=16, or 0 for doughs that are not chilled."
        raise InputError("retard_hours", None, "is not in the plan", remedy, f"dough {dough}")
    quantities.get("retard_hours").check(hours, f"dough {dough}")
    return round(60 * hours)


def _side(row: dict[str, Any], where: str, limits: Limits) -> float:
    """Minutes a side."""
    side = _number(row, "side_minutes", where)
    if side is None:
        return float(limits.side_minutes)
    if side <= 0:
        raise InputError("side_minutes", side, "must be above 0", "Enter minutes a side.", where)
    quantities.get("side_minutes").check(side, where)
    return side


def _place(row: dict[str, Any], where: str) -> int:
    """Place on the griddle, 0 when the plan leaves it open."""
    place = _number(row, "place", where)
    if place is None:
        return 0
    if place < 1 or place != int(place):
        raise InputError(
            "place", place, "must be a whole number from 1", "Number the griddle's places.", where
        )
    return int(place)


def _placed(load: str, pieces: list[PlannedPiece]) -> tuple[PlannedPiece, ...]:
    """Pieces by place; open places are filled from the lowest free one."""
    taken: dict[int, str] = {}
    for piece in pieces:
        if piece.place in taken:
            msg = (
                f"load {load} has two pieces at place {piece.place}, {taken[piece.place]} and "
                f"{piece.name}: a place holds one piece."
            )
            raise DataError(msg)
        if piece.place:
            taken[piece.place] = piece.name
    free = (n for n in range(1, len(pieces) + len(taken) + 1) if n not in taken)
    placed = [p if p.place else replace(p, place=next(free)) for p in pieces]
    return tuple(sorted(placed, key=lambda p: p.place))


def _proof(row: dict[str, Any], where: str, doubling_at: Callable[[float | None], Doubling]) -> int:
    """Minutes from shaping to ready: as planned, or from the proof ratio wanted."""
    minutes = _number(row, "proof_minutes", where)
    if minutes is not None:
        quantities.get("proof_minutes").check(minutes, where)
        return round(minutes)
    ratio = _number(row, "proof_ratio", where)
    found = doubling_at(_number(row, "proof_temp_c", where))
    return to_five(found.to_ratio(2.0 if ratio is None else ratio))


def _number(row: dict[str, Any], column: str, where: str) -> float | None:
    """A number of the plan, None where it has none."""
    value = row.get(column)
    if value is None or pd.isna(value):
        return None
    try:
        number = float(value)
    except (TypeError, ValueError) as exc:
        raise InputError(column, value, "must be a number", where=where) from exc
    if math.isinf(number):
        raise InputError(column, number, "must be a finite number", where=where)
    return number
