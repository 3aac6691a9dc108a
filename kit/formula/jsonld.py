"""A formula as a schema.org Recipe, for search engines and recipe programs.

Terms: schema.org/Recipe, with `recipeIngredient`, `recipeInstructions` as HowToStep,
`recipeYield`, and `prepTime`, `cookTime`, `totalTime` as ISO 8601 durations.
"""

import json
from collections.abc import Sequence
from typing import Any

from kit.errors import InputError
from kit.formula.numbers import grams, required
from kit.formula.rounding import Scales, round_to_step
from kit.formula.scaling import Batch

__all__ = ["duration", "safe_json", "shared_weights", "to_jsonld"]


def to_jsonld(
    batch: Batch,
    *,
    steps: Sequence[str] = (),
    prep_minutes: float | None = None,
    wait_minutes: float | None = None,
    cook_minutes: float | None = None,
    author: str = "",
) -> str:
    """Write a scaled formula as JSON-LD, safe inside a ``<script>`` element.

    Parameters
    ----------
    batch : Batch
        What `kit.formula.scale` gives.
    steps : sequence of str
        Instructions, in order.
    prep_minutes, cook_minutes : float, optional
        Hands at work; time on the griddle.
    wait_minutes : float, optional
        Retard and proof: part of the total time, of neither of the other two.
    author : str
        Left out when empty.

    Returns
    -------
    str
        JSON. The characters ``<``, ``>`` and ``&`` are written as escapes.

    Raises
    ------
    InputError
        A percentage still open, a time below 0.

    Examples
    --------
    >>> from kit.formula.formula import Formula
    >>> from kit.formula.scaling import scale
    >>> bun = Formula.from_lines("Bun", [("flour", "flour", 100), ("water", "liquid", 60)])
    >>> print(to_jsonld(scale(bun, flour_g=500), prep_minutes=20, cook_minutes=14))
    {
      "@context": "https://schema.org",
      "@type": "Recipe",
      "name": "Bun",
      "recipeIngredient": [
        "500 g flour",
        "300 g water"
      ],
      "prepTime": "PT20M",
      "cookTime": "PT14M",
      "totalTime": "PT34M"
    }
    """
    listed = isinstance(steps, Sequence) and not isinstance(steps, str)
    if not listed or not all(isinstance(step, str) for step in steps):
        rule = "must be a list of texts, a step each"
        raise InputError("steps", steps, rule, 'Write ["Mix.", "Bake."].')
    if not isinstance(author or "", str):
        raise InputError("author", author, "must be a text", "Leave it out where none is told.")
    recipe: dict[str, Any] = {
        "@context": "https://schema.org",
        "@type": "Recipe",
        "name": batch.formula.name,
        "description": batch.formula.note,
        "author": {"@type": "Person", "name": author} if author else "",
        "recipeYield": _yield(batch),
        "recipeIngredient": _ingredients(batch),
        "recipeInstructions": [{"@type": "HowToStep", "text": step} for step in steps],
    }
    given = {"prep": prep_minutes, "wait": wait_minutes, "cook": cook_minutes}
    minutes = {
        name: required(f"{name}_minutes", value, low=0, remedy="Enter minutes.")
        for name, value in given.items()
        if value is not None
    }
    for name in ("prep", "cook"):
        recipe[f"{name}Time"] = duration(minutes[name]) if name in minutes else ""
    whole_time = "prep" in minutes and "cook" in minutes
    recipe["totalTime"] = duration(sum(minutes.values())) if whole_time else ""
    return safe_json({key: value for key, value in recipe.items() if value})


def duration(minutes: float) -> str:
    """Write minutes as an ISO 8601 duration in hours and minutes.

    Examples
    --------
    >>> duration(95), duration(2400), duration(0)
    ('PT1H35M', 'PT40H', 'PT0M')
    """
    number = round(required("minutes", minutes, low=0, remedy="Enter minutes."))
    hours, rest = divmod(number, 60)
    text = (f"{hours}H" if hours else "") + (f"{rest}M" if rest else "")
    return f"PT{text or '0M'}"


def safe_json(value: object) -> str:
    """Write JSON that no HTML parser can break out of."""
    text = json.dumps(value, ensure_ascii=False, indent=2, allow_nan=False)
    for sign in "<>&\u2028\u2029":
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return text


def shared_weights(batch: Batch) -> dict[str, float]:
    """Grams of each ingredient as a page tells them: whole ones, up to 50 g tenths."""
    scales = Scales(1.0, fine_step_g=0.1)
    return {n: round_to_step(g, scales.step_for(g)) for n, g in batch.weights_g.items()}


def _ingredients(batch: Batch) -> list[str]:
    if batch.formula.open:
        raise InputError(
            "percent",
            None,
            "must not be empty",
            "Set it before sharing: formula.with_setting('malt_percent', 0.8).",
            batch.formula.open[0].short,
        )
    shown, weights = shared_weights(batch), batch.weights_g
    return [f"{grams(shown[name])} {name}" for name, g in weights.items() if g > 0]


def _yield(batch: Batch) -> str:
    if batch.pieces is None:
        return ""
    return "1 piece" if batch.pieces == 1 else f"{batch.pieces} pieces"
