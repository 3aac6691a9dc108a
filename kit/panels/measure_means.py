"""What a photo is measured by: its reference, the shape of what it shows, and a hand."""

from typing import TYPE_CHECKING, Any

from kit.errors import InputError
from kit.panels.fields import beside_of
from kit.panels.measure_hand import Hand
from kit.panels.measure_reference import ReferenceForm
from kit.panels.measure_shape import ShapeForm
from kit.records.measured_by import MeasuredBy
from kit.records.photos import StoredPhoto
from kit.workspace import Trial

if TYPE_CHECKING:
    from kit.photo.picture import Photo

__all__ = ["Means"]


class Means:
    """Two forms and a hand, set for one photo after the other.

    Parameters
    ----------
    reference : ReferenceForm
    shape : ShapeForm
    hand : Hand
    """

    def __init__(self, reference: ReferenceForm, shape: ShapeForm, hand: Hand) -> None:
        self.reference, self.shape, self.hand = reference, shape, hand
        self._typed: tuple[Any, ...] | None = None
        self._blank = self._said

    @property
    def _said(self) -> tuple[Any, ...]:
        """Everything that is typed of reference, shape and jar."""
        return self.reference.said, self.shape.said

    def take_over(self, before: "Means") -> None:
        """Have what was typed last in the panel before, for photos that were not measured yet."""
        self._typed = before._said if before._typed is None else before._typed

    def settle(self, trial: Trial, photo: StoredPhoto, shows: str | None) -> None:
        """Set what the photo was measured by; of one that was not, what was typed last.

        Where nothing was typed yet, as after a new start, it is what the last one was measured by.
        """
        by = photo.measured_by
        if by is None and self._typed is not None:
            reference, shape = self._typed
            self.reference.say(reference)
            self.shape.say(shape)
            self._typed = None
        if by is None and self._said == self._blank:
            before = [p for p in trial.photos() if p.measured_by]
            alike = [one for one in before if one.shows == shows]
            for one in (alike or before)[-1:]:
                assert one.measured_by is not None
                self._fill(one.measured_by, one.shows)  # its depth is its kind's only
        if by is not None:
            if self._typed is None and self._said != self._blank:
                self._typed = self._said
            self._fill(by, photo.shows)
            self.hand.take(by, self.reference.ends_of(by.about))

    def _fill(self, by: MeasuredBy, shows: str | None) -> None:
        self.shape.fill(by.how)
        self.reference.fill(by.reference, by.about, shows)

    def about(self, shows: str | None) -> dict[str, Any]:
        """What is said of the reference, its points as they were put on the photo."""
        return self.reference.about(shows) | self.reference.placed(self.hand.ends)

    def shaped(self, shows: str | None) -> dict[str, Any]:
        """The shape of rising dough, and its jar, as they are set."""
        return self.shape.read() if shows == "rise" else {}

    def scale(self, opened: "Photo", shows: str) -> Any:
        """The photo's scale; what the measuring refuses is said beside its field."""
        from kit.photo.one_photo import scale_for

        about = self.about(shows)
        with beside_of(self.reference.called(shows)):
            return scale_for(opened, shows, self.reference.kind.value, about)

    def said_beside(self, shows: str | None) -> str:
        """Return the label of the field beside which stands what is wrong; empty where none."""
        fields = [*self.reference.called(shows).values()]
        if shows == "rise" and self.shape.kind.value == "jar":
            fields += [self.shape.inner, self.shape.base]
        wrong = (field for field in fields if field.said.value)
        return next((str(field.text.description) for field in wrong), "")

    def by(self, shows: str | None) -> MeasuredBy:
        """All of it, as it is kept with a photo."""
        how = self.shaped(shows) | self.hand.said
        kind, corrected = self.reference.kind.value, tuple(self.hand.corrected)
        return MeasuredBy(kind, self.about(shows), how, corrected)

    def for_many(self, shows: str) -> dict[str, Any]:
        """What to measure every photo by, nothing of it put by hand: for `Trial.measure`.

        Raises
        ------
        InputError
            Something is missing about the reference or the jar, or its points differ from photo
            to photo.
        """
        kind = self.reference.kind.value
        if self.reference.by_points:
            rule = "is put on each photo by hand"
            label = self.reference.kind.label
            raise InputError("scale by", label, rule, "Measure these photos one by one.")
        return {"reference": kind, "about": self.reference.about(shows)} | self.shaped(shows)

    def for_series(self) -> dict[str, Any]:
        """What all photos of a dough are measured by: as this one is, and its outline by hand."""
        said = {key: one for key, one in self.hand.said.items() if key in ("box", "outline")}
        by = MeasuredBy(self.reference.kind.value, self.about("rise"), self.shaped("rise"))
        return self.shaped("rise") | said | {"corrected": list(self.hand.corrected), "by": by}
