"""A formula to share: a printable page, complete in itself, and a schema.org Recipe for programs.

Terms: schema.org/Recipe, with `recipeIngredient`, `recipeInstructions` as HowToStep,
`recipeYield`, and `prepTime`, `cookTime`, `totalTime` as ISO 8601 durations.
"""

import json
from collections.abc import Sequence
from html import escape
from typing import Any

from kit.errors import InputError
from kit.formula.allergens import allergen_sentences, may_spoil
from kit.formula.numbers import grams, plain, required
from kit.formula.rounding import Scales, round_to_step
from kit.formula.safety import GENERAL, SAFETY
from kit.formula.scaling import Batch
from kit.units import convert

__all__ = ["card", "duration", "ounces", "safe_json", "shared_weights", "to_jsonld"]


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
        remedy = "Set it before sharing: formula.with_setting('malt_percent', 0.8)."
        raise InputError("percent", None, "must not be empty", remedy, batch.formula.open[0].short)
    shown, weights = shared_weights(batch), batch.weights_g
    return [f"{grams(shown[name])} {name}" for name, g in weights.items() if g > 0]


def _yield(batch: Batch) -> str:
    if batch.pieces is None:
        return ""
    return "1 piece" if batch.pieces == 1 else f"{batch.pieces} pieces"


_STYLE = """
:root { color-scheme: light; --ink: #222; --soft: #555; --rule: #c9c5bd; }
* { box-sizing: border-box; }
body { margin: 0 auto; padding: 1.5rem 1.25rem; max-width: 40rem; background: #fff;
  color: var(--ink); font: 1rem/1.5 "Helvetica Neue", Helvetica, Arial, "Liberation Sans",
  sans-serif; overflow-wrap: break-word; }
h1 { font-size: 1.6rem; line-height: 1.2; margin: 0 0 .3rem; }
h2 { font-size: 1.05rem; margin: 1.4rem 0 .4rem; }
p, li { margin: 0 0 .4rem; }
.lead, .small { color: var(--soft); }
.small { font-size: .85rem; }
ol, ul { margin: 0; padding-left: 1.3rem; }
.wide { overflow-x: auto; }
table { border-collapse: collapse; width: 100%; margin: 1rem 0 .6rem;
  font-variant-numeric: tabular-nums; }
th, td { text-align: left; padding: .35rem .8rem .35rem 0; border-bottom: 1px solid var(--rule);
  font-weight: 400; vertical-align: baseline; }
thead th, tfoot th, tfoot td { font-weight: 600; }
.n { text-align: right; white-space: nowrap; }
th:last-child, td:last-child { padding-right: 0; }
@media (max-width: 30rem) { table { font-size: .9rem; } .n { white-space: normal; }
  th, td { padding-right: .4rem; } }
@media print { body { max-width: none; padding: 0; font-size: 11pt; }
  h2 { break-after: avoid; } tr, li { break-inside: avoid; } }
@page { margin: 16mm; }
"""


