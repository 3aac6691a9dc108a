"""What a tasting's answer says, whatever was asked of the tasters."""

from kit.shown import Telling, Worded

__all__ = ["Answered"]


class Answered(Worded):
    """An answer, what was found, what could have been missed, and what to do next."""

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
