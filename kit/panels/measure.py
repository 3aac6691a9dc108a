"""The measure panel: photos of a folder, whose they are, measured, corrected, kept."""

from collections.abc import Callable, Mapping
from html import escape
from pathlib import Path
from threading import Event, Thread
from typing import Any, Self

import ipywidgets as widgets

from kit import words
from kit.errors import InputError, KitError
from kit.panels.measuring.about import SHOWN
from kit.panels.measuring.one import OnePhoto
from kit.panels.measuring.photo_strip import Item, PhotoStrip
from kit.panels.measuring.twice import TwiceBlock
from kit.panels.parts.blocks import items, status
from kit.panels.parts.controls import Panel, button, pick, row, section, toggle, visible
from kit.panels.parts.fields import Typed, tell
from kit.panels.parts.style import trouble
from kit.panels.parts.today import trial_at_work
from kit.panels.recording.at_work import AtWork, Progress
from kit.records.keeping.trouble import said_of_disk
from kit.records.photos.guess import Guess
from kit.records.photos.measured import NOT_LOOKED_AT, AddedPhotos
from kit.records.photos.store import FOLDER, StoredPhoto
from kit.workspace import Trial, Workspace

__all__ = ["MeasurePanel"]

#: longer side of a thumbnail, in pixels, and how often a watched folder is looked at
_THUMB_PX, _WATCH_S = 240, 4.0


