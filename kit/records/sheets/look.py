"""Looking at a table before it is brought in: what each column seems to mean, and what is doubtful.

Nothing is stored. A look never changes: each correction gives a new one.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property
from html import escape
from typing import Any

import pandas as pd

from kit import quantities, words
from kit.errors import DataError, InputError, NotFoundError
from kit.records.sheets import pieces
from kit.records.sheets.cells import DATE_ORDERS, MIXED, is_open, read_as, two_numbers
from kit.records.sheets.check import Sheet
from kit.records.sheets.problems import problem_frame, problem_lines
from kit.records.sheets.table import Percent, Table
from kit.records.sheets.understood import Understood, meant
from kit.records.sheets.words import (
    IGNORED,
    LONG,
    Column,
    Guess,
    both_mean,
    guess,
    meaning_of,
    unit_fits,
    unit_in,
)

__all__ = ["Look", "look"]

_SHOWN = 10


@dataclass(frozen=True, repr=False)
class Look(Understood):
    """A table as the kit understands it; made by `Trial.look_at`, stored by `Trial.bring_in`."""

    # correcting

    def with_column(
        self,
        heading: str,
        quantity: str | None = None,
        unit: str | None = None,
        percent: str | None = None,
    ) -> "Look":
        """Say what a column means.

        Where it holds one of several pieces of a row, and means what it was guessed to mean, the
        answer counts for the others of them too, and so does a unit or percent that it names:
        not where their own heading or an answer of their own says which unit. Any other answer
        is about this column alone, and the others are asked about.

        Parameters
        ----------
        heading : str
            Which column.
        quantity : str, optional
            A quantity by name, or bake, dough, load, piece, place, day, flour_lot, yeast_lot,
            events, ignored. As guessed when not given.
        unit : str, optional
            Of its bare numbers: "in", "F", "h"; empty for the quantity's own. When not given, as
            before, for another quantity as the heading says, else the quantity's own.
        percent : str, optional
            Cells formatted as percent count as "shown" (0.8 %) or as "stored" (0.008).

        Raises
        ------
        NotFoundError
            No such column, or nothing of that name.
        InputError
            The unit measures something else; or a column of one of several pieces is said to mean
            what is not measured on each.
        """
        names = [column.heading for column in self.columns]
        if heading not in names:
            raise NotFoundError("column", heading, names)
        at = names.index(heading)
        old = self.columns[at]
        meaning = old.meaning if quantity is None else meaning_of(quantity)
        same = meaning == old.meaning
        kept = old.unit if same else unit_in(self.table.headings[at], meaning)
        own = kept if unit is None else unit
        if own and not unit_fits(own, meaning):
            raise InputError("unit", own, f"is no unit of {meaning}", where=f"column {heading!r}")
        if percent is not None and percent not in ("shown", "stored"):
            raise InputError("percent", percent, "must be 'shown' or 'stored'")
        new = replace(
            old, meaning=meaning, unit=own, doubt="", percent=percent or old.percent, answered=True,
            own_reading=(same and old.own_reading) or unit is not None or percent is not None,
        )  # fmt: skip
        columns = pieces.made_way([*self.columns[:at], new, *self.columns[at + 1 :]], new)
        if new.piece:
            columns = pieces.answered(columns, new, unit, percent)
        return replace(self, columns=tuple(columns))

    def with_dates(self, order: str) -> "Look":
        """Say in which order days are written: "day/month" or "month/day"."""
        if order not in DATE_ORDERS:
            raise InputError("dates", order, "must be 'day/month' or 'month/day'")
        return replace(self, dates=order)

    def with_decimal(self, mark: str) -> "Look":
        """Say what stands before decimals: "comma" or "point"; the other one parts thousands."""
        if mark not in ("comma", "point"):
            raise InputError("decimal", mark, "must be 'comma' or 'point'")
        return replace(self, decimal=mark)

    # what it says

    @cached_property
    def sheet(self) -> Sheet:
        """Return the table checked, cell by cell."""
        return meant(self)

    @property
    def questions(self) -> tuple[str, ...]:
        """Return what is doubtful, to be answered before the table is brought in."""
        return tuple(check for check in self.checks if "?" in check)

    @property
    def checks(self) -> tuple[str, ...]:
        """Return the questions, and what else is worth knowing about the table."""
        return tuple(self._checks())

    def _checks(self) -> Iterator[str]:
        yield from self.table.notes
        yield from self._hardly_seen()
        yield from dict.fromkeys(column.doubt for column in self.counting if column.doubt)
        if self.unfolded:
            yield from pieces.for_all(self.counting)
        have = set(self.cells)
        if "bake" not in have and "thing" not in have:
            if "day" in have:
                yield "No column says which bake it is: each day counts as one. Is that right?"
            else:
                yield _which("bake")
        if "dough" not in have and not self.long:
            yield _which("dough")
        days = self.cells.get("day", [])
        if self.date_order == MIXED:
            yield "The days mix day/month and month/day. Which are right? Those cells are problems."
        elif not self.date_order and (unsure := next(filter(is_open, days), None)):
            yield (f"Are these dates day/month or month/day, such as {unsure!r}?")
        elif not self.dates:
            yield from read_as(days, self.date_order)
        told = {column.meaning for column in self.counting if column.answered}
        for column, cells in zip(self.counting, self.table.columns, strict=True):
            for question in _may_mean_else(column, cells) if column.meaning not in told else ():
                told.add(column.meaning)  # of several pieces once
                yield question
        yield from self._about_numbers()

    def _hardly_seen(self) -> Iterator[str]:
        """Ask about hidden columns and struck cells that count, till their column is answered."""
        counts = {at for at, c in enumerate(self.counting) if c.meaning != IGNORED}
        sure = {at for at in counts if self.columns[at].answered}
        for asked, rest in ((counts - sure, " Is that meant? If not, {}."), (sure, "")):
            if letters := [letter for at, letter in self.table.hidden.items() if at in asked]:
                yield f"Hidden columns are read as well ({', '.join(letters)})." + rest.format(
                    "delete them from the sheet"
                )
            if rows := [row for at, row in self.table.struck.items() if at in asked]:
                yield (
                    "Cells that are struck through are read as well (the first in row "
                    f"{min(rows)})." + rest.format("empty them")
                )

    def _about_numbers(self) -> Iterator[str]:
        asked = set()  # about columns of several pieces once: one answer counts for all
        for column, cells in zip(self.columns, self.table.columns, strict=True):
            if column.meaning not in self._marks or column.meaning in asked:
                continue
            doubtful = (x for x in cells if isinstance(x, str) and two_numbers(x))
            if not self.mark(column.meaning) and (example := next(doubtful, None)):
                asked.add(column.meaning)
                yield (f"{column.heading!r}: is {example!r} with a decimal comma, or thousands?")
            shown = next((x for x in cells if isinstance(x, Percent)), None)
            if shown and column.percent == "shown" and words.unit_of(column.meaning) == "%":
                stored = float(shown.removesuffix(" %")) / 100
                asked.add(column.meaning)
                yield (
                    f"{column.heading!r}: cells are formatted as percent, {stored:g} shows as "
                    f"{shown}; they count as shown. Or is {stored:g} % meant?"
                )

    @property
    def problems(self) -> pd.DataFrame:
        """Return the cells that cannot be used: sheet, row, column, value, remedy."""
        return problem_frame(self, self.sheet.problems)

    def to_frame(self) -> pd.DataFrame:
        """Return what would be stored, one row of the table each.

        Columns: ``row`` in the spreadsheet, ``usable``, then what the rows say, metric.
        """
        sheet, keys = self.sheet, self.sheet.keys
        good = set(sheet.good())
        columns: dict[str, list[Any]] = {
            "row": sheet.rows,
            "usable": [i in good for i in range(len(sheet.rows))],
            "bake": keys["bake"],
            "day": sheet.about_bake["day"],
            "dough": [key and key[1] for key in keys["dough"]],
            "load": [key and key[1] for key in keys["load"]],
            "piece": [key and key[1] for key in keys["piece"]],
            "place": sheet.places,
            **{name: sheet.about_bake[name] for name in ("flour_lot", "yeast_lot")},
            **sheet.values,
            "events": ["; ".join(kinds) or None for kinds in sheet.kinds],
        }
        always = ("row", "usable", "bake", "dough", "piece")
        return pd.DataFrame(
            {n: c for n, c in columns.items() if n in always or any(x is not None for x in c)}
        )

    @property
    def guesses(self) -> pd.DataFrame:
        """Return the columns: heading, what it means, unit, an example, the doubt."""
        rows = []
        for column, cells in zip(self.counting, self.table.columns, strict=True):
            example = next((str(x) for x in cells if x is not None), "")
            own = quantities.find(column.meaning)
            label = own.label if own else column.meaning.replace("_", " ")
            if column.piece and own:
                label = f"{label}, piece {column.piece}"
            unit = column.unit or words.unit_of(column.meaning)
            rows.append((column.heading, column.meaning, label, unit, example, column.doubt))
        return pd.DataFrame(
            rows, columns=["column", "means", "label", "unit", "example", "question"]
        )

    def __repr__(self) -> str:
        return (
            f"<Look at {self.name}: {len(self.table.rows)} rows, "
            f"{len(self.questions)} questions, {len(self.sheet.problems)} problems>"
        )

    def __str__(self) -> str:
        return self.text(
            "Answer with .with_column (ignored leaves one out), .with_dates or .with_decimal."
        )

    def text(self, answer_with: str) -> str:
        """How the table is understood; below open questions, how they are answered."""
        rows = len(set(self.sheet.rows))
        good = len({self.sheet.rows[i] for i in self.sheet.good()})
        kind = "one value a row" if self.long else "one piece a row"
        if self.unfolded:
            kind = f"several pieces a row, {len(self.sheet.rows)} in all"
        lines = [f"{self.name}: {rows} rows, {kind}; {good} can be stored, {rows - good} cannot."]
        for one in self.guesses.to_dict("records"):
            unit = f" ({one['unit']})" if one["unit"] else ""
            lines.append(f"  {one['column']!r} → {one['label']}{unit}")
        lines += [f"{'Question' if '?' in check else 'Note'}: {check}" for check in self.checks]
        if self.questions:
            lines.append(answer_with)
        lines += problem_lines(self.problems, _SHOWN)
        unusual = [f"Look again: {doubt}" for doubt in self.sheet.unusual]
        more = [f"and {len(unusual) - _SHOWN} more to look at"] if len(unusual) > _SHOWN else []
        return "\n".join([*lines, *unusual[:_SHOWN], *more])

    def _repr_html_(self) -> str:
        asked = "".join(f"<li>{escape(check)}</li>" for check in self.checks)
        problems = self.problems.head(_SHOWN).fillna("")
        parts = [
            f"<p>{escape(str(self).partition(chr(10))[0])}</p>",
            self.guesses.to_html(index=False, escape=True),
            f"<ul>{asked}</ul>" if asked else "",
            "" if problems.empty else problems.to_html(index=False),
        ]
        return "".join(parts)


def look(table: Table) -> Look:
    """Guess what the columns of a table mean. Raises DataError: there is nothing in it."""
    if not table.headings:
        text = f"{table.name} holds nothing that could be a table; nothing was stored."
        raise DataError(text)
    if not table.rows:
        why = "".join(f" {note}" for note in table.notes)
        text = f"{table.name} has no rows below the heading; nothing was stored.{why}"
        raise DataError(text)
    several = pieces.numbered(table)
    guesses = [
        several.get(at) or (guess(heading) if heading else Guess(IGNORED), 0)
        for at, heading in enumerate(table.headings)
    ]
    long = {"quantity", "value"} <= {one.meaning for one, _ in guesses}
    columns = []
    # what several pieces measure comes before a mean of it
    taken = {
        one.meaning: table.names[at] for at, (one, piece) in reversed(several.items()) if piece
    }
    for name, (one, piece) in zip(table.names, guesses, strict=True):
        doubt, meaning = one.doubt, one.meaning
        if meaning in LONG and not long:
            meaning, doubt = IGNORED, f"What is {name!r}? It is left out unless you say."
        elif not piece and taken.get(meaning, name) != name and meaning != IGNORED:
            doubt = f"{both_mean(taken[meaning], name, meaning)} {doubt}".rstrip()
            meaning = IGNORED
        taken.setdefault(meaning, name)
        unit = one.unit if quantities.find(meaning) else ""
        columns.append(Column(name, meaning, unit, doubt, piece=piece, guessed=one))
    return Look(table, tuple(columns))


def _may_mean_else(column: Column, cells: Sequence[Any]) -> Iterator[str]:
    """Ask about cells that are likely not what was typed: a code made a day, a percent a share."""
    days = (x for x in cells if isinstance(x, date))
    if column.meaning in ("dough", "piece") and (day := next(days, None)):
        yield (
            f"{column.heading!r}: {day:%Y-%m-%d} is a day, and spreadsheets make one of 1-2. Is "
            "that right?"
        )
    own = quantities.find(column.meaning)
    if own is not None and own.unit == "%":
        most = max(map(_bare_number, cells), default=0.0)
        if 0 < 100 * most <= own.usual[1]:  # even the most is so little
            yield (
                f"{column.heading!r}: is {most:g} a share, {100 * most:g} %? It counts as "
                f"{most:g} %; if it is a share, write {100 * most:g}."
            )


def _bare_number(x: Any) -> float:
    try:
        return float(x.replace(",", ".") if isinstance(x, str) else x)
    except (TypeError, ValueError):
        return 0.0


def _which(level: str) -> str:
    return f"Which column says the {level}? Without it no row can be stored."
