"""``kit package`` and ``kit receive``: a trial to another baker, and another baker's trial here."""

from pathlib import Path
from typing import Annotated

import typer

from kit.cli.shell import OfTrial, app, chosen, existing, said_in_one_line, say
from kit.records.aside import file_name

__all__ = ["package", "receive"]


@app.command()
@said_in_one_line
def package(
    folder: Annotated[str, typer.Argument(help="The workspace.")],
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


@app.command()
@said_in_one_line
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
