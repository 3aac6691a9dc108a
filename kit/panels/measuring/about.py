"""What a photo shows, whose it is and when it was taken: guessed, asked, said."""

from collections.abc import Callable
from html import escape
from typing import Any

import ipywidgets as widgets

from kit.errors import KitError
from kit.panels.parts.blocks import status
from kit.panels.parts.controls import Form, button, pick
from kit.panels.parts.fields import Typed, tell
from kit.panels.parts.style import trouble
from kit.records.photos.guess import Guess
from kit.records.photos.measured import mean_of_two
from kit.records.photos.store import StoredPhoto
from kit.records.things import Thing
from kit.workspace import Trial

__all__ = ["SHOWN", "AboutPhoto"]

#: what a photo shows, as the baker reads it
SHOWN = {
    "side": "a piece from the side", "rise": "dough while it proofs",
    "crumb": "a cut face", "face": "a face from above",
}  # fmt: skip
_UNKNOWN = "It is not known when this photo was taken"


class AboutPhoto(Form):
    """Asks what is not known of a photo, and stores what is said of it.

    Parameters
    ----------
    changed : callable
        Called after something was stored.
    other : callable
        Called when the photo is said to show something else.
    """

    def __init__(self, changed: Callable[[], None], other: Callable[[], None]) -> None:
        self._changed, self._other = changed, other
        self.trial: Trial | None = None
        self.photo: StoredPhoto | None = None
        self.name = widgets.HTML()
        known = ((text, key) for key, text in SHOWN.items())
        self.shows = pick("It shows", [("say what …", ""), *known])
        self.whose = pick("It is of")
        self.guessed = widgets.HTML()
        self.taken = Typed("Taken", hint="9:40, yesterday 21:15, 2026-11-26 9:40")
        self.out = button("Take this photo out", self._take_out)
        self.said = widgets.HTML()
        super().__init__(
            [self.name, self.shows, self.whose, self.guessed, self.taken, self.out, self.said]
        )
        self.shows.observe(lambda _: self._other_shows(), "value")
        self.whose.observe(lambda _: self._other_thing(), "value")
        self.taken.observe_text(self._other_time)

    def show(self, trial: Trial, photo: StoredPhoto, guess: Guess) -> None:
        """Show what is known of a photo, else what is guessed."""
        if self.photo is None or photo.id != self.photo.id:
            self.said.value = ""
        self.trial, self.photo = trial, photo
        with self.filling():
            self.name.value = f"<p>{escape(photo.name)}</p>"
            self.shows.value = guess.shows or ""
            things: list[Any] = trial.doughs() if guess.shows == "rise" else trial.pieces()
            options = [("say whose …", ""), *((str(thing), thing.id) for thing in things)]
            if tuple(options) != tuple(self.whose.options):
                self.whose.options = options
            self.whose.value = guess.on.id if guess.on is not None and guess.on in things else ""
            self.taken.value = f"{photo.taken:%Y-%m-%d %H:%M}" if photo.taken else ""
            self.taken.said.value = "" if photo.taken else _undated(guess)
            said = photo.on is not None and photo.shows is not None
            self.guessed.value = "" if said else f'<p class="kit-small">{escape(guess.why)}</p>'

    @property
    def said_of(self) -> tuple[str, ...]:
        """Which photo it is, what it shows and whose it is."""
        return "" if self.photo is None else self.photo.id, self.shows.value, self.whose.value

    @property
    def thing(self) -> Thing | None:
        """Whose it is, as it is chosen."""
        assert self.trial is not None
        things: list[Any] = [*self.trial.doughs(), *self.trial.pieces()]
        return next((thing for thing in things if thing.id == self.whose.value), None)

    def _other_shows(self) -> None:
        if not self._filling:
            self._other()
            self._say(shows=self.shows.value or None)

    def _other_thing(self) -> None:
        if not self._filling:
            self._say(on=self.thing, shows=self.shows.value or None)

    def _say(self, **values: Any) -> None:
        if self._filling or self.trial is None or self.photo is None:
            return
        trial, photo, stays = self.trial, self.photo, self._mean_stays()

        def said() -> str:
            trial.change_photo(photo, **values)
            return status(stays) if stays else ""

        if tell(self.said, said):
            self._changed()

    def _mean_stays(self) -> str:
        """What two photos said together is of neither, and stays where it was kept."""
        assert self.trial is not None
        assert self.photo is not None
        means = mean_of_two(self.trial.readings(), self.photo.on)
        if not means["note"].str.contains(self.photo.sha256[:12], regex=False).any():
            return ""
        return (
            f"The mean of this photo and another still counts for {self.photo.on}. If that is "
            "wrong, measure and keep the other photo by itself."
        )

    def _other_time(self) -> None:
        trial, photo = self.trial, self.photo
        if self._filling or trial is None or photo is None:
            return
        try:
            self.taken.read(lambda text: trial.change_photo(photo, taken=text))
        except KitError:
            return  # said beside the field, and what was typed stays
        self._changed()

    def _take_out(self) -> None:
        trial, photo = self.trial, self.photo
        if trial is None or photo is None:
            return

        def taken_out() -> str:
            rows = trial.photo_readings()
            kept = rows[(rows["photo"] == photo.id) & (rows["level"] == "piece")]
            mean = self._mean_stays()
            trial.remove_photo(photo)
            self._changed()
            stays = f"What was measured on it still counts for {photo.on}." if len(kept) else ""
            told = [f"{photo.name} is out.", mean or stays, "Undo brings it back."]
            return status(" ".join(filter(None, told)))

        tell(self.said, taken_out)


def _undated(guess: Guess) -> str:
    """Ask for the time where nothing can be measured or guessed without; else only say it."""
    if guess.shows == "rise" or guess.on is None:
        return trouble(f"{_UNKNOWN}: write it, please.")
    return f'<p class="kit-small">{_UNKNOWN}. Its values will count from when you keep them.</p>'
