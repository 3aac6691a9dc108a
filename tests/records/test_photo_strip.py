"""Pictures on their way out: what must go is gone, what measuring needs and the pixels stay.

Pillow writes the pictures and reads them back.
"""

import io
import struct
import sys
import zlib

import numpy as np
import pytest
from PIL import Image, TiffImagePlugin

import kit.photo
from kit.records.package.strip import CannotStrip, kind_of_picture, strip

#: nothing of this may be found in a picture that is handed on
SECRETS = (b"SERIAL-4711", b"Ida Example", b"MAKERNOTE", b"xmpmeta", b"Harbour Road", b"PREVIEW",
           b"Photoshop 3.0", b"tail after the end")  # fmt: skip


def pixels(seed=1, mode="RGB"):
    shape = (40, 56) if mode == "L" else (40, 56, len(mode))
    drawn = np.random.default_rng(seed).integers(0, 255, shape, dtype=np.uint8)
    return Image.fromarray(drawn, mode=mode) if mode == "CMYK" else Image.fromarray(drawn)


def notes():
    """EXIF as a telling camera writes it."""
    exif = Image.Exif()
    exif[0x010F], exif[0x0110] = "SomeMaker", "SomeModel"
    exif[0x0112] = 6  # turned
    exif[0x0132] = "2026:11:26 07:41:00"
    exif[0x013B], exif[0x8298] = "Ida Example", "Ida Example"
    exif[0x8769] = {
        0x9003: "2026:11:26 07:40:12", 0x9011: "+01:00", 0x9291: "25",
        0x920A: TiffImagePlugin.IFDRational(425, 100), 0xA405: 26,
        0xA430: "Ida Example", 0xA431: "SERIAL-4711", 0xA435: "SERIAL-4711",
        0x927C: b"MAKERNOTE", 0x9286: b"ASCII\0\0\0Harbour Road 1",
    }  # fmt: skip
    exif[0x8825] = {1: "N", 2: (38.0, 42.0, 3.0), 3: "W", 4: (9.0, 8.0, 1.0)}
    return exif.tobytes()


def jpeg(image=None, **how):
    """A JPEG with all a phone puts into one: notes, XMP, IPTC, comment, preview, a film behind."""
    held = io.BytesIO()
    (image or pixels()).save(held, "JPEG", exif=notes(), dpi=(300, 300), **how)
    data = held.getvalue()
    more = b""
    for marker, body in (
        (0xE1, b"http://ns.adobe.com/xap/1.0/\0<x:xmpmeta>Harbour Road</x:xmpmeta>"),
        (0xE2, b"FPXR\0PREVIEW"),
        (0xED, b"Photoshop 3.0\0Ida Example"),
        (0xE0, b"JFXX\0\x10PREVIEW"),
        (0xFE, b"Ida Example"),
        (0xEB, b"PREVIEW"),
    ):
        more += bytes((0xFF, marker)) + struct.pack(">H", len(body) + 2) + body
    return data[:2] + more + data[2:] + b"tail after the end"


def png(image=None):
    held = io.BytesIO()
    (image or pixels()).save(held, "PNG", exif=notes(), dpi=(600, 600))
    data = held.getvalue()
    more = b""
    for name, body in (
        (b"tEXt", b"Author\0Ida Example"),
        (b"iTXt", b"XML:com.adobe.xmp\0\0\0\0\0<x:xmpmeta/>"),
        (b"tIME", b"\x07\xea\x0b\x1a\x07\x29\x00"),
        (b"prVw", b"PREVIEW"),
    ):
        chunk = name + body
        more += struct.pack(">I", len(body)) + chunk + struct.pack(">I", zlib.crc32(chunk))
    return data[:33] + more + data[33:] + b"tail after the end"


def scan_data(data):
    """The compressed pixels of a JPEG: from the first table of quantisation to the end."""
    return data[data.index(b"\xff\xdb") : data.index(b"\xff\xd9", data.index(b"\xff\xda")) + 2]


