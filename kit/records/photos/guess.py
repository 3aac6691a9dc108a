"""Whose photo it is and what it shows, guessed from its name, its time and the plan of the bake.

A guess is an offer that a person looks at; where several things come into question none is taken.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from kit import words
from kit.records.bench.stages import BakeTimes
from kit.records.photos.store import StoredPhoto
from kit.records.things import Bake, Dough, Load, Piece, Thing

__all__ = ["Guess", "guess_all"]

#: words in a file's name -> what it shows (common practice, no source)
_NAMED = {
    "side": "side", "height": "side", "profile": "side",
    "rise": "rise", "proof": "rise", "proofing": "rise", "ball": "rise", "jar": "rise",
    "crumb": "crumb", "cut": "crumb", "slice": "crumb", "inside": "crumb",
    "face": "face", "top": "face", "brown": "face", "browning": "face",
}  # fmt: skip
#: cameras count their files: a bare number in such a name is no code of a piece
_CAMERA = re.compile(r"(?i)^(img|dsc[nf]?|dcim|pxl|photo|p|mvimg|scan)[-_ ]?\d")
#: photos of a bake are taken up to so long after its last noted stage
_AFTERWARDS = timedelta(hours=12)
#: until so long after midnight it is still the evening before, unless the day has its own bake
_NIGHT = timedelta(hours=5)
_OFF = ("off the griddle", "on the griddle")
_STARTS = ("mixed", "out of the fridge", "shaped")


@dataclass(frozen=True)
class Guess:
    """What a photo seems to show, and of which thing."""

    shows: str | None  # one of `kit.records.photos.store.SHOWS`
    on: Thing | None
    why: str  # what it rests on, or why there is none; a full sentence


def guess_all(photos: Sequence[StoredPhoto], times: Sequence[BakeTimes]) -> Mapping[str, Guess]:
    """Guess for every photo, by its id; what is said already is taken as said.

    `photos` are in time order; `times` are of every bake of the trial.
    """
    guesses = {photo.id: _one(photo, times) for photo in photos}
    return guesses | _in_order(photos, guesses, times)


def _one(photo: StoredPhoto, times: Sequence[BakeTimes]) -> Guess:
    """Guess from a photo's own name and time."""
    shows = photo.shows or _shown_by_name(photo.name)
    bake = _bake_of(photo.taken, times)
    if photo.on is not None:
        shows = shows or ("rise" if isinstance(photo.on, Dough) else None)
        return Guess(shows, photo.on, "You said so.")
    named = _named(photo.name, shows, [bake] if bake else times)
    if named is not None:
        shows = shows or ("rise" if isinstance(named, Dough) else "side")
        return Guess(shows, named, "Its name says so.")
    if photo.taken is None:
        return Guess(shows, None, "It is not known when it was taken.")
    if bake is None:
        return Guess(shows, None, f"No bake was on {photo.taken:%Y-%m-%d}.")
    proofing = _proofing(photo.taken, bake)
    if shows is None:
        shows = "rise" if proofing and not _baked(photo.taken, bake) else "side"
    if shows == "rise":
        doughs = proofing or ([] if bake.noted else list(bake.doughs))
        return _among(shows, doughs, "was proofing then")
    return Guess(shows, None, f"It was taken on the day of {bake.bake}, or the night after.")


def _among(shows: str, found: Sequence[Thing], what: str) -> Guess:
    if len(found) == 1:
        return Guess(shows, found[0], f"{words.capital(str(found[0]))} {what}.")
    if not found:
        return Guess(shows, None, "Nothing that is noted fits its time.")
    return Guess(shows, None, f"It may be any of {', '.join(thing.code for thing in found)}.")


def _shown_by_name(name: str) -> str | None:
    found = {_NAMED[word] for word in re.split(r"[^a-z]+", name.lower()) if word in _NAMED}
    return found.pop() if len(found) == 1 else None


def _named(name: str, shows: str | None, times: Sequence[BakeTimes]) -> Thing | None:
    """Return the piece or dough whose code stands in a file's name."""
    stem = _plain(name.rpartition(".")[0] or name)
    counted = bool(_CAMERA.match(name))
    levels = ("doughs",) if shows == "rise" else ("pieces", "doughs")
    for level in levels:
        found: list[Thing] = [
            thing
            for one in times
            for thing in getattr(one, level)
            if f"-{_plain(thing.code)}-" in f"-{stem}-" and not (counted and thing.code.isdecimal())
        ]
        if level == "doughs" and shows not in (None, "rise"):
            return None
        if len(found) == 1:
            return found[0]
        if found:
            return None
    return None


