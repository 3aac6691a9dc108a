"""Widgets for the notebooks: they ask, call one public function, and show what it returns."""

import os
from pathlib import Path

from kit import shipped
from kit.panels.compare import ComparePanel
from kit.panels.plan import PlanPanel
from kit.workspace import Workspace

__all__ = ["ComparePanel", "PlanPanel", "compare", "open_workspace", "plan"]


def open_workspace(folder: str | Path | None = None) -> Workspace:
    """Open the baker's workspace; the demo is in it when it is new.

    Parameters
    ----------
    folder : str or Path, optional
        Where it is. When not given: the folder named by the environment variable
        ``KIT_FOLDER``, else the notebook's own folder if a workspace is in it, else
        ``my-bakes`` beside the notebook.
    """
    if folder is None:
        here = Path.cwd()
        own = here if (here / "bakes.sqlite").exists() else here / "my-bakes"
        folder = os.environ.get("KIT_FOLDER") or own
    ws = Workspace(folder)
    if not ws.trials():
        shipped.load_demo(ws)
    return ws


def compare(workspace: Workspace | None = None) -> ComparePanel:
    """The panel of the compare notebook, on the baker's workspace."""
    return ComparePanel(workspace or open_workspace())


def plan(workspace: Workspace | None = None) -> PlanPanel:
    """The panel of the plan notebook, on the baker's workspace."""
    return PlanPanel(workspace or open_workspace())
