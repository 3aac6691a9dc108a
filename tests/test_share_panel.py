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


def test_the_recipe_at_a_dose_is_written_by_its_button(tmp_path):
    with panels.open_workspace(tmp_path / "demo") as ws:
        panel = panels.share(ws)
        (dose,) = panel.recipe.doses.children
        assert dose.text.description == "Diastatic malt (%)"
        assert dose.text.placeholder == "0, 0.4, 0.8 and 1.2 were baked"
        page = ws.folder / "harbour-malt-recipe.html"
        for value, said in (("", "must be one that was baked"), ("2", "or between those")):
            dose.value = value
            panel.recipe.write.click()
            assert said in words(dose.said)
            assert (panel.recipe.written.value, page.exists()) == ("", False)
        dose.value, panel.recipe.pieces.value = "0,6", "a few"
        panel.recipe.write.click()
        assert "makes (pieces) is &#x27;a few&#x27;" in words(panel.recipe.pieces.said)
        panel.recipe.pieces.value, panel.recipe.piece.value = "8", "heavy"
        panel.recipe.write.click()
        assert "raw piece is &#x27;heavy&#x27;" in words(panel.recipe.piece.said)
        panel.recipe.piece.value, panel.recipe.steps.value = "2 3/4 oz", "Mix.\n\nChill <b>."
        panel.recipe.write.click()
        assert "Written: " in words(panel.recipe.written)
        told = page.read_text()
        assert "8 pieces" in told
        assert "<li>Chill &lt;b&gt;.</li>" in told
        assert "application/ld+json" in told
        assert panels.share(ws).recipe.steps.value == "Mix.\n\nChill <b>."  # after a reload
        ws.new_trial("bare")
        panel = panels.share(ws)
        panel.trial.value = "bare"
        assert panel.recipe.write.layout.display == "none" != panel.recipe.none.layout.display
        assert panel.recipe.written.value == ""


def test_a_file_that_cannot_be_written_is_said(ws, monkeypatch):
    panel = panels.share(ws)
    (ws.folder / "salt-b-.zip").mkdir()
    panel.pack.click()
    assert "Not yet:" in words(panel.packed)
