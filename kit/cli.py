"""The command line: ``python -m kit …``. Every command calls public functions and shows it."""

import os
import re
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
from rich.console import Console
from rich.markup import escape
from rich.table import Table

from kit.errors import DataError, InputError, KitError, NotFoundError, StoreError

if TYPE_CHECKING:
    import pandas as pd

    from kit.analysis.compare import Comparison
    from kit.workspace import Trial, Workspace
    from kit.writeup import Report

__all__ = ["app", "main"]

app = typer.Typer(
    add_completion=False,
    rich_markup_mode="rich",
    pretty_exceptions_enable=False,
    help="Bake trials: record them, compare them honestly, share the page.",
)
_out, _err = Console(highlight=False), Console(stderr=True, highlight=False, soft_wrap=True)

Where = Annotated[str, typer.Argument(help="A CSV file, one row a piece, or a workspace folder.")]
Outcome = Annotated[str | None, typer.Option(help="Column that was measured.")]
By = Annotated[str | None, typer.Option(help="Column that was set on purpose.")]
Dough = Annotated[str | None, typer.Option(help="Column of a table that tells doughs apart.")]
Bake = Annotated[str | None, typer.Option(help="Column of a table that tells bakes apart.")]
Load = Annotated[str | None, typer.Option(help="Column of a table that tells loads apart.")]
Adjust = Annotated[list[str] | None, typer.Option(help="Hold this alike; may repeat.")]
Matters = Annotated[
    str | None, typer.Option(help="Smallest difference you care about: 2, 2,5 or '1/16 in'.")
]
Control = Annotated[str | None, typer.Option(help="Compare every setting with this one only.")]
Line = Annotated[
    bool | None, typer.Option("--line/--settings", help="A straight line, or setting by setting.")
]
OfTrial = Annotated[str | None, typer.Option("--trial", help="Which trial of a workspace.")]
LeaveOut = Annotated[
    list[str] | None, typer.Option(help="Leave out what this event happened to; may repeat.")
]
Source = Annotated[str, typer.Option(help="Where a table comes from, for its page.")]


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


@app.callback(invoke_without_command=True)
def _help(context: typer.Context) -> None:
    if context.invoked_subcommand is None:
        typer.echo(context.get_help())


@app.command()
@_said_in_one_line
def start(
    folder: Annotated[Path, typer.Argument(help="Where your bakes live.")] = Path("my-bakes"),
    browser: Annotated[bool, typer.Option(help="Open a browser window.")] = True,
    lab: Annotated[bool, typer.Option(help="Go on to JupyterLab.")] = True,
    port: Annotated[int, typer.Option(help="Of JupyterLab; the next free one if taken.")] = 8888,
) -> None:
    """Make a workspace, answer the demo trial, open the first notebook.

    Example: python -m kit start my-bakes
    """
    from kit import shipped
    from kit.workspace import Workspace

    with Workspace(folder) as ws:
        trials = {trial.name: trial for trial in ws.trials()}
        # a baker who has taken the demo out does not want it back
        demo = trials.get(shipped.DEMO) if trials else shipped.load_demo(ws)
        if demo is None:
            _say(f"Trials in {folder}: {', '.join(trials)}.")
        else:
            _tell_demo(demo, folder / f"{demo.name}.html")
    for line in shipped.copy_notebooks(folder):
        _say(line)
    if lab:
        _lab(folder, browser, port)


def _tell_demo(demo: "Trial", page: Path) -> None:
    """Print the demo's answer; write its page unless one is there, perhaps of another question."""
    answer = demo.compare()
    _say(demo.question, "bold")
    _say("Invented data: made up to show how this works.", "italic")
    _say()
    _say(answer.headline, "bold")
    for text in (answer.sentence, answer.rests_on, answer.next_step):
        _say(text)
    _say()
    if not page.exists():
        demo.writeup(page, answer)
    _say(f"The page to share: {page}")


def _lab(folder: Path, browser: bool, port: int) -> None:
    """Run JupyterLab on the first notebook until the baker stops it.

    In this process, so that whatever ends it ends the server too.
    """
    from jupyterlab.labapp import LabApp  # type: ignore[import-untyped]

    settings = Path(__file__).parent / "panels" / "jupyter"
    others = os.environ.get("JUPYTER_CONFIG_PATH", "")
    os.environ["JUPYTER_CONFIG_PATH"] = os.pathsep.join(filter(None, [str(settings), others]))
    os.environ["KIT_FOLDER"] = str(folder.resolve())
    words = [
        f"--ServerApp.root_dir={folder.resolve()}",
        f"--ServerApp.port={port}",
        f"--ServerApp.open_browser={browser}",
        "--ServerApp.answer_yes=True",  # Ctrl-C ends it without a question
        "--LabApp.default_url=/doc/tree/compare.ipynb",
        "--LabApp.log_level=ERROR",
        "--ServerApp.log_level=ERROR",
    ]
    if hasattr(os, "geteuid") and os.geteuid() == 0:
        words.append("--ServerApp.allow_root=True")
    _say("JupyterLab is starting; stop it with Ctrl-C.")
    LabApp.launch_instance(words)


