"""``kit import``: a table into a workspace."""

from pathlib import Path
from typing import Annotated, Any

import typer

from kit.cli import tables
from kit.cli.shell import Matters, app, said_in_one_line, say

__all__ = ["import_"]


@app.command("import")
@said_in_one_line
def import_(
    table: Annotated[Path, typer.Argument(help="CSV file, one row a piece.")],
    trial: Annotated[str, typer.Option(help="Into this trial; made when absent.")],
    folder: Annotated[Path, typer.Argument(help="The workspace.")] = Path("my-bakes"),
    factor: Annotated[
        list[str] | None, typer.Option(help="Column set on purpose; may repeat.")
    ] = None,
    outcome: Annotated[str | None, typer.Option(help="Quantity that answers.")] = None,
    question: Annotated[str, typer.Option(help="What the trial asks.")] = "",
    matters: Matters = None,
) -> None:
    """Bring a table into a workspace, whole or not at all.

    Columns: bake, dough, and as there are day (YYYY-MM-DD), load, piece, place, flour_lot,
    yeast_lot and any quantity by name, such as malt_percent or rise_height_mm.

    Example: python -m kit import bakes.csv my-bakes --trial salt --factor salt_percent
    """
    from kit.workspace import Workspace

    frame = tables.read(table)
    given: dict[str, Any] = {
        "factors": {name: tables.settings(frame, name) for name in factor or []},
        "outcome": outcome,
        "question": question,
        "matters": tables.number(matters, outcome),
    }
    given = {name: value for name, value in given.items() if value}
    with Workspace(folder) as ws:
        known = {t.name: t for t in ws.trials()}
        into = known.get(trial) or ws.new_trial(trial, **given)
        try:
            doubts = into.import_csv(table)
        except BaseException:
            if trial not in known:
                ws.remove_trial(trial)  # made for this table alone
            raise
        if trial in known and given:
            into.change(**given)
        for doubt in doubts:
            say(f"look again: {doubt}")
        rows = into.frame()
    doughs = len(rows[["bake", "dough"]].drop_duplicates())
    say(f"{trial}: {doughs} doughs and {len(rows)} pieces in {folder}")
