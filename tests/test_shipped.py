import json

import pytest

import kit
from kit import shipped


def test_demo_is_brought_in_once(tmp_path):
    with kit.Workspace(tmp_path / "bakes") as ws:
        trial = shipped.load_demo(ws)
        assert trial.invented
        assert len(trial.frame()) == 120
        assert set(trial.events()["kind"]) == {"burnt", "warm room"}
        assert trial.formula().ingredients[0].role == "flour"
        assert shipped.load_demo(ws).id == trial.id
        assert len(ws.trials()) == 1


def test_demo_is_one_thing_to_undo(tmp_path):
    """One press of Undo in a fresh folder took its rises out, and nothing brought them back."""
    with kit.Workspace(tmp_path / "bakes") as ws:
        shipped.load_demo(ws)
        assert ws.history()["what"].tolist() == ["the invented trial harbour-malt brought in"]
        assert ws.undo() == "undone: the invented trial harbour-malt brought in"
        assert ws.trials() == []
        assert len(shipped.load_demo(ws).rise_readings()) > 0


def test_half_a_demo_is_taken_out_again(tmp_path, monkeypatch):
    def fails(*_, **_more):
        raise KeyboardInterrupt

    monkeypatch.setattr(shipped.pd, "read_csv", fails)  # half of it is stored by then
    with kit.Workspace(tmp_path / "bakes") as ws:
        with pytest.raises(KeyboardInterrupt):
            shipped.load_demo(ws)
        assert ws.trials() == []


def edit(path, text):
    """Change a cell's source, as a baker would."""
    notebook = json.loads(path.read_text())
    notebook["cells"][0]["source"] = [text]
    path.write_text(json.dumps(notebook))


def test_notebooks_are_copied_and_never_overwritten(tmp_path, monkeypatch):
    source = tmp_path / "shipped"
    source.mkdir()
    original = (shipped.notebooks_folder() / "compare.ipynb").read_text()
    (source / "compare.ipynb").write_text(original)
    monkeypatch.setattr(shipped, "notebooks_folder", lambda: source)
    folder = tmp_path / "mine"
    folder.mkdir()
    mine = folder / "compare.ipynb"

    assert shipped.copy_notebooks(folder) == ["compare.ipynb copied"]
    assert shipped.copy_notebooks(folder) == []  # nothing changed

    notebook = json.loads(mine.read_text())  # JupyterLab stores outputs: no change of a baker's
    notebook["cells"][1]["outputs"] = [{"output_type": "stream", "name": "stdout", "text": "1"}]
    mine.write_text(json.dumps(notebook))
    edit(source / "compare.ipynb", "# newer")
    assert shipped.copy_notebooks(folder) == ["compare.ipynb brought up to date"]
    assert "# newer" in mine.read_text()

    edit(mine, "# my own words")
    edit(source / "compare.ipynb", "# newest")
    assert shipped.copy_notebooks(folder) == [
        "compare.ipynb is yours now; the newer one is compare.new.ipynb"
    ]
    assert "# my own words" in mine.read_text()
    assert "# newest" in (folder / "compare.new.ipynb").read_text()
    assert shipped.copy_notebooks(folder) == []  # said once
    assert not list(folder.glob(".*.part"))

    edit(folder / "compare.new.ipynb", "# mine as well")
    edit(source / "compare.ipynb", "# newer still")
    assert shipped.copy_notebooks(folder) == [
        "compare.ipynb and compare.new.ipynb are yours now; move one away to get the newer one"
    ]
    assert "# mine as well" in (folder / "compare.new.ipynb").read_text()


def test_damaged_files_are_kept_and_stop_nothing(tmp_path):
    shipped.copy_notebooks(tmp_path)
    (tmp_path / ".kit-notebooks.json").write_text("{")
    (tmp_path / "compare.ipynb").write_text("{")
    assert shipped.copy_notebooks(tmp_path) == [
        "compare.ipynb is yours now; the newer one is compare.new.ipynb"
    ]
    assert (tmp_path / "compare.ipynb").read_text() == "{"


def test_a_folder_that_cannot_be_written_is_said_in_words(tmp_path):
    (tmp_path / ".kit-notebooks.json").mkdir()
    with pytest.raises(kit.errors.StoreError) as caught:
        shipped.copy_notebooks(tmp_path)
    assert str(caught.value) == (
        f"{tmp_path} cannot be used: there is a folder of that name. Choose another name."
    )
