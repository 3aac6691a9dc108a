"""``kit differ``: two batches side by side."""

from typing import Annotated, Literal

import typer
from rich.table import Table

from kit.cli.shell import OfTrial, chosen, command, existing, say, screen

__all__ = ["differ"]


@command()
def differ(
    folder: Annotated[str, typer.Argument(help="The workspace.")],
    one: Annotated[str, typer.Argument(help="A dough, such as 1A; a bake or piece with --of.")],
    other: Annotated[str, typer.Argument(help="Another.")],
    trial: OfTrial = None,
    of: Annotated[
        Literal["dough", "bake", "piece"], typer.Option(help="What the two are.")
    ] = "dough",
) -> None:
    """Show what two batches differ in, as far as it was recorded.

    Example: python -m kit differ my-bakes 1A 2A --trial malt
    """
    from kit.records import differing

    with existing(folder) as ws:
        its = chosen(ws, trial)
        found = its.differences(*(getattr(its, of)(code) for code in (one, other)))
        first, second = found.columns[2:4]
        if found.empty:
            say(f"{first} and {second} differ in nothing that was recorded.")
            return
        table = Table("", first, second, "Difference", title=its.name)
        for row in differing.rows(found):
            table.add_row(*row)
        screen.print(table)
        say(differing.CAUTION)
