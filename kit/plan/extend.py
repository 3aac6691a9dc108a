"""A plan from chosen settings: the most informative ones, or those that add most to others."""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from kit import words
from kit.analysis.grouping.experiments import spare
from kit.analysis.grouping.mixing import shared_mixings
from kit.analysis.moments import Integers
from kit.errors import DataError, DesignError, InputError, NotFoundError
from kit.plan.designs.cautions import cautions
from kit.plan.designs.layout import Doughs, factors_in_order, lay_out
from kit.plan.designs.model import Model, ModelKind, make_model, setting_numbers
from kit.plan.designs.optimal import Chosen, Ratios, information, optimal
from kit.plan.designs.treatments import Asked, settings_of
from kit.plan.factors import Factor, Setting
from kit.plan.kitchen import Kitchen
from kit.plan.plan import Plan, decided_in_words
from kit.plan.spread import ASSUMED, Spread

__all__ = ["extend", "optimal_plan", "plan_of", "ratios_of"]


def extend(
    so_far: pd.DataFrame,
    factors: Sequence[Factor],
    kitchen: Kitchen,
    seed: int = 1,
    spread: Spread | None = None,
    model: ModelKind = "settings",
) -> Plan:
    """Choose the next doughs from what has been baked.

    Parameters
    ----------
    so_far : DataFrame
        One row a piece that counts: ``bake, dough`` and a column a factor. Leave out doughs
        that were lost; they are then made up for.
    factors : sequence of Factor
        Decided for doughs or pieces, with every setting that `so_far` has.
    kitchen : Kitchen
        What can be done now; ``bakes`` is the number of bakes to add.
    model : str
        What the trial is to tell apart: every setting for itself unless said otherwise.

    Returns
    -------
    Plan
        The new bakes only, numbered on; its checks speak of old and new together.

    Raises
    ------
    DataError, DesignError, InputError, NotFoundError
        The pieces so far do not fit the factors, or nothing useful can be added.
    """
    factors = [factors] if isinstance(factors, Factor) else list(factors)
    if not factors:
        msg = "there is no factor: name what the trial sets on purpose."
        raise DesignError(msg)
    loaded = [f.name for f in factors if f.level == "load"]
    if loaded:
        msg = f"{words.join(loaded)} is decided for whole loads: plan a new trial with design()."
        raise DesignError(msg)
    known = _checked(so_far, factors)
    kitchen, notes = kitchen.fitted()
    rng = np.random.default_rng(seed)
    columns = make_model(factors, model)
    chosen = setting_numbers(known, {f.quantity: f.settings for f in factors})
    ratios = ratios_of(spread)
    before = information(
        columns.rows(chosen),
        known.groupby("bake").ngroup().to_numpy(),
        known.groupby(["bake", "dough"]).ngroup().to_numpy(),
        ratios,
    )
    shape = (kitchen.bakes, kitchen.doughs, kitchen.pieces_per_dough)
    found = optimal(factors, columns, shape, ratios, rng, before)
    kind = "optimal" if model in ("quadratic", "pairs", "main") else "blocks"
    return plan_of(
        factors, kitchen, found.settings, kind, columns, notes, spread, seed, rng,
        _next_number(known["bake"]), known,
    )  # fmt: skip


def _checked(so_far: pd.DataFrame, factors: Sequence[Factor]) -> pd.DataFrame:
    wanted = ["bake", "dough", *(f.quantity for f in factors)]
    for column in wanted:
        if column not in so_far.columns:
            raise NotFoundError("column", column, map(str, so_far.columns))
    if so_far.empty:
        msg = "nothing has been baked yet: plan the trial with design()."
        raise DataError(msg)
    known = so_far[wanted]
    missing = known.isna().any(axis=1)
    if missing.any():
        column = known.columns[known.isna().any()][0]
        msg = (
            f"{column} is missing for {words.plural(int(missing.sum()), 'piece')}: fill it in, or "
            "leave those pieces out."
        )
        raise DataError(msg)
    for factor in factors:
        for value in known[factor.quantity].unique():
            if value not in factor.settings:
                rule = "is not among the settings planned on"
                remedy = f"Add it to the settings {factor.settings}."
                raise InputError(factor.quantity, value, rule, remedy, "pieces so far")
        if factor.level == "dough":
            per_dough = known.groupby(["bake", "dough"])[factor.quantity].nunique()
            if per_dough.max() > 1:
                bake, dough = per_dough.index[int(per_dough.to_numpy().argmax())]
                msg = (
                    f"dough {dough} of bake {bake} has several settings of {factor.name}, which "
                    "is decided for a whole dough. Correct it, or say decided='shaping'."
                )
                raise DataError(msg)
    return known.reset_index(drop=True)


def _next_number(bakes: pd.Series) -> int:
    """One more than the largest number among the bakes' names."""
    numbers = [int(n) for name in bakes.unique() for n in [str(name)] if n.isdigit()]
    return max(numbers, default=bakes.nunique()) + 1


