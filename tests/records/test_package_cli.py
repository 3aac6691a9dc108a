"""``kit package`` and ``kit receive``: what they say, and how they end."""

import os
import subprocess
import sys
import zipfile

import pytest

from kit.cli import main
from kit.shipped import load_demo
from kit.workspace import Workspace


def run(capsys, *words):
    with pytest.raises(SystemExit) as done:
        main(words)
    said = capsys.readouterr()
    return done.value.code or 0, said.out, said.err


@pytest.fixture
def demo(tmp_path):
    with Workspace(tmp_path / "mine") as ws:
        load_demo(ws)
    return str(tmp_path / "mine")


def test_there_and_back(capsys, demo, tmp_path):
    out = str(tmp_path / "malt.zip")
    code, said, _ = run(capsys, "package", demo, "--trial", "harbour-malt", "--out", out,
                        "--no-photos", "--licence", "CC0-1.0")  # fmt: skip
    assert code == 0
    assert said.startswith("Invented data: made up to show how this works.\n")
    assert f"{out}: 120 pieces, 1274 readings, 0 photos" in said
    assert zipfile.is_zipfile(out)
    code, said, _ = run(capsys, "receive", out, str(tmp_path / "theirs"))
    assert code == 0
    assert said.startswith("harbour-malt by Harbour café (invented): 120 pieces received. Invented")
    code, said, _ = run(capsys, "receive", out, str(tmp_path / "theirs"))
    assert (code, said) == (
        0,
        "harbour-malt is already here, the very same; nothing was changed.\n",
    )


def test_a_name_is_found_for_the_file(capsys, demo, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert run(capsys, "package", demo)[0] == 0
    assert zipfile.is_zipfile(tmp_path / "harbour-malt.zip")


def test_what_is_no_package_is_one_line(capsys, tmp_path):
    (tmp_path / "x.zip").write_bytes(b"no")
    code, said, err = run(capsys, "receive", str(tmp_path / "x.zip"), str(tmp_path / "mine"))
    assert (code, said) == (2, "")
    assert err == "kit: x.zip is not a zip file, or its end is missing. Nothing was stored.\n"


def test_a_name_cannot_steer_the_screen(capsys, tmp_path):
    with Workspace(tmp_path / "mine") as ws:
        ws.new_trial("a\x1b[2Jb [red]", baker="\x1b]0;x\x07").package(tmp_path / "x.zip")
    code, said, _ = run(capsys, "receive", str(tmp_path / "x.zip"), str(tmp_path / "theirs"))
    assert code == 0
    assert "\x1b" not in said
    assert said.startswith("a?[2Jb [red] by ?]0;x?: 0 pieces received.")


def test_as_a_program(demo, tmp_path):
    words = [sys.executable, "-m", "kit", "package", demo, "--out", str(tmp_path / "malt.tar")]
    done = subprocess.run(words, capture_output=True, text=True, check=False, env={**os.environ})
    assert done.returncode == 2
    assert "must end in .zip" in done.stderr
    assert "Traceback" not in done.stderr
