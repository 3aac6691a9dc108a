"""What a question to a trial means: outcome, factor, what is held alike, which pieces count."""

from collections.abc import Iterable, Sequence
from typing import Any

import pandas as pd

from kit import quantities, words
from kit.analysis.checking.left_out import left_out_by_setting
from kit.analysis.grouping.mixing import mixed_by
from kit.errors import DataError, InputError, NotFoundError
from kit.records import planned
from kit.records.frame import held, present
from kit.records.trial_records import TrialRecords
from kit.units import parse

__all__ = ["ALLOWED_FOR", "TrialAsked"]

#: where the baker can ask so that looking does not fool; no part of a page for others
ALLOWED_FOR = "; “What should I bake next?” (trial.next) allows for every look"


class TrialAsked(TrialRecords):
    """What the verbs that plan and answer fill in from the trial itself."""

    def _outcome(self, outcome: str | None) -> str:
        """The outcome that was asked for, or the trial's own."""
        outcome = outcome or self.outcome
        if outcome is None:
            raise InputError(
                "outcome", None, "is not set for this trial", "Say which quantity answers it."
            )
        return outcome

    def _together(self, frame: pd.DataFrame, outcome: str | None, *asked: str) -> dict[str, Any]:
        """Which columns say what belongs together; the mixings whichever factor is asked about."""
        mixing = mixed_by(*held(frame, outcome, [*asked, *self.factors]))
        return {"dough": "dough", "bake": "bake", "load": present(frame, "load"), "mixing": mixing}

    def _of_outcome(
        self, outcome: str | None, leave_out: Iterable[str]
    ) -> tuple[pd.DataFrame, list[str], str]:
        """The frame, the factors that were varied, and the outcome."""
        outcome = self._outcome(outcome)
        frame, _ = self._recorded((outcome,), leave_out)
        varied = [f for f in self.factors if f in frame and frame[f].nunique() > 1]
        return frame, varied, outcome

    def _asked(
        self, outcome: str | None, by: str | None, matters: float | str | None
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
        margin = parse(matters, words.unit_of(outcome), "matters", difference=True)
        return outcome, by, margin, [factor for factor in factors if factor not in (by, outcome)]

    def _recorded(
        self, columns: Sequence[str], leave_out: Iterable[str]
    ) -> tuple[pd.DataFrame, list[str]]:
        """The frame, which must hold these columns (the outcome first), and what to say of it."""
        frame, notes = self._without(leave_out, *columns[:2])
        self._need(frame, columns)
        _need_own_values(frame, *columns)
        return frame, notes

    def _need(self, frame: pd.DataFrame, columns: Iterable[str]) -> None:
        """Refuse columns of which nothing is recorded."""
        for column in columns:
            if len(frame) and column not in frame:
                recorded = ", ".join(q.name for q in quantities.all_quantities() if q.name in frame)
                msg = f"nothing is recorded for {column} in {self.name}. Recorded are: {recorded}."
                raise DataError(msg)

    def _alike(
        self, frame: pd.DataFrame, outcome: str, others: list[str], adjust: Iterable[str] | None
    ) -> list[str]:
        """What is held alike: as asked, else the trial's other factors."""
        if adjust is None:
            return held(frame, outcome, others)
        asked = [adjust] if isinstance(adjust, str) else list(adjust)
        self._need(frame, asked)
        return asked

    def _of_plan(self) -> set[str]:
        """The bakes that a plan was kept for."""
        with self._store.reading() as connection:
            return {bake.code for bake, _ in planned.of_plan(connection, self.id)}

    def _bakes_in_all(self, frame: pd.DataFrame, outcome: str) -> int | None:
        """The bakes of the kept plan and those made besides; None where no plan was kept."""
        of_plan = self._of_plan()
        return len(of_plan | _measured(frame, outcome)) if of_plan else None

    def _under_way(self, frame: pd.DataFrame, outcome: str) -> list[str]:
        """What to know of an answer looked at before its plan is done, or after more than that."""
        of_plan, made = self._of_plan(), _measured(frame, outcome)
        left, added = of_plan - made, made - of_plan
        if left == of_plan:  # no plan was kept, or none of it is baked
            return []
        if left:
            return [
                f"{len(of_plan) - len(left)} of the {len(of_plan)} planned bakes are measured: "
                "whoever looks after every bake and stops at the first answer is fooled far more "
                f"often than one time in twenty{ALLOWED_FOR}"
            ]
        if added:
            return [
                f"{words.plural(len(added), 'bake')} came on top of the {len(of_plan)} planned: if "
                "what was seen by then led to more, the answer is less sure than it says"
            ]
        return []

    def _without(
        self, kinds: Iterable[str], outcome: str | None = None, by: str | None = None
    ) -> tuple[pd.DataFrame, list[str]]:
        """The frame as it was meant, without pieces that certain events happened to.

        And what was done to it (and how far the plan is done, where an outcome is asked about; of
        which settings pieces were left out, where a factor is).
        """
        (frame, notes), kinds = self._as_meant(), [kinds] if isinstance(kinds, str) else list(kinds)
        if outcome is not None:
            notes += self._under_way(frame, outcome)
        happened = _happened(frame)
        known = dict.fromkeys(kind for kinds_ in happened for kind in kinds_)
        for kind in kinds:
            if kind not in known:
                raise NotFoundError("event", kind, known)
        hit = happened.map(lambda here: not set(kinds).isdisjoint(here))
        if kinds:
            why = f"left out because of: {', '.join(kinds)}"
            # what happened to whole bakes was no setting's doing
            whole = hit.groupby(frame["bake"]).transform("all").any()
            settings = frame[by] if by in frame and not whole else [""] * len(frame)
            told = left_out_by_setting(settings, hit, by or "", "piece", why)
            notes.append(told or f"0 pieces {why}")
        return frame[~hit], notes


def also_noted(frame: pd.DataFrame, outcomes: Sequence[str]) -> list[str]:
    """What else happened to pieces of which something was measured: a note, or none."""
    measured = frame[[y for y in outcomes if y in frame]].notna().any(axis=1)
    rest = dict.fromkeys(kind for kinds in _happened(frame[measured]) for kind in kinds)
    if not rest:
        return []
    return [
        f"also noted: {', '.join(rest)}; leave those pieces out and see whether the answer holds"
    ]


def _need_own_values(frame: pd.DataFrame, outcome: str, *factors: str) -> None:
    """Refuse to compare within a bake, dough or load what has one value for all of it."""
    level = getattr(quantities.find(outcome), "level", "piece")
    if len(frame) and level != "piece" and level in frame:
        # codes of doughs and loads are a bake's own
        measured = frame[frame[outcome].notna()].groupby(list(dict.fromkeys(["bake", level])))
        for factor in factors:
            if measured[factor].nunique().gt(1).any():
                rule = f"has one value a {level}, and {words.name(factor)} differs within a {level}"
                raise InputError(
                    "outcome", outcome, rule, "Choose an outcome that can differ there."
                )


def _happened(frame: pd.DataFrame) -> "pd.Series[Any]":
    """The kinds of events of every piece, a list each."""
    if "events" not in frame:
        return pd.Series([[]] * len(frame), frame.index, dtype=object)
    return frame["events"].fillna("").map(lambda text: [k for k in text.split("; ") if k])


def _measured(frame: pd.DataFrame, outcome: str) -> set[str]:
    """The bakes that the outcome was measured in."""
    return set(frame.loc[frame[outcome].notna(), "bake"]) if outcome in frame else set()
