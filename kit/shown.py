"""How results are written: shares as whole percentages, one form of text and of HTML."""

import math
import re
from abc import ABC, abstractmethod
from collections.abc import Iterable, Sequence
from html import escape
from itertools import groupby
from typing import Any, ClassVar, NamedTuple

from kit.alike import Alike
from kit.us_units import also_us

__all__ = [
    "ITEM", "InLines", "Telling", "Told", "Worded", "as_html", "as_text", "paragraphs",
    "percent", "span",
]  # fmt: skip

#: a sentence that begins so is one of a list
ITEM = "– "


def percent(share: float) -> str:
    """A share as a whole percentage, as precisely as so few tasters allow.

    Examples
    --------
    >>> percent(0.604), percent(0.0025), percent(float("nan"))
    ('60 %', '0.25 %', 'unknown')
    """
    if math.isnan(share):
        return "unknown"
    # what is not nothing is not shown as 0
    return f"{100 * share:.2g} %" if 0 < share < 0.005 else f"{100 * share:.0f} %"


def span(low: float, high: float) -> str:
    """Two shares: "from 10 to 64 %".

    Examples
    --------
    >>> span(0.1, 0.64)
    'from 10 to 64 %'
    """
    return f"from {100 * low:.0f} to {percent(high)}"


def as_text(texts: Iterable[str], checks: Sequence[str], method: str = "") -> str:
    """Sentences, notes and the line for the statistician, one below the other."""
    lines = [*(text for text in texts if text), *(f"Note: {check}." for check in checks)]
    return "\n".join(map(also_us, [*lines, method] if method else lines))


def paragraphs(texts: Iterable[str]) -> str:
    """Texts as HTML, each a paragraph, those of a list together; everything is escaped.

    Examples
    --------
    >>> paragraphs(["What would help:", "– a bake", "– two"])
    '<p>What would help:</p><ul><li>a bake</li><li>two</li></ul>'
    """
    made = []
    for is_item, group in groupby(filter(None, texts), lambda text: text.startswith(ITEM)):
        tag, told = "li" if is_item else "p", [escape(also_us(t).removeprefix(ITEM)) for t in group]
        lines = "".join(f"<{tag}>{text}</{tag}>" for text in told)
        made.append(f"<ul>{lines}</ul>" if is_item else lines)
    return "".join(made)


def as_html(headline: str, texts: Iterable[str], checks: Sequence[str], method: str = "") -> str:
    """The same as a piece of HTML; everything is escaped."""
    return (
        f"<p><strong>{escape(also_us(headline))}</strong></p>"
        + paragraphs(texts)
        + paragraphs(f"{ITEM}{check}." for check in checks)
        + (f"<p><small>{escape(method)}</small></p>" if method else "")
    )


class InLines:
    """A result that shows in a notebook what it prints: a paragraph a line, set in ones listed."""

    def _repr_html_(self) -> str:
        return paragraphs(re.sub(r"^(  |- )", ITEM, line) for line in str(self).splitlines())


class Telling(NamedTuple):
    """What a result says: headline, sentences after it, notes, the line for the statistician."""

    headline: str
    sentences: Sequence[str]
    checks: Sequence[str]
    method: str = ""


class Told(Alike, ABC):
    """A result that tells itself in plain words, printed and in a notebook."""

    @abstractmethod
    def tells(self) -> Telling:
        """What it says."""

    def __str__(self) -> str:
        told = self.tells()
        return as_text((told.headline, *told.sentences), told.checks, told.method)

    def _repr_html_(self) -> str:
        return as_html(*self.tells())


class Worded(Told):
    """A result whose sentences are made by a module of their own, a function each.

    Attributes
    ----------
    _words : module
        Has ``headline``, ``finding``, ``next_step`` and whatever else the class asks of it.
    """

    checks: tuple[str, ...]
    _words: ClassVar[Any]

    @property
    def headline(self) -> str:
        """The answer in a few words."""
        return str(self._words.headline(self))

    @property
    def sentence(self) -> str:
        """What was found, for a reader who never heard of a p value."""
        return str(self._words.finding(self))

    @property
    def next_step(self) -> str:
        """What to do next."""
        return str(self._words.next_step(self))
