"""The command line: ``python -m kit …``. Every command calls one public function and shows it."""

import os
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
from rich.console import Console
from rich.markup import escape

from kit.errors import DataError, InputError, KitError, NotFoundError, StoreError

if TYPE_CHECKING:
    import pandas as pd

    from kit.analysis.compare import Comparison
    from kit.workspace import Trial

__all__ = ["app", "main"]

app = typer.Typer(
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode="rich",
    pretty_exceptions_enable=False,
    help="Bake trials: record them, compare them honestly, share the page.",
)
_out, _err = Console(highlight=False, soft_wrap=True), Console(stderr=True, soft_wrap=True)

Where = Annotated[str, typer.Argument(help="A CSV file, one row a piece, or a workspace folder.")]
Column = Annotated[str | None, typer.Option(help="Column.")]


def _said_in_one_line(command: Callable[..., None]) -> Callable[..., None]:
    """Show the kit's own errors as a sentence; 2 for what was asked, 1 for the store."""

    @wraps(command)
    def run(*args: Any, **kwargs: Any) -> None:
        try:
            command(*args, **kwargs)
        except KitError as exc:
            _err.print(f"[bold]kit:[/bold] {escape(str(exc))}")
            raise typer.Exit(1 if isinstance(exc, StoreError) else 2) from exc

    return run


@app.command()
@_said_in_one_line
def start(
    folder: Annotated[Path, typer.Argument(help="Where your bakes live.")] = Path("my-bakes"),
    browser: Annotated[bool, typer.Option(help="Open a browser window.")] = True,
    lab: Annotated[bool, typer.Option(help="Go on to JupyterLab.")] = True,
) -> None:
    """Make a workspace, answer the demo trial, open the first notebook.

    Example: python -m kit start my-bakes
    """
    from kit import shipped
    from kit.workspace import Workspace

    with Workspace(folder) as ws:
        trial = shipped.load_demo(ws)
        answer = trial.compare()
        page = trial.writeup(folder / f"{trial.name}.html", answer)
        _out.print(
            f"[bold]{escape(trial.question)}[/bold]  (invented data, to show how it works)\n"
        )
        _out.print(f"[bold]{answer.headline}[/bold] {escape(answer.sentence)}")
        _out.print(f"{answer.rests_on} {escape(answer.next_step)}\n")
        _out.print(f"The page to share: {page}")
    for line in shipped.copy_notebooks(folder):
        _out.print(line)
    if lab:
        _lab(folder, browser)


def _lab(folder: Path, browser: bool) -> None:
    """Run JupyterLab on the first notebook until the baker stops it."""
    command = [
        sys.executable, "-m", "jupyterlab", f"--ServerApp.root_dir={folder.resolve()}",
        "--LabApp.default_url=/doc/tree/compare.ipynb",
    ]  # fmt: skip
    if not browser:
        command.append("--no-browser")
    if hasattr(os, "geteuid") and os.geteuid() == 0:
        command.append("--allow-root")
    settings = Path(__file__).parent / "panels" / "jupyter"
    paths = [str(settings), os.environ.get("JUPYTER_CONFIG_PATH", "")]
    environment = os.environ | {"JUPYTER_CONFIG_PATH": os.pathsep.join(filter(None, paths))}
    _out.print("JupyterLab is starting; stop it with Ctrl-C.")
    raise typer.Exit(subprocess.run(command, env=environment, check=False).returncode)


@app.command()
@_said_in_one_line
def compare(
    where: Where,
    outcome: Column = None,
    by: Column = None,
    dough: Column = None,
    bake: Column = None,
    load: Column = None,
    adjust: Annotated[list[str] | None, typer.Option(help="Hold alike; may repeat.")] = None,
    matters: Annotated[
        float | None, typer.Option(help="Smallest difference you care about.")
    ] = None,
    control: Annotated[str | None, typer.Option(help="Compare with this setting only.")] = None,
    line: Annotated[
        bool | None, typer.Option("--line/--settings", help="A straight line, or settings.")
    ] = None,
    trial: Annotated[str | None, typer.Option(help="Trial of the workspace.")] = None,
) -> None:
    """Compare the settings of a factor and answer in words.

    Example: python -m kit compare bakes.csv --outcome height_mm --by malt --dough dough --bake day
    """
    answer, _ = _answer(
        where, trial, outcome, by, dough, bake, load, adjust or [], matters, control, line
    )
    _show(answer)


