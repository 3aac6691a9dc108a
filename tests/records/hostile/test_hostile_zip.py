"""Zip files that were damaged, or made to do harm: refused in plain words, nothing stored."""

import io
import random
import struct
import tracemalloc
import zipfile
import zlib

import pytest

from kit.errors import DataError


def test_the_good_one_is_good(ws, good, tmp_path, whole):
    (tmp_path / "good.zip").write_bytes(whole(good))  # or the tests below would prove nothing
    assert len(ws.receive(tmp_path / "good.zip").frame()) == 2


# the zip file


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("../evil.csv", "leads outside the package"),
        ("records/../../evil.csv", "leads outside the package"),
        ("/etc/evil", "leads outside the package"),
        ("C:/evil", "leads outside the package"),
        ("c:evil", "leads outside the package"),
        ("photos\\evil.jpg", "holds a backslash"),
        ("..\\evil", "holds a backslash"),
        ("evil\nname", "is no name of a file"),
        ("evil\x1b[2J", "is no name of a file"),
        ("x" * 501, "is no name of a file"),
    ],
)
def test_names_that_lead_outside(send, name, said):
    assert f"holds a file whose name {said}" in send({name: b"evil"})


def test_a_name_with_a_zero_byte_that_hides_its_end(send, good, whole):
    raw = whole({**good, "photos/aZ../../x": b"evil"}).replace(b"photos/aZ../", b"photos/a\0../")
    assert "holds a file whose name" in send(raw=raw)


def test_links(send):
    def link(zipped):
        info = zipfile.ZipInfo("photos/a.jpg")
        info.external_attr = 0o120777 << 16
        zipped.writestr(info, "/etc/passwd")

    assert "holds a link instead of a file ('photos/a.jpg')" in send(edit=link)


def test_two_files_of_one_name(send):
    def again(zipped):
        zipped.writestr("Records/READING.csv", b"")  # one file on many computers

    assert "holds two files of one name" in send(edit=again)

    def same(zipped):
        with pytest.warns(UserWarning, match="Duplicate name"):
            zipped.writestr("records/reading.csv", b"")

    assert "holds two files of one name" in send(edit=same)


def flagged(raw, offset_local, offset_list, bits):
    """The file with bits set in the heads of all members, where they stand twice."""
    raw = bytearray(raw)
    for mark, offset in ((b"PK\3\4", offset_local), (b"PK\1\2", offset_list)):
        at = raw.find(mark)
        while at >= 0:
            raw[at + offset] |= bits
            at = raw.find(mark, at + 4)
    return bytes(raw)


def test_locked_members(send, good, whole):
    assert "is locked with a password" in send(raw=flagged(whole(good), 6, 8, 0x01))


@pytest.mark.parametrize("method", [zipfile.ZIP_LZMA, zipfile.ZIP_BZIP2])
def test_ways_of_packing_that_ask_for_much_memory(send, method):
    def packed(zipped):
        zipped.writestr("photos/a.jpg", b"x" * 1000, compress_type=method)

    assert "is packed in a way the kit does not take" in send(edit=packed)


@pytest.mark.parametrize(
    "raw", [b"", b"PK", b"not a zip file at all" * 100, b"\x1f\x8b" + b"\0" * 500, b"PK\5\6" * 9]
)
def test_no_zip_file(send, raw):
    assert "is not a zip file, or its end is missing" in send(raw=raw)


