"""What a photo is measured by: its reference, the shape of what it shows, and a hand."""

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

import ipywidgets as widgets

from kit.errors import InputError
from kit.panels.measuring.marking import Marking
from kit.panels.measuring.marks import called, dragged
from kit.panels.measuring.reference import ReferenceForm
from kit.panels.parts.again import fill_in, held
from kit.panels.parts.controls import pick, visible
from kit.panels.parts.fields import Typed, beside_of
from kit.records.photos.measured_by import MeasuredBy
from kit.records.photos.store import StoredPhoto
from kit.units import parse
from kit.workspace import Trial

if TYPE_CHECKING:
    from kit.photo.picture import Photo

__all__ = ["Hand", "Means", "ShapeForm"]

_SHAPES = {"a ball standing free": "ball", "a piece with a flat top": "piece",
           "in a jar or a straight container": "jar"}  # fmt: skip


class ShapeForm(widgets.VBox):  # type: ignore[misc]
    """Asks for the shape; what is typed stays from photo to photo.

    Parameters
    ----------
    changed : callable
        Called when another shape is chosen.
    """

    def __init__(self, changed: Callable[[], None]) -> None:
        self.kind = pick("The dough is", _SHAPES.items())
        self.inner = Typed("Its inside is wide", hint="such as 86 mm")
        self.base = Typed("Its base is thick", hint="0 mm")
        super().__init__([self.kind, self.inner, self.base])
        self.kind.observe(lambda _: self._show(), "value")
        self.kind.observe(lambda _: changed(), "value")
        self._show()

    def _show(self) -> None:
        for field in (self.inner, self.base):
            visible(field, self.kind.value == "jar")

    def fill(self, how: Mapping[str, Any]) -> None:
        """Fill in what `read` gave; what it does not say stays as it is."""
        self.kind.value = how.get("shape", self.kind.value)
        if (jar := how.get("jar")) is not None:
            self.inner.value = f"{jar.inner_diameter_mm:.10g} mm"
            self.base.value = f"{jar.base_thickness_mm:.10g} mm"

    def read(self) -> dict[str, Any]:
        """Return the shape, and its jar, as `kit.photo.side` takes them.

        Raises
        ------
        InputError
            Something is missing or cannot be; said beside its field, too.
        """
        if self.kind.value != "jar":
            return {"shape": self.kind.value}
        from kit.photo.sides.jar import Jar

        inner = self.inner.read(_inside)
        base = self.base.read(lambda text: parse(text, "mm", "base"))
        with beside_of({"inner_diameter_mm": self.inner, "base_thickness_mm": self.base}):
            return {"shape": "jar", "jar": Jar(inner, base or 0.0)}


def _inside(text: str) -> float:
    value = parse(text, "mm", "inside")
    if value is None:
        raise InputError("inside", "", "must not be empty", "Measure how wide its inside is.")
    return value


Ends = dict[str, tuple[float, float]]

_SAID = ("box", "outline", "threshold")


class Hand:
    """Marks and corrections by hand, of one photo at a time.

    Attributes
    ----------
    said : dict
        Arguments of the measuring: outline, threshold, box.
    corrected : dict
        What of it is called corrected, in order.
    ends : dict
        Key of a reference's mark -> where it was put on this photo.
    """

    def __init__(self) -> None:
        self.said: dict[str, Any] = {}
        self.corrected: dict[str, None] = {}
        self.ends: Ends = {}
        self._before: Ends = {}

    def forget(self) -> None:
        """Something else is to be measured on the same photo."""
        self.said, self.corrected = {}, {}

    def turn(self) -> None:
        """Go on to another photo: the camera may have moved, so its marks are only drawn there."""
        self.forget()
        self._before |= {key: at for key, at in self.ends.items() if key != "end-disc"}
        self.ends = {}

    @property
    def marks(self) -> Ends:
        """Where to draw the reference's marks: put here, or as they lay on the photo before."""
        return self._before | self.ends

    @property
    def unsure(self) -> bool:
        """Whether marks of the photo before are drawn that nobody put on this one."""
        return any(key not in self.ends for key in self._before)

    def confirm(self) -> None:
        """The marks of the photo before lie right on this one, too."""
        self.ends = self.marks

    def take(self, by: MeasuredBy, ends: Ends) -> None:
        """Take up what a photo was measured by."""
        self.said = {name: said for name, said in by.arguments().items() if name in _SAID}
        self.corrected = dict.fromkeys(by.corrected)
        self.ends |= ends

    def take_over(self, before: "Hand") -> None:
        """Go on with what a hand said in the panel that stood here before."""
        self.said, self.corrected = dict(before.said), dict(before.corrected)
        self.ends, self._before = dict(before.ends), dict(before._before)

    def back_to_found(self) -> None:
        """Drop what was corrected; where to look stays as it was said."""
        self.said = {name: said for name, said in self.said.items() if name == "box"}
        self.corrected = {name: None for name in self.corrected if name == "place"}

    def moved(self, marking: Marking, key: str, result: Any) -> None:
        """Take where a mark was dragged; the parameters are those of `measure_marks.dragged`."""
        if key.startswith("end"):
            self.ends[key] = marking.at(key)
        self.said |= dragged(marking, key, result, self.said)
        if name := called(key):
            self.corrected[name] = None


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
        return self.reference.said, tuple(held([self.shape]).items())

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
            fill_in([self.shape], dict(shape))
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
