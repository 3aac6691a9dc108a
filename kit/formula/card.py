"""A formula card: one printable page, complete in itself."""

from collections.abc import Sequence
from html import escape

from kit.errors import InputError
from kit.formula.allergens import allergen_sentences, may_spoil
from kit.formula.jsonld import shared_weights, to_jsonld
from kit.formula.numbers import grams, plain
from kit.formula.safety import GENERAL, SAFETY
from kit.formula.scaling import Batch
from kit.units import convert

__all__ = ["card", "ounces"]

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
