"""Whether what is held alike was moved by the factor itself, which hides part of what it does.

A covariate must not be changed by the settings (Cochran 1957, Biometrics 13:261): how far a dough
had risen when the eye said "done" is part of what the malt did, not something beside it.
"""

import re
from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd

from kit.analysis import words
from kit.analysis.asked import has_numbers
from kit.analysis.beside import SET
from kit.analysis.looks import ALARM, Finding
from kit.analysis.mixed import MixedFit
from kit.analysis.structure import safe_name
from kit.errors import KitError

__all__ = ["moved_along"]


def moved_along(
    used: pd.DataFrame, factors: Sequence[str], fit: MixedFit, columns: Mapping[str, str | None]
) -> list[Finding]:
    """Compare every measured number that is held alike between the settings of the factors.

    Parameters
    ----------
    used : DataFrame
        One row a piece that counted, as it was given.
    factors : sequence of str
    fit : MixedFit
        Whose formula says what is held alike.
    columns : mapping
        ``trial, bake, mixing, dough, load`` to the column that says which, or None.
    """
    from kit.analysis.compare import compare

    numbers = re.sub(r"C\(\w+\)", "", fit.formula)
    outcome, *inside = re.findall(r"\w+", numbers)
    own = {outcome, *map(safe_name, factors)}
    together: dict[str, Any] = dict(columns)
    found = []
    for column in map(str, used.columns):
        name = safe_name(column)
        if name not in inside or name in own or column in SET or not has_numbers(used[column]):
            continue
        for factor in factors:
            try:
                lead = compare(used, column, factor, **together).leading
            except KitError:
                continue  # alike at every setting, or nothing to judge it by
            if not lead.p < ALARM:
                continue
            size = words.number(abs(lead.difference), lead.half_width, words.unit_of(column))
            text = (
                f"{words.name(column)} is held alike but went along with {words.name(factor)} "
                f"itself ({size} {'more' if lead.difference > 0 else 'less'} with "
                f"{words.amount(factor, lead.level)} than with {words.amount(factor, lead.versus)})"
                f": if {words.name(factor)} caused that, what it does by way of it is taken out of "
                "the answer; ask without holding it alike, too. If it was set so, keep it: then "
                "the settings were not alike in it"
            )
            found.append(Finding("beside", text, True))
    return found
