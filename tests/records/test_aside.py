"""Files written whole or not at all."""

import errno
import os
import signal
import subprocess
import sys
import time

import pytest
from PIL import Image

from kit.errors import StoreError
from kit.records.keeping import aside as aside_module
from kit.records.keeping.aside import aside, put_beside, second_name, sweep, write_whole
from kit.records.keeping.copies import put_back
from kit.workspace import Workspace


def test_a_text_takes_the_place_of_the_old_one_as_it_is(tmp_path):
    path = tmp_path / "sheet.html"
    write_whole(path, "old")
    assert write_whole(path, "Höhe\r\n38 mm\n") == path
    assert path.read_bytes() == "Höhe\r\n38 mm\n".encode()
    assert [file.name for file in tmp_path.iterdir()] == ["sheet.html"]


def test_all_of_it_is_on_the_disk_before_it_takes_the_place(tmp_path, monkeypatch):
    seen = []
    monkeypatch.setattr(os, "fsync", lambda file: seen.append(os.fstat(file).st_size))
    write_whole(tmp_path / "sheet.html", b"whole")
    assert seen == [5]


def test_what_breaks_off_leaves_the_old_file_and_nothing_beside_it(tmp_path):
    path = tmp_path / "malt.zip"
    path.write_bytes(b"whole")

    def breaks_off():
        with aside(path) as file:
            file.write(b"hal")
            msg = "power cut"
            raise RuntimeError(msg)

    with pytest.raises(RuntimeError, match="power cut"):
        breaks_off()
    assert path.read_bytes() == b"whole"
    assert [file.name for file in tmp_path.iterdir()] == ["malt.zip"]


KILLED = """
import os, pathlib, signal, sys
from kit.records.keeping.aside import aside
with aside(pathlib.Path(sys.argv[1])) as file:
    file.write(b"hal")
    file.flush()
    os.kill(os.getpid(), signal.SIGKILL)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no SIGKILL")
def test_who_is_killed_half_way_leaves_the_old_file(tmp_path):
    path = tmp_path / "malt.html"
    path.write_bytes(b"whole")
    ended = subprocess.run([sys.executable, "-c", KILLED, str(path)], check=False)
    assert ended.returncode == -signal.SIGKILL
    assert path.read_bytes() == b"whole"


def test_what_a_killed_program_left_goes_when_the_same_is_done_again(tmp_path):
    """Half-written files of an hour ago; what was written to just now may be another program's."""
    folder = tmp_path / "bakes"
    with Workspace(folder) as ws:
        trial = ws.new_trial("malt")
        Image.new("RGB", (60, 40)).save(tmp_path / "piece.jpg")
        trial.add_photos(tmp_path / "piece.jpg")
        trial.package(tmp_path / "malt.zip")
    with Workspace(folder):
        pass  # takes a copy
    left = [
        folder / ".replaced-20261126-090000-000000.sqlite.part",
        folder / "copies" / "bakes-20261126-090000-000000.part",
        folder / "photos" / ".copying-ab12",
        folder / ".receiving-ab12" / "0",
        tmp_path / ".malt.zip.0123abcd.part",
    ]
    left[3].parent.mkdir()
    young = [path.with_name(f"{path.stem}9{path.suffix}") for path in left[:3]]
    young.append(tmp_path / ".malt.zip.9999abcd.part")
    for path in (*left, *young, tmp_path / ".other.zip.0123abcd.part"):
        path.write_bytes(b"half")
    for path in (*left, left[3].parent, tmp_path / ".other.zip.0123abcd.part"):
        os.utime(path, (0, 0))
    put_back(folder / "bakes.sqlite")
    with Workspace(folder) as ws:
        ws.remove_trial("malt")
    with Workspace(folder) as ws:
        Image.new("RGB", (60, 41)).save(tmp_path / "other.jpg")
        ws.new_trial("salt").add_photos(tmp_path / "other.jpg")
        ws.receive(tmp_path / "malt.zip").package(tmp_path / "malt.zip")
    assert not any(path.exists() for path in left)
    assert all(path.exists() for path in (*young, tmp_path / ".other.zip.0123abcd.part"))


def test_what_no_program_of_the_kit_left_stays(tmp_path):
    mine = [tmp_path / ".a.csv.notes.part", tmp_path / ".a.csv.dir.part" / "k"]
    mine += [tmp_path / ".a.csv.0123abcd.part" / "k", tmp_path / ".receiving-ab12" / "new"]
    for path in mine:
        path.parent.mkdir(exist_ok=True)
        path.write_text("mine")
    for path in (*mine[:3], *(path.parent for path in mine[1:])):
        os.utime(path, (0, 0))
    lately = tmp_path / ".a.csv.9999abcd.part"  # by a program that was asleep meanwhile
    lately.write_text("half")
    os.utime(lately, (time.time() - 7200,) * 2)
    write_whole(tmp_path / "a.csv", "whole")
    sweep(tmp_path, ".receiving-*", folders=True)
    assert all(path.exists() for path in (*mine, lately))


