"""From the bytes of a picture file to upright sRGB pixels, through Pillow.

Everything a strange or broken file can do to a decoder ends here, as a `KitError` in words.
"""

import io
import warnings
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageCms, UnidentifiedImageError

from kit.errors import InputError, KitError, MissingPackageError

__all__ = ["LIMIT_MP", "SMALLEST_PX", "decoded", "image_of", "opened", "tags_of"]

Pixels = NDArray[np.uint8]
Content = Path | bytes

#: Most pixels decoded at once, in millions: phones make 12 to 50.
LIMIT_MP = 60
#: Nothing can be measured in a picture with fewer pixels along its shorter side.
SMALLEST_PX = 16

_JPEG = ("JPEG", "MPO")
_FORMATS = ("JPEG", "PNG", "TIFF", "WEBP", "GIF", "BMP")
#: Brands of the first box of a HEIC file (ISO/IEC 23008-12, annex B; from memory).
_HEIC = (b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1")
_UPRIGHT = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}


@contextmanager
def opened(content: Content, name: str) -> Iterator[tuple[Image.Image, tuple[str, ...]]]:
    """Open a picture's header; give it and what was odd about the file, in words.

    Parameters
    ----------
    content : Path or bytes
    name : str
        What errors call it.

    Raises
    ------
    InputError
        No picture, too large or too small, broken.
    MissingPackageError
        A HEIC file without the extra.
    """
    with _quietly(name) as odd:
        im = image_of(content)
        try:
            _check_size(im, name)
            odd += _oddities(im)
        except BaseException:
            im.close()
            raise
    with im:
        yield im, tuple(odd)


