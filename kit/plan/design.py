"""Make a plan that can answer the question, or say why the kitchen cannot.

Factors decided at mixing or retarding are given to whole doughs, those decided at shaping or on
the griddle to pieces inside each dough (a split plot: Yates 1935, Suppl J R Stat Soc 2:181).
Every setting goes into every bake where it fits, so that the day cancels; order, loads and
places are randomised under the same rule ("block what you can, randomise what you cannot",
NIST/SEMATECH e-Handbook 5.3.3.2).
"""

from collections.abc import Sequence
from typing import Literal, get_args

import numpy as np

from kit import words
from kit.analysis.grouping.mixing import shared_mixings
from kit.errors import DesignError, InputError
from kit.given import as_whole
from kit.plan.designs.blocking import (
    curve_df,
    fit_square,
    share_doughs,
    share_pieces,
    square_uneven,
)
from kit.plan.designs.cautions import CURVES, arrangement, cautions
from kit.plan.designs.layout import factors_in_order, lay_out
from kit.plan.designs.model import ModelKind
from kit.plan.designs.treatments import Asked, Star, count, least_fraction, points_of
from kit.plan.extend import optimal_plan
from kit.plan.factors import Factor
from kit.plan.kitchen import Kitchen
from kit.plan.plan import Plan
from kit.plan.spread import Spread

__all__ = ["KINDS", "Kind", "design"]

Kind = Literal[
    "auto", "factorial", "fraction", "blocks", "latin", "split-plot", "composite", "box-behnken",
    "optimal", "noise",
]  # fmt: skip
KINDS: tuple[Kind, ...] = get_args(Kind)


def design(
    factors: Sequence[Factor],
    kitchen: Kitchen,
    kind: Kind = "auto",
    seed: int = 1,
    spread: Spread | None = None,
    generators: Sequence[str] = (),
    centre: int | None = None,
    star: Star = "inscribed",
    model: ModelKind | None = None,
) -> Plan:
    """Plan the bakes of a trial.

    Parameters
    ----------
    factors : sequence of Factor
        What is set on purpose; none for a noise bake.
    kind : str
        ``"auto"`` chooses. ``"factorial"``: every combination. ``"fraction"``: a part of the
        combinations of two-setting factors. ``"blocks"``: settings within bakes. ``"latin"``:
        settings round the griddle's places. ``"split-plot"``: factors of doughs and of pieces.
        ``"composite"``, ``"box-behnken"``: for a curve over two or three and more numeric
        factors. ``"optimal"``: what tells most within the limits. ``"noise"``: one recipe
        repeated.
    seed : int
        The same seed gives the same plan.
    spread : Spread, optional
        How much doughs and pieces differ by themselves; used by ``"optimal"``.
    generators : sequence of str
        Of a fraction, such as ``"E=ABCD"``; chosen when empty.
    centre : int, optional
        How often a curve's middle is repeated; 4 (composite) or 3 (Box–Behnken) at first, fewer
        where it must be.
    star : {"inscribed", "circumscribed", "faced"}
        Where a composite design's axis points lie: at the factor's ends (the corners then lie
        inside), beyond them, or at the ends with the corners there too.
    model : str, optional
        What an optimal plan is to tell apart: see `kit.plan.designs.model.make_model`.

    Raises
    ------
    DesignError
        No plan of this kind fits; names the nearest that does.
    InputError
        An argument that cannot be used.

    Examples
    --------
    >>> plan = design([Factor.between("malt_percent", 0, 1.2)], Kitchen(bakes=5, tubs=4))
    >>> plan
    <Plan blocks: malt_percent; 5 bakes, 20 doughs, 120 pieces>
    """
    factors = _check_factors(factors, kind, seed, star, centre)
    if not isinstance(kitchen, Kitchen):
        raise InputError("kitchen", kitchen, "must be a Kitchen", "Write Kitchen(bakes=5, tubs=4).")
    seed, centre = int(seed), None if centre is None else int(centre)
    kitchen, notes = kitchen.fitted()
    asked = Asked(
        [f for f in factors if f.level == "dough"],
        [f for f in factors if f.level == "piece"],
        [f for f in factors if f.level == "load"],
        kitchen, tuple(generators), centre, star,
    )  # fmt: skip
    rng = np.random.default_rng(seed)
    chosen = _choose(asked, kind)
    _check_kind(asked, chosen)
    if asked.loaded:
        _check_loads(asked)
    if chosen == "optimal":
        return optimal_plan(factors, asked, notes, model, spread, rng, seed)
    if model is not None:
        raise InputError("model", model, "goes with kind='optimal' only")
    whole, single = points_of(asked, chosen)
    bakes = share_doughs(asked, chosen, whole, rng)
    if chosen == "latin":
        asked, more = fit_square(asked, len(bakes[0]), whole, single)
        kitchen, notes = asked.kitchen, [*notes, *more]
    each = share_pieces(bakes, single, kitchen.pieces_per_dough, rng)
    runs = lay_out(each, whole.settings, single.settings, asked.loaded, kitchen, rng)
    runs = factors_in_order(runs, factors)
    curve = curve_df(bakes, each, whole, single, asked) if chosen in CURVES else None
    said = cautions(chosen, factors, runs, spread is not None, curve)
    if chosen == "latin":
        said = square_uneven(runs, asked) + said
    return Plan(
        kind=chosen,
        factors=tuple(factors),
        kitchen=kitchen,
        runs=runs,
        seed=seed,
        checks=(*notes, *said, *shared_mixings(runs)),
        notes=tuple(arrangement(asked, chosen, runs, bakes)),
    )