def card(
    batch: Batch,
    *,
    steps: Sequence[str] = (),
    prep_minutes: float | None = None,
    wait_minutes: float | None = None,
    cook_minutes: float | None = None,
    author: str = "",
) -> str:
    """Make the card: ingredients in %, grams and ounces, steps, allergens, cautions.

    Parameters
    ----------
    batch : Batch
        What `kit.formula.scale` gives.
    steps, prep_minutes, wait_minutes, cook_minutes, author
        As in `to_jsonld`, which the page carries too. Ounces are those of the grams shown.

    Returns
    -------
    str
        An HTML document that asks the network for nothing. What was typed is escaped.

    Raises
    ------
    InputError
        A percentage still open, a time below 0.
    """
    formula = batch.formula
    jsonld = to_jsonld(
        batch, steps=steps, prep_minutes=prep_minutes, wait_minutes=wait_minutes,
        cook_minutes=cook_minutes, author=author,
    )  # fmt: skip
    shown = shared_weights(batch)
    rows = "".join(
        f'<tr><th scope="row">{escape(one.name)}</th><td class="n">{plain(one.percent or 0.0)}</td>'
        f'<td class="n">{grams(shown[one.name])}</td>'
        f'<td class="n">{ounces(shown[one.name])}</td></tr>\n'
        for one in formula.ingredients
        if one.percent
    )
    total = sum(shown.values())
    listed = "".join(f"<li>{escape(step)}</li>\n" for step in steps)
    times = {"Hands at work": prep_minutes, "Waiting": wait_minutes, "Griddle": cook_minutes}
    took = "; ".join(f"{n}: {_clock(m)}" for n, m in times.items() if m is not None)
    makes = batch.outcome if batch.pieces else f"{batch.asked}. {batch.outcome}"
    parts = [
        f"<h1>{escape(formula.name)}</h1>",
        f'<p class="lead">{escape(makes)}</p>',
        f"<p>By {escape(author)}.</p>" if author else "",
        '<div class="wide"><table>\n<thead><tr><th scope="col">Ingredient</th>'
        '<th scope="col" class="n">% of flour</th><th scope="col" class="n">Metric</th>'
        '<th scope="col" class="n">Ounces</th></tr></thead>\n'
        f"<tbody>\n{rows}</tbody>\n"
        f'<tfoot><tr><th scope="row">In all</th><td class="n">{plain(formula.total_percent)}</td>'
        f'<td class="n">{grams(total)}</td><td class="n">{ounces(total)}</td></tr></tfoot>\n'
        "</table></div>",
        f"<p>{escape(formula.summary)}</p>",
        f"<p>{escape(formula.note)}</p>" if formula.note else "",
        f"<p>{took}.</p>" if took else "",
        f"<h2>Steps</h2>\n<ol>\n{listed}</ol>" if steps else "",
        "<h2>Allergens</h2>",
        *(f"<p>{escape(sentence)}</p>" for sentence in allergen_sentences(formula)),
        "<h2>Cautions</h2>\n<ul>\n" + "".join(f"<li>{one}</li>\n" for one in _cautions(batch)),
        f'</ul>\n<p class="small">{GENERAL}</p>',
    ]
    body = "\n".join(part for part in parts if part)
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(formula.name)}</title>\n<style>{_STYLE}</style>\n"
        f'<script type="application/ld+json">{jsonld}</script>\n</head>\n'
        f"<body>\n<main>\n{body}\n</main>\n</body>\n</html>\n"
    )


def ounces(weight_g: float) -> str:
    """Write a weight in pounds and ounces: hundredths, and thousandths below an ounce.

    Examples
    --------
    >>> ounces(500), ounces(2), ounces(140), ounces(28.3495 * 16)
    ('1 lb 1.64 oz', '0.071 oz', '4.94 oz', '1 lb')
    """
    if weight_g < 0:
        raise InputError("weight_g", weight_g, "must be at least 0", "Enter a weight in grams.")
    whole = round(convert(weight_g, "g", "oz"), 2)
    if whole < 1:
        return f"{plain(convert(weight_g, 'g', 'oz'), 3)} oz"
    pounds, rest = divmod(whole, 16)
    if pounds and round(rest, 2) == 0:
        return f"{int(pounds)} lb"
    return (f"{int(pounds)} lb " if pounds else "") + f"{plain(rest)} oz"


def _cautions(batch: Batch) -> list[str]:
    """What the kit cautions of and this dough is about; its allergens are listed by themselves."""
    wet = may_spoil(batch.formula)
    return [
        escape(f"{name}: {text}{f' ({source}.)' if source else ''}")
        for name, text, source in SAFETY
        if name != "Allergens" and (wet or not name.startswith("Milk"))
    ]


def _clock(minutes: float) -> str:
    hours, rest = divmod(round(minutes), 60)
    return " ".join([f"{hours} h"] * bool(hours) + [f"{rest} min"] * bool(rest or not hours))
