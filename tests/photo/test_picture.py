"""Reading photos: what files say, what they hide, and files that are broken on purpose."""

import contextlib
import hashlib
import io
import subprocess
import sys
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from PIL import Image, ImageCms

from kit.errors import InputError, KitError
from kit.photo import read
from kit.photo.reading import decode

TURNS = {
    1: None,
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_90,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_270,
}
ORIGINAL, SUBSEC, OFFSET, FOCAL = 0x9003, 0x9291, 0x9011, 0xA405


def scene(width=64, height=48):
    """Four plain quarters, no two alike: tells every turn from every other."""
    pixels = np.zeros((height, width, 3), np.uint8)
    pixels[: height // 2, : width // 2] = (200, 40, 30)
    pixels[: height // 2, width // 2 :] = (40, 180, 60)
    pixels[height // 2 :, : width // 2] = (30, 50, 190)
    pixels[height // 2 :, width // 2 :] = (230, 230, 220)
    return pixels


def saved(image, kind="JPEG", **more):
    """A file's bytes."""
    file = io.BytesIO()
    if kind == "HEIF":
        heif = pytest.importorskip("pillow_heif", reason="needs pip install 'bake-trial-kit[heic]'")
        heif.from_pillow(image).save(file, quality=95, **more)
    else:
        image.save(file, kind, **more)
    return file.getvalue()


def with_tags(tags, kind="JPEG", size=(64, 48)):
    exif = Image.Exif()
    for tag in (k for k in tags if k < 0x8000):
        exif[tag] = tags[tag]
    exif.get_ifd(0x8769).update({k: v for k, v in tags.items() if k > 0x8000})
    return saved(Image.fromarray(scene(*size)), kind, exif=exif.tobytes())


@pytest.mark.parametrize("turn", TURNS)
@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF", "HEIF", "WEBP"])
def test_every_orientation_comes_upright(kind, turn):
    image = Image.fromarray(scene())
    stored = image if TURNS[turn] is None else image.transpose(TURNS[turn])
    exif = Image.Exif()
    exif[0x0112] = turn
    photo = read(saved(stored, kind, exif=exif.tobytes()))
    assert (photo.width, photo.height) == (64, 48)
    assert photo.pixels.shape == (48, 64, 3)
    away = np.abs(photo.pixels.astype(int) - scene())
    for quarter in (np.s_[4:20, 4:28], np.s_[4:20, 36:60], np.s_[28:44, 4:28], np.s_[28:44, 36:60]):
        assert np.median(away[quarter]) <= 6
    small, k = photo.reduced(16)
    assert (small.shape, k) == ((12, 16, 3), 4.0)


def test_what_the_camera_says():
    tags = {0x010F: "Harbour", 0x0110: "Harbour P1", ORIGINAL: "2026:03:05 06:41:07",
            SUBSEC: "25", OFFSET: "+01:00", FOCAL: 26}  # fmt: skip
    content = with_tags(tags)
    photo = read(content)
    assert photo.taken == datetime(2026, 3, 5, 5, 41, 7, 250000, tzinfo=UTC)
    assert photo.taken.utcoffset() == timedelta(hours=1)
    assert (photo.model, photo.focal_35mm, photo.notes) == ("Harbour P1", 26.0, ())
    assert photo.sha256 == hashlib.sha256(content).hexdigest()
    assert photo.format == "JPEG"


def test_a_clock_without_a_zone_is_asked_about():
    content = with_tags({ORIGINAL: "2026:07:05 06:41:07"})
    photo = read(content)
    assert photo.taken is None
    assert photo.clock == datetime(2026, 7, 5, 6, 41, 7)
    assert photo.notes == (
        "the camera's clock said 2026-07-05 06:41:07, but not in which time zone",
    )
    told = read(content, zone="Europe/London")  # summer: one hour from UTC
    assert told.taken == datetime(2026, 7, 5, 5, 41, 7, tzinfo=UTC)
    with pytest.raises(InputError, match="zone is 'Atlantis': must be a time zone such as"):
        read(content, zone="Atlantis")


@pytest.mark.parametrize(
    ("tags", "told"),
    [
        ({ORIGINAL: "0000:00:00 00:00:00"}, "as its time, which is none"),
        ({ORIGINAL: "2026:13:45 99:00:00"}, "as its time, which is none"),
        ({ORIGINAL: "1970:01:01 00:00:00", OFFSET: "+00:00"}, "which cannot be"),
        ({ORIGINAL: "2026:03:01 10:00:00", OFFSET: "+14:30"}, "but not in which time zone"),
        ({ORIGINAL: "2026:03:01 10:00:00", OFFSET: "-12:30"}, "but not in which time zone"),
        ({ORIGINAL: "2199:01:01 00:00:00", OFFSET: "+00:00"}, "which cannot be"),
        ({ORIGINAL: "2026:03:05 06:41:07", OFFSET: "+99:99"}, "not in which time zone"),
        ({0x0112: 99}, "taken as upright"),
        ({FOCAL: 1}, "which no lens has"),
        ({FOCAL: 26, 0xA002: 64, 0xA003: 64}, "cropped after it was taken"),
        ({FOCAL: 26, 0xA002: 4000, 0xA003: 3000}, "made smaller or larger"),
    ],
)
def test_exif_that_lies_becomes_a_note(tags, told):
    photo = read(with_tags(tags))
    assert told in " ".join(photo.notes)
    assert photo.taken is None
    assert photo.pixels.shape == (48, 64, 3)


def test_focal_length_0_means_unknown():
    photo = read(with_tags({FOCAL: 0}))
    assert photo.focal_35mm is None
    assert read(with_tags({FOCAL: 0}), focal_35mm=24).focal_35mm == 24.0


def test_arguments_that_cannot_be():
    with pytest.raises(InputError, match=r"focal_35mm is -3: must be above 0"):
        read(scene(), focal_35mm=-3)
    with pytest.raises(InputError, match=r"taken is .*: must say its time zone"):
        read(scene(), taken=datetime(2026, 3, 5))
    with pytest.raises(InputError, match="longest_px is 0: must be at least 1"):
        read(scene()).reduced(0)


def test_coordinates_of_a_reduced_picture():
    """A pixel x of it lies at (x + 0.5) k − 0.5: the middle of a square must stay there."""
    pixels = np.zeros((600, 801, 3), np.uint8)
    pixels[200:280, 500:540] = 255  # its middle: x 519.5, y 239.5
    for source in (pixels, saved(Image.fromarray(pixels), quality=95)):
        for longest in (400, 333, 150, 101):
            small, k = read(source).reduced(longest)
            assert abs(max(small.shape[:2]) - longest) <= 1
            weight = small[:, :, 1] / small[:, :, 1].sum()
            y, x = np.mgrid[: small.shape[0], : small.shape[1]]
            assert (weight * x).sum() == pytest.approx((519.5 + 0.5) / k - 0.5, abs=0.05)
            assert (weight * y).sum() == pytest.approx((239.5 + 0.5) / k - 0.5, abs=0.05)


def test_a_file_that_changed_or_went_says_so(tmp_path):
    path = tmp_path / "bake.jpg"
    path.write_bytes(saved(Image.fromarray(scene())))
    photo = read(path)
    path.write_bytes(saved(Image.fromarray(scene(80, 60))))
    with pytest.raises(InputError, match="must be the file that was read"):
        _ = photo.pixels
    path.unlink()
    with pytest.raises(InputError, match=r"photo is 'bake\.jpg': must be a file that can be read"):
        _ = photo.pixels
    with pytest.raises(InputError, match="must be a file that can be read"):
        read(tmp_path)


def test_display_p3_becomes_srgb():
    # linear Display P3 to sRGB by the primaries of both (SMPTE EG 432-1, IEC 61966-2-1), by hand
    p3 = _p3_profile()
    pixels = np.full((32, 32, 3), (200, 120, 60), np.uint8)
    got = read(saved(Image.fromarray(pixels), "PNG", icc_profile=p3)).pixels[16, 16]
    linear = ((pixels[0, 0] / 255 + 0.055) / 1.055) ** 2.4
    to_srgb = np.linalg.inv(_primaries(SRGB)) @ _primaries(P3)
    expected = 255 * (1.055 * (to_srgb @ linear) ** (1 / 2.4) - 0.055)
    np.testing.assert_allclose(got, expected, atol=1.5)
    assert np.abs(got - pixels[0, 0].astype(float)).max() > 5  # or the test would show nothing
    plain = read(saved(Image.fromarray(pixels), "PNG", icc_profile=_srgb_profile()))
    np.testing.assert_array_equal(plain.pixels, pixels)


SRGB = [(0.64, 0.33), (0.30, 0.60), (0.15, 0.06)]
P3 = [(0.680, 0.320), (0.265, 0.690), (0.150, 0.060)]
WHITE = (0.3127, 0.3290)


def _primaries(of):
    columns = np.array([(x / y, 1, (1 - x - y) / y) for x, y in of]).T
    x, y = WHITE
    return columns * np.linalg.solve(columns, [x / y, 1, (1 - x - y) / y])


def _srgb_profile():
    return ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()


def _p3_profile():
    """Our own: sRGB's profile with its three colorants replaced, adapted to D50 (Bradford)."""
    bradford = np.array(
        [(0.8951, 0.2664, -0.1614), (-0.7502, 1.7135, 0.0367), (0.0389, -0.0685, 1.0296)]
    )
    d50, x, y = np.array([0.9642, 1.0, 0.8249]), *WHITE
    cones = bradford @ d50 / (bradford @ [x / y, 1, (1 - x - y) / y])
    colorants = np.linalg.inv(bradford) @ np.diag(cones) @ bradford @ _primaries(P3)
    data = bytearray(_srgb_profile())
    for i in range(int.from_bytes(data[128:132], "big")):
        entry = bytes(data[132 + 12 * i : 144 + 12 * i])
        if entry[:4] in (b"rXYZ", b"gXYZ", b"bXYZ"):
            at = int.from_bytes(entry[4:8], "big") + 8
            column = colorants[:, b"rgb".index(entry[:1])]
            fixed = np.rint(column * 65536).astype(int)
            data[at : at + 12] = b"".join(int(v).to_bytes(4, "big", signed=True) for v in fixed)
    return bytes(data).replace("sRGB".encode("utf-16-be"), "own!".encode("utf-16-be")).replace(
        b"sRGB", b"own!"
    )  # fmt: skip


def _noted(image, kind, note, **more):
    photo = read(saved(image, kind, **more))
    assert photo.pixels.dtype == np.uint8
    assert photo.pixels.shape == (48, 64, 3)
    assert note in " ".join(photo.notes)
    return photo.pixels


def test_strange_pictures_are_read_with_a_note():
    image = Image.fromarray(scene())
    clear = image.convert("RGBA")
    clear.putalpha(0)
    assert (_noted(clear, "PNG", "see-through parts: laid on white") == 255).all()
    _noted(image.convert("CMYK"), "JPEG", "made for print (CMYK)")
    paletted = _noted(image.quantize(8), "PNG", "")
    assert np.abs(paletted.astype(int) - scene()).max() < 8
    deep = Image.fromarray(scene()[:, :, 0].astype(np.uint16) * 257)
    for kind in ("PNG", "TIFF"):
        got = _noted(deep, kind, "more than 8 bits a pixel: brought to 8")
        np.testing.assert_array_equal(got[:, :, 0], scene()[:, :, 0])
    other = Image.fromarray(255 - scene())
    for kind in ("GIF", "PNG", "WEBP", "TIFF"):
        first = _noted(
            image, kind, "holds 2 pictures: the first was taken", save_all=True,
            append_images=[other],
        )  # fmt: skip
        assert np.abs(first.astype(int) - scene())[4:20, 4:28].mean() < 12


def test_a_wrong_ending_does_not_matter(tmp_path):
    path = tmp_path / "face.png"
    path.write_bytes(saved(Image.fromarray(scene())))
    photo = read(path)
    assert photo.format == "JPEG"
    assert photo.notes == ("named .png but holds JPEG: read as that",)


def test_arrays_of_each_kind():
    pixels = scene()
    for values in (
        pixels / 255.0,
        pixels.astype(np.uint16) * 257,
        np.dstack([pixels, pixels[:, :, :1] * 0 + 255]),
    ):
        np.testing.assert_array_equal(read(values).pixels, pixels)
    assert read(pixels[:, :, :1]).pixels.shape == (48, 64, 3)
    assert read(pixels[:, :, 0]).pixels.shape == (48, 64, 3)
    for wrong in (np.zeros((4, 4, 2), np.uint8), np.zeros((0, 5, 3), np.uint8),
                  np.zeros((4, 4, 3), np.int64), np.full((4, 4, 3), np.nan)):  # fmt: skip
        with pytest.raises(InputError, match="photo is 'an array of"):
            read(wrong)


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"", "it is none of them"),
        (b"hello, this is a recipe", "it is none of them"),
        (bytes(range(256)) * 40, "it is none of them"),
        (b"\xff\xd8\xff" + bytes(500), "must be a whole JPEG, PNG, TIFF or HEIC picture"),
    ],
)
def test_what_is_no_picture_is_refused(content, told):
    with pytest.raises(InputError) as caught:
        read(content)
    assert told in str(caught.value)
    assert "Copy it from the phone again, or open it and save it as JPEG." in str(caught.value)


def test_a_single_pixel_is_refused():
    with pytest.raises(InputError, match="must be at least 16 pixels high and wide and is 1×1"):
        read(saved(Image.new("RGB", (1, 1))))


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF", "HEIF", "WEBP", "GIF", "BMP"])
def test_a_file_cut_short_is_refused(kind):
    rng = np.random.default_rng(4)
    whole = saved(Image.fromarray(rng.integers(0, 255, (96, 128, 3), dtype=np.uint8)), kind)
    for share in (0.02, 0.3, 0.7):
        with pytest.raises(KitError):
            _ = read(whole[: int(share * len(whole))]).pixels


def test_a_bomb_is_refused_before_it_fills_memory():
    """20 000 × 20 000 pixels in a small file: what the header says is enough to refuse it."""
    bomb = saved(Image.new("1", (20_000, 20_000)), "PNG")
    with pytest.raises(InputError) as caught:
        read(bomb)
    assert "may have at most 60 million pixels" in str(caught.value)
    large = saved(Image.new("L", (9000, 9000), 128), "JPEG", quality=20)
    photo = read(large)
    assert (photo.width, photo.height) == (4500, 4500)
    assert "read at half its size" in photo.notes[0]
    slow = saved(Image.new("L", (9000, 9000), 128), "JPEG", quality=20, progressive=True)
    with pytest.raises(InputError, match="has 9000×9000"):
        read(slow)


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF", "HEIF", "WEBP", "GIF", "BMP"])
def test_flipped_bytes_never_crash(kind):
    """Bytes flipped anywhere: pixels or a KitError, nothing else; warnings are errors here.

    A search for a counterexample, so it cannot fail falsely; the seed makes it the same one
    every time. The long variant tries other seeds.
    """
    _flip(kind, 60, 7)


@pytest.mark.long
@pytest.mark.parametrize("seed", range(10))
@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF", "HEIF", "WEBP", "GIF", "BMP"])
def test_many_flipped_bytes_never_crash(kind, seed):
    _flip(kind, 300, 100 + seed)


def _flip(kind, times, seed):
    rng = np.random.default_rng(seed)
    more = {} if kind in ("GIF", "BMP") else {"exif": _rich_exif()}
    whole = saved(Image.fromarray(scene(40, 32)), kind, **more)
    for _ in range(times):
        broken = bytearray(whole)
        # half of the time in the header, where it hurts most
        reach = len(broken) if rng.random() < 0.5 else min(len(broken), 400)
        for at in rng.integers(0, reach, rng.integers(1, 12)):
            broken[at] = rng.integers(256)
        if rng.random() < 0.2:
            del broken[rng.integers(len(broken)) :]
        with contextlib.suppress(KitError):
            photo = read(bytes(broken))
            assert photo.pixels.shape == (photo.height, photo.width, 3)
            assert photo.reduced(20)[0].ndim == 3


def _rich_exif():
    exif = Image.Exif()
    exif[0x0112], exif[0x010F] = 6, "Harbour"
    exif.get_ifd(0x8769).update({ORIGINAL: "2026:03:05 06:41:07", OFFSET: "+01:00", FOCAL: 26})
    return exif.tobytes()


def test_heic_without_its_package_names_the_extra(monkeypatch):
    content = saved(Image.fromarray(scene()), "HEIF")
    monkeypatch.setitem(sys.modules, "pillow_heif", None)
    with pytest.raises(KitError) as caught:
        read(content)
    assert str(caught.value) == (
        "reading HEIC photos needs a package that is not installed. "
        "Install it with: pip install 'bake-trial-kit[heic]'"
    )


def test_importing_the_kit_loads_no_decoder():
    code = "import kit, sys; print(sorted({'cv2', 'skimage', 'PIL'} & set(sys.modules)))"
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert "cv2" not in out.stdout
    assert "skimage" not in out.stdout


def test_the_limit_is_what_the_docstring_says():
    assert decode.LIMIT_MP == 60
    assert "60 million pixels" in read.__doc__
