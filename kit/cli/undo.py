"""``kit undo`` and ``kit restore``: the last thing done taken back, or a copy put back."""

from pathlib import Path
from typing import Annotated

import typer

from kit.cli.shell import command, existing, must_exist, say
from kit.errors import InputError

__all__ = ["restore", "undo"]


@command()
def undo(folder: Annotated[str, typer.Argument(help="The workspace.")] = "my-bakes") -> None:
    """Take back the last thing done to a workspace, here or in a notebook; again: the one before.

    Example: python -m kit undo my-bakes
    """
    from kit.words import capital

    with existing(folder) as ws:
        said = ws.undo()
    say(f"{capital(said)}.")


@command()
def restore(
    folder: Annotated[str, typer.Argument(help="The workspace.")] = "my-bakes",
    copy: Annotated[Path | None, typer.Option(help="Which copy; the newest that is whole.")] = None,
) -> None:
    """Put back a copy of a workspace; close every program that uses it first.

    What it replaces stays in the folder copies. Example: python -m kit restore my-bakes
    """
    from kit.records.keeping.copies import put_back, when_taken
    from kit.records.keeping.store import FILE

    if "://" in folder or not folder.strip():
        remedy = "Write for example my-bakes; a database is put back by its own programs."
        raise InputError("folder", folder, "must be the folder of a workspace", remedy)
    must_exist(folder)
    taken, gone = put_back(Path(folder) / FILE, copy)
    when = f"{when_taken(taken).astimezone():%Y-%m-%d %H:%M}"
    say(f"{folder} is again as it was on {when} ({taken.name}); what was done since is not in it.")
    if gone is not None:
        back = f"python -m kit restore {folder} --copy {gone.name}"
        say(f"What was there lies in {gone}. Back to it: {back}")
