"""A photo as a file gives it: pixels upright, when it was taken, by which lens.

Reading decides nothing: what a file does not say stays unknown and is asked for. Only the
header is read at first; pixels are decoded when they are asked for, no larger than needed.
"""

import hashlib
from dataclasses import dataclass, field, replace
from datetime import datetime, tzinfo
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from kit.errors import InputError
from kit.given import as_number
from kit.photo.camera import Camera
from kit.photo.reading import decode, exif

__all__ = ["Photo", "read", "sha256_of"]

Pixels = NDArray[np.uint8]

#: Reduced copies of a photo are kept up to so many bytes in all.
_MOST_SMALL = 60_000_000

#: Names a file of each format may have.
_SUFFIXES = {
    "JPEG": (".jpg", ".jpeg", ".jpe", ".jfif", ".mpo"), "PNG": (".png", ".apng"),
    "TIFF": (".tif", ".tiff"), "HEIF": (".heic", ".heif", ".hif"), "WEBP": (".webp",),
    "GIF": (".gif",), "BMP": (".bmp", ".dib"),
}  # fmt: skip


@dataclass(frozen=True)
class Photo:
    """A picture upright, and what its file says of it.

    Parameters
    ----------
    path : Path or None
        None for a picture that came as bytes or an array.
    sha256 : str
        Of the file's bytes (of an array: of its pixels).
    width, height : int
        In pixels, upright.
    taken : datetime or None
        With its offset from UTC; None when the file does not say when (ask the baker).
    focal_35mm : float or None
        EXIF's 35 mm-equivalent focal length.
    model : str
        Maker and model of the camera, "" when unknown.
    notes : tuple of str
        What was odd about the file, in words.
    clock : datetime or None
        What the camera's clock said, without an offset: to ask the baker about.
    format : str
        "JPEG", "PNG", "TIFF", "HEIF", "WEBP", "GIF", "BMP" or "array".
    """

    path: Path | None
    sha256: str
    width: int
    height: int
    taken: datetime | None
    focal_35mm: float | None
    model: str
    notes: tuple[str, ...]
    clock: datetime | None = None
    format: str = ""
    _turned: int = field(default=1, repr=False, compare=False)
    _content: bytes | None = field(default=None, repr=False, compare=False)
    #: decoded pixels, all or none; not sent to another process unless there is nothing else
    _held: list[Pixels] = field(default_factory=list, repr=False, compare=False)
    #: the last reduced copies by their longer side: what is looked for in one is measured in it
    _small: dict[int, tuple[Pixels, float]] = field(default_factory=dict, repr=False, compare=False)

    @property
    def name(self) -> str:
        """What messages call it: the file's name, or "photo" and the start of its hash."""
        return self.path.name if self.path else f"photo {self.sha256[:8]}"

    @property
    def pixels(self) -> Pixels:
        """All pixels, (height, width, 3), sRGB, 8 bit; decoded when first asked for, then held.

        Read-only: copy before drawing on them.

        Raises
        ------
        InputError
            The file is broken further down, or is no longer the one that was read.
        """
        if not self._held:
            self._held.append(self._decode(None)[0])
        return self._held[0]

    def reduced(self, longest_px: int) -> tuple[Pixels, float]:
        """Return a smaller picture, its longer side near `longest_px`, and the factor k.

        A pixel (x, y) of it lies at ``(x + 0.5) * k - 0.5`` of the full picture. Decoded no
        larger than needed; k = 1 where the picture is small already. Read-only, as `pixels`.

        Raises
        ------
        InputError
            `longest_px` is below 1, or as for `pixels`.
        """
        if not (as_number(longest_px) or 0.0) >= 1:
            raise InputError("longest_px", longest_px, "must be at least 1")
        if longest_px >= max(self.width, self.height):
            return self.pixels, 1.0
        if longest_px in self._small:
            return self._small[longest_px]
        shrink = self._shrunk if self._held else self._decode
        small = self._small[longest_px] = shrink(longest_px)
        while sum(pixels.nbytes for pixels, _ in self._small.values()) > _MOST_SMALL:
            del self._small[next(iter(self._small))]
        return small

    def _shrunk(self, longest_px: int) -> tuple[Pixels, float]:
        k = max(self.width, self.height) / longest_px
        size = (max(1, int(self.width / k + 1e-6)), max(1, int(self.height / k + 1e-6)))
        box = (0.0, 0.0, min(size[0] * k, self.width), min(size[1] * k, self.height))
        whole = Image.fromarray(self._held[0])
        # the gap averages whole pixels first: as good for k above 2, and several times as fast
        return np.asarray(whole.resize(size, Image.Resampling.BILINEAR, box, 1.0)), k

    def forget(self) -> None:
        """Let go of pixels that can be had again; they are when they are asked for."""
        self._small.clear()
        if self.path or self._content is not None:
            self._held.clear()

    @property
    def camera(self) -> Camera:
        """The pinhole camera: principal point in the middle, focal length from EXIF or usual."""
        return Camera.of(self.width, self.height, self.focal_35mm)

    def _decode(self, longest_px: int | None) -> tuple[Pixels, float]:
        content = self.path if self._content is None else self._content
        if content is None:
            raise InputError("photo", self.name, "must have a path, bytes or pixels")
        across = self._turned in (5, 6, 7, 8)
        stored = (self.height, self.width) if across else (self.width, self.height)
        return decode.decoded(content, self.name, self._turned, stored, longest_px)

    def __getstate__(self) -> dict[str, Any]:
        """Leave behind pixels that can be had again (process pools)."""
        state = self.__dict__ | {"_small": {}}
        if self.path or self._content is not None:
            state["_held"] = []
        return state


