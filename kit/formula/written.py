"""Formulas as people write them: one ingredient a line, its share or its weight beside it."""

import re
from decimal import Decimal

from kit.errors import InputError
from kit.formula.formula import Formula
from kit.formula.ingredient import ROLES, Ingredient
from kit.units import parse, unfold, unit_names

__all__ = ["read_formula", "write_formula"]

#: words that tell a role, the first that fits counts: "malt flour" and "malt powder" are malt,
#: "milk powder" is no liquid, "barley malt syrup" sweetens
_WORDS = (
    ("sugar", r"sugar|honey|syrup|treacle|molasses"),
    ("malt", r"malt"),
    ("other", r"powder|seeds?|raisins?|cheese|improver|gluten|starch|baking soda|bicarbonate"),
    ("yeast", r"yeast"),
    ("flour", r"flour|semolina|meal|bran|spelt|rye|wheat"),
    ("fat", r"butter(?!milk)|oil|fat|lard|margarine|shortening|ghee"),
    ("egg", r"eggs?|yolks?"),
    ("salt", r"salt"),
    ("liquid", r"water|milk|buttermilk|whey|yogh?urt|cream|beer|juice|liquid"),
)
_LINE = "Write one ingredient a line with its share of the flour: bread flour 100, water 60 …"
#: 3 1/2, 1/4, 62,5, .2
_NUMBER = r"(?:(?<!\w)\d+[\s-]+\d+\s*/\s*\d+|\d+\s*/\s*\d+|\d[\d.,]*\d|\d|(?<!\d)[.,]\d+)"
_UNIT = "|".join(map(re.escape, unit_names("mass", "volume", "percent")))
_WEIGHT = "|".join(map(re.escape, unit_names("mass", "volume")))
_WITH_UNIT = rf"{_NUMBER}\s*(?:{_UNIT})(?!\w)\.?"
#: lines end at a line break, a semicolon, or a comma behind an amount
_BETWEEN = re.compile(rf"[\n;]+|(?P<amount>{_WITH_UNIT}|\d\.?|\?)\s*,\s*(?=[^\W\d])", re.IGNORECASE)
#: one amount, or a compound one: 1 lb 2 oz
_AMOUNT = re.compile(
    rf"[-+]?(?:{_NUMBER}\s*(?P<first>{_WEIGHT})(?!\w)\.?\s+)*{_NUMBER}(?:\s*(?P<unit>{_UNIT})(?!\w)\.?)?",
    re.IGNORECASE,
)
#: a number that stands by itself before or behind a name
_SPARE = re.compile(r"^\d[\d.,]*(?=\s)|(?<=\s)\d[\d.,]*$")


def read_formula(name: str, text: str, note: str = "") -> Formula:
    r"""Read a formula written as text.

    Parameters
    ----------
    name : str
        What it makes.
    text : str
        One ingredient a line: its name and its percentage of the flour, ``whole milk 20``, or
        all in weights with their unit, ``bread flour 250 g`` or ``1 lb 2 1/2 oz``. A question
        mark in place of the number leaves it to the trial. What the name does not tell stands in
        brackets: ``rapeseed oil 3 (fat)``. Lines that begin with # are passed over.
    note : str
        Anything.

    Raises
    ------
    InputError
        A line that cannot be read or has two amounts or numbers, a measure of volume, weights
        beside percentages, flours that do not make 100.

    Examples
    --------
    >>> print(read_formula("Bun", "bread flour 250 g\nwater 150 g\nsalt 5 g"))
    Bun
      100 %  bread flour
       60 %  water
        2 %  salt
    In all 162 % of the flour's weight; hydration 60 %.
    >>> read_formula("Bun", "flour 100; water 62,5; malt ?").open[0].role
    'malt'
    """
    broken = _BETWEEN.sub(lambda between: f"{between['amount'] or ''}\n", unfold(text))
    lines = [line.strip() for line in broken.splitlines()]
    rows = [_row(line) for line in lines if line and not line.startswith("#")]
    if not rows:
        raise InputError("formula", text, "must not be empty", _LINE)
    weighed = [unit for _, _, amount, unit in rows if amount is not None and unit]
    if weighed and len(weighed) < sum(amount is not None for _, _, amount, _ in rows):
        rule = "has weights in some lines and percentages in others"
        raise InputError("formula", name, rule, "Write all of them in one way.")
    if not weighed:
        return Formula(name, tuple(Ingredient(what, role, n) for what, role, n, _ in rows), note)
    known = [(what, role, amount) for what, role, amount, _ in rows if amount is not None]
    shares = {one.name: one.percent for one in Formula.from_weights(name, known).ingredients}
    made = [Ingredient(what, role, shares.get(what)) for what, role, _, _ in rows]
    return Formula(name, tuple(made), note)


