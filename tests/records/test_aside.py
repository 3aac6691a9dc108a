"""Files written whole or not at all."""

import errno
import os
import signal
import subprocess
import sys

import pytest

from kit.errors import StoreError
from kit.records.aside import aside, write_whole


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
from kit.records.aside import aside
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
