"""What a tasting's answer says, whatever was asked of the tasters."""

from abc import abstractmethod
from dataclasses import dataclass
from typing import TYPE_CHECKING

from kit.shown import Telling, Worded

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["NOT_LIKING", "Answered"]

#: What to do next, where the tasters were not asked which they like.
NOT_LIKING = "Next: decide whether that is what you want; the tasters were asked nothing else."


@dataclass(frozen=True, kw_only=True)
class Answered(Worded):
    """An answer, what was found, what could have been missed, and what to do next.

    Parameters
    ----------
    question : str
        What a pair, ranking or scores asked, where it was not liking.
    """

    question: str = ""

    @abstractmethod
    def plot(self, ax: "Axes | None" = None) -> "Axes":
        """Draw it."""

    @property
    def could_miss(self) -> str:
        """What a panel like this would likely have missed."""
        return str(self._words.could_miss(self))

    @property
    def statistics(self) -> str:
        """Test, p value and sources, for a statistician."""
        return str(self._words.statistics(self))

    def tells(self) -> Telling:
        """What it says."""
        sentences = (self.sentence, self.could_miss, self.next_step)
        return Telling(self.headline, sentences, self.checks, self.statistics)
