"""The bench sheet: one bake on paper, to read with floury hands and write on.

One HTML page without scripts or anything from outside, made to be printed. Settings stand on
the pages for mixing and baking; the page for measuring begins on a sheet of its own and knows
the pieces only by their codes, so that whoever measures can be kept from the settings.
"""

import math
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

import pandas as pd

from kit import quantities as known
from kit import words
from kit.errors import DataError, InputError
from kit.plan.paper.tables import (
    dough_tables,
    load_tables,
    measure_tables,
    settings_of,
    weights_table,
)
from kit.plan.paper.template import check_paper, fill
from kit.plan.timetable.clock import local, say_clock, say_day
from kit.plan.timetable.limits import Limits
from kit.plan.timetable.proofing import doubling
from kit.plan.timetable.remarks import longest_waits
from kit.plan.timetable.runs import Bake, PlannedPiece, piece_names, read_runs
from kit.plan.timetable.steps import turns
from kit.quantities import Quantity
from kit.us_units import also_us

if TYPE_CHECKING:
    from kit.formula.sheet import WeighingSheet
    from kit.plan.timetable.scheduled import Schedule

__all__ = ["CAUTIONS", "bench_sheet"]

#: What to mind at the bench. The facts and their sources are those of the page that is shared
#: (FDA Food Code 3-501.16 and .19; FDA and CDC on raw flour; EU 1169/2011 Annex II, FALCPA and
#: the FASTER Act); the griddle is common practice, no source.
CAUTIONS = (
    ("Griddle", "It burns, and fat on it can catch fire. Never leave it alone while it is hot; "
                "with gas, air the room."),
    ("Raw dough", "Flour and egg are raw: do not taste, wash hands and bench, bake through."),
    ("Milk or egg in the dough", "Write down when it leaves the refrigerator. Food that must be "
                                 "kept cold is given at most four hours in the warm by one widely "
                                 "adopted code; ask your food authority whether it holds here."),
    ("Allergens", "{holds}. Tell everybody who tastes."),
)  # fmt: skip
#: What a dough holds whose formula is not known.
_MAY_HOLD = "Wheat, milk and egg, and gluten from barley malt"

#: Quantities of a piece that are written down while it is baked; the others are measured after.
_AT_GRIDDLE = {"ball_weight_g", "proof_ratio", "side_minutes", "extra_flips", "core_temp_c"}


def bench_sheet(
    runs: pd.DataFrame,
    weights: "WeighingSheet | None" = None,
    schedule: "Schedule | None" = None,
    quantities: Iterable[str] = (),
    title: str = "Bake",
    paper: str = "A4",
    layout: Sequence[Sequence[int]] | None = None,
) -> str:
    """Write the bench sheet of one bake.

    Parameters
    ----------
    runs : DataFrame
        One bake's rows of a plan, one a piece, as for `kit.plan.schedule.schedule`; further
        columns are settings.
    weights : WeighingSheet, optional
        What to weigh, with what the scale really achieves (`kit.formula.weigh`): by the codes of
        the plan's doughs, or one dough without settings, for all.
    schedule : Schedule, optional
        Planned times. Only the pieces it bakes are on the sheet.
    quantities : iterable of str
        Names of what is to be written down (`kit.quantities`); a box each, by level. Those the
        kit works out are asked for by what they are made of.
    title : str
        The trial's name.
    paper : str
        ``"A4"`` or ``"Letter"``.
    layout : sequence of sequences of int, optional
        Places of the griddle as they lie, the back row first, 0 for none:
        ``[[1, 2, 3], [4, 5, 6]]``.

    Returns
    -------
    str
        HTML, complete in itself. Print it from any browser.

    Raises
    ------
    InputError, DataError, NotFoundError
        An unknown paper or quantity, a layout without a place that is used, codes that repeat,
        a schedule of other pieces, weights that are no weighing sheet or of other doughs.
    """
    check_paper(paper)
    wanted = _wanted(quantities)
    rows: list[dict[str, Any]] = [
        {str(k): v for k, v in r.items()} for r in runs.to_dict("records")
    ]
    bake = _bake(runs, schedule)
    planned = dict(zip(piece_names(rows), rows, strict=True))
    pieces = bake.pieces
    _check_codes(pieces)
    of_dough, of_piece = settings_of(planned, pieces)
    places = max([p.place for p in pieces] + ([schedule.limits.griddle_places] if schedule else []))
    grid = _grid(layout, places, {p.place for p in pieces})
    at_griddle = [q for q in wanted["piece"] if q.name in _AT_GRIDDLE]
    after = [q for q in wanted["piece"] if q.name not in _AT_GRIDDLE]
    loads = [
        {
            "name": load.name,
            "times": _load_times(load.name, schedule),
            "turns": words.capital(
                turns(load, 0 if schedule is None else schedule.limits.third_turn_minutes)
            ),
            "boxes": _load_boxes(load.name, wanted["load"], schedule),
            "griddle": _griddle(grid, load.pieces),
            "tables": load_tables(load.pieces, planned, of_piece, at_griddle),
        }
        for load in bake.loads
    ]
    return fill(
        "sheet.html.j2",
        title=title,
        bake=bake.name,
        paper=paper,
        schedule=None if schedule is None else _schedule_words(schedule),
        steps=_steps(schedule),
        boxes=["Date", "Who", "Flour lot", "Yeast lot", *(q.asked for q in wanted["bake"])],
        dough_tables=dough_tables(bake, planned, of_dough, wanted["dough"]),
        weights=weights_table(weights, [d.name for d in bake.doughs]),
        weight_notes=_weight_notes(weights),
        loads=loads,
        measure=measure_tables(pieces, after),
        blind=all(p.blind for p in pieces),
        cautions=_cautions(weights),
    )


