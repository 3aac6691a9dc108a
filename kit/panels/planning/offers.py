"""What the plan panel offers to choose from: what can be set, what can answer, known spreads."""

from kit import quantities, words
from kit.errors import KitError
from kit.plan.spread import Spread
from kit.quantities import Quantity
from kit.workspace import Workspace

__all__ = ["can_answer", "can_be_set", "example", "named", "spreads_of"]


def can_be_set(quantity: Quantity) -> bool:
    """What a baker can decide; the rest is measured."""
    decided = ("ball_weight_g", "proof_ratio", "side_minutes", "extra_flips", "griddle_temp_c")
    measured = ("malt_lintner", "dough_temp_c", "proof_minutes")
    if quantity.formula is not None:
        return False
    return quantity.name in decided or (quantity.level == "dough" and quantity.name not in measured)


def can_answer(quantity: Quantity) -> bool:
    """What is measured on a piece."""
    return quantity.level == "piece" and not can_be_set(quantity)


def spreads_of(workspace: Workspace, outcome: str, own: str = "") -> dict[str, Spread]:
    """What earlier trials tell about an outcome's spread, by how it is offered, the best first.

    The trial's own comes first, then other trials', invented ones last.

    Parameters
    ----------
    workspace : Workspace
    outcome : str
    own : str
        Name of the trial that is planned.
    """
    found = {}
    for trial in sorted(workspace.trials(), key=lambda one: (one.name != own, one.invented)):
        try:
            spread = trial.spread(outcome)
        except KitError:
            continue  # too little was baked: there is nothing to offer
        mark = " (invented)" if trial.invented else ""
        found[f"as in {trial.name}{mark}"] = spread
    return found


def named(factor: str, outcome: str) -> tuple[str, str]:
    """A trial's name and question for who has written none; `factor` is empty for no change.

    Examples
    --------
    >>> named("retard_hours", "rise_height_mm")
    ('cold retard', 'Does cold retard change height?')
    """
    if not factor:
        return "same recipe", f"How much does {words.name(outcome)} differ from dough to dough?"
    return words.name(factor), f"Does {words.name(factor)} change {words.name(outcome)}?"


def example(factor: str) -> str:
    """Two settings as one writes them, from the middle of what is usual.

    Examples
    --------
    >>> example("retard_hours")
    '24 or 48 h'
    """
    known = quantities.get(factor)
    low, high = known.usual
    two = (float(f"{low + share * (high - low):.2g}") for share in (1 / 3, 2 / 3))
    return f"{' or '.join(f'{value:g}' for value in two)} {known.unit}".strip()