@app.command()
@_said_in_one_line
def writeup(
    where: Where,
    out: Annotated[Path | None, typer.Option(help="Page to write: .html, .pdf or .md.")] = None,
    outcome: Column = None,
    by: Column = None,
    dough: Column = None,
    bake: Column = None,
    load: Column = None,
    adjust: Annotated[list[str] | None, typer.Option(help="Hold alike; may repeat.")] = None,
    matters: Annotated[
        float | None, typer.Option(help="Smallest difference you care about.")
    ] = None,
    control: Annotated[str | None, typer.Option(help="Compare with this setting only.")] = None,
    line: Annotated[
        bool | None, typer.Option("--line/--settings", help="A straight line, or settings.")
    ] = None,
    trial: Annotated[str | None, typer.Option(help="Trial of the workspace.")] = None,
    source: Annotated[str, typer.Option(help="Where the data come from.")] = "",
) -> None:
    """Write the one page you share.

    Example: python -m kit writeup my-bakes --trial harbour-malt --out malt.html
    """
    from kit.writeup import from_frame, write

    answer, whose = _answer(
        where, trial, outcome, by, dough, bake, load, adjust or [], matters, control, line
    )
    if whose.trial is not None:
        path = whose.trial.writeup(out or Path(f"{whose.trial.name}.html"), answer)
    else:
        name = Path(where).stem
        report = from_frame(
            whose.frame, answer, name, source=source, dough=dough, bake=bake, load=load
        )
        path = write(report, out or Path(f"{name}.html"))
    _out.print(f"{answer.headline} {escape(answer.sentence)}")
    _out.print(f"Written: {path}")


@app.command("import")
@_said_in_one_line
def import_(
    table: Annotated[Path, typer.Argument(help="CSV file, one row a piece.")],
    folder: Annotated[Path, typer.Argument(help="The workspace.")] = Path("my-bakes"),
    trial: Annotated[str, typer.Option(help="Into this trial; made when absent.")] = ...,  # type: ignore[assignment]
    factor: Annotated[
        list[str] | None, typer.Option(help="Column set on purpose; may repeat.")
    ] = None,
    outcome: Annotated[str | None, typer.Option(help="Quantity that answers.")] = None,
    question: Annotated[str, typer.Option(help="What the trial asks.")] = "",
    matters: Annotated[
        float | None, typer.Option(help="Smallest difference you care about.")
    ] = None,
) -> None:
    """Bring a table into a workspace, whole or not at all.

    Columns: bake, dough, and as there are day (YYYY-MM-DD), load, piece, place, flour_lot,
    yeast_lot and any quantity by name, such as malt_percent or rise_height_mm.

    Example: python -m kit import bakes.csv my-bakes --trial salt --factor salt_percent
    """
    from kit.workspace import Workspace

    frame = _read(table)
    settings = {name: _settings(frame, name) for name in factor or []}
    with Workspace(folder) as ws:
        known = {t.name: t for t in ws.trials()}
        made = trial not in known
        into = known.get(trial) or ws.new_trial(
            trial, question=question, factors=settings, outcome=outcome, matters=matters
        )
        try:
            doubts = into.import_csv(table)
        except KitError:
            if made:
                ws.remove_trial(trial)
            raise
        for doubt in doubts:
            _out.print(f"look again: {escape(doubt)}")
        rows = into.frame()
    _out.print(f"{trial}: {rows['dough'].nunique()} doughs and {len(rows)} pieces in {folder}")


@dataclass(frozen=True)
class _Whose:
    """What a comparison was made from: a trial, or a table."""

    trial: "Trial | None"
    frame: "pd.DataFrame"


