"""By what a photo was measured: reference, shape, and what a hand said; kept to do it again."""

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any, Self

import numpy as np

from kit.errors import InputError
from kit.photo.reference import KINDS
from kit.photo.sides.jar import Jar
from kit.records.journal import Row

__all__ = ["MeasuredBy"]

#: most signs of one such account, as JSON: an outline by hand has some hundred points
_LONGEST = 60_000
_HOW = ("shape", "jar", "box", "outline", "top", "base", "standing", "threshold", "crust_mm",
        "faces", "patches")  # fmt: skip
#: of these the value is a word; all else are numbers or rows of numbers
_WORDS = ("shape", "dictionary", "lies")


@dataclass(frozen=True)
class MeasuredBy:
    """What a photo was measured by.

    Parameters
    ----------
    reference : str
        Kind of reference; see `kit.photo.scale`.
    about : mapping
        What that needs, places on the photo included.
    how : mapping
        What `kit.photo.side`, `crumb` or `browning` was given besides: shape, jar, box, outline …
    corrected : tuple of str
        What of it a hand corrected.

    Raises
    ------
    InputError
        No such reference, or what it is given is of no such name or kind.

    Examples
    --------
    >>> by = MeasuredBy("points", {"points": [(1, 2), (30, 2)], "mm": 40}, {"jar": Jar(86)})
    >>> by.about
    {'points': ((1, 2), (30, 2)), 'mm': 40}
    >>> MeasuredBy.from_row(by.to_row()) == by
    True
    """

    reference: str = "card"
    about: Mapping[str, Any] = field(default_factory=dict)
    how: Mapping[str, Any] = field(default_factory=dict)
    corrected: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if self.reference not in KINDS:
            rule = f"must be one of {', '.join(KINDS)}"
            raise InputError("reference", self.reference, rule)
        if unknown := self.how.keys() - set(_HOW):
            rule = f"is nothing to measure by; there are {', '.join(_HOW)}"
            raise InputError("how", min(unknown), rule)
        for name in ("about", "how"):
            object.__setattr__(self, name, _fixed(getattr(self, name), name))
        if not _is_outline(self.how.get("outline", ())):
            rule = "must be points of the photo, each of two numbers"
            raise InputError("outline", "…", rule, "Write ((12, 40), (80, 40), (80, 95)).")
        if len(json.dumps(self.to_row())) > _LONGEST:
            raise InputError("measured_by", "…", f"must be at most {_LONGEST} signs long")

    def arguments(self) -> dict[str, Any]:
        """Return `how` as the calls take it: an outline as an array, (n, 2)."""
        how = dict(self.how)
        if "outline" in how:
            how["outline"] = np.array(how["outline"], float)
        return how

    def to_row(self) -> Row:
        """Return it as the records keep it, ready for JSON."""
        how = {name: asdict(one) if name == "jar" else one for name, one in self.how.items()}
        return {"reference": self.reference, "about": {**self.about}, "how": how,
                "corrected": [*self.corrected]}  # fmt: skip

    @classmethod
    def from_row(cls, row: object) -> Self:
        """Return what `to_row` gave.

        Raises InputError: it is not of that form: it came from elsewhere.
        """
        rule = "must say by what the photo was measured: reference, about, how, corrected"
        kinds = {"reference": str, "about": dict, "how": dict, "corrected": list}
        if not isinstance(row, dict) or row.keys() != kinds.keys():
            raise InputError("measured_by", str(row)[:60], rule)
        if not all(isinstance(row[name], kind) for name, kind in kinds.items()):
            raise InputError("measured_by", str(row)[:60], rule)
        how = dict(row["how"])
        if "jar" in how:
            how["jar"] = _jar(how["jar"])
        try:
            return cls(row["reference"], row["about"], how, tuple(map(str, row["corrected"])))
        except RecursionError as exc:
            raise InputError("measured_by", "…", rule) from exc


def _jar(row: Any) -> Jar:
    try:
        return Jar(**_fixed(row, "jar"))
    except InputError:
        raise
    except (TypeError, ValueError) as exc:
        raise InputError("jar", str(row)[:60], "must say its inside diameter") from exc


def _is_outline(points: Any) -> bool:
    """Say whether it holds points (x, y) and nothing else; it may have come from elsewhere."""
    return isinstance(points, tuple) and all(
        isinstance(point, tuple) and [isinstance(x, int | float) for x in point] == [True, True]
        for point in points
    )


def _fixed(value: Any, name: str) -> Any:
    """A value that compares and can be written as JSON: rows as tuples, pixels to a hundredth."""
    if isinstance(value, np.ndarray):
        value = np.round(value, 2).tolist()
    if isinstance(value, Mapping):
        return {str(k): _fixed(one, str(k)) for k, one in value.items() if one is not None}
    if isinstance(value, list | tuple):
        return tuple(_fixed(one, name) for one in value)
    if isinstance(value, np.generic):
        value = value.item()
    if isinstance(value, float) and not np.isfinite(value):
        raise InputError(name, value, "must be a finite number")
    if isinstance(value, bool | int | float | Jar) or (isinstance(value, str) and name in _WORDS):
        return value
    raise InputError(name, value, f"must be {'a word' if name in _WORDS else 'a number'}")
