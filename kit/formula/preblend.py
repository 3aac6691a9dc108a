"""A diluted blend that keeps small doses apart: malt in flour, weighed in larger amounts.

One part of malt mixed with nine parts of flour makes a blend of which 20 g carry 2 g of malt. A
scale in steps of 1 g sees 20 g far better than 2 g. The flour in the blend is held back from the
dough's own flour, so the dough stays the same. Plain arithmetic; no source needed.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import pandas as pd

from kit.errors import InputError
from kit.formula.numbers import plain, required, short, weight, whole
from kit.formula.rounding import Achieved, Scales, round_to_step, round_up
from kit.shown import InLines
from kit.words import join

__all__ = ["BlendDose", "PreBlend", "preblend"]

#: parts of flour to one part of the strong stuff, strongest first: easy to weigh and remember
_PARTS = (1, 2, 4, 9, 19, 49, 99, 199, 499, 999)
#: the strong stuff is weighed for the blend in at least so many steps of the scale: ±5 % …
_LEAST_STEPS = 10
#: … and where doses lie close together in up to so many: ±0.25 %
_MOST_STEPS = 200
_SPARE = 1.1


@dataclass(frozen=True)
class BlendDose(Achieved):
    """What one planned dose means with the blend.

    Parameters
    ----------
    percent : float
        Planned, of the flour's weight.
    planned_g : float
        Blend to weigh, exact.
    blend_g : float
        Blend to weigh, as the scale shows it.
    plain_flour_g : float
        Flour to weigh besides: the blend's own flour is held back from it.
    step_g : float
        Of the scale the blend is weighed on.
    low_percent, high_percent : float
        Dose really achieved: half a step of the blend, and the blend itself as it was weighed.
    """

    percent: float
    planned_g: float
    blend_g: float
    plain_flour_g: float
    step_g: float
    low_percent: float
    high_percent: float


@dataclass(frozen=True)
class PreBlend(InLines):
    """A blend, and what to weigh of it for each dose.

    Parameters
    ----------
    ingredient : str
        What is diluted.
    flour_g : float
        Flour of one dough.
    parts : int
        Parts of flour to one part of the ingredient.
    strong_g, dilute_g : float
        What to mix: the ingredient, and the flour with it.
    share_low, share_high : float
        Grams of the ingredient in a gram of blend, as the scale leaves it open.
    doses : tuple of BlendDose
        By planned dose.
    doughs_each : int
        Doughs of each dose that the blend is enough for.
    unit : {"g", "oz"}
        What the scale shows.
    """

    ingredient: str
    flour_g: float
    parts: int
    strong_g: float
    dilute_g: float
    share_low: float
    share_high: float
    doses: tuple[BlendDose, ...]
    doughs_each: int
    unit: str = "g"

    @property
    def share(self) -> float:
        """Grams of the ingredient in a gram of blend, as mixed."""
        return 1 / (1 + self.parts)

    @property
    def apart(self) -> bool:
        """Whether no two doses can be the same in truth."""
        pairs = zip(self.doses, self.doses[1:], strict=False)
        return all(one.high_percent < other.low_percent for one, other in pairs)

    @property
    def coarse(self) -> bool:
        """Whether the scale's step is more than 2 % of the blend for some dose."""
        return any(one.coarse for one in self.doses)

    @property
    def used_g(self) -> float:
        """Blend that the doughs take."""
        return self.doughs_each * sum(one.blend_g for one in self.doses)

    @property
    def checks(self) -> tuple[str, ...]:
        """What to know before using it."""
        notes = []
        if not self.apart:
            notes.append(
                "even this blend does not keep all doses apart: choose doses further from each "
                "other, or a scale with a finer step"
            )
        if self.coarse:
            worst = min((d for d in self.doses if d.percent), key=lambda d: d.planned_g)
            notes.append(
                f"the smallest dose is {self._say(worst.blend_g)} of blend, so the scale's step is "
                "still more than 2 % of it; a thinner blend would need too much of the flour"
            )
        if self.strong_g + self.dilute_g > 5 * self.used_g:
            notes.append(
                f"the doughs use only {self._say(self.used_g)} of it; so much has to be made "
                f"because less {short(self.ingredient)} cannot be weighed well enough, which a "
                "finer scale changes"
            )
        return tuple(notes)

    def __repr__(self) -> str:
        word = "apart" if self.apart else "not apart"
        return f"<PreBlend {short(self.ingredient)} 1:{self.parts}, {len(self.doses)} doses {word}>"

    @property
    def recipe(self) -> str:
        """How to make the blend, in a sentence."""
        made = self._say(self.strong_g + self.dilute_g)
        spread = 100 * (self.share_high / self.share - 1)
        return (
            f"Blend: mix {self._say(self.strong_g)} {short(self.ingredient)} evenly into "
            f"{self._say(self.dilute_g)} flour. That makes {made}, one part in {self.parts + 1}; "
            f"its strength is known to within {plain(spread, 1)} %. Use the one blend for all "
            "doughs of the bake; for five bakes mix five times as much, which is known better, too."
        )

    def __str__(self) -> str:
        rows = [
            f"For {plain(one.percent, 4)} %: {self._say(one.blend_g)} blend and "
            f"{self._say(one.plain_flour_g)} flour, really {one.range_percent}."
            if one.percent
            else f"For 0 %: no blend and {self._say(one.plain_flour_g)} flour."
            for one in self.doses
        ]
        return "\n".join([self.recipe, *rows, *(f"Note: {check}." for check in self.checks)])

    def _say(self, weight_g: float) -> str:
        return weight(weight_g, self.unit)

    def to_frame(self) -> pd.DataFrame:
        """One row a dose, as in `BlendDose`, with `held_back_g`."""
        table = pd.DataFrame([vars(one) for one in self.doses]).drop(columns="planned_g")
        table.insert(3, "held_back_g", self.flour_g - table["plain_flour_g"])
        return table


