"""Notebooks in the repository: thin, stripped, with ids. They are run by ``--nbval-lax``."""

import json
import tomllib
from pathlib import Path

import pytest

NOTEBOOKS = sorted((Path(__file__).parents[1] / "notebooks").glob("*.ipynb"))


def cells(path, kind="code"):
    return [c for c in json.loads(path.read_text())["cells"] if c["cell_type"] == kind]


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.stem)
def test_outputs_are_stripped_and_cells_have_ids(path):
    notebook = json.loads(path.read_text())
    assert "widgets" not in notebook["metadata"]
    for cell in notebook["cells"]:
        assert cell["id"]
    for cell in cells(path):
        assert cell["outputs"] == []
        assert cell["execution_count"] is None


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.stem)
def test_the_wheel_carries_it(path):
    build = tomllib.loads((path.parents[1] / "pyproject.toml").read_text())["tool"]["hatch"][
        "build"
    ]
    carried = build["targets"]["wheel"]["force-include"]
    name = f"notebooks/{path.name}"
    assert carried[name] == f"kit/_shipped/{name}"


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.stem)
def test_its_head_leads_to_the_others(path):
    head = "".join(cells(path, "markdown")[0]["source"])
    steps = ("plan", "record", "rise", "measure", "compare", "taste")
    assert {other.stem for other in NOTEBOOKS} == set(steps)
    way = " · ".join(
        f"**{step.capitalize()}**" if step == path.stem else f"[{step.capitalize()}]({step}.ipynb)"
        for step in steps
    )
    assert way in head.splitlines()


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.stem)
def test_cells_are_thin(path):
    for cell in cells(path):
        source = "".join(cell["source"])
        assert len(source.splitlines()) <= 8
        assert not any(
            line.lstrip().startswith(("def ", "for ", "class ")) for line in source.splitlines()
        )


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.stem)
def test_what_makes_a_panel_is_folded_away_and_safe_from_keys(path):
    """Only so does the page make it by itself (`panels/jupyter/labextensions`)."""
    panels = [c for c in cells(path) if "= panels." in "".join(c["source"])]
    assert panels
    for cell in panels:
        assert cell["metadata"]["jupyter"] == {"source_hidden": True}
        assert (cell["metadata"]["deletable"], cell["metadata"]["editable"]) == (False, False)


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.stem)
def test_answers_are_asserted(path):
    """Stripped outputs compare with nothing, so numbers that matter stand in the cells."""
    assert any("assert " in "".join(cell["source"]) for cell in cells(path))


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.stem)
def test_invented_data_are_called_invented(path):
    text = " ".join("".join(c["source"]) for c in cells(path, "markdown"))
    assert "invented" in text
