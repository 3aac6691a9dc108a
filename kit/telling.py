"""The page of a trial: what was asked first, and every other factor in a section of its own."""

from collections.abc import Iterable
from typing import TYPE_CHECKING

from kit import words
from kit.analysis.grouping.structure import MOST_SETTINGS
from kit.answering import TrialAnswers
from kit.errors import KitError
from kit.records.keeping.aside import file_name
from kit.records.tastings.store import plates_of, serving
from kit.writeup.plain_words import in_words

if TYPE_CHECKING:
    import pandas as pd

    from kit.analysis.comparison import Comparison
    from kit.analysis.tasting.answered import Answered
    from kit.writeup import Report

__all__ = ["TrialPages"]


class TrialPages(TrialAnswers):
    """The verbs of a trial that tell others what came out."""

    def report(
        self,
        comparison: "Comparison | None" = None,
        leave_out: Iterable[str] = (),
        others: bool = True,
    ) -> "Report":
        """Put together what the write-up tells; of `compare` when no comparison is given.

        The trial's question stands over all its answers, or the one to it, not over that of
        another factor alone.

        Parameters
        ----------
        leave_out : iterable of str
            As it was given to `compare`.
        others : bool
            Whether the trial's other factors are answered as well, for the same outcome, and its
            tastings told.
        """
        from kit.records.photos.measured import told_of_photos
        from kit.writeup import from_frame
        from kit.writeup.recipe import recipe

        left = list(leave_out)
        comparison = self.compare(leave_out=left) if comparison is None else comparison
        outcome, by = comparison.outcome, comparison.by
        own = self.outcome in (None, outcome) and next(iter(self.factors), by) == by
        frame, formula = self._without(left)[0], self.formula()
        return from_frame(
            frame,
            comparison,
            title=self.name,
            question=self._question_over(comparison, own, others),
            baker=self.baker,
            invented=self.invented,
            formula=None if formula is None else recipe(formula, self._baked(frame, outcome)),
            formula_note="" if formula is None else formula.note,
            events=self._events_in_words(),
            measured=told_of_photos(self.readings(), outcome),
            also=self._answers_but(comparison, left) if others else None,
            drawn=set(comparison.points["bake"]) <= self._of_plan(),
            unasked=[q for q in self._came_out(frame, self.factors)[0] if q != outcome],
            tasted=self._tasted() if others else (),
        )

    def _question_over(self, comparison: "Comparison", own: bool, others: bool) -> str:
        """The question over the page; empty where the trial's own is not answered on it."""
        if own or not self.question:
            return self.question
        first = f"Does {words.name(comparison.by)} change {words.name(comparison.outcome)}?"
        return f"{self.question} Asked here first: {first}" if others else ""

    def page_name(self, comparison: "Comparison") -> str:
        """Return the name of the file that a page of this comparison is written to by itself.

        All factors of the trial stand on one page; a page of another outcome has another name.
        """
        other = [] if comparison.outcome == self.outcome else [comparison.outcome]
        return file_name("-".join([self.name, *other])) + ".html"

    def _answers_but(self, told: "Comparison", left: list[str]) -> "dict[str, Comparison | str]":
        """The other factors -> their answer, or the reason why there is none."""
        found: dict[str, Comparison | str] = {}
        for factor in self.factors:
            if factor == told.by:
                continue
            try:
                found[factor] = self.compare(told.outcome, factor, told.matters, leave_out=left)
            except KitError as exc:
                found[factor] = _why(exc)
        return found

    def _tasted(self) -> "list[tuple[str, Answered | str]]":
        """Every tasting that was opened: what was served how, and its answer or why it has none."""
        told = self.tastings()
        opened = told[told["sample"].notna() & told["mark"].notna()]
        found: list[tuple[str, Answered | str]] = []
        for number, marks in opened.groupby("tasting"):
            with self._store.reading() as connection:
                rows = plates_of(connection, self.id, int(str(number)))
            plan, asked = serving(rows), rows[0].samples["question"] or "Which is liked better?"
            came, who = marks["taster"].nunique(), words.plural(len(plan.tasters), "taster")
            if came < len(plan.tasters):
                who = f"{came} of {who} answered"
            served = f"Tasting {number}, blind, {plan.method}, {who}: {words.join(plan.samples)}."
            if plan.method not in ("triangle", "duo-trio"):  # which have their own question
                served += f" They were asked: {asked}"
            try:
                found.append((served, self.tasting_answer(int(str(number)))))
            except KitError as exc:
                found.append((served, _why(exc)))
        return found

    def _baked(self, frame: "pd.DataFrame", outcome: str) -> dict[str, list[float]]:
        """Factors -> the settings at which the outcome was measured, where they are few."""
        measured = frame[frame[outcome].notna()]
        settings = {f: sorted(measured[f].dropna().unique()) for f in self.factors if f in frame}
        return {f: s if len(s) <= MOST_SETTINGS else [s[0], s[-1]] for f, s in settings.items()}

    def _events_in_words(self) -> list[str]:
        things = (*self.bakes(), *self.doughs(), *self.loads(), *self.pieces())
        of = {thing.id: f" ({thing})" for thing in things}
        return [
            f"{row.kind}{of.get(str(row.id), '')}{': ' if row.text else ''}{row.text}"
            for row in self.events().itertuples()
        ]


def _why(exc: KitError) -> str:
    """Why there is no answer, as a sentence."""
    said = in_words(str(exc))
    return said[:1].upper() + said[1:]
