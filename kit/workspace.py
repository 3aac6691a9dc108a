"""The face: one `Workspace`, its `Trial`s, and the verbs a notebook calls.

>>> import tempfile
>>> ws = Workspace(tempfile.mkdtemp())
>>> trial = ws.new_trial("malt", question="Does more malt make a taller muffin?",
...                      factors={"malt_percent": [0, 0.8]}, outcome="rise_height_mm")
>>> bake = trial.add_bake("2026-11-26", flour_lot="F2")
>>> dough = trial.add_dough(bake)
>>> trial.record(dough, "malt_percent", "0,8 %").value
0.8
>>> piece = trial.add_piece(dough)
>>> trial.record(piece, "rise_height_mm", "1 1/2 in").value
38.1
>>> trial.frame()[["dough", "piece", "malt_percent", "rise_height_mm"]].values.tolist()
[['1A', '1A1', 0.8, 38.1]]
>>> ws.undo()
'undone: malt: Height 38.1 mm, piece 1A1'
>>> ws.close()
"""

import weakref
from collections.abc import Iterable, Mapping
from contextlib import AbstractContextManager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from kit import quantities
from kit.errors import InputError, NotFoundError, StoreError
from kit.formula.formula import Formula
from kit.given import as_whole
from kit.measuring import TrialPhotos
from kit.planning import TrialPlanning
from kit.preparing import TrialPreparing
from kit.proofing import TrialProof
from kit.quantities import Quantity
from kit.records import frame as frames
from kit.records import journal, structure, trials
from kit.records import tables as t
from kit.records.journal import Step
from kit.records.keeping.store import Store, open_store
from kit.records.readings import Event
from kit.records.things import Bake, Dough, Load, Piece
from kit.records.typed import need
from kit.sharing import TrialSharing
from kit.shown import InLines

if TYPE_CHECKING:
    from kit.analysis.comparison import Comparison
    from kit.plan.plan import Plan
    from kit.records.check_store import StoreCheck
    from kit.records.package.out import Package

__all__ = ["Bake", "Dough", "Event", "Formula", "Load", "Piece", "Received", "Trial", "Workspace"]


