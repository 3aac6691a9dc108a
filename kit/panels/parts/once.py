"""Messages from the browser, each answered, and done once however often it comes."""

from collections.abc import Callable, Hashable
from typing import Generic, TypeVar

__all__ = ["Once"]

_T = TypeVar("_T")


class Once(Generic[_T]):
    """Remembers the last answers: a message comes again when its answer was late.

    Parameters
    ----------
    most : int
        Answers remembered.
    """

    def __init__(self, most: int = 200) -> None:
        self._most = most
        self._given: dict[Hashable, _T] = {}

    def __len__(self) -> int:
        return len(self._given)

    def answer(self, number: Hashable, do: Callable[[], _T]) -> tuple[_T, bool]:
        """Return what `do` gives, or gave, for the message of that number; whether it was done now.

        Examples
        --------
        >>> once = Once()
        >>> once.answer(1, lambda: "done"), once.answer(1, lambda: "done again")
        (('done', True), ('done', False))
        """
        new = number not in self._given
        if new:
            self._given[number] = do()
            for old in list(self._given)[: -self._most]:
                del self._given[old]
        return self._given[number], new