def read(
    source: "str | Path | bytes | NDArray[Any]",
    *,
    zone: str | tzinfo | None = None,
    focal_35mm: float | None = None,
    taken: datetime | None = None,
) -> Photo:
    """Read a photo's header; its pixels follow when they are asked for.

    Parameters
    ----------
    source : path, bytes or array
        A JPEG, PNG, TIFF or HEIC file (also WebP, GIF, BMP), its bytes, or pixels (h, w, 3),
        (h, w, 4), (h, w, 1) or (h, w): sRGB of 8 or 16 bits, or numbers from 0 to 1.
    zone : str or tzinfo, optional
        Where the camera's clock runs, for files that do not say ("Europe/London").
    focal_35mm : float, optional
        35 mm-equivalent focal length, if you know better than the file.
    taken : datetime, optional
        With its offset from UTC, if you know better than the file.

    Returns
    -------
    Photo

    Raises
    ------
    InputError
        No picture, broken, too large (60 million pixels; plain JPEG up to 179, read at half
        size), too small (16 pixels), or an argument that cannot be.
    MissingPackageError
        HEIC without the extra ``[heic]``.

    Examples
    --------
    >>> grey = read(np.full((60, 80, 3), 128, dtype=np.uint8), focal_35mm=26)
    >>> grey.width, grey.height, grey.taken
    (80, 60, None)
    >>> small, k = grey.reduced(40)
    >>> small.shape, k
    ((30, 40, 3), 2.0)
    """
    clock_zone = exif.as_zone(zone)
    if taken is not None and (not isinstance(taken, datetime) or taken.utcoffset() is None):
        rule = "must say its time zone"
        raise InputError("taken", str(taken), rule, "For example 2026-03-05T06:41+01:00.")
    focal = as_number(focal_35mm)
    if focal_35mm is not None and (focal is None or not 0 < focal < np.inf):
        raise InputError("focal_35mm", focal_35mm, "must be above 0", "Phones have 13 to 80.")
    if isinstance(source, np.ndarray):
        photo = _of_array(source)
    else:
        if not isinstance(source, str | Path | bytes | bytearray | memoryview):
            rule = "must be a file's path, its bytes or an array of pixels"
            raise InputError("photo", source, rule)
        content = Path(source) if isinstance(source, str | Path) else bytes(source)
        photo = _of_file(content, clock_zone)
    return replace(
        photo,
        taken=photo.taken if taken is None else taken,
        focal_35mm=photo.focal_35mm if focal is None else focal,
    )


def _of_file(content: Path | bytes, zone: tzinfo | None) -> Photo:
    path = content if isinstance(content, Path) else None
    name = path.name if path else f"{len(content)} bytes"  # type: ignore[arg-type]
    with decode.opened(content, name) as (im, odd):
        told = exif.shot(decode.tags_of(im), *im.size, zone)
        form = "JPEG" if im.format == "MPO" else str(im.format)
        width, height = im.size[::-1] if told.turned in (5, 6, 7, 8) else im.size
    notes = [*odd, *told.notes]
    if path and path.suffix.lower() not in _SUFFIXES[form]:
        notes.insert(
            0, f"named {path.suffix or 'without an ending'} but holds {form}: read as that"
        )
    return Photo(
        path=path,
        sha256=sha256_of(content),
        width=width,
        height=height,
        taken=told.taken,
        focal_35mm=told.focal_35mm,
        model=told.model,
        notes=tuple(notes),
        clock=told.clock,
        format=form,
        _turned=told.turned,
        _content=None if path else content,  # type: ignore[arg-type]
    )


def sha256_of(content: Path | bytes) -> str:
    """Return the SHA-256 of a file or of bytes, in hexadecimal."""
    if isinstance(content, bytes):
        return hashlib.sha256(content).hexdigest()
    with content.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _of_array(values: NDArray[Any]) -> Photo:
    pixels = _as_pixels(values)
    pixels.flags.writeable = False
    height, width = pixels.shape[:2]
    sha256 = hashlib.sha256(pixels.tobytes()).hexdigest()
    return Photo(None, sha256, width, height, None, None, "", (), format="array", _held=[pixels])


def _as_pixels(values: NDArray[Any]) -> Pixels:
    """A copy of an array as (h, w, 3) of 8 bits, see-through parts laid on white."""
    shape = values.shape
    if len(shape) == 2:
        values = values[:, :, None]
    if values.ndim != 3 or values.shape[2] not in (1, 3, 4) or min(shape[:2]) < 1:
        rule = "must be pixels of shape (h, w, 3), (h, w, 4), (h, w, 1) or (h, w)"
        raise InputError("photo", f"an array of shape {shape}", rule)
    if max(shape[:2]) * min(shape[:2]) > decode.LIMIT_MP * 1e6:
        rule = f"may have at most {decode.LIMIT_MP} million pixels"
        raise InputError("photo", f"an array of shape {shape}", rule)
    if values.dtype == np.uint16:
        values = np.rint(values / 257.0)
    elif values.dtype.kind == "f":
        if not (np.isfinite(values).all() and values.min() >= 0 and values.max() <= 1):
            rule = "of floating-point numbers must lie from 0 to 1"
            raise InputError("photo", f"an array of shape {shape}", rule)
        values = np.rint(values * 255.0)
    elif values.dtype != np.uint8:
        rule = "must be of uint8, uint16 or floating-point numbers from 0 to 1"
        raise InputError("photo", f"an array of {values.dtype}", rule)
    if values.shape[2] == 1:
        values = np.repeat(values, 3, axis=2)
    elif values.shape[2] == 4:
        clear = values[:, :, 3:] / 255.0
        values = np.rint(values[:, :, :3] * clear + 255.0 * (1 - clear))
    return np.array(values, dtype=np.uint8)
