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
        page = ws.folder / "harbour-malt-recipe-0.6.html"
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
        assert "raw piece &#x27;heavy&#x27; is not a number" in words(panel.recipe.piece.said)
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


@pytest.fixture
def demo(tmp_path):
    """The demo, and a trial with its formula that changes the malt, too."""
    with panels.open_workspace(tmp_path / "demo") as made:
        own = made.new_trial("own", factors={"malt_percent": [0, 1]})
        own.set_formula(made.trial("harbour-malt").formula())
        yield made


def test_what_is_typed_of_a_recipe_stays_with_its_trial(demo):
    panel = panels.share(demo)
    block = panel.recipe
    panel.trial.value = "harbour-malt"
    block.steps.value, block.piece.value = "Malt of the harbour.", "90 g"
    block.doses.children[0].value = "0.4"
    panel.trial.value = "own"
    assert [block.steps.value, block.piece.value, block.doses.children[0].value] == ["", "76 g", ""]
    block.doses.children[0].value = "1"
    block.write.click()
    assert "Malt of the harbour." not in (demo.folder / "own-recipe-1.html").read_text()
    again = panels.share(demo)  # after a reload
    assert (again.trial.value, again.recipe.steps.value) == ("own", "")
    assert again.recipe.doses.children[0].value == "1"
    again.trial.value = "harbour-malt"
    assert again.recipe.steps.value == "Malt of the harbour."
    assert again.recipe.doses.children[0].value == "0.4"
    again.trial.value = "own"
    assert again.recipe.doses.children[0].value == "1"


def test_each_dose_is_a_page_of_its_own(demo):
    panel = panels.share(demo)
    panel.trial.value = "own"
    for typed in ("0,5 %", "1"):
        panel.recipe.doses.children[0].value = typed
        panel.recipe.write.click()
    made = sorted(path.name for path in demo.folder.glob("own-recipe*"))
    assert made == ["own-recipe-0.5.html", "own-recipe-1.html"]


def test_receiving_a_file_takes_nothing_away(demo, ws):
    ws.trials()[0].package(ws.folder / "salt.zip")
    panel = panels.share(demo)
    panel.trial.value = "own"
    panel.recipe.doses.children[0].value = "0,5"
    panel.recipe.write.click()
    panel.pack.click()
    before = panel.recipe.written.value, panel.packed.value
    panel.source.value, panel.baker.value = str(ws.folder / "salt.zip"), "Bo"
    panel.receive.click()
    assert "1 pieces received" in words(panel.received)
    assert "salt <b>" in " ".join(panel.trial.options)
    assert (panel.trial.value, panel.recipe.doses.children[0].value) == ("own", "0,5")
    assert (panel.recipe.written.value, panel.packed.value) == before
    assert "Written" in before[0]
    assert "own.zip" in before[1]


def test_a_share_that_the_trial_does_not_set_is_asked_for(demo):
    cold = demo.new_trial("cold", factors={"retard_hours": [16, 40]})
    cold.set_formula("Muffin", [("flour", "flour", 100), ("malt", "malt", None),
                                ("honey", "other", None)])  # fmt: skip
    panel = panels.share(demo)
    panel.trial.value = "cold"
    malt, honey = panel.recipe.doses.children
    assert (malt.text.description, honey.text.description) == ("Diastatic malt (%)", "Honey (%)")
    assert malt.text.placeholder == "open in the formula: what you used"
    panel.recipe.write.click()
    assert "The formula leaves it open: write how much was used" in words(malt.said)
    assert "formula.with_setting" not in words(malt.said) + words(panel.recipe.written)
    malt.value, honey.value = "0,5", "lots"
    panel.recipe.write.click()
    assert "lots" in words(honey.said)
    honey.value = "3"
    panel.recipe.write.click()
    told = (demo.folder / "cold-recipe-honey-3-malt_percent-0.5.html").read_text()
    # 6 x 76 g of a dough that is 103.5 % of its flour: 440.6 g of flour
    assert "13.2 g honey" in told
    assert "2.2 g malt" in told


@pytest.mark.parametrize("typed", ["1e9 g", "0.0001 g", "0", "-76 g"])
def test_a_piece_of_no_muffin_s_weight_is_refused(demo, typed):
    panel = panels.share(demo)
    panel.trial.value = "own"
    panel.recipe.doses.children[0].value, panel.recipe.piece.value = "1", typed
    panel.recipe.write.click()
    assert "raw piece is" in words(panel.recipe.piece.said)
    assert "between 1 g and 10 kg" in words(panel.recipe.piece.said)
    assert not list(demo.folder.glob("own-recipe*"))


def test_a_trial_that_another_window_took_away_is_said(demo):
    panel = panels.share(demo)
    panel.trial.value = "own"
    panel.recipe.doses.children[0].value = "1"
    demo.remove_trial("own")
    panel.recipe.write.click()
    panel.pack.click()
    for said in (panel.recipe.written, panel.packed):
        assert "no trial" in words(said)
        assert "own" in words(said)
    panel.trial.value = "harbour-malt"
    panel.trial.value = "own"
    assert "no trial" in words(panel.recipe.none)
    assert panel.recipe.write.layout.display == "none"


def test_a_file_that_cannot_be_written_is_said(ws, monkeypatch):
    panel = panels.share(ws)
    (ws.folder / "salt-b-.zip").mkdir()
    panel.pack.click()
    assert "Not yet:" in words(panel.packed)