def write_formula(formula: Formula, decimals: int = 12) -> str:
    r"""Write a formula as `read_formula` reads it.

    Parameters
    ----------
    decimals : int
        Of a percentage at the most; 12 give the same formula again.

    Examples
    --------
    >>> write_formula(read_formula("Bun", "flour 100; sea water 62.5; malt ?"))
    'flour 100\nsea water 62.5\nmalt ?'
    """
    lines = []
    for one in formula.ingredients:
        told = "" if _role_of(one.name) == one.role else f" ({one.role})"
        share = "?"
        if one.percent is not None:  # every digit that counts, and never an exponent
            share = f"{Decimal(repr(round(one.percent, decimals))).normalize():f}"
            if one.role != "flour" and _SPARE.search(one.name):
                share += " %"  # which of two numbers it is
        lines.append(f"{one.name} {share}{told}")
    return "\n".join(lines)


def _row(line: str) -> tuple[str, str, float | None, str]:
    """One line: name, role, amount (None where the trial says), unit of a weight or empty."""
    rest, role = line, ""
    if bracket := re.search(rf"\((\s*(?:{'|'.join(ROLES)})\s*)\)\s*$", line):
        rest, role = line[: bracket.start()].strip(), bracket[1].strip()
    if open_line := re.fullmatch(r"(.+?)[\s:]*\?\s*%?|\?\s*%?\s+(.+)", rest):
        what = _named(open_line[1] or open_line[2], line)
        return what, role or _sure_role(what, line), None, ""
    found = list(_AMOUNT.finditer(rest))
    # the amount stands at one of the ends; digits inside a name ("type 550") are the name's
    at_end = [m for m in found if not rest[m.end() :].strip(" .")]
    at_start = [m for m in found if not rest[: m.start()].strip()]
    if found and not (at_end or at_start):
        rule = f"has its amount in the middle, {found[0][0].strip()}"
        raise InputError("formula", line, rule, "Write it once, at the end: bread flour 250 g.")
    if not found:
        raise InputError("formula", line, "has no number", _LINE)
    amount = (at_end or at_start)[-1 if at_end else 0]
    what = _named(rest[: amount.start()] if at_end else rest[amount.end() :], line)
    unit = _unit_of(amount, what, line)
    value = parse(amount[0], unit or "%", "formula", line)
    role = role or _sure_role(what, line)
    # the number of a flour is its type: flour 550 100; a unit tells which number is the amount
    if not (role == "flour" or amount["unit"]) and (spare := _SPARE.search(what)):
        both = f"{spare[0]} and {amount[0].strip()}"
        remedy = "Write one of them; what belongs to the name stands in brackets: milk (3.5 %) 20."
        raise InputError("formula", line, f"has two numbers, {both}", remedy)
    return what, role, value, unit


def _unit_of(amount: re.Match[str], what: str, line: str) -> str:
    """Return "g" for a weight and nothing for a share; refuse what may be meant otherwise."""
    others = [m for m in _AMOUNT.finditer(what) if m["unit"] and not _is(m["unit"], "percent")]
    if others:
        both = " and ".join(m[0].strip() for m in (others[0], amount))
        raise InputError("formula", line, f"has two amounts, {both}", "Write one of them.")
    unit = amount["first"] or amount["unit"]
    if unit is None or _is(unit, "percent"):
        return ""
    if not _is(unit, "mass"):
        rule = f"is a measure of volume ({unit}), which flour and salt fill unevenly"
        raise InputError(
            "formula", line, rule, "Weigh it once and write what the scale shows, in g or oz."
        )
    return "g"


def _is(unit: str, dimension: str) -> bool:
    return unit.lower() in unit_names(dimension)


def _named(what: str, line: str) -> str:
    clean = what.strip(" \t:=,-–—….")
    if not clean:
        raise InputError("formula", line, "has no name", _LINE)
    return clean


def _role_of(what: str) -> str:
    for role, words in _WORDS:
        if re.search(rf"\b(?:{words})\b", what.lower()):
            return role
    return ""


def _sure_role(what: str, line: str) -> str:
    role = _role_of(what)
    if not role:
        remedy = f"Put it in brackets behind the number: one of {', '.join(ROLES)}."
        raise InputError("formula", line, "does not tell what it does in the dough", remedy)
    return role