def preblend(
    doses_percent: Iterable[float],
    flour_g: float,
    scale_step_g: float = 1.0,
    *,
    ingredient: str = "malt",
    doughs_each: int = 1,
    fine_step_g: float | None = None,
    fine_up_to_g: float = 50.0,
    most_of_flour_percent: float = 75.0,
    unit: str = "g",
) -> PreBlend:
    """Find the strongest blend of which every dose is weighed well and none meets another.

    Parameters
    ----------
    doses_percent : iterable of float
        Planned doses, of the flour's weight; 0 may be among them.
    flour_g : float
        All flours of one dough.
    scale_step_g : float
        Smallest change the scale shows.
    ingredient : str
        What is diluted.
    doughs_each : int
        How many doughs of each dose the blend is to be enough for; a tenth is added.
    fine_step_g, fine_up_to_g : float
        A second, fine scale and the most it carries.
    most_of_flour_percent : float
        The blend of the largest dose may be so much of the dough's flour.
    unit : {"g", "oz"}
        What the scale shows.

    Returns
    -------
    PreBlend
        Where no blend does all, the thinnest that fits, which then says what it does not do.

    Raises
    ------
    InputError
        No dose above 0, a value that cannot be, or doses too large to be diluted.

    Examples
    --------
    >>> blend = preblend([0, 0.4, 0.8, 1.2], flour_g=250)
    >>> blend
    <PreBlend malt 1:49, 4 doses apart>
    >>> print(blend)
    Blend: mix 10 g malt evenly into 490 g flour. That makes 500 g, one part in 50; its strength is known to within 5 %. Use the one blend for all doughs of the bake; for five bakes mix five times as much, which is known better, too.
    For 0 %: no blend and 250 g flour.
    For 0.4 %: 50 g blend and 201 g flour, really 0.38 to 0.42 %.
    For 0.8 %: 100 g blend and 152 g flour, really 0.76 to 0.84 %.
    For 1.2 %: 150 g blend and 103 g flour, really 1.14 to 1.26 %.
    """  # noqa: E501
    scales = Scales(scale_step_g, fine_step_g, fine_up_to_g, unit)
    flour = required("flour_g", flour_g, above=0, remedy="Enter the flour's weight in grams.")
    remedy = "Enter it in % of the flour."
    given = [
        required("doses_percent", one, low=0, high=100, remedy=remedy) for one in doses_percent
    ]
    doses = sorted(set(given))
    count = whole("doughs_each", doughs_each, remedy="Write 1, 2, 3 …")
    if not doses or doses[-1] == 0:
        rule = "holds no dose above 0"
        remedy = "There is nothing to dilute."
        raise InputError("doses_percent", join(map(plain, doses)) or None, rule, remedy)
    most_g = (
        flour * required("most_of_flour_percent", most_of_flour_percent, above=0, high=100) / 100
    )
    found = None
    for parts in _PARTS:
        if doses[-1] * flour / 100 * (1 + parts) > most_g * (1 + 1e-12):
            break
        made = list(_made(doses, flour, parts, scales, ingredient, count))
        found = next((one for one in made if one.apart), made[0])
        if found.apart and not found.coarse:
            break
    if found is None:
        rule = "is too large to be diluted in the dough's own flour"
        raise InputError("doses_percent", doses[-1], rule, "So much can be weighed as it is.")
    return found


def _made(
    doses: list[float], flour_g: float, parts: int, scales: Scales, ingredient: str, count: int
) -> Iterator[PreBlend]:
    """Blends of one strength, weighed ever more finely because more of it is made."""
    needed = _SPARE * count * sum(doses) * flour_g / 100
    steps = _LEAST_STEPS
    while True:
        wanted = max(needed, steps * scales.step_for(needed))
        step = scales.step_for(wanted)
        strong = round_up(wanted, step)
        half = step / 2
        whole_g = strong * (1 + parts)
        low, high = (strong - half) / whole_g, (strong + half) / whole_g
        made = tuple(_dose(one, flour_g, parts, scales, low, high) for one in doses)
        yield PreBlend(
            ingredient, flour_g, parts, strong, strong * parts, low, high, made, count, scales.unit
        )
        steps *= 2
        if steps > _MOST_STEPS:
            return


def _dose(
    percent: float, flour_g: float, parts: int, scales: Scales, share_low: float, share_high: float
) -> BlendDose:
    if percent == 0:
        return BlendDose(0.0, 0.0, 0.0, flour_g, scales.step_g, 0.0, 0.0)
    planned = percent * flour_g / 100 * (1 + parts)
    step = scales.step_for(planned)
    shown = round_to_step(planned, step)
    held_back = shown * parts / (1 + parts)
    rest = round_to_step(flour_g - held_back, scales.step_g)
    low = 100 * max(0.0, shown - step / 2) * share_low / flour_g
    high = 100 * (shown + step / 2) * share_high / flour_g
    return BlendDose(percent, planned, shown, rest, step, low, high)