def _cautions(weights: "WeighingSheet | None") -> list[tuple[str, str]]:
    """`CAUTIONS`, with the allergens that the formula's ingredients have by their names."""
    from kit.formula.allergens import contained

    found = weights and contained((one.name, one.role) for one in weights.formula.ingredients)
    holds = words.capital(found) if found else _MAY_HOLD
    return [(what, text.format(holds=holds)) for what, text in CAUTIONS]


def _weight_notes(weights: "WeighingSheet | None") -> list[str]:
    """What the scale cannot do, and how to make the blends."""
    if weights is None:
        return []
    notes = [f"{words.capital(check)}." for check in weights.checks]
    lines = [str(blend).split("\n") for blend in weights.blends]
    return [*notes, *(line for blend in lines for line in blend)]


def _wanted(names: Iterable[str]) -> dict[str, list[Quantity]]:
    """Quantities by level; a computed one is replaced by what it is computed from."""
    wanted: dict[str, list[Quantity]] = {level: [] for level in known.LEVELS}
    todo = [names] if isinstance(names, str) else list(names)
    while todo:
        quantity = known.get(todo.pop(0))
        if quantity.formula is not None:
            todo = [*quantity.needs, *todo]
        elif quantity not in wanted[quantity.level]:
            wanted[quantity.level].append(quantity)
    return wanted


def _bake(runs: pd.DataFrame, schedule: "Schedule | None") -> Bake:
    """The bake as it lies on the griddle; that of the schedule where there is one."""
    room = doubling(22.0)
    bake = read_runs(runs, Limits(), lambda _: room, retard_hours=0.0)
    if schedule is None:
        return bake
    strange = {p.name for p in schedule.bake.pieces} - {p.name for p in bake.pieces}
    if strange:
        msg = (
            f"the schedule bakes {words.join(sorted(strange)[:3])}, which the plan does not have: "
            "make the schedule from the same rows."
        )
        raise DataError(msg)
    return schedule.bake


def _check_codes(pieces: Sequence[PlannedPiece]) -> None:
    """Codes must tell pieces apart."""
    codes = [p.blind for p in pieces if p.blind]
    twice = next((c for c in codes if codes.count(c) > 1), None)
    if twice is not None:
        of = words.join(p.name for p in pieces if p.blind == twice)
        msg = f"the code {twice} is given to {of}: give every piece its own."
        raise DataError(msg)