@app.command()
@_said_in_one_line
def compare(
    where: Where,
    outcome: Outcome = None,
    by: By = None,
    dough: Dough = None,
    bake: Bake = None,
    load: Load = None,
    adjust: Adjust = None,
    matters: Matters = None,
    control: Control = None,
    line: Line = None,
    trial: OfTrial = None,
    leave_out: LeaveOut = None,
    out: Annotated[Path | None, typer.Option(help="Write the page as well.")] = None,
    source: Source = "",
) -> None:
    """Compare the settings of a factor and answer in words.

    From a table:
    python -m kit compare bakes.csv --outcome height_mm --by malt --dough dough --bake day

    From a workspace:
    python -m kit compare my-bakes --trial harbour-malt
    """
    groups = {"dough": dough, "bake": bake, "load": load}
    told = _answer(
        where, trial, groups, leave_out or [], source, outcome=outcome, by=by, matters=matters,
        adjust=adjust, control=control, line=line,
    )  # fmt: skip
    _show(told)
    if out is not None:
        _write(told, out)


@app.command()
@_said_in_one_line
def writeup(
    where: Where,
    out: Annotated[Path | None, typer.Option(help="Page to write: .html, .pdf or .md.")] = None,
    outcome: Outcome = None,
    by: By = None,
    dough: Dough = None,
    bake: Bake = None,
    load: Load = None,
    adjust: Adjust = None,
    matters: Matters = None,
    control: Control = None,
    line: Line = None,
    trial: OfTrial = None,
    leave_out: LeaveOut = None,
    source: Source = "",
) -> None:
    """Write the one page you share; beside the table, or into the workspace, unless --out says.

    Example: python -m kit writeup my-bakes --trial harbour-malt --out malt.html
    """
    groups = {"dough": dough, "bake": bake, "load": load}
    told = _answer(
        where, trial, groups, leave_out or [], source, outcome=outcome, by=by, matters=matters,
        adjust=adjust, control=control, line=line,
    )  # fmt: skip
    _show_invented(told)
    _say(f"{told.answer.headline} {told.answer.sentence}")
    _write(told, out or told.page)


