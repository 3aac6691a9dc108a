"""The share panel: a trial as one file, its recipe as a page, another baker's brought in."""

from html import escape
from pathlib import Path
from typing import Self

import ipywidgets as widgets

from kit.errors import InputError, KitError
from kit.panels.blocks import status
from kit.panels.controls import Panel, button, columns, pick, section, tick
from kit.panels.fields import Typed
from kit.panels.share_recipe import RecipeBlock
from kit.panels.style import link, trouble
from kit.panels.today import trial_to_answer
from kit.records.aside import file_name
from kit.workspace import Workspace

__all__ = ["SharePanel"]

_WORKING = status("Working …")
_BUTTON = {"width": "16rem", "max_width": "calc(100% - 4px)"}


class SharePanel(Panel):
    """Asks for a trial and for a file, by `Trial.package`, `Trial.recipe`, `Workspace.receive`.

    Parameters
    ----------
    workspace : Workspace
    """

    def __init__(self, workspace: Workspace) -> None:
        self.workspace = workspace
        names = [trial.name for trial in workspace.trials()]
        self.trial = pick("Trial to share", names, value=trial_to_answer(workspace))
        self.photos = tick("With its photos, place and serial numbers taken out", True)
        self.licence = Typed("What others may do", "", "CC-BY-4.0, or empty")
        self.pack = button("Pack it into one file", self._pack, "archive", **_BUTTON)
        self.packed = widgets.HTML()
        self.source = Typed("The file", "", "salt.zip, or its path")
        self.baker = Typed("Whose it is", "", "when the file does not say")
        self.receive = button("Bring it in", self._receive, "download", **_BUTTON)
        self.received = widgets.HTML()
        self.recipe = RecipeBlock(lambda: self.chosen)
        send = section("Send its data", self.photos, self.licence, self.pack, self.packed)
        tell = section("Hand on its recipe", self.recipe)
        bring = section(
            "Bring in another baker's", self.source, self.baker, self.receive, self.received
        )
        super().__init__(self.trial, columns(send, tell, bring))
        self.pack.disabled = not names
        self.trial.observe(lambda _: self._show_trial(), "value")
        self._show_trial()

    def _asks(self) -> list[widgets.Widget]:
        return [self.trial, self.recipe, self.source, self.baker]  # what others may do is said anew

    def _come_back(self, before: Self) -> None:
        """That photos stay at home comes back, that they may go does not."""
        self.recipe.take_over(before.recipe)
        super()._come_back(before)
        self.photos.value = self.photos.value and before.photos.value

    def _show_trial(self) -> None:
        if self._filling:
            return
        self.packed.value = ""  # it was of another one
        self.recipe.refresh()

    @property
    def folder(self) -> Path:
        """Where files are written to, and looked for first."""
        return self.workspace.folder or Path.cwd()

    def _pack(self) -> None:
        """Write the trial's file and say what is in it."""
        self.packed.value = _WORKING
        try:
            trial = self.workspace.trial(self.trial.value)
            path = self.folder / f"{file_name(trial.name)}.zip"
            told = trial.package(path, self.photos.value, self.licence.value.strip() or None)
        except KitError as exc:
            self.packed.value = trouble(str(exc))
            return
        self.packed.value = f'<div role="status"><p>{link(path)}</p>{_lines(str(told))}</div>'

    def _receive(self) -> None:
        """Bring in what is in a file, whole or not at all, and say what arrived."""
        self.received.value = _WORKING
        try:
            path = self.source.read(self._found)
            told = self.workspace.receive(path, self.baker.value.strip() or None)
        except KitError as exc:
            self.received.value = "" if self.source.said.value else trouble(str(exc))
            return
        self.received.value = f'<div role="status">{_lines(str(told))}</div>'
        picked = self.trial.value
        with self.filling():  # a menu with other options goes through its first one
            self.trial.options = [trial.name for trial in self.workspace.trials()]
            self.trial.value = picked if picked in self.trial.options else told.name
        if self.trial.value != picked:
            self._show_trial()
        self.pack.disabled = False

    def _found(self, text: str) -> Path:
        """The file that is meant: in the workspace's folder, or as its path says."""
        name = text.strip().strip('"')
        if not name:
            raise InputError("the file", text, "must not be empty", "Write its name.")
        path = self.folder / Path(name).expanduser()
        if not path.is_file():
            rule = f"is not there: looked for {path}"
            raise InputError("the file", name, rule, "Put it into your folder, or write its path.")
        return path


def _lines(text: str) -> str:
    """Lines as HTML; what somebody else typed is escaped."""
    return "".join(f"<p>{escape(line)}</p>" for line in text.splitlines())
