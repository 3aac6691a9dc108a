"""``kit plan`` and ``kit sheet``: what to bake, what it will show, and the sheet for one bake."""

import os
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from kit import quantities
from kit.cli import tables
from kit.cli.shell import Matters, OfTrial, chosen, command, counted, existing, named, say
from kit.errors import InputError, KitError
from kit.quantities import called
from kit.records.keeping.aside import file_name
from kit.us_units import us_paper

if TYPE_CHECKING:
    from kit.formula import Formula
    from kit.plan.factors import Factor
    from kit.plan.plan import Plan
    from kit.plan.spread import Spread
    from kit.workspace import Trial, Workspace

__all__ = ["plan", "sheet"]

Grams = Annotated[str | None, typer.Option(help="Weight of a raw piece: 76, '2 3/4 oz'.")]


@command()
def plan(
    factor: Annotated[
        list[str], typer.Option(help="What is changed: malt_percent='0 to 1.2'; may repeat.")
    ],
    folder: Annotated[str, typer.Argument(help="The workspace.")] = "my-bakes",
    trial: Annotated[str, typer.Option(help="A new trial's name, or one that is there.")] = "",
    bakes: Annotated[str, typer.Option(help="How many bakes there will be.")] = "5",
    doughs: Annotated[str, typer.Option(help="Doughs a bake.")] = "4",
    pieces: Annotated[str, typer.Option(help="Pieces a dough.")] = "6",
    places: Annotated[str, typer.Option(help="Places on the griddle.")] = "6",
    outcome: Annotated[str, typer.Option(help="What is measured.")] = "rise_height_mm",
    matters: Matters = None,
    spread_of: Annotated[
        str | None, typer.Option(help="Trial whose doughs say how much they differ.")
    ] = None,
    sd_dough: Annotated[str | None, typer.Option(help="Or your guess: dough to dough,")] = None,
    sd_piece: Annotated[str | None, typer.Option(help="and piece to piece.")] = None,
    kind: Annotated[str, typer.Option(help="Kind of design; chosen when left out.")] = "auto",
    seed: Annotated[str, typer.Option(help="The same seed gives the same plan.")] = "1",
    keep: Annotated[bool, typer.Option(help="Keep it: bakes with planned readings.")] = False,
    first: Annotated[str | None, typer.Option(help="Day of the first bake, YYYY-MM-DD.")] = None,
    every_days: Annotated[str, typer.Option(help="Days from bake to bake.")] = "7",
    retard: Annotated[
        str | None, typer.Option(help="With --keep: cold retard where it is not varied; 24 h.")
    ] = None,
    side: Annotated[
        str | None, typer.Option(help="With --keep: time a side where it is not varied; 5 min.")
    ] = None,
    formula: Annotated[
        str | None, typer.Option(help="A text file, an ingredient a line; or a trial's name.")
    ] = None,
    question: Annotated[str, typer.Option(help="What a new trial asks.")] = "",
) -> None:
    """Plan bakes that can answer a question, and say what they will notice.

    Example: python -m kit plan my-bakes --trial malt --factor malt_percent="0 to 1.2"
    --spread-of harbour-malt --matters 2 --keep --first 2026-12-03 --formula harbour-malt
    """
    from kit.plan.design import design
    from kit.plan.factors import Factor
    from kit.plan.kitchen import Kitchen
    from kit.planning import check_factors, put_away_in_words
    from kit.records.typed import day

    on = day("--first", first)
    factors = [Factor.written(*named("--factor", one, "malt_percent='0 to 1.2'")) for one in factor]
    kitchen = Kitchen(
        counted("--bakes", bakes), doughs_per_bake=counted("--doughs", doughs),
        pieces_per_dough=counted("--pieces", pieces), places=counted("--places", places),
    )  # fmt: skip
    drawn, apart = _seed(seed), counted("--every-days", every_days)
    same = _same({"retard_hours": retard, "side_minutes": side}, factors, keep)
    if keep and not trial:
        raise InputError("--trial", trial, "is needed to keep a plan", "Give it a name.")
    with existing(folder) as ws:
        outcome = quantities.get(called(outcome)).name
        if outcome in [f.quantity for f in factors]:
            raise InputError("--outcome", outcome, "is what this plan changes", "Name a result.")
        least = tables.number(matters, outcome)
        into = {one.name: one for one in ws.trials()}.get(trial)
        spread = _spread(ws, into, spread_of, sd_dough, sd_piece, outcome)
        with_it = None if formula is None else _formula(ws, formula, factors)
        under_way = into is not None and len(into.baked()) > 0
        if into is not None and under_way:
            check_factors([f.quantity for f in factors], into.factors, trial)
        if into is not None and under_way and all(f.level != "load" for f in factors):
            made = into.extend(kitchen, drawn, factors, spread=spread)
        else:
            made = design(factors, kitchen, kind, drawn, spread=spread)  # type: ignore[arg-type]
        say(str(made))
        if spread is not None:
            _say_what_it_notices(made, into, spread, outcome, least)
        if not keep:
            return
        same = {name: value for name, value in same.items()
                if name not in [f.quantity for f in made.factors]}  # fmt: skip
        gone: list[str] = []
        if into is None:
            about = {"question": question, "outcome": outcome, "matters": least}
            _, kept = ws.begin(trial, made, on, apart, same, with_it, **about)
        else:
            gone = [bake.code for bake in into.planned_bakes()]
            kept = into.keep(made, on, apart, same, instead=True)
            if with_it is not None:
                into.set_formula(with_it)
    say()
    kind = "bake" if len(kept) == 1 else "bakes"
    say(f"Kept in {trial}: {kind} {', '.join(bake.code for bake in kept)}.")
    if gone:
        say(put_away_in_words(gone))


