"""The weighing sheet: what the scale is to show for each ingredient of each dough.

All doughs of a sheet get the same weight of flour, rounded to the scale's step first; everything
else is a share of the flour as weighed. Where two planned doses of a factor may be the same in
truth, the sheet says so and offers the blend that keeps them apart.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

from kit.errors import InputError
from kit.formula.formula import Formula
from kit.formula.ingredient import Ingredient
from kit.formula.losses import Basis
from kit.formula.numbers import letters, short
from kit.formula.preblend import PreBlend, preblend
from kit.formula.rounding import Scales, round_to_step, round_up
from kit.formula.scaling import scale
from kit.formula.settings import check_named
from kit.formula.sheet import WeighingSheet, Weight, clashes
from kit.words import join

__all__ = ["weigh"]

#: roles that can be diluted in flour: dry and strong
_DILUTABLE = ("malt", "yeast", "salt", "other")
_OPEN = 'Set it for each dough: doughs=[{"malt_percent": 0.8}, …].'


def weigh(
    formula: Formula,
    doughs: Mapping[str, Mapping[str, object]] | Sequence[Mapping[str, object]] | None = None,
    *,
    flour_g: float | None = None,
    dough_g: float | None = None,
    pieces: int | None = None,
    raw_piece_g: float | None = None,
    baked_piece_g: float | None = None,
    dough_loss_percent: float = 0.0,
    bake_loss_percent: float | None = None,
    bake_loss_of: Basis = "dough",
    scale_step_g: float = 1.0,
    fine_step_g: float | None = None,
    fine_up_to_g: float = 50.0,
    use_blend: bool = False,
    scale_unit: str = "g",
) -> WeighingSheet:
    """Make the weighing sheet of one dough or several.

    Parameters
    ----------
    doughs : sequence or mapping of settings, optional
        One mapping a dough, such as ``{"malt_percent": 0.8}``, named A, B, C … unless a mapping
        names them. What no formula knows (``retard_hours``) only goes into the column's head.
        Without it, one dough as the formula stands.
    flour_g, dough_g, pieces, raw_piece_g, baked_piece_g, dough_loss_percent, bake_loss_percent, \
bake_loss_of
        Size of one dough, as in `kit.formula.scale`. All doughs get the flour that the leanest
        needs.
    scale_step_g : float
        Smallest change the scale shows.
    fine_step_g, fine_up_to_g : float
        A second, fine scale, and the most it carries.
    use_blend : bool
        Weigh doses that this scale cannot keep apart as a blend with flour.
    scale_unit : {"g", "oz"}
        What the scales show; everything else stays in grams.

    Raises
    ------
    InputError, NotFoundError
        A percentage still open, a setting or size that cannot be.

    Examples
    --------
    >>> bun = Formula.from_lines("Bun", [
    ...     ("flour", "flour", 100), ("water", "liquid", 60), ("malt", "malt", None)])
    >>> sheet = weigh(bun, [{"malt_percent": 0.5}, {"malt_percent": 2}], flour_g=400)
    >>> print(sheet)
    Bun: 400 g of flour a dough, on a scale in steps of 1 g.
                  A                     B
                  diastatic malt 0.5 %  diastatic malt 2 %
    flour         400 g                 400 g
    water         240 g                 240 g
    malt          2 g (0.38 to 0.63 %)  8 g (1.88 to 2.13 %)
    dough in all  642 g                 648 g
    Note: a step of 1 g is more than 2 % of malt: the range in brackets is what the dough really \
