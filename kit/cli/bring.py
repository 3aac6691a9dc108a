"""``kit import``: a table into a workspace, looked at first."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from kit.cli import tables
from kit.cli.shell import Matters, command, say
from kit.errors import DataError, InputError
from kit.records.typed import plain_name

if TYPE_CHECKING:
    from kit.records.sheets.look import Look

__all__ = ["import_"]

_ANSWER = "Answer with --column 'Heading=meaning unit', --dates or --decimal."


@command("import")
def import_(
    table: Annotated[Path, typer.Argument(help="CSV or XLSX file.")],
    trial: Annotated[str, typer.Option(help="Into this trial; made when absent.")],
    folder: Annotated[Path, typer.Argument(help="The workspace.")] = Path("my-bakes"),
    factor: Annotated[
        list[str] | None, typer.Option(help="Quantity set on purpose; may repeat.")
    ] = None,
    outcome: Annotated[str | None, typer.Option(help="Quantity that answers.")] = None,
    question: Annotated[str, typer.Option(help="What the trial asks.")] = "",
    matters: Matters = None,
    column: Annotated[
        list[str] | None,
        typer.Option(help="What a column means: 'Height=rise_height_mm in'; may repeat."),
    ] = None,
    dates: Annotated[str | None, typer.Option(help="day/month or month/day.")] = None,
    decimal: Annotated[str | None, typer.Option(help="comma or point.")] = None,
    sheet: Annotated[str | None, typer.Option(help="Of a workbook; the first.")] = None,
    look: Annotated[bool, typer.Option(help="Only show how it is understood.")] = False,
    good_rows: Annotated[
        bool, typer.Option(help="Store the rows that can be used, leave the others.")
    ] = False,
) -> None:
    """Bring a table into a workspace: one row a piece, a dough or a value.

    What each column means is guessed from its heading and can be said with --column. Nothing is
    stored while there are questions or problems, unless --good-rows says so; a corrected table
    brings the rest, and nothing twice.

    Example: python -m kit import bakes.csv my-bakes --trial salt --factor salt_percent
    """
    from kit import words
    from kit.workspace import Workspace

    with Workspace(folder) as ws:
        known = {t.name: t for t in ws.trials()}
        with ws.together(f"{trial}: {plain_name(table.name)} brought in", whole=True):
            into = known.get(trial) or ws.new_trial(trial)
            seen = _corrected(into.look_at(table, sheet), column or [], dates, decimal)
            given = _given(seen, factor or [], outcome, question, matters)
            if look or (not good_rows and (seen.questions or len(seen.problems))):
                say(seen.text(_ANSWER))
            if look:
                raise typer.Exit  # a trial that was made for looking is taken back
            _refuse_doubts(seen, good_rows)
            given = {name: v for name, v in given.items() if v != getattr(into, name)}
            if given:  # first: what is no factor is told of
                into.change(**given)
            told = into.bring_in(seen)
        say(str(told))
        rows = into.frame()
    doughs = len(rows[["bake", "dough"]].drop_duplicates())
    held = f"{words.plural(doughs, 'dough')} and {words.plural(len(rows), 'piece')}"
    say(f"{trial}: {held} in {folder}")


def _corrected(seen: "Look", columns: list[str], dates: str | None, decimal: str | None) -> "Look":
    """The table as it was said to be meant."""
    for said in columns:
        heading, sign, meaning = said.partition("=")
        if not sign or not meaning.strip():
            raise InputError(
                "--column", said, "must be a heading and what it means",
                "For example 'Height=rise_height_mm in' or 'Remarks=ignored'.",
            )  # fmt: skip
        name, _, unit = meaning.strip().partition(" ")
        seen = seen.with_column(heading.strip(), name, unit.strip() or None)
    if dates is not None:
        seen = seen.with_dates(dates)
    return seen if decimal is None else seen.with_decimal(decimal)


def _given(
    seen: "Look", factors: list[str], outcome: str | None, question: str, matters: str | None
) -> dict[str, Any]:
    """What the trial is about, as far as it was said."""
    frame = seen.to_frame()
    given: dict[str, Any] = {
        "factors": {name: tables.settings(frame, name) for name in factors},
        "outcome": outcome,
        "question": question,
        "matters": tables.number(matters, outcome),
    }
    return {name: value for name, value in given.items() if value}


def _refuse_doubts(seen: "Look", good_rows: bool) -> None:
    from kit import words

    bad = seen.problems["row"].nunique()
    if good_rows or not (bad or seen.questions):
        return
    msg = (
        "there are questions, see above: answer with --column, --dates or --decimal, or store as "
        "it is understood with --good-rows."
    )
    if bad:
        msg = (
            f"{words.plural(bad, 'row')} cannot be used, see above: correct the table, or store "
            "the others with --good-rows."
        )
    raise DataError(msg)
