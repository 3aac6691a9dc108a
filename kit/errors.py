"""What can go wrong, said so that a baker knows what to do about it.

One shallow tree. Everything the kit raises on purpose is a `KitError`; mistakes in what was
typed or passed in are also `ValueError`, so that callers who know only Python catch them too.
"""

import difflib
from collections.abc import Iterable, Sequence
from typing import Any

__all__ = [
    "DataError", "DesignError", "InputError", "KitError", "MissingPackageError", "NotFoundError",
    "StoreError", "UnitError",
]  # fmt: skip


class KitError(Exception):
    """Base of every error the kit raises on purpose."""

    def __reduce__(self) -> tuple[Any, ...]:
        # an exception is made again from its message, which is not what these are made of; and
        # one that cannot be sent home from another core or computer ends the whole work there
        return _again, (type(self), self.args), self.__dict__


def _again(kind: type[KitError], args: tuple[object, ...]) -> KitError:
    error = kind.__new__(kind)
    error.args = args
    return error


class InputError(KitError, ValueError):
    """A value that cannot be used: says which field, which value, the rule and the remedy.

    Parameters
    ----------
    field : str
        Name of the quantity, column or argument.
    value : object
        What was given, as it was given.
    rule : str
        What would be right, e.g. ``"must be above 0"``.
    remedy : str, optional
        What to do next, a full sentence.
    where : str, optional
        Which thing it belongs to, e.g. ``"piece B3-2"`` or ``"row 7"``.

    Examples
    --------
    >>> print(InputError("side_minutes", -4, "must be above 0", "Enter minutes per side.",
    ...                  where="piece B3-2"))
    side_minutes is -4 (piece B3-2): must be above 0. Enter minutes per side.
    """

    def __init__(
        self, field: str, value: object, rule: str, remedy: str = "", where: str = ""
    ) -> None:
        self.field, self.value, self.where = field, value, where
        self.rule, self.remedy = rule, remedy
        shown = f"{value:.12g}" if isinstance(value, float) else _cut(repr(value))
        place = f" ({where})" if where else ""
        text = f"{field} is {shown}{place}: {rule}."
        super().__init__(f"{text} {remedy}" if remedy else text)


class UnitError(InputError):
    """A number with a unit of the wrong dimension, or a unit the kit does not know."""


class DataError(KitError, ValueError):
    """A table that cannot be analysed as asked: says what is missing and what to bake or fix."""


class DesignError(DataError):
    """The bakes as they were made cannot answer the question, whatever the numbers say."""


#: of more names than this the likeliest are said first
_MANY = 8
#: longer names are cut short in a message
_LONG_NAME = 200


class NotFoundError(KitError, LookupError):
    """A name that does not exist; lists the ones that do, of many the likeliest first.

    Examples
    --------
    >>> print(NotFoundError("column", "hieght_mm", ["height_mm", "dough"]))
    no column 'hieght_mm'. There are: 'height_mm', 'dough'.
    """

    def __init__(self, kind: str, name: str, known: Iterable[str]) -> None:
        self.kind, self.name, self.known = kind, name, [str(k) for k in known]
        listed = ", ".join(repr(k) for k in self.known)
        there = f"There are: {listed}." if self.known else "There are none yet."
        near = _like(str(name), self.known) if len(self.known) > _MANY else []
        meant = f"Did you mean {' or '.join(map(repr, near))}? " if near else ""
        super().__init__(f"no {kind} {_cut(repr(name), _LONG_NAME)}. {meant}{there}")


def _like(name: str, known: Sequence[str]) -> list[str]:
    """Names that begin alike, else those that are written alike."""
    begin = [one for one in known if one.startswith(f"{name}_")]
    return begin or difflib.get_close_matches(name[:_LONG_NAME], known, n=2, cutoff=0.75)


def _cut(shown: str, most: int = 60) -> str:
    """What was typed, as far as a sentence bears it."""
    return shown if len(shown) <= most else f"{shown[: most - 3]}…"


class StoreError(KitError):
    """The workspace's file cannot be read or written as it is."""


class MissingPackageError(KitError, ImportError):
    """An optional package is not installed; names the command that installs it."""

    def __init__(self, what: str, extra: str) -> None:
        super().__init__(
            f"{what} needs a package that is not installed. "
            f"Install it with: pip install 'bake-trial-kit[{extra}]'"
        )
