"""The next bake of a trial under way: the doughs that add most to what has been baked."""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from kit.analysis import words
from kit.errors import DataError, DesignError, InputError, NotFoundError
from kit.plan.choice import plan_of, ratios_of
from kit.plan.factors import Factor
from kit.plan.kitchen import Kitchen
from kit.plan.model import ModelKind, make_model, setting_numbers
from kit.plan.optimal import information, optimal
from kit.plan.plan import Plan
from kit.plan.spread import Spread

__all__ = ["extend"]


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
                raise InputError(
                    factor.quantity, value, "is not among the settings planned on",
                    f"Add it to the settings {factor.settings}.", "pieces so far",
                )  # fmt: skip
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
