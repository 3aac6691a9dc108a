"""``kit check``: whether a workspace is sound."""

from pathlib import Path
from typing import Annotated

import typer

from kit.cli.shell import app, said_in_one_line, say
from kit.errors import DataError

__all__ = ["check"]


@app.command()
@said_in_one_line
def check(
    folder: Annotated[str, typer.Argument(help="The workspace.")] = "my-bakes",
) -> None:
    """Look a workspace over: its file, what belongs to what, values, photos, the journal.

    Nothing is changed. Example: python -m kit check my-bakes
    """
    from kit.records.check_store import check_store
    from kit.records.store import FILE

    if "://" not in folder and not (Path(folder) / FILE).exists():
        msg = f"{folder} holds no bakes yet. Make a workspace of it: python -m kit start {folder}"
        raise DataError(msg)
    told = check_store(folder)
    for line in str(told).splitlines():
        say(line)
    if not told.ok:
        raise typer.Exit(1)
