"""Tables brought into a trial, as its verbs."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pandas as pd

from kit.records.sheets.bring import BroughtIn, bring_in
from kit.records.sheets.file import open_table
from kit.records.sheets.known import read_known
from kit.records.sheets.look import Look, look
from kit.records.trial_head import TrialHead
from kit.records.typed import need

__all__ = ["TrialSheets"]


class TrialSheets(TrialHead):
    """The verbs of a trial that bring in what was written down elsewhere."""

    def look_at(self, source: str | Path | pd.DataFrame, sheet: str | None = None) -> Look:
        """Look at a table of any layout before it is brought in; nothing is stored.

        Parameters
        ----------
        source : path or DataFrame
            A workbook (.xlsx) or text (.csv, .tsv): one row a piece, or one row a value with
            columns such as thing, quantity, value, unit.
        sheet : str, optional
            Of a workbook; the first that shows and holds anything when not given.

        Returns
        -------
        Look
            What each column seems to mean, `questions`, `problems`; correct it with
            `with_column`, `with_dates`, `with_decimal`, then `bring_in`.

        Raises
        ------
        DataError, NotFoundError
            It cannot be read, or has no such sheet.
        """
        one = look(open_table(source, sheet))
        with self._store.reading() as connection:
            return replace(one, known=read_known(connection, self.id, recorded=False))

    def bring_in(
        self,
        look: Look,
        progress: Callable[[int, int], Any] | None = None,
        stop: Callable[[], bool] | None = None,
    ) -> BroughtIn:
        """Store the rows of a table that can be used; the others come later, corrected.

        What is there already is found by its code: a bake's; a dough's in its bake; a load's
        number; a piece's in its dough. Pieces without a code are numbered by the order of their
        dough's rows, so keep that order in a corrected table. An equal value is not recorded
        again, a different one becomes a newer reading and is told; an empty cell changes nothing.
        One undo takes all of it back.

        Parameters
        ----------
        look : Look
            From `look_at`.
        progress : callable, optional
            Called with (rows done, rows in all).
        stop : callable, optional
            Asked between batches; True leaves the rest. What is stored then are whole rows.

        Returns
        -------
        BroughtIn
            What was stored, what was left and why.
        """
        need("look", look, Look, "table looked at", "Give what trial.look_at(…) returns.")
        return bring_in(self._store, self._who, self.id, look, progress, stop)
