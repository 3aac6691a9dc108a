"""What in a photo tells its scale: the kind, what has to be known of it, and its points."""

from collections.abc import Callable, Container, Mapping, Sequence
from typing import Any

import ipywidgets as widgets

from kit.errors import InputError
from kit.panels.measuring.marking import Grip, Line
from kit.panels.parts.controls import Form, pick, visible
from kit.panels.parts.fields import Typed, above_0, number
from kit.records.typed import whole
from kit.units import parse

__all__ = ["ReferenceForm"]

#: what the baker reads -> kind of `kit.photo.scale`
_KINDS = {
    "the kit's own card": "card",
    "two points a known distance apart": "points",
    "a ruler": "ruler",
    "something round, such as a coin": "disc",
    "a checkerboard": "checkerboard",
    "a square marker": "marker",
    "nothing: it is a flat-bed scan": "scanner",
}
_TOLD = {
    "card": "Found without a click. Print it with python -m kit card; measure its long bar once.",
    "points": "Put the two marks on the photo where the distance was measured, near the piece. "
    "Hold the camera square on, and say so: two points do not tell the tilt.",
    "ruler": "Put the two marks on the ruler, on two of its lines.",
    "disc": "Stand it upright as close beside the piece as it goes: the nearer, the less its tilt "
    "counts. Lying flat it shows its side and shadow, and lengths are sure to 2 % only. Found by "
    "itself where there is one only; else drag the mark onto it.",
    "checkerboard": "Found without a click.",
    "marker": "Found without a click.",
    "scanner": "Scan with the lid open. The scanner's settings say its dots to the inch.",
}
#: kind -> argument -> (label, hint, reader of what is typed)
_Fields = Mapping[str, tuple[str, str, Callable[[str], Any]]]


def _mm(name: str, most: float) -> Callable[[str], Any]:
    def read(text: str) -> float:
        value = above_0(text, "mm", name)
        if value is None:
            raise InputError(name, text, "must not be empty", "Write for example 40 mm.")
        if value > most:  # as `kit.photo.scale` has it, in the words of the form
            raise InputError(name, text, f"must be at most {most:g} mm")
        return value

    return read


def _corners(text: str) -> tuple[int, int]:
    try:
        across, down = (whole("x", part) for part in text.lower().replace("×", "x").split("x"))
    except ValueError:  # not two, or no numbers
        across = down = None
    if across is None or down is None:
        rule = "must be two whole numbers"
        raise InputError("inner corners", text, rule, "Write for example 7 x 5.")
    return across, down


def _one(text: str) -> int | None:
    if text.strip() == "0":  # a marker's number may be
        return 0
    try:
        return whole("its number", text)
    except InputError as exc:
        rule = "must be a whole number"
        raise InputError("its number", text, rule, "Leave it empty for any.") from exc


def _dots(text: str) -> float:
    try:
        return number(text, "", "dots to the inch")
    except InputError as exc:
        remedy = "It stands in the scanner's settings, such as 600."
        raise InputError("dots to the inch", text, "must be a number", remedy) from exc


_ABOUT: Mapping[str, _Fields] = {
    "card": {"printed_scale": ("Its long bar, measured", "180 mm, as printed",
                               lambda text: above_0(text, "mm", "long bar"))},
    "points": {"mm": ("Distance", "such as 40 mm", _mm("distance", 2000))},
    "ruler": {"mm": ("Distance on the ruler", "such as 100 mm", _mm("distance", 2000)),
              "tick_mm": ("From line to line", "such as 1 mm", _mm("line to line", 100))},
    "disc": {"diameter_mm": ("Its diameter", "such as 25 mm", _mm("diameter", 1000))},
    "checkerboard": {"inner_corners": ("Inner corners", "such as 7 x 5", _corners),
                     "square_mm": ("A square's side", "such as 6 mm", _mm("square", 200))},
    "marker": {"side_mm": ("Its side", "such as 40 mm", _mm("side", 1000)),
               "id": ("Its number", "any, when empty", _one)},
    "scanner": {"dpi": ("Dots to the inch", "such as 600", _dots)},
}  # fmt: skip