def _answer(
    where: str,
    trial: str | None,
    outcome: str | None,
    by: str | None,
    dough: str | None,
    bake: str | None,
    load: str | None,
    adjust: list[str],
    matters: float | None,
    control: str | None,
    line: bool | None,
) -> tuple["Comparison", _Whose]:
    """Compare from a table or from a workspace, whichever `where` is."""
    if Path(where).is_dir() or "://" in where:
        from kit.workspace import Workspace

        for name, value in (("--dough", dough), ("--bake", bake), ("--load", load)):
            if value is not None:
                raise InputError(
                    name, value, "goes with a table", "A workspace knows its own doughs."
                )
        ws = Workspace(where)
        names = [t.name for t in ws.trials()]
        if trial is None and len(names) != 1:
            raise NotFoundError("trial chosen: say --trial", "", names)
        whose = ws.trial(trial or names[0])
        chosen = _level(whose.frame(), by or next(iter(whose.factors), None), control)
        answer = whose.compare(
            outcome, by, matters, adjust=adjust or None, control=chosen, line=line
        )
        return answer, _Whose(whose, whose.frame())

    from kit.analysis.compare import compare as compare_frame

    frame = _read(Path(where))
    if outcome is None or by is None:
        missing = "--outcome" if outcome is None else "--by"
        raise InputError(missing, None, "is needed with a table", f"Columns: {_columns(frame)}.")
    answer = compare_frame(
        frame, outcome, by, dough=dough, bake=bake, load=load, matters=matters, adjust=adjust,
        control=_level(frame, by, control), line=line,
    )  # fmt: skip
    return answer, _Whose(None, frame)


def _columns(frame: "pd.DataFrame") -> str:
    return ", ".join(map(str, frame.columns))


def _read(table: Path) -> "pd.DataFrame":
    """Read a CSV file.

    Raises
    ------
    DataError
        It is not there, or not a table.
    """
    import pandas as pd

    try:
        return pd.read_csv(table)
    except FileNotFoundError as exc:
        msg = f"{table} is not there. Give a CSV file or a workspace folder."
        raise DataError(msg) from exc
    except (pd.errors.ParserError, pd.errors.EmptyDataError, UnicodeDecodeError, OSError) as exc:
        msg = f"{table} cannot be read as a CSV table: {str(exc).splitlines()[0]}"
        raise DataError(msg) from exc


def _level(frame: "pd.DataFrame", by: str | None, control: str | None) -> Any:
    """The setting a person means by its text."""
    if control is None or by is None or by not in frame:
        return control
    for level in frame[by].dropna().unique():
        if str(level) == control or (isinstance(level, float) and f"{level:g}" == control):
            return level
    listed = ", ".join(f"{v:g}" if isinstance(v, float) else str(v) for v in frame[by].unique())
    raise InputError("--control", control, f"must be one of {listed}")


def _settings(frame: "pd.DataFrame", column: str) -> list[Any]:
    if column not in frame:
        raise NotFoundError("column", column, frame.columns)
    return sorted(frame[column].dropna().unique().tolist())


def _show(answer: "Comparison") -> None:
    """Print an answer: words first, then the numbers they rest on."""
    from kit.analysis.sentences import why_not_pieces

    _out.print(f"[bold]{answer.headline}[/bold] {escape(answer.sentence)}")
    _out.print(f"{escape(answer.rests_on)} {escape(answer.next_step)}")
    for check in answer.checks:
        _out.print(f"Note: {escape(check)}.")
    columns = ["contrast", "difference", "low", "high", "se", "df", "p", "answer"]
    table = answer.differences[columns].to_string(index=False, float_format="{:.4g}".format)
    _out.print(f"\n{escape(table)}\n")
    if why := why_not_pieces(answer):
        _out.print(escape(why))
    _out.print(f"[dim]{escape(answer.method)}[/dim]")


def main() -> None:
    """Entry point; Ctrl-C ends quietly."""
    try:
        app(prog_name="kit")
    except KeyboardInterrupt:
        sys.exit(130)
