"""The command line: ``python -m kit …``. Every command calls public functions and shows it.

One module a subject; a command is registered where it is written, in the order of the imports here.
"""

import errno
import os
import sys
from collections.abc import Sequence
from typing import Any

import typer
from rich.markup import escape

from kit.cli.shell import app, err, speak_plainly
from kit.records.typed import plain_name

# the order of --help
from kit.cli import start, plan, bring, note, photos, measure, answers, differ, share, check, undo  # noqa: F401  isort: skip

__all__ = ["app", "main"]

#: what was typed wrongly: a class of click, or of the copy that newer typers carry
_Typo: type[Exception] = next(c for c in typer.BadParameter.__mro__ if c.__name__ == "UsageError")


def main(words: Sequence[str] | None = None) -> None:
    """Run what was typed (the program's own arguments): a mistake is one line, Ctrl-C is quiet."""
    speak_plainly()
    try:
        code = app(args=words, prog_name="kit", standalone_mode=False)
    except _Typo as exc:
        context: Any = getattr(exc, "ctx", None)
        command = "kit" if context is None else context.command_path
        said: str = exc.format_message().rstrip(".")  # type: ignore[attr-defined]
        err.print(escape(plain_name(f"kit: {said}. See: python -m {command} --help")))
        code = 2
    except (typer.Abort, KeyboardInterrupt):
        code = 130
    except BrokenPipeError:  # the end of a help page, which click itself writes; see `shell`
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        code = 0
    except Exception as exc:
        if os.environ.get("KIT_TRACEBACK"):
            raise
        told = " ".join(f"{type(exc).__name__}: {exc}".split())
        told = f"this should not happen. {told} Where: set KIT_TRACEBACK=1."
        if isinstance(exc, OSError) and exc.errno == errno.ENOSPC:  # what is printed goes to a file
            told = "the disk is full. Free some space, then do this again."
        err.print(escape(plain_name(f"kit: {told}")))
        code = 1
    sys.exit(code)
