"""Whether an outcome follows what changes by itself from bake to bake: the room, the flour.

A bake counts once: its room was one room and its flour one bag, however many pieces came of it.
The work is done by `kit.analysis.compare`; what is added is the caution that none of this was
set on purpose.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import pandas as pd

from kit import words
from kit.analysis.asked import has_numbers, need_columns
from kit.analysis.compare import compare
from kit.analysis.comparison import Comparison
from kit.analysis.verdict import Answer
from kit.errors import DataError, InputError
from kit.shown import Telling, Told

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["Drift", "drift"]


@dataclass(frozen=True)
class Drift(Told):
    """How the outcome went along with each of several conditions.

    Parameters
    ----------
    outcome : str
    answers : mapping
        Condition to the `Comparison` with the bake as unit.
    refused : mapping
        Condition to the reason why these bakes cannot answer.
    checks : tuple of str
    """

    outcome: str
    answers: Mapping[str, Comparison]
    refused: Mapping[str, str]
    checks: tuple[str, ...]

    @property
    def followed(self) -> tuple[str, ...]:
        """Conditions that the outcome surely went along with."""
        return tuple(name for name, c in self.answers.items() if c.leading.sure)

    @property
    def headline(self) -> str:
        """The answer in a few words."""
        what = words.capital(words.name(self.outcome))
        if self.followed:
            return f"{what} went along with {words.join(map(words.name, self.followed))}."
        if not self.answers:
            return f"These bakes cannot say what {words.name(self.outcome)} goes along with."
        little = [n for n, c in self.answers.items() if c.answer in (Answer.NONE, Answer.SMALL)]
        unclear = [n for n in self.answers if n not in little]
        told = []
        if little:
            named = " or ".join(map(words.name, little))
            told.append(f"{what} does not go along with {named} by as much as matters.")
        if unclear:
            named = " or ".join(map(words.name, unclear))
            told.append(
                f"Cannot tell yet whether {words.name(self.outcome)} goes along with {named}."
            )
        return " ".join(told)

    @property
    def sentence(self) -> str:
        """What was found for each condition, and what could not be asked."""
        told = [c.sentence for c in self.answers.values()]
        told += [f"{words.capital(words.name(n))}: {why}" for n, why in self.refused.items()]
        return " ".join(told)

    @property
    def next_step(self) -> str:
        """What to do next."""
        if not self.followed:
            return "Next: go on noting these conditions; more bakes make the answer sharper."
        names = words.join(map(words.name, self.followed))
        return (
            f"Next: hold {names} alike if you can, bake all settings of a trial in the same bake, "
            "and to be sure of the cause change it on purpose."
        )

    @property
    def method(self) -> str:
        """One line for each condition, for a statistician."""
        return " ".join(c.method for c in self.answers.values())

    def __repr__(self) -> str:
        return f"<Drift {self.outcome}: followed {', '.join(self.followed) or 'nothing'}>"

    def tells(self) -> Telling:
        """What it says."""
        return Telling(self.headline, (self.sentence, self.next_step), self.checks, self.method)

    def to_frame(self) -> pd.DataFrame:
        """The differences, one tidy row each, with the condition in front."""
        parts = [c.differences.assign(condition=name) for name, c in self.answers.items()]
        if not parts:
            return pd.DataFrame(columns=["condition"])
        table = pd.concat(parts, ignore_index=True)
        return table[["condition", *(c for c in table.columns if c != "condition")]]

    def plot(self, ax: "Axes | None" = None) -> "Axes":
        """Draw the first condition followed, else the first asked about."""
        from kit import charts

        if not self.answers:
            msg = "there is no answer to draw: " + " ".join(self.refused.values())
            raise DataError(msg)
        name = (*self.followed, *self.answers)[0]
        return charts.comparison(self.answers[name], ax)


def drift(
    frame: pd.DataFrame,
    outcome: str,
    against: Sequence[str],
    factors: Sequence[str] = (),
    dough: str | None = "dough",
    bake: str = "bake",
    matters: float | str | None = None,
) -> Drift:
    """Ask whether an outcome follows conditions of the bakes.

    Parameters
    ----------
    frame : DataFrame
        One row a piece.
    outcome : str
    against : sequence of str
        Conditions such as ``room_temp_c`` (a straight line through the bakes) or ``flour_lot``
        (lots compared). A number that changed within a bake is taken at the bake's mean.
    factors : sequence of str
        What was changed on purpose; held alike.
    dough : str, optional
    bake : str
    matters : float or str, optional
        The smallest difference that the baker cares about, in the outcome's unit or as typed.

    Returns
    -------
    Drift

    Raises
    ------
    NotFoundError, InputError
        A column that does not exist, or none asked about.
    """
    against = [against] if isinstance(against, str) else list(against)
    factors = [factors] if isinstance(factors, str) else list(factors)
    if not against:
        raise InputError("against", [], "must name a condition", 'For example "room_temp_c".')
    need_columns(frame, (outcome, bake, *against, *factors))
    answers: dict[str, Comparison] = {}
    refused: dict[str, str] = {}
    for name in against:
        column = frame[name]
        numeric = has_numbers(column)
        if numeric:
            column = frame.groupby(bake, observed=True)[name].transform("mean")
        elif frame.groupby(bake, observed=True)[name].nunique().max() > 1:
            refused[name] = "it changed within a bake, so it can be compared like a setting."
            continue
        held = [f for f in factors if f not in (name, outcome)]
        try:
            answers[name] = compare(
                frame.assign(**{name: column}), outcome, name, dough=dough, bake=bake,
                matters=matters, adjust=held, line=numeric,
            )  # fmt: skip
        except DataError as why:
            refused[name] = f"{why}"
    checks = ["none of this was set on purpose: what changed at the same time may be the cause"]
    if len(answers) > 1:
        checks.append(
            f"{len(answers)} conditions were looked at: one of them may fit by luck alone"
        )
    for name, answer in answers.items():
        checks += [f"{words.name(name)}: {check}" for check in answer.checks]
    return Drift(outcome, answers, refused, tuple(checks))
