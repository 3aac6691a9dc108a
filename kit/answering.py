"""What a trial answers: comparisons, doses, the overview, where the spread lies."""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Literal, TypeVar

import pandas as pd

from kit import quantities, words
from kit.analysis.checking.left_out import flatters, left_out_by_setting
from kit.analysis.grouping.meant import as_meant
from kit.analysis.grouping.mixing import mixed_by
from kit.errors import DataError, InputError
from kit.records.frame import present
from kit.records.readings import known_values
from kit.records.trial_asked import TrialAsked, also_noted

if TYPE_CHECKING:
    from kit.analysis.comparison import Comparison
    from kit.analysis.control_chart import ControlChart
    from kit.analysis.dose import DoseResponse
    from kit.analysis.drift import Drift
    from kit.analysis.griddle_map import GriddleMap
    from kit.analysis.overview import Overview
    from kit.analysis.steadiness import Steadiness
    from kit.analysis.surface import Surface

__all__ = ["TrialAnswers"]

_Answer = TypeVar("_Answer", "Comparison", "DoseResponse")


class TrialAnswers(TrialAsked):
    """The verbs of a trial after the bakes; see `kit.analysis` for what they do."""

    def compare(
        self,
        outcome: str | None = None,
        by: str | None = None,
        matters: float | str | None = None,
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
        matters : float or str, optional
            As typed, such as ``"1/8 in"``; the trial's own, when its outcome is compared.
        adjust : iterable of str, optional
            Factors to hold alike; the trial's other factors when not given.
        control, line
            See `kit.compare`.
        leave_out : iterable of str
            Kinds of event; pieces they happened to are left out.
        """
        from kit.analysis.compare import compare

        outcome, by, matters, others = self._asked(outcome, by, matters)
        frame, asked, notes = self._put((outcome, by), matters, others, adjust, leave_out)
        answer = compare(frame, outcome, by, **asked, control=control, line=line, examine=True)
        return _noted(answer, [*notes, *self._given_up(outcome, by)])

    def dose(
        self,
        outcome: str | None = None,
        of: str | None = None,
        matters: float | str | None = None,
        adjust: Iterable[str] | None = None,
        covariates: Iterable[str] = (),
        shape: Literal["auto", "straight", "curved", "plateau"] = "auto",
        want: Literal["high", "low"] = "high",
        leave_out: Iterable[str] = (),
    ) -> "DoseResponse":
        """Tell what an outcome does along the doses of a factor, and which dose is best.

        The trial's own outcome and its first factor when not given; `matters, adjust, leave_out`
        as for `compare`, `covariates, shape, want` as for `kit.analysis.dose.dose`.
        """
        from kit.analysis.dose import dose

        outcome, of, matters, others = self._asked(outcome, of, matters)
        frame, asked, notes = self._put((outcome, of), matters, others, adjust, leave_out)
        asked |= {"covariates": list(covariates), "shape": shape, "want": want}
        answer = dose(frame, outcome, of, **asked)
        return _noted(answer, [*notes, *self._given_up(outcome, of)])

    def surface(
        self,
        outcome: str | None = None,
        of: tuple[str, str] | None = None,
        matters: float | str | None = None,
        adjust: Iterable[str] | None = None,
        covariates: Iterable[str] = (),
        want: Literal["high", "low"] = "high",
        leave_out: Iterable[str] = (),
    ) -> "Surface":
        """Tell what an outcome does over the doses of two factors, and how they work together.

        The trial's own outcome and its first two factors when not given; `matters, adjust,
        leave_out` as for `compare`, `covariates, want` as for `kit.analysis.dose.dose`.
        """
        from kit.analysis.surface import surface

        factors = list(self.factors)
        if of is None and len(factors) < 2:
            raise InputError("of", None, "is not set: the trial has fewer than two factors")
        first, second = of or (factors[0], factors[1])
        outcome, first, matters, others = self._asked(outcome, first, matters)
        about = (outcome, first, second)
        frame, asked, notes = self._put(about, matters, others, adjust, leave_out)
        asked |= {"covariates": list(covariates), "want": want}
        answer = surface(frame, outcome, (first, second), **asked)
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
            Every quantity recorded for pieces that is no factor and was not planned; the trial's
            factors.
        matters : mapping, optional
            Outcome -> smallest difference you care about; the trial's own is known.
        leave_out : iterable of str
            As for `compare`.
        """
        from kit.analysis.overview import overview

        asked = list(self.factors) if factors is None else list(factors)
        frame, notes = self._without(leave_out)
        alike: list[str] = []
        if outcomes is None:
            chosen, alike = self._came_out(frame, asked)
            if not chosen:
                why = alike[0] if alike else "nothing was measured yet"
                msg = f"{self.name} has no outcome to compare ({why}). Record a bake first."
                raise DataError(msg)
        else:
            chosen = list(outcomes)
        if self.outcome in chosen:
            chosen = list(dict.fromkeys([self.outcome, *chosen]))
        margins = dict(matters or {})
        if self.outcome is not None and self.matters is not None:
            margins.setdefault(self.outcome, self.matters)
        together = self._together(frame, None, *asked)
        answer = overview(frame, asked, chosen, **together, matters=margins)
        also = also_noted(frame, chosen)
        return replace(answer, checks=(*answer.checks, *notes, *also, *alike))

    def _put(
        self,
        about: tuple[str, ...],
        matters: float | None,
        others: list[str],
        adjust: Iterable[str] | None,
        leave_out: Iterable[str],
    ) -> tuple[pd.DataFrame, dict[str, Any], list[str]]:
        """The frame, how the question is put to it, and notes; `about` outcome and factors."""
        frame, notes = self._recorded(about, leave_out)
        alike = self._alike(frame, about[0], others, adjust)
        asked = self._together(frame, *about) | {
            "matters": matters, "adjust": [a for a in alike if a not in about[2:]]
        }  # fmt: skip
        return frame, asked, notes

    def _given_up(self, outcome: str, by: str) -> list[str]:
        """Say of which settings whole doughs of the bakes measured came to no pieces.

        But of the newest bake: its doughs may still stand in the cold. Pieces that were not read
        are told with the other pieces.
        """
        frame = self.frame()
        measured = set(frame.loc[frame[outcome].notna(), "bake"])
        bakes = [bake.code for bake in self.bakes() if bake.code in measured][:-1]
        there = set(zip(frame["bake"], frame["dough"], strict=True))
        with self._store.reading() as connection:
            known = known_values(connection, self.id, [by])
        made = [
            (d.bake.code, d.code, known[d.id, by][0])
            for d in self.doughs()
            if d.bake.code in bakes and (d.id, by) in known
        ]
        doughs, _ = as_meant(pd.DataFrame(made, columns=["bake", "dough", by]), self.factors)
        gone = [pair not in there for pair in zip(doughs["bake"], doughs["dough"], strict=True)]
        why = f"have no {words.name(outcome)} at all"
        told = left_out_by_setting(doughs[by], gone, by, "dough", why)
        return [told] if told else []

    def _came_out(self, frame: pd.DataFrame, factors: Iterable[str]) -> tuple[list[str], list[str]]:
        """What pieces came out as: neither set, nor planned, nor alike everywhere; and a note."""
        hows = self.provenance()
        set_on_purpose = {*factors, *(q for q in hows if hows[q].eq("planned").any())}
        known = [q.name for q in quantities.all_quantities() if q.level == "piece"]
        measured = [q for q in known if present(frame, q) and q not in set_on_purpose]
        alike = [q for q in measured if frame[q].nunique() == 1 and q != self.outcome]
        chosen = [q for q in measured if q not in alike]
        if not alike:
            return chosen, []
        told = (words.setting(q, float(frame[q].dropna().iloc[0])) for q in alike)
        return chosen, [f"left out, because it is the same on every piece: {words.join(told)}"]

    def steadiness(
        self, outcome: str | None = None, leave_out: Iterable[str] = (), **more: Any
    ) -> "Steadiness":
        """Say where the spread of an outcome comes from: bake, dough, load, place, piece.

        The trial's own outcome when not given; `leave_out` as for `compare`; more as for
        `kit.analysis.steadiness.steadiness`: measuring, level.
        """
        from kit.analysis.steadiness import steadiness

        frame, factors, outcome = self._of_outcome(outcome, leave_out)
        return steadiness(
            frame, outcome, factors, load=present(frame, "load"), place=present(frame, "place"),
            mixing=mixed_by(*factors), **more,
        )  # fmt: skip

    def griddle_map(
        self, outcome: str | None = None, leave_out: Iterable[str] = (), **more: Any
    ) -> "GriddleMap":
        """Map the griddle: which places differ from the others.

        The trial's own outcome when not given; `leave_out` as for `compare`; more as for
        `kit.analysis.griddle_map.griddle_map`: across, matters, level.
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
        self, outcome: str | None = None, only: Mapping[str, object] | None = None
    ) -> "ControlChart":
        """Chart an outcome over the bakes, with limits and signals.

        Parameters
        ----------
        outcome : str, optional
            The trial's own when not given.
        only : mapping, optional
            Doughs of these settings only, such as ``{"malt_percent": 0}``.
        """
        from kit.analysis.control_chart import bake_chart

        frame, _, outcome = self._of_outcome(outcome, ())
        return bake_chart(frame, outcome, only=only)

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
        conditions = list(against) or usual
        if not conditions:
            msg = (
                f"{self.name} has no condition noted that its bakes could follow: note the room's "
                "temperature or the flour lot of each bake, or say what else to look at (against)."
            )
            raise DataError(msg)
        return drift(frame, outcome, conditions, factors, **more)


def _noted(answer: _Answer, notes: Iterable[str]) -> _Answer:
    """The answer with what was done to its records.

    Doughs given up and pieces left out that may flatter a setting are something to think about
    before the next step, as those missing are.
    """
    from kit.analysis.answer.fit_checks import Finding

    told, examined = tuple(notes), answer.examined
    lost = tuple(Finding("missing", note, True) for note in told if flatters(note))
    if examined is not None:
        examined = replace(examined, findings=examined.findings + lost)
    return replace(answer, examined=examined, checks=answer.checks + told)
