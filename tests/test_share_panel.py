"""The share panel without a browser: a trial sent, received elsewhere, and nonsense."""

import re
import zipfile

import pytest

import kit
from kit import panels


@pytest.fixture
def ws(tmp_path):
    with kit.Workspace(tmp_path / "bakes") as made:
        trial = made.new_trial("salt <b>", "Does salt matter?", outcome="rise_height_mm")
        piece = trial.add_piece(trial.add_dough(trial.add_bake("2026-06-18")))
        trial.record(piece, "rise_height_mm", 31)
        yield made


def words(widget):
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", widget.value)).strip()


def test_sent_and_received_elsewhere(ws, tmp_path):
    panel = panels.share(ws)
    assert panel.trial.value == "salt <b>"
    panel.licence.value = "CC-BY-4.0"
    panel.pack.click()
    packed = ws.folder / "salt-b-.zip"
    assert packed.is_file()
    assert "salt-b-.zip" in words(panel.packed)
    with zipfile.ZipFile(packed) as file:
        assert "CC-BY-4.0" in file.read("datapackage.json").decode()
    with kit.Workspace(tmp_path / "other") as other:
        there = panels.share(other)
        assert there.pack.disabled
        there.source.value = str(packed)
        there.receive.click()
        assert "1 pieces received" in words(there.received)
        assert "<b>" not in there.received.value
        assert other.trial("salt <b>").frame()["rise_height_mm"].tolist() == [31]
        assert (there.trial.value, there.pack.disabled) == ("salt <b>", False)
        there.receive.click()
        assert "already here" in words(there.received)
        assert len(other.trials()) == 1


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("", "must not be empty"),
        ("nowhere.zip", "is not there: looked for"),
        ("bakes.sqlite", "bakes.sqlite"),
    ],
)
def test_what_cannot_be_received_says_why_and_stays_typed(ws, typed, said):
    panel = panels.share(ws)
    panel.source.value = typed
    panel.receive.click()
    assert said in f"{words(panel.source.said)} {words(panel.received)}"
    assert "Working" not in panel.received.value
    assert panel.source.value == typed
    assert len(ws.trials()) == 1


def test_a_file_that_cannot_be_written_is_said(ws, monkeypatch):
    panel = panels.share(ws)
    (ws.folder / "salt-b-.zip").mkdir()
    panel.pack.click()
    assert "Not yet:" in words(panel.packed)
