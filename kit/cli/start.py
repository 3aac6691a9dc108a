"""``kit start``: a workspace with the demo in it, and JupyterLab on the first notebook."""

import os
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from kit.cli.shell import command, say
from kit.us_units import WANTED

if TYPE_CHECKING:
    from kit.workspace import Trial

__all__ = ["start"]


@command()
def start(
    folder: Annotated[Path, typer.Argument(help="Where your bakes live.")] = Path("my-bakes"),
    browser: Annotated[bool, typer.Option(help="Open a browser window.")] = True,
    lab: Annotated[bool, typer.Option(help="Go on to JupyterLab.")] = True,
    port: Annotated[int, typer.Option(help="Of JupyterLab; the next free one if taken.")] = 8888,
    us: Annotated[bool, typer.Option("--us", help="Show inches, ounces and °F as well.")] = False,
) -> None:
    """Make a workspace, answer the demo trial, open the first notebook.

    Example: python -m kit start my-bakes
    """
    if us:
        os.environ[WANTED[0]] = WANTED[1]  # the notebooks' kernels inherit it
    say("Looking into the records; the first time this takes up to two minutes.")
    from kit import shipped
    from kit.workspace import Workspace

    with Workspace(folder) as ws:
        trials = {trial.name: trial for trial in ws.trials()}
        # a baker who has taken the demo out does not want it back
        demo = trials.get(shipped.DEMO) if trials else shipped.load_demo(ws)
        if demo is None:
            say(f"Trials in {folder}: {', '.join(trials)}.")
        else:
            _tell_demo(demo, folder / f"{demo.name}.html")
    for line in shipped.copy_notebooks(folder):
        say(line)
    if lab:
        _lab(folder, browser, port)


def _tell_demo(demo: "Trial", page: Path) -> None:
    """Print the demo's answer; write its page unless one is there, perhaps of another question."""
    answer = demo.compare()
    say(demo.question, "bold")
    say("Invented data: made up to show how this works.", "italic")
    say()
    say(answer.headline, "bold")
    for text in (answer.sentence, answer.rests_on, answer.next_step):
        say(text)
    say()
    if not page.exists():
        demo.writeup(page, answer)
    say(f"The page to share: {page}")


def _lab(folder: Path, browser: bool, port: int) -> None:
    """Run JupyterLab on the first notebook until the baker stops it.

    In this process, so that whatever ends it ends the server too.
    """
    from jupyterlab.labapp import LabApp  # type: ignore[import-untyped]

    settings = Path(__file__).parent.parent / "panels" / "jupyter"
    others = os.environ.get("JUPYTER_CONFIG_PATH", "")
    os.environ["JUPYTER_CONFIG_PATH"] = os.pathsep.join(filter(None, [str(settings), others]))
    os.environ["KIT_FOLDER"] = str(folder.resolve())
    words = [
        f"--ServerApp.root_dir={folder.resolve()}",
        f"--ServerApp.port={port}",
        f"--ServerApp.open_browser={browser}",
        "--ServerApp.answer_yes=True",  # Ctrl-C ends it without a question
        "--LabApp.default_url=/doc/tree/compare.ipynb",
        f"--LabApp.extra_labextensions_path={settings / 'labextensions'}",
        "--LabApp.log_level=ERROR",
        "--ServerApp.log_level=ERROR",
    ]
    if hasattr(os, "geteuid") and os.geteuid() == 0:
        words.append("--ServerApp.allow_root=True")
    say("JupyterLab is starting; stop it with Ctrl-C.")
    LabApp.launch_instance(words)
