"""Which combinations of settings a plan has, for doughs and for pieces."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from kit import quantities, words
from kit.analysis.moments import Floats, Integers
from kit.errors import DesignError, InputError
from kit.plan.designs import points as shapes
from kit.plan.designs.model import make_model
from kit.plan.factors import Factor, Setting
from kit.plan.kitchen import Kitchen
from kit.plan.plan import settings_in_words

__all__ = [
    "Asked", "Points", "Star", "count", "fraction_of", "fractioned", "least_fraction", "points_of",
    "settings_of",
]  # fmt: skip

Star = Literal["inscribed", "circumscribed", "faced"]


@dataclass(frozen=True)
class Points:
    """Combinations of the settings of one level, and how they are told apart.

    `rows`, shape (T, p), are model columns without the constant; `once` is a fixed set of points,
    repeated as a whole or not at all.
    """

    settings: list[dict[str, Setting]]
    rows: Floats
    once: bool = False


@dataclass(frozen=True)
class Asked:
    """Everything `design` was asked, after checking."""

    whole: list[Factor]
    single: list[Factor]
    loaded: list[Factor]
    kitchen: Kitchen
    generators: tuple[str, ...]
    centre: int | None
    star: Star


def points_of(asked: Asked, kind: str) -> tuple[Points, Points]:
    """Combinations decided for doughs, and for pieces."""
    return _one_level(asked, kind, asked.whole), _one_level(asked, kind, asked.single)


def _one_level(asked: Asked, kind: str, factors: list[Factor]) -> Points:
    if not factors:
        return Points([{}], np.zeros((1, 0)))
    if kind in ("composite", "box-behnken"):
        return _curve_points(asked, kind, factors)
    if kind == "fraction" and factors is fractioned(asked):
        coded = fraction_of(asked).points
        chosen: Integers = ((coded + 1) / 2).astype(np.int64)
        return Points(settings_of(factors, chosen), _weighted(factors, chosen), once=True)
    chosen = shapes.full([len(f.settings) for f in factors])
    if kind == "blocks" or len(factors) == 1:
        rows = 10.0 * make_model(factors, "all").rows(chosen)[:, 1:]
    else:
        rows = _weighted(factors, chosen)
    return Points(settings_of(factors, chosen), rows)


def _weighted(factors: list[Factor], chosen: Integers) -> Floats:
    """Columns of all effects: single factors first, pairs next, more together hardly."""
    model = make_model(factors, "all")
    return np.hstack(
        [model.columns(chosen, term) * 10.0 ** (2 - len(term)) for _, term, _ in model.terms()]
    )


def settings_of(factors: Sequence[Factor], chosen: Integers) -> list[dict[str, Setting]]:
    """Settings of each row of setting numbers."""
    return [
        {f.quantity: f.settings[i] for f, i in zip(factors, row, strict=True)} for row in chosen
    ]


def fractioned(asked: Asked) -> list[Factor]:
    """The factors a fraction is taken of: those of doughs when there are three or more."""
    return asked.whole if len(asked.whole) >= 3 or len(asked.single) < 3 else asked.single


def fraction_of(asked: Asked) -> shapes.Fraction:
    """The fraction asked for, or the largest that fits."""
    factors, kitchen = fractioned(asked), asked.kitchen
    k = len(factors)
    more = [f.name for f in factors if len(f.settings) != 2]
    if k < 3 or more:
        why = (
            f"{words.join(more)} {'has' if len(more) == 1 else 'have'} more than two settings"
            if more
            else f"there {'is' if k == 1 else 'are'} {k}"
        )
        msg = (
            f"a fraction needs three or more factors of two settings each, and {why}. Nearest: "
            "kind='factorial' or 'optimal'."
        )
        raise DesignError(msg)
    slots = kitchen.pieces_per_dough
    if factors is asked.whole:
        slots = kitchen.bakes * kitchen.doughs
    if asked.generators:
        return shapes.fraction(k, len(asked.generators), asked.generators)
    halvings = 1
    while 2 ** (k - halvings) > slots and 2 ** (k - halvings) > least_fraction(k):
        halvings += 1
    return shapes.fraction(k, halvings)


def _curve_points(asked: Asked, kind: str, factors: list[Factor]) -> Points:
    """Composite and Box–Behnken points on real settings; fewer middles where it must be."""
    k, kitchen = len(factors), asked.kitchen
    room = kitchen.bakes * kitchen.doughs if asked.whole else kitchen.pieces_per_dough
    room = room if asked.whole else room * kitchen.bakes * kitchen.doughs
    middle = asked.centre
    if kind == "box-behnken":
        outer = shapes.box_behnken(k, 0)
    else:
        outer = shapes.composite(k, 0, 1.0 if asked.star == "faced" else None)
        if asked.star == "inscribed":
            outer = outer / shapes.rotatable(k)
    if middle is None:
        middle = max(1, min(4 if kind == "composite" else 3, room - len(outer)))
    coded = np.concatenate([outer, np.zeros((middle, k))])
    settings: list[dict[str, Setting]] = []
    for row in coded:
        settings.append({f.quantity: f.real(c) for f, c in zip(factors, row, strict=True)})
    _check_reach(factors, coded, settings)
    columns = [coded, coded**2]
    columns += [coded[:, [i]] * coded[:, [j]] for i in range(k) for j in range(i)]
    return Points(settings, 10.0 * np.hstack(columns), once=True)


def _check_reach(factors: list[Factor], coded: Floats, settings: list[dict[str, Setting]]) -> None:
    """No axis point may be impossible, and no two may fall together when rounded."""
    for i, factor in enumerate(factors):
        values = {float(s[factor.quantity]) for s in settings}
        if len(values) < len(np.unique(coded[:, i].round(9))):
            msg = (
                f"the settings of {settings_in_words(factor)} lie too close together for this "
                "design: some fall together when rounded. Take a wider range."
            )
            raise DesignError(msg)
        quantity = quantities.find(factor.quantity)
        if quantity is None:
            continue
        for value in (min(values), max(values)):
            try:
                quantity.check(value)
            except InputError as exc:
                msg = (
                    f"the axis points need {factor.name} at {words.amount(factor.quantity, value)}"
                    ", which is impossible. Nearest: star='inscribed', which stays within "
                    "your settings."
                )
                raise DesignError(msg) from exc


def count(factors: Sequence[Factor]) -> int:
    """Combinations of all their settings."""
    return int(np.prod([len(f.settings) for f in factors])) if factors else 1


def least_fraction(k: int) -> int:
    """Runs of the smallest fraction that still tells k factors apart."""
    runs = 4
    while runs < k + 1:
        runs *= 2
    return runs
