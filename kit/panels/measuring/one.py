"""One photo: its scale, what was found on it, corrected by hand, and kept."""

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import ipywidgets as widgets

from kit import words
from kit.analysis.proofs.rise_words import DOUBLE_IS
from kit.errors import InputError, KitError
from kit.panels.measuring.about import SHOWN, AboutPhoto
from kit.panels.measuring.marking import Grip, Line, Marking
from kit.panels.measuring.marks import box_marks, first_box, marks_of, outline_in, reference_lines
from kit.panels.measuring.means import Hand, Means, ShapeForm
from kit.panels.measuring.reference import ReferenceForm
from kit.panels.measuring.series import SeriesBlock
from kit.panels.measuring.turned import Turned
from kit.panels.measuring.words import as_kept, as_measured, in_place_of
from kit.panels.parts.blocks import status
from kit.panels.parts.controls import Form, button, columns, row, section, toggle, visible
from kit.panels.parts.fields import tell
from kit.panels.parts.slide import Slide
from kit.panels.parts.style import trouble
from kit.records.photos.guess import Guess
from kit.records.photos.measured import (
    NOT_LOOKED_AT,
    against_typed,
    mean_of_two,
    measured_values,
)
from kit.records.photos.measured_by import MeasuredBy
from kit.records.photos.store import StoredPhoto
from kit.records.things import Dough
from kit.us_units import also_us
from kit.workspace import Trial

if TYPE_CHECKING:
    from kit.photo.picture import Photo

__all__ = ["OnePhoto"]

KEEP = "Keep these values"
#: longer side of the picture that is sent to the browser, in pixels
_SENT_PX = 2000
_FIRST = (
    "A dough's first photo counts as 1: take it right after shaping, or as it comes out of the "
    "refrigerator, and the others from the same place."
)
_RIGHT = "The marks lie right here, too"
_MOVED = (
    "The two marks lie where they were on the photo before, and the camera may have moved: drag "
    f"each to its place on this one, or press “{_RIGHT}”."
)