@app.command("import")
@_said_in_one_line
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

    frame = _read(table)
    given: dict[str, Any] = {
        "factors": {name: _settings(frame, name) for name in factor or []},
        "outcome": outcome,
        "question": question,
        "matters": _number(matters, outcome),
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
            _say(f"look again: {doubt}")
        rows = into.frame()
    doughs = len(rows[["bake", "dough"]].drop_duplicates())
    _say(f"{trial}: {doughs} doughs and {len(rows)} pieces in {folder}")


@dataclass(frozen=True)
class _Told:
    """An answer, the report that goes with it, and where its page goes by itself."""

    answer: "Comparison"
    report: "Report"
    page: Path


def _answer(
    where: str,
    trial: str | None,
    groups: dict[str, str | None],
    leave_out: list[str],
    source: str,
    **asked: Any,
) -> _Told:
    """Compare from a table or from a workspace, whichever `where` is."""
    if not Path(where).is_dir() and "://" not in where:
        for name, value in (("--trial", trial), ("--leave-out", leave_out)):
            if value:
                raise InputError(name, value, "goes with a workspace", "A table is one trial.")
        return _from_table(Path(where), groups, source, **asked)
    for group, column in groups.items():
        if column is not None:
            option = f"--{group}"
            raise InputError(
                option, column, "goes with a table", "A workspace knows its own doughs."
            )
    with _existing(where) as ws:
        chosen = _chosen(ws, trial)
        outcome = asked["outcome"] or chosen.outcome
        by = asked["by"] or next(iter(chosen.factors), None)
        asked["matters"] = _number(asked["matters"], outcome)
        asked["control"] = _level(chosen.frame(), by, asked["control"])
        answer = chosen.compare(**asked, leave_out=leave_out)
        name = re.sub(r"[^\w.-]+", "-", chosen.name)  # a name may hold a slash
        return _Told(answer, chosen.report(answer), (ws.folder or Path()) / f"{name}.html")


def _existing(where: str) -> "Workspace":
    """Open a workspace that is there; looking at a folder must not make one of it."""
    from kit.records.store import FILE
    from kit.workspace import Workspace

    if "://" not in where and not (Path(where) / FILE).exists():
        msg = (
            f"{where} holds no bakes yet. Give a CSV file, or make a workspace of it: "
            f"python -m kit start {where}"
        )
        raise DataError(msg)
    return Workspace(where)


def _chosen(ws: "Workspace", trial: str | None) -> "Trial":
    trials = ws.trials()
    if trial is None and len(trials) != 1:
        names = ", ".join(t.name for t in trials)
        rule = f"must name one of {names}" if trials else "names none: there are no trials yet"
        raise InputError("--trial", trial, rule)
    return trials[0] if trial is None else ws.trial(trial)


def _from_table(
    table: Path, groups: dict[str, str | None], source: str, adjust: list[str] | None, **asked: Any
) -> _Told:
    from kit.analysis.compare import compare as compare_frame
    from kit.writeup import from_frame

    frame = _read(table)
    for option, name in (("--outcome", "outcome"), ("--by", "by")):
        if asked[name] is None:
            remedy = f"Columns: {', '.join(map(str, frame.columns))}."
            raise InputError(option, None, "is needed with a table", remedy)
    asked["matters"] = _number(asked["matters"], asked["outcome"])
    asked["control"] = _level(frame, asked["by"], asked["control"])
    columns: dict[str, Any] = dict(groups)
    answer = compare_frame(frame, **asked, **columns, adjust=adjust or [])
    report = from_frame(frame, answer, table.stem, source=source or table.name, **columns)
    return _Told(answer, report, table.with_suffix(".html"))


def _read(table: Path) -> "pd.DataFrame":
    """Read a CSV file with commas, semicolons or tabs, decimal points or commas.

    Raises
    ------
    DataError
        It is not there, or not a table.
    """
    import pandas as pd
    from pandas.api.types import is_numeric_dtype as is_number

    try:
        with table.open(encoding="utf-8-sig") as file:
            first = file.readline()
        sign = max(",;\t", key=first.count)
        point, comma = (
            pd.read_csv(table, sep=sign, decimal=mark, encoding="utf-8-sig") for mark in ".,"
        )
    except FileNotFoundError as exc:
        msg = f"{table} is not there. Give a CSV file or a workspace folder."
        raise DataError(msg) from exc
    except (pd.errors.ParserError, pd.errors.EmptyDataError, UnicodeDecodeError, OSError) as exc:
        msg = f"{table} cannot be read as a CSV table: {str(exc).splitlines()[0]}"
        raise DataError(msg) from exc
    if sign == ",":
        return point
    for column in map(str, point.columns):
        if not is_number(point[column]) and is_number(comma[column]):
            point[column] = comma[column]
    return point


def _number(matters: str | None, outcome: str | None) -> float | None:
    """What matters, as typed, in the outcome's unit."""
    from kit.analysis.words import unit_of
    from kit.units import parse

    return parse(matters, unit_of(outcome or ""), "--matters", difference=True)


def _level(frame: "pd.DataFrame", by: str | None, control: str | None) -> Any:
    """The setting a person means by its text."""
    if control is None or by is None or by not in frame:
        return control
    levels = frame[by].dropna().unique().tolist()
    named = {f"{v:g}" if isinstance(v, float) else str(v): v for v in levels}
    if control not in named:
        raise InputError("--control", control, f"must be one of {', '.join(named)}")
    return named[control]


def _settings(frame: "pd.DataFrame", column: str) -> list[Any]:
    if column not in frame:
        raise NotFoundError("column", column, map(str, frame.columns))
    return sorted(frame[column].dropna().unique().tolist())


def _say(text: str = "", style: str = "") -> None:
    """Print a paragraph: broken at words on a screen, one line in a file or a pipe."""
    _out.print(escape(text), style=style, soft_wrap=not _out.is_terminal)


def _show_invented(told: _Told) -> None:
    if told.report.invented:
        _say("Invented data: made up to show how this works.", "italic")


def _show(told: _Told) -> None:
    """Print an answer: words first, then the numbers they rest on."""
    from kit.analysis import sentences

    answer = told.answer
    _show_invented(told)
    _say(answer.headline, "bold")
    for text in (answer.sentence, answer.rests_on, answer.next_step):
        _say(text)
    for check in answer.checks:
        _say(f"Note: {check}.")
    _say()
    _out.print(_differences(answer))
    _say()
    if why := sentences.why_not_pieces(answer):
        _say(why)
    _say(answer.method, "dim")


def _differences(answer: "Comparison") -> Table:
    """All differences, each as precise as its interval allows."""
    from kit.analysis import words

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


def _write(told: _Told, path: Path) -> None:
    from kit.writeup import write

    _say(f"Written: {write(told.report, path)}")


#: what was typed wrongly: a class of click, or of the copy that newer typers carry
_Typo: type[Exception] = next(c for c in typer.BadParameter.__mro__ if c.__name__ == "UsageError")


def main(words: Sequence[str] | None = None) -> None:
    """Entry point: a mistake is one line, Ctrl-C ends quietly.

    Parameters
    ----------
    words : sequence of str, optional
        What was typed; the program's own arguments when not given.
    """
    try:
        code = app(args=words, prog_name="kit", standalone_mode=False)
    except _Typo as exc:
        context: Any = getattr(exc, "ctx", None)
        command = "kit" if context is None else context.command_path
        said: str = exc.format_message()  # type: ignore[attr-defined]
        _err.print(escape(f"kit: {said} See: python -m {command} --help"))
        code = 2
    except (typer.Abort, KeyboardInterrupt):
        code = 130
    except BrokenPipeError:  # as with "| head": whoever reads has seen enough
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        code = 0
    except Exception as exc:
        if os.environ.get("KIT_TRACEBACK"):
            raise
        told = " ".join(f"{type(exc).__name__}: {exc}".split())
        _err.print(escape(f"kit: this should not happen. {told} Where: set KIT_TRACEBACK=1."))
        code = 1
    sys.exit(code)
