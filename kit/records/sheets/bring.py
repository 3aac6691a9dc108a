"""Bringing a looked-at table in: good rows now, the others when they are corrected.

Rows are stored in batches, each whole or not at all, so that another notebook can write in
between and a program that ends half-way leaves whole rows. All batches are one step of the
journal: one undo takes them back together.
"""

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

import pandas as pd
from sqlalchemy import Connection, func, select

from kit import words
from kit.analysis.checking.beside import set_beside
from kit.errors import StoreError
from kit.records import journal, trials
from kit.records import tables as t
from kit.records.keeping.store import Store
from kit.records.sheets.known import Known, read_known
from kit.records.sheets.look import Look
from kit.records.sheets.problems import problem_frame, problem_lines
from kit.records.sheets.store import Tally, store_lines
from kit.shown import InLines

__all__ = ["BroughtIn", "bring_in"]

#: rows stored at once: few enough that other programs wait a fraction of a second
BATCH = 1000


@dataclass(frozen=True, repr=False)
class BroughtIn(InLines):
    """What came of bringing a table in."""

    name: str  # of the table
    rows: int  # how many there are below the heading
    stored: int  # how many of them are stored now, or were already
    new: dict[str, int]  # level -> bakes, doughs, loads, pieces made
    values: int  # recorded for the first time
    same: int  # values that were recorded before and were not recorded again
    changed: tuple[str, ...]  # what replaced something different, in words; the first 200
    changes: int  # how many those are in all
    checks: tuple[str, ...]  # what is unusual; stored nevertheless
    # rows left out: sheet, row, column, value, remedy
    problems: pd.DataFrame = field(compare=False)
    stopped: bool = False  # before the last row

    def __repr__(self) -> str:
        return f"<BroughtIn {self.name}: {self.stored} of {self.rows} rows>"

    def __str__(self) -> str:
        lines = [f"{self.name}: {self.stored} of {self.rows} rows are stored{self._made()}."]
        if self.stopped:
            lines.append("It was stopped. Bring the same table in again for the rest.")
        if self.same:
            lines.append(f"{words.plural(self.same, 'value')} stood there already.")
        if self.changes:
            entries = "entry" if self.changes == 1 else "entries"
            lines.append(f"{self.changes} {entries} replaced:")
            lines += [f"  {told}" for told in self.changed]
            if self.changes > len(self.changed):
                lines.append(f"  and {self.changes - len(self.changed)} more")
        left = self.problems["row"].nunique()
        if left:
            lines.append(
                f"{words.plural(left, 'row')} left out; correct the table and bring it in again:"
            )
            lines += problem_lines(self.problems, 20)
        return "\n".join([*lines, *(f"Look again: {check}" for check in self.checks[:20])])

    def _made(self) -> str:
        made = [words.plural(n, level) for level, n in self.new.items() if n]
        made += [words.plural(self.values, "value")] if self.values else []
        return f" ({', '.join(made)} new)" if made else ""

    def to_frame(self) -> pd.DataFrame:
        """Return the counts as one row."""
        new = {f"new_{level}s": n for level, n in self.new.items()}
        return pd.DataFrame(
            [{"table": self.name, "rows": self.rows, "stored": self.stored, **new,
              "values": self.values, "same": self.same, "changes": self.changes,
              "left_out": self.problems["row"].nunique(), "stopped": self.stopped}]
        )  # fmt: skip


def bring_in(
    store: Store,
    who: str,
    trial_id: str,
    look: Look,
    progress: Callable[[int, int], Any] | None = None,
    stop: Callable[[], bool] | None = None,
) -> BroughtIn:
    """Store the rows of a table that can be used; see `Trial.bring_in`."""
    sheet, tally, number = look.sheet, Tally(), journal.new_id()
    good = sheet.good()
    known: Known | None = None
    seen: Any = None
    stopped = False
    for start, end in _parts([sheet.rows[i] for i in good]):
        if stop is not None and stop():
            stopped = True
            break
        with _said_of_part(start > 0), journal.step(store, who, number=number) as step:
            trial = trials.trial_row(step.connection, trial_id)
            now = _others(step.connection, step.number)
            if known is None or now != seen:  # somebody else wrote meanwhile
                known, seen = read_known(step.connection, trial_id), now
            lines = good[start:end]
            store_lines(step, trial_id, trial.zone, sheet, lines, known, tally)
            rows = words.plural(len(tally.rows), "row")
            step.says = f"{trial.name}: brought in {rows} of {look.name}"
        if progress is not None:
            progress(end, len(good))
    with store.reading() as connection:
        factors = trials.factors(connection, trial_id)
    return BroughtIn(
        look.name, len(set(sheet.rows)), len(tally.rows), tally.new, tally.values, tally.same,
        tuple(tally.told), tally.changed,
        (*_set_beside(look, factors), *sheet.unusual),
        problem_frame(look, [*sheet.problems, *tally.problems]), stopped,
    )  # fmt: skip


def _parts(rows: list[int]) -> Iterator[tuple[int, int]]:
    """Part the lines of some rows into batches; no row is cut in two."""
    start = 0
    while start < len(rows):
        end = min(start + BATCH, len(rows))
        while end < len(rows) and rows[end] == rows[end - 1]:
            end += 1
        yield start, end
        start = end


@contextmanager
def _said_of_part(stored: bool) -> Iterator[None]:
    """Where storing fails after a part of the rows was `stored`, say so."""
    try:
        yield
    except StoreError as exc:
        if not stored:
            raise
        said = str(exc).replace("; nothing was stored", "")
        text = (
            f"{said} The rows before that are stored: one undo takes them back, and the same table "
            "brought in again brings the rest."
        )
        raise StoreError(text) from exc


def _set_beside(look: Look, factors: Mapping[str, object]) -> list[str]:
    """What the table sets differently within a bake although the trial does not ask about it."""
    rows = look.to_frame()
    found = set_beside(rows[rows["usable"]], factors, ["bake"])
    if not found or (not factors and len(found) == 1):
        return []  # one thing set differently is what the trial will ask about
    varied = words.join(f"{words.name(q)} ({settings})" for q, settings in found.items())
    verb = "is" if len(found) == 1 else "are"
    return [
        f"{varied} {verb} set differently within a bake: name each as a factor of the trial, or "
        "the answer about another will not hold it alike"
    ]


def _others(connection: Connection, number: str) -> tuple[int | None, str | None]:
    """Return the last line of the journal that is not this step's, and the last undoing."""
    last = select(t.change.c.seq).where(t.change.c.step != number).order_by(t.change.c.seq.desc())
    return connection.scalar(last.limit(1)), connection.scalar(select(func.max(t.change.c.undone)))