class MeasurePanel(Panel):
    """Takes in a folder of photos, shows them in time order, measures and keeps what is accepted.

    Photos are taken from a folder on the computer the notebook runs on: nothing goes through the
    browser, whatever their size.

    Attributes
    ----------
    one : OnePhoto
        The photo that is chosen.
    work : AtWork
        Measuring all of them.
    """

    def __init__(self, workspace: Workspace) -> None:
        self.workspace = workspace
        self._thumbs: dict[str, bytes] = {}
        self._photos: dict[str, StoredPhoto] = {}
        self._guesses: Mapping[str, Guess] = {}
        self._unwatch = Event()
        self._unwatch.set()
        self._seen: dict[Path, tuple[int, int]] = {}
        self._in: set[tuple[Path, tuple[int, int]]] = set()
        self._refused = False
        self.watching: Thread | None = None
        names = [trial.name for trial in workspace.trials()]
        self.trial = pick("Trial", names, value=trial_at_work(workspace))
        self.folder = pick("Folder", self._folders())
        self.path = Typed("or its path", hint="/home/…/photos")
        self.take = button("Take in its photos", self._take_in)
        self.watch = toggle("Watch it for new ones")
        self.taken = widgets.HTML()
        self.strip = PhotoStrip()
        self.counted = widgets.HTML()
        self.one = OnePhoto(self.refresh)
        self.all = button("Measure all that are not measured", self._measure_all)
        self.undo = button("Undo", self._undo)
        self.work = AtWork("Photos", "Nothing is being measured.", self.refresh)
        self.twice = TwiceBlock(lambda: self.chosen)
        which = section(
            "Which photos?", self.trial, self.folder, self.path,
            row(self.take, self.watch, self.undo), self.taken,
        )  # fmt: skip
        self.many = section("Many photos", row(self.all, self.work.stop), self.work)
        super().__init__(which, self.counted, self.strip, self.one, self.many, self.twice)
        self.trial.observe(lambda _: self.refresh(), "value")
        self.watch.observe(lambda _: self._watch(), "value")
        self.strip.observe(lambda _: self._choose(), "chosen")
        self.one.reference.observe_said(self._let_go)
        self.refresh()

    def _folders(self) -> list[tuple[str, str]]:
        """The workspace's folder of photos, and others in the workspace that hold some."""
        home = self.workspace.folder
        if home is None:
            return [("choose …", "")]
        found = [path for path in sorted(home.iterdir()) if path.is_dir() and path.name[0] != "."]
        own = [path for path in found if path.name == FOLDER or _holds_photos(path)]
        return [("choose …", ""), *((path.name, str(path)) for path in own)]

    def _asks(self) -> list[widgets.Widget]:
        return [self.trial]

    def _come_back(self, before: Self) -> None:
        """The photo that is measured comes back, and what was drawn and typed and not kept."""
        super()._come_back(before)
        self.one.hide()  # it is shown anew, by what was typed
        self.one.means.take_over(before.one.means)
        if before.strip.chosen in self._photos:
            self.strip.chosen = before.strip.chosen
        self._choose()
        self.one.take_over(before.one)

    def _relieve(self, before: Self) -> None:
        """Measuring goes on and is stopped here; a folder is not watched any more."""
        if before.watch.value:
            before.watch.value = False
            self.taken.value = status("The folder is not watched any more: the page is a new one.")
        self.work.take_over(before.work)
        self._offer_more()
        if before._refused:
            self.work.said.value = ""  # it was of a reference that is typed anew

    # showing

    def refresh(self) -> None:
        """Show what the records have now; what is being done to a photo goes on."""
        trial = self.chosen
        if trial is None:
            self.strip.show([], {})
            self.one.hide()
            self._photos = {}
            self._offer_more()
            self.counted.value = "<p>There is no trial yet. Begin one in the record notebook.</p>"
            return
        photos = trial.photos()
        self._photos, self._guesses = {photo.id: photo for photo in photos}, trial.guesses()
        notes = trial.photo_readings().groupby("photo")["note"].last().to_dict()
        thumbs = {photo.id: self._thumb(trial, photo) for photo in photos}
        items = [self._item(photo, notes) for photo in photos]
        self.strip.show(items, {key: made for key, made in thumbs.items() if made})
        self._count(trial, items)
        self._choose()
        self.twice.refresh()
        self._offer_more()

    def _offer_more(self) -> None:
        """Offer what is done with many photos where there is one, or while it is done."""
        visible(self.many, self._photos or self.work.busy)
        visible(self.twice, self._photos)

    def _item(self, photo: StoredPhoto, notes: Mapping[Any, str]) -> Item:
        guess, note = self._guesses[photo.id], notes.get(photo.id)
        whose = str(guess.on) if guess.on else ""
        asks = "?" if whose and photo.on is None else ""
        state = "" if note is None else "measured" if note == NOT_LOOKED_AT else "kept"
        word = {"": "not measured", "measured": "look at it", "kept": "kept"}[state]
        when = f"{photo.taken:%Y-%m-%d %H:%M}" if photo.taken else ""
        shows = SHOWN.get(guess.shows or "", "")
        return Item(photo.id, photo.name, when, shows, f"{whose}{asks}", state, word)

    def _thumb(self, trial: Trial, photo: StoredPhoto) -> bytes:
        """A small picture, made once; nothing for a file that cannot be shown."""
        if photo.sha256 not in self._thumbs:
            from kit.photo.shown import as_jpeg

            try:
                self._thumbs[photo.sha256] = as_jpeg(trial.open_photo(photo), _THUMB_PX, 75)
            except KitError:
                self._thumbs[photo.sha256] = b""  # the photo itself says why when it is chosen
        return self._thumbs[photo.sha256]

    def _count(self, trial: Trial, items: list[Item]) -> None:
        told = [words.plural(len(items), "photo")] if items else ["no photo yet"]
        for state, what in (("", "not measured"), ("measured", "to look at"), ("kept", "kept")):
            count = sum(item.state == state for item in items)
            if items and count:
                told.append(f"{count} {what}")
        self.counted.value = status(f"{trial.name}: {', '.join(told)}.")

    def _choose(self) -> None:
        trial, photo = self.chosen, self._photos.get(self.strip.chosen)
        if trial is None or photo is None:
            self.one.hide()
        else:
            self.one.show(trial, photo, self._guesses[photo.id])

    # taking in

    def _source(self) -> str:
        return self.path.value.strip() or str(self.folder.value or "")

    def _take_in(self) -> None:
        trial, source = self.chosen, self._source()
        if trial is None or not source:
            self.taken.value = trouble("Choose a folder, or write its path.")
            return
        if tell(self.taken, lambda: _told(trial.add_photos(source)), meanwhile="Reading …"):
            self.refresh()

    def _undo(self) -> None:
        undo = self.workspace.undo
        if tell(self.taken, lambda: status(f"{words.capital(undo())}.")):
            self.refresh()

    def _watch(self) -> None:
        """Look at the folder again and again, until told not to."""
        if not self.watch.value:
            if not self._unwatch.is_set():
                self._unwatch.set()
                self.taken.value = status("Not watched any more.")
            return
        trial, source = self.chosen, self._source()
        if trial is None or not source:
            self.taken.value = trouble("Choose a folder, or write its path.")
            self.watch.value = False
            return
        self._unwatch = Event()
        self.taken.value = status(f"Watching {source}.")
        self.watching = Thread(
            target=self._look_out, args=(trial, source, self._unwatch), daemon=True
        )
        self.watching.start()

    def _look_out(self, trial: Trial, source: str, enough: Event) -> None:
        while not enough.wait(_WATCH_S):
            try:
                self.look_again(trial, source)
            except KitError as exc:
                self.taken.value = trouble(str(exc))
            except OSError as exc:  # a card that was pulled out comes back
                self.taken.value = trouble(said_of_disk(exc))

    def look_again(self, trial: Trial, source: str) -> None:
        """Take in what came into a folder since it was looked at last.

        A file counts once its size has stopped changing: it may still be on its way.

        Parameters
        ----------
        trial : Trial
        source : str
            The folder.
        """
        from kit.photo.many import photos_in

        now = {path: _state(path) for path in photos_in(source)}
        ready = [p for p, state in now.items() if self._seen.get(p) == state and state[0]]
        new = [path for path in ready if (path, now[path]) not in self._in]
        self._seen = now
        if new:
            added = trial.add_photos(new)
            self._in |= {(path, now[path]) for path in new}
            if added.new or added.refused:
                self.taken.value = _told(added)
                self.refresh()

    # many

    def _measure_all(self) -> None:
        """Measure all by the reference that is set, beside the notebook's own thread."""
        trial = self.chosen
        if trial is None or self.work.busy:
            return
        try:
            rising = any(guess.shows == "rise" for guess in self._guesses.values())
            how = {shows: self.one.how(shows) for shows in SHOWN if shows != "rise" or rising}
        except KitError as exc:
            field = next(filter(None, map(self.one.means.said_beside, SHOWN)), "")
            told = f"see beside “{field}” above what can be used." if field else str(exc)
            self.work.said.value, self._refused = trouble(told), True
            return
        self._refused = False

        def job(progress: Progress, stopped: Callable[[], bool]) -> str:
            kept, reasons = trial.measure_all(how.__getitem__, progress, stopped)
            unsaid = sum(not (one.on and one.shows) for one in trial.guesses().values())
            return _report(kept, reasons, stopped(), unsaid)

        self.work.begin(job)

    def _let_go(self) -> None:
        """Take back a refusal: it was of another reference."""
        if self._refused:
            self.work.said.value, self._refused = "", False


def _told(added: AddedPhotos) -> str:
    return f'<div role="status">{added._repr_html_()}</div>'


def _holds_photos(folder: Path) -> bool:
    from kit.photo.many import photos_in

    try:
        return bool(photos_in(folder))
    except InputError:  # none
        return False


def _state(path: Path) -> tuple[int, int]:
    """Size and time of a file, to tell whether it has changed; nothing where it is gone."""
    try:
        about = path.stat()
    except OSError:
        return 0, 0
    return about.st_size, about.st_mtime_ns


def _report(kept: int, reasons: Mapping[str, str], stopped: bool, unsaid: int) -> str:
    """Say how many were measured and why the others were not."""
    told = f"{words.plural(kept, 'photo')} measured; look at each before you rely on it."
    if unsaid:
        was = "1 photo was" if unsaid == 1 else f"{unsaid} photos were"
        told = f"{told} {was} left out: say of each what it shows and whose it is."
    if stopped:
        told = f"Stopped. {told} The same button goes on."
    rest = items(f"{name}: {why}" for name, why in reasons.items())
    listed = f"<p>Not measured:</p>{rest}" if rest else ""
    return f'<div class="kit-answer" role="status"><p>{escape(told)}</p>{listed}</div>'
