"""What a tasting's answer says, whatever was asked of the tasters."""

from abc import abstractmethod

from kit.shown import Telling, Told

__all__ = ["Answered"]


class Answered(Told):
    """An answer, what was found, what could have been missed, and what to do next."""

    checks: tuple[str, ...]

    @property
    @abstractmethod
    def headline(self) -> str:
        """The answer in a few words."""

    @property
    @abstractmethod
    def sentence(self) -> str:
        """What was found."""

    @property
    @abstractmethod
    def could_miss(self) -> str:
        """What a panel like this would likely have missed."""

    @property
    @abstractmethod
    def next_step(self) -> str:
        """What to do next."""

    @property
    @abstractmethod
    def statistics(self) -> str:
        """Test, p value and sources, for a statistician."""

    def tells(self) -> Telling:
        """What it says."""
        sentences = (self.sentence, self.could_miss, self.next_step)
        return Telling(self.headline, sentences, self.checks, self.statistics)
