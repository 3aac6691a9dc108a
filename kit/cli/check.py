"""``kit check``: whether a workspace is sound."""

from typing import Annotated

import typer

from kit.cli.shell import command, must_exist, say

__all__ = ["check"]


@command()
def check(folder: Annotated[str, typer.Argument(help="The workspace.")] = "my-bakes") -> None:
    """Look a workspace over: its file, what belongs to what, values, photos, the journal.

    Nothing is changed. Example: python -m kit check my-bakes
    """
    from kit.records.check_store import check_store

    must_exist(folder)
    told = check_store(folder)
    for line in str(told).splitlines():
        say(line)
    if not told.ok:
        raise typer.Exit(1)
