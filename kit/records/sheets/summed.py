"""Rows of a table that sum up others: their code says so, and they are no bake, dough or piece."""

import re
from collections.abc import Container

from kit import quantities
from kit.records.sheets.words import guess

__all__ = ["sums_up"]

# English and German, as spreadsheets and people write them; common practice, no source
_SUMS = frozenset(
    ("total", "totals", "subtotal", "subtotals", "sum", "sums", "mean", "means", "average",
     "averages", "avg", "median", "medians", "sd", "std", "stdev", "deviation", "min", "minimum",
     "max", "maximum", "ø", "∑", "σ", "summe", "zwischensumme", "gesamt", "mittel", "mittelwert",
     "mittelwerte", "durchschnitt", "standardabweichung")
)  # fmt: skip
_BESIDE = frozenset(("grand", "overall", "standard", "dev", "of", "all", "the", "and", "±", "-"))


def sums_up(code: str, others: Container[str]) -> bool:
    """Say whether a code is that of a sum or mean: of all, of a thing, or of what is measured.

    `others` are the table's codes in small letters.

    >>> [sums_up(code, {"a"}) for code in ("Mean", "SD (n=3)", "A total", "Mean height")]
    [True, True, True, True]
    >>> [sums_up(code, {"a"}) for code in ("Mean Street", "Max malt", "Standard", "A")]
    [False, False, False, False]
    """
    said = re.sub(r"\(.*?\)|\bn *= *\d+", " ", code.casefold())
    words = [word.strip(".:") for word in said.replace("/", " ").split()]
    rest = [word for word in words if word not in _SUMS]
    if len(rest) == len(words):
        return False
    of = " ".join(word for word in rest if word not in _BESIDE)
    if not of or of in others:
        return True
    one = guess(of)
    measured = quantities.find(one.meaning)
    # "Max malt" is a dough: the one with the most of it
    return not one.doubt and measured is not None and measured.level == "piece"
