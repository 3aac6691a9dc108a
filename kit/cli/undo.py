"""``kit undo``: the last thing done, taken back."""

from typing import Annotated

import typer

from kit.cli.shell import app, existing, said_in_one_line, say

__all__ = ["undo"]


@app.command()
@said_in_one_line
def undo(
    folder: Annotated[str, typer.Argument(help="The workspace.")] = "my-bakes",
) -> None:
    """Take back the last thing done to a workspace, here or in a notebook; again: the one before.

    Example: python -m kit undo my-bakes
    """
    from kit.analysis.words import capital

    with existing(folder) as ws:
        said = ws.undo()
    say(f"{capital(said)}.")
