"""A trial's photos measured: one by one, as a series, all at once; and what they tell apart."""

from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from kit import words
from kit.errors import DataError, InputError, KitError
from kit.records import journal, readings
from kit.records.photos import store
from kit.records.photos.measured import (
    AS_FOUND,
    BY_HAND,
    NOT_LOOKED_AT,
    OF_TWO,
    TURNED,
    Accepted,
    against_typed,
    keep_series,
    measured_values,
    no_quarter_turns,
)
from kit.records.photos.measured_by import MeasuredBy
from kit.records.photos.store import SHOWS, StoredPhoto
from kit.records.photos.verbs import TrialKeptPhotos
from kit.records.things import Dough, Piece, Thing
from kit.records.typed import need

if TYPE_CHECKING:
    from kit.analysis.repeatability import Repeatability
    from kit.photo.picture import Photo
    from kit.photo.proof_series import Series
    from kit.photo.quarter_turn import TwoViews

__all__ = ["TrialPhotos"]


class TrialPhotos(TrialKeptPhotos):
    """The verbs of a trial for its photos; see `kit.photo` for the measuring itself."""

    def measure(
        self,
        photo: "StoredPhoto | Photo",
        scale: Any = None,
        *,
        shows: str | None = None,
        reference: str | None = None,
        about: Mapping[str, Any] | None = None,
        **how: Any,
    ) -> Any:
        """Measure a photo; nothing is stored before it is accepted.

        A kept photo of which nothing but `shows` is said is measured by what it was measured by.

        Parameters
        ----------
        photo : StoredPhoto or kit.photo.Photo
        scale : kit.photo.Scale, optional
            Found in the photo by `reference` when not given.
        shows : str, optional
            side, rise, crumb or face; what is said of the photo when not given.
        reference, about
            Kind of reference and what it needs; see `kit.photo.scale`. Our own card by default.
        **how
            What `kit.photo.side`, `crumb` or `browning` takes: box, shape, jar, and what a hand
            corrected: outline, top, base, threshold.

        Returns
        -------
        Side, Crumb or Browning

        Raises
        ------
        KitError
            It cannot be measured: says why and what to do.
        """
        from kit.photo import one_photo

        if isinstance(photo, StoredPhoto):
            by, shows, photo = photo.measured_by, shows or photo.shows, self.open_photo(photo)
            if by is not None and scale is None and reference is None and not about and not how:
                reference, about, how = by.reference, by.about, by.arguments()
        return one_photo.measure(photo, shows, scale, reference or "card", about, **how)

    def accept(
        self,
        photo: StoredPhoto,
        result: Any,
        target: Thing | str | None = None,
        *,
        shows: str | None = None,
        corrected: Sequence[str] = (),
        looked_at: bool = True,
        by: MeasuredBy | None = None,
        turned: tuple[StoredPhoto, "TwoViews"] | None = None,
    ) -> Accepted:
        """Keep what was measured on a photo; one undo takes it back.

        Parameters
        ----------
        result : Side, Crumb or Browning
            From `measure`.
        target : Piece, Dough or str, optional
            Whose it is; what is said of the photo when not given. A photo of rising dough is its
            dough's.
        shows : str, optional
            What is said of the photo when not given.
        corrected : sequence of str
            What a hand corrected: "outline", "top".
        looked_at : bool
            Whether a person saw where it was measured.
        by : MeasuredBy, optional
            By what it was measured, kept with the photo so that `measure` can do it again.
        turned : (StoredPhoto, TwoViews), optional
            Another photo of the piece, which was turned by a quarter between them, and what
            `kit.photo.two_views` says of both: that counts for the piece, and is of neither photo.

        Raises
        ------
        InputError
            It is not known whose it is or what it shows, or a value is impossible.
        DataError
            Nothing was measured.
        """
        store.check_photo(photo)
        shows = shows or photo.shows
        if shows not in SHOWS:
            raise InputError("shows", shows, f"must be one of {', '.join(SHOWS)}")
        on = photo.on if target is None else self._called(target, shows)
        if on is None:
            raise InputError("on", None, "must be known", f"Say whose {photo} is.")
        if shows == "rise" and isinstance(on, Piece):
            on = on.dough
        values = measured_values(result, shows)
        if not values:
            msg = f"nothing was measured on {photo}. Correct what is marked, or take it again."
            raise DataError(msg)
        hand = f"{BY_HAND}: {', '.join(corrected)}" if corrected else ""
        note = hand or (AS_FOUND if looked_at else NOT_LOOKED_AT)
        own = note if turned is None else f"{note}; {TURNED}"
        with self._step() as step:
            store.say(step, self.id, photo, shows, on, by)
            checked = {
                name: store.record(step, self.id, photo, on, name, one.value, one.u, own)
                for name, one in values.items()
            }
            if turned is not None:
                other, both = turned
                note = f"{note}; {OF_TWO}: {other.sha256[:12]}, {photo.sha256[:12]}"
                checked = {
                    name: readings.record(
                        step, self.id, on, name, one.value, "photo", one.u or None, note=note
                    )
                    for name, one in measured_values(both, shows).items()
                }
            if shows == "rise":
                self._restate(step, on)
            self._say(step, f"{photo} measured, {on}")
        return Accepted(on, checked, note)

    def proof_photos(self, dough: Dough | str) -> list[StoredPhoto]:
        """Return the photos that show a dough proofing, as said or guessed, in time order."""
        thing = self._called(dough, "rise")
        guesses = {i: g for i, g in self.guesses().items() if g.shows == "rise" and g.on}
        return [p for p in self.photos() if p.id in guesses and guesses[p.id].on == thing]

    def measure_series(
        self, dough: Dough | str, scale: Any = None, *, reference: str = "card",
        about: Mapping[str, Any] | None = None,
        progress: Callable[[int, int], Any] | None = None, **how: Any,
    ) -> "Series":  # fmt: skip
        """Measure all photos of a proofing dough that were taken from one place; stores nothing.

        What errs alike in all of them cancels in the ratios: surer than of photos one by one.

        Parameters
        ----------
        dough : Dough or str
        scale, reference, about
            As for `measure`; by any of the photos, or found in the first.
        progress : callable, optional
            Called with how many are done and how many there are.
        **how
            What `kit.photo.series` takes: shape, jar, box, outlines.

        Raises
        ------
        InputError
            There is no photo of this dough while it proofs.
        """
        import kit.photo as calls
        from kit.photo.one_photo import scale_for

        opened = [self.open_photo(photo) for photo in self.proof_photos(dough)]
        if not opened:
            rule = "has no photo of it while it proofs"
            raise InputError("dough", str(dough), rule, "Say of its photos what they show.")
        if scale is None:
            scale = scale_for(opened[0], "rise", reference, about)

        def done(count: int, of: int) -> None:
            opened[count - 1].forget()  # a dozen photos would fill the memory
            if progress is not None:
                progress(count, of)

        return calls.series(opened, scale, progress=done, **how)

    def accept_series(
        self, dough: Dough | str, series: "Series", corrected: Sequence[str] = (),
        by: MeasuredBy | None = None,
    ) -> int:  # fmt: skip
        """Keep a series' volumes and ratios, and return of how many photos; one undo for all."""
        from kit.photo import Series

        thing = self._called(dough, "rise")
        remedy = "Give what trial.measure_series(…) returns."
        need("series", series, Series, "series of measured photos", remedy)
        note = f"{BY_HAND}: {', '.join(corrected)}" if corrected else AS_FOUND
        with self._step() as step:
            count = keep_series(step, self.id, self.photos(), thing, series, note, by)
            self._restate(step, thing)  # only where an earlier photo is kept besides
            self._say(step, f"{words.plural(count, 'photo')} of {thing} measured together")
        return count

    def repeatability(self) -> "Repeatability":
        """Say what differences your photos tell apart, from pieces measured on two photos.

        All trials of the workspace count: it is about how you take photos.

        Raises
        ------
        DataError
            Fewer than two pieces were measured on two photos.
        """
        from kit.analysis.repeatability import repeatability

        with self._store.reading() as connection:
            found = store.readings_of(connection)
        found = no_quarter_turns(found[found["level"] == "piece"]).drop_duplicates(
            ["sha256", "id", "quantity"]
        )
        return repeatability(found.rename(columns={"id": "piece"}))

    def measure_all(
        self,
        how: Callable[[str], Mapping[str, Any]],
        progress: Callable[[int, int, str], Any] | None = None,
        stop: Callable[[], bool] | None = None,
    ) -> tuple[int, dict[str, str]]:
        """Measure and keep every photo that is not measured yet and of which it is known whose.

        Values are kept as not looked at; one undo takes all back. What was measured before is
        left as it is, so that stopped and called again it goes on. A photo that cannot be
        measured, or says other than what was typed, is told; the others go on.

        Parameters
        ----------
        how : callable
            Gives what `measure` takes (reference, about, shape …) for what a photo shows.
        progress : callable, optional
            Called with (done, of, what is told of the last photo).
        stop : callable, optional
            Asked before each photo; True leaves the rest.

        Returns
        -------
        (int, dict of str to str)
            How many were measured, and the reasons of the others by their photo's name.
        """
        done = set(self.photo_readings()["photo"])
        guesses = self.guesses()
        waiting = [
            (photo, guess.shows, guess.on)
            for photo in self.photos()
            if photo.id not in done and (guess := guesses[photo.id]).on and guess.shows
        ]
        kept, reasons = 0, dict[str, str]()
        says = f"{self.name}: photos measured"
        with journal.together(self._store, says):
            for number, (photo, shows, on) in enumerate(waiting, 1):
                if stop is not None and stop():
                    break
                try:
                    given = how(shows)
                    result = self.measure(photo, shows=shows, **given)
                    self._check_typed(result, shows, on)
                    by = _measured_by(**given)
                    said = str(self.accept(photo, result, on, shows=shows, looked_at=False, by=by))
                    kept += 1
                except KitError as exc:
                    said = reasons[photo.name] = str(exc)
                if progress is not None:
                    progress(number, len(waiting), said)
        return kept, reasons

    def _check_typed(self, result: Any, shows: str, on: Thing) -> None:
        """Leave what counts where nobody has looked at the photo that says otherwise.

        Raises
        ------
        DataError
            They are farther apart than both may err.
        """
        told = against_typed(self.readings(), on, measured_values(result, shows))
        if told:
            msg = f"{words.join(told)}: left as it was. Look at the photo, then keep what is right."
            raise DataError(msg)


def _measured_by(
    reference: str = "card", about: Mapping[str, Any] | None = None, **how: Any
) -> MeasuredBy:
    """What a photo was measured by, from what `TrialPhotos.measure` was given."""
    return MeasuredBy(reference, about or {}, how)