def kept(data):
    exif = Image.open(io.BytesIO(data)).getexif()
    inside = exif.get_ifd(0x8769)
    return dict(exif), dict(inside), exif.get_ifd(0x8825)


def check_notes(data):
    exif, inside, place = kept(data)
    assert set(exif) == {0x0112, 0x0132, 0x8769}
    assert exif[0x0112] == 6
    assert set(inside) == {0x9003, 0x9011, 0x9291, 0x920A, 0xA405}
    assert (inside[0x9003], inside[0x9011]) == ("2026:11:26 07:40:12", "+01:00")
    assert (float(inside[0x920A]), inside[0xA405]) == (4.25, 26)
    assert place == {}
    for secret in (*SECRETS, b"SomeMaker"):
        assert secret not in data


def same_pixels(one, other):
    ours, theirs = (Image.open(io.BytesIO(data)) for data in (one, other))
    assert ours.mode == theirs.mode
    np.testing.assert_array_equal(np.asarray(ours), np.asarray(theirs))


@pytest.mark.parametrize("how", [{}, {"progressive": True}, {"quality": 95, "subsampling": 0}])
def test_a_jpeg_keeps_its_compressed_pixels_byte_for_byte(how):
    given = jpeg(**how)
    assert all(secret in given for secret in SECRETS)  # or the test would prove nothing
    out, ending = strip(given)
    assert ending == "jpg"
    check_notes(out)
    assert scan_data(out) == scan_data(given)
    same_pixels(out, given)
    assert Image.open(io.BytesIO(out)).info["dpi"] == (300, 300)  # the scale of a scan
    assert strip(out) == (out, "jpg")


def test_colours_of_a_jpeg_stay_what_they_were():
    # the Adobe marker says how the four inks are stored; the profile what the numbers mean
    profile = b"an ICC profile " * 9000  # longer than one segment takes
    for image in (pixels(mode="CMYK"), pixels(mode="L")):
        given = jpeg(image, icc_profile=profile)
        out, _ = strip(given)
        same_pixels(out, given)
        assert Image.open(io.BytesIO(out)).info["icc_profile"] == profile


def test_a_preview_inside_the_jfif_header_goes():
    held = io.BytesIO()
    pixels().save(held, "JPEG")
    data = held.getvalue()
    body = b"JFIF\0\1\2\1\0\x48\0\x48\1\1" + b"PRE"  # one pixel of three bytes
    at = 4 + struct.unpack(">H", data[4:6])[0]
    given = data[:2] + b"\xff\xe0" + struct.pack(">H", len(body) + 2) + body + data[at:]
    out, _ = strip(given)
    assert b"PRE" in given
    assert b"PRE" not in out
    same_pixels(out, given)


def test_a_name_cannot_hide_in_a_date():
    exif = Image.Exif()
    exif[0x0132] = "Ida Example 2026:11"
    exif[0x8769] = {0x9003: "2026:11:26 07:40:12 Ida", 0x9011: "+01:00"}
    held = io.BytesIO()
    pixels().save(held, "JPEG", exif=exif.tobytes())
    out, _ = strip(held.getvalue())
    assert kept(out)[:2] == ({0x8769: kept(out)[0][0x8769]}, {0x9011: "+01:00"})
    assert b"Ida" not in out


def test_a_png_keeps_its_compressed_pixels_byte_for_byte():
    given = png()
    out, ending = strip(given)
    assert ending == "png"
    check_notes(out)
    start, end = given.index(b"IDAT"), given.index(b"IEND")
    assert given[start:end] in out
    same_pixels(out, given)
    assert round(Image.open(io.BytesIO(out)).info["dpi"][0]) == 600
    assert strip(out) == (out, "png")