class Workspace:
    """A baker's records: a folder on this computer, or a database a kitchen shares.

    Every change is stored at once, by itself, and can be undone. Use it as a context manager, or
    just leave it: nothing is held back until closing.

    Parameters
    ----------
    where : str or Path
        A folder, made when absent, or a database URL (``postgresql+psycopg://…``).
    who : str, optional
        Who is at work, for the history; the computer's user when not given.
    wait_seconds : float
        How long to wait while another program writes.

    Raises
    ------
    StoreError
        It cannot be opened.
    """

    def __init__(
        self, where: str | Path, who: str | None = None, wait_seconds: float = 5.0
    ) -> None:
        self.store: Store = open_store(where, wait_seconds)
        self.who = journal.who_is_here() if who is None else who
        self._opened = (where, self.who, wait_seconds)
        self._closer = weakref.finalize(self, self.store.close)
        try:
            with self.store.reading() as connection:
                for quantity in trials.own_quantities(connection):
                    quantities.remember(quantity)
        except InputError as exc:
            self.close()
            text = (
                f"{self.store.name} has a quantity of its own, {exc.value}, that differs from the "
                "one already known. Open this workspace in a fresh Python."
            )
            raise StoreError(text) from exc

    @property
    def folder(self) -> Path | None:
        """Where the file and the photos lie; None for a shared database."""
        return self.store.folder

    def close(self) -> None:
        """Let go of the file."""
        self._closer()

    def __enter__(self) -> "Workspace":
        return self

    def __exit__(self, *_error: object) -> None:
        self.close()

    def __reduce__(self) -> tuple[Any, ...]:
        return type(self), self._opened  # sent to another process, it is opened there

    def __repr__(self) -> str:
        names = ", ".join(repr(trial.name) for trial in self.trials()) or "no trial yet"
        return f"<Workspace {str(self.folder or self.store.name)!r}: {names}>"

    def trials(self) -> list["Trial"]:
        """Return all trials, oldest first."""
        with self.store.reading() as connection:
            return [Trial(self, row.id) for row in trials.trials(connection)]

    def trial(self, name: str) -> "Trial":
        """Return one trial.

        Raises
        ------
        NotFoundError
            Lists the trials there are.
        """
        with self.store.reading() as connection:
            ids = {row.name: row.id for row in trials.trials(connection)}
        need("name", name, str, "name of a trial", "Write it in quotes.")
        if name not in ids:
            raise NotFoundError("trial", name, ids)
        return Trial(self, ids[name])

    def new_trial(
        self,
        name: str,
        question: str = "",
        factors: Mapping[str, Iterable[str | float]] | None = None,
        outcome: str | None = None,
        matters: str | float | None = None,
        zone: str | None = None,
        invented: bool = False,
        baker: str = "",
    ) -> "Trial":
        """Begin a trial.

        Parameters
        ----------
        name : str
            Short, unlike any other trial's.
        question : str
            What it is to answer.
        factors : mapping, optional
            Quantity set on purpose -> its settings, e.g. ``{"malt_percent": [0, 0.4, 0.8]}``.
        outcome : str, optional
            The quantity that answers the question.
        matters : float, optional
            Smallest difference of the outcome you care about, in its unit.
        zone : str, optional
            IANA time zone of the kitchen; the computer's when not given.
        invented : bool
            The data are made up (said wherever they are shown).
        baker : str
            Whose trial it is.

        Raises
        ------
        InputError, NotFoundError
            A value that cannot be used, a quantity nobody knows.
        """
        given = {
            "name": name, "question": question, "factors": factors, "outcome": outcome,
            "matters": matters, "zone": zone, "invented": invented, "baker": baker,
        }  # fmt: skip
        with self._step() as step:
            trial_id = trials.add_trial(step, given)
            step.says = f"{name}: trial begun"
        return Trial(self, trial_id)

    def begin(
        self,
        name: str,
        plan: "Plan",
        days: Any = None,
        every_days: int = 7,
        same: Mapping[str, Any] | None = None,
        formula: Formula | None = None,
        **about: Any,
    ) -> tuple["Trial", list[Bake]]:
        """Begin a trial with its plan, all of it or nothing; one undo takes it out again.

        Parameters
        ----------
        name : str
            Short, unlike any other trial's.
        plan : Plan
            See `kit.design`; its factors are the trial's.
        days, every_days, same
            See `Trial.keep`.
        **about
            See `new_trial`: question, outcome, matters, zone, invented, baker.

        Raises
        ------
        InputError, NotFoundError
            Something that cannot be; nothing is stored.
        """
        from kit.plan.plan import Plan

        need("plan", plan, Plan, "plan", "Give what kit.design(…) returns.")
        about["factors"] = {f.quantity: list(f.settings) for f in plan.factors}
        with self.together(f"{name}: trial begun with its plan", whole=True):
            trial = self.new_trial(name, **about)
            if formula is not None:
                trial.set_formula(formula)
            return trial, trial.keep(plan, days, every_days, same)

    def remove_trial(self, name: str) -> None:
        """Take a trial out, with all that belongs to it. It can be undone."""
        trial = self.trial(name)
        with self._step(f"{name}: trial removed") as step:
            step.delete(t.trial, trial.id)

    def frame(self, names: str | Iterable[str] | None = None) -> pd.DataFrame:
        """Return several trials as one frame, a first column `trial` saying which.

        Parameters
        ----------
        names : str or iterable of str, optional
            Which; all when not given.
        """
        wanted = [names] if isinstance(names, str) else names
        if wanted is not None:
            need("names", wanted, Iterable, "list of trials", "Write their names in a list.")
        chosen = self.trials() if wanted is None else [self.trial(name) for name in wanted]
        return frames.stack({trial.name: trial.frame() for trial in chosen})

    def compare(
        self,
        names: Iterable[str],
        outcome: str,
        by: str,
        matters: float | None = None,
        adjust: Iterable[str] = (),
        control: Any = None,
        line: bool | None = None,
    ) -> "Comparison":
        """Compare the settings of a factor over several trials, the trials held alike.

        Parameters
        ----------
        names : iterable of str
            Trials.
        outcome, by, matters, adjust, control, line
            See `kit.compare`.
        """
        from kit.analysis.compare import compare
        from kit.analysis.grouping.mixing import mixed_by

        frame, adjust = self.frame(names), list(adjust)
        return compare(
            frame, outcome, by, dough="dough", bake="bake", load=frames.present(frame, "load"),
            trial="trial" if frame["trial"].nunique() > 1 else None, mixing=mixed_by(by, *adjust),
            matters=matters, adjust=adjust, control=control, line=line,
        )  # fmt: skip

    def receive(self, source: "str | Path | Package", baker: str | None = None) -> "Received":
        """Bring in a trial another baker sent, beside what is there; one undo takes it back.

        Parameters
        ----------
        source : str, Path or Package
            The zip file that `Trial.package` wrote.
        baker : str, optional
            Whose trial it is; as the package says when not given.

        Returns
        -------
        Received
            The trial as it is here: renamed where another one has its name. When the very same is
            here already, that one, and nothing is changed.

        Raises
        ------
        DataError
            It is no package of a trial, is damaged, or holds what cannot be: lists every problem.
            Nothing is stored.
        """
        from kit.records.package.receive import receive_package

        return Received(self, *receive_package(self.store, self.who, source, baker))

    def together(self, says: str, whole: bool = False) -> AbstractContextManager[None]:
        """Make one undo of everything done inside a ``with`` block, each thing stored at once.

        Parameters
        ----------
        says : str
            What the history calls it: "36 values pasted".
        whole : bool
            Whether all of it is taken back when the block fails.
        """
        return journal.together(self.store, says, whole)

    def undo(self) -> str:
        """Take back the last thing done, here or in another notebook; say what it was."""
        said = journal.undo(self.store)
        return "nothing to undo" if said is None else f"undone: {said}"

    def history(self, newest: int | None = None) -> pd.DataFrame:
        """Return what was done, oldest first: when, who, what, undone."""
        count = None if newest is None else as_whole(newest)
        if newest is not None and (count is None or not 0 <= count < 2**31):
            rule = "must be a whole number from 0"
            raise InputError("newest", newest, rule, "Leave it out for all that was done.")
        return journal.history(self.store, count)

    def check(self) -> "StoreCheck":
        """Look the workspace over: file, belonging, values, photos, journal; nothing is changed."""
        from kit.records.check_store import check_store

        return check_store(self.store)

    def add_quantity(self, quantity: Quantity) -> Quantity:
        """Make a quantity of your own known, now and whenever this workspace is opened."""
        need("quantity", quantity, Quantity, "quantity", "Give a kit.quantities.Quantity(…).")
        with self._step(f"quantity {quantity.name} added") as step:
            trials.add_quantity(step, quantity)
        return quantity

    def add_lot(self, kind: str, code: str, note: str = "") -> None:
        """Note a lot of flour, yeast, malt …, or another note on a known one."""
        with self._step(f"lot {code} of {kind}") as step:
            structure.add_lot(step, kind, code, note)

    def lots(self) -> pd.DataFrame:
        """Return the lots: kind, code, note."""
        with self.store.reading() as connection:
            return structure.lots(connection)

    def _step(self, says: str = "") -> AbstractContextManager[Step]:
        return journal.step(self.store, self.who, says)


