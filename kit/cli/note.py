"""``kit note``: something happened besides the plan; said in one line at the bench."""

from datetime import UTC, datetime
from typing import TYPE_CHECKING, Annotated

import typer

from kit.cli.shell import OfTrial, chosen, command, existing, say
from kit.errors import InputError, NotFoundError

if TYPE_CHECKING:
    from kit.records.readings import Event
    from kit.records.things import Thing
    from kit.workspace import Trial

__all__ = ["note"]


@command()
def note(
    folder: Annotated[str, typer.Argument(help="The workspace.")],
    what: Annotated[str, typer.Argument(help="In a word or two: burnt, dropped, 'bake given up'.")],
    trial: OfTrial = None,
    bake: Annotated[
        str | None, typer.Option(help="The bake it happened to, or is part of.")
    ] = None,
    dough: Annotated[str | None, typer.Option(help="The dough, such as 1A.")] = None,
    load: Annotated[int | None, typer.Option(help="The load; needs --bake.")] = None,
    piece: Annotated[str | None, typer.Option(help="The piece, such as 1A4.")] = None,
    more: Annotated[str, typer.Option(help="The story.")] = "",
    at: Annotated[
        str | None, typer.Option(help="9:40, 'yesterday 21:15'; now if not said.")
    ] = None,
    take_out: Annotated[
        bool, typer.Option("--take-out", help="Take out the last such note: it was a mistake.")
    ] = False,
) -> None:
    """Note that something happened; compare --leave-out can leave out what it happened to.

    Example: python -m kit note my-bakes burnt --trial malt --piece 1A4
    """
    from kit.records.when import read_when

    with existing(folder) as ws:
        one = chosen(ws, trial)
        on = _thing(one, bake, dough, load, piece)
        if take_out:
            event = _last(one, what, on)
            one.remove(event)
            say(f"Taken out of {one.name}: {event}. Undo brings it back.")
            return
        when = None if at is None else read_when("--at", at, one.zone, datetime.now(UTC))
        say(f"Noted in {one.name}: {one.event(what, more, on, when)}")


def _last(trial: "Trial", what: str, on: "Thing") -> "Event":
    """What was last noted of a thing in these words."""
    from kit.records.readings import Event

    noted = trial.events()
    of_it = noted[noted["id"] == on.id]
    same = of_it[of_it["kind"] == what.strip()]
    if same.empty:
        kind = f"note of {on}"
        raise NotFoundError(kind, what, dict.fromkeys(of_it["kind"]))
    row = same.iloc[-1]
    return Event(row["event"], row["kind"], row["text"], str(row["at"]), on)


def _thing(
    trial: "Trial", bake: str | None, dough: str | None, load: int | None, piece: str | None
) -> "Thing":
    """What it happened to: the smallest thing that was named."""
    if piece is not None:
        return trial.piece(piece, dough, bake)
    if dough is not None:
        return trial.dough(dough, bake)
    if load is not None and bake is None:
        raise InputError("--load", load, "needs --bake", "Loads are counted in each bake.")
    if load is not None and bake is not None:
        return trial.load(load, bake)
    if bake is None:
        rule = "must say what it happened to"
        raise InputError("--bake", None, rule, "Give --bake, --dough, --load or --piece.")
    return trial.bake(bake)
