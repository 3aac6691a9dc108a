"""What a tasting's answer says, whatever was asked of the tasters."""

from typing import Any, ClassVar

from kit.shown import Telling, Told

__all__ = ["Answered"]


class Answered(Told):
    """An answer, what was found, what could have been missed, and what to do next.

    Attributes
    ----------
    _says : module
        Makes the sentences of what does not make its own.
    """

    checks: tuple[str, ...]
    _says: ClassVar[Any]

    @property
    def headline(self) -> str:
        """The answer in a few words."""
        return str(self._says.headline(self))

    @property
    def sentence(self) -> str:
        """What was found."""
        return str(self._says.finding(self))

    @property
    def could_miss(self) -> str:
        """What a panel like this would likely have missed."""
        return str(self._says.could_miss(self))

    @property
    def next_step(self) -> str:
        """What to do next."""
        return str(self._says.next_step(self))

    @property
    def statistics(self) -> str:
        """Test, p value and sources, for a statistician."""
        return str(self._says.statistics(self))

    def tells(self) -> Telling:
        """What it says."""
        sentences = (self.sentence, self.could_miss, self.next_step)
        return Telling(self.headline, sentences, self.checks, self.statistics)
