"""What the kitchen can do: bakes, doughs, tubs, pieces, places and loads."""

from dataclasses import dataclass, replace

from kit import words
from kit.errors import InputError
from kit.given import as_whole

__all__ = ["LARGEST", "MOST_PIECES", "Kitchen"]

#: No count of a kitchen is above this.
LARGEST = 10_000
#: More pieces than this, such as 20 doughs of 100, no kitchen bakes for a question (own choice),
#: and planning takes minutes.
MOST_PIECES = 2000


@dataclass(frozen=True)
class Kitchen:
    """What the kitchen can do.

    Parameters
    ----------
    bakes : int
        How many sessions there will be ("five Thursdays").
    doughs_per_bake : int, optional
        How many doughs can be mixed for one bake; the number of `tubs` when not given.
    pieces_per_dough : int
        How many pieces one dough makes.
    places : int
        How many pieces the griddle holds at once.
    loads_per_bake : int, optional
        How often the griddle can be filled in one bake; as often as needed when not given.
    tubs : int, optional
        How many doughs can rest at once.
    shared_loads : bool
        Whether pieces of several doughs may lie on the griddle together.
    """

    bakes: int
    doughs_per_bake: int | None = None
    pieces_per_dough: int = 6
    places: int = 6
    loads_per_bake: int | None = None
    tubs: int | None = None
    shared_loads: bool = True

    def __post_init__(self) -> None:
        for field in (
            "bakes", "doughs_per_bake", "pieces_per_dough", "places", "loads_per_bake", "tubs",
        ):  # fmt: skip
            value = getattr(self, field)
            if value is None and field in ("doughs_per_bake", "loads_per_bake", "tubs"):
                continue
            whole = as_whole(value)
            if whole is None:
                raise InputError(field, value, "must be a whole number")
            if not 1 <= whole <= LARGEST:
                raise InputError(field, value, f"must lie between 1 and {LARGEST}")
            object.__setattr__(self, field, whole)
        pieces = self.bakes * self.doughs * self.pieces_per_dough
        if pieces > MOST_PIECES:
            remedy = "Look again at bakes, doughs a bake and pieces a dough."
            raise InputError("pieces", pieces, f"must be at most {MOST_PIECES} in all", remedy)
        if self.doughs_per_bake is None and self.tubs is None:
            remedy = "Say how many doughs you can mix for one bake."
            raise InputError("doughs_per_bake", None, "must be given, or tubs", remedy)

    @property
    def doughs(self) -> int:
        """Doughs that one bake can have: no more than there are tubs."""
        asked = self.doughs_per_bake or self.tubs or 1
        return min(asked, self.tubs or asked)

    def fitted(self) -> tuple["Kitchen", list[str]]:
        """The nearest kitchen whose loads hold all its pieces, and what was changed.

        Pieces are given up before doughs: more pieces do not replace more doughs.
        """
        notes = []
        kitchen = replace(self, doughs_per_bake=self.doughs)
        if self.doughs_per_bake and self.doughs < self.doughs_per_bake:
            notes.append(
                f"{self.doughs_per_bake} doughs a bake do not fit into "
                f"{words.plural(self.tubs or 1, 'tub')}: planned with {self.doughs}"
            )
        if kitchen.loads_per_bake is None:
            return kitchen, notes
        room = kitchen.loads_per_bake * kitchen.places
        wanted = kitchen.loads_needed(kitchen.doughs, kitchen.pieces_per_dough)
        if wanted <= kitchen.loads_per_bake:
            return kitchen, notes
        doughs = kitchen.doughs
        if kitchen.shared_loads:
            doughs = min(doughs, room)
            pieces = min(kitchen.pieces_per_dough, room // doughs)
        else:
            doughs = min(doughs, kitchen.loads_per_bake)
            pieces = min(
                kitchen.pieces_per_dough, kitchen.loads_per_bake // doughs * kitchen.places
            )
        notes.append(
            f"{words.plural(kitchen.doughs, 'dough')} of "
            f"{words.plural(kitchen.pieces_per_dough, 'piece')} need {wanted} loads a bake, and "
            f"there is time for {kitchen.loads_per_bake}: planned with "
            f"{words.plural(doughs, 'dough')} of {words.plural(pieces, 'piece')}"
        )
        return replace(kitchen, doughs_per_bake=doughs, tubs=None, pieces_per_dough=pieces), notes

    def loads_needed(self, doughs: int, pieces: int) -> int:
        """Fills of the griddle for so many doughs of so many pieces."""
        if self.shared_loads:
            return -(-doughs * pieces // self.places)
        return doughs * -(-pieces // self.places)
