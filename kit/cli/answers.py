"""``kit compare`` and ``kit writeup``: an answer on the screen, or as the page that is shared."""

import os
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
from rich.markup import escape
from rich.table import Table

from kit.cli import tables
from kit.cli.shell import Matters, OfTrial, chosen, command, existing, meant, say, screen
from kit.errors import InputError
from kit.quantities import called

if TYPE_CHECKING:
    from kit.analysis.comparison import Comparison

__all__ = ["compare", "writeup"]

Where = Annotated[str, typer.Argument(help="A CSV file, one row a piece, or a workspace folder.")]
Outcome = Annotated[str | None, typer.Option(help="Column that was measured.")]
By = Annotated[str | None, typer.Option(help="Column that was set on purpose.")]
Dough = Annotated[str | None, typer.Option(help="Column of a table that tells doughs apart.")]
Bake = Annotated[str | None, typer.Option(help="Column of a table that tells bakes apart.")]
Mixing = Annotated[
    str | None,
    typer.Option(help="Column of a table that tells, in a bake, what was mixed in one go."),
]
Load = Annotated[str | None, typer.Option(help="Column of a table that tells loads apart.")]
Adjust = Annotated[
    list[str] | None,
    typer.Option(help="Hold this alike; may repeat. Of a trial all it changes, when not given."),
]
Control = Annotated[str | None, typer.Option(help="Compare every setting with this one only.")]
Line = Annotated[
    bool | None, typer.Option("--line/--settings", help="A straight line, or setting by setting.")
]
LeaveOut = Annotated[
    list[str] | None, typer.Option(help="Leave out what this event happened to; may repeat.")
]
Source = Annotated[str, typer.Option(help="Where a table comes from, for its page.")]


def compare(told: "_Told", out: Path | None) -> None:
    """Compare the settings of a factor and answer in words.

    From a table:
    python -m kit compare bakes.csv --outcome height_mm --by malt --dough dough --bake day

    From a workspace:
    python -m kit compare my-bakes --trial harbour-malt
    """
    _show(told)
    if out is not None:
        say(f"Written: {told.write(out)}")


def writeup(told: "_Told", out: Path | None) -> None:
    """Write the one page you share; beside the table, or into the workspace, unless --out says.

    Where a trial changes several things, each is answered in a section of its own, --by first.

    Example: python -m kit writeup my-bakes --trial harbour-malt --out malt.html
    """
    _show_invented(told)
    say(f"{told.answer.headline} {told.answer.sentence}")
    say(f"Written: {told.write(out or told.page)}")


def _both_alike(show: Callable[["_Told", Path | None], None], out_help: str) -> None:
    """Make a command of what shows an answer: both are asked alike."""

    def asked(
        where: Where,
        outcome: Outcome = None,
        by: By = None,
        dough: Dough = None,
        bake: Bake = None,
        load: Load = None,
        mixing: Mixing = None,
        adjust: Adjust = None,
        matters: Matters = None,
        control: Control = None,
        line: Line = None,
        trial: OfTrial = None,
        leave_out: LeaveOut = None,
        out: Annotated[Path | None, typer.Option(help=out_help)] = None,
        source: Source = "",
    ) -> None:
        groups = {"dough": dough, "bake": bake, "load": load, "mixing": mixing}
        told = _answer(
            where, trial, groups, leave_out or [], source, outcome=outcome, by=by, matters=matters,
            adjust=adjust, control=control, line=line,
        )  # fmt: skip
        show(told, out)

    asked.__doc__ = show.__doc__
    command(show.__name__)(asked)


_both_alike(compare, "Write the page as well.")
_both_alike(writeup, "Page to write: .html, .pdf or .md; of a workspace .zip with all data.")


@dataclass(frozen=True)
class _Told:
    """An answer, whether its data are invented, and what writes its page, by itself to `page`."""

    answer: "Comparison"
    invented: bool
    page: Path
    write: Callable[[Path], Path]