def _say_what_it_notices(
    made: "Plan", into: "Trial | None", spread: "Spread", outcome: str, matters: float | None
) -> None:
    """How small a difference of every factor the plan shows; what a trial knows of it counts."""
    from kit.plan.power import power

    for factor in made.factors:
        say()
        if into is not None and outcome == into.outcome:
            more = {} if matters is None else {"matters": matters}
            say(str(into.power(made, spread, factor.quantity, **more)))
        else:
            of = factor.quantity
            say(str(power(made, of, spread=spread, outcome=outcome, matters=matters)))


def _seed(typed: str) -> int:
    try:
        return int(typed)  # a day without its dashes is larger than any count
    except ValueError:
        raise InputError("--seed", typed, "must be a whole number, 0 or more") from None


#: what is planned alike for all: quantity -> option, and what is taken when nothing is said
_ALIKE = {"retard_hours": ("--retard", "24"), "side_minutes": ("--side", "5")}


def _same(
    given: "dict[str, str | None]", factors: "list[Factor]", keep: bool
) -> dict[str, float | None]:
    """What is planned alike for all, of what is not varied."""
    varied = [factor.quantity for factor in factors]
    same = {}
    for quantity, (option, usual) in _ALIKE.items():
        typed = given[quantity]
        if typed is not None and quantity in varied:
            raise InputError(option, typed, "is what this plan varies", "Leave it out.")
        if typed is not None and not keep:
            raise InputError(option, typed, "counts only when the plan is kept", "Add --keep.")
        if quantity not in varied:
            try:
                same[quantity] = (
                    quantities.get(quantity).parse(usual if typed is None else typed).value
                )
            except InputError as exc:
                raise InputError(option, typed, exc.rule, exc.remedy) from exc
    return same


def _spread(
    ws: "Workspace", into: "Trial | None", of: str | None, dough: str | None,
    piece: str | None, outcome: str,
) -> "Spread | None":  # fmt: skip
    """How much doughs differ: as asked, else as the trial's own bakes say."""
    from kit.plan.spread import Spread
    from kit.units import parse
    from kit.words import unit_of

    if of is not None:
        return ws.trial(of).spread(outcome)
    options = "--sd-dough", "--sd-piece"
    sds = [
        parse(typed, unit_of(outcome), option, difference=True)
        for option, typed in zip(options, (dough, piece), strict=True)
    ]
    guess = [sd for sd in sds if sd is not None]
    if len(guess) == 1:
        missing = sds.index(None)
        rule = f"is needed with {options[1 - missing]}"
        raise InputError(options[missing], None, rule, "A guess takes both.")
    if guess:
        return Spread(guess[0], guess[1], outcome=outcome)
    try:
        return None if into is None else into.spread(outcome)
    except KitError:  # too little was baked to say
        return None


@command()
def sheet(
    folder: Annotated[str, typer.Argument(help="The workspace.")] = "my-bakes",
    trial: OfTrial = None,
    bake: Annotated[str | None, typer.Option(help="Which bake; the next one planned.")] = None,
    table: Annotated[str | None, typer.Option(help="On the table at, such as 12:00.")] = None,
    piece: Grams = None,
    scale: Annotated[str, typer.Option(help="Smallest step of the scale: 1 g, '0.1 oz'.")] = "1 g",
    blend: Annotated[bool, typer.Option(help="Weigh small doses as a blend with flour.")] = False,
    room: Annotated[str, typer.Option(help="Room temperature: 22, '72 F'.")] = "22",
    paper: Annotated[str | None, typer.Option(help="A4 or Letter.")] = None,
    out: Annotated[Path | None, typer.Option(help="Page to write.")] = None,
) -> None:
    """Write the bench sheet of one planned bake, and its calendar when a time is given.

    Example: python -m kit sheet my-bakes --trial malt --table 12:00 --piece "76 g"
    """
    from kit.units import in_ounces, parse

    with existing(folder) as ws:
        of = chosen(ws, trial)
        planned = of.planned_bakes()
        if bake is None and not planned:
            raise InputError("--bake", None, "names none, and none is planned", "See: kit plan.")
        one = planned[0] if bake is None else of.bake(bake)
        size = parse(piece, "g", "--piece")
        weights = None
        if size is not None:
            step = parse(scale, "g", "--scale")
            shows = "oz" if in_ounces(scale) else "g"
            weights = of.weigh(one, size, scale_step_g=step, use_blend=blend, scale_unit=shows)
        times = None
        if table is not None:
            times = of.timetable(one, table, room_temp_c=parse(room, "°C", "--room")).fitted()
            say(str(times))
        name = file_name(f"{of.name}-bake-{one.code}")
        page = out or (ws.folder or Path()) / f"{name}.html"
        say(f"Written: {of.bench_sheet(one, page, weights, times, paper=paper or us_paper())}")
        if times is not None:
            say(f"Written: {of.calendar(times, page.with_suffix('.ics'))}")


def _formula(ws: "Workspace", given: str, factors: "list[Factor]") -> "Formula":
    """Read a formula from a text file, or take a trial's; say what the plan leaves open."""
    from kit.formula import read_formula

    if os.path.isfile(given):
        found: Formula | None = read_formula(Path(given).stem, tables.text(Path(given)))
    else:
        found = ws.trial(given).formula()
    if found is None:
        rule = "is a trial without a formula"
        raise InputError("--formula", given, rule, "Give a text file.")
    for one in found.with_settings({f.quantity: f.settings[0] for f in factors}).open:
        say(
            f"Note: {one.short} ? is not set by this plan. To know what to weigh, write its share "
            "of the flour in place of the question mark."
        )
    return found