class OnePhoto(Form):
    """Measures one photo, shows where, takes corrections by hand, and keeps the values.

    Parameters
    ----------
    changed : callable
        Called after something was stored.

    Attributes
    ----------
    result : Side, Crumb, Browning or None
        What was measured on it.
    told : Side, TwoViews, Crumb, Browning or None
        What is shown and kept of that: a side view may be taken together with another.
    hand : Hand
        What a hand said on it.
    """

    def __init__(self, changed: Callable[[], None]) -> None:
        self._changed = changed
        self.trial: Trial | None = None
        self.photo: StoredPhoto | None = None
        self.opened: Photo | None = None
        self.scale: Any = None
        self.result: Any = None
        self.told: Any = None
        self._warned: Any = None
        self._lost = False  # nothing was found where it was looked for
        self._by: MeasuredBy | None = None
        self.hand = Hand()
        self.about = AboutPhoto(changed, self._forget)
        self.reference = ReferenceForm(self._other_reference)
        self.shape = ShapeForm(self._forget)
        self.means = Means(self.reference, self.shape, self.hand)
        self.double = widgets.HTML(f'<p class="kit-banner">{DOUBLE_IS} {_FIRST}</p>')
        self.measure = button("Measure", self._measure)
        self.again = button("Back to as found", self._measure_afresh)
        self.place = toggle("Draw a box round it")
        self.trace = button("Draw the outline", self._trace)
        self.lie_right = button(_RIGHT, self._confirm)
        self.said, self.values, self.kept = widgets.HTML(), widgets.HTML(), widgets.HTML()
        self.marking = Marking()
        self.threshold = Slide(label="Threshold", low=0.02, high=0.9)
        self.threshold_says = widgets.HTML(
            '<p class="kit-small">How much darker than the wall beside it a cell is. '
            "Further left, more counts as cells.</p>"
        )
        self.keep = button(KEEP, self._keep)
        self.turned = Turned(self._tell)
        self.together = SeriesBlock(self._scale, self._for_series, changed)
        what = section("What is it?", self.about)
        large = section("How large is it?", self.reference, self.shape)
        super().__init__(
            [
                columns(what, large), self.double,
                row(self.measure, self.lie_right, self.place, self.trace, self.again),
                self.said, self.marking, self.threshold, self.threshold_says, self.turned,
                self.values, self.keep, self.kept, self.together,
            ]
        )  # fmt: skip
        self.place.observe(lambda _: self._mark(), "value")
        self.place.observe(lambda _: self._fit(), "value")
        self.threshold.observe(lambda _: self._other_threshold(), "value")
        self.marking.moved = self._moved
        self.hide()

    # showing

    def hide(self) -> None:
        """Show nothing: there is no photo."""
        self.trial = self.photo = self.opened = None
        self._forget()
        visible(self, False)

    def show(self, trial: Trial, photo: StoredPhoto, guess: Guess) -> None:
        """Show a photo; what is being done to the one that is shown already goes on.

        Parameters
        ----------
        trial : Trial
        photo : StoredPhoto
        guess : Guess
            What it shows and whose it is, as far as that is not said.
        """
        other = self.photo is None or photo.id != self.photo.id
        self.trial, self.photo = trial, photo
        visible(self, True)
        self.about.show(trial, photo, guess)
        if other:
            self._open(trial, photo)
        elif self.values.value:
            self._tell()  # it may be said to be of another piece now
        self._fit()

    def take_over(self, before: "OnePhoto") -> None:
        """Go on with what a hand drew in the panel before: on this photo, nothing kept of it."""
        mine, theirs = (None if one.photo is None else one.about.said_of for one in (self, before))
        if self.photo is None or mine != theirs or self.photo.measured_by or self.kept.value:
            return
        self.hand.take_over(before.hand)
        self._set_threshold(self.hand.said.get("threshold"))
        self.place.value = before.place.value
        self._mark()
        self._fit()
        if before.result is not None:
            self._measure()
            self.turned.ticked.value = before.turned.ticked.value

    def _open(self, trial: Trial, photo: StoredPhoto) -> None:
        from kit.photo.shown import as_jpeg

        self.opened = None
        self.hand.turn()
        self._forget()
        self.said.value = self.kept.value = ""
        try:
            opened = trial.open_photo(photo)
            picture = as_jpeg(opened, _SENT_PX)
        except KitError as exc:
            self.marking.show(b"", 1, 1, "")
            self.said.value = trouble(str(exc))
            return
        self.opened = opened
        self.marking.show(picture, opened.width, opened.height, f"Photo {photo.name}")
        self.means.settle(trial, photo, self.about.shows.value)
        self._set_threshold(self.hand.said.get("threshold"))
        self.place.value = "box" in self.hand.said
        if self.reference.by_points and self.hand.unsure:
            self.said.value = status(_MOVED)
        self._mark()
        self._tell_kept(trial, photo)

    def _tell_kept(self, trial: Trial, photo: StoredPhoto) -> None:
        """Say what is kept of this photo already, and show it where nobody has looked at it."""
        rows = trial.photo_readings()
        rows = rows[rows["photo"] == photo.id]
        if len(rows):
            note = rows.iloc[-1]["note"]
            if photo.measured_by or (note == NOT_LOOKED_AT and not self.reference.by_points):
                self._measure()  # what is to be looked at
            self.kept.value = as_kept(rows, mean_of_two(trial.readings(), photo.on))

    def _fit(self) -> None:
        """Show the fields that matter for what the photo shows."""
        rise, there = self.about.shows.value == "rise", self.result is not None
        self.reference.ask_depth(self.about.shows.value)
        if rise and self.trial is not None and isinstance(self.about.thing, Dough):
            self.together.show(self.trial, self.about.thing)
        else:
            self.together.hide()
        crumb = self.about.shows.value == "crumb" and there
        shown = {
            self.shape: rise, self.double: rise,
            self.threshold: crumb, self.threshold_says: crumb, self.keep: there,
            self.trace: not there and (self.place.value or self._lost),
            self.again: there and bool(set(self.hand.corrected) - {"place"}),
            self.lie_right: self.reference.by_points and self.hand.unsure,
        }  # fmt: skip
        for widget, wanted in shown.items():
            visible(widget, wanted)

    def _mark(self) -> None:
        """Draw what is known: reference, where it is, and what was found."""
        if self.opened is None:
            return
        size = self.opened.width, self.opened.height
        grips: list[Grip] = []
        lines: list[Line] = []
        overlay = b""
        for more in (
            self.reference.marks(*size, self.hand.marks, self.hand.ends),
            box_marks(*size, self.hand.said.get("box")) if self.place.value else ([], []),
            marks_of(self.result, self.hand.said),
        ):
            grips, lines = grips + more[0], lines + more[1]
        if self.result is not None:
            from kit.photo.shown import as_overlay

            lines += reference_lines(self.scale)
            cells = getattr(self.result, "mask", None)
            if cells is not None:
                overlay = as_overlay(cells, self.result.transform, size, _SENT_PX)
        self.marking.mark(grips, lines, overlay)

    # measuring

    def how(self, shows: str) -> dict[str, Any]:
        """Return what to measure every photo by, as it is set now: see `Means.for_many`."""
        return self.means.for_many(shows)

    def _forget(self) -> None:
        """Let go of what was measured: something else is to be measured now."""
        self.result = self.told = None
        self._lost = False
        self.hand.forget()
        self.values.value = ""
        visible(self.turned, False)
        self._mark()
        self._fit()

    def _measure_afresh(self) -> None:
        self.hand.back_to_found()
        self._measure()

    def _confirm(self) -> None:
        """Measure by the marks of the photo before, which lie right on this one."""
        self.hand.confirm()
        self._mark()
        self._fit()
        self._measure()

    def _measure(self) -> None:
        if self.trial is None or self.opened is None:
            return
        self.said.value, self.kept.value = status("Measuring …"), ""
        try:
            shows = self.about.shows.value
            if shows not in SHOWN:
                raise InputError(
                    "what it shows", "", "must be said", "Choose what the photo shows."
                )
            by = self.means.by(shows)
            scale = self._scale()
            self._lost = True
            result = self.trial.measure(self.opened, scale, shows=shows, **by.arguments())
            self._by, self._lost = by, False
        except KitError as exc:
            # what was found before stays, to be dragged elsewhere; it cannot be kept
            beside = self.means.said_beside(shows)
            self.said.value, self.values.value = "" if beside else trouble(str(exc)), ""
            self._fit()
            visible(self.keep, False)
            visible(self.turned, False)
            return
        self.scale, self.result, self.said.value = scale, result, ""
        if "threshold" not in self.hand.said:
            self._set_threshold(getattr(result, "threshold", None))
        self._tell()
        self._mark()
        self._fit()

    def _tell(self) -> None:
        """Say what was found, on two photos where a hand says that both are of one piece."""
        trial, photo, shows = self.trial, self.photo, self.about.shows.value
        if trial is None or photo is None or self.result is None:
            return
        self.turned.offer(trial, photo, self.about.thing, shows)
        self.told = self.turned.with_other(trial, self.result)
        self.values.value = as_measured(self.told, self.scale, shows, self.hand.corrected)

    def _scale(self) -> Any:
        if self.opened is None:
            raise InputError("photo", str(self.photo), "cannot be read", "Choose another photo.")
        return self.means.scale(self.opened, self.about.shows.value)

    def _for_series(self) -> dict[str, Any]:
        return self.means.for_series() | {"shown": None if self.photo is None else self.photo.id}

    # correcting and keeping

    def _moved(self, key: str) -> None:
        """Measure anew after a mark was dragged; the first time only when asked to."""
        self.hand.moved(self.marking, key, self.result)
        if self.result is not None:
            self._measure()
        else:
            self._mark()
            self._fit()

    def _trace(self) -> None:
        """Offer an outline to drag where none was found."""
        if self.opened is None:
            return
        box = self.hand.said.get("box") or first_box(self.opened.width, self.opened.height)
        self.hand.said["outline"] = outline_in(box)
        self.said.value = status("Drag its points onto the edge all round, then press Measure.")
        self._mark()

    def _set_threshold(self, threshold: float | None) -> None:
        """Show a threshold that no hand set just now."""
        if threshold is not None:
            with self.filling():
                self.threshold.value = float(threshold)

    def _other_threshold(self) -> None:
        if not self._filling and self.result is not None:
            self.hand.said["threshold"] = self.threshold.value
            self.hand.corrected["threshold"] = None
            self._measure()

    def _other_reference(self) -> None:
        """Measure anew by another reference, or show its points."""
        self._mark()
        self._fit()
        if self.result is not None:
            self._measure()

    def _keep(self) -> None:
        trial, photo, both = self.trial, self.photo, self.turned.both
        if trial is None or photo is None or self.result is None:
            return
        shows, on = self.about.shows.value, self.about.thing
        found = measured_values(self.told, shows) if shows in SHOWN else {}
        before = trial.readings()
        doubts = [] if on is None else against_typed(before, on, found, of_two=both is not None)
        if doubts and self._warned is not self.told:
            self._warned = self.told
            told = f"{words.join(doubts)}. Which is right? Look whether the lines "
            self.kept.value = trouble(
                f"{told}drawn are right and how the reference stands; press “{KEEP}” again to have "
                "the photo's."
            )
            return

        def kept() -> str:
            made = trial.accept(
                photo, self.result, on, shows=shows, corrected=list(self.hand.corrected),
                by=self._by, turned=both,
            )  # fmt: skip
            return status(also_us(" ".join([str(made), *in_place_of(before, made)])))

        if tell(self.kept, kept):
            self._changed()