def _check_factors(
    factors: Sequence[Factor], kind: str, seed: int, star: str, centre: int | None
) -> list[Factor]:
    one = isinstance(factors, (Factor, str)) or not hasattr(factors, "__iter__")
    listed: list[Factor] = [factors] if one else list(factors)  # type: ignore[list-item]
    for factor in listed:
        if not isinstance(factor, Factor):
            raise InputError(
                "factors", factor, "must be Factors", "For example Factor('malt_percent', (0, 1))."
            )
    names = [f.quantity for f in listed]
    if len(set(names)) < len(names):
        raise InputError("factors", names, "must not repeat a quantity")
    if kind not in KINDS:
        raise InputError("kind", kind, f"must be one of {', '.join(KINDS)}")
    if star not in get_args(Star):
        raise InputError("star", star, "must be 'inscribed', 'circumscribed' or 'faced'")
    drawn = as_whole(seed)
    if drawn is None or drawn < 0:
        raise InputError("seed", seed, "must be a whole number, 0 or more")
    if centre is not None and as_whole(centre) not in range(21):
        raise InputError("centre", centre, "must be a whole number from 0 to 20")
    if not listed and kind not in ("auto", "noise"):
        msg = (
            "there is no factor: nothing is set on purpose. Name at least one, or plan a noise "
            "bake (kind='noise')."
        )
        raise DesignError(msg)
    if listed and kind == "noise":
        raise InputError(
            "factors", names, "must be empty for a noise bake", "Bake one recipe, unchanged."
        )
    return listed


def _choose(asked: Asked, kind: Kind) -> Kind:
    """The kind itself, or what fits best."""
    if kind != "auto":
        return kind
    whole, single, kitchen = asked.whole, asked.single, asked.kitchen
    if not (whole or single or asked.loaded):
        return "noise"
    slots = kitchen.bakes * kitchen.doughs
    combinations = count(whole)
    if whole and 2 * combinations > slots:
        k = len(whole)
        if k >= 3 and all(len(f.settings) == 2 for f in whole) and slots >= least_fraction(k):
            return "fraction" if combinations > slots else "factorial"
        if combinations > slots:
            return "optimal" if not asked.loaded and k > 1 else "blocks"
    if whole and single:
        return "split-plot"
    return "factorial" if len(whole) + len(single) > 1 else "blocks"


def _check_kind(asked: Asked, kind: Kind) -> None:
    """Refuse a kind that the factors do not suit, naming one that they do."""
    if kind == "split-plot" and not (asked.whole and asked.single):
        have = "doughs" if asked.whole else "pieces"
        msg = (
            "a split plot needs a factor decided for whole doughs and one decided for pieces; "
            f"these are all decided for {have if not asked.loaded else 'one level'}. Nearest: "
            "kind='factorial'."
        )
        raise DesignError(msg)
    if kind not in ("composite", "box-behnken"):
        return
    name = "a composite design" if kind == "composite" else "a Box–Behnken design"
    words_only = [f.name for f in (*asked.whole, *asked.single) if not f.numeric]
    if words_only:
        msg = (
            f"{name} needs numbers, and {words.join(words_only)} is set in words. Nearest: "
            "kind='optimal'."
        )
        raise DesignError(msg)
    if sum(map(bool, (asked.whole, asked.single, asked.loaded))) > 1 or asked.loaded:
        msg = (
            f"{name} needs factors that are all decided for doughs or all for pieces. Nearest: "
            "kind='optimal'."
        )
        raise DesignError(msg)
    k, least = len(asked.whole) + len(asked.single), 2 if kind == "composite" else 3
    if not least <= k <= 5:
        nearest = "'composite'" if k == 2 else "'blocks' with four doses" if k < 2 else "'fraction'"
        msg = f"{name} needs {least} to 5 factors, and there are {k}. Nearest: kind={nearest}."
        raise DesignError(msg)


def _check_loads(asked: Asked) -> None:
    """Loads must be able to take turns with their settings."""
    kinds, kitchen = count(asked.loaded), asked.kitchen
    names = words.join(f.name for f in asked.loaded)
    if not kitchen.shared_loads:
        msg = (
            f"{names} is decided for a whole load, and here each load holds one dough: load and "
            "dough could not be told apart. Let doughs share loads (shared_loads=True)."
        )
        raise DesignError(msg)
    if kitchen.loads_per_bake is not None and kitchen.loads_per_bake < kinds:
        msg = (
            f"{names} has {kinds} settings, and there is time for "
            f"{words.plural(kitchen.loads_per_bake, 'load')} a bake. Nearest: "
            f"{words.plural(kitchen.loads_per_bake, 'setting')}, or {kinds} loads."
        )
        raise DesignError(msg)