gets. Furthest off may be malt, 25 % of its 2 g; a finer scale or a larger dough narrows it.
    """
    scales = Scales(scale_step_g, fine_step_g, fine_up_to_g, scale_unit)
    named = _named(doughs)
    formulas = {code: formula.with_settings(settings) for code, settings in named.items()}
    for code, one in formulas.items():
        if one.open:
            names = join(i.short for i in one.open)
            where = f"dough {code}" if doughs is not None else ""
            raise InputError("percent", None, f"must not be empty: {names}", _OPEN, where)
    batches = [
        scale(
            one,
            flour_g=flour_g,
            dough_g=dough_g,
            pieces=pieces,
            raw_piece_g=raw_piece_g,
            baked_piece_g=baked_piece_g,
            dough_loss_percent=dough_loss_percent,
            bake_loss_percent=bake_loss_percent,
            bake_loss_of=bake_loss_of,
        )
        for one in formulas.values()
    ]
    flour = max(batch.flour_g for batch in batches)
    total = (round_up if pieces is not None else round_to_step)(flour, scale_step_g)
    if total <= 0:
        rule = f"is less than this scale can show, in steps of {scales.say(scale_step_g)}"
        remedy = f"The least it can weigh is {scales.say(scale_step_g)}."
        raise InputError("flour_g", flour, rule, remedy)
    while True:  # rounding may take half a step an ingredient away
        sheet = _sheet(formula, total, scales, named, formulas, use_blend)
        needed = zip(named, (batch.dough_g - 1e-9 for batch in batches), strict=True)
        if pieces is None or all(sheet.dough_g(code) >= least for code, least in needed):
            return sheet
        total = round_to_step(total + scale_step_g, scale_step_g)


def _sheet(
    formula: Formula,
    flour_g: float,
    scales: Scales,
    named: dict[str, Mapping[str, object]],
    formulas: dict[str, Formula],
    use_blend: bool,
) -> WeighingSheet:
    """The sheet of so much flour a dough."""
    weights = {code: _weights(code, one, flour_g, scales) for code, one in formulas.items()}
    every = tuple(w for one in weights.values() for w in one)
    sheet = WeighingSheet(formula, flour_g, scales, named, every, ())
    hard = dict.fromkeys(
        [pair[0].ingredient for pair in clashes(sheet)]
        + [one.ingredient for one in sheet.weights if one.vanishes]
    )
    blends = tuple(blend for name in hard if (blend := _blend(sheet, name, len(hard))) is not None)
    if use_blend and blends:
        mixed = [w for ws in weights.values() for w in _with_blends(ws, blends, flour_g, scales)]
        return replace(sheet, weights=tuple(mixed), blends=blends)
    return replace(sheet, blends=blends)


def _named(
    doughs: Mapping[str, Mapping[str, object]] | Sequence[Mapping[str, object]] | None,
) -> dict[str, Mapping[str, object]]:
    if doughs is None:
        return {"dough": {}}
    if isinstance(doughs, Mapping):
        named = {str(code): settings for code, settings in doughs.items()}
    elif isinstance(doughs, Sequence) and not isinstance(doughs, str):
        named = {letters(i): settings for i, settings in enumerate(doughs, start=1)}
    else:
        raise InputError("doughs", doughs, "must be one mapping of settings a dough", _OPEN)
    if not named:
        raise InputError("doughs", None, "must not be empty", "Leave it out for a single dough.")
    for code, settings in named.items():
        check_named(settings, "doughs", f"dough {code}")
    return named


def _weights(code: str, formula: Formula, flour_g: float, scales: Scales) -> list[Weight]:
    made = [_weight(code, one, flour_g, scales) for one in formula.of_role("flour")]
    # what is really in the bowl: several flours are rounded one by one
    basis = math.fsum(one.weigh_g for one in made)
    flours = {one.ingredient: one for one in made}
    return [
        flours.get(one.name) or _weight(code, one, basis or flour_g, scales)
        for one in formula.ingredients
    ]


def _weight(code: str, one: Ingredient, flour_g: float, scales: Scales) -> Weight:
    percent = one.percent or 0.0
    planned = percent * flour_g / 100
    step = scales.step_for(planned)
    shown = round_to_step(planned, step)
    half = step / 2 if percent else 0.0
    low, high = 100 * max(0.0, shown - half) / flour_g, 100 * (shown + half) / flour_g
    return Weight(code, one.name, one.role, percent, planned, shown, step, low, high)


def _blend(sheet: WeighingSheet, name: str, count: int) -> PreBlend | None:
    """Return the blend for one ingredient, one of `count` that share the largest flour."""
    rows = [one for one in sheet.weights if one.ingredient == name]
    if rows[0].role not in _DILUTABLE or max(one.percent for one in rows) == 0:
        return None
    doses = sorted({one.percent for one in rows})
    flour = max(one.percent or 0.0 for one in sheet.formula.of_role("flour"))
    try:
        return preblend(
            doses,
            sheet.flour_g,
            sheet.scales.step_g,
            ingredient=name,
            doughs_each=math.ceil(len(rows) / len(doses)),
            fine_step_g=sheet.scales.fine_step_g,
            fine_up_to_g=sheet.scales.fine_up_to_g,
            unit=sheet.scales.unit,
            most_of_flour_percent=0.75 * flour / count,
        )
    except InputError:  # too large a dose to be diluted: the note alone has to do
        return None


def _with_blends(
    weights: list[Weight], blends: tuple[PreBlend, ...], flour_g: float, scales: Scales
) -> list[Weight]:
    """Put the blends in place of what they dilute, and hold their flour back from the largest."""
    by_name = {blend.ingredient: blend for blend in blends}
    rows, held_back = [], 0.0
    for one in weights:
        blend = by_name.get(one.ingredient)
        if blend is None:
            rows.append(one)
            continue
        dose = next(d for d in blend.doses if d.percent == one.percent)
        held_back += dose.blend_g * blend.parts / (1 + blend.parts)
        rows.append(
            replace(
                one,
                ingredient=f"blend of {short(blend.ingredient)}, 1 part in {blend.parts + 1}",
                planned_g=dose.planned_g,
                weigh_g=dose.blend_g,
                step_g=dose.step_g,
                low_percent=dose.low_percent,
                high_percent=dose.high_percent,
            )
        )
    flour = max((w for w in rows if w.role == "flour"), key=lambda w: w.weigh_g)
    rest = flour.planned_g - held_back
    step = scales.step_for(rest)
    shown = round_to_step(rest, step)
    less = replace(
        flour,
        planned_g=rest,
        weigh_g=shown,
        step_g=step,
        low_percent=100 * (shown - step / 2 + held_back) / flour_g,
        high_percent=100 * (shown + step / 2 + held_back) / flour_g,
    )
    return [less if w is flour else w for w in rows]
