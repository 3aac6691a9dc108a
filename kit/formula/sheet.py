"""The weighing sheet itself: its rows, its columns, and what it says about the scale."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from html import escape
from itertools import pairwise
from typing import Any

import pandas as pd

from kit import quantities
from kit.formula.check import Doubt, doubts
from kit.formula.formula import Formula
from kit.formula.numbers import plain, short
from kit.formula.preblend import PreBlend
from kit.formula.rounding import Achieved, Scales
from kit.words import join

__all__ = ["WeighingSheet", "Weight", "clashes"]


@dataclass(frozen=True)
class Weight(Achieved):
    """One ingredient of one dough.

    Parameters
    ----------
    percent : float
        Planned, of the flour's weight.
    planned_g, weigh_g : float
        Exact, and as the scale is to show it.
    step_g : float
        Of the scale it is weighed on.
    low_percent, high_percent : float
        The range really achieved, in % of the flour.
    """

    dough: str
    ingredient: str
    role: str
    percent: float
    planned_g: float
    weigh_g: float
    step_g: float
    low_percent: float
    high_percent: float

    @property
    def vanishes(self) -> bool:
        """Whether something is wanted and the scale shows nothing."""
        return self.planned_g > 0 and self.weigh_g == 0

    @property
    def furthest_percent(self) -> float:
        """How far off the dose may really be, in % of itself: rounding and half a step."""
        most = max(self.high_percent - self.percent, self.percent - self.low_percent)
        return 100 * most / self.percent


@dataclass(frozen=True)
class WeighingSheet:
    """What to weigh, one column a dough.

    Parameters
    ----------
    flour_g : float
        Flour of every dough, as weighed.
    doughs : mapping
        Code of the dough → its settings.
    weights : tuple of Weight
        By dough, then as in the formula.
    blends : tuple of PreBlend
        Those that keep the doses apart which this scale cannot; offered, or used in `weights`.
    """

    formula: Formula
    flour_g: float
    scales: Scales
    doughs: Mapping[str, Mapping[str, object]]
    weights: tuple[Weight, ...]
    blends: tuple[PreBlend, ...]

    def __getitem__(self, key: tuple[str, str]) -> Weight:
        """Return one weight by dough and ingredient."""
        dough, ingredient = key
        for one in self.weights:
            if (one.dough, one.ingredient) == (dough, ingredient):
                return one
        raise KeyError(key)

    @property
    def doubts(self) -> tuple[Doubt, ...]:
        """What is unusual about all doughs alike, and so not varied on purpose."""
        made = [self.formula.with_settings(settings) for settings in self.doughs.values()]
        first, *others = (doubts(one) for one in made)
        return tuple(doubt for doubt in first if all(doubt in other for other in others))

    @property
    def gone(self) -> tuple[str, ...]:
        """What is wanted and cannot be weighed at all."""
        say = self.scales.say
        vanished = {(w.ingredient, w.planned_g): w for w in self.weights if w.vanishes}
        return tuple(
            f"{say(one.planned_g)} of {short(one.ingredient)} is too little for the scale: in "
            f"steps of {say(one.step_g)} it shows nothing. Use a finer scale, a larger dough or a "
            "blend; without it the dough is another"
            for one in vanished.values()
        )

    @property
    def checks(self) -> tuple[str, ...]:
        """What the scale cannot do, and what to do about it."""
        return (*_clash_notes(self), *_scale_notes(self))

    def columns(self) -> dict[str, str]:
        """Head of each dough's column: its code and what is set differently from dough to dough."""
        varied = [
            name
            for name in dict.fromkeys(n for s in self.doughs.values() for n in s)
            if len({str(s.get(name)) for s in self.doughs.values()}) > 1
        ]
        heads = {}
        for code, settings in self.doughs.items():
            parts = [_said(name, settings[name]) for name in varied if name in settings]
            heads[code] = f"{code}: {', '.join(parts)}" if parts else code
        return heads

    def table(self) -> pd.DataFrame:
        """The sheet as text: one row an ingredient, one column a dough.

        Where the scale's step is more than 2 % of the amount the range really achieved stands
        beside the weight.
        """
        rows = list(dict.fromkeys(one.ingredient for one in self.weights))
        say = self.scales.say
        cells = {
            head: [_cell(self[code, row], self.scales) for row in rows] + [say(self.dough_g(code))]
            for code, head in self.columns().items()
        }
        return pd.DataFrame(cells, index=pd.Index([*rows, "dough in all"], name="ingredient"))

    def dough_g(self, dough: str) -> float:
        """Everything in one dough, as weighed."""
        return math.fsum(one.weigh_g for one in self.weights if one.dough == dough)

    def __repr__(self) -> str:
        count = f"{len(self.doughs)} dough{'s' if len(self.doughs) > 1 else ''}"
        return (
            f"<WeighingSheet {self.formula.name}: {count} of {self.scales.say(self.flour_g)} flour>"
        )

    @property
    def _caption(self) -> str:
        flour = self.scales.say(self.flour_g)
        return f"{self.formula.name}: {flour} of flour a dough, on {self.scales}."

    def __str__(self) -> str:
        table = self.table()
        tops = [head.replace(": ", ", ", 1).split(", ") for head in table.columns]
        deep = max(map(len, tops))
        heads = [["", *(top[i] if i < len(top) else "" for top in tops)] for i in range(deep)]
        rows = [
            [str(name), *map(str, row)]
            for name, row in zip(table.index, table.to_numpy(), strict=True)
        ]
        widths = [max(len(row[i]) for row in [*heads, *rows]) for i in range(len(heads[0]))]
        lines = [
            "  ".join(text.ljust(width) for text, width in zip(row, widths, strict=True)).rstrip()
            for row in [*heads, *rows]
        ]
        notes = [f"Note: {check}." for check in self.checks]
        blends = [str(blend) for blend in self.blends]
        return "\n".join([self._caption, *lines, *notes, *blends])

    def _repr_html_(self) -> str:
        table = self.table()
        # nothing in the bowl differs, not even untold by the scale: once for all doughs
        if (table.nunique(axis=1) == 1).all() and not clashes(self):
            table = table.iloc[:, :1].set_axis(["; ".join(table.columns)], axis=1)
        heads = "".join(f'<th scope="col">{escape(str(head))}</th>' for head in table.columns)
        rows = "".join(
            f'<tr><th scope="row">{escape(str(name))}</th>'
            + "".join(f"<td>{escape(str(cell))}</td>" for cell in row)
            + "</tr>"
            for name, row in zip(table.index, table.to_numpy(), strict=True)
        )
        notes = "".join(f"<li>{escape(check)}.</li>" for check in self.checks)
        return (
            f"<table><caption>{escape(self._caption)}</caption><thead><tr><td></td>{heads}</tr>"
            f"</thead><tbody>{rows}</tbody></table>"
            + (f"<ul>{notes}</ul>" if notes else "")
            + "".join(blend._repr_html_() for blend in self.blends)
        )

    def to_frame(self) -> pd.DataFrame:
        """One row an ingredient of a dough, with every number of `Weight`."""
        return pd.DataFrame([vars(one) for one in self.weights])


