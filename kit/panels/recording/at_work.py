"""What takes its time: done beside the notebook's own thread, told while it goes, stopped."""

from collections.abc import Callable
from html import escape
from threading import Event, Thread
from typing import Self

import ipywidgets as widgets

from kit.errors import KitError
from kit.panels.parts.blocks import status
from kit.panels.parts.controls import button, visible
from kit.panels.parts.style import trouble
from kit.records.keeping.trouble import said_of_disk

__all__ = ["AtWork", "Progress"]

#: how many are done, of how many, and what is said of it
Progress = Callable[[int, int, str], None]


class _Work:
    """One job at a time, however many windows show it."""

    def __init__(self, shown: "AtWork") -> None:
        self.thread: Thread | None = None
        self.stopped = Event()
        self.done, self.said = (0, 1), ""
        self.shown = [shown]


class AtWork(widgets.VBox):  # type: ignore[misc]
    """A bar and words for one long job at a time; it goes on where its page is reloaded.

    Windows opened one after the other show the same job, and any of them stops it.

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
    """

    def __init__(self, counts: str, none: str, then: Callable[[], None] = lambda: None) -> None:
        self._work = _Work(self)
        self._counts, self._none, self._then = counts, none, then
        self.stop = button("Stop", self._stop)
        self.progress, self.said = widgets.HTML(), widgets.HTML()
        super().__init__([self.progress, self.said])
        visible(self.progress, False)

    @property
    def thread(self) -> Thread | None:
        """Of the last job; None before the first."""
        return self._work.thread

    @property
    def busy(self) -> bool:
        """Whether a job is being done."""
        return self.thread is not None and self.thread.is_alive()

    @property
    def done(self) -> tuple[int, int]:
        """How many are done, and of how many."""
        return self._work.done

    def begin(self, job: Callable[[Progress, Callable[[], bool]], str]) -> None:
        """Do a job in a thread of its own, which leaves the notebook's free to hear Stop.

        Parameters
        ----------
        job : callable
            Takes what to tell progress to, and what says whether it was stopped; returns as HTML
            what came of it.
        """
        self._work.stopped.clear()
        self._tell(0, 1)
        for one in self._work.shown:
            visible(one.progress, True)
        self._work.thread = Thread(target=self._do, args=(job,))
        self._work.thread.start()

    def take_over(self, before: Self) -> None:
        """Show and stop what is still done there, or show what came of it."""
        self._work = before._work
        self._work.shown.append(self)
        self._show()
        self.said.value = before.said.value
        visible(self.progress, self.busy)

    def _do(self, job: Callable[[Progress, Callable[[], bool]], str]) -> None:
        try:
            self._say(job(self._tell, self._work.stopped.is_set))
        except KitError as exc:
            self._say(trouble(str(exc)))
        except OSError as exc:
            told = f"{said_of_disk(exc)} What was done until then is kept; the same button goes on."
            self._say(trouble(told))
        except Exception as exc:  # a fault of ours: say so, then let it out
            self._say(trouble(f"this should not happen ({exc}); the log says more."))
            raise
        finally:
            for one in {self, self._work.shown[-1]}:  # pages left behind need not follow
                one._then()

    def _tell(self, done: int, of: int, said: str = "") -> None:
        self._work.done = done, max(of, 1)
        self._say(f"<p>{escape(said)}</p>" if said else "")

    def _say(self, told: str) -> None:
        self._work.said = told
        for one in list(self._work.shown):
            one._show()

    def _show(self) -> None:
        done, of = self._work.done
        self.progress.value = (
            f'<label class="kit-answer">{escape(self._counts)} '
            f'<progress max="{of}" value="{done}"></progress></label>'
        )
        self.said.value = self._work.said

    def _stop(self) -> None:
        self._work.stopped.set()
        if not self.busy and not self.said.value:  # what it tells stays
            self.said.value = status(self._none)