#: kind -> argument, label, what can be chosen; what is not chosen is asked for
_CHOICES: Mapping[str, tuple[str, str, Mapping[str, Any]]] = {
    "points": ("tilt_deg", "Camera was held", {
        "any way (up to 40° off)": 40.0, "roughly square on (within 25°)": 25.0,
        "square on with care (within 10°)": 10.0}),
    "disc": ("lies", "The round thing", {
        "say how it lies …": None, "lies flat": "flat", "stands upright": "upright"}),
}  # fmt: skip


def _as_typed(name: str, value: Any) -> str:
    """An argument of `kit.photo.scale` as it would be typed."""
    if value is None:
        return ""
    if isinstance(value, tuple):
        return " x ".join(f"{one:g}" for one in value)
    return f"{value:.10g}" if name in ("id", "dpi") else f"{value:.10g} mm"


class ReferenceForm(Form):
    """Asks for the reference; what is typed stays from photo to photo.

    Parameters
    ----------
    changed : callable
        Called when another kind is chosen, or something else was typed.
    """

    def __init__(self, changed: Callable[[], None]) -> None:
        self.kind = pick("Scale by", _KINDS.items())
        self.told = widgets.HTML()
        self.fields = {
            kind: {name: Typed(label, hint=hint) for name, (label, hint, _) in fields.items()}
            for kind, fields in _ABOUT.items()
        }
        self.choices = {
            kind: pick(label, options.items()) for kind, (_, label, options) in _CHOICES.items()
        }
        self.front = Typed("Middle in front of it", hint="such as 20 mm, by a ruler")
        self.above = Typed("Face above it", hint="such as 12 mm, by a ruler")
        self._depth: Typed | None = self.front
        # all are there and those not asked for are hidden: a field that is made anew when another
        # kind is chosen loses what is being typed
        own = [f for fields in self.fields.values() for f in fields.values()]
        depths = [self.front, self.above]
        super().__init__([self.kind, self.told, *own, *self.choices.values(), *depths])
        self._changed = changed
        self.kind.observe(lambda _: self._show(), "value")
        self._inputs: list[Any] = [self.kind, *own, *self.choices.values(), *depths]
        for field in self._inputs:
            (field.text if isinstance(field, Typed) else field).observe(self._other, "value")
        self._show()

    def _other(self, _: Any) -> None:
        if not self._filling:
            self._changed()

    def observe_said(self, then: Callable[[], None]) -> None:
        """Call when something else is chosen or typed, by a hand or not."""
        for field in self._inputs:
            (field.text if isinstance(field, Typed) else field).observe(lambda _: then(), "value")

    @property
    def said(self) -> tuple[Any, ...]:
        """Everything that is chosen and typed, to be put back with `say`."""
        return tuple(field.value for field in self._inputs)

    def say(self, said: Sequence[Any]) -> None:
        """Put back what `said` gave; nobody is told that it changed."""
        with self.filling():
            for field, value in zip(self._inputs, said, strict=True):
                field.value = value
                if isinstance(field, Typed):
                    field.said.value = ""  # what was wrong was wrong with another text

    def fill(self, kind: str, about: Mapping[str, Any], shows: str | None) -> None:
        """Fill in what `about` gave; what it does not say is emptied. Nobody is told.

        Parameters
        ----------
        kind : str
            Of reference.
        about : mapping
            As `kit.photo.scale` takes it.
        shows : str or None
            What the photo shows.
        """
        now: dict[Any, Any] = dict(zip(self._inputs, self.said, strict=True))
        now[self.kind] = kind
        for name, field in self.called(shows, kind).items():
            now[field] = _as_typed(name, about.get(name))
        if kind in _CHOICES:
            name, _, known = _CHOICES[kind]
            if about.get(name) in known.values():
                now[self.choices[kind]] = about.get(name)
        self.say(tuple(now.values()))

    def _show(self) -> None:
        self.told.value = f'<p class="kit-small">{_TOLD[self.kind.value]}</p>'
        kind = self.kind.value
        asked = {*self.fields[kind].values(), self.choices.get(kind)}
        if kind != "scanner":
            asked.add(self._depth)
        for field in self.children[2:]:
            visible(field, field in asked)

    def ask_depth(self, shows: str | None) -> None:
        """Ask how far from the reference what a photo shows stands, or lies above it.

        Each is a field of its own: what is said of pieces is not taken for cut faces.
        """
        self._depth = self._depth_of(shows)
        self._show()

    def _depth_of(self, shows: str | None) -> Typed | None:
        return {"crumb": self.above, "face": None}.get(shows or "", self.front)

    @property
    def by_points(self) -> bool:
        """Whether its points are put on each photo by hand."""
        return self.kind.value in ("points", "ruler")

    def about(self, shows: str | None) -> dict[str, Any]:
        """Return what `kit.photo.scale` takes for this kind, its places on the photo left out.

        Parameters
        ----------
        shows : str or None
            What the photo shows.

        Raises
        ------
        InputError
            Something is missing or cannot be; said beside its field, too.
        """
        kind = self.kind.value
        about = {
            name: self.fields[kind][name].read(reader)
            for name, (_, _, reader) in _ABOUT[kind].items()
        }
        depth = self._depth_of(shows)
        if kind != "scanner" and depth is not None:
            name = str(depth.text.description).lower()
            about["offset_mm"] = depth.read(lambda text: parse(text, "mm", name))
        if kind in _CHOICES:
            name, label, _ = _CHOICES[kind]
            about[name] = self.choices[kind].value
            if about[name] is None:
                remedy = "Its outline looks the same tipped toward you or away from you."
                raise InputError(label.lower(), "", "must be said: flat or upright", remedy)
        return {name: value for name, value in about.items() if value is not None}

    def called(self, shows: str | None, kind: str | None = None) -> dict[str, Typed]:
        """Return the field that each argument of `kit.photo.scale` is typed into."""
        kind = kind or self.kind.value
        depth = None if kind == "scanner" else self._depth_of(shows)
        return self.fields[kind] | ({"offset_mm": depth} if depth else {})

    def placed(self, kept: Mapping[str, tuple[float, float]]) -> dict[str, Any]:
        """Return what was put on the photo by hand, as `kit.photo.scale` takes it.

        Parameters
        ----------
        kept : mapping
            Key of a grip -> where it was dragged on this photo.

        Raises
        ------
        InputError
            One of two points was not put on this photo: it would give a size by chance.
        """
        if self.by_points:
            points = [kept[key] for key in ("end-1", "end-2") if key in kept]
            if len(points) < 2:
                raise InputError(
                    "scale by", self.kind.label, "needs both marks put on the photo",
                    "Drag each to its end of the known distance; nudge one that lies right. On "
                    "another photo they are put again: the camera may have moved.",
                )  # fmt: skip
            return {"points": points}
        if self.kind.value == "disc" and "end-disc" in kept:
            return {"at": kept["end-disc"]}
        return {}

    @staticmethod
    def ends_of(about: Mapping[str, Any]) -> dict[str, tuple[float, float]]:
        """Return where the marks were that `placed` made arguments of."""
        ends = dict(zip(("end-1", "end-2"), about.get("points", ()), strict=False))
        return ends | ({"end-disc": about["at"]} if "at" in about else {})

    def marks(
        self, width: int, height: int, kept: Mapping[str, tuple[float, float]],
        put: Container[str],
    ) -> tuple[list[Grip], list[Line]]:  # fmt: skip
        """Return the marks to be dragged, where they were left or, at first, apart.

        Parameters
        ----------
        width, height : int
            Of the photo, in pixels.
        kept : mapping
            Key -> where it is.
        put : container of str
            Keys of those that were put on this photo; the line between others is only dotted.
        """
        if self.kind.value == "disc":
            at = kept.get("end-disc", (width * 0.05, height * 0.95))
            return [Grip("end-disc", "the round thing, where there are several", *at)], []
        if not self.by_points:
            return [], []
        first = {"end-1": (width * 0.3, height * 0.8), "end-2": (width * 0.7, height * 0.8)}
        grips = [
            Grip(key, f"end {n} of the known distance", *kept.get(key, first[key]))
            for n, key in enumerate(first, 1)
        ]
        look = "reference" if all(key in put for key in first) else "helper"
        return grips, [Line("distance", joins=list(first), look=look, closed=False)]
