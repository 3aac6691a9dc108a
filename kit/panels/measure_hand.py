"""What a hand said on the photo that is shown, and where its marks lie."""

from typing import Any

from kit.panels.marking import Marking
from kit.panels.measure_marks import called, dragged
from kit.records.measured_by import MeasuredBy

__all__ = ["Hand"]

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
