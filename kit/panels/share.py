"""The share panel: a trial as one file, its recipe as a page, another baker's brought in."""

from html import escape
from pathlib import Path
from typing import Self

import ipywidgets as widgets

from kit.errors import InputError
from kit.panels.parts.controls import Panel, button, columns, offer, pick, section, tick
from kit.panels.parts.fields import Typed, tell
from kit.panels.parts.style import link
from kit.panels.parts.today import trial_to_answer
from kit.panels.share_recipe import RecipeBlock
from kit.records.keeping.aside import file_name
from kit.workspace import Workspace

__all__ = ["SharePanel"]


class SharePanel(Panel):
    """Asks for a trial and for a file, by `Trial.package`, `Trial.recipe`, `Workspace.receive`."""

    def __init__(self, workspace: Workspace) -> None:
        self.workspace = workspace
        names = [trial.name for trial in workspace.trials()]
        self.trial = pick("Trial to share", names, value=trial_to_answer(workspace))
        self.photos = tick("With its photos, place and serial numbers taken out", True)
        self.licence = Typed("What others may do", "", "CC-BY-4.0, or empty")
        self.pack = button("Pack it into one file", self._pack, "archive")
        self.packed = widgets.HTML()
        self.source = Typed("The file", "", "salt.zip, or its path")
        self.baker = Typed("Whose it is", "", "when the file does not say")
        self.receive = button("Bring it in", self._receive, "download")
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
        def packed() -> str:
            trial = self.workspace.trial(self.trial.value)
            path = self.folder / f"{file_name(trial.name)}.zip"
            told = trial.package(path, self.photos.value, self.licence.value.strip() or None)
            return f'<div role="status"><p>{link(path)}</p>{_lines(str(told))}</div>'

        tell(self.packed, packed, meanwhile="Working …")

    def _receive(self) -> None:
        def received() -> str:
            path = self.source.read(self._found)
            told = self.workspace.receive(path, self.baker.value.strip() or None)
            self._offer(told.name)
            return f'<div role="status">{_lines(str(told))}</div>'

        tell(self.received, received, self.source, meanwhile="Working …")

    def _offer(self, arrived: str) -> None:
        """Offer a trial that was brought in, too; the one that is picked stays."""
        picked = self.trial.value
        with self.filling():  # a menu with other options goes through its first one
            offer(self.trial, [one.name for one in self.workspace.trials()], picked, arrived)
        if self.trial.value != picked:
            self._show_trial()
        self.pack.disabled = False

    def _found(self, text: str) -> Path:
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