@pytest.mark.parametrize(
    ("number", "rest"),
    [
        (errno.ENOSPC, "the disk is full. Free some space, then do this again."),
        (errno.EDQUOT, "the disk is full. Free some space, then do this again."),
        (errno.EROFS, "writing there is not allowed. Choose another folder, or allow writing in "
                      "this one."),
        (errno.EACCES, "writing there is not allowed. Choose another folder, or allow writing in "
                       "this one."),
        (errno.EFBIG, "it is too large for that disk. Choose another disk."),
        (errno.EIO, "the disk reports an error. Check the disk or the network drive."),
        (errno.EBUSY, "Device or resource busy."),
    ],
)  # fmt: skip
def test_a_disk_that_fails_leaves_the_older_file(tmp_path, monkeypatch, number, rest):
    def fails(descriptor):
        raise OSError(number, os.strerror(number))

    path = tmp_path / "malt.html"
    path.write_text("older")
    monkeypatch.setattr(os, "fsync", fails)
    with pytest.raises(StoreError) as caught:
        write_whole(path, "newer")
    assert str(caught.value) == f"{path} was not written: {rest} The older file is as it was."
    assert path.read_text() == "older"
    assert os.listdir(tmp_path) == ["malt.html"]


def test_a_name_that_cannot_be_written_to(tmp_path):
    def told(path):
        with pytest.raises(StoreError) as caught:
            write_whole(path, "page")
        return str(caught.value).removeprefix(f"{path} was not written: ")

    missing = tmp_path / "none" / "malt.md"
    assert told(missing) == (
        f"the folder {missing.parent} does not exist. Make it, or choose another folder."
    )
    (tmp_path / "folder.md").mkdir()
    assert told(tmp_path / "folder.md") == ("there is a folder of that name. Choose another name.")
    assert told(tmp_path / ("x" * 300)) == "its name is too long. Choose a shorter one."
    (tmp_path / "file").write_text("")
    assert told(tmp_path / "file" / "malt.md") == (
        "what should be a folder on the way to it is a file. Check its name."
    )
    assert sorted(os.listdir(tmp_path)) == ["file", "folder.md"]


def none_known(*_args):
    raise OSError(errno.EPERM, "the disk knows no second names")


@pytest.fixture(params=[True, False], ids=["second names", "none"])
def disk(request, tmp_path, monkeypatch):
    """A folder on a disk that knows second names, and on one that does not."""
    if not request.param:
        monkeypatch.setattr(aside_module.os, "link", none_known)
    (tmp_path / "new").write_bytes(b"new")
    (tmp_path / "photos").mkdir()
    return tmp_path


def test_a_file_is_put_over_no_other(disk):
    photos = disk / "photos"
    (photos / "a.png").write_bytes(b"old")
    assert put_beside(disk / "new", photos, "a", ".png") == (photos / "a-2.png", True)
    assert not (disk / "new").exists()
    (disk / "again").write_bytes(b"new")
    assert put_beside(disk / "again", photos, "a", ".png") == (photos / "a-2.png", False)
    assert (photos / "a.png").read_bytes() == b"old"
    assert (photos / "a-2.png").read_bytes() == b"new"


def test_no_file_is_written_a_second_time_to_be_put_somewhere(disk, monkeypatch):
    def written(*_args):
        pytest.fail("its bytes were copied")

    monkeypatch.setattr(aside_module, "copied", written)
    number = (disk / "new").stat().st_ino
    target, _ = put_beside(disk / "new", disk / "photos", "a", ".png")
    assert target.stat().st_ino == number


def test_what_cannot_be_moved_leaves_nothing_of_its_name(tmp_path, monkeypatch):
    def in_use(*_args):
        raise PermissionError(errno.EACCES, "another program has it open")

    (tmp_path / "new").write_bytes(b"new")
    monkeypatch.setattr(aside_module.os, "link", none_known)
    monkeypatch.setattr(aside_module.os, "replace", in_use)
    with pytest.raises(PermissionError):
        put_beside(tmp_path / "new", tmp_path, "a", ".png")
    assert [file.name for file in tmp_path.iterdir()] == ["new"]


def test_a_copy_that_breaks_off_is_no_file(tmp_path, monkeypatch):
    def full(_held, put):
        put.write(b"ne")
        raise OSError(errno.ENOSPC, "No space left on device")

    (tmp_path / "new").write_bytes(b"new")
    (tmp_path / "old").write_bytes(b"old")
    monkeypatch.setattr(aside_module.os, "link", none_known)
    monkeypatch.setattr(aside_module.shutil, "copyfileobj", full)
    with pytest.raises(OSError, match="No space left"):
        second_name(tmp_path / "new", tmp_path / "torn")
    with pytest.raises(FileExistsError):
        second_name(tmp_path / "new", tmp_path / "old")
    assert sorted(file.name for file in tmp_path.iterdir()) == ["new", "old"]
    assert (tmp_path / "old").read_bytes() == b"old"
