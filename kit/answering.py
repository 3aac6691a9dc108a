"""What a trial answers: comparisons, doses, the overview, where the spread lies, the page."""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import pandas as pd

from kit import quantities
from kit.analysis.mixing import mixed_by
from kit.errors import DataError, InputError, NotFoundError
from kit.records.trial_records import TrialRecords

if TYPE_CHECKING:
    from kit.analysis.compare import Comparison
    from kit.analysis.control_chart import ControlChart
    from kit.analysis.dose import DoseResponse
    from kit.analysis.drift import Drift
    from kit.analysis.griddle_map import GriddleMap
    from kit.analysis.overview import Overview
    from kit.analysis.steadiness import Steadiness
    from kit.analysis.surface import Surface
    from kit.writeup import Report

__all__ = ["TrialAnswers", "present"]


class TrialAnswers(TrialRecords):
    """The verbs of a trial after the bakes; see `kit.analysis` for what they do."""

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
        frame, notes = self._recorded((outcome, by), leave_out)
        answer = compare(
            frame,
            outcome,
            by,
            **_together(frame, by),
            matters=matters,
            adjust=[a for a in (others if adjust is None else adjust) if a in frame.columns],
            control=control,
            line=line,
            examine=True,
        )
        return replace(answer, checks=(*answer.checks, *notes))

    def dose(
        self,
        outcome: str | None = None,
        of: str | None = None,
        matters: float | None = None,
        adjust: Iterable[str] | None = None,
        covariates: Iterable[str] = (),
        shape: Literal["auto", "straight", "curved", "plateau"] = "auto",
        want: Literal["high", "low"] = "high",
        leave_out: Iterable[str] = (),
    ) -> "DoseResponse":
        """Tell what an outcome does along the doses of a factor, and which dose is best.

        Parameters
        ----------
        outcome, of : str, optional
            The trial's own outcome and its first factor when not given.
        matters, adjust, leave_out
            As for `compare`.
        covariates, shape, want
            See `kit.analysis.dose.dose`.
        """
        from kit.analysis.dose import dose

        outcome, of, matters, others = self._asked(outcome, of, matters)
        frame, notes = self._recorded((outcome, of), leave_out)
        answer = dose(
            frame,
            outcome,
            of,
            **_together(frame, of),
            matters=matters,
            adjust=[a for a in (others if adjust is None else adjust) if a in frame.columns],
            covariates=list(covariates),
            shape=shape,
            want=want,
        )
        return replace(answer, checks=(*answer.checks, *notes))

    def surface(
        self,
        outcome: str | None = None,
        of: tuple[str, str] | None = None,
        matters: float | None = None,
        adjust: Iterable[str] | None = None,
        covariates: Iterable[str] = (),
        want: Literal["high", "low"] = "high",
        leave_out: Iterable[str] = (),
    ) -> "Surface":
        """Tell what an outcome does over the doses of two factors, and how they work together.

        Parameters
        ----------
        outcome, of : optional
            The trial's own outcome and its first two factors when not given.
        matters, adjust, leave_out
            As for `compare`.
        covariates, want
            See `kit.analysis.dose.dose`.
        """
        from kit.analysis.surface import surface

        factors = list(self.factors)
        if of is None and len(factors) < 2:
            raise InputError("of", None, "is not set: the trial has fewer than two factors")
        first, second = of or (factors[0], factors[1])
        outcome, first, matters, others = self._asked(outcome, first, matters)
        frame, notes = self._recorded((outcome, first, second), leave_out)
        held = [a for a in (others if adjust is None else adjust) if a in frame.columns]
        answer = surface(
            frame,
            outcome,
            (first, second),
            **_together(frame, first, second),
            matters=matters,
            adjust=[a for a in held if a != second],
            covariates=list(covariates),
            want=want,
        )
        return replace(answer, checks=(*answer.checks, *notes))

    def overview(
        self,
        outcomes: Iterable[str] | None = None,
        factors: Iterable[str] | None = None,
        matters: Mapping[str, float] | None = None,
        leave_out: Iterable[str] = (),
    ) -> "Overview":
        """Answer "does it matter if…?" for every factor and outcome of the trial.

        Parameters
        ----------
        outcomes, factors : iterable of str, optional
            Every quantity recorded for pieces that is no factor; the trial's factors.
        matters : mapping, optional
            Outcome -> smallest difference you care about; the trial's own is known.
        leave_out : iterable of str
            As for `compare`.
        """
        from kit.analysis.overview import overview

        asked = list(self.factors) if factors is None else list(factors)
        frame, notes, also = self._without(leave_out)
        known = [q.name for q in quantities.all_quantities() if q.level == "piece"]
        recorded = [q for q in known if q in frame and frame[q].notna().any() and q not in asked]
        chosen = recorded if outcomes is None else list(outcomes)
        own = {} if self.outcome is None else {self.outcome: self.matters}
        if self.outcome in chosen:
            chosen = list(dict.fromkeys([self.outcome, *chosen]))
        margins = {**{k: v for k, v in own.items() if v is not None}, **dict(matters or {})}
        answer = overview(
            frame,
            asked,
            chosen,
            **_together(frame, *asked),
            matters=margins,
        )
        return replace(answer, checks=(*answer.checks, *notes, *also))

    def steadiness(
        self, outcome: str | None = None, leave_out: Iterable[str] = (), **more: Any
    ) -> "Steadiness":
        """Say where the spread of an outcome comes from: bake, dough, load, place, piece.

        Parameters
        ----------
        outcome : str, optional
            The trial's own when not given.
        leave_out : iterable of str
            As for `compare`.
        **more
            See `kit.analysis.steadiness.steadiness`: measuring, level.
        """
        from kit.analysis.steadiness import steadiness

        frame, factors, outcome = self._of_outcome(outcome, leave_out)
        return steadiness(
            frame, outcome, factors, load=present(frame, "load"), place=present(frame, "place"),
            **more,
        )  # fmt: skip

    def griddle_map(
        self, outcome: str | None = None, leave_out: Iterable[str] = (), **more: Any
    ) -> "GriddleMap":
        """Map the griddle: which places differ from the others.

        Parameters
        ----------
        outcome, leave_out
            As for `steadiness`.
        **more
            See `kit.analysis.griddle_map.griddle_map`: across, matters, level.
        """
        from kit.analysis.griddle_map import griddle_map

        frame, factors, outcome = self._of_outcome(outcome, leave_out)
        if outcome == self.outcome:
            more.setdefault("matters", self.matters)
        if present(frame, "place") is None:
            msg = f"no piece of {self.name} has its place on the griddle: record places first."
            raise DataError(msg)
        load = present(frame, "load")
        return griddle_map(frame, outcome, factors=factors, load=load, **more)

    def bake_chart(
        self, outcome: str | None = None, only: Mapping[str, object] | None = None, **more: Any
    ) -> "ControlChart":
        """Chart an outcome over the bakes, with limits and signals.

        Parameters
        ----------
        outcome : str, optional
            The trial's own when not given.
        only : mapping, optional
            Doughs of these settings only, such as ``{"malt_percent": 0}``.
        **more
            See `kit.analysis.control_chart.bake_chart`: limits_from.
        """
        from kit.analysis.control_chart import bake_chart

        frame, _, outcome = self._of_outcome(outcome, ())
        return bake_chart(frame, outcome, only=only, **more)

    def drift(
        self, outcome: str | None = None, against: Iterable[str] = (), **more: Any
    ) -> "Drift":
        """Ask whether an outcome follows conditions of the bakes.

        Parameters
        ----------
        outcome : str, optional
            The trial's own when not given.
        against : iterable of str
            Conditions; the room's temperature and the flour lot, where recorded, when not given.
        **more
            See `kit.analysis.drift.drift`: matters.
        """
        from kit.analysis.drift import drift

        frame, factors, outcome = self._of_outcome(outcome, ())
        usual = [c for c in ("room_temp_c", "flour_lot") if present(frame, c)]
        if outcome == self.outcome:
            more.setdefault("matters", self.matters)
        return drift(frame, outcome, list(against) or usual, factors, **more)

    def _of_outcome(
        self, outcome: str | None, leave_out: Iterable[str]
    ) -> tuple[pd.DataFrame, list[str], str]:
        """The frame, the factors that were varied, and the outcome."""
        outcome = self._outcome(outcome)
        frame, _ = self._recorded((outcome,), leave_out)
        varied = [f for f in self.factors if f in frame and frame[f].nunique() > 1]
        return frame, varied, outcome

    def report(self, comparison: "Comparison | None" = None) -> "Report":
        """Put together what the write-up tells; of `compare` when no comparison is given.

        The trial's question stands over an answer to it, not over that of another factor.
        """
        from kit.records.measured import told_of_photos
        from kit.writeup import from_frame

        comparison = self.compare() if comparison is None else comparison
        outcome, by = comparison.outcome, comparison.by
        own = self.outcome in (None, outcome) and next(iter(self.factors), by) == by
        formula = self.formula()
        return from_frame(
            self._without(())[0],
            comparison,
            title=self.name,
            question=self.question if own else "",
            baker=self.baker,
            invented=self.invented,
            formula=None if formula is None else formula.to_frame(),
            formula_note="" if formula is None else formula.note,
            events=self._events_in_words(),
            measured=told_of_photos(self.readings(), outcome),
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
        outcome = self._outcome(outcome)
        by = by or (factors[0] if factors else None)
        if by is None:
            raise InputError(
                "by", None, "is not set: the trial has no factor", "Say what was set on purpose."
            )
        if matters is None and outcome == self.outcome:
            matters = self.matters
        return outcome, by, matters, [factor for factor in factors if factor != by]

    def _recorded(
        self, columns: Iterable[str], leave_out: Iterable[str]
    ) -> tuple[pd.DataFrame, list[str]]:
        """The frame, which must hold these columns, and what to say of it."""
        frame, notes, _ = self._without(leave_out)
        for column in columns:
            if len(frame) and column not in frame:
                recorded = ", ".join(q.name for q in quantities.all_quantities() if q.name in frame)
                msg = f"nothing is recorded for {column} in {self.name}. Recorded are: {recorded}."
                raise DataError(msg)
        return frame, notes

    def _without(self, kinds: Iterable[str]) -> tuple[pd.DataFrame, list[str], list[str]]:
        """The frame as it was meant, without pieces that certain events happened to.

        Then what was done to it, and what else was noted on the day.
        """
        from kit.analysis import words

        (frame, notes), kinds = self._as_meant(), list(kinds)
        events = frame["events"] if "events" in frame else pd.Series("", frame.index, dtype=str)
        happened = events.fillna("").str.split("; ")
        known = dict.fromkeys(kind for kinds_ in happened for kind in kinds_ if kind)
        for kind in kinds:
            if kind not in known:
                raise NotFoundError("event", kind, known)
        hit = happened.map(lambda here: bool(set(here) & set(kinds)))
        also: list[str] = []
        if kinds:
            gone = words.plural(int(hit.sum()), "piece")
            notes.append(f"{gone} left out because of: {', '.join(kinds)}")
        if rest := [kind for kind in known if kind not in kinds]:
            also.append(
                f"also noted: {', '.join(rest)}; leave those pieces out and see whether the "
                "answer holds"
            )
        return frame[~hit], notes, also

    def _events_in_words(self) -> list[str]:
        return [
            f"{row.kind} ({row.on} {row.code}){': ' if row.text else ''}{row.text}"
            for row in self.events().itertuples()
        ]


def present(frame: pd.DataFrame, column: str) -> str | None:
    """The column's name if it says anything."""
    return column if column in frame and frame[column].notna().any() else None


def _together(frame: pd.DataFrame, *asked: str) -> dict[str, Any]:
    """Which columns say what belongs together, for the factors asked about."""
    load = present(frame, "load")
    return {"dough": "dough", "bake": "bake", "load": load, "mixing": mixed_by(*asked)}
