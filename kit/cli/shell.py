"""What every command shares: the app, how it speaks, and the workspace or table it is given."""

import codecs
import os
import re
import sys
import unicodedata
from collections.abc import Callable
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
from rich.console import Console
from rich.markup import escape

from kit.errors import DataError, InputError, KitError, StoreError
from kit.quantities import find, label
from kit.records.typed import plain_name
from kit.us_units import also_us

if TYPE_CHECKING:
    from kit.workspace import Trial, Workspace

__all__ = [
    "Matters", "OfTrial", "app", "chosen", "command", "counted", "err", "existing", "meant",
    "must_exist", "named", "say", "screen", "speak_plainly",
]  # fmt: skip

app = typer.Typer(
    add_completion=False,
    rich_markup_mode="rich",
    pretty_exceptions_enable=False,
    help="Bake trials: plan them, record them, compare them honestly, share the page.",
)
screen, err = Console(highlight=False), Console(stderr=True, highlight=False, soft_wrap=True)


def _reader_gone(console: Console) -> None:
    """Go on in silence: who reads, as ``| head``, has seen enough; what was asked is done still."""
    console.quiet = True
    os.dup2(os.open(os.devnull, os.O_WRONLY), console.file.fileno())


# of the one that prints the help as well, which is typer's own
Console.on_broken_pipe = _reader_gone  # type: ignore[assignment]

#: what stands for our signs where a terminal or file cannot hold them; a minus must not be lost
_PLAIN = {
    "−": "-",
    "–": "-",
    "—": "-",
    "“": '"',
    "”": '"',
    "‘": "'",
    "’": "'",
    "×": "x",
    "°": "deg ",
}


def _in_plain_signs(exc: UnicodeError) -> tuple[str, int]:
    """Write what an encoding does not hold with what all hold, for example é as e."""
    if not isinstance(exc, UnicodeEncodeError):
        raise exc
    rest = (
        _PLAIN.get(c, unicodedata.normalize("NFKD", c)) for c in exc.object[exc.start : exc.end]
    )
    plain = [part.encode("ascii", "ignore").decode() or "?" for part in rest]
    return "".join(plain), exc.end


def speak_plainly() -> None:
    """Let what is printed reach a terminal or file that is not in UTF-8."""
    codecs.register_error("kit", _in_plain_signs)
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure") and not (stream.encoding or "utf").startswith("utf"):
            stream.reconfigure(errors="kit")


Matters = Annotated[
    str | None, typer.Option(help="Smallest difference you care about: 2, 2,5 or '1/16 in'.")
]
OfTrial = Annotated[str | None, typer.Option("--trial", help="Which trial of a workspace.")]


def command(name: str | None = None) -> Callable[[Callable[..., None]], Callable[..., None]]:
    """Make a command that shows the kit's own errors as a sentence; 1 for the store, else 2."""

    def made(asked: Callable[..., None]) -> Callable[..., None]:
        @wraps(asked)
        def run(*args: Any, **kwargs: Any) -> None:
            try:
                asked(*args, **kwargs)
            except KitError as exc:
                told = re.sub(r"^([\w-]+) is None\b", r"\1 is not given", str(exc))
                err.print(f"[bold]kit:[/bold] {escape(plain_name(told))}")
                raise typer.Exit(1 if isinstance(exc, StoreError) else 2) from exc

        return app.command(name)(run)

    return made


@app.callback(invoke_without_command=True)
def help_without_command(context: typer.Context) -> None:
    if context.invoked_subcommand is None:
        typer.echo(context.get_help())


def say(text: str = "", style: str = "") -> None:
    """Print a paragraph: broken at words on a screen, one line in a file or a pipe."""
    screen.print(escape(also_us(plain_name(text))), style=style, soft_wrap=not screen.is_terminal)


def existing(where: str, or_table: bool = False) -> "Workspace":
    """Open a workspace that is there; see `must_exist`."""
    from kit.workspace import Workspace

    must_exist(where, or_table)
    return Workspace(where)


def must_exist(where: str, or_table: bool = False) -> None:
    """Refuse a folder without a workspace: looking at it must not make one of it.

    `or_table` says whether a table would have done as well, which is then told.
    """
    from kit.records.keeping.copies import copies
    from kit.records.keeping.store import FILE

    # no name at all, and a file gone from beside its copies, are refused by the store in its words
    there = not where.strip() or "://" in where or os.path.exists(Path(where) / FILE)
    if not there and not copies(Path(where)):
        what = "Give a CSV file, or make" if or_table else "Make"
        msg = f"{where} holds no bakes yet. {what} a workspace of it: python -m kit start {where}"
        raise DataError(msg)


def chosen(ws: "Workspace", trial: str | None) -> "Trial":
    """Return the trial that was named, or the only one."""
    trials = ws.trials()
    if trial is None and len(trials) != 1:
        names = ", ".join(t.name for t in trials)
        rule = f"must name one of {names}" if trials else "there are no trials yet"
        raise InputError("--trial", trial, rule)
    return trials[0] if trial is None else ws.trial(trial)


def counted(option: str, typed: str) -> int:
    """A whole number from 1, no larger than a kitchen takes."""
    from kit.plan.kitchen import LARGEST
    from kit.records.typed import whole

    empty, rule = "must not be empty", f"must be a whole number from 1 to {LARGEST}"
    try:
        number = whole(option, typed) or 0
    except InputError:
        number = 0
    if not 1 <= number <= LARGEST:
        raise InputError(option, typed, rule if typed.strip() else empty, "Write 1, 2, 3 …")
    return number


def named(option: str, given: str, example: str) -> tuple[str, str]:
    """A quantity and what it is set to, from ``name=value``."""
    name, sign, value = given.partition("=")
    if not sign:
        rule = "must be a quantity and its settings"
        raise InputError(option, given, rule, f"For example {example}.")
    return name.strip(), value


def meant(said: Any, factors: list[str]) -> Any:
    """The one factor that is meant by a word or two of its label, else what was said."""
    if said is None or find(said) is not None:
        return said
    given = set(said.lower().split())
    meant = [f for f in factors if given <= set(label(f).lower().split())]
    return meant[0] if given and len(meant) == 1 else said