@pytest.mark.parametrize("kind", ["TIFF", "WEBP", "BMP"])
def test_other_kinds_become_a_png_with_the_same_pixels(kind):
    held = io.BytesIO()
    more = {} if kind == "BMP" else {"exif": notes()}
    if kind == "WEBP":
        more |= {"lossless": True, "xmp": b"<x:xmpmeta/>"}
    if kind == "TIFF":
        block = Image.Exif()
        block.load(notes())
        more = {"exif": block, "dpi": (600, 600)}
    pixels().save(held, kind, **more)
    out, ending = strip(held.getvalue())
    assert ending == "png"
    same_pixels(out, held.getvalue())
    if kind != "BMP":
        check_notes(out)
    assert strip(out) == (out, "png")


def test_a_phones_heic_becomes_a_png_with_the_pixels_that_are_measured(monkeypatch):
    from_pillow = pytest.importorskip(
        "pillow_heif", reason="HEIC: bake-trial-kit[heic]"
    ).from_pillow
    held = io.BytesIO()
    from_pillow(pixels()).save(held, quality=90, exif=notes())
    out, ending = strip(held.getvalue())
    assert ending == "png"
    assert b"Ida" not in out
    was, now = kit.photo.read(held.getvalue()), kit.photo.read(out)
    assert (now.width, now.height, now.clock) == (was.width, was.height, was.clock)
    np.testing.assert_array_equal(now.pixels, was.pixels)
    assert strip(out) == (out, "png")
    monkeypatch.setitem(sys.modules, "pillow_heif", None)
    with pytest.raises(CannotStrip, match="pip install"):
        strip(held.getvalue())


def test_a_grey_scan_of_16_bits_stays_one():
    deep = np.random.default_rng(3).integers(0, 65535, (30, 20), dtype=np.uint16)
    held = io.BytesIO()
    Image.fromarray(deep).save(held, "TIFF")
    out, _ = strip(held.getvalue())
    np.testing.assert_array_equal(np.asarray(Image.open(io.BytesIO(out))), deep)


def test_what_cannot_be_kept_whole_or_freed_is_refused():
    pages = io.BytesIO()
    pixels().save(pages, "TIFF", save_all=True, append_images=[pixels(2)])
    with pytest.raises(CannotStrip, match=r"^holds several pictures: save the one that counts"):
        strip(pages.getvalue())
    floats = io.BytesIO()
    Image.fromarray(np.ones((5, 5), dtype=np.float32)).save(floats, "TIFF")
    with pytest.raises(CannotStrip, match=r"^holds more than PNG can keep of it here$"):
        strip(floats.getvalue())
    with pytest.raises(CannotStrip, match=r"^is a damaged picture"):
        strip(b"\0\0\0\x18ftypheic" + b"\0" * 40)
    with pytest.raises(CannotStrip, match=r"^is no picture of a known kind$"):
        strip(b"PK\3\4 and so on")


@pytest.mark.parametrize("whole", [jpeg()[:-18], png()[:-18]], ids=["jpeg", "png"])
def test_a_damaged_picture_is_refused_or_harmless_wherever_it_is_cut(whole):
    for end in range(0, len(whole) - 1, 37):
        with pytest.raises(CannotStrip):
            strip(whole[:end])
    rng = np.random.default_rng(5)
    for _ in range(300):  # a few bytes overturned, anywhere in the part that is read
        hurt = bytearray(whole)
        for at in rng.integers(2, min(len(whole), 2500), 3):
            hurt[at] = rng.integers(0, 256)
        try:
            out, _ = strip(bytes(hurt))
        except CannotStrip:
            continue
        assert kind_of_picture(out[:16]) in ("jpg", "png")


def test_too_many_pixels_are_refused_without_unpacking_them():
    # a BMP says its size in its head: 40 000 by 40 000 pixels
    head = b"BM" + struct.pack("<IHHI", 54, 0, 0, 54)
    head += struct.pack("<IiiHHIIiiII", 40, 40_000, 40_000, 1, 24, 0, 0, 0, 0, 0, 0)
    with pytest.raises(CannotStrip, match=r"^is a damaged picture, or too big for one$"):
        strip(head + b"\0" * 100)
