"""One photo measured for what it shows: the reference found in it, then the call that fits."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from kit.errors import InputError

if TYPE_CHECKING:
    from kit.photo.picture import Photo
    from kit.photo.reference import Scale

__all__ = ["SHOWS", "measure"]

#: what a photo can show: a piece from the side, dough while it proofs, a cut face, a crust
SHOWS = ("side", "rise", "crumb", "face")


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
        Kind of reference and what it needs; see `kit.photo.scale`.
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
    from kit.photo.square_on import in_window

    if shows not in SHOWS:
        rule = f"must be one of {', '.join(SHOWS)}"
        raise InputError("shows", shows, rule, "Say what the photo shows.")
    if scale is None:
        scale = calls.scale(photo, kind=reference, **(about or {}))
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
