"""Messages as a baker reads them: quantities by their names, not as Python calls them."""

import re

from kit import quantities, words
from kit.errors import NotFoundError

__all__ = ["in_words"]


def in_words(text: str) -> str:
    """Call quantities as a baker does, where a message calls them as Python does.

    An empty field is said to be empty, without the quotation marks about nothing; and nothing is
    said to be something that is not something else.

    Examples
    --------
    >>> in_words("retard_hours is '24 vs 48': unknown unit")
    "cold retard is '24 vs 48': unknown unit"
    >>> in_words("room is '': must not be empty.")
    'room must not be empty.'
    >>> in_words("first bake on is '5.12.': is not a day.")
    "first bake on '5.12.' is not a day."
    """

    def called(name: re.Match[str]) -> str:
        try:
            return words.name(quantities.get(name[0]).name)
        except NotFoundError:
            return name[0]  # a file, a column of the baker's own

    text = re.sub(r" is (?:''|None)( \([^()]*\))?: must", r"\1 must", text)
    text = re.sub(r" is ('[^']*'(?: \([^()]*\))?): (is|was|has|needs) ", r" \1 \2 ", text)
    return re.sub(r"\b[a-z]\w*_\w+\b", called, text)