def optimal_plan(
    factors: list[Factor], asked: Asked, notes: list[str], kind: ModelKind | None,
    spread: Spread | None, rng: np.random.Generator, seed: int,
) -> Plan:  # fmt: skip
    """The most informative plan, or the nearest one with a simpler question."""
    if asked.loaded:
        msg = (
            f"{words.join(f.name for f in asked.loaded)} is decided for whole loads, which an "
            "optimal plan does not choose. Nearest: kind='factorial'."
        )
        raise DesignError(msg)
    kitchen = asked.kitchen
    tries: list[ModelKind] = [kind] if kind else ["quadratic", "pairs", "main"]
    for n, one in enumerate(tries):
        model = make_model(factors, one)
        shape = (kitchen.bakes, kitchen.doughs, kitchen.pieces_per_dough)
        try:
            found = optimal(factors, model, shape, ratios_of(spread), rng)
            _within_bakes(model, found, kitchen)
            break
        except DesignError:
            if n == len(tries) - 1:
                raise
    if n:
        notes = [*notes, _simpler(one)]
    return plan_of(factors, kitchen, found.settings, "optimal", model, notes, spread, seed, rng)


def _within_bakes(model: Model, found: Chosen, kitchen: Kitchen) -> None:
    """Refuse a choice that rests on comparing one bake with another.

    Raises
    ------
    DesignError
        An effect is one with the bakes.
    """
    if kitchen.doughs == 1:
        return  # then nothing else can be compared; the cautions say so
    bakes = len(found.settings)
    rows = model.rows(found.settings.reshape(-1, found.settings.shape[-1]))
    blocks = np.repeat(np.eye(bakes), len(rows) // bakes, axis=0)
    if (
        np.linalg.matrix_rank(np.hstack([blocks, rows[:, 1:]]), tol=1e-6)
        < bakes + rows.shape[1] - 1
    ):
        msg = (
            f"{words.plural(bakes, 'bake')} of {words.plural(kitchen.doughs, 'dough')} cannot tell "
            f"{', '.join(name for name, _, _ in model.terms())} apart from the bakes. Ask about "
            "fewer factors or settings, or plan more doughs a bake."
        )
        raise DesignError(msg)


def _simpler(kind: ModelKind) -> str:
    left = "bends" if kind == "pairs" else "bends and what factors do together"
    return f"there are too few doughs for {left}: planned for the rest only"


def ratios_of(spread: Spread | None) -> Ratios:
    """Variances in terms of the pieces'; without any knowledge the assumed ones.

    Bakes are never taken as alike: a bake spread that was not stated, or was estimated as zero
    from a few bakes, must not lead to comparisons between bakes.
    """
    known = spread or ASSUMED
    piece = max(known.piece, 1e-3 * (known.dough + known.bake + known.piece)) ** 2
    bake = max(known.bake, 2 * known.dough, known.piece)
    return Ratios(known.dough**2 / piece, bake**2 / piece)


def plan_of(
    factors: list[Factor], kitchen: Kitchen, chosen: Integers, kind: str, model: Model,
    notes: list[str], spread: Spread | None, seed: int, rng: np.random.Generator,
    first_bake: int = 1, before: pd.DataFrame | None = None,
) -> Plan:  # fmt: skip
    """Lay out chosen settings, shape (bakes, doughs, pieces, k)."""
    whole = [i for i, f in enumerate(factors) if f.level == "dough"]
    single = [i for i, f in enumerate(factors) if f.level != "dough"]

    def numbered(which: list[int]) -> tuple[Integers, list[dict[str, Setting]]]:
        if not which:
            return np.zeros(chosen.shape[:3], dtype=np.int64), [{}]
        flat = chosen[..., which].reshape(-1, len(which))
        points, number = np.unique(flat, axis=0, return_inverse=True)
        mine = [factors[i] for i in which]
        return number.reshape(chosen.shape[:3]), settings_of(mine, points)

    in_dough, dough_settings = numbered(whole)
    in_piece, piece_settings = numbered(single)
    bakes = [Doughs(in_dough[b, :, 0], in_piece[b]) for b in rng.permutation(len(chosen))]
    runs = lay_out(bakes, dough_settings, piece_settings, [], kitchen, rng, first_bake)
    runs = factors_in_order(runs, factors)
    every = runs if before is None else pd.concat([before, runs], ignore_index=True)
    df = _left_by(model, factors, every) if kind == "optimal" else None
    said = cautions(kind, factors, every, spread is not None, df)
    return Plan(
        kind=kind,
        factors=tuple(factors),
        kitchen=kitchen,
        runs=runs,
        seed=seed,
        checks=(*notes, *said, *shared_mixings(runs)),
        notes=(*_added(before), *map(decided_in_words, factors)),
    )


def _added(before: pd.DataFrame | None) -> list[str]:
    """What a trial under way has already."""
    if before is None:
        return []
    doughs = len(before[["bake", "dough"]].drop_duplicates())
    bakes = words.plural(before["bake"].nunique(), "bake")
    return [f"Added to {words.plural(doughs, 'dough')} on {bakes}, where they tell most"]


def _left_by(model: Model, factors: Sequence[Factor], runs: pd.DataFrame) -> int:
    """Degrees of freedom left between doughs (between pieces where no dough differs)."""
    whole = any(f.level == "dough" for f in factors)
    units = runs.drop_duplicates(["bake", "dough"]) if whole else runs
    block = units.groupby("bake" if whole else ["bake", "dough"]).ngroup().to_numpy()
    # where doughs are told apart, pieces' settings are in no term that counts
    chosen = setting_numbers(units, {f.quantity: f.settings for f in factors})
    mine = [
        model.columns(chosen, term, bend)
        for _, term, bend in model.terms()
        if not whole or all(factors[i].level == "dough" for i in term)
    ]
    return spare(np.hstack(mine), [block, np.arange(len(units))])
