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
from dataclasses import replace
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any

import pandas as pd

from kit import quantities
from kit.errors import DataError, InputError, NotFoundError, StoreError
from kit.formula.formula import Formula
from kit.planning import TrialPlanning
from kit.quantities import Quantity
from kit.records import frame as frames
from kit.records import journal, structure, trials
from kit.records import tables as t
from kit.records.journal import Step
from kit.records.readings import Event
from kit.records.store import Store, open_store
from kit.records.things import Bake, Dough, Load, Piece

if TYPE_CHECKING:
    from kit.analysis.compare import Comparison
    from kit.writeup import Report

__all__ = ["Bake", "Dough", "Event", "Formula", "Load", "Piece", "Trial", "Workspace"]


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
        self._closer = weakref.finalize(self, self.store.close)
        try:
            with self.store.reading() as connection:
                for quantity in trials.own_quantities(connection):
                    quantities.add(quantity)
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

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        where: TracebackType | None,
    ) -> None:
        self.close()

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

        frame = self.frame(names)
        return compare(
            frame,
            outcome,
            by,
            dough="dough",
            bake="bake",
            load=_present(frame, "load"),
            trial="trial" if frame["trial"].nunique() > 1 else None,
            matters=matters,
            adjust=list(adjust),
            control=control,
            line=line,
        )

    def undo(self) -> str:
        """Take back the last thing done, here or in another notebook; say what it was."""
        said = journal.undo(self.store)
        return "nothing to undo" if said is None else f"undone: {said}"

    def history(self, newest: int | None = None) -> pd.DataFrame:
        """Return what was done, oldest first: when, who, what, undone."""
        return journal.history(self.store, newest)

    def add_quantity(self, quantity: Quantity) -> Quantity:
        """Make a quantity of your own known, now and whenever this workspace is opened."""
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


class Trial(TrialPlanning):
    """One question asked over several bakes: its records, and what they answer.

    Made by `Workspace.trial` and `Workspace.new_trial`. It holds nothing itself: what it tells is
    what the workspace has at that moment.
    """

    def __init__(self, workspace: Workspace, trial_id: str) -> None:
        super().__init__(workspace.store, workspace.who, trial_id)
        self.workspace = workspace

    def compare(
        self,
        outcome: str | None = None,
        by: str | None = None,
        matters: float | None = None,
        adjust: Iterable[str] | None = None,
        control: Any = None,
        line: bool | None = None,
        leave_out: Iterable[str] = (),
    ) -> "Comparison":
        """Compare the settings of a factor; see `kit.compare` for the answer.

        Bakes, doughs and loads are taken from the records.

        Parameters
        ----------
        outcome, by : str, optional
            The trial's own outcome and its first factor when not given.
        matters : float, optional
            The trial's own, when its outcome is compared.
        adjust : iterable of str, optional
            Factors to hold alike; the trial's other factors when not given.
        control, line
            See `kit.compare`.
        leave_out : iterable of str
            Kinds of event; pieces they happened to are left out.
        """
        from kit.analysis.compare import compare

        outcome, by, matters, others = self._asked(outcome, by, matters)
        frame, notes = self._without(leave_out)
        for column in (outcome, by):
            if len(frame) and column not in frame:
                recorded = ", ".join(q.name for q in quantities.all_quantities() if q.name in frame)
                msg = f"nothing is recorded for {column} in {self.name}. Recorded are: {recorded}."
                raise DataError(msg)
        answer = compare(
            frame,
            outcome,
            by,
            dough="dough",
            bake="bake",
            load=_present(frame, "load"),
            matters=matters,
            adjust=[a for a in (others if adjust is None else adjust) if a in frame.columns],
            control=control,
            line=line,
        )
        return replace(answer, checks=(*answer.checks, *notes))

    def report(self, comparison: "Comparison | None" = None) -> "Report":
        """Put together what the write-up tells; of `compare` when no comparison is given."""
        from kit.writeup import from_frame

        comparison = self.compare() if comparison is None else comparison
        formula = self.formula()
        return from_frame(
            self.frame(),
            comparison,
            title=self.name,
            question=self.question,
            baker=self.baker,
            invented=self.invented,
            formula=None if formula is None else formula.to_frame(),
            formula_note="" if formula is None else formula.note,
            events=self._events_in_words(),
        )

    def writeup(self, path: str | Path, comparison: "Comparison | None" = None) -> Path:
        """Write one page to share: .html, .pdf or .md.

        Parameters
        ----------
        path : str or Path
        comparison : Comparison, optional
            What the page answers; `compare` without arguments when not given.

        Raises
        ------
        StoreError
            It cannot be written; an older page stays as it was.
        """
        from kit.writeup import write

        return write(self.report(comparison), path)

    def _asked(
        self, outcome: str | None, by: str | None, matters: float | None
    ) -> tuple[str, str, float | None, list[str]]:
        """Fill in what was not said from the trial itself."""
        factors = list(self.factors)
        outcome = outcome or self.outcome
        by = by or (factors[0] if factors else None)
        if outcome is None:
            raise InputError(
                "outcome", None, "is not set for this trial", "Say which quantity answers it."
            )
        if by is None:
            raise InputError(
                "by", None, "is not set: the trial has no factor", "Say what was set on purpose."
            )
        if matters is None and outcome == self.outcome:
            matters = self.matters
        return outcome, by, matters, [factor for factor in factors if factor != by]

    def _without(self, kinds: Iterable[str]) -> tuple[pd.DataFrame, list[str]]:
        """The frame without pieces that certain events happened to, and what to note."""
        from kit.analysis import words

        frame, kinds = self.frame(), list(kinds)
        events = frame["events"] if "events" in frame else pd.Series("", frame.index, dtype=str)
        happened = events.fillna("").str.split("; ")
        known = dict.fromkeys(kind for kinds_ in happened for kind in kinds_ if kind)
        for kind in kinds:
            if kind not in known:
                raise NotFoundError("event", kind, known)
        hit = happened.map(lambda here: bool(set(here) & set(kinds)))
        notes = []
        if kinds:
            gone = words.plural(int(hit.sum()), "piece")
            notes.append(f"{gone} left out because of: {', '.join(kinds)}")
        if rest := [kind for kind in known if kind not in kinds]:
            notes.append(
                f"also noted: {', '.join(rest)}; leave those pieces out and see whether the "
                "answer holds"
            )
        return frame[~hit], notes

    def _events_in_words(self) -> list[str]:
        return [
            f"{row.kind} ({row.on} {row.code}){': ' if row.text else ''}{row.text}"
            for row in self.events().itertuples()
        ]


def _present(frame: pd.DataFrame, column: str) -> str | None:
    """The column's name if it says anything."""
    return column if column in frame and frame[column].notna().any() else None
