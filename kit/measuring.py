"""A trial's photos: taken in, whose they are, measured, accepted, and what they tell apart."""

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from kit.analysis import words
from kit.errors import DataError, InputError, KitError, StoreError
from kit.records import journal, things, trials
from kit.records import photos as store
from kit.records.bench.store import read_times
from kit.records.journal import Step
from kit.records.measured import (
    AS_FOUND,
    BY_HAND,
    NOT_LOOKED_AT,
    Accepted,
    AddedPhotos,
    against_typed,
    keep_series,
    measured_values,
    volume_ratios,
)
from kit.records.measured_by import MeasuredBy
from kit.records.photo_guess import Guess, guess_all
from kit.records.photos import SHOWS, StoredPhoto
from kit.records.things import Dough, Piece, Thing
from kit.records.trial_records import TrialRecords

if TYPE_CHECKING:
    from kit.analysis.repeatability import Repeatability
    from kit.photo.picture import Photo
    from kit.photo.proof_series import Series

__all__ = ["TrialPhotos"]


class TrialPhotos(TrialRecords):
    """The verbs of a trial for its photos; see `kit.photo` for the measuring itself."""

    def photos(self) -> list[StoredPhoto]:
        """Return the photos in the order they were taken, those without a time last."""
        zone = self._row().zone
        with self._store.reading() as connection:
            return store.stored(connection, self.id, zone)

    def add_photos(
        self, source: str | Path | Iterable[str | Path], shows: str | None = None
    ) -> AddedPhotos:
        """Take in a folder of photos, or files; one undo takes them out again.

        Files from elsewhere are copied into the workspace's folder `photos`. The same file twice
        is one photo. A file that is no picture is left out with the reason, the others go on.

        Parameters
        ----------
        source : str, Path or iterable of them
            A folder (with those below it), a file, or files.
        shows : str, optional
            What all of them show: side, rise, crumb or face.

        Raises
        ------
        InputError
            No such folder, or no photo in it.
        StoreError
            The workspace is a shared database, which keeps no files, or cannot be written.
        """
        from kit.photo.many import photos_in
        from kit.photo.picture import read

        if isinstance(source, (str, Path)):
            one = Path(source).expanduser()
            files = [one] if one.is_file() else photos_in(one)
        else:
            files = [Path(file).expanduser() for file in source]
        zone, placed, refused = self.zone, [], []
        for file in files:
            try:
                placed.append(store.place(self._store, file, read(file, zone=zone).taken))
            except StoreError:
                raise
            except InputError as exc:  # the name is said already
                refused.append((file.name, f"it {exc.rule}. {exc.remedy}".strip()))
            except KitError as exc:
                refused.append((file.name, str(exc)))
        with self._step() as step:
            ids = [store.add(step, self.id, one, shows) for one in placed]
            new = {photo_id for photo_id, is_new in ids if is_new}
            self._say(step, f"{words.plural(len(new), 'photo')} taken in")
        added = tuple(photo for photo in self.photos() if photo.id in new)
        return AddedPhotos(added, len(ids) - len(new), tuple(refused))

    def change_photo(self, photo: StoredPhoto, **values: Any) -> None:
        """Say otherwise what a photo shows, whose it is, or when it was taken.

        What was measured on it goes with it to the thing it is of. Rising dough is its dough's.

        Parameters
        ----------
        photo : StoredPhoto
        **values
            shows (side, rise, crumb, face), on (a thing, its code, or None), taken (by the clock
            of the kitchen; empty is not known).
        """
        shows, on = values.get("shows", photo.shows), values.get("on", photo.on)
        if isinstance(on, str):
            values["on"] = on = self._called(on, shows)
        if shows == "rise" and isinstance(on, Piece):
            values["on"] = on.dough
        with self._step() as step:
            store.change(step, self.id, photo, values)
            told = ", ".join(
                f"{'of' if k == 'on' else k} {v or 'unknown'}" for k, v in values.items()
            )
            self._say(step, f"{photo}: {told}")
            if "taken" in values or "on" in values:
                for dough in {photo.on, values.get("on", photo.on)}:
                    self._restate(step, dough)

    def remove_photo(self, photo: StoredPhoto) -> None:
        """Take a photo out; its file and what was measured on it stay. It can be undone.

        Of rising dough nothing stays: the ratios of its other photos are held against one of them.
        """
        dough = photo.on if isinstance(photo.on, Dough) else None
        with self._step() as step:
            if dough is not None:
                store.change(step, self.id, photo, {"on": None})
            store.remove(step, self.id, photo)
            self._restate(step, dough)
            self._say(step, f"{photo} taken out")

    def _called(self, code: str, shows: str | None) -> Thing:
        thing: Thing = self._find("dough" if shows == "rise" else "piece", code)
        return thing

    def guess(self, photo: StoredPhoto) -> Guess:
        """Guess whose photo it is and what it shows, from its name, its time and the plan."""
        return self.guesses()[photo.id]

    def guesses(self) -> Mapping[str, Guess]:
        """Guess for every photo, by its id; see `guess`."""
        kept = self.photos()
        with self._store.reading() as connection:
            bakes = things.bakes(connection, self.id)
            times = [read_times(connection, self.id, bake) for bake in bakes]
        return guess_all(kept, times)

    def open_photo(self, photo: StoredPhoto) -> "Photo":
        """Read a photo's file, for measuring; refused when it is another than was taken in."""
        from kit.photo.picture import read

        if self._store.folder is None or not photo.path:
            raise InputError("photo", photo.name, "is not in this folder", "Take its file in.")
        opened = read(self._store.folder / photo.path, zone=self.zone, taken=photo.taken)
        if opened.sha256 != photo.sha256:
            rule = "is another picture now than the one that was taken in"
            raise InputError("photo", photo.name, rule, "Take the new one in; take this one out.")
        return opened

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
    ) -> Accepted:
        """Keep what was measured on a photo; one undo takes it back.

        Parameters
        ----------
        photo : StoredPhoto
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

        Raises
        ------
        InputError
            It is not known whose it is or what it shows, or a value is impossible.
        DataError
            Nothing was measured.
        """
        shows = shows or photo.shows
        if shows not in SHOWS:
            raise InputError("shows", shows, f"must be one of {', '.join(SHOWS)}")
        on = self._called(target, shows) if isinstance(target, str) else target or photo.on
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
        with self._step() as step:
            said = {"shows": shows, "on": on, "measured_by": by}
            if any(getattr(photo, name) != now for name, now in said.items()):
                store.change(step, self.id, photo, said)
            checked = {
                name: store.record(step, self.id, photo, on, name, one.value, one.u, note)
                for name, one in values.items()
            }
            if shows == "rise":
                self._restate(step, on)
            self._say(step, f"{photo} measured, {on}")
        return Accepted(on, checked, note)

    def proof_photos(self, dough: Dough | str) -> list[StoredPhoto]:
        """Return the photos that show a dough proofing, as said or guessed, in time order."""
        thing = self._called(dough, "rise") if isinstance(dough, str) else dough
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
        thing = self._called(dough, "rise") if isinstance(dough, str) else dough
        note = f"{BY_HAND}: {', '.join(corrected)}" if corrected else AS_FOUND
        with self._step() as step:
            count = keep_series(step, self.id, self.photos(), thing, series, note, by)
            self._restate(step, thing)  # only where an earlier photo is kept besides
            self._say(step, f"{words.plural(count, 'photo')} of {thing} measured together")
        return count

    def _restate(self, step: Step, dough: Thing | None) -> None:
        """Say anew how far a dough has risen in each of its photos, the earliest being 1."""
        if not isinstance(dough, Dough):
            return
        zone = trials.trial_row(step.connection, self.id).zone
        photos = {p.id: p for p in store.stored(step.connection, self.id, str(zone))}
        found = store.readings_of(step.connection, self.id)
        own = found[found["id"] == dough.id]
        volumes = own[own["quantity"] == "dough_volume_ml"].assign(
            at=lambda rows: pd.Series([photos[i].taken for i in rows["photo"]], rows.index)
        )
        volumes = volumes[volumes["at"].notna()].sort_values("at", kind="stable")
        ratios = volume_ratios(volumes["value"], volumes["u"])
        before = own[own["quantity"] == "dough_ratio"].set_index("photo")["value"]
        for row, (ratio, u) in zip(volumes.itertuples(), ratios, strict=True):
            if not math.isclose(before.get(row.photo, 0.0), ratio, rel_tol=1e-9):
                store.record(
                    step, self.id, photos[str(row.photo)], dough, "dough_ratio", ratio, u,
                    str(row.note),
                )  # fmt: skip

    def photo_readings(self) -> pd.DataFrame:
        """Return what was measured on photos: level, id, photo, quantity, value, u, at, note."""
        with self._store.reading() as connection:
            return store.readings_of(connection, self.id)

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
        found = found[found["level"] == "piece"].drop_duplicates(["sha256", "id", "quantity"])
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
        """Leave what a hand typed, and nobody has looked at the photo that says otherwise.

        Raises
        ------
        DataError
            They are farther apart than both may err.
        """
        told = against_typed(self.readings(), on, measured_values(result, shows))
        if told:
            msg = f"{words.join(told)}: left as typed. Look at the photo, then keep what is right."
            raise DataError(msg)


def _measured_by(
    reference: str = "card", about: Mapping[str, Any] | None = None, **how: Any
) -> MeasuredBy:
    """What a photo was measured by, from what `TrialPhotos.measure` was given."""
    return MeasuredBy(reference, about or {}, how)
