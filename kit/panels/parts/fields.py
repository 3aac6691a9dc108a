"""Text fields that say beside them what is wrong with what was typed, and keep it."""

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import Any, TypeVar

import ipywidgets as widgets

from kit import units, words
from kit.errors import InputError, KitError
from kit.panels.parts.blocks import status
from kit.panels.parts.controls import LABELS, wide
from kit.panels.parts.style import FAULT, trouble
from kit.records.keeping.trouble import said_of_disk
from kit.records.typed import whole
from kit.writeup.plain_words import in_words

__all__ = [
    "Typed", "above_0", "beside", "beside_of", "count", "number", "people", "refused", "share",
    "tell", "what_matters",
]  # fmt: skip

_T = TypeVar("_T")


class Typed(widgets.VBox):  # type: ignore[misc]
    """One line of text (or several) with its label and, below it, what is wrong with it.

    Parameters
    ----------
    label : str
        Also what a screen reader says.
    value : str
        Typed already.
    hint : str
        Shown while the field is empty.
    rows : int
        More than one makes a field of several lines.
    offers : sequence of str
        What can be picked instead of typed.
    """

    def __init__(
        self, label: str, value: str = "", hint: str = "", rows: int = 1, offers: Sequence[str] = ()
    ) -> None:
        kind: Any = widgets.Text if rows == 1 else widgets.Textarea
        more: dict[str, Any] = {} if rows == 1 else {"rows": rows}
        if offers:
            kind, more = widgets.Combobox, {"options": list(offers)}
        self.text = kind(
            value=value, description=label, placeholder=hint, style=LABELS, layout=wide(),
            continuous_update=False, **more,
        )  # fmt: skip
        self.said = widgets.HTML()
        super().__init__([self.text, self.said])

    @property
    def value(self) -> str:
        """What is typed."""
        return str(self.text.value)

    @value.setter
    def value(self, text: str) -> None:
        self.text.value = text

    def observe_text(self, then: Callable[[], None]) -> None:
        """Call when something else was typed and left with Enter or Tab."""
        self.text.observe(lambda _: then(), "value")

    def read(self, reader: Callable[[str], _T]) -> _T:
        """Return what `reader` makes of the text; its error is shown here and raised again."""
        self.said.value = ""
        try:
            return reader(self.value)
        except KitError as exc:
            self.said.value = trouble(str(exc))
            raise


def beside(exc: InputError, fields: Mapping[str, Typed]) -> InputError:
    """Return what is wrong with an argument as of the field it was typed into; said there, too.

    Parameters
    ----------
    exc : InputError
    fields : mapping
        Argument -> the field it comes from.
    """
    typed = fields.get(exc.field)
    if typed is None:
        return exc
    label = str(typed.text.description)
    lines = "; ".join(filter(None, map(str.strip, typed.value.splitlines())))
    told = InputError(label[:1].lower() + label[1:], lines, exc.rule, exc.remedy)
    typed.said.value = trouble(str(told))
    return told


@contextmanager
def beside_of(fields: Mapping[str, Typed]) -> Iterator[None]:
    """Say whatever is refused within beside the field it comes from: see `beside`."""
    try:
        yield
    except InputError as exc:
        raise beside(exc, fields) from exc


def tell(
    said: widgets.HTML, what: Callable[[], str | None], *fields: Typed, meanwhile: str = ""
) -> bool:
    """Do something and show what came of it, or why it cannot be; whether it was done.

    Parameters
    ----------
    said : HTML
        Where it is shown.
    what : callable
        Does it; returns HTML, or nothing where nothing is to be said.
    fields : Typed
        What stands beside one of these is not said again.
    meanwhile : str
        What stands there while it takes its time.
    """
    said.value = status(meanwhile) if meanwhile else ""
    for field in fields:
        field.said.value = ""
    try:
        told = what()
    except KitError as exc:
        beside_it = any(field.said.value for field in fields)
        said.value = "" if beside_it else trouble(str(exc))
        return False
    except OSError as exc:
        said.value = trouble(said_of_disk(exc))
        return False
    except Exception:  # a fault of ours: never leave "Working …" standing, then let it out
        said.value = trouble(FAULT)
        raise
    said.value = told or ""
    return True


def refused(exc: KitError) -> str:
    """Say why what a large button should note was not noted, in the words that stand above it."""
    if isinstance(exc, InputError) and exc.field == "at":
        exc = InputError("when it was", exc.value, exc.rule, exc.remedy, exc.where)
    return f"Not noted: {in_words(str(exc))}"


def what_matters(outcome: str | None) -> str:
    """Return the label of the field for what matters, with the unit it is read in."""
    unit = words.unit_of(outcome or "")
    return f"What matters ({unit})" if unit else "What matters"


def number(text: str, unit: str, field: str, difference: bool = False) -> float:
    """Read a number as typed, in `unit`; see `kit.units.parse`."""
    value = units.parse(text, unit, field, difference=difference)
    if value is None:
        raise InputError(field, text, "must not be empty")
    return value


def above_0(text: str, unit: str, field: str, difference: bool = False) -> float | None:
    """Read a number above 0 as typed; None when empty."""
    value = units.parse(text, unit, field, difference=difference)
    if value is not None and value <= 0:
        raise InputError(field, text, "must be above 0")
    return value


def count(field: Typed) -> int:
    """A counting number as typed."""
    label = str(field.text.description).lower()

    def reader(text: str) -> int:
        number = whole(label, text)
        if number is None:
            raise InputError(label, text, "must not be empty", "Write 1, 2, 3 …")
        return number

    return field.read(reader)


def share(field: Typed) -> float | None:
    """A share typed in percent; None when empty."""
    label = str(field.text.description)
    label = label[:1].lower() + label[1:]

    def reader(text: str) -> float | None:
        value = units.parse(text, "%", label)
        if value is not None and not 0 < value < 100:
            raise InputError(label, text, "must lie between 0 and 100 %", "Write 30.")
        return None if value is None else value / 100

    return field.read(reader)


def people(text: str) -> int | list[str]:
    """A number of tasters, or their names."""
    if not text.strip() or re.fullmatch(r"[-+\d.,\s]+", text):  # no name
        try:
            number = whole("tasters", text)
        except InputError:
            number = None
        if number is None:
            remedy = "Write 12, or names with commas."
            raise InputError("tasters", text, "must be a whole number or names", remedy)
        return number
    return [name.strip() for name in text.replace("\n", ",").split(",") if name.strip()]
