"""What a trial is: its question, factors and formula, and how its records are reached."""

from collections.abc import Sequence
from contextlib import AbstractContextManager
from typing import Any

from kit.errors import NotFoundError
from kit.formula.formula import Formula
from kit.records import journal, things, trials
from kit.records.journal import Step
from kit.records.keeping.store import Store

__all__ = ["TrialHead"]


class TrialHead:
    """One question asked over several bakes.

    It holds nothing itself: what it tells is what the `store` has at that moment; `who` is who is
    at work, for the history.
    """

    def __init__(self, store: Store, who: str, trial_id: str) -> None:
        self._store, self._who, self.id = store, who, trial_id

    def __repr__(self) -> str:
        with self._store.reading() as connection:
            try:
                name = trials.trial_row(connection, self.id).name
            except NotFoundError as exc:  # shown all the same, as in a list
                return f"<Trial {exc.name!r}, removed>"
            made = (
                f"{level}s: {things.count(connection, self.id, level)}"
                for level in ("bake", "dough", "piece")
            )
            return f"<Trial {name!r}, {', '.join(made)}>"

    def __eq__(self, other: object) -> bool:
        return isinstance(other, TrialHead) and other.id == self.id

    def __hash__(self) -> int:
        return hash(self.id)

    def _row(self) -> Any:
        with self._store.reading() as connection:
            return trials.trial_row(connection, self.id)

    @property
    def name(self) -> str:
        """What it is called."""
        return str(self._row().name)

    @property
    def question(self) -> str:
        """What it is to answer."""
        return str(self._row().question)

    @property
    def outcome(self) -> str | None:
        """The quantity that answers the question."""
        outcome: str | None = self._row().outcome
        return outcome

    @property
    def matters(self) -> float | None:
        """Smallest difference of the outcome the baker cares about, in its unit."""
        matters: float | None = self._row().matters
        return matters

    @property
    def invented(self) -> bool:
        """Whether the data are made up."""
        return bool(self._row().invented)

    @property
    def zone(self) -> str:
        """IANA time zone of the kitchen."""
        return str(self._row().zone)

    @property
    def baker(self) -> str:
        """Whose trial it is."""
        return str(self._row().baker)

    @property
    def factors(self) -> dict[str, list[float]]:
        """Quantities set on purpose -> their settings."""
        with self._store.reading() as connection:
            return trials.factors(connection, self.id)

    def set_formula(
        self,
        name: str | Formula,
        ingredients: Sequence[tuple[str, str, str | float | None]] = (),
        note: str = "",
    ) -> None:
        """Give the trial its formula in baker's percentages.

        Parameters
        ----------
        name : str or Formula
            What it is called; or the whole formula, and nothing else is needed.
        ingredients : sequence of (ingredient, role, percent)
            For example ``[("bread flour", "flour", 100), ("milk", "liquid", 72)]``. Roles: flour,
            liquid, salt, yeast, malt, fat, egg, sugar, other. The flours make 100 together. None
            for what the trial varies.
        note : str
            Anything.

        Raises
        ------
        InputError
            An unknown role, a percentage that cannot be, flours that do not make 100.
        """
        if isinstance(name, Formula):
            ingredients, note = [(i.name, i.role, i.percent) for i in name.ingredients], name.note
            name = name.name
        with self._step() as step:
            trials.set_formula(step, self.id, name, ingredients, note)
            self._say(step, f"formula {name} set")

    def formula(self) -> Formula | None:
        """Return the formula, None when none was set."""
        with self._store.reading() as connection:
            formula_id = trials.trial_row(connection, self.id).formula_id
            return trials.formula(connection, formula_id)

    def _step(self) -> AbstractContextManager[Step]:
        return journal.step(self._store, self._who)

    def _say(self, step: Step, what: str) -> None:
        step.says = f"{trials.trial_row(step.connection, self.id).name}: {what}"