class Trial(TrialPlanning, TrialPreparing, TrialPhotos, TrialSharing, TrialProof):
    """One question asked over several bakes: its records, and what they answer.

    Made by `Workspace.trial` and `Workspace.new_trial`. It holds nothing itself: what it tells is
    what the workspace has at that moment.
    """

    def __init__(self, workspace: Workspace, trial_id: str) -> None:
        super().__init__(workspace.store, workspace.who, trial_id)
        self.workspace = workspace

    def __reduce__(self) -> tuple[Any, ...]:
        return Trial, (self.workspace, self.id)


class Received(InLines, Trial):
    """A trial that another baker sent: a trial like any other, and how it arrived.

    Parameters
    ----------
    workspace, trial_id
        See `Trial`.
    already_here : bool
        The very same was here before; nothing was changed.
    notes : tuple of str
        What was renamed, left out, or is unusual.
    """

    def __init__(
        self, workspace: Workspace, trial_id: str, already_here: bool, notes: tuple[str, ...]
    ) -> None:
        super().__init__(workspace, trial_id)
        self.already_here, self.notes = already_here, notes

    def __str__(self) -> str:
        if self.already_here:
            return f"{self.name} is already here, the very same; nothing was changed."
        whose = f" by {self.baker}" if self.baker else ""
        mark = " Invented data: made up to show how this works." if self.invented else ""
        lines = [f"{self.name}{whose}: {len(self.pieces())} pieces received.{mark}"]
        return "\n".join([*lines, *(f"Note: {note}." for note in self.notes)])