def tags_of(im: Image.Image) -> Mapping[int, Any]:
    """Return the camera's tags, main and Exif directory in one; empty where they are broken."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            exif = im.getexif()
            tags = {**exif, **exif.get_ifd(0x8769)}
    except Exception:
        # Pillow's parser raises what the broken byte happens to hit; the picture may be sound
        return {}
    if im.format == "TIFF":
        tags.pop(0x0112, None)  # Pillow turns TIFF by itself: the size is already upright
    return tags


def decoded(
    content: Content, name: str, turned: int, stored: tuple[int, int], longest_px: int | None
) -> tuple[Pixels, float]:
    """Decode to sRGB, upright.

    Parameters
    ----------
    content, name
        As for `opened`.
    turned : int
        EXIF orientation.
    stored : (int, int)
        Width and height of the full picture as stored: what factors are told against.
    longest_px : int or None
        Longer side wanted; None for all pixels.

    Returns
    -------
    pixels : (h, w, 3) uint8
    factor : float
        A pixel x of the result lies at ``(x + 0.5) * factor - 0.5`` of the full picture.
    """
    factor = 1.0 if longest_px is None else max(1.0, max(stored) / longest_px)
    size = (max(1, int(stored[0] / factor + 1e-6)), max(1, int(stored[1] / factor + 1e-6)))
    with opened(content, name) as (im, _), _quietly(name):
        if im.size != stored:
            raise _refused(name, "must be the file that was read", "Read it again: it changed.")
        if im.format in _JPEG:
            im.draft(None, size)  # decodes to 1/2, 1/4, 1/8 at little cost
        # pixel i of a draft covers the pixels s·i … s·i + s − 1 exactly
        drafted = round(max(stored) / max(im.size))
        expected = im.size
        im.load()
        if im.size != expected:
            raise _refused(name, "must be as large as it says", "Copy it from the phone again.")
        pixels = _srgb(im, name)
        if pixels.size != size:
            k = factor / drafted
            box = (0.0, 0.0, min(size[0] * k, pixels.width), min(size[1] * k, pixels.height))
            pixels = pixels.resize(size, Image.Resampling.BILINEAR, box)
        if turned in _UPRIGHT:
            pixels = pixels.transpose(_UPRIGHT[turned])
        return np.asarray(pixels), factor  # read-only


def image_of(content: Content) -> Image.Image:
    """Open a picture's header with the package that reads its kind, as it is.

    Raises
    ------
    MissingPackageError
        A HEIC file without the extra.
    """
    file = content if isinstance(content, Path) else io.BytesIO(content)
    if _head(content)[4:8] == b"ftyp" and _head(content)[8:12] in _HEIC:
        try:
            from pillow_heif import HeifImageFile
        except ImportError as exc:
            raise MissingPackageError("reading HEIC photos", "heic") from exc
        opened: Image.Image = HeifImageFile(file)  # type: ignore[no-untyped-call]
        return opened
    im = Image.open(file, formats=_FORMATS)
    too_many = im.width * im.height > LIMIT_MP * 1e6
    if too_many and im.format in _JPEG and not im.info.get("progressive"):
        # a progressive file is held whole before it is made smaller
        im.draft(None, (im.width // 2, im.height // 2))
    return im


def _head(content: Content) -> bytes:
    if isinstance(content, bytes):
        return content[:16]
    with content.open("rb") as file:
        return file.read(16)


def _check_size(im: Image.Image, name: str) -> None:
    if im.width * im.height > LIMIT_MP * 1e6:
        raise _refused(
            name,
            f"may have at most {LIMIT_MP} million pixels and has {im.width}×{im.height}",
            "Save it smaller, or set the camera to 12 million pixels.",
        )
    if min(im.size) < SMALLEST_PX:
        raise _refused(
            name,
            f"must be at least {SMALLEST_PX} pixels high and wide and is {im.width}×{im.height}",
            "Choose the photo itself, not a thumbnail.",
        )


def _oddities(im: Image.Image) -> list[str]:
    odd = []
    if im.format in _JPEG and getattr(im, "decoderconfig", None):
        odd.append(
            f"more than {LIMIT_MP} million pixels: read at half its size, {im.width}×{im.height}"
        )
    elif im.format in ("GIF", "PNG", "WEBP", "TIFF") and getattr(im, "n_frames", 1) > 1:
        odd.append(f"holds {im.n_frames} pictures: the first was taken")  # type: ignore[attr-defined]
    if "A" in im.mode or "a" in im.mode or "transparency" in im.info:
        odd.append("has see-through parts: laid on white")
    if im.mode == "CMYK":
        odd.append("made for print (CMYK): its colours were brought back and are approximate")
    if im.mode in ("1", "L", "LA") or im.mode[0] in "IF":
        odd.append("black and white: browning cannot be measured")
    if im.mode[0] in "IF":
        odd.append("more than 8 bits a pixel: brought to 8")
    return odd


def _srgb(im: Image.Image, name: str) -> Image.Image:
    """An RGB picture in sRGB: layers flattened, its colour profile undone."""
    if im.mode[0] in "IF":
        im = _to_8_bit(im, name)
    if im.mode == "P" or "transparency" in im.info:
        im = im.convert("RGBA" if "transparency" in im.info else "RGB")
    clear = None
    if im.mode in ("LA", "La", "PA", "RGBA", "RGBa"):
        im = im.convert("RGBA")
        clear = im.getchannel("A")
        im = im.convert("RGB")
    im = _without_profile(im)
    if im.mode != "RGB":
        im = im.convert("RGB")
    if clear is not None:
        ground = Image.new("RGB", im.size, (255, 255, 255))
        ground.paste(im, mask=clear)
        im = ground
    return im


def _to_8_bit(im: Image.Image, name: str) -> Image.Image:
    values = np.asarray(im)
    top = 65535 if values.dtype.kind in "iu" else 1.0
    if not np.isfinite(values).all() or values.min() < 0 or values.max() > top:
        raise _refused(
            name,
            f"must hold brightness from 0 to {top:g} and holds other numbers",
            "Save it as JPEG or 8-bit PNG.",
        )
    return Image.fromarray(np.rint(values * (255 / top)).astype(np.uint8))


def _without_profile(im: Image.Image) -> Image.Image:
    profile = im.info.get("icc_profile")
    if not profile:
        return im
    try:
        own = ImageCms.ImageCmsProfile(io.BytesIO(profile))
        if "sRGB" in ImageCms.getProfileDescription(own):
            return im
        space = own.profile.xcolor_space.strip()
        if {"RGB": "RGB", "GRAY": "L", "CMYK": "CMYK"}.get(space) != im.mode:
            return im
        to = ImageCms.buildTransform(own, ImageCms.createProfile("sRGB"), im.mode, "RGB")
        return to.apply(im)
    except (ImageCms.PyCMSError, OSError, ValueError):
        return im  # a broken profile: most pictures without a sound one are sRGB


@contextmanager
def _quietly(name: str) -> Iterator[list[str]]:
    """Give every trouble of a decoder the form of a `KitError`, every warning that of a note."""
    odd: list[str] = []
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        try:
            yield odd
        except KitError:
            raise
        except Image.DecompressionBombError as exc:
            raise _refused(
                name,
                f"may have at most {LIMIT_MP} million pixels and has far more",
                "Save it smaller, or set the camera to 12 million pixels.",
            ) from exc
        except MemoryError as exc:
            remedy = "Save it smaller and read that."
            raise _refused(name, "must fit into memory and does not", remedy) from exc
        except (FileNotFoundError, IsADirectoryError, PermissionError) as exc:
            remedy = "Look whether the name is right and the file may be read."
            raise _refused(
                name, f"must be a file that can be read ({exc.strerror})", remedy
            ) from exc
        except Exception as exc:
            # decoders raise whatever a broken byte makes them stumble over: all of it means this
            remedy = "Copy it from the phone again, or open it and save it as JPEG."
            raise _refused(
                name, f"must be a whole JPEG, PNG, TIFF or HEIC picture ({_reason(exc)})", remedy
            ) from exc
    if any(w.category is not Image.DecompressionBombWarning for w in caught):
        odd.append("what the file says beside the picture is partly broken")


def _reason(exc: Exception) -> str:
    text = " ".join(str(exc).split())
    if isinstance(exc, UnidentifiedImageError):
        return "it is none of them"
    if "truncated" in text:
        return "its end is missing"
    return text[:80] or type(exc).__name__


def _refused(name: str, rule: str, remedy: str) -> InputError:
    return InputError("photo", name, rule, remedy)
