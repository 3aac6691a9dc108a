"""What is handed on: ``kit recipe`` as a page, ``kit package`` whole, ``kit receive`` here."""

from pathlib import Path
from typing import Annotated

import typer

from kit.cli import tables
from kit.cli.shell import OfTrial, chosen, command, counted, existing, meant, named, say
from kit.errors import InputError
from kit.records.keeping.aside import file_name

__all__ = ["package", "receive", "recipe"]


@command()
def recipe(
    piece: Annotated[str, typer.Option(help="Weight of a raw piece: 76, '2 3/4 oz'.")],
    folder: Annotated[str, typer.Argument(help="The workspace.")] = "my-bakes",
    trial: OfTrial = None,
    pieces: Annotated[str, typer.Option(help="How many it makes.")] = "6",
    setting: Annotated[
        list[str] | None, typer.Option(help="What the trial changes: malt_percent=0.6; may repeat.")
    ] = None,
    steps: Annotated[Path | None, typer.Option(help="A text file, a step a line.")] = None,
    out: Annotated[Path | None, typer.Option(help="Page to write; by trial and setting.")] = None,
) -> None:
    """Write the trial's recipe at one setting as a page to print, hand on or put on the web.

    Example: python -m kit recipe my-bakes --trial malt --piece "76 g" --setting malt_percent=0.6
    """
    lines = "" if steps is None else tables.text(steps)
    given = [named("--setting", text, "malt_percent=0.6") for text in setting or ()]
    with existing(folder) as ws:
        one = chosen(ws, trial)
        settings: dict[str, str] = {}
        for said, value in given:
            name = meant(said, list(one.factors))
            if name in settings:
                raise InputError("--setting", f"{said}={value}", "is said twice", "Leave one out.")
            settings[name] = value
        page = out or (ws.folder or Path()) / one.recipe_name(settings)
        told = [line.strip() for line in lines.splitlines() if line.strip()]
        made = one.recipe(page, counted("--pieces", pieces), piece, settings, steps=told)
    say(f"Written: {made}")


@command()
def package(
    folder: Annotated[str, typer.Argument(help="The workspace.")] = "my-bakes",
    trial: OfTrial = None,
    out: Annotated[
        Path | None, typer.Option(help="File to write, ending in .zip; by the trial's name.")
    ] = None,
    photos: Annotated[bool, typer.Option(help="Take the pictures along.")] = True,
    licence: Annotated[
        str | None, typer.Option(help="What others may do with it, such as CC-BY-4.0.")
    ] = None,
) -> None:
    """Write a whole trial into one file for another baker.

    Example: python -m kit package my-bakes --trial malt --out malt.zip
    """
    with existing(folder) as ws:
        one = chosen(ws, trial)
        written = one.package(out or Path(f"{file_name(one.name)}.zip"), photos, licence)
        if one.invented:
            say("Invented data: made up to show how this works.", "italic")
    for line in str(written).splitlines():
        say(line)


@command()
def receive(
    package: Annotated[Path, typer.Argument(help="The file another baker sent.")],
    folder: Annotated[Path, typer.Argument(help="The workspace.")] = Path("my-bakes"),
    baker: Annotated[
        str | None, typer.Option(help="Whose trial it is, if it does not say.")
    ] = None,
) -> None:
    """Bring in another baker's trial, whole or not at all, beside your own.

    Example: python -m kit receive malt.zip my-bakes
    """
    from kit.workspace import Workspace

    with Workspace(folder) as ws:
        told = str(ws.receive(package, baker))
    for line in told.split("\n"):
        # what somebody else typed must not steer the screen
        say("".join(sign if sign.isprintable() else "?" for sign in line))
