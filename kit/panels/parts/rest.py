"""Something that takes its time, done once the hand rests: not after each of several fields."""

import asyncio
from collections.abc import Callable

__all__ = ["AtRest"]

#: how long a hand rests before it counts as resting
REST_S = 0.3


class AtRest:
    """Does something a moment after it was last asked for.

    Parameters
    ----------
    do : callable

    Examples
    --------
    >>> AtRest(lambda: print("done")).soon()  # outside a notebook nothing more can come
    done
    """

    def __init__(self, do: Callable[[], None]) -> None:
        self._do = do
        self._waits: asyncio.TimerHandle | None = None

    def soon(self) -> None:
        """Do it when what else is typed meanwhile has been heard."""
        self._stop()
        try:
            self._waits = asyncio.get_running_loop().call_later(REST_S, self._now)
        except RuntimeError:
            self._do()

    def settle(self) -> None:
        """Do it now if it waits."""
        if self._waits is not None:
            self._now()

    def _now(self) -> None:
        self._stop()
        self._do()

    def _stop(self) -> None:
        if self._waits is not None:
            self._waits.cancel()
        self._waits = None