def clashes(sheet: WeighingSheet) -> list[tuple[Weight, Weight]]:
    """Neighbouring doses of one ingredient, planned different, that may be the same in truth."""
    found = []
    for name in dict.fromkeys(one.ingredient for one in sheet.weights):
        doses = {w.percent: w for w in sheet.weights if w.ingredient == name}
        ordered = [doses[percent] for percent in sorted(doses)]
        if ordered[0].role == "flour":
            continue
        found += [(one, other) for one, other in pairwise(ordered) if one.overlaps(other)]
    return found


def _said(name: str, value: Any) -> str:
    """A setting in a column's head: "diastatic malt 0.8 %"."""
    quantity = quantities.find(name)
    if quantity is None:
        label = name.removesuffix("_percent").replace("_", " ")
        unit = "%" if name.endswith("_percent") else ""
    else:
        label, unit = quantity.label[0].lower() + quantity.label[1:], quantity.unit
    shown = plain(float(value), 4) if isinstance(value, (int, float)) else str(value)
    return f"{label} {shown} {unit}".strip()


def _cell(one: Weight, scales: Scales) -> str:
    if one.planned_g == 0:
        return "none"
    shown = "too little to weigh" if one.vanishes else scales.say(one.weigh_g)
    return shown + (f" ({one.range_percent})" if one.coarse else "")


def _clash_notes(sheet: WeighingSheet) -> list[str]:
    found = clashes(sheet)
    notes = []
    for name in dict.fromkeys(one.ingredient for one, _ in found):
        pairs = [pair for pair in found if pair[0].ingredient == name]
        met = {one.percent: one for pair in pairs for one in pair}
        doses = join(
            f"{plain(one.percent)} % is really {one.range_percent}" for one in met.values()
        )
        kept = any(b.ingredient == name and b.apart for b in sheet.blends)
        remedy = "the blend below does" if kept else "use a finer scale, or doses further apart"
        notes.append(
            f"this scale does not keep the doses of {short(name)} apart: {doses}; {remedy}"
        )
    return notes


def _scale_notes(sheet: WeighingSheet) -> list[str]:
    notes, say = list(sheet.gone), sheet.scales.say
    order = list(dict.fromkeys(w.ingredient for w in sheet.weights))
    coarse = [w for w in sheet.weights if w.coarse and not w.vanishes]
    coarse.sort(key=lambda w: order.index(w.ingredient))
    if coarse:
        steps = join(dict.fromkeys(say(w.step_g) for w in coarse))
        names = join(dict.fromkeys(short(w.ingredient) for w in coarse))
        worst = max(coarse, key=lambda w: w.furthest_percent)
        off = plain(worst.furthest_percent, 0)
        notes.append(
            f"a step of {steps} is more than 2 % of {names}: the range in brackets is what the "
            f"dough really gets. Furthest off may be {short(worst.ingredient)}, {off} % of its "
            f"{say(worst.planned_g)}; a finer scale or a larger dough narrows it"
        )
    return notes
