"""A picture without what it tells about its owner: place, serial numbers, names, notes, previews.

Kept is what measuring needs: pixels, colour profile, which way is up, when it was taken, the focal
length. The compressed pixels of a JPEG (ISO/IEC 10918-1, annex B) and of a PNG (W3C, section 11)
are kept byte for byte; other kinds become a PNG with the same pixels. Doing it twice changes
nothing more.
"""

import io
import re
import struct
import warnings
import zlib
from typing import Any

from kit.errors import MissingPackageError

__all__ = ["CannotStrip", "kind_of_picture", "strip"]

#: what may stay of what a camera writes (EXIF 2.32, tables 4 to 8): tag -> what it must look like
_DATE, _OFFSET = r"\d{4}:\d\d:\d\d \d\d:\d\d:\d\d", r"[+-]\d\d:\d\d"
_IMAGE = {0x0132: _DATE}  # changed last: many programs write no other time
_CAMERA = {
    0x9003: _DATE,  # taken
    0x9010: _OFFSET,  # the clock's offset from UTC, of 0x0132
    0x9011: _OFFSET,  # and of 0x9003
    0x9291: r"\d{1,9}",  # fraction of the second
}
_ORIENTATION, _EXIF, _FOCAL_LENGTH, _FOCAL_35_MM = 0x0112, 0x8769, 0x920A, 0xA405


class CannotStrip(ValueError):
    """The picture cannot be freed of what it tells; says why."""


def kind_of_picture(start: bytes) -> str | None:
    """Return the ending of a picture's file from its first bytes, None for no picture known here.

    Examples
    --------
    >>> kind_of_picture(bytes.fromhex("ffd8ffe0")), kind_of_picture(b"PK"), kind_of_picture(b"")
    ('jpg', None, None)
    """
    if start.startswith(b"\xff\xd8\xff"):
        return "jpg"
    if start.startswith(_PNG):
        return "png"
    if start[:4] in (b"II*\0", b"MM\0*"):
        return "tif"
    if start[:4] == b"RIFF" and start[8:12] == b"WEBP":
        return "webp"
    if start[4:8] == b"ftyp" and start[8:12] in _HEIF:
        return "heic"
    return "bmp" if start.startswith(b"BM") else None


_PNG = b"\x89PNG\r\n\x1a\n"
_HEIF = (b"heic", b"heix", b"hevc", b"heim", b"heis", b"mif1", b"msf1", b"avif")


def strip(picture: bytes) -> tuple[bytes, str]:
    """Return a picture's file without what it tells about its owner, and ``"jpg"`` or ``"png"``.

    Raises CannotStrip: it is damaged, or of a kind whose inside cannot be told apart here.
    """
    kind = kind_of_picture(picture[:16])
    if kind == "jpg":
        return _jpeg(picture), "jpg"
    if kind == "png":
        return _png(picture), "png"
    if kind is None:
        raise CannotStrip("is no picture of a known kind")
    return _as_png(picture), "png"


# JPEG


def _jpeg(data: bytes) -> bytes:
    out, exif, at = [b"\xff\xd8"], b"", 2
    first: list[bytes] = []
    while True:
        marker, at = _marker(data, at)
        if marker == 0xD9:
            break
        if marker == 0x01 or 0xD0 <= marker <= 0xD8:
            raise CannotStrip("is a damaged JPEG")
        (length,) = struct.unpack(">H", _exactly(data, at, 2))
        segment = _exactly(data, at, length)
        if length < 2:
            raise CannotStrip("is a damaged JPEG")
        at += length
        body = segment[2:]
        if marker == 0xE0 and body.startswith(b"JFIF\0") and len(body) >= 12:
            # version, unit and density; the preview that may follow is left
            first = [_segment(0xE0, body[:12] + b"\0\0")]
        elif marker == 0xE1 and body.startswith(b"Exif\0") and not exif:
            exif = body
        elif _drawn(marker, body):
            out.append(bytes((0xFF, marker)) + segment)
        if marker == 0xDA:
            end = _entropy_end(data, at)
            out.append(data[at:end])
            at = end
    # what follows the end of the picture is another one, or a film
    notes = _exif(exif)
    extra = [_segment(0xE1, b"Exif\0\0" + notes)] if notes else []
    return b"".join([out[0], *first, *extra, *out[1:], b"\xff\xd9"])


def _drawn(marker: int, body: bytes) -> bool:
    """Whether a segment is needed to draw the picture."""
    if marker == 0xE2:
        return body.startswith(b"ICC_PROFILE\0")
    if marker == 0xEE:  # says how the colours were transformed
        return body.startswith(b"Adobe") and len(body) == 12
    return 0xC0 <= marker <= 0xCF or 0xDA <= marker <= 0xDF


def _marker(data: bytes, at: int) -> tuple[int, int]:
    """Return the marker at `at`, fill bytes skipped, and where its segment begins."""
    if _exactly(data, at, 1) != b"\xff":
        raise CannotStrip("is a damaged JPEG")
    while _exactly(data, at, 1) == b"\xff":
        at += 1
    return data[at], at + 1


_ENTROPY_END = re.compile(rb"\xff+[^\x00\xff\xd0-\xd7]", re.DOTALL)


