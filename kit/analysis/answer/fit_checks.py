"""What was looked at before an answer is trusted, as the answer carries it."""

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

import pandas as pd

from kit import words
from kit.alike import Alike
from kit.shown import InLines

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["Finding", "FitChecks"]


@dataclass(frozen=True)
class Finding:
    """One thing looked at.

    Parameters
    ----------
    subject : str
        In a word or two, such as "far off", "single dough", "missing".
    text : str
        What was seen, without a full stop.
    alarm : bool
        Whether it should be thought about before the answer is used.
    """

    subject: str
    text: str
    alarm: bool = False


@dataclass(frozen=True)
class FitChecks(InLines, Alike):
    """All findings about one fit, and the numbers behind.

    Parameters
    ----------
    findings : tuple of Finding
    pieces : DataFrame
        ``bake, dough, level, fitted, residual``: one row a piece, the residual being what is
        left after the dough's own (or the bake's, or nothing when no pieces belong together).
    doughs : DataFrame
        ``bake, dough, fitted, residual, pieces``: what is left of each dough's mean.
    left_out : DataFrame
        ``dough, estimate, answer``: the answer without each dough.
    missing : DataFrame
        ``level, pieces, missing``.
    estimate : float
        The number in `left_out` with all doughs in.
    """

    outcome: str
    by: str
    findings: tuple[Finding, ...]
    pieces: pd.DataFrame = field(repr=False)
    doughs: pd.DataFrame = field(repr=False)
    left_out: pd.DataFrame = field(repr=False)
    missing: pd.DataFrame = field(repr=False)
    estimate: float = field(repr=False)

    @property
    def checks(self) -> tuple[str, ...]:
        """The alarming findings."""
        return tuple(f.text for f in self.findings if f.alarm)

    def __repr__(self) -> str:
        return (
            f"<FitChecks {self.outcome} by {self.by}: {len(self.findings)} looked at, "
            f"{len(self.checks)} to think about>"
        )

    def __str__(self) -> str:
        first = (
            f"Of {words.plural(len(self.findings), 'thing')} looked at, {len(self.checks)} to "
            "think about."
        )
        marks = ("!" if f.alarm else "–" for f in self.findings)
        rows = zip(marks, self.findings, strict=True)
        return "\n".join([first, *(f"{mark} {words.capital(f.text)}." for mark, f in rows)])

    def to_frame(self) -> pd.DataFrame:
        """Everything drawn, one tidy row each: ``kind`` piece, dough, left out, missing."""
        parts = {
            "piece": self.pieces, "dough": self.doughs, "left out": self.left_out,
            "missing": self.missing,
        }  # fmt: skip
        whole = [table.assign(kind=kind) for kind, table in parts.items() if len(table)]
        return pd.concat(whole, ignore_index=True)

    def plot(
        self,
        ax: "Axes | None" = None,
        what: Literal["residuals", "quantiles", "left out", "missing"] = "residuals",
    ) -> "Axes":
        """Draw residuals against fitted values, their quantiles, or the answer without each."""
        from kit import charts

        return charts.fit_checks(self, ax, what)
