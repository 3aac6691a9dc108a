"""``kit card``: the measuring card as a sheet to print."""

from pathlib import Path
from typing import Annotated

import typer

from kit.cli.shell import command, say
from kit.errors import InputError
from kit.records.keeping.aside import write_whole
from kit.us_units import us_paper

__all__ = ["card"]


@command()
def card(
    paper: Annotated[str | None, typer.Option(help="a4 or letter.")] = None,
    out: Annotated[Path | None, typer.Option(help="The PDF; card-a4.pdf here.")] = None,
) -> None:
    """Make the measuring card to print: scale, tilt and white balance for your photos.

    Example: python -m kit card --paper letter --out card.pdf
    """
    from kit.photo.references.card import BAR_MM
    from kit.photo.references.card_sheet import card_pdf

    paper = paper or us_paper()
    where = out or Path(f"card-{paper.lower()}.pdf")
    if where.suffix.lower() != ".pdf":
        raise InputError("out", str(where), "must end in .pdf", "It is a PDF to print.")
    write_whole(where, card_pdf(paper))
    say(f"{where}: print it at actual size (100 %) on matt paper.")
    say(f"Then measure the long bar with a ruler: it should be {BAR_MM:.0f} mm.")
