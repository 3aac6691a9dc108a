"""One photo measured for what it shows: the reference found in it, then the call that fits."""

from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from kit.photo.arguments import check_kind, one_of

if TYPE_CHECKING:
    from kit.photo.picture import Photo
    from kit.photo.reference import Scale

__all__ = ["ABOUT", "DEPTHS", "SHOWS", "measure", "scale_for"]

#: what a photo can show: a piece from the side, dough while it proofs, a cut face, a crust
SHOWS = ("side", "rise", "crumb", "face")
_MIDDLE, _FACE = (
    "its middle stands in front of the reference",
    "the cut face lies above the reference",
)
#: what it shows -> how far that lies from the reference, and what 0 is unsure by where it was not
#: said, in mm: a card stands a hand's breadth away, a cut half is 10 to 20 mm high (own choice)
DEPTHS = {"side": (_MIDDLE, 25.0), "rise": (_MIDDLE, 25.0), "crumb": (_FACE, 12.0)}
#: of what was said: read off a ruler on the worktop (own choice)
_U_SAID_MM = 1.0
ABOUT = 'must be what the reference needs, by name: {"side_mm": 40}'


def scale_for(
    photo: "Photo", shows: str, reference: str = "card", about: Mapping[str, Any] | None = None
) -> "Scale":
    """Find the reference; how far from it the measured plane lies is never surer than it was said.

    Parameters
    ----------
    photo : Photo
    shows : str
        One of `SHOWS`.
    reference, about
        Kind of reference and what it needs; see `kit.photo.scale`. Without `offset_mm` it is 0 with
        an uncertainty that counts, and a note says so: a piece that stands 20 mm before its card
        would silently come out 5 % too tall.
    """
    import kit.photo as calls

    check_kind("about", about, Mapping | None, ABOUT)
    said = {str(name): what for name, what in (about or {}).items()}
    if reference == "scanner" or shows not in DEPTHS:
        return calls.scale(photo, kind=reference, **said)
    if said.get("offset_mm") is not None:
        return calls.scale(photo, kind=reference, **{"u_offset_mm": _U_SAID_MM} | said)
    how_far, u = DEPTHS[shows]
    found = calls.scale(photo, kind=reference, **{"u_offset_mm": u} | said | {"offset_mm": 0.0})
    note = (
        f"how far {how_far} was not said. It was taken as 0, give or take {u:g} mm, and that makes "
        "lengths unsure: measure it with a ruler and say it"
    )
    return replace(found, notes=(*found.notes, note))


def measure(
    photo: "Photo",
    shows: str | None,
    scale: "Scale | None" = None,
    reference: str = "card",
    about: Mapping[str, Any] | None = None,
    **how: Any,
) -> Any:
    """Measure what a photo shows.

    Parameters
    ----------
    photo : Photo
    shows : str
        side, rise, crumb or face.
    scale : Scale, optional
        Found in the photo by `reference` when not given.
    reference, about
        Kind of reference and what it needs; see `scale_for`.
    **how
        What `kit.photo.side`, `crumb` or `browning` takes: box, shape, jar, and what a hand
        corrected: outline, top, base, threshold. Without a box, a cut face or a crust is looked
        for in the window of our own card where that is the reference.

    Returns
    -------
    Side, Crumb or Browning

    Raises
    ------
    KitError
        It cannot be measured: says why and what to do.
    """
    import kit.photo as calls
    from kit.photo.faces.square_on import in_window

    shows = one_of("shows", shows, SHOWS, "Say what the photo shows.")
    if scale is None:
        scale = scale_for(photo, shows, reference, about)
    if shows == "face" and not {"box", "outline"} & set(how):
        how["box"] = in_window(scale)
    if shows == "crumb":
        return calls.crumb(photo, scale, **how)
    if shows == "face":
        whole = (0, 0, photo.width - 1, photo.height - 1)
        face = how.pop("outline", None), how.pop("box", None), whole
        how.setdefault("faces", [next(one for one in face if one is not None)])
        return calls.browning(photo, scale=scale, **how)
    how.setdefault("shape", "piece" if shows == "side" else "ball")
    return calls.side(photo, scale, **how)
