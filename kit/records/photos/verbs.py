"""A trial's photos as they are kept: taken in, whose they are, what they show, opened again."""

import math
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from kit import words
from kit.errors import InputError, KitError, StoreError
from kit.records import things, trials
from kit.records.bench.store import read_times
from kit.records.journal import Step
from kit.records.photos import store
from kit.records.photos.guess import Guess, guess_all
from kit.records.photos.measured import AddedPhotos, volume_ratios
from kit.records.photos.store import StoredPhoto
from kit.records.things import Dough, Piece, Thing
from kit.records.trial_records import TrialRecords
from kit.records.typed import file_path, need

if TYPE_CHECKING:
    from kit.photo.picture import Photo

__all__ = ["TrialKeptPhotos"]


class TrialKeptPhotos(TrialRecords):
    """The verbs of a trial for the photos it keeps."""

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
            one = file_path("source", source).expanduser()
            files = [one] if one.is_file() else photos_in(one)
        else:
            need("source", source, Iterable, "folder or list of files", "Write it in quotes.")
            files = [file_path("source", file).expanduser() for file in source]
        zone, placed, refused = self.zone, [], []
        store.make_room(self._store)
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
        **values
            shows (side, rise, crumb, face), on (a thing, its code, or None), taken (by the clock
            of the kitchen; empty is not known).
        """
        store.check_photo(photo)
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
        store.check_photo(photo)
        dough = photo.on if isinstance(photo.on, Dough) else None
        with self._step() as step:
            if dough is not None:
                store.change(step, self.id, photo, {"on": None})
            store.remove(step, self.id, photo)
            self._restate(step, dough)
            self._say(step, f"{photo} taken out")

    def _called(self, thing: Thing | str, shows: str | None) -> Thing:
        """The thing itself, or the one that a code on such a photo means."""
        if not isinstance(thing, str):
            return thing
        found: Thing = self._find("dough" if shows == "rise" else "piece", thing)
        return found

    def guess(self, photo: StoredPhoto) -> Guess:
        """Guess whose photo it is and what it shows, from its name, its time and the plan."""
        store.check_photo(photo)
        found = self.guesses()
        if photo.id not in found:
            raise store.not_there(photo)
        return found[photo.id]

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

        store.check_photo(photo)
        if self._store.folder is None or not photo.path:
            raise InputError("photo", photo.name, "is not in this folder", "Take its file in.")
        opened = read(self._store.folder / photo.path, zone=self.zone, taken=photo.taken)
        if opened.sha256 != photo.sha256:
            rule = "is another picture now than the one that was taken in"
            raise InputError("photo", photo.name, rule, "Take the new one in; take this one out.")
        return opened

    def photo_readings(self) -> pd.DataFrame:
        """Return what was measured on photos: level, id, photo, quantity, value, u, at, note."""
        with self._store.reading() as connection:
            return store.readings_of(connection, self.id)

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
