"""A trial's settings put into a formula: malt at 0.8 %, hydration at 75 %."""

from collections.abc import Mapping
from typing import TYPE_CHECKING

from kit import quantities
from kit.errors import InputError, NotFoundError
from kit.formula.numbers import plain, required
from kit.given import as_number
from kit.words import join

if TYPE_CHECKING:
    from kit.formula.formula import Formula

__all__ = ["ROLE_SETTINGS", "check_named", "put_all", "put_in"]

#: setting -> the role whose ingredients it sets
ROLE_SETTINGS = {"malt_percent": "malt", "salt_percent": "salt", "yeast_percent": "yeast"}
_HYDRATION = "hydration_percent"


def put_in(formula: "Formula", name: str, value: object) -> "Formula":
    """Return `formula` with one setting put in; see `Formula.with_setting`."""
    own = _own_ingredient(formula, name)
    if name == _HYDRATION:
        return _hydrated(formula, value)
    if name in ROLE_SETTINGS:
        return _role_set(formula, name, value)
    if own is not None:
        share = required(name, value, low=0, high=1000, remedy="Enter it in % of the flour.")
        return formula.with_percent(own, share)
    known = [*ROLE_SETTINGS, _HYDRATION, *(one.name for one in formula.ingredients)]
    raise NotFoundError("setting of a formula", name, known)


def put_all(formula: "Formula", settings: Mapping[str, object]) -> "Formula":
    """Return `formula` with a dough's settings put in; see `Formula.with_settings`."""
    check_named(settings)
    # hydration last: the water that butter and egg bring has to stand by then
    for name in sorted(settings, key=lambda one: one == _HYDRATION):
        ours = name in ROLE_SETTINGS or name == _HYDRATION or _own_ingredient(formula, name)
        if not ours and quantities.find(name):
            continue
        formula = put_in(formula, name, settings[name])
    return formula


def check_named(settings: object, field: str = "settings", where: str = "") -> None:
    """Refuse what is no mapping of settings by name."""
    if not isinstance(settings, Mapping) or not all(isinstance(name, str) for name in settings):
        raise InputError(
            field, settings, "must be settings by name", 'Write {"malt_percent": 0.8}.', where
        )


def _own_ingredient(formula: "Formula", name: str) -> str | None:
    """Name of the ingredient, not a flour, that a setting such as ``honey_percent`` means."""
    wanted = name.removesuffix("_percent").replace("_", " ").strip().lower()
    for one in formula.ingredients:
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


def _role_set(formula: "Formula", name: str, value: object) -> "Formula":
    share, role = _checked(name, value), ROLE_SETTINGS[name]
    lines = formula.of_role(role)
    if not lines:
        if share == 0:
            return formula
        remedy = "Add one to it; its percentage may be left open."
        raise InputError(name, share, f"the formula has no ingredient of the role {role}", remedy)
    if len(lines) == 1:
        return formula.with_percent(lines[0].name, share)
    total = sum(one.percent or 0.0 for one in lines)
    if total == 0 or any(one.percent is None for one in lines):
        rule = f"cannot be shared out between {join(one.name for one in lines)}"
        raise InputError(name, share, rule, "Set each of them by its own name.")
    return formula.with_percents({one.name: share * (one.percent or 0.0) / total for one in lines})


def _hydrated(formula: "Formula", value: object) -> "Formula":
    wanted = _checked(_HYDRATION, value)
    liquids = formula.of_role("liquid")
    if any(one.percent is None for one in liquids):
        if len(liquids) > 1:
            rule = f"cannot be shared out between {join(one.name for one in liquids)}"
            remedy = "Give all liquids but the one that is set; or set them by name."
            raise InputError(_HYDRATION, wanted, rule, remedy)
        formula = formula.with_percent(liquids[0].name, 100.0)
        liquids = formula.of_role("liquid")
    from_liquids = sum(one.water_percent for one in liquids)
    fixed = formula.hydration_percent - from_liquids
    if wanted < fixed:
        remedy = "So much water comes with the other ingredients: lower those first."
        raise InputError(_HYDRATION, wanted, f"must be at least {plain(fixed, 1)}", remedy)
    if from_liquids <= 0:
        if abs(wanted - fixed) < 1e-9:
            return formula
        raise InputError(
            _HYDRATION, wanted, "the formula has no liquid to reach it with", "Add water to it."
        )
    times = (wanted - fixed) / from_liquids
    return formula.with_percents({one.name: (one.percent or 0.0) * times for one in liquids})