def _plain(text: str) -> str:
    return re.sub(r"[^a-z0-9]+", "-", text.lower()).strip("-")


def _bake_of(taken: datetime | None, times: Sequence[BakeTimes]) -> BakeTimes | None:
    """Return the bake whose stages, or else whose day or night, a moment falls into."""
    if taken is None:
        return None
    within = [
        one
        for one in times
        if (noted := [n.at for own in one.noted.values() for n in own.values()])
        and min(noted) <= taken <= max(noted) + _AFTERWARDS
    ]
    on_day = [one for one in times if one.bake.day == _day(taken, one.bake)]
    night = [one for one in times if one.bake.day == _day(taken - _NIGHT, one.bake)]
    for found in (within, on_day or night):
        if len(found) == 1:
            return found[0]
    return None


def _day(taken: datetime, bake: Bake) -> object:
    return taken.astimezone(ZoneInfo(bake.zone)).date()


def _proofing(taken: datetime, bake: BakeTimes) -> list[Dough]:
    """Return the doughs that stood warm then: begun, not in the refrigerator, not yet baked."""
    found = []
    for dough in bake.doughs:
        own = {stage: noted.at for stage, noted in bake.of(dough).items() if noted.at <= taken}
        started = [own[stage] for stage in _STARTS if stage in own]
        chilled = own.get("in the fridge")
        if not started or (chilled is not None and chilled > max(started)):
            continue
        on = [bake.of(load).get("on the griddle") for load in bake.loads_of[dough.id]]
        if on and all(noted is not None and noted.at <= taken for noted in on):
            continue
        found.append(dough)
    return found


def _baked(taken: datetime, bake: BakeTimes) -> list[Load]:
    """Return the loads that had been on the griddle by then, the last one first."""
    when = {}
    for load in bake.loads:
        own = bake.of(load)
        at = next((own[stage].at for stage in _OFF if stage in own), None)
        if at is not None and at <= taken:
            when[load] = at
    return sorted(when, key=lambda load: when[load], reverse=True)


def _in_order(
    photos: Sequence[StoredPhoto], guesses: Mapping[str, Guess], times: Sequence[BakeTimes]
) -> dict[str, Guess]:
    """Give photos that show alike the pieces in the order of loads and places, where they match.

    As many photos as there are pieces, in one bake or after one load: the first is of the first.
    """
    groups: dict[tuple[str, str, str], list[StoredPhoto]] = {}
    for photo in photos:
        guess, bake = guesses[photo.id], _bake_of(photo.taken, times)
        if guess.on is None and bake is not None and guess.shows not in (None, "rise"):
            load = next(iter(_baked(photo.taken, bake)), None)  # type: ignore[arg-type]
            key = bake.bake.id, load.id if load else "", str(guess.shows)
            groups.setdefault(key, []).append(photo)
    of_bake = {one.bake.id: one for one in times}
    found: dict[str, Guess] = {}
    for (bake_id, load_id, shows), group in groups.items():
        bake = of_bake[bake_id]
        pieces = sorted(
            (p for p in bake.pieces if not load_id or (p.load and p.load.id == load_id)),
            key=_on_griddle,
        )
        after = f"load {pieces[0].load.position}" if load_id and pieces else str(bake.bake)  # type: ignore[union-attr]
        if pieces and len(group) == len(pieces):
            why = f"As many photos as {after} has pieces, in their order on the griddle."
            found |= {
                photo.id: Guess(shows, piece, why)
                for photo, piece in zip(group, pieces, strict=True)
            }
        elif pieces:
            why = (
                f"{words.plural(len(group), 'photo')} for {words.plural(len(pieces), 'piece')} "
                f"of {after}: say which is which."
            )
            found |= {photo.id: Guess(shows, None, why) for photo in group}
    return found


def _on_griddle(piece: Piece) -> tuple[int, int]:
    load = piece.load.position if piece.load else 10**6
    return load, piece.place if piece.place is not None else 10**6
