"""A plan: which settings go into which dough, onto which place, under which code."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import pandas as pd

from kit import quantities, words
from kit.alike import Alike
from kit.plan.factors import Factor
from kit.plan.kitchen import Kitchen

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["Plan", "decided_in_words", "settings_in_words"]

#: What each kind of plan is to a baker, and what statisticians call it.
_KINDS = {
    "noise": ("the same dough recipe repeated, to learn how much doughs differ by themselves", ""),
    "factorial": ("every combination of settings", "full factorial"),
    "fraction": ("a chosen part of all combinations", "fractional factorial"),
    "blocks": ("settings compared within each bake", "randomised blocks"),
    "latin": ("settings going round the places of the griddle", "Latin square"),
    "split-plot": ("some settings for whole doughs, others inside each dough", "split plot"),
    "composite": ("corners, axes and middle of the range", "central composite design"),
    "box-behnken": ("two factors at a time at their ends, and the middle", "Box–Behnken design"),
    "optimal": ("the doughs that tell most within these limits", "D-optimal design"),
}


@dataclass(frozen=True)
class Plan(Alike):
    """What to mix, shape and bake, and what to know before.

    Parameters
    ----------
    kind : str
        The design, see `kit.plan.design.design`.
    kitchen : Kitchen
        As it was planned with, after what did not fit was left out.
    runs : DataFrame
        One row a piece, in the order of bake, load and place: ``bake, order`` (turn of its
        dough in mixing), ``dough, load, place, code`` (blind), ``piece``, and a column a factor.
    seed : int
        Gives the same plan again.
    checks : tuple of str
        What to know before baking, the gravest first.
    notes : tuple of str
        How the settings lie.
    """

    kind: str
    factors: tuple[Factor, ...]
    kitchen: Kitchen
    runs: pd.DataFrame = field(repr=False)
    seed: int
    checks: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def doughs(self) -> pd.DataFrame:
        """One row a dough in the order of mixing: ``bake, order, dough``, settings, ``pieces``."""
        whole = [f.quantity for f in self.factors if f.level == "dough"]
        keys = ["bake", "order", "dough", *whole]
        return (
            self.runs.groupby(keys, sort=False, observed=True)
            .size()
            .rename("pieces")
            .reset_index()
            .sort_values(["bake", "order"], ignore_index=True)
        )

    @property
    def counts(self) -> dict[str, int]:
        """How many bakes, doughs, loads and pieces."""
        r = self.runs
        return {
            "bake": r["bake"].nunique(),
            "dough": len(r[["bake", "dough"]].drop_duplicates()),
            "load": len(r[["bake", "load"]].drop_duplicates()),
            "piece": len(r),
        }

    @property
    def headline(self) -> str:
        """How much baking it is, in one sentence."""
        made = words.join(words.plural(n, what) for what, n in self.counts.items())
        return f"{words.capital(made)}: {_KINDS[self.kind][0]}."

    @property
    def method(self) -> str:
        """What the plan is called, and how the same one is drawn again: for the statistician."""
        drawn = f"order and places drawn with seed {self.seed}."
        return words.capital("; ".join(filter(None, (_KINDS[self.kind][1], drawn))))

    def __repr__(self) -> str:
        c = self.counts
        names = ", ".join(f.quantity for f in self.factors) or "no factor"
        return (
            f"<Plan {self.kind}: {names}; {c['bake']} bakes, {c['dough']} doughs, "
            f"{c['piece']} pieces>"
        )

    def __str__(self) -> str:
        lines = [self.headline, *(f"{note}." for note in self.notes)]
        if any(f.level == "dough" for f in self.factors):
            for number, doughs in self.doughs.groupby("bake"):
                lines.append(f"Bake {number}: {self._mixing(doughs)}")
        if self.checks:
            lines.append("Before you bake:")
            lines += [f"- {words.capital(check)}{_stop(check)}" for check in self.checks]
        lines.append(f"For the statistician: {self.method}")
        return "\n".join(lines)

    def _mixing(self, doughs: pd.DataFrame) -> str:
        """One bake's doughs in the order of mixing."""
        whole = [f for f in self.factors if f.level == "dough"]
        parts = []
        for row in doughs.to_dict("records"):
            said = ", ".join(
                f"{_short(f) if len(whole) > 1 else ''} {words.amount(f.quantity, row[f.quantity])}"
                for f in whole
            )
            parts.append(f"{row['dough']}: {' '.join(said.split())}")
        return "; ".join(parts)

    def _repr_html_(self) -> str:
        from html import escape

        notes = "".join(f"<p>{escape(note)}.</p>" for note in self.notes)
        table = self.doughs.rename(columns=lambda c: words.capital(quantities.label(c))).to_html(
            index=False, border=0
        )
        checks = "".join(
            f"<li>{escape(words.capital(check) + _stop(check))}</li>" for check in self.checks
        )
        warned = f"<p>Before you bake:</p><ul>{checks}</ul>" if checks else ""
        method = f"<p>For the statistician: {escape(self.method)}</p>"
        return f"<p><strong>{escape(self.headline)}</strong></p>{notes}{warned}{table}{method}"

    def to_frame(self) -> pd.DataFrame:
        """Return the runs, one row a piece."""
        return self.runs.copy()

    def plot(self, ax: "Axes | None" = None) -> "Axes":
        """Draw the doughs of every bake in the order of mixing, one colour a setting."""
        from kit import charts

        return charts.doughs_of_a_plan(self, ax)


def _short(factor: Factor) -> str:
    """The last word of a factor's name, unless a number follows it badly."""
    return factor.name.split()[-1] if len(factor.name.split()) == 2 else factor.name


def _stop(text: str) -> str:
    return "" if text.endswith(("?", "!", ".")) else "."


def decided_in_words(factor: Factor) -> str:
    """A factor's settings and what they are decided for, with what its shaping asks for."""
    settings = words.capital(settings_in_words(factor))
    if factor.level != "piece":
        return f"{settings}, decided for a whole {factor.level}"
    told = f"{settings}, inside each dough"
    if not factor.shaped_apart:
        return told
    return (
        f"{told}: pieces that proof for less are shaped later and stand cold for so much longer "
        "(little beside a day in the cold, much beside a few hours). Chill every dough: one that "
        "is not is shaped all at once, and its pieces proof alike"
    )


def settings_in_words(factor: Factor, values: Sequence[object] | None = None) -> str:
    """A factor with its settings: "diastatic malt at 0, 0.4 and 0.8 %"."""
    shown = factor.settings if values is None else values
    unit = words.unit_of(factor.quantity)
    texts = [f"{v:g}" if isinstance(v, (int, float)) else str(v) for v in shown]
    many = len(texts) > 6
    listed = ", ".join([*texts[:3], "…", texts[-1]]) if many else words.join(texts)
    joint = " at " if factor.numeric else ": "
    return f"{factor.name}{joint}{listed} {unit}".strip()
