"""What takes its time: done beside the notebook's own thread, told while it goes, stopped."""

from collections.abc import Callable
from html import escape
from threading import Event, Thread
from typing import Self

import ipywidgets as widgets

from kit.errors import KitError
from kit.panels.blocks import status
from kit.panels.controls import LABELS, tall, visible, wide
from kit.panels.style import trouble

__all__ = ["AtWork", "Progress"]

#: how many are done, of how many, and what is said of it
Progress = Callable[[int, int, str], None]


class AtWork(widgets.VBox):  # type: ignore[misc]
    """A bar and words for one long job at a time; it goes on where its page is reloaded.

    Parameters
    ----------
    counts : str
        What the bar counts.
    none : str
        What Stop says when there is nothing to stop.
    then : callable, optional
        Called when a job has ended, however it did.

    Attributes
    ----------
    stop : Button
        Stays as it is while nothing is done, for who stands on it by keyboard.
    thread : Thread or None
        Of the last job.
    """

    def __init__(self, counts: str, none: str, then: Callable[[], None] = lambda: None) -> None:
        self.thread: Thread | None = None
        self._stopped = Event()
        self._none, self._then = none, then
        self._heir: AtWork | None = None
        self.stop = tall("Stop", self._stop)
        self.progress = widgets.IntProgress(description=counts, style=LABELS, layout=wide())
        self.said = widgets.HTML()
        super().__init__([self.progress, self.said])
        visible(self.progress, False)

    @property
    def busy(self) -> bool:
        """Whether a job is being done."""
        return self.thread is not None and self.thread.is_alive()

    def begin(self, job: Callable[[Progress, Callable[[], bool]], str]) -> None:
        """Do a job in a thread of its own, which leaves the notebook's free to hear Stop.

        Parameters
        ----------
        job : callable
            Takes what to tell progress to, and what says whether it was stopped; returns as HTML
            what came of it.
        """
        self._stopped.clear()
        self.progress.value, self.said.value = 0, ""
        visible(self.progress, True)
        self.thread = Thread(target=self._do, args=(job,))
        self.thread.start()

    def take_over(self, before: Self) -> None:
        """Show and stop from now on what is still done there."""
        before._heir, self.thread, self._stopped = self, before.thread, before._stopped
        visible(self.progress, self.busy)

    def _do(self, job: Callable[[Progress, Callable[[], bool]], str]) -> None:
        try:
            told = job(self._tell, self._stopped.is_set)
            self._now.said.value = told
        except KitError as exc:
            self._now.said.value = trouble(str(exc))
        finally:
            self._now._then()

    def _tell(self, done: int, of: int, said: str = "") -> None:
        now = self._now
        now.progress.max, now.progress.value = max(of, 1), done
        now.said.value = f"<p>{escape(said)}</p>" if said else ""

    @property
    def _now(self) -> "AtWork":
        """What is seen: this one, or what stands in its place."""
        return self if self._heir is None else self._heir._now

    def _stop(self) -> None:
        self._stopped.set()
        if not self.busy and not self.said.value:  # what it tells stays
            self.said.value = status(self._none)