def _entropy_end(data: bytes, at: int) -> int:
    found = _ENTROPY_END.search(data, at)
    if found is None:
        raise CannotStrip("is a JPEG whose end is missing")
    return found.start()


def _segment(marker: int, body: bytes) -> bytes:
    return bytes((0xFF, marker)) + struct.pack(">H", len(body) + 2) + body


def _exactly(data: bytes, at: int, count: int) -> bytes:
    piece = data[at : at + count]
    if len(piece) != count:
        raise CannotStrip("is a picture whose end is missing")
    return piece


# PNG

#: chunks that draw: pixels, palette, transparency, colour, and the scale of a flat-bed scanner
_CHUNKS = (b"IHDR", b"PLTE", b"IDAT", b"IEND", b"tRNS", b"gAMA", b"cHRM", b"sRGB", b"iCCP",
           b"sBIT", b"cICP", b"pHYs")  # fmt: skip


def _png(data: bytes) -> bytes:
    out, exif, at, name = [data[:8]], b"", 8, b""
    while name != b"IEND":
        length, name = struct.unpack(">I4s", _exactly(data, at, 8))
        chunk = _exactly(data, at, length + 12)
        at += length + 12
        if name == b"eXIf":
            exif = chunk[8:-4]
        elif name in _CHUNKS:
            out.append(chunk)
    if not out[1][4:8] == b"IHDR":
        raise CannotStrip("is a damaged PNG")
    if notes := _exif(exif):
        chunk = b"eXIf" + notes
        packed = struct.pack(">I", len(notes)) + chunk + struct.pack(">I", zlib.crc32(chunk))
        out.insert(2, packed)
    return b"".join(out)


# the rest


def _as_png(data: bytes) -> bytes:
    """Save the pixels anew, without loss, or refuse."""
    from PIL import Image, UnidentifiedImageError

    from kit.photo.reading.decode import image_of

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")  # a picture too big to be one
            with image_of(data) as image:
                if getattr(image, "n_frames", 1) > 1:
                    raise CannotStrip("holds several pictures: save the one that counts as PNG")
                bits: Any = getattr(image, "tag_v2", {}).get(258, (8,))
                if image.mode not in ("1", "L", "LA", "P", "RGB", "RGBA", "I;16") or (
                    len(bits) > 1 and max(bits) > 8
                ):
                    raise CannotStrip("holds more than PNG can keep of it here")
                notes = _chosen(image.getexif())
                bare = image.copy()
                saved = io.BytesIO()
                bare.info = {k: v for k, v in bare.info.items() if k == "transparency"}
                kept: dict[str, Any] = {"icc_profile": image.info.get("icc_profile")}
                if "dpi" in image.info:  # the scale of a flat-bed scanner
                    kept["dpi"] = image.info["dpi"]
                # a phone's twelve megapixels take seconds at the usual level, for a tenth less
                bare.save(saved, "PNG", exif=notes or None, compress_level=3, **kept)
    except CannotStrip:
        raise
    except MissingPackageError as exc:
        msg = f"is HEIC, and {exc}; or save it as JPEG"
        raise CannotStrip(msg) from exc
    except (UnidentifiedImageError, OSError, ValueError, SyntaxError, EOFError, TypeError,
            KeyError, struct.error, OverflowError, MemoryError, Warning,
            Image.DecompressionBombError) as exc:  # fmt: skip
        raise CannotStrip("is a damaged picture, or too big for one") from exc
    return _png(saved.getvalue())  # whatever else was written goes as well


def _exif(block: bytes) -> bytes:
    """Return what may stay of a picture's EXIF block, as a TIFF structure; empty for nothing."""
    from PIL import Image

    if not block:
        return b""
    given = Image.Exif()
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # damaged entries are left
            given.load(block)
            return _chosen(given)
    except Exception:  # whatever a block that is none makes the reader stumble over
        return b""


def _chosen(given: Any) -> bytes:
    """Return the few tags that may stay, written anew."""
    from PIL import Image

    kept = Image.Exif()
    kept.endian = "<"
    if given.get(_ORIENTATION) in range(2, 9):
        kept[_ORIENTATION] = int(given[_ORIENTATION])
    kept.update(_fitting(given, _IMAGE))
    camera = given.get_ifd(_EXIF)
    inside: dict[int, Any] = _fitting(camera, _CAMERA)
    for tag in (_FOCAL_LENGTH, _FOCAL_35_MM):
        try:
            number = float(camera[tag])
        except (KeyError, TypeError, ValueError, ZeroDivisionError):
            continue
        if 0 < number < 10_000:
            inside[tag] = int(number) if tag == _FOCAL_35_MM else camera[tag]
    if inside:
        kept[_EXIF] = inside
    return kept.tobytes().removeprefix(b"Exif\0\0") if len(kept) else b""


def _fitting(given: Any, wanted: dict[int, str]) -> dict[int, Any]:
    """Return the texts that look as they must: a name cannot hide in a date."""
    texts = {tag: str(given.get(tag, "")).rstrip("\0 ") for tag in wanted}
    return {tag: text for tag, text in texts.items() if re.fullmatch(wanted[tag], text, re.ASCII)}