def _answer(
    where: str,
    trial: str | None,
    groups: dict[str, str | None],
    leave_out: list[str],
    source: str,
    **asked: Any,
) -> _Told:
    """Compare from a table or from a workspace, whichever `where` is."""
    if not os.path.isdir(where) and "://" not in where and where.strip():
        for name, value in (("--trial", trial), ("--leave-out", leave_out)):
            if value:
                raise InputError(name, value, "goes with a workspace", "A table is one trial.")
        return _from_table(Path(where), groups, source, **asked)
    for group, column in groups.items():
        if column is not None:
            option, remedy = f"--{group}", "A workspace knows its own doughs."
            raise InputError(option, column, "goes with a table", remedy)
    with existing(where, or_table=True) as ws:
        one = chosen(ws, trial)
        for name in ("outcome", "by"):
            asked[name] = None if asked[name] is None else called(asked[name])
        asked["by"] = meant(asked["by"], list(one.factors))
        if asked["adjust"] is not None:  # else what else the trial changed is held alike
            asked["adjust"] = [called(name) for name in asked["adjust"]]
        outcome = asked["outcome"] or one.outcome
        by = asked["by"] or next(iter(one.factors), None)
        asked["matters"] = tables.number(asked["matters"], outcome)
        asked["control"] = tables.level(one.frame(), by, asked["control"])
        answer = one.compare(**asked, leave_out=leave_out)
        page = (ws.folder or Path()) / one.page_name(answer)
        return _Told(answer, one.invented, page, lambda path: one.writeup(path, answer, leave_out))


def _from_table(
    table: Path, groups: dict[str, str | None], source: str, adjust: list[str] | None, **asked: Any
) -> _Told:
    from kit.analysis.compare import compare as compare_frame
    from kit.writeup import from_frame, write

    frame = tables.read(table)
    for option, name in (("--outcome", "outcome"), ("--by", "by")):
        if asked[name] is None:
            remedy = f"Columns: {', '.join(map(str, frame.columns))}."
            raise InputError(option, None, "is needed with a table", remedy)
    asked["matters"] = tables.number(asked["matters"], asked["outcome"])
    asked["control"] = tables.level(frame, asked["by"], asked["control"])
    columns: dict[str, Any] = dict(groups)
    answer = compare_frame(frame, **asked, **columns, adjust=adjust or [])
    del columns["mixing"]  # the answer tells it
    source = source or table.name

    def page(path: Path) -> Path:
        return write(from_frame(frame, answer, table.stem, source=source, **columns), path)

    return _Told(answer, False, table.with_suffix(".html"), page)


def _show_invented(told: _Told) -> None:
    if told.invented:
        say("Invented data: made up to show how this works.", "italic")


def _show(told: _Told) -> None:
    """Print an answer: words first, then the numbers they rest on."""
    answer = told.answer
    _show_invented(told)
    say(answer.headline, "bold")
    for text in (answer.sentence, answer.rests_on, answer.next_step):
        say(text)
    for check in answer.checks:
        say(f"Note: {check}.")
    say()
    screen.print(_differences(answer))
    say()
    if why := answer.why_not_pieces:
        say(why)
    say(answer.method, "dim")


def _differences(answer: "Comparison") -> Table:
    """All differences, each as precise as its interval allows."""
    from kit import words

    unit = words.unit_of(answer.outcome)
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="bold")
    table.add_column(words.capital(words.name(answer.by)), no_wrap=len(answer.by) < 30)
    table.add_column(f"Difference ({unit})" if unit else "Difference", justify="right")
    table.add_column(f"{100 * answer.fit.level:.0f} % interval", no_wrap=True)
    table.add_column("p", justify="right")
    table.add_column("Answer")
    for row in answer.differences.to_dict("records"):
        half = (row["high"] - row["low"]) / 2
        level, versus = (words.amount(answer.by, row[name]) for name in ("level", "versus"))
        span = f"{words.number(row['low'], half)} to {words.number(row['high'], half)}"
        cells = (
            f"{level} against {versus}", words.number(row["difference"], half), span,
            f"{row['p']:.2g}", str(row["answer"]),
        )  # fmt: skip
        table.add_row(*map(escape, cells))
    return table
