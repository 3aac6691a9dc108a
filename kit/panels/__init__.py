"""Widgets for the notebooks: they ask, call one public function, and show what it returns."""

import os
from datetime import date
from pathlib import Path
from typing import Any, Protocol, TypeVar

from kit import shipped
from kit.panels.bring import BringPanel
from kit.panels.compare import ComparePanel
from kit.panels.deeper import DeeperPanel
from kit.panels.measure import MeasurePanel
from kit.panels.parts.controls import Panel
from kit.panels.plan import PlanPanel
from kit.panels.record import RecordPanel
from kit.panels.rise import RisePanel
from kit.panels.share import SharePanel
from kit.panels.side_by_side import SideBySidePanel
from kit.panels.taste import TastePanel
from kit.workspace import Workspace

__all__ = [
    "BringPanel", "ComparePanel", "DeeperPanel", "MeasurePanel", "PlanPanel", "RecordPanel",
    "RisePanel", "SharePanel", "SideBySidePanel", "TastePanel", "bring", "compare", "deeper",
    "measure", "open_workspace", "plan", "record", "rise", "share", "side_by_side", "taste",
]  # fmt: skip

_P = TypeVar("_P", bound=Panel)
_Shown = TypeVar("_Shown", covariant=True)


class _Opens(Protocol[_Shown]):
    def __call__(self, workspace: Workspace | None = None) -> _Shown: ...


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


#: the panel of each kind that was shown last, by workspace and cell, and its day: a page reloaded
#: makes another, but what was at hand yesterday need not be today
_SHOWN: dict[tuple[type[Panel], str, str], tuple[Any, date]] = {}


def _cell() -> str:
    """Return the mark of the notebook's cell that runs now; empty outside a notebook."""
    from IPython.core.getipython import get_ipython

    get_parent: Any = getattr(get_ipython(), "get_parent", dict)
    return str(get_parent().get("metadata", {}).get("cellId", ""))


def _again(panel: _P) -> _P:
    """Return a panel as the one before it was left that day, as when its page is reloaded."""
    shown = panel.workspace.folder or panel.workspace.store.name
    kind, today = (type(panel), str(shown), _cell()), date.today()
    # first: what cannot come back must not be tried for ever
    before, day = _SHOWN.pop(kind, (None, today))
    panel.stand_for(before, afresh=day != today)
    _SHOWN[kind] = panel, today
    return panel


def _opens(kind: type[_P]) -> _Opens[_P]:
    """Return what shows such a panel on a workspace, on the baker's own when none is given."""

    def opened(workspace: Workspace | None = None) -> _P:
        return _again(kind(workspace or open_workspace()))

    opened.__doc__, opened.__name__ = kind.__doc__, kind.__module__.rpartition(".")[2]
    return opened


bring, compare, measure = _opens(BringPanel), _opens(ComparePanel), _opens(MeasurePanel)
plan, record, rise = _opens(PlanPanel), _opens(RecordPanel), _opens(RisePanel)
share, side_by_side, taste = _opens(SharePanel), _opens(SideBySidePanel), _opens(TastePanel)


def deeper(workspace: Workspace | None = None, follows: ComparePanel | None = None) -> DeeperPanel:
    """The panel of further questions in the compare notebook, on the baker's workspace.

    Parameters
    ----------
    workspace : Workspace, optional
    follows : ComparePanel, optional
        Whatever trial is picked there is picked here as well.
    """
    opened = workspace or (follows.workspace if follows else open_workspace())
    panel = _again(DeeperPanel(opened))
    if follows is not None:
        follows.trial.observe(lambda change: setattr(panel.trial, "value", change["new"]), "value")
    return panel