def _grid(layout: Sequence[Sequence[int]] | None, places: int, used: set[int]) -> list[list[int]]:
    """Places as they lie, row by row; 0 is none."""
    if layout is None:
        across = (
            places if places <= 3 else math.ceil(places / max(2, round(math.sqrt(places / 1.6))))
        )
        numbers = [*range(1, places + 1), *[0] * (-places % across)]
        return [numbers[i : i + across] for i in range(0, len(numbers), across)]
    grid = [list(row) for row in layout]
    flat = [n for row in grid for n in row if n]
    if (
        not flat
        or len(set(flat)) != len(flat)
        or not all(isinstance(n, int) and n > 0 for n in flat)
    ):
        raise InputError(
            "layout", layout, "must hold every place once", "For example [[1, 2, 3], [4, 5, 6]]."
        )
    missing = sorted(used - set(flat))
    if missing:
        raise InputError(
            "layout", layout, f"has no place {missing[0]}, which the plan uses", "Add it."
        )
    width = max(len(row) for row in grid)
    return [row + [0] * (width - len(row)) for row in grid]


def _griddle(grid: list[list[int]], pieces: Sequence[PlannedPiece]) -> dict[str, Any]:
    """Circles to draw: where, which place, which code, how long a side."""
    by_place = {p.place: p for p in pieces}
    sides = len({p.side_minutes for p in pieces}) > 1
    circles = []
    for y, row in enumerate(grid):
        for x, place in enumerate(row):
            if not place:
                continue
            piece = by_place.get(place)
            code = "" if piece is None else piece.blind or piece.name
            circles.append(
                {
                    "x": 40 + 80 * x,
                    "y": 40 + 80 * y,
                    "place": place,
                    "code": code if len(code) <= 10 else code[:9] + "…",
                    "size": 17 if len(code) <= 5 else 11,
                    "side": "" if piece is None or not sides else f"{piece.side_minutes:g} min",
                    "empty": piece is None,
                }
            )
    told = ", ".join(f"place {p.place} {p.blind or p.name}" for p in pieces)
    return {"width": 80 * len(grid[0]), "height": 80 * len(grid), "circles": circles, "told": told}


def _load_times(load: str, schedule: "Schedule | None") -> str:
    """Planned times of a load in words."""
    if schedule is None:
        return ""
    on, off = schedule.times.loads[load]
    waited = longest_waits(schedule.bake, schedule.times)[load]
    start, end = (say_clock(at, schedule.zone) for at in (on, off))
    text = f"planned on the griddle at {start}, off by {end}"
    return f"{text}, its pieces ready up to {waited} min before" if waited else text


def _load_boxes(
    load: str, wanted: Sequence[Quantity], schedule: "Schedule | None"
) -> list[tuple[str, str]]:
    """Boxes of a load: label and the value planned, where there is one."""
    boxes = [("Really on at", ""), ("Really off at", "")]
    for quantity in wanted:
        planned = ""
        if quantity.name == "waited_minutes" and schedule is not None:
            planned = f"plan {longest_waits(schedule.bake, schedule.times)[load]}"
        boxes.append((quantity.asked, planned))
    return boxes


def _steps(schedule: "Schedule | None") -> list[tuple[str, str, str]]:
    """Day (where it begins), time and text of each step."""
    steps: list[tuple[str, str, str]] = []
    day = ""
    for step in schedule.steps if schedule is not None else ():
        if not step.told or schedule is None:
            continue
        # with its year: a sheet is kept, and some bakes begin in the old one
        today = f"{say_day(step.start, schedule.zone)} {local(step.start, schedule.zone):%Y}"
        text = step.text
        if step.what == "load":  # how to turn stands with the load's own table
            load = next(load for load in schedule.bake.loads if load.name == step.load)
            text = text.removesuffix(f": {turns(load, schedule.limits.third_turn_minutes)}")
        steps.append(
            (
                today if today != day else "",
                say_clock(step.start, schedule.zone),
                words.capital(text),
            )
        )
        day = today
    return steps


def _schedule_words(schedule: "Schedule") -> dict[str, Any]:
    """Headline, and what does not fit or is to be known."""
    remarks = [f"Does not fit: {miss}." for miss in schedule.misses]
    return {
        "headline": schedule.headline,
        "misses": remarks,
        "notes": [also_us(f"{words.capital(note)}.") for note in schedule.notes],
    }