def test_cut_anywhere(send, good, whole):
    raw = whole(good)
    for end in range(1, len(raw), len(raw) // 40):
        send(raw=raw[:end])


def test_bytes_overturned_anywhere_never_come_in_unseen(ws, good, tmp_path, whole):
    """Each byte is covered by a check sum or means nothing: refused, or the very same trial."""
    raw, rng = whole(good), random.Random(7)
    path = tmp_path / "bad.zip"
    path.write_bytes(raw)
    want = ws.receive(path).frame()
    refused = 0
    for _ in range(150):
        hurt = bytearray(raw)
        hurt[rng.randrange(len(raw))] ^= 1 << rng.randrange(8)
        path.write_bytes(bytes(hurt))
        try:
            got = ws.receive(path)
        except DataError:
            refused += 1
        else:
            assert got.already_here
            assert got.frame().equals(want)
    assert refused > 50


def test_a_bomb_by_what_it_announces(send, good, whole):
    raw = whole({**good, "photos/a.jpg": bytes(1_234_567)})
    size, huge = struct.pack("<I", 1_234_567), struct.pack("<I", 4_000_000_000)
    assert raw.count(size) == 2
    assert "would unpack to more than 2000 MB" in send(raw=raw.replace(size, huge))


def test_a_bomb_that_announces_little(send, good, whole):
    """The size in the list of members is a lie: what is unpacked is counted."""
    reading = good["records/reading.csv"]
    bomb = reading + b'"' + bytes(30_000_000)
    raw = bytearray(whole({**good, "records/reading.csv": bomb}))
    real = struct.pack("<I", len(bomb))
    lie = struct.pack("<I", len(reading))
    assert raw.count(real) == 2
    tracemalloc.start()
    try:
        assert "is damaged or not whole" in send(raw=bytes(raw).replace(real, lie))
        assert tracemalloc.get_traced_memory()[1] < 60_000_000
    finally:
        tracemalloc.stop()


def test_a_table_longer_than_any(send, good):
    long = good["records/reading.csv"] + b"\r\n" * 33_000_000
    assert "holds more than 64 MB in 'records/reading.csv'" in send({"records/reading.csv": long})


def test_more_rows_than_any(send, good):
    lot = b"id,kind,code,note\r\n" + b",,,\r\n" * 600_000
    assert "must be at most 500000" in send({"records/lot.csv": lot})
    lot = b"id,kind,code,note\r\n" + b",\r\n" * 10_000
    assert "500 problems or more" in send({"records/lot.csv": lot})
    empty = b"id,name\r\n" + b"\r\n" * 600_000
    assert "must be at most 500000" in send({"records/taster.csv": empty})


def test_more_columns_than_any(send):
    wide, long = b"," * 1_900_000, b"," * 30_000_000
    tracemalloc.start()
    try:
        assert "must be at most 200" in send({"records/taster.csv": wide})
        assert "a line of more than 2000000 signs" in send({"records/taster.csv": long})
        assert tracemalloc.get_traced_memory()[1] < 150_000_000
    finally:
        tracemalloc.stop()


def million(count, announced):
    """A zip file whose list has `count` members and whose end announces `announced`."""
    member = struct.pack(
        "<4s6H3I5H2I", b"PK\1\2", 20, 20, 0, 0, 0, 33, 0, 0, 0, 1, 0, 0, 0, 0, 0, 0
    )
    listed = (member + b"a") * count
    end = struct.pack("<4s4H2IH", b"PK\5\6", 0, 0, announced, announced, len(listed), 0, 0)
    return listed + end


def test_a_million_members_are_never_listed(send):
    raw, lie = million(1_000_000, 65_535), million(1_000_000, 1)  # the end of one announces one
    tracemalloc.start()
    try:
        assert "lists more than 20000 files, which no bake trial has" in send(raw=raw)
        assert "lists more than 20000 files" in send(raw=lie)
        assert tracemalloc.get_traced_memory()[1] < 20_000_000
    finally:
        tracemalloc.stop()
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w") as zipped:  # a true one, with the long form of the end
        for number in range(66_000):
            zipped.writestr(f"{number}", b"")
    assert "lists more than 20000 files" in send(raw=held.getvalue())


def test_a_zip_inside_is_not_looked_into(ws, good, tmp_path, whole):
    (tmp_path / "in.zip").write_bytes(whole({**good, "inner.zip": whole({"../x": b"evil"})}))
    assert len(ws.receive(tmp_path / "in.zip").frame()) == 2
    assert not (tmp_path / "x").exists()


def test_a_check_sum_that_is_wrong(send, good, whole):
    raw = bytearray(whole(good))
    at = raw.find(struct.pack("<I", zlib.crc32(good["records/event.csv"])))
    raw[at] ^= 1
    at = raw.find(struct.pack("<I", zlib.crc32(good["records/event.csv"])))
    raw[at] ^= 1
    assert "is damaged or not whole" in send(raw=bytes(raw))
