"""A trial's settings put into a formula: malt at 0.8 %, hydration at 75 %."""

import math
from collections.abc import Mapping
from dataclasses import replace

from kit import quantities
from kit.errors import InputError, NotFoundError
from kit.formula.ingredient import Ingredient
from kit.formula.numbers import plain, required
from kit.given import as_number
from kit.words import join

__all__ = [
    "ROLE_SETTINGS", "at_percents", "check_named", "hydration_percent", "put_all", "put_in",
]  # fmt: skip

Lines = tuple[Ingredient, ...]

#: setting -> the role whose ingredients it sets
ROLE_SETTINGS = {"malt_percent": "malt", "salt_percent": "salt", "yeast_percent": "yeast"}
_HYDRATION = "hydration_percent"


def at_percents(lines: Lines, percents: Mapping[str, float]) -> Lines:
    """Return the ingredients, some of them, by name, at other percentages."""
    return tuple(
        replace(one, percent=percents[one.name]) if one.name in percents else one for one in lines
    )


def hydration_percent(lines: Lines) -> float:
    """All water, that in milk, butter and egg included, in % of the flour's weight."""
    return math.fsum(
        one.percent * one.water.fraction
        for one in lines
        if one.percent is not None and one.role != "flour"
    )


def put_in(lines: Lines, name: str, value: object) -> Lines:
    """Return a formula's ingredients with one setting put in; see `Formula.with_setting`."""
    own = _own_ingredient(lines, name)
    if name == _HYDRATION:
        return _hydrated(lines, value)
    if name in ROLE_SETTINGS:
        return _role_set(lines, name, value)
    if own is not None:
        share = required(name, value, low=0, high=1000, remedy="Enter it in % of the flour.")
        return at_percents(lines, {own: share})
    known = [*ROLE_SETTINGS, _HYDRATION, *(one.name for one in lines)]
    raise NotFoundError("setting of a formula", name, known)


def put_all(lines: Lines, settings: Mapping[str, object]) -> Lines:
    """Return a formula's ingredients with a dough's settings put in, as `with_settings` does."""
    check_named(settings)
    # hydration last: the water that butter and egg bring has to stand by then
    for name in sorted(settings, key=lambda one: one == _HYDRATION):
        ours = name in ROLE_SETTINGS or name == _HYDRATION or _own_ingredient(lines, name)
        if not ours and quantities.find(name):
            continue
        lines = put_in(lines, name, settings[name])
    return lines


def check_named(settings: object, field: str = "settings", where: str = "") -> None:
    """Refuse what is no mapping of settings by name."""
    if not isinstance(settings, Mapping) or not all(isinstance(name, str) for name in settings):
        raise InputError(
            field, settings, "must be settings by name", 'Write {"malt_percent": 0.8}.', where
        )


def _own_ingredient(lines: Lines, name: str) -> str | None:
    """Name of the ingredient, not a flour, that a setting such as ``honey_percent`` means."""
    wanted = name.removesuffix("_percent").replace("_", " ").strip().lower()
    for one in lines:
        if one.role != "flour" and wanted == one.name.lower():
            return one.name
    return None


def _checked(name: str, value: object) -> float:
    quantity = quantities.get(name)
    low, high = quantity.possible
    usual = f"mostly it is {plain(quantity.usual[0])} to {plain(quantity.usual[1])} %"
    if name == "malt_percent":
        usual = "0.5 to 1 % is mostly named as the most"
    remedy = f"Enter {quantity.label.lower()} in %; {usual}."
    number = as_number(value)
    if number is not None and not low <= number <= high and number == number:
        nearest = plain(min(max(number, low), high))
        remedy = f"The nearest possible is {nearest}; {usual}."
    return required(name, value, low=low, high=high, remedy=remedy)


def _role_set(lines: Lines, name: str, value: object) -> Lines:
    share, role = _checked(name, value), ROLE_SETTINGS[name]
    ours = [one for one in lines if one.role == role]
    if not ours:
        if share == 0:
            return lines
        remedy = "Add one to it; its percentage may be left open."
        raise InputError(name, share, f"the formula has no ingredient of the role {role}", remedy)
    if len(ours) == 1:
        return at_percents(lines, {ours[0].name: share})
    total = sum(one.percent or 0.0 for one in ours)
    if total == 0 or any(one.percent is None for one in ours):
        rule = f"cannot be shared out between {join(one.name for one in ours)}"
        raise InputError(name, share, rule, "Set each of them by its own name.")
    return at_percents(lines, {one.name: share * (one.percent or 0.0) / total for one in ours})


def _hydrated(lines: Lines, value: object) -> Lines:
    wanted = _checked(_HYDRATION, value)
    liquids = [one for one in lines if one.role == "liquid"]
    if any(one.percent is None for one in liquids):
        if len(liquids) > 1:
            rule = f"cannot be shared out between {join(one.name for one in liquids)}"
            remedy = "Give all liquids but the one that is set; or set them by name."
            raise InputError(_HYDRATION, wanted, rule, remedy)
        lines = at_percents(lines, {liquids[0].name: 100.0})
        liquids = [one for one in lines if one.role == "liquid"]
    from_liquids = sum(one.water_percent for one in liquids)
    fixed = hydration_percent(lines) - from_liquids
    if wanted < fixed:
        remedy = "So much water comes with the other ingredients: lower those first."
        raise InputError(_HYDRATION, wanted, f"must be at least {plain(fixed, 1)}", remedy)
    if from_liquids <= 0:
        if abs(wanted - fixed) < 1e-9:
            return lines
        raise InputError(
            _HYDRATION, wanted, "the formula has no liquid to reach it with", "Add water to it."
        )
    times = (wanted - fixed) / from_liquids
    return at_percents(lines, {one.name: (one.percent or 0.0) * times for one in liquids})
