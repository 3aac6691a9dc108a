"""What a plan will be able to show: "with five bakes you will notice 2.1 mm four times in five".

To notice is what the answers call a difference: its 95 % interval does not hold zero. One
pair of settings is looked at, protected for looking at all pairs (Tukey) as the answers are;
with given means of all settings, the F test of the whole factor. In closed form where the plan
is balanced, by refitting simulated trials with the kit's own engine elsewhere.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any, Literal

import numpy as np

from kit.analysis.grouping.mixing import TAKEN_ALIKE, mixed_by
from kit.analysis.verdict import MOST_DOUGHS
from kit.errors import DesignError, InputError, NotFoundError
from kit.given import as_number, as_whole
from kit.plan.designs.cautions import not_varied
from kit.plan.noticing.exact import Curve, Exact, between, critical, numbers_of, whole_factor
from kit.plan.noticing.noticed import Power, degrees
from kit.plan.noticing.rehearsal import Rehearsal, Sds, rehearse
from kit.plan.plan import Plan
from kit.plan.spread import Spread

__all__ = ["Power", "power"]

#: Where standard errors are reported no more than this much larger because variances are
#: estimated, a plan is all but balanced and the closed form close enough (tests/plan).
_NEARLY = 1.005
_WORST = (
    "not all settings are compared equally well in this plan; what is said is for the two that are "
    "compared worst"
)
_CHILLED = (
    "this holds where every dough is chilled: one that is not is shaped all at once, and its "
    "pieces proof alike"
)
#: What is taken where no bake has shown how they differ.
_ALIKE = {
    "mixing": TAKEN_ALIKE,
    "shaping": (
        "pieces of one dough that are shaped for the same proof count once. It was taken that such "
        "proofs come out alike; where one is better by itself, less will be noticed"
    ),
    "load": "it was taken that loads bake alike; where one is hotter, less will be noticed",
}
#: Trials simulated where no closed form holds, at most and at least.
_TRIALS, _FEWEST = 1000, 100
#: Trials times the square of the pieces: what is refitted in about half a minute.
_WORK = 1.5e8


def power(
    plan: Plan | None = None,
    of: str | None = None,
    *,
    settings: int = 2,
    bakes: int | None = None,
    doughs: int = 1,
    pieces: int = 6,
    decided: Literal["dough", "piece"] = "dough",
    sd_dough: float | None = None,
    sd_piece: float | None = None,
    sd_bake: float = 0.0,
    spread: Spread | None = None,
    outcome: str = "",
    matters: float | None = None,
    effects: Sequence[float] | None = None,
    chance: float = 0.8,
    alpha: float = 0.05,
    line: bool | None = None,
    simulate: int | None = None,
    seed: int = 1,
    progress: Callable[[int, int], None] | None = None,
    stop: Callable[[], bool] | None = None,
) -> Power:
    """What a plan will notice.

    Parameters
    ----------
    plan : Plan, optional
        A plan; or numbers, below.
    of : str, optional
        Which of its factors; the first when not given.
    settings : int
        How many are compared.
    bakes : int, optional
        Every setting in every bake; without it all doughs are of one session.
    doughs : int
        Doughs a setting (in each bake, when bakes are given); for ``decided="piece"`` doughs in
        all (in each bake).
    pieces : int
        Pieces a dough.
    decided : {"dough", "piece"}
        What a setting is given to.
    sd_dough, sd_piece, sd_bake : float
        The stated spread; or `spread`. The bake's cancels where every setting is in every bake.
    spread : Spread, optional
        From earlier bakes, with its own uncertainty (`Spread.from_bakes`).
    outcome : str
        Its column, for the unit.
    matters : float, optional
        The smallest difference the baker cares about.
    effects : sequence of float, optional
        True means of all settings: `chance` is then that of the whole factor's F test.
    chance : float
        The wanted one.
    alpha : float
        1 minus the level of the intervals.
    line : bool, optional
        Judge a numeric factor by a straight line from end to end; by itself for curves
        (composite, Box–Behnken, optimal) and for more than eight settings.
    simulate : int, optional
        Trials to simulate; by itself 1000 (fewer beyond some 400 pieces) where the plan is not
        even nearly balanced, else none. 0 takes the variances as known instead, at once.
    seed : int
        Of the simulation.
    progress : callable, optional
        Called with trials done and in all.
    stop : callable, optional
        When it returns True, what has been done so far is used.

    Raises
    ------
    DesignError
        The plan leaves nothing to judge by.
    InputError, NotFoundError
        An argument that cannot be used.

    Examples
    --------
    >>> found = power(bakes=5, sd_dough=1.0, sd_piece=1.5, outcome="rise_height_mm")
    >>> print(found.headline)  # doctest: +NORMALIZE_WHITESPACE
    With 5 bakes (10 doughs of 6 pieces), you will notice a difference of 2.8 mm between the two
    settings four times in five.
    """
    known = _spread(spread, sd_dough, sd_piece, sd_bake, outcome)
    _check(settings, bakes, doughs, pieces, decided, matters, effects, chance, alpha, simulate)
    settings, doughs, pieces = int(settings), int(doughs), int(pieces)
    bakes, matters = bakes and int(bakes), matters and float(matters)
    if plan is not None:
        if not isinstance(plan, Plan):
            raise InputError("plan", plan, "must be a Plan", "Make one with design().")
        return _of_plan(
            plan, of, known, matters, effects, chance, alpha, line, simulate, seed, progress, stop
        )
    if of is not None:
        raise InputError("of", of, "goes with a plan")
    means = () if effects is None else tuple(float(e) for e in effects)
    numbers = numbers_of(len(means) or settings, bakes, doughs, pieces, decided)
    if numbers.variance(known) == 0:
        remedy = "Without any spread the smallest difference is seen at once."
        raise InputError("sd_piece", known.piece, "must be above 0 inside doughs", remedy)
    weights = (0.0, 0.0, 1.0) if decided == "piece" else (0.0, 1.0, 1.0 / pieces)
    limit = critical(1 - alpha, numbers.df, numbers.settings)
    curve = Exact(numbers.se(known), numbers.df, limit, numbers.settings)
    found = _result(
        known, weights, curve, matters, chance, [], of="", unit=decided,
        settings=numbers.settings, bakes=bakes, doughs=numbers.doughs, pieces=pieces,
        alpha=alpha, df=numbers.df, se=curve.se, trials=0,
    )  # fmt: skip
    if not means:
        return found
    together = whole_factor(means, numbers.each, numbers.variance(known), numbers.df, 1 - alpha)
    return replace(found, effects=means, chance=together, chance_range=None, alike=None)


def _spread(
    spread: Spread | None, sd_dough: float | None, sd_piece: float | None, sd_bake: float,
    outcome: str,
) -> Spread:  # fmt: skip
    if spread is not None:
        if sd_dough is not None or sd_piece is not None:
            raise InputError("spread", spread, "goes without sd_dough and sd_piece")
        return spread if not outcome else replace(spread, outcome=outcome)
    for name, value in (("sd_dough", sd_dough), ("sd_piece", sd_piece)):
        if value is None:
            remedy = "Take it from a noise bake (Spread.from_bakes), or state a guess."
            raise InputError(name, None, "must be given, or spread", remedy)
    assert sd_dough is not None
    assert sd_piece is not None
    return Spread(sd_dough, sd_piece, sd_bake, outcome)


def _check(
    settings: int, bakes: int | None, doughs: int, pieces: int, decided: str,
    matters: float | None, effects: Sequence[float] | None, chance: float, alpha: float,
    simulate: int | None,
) -> None:  # fmt: skip
    for name, value, least in (
        ("settings", settings, 2), ("bakes", bakes, 1), ("doughs", doughs, 1),
        ("pieces", pieces, 1), ("simulate", simulate, 0),
    ):  # fmt: skip
        if value is None:
            continue
        whole = as_whole(value)
        if whole is None or not least <= whole <= 1_000_000:
            raise InputError(name, value, f"must be a whole number, {least} or more")
    if decided not in ("dough", "piece"):
        raise InputError("decided", decided, "must be 'dough' or 'piece'")
    if matters is not None and not 0 < (as_number(matters) or 0) < math.inf:
        raise InputError(
            "matters", matters, "must be above 0", "Give the smallest difference you care about."
        )
    if effects is not None:
        means = [float(e) for e in effects]
        if len(means) < 2 or not all(map(math.isfinite, means)):
            raise InputError("effects", list(effects), "must be two numbers or more")
    between("chance", chance)
    between("alpha", alpha)
    if alpha >= chance:
        raise InputError("chance", chance, f"must be above alpha, which is {alpha:g}")


def _of_plan(
    plan: Plan, of: str | None, spread: Spread, matters: float | None,
    effects: Sequence[float] | None, chance: float, alpha: float, line: bool | None,
    simulate: int | None, seed: int, progress: Callable[[int, int], None] | None,
    stop: Callable[[], bool] | None,
) -> Power:  # fmt: skip
    if not plan.factors:
        msg = (
            "a noise bake has no settings to tell apart; it is there to learn the spread "
            "(Spread.from_bakes), which power() then needs."
        )
        raise DesignError(msg)
    names = [f.quantity for f in plan.factors]
    of = names[0] if of is None else of
    if of not in names:
        raise NotFoundError("factor", of, names)
    if effects is not None:
        remedy = "Give settings, doughs and pieces."
        raise InputError("effects", list(effects), "goes with numbers, not with a plan", remedy)
    factor = plan.factors[names.index(of)]
    curved = plan.kind in ("composite", "box-behnken", "optimal") and factor.numeric
    if line is None and curved and plan.runs[of].nunique() > 2:
        line = True
    if line and not factor.numeric:
        raise InputError("line", line, f"needs numbers, and {of} holds words")
    others = [n for n in names if n != of]
    counts, mixing = plan.counts, mixed_by(*names)
    pieces = counts["piece"] / counts["dough"]
    seen = rehearse(plan.runs, of, others, line, mixing)
    if seen.unit not in ("piece", "load") and seen.least_df < 1:  # the answers refuse it as well
        unit = seen.unit if seen.unit in ("mixing", "shaping") else "dough"
        msg = (
            f"nothing is left over to judge {factor.name} by (0 degrees of freedom): the settings "
            f"use up every {unit}. Plan another bake, or fewer settings."
        )
        raise DesignError(msg)
    shared = spread.mixing or 0.0, spread.shaping or 0.0
    sds = Sds(spread.bake, spread.dough, 0.0, spread.piece, *shared)
    weights = _weights(seen, pieces)
    if mixing and seen.unit == "dough" and "mixing" not in seen.groups:  # each dough is a mixing
        sds = replace(sds, dough=math.hypot(sds.dough, sds.mixing))
        weights = (*weights, 1.0)
    known = seen.known(sds)
    se, df = known.se, known.df
    # the pairs of an even design tie up to rounding, and the approximation of the degrees of
    # freedom falls a little short for some of them: the one it is best for, not chance, decides
    worst = int(np.where(se >= se.max() * (1 - 1e-9), df, -np.inf).argmax())
    exact = seen.balance(sds) < 1e-6
    nearly = exact or float(known.widened.max()) <= _NEARLY
    trials = simulate if simulate is not None else 0 if nearly else _trials(len(plan.runs))
    curve: Curve
    if trials:
        curve = seen.simulate(sds, worst, trials, seed, 1 - alpha, progress, stop)
        trials = len(curve.errors)
    else:
        limit = critical(1 - alpha, float(df[worst]), seen.settings)
        curve = Exact(float(se[worst]), float(df[worst]), limit, seen.settings)
    uneven = not_varied(plan.factors) if factor.shaped_apart else []
    if factor.shaped_apart and "retard_hours" not in plan.runs:
        uneven.append(_CHILLED)
    uneven += [] if se.max() <= 1.05 * se.min() else [_WORST]
    return _result(
        spread, weights, curve, matters, chance, uneven, of=of, unit=seen.unit,
        settings=seen.settings, bakes=counts["bake"], doughs=counts["dough"], pieces=pieces,
        alpha=alpha, df=float(df[worst]), se=float(se[worst]), trials=trials, line=seen.line,
        _exact=exact, least_df=seen.least_df,
    )  # fmt: skip


def _trials(pieces: int) -> int:
    """Fewer trials of large plans; how sure the chance is then is said with it."""
    return int(min(_TRIALS, max(_FEWEST, _WORK / pieces**2)))


def _weights(seen: Rehearsal, pieces: float) -> tuple[float, ...]:
    """Which variances (bake, dough, piece, mixing, shaping) a difference rests on, by a unit."""
    if seen.unit in ("piece", "load"):
        return 0.0, 0.0, 1.0
    if seen.unit == "shaping":
        return 0.0, 0.0, seen.counts["shaping"] / seen.counts["piece"], 0.0, 1.0
    if seen.unit == "mixing":
        doughs = seen.counts["dough"] / seen.counts["mixing"]
        return 0.0, 1.0 / doughs, 1.0 / (doughs * pieces), 1.0
    return (1.0 if seen.alone or seen.unit == "bake" else 0.0), 1.0, 1.0 / pieces


def _result(
    spread: Spread, weights: tuple[float, ...], curve: Curve, matters: float | None,
    wanted: float, checks: list[str], least_df: float = 0.0, **facts: Any,
) -> Power:  # fmt: skip
    """What the curve tells, beside the facts of the plan: the fields of `Power` by name.

    `least_df` is what the units themselves leave over, 0 where that was not counted.
    """
    smallest = curve.smallest(wanted)
    low, high = spread.factors(weights)
    chance = chances = alike = None
    if matters is not None:
        chance, alike = curve.chance(matters), curve.alike(matters)
        chances = (curve.times(high).chance(matters), curve.times(low).chance(matters))
    doughs, unit, df = facts["doughs"], facts["unit"], facts["df"]
    checks = [*checks, *spread.checks]
    if doughs > MOST_DOUGHS and not facts["of"]:  # a plan says so itself
        checks.append(
            f"{doughs} doughs are more than a home series usually gets done (some 12 to "
            f"{MOST_DOUGHS}; experience, no source)"
        )
    if unit in _ALIKE and getattr(spread, unit, None) is None:
        checks.append(_ALIKE[unit])
    judged = min(df, least_df or df)
    if judged < 4 and (not facts["of"] or facts["line"]):  # but of a line
        checks.append(
            f"the spread from {unit} to {unit} will be judged by {degrees(judged)} only "
            "(comparisons left over to see the spread by); one more bake helps more than anything "
            "else"
        )
    return Power(
        spread=spread, chance_wanted=wanted, smallest=smallest,
        smallest_range=(smallest * low, smallest * high), matters=matters, chance=chance,
        chance_range=chances, alike=alike, effects=(), checks=tuple(checks),
        error=curve.error(wanted if chance is None else chance), _curve=curve, **facts,
    )  # fmt: skip
